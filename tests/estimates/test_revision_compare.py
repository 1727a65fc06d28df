"""What changed between two frozen forms."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from estimates.house import HouseRecord, house_from_json
from estimates.pricebook import PriceBook, load_book
from estimates.revision_compare import Comparison, compare
from estimates.rules import load_rules
from estimates.snapshot import take_snapshot

HOUSES = Path(__file__).resolve().parents[2] / "fixtures" / "houses"
BOOK = load_book("standard")


def house() -> HouseRecord:
    return house_from_json((HOUSES / "quarry-split.json").read_text(encoding="utf-8"))


@lru_cache(maxsize=16)
def form(record: HouseRecord, book: PriceBook = BOOK) -> Any:
    return json.loads(take_snapshot(record, book, rules=load_rules()).text())


def compared(after: HouseRecord, book: PriceBook = BOOK, **rights: bool) -> Comparison:
    return compare(form(house()), form(after, book), **{"prices": True, "costs": True, **rights})


def test_the_same_revision_has_no_changes() -> None:
    assert compared(house()).same


def test_a_longer_wall_is_told_by_its_name_with_both_lengths() -> None:
    record = house()
    wall = record.walls[0]
    after = compared(replace(record, walls=(replace(wall, length_ft=wall.length_ft + 4), *record.walls[1:])))
    (change,) = after.house
    assert change.where == wall.name
    assert (change.before, change.after) == (f"{wall.length_ft:g} ft", f"{wall.length_ft + 4:g} ft")
    assert any(line.name == wall.name and line.kind == "changed" for line in after.options[0].lines)


def test_price_figures_are_the_difference_of_the_frozen_ones() -> None:
    record = house()
    wall = record.walls[0]
    longer = replace(record, walls=(replace(wall, length_ft=wall.length_ft + 4), *record.walls[1:]))
    figure = next(f for f in compared(longer).options[0].figures if f.what == "Price")
    old, new = (form(r)["estimate"]["options"][0]["price_cents"] for r in (record, longer))
    assert figure.change == f"${(new - old) / 100:,.2f} more"
    lines = compared(longer).options[0].lines
    assert sum(line.price_cents[1] - line.price_cents[0] for line in lines) == new - old


def test_a_part_that_was_added_or_taken_away_is_named() -> None:
    record = house()
    gone = record.leak_sites[0]
    after = compared(replace(record, leak_sites=record.leak_sites[1:]))
    assert [(c.where, c.after) for c in after.house] == [(gone.name, "")]
    kinds = {line.name: line.kind for option in after.options for line in option.lines}
    assert kinds[gone.name] == "left out"


def test_an_option_that_is_new_or_left_out_is_named() -> None:
    record = house()
    assert len(record.options) == 2
    after = compared(replace(record, options=record.options[:1]))
    assert [(option.name, option.kind) for option in after.options] == [
        (record.options[0].name, "both"),
        (record.options[1].name, "left out"),
    ]


def test_a_dearer_rate_is_told_with_the_version() -> None:
    rates = tuple(replace(rate, best=63.0) if rate.id == "labour" else rate for rate in BOOK.rates)
    after = compared(house(), replace(BOOK, version=2, rates=rates))
    assert (after.book[0].what, after.book[0].after) == ("Price book", "Standard 2026, version 2")
    assert [(c.where, c.before, c.after) for c in after.book[1:]] == [("labour", "58", "63")]
    assert after.house == ()


def test_a_rule_that_is_no_longer_counted_is_told() -> None:
    before = form(house())
    after = json.loads(json.dumps(before))
    gone = after["rules"].pop()
    (words,) = compare(before, after, prices=True, costs=True).rules
    assert words.startswith("No longer counted")
    assert gone["topic"] in words


def test_costs_and_margins_are_absent_for_who_may_not_read_them() -> None:
    record = house()
    option = replace(record.options[0], target_margin=0.5, discount=20.0, discount_reason="Friend")
    rates = tuple(replace(rate, best=63.0) if rate.id == "labour" else rate for rate in BOOK.rates)
    changed = replace(record, options=(option, *record.options[1:])), replace(BOOK, version=2, rates=rates)
    prices = repr(compared(*changed, costs=False))
    assert "Margin" not in prices
    assert "Gross margin" not in prices
    assert "labour" not in prices
    assert "cost_cents=None" in prices
    assert "Friend" in prices
    nothing = compared(*changed, prices=False, costs=False)
    assert "$" not in repr(nothing.house) + repr(
        [f for o in nothing.options for f in o.figures if "Saved" not in f.what]
    )
    assert "Friend" not in repr(nothing)
    assert nothing.book == ()
    assert all(option.lines == () for option in nothing.options)
