"""What a house would cost as it is known now, in memory: nothing is written, nothing is promised."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import date

from estimates.house import HouseRecord, house_faults
from estimates.physics.validity import OutOfRange
from estimates.price_books import NoPriceBook, price_book_on
from estimates.pricebook import PriceBook, load_book
from estimates.pricing import PricedOption, PriceRefused
from estimates.records import BadRecord
from estimates.rules import BadRule, RuleMissing
from estimates.rules_table import rule_rows
from estimates.snapshot import Snapshot, take_snapshot

BOOK = "standard"
"""The price book of the firm."""


@dataclass(frozen=True, slots=True)
class PriceRange:
    """An option and what it would cost: the price, and the range that the cost's own doubt gives it. [cents]"""

    name: str
    price_cents: int
    range_cents: dict[str, float]


@dataclass(frozen=True, slots=True)
class Outlook:
    """What is known of the price: options with their ranges, or why there is none yet; and what would narrow it."""

    options: tuple[PriceRange, ...]
    missing: str
    narrows: tuple[str, ...]


def outlook(house: HouseRecord, on: date) -> Outlook:
    """Price a house as far as it is known.

    Parameters
    ----------
    house : the record, unfinished perhaps.
    on : the day whose prices hold, where the record names none.

    Notes
    -----
    Range of the price = price x (P10, P50, P90 of the direct cost) / direct cost, because price and cost are in
    proportion at a fixed margin; discounts are left in proportion too.
    """
    try:
        snapshot = price_in_memory(house, on)
    except BadRecord as bad:
        return Outlook((), bad.faults[0].message, ())
    except (NoPriceBook, OutOfRange, PriceRefused, RuleMissing, BadRule) as fault:
        return Outlook((), str(fault), ())
    return Outlook(tuple(map(_range, snapshot.options)), "", narrowing(house, snapshot))


def price_in_memory(house: HouseRecord, on: date) -> Snapshot:
    """Run the chain for a record that may be unfinished.

    Raises
    ------
    BadRecord : something in it does not fit together.
    NoPriceBook, OutOfRange, PriceRefused, RuleMissing, BadRule : the chain cannot be run; the text names what to mend.
    """
    if house.priced_on is None:
        house = dataclasses.replace(house, priced_on=on)
    faults = list(house_faults(house))
    if faults:
        raise BadRecord(faults)
    assert house.priced_on is not None
    return take_snapshot(house, book_on(house.priced_on), rules=rule_rows() or None)


def book_on(day: date) -> PriceBook:
    """The price book of the firm on a day; the one that comes with the program while none is published."""
    try:
        return price_book_on(BOOK, day)
    except NoPriceBook:
        return load_book(BOOK)


def _range(priced: PricedOption) -> PriceRange:
    scale = priced.price_cents / priced.cost_cents if priced.cost_cents else 0.0
    spread = priced.cost_range
    ends = {"p10": spread.p10 * scale, "p50": spread.p50 * scale, "p90": spread.p90 * scale}
    return PriceRange(priced.option.name, priced.price_cents, ends)


def narrowing(house: HouseRecord, snapshot: Snapshot) -> tuple[str, ...]:
    """What would narrow the range of price or savings, what matters most first."""
    found = []
    if house.quick_walls:
        found.append("Measure the walls one by one: size, windows and framing are guesses by a few figures so far.")
    fills = [wall.existing_fill for wall in house.walls] + [wall.existing_fill for wall in house.quick_walls]
    if None in fills:
        found.append("Probe the cavities: walls without a word on old insulation count as empty.")
    if house.blower_door is None:
        found.append("Run the blower door: without it the air leaks count nothing.")
    elif len(house.blower_door.points) < 5:
        found.append("Take five blower-door readings or more: one alone gives no curve.")
    if not house.bills and house.heating.yearly_units is None:
        found.append("Type a year of fuel bills: savings are held to what was burnt.")
    for option in snapshot.performance.options[:1]:
        found += [f"Savings sway most with {words}." for words in option.matters[:1]]
    return tuple(found)
