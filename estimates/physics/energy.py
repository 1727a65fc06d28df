"""Heat and cooling a house uses in a year by degree days, and what less loss saves in fuel, money and CO2."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estimates.house import Fuel
from estimates.physics.elementwise import lesser
from estimates.physics.uncertainty import RangeInput
from estimates.physics.validity import LEAST_ABOVE_0, OutOfRange, Values, finite, not_negative, positive, within

AIR_HEAT = 0.0180
"""Heat capacity of standard air at sea level, 0.075 lb/ft3 x 0.24 Btu/(lb degF). [Btu/(ft3 degF)]

Washington Administrative Code 51-11C-61081, whose values at 0, 2000 and 3000 ft are .0180, .0168, .0162.
"""

BALANCE_POINT = RangeInput("balance_point_f", 55.0, 60.0, 65.0)
"""Outdoor temperature below which a house is heated, where bills do not tell. [degF] Common practice, no source."""

HOURS = 24.0
"""Hours in a degree day. [h/day]"""

MINUTES = 60.0
"""Minutes in an hour. [min/h]"""

BILL_FACTOR_RANGE = (0.7, 1.3)
"""Billed over modelled heating: outside this the model or the bills want a second look. [-] Common practice."""


@dataclass(frozen=True, slots=True)
class FuelRow:
    """A fuel as sold: its unit, heat in it [Btu/unit], CO2 of burning it [kg/10^6 Btu], where both come from."""

    unit: str
    btu_per_unit: float
    co2_kg_per_mmbtu: float | None
    source: str


FUELS: Mapping[Fuel, FuelRow] = MappingProxyType(
    {
        Fuel.NATURAL_GAS: FuelRow("therm", 100_000.0, 52.91, "therm by definition; CO2 EIA, current list (M)"),
        Fuel.PROPANE: FuelRow("gal", 91_330.0, 62.88, "heat EIA, about (M); CO2 EIA, current list (M)"),
        Fuel.HEATING_OIL: FuelRow("gal", 138_700.0, 74.14, "heat EIA, about (M); CO2 EIA, current list (M)"),
        Fuel.ELECTRICITY: FuelRow("kWh", 3412.14, None, "kWh by definition; CO2 is the grid's, not the fuel's"),
    }
)
"""Fuels. M: from memory, unconfirmed; the EIA list of 2016 (seen) holds 53.07, 63.07, 73.16 kg/10^6 Btu."""


class DegreeDayMethod(StrEnum):
    """How a day's degree days are counted; on one climate file they differ by 5 %."""

    DAILY_MEAN = "mean of the day"
    MIN_MAX = "mean of the day's lowest and highest"
    HOURLY = "hour by hour"


@dataclass(frozen=True, slots=True)
class DegreeDays:
    """Heating and cooling degree days [degF day] to `base_f` [degF] over `days`, with the method that counted them."""

    base_f: Values
    heating: Values
    cooling: Values
    days: int
    method: DegreeDayMethod


def degree_days(
    temperature_f: ArrayLike, base_f: ArrayLike, method: DegreeDayMethod = DegreeDayMethod.DAILY_MEAN
) -> DegreeDays:
    r"""Degree days of a run of days.

    Parameters
    ----------
    temperature_f : daily means, shape (days,); lowest and highest, shape (days, 2); hours, shape (days, 24). [degF]
    base_f : base temperature, 0 to 100, any shape. [degF]
    method : decides the shape of `temperature_f`.

    Returns
    -------
    DegreeDays, heating and cooling of the shape of `base_f`.

    Raises
    ------
    OutOfRange : wrong shape, no days, temperatures not from -150 to 150, base outside its limits.

    Notes
    -----
    .. math:: HDD_b = \sum \max(b - t, 0), \quad CDD_b = \sum \max(t - b, 0)

    over daily values, or over hours and divided by 24.

    References
    ----------
    .. [1] ASHRAE Fundamentals, degree days to a base; the three ways of counting differ, as the tests show.

    Examples
    --------
    >>> found = degree_days([30.0, 50.0, 80.0], 65.0)
    >>> found.heating, found.cooling, found.method.value
    (50.0, 15.0, 'mean of the day')
    """
    temps = np.asarray(within("temperature_f", temperature_f, -150, 150), dtype=np.float64)
    base = within("base_f", base_f, 0, 100)
    tail = {DegreeDayMethod.DAILY_MEAN: (), DegreeDayMethod.MIN_MAX: (2,), DegreeDayMethod.HOURLY: (24,)}[method]
    if temps.ndim != 1 + len(tail) or temps.shape[1:] != tail or temps.size == 0:
        wanted = ", ".join(["days", *map(str, tail)])
        raise OutOfRange("temperature_f", f"of shape {temps.shape}", f"an array of shape ({wanted}) for {method.value}")
    values = temps.mean(axis=1) if method is DegreeDayMethod.MIN_MAX else temps.ravel()
    divisor = HOURS if method is DegreeDayMethod.HOURLY else 1.0
    heating, cooling = _degree_sums(np.sort(values), np.asarray(base, dtype=np.float64))
    scalar = np.ndim(base) == 0
    return DegreeDays(
        base_f=base,
        heating=float(heating / divisor) if scalar else heating / divisor,
        cooling=float(cooling / divisor) if scalar else cooling / divisor,
        days=int(temps.shape[0]),
        method=method,
    )


def _degree_sums(
    rising: NDArray[np.float64], base: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Sums of what lies under and over each base; sorted sums, so many bases cost no more than one."""
    below = np.searchsorted(rising, base)
    under = np.concatenate([[0.0], np.cumsum(rising)])
    over = np.concatenate([np.cumsum(rising[::-1])[::-1], [0.0]])
    heating = np.maximum(below * base - under[below], 0.0)
    cooling = np.maximum(over[below] - (rising.size - below) * base, 0.0)
    return heating, cooling


def air_heat_factor(altitude_ft: ArrayLike = 0.0) -> Values:
    r"""Heat capacity of a cubic foot of air at a height.

    Parameters
    ----------
    altitude_ft : height above sea level, -2000 to 15,000, any shape. [ft]

    Returns
    -------
    Heat capacity. [Btu/(ft3 degF)]

    Raises
    ------
    OutOfRange : outside the limits.

    Notes
    -----
    .. math:: c = 0.0180 \, (1 - 6.8754 \cdot 10^{-6} z)^{5.2559}

    References
    ----------
    .. [1] ASHRAE Fundamentals ch. 1, standard atmosphere; checked against WAC 51-11C-61081.

    Examples
    --------
    >>> round(air_heat_factor(2000), 4)
    0.0167
    """
    return AIR_HEAT * (1 - 6.8754e-6 * within("altitude_ft", altitude_ft, -2000, 15_000)) ** 5.2559


def loss_rate(ua: ArrayLike, leak_cfm: ArrayLike, altitude_ft: ArrayLike = 0.0) -> Values:
    r"""Heat a house loses for each degree of difference.

    Parameters
    ----------
    ua : sum of area times U, >= 0, any shape. [Btu/(h degF)]
    leak_cfm : air that leaks in, >= 0, any shape. [cfm]
    altitude_ft : height above sea level, any shape. [ft]

    Returns
    -------
    UA + 60 c Q. [Btu/(h degF)]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: K = UA + 60 \, c \, Q

    References
    ----------
    .. [1] ASHRAE Fundamentals, sensible heat of infiltration; c as `air_heat_factor`.

    Examples
    --------
    >>> loss_rate(400.0, 100.0)
    508.0
    """
    return not_negative("ua", ua) + MINUTES * air_heat_factor(altitude_ft) * not_negative("leak_cfm", leak_cfm)


def load_change(
    heating_degree_days: ArrayLike,
    delta_ua: ArrayLike,
    delta_cfm: ArrayLike,
    efficiency: ArrayLike,
    altitude_ft: ArrayLike = 0.0,
) -> Values:
    r"""Fuel heat saved in a year when loss goes down.

    Parameters
    ----------
    heating_degree_days : to the balance point, >= 0, any shape. [degF day]
    delta_ua : before less after, any shape. [Btu/(h degF)]
    delta_cfm : infiltration before less after, any shape. [cfm]
    efficiency : seasonal, heat out over fuel in, above 0 to 6, any shape. [-]
    altitude_ft : height above sea level, any shape. [ft]

    Returns
    -------
    Heat of the fuel. [Btu/year] Below 0 where loss goes up.

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: \Delta E = 24 \, HDD_b \, (\Delta UA + 60 c \, \Delta Q) / \eta

    References
    ----------
    .. [1] ASHRAE Fundamentals, degree-day method; c as `air_heat_factor`.

    Examples
    --------
    >>> round(load_change(3875.76, 1200 * (0.292 - 0.0887), 0.0, 0.8) / 1e5, 2)
    283.66
    """
    days = not_negative("heating_degree_days", heating_degree_days)
    air = MINUTES * air_heat_factor(altitude_ft) * finite("delta_cfm", delta_cfm)
    share = within("efficiency", efficiency, LEAST_ABOVE_0, 6.0)
    return HOURS * days / share * (finite("delta_ua", delta_ua) + air)


@dataclass(frozen=True, slots=True)
class Envelope:
    """A house at one moment: UA [Btu/(h degF)] and air leaking in over the season [cfm], >= 0, scalar or draws."""

    ua: Values
    leak_cfm: Values


@dataclass(frozen=True, slots=True)
class Savings:
    """A year's use before and after [units of the fuel], what it saves in units, $ and kg of CO2 (None: not known).

    `bill_factor` is billed over modelled use, 1 where there are no bills; both uses are already scaled by it.
    """

    fuel: Fuel
    unit: str
    before: Values
    after: Values
    saved: Values
    dollars: Values
    co2_kg: Values | None
    bill_factor: Values
    warnings: tuple[str, ...]


def heating_savings(
    before: Envelope,
    after: Envelope,
    *,
    heating_degree_days: ArrayLike,
    fuel: Fuel,
    efficiency: ArrayLike,
    price_per_unit: ArrayLike,
    altitude_ft: float = 0.0,
    billed_units: ArrayLike | None = None,
    co2_kg_per_unit: float | None = None,
) -> Savings:
    r"""Heating saved in a year, by an option or by all of them together.

    Every option runs from the same `before`; what several options save together is this function with all of them in
    `after`, never the sum of their savings.

    Parameters
    ----------
    before, after : the house, scalar or draws.
    heating_degree_days : to the balance point, >= 0. [degF day]
    fuel : what heats the house.
    efficiency : seasonal, heat out over fuel in, above 0 to 6. [-]
    price_per_unit : >= 0. [$/unit]
    altitude_ft : height above sea level. [ft]
    billed_units : heating part of weather-normalised bills, > 0; None where there are no bills. [unit/year]
    co2_kg_per_unit : of the local grid, for electricity. [kg/unit]

    Returns
    -------
    Savings, never above the heating part of the bills; a warning when billed and modelled use lie far apart.

    Raises
    ------
    OutOfRange : an argument outside its limits, bills where the model says that nothing is used.

    Notes
    -----
    .. math:: S = k \, 24 \, HDD_b \, (K_0 - K_1) / (\eta H), \quad k = billed / modelled

    with K as `loss_rate` and H the heat in a unit of fuel; never above the heating part of the bills.

    References
    ----------
    .. [1] ASHRAE Fundamentals, degree-day method; scaling to bills: rule of this firm (FIELD).

    Examples
    --------
    >>> from estimates.house import Fuel
    >>> saved = heating_savings(Envelope(500, 100), Envelope(350, 80), heating_degree_days=4000,
    ...     fuel=Fuel.NATURAL_GAS, efficiency=0.8, price_per_unit=1.5, billed_units=600)
    >>> round(saved.saved), round(saved.dollars), round(saved.bill_factor, 2)
    (169, 254, 0.82)
    """
    days = not_negative("heating_degree_days", heating_degree_days)
    share = within("efficiency", efficiency, LEAST_ABOVE_0, 6.0)
    per_loss = HOURS * days / share / FUELS[fuel].btu_per_unit
    use = [loss_rate(house.ua, house.leak_cfm, altitude_ft) * per_loss for house in (before, after)]
    return _savings(use[0], use[1], fuel, price_per_unit, billed_units, co2_kg_per_unit)


def cooling_savings(
    before: Envelope,
    after: Envelope,
    *,
    cooling_degree_days: ArrayLike,
    seasonal_btu_per_wh: ArrayLike,
    price_per_kwh: ArrayLike,
    altitude_ft: float = 0.0,
    billed_kwh: ArrayLike | None = None,
    co2_kg_per_kwh: float | None = None,
) -> Savings:
    r"""Cooling saved in a year; sensible heat only, sun and moisture left out.

    Parameters
    ----------
    before, after : the house in summer, scalar or draws.
    cooling_degree_days : to the balance point, >= 0. [degF day]
    seasonal_btu_per_wh : seasonal efficiency of the cooling, 1 to 50. [Btu/(W h)]
    price_per_kwh : >= 0. [$/kWh]
    altitude_ft : height above sea level. [ft]
    billed_kwh : cooling part of weather-normalised bills, > 0; None where there are no bills. [kWh/year]
    co2_kg_per_kwh : of the local grid. [kg/kWh]

    Returns
    -------
    Savings in kWh, never above the cooling part of the bills.

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: E = 24 \, CDD_b \, (UA + 60 c Q) / (1000 \, SE)

    References
    ----------
    .. [1] ASHRAE Fundamentals, cooling degree days; a coarse estimate, as the warning says.

    Examples
    --------
    >>> saved = cooling_savings(Envelope(500, 0), Envelope(400, 0), cooling_degree_days=1000,
    ...     seasonal_btu_per_wh=12, price_per_kwh=0.2)
    >>> saved.before, saved.saved, saved.dollars
    (1000.0, 200.0, 40.0)
    """
    days = not_negative("cooling_degree_days", cooling_degree_days)
    per_loss = HOURS * days / within("seasonal_btu_per_wh", seasonal_btu_per_wh, 1, 50) / 1000
    use = [loss_rate(house.ua, house.leak_cfm, altitude_ft) * per_loss for house in (before, after)]
    return _savings(use[0], use[1], Fuel.ELECTRICITY, price_per_kwh, billed_kwh, co2_kg_per_kwh)


def _savings(
    before: Values,
    after: Values,
    fuel: Fuel,
    price: ArrayLike,
    billed: ArrayLike | None,
    co2_kg_per_unit: float | None,
) -> Savings:
    warnings = []
    factor: Values = 1.0
    if billed is not None:
        bill = positive("billed_units", billed)
        if np.any(np.asarray(before) <= 0):
            raise OutOfRange("billed_units", bill, "no bills, or a house with loss and degree days above 0")
        factor = bill / before
        middle = float(np.median(factor))
        if not BILL_FACTOR_RANGE[0] <= middle <= BILL_FACTOR_RANGE[1]:
            warnings.append(f"bills are {middle:.2f} times the model (0.7 to 1.3 expected): check inputs and bills")
    before, after = before * factor, after * factor
    saved = lesser(before - after, before)
    row = FUELS[fuel]
    co2 = co2_kg_per_unit
    if co2 is not None:
        not_negative("co2_kg_per_unit", float(co2))
    elif row.co2_kg_per_mmbtu is not None:
        co2 = row.co2_kg_per_mmbtu * row.btu_per_unit / 1e6
    else:
        warnings.append(f"CO2 of {fuel.value} not known: enter the local grid's figure")
    return Savings(
        fuel=fuel,
        unit=row.unit,
        before=before,
        after=after,
        saved=saved,
        dollars=saved * not_negative("price_per_unit", price),
        co2_kg=None if co2 is None else saved * co2,
        bill_factor=factor,
        warnings=tuple(warnings),
    )
