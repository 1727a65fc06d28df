"""How the house loses heat and air before and after each option, and what the difference saves, with ranges.

Every uncertain input is drawn once per house and used again in every option, so options differ by the work and never by
luck. Options run from one baseline; what several measures save together is worked out together, never added up.
Beside the options stands what holds of the house whatever is chosen: bills, combustion, the fan's leave, wall moisture.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from estimates.air import Leakage, OptionFreshAir, air_after, option_fresh_air, winter_leakage
from estimates.draws import DRAWS, WINTER, Draws, Inputs, house_inputs
from estimates.heat import Surface, house_surfaces
from estimates.heating_bills import HeatingUse, heating_use
from estimates.house import WHOLE_SCOPE, HouseRecord, OptionRecord
from estimates.physics.energy import FUELS, load_change
from estimates.physics.uncertainty import Percentiles, RangeInput, Sampler, influences, percentiles
from estimates.pricebook import PriceBook
from estimates.safety import FanLeave, HouseCombustion, fan_leave, house_combustion
from estimates.takeoff import Takeoff
from estimates.wall_moisture import WallMoisture, house_moisture


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
    """An option: heat and air before and after.

    CFM50 is None where the house has no blower-door test; fresh air too, or where the record lacks something for it.
    """

    option_id: str
    surfaces: tuple[SurfaceHeat, ...]
    ua_before: float
    ua_after: float
    cfm50_before: float | None
    cfm50_after: Percentiles | None
    fresh_air: OptionFreshAir | None
    saved_units: Percentiles
    saved_dollars: Percentiles
    fuel_unit: str
    matters: tuple[str, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HeatingModel:
    """Heating of a year before the work, by the measured parts and by the bills. [therm, gal or kWh]

    modelled_units : what walls, attics and, where it was tested, air need; explained : that over the heating of the
    bills [1], None without bills; sentence : the same in words.
    """

    use: HeatingUse
    modelled_units: Percentiles
    explained: Percentiles | None
    sentence: str


@dataclass(frozen=True, slots=True)
class Performance:
    """All options of a house from one baseline, from one seeded set of draws, and what holds whatever is chosen.

    warnings : of the house, what stops the work first.
    """

    seed: int
    draws: int
    leak_exponent: float | None
    options: tuple[OptionPerformance, ...]
    heating: HeatingModel
    combustion: HouseCombustion
    fan: FanLeave
    moisture: tuple[WallMoisture, ...]
    warnings: tuple[str, ...]


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

    Notes
    -----
    Savings of a draw = (UA and air of the baseline - those of the option) x degree hours / efficiency, divided by
    max(1, modelled heating / heating of the bills) of the same draw: never scaled up, never above the bills.
    """
    specs = house_inputs(house, takeoff, book.foam)
    drawn = Inputs(Sampler(seed, draws).draw_all(specs))
    leak = Leakage.of(house)
    now = _Baseline.of(house, takeoff, book, leak, Inputs({spec.name: spec.best for spec in specs}), drawn)
    combustion, fan = house_combustion(house), fan_leave(house)
    moisture = house_moisture(house, takeoff, book.foam)
    warnings = [*combustion.texts, *([fan.warning] if fan.warning else []), *now.heating.use.warnings]
    warnings += _moisture_warnings(moisture)
    return Performance(
        seed=seed,
        draws=draws,
        leak_exponent=None if leak is None else leak.exponent,
        options=tuple(_option(house, takeoff, option, now, drawn, specs) for option in house.options or (WHOLE_SCOPE,)),
        heating=now.heating,
        combustion=combustion,
        fan=fan,
        moisture=moisture,
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _moisture_warnings(moisture: tuple[WallMoisture, ...]) -> list[str]:
    """Walls in which filling may bring condensation, in one sentence."""
    named = [
        wall.name
        for wall in moisture
        if wall.before is not None and wall.after is not None and wall.after.possible and not wall.before.possible
    ]
    if not named:
        return []
    return [f"filling may bring condensation on the coldest days to {'; '.join(named)} (estimate): see wall moisture"]


# --- baseline --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Baseline:
    """The house before the work: surfaces by best values and by draws, air, and heating beside its bills.

    `shrink` divides savings, draw by draw: 1 where the bills bear the model, more where it is larger than they are.
    """

    best: tuple[Surface, ...]
    drawn: tuple[Surface, ...]
    leak: Leakage | None
    winter_cfm: Any
    heating: HeatingModel
    shrink: Draws

    @classmethod
    def of(
        cls,
        house: HouseRecord,
        takeoff: Takeoff,
        book: PriceBook,
        leak: Leakage | None,
        best: Inputs,
        inputs: Inputs,
    ) -> _Baseline:
        drawn = house_surfaces(takeoff, book.foam, inputs)
        winter_cfm = 0.0 if leak is None else winter_leakage(house, leak, leak.cfm50)
        modelled = _units(house, sum(s.area_ft2 * s.u_now for s in drawn), winter_cfm, inputs[WINTER])
        use = heating_use(house)
        share = np.zeros_like(modelled) if use.units is None else modelled / use.units
        explained = None if use.units is None else percentiles(share)
        parts = [
            name
            for name, there in (("walls", takeoff.walls), ("attics", takeoff.attics), ("air", leak is not None))
            if there
        ]
        heating = HeatingModel(use, percentiles(modelled), explained, _explained(parts, explained))
        return cls(house_surfaces(takeoff, book.foam, best), drawn, leak, winter_cfm, heating, np.maximum(share, 1.0))


def _explained(parts: list[str], explained: Percentiles | None) -> str:
    if explained is None or not parts:
        return ""
    named = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    return f"the measured {named} explain {explained.p50:.0%} of the heating bills (estimate)"


def _units(house: HouseRecord, ua: Any, cfm: Any, winter: Draws) -> Draws:
    """Fuel for a loss, or saved with it, in a year, draw by draw. [therm, gal or kWh]"""
    climate, heating = house.climate, house.heating
    heat = load_change(climate.heating_degree_days * winter, ua, cfm, heating.efficiency, climate.altitude_ft)
    return np.asarray(heat / FUELS[heating.fuel].btu_per_unit, dtype=np.float64)


# --- an option -------------------------------------------------------------------------------------------------------


def _option(
    house: HouseRecord,
    takeoff: Takeoff,
    option: OptionRecord,
    now: _Baseline,
    drawn: Inputs,
    specs: tuple[RangeInput, ...],
) -> OptionPerformance:
    chosen = takeoff.chosen(option)
    worked = {(False, wall.wall.id) for wall in chosen.priced_walls}
    worked |= {(True, attic.attic.id) for attic in chosen.priced_attics}

    def after(surface: Surface) -> Any:
        return surface.u_filled if (surface.attic, surface.id) in worked else surface.u_now

    surfaces = tuple(SurfaceHeat(s.id, s.name, float(s.area_ft2), float(s.u_now), float(after(s))) for s in now.best)
    less_ua: Any = sum(s.area_ft2 * (s.u_now - after(s)) for s in now.drawn)
    air = _air(house, takeoff, chosen, now, drawn)
    units = _units(house, less_ua, air.less_cfm, drawn[WINTER]) / now.shrink
    varied = {spec.name: drawn[spec] for spec in specs if spec.low < spec.high}
    return OptionPerformance(
        option_id=option.id,
        surfaces=surfaces,
        ua_before=sum(s.area_ft2 * s.u_before for s in surfaces),
        ua_after=sum(s.area_ft2 * s.u_after for s in surfaces),
        cfm50_before=None if now.leak is None else now.leak.cfm50,
        cfm50_after=air.cfm50,
        fresh_air=air.fresh,
        saved_units=percentiles(units),
        saved_dollars=percentiles(units * house.heating.price_per_unit),
        fuel_unit=FUELS[house.heating.fuel].unit,
        matters=tuple(one.name for one in influences(units, varied)) if np.ptp(units) > 0 else (),
        warnings=tuple(dict.fromkeys((*air.warnings, *_bill_warnings(now.heating)))),
    )


@dataclass(frozen=True, slots=True)
class _Air:
    """Air of an option. [cfm]"""

    cfm50: Percentiles | None
    less_cfm: Any
    fresh: OptionFreshAir | None
    warnings: tuple[str, ...]


def _air(house: HouseRecord, takeoff: Takeoff, chosen: Takeoff, now: _Baseline, drawn: Inputs) -> _Air:
    leak = now.leak
    if leak is None:
        return _Air(None, 0.0, None, ("no blower-door test: what less air saves is not counted, nor fresh air",))
    cfm50, notes = air_after(house, takeoff, chosen, leak, drawn)
    after = percentiles(cfm50 * np.ones_like(drawn[WINTER]))
    warnings = [*leak.warnings, *notes]
    fresh = option_fresh_air(house, leak.cfm50, after, leak.exponent)
    if isinstance(fresh, str):
        warnings.append(fresh)
    elif fresh.newly_needed or fresh.maybe_needed:
        warnings.append(fresh.sentence)
    if not isinstance(fresh, str) and not house.exhausts:
        warnings.append("fresh air: no kitchen or bath exhaust recorded, a shortfall is not counted")
    less = now.winter_cfm - winter_leakage(house, leak, cfm50)
    return _Air(after, less, None if isinstance(fresh, str) else fresh, tuple(warnings))


def _bill_warnings(heating: HeatingModel) -> list[str]:
    if heating.explained is None or heating.explained.p50 <= 1.0:
        return []
    return [
        f"the measured parts come to {heating.explained.p50:.0%} of the heating bills: savings were cut back in that "
        "proportion; check bills, areas, efficiency and degree days"
    ]
