"""One run of the whole chain for a house, and its frozen form: the same figures in files, database, papers and pages.

The form is canonical: keys sorted, nine significant digits, no clock, no path. The same house, price book, seed and
machine give the same bytes, so a hash says whether anything changed.
"""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from estimates.house import HouseRecord, house_to_json
from estimates.performance import Performance, performance
from estimates.pricebook import PriceBook
from estimates.pricing import Line, PricedOption, price
from estimates.records import read_record, write_record
from estimates.takeoff import AtticTakeoff, LeakTakeoff, Takeoff, WallTakeoff, take_off

ENGINE_VERSION = "1"
"""Counted up whenever the same input may give other figures."""

SIGNIFICANT_DIGITS = 9


@dataclass(frozen=True, slots=True)
class Snapshot:
    """A house with everything that was counted, calculated and priced from it."""

    house: HouseRecord
    book: PriceBook
    seed: int
    takeoff: Takeoff
    performance: Performance
    options: tuple[PricedOption, ...]

    def forms(self) -> dict[str, dict[str, Any]]:
        """JSON forms by name: house, price_book, takeoff, performance, estimate."""
        head = {"engine": ENGINE_VERSION, "house": self.house.id}
        return {
            "house": house_to_json(self.house),
            "price_book": write_record(self.book),
            "takeoff": head | takeoff_form(self.takeoff),
            "performance": head | dataclasses.asdict(self.performance),
            "estimate": head | estimate_form(self.options, self.book),
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
    house = read_record(HouseRecord, frozen["house"])
    book = read_record(PriceBook, frozen["price_book"])
    snapshot = take_snapshot(house, book, seed=frozen["performance"]["seed"])
    if snapshot.text() != text:
        raise SnapshotDiffers(
            f"{house.id}: frozen by engine {frozen['estimate']['engine']}, worked out by {ENGINE_VERSION}"
        )
    return snapshot


def take_snapshot(house: HouseRecord, book: PriceBook, *, seed: int = 1) -> Snapshot:
    """Run the chain: house -> takeoff -> performance and price.

    Parameters
    ----------
    house : the measured house.
    book : products and rates.
    seed : of the ranges, >= 0.

    Notes
    -----
    Inputs count to nine significant digits, as they are frozen, so that a frozen text can be worked out again.
    """
    house = read_record(HouseRecord, _rounded(house_to_json(house)))
    book = read_record(PriceBook, _rounded(write_record(book)))
    takeoff = take_off(house, book)
    return Snapshot(
        house=house,
        book=book,
        seed=seed,
        takeoff=takeoff,
        performance=performance(house, takeoff, book, seed=seed),
        options=price(house, takeoff, book, seed=seed),
    )


def canonical_json(value: Any) -> str:
    """JSON text with sorted keys and nine significant digits, ending with a newline.

    Raises
    ------
    ValueError : a number is not finite.

    Examples
    --------
    >>> print(canonical_json({"b": 1 / 3, "a": [1, -0.0]}), end="")
    {
     "a": [
      1,
      0.0
     ],
     "b": 0.333333333
    }
    """
    return json.dumps(_rounded(value), sort_keys=True, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


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


def takeoff_form(takeoff: Takeoff) -> dict[str, Any]:
    """Takeoff as plain figures; units stand in the names."""
    return {
        "walls": [_wall_form(wall) for wall in takeoff.walls],
        "attics": [_attic_form(attic) for attic in takeoff.attics],
        "leak_sites": [_leak_form(leak) for leak in takeoff.leaks],
    }


def _wall_form(counted: WallTakeoff) -> dict[str, Any]:
    layout = counted.layout
    return {
        "id": counted.wall.id,
        "name": counted.wall.name,
        "gross_ft2": layout.gross_ft2,
        "opening_ft2": layout.opening_ft2,
        "net_ft2": layout.net_ft2,
        "framing_ft2": layout.framing_ft2,
        "cavity_ft2": layout.cavity_ft2,
        "no_fill_ft2": layout.no_fill_ft2,
        "framing_fraction": layout.framing_fraction,
        "placed": layout.quick is None,
        "bay_count": layout.bay_count,
        "reachable_bay_count": counted.reachable_bays,
        "hole_count": layout.hole_count,
        "holes_by_row": layout.holes_by_row(),
        "cavity_ft3": layout.volume_ft3,
        "fill_ft3": counted.fill_ft3,
        "required_ft3": counted.required_ft3,
        "mixes": counted.mixes,
        "water_lb": counted.water_lb,
        "foam_in": counted.foam_in,
        "fact_sheet": None if counted.fact is None else dataclasses.asdict(counted.fact),
        "plugs": counted.plugs,
        "cladding_lift_ft": counted.cladding_lift_ft,
        "ladder_share": counted.ladder_share,
        "staging_share": counted.staging_share,
        "braced_bays": counted.braced_bays,
        "closing_ft": counted.closing_ft,
        "priced": counted.priced,
        "stops": counted.stops,
        "warnings": counted.warnings,
        "bays": [
            {
                "number": bay.number,
                "stud_bay": bay.stud_bay,
                "place": bay.place,
                "left_in": bay.left_in,
                "right_in": bay.right_in,
                "bottom_in": bay.bottom_in,
                "top_in": bay.top_in,
                "clear_width_in": bay.clear_width_in,
                "area_ft2": bay.area_ft2,
                "volume_ft3": bay.volume_ft3,
                "reachable": bay.reachable,
                "reason": bay.reason,
                "outline_in": bay.outline,
                "holes": [dataclasses.asdict(hole) for hole in bay.holes],
            }
            for bay in layout.bays
        ],
    }


def _attic_form(counted: AtticTakeoff) -> dict[str, Any]:
    return {
        "id": counted.attic.id,
        "name": counted.attic.name,
        "area_ft2": counted.attic.area_ft2,
        "existing_r_estimated": counted.existing_r,
        "added": None if counted.row is None else dataclasses.asdict(counted.row),
        "bags": counted.bags,
        "baffles": counted.attic.soffit_bays,
        "dam_ft": counted.attic.dam_ft,
        "hatch_ft2": counted.attic.hatch_ft2,
        "net_free_150_in2": counted.free_150_in2,
        "net_free_300_in2": counted.free_300_in2,
        "priced": counted.priced,
        "stops": counted.stops,
        "warnings": counted.warnings,
    }


def _leak_form(counted: LeakTakeoff) -> dict[str, Any]:
    return {
        "id": counted.site.id,
        "name": counted.site.name,
        "kind": counted.site.kind,
        "quantity": counted.site.quantity,
        "hours": counted.hours,
        "material_dollars": counted.material_dollars,
        "priced": counted.priced,
        "stops": counted.stops,
    }


def estimate_form(options: tuple[PricedOption, ...], book: PriceBook) -> dict[str, Any]:
    """Priced options as plain figures; money in cents."""
    return {
        "price_book": {"id": book.id, "version": book.version, "effective_from": book.effective_from},
        "options": [_option_form(option) for option in options],
    }


def _option_form(priced: PricedOption) -> dict[str, Any]:
    return {
        "id": priced.option.id,
        "name": priced.option.name,
        "direct_cost_cents": priced.cost_cents,
        "price_cents": priced.price_cents,
        "margin": priced.margin,
        "margin_before_shares": priced.margin_before_shares,
        "markup": priced.markup,
        "target_margin": priced.target_margin,
        "floor_margin": priced.floor_margin,
        "direct_cost_range_cents": dataclasses.asdict(priced.cost_range),
        "margin_range": dataclasses.asdict(priced.margin_range),
        "below_floor": priced.below_floor,
        "commission_cents": priced.commission_cents,
        "deposit_cents": priced.deposit_cents,
        "mixes_bought": priced.mixes_bought,
        "bags_bought": priced.bags_bought,
        "crew_days": priced.crew_days,
        "warnings": priced.warnings,
        "lines": [_line_form(line) for line in priced.lines],
    }


def _line_form(line: Line) -> dict[str, Any]:
    return {
        "code": line.code,
        "measure": line.measure,
        "subject": line.subject,
        "name": line.name,
        "quantity": line.quantity,
        "unit": line.unit,
        "hours": line.hours,
        "direct_cost_cents": line.cost_cents,
        "direct_cost_parts_cents": line.cost,
        "price_cents": line.price_cents,
    }
