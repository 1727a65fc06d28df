"""Trying a house in memory: what changes, what stays, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from estimates.house import HouseRecord, house_from_json
from estimates.pricebook import load_book
from estimates.pricing import PriceRefused
from estimates.records import BadRecord
from estimates.rules import load_rules
from estimates.takeoff import take_off
from estimates.what_if import OptionWish, WhatIf, crewed, try_out, wished

HOUSES = Path(__file__).resolve().parents[2] / "fixtures" / "houses"
BOOK = load_book("standard")


def house(name: str) -> HouseRecord:
    return house_from_json((HOUSES / f"{name}.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("path", sorted(HOUSES.glob("*.json")), ids=lambda path: path.stem)
def test_trying_a_house_as_it_stands_changes_nothing(path: Path) -> None:
    record = house_from_json(path.read_text(encoding="utf-8"))
    assert wished(record, WhatIf.of(record)) == record
    assert wished(record, WhatIf()) == record


def test_a_wanted_margin_is_earned_whatever_the_option() -> None:
    # D: price = cost / (1 - margin - shares), so the margin after shares is the one that was asked for, but for cents.
    record = house("quarry-split")
    wish = WhatIf({option.id: OptionWish(0.5) for option in record.options})
    for priced in try_out(record, BOOK, wish, rules=load_rules()).options:
        assert priced.margin == pytest.approx(0.5, abs=2e-4)


def test_a_discount_comes_off_the_price_and_off_the_margin() -> None:
    record = house("mill-cape")
    plain = try_out(record, BOOK, WhatIf(), rules=load_rules()).options[0]
    less = try_out(record, BOOK, WhatIf({"all": OptionWish(None, 250.0, "Neighbour")}), rules=load_rules()).options[0]
    assert less.price_cents == plain.price_cents - 25_000
    assert less.cost_cents == plain.cost_cents
    assert less.margin < plain.margin


def test_a_reason_without_a_discount_is_dropped() -> None:
    assert wished(house("mill-cape"), WhatIf({"all": OptionWish(None, 0.0, "because")})).options == ()


def test_another_target_asks_for_another_row_of_the_table() -> None:
    record = house("alder-foursquare")
    attic = record.attics[0]
    deep = take_off(wished(record, WhatIf(attic_r={attic.id: 60.0})), BOOK).attics[0]
    shallow = take_off(wished(record, WhatIf(attic_r={attic.id: 30.0})), BOOK).attics[0]
    assert deep.row is not None
    assert shallow.row is not None
    assert deep.row.r > shallow.row.r
    assert deep.bags > shallow.bags


@pytest.mark.parametrize("people", [1, 2, 4, 6])
def test_a_crew_of_another_size_works_the_same_hours_on_the_walls(people: int) -> None:
    # D: net area / (speed x n' / n) x (n' x hours) = net area / speed x n x hours.
    record = house("alder-foursquare")
    usual = try_out(record, BOOK, WhatIf(), rules=load_rules()).options[0]
    other = try_out(record, BOOK, WhatIf(crew=float(people)), rules=load_rules()).options[0]
    hours = [[line.hours for line in priced.lines if line.code == "wall"] for priced in (usual, other)]
    assert hours[0] == pytest.approx(hours[1])
    assert (other.crew_days < usual.crew_days) == (people > 3)


def test_the_crew_of_the_book_is_the_book() -> None:
    assert crewed(BOOK, 3) is BOOK
    with pytest.raises(ValueError, match="above 0"):
        crewed(BOOK, 0)


def test_what_does_not_fit_is_refused_in_words() -> None:
    record = house("mill-cape")
    with pytest.raises(PriceRefused, match="smaller one"):
        try_out(record, BOOK, WhatIf({"all": OptionWish(None, 90_000.0, "Gift")}), rules=load_rules())
    with pytest.raises(PriceRefused, match="nothing for the cost"):
        try_out(record, BOOK, WhatIf({"all": OptionWish(0.95)}), rules=load_rules())
    bare = replace(record, walls=(), quick_walls=(), attics=(), leak_sites=(), gate_answers=())
    with pytest.raises(BadRecord, match="nothing to work on"):
        try_out(bare, BOOK, WhatIf(), rules=load_rules())
