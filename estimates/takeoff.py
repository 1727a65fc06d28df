"""What a measured house needs: foam, mixes, holes, bags, hours - counted from the laid-out bays.

Three volumes, never mixed up: *fill* is the room there is (cavity less old insulation), *required* is what has to be
mixed (fill and waste), *water* is what the wall must dry out. Walls carry unrounded mixes; whole mixes and bags are
rounded once for a job, in `estimates.pricing`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import overload

import numpy as np
from numpy.typing import NDArray

from estimates.gates import HouseGates, house_gates
from estimates.house import (
    Access,
    AtticRecord,
    Closure,
    Construction,
    HouseRecord,
    InsideCover,
    LeakSiteRecord,
    OptionRecord,
    QuickWallRecord,
    TopLine,
    WallRecord,
    WeatherBarrier,
    framing_ends,
)
from estimates.physics.attic import coverage_row_for_r, net_free_area_in2
from estimates.physics.framing import DEFAULT_TOOL, ToolRecord, WallLayout, lay_out, quick_layout
from estimates.physics.materials import material
from estimates.physics.uncertainty import RangeInput
from estimates.pricebook import CoverageRow, FactRow, FoamProduct, LooseProduct, PriceBook

SASH_POCKETS_BEFORE = 1950
"""Double-hung windows of houses built before this year are taken to have sash-weight pockets."""

SASH_POCKET_IN = 2.5
"""Width of such a pocket on each side. [in] Common practice, no source."""


QUICK_SIZE = RangeInput("how large the walls are that were not measured one by one", 0.92, 1.0, 1.08)
"""Wall area as a share of that of the quick entry: perimeter paced, heights guessed. [1] Common practice, no source."""

HAIR = 1e-9
"""So much over a whole number comes from adding fractions, not from work. [units]"""

LADDER_FT, STAGING_FT = 10.0, 20.0
"""Work above the first takes a ladder and more time, above the second staging. [ft] Common practice, no source."""

TIGHT_INSIDE = {
    InsideCover.OIL_PAINT: "oil paint",
    InsideCover.VINYL_PAPER: "vinyl wallpaper",
    InsideCover.FOIL: "foil",
    InsideCover.MEMBRANE: "a membrane",
}
"""Inside covers that let less than about 1 perm through. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class WallTakeoff:
    """One wall. Areas in ft2, volumes in ft3; `mixes` is unrounded. A wall with `stops` is not priced."""

    wall: WallRecord
    layout: WallLayout
    fill_ft3: float
    required_ft3: float
    mixes: float
    water_lb: float
    foam_in: float
    fact: FactRow | None
    plugs: int
    cladding_lift_ft: float
    closing_ft: float
    ladder_share: float
    staging_share: float
    braced_bays: int
    stops: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def priced(self) -> bool:
        """Whether the wall may enter a price."""
        return not self.stops

    @property
    def reachable_bays(self) -> int:
        """Bays to fill."""
        if self.layout.quick is not None:
            return self.layout.quick.bays
        return sum(bay.reachable for bay in self.layout.bays)


@dataclass(frozen=True, slots=True)
class AtticTakeoff:
    """One attic. What is bought is `row`, the added R by the product's own table; the old fill is an estimate.

    `free_150_in2` and `free_300_in2` are the net free areas of vents that codes ask for, at 1/150 and 1/300. [in2]
    """

    attic: AtticRecord
    existing_r: float
    row: CoverageRow | None
    bags: float
    free_150_in2: float
    free_300_in2: float
    stops: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def priced(self) -> bool:
        """Whether the attic may enter a price: there is something to add, and nothing stops it."""
        return self.row is not None and not self.stops


@dataclass(frozen=True, slots=True)
class LeakTakeoff:
    """One leak site: hours and material dollars from the price book."""

    site: LeakSiteRecord
    hours: float
    material_dollars: float
    stops: tuple[str, ...] = ()

    @property
    def priced(self) -> bool:
        """Whether the leak site may enter a price."""
        return not self.stops


@dataclass(frozen=True, slots=True)
class Takeoff:
    """A house, counted."""

    walls: tuple[WallTakeoff, ...]
    attics: tuple[AtticTakeoff, ...]
    leaks: tuple[LeakTakeoff, ...]

    def chosen(self, option: OptionRecord) -> Takeoff:
        """The part of it that an option holds."""
        walls, attics, leaks = (
            None if ids is None else frozenset(ids) for ids in (option.wall_ids, option.attic_ids, option.leak_ids)
        )
        return Takeoff(
            tuple(w for w in self.walls if walls is None or w.wall.id in walls),
            tuple(a for a in self.attics if attics is None or a.attic.id in attics),
            tuple(s for s in self.leaks if leaks is None or s.site.id in leaks),
        )

    @property
    def priced_walls(self) -> tuple[WallTakeoff, ...]:
        """Walls that may be injected."""
        return tuple(wall for wall in self.walls if wall.priced)

    @property
    def priced_attics(self) -> tuple[AtticTakeoff, ...]:
        """Attics that may be topped up and need it."""
        return tuple(attic for attic in self.attics if attic.priced)

    @property
    def priced_leaks(self) -> tuple[LeakTakeoff, ...]:
        """Leak sites that may be closed."""
        return tuple(leak for leak in self.leaks if leak.priced)

    def gated(self, gates: HouseGates) -> Takeoff:
        """The same with what the gates stop and what they ask for, part by part."""
        stops, cautions = gates.stops(), gates.cautions()
        if not stops and not cautions:
            return self
        return Takeoff(
            tuple(
                replace(
                    wall,
                    stops=wall.stops + stops.get(wall.wall.id, ()),
                    warnings=wall.warnings + cautions.get(wall.wall.id, ()),
                )
                for wall in self.walls
            ),
            tuple(
                replace(
                    attic,
                    stops=attic.stops + stops.get(attic.attic.id, ()),
                    warnings=attic.warnings + cautions.get(attic.attic.id, ()),
                )
                for attic in self.attics
            ),
            tuple(replace(leak, stops=leak.stops + stops.get(leak.site.id, ())) for leak in self.leaks),
        )


def take_off(
    house: HouseRecord, book: PriceBook, tool: ToolRecord = DEFAULT_TOOL, *, gates: HouseGates | None = None
) -> Takeoff:
    """Count everything a house needs.

    Parameters
    ----------
    house : the measured house.
    book : products and rates.
    tool : nozzle and reach of the crew. [in]
    gates : what the gate answers of the house come to, where that is known already.

    Returns
    -------
    Takeoff, in the order of the record; parts that a hazard gate stops carry the reason and are not priced.

    Raises
    ------
    BadRecord : a gate answer about a gate or a part that does not exist.

    Examples
    --------
    >>> from estimates.pricebook import load_book
    >>> wall = WallRecord(id="w", name="North", length_ft=8.0, height_ft=8.09375)
    >>> counted = wall_take_off(wall, load_book("standard"), year_built=1960)
    >>> round(counted.fill_ft3, 3), round(counted.required_ft3, 3), round(counted.mixes, 4)
    (16.041, 17.163, 0.7151)
    """
    counted = Takeoff(
        (
            *(wall_take_off(wall, book, tool, year_built=house.year_built) for wall in house.walls),
            *(quick_take_off(quick, book, tool) for quick in house.quick_walls),
        ),
        tuple(attic_take_off(attic, book.loose_fill) for attic in house.attics),
        tuple(leak_take_off(site, book) for site in house.leak_sites),
    )
    return counted.gated(house_gates(house) if gates is None else gates)


def wall_layout(wall: WallRecord, tool: ToolRecord, sash_pocket_in: float) -> WallLayout:
    """The layout of a wall, kept: drawing, takeoff and papers ask for the same one, and walls built alike share it."""
    return replace(_laid_out(replace(wall, id="-", name="-"), tool, sash_pocket_in), wall_id=wall.id)


@lru_cache(maxsize=4096)
def _laid_out(wall: WallRecord, tool: ToolRecord, sash_pocket_in: float) -> WallLayout:
    return lay_out(wall, tool, sash_pocket_in=sash_pocket_in)


def wall_take_off(
    wall: WallRecord, book: PriceBook, tool: ToolRecord = DEFAULT_TOOL, *, year_built: int
) -> WallTakeoff:
    """Count one wall: see `take_off`.

    Notes
    -----
    Old insulation is squeezed, not removed: where it covers the cavity face the foam gets depth - t_c, elsewhere the
    full depth. fill = cavity x ((1 - c) + c (depth - t_c) / depth); required = fill x (1 + waste);
    water = fill x (wet - dry).
    """
    layout = wall_layout(wall, tool, SASH_POCKET_IN if year_built < SASH_POCKETS_BEFORE else 0.0)
    return _counted(wall, layout, book.foam)


def quick_take_off(quick: QuickWallRecord, book: PriceBook, tool: ToolRecord = DEFAULT_TOOL) -> WallTakeoff:
    """Count walls known by a few figures."""
    return _counted(quick_wall(quick), quick_layout(quick, tool), book.foam)


def quick_wall(quick: QuickWallRecord) -> WallRecord:
    """Walls known by a few figures as one wall, as long as their perimeter and as high as their storeys."""
    return WallRecord(
        id=quick.id,
        name=quick.name,
        length_ft=quick.perimeter_ft,
        height_ft=quick.storey_height_ft * quick.storeys,
        spacing_in=quick.spacing_in,
        depth_in=quick.depth_in,
        existing_fill=quick.existing_fill,
        cladding=quick.cladding,
        sheathing=quick.sheathing,
        inside=quick.inside,
        access=quick.access,
    )


def _counted(wall: WallRecord, layout: WallLayout, foam: FoamProduct) -> WallTakeoff:
    share, foam_in = _room_share(wall)
    fill = layout.volume_ft3 * share
    required = fill * (1.0 + foam.waste)
    left, right = framing_ends(wall)
    closings = [line.closure for line in wall.floor_lines] + [wall.sill, wall.top]
    rows = max(layout.holes_by_row(), default=0)
    ladder, staging = height_shares(wall)
    return WallTakeoff(
        wall=wall,
        layout=layout,
        fill_ft3=fill,
        required_ft3=required,
        mixes=required / foam.yield_ft3,
        water_lb=fill * (foam.wet_lb_ft3 - foam.dry_lb_ft3),
        foam_in=foam_in,
        fact=fact_row(foam, foam_in),
        plugs=layout.hole_count,
        cladding_lift_ft=rows * (right - left) / 12.0 if wall.access is Access.LIFT_CLADDING else 0.0,
        closing_ft=closings.count(Closure.BLOCKED_BY_US) * (right - left) / 12.0,
        ladder_share=ladder,
        staging_share=staging,
        braced_bays=sum(
            max(1, math.ceil(abs(brace.to_x_in - brace.from_x_in) / wall.spacing_in)) for brace in wall.braces
        ),
        stops=tuple(_wall_stops(wall, layout, foam, foam_in)),
        warnings=layout.warnings + tuple(_drying_warnings(wall, foam)),
    )


def height_shares(wall: WallRecord) -> tuple[float, float]:
    """Shares of a wall's height that are worked from a ladder and from staging; none when it is drilled from inside.

    Examples
    --------
    >>> wall = WallRecord(id="w", name="W", length_ft=20.0, height_ft=16.0, base_height_ft=2.0)
    >>> height_shares(wall)
    (0.5, 0.0)
    """
    if wall.access is Access.DRILL_INSIDE:
        return 0.0, 0.0
    line = TopLine.of(wall)
    high = (line.left_in + line.right_in) / 24.0
    base = wall.base_height_ft

    def above(height_ft: float) -> float:
        return min(high, max(0.0, base + high - height_ft)) / high

    staging = above(STAGING_FT)
    return above(LADDER_FT) - staging, staging


def _drying_warnings(wall: WallRecord, foam: FoamProduct) -> list[str]:
    """Faces that keep the water of wet foam in the wall (rule G7)."""
    inside = TIGHT_INSIDE.get(wall.inside_cover)
    outside = wall.weather_barrier is WeatherBarrier.FOIL_BOARD
    if inside and outside:
        return [
            f"both faces let little vapour through ({inside}, foil-faced board): the wall cannot dry; ask a designer"
        ]
    if inside:
        return [
            f"{inside} inside lets little vapour through: the foam dries outward only, {foam.drying_days} days or more"
        ]
    if outside:
        return ["foil-faced board outside lets little vapour through: the foam dries inward only; nothing tight inside"]
    return []


def fact_row(foam: FoamProduct, thickness_in: float) -> FactRow | None:
    """The fact-sheet row that papers may print: the largest listed thickness not above the installed one."""
    listed = [row for row in foam.facts if row.thickness_in <= thickness_in + 1e-9]
    return max(listed, key=lambda row: row.thickness_in) if listed else None


def _room_share(wall: WallRecord) -> tuple[float, float]:
    """Share of the cavity the foam can fill, and its least thickness. [1, in]"""
    old = wall.existing_fill
    if old is None:
        return 1.0, wall.depth_in
    thin = max(0.0, wall.depth_in - old.compressed_in)
    return (
        1.0 - old.covered_share
    ) + old.covered_share * thin / wall.depth_in, thin if old.covered_share else wall.depth_in


def _wall_stops(wall: WallRecord, layout: WallLayout, foam: FoamProduct, foam_in: float) -> list[str]:
    stops = []
    if wall.construction in (Construction.SOLID_BRICK, Construction.BLOCK):
        stops.append("masonry: filling its furred gap can let frost into the wall; needs a designer's release")
    stops += [f"escape path: {place} is open; close it or record how it is closed" for place in layout.escapes]
    if foam_in < foam.least_thickness_in:
        stops.append(
            f"not worth filling: {foam_in:.2f} in left beside the old insulation, the product needs "
            f"{foam.least_thickness_in:g} in"
        )
    if layout.volume_ft3 <= 0:
        stops.append("no bay that can be reached")
    return stops


def attic_take_off(attic: AtticRecord, product: LooseProduct) -> AtticTakeoff:
    """Count one attic: the smallest listed R that reaches the target over an estimate of what lies there."""
    existing = 0.0
    warnings = []
    free = [float(net_free_area_in2(attic.area_ft2, ratio)) for ratio in (150, 300)]
    if attic.vented and attic.net_free_in2 is not None and attic.net_free_in2 < free[1]:
        warnings.append(
            f"{attic.name}: vents of {attic.net_free_in2:,.0f} in2 are less than the {free[1]:,.0f} in2 that 1/300 of "
            "its floor asks for: add vents or ask the code official"
        )
    if attic.existing_material is not None and attic.existing_depth_in > 0:
        # An estimate by handbook conductivity; papers never print it as a product's R-value.
        existing = material(attic.existing_material).resistance(attic.existing_depth_in)
    missing = attic.target_r - existing
    if missing <= 0:
        warnings.append(f"{attic.name}: already at about R-{existing:.0f}, nothing to add")
        return AtticTakeoff(attic, existing, None, 0.0, free[0], free[1], (), tuple(warnings))
    most = product.coverage[-1]
    row = most if missing > most.r else coverage_row_for_r(product.coverage, missing)
    if missing > most.r:
        warnings.append(
            f"{attic.name}: the table ends at R-{most.r:g}; the target of R-{attic.target_r:g} is not reached"
        )
    bags = attic.area_ft2 * row.bags_per_1000_ft2 / 1000.0
    return AtticTakeoff(attic, existing, row, bags, free[0], free[1], (), tuple(warnings))


def leak_take_off(site: LeakSiteRecord, book: PriceBook) -> LeakTakeoff:
    """Hours and material of one leak site."""
    work = book.leak(site.kind)
    return LeakTakeoff(site, site.quantity * work.hours, site.quantity * work.material)


@overload
def whole_units(unrounded: float) -> int: ...
@overload
def whole_units(unrounded: NDArray[np.float64]) -> NDArray[np.int64]: ...
def whole_units(unrounded: float | NDArray[np.float64]) -> int | NDArray[np.int64]:
    """Whole mixes, bags or half-days to buy; a hair over a whole number from adding fractions buys no more.

    Examples
    --------
    >>> whole_units(3.0000000000004), whole_units(3.01), whole_units(0.0)
    (3, 4, 0)
    """
    if isinstance(unrounded, np.ndarray):
        return np.asarray(np.ceil(unrounded - HAIR), dtype=np.int64)
    return math.ceil(unrounded - HAIR)
