"""One run of the whole chain for a house, and its frozen form: the same figures in files, database, papers and pages.

The form is canonical: keys sorted, nine significant digits, no clock, no path. The same house, price book, seed and
machine give the same bytes, so a hash says whether anything changed.
"""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from estimates.gates import HouseGates, house_gates
from estimates.house import WHOLE_SCOPE, HouseRecord, house_to_json
from estimates.lead import LeadFinding, option_lead
from estimates.offer import Offer, RuledDay, offers
from estimates.performance import Performance, performance
from estimates.physics.framing import DEFAULT_TOOL
from estimates.pricebook import PriceBook
from estimates.pricing import PricedOption, price
from estimates.records import read_record, write_record
from estimates.rules import RuleRow, load_rules, rule_from_form
from estimates.snapshot_forms import estimate_form, takeoff_form
from estimates.takeoff import Takeoff, take_off

ENGINE_VERSION = "2"
"""Counted up whenever the same input may give other figures."""

SIGNIFICANT_DIGITS = 9

OPENED = 4
"""So many levels of the JSON text are opened up: a bay of a wall, or a line of an option, stands on one line."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """A house with everything that was counted, calculated and priced from it."""

    house: HouseRecord
    book: PriceBook
    seed: int
    under: RuledDay
    rules: tuple[RuleRow, ...]
    gates: HouseGates
    takeoff: Takeoff
    performance: Performance
    options: tuple[PricedOption, ...]
    lead: tuple[LeadFinding, ...]
    offers: tuple[Offer, ...]

    def forms(self) -> dict[str, Any]:
        """JSON forms by name: house, price_book, rules, takeoff, performance, estimate."""
        head = {"engine": ENGINE_VERSION, "house": self.house.id}
        return {
            "house": house_to_json(self.house),
            "price_book": write_record(self.book),
            "rules": [row.form() for row in self.rules],
            "takeoff": head | takeoff_form(self.takeoff),
            "performance": head | dataclasses.asdict(self.performance),
            "estimate": head
            | estimate_form(self.book, self.under, self.gates, zip(self.options, self.lead, self.offers, strict=True)),
        }

    def text(self) -> str:
        """The canonical JSON of all forms together: what a revision freezes."""
        return canonical_json(self.forms())


class SnapshotDiffers(ValueError):
    """A frozen text cannot be worked out again to the same figures: it was made by another engine."""


def snapshot_from_text(text: str) -> Snapshot:
    """Work a frozen text out again, from the house, price book and seed frozen in it.

    Raises
    ------
    SnapshotDiffers : the figures are no longer the same to the last digit; papers must be served as they were written.
    """
    frozen = json.loads(text)
    made_by, name = frozen["estimate"]["engine"], frozen["estimate"]["house"]
    if made_by == ENGINE_VERSION:
        house = read_record(HouseRecord, frozen["house"])
        book = read_record(PriceBook, frozen["price_book"])
        rules = [rule_from_form(form) for form in frozen["rules"]]
        snapshot = take_snapshot(house, book, rules=rules, seed=frozen["performance"]["seed"])
        if snapshot.text() == text:
            return snapshot
    raise SnapshotDiffers(f"{name}: frozen by engine {made_by}, worked out by {ENGINE_VERSION}")


def take_snapshot(
    house: HouseRecord, book: PriceBook, *, rules: Iterable[RuleRow] | None = None, seed: int = 1
) -> Snapshot:
    """Run the chain: house -> takeoff -> performance and price -> what the homeowner would pay.

    Parameters
    ----------
    house : the measured house.
    book : products and rates.
    rules : the rule table; None: that of fixtures/rules.
    seed : of the ranges, >= 0.

    Raises
    ------
    BadRecord : a gate answer about something that does not exist, or a product that the price book does not hold.
    RuleMissing, BadRule : a rule that the estimate needs is missing or cannot be used; names it.

    Notes
    -----
    Inputs count to nine significant digits, as they are frozen, so that a frozen text can be worked out again.
    """
    house = read_record(HouseRecord, _rounded(house_to_json(house)))
    book = read_record(PriceBook, _rounded(write_record(book))).using(house.foam, house.loose_fill)
    under = RuledDay.of(house, book)
    rows = under.rows(load_rules() if rules is None else rules)
    gates = house_gates(house)
    takeoff = take_off(house, book, gates=gates)
    careful = {
        option.id: option_lead(
            house, takeoff.chosen(option), rows, under.places, on=under.priced_on, hole_in=DEFAULT_TOOL.diameter_in
        )
        for option in house.options or (WHOLE_SCOPE,)
    }
    options = price(house, takeoff, book, lead_safe={name: walls for name, (_, walls) in careful.items()}, seed=seed)
    return Snapshot(
        house=house,
        book=book,
        seed=seed,
        under=under,
        rules=rows,
        gates=gates,
        takeoff=takeoff,
        performance=performance(house, takeoff, book, seed=seed),
        options=options,
        lead=tuple(finding for finding, _ in careful.values()),
        offers=offers(house, takeoff, options, book, rows=rows, under=under),
    )


def canonical_json(value: Any) -> str:
    """JSON text with sorted keys and nine significant digits, its outer levels opened up, ending with a newline.

    Raises
    ------
    ValueError : a number is not finite.

    Examples
    --------
    >>> print(canonical_json({"b": 1 / 3, "a": [{"y": 1, "x": -0.0}, {"x": 2}]}), end="")
    {
     "a": [
      {"x": 0.0, "y": 1},
      {"x": 2}
     ],
     "b": 0.333333333
    }
    """
    return _lines(_rounded(value), 1) + "\n"


def _lines(value: Any, depth: int) -> str:
    """Open up the outer levels; what is deeper stands on one line, which the library writes fast."""
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    if depth > OPENED or not any(isinstance(item, dict | list) for item in inner):
        return json.dumps(value, sort_keys=True, ensure_ascii=False, allow_nan=False)
    pad = " " * depth
    if isinstance(value, dict):
        parts = [
            f"{pad}{json.dumps(key, ensure_ascii=False)}: {_lines(item, depth + 1)}"
            for key, item in sorted(value.items())
        ]
        return "{\n" + ",\n".join(parts) + f"\n{pad[1:]}}}"
    return "[\n" + ",\n".join(f"{pad}{_lines(item, depth + 1)}" for item in value) + f"\n{pad[1:]}]"


def _rounded(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _rounded(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(item) for item in value]
    if isinstance(value, StrEnum):
        return str(value)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"{value} cannot be written; a calculation has gone beyond its limits")
        # Adding zero turns -0.0 into 0.0.
        return float(f"{value:.{SIGNIFICANT_DIGITS}g}") + 0.0
    return value
