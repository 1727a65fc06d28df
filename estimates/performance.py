"""How the house loses heat and air before and after each option, and what the difference saves, with ranges.

Every uncertain input is drawn once per house and used again in every option, so options differ by the work and never by
luck. Options run from one baseline; what several measures save together is worked out together, never added up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from estimates.house import (
    WHOLE_SCOPE,
    HouseRecord,
    InsideFinish,
    LeakKind,
    OptionRecord,
    SurfaceKind,
    WallRecord,
)
from estimates.physics.airtightness import (
    HIGH_EXPONENT,
    LEAKAGE_SHARES,
    LOW_EXPONENT,
    cfm50_single_point,
    ela_in2,
    fit_power_law,
    infiltration_cfm,
    leakage_after,
)
from estimates.physics.assembly import shrinkage_void_fraction, wall_layers, wall_u
from estimates.physics.energy import FUELS, load_change
from estimates.physics.materials import AIR_FILMS, EMPTY_CAVITY_R, FIELD_BATT_R_PER_IN, framing_r, material
from estimates.physics.uncertainty import Percentiles, RangeInput, Sampler, influences, percentiles
from estimates.pricebook import FoamProduct, PriceBook
from estimates.takeoff import QUICK_SIZE, AtticTakeoff, Takeoff, WallTakeoff, fact_row

DRAWS = 2000
"""Draws of a range: P10 and P90 of savings move by about 1 % from seed to seed."""

Draws = NDArray[np.float64]

FRAMING = RangeInput("how much framing stands in the walls unseen", 0.0, 0.04, 0.08)
"""Undetected framing over the net wall. [1] From memory, unconfirmed."""

EMPTY = RangeInput("how well an empty cavity resists heat", 0.75, EMPTY_CAVITY_R, 1.01)
"""[h ft2 degF/Btu] Best and high: see EMPTY_CAVITY_R; low: common practice, no source."""

KEYS = RangeInput("plaster squeezed into the cavities", 0.0, 0.2, 0.5)
"""Depth lost to plaster that squeezed through the laths. [in] Common practice, no source."""

QUICK_WINDOWS = RangeInput("how much of the quick walls is windows and doors", -0.05, 0.0, 0.05)
"""Added to the share of openings of a quick entry. [1] Common practice, no source."""

QUICK_FRAMING = RangeInput("how much of the quick walls is framing", -0.05, 0.0, 0.05)
"""Added to the framing share of a quick entry, which has no undetected part. [1] Common practice, no source."""

OLD_ATTIC = RangeInput("how well the old attic insulation still works", 0.7, 1.0, 1.15)
"""[1] Common practice, no source."""

WINTER = RangeInput("how long in the year the house needs heat", 0.85, 1.0, 1.15)
"""Degree days when the balance temperature is not known from bills. [1] Common practice: 60 degF, give or take 4."""

FILL_EFFECT = RangeInput("how much air filling the walls stops", 0.3, 0.5, 0.7)
"""Share of the leakage through filled walls that stops. [1] Common practice, no source; learned from verified jobs."""

SEAL_EFFECT = RangeInput("how much air sealing a leak site stops", 0.6, 0.8, 0.9)
"""Share of the leakage through sealed sites that stops. [1] Common practice, no source; learned from verified jobs."""

COMPONENT = {
    LeakKind.TOP_PLATE: "ceiling",
    LeakKind.CHIMNEY_CHASE: "ceiling",
    LeakKind.PLUMBING_STACK: "ceiling",
    LeakKind.RECESSED_LIGHT: "ceiling",
    LeakKind.ATTIC_HATCH: "ceiling",
    LeakKind.RIM_JOIST: "walls",
    LeakKind.SILL_PLATE: "walls",
    LeakKind.WINDOW_TRIM: "windows",
    LeakKind.DUCT_BOOT: "ducts",
}
"""Part of the house's leakage that a leak site belongs to."""

_IN_WORDS = {
    "walls": "the walls",
    "ceiling": "the ceiling",
    "windows": "windows and doors",
    "ducts": "the ducts",
    "fireplace": "the fireplace",
    "vents": "vents",
}

_FILM = {
    SurfaceKind.FLOOR: "inside_down",
    SurfaceKind.OVERHANG: "inside_down",
    SurfaceKind.RAFTER_SLOPE: "inside_up",
}


@dataclass(frozen=True, slots=True)
class SurfaceHeat:
    """One wall or attic: net area [ft2] and its U, framing included [Btu/(h ft2 degF)]."""

    id: str
    name: str
    area_ft2: float
    u_before: float
    u_after: float


@dataclass(frozen=True, slots=True)
class OptionPerformance:
    """An option: heat and air before and after. CFM50 is None where the house has no blower-door test."""

    option_id: str
    surfaces: tuple[SurfaceHeat, ...]
    ua_before: float
    ua_after: float
    cfm50_before: float | None
    cfm50_after: Percentiles | None
    saved_units: Percentiles
    saved_dollars: Percentiles
    fuel_unit: str
    matters: tuple[str, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Performance:
    """All options of a house from one baseline, from one seeded set of draws."""

    seed: int
    draws: int
    leak_exponent: float | None
    options: tuple[OptionPerformance, ...]


@dataclass(frozen=True, slots=True)
class _Inputs:
    """Uncertain inputs of one house, either their best values or their draws."""

    values: Mapping[str, Any]

    def __getitem__(self, spec: RangeInput) -> Any:
        return self.values[spec.name]


def performance(
    house: HouseRecord, takeoff: Takeoff, book: PriceBook, *, seed: int = 1, draws: int = DRAWS
) -> Performance:
    """Heat and air before and after every option of a house.

    Parameters
    ----------
    house, takeoff, book : the measured house, what was counted on it, and its products.
    seed : of the draws, >= 0.
    draws : how many, >= 100.

    Raises
    ------
    OutOfRange : a value of the house lies outside the limits of a formula; names it.
    """
    specs = _specs(house, takeoff, book.foam)
    sampler = Sampler(seed, draws)
    best = _Inputs({spec.name: spec.best for spec in specs})
    drawn = _Inputs(sampler.draw_all(specs))
    leak = _Leakage.of(house)
    return Performance(
        seed=seed,
        draws=draws,
        leak_exponent=None if leak is None else leak.exponent,
        options=tuple(
            _option(house, takeoff, option, book.foam, leak, best, drawn, specs)
            for option in house.options or (WHOLE_SCOPE,)
        ),
    )


def _specs(house: HouseRecord, takeoff: Takeoff, foam: FoamProduct) -> tuple[RangeInput, ...]:
    specs = [FRAMING, EMPTY, KEYS, OLD_ATTIC, WINTER, FILL_EFFECT, SEAL_EFFECT, _shrinkage(foam)]
    specs += [_old_batts(wall.wall) for wall in takeoff.walls if wall.wall.existing_fill is not None]
    specs += [_leak_share(share) for share in LEAKAGE_SHARES]
    specs += [QUICK_SIZE, QUICK_WINDOWS, QUICK_FRAMING] if house.quick_walls else []
    return tuple({spec.name: spec for spec in specs}.values())


def _shrinkage(foam: FoamProduct) -> RangeInput:
    middle = (foam.shrinkage_low + foam.shrinkage_high) / 2
    return RangeInput("how much the foam shrinks", foam.shrinkage_low, middle, foam.shrinkage_high)


def _old_batts(wall: WallRecord) -> RangeInput:
    """What old batts still do, per inch. [R/in]"""
    assert wall.existing_fill is not None
    field = FIELD_BATT_R_PER_IN[wall.existing_fill.condition]
    return RangeInput(
        f"how well old batts in {field.condition} condition still work", field.low, field.best, field.high
    )


def _leak_share(share: RangeInput) -> RangeInput:
    return replace(share, name=f"how much of the leakage goes through {_IN_WORDS[share.name]}")


# --- heat --------------------------------------------------------------------------------------------------------


def _wall(counted: WallTakeoff, foam: FoamProduct, filled: bool, inputs: _Inputs) -> Any:
    """U of a wall, framing included. [Btu/(h ft2 degF)]"""
    wall, layout, old = counted.wall, counted.layout, counted.wall.existing_fill
    layers = wall_layers(wall.cladding, wall.sheathing, wall.inside)
    film = AIR_FILMS[_FILM.get(wall.kind, "inside_vertical")].r - AIR_FILMS["inside_vertical"].r
    keys = inputs[KEYS] if wall.inside is InsideFinish.PLASTER_LATH else 0.0
    empty = inputs[EMPTY]
    framing, unseen = layout.framing_fraction, inputs[FRAMING]
    if layout.quick is not None:
        framing, unseen = np.clip(framing + inputs[QUICK_FRAMING], 0.0, 1.0), 0.0
    unreached = sum(bay.area_ft2 for bay in layout.bays if not bay.reachable) + layout.no_fill_ft2
    covered_share = 0.0 if old is None else old.covered_share
    if not filled:
        cavity_r = empty
        covered_r = empty if old is None else inputs[_old_batts(wall)] * old.in_place_in
        void: Any = 0.0
    else:
        cavity_r = _foam_r(foam, wall.depth_in, keys)
        covered_r = cavity_r
        if old is not None:
            squeezed = material(old.material).resistance(old.compressed_in) if old.compressed_in > 0 else 0.0
            covered_r = squeezed + _foam_r(foam, wall.depth_in - old.compressed_in, keys)
        void = shrinkage_void_fraction(inputs[_shrinkage(foam)], wall.spacing_in - wall.stud_in, _bay_height(counted))
    return wall_u(
        series_r=layers.series_r + film,
        cavity_r=cavity_r,
        framing_r=framing_r(wall.depth_in),
        framing_fraction=framing,
        undetected_framing=unseen,
        covered_share=covered_share,
        covered_r=covered_r,
        void_fraction=void,
        unfilled_fraction=unreached / layout.net_ft2 if layout.net_ft2 > 0 else 0.0,
        empty_r=empty,
    ).u


def _wall_area(counted: WallTakeoff, inputs: _Inputs) -> Any:
    """Net area of a wall, or of walls known by a few figures only. [ft2]"""
    layout = counted.layout
    if layout.quick is None:
        return layout.net_ft2
    openings = np.clip(layout.opening_ft2 / layout.gross_ft2 + inputs[QUICK_WINDOWS], 0.0, 0.95)
    return layout.gross_ft2 * inputs[QUICK_SIZE] * (1.0 - openings)


def _foam_r(foam: FoamProduct, thickness_in: float, lost_in: Any) -> Any:
    """R of foam in a cavity, at the resistance per inch of its fact-sheet row; for heat loss, never for papers."""
    row = fact_row(foam, thickness_in) or foam.facts[0]
    return row.r / row.thickness_in * np.maximum(thickness_in - lost_in, 0.1)


def _bay_height(counted: WallTakeoff) -> float:
    return max((bay.top_in - bay.bottom_in for bay in counted.layout.bays), default=1.0)


def _attic(counted: AtticTakeoff, filled: bool, inputs: _Inputs) -> Any:
    """U of an attic floor: films up and down, ceiling board, old and new fill over the joists. [Btu/(h ft2 degF)]"""
    added = counted.row.r if filled and counted.row is not None else 0.0
    fixed = 2 * AIR_FILMS["inside_up"].r + material("gypsum").resistance()
    return 1.0 / (fixed + counted.existing_r * inputs[OLD_ATTIC] + added)


# --- air ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Leakage:
    """What the blower-door test says: CFM50 and the exponent of its curve."""

    cfm50: float
    exponent: float
    warnings: tuple[str, ...]

    @classmethod
    def of(cls, house: HouseRecord) -> _Leakage | None:
        test = house.blower_door
        if test is None:
            return None
        if len(test.points) >= 3:
            fit = fit_power_law(
                [point.pressure_pa for point in test.points],
                [point.flow_cfm for point in test.points],
                # The record keeps the sign of the gauge (outside is lower): a house already sucked on reads negative.
                baseline_pa=-test.baseline_pa,
                indoor_f=test.indoor_f,
                outdoor_f=test.outdoor_f,
                altitude_ft=house.climate.altitude_ft,
            )
            # Beyond these limits no hole leaks; the fit has warned, and the area and winter leakage stay finite.
            exponent = min(max(fit.exponent, LOW_EXPONENT), HIGH_EXPONENT)
            return cls(fit.cfm50, exponent, fit.warnings)
        point = min(test.points, key=lambda point: abs(point.pressure_pa - 50.0))
        one = cfm50_single_point(point.flow_cfm, point.pressure_pa + test.baseline_pa)
        return cls(float(one.cfm50), one.exponent, one.warnings)


def _air_after(
    house: HouseRecord, takeoff: Takeoff, chosen: Takeoff, leak: _Leakage, inputs: _Inputs
) -> tuple[Any, tuple[str, ...]]:
    """CFM50 after an option. [cfm]"""
    treated: dict[str, dict[str, Any]] = {}
    effects: dict[str, dict[str, Any]] = {}
    whole = sum(wall.layout.net_ft2 for wall in takeoff.walls)
    filled = sum(wall.layout.net_ft2 for wall in chosen.priced_walls)
    if filled > 0:
        treated["walls"] = {"fill": filled / whole}
        effects["walls"] = {"fill": inputs[FILL_EFFECT]}
    absent = [name for name, there in (("ducts", house.has_ducts), ("fireplace", house.has_fireplace)) if not there]
    for counted in chosen.priced_leaks:
        component = COMPONENT[counted.site.kind]
        if component in absent:
            continue
        parts = treated.setdefault(component, {})
        parts["seal"] = min(1.0, parts.get("seal", 0.0) + counted.site.component_share)
        effects.setdefault(component, {})["seal"] = inputs[SEAL_EFFECT]
    shares = {share.name: inputs[_leak_share(share)] for share in LEAKAGE_SHARES}
    after = leakage_after(leak.cfm50, shares, treated, effects, absent=absent)
    return after.cfm50, after.warnings


def _winter_leakage(house: HouseRecord, leak: _Leakage, cfm50: Any) -> Any:
    """Mean leakage over the heating season. [cfm]"""
    climate = house.climate
    return infiltration_cfm(
        ela_in2(cfm50, leak.exponent),
        house.storeys,
        house.shelter_class,
        max(0.0, house.indoor_f - climate.season_mean_f),
        climate.season_wind_mph,
    )


# --- an option ---------------------------------------------------------------------------------------------------


def _surfaces(
    takeoff: Takeoff, chosen: Takeoff, foam: FoamProduct, inputs: _Inputs
) -> list[tuple[str, str, Any, Any, Any]]:
    filled = {wall.wall.id for wall in chosen.priced_walls}
    topped = {attic.attic.id for attic in chosen.priced_attics}
    found: list[tuple[str, str, Any, Any, Any]] = []
    for wall in takeoff.walls:
        before = _wall(wall, foam, False, inputs)
        after = _wall(wall, foam, True, inputs) if wall.wall.id in filled else before
        found.append((wall.wall.id, wall.wall.name, _wall_area(wall, inputs), before, after))
    for attic in takeoff.attics:
        before = _attic(attic, False, inputs)
        after = _attic(attic, True, inputs) if attic.attic.id in topped else before
        found.append((attic.attic.id, attic.attic.name, attic.attic.area_ft2, before, after))
    return found


def _option(
    house: HouseRecord,
    takeoff: Takeoff,
    option: OptionRecord,
    foam: FoamProduct,
    leak: _Leakage | None,
    best: _Inputs,
    drawn: _Inputs,
    specs: tuple[RangeInput, ...],
) -> OptionPerformance:
    chosen = takeoff.chosen(option)
    surfaces = tuple(
        SurfaceHeat(name, words, float(area), float(before), float(after))
        for name, words, area, before, after in _surfaces(takeoff, chosen, foam, best)
    )
    warnings: list[str] = [] if leak is None else list(leak.warnings)
    less_ua: Any = sum(area * (before - after) for _, _, area, before, after in _surfaces(takeoff, chosen, foam, drawn))
    less_cfm: Any = 0.0
    after_cfm50: Any = None
    if leak is None:
        warnings.append("no blower-door test: what less air saves is not counted")
    else:
        after_cfm50, notes = _air_after(house, takeoff, chosen, leak, drawn)
        warnings += notes
        less_cfm = _winter_leakage(house, leak, leak.cfm50) - _winter_leakage(house, leak, after_cfm50)
    units = _units(house, less_ua, less_cfm, drawn[WINTER])
    if house.heating.yearly_units is not None and float(np.median(units)) > house.heating.yearly_units:
        warnings.append("savings were cut back to what the bills say heating uses: check bills, areas and degree days")
    units = np.minimum(units, np.inf if house.heating.yearly_units is None else house.heating.yearly_units)
    varied = {spec.name: drawn[spec] for spec in specs if spec.low < spec.high}
    return OptionPerformance(
        option_id=option.id,
        surfaces=surfaces,
        ua_before=sum(s.area_ft2 * s.u_before for s in surfaces),
        ua_after=sum(s.area_ft2 * s.u_after for s in surfaces),
        cfm50_before=None if leak is None else leak.cfm50,
        cfm50_after=None if leak is None else percentiles(after_cfm50 * np.ones_like(units)),
        saved_units=percentiles(units),
        saved_dollars=percentiles(units * house.heating.price_per_unit),
        fuel_unit=FUELS[house.heating.fuel].unit,
        matters=tuple(one.name for one in influences(units, varied)) if np.ptp(units) > 0 else (),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _units(house: HouseRecord, less_ua: Any, less_cfm: Any, winter: Draws) -> Draws:
    """Fuel saved in a year, draw by draw. [therm, gal or kWh]"""
    climate, heating = house.climate, house.heating
    heat = load_change(climate.heating_degree_days * winter, less_ua, less_cfm, heating.efficiency, climate.altitude_ft)
    return np.asarray(heat / FUELS[heating.fuel].btu_per_unit, dtype=np.float64)
