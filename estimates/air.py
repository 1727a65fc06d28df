"""Air of the house: what the blower-door test says, what an option leaves, the winter's mean, fresh air after it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from estimates.draws import FILL_EFFECT, SEAL_EFFECT, Inputs, leak_share
from estimates.house import HouseRecord, LeakKind
from estimates.physics.airtightness import (
    EXPONENT,
    HIGH_EXPONENT,
    LEAKAGE_SHARES,
    LOW_EXPONENT,
    cfm50_single_point,
    ela_in2,
    fit_power_law,
    infiltration_cfm,
    leakage_after,
)
from estimates.physics.uncertainty import Percentiles
from estimates.physics.ventilation import HEIGHT_FT, FanRequirement, LocalExhaust
from estimates.safety import FreshAir, fresh_air
from estimates.takeoff import Takeoff

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


@dataclass(frozen=True, slots=True)
class Leakage:
    """What the blower-door test says: CFM50 and the exponent of its curve."""

    cfm50: float
    exponent: float
    warnings: tuple[str, ...]

    @classmethod
    def of(cls, house: HouseRecord) -> Leakage | None:
        """Read the test of a house; None where there is none."""
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


def air_after(
    house: HouseRecord, takeoff: Takeoff, chosen: Takeoff, leak: Leakage, inputs: Inputs
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
    shares = {share.name: inputs[leak_share(share)] for share in LEAKAGE_SHARES}
    after = leakage_after(leak.cfm50, shares, treated, effects, absent=absent)
    return after.cfm50, after.warnings


def winter_leakage(house: HouseRecord, leak: Leakage, cfm50: Any) -> Any:
    """Mean leakage over the heating season. [cfm]"""
    climate = house.climate
    return infiltration_cfm(
        ela_in2(cfm50, leak.exponent),
        house.storeys,
        house.shelter_class,
        max(0.0, house.indoor_f - climate.season_mean_f),
        climate.season_wind_mph,
    )


# --- fresh air -------------------------------------------------------------------------------------------------------

MOST_BEDROOMS = 20
"""More than that is no dwelling by the ventilation standard's table. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class OptionFreshAir:
    """Fan a house needs before an option and after it, at the best value of its CFM50 and at the tight end (P10).

    Each fan holds every term and names its edition. [cfm, ft] newly_needed : the option makes the difference at the
    best value; maybe_needed : only at the tight end.
    """

    edition: str
    height_ft: float
    people: int
    before: FanRequirement
    after: FanRequirement
    tightest: FanRequirement
    newly_needed: bool
    maybe_needed: bool
    sentence: str


def option_fresh_air(
    house: HouseRecord, cfm50_before: float, cfm50_after: Percentiles, exponent: float = EXPONENT
) -> OptionFreshAir | str:
    """Fresh air of a house before and after an option (rule G6).

    Parameters
    ----------
    house : floor, bedrooms, people, height, exhausts and weather factor are read from it.
    cfm50_before, cfm50_after : leakage at 50 Pa; a tighter house needs more, so P10 is the careful end. [cfm]
    exponent : of the leakage curve. [-]

    Returns
    -------
    OptionFreshAir, or a sentence that says why it cannot be worked out and what to enter.

    Raises
    ------
    OutOfRange : a value of the house outside the limits of the standard's formulas; names it.

    Notes
    -----
    7.5 cfm for each person: bedrooms + 1, or the people who live there where they are more (M). Height left out:
    8.2 ft a storey, the reference height of the standard.
    """
    factor = house.climate.weather_factor
    if factor is None:
        return "fresh air not worked out: enter climate.weather_factor"
    bedrooms = max(house.bedrooms, (house.occupants or 0) - 1)
    if bedrooms > MOST_BEDROOMS:
        return f"fresh air not worked out: {bedrooms + 1} people are beyond the standard for dwellings; ask a designer"
    height = house.ceiling_height_ft or HEIGHT_FT * house.storeys
    rooms = tuple(LocalExhaust(e.room, e.measured_cfm, e.openable_window) for e in house.exhausts)

    def after(cfm50: float) -> FreshAir:
        return fresh_air(
            cfm50_before=cfm50_before,
            cfm50_after=cfm50,
            floor_ft2=house.floor_area_ft2,
            bedrooms=bedrooms,
            height_ft=height,
            weather_factor=factor,
            rooms=rooms,
            exponent=exponent,
        )

    best, tight = after(cfm50_after.p50), after(cfm50_after.p10)
    maybe = tight.newly_needed and not best.newly_needed
    sentence = best.sentence
    if maybe:
        sentence += (
            f" If the house comes out as tight as {cfm50_after.p10:,.0f} CFM50, a fan of {tight.after.fan_cfm:.0f} cfm "
            "is needed: measure after the work."
        )
    elif tight.after.fan_needed and round(tight.after.fan_cfm) > round(best.after.fan_cfm):
        sentence += f" At {cfm50_after.p10:,.0f} CFM50, the tight end, it is {tight.after.fan_cfm:.0f} cfm."
    return OptionFreshAir(
        edition=best.after.edition,
        height_ft=height,
        people=max(bedrooms, 1) + 1,
        before=best.before,
        after=best.after,
        tightest=tight.after,
        newly_needed=best.newly_needed,
        maybe_needed=maybe,
        sentence=sentence,
    )
