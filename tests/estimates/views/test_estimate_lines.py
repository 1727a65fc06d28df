"""The steps under a priced line: they add up to the line, by arithmetic of their own."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache
from pathlib import Path

import pytest

from estimates.house import house_from_json
from estimates.pricebook import load_book
from estimates.rules import load_rules
from estimates.snapshot import Snapshot, take_snapshot
from estimates.views.estimate_lines import Step, Trail, line_trails

HOUSES = sorted((Path(__file__).resolve().parents[3] / "fixtures" / "houses").glob("*.json"))
every_house = pytest.mark.parametrize("path", HOUSES, ids=lambda path: path.stem)
CENT = Decimal("0.01")


@lru_cache(maxsize=32)
def run(path: Path) -> Snapshot:
    house = house_from_json(path.read_text(encoding="utf-8"))
    return take_snapshot(house, load_book("standard"), rules=load_rules())


def trails(path: Path) -> Iterator[Trail]:
    snapshot = run(path)
    for priced in snapshot.options:
        yield from line_trails(snapshot, priced)


def dollars(text: str) -> Decimal:
    return Decimal(text.replace("$", "").replace(",", ""))


def result(trail: Trail, what: str) -> Decimal:
    return dollars(next(step.result for step in trail.steps if step.what == what))


def parts(trail: Trail) -> list[Step]:
    """Steps that end in dollars, before contingency."""
    names = [step.what for step in trail.steps]
    return [step for step in trail.steps[: names.index("Contingency")] if step.result.startswith("$")]


# D: the dollars that the steps print are added here; the line's own figures come from the columns.
@every_house
def test_the_printed_parts_add_up_to_the_printed_cost_and_price(path: Path) -> None:
    for trail in trails(path):
        if trail.line.code in ("minimum", "discount"):
            continue
        direct = sum((dollars(step.result) for step in parts(trail)), Decimal(0))
        contingency = (direct * Decimal("0.04")).quantize(CENT, ROUND_HALF_UP)
        assert result(trail, "Contingency") == contingency
        assert result(trail, "Direct cost") == direct + contingency == Decimal(trail.line.cost_cents) / 100
        shares = re.findall(r"([\d.]+)\s%", trail.steps[-1].working)
        rest = 1 - sum(map(Decimal, shares)) / 100
        assert result(trail, "Price") == ((direct + contingency) / rest).quantize(CENT, ROUND_HALF_UP)


@every_house
def test_the_printed_hours_are_what_labour_is_paid_for(path: Path) -> None:
    for trail in trails(path):
        labour = next((step for step in trail.steps if step.what == "Labour"), None)
        if labour is None or trail.line.code == "half day":
            continue
        paid = Decimal(re.findall(r"([\d.,]+) h ×", labour.working)[0].replace(",", ""))
        least = next((step for step in trail.steps if step.what == "Least time of a wall"), None)
        # What slows a wall down multiplies the step before; a least time takes the place of what stands before it.
        hours = {step.what: step.result.rpartition("= ")[2] for step in trail.steps if step.result.endswith(" h")}
        if least is not None:
            hours = {name: hours[name] for name in ("Least time of a wall", "Set-up")}
        slowed = next((step.result for step in trail.steps if step.what == "Slowed down"), None)
        if slowed is not None and least is None:
            hours.pop("Drilling and filling")
            hours["Slowed down"] = slowed.rpartition("= ")[2]
        total = sum(Decimal(text.removesuffix(" h").replace(",", "")) for text in hours.values())
        assert abs(total - paid) <= Decimal("0.005") * (len(hours) + 1)


@every_house
def test_shares_of_the_foam_are_the_mixes_that_were_bought(path: Path) -> None:
    snapshot = run(path)
    for priced in snapshot.options:
        found = [trail for trail in line_trails(snapshot, priced) if trail.line.code == "wall"]
        if found:
            shared = sum(result(trail, "Share of the mixes bought") for trail in found)
            assert shared == Decimal(priced.mixes_bought) * 96


def test_every_line_of_the_houses_has_steps_with_values() -> None:
    codes = set()
    for path in HOUSES:
        for trail in trails(path):
            codes.add(trail.line.code)
            assert trail.steps
            assert all(step.what and step.working and step.result for step in trail.steps)
            assert "nan" not in repr(trail).lower()
    assert codes >= {"wall", "attic", "leak", "tests", "half day", "travel", "disposal", "rigs", "purge"}
