"""Blower-door tests, leakage areas, air that leaks in winter, and leakage after the work."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estimates.physics.elementwise import plain, root
from estimates.physics.least_squares import fit_linear, t_quantile
from estimates.physics.uncertainty import RangeInput
from estimates.physics.validity import OutOfRange, Values, finite, not_negative, positive, within

M3S_PER_CFM = 0.3048**3 / 60
"""Volume flow. [m3/s per ft3/min] Exact by definition of the foot."""

IN2_PER_M2 = 1 / 0.0254**2
"""Area. [in2/m2] Exact by definition of the inch."""

TEST_PRESSURE_PA = 50.0
"""Pressure at which leakage is quoted. [Pa] Usual of the trade; ASTM E779, E1827."""

EXPONENT = 0.65
"""Flow exponent where none was measured. [-] ASHRAE Fundamentals, ventilation and infiltration; range 0.5 to 1."""

LEAKAGE_AREA_DENSITY = 1.2
"""Air density of the printed leakage-area factor. [kg/m3] FIELD decision: 0.05486 in2 per cfm50 at exponent 0.65."""

STANDARD_DENSITY = 1.2041
"""Dry air at 68 degF and sea level. [kg/m3] ASTM E779 reference conditions."""

STANDARD_VISCOSITY = 1.81e-5
"""Dynamic viscosity of air at 68 degF. [Pa s] Handbook value, from memory."""

LOW_EXPONENT, HIGH_EXPONENT = 0.5, 1.0
"""Physical limits of the exponent: orifice flow and laminar flow. [-]"""

STACK = (0.0150, 0.0299, 0.0449)
"""Stack coefficient for 1, 2, 3 storeys. [cfm2/(in4 degF)] ASHRAE Fundamentals ch. 16, I-P list (from memory)."""

WIND = (
    (0.0119, 0.0157, 0.0184),
    (0.0092, 0.0121, 0.0143),
    (0.0065, 0.0086, 0.0101),
    (0.0039, 0.0051, 0.0060),
    (0.0012, 0.0016, 0.0018),
)
"""Wind coefficient by shelter class 1 (open) to 5 (surrounded), for 1, 2, 3 storeys. [cfm2/(in4 mph2)] As `STACK`."""

LEAKAGE_SHARES: tuple[RangeInput, ...] = (
    RangeInput("walls", 0.18, 0.35, 0.50),
    RangeInput("ceiling", 0.03, 0.18, 0.30),
    RangeInput("windows", 0.06, 0.15, 0.22),
    RangeInput("ducts", 0.03, 0.18, 0.28),
    RangeInput("fireplace", 0.0, 0.12, 0.30),
    RangeInput("vents", 0.02, 0.05, 0.12),
)
"""Shares of a house's leakage by component, rescaled to 1 in `leakage_after`. [-]

ASHRAE Fundamentals ch. 16, measured shares (from memory); the firm's own verified jobs replace them.
"""

USUAL_REDUCTION = 0.5
"""Largest share of leakage that dense-packing leaky houses has been reported to cut. [-]

30 to 50 %: a government weatherization curriculum, after a trade magazine of 1995. A bound for doubt, no promise.
"""


class FanDirection(StrEnum):
    """Which way the fan blew."""

    DEPRESSURISE = "depressurise"
    PRESSURISE = "pressurise"


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """Leakage curve Q = C dP^n of a house, for standard air.

    `coefficient` [cfm/Pa^n] with its `coefficient_se`; `exponent` [-] with `exponent_se`; `cfm50` [cfm] with the ends
    of its 95 % interval; `density_factor` made fan flow into flow through the leaks, `standard_factor` that into
    standard air (both 1 where no temperatures were given).
    """

    coefficient: float
    coefficient_se: float
    exponent: float
    exponent_se: float
    r2: float
    cfm50: float
    cfm50_low: float
    cfm50_high: float
    density_factor: float
    standard_factor: float
    points: int
    warnings: tuple[str, ...]

    def flow_cfm(self, pressure_pa: ArrayLike) -> Values:
        """Flow at a pressure difference > 0 [Pa], any shape, in cfm."""
        return self.coefficient * positive("pressure_pa", pressure_pa) ** self.exponent


def air_density(temperature_f: ArrayLike, altitude_ft: ArrayLike = 0.0) -> Values:
    r"""Density of dry air in the standard atmosphere at a height, at a given temperature.

    Parameters
    ----------
    temperature_f : any shape, -100 to 200. [degF]
    altitude_ft : any shape, -2000 to 30,000. [ft]

    Returns
    -------
    Density. [kg/m3]

    Raises
    ------
    OutOfRange : outside the limits.

    Notes
    -----
    .. math:: p = 101325 (1 - 6.8754 \cdot 10^{-6} z)^{5.2559}, \quad \rho = p / (287.055 \, T)

    References
    ----------
    .. [1] ASHRAE Fundamentals ch. 1, equation 3 (standard atmosphere).

    Examples
    --------
    >>> round(air_density(68), 4), round(air_density(68, 5000), 4)
    (1.2041, 1.0019)
    """
    kelvin = (within("temperature_f", temperature_f, -100, 200) + 459.67) / 1.8
    pressure = 101325 * (1 - 6.8754e-6 * within("altitude_ft", altitude_ft, -2000, 30_000)) ** 5.2559
    return pressure / (287.055 * kelvin)


def _viscosity(temperature_f: float) -> float:
    """Sutherland's law for air through the standard value. [Pa s]"""
    kelvin, standard = (temperature_f + 459.67) / 1.8, 293.15
    return float(STANDARD_VISCOSITY * (kelvin / standard) ** 1.5 * (standard + 110.4) / (kelvin + 110.4))


def fit_power_law(
    pressure_pa: ArrayLike,
    flow_cfm: ArrayLike,
    *,
    baseline_pa: ArrayLike = 0.0,
    indoor_f: float | None = None,
    outdoor_f: float | None = None,
    altitude_ft: float = 0.0,
    direction: FanDirection = FanDirection.DEPRESSURISE,
) -> PowerLaw:
    r"""Leakage curve through the readings of a multi-point blower-door test.

    Parameters
    ----------
    pressure_pa : pressure differences read, sign left out, shape (n,), n >= 3. [Pa]
    flow_cfm : fan flow at each, > 0, shape (n,). [cfm]
    baseline_pa : difference with the fan off, counted in the direction the fan pushes; one value, or the values
        before and after the test, whose mean is taken. [Pa]
    indoor_f, outdoor_f : temperatures, both or neither; neither leaves flows as read. [degF]
    altitude_ft : height of the house, used with the temperatures. [ft]
    direction : which way the fan blew.

    Returns
    -------
    PowerLaw, with warnings when the exponent lies outside 0.5 to 1, fewer than 5 points, r2 under 0.98, or 50 Pa lies
    outside the pressures measured.

    Raises
    ------
    OutOfRange : fewer than 3 readings, shapes that differ, flow not positive, a pressure not above the baseline, all
        pressures equal, only one temperature.

    Notes
    -----
    .. math:: \ln Q = \ln C + n \ln (\Delta p - \Delta p_0)

    Unweighted least squares in logarithms; the interval is that of the mean line at 50 Pa with Student's t. With
    temperatures the fan's flow becomes the flow through the leaks by the ratio of the two air densities, and C that
    of standard air by (mu/mu_0)^(2n-1) (rho/rho_0)^(1-n), exact at both physical limits of n.

    References
    ----------
    .. [1] ASTM E779, calculation of the leakage curve and its precision (equations from memory, checked by limits).

    Examples
    --------
    >>> test = fit_power_law([60, 50, 40, 30, 20], [2141, 1900, 1644, 1362, 1048])
    >>> round(test.exponent, 2), round(test.cfm50, -1)
    (0.65, 1900.0)
    """
    pressure = np.asarray(positive("pressure_pa", pressure_pa), dtype=np.float64)
    flow = np.asarray(positive("flow_cfm", flow_cfm), dtype=np.float64)
    if pressure.ndim != 1 or pressure.size < 3:
        raise OutOfRange("pressure_pa", f"{pressure.size} readings", "at least 3; with fewer use a single-point test")
    if flow.shape != pressure.shape:
        raise OutOfRange("flow_cfm", f"{flow.size} readings", f"{pressure.size}, one for each pressure")
    net = np.asarray(pressure - float(np.mean(finite("baseline_pa", baseline_pa))))
    if net.min() <= 0:
        raise OutOfRange("pressure_pa", float(pressure[net.argmin()]), "pressures above the baseline")
    if np.ptp(net) == 0:
        raise OutOfRange("pressure_pa", "all equal", "readings at different pressures")
    density_factor, viscosity, density = _air_of_test(indoor_f, outdoor_f, altitude_ft, direction)
    fit = fit_linear(np.column_stack([np.ones(net.size), np.log(net)]), np.log(flow * density_factor))
    log_c, n = (float(v) for v in fit.coefficients)
    standard_factor = viscosity ** (2 * n - 1) * density ** (1 - n)
    coefficient = math.exp(log_c) * standard_factor
    cfm50 = coefficient * TEST_PRESSURE_PA**n
    at = np.array([1.0, math.log(TEST_PRESSURE_PA)])
    reach = math.exp(t_quantile(0.975, fit.dof) * math.sqrt(float(at @ fit.covariance @ at)))
    return PowerLaw(
        coefficient=coefficient,
        coefficient_se=coefficient * float(fit.standard_errors[0]),
        exponent=n,
        exponent_se=float(fit.standard_errors[1]),
        r2=fit.r2,
        cfm50=cfm50,
        cfm50_low=cfm50 / reach,
        cfm50_high=cfm50 * reach,
        density_factor=density_factor,
        standard_factor=standard_factor,
        points=int(net.size),
        warnings=_test_warnings(net, n, fit.r2),
    )


def _air_of_test(
    indoor_f: float | None, outdoor_f: float | None, altitude_ft: float, direction: FanDirection
) -> tuple[float, float, float]:
    """Fan flow to leak flow; viscosity and density of the leaking air over standard ones. [-]"""
    if indoor_f is None and outdoor_f is None:
        return 1.0, 1.0, 1.0
    if indoor_f is None or outdoor_f is None:
        missing = "indoor_f" if indoor_f is None else "outdoor_f"
        raise OutOfRange(missing, "missing", "both temperatures, or neither")
    indoor, outdoor = float(air_density(indoor_f, altitude_ft)), float(air_density(outdoor_f, altitude_ft))
    if direction is FanDirection.DEPRESSURISE:
        return indoor / outdoor, _viscosity(outdoor_f) / STANDARD_VISCOSITY, outdoor / STANDARD_DENSITY
    return outdoor / indoor, _viscosity(indoor_f) / STANDARD_VISCOSITY, indoor / STANDARD_DENSITY


def _test_warnings(net_pa: NDArray[np.float64], n: float, r2: float) -> tuple[str, ...]:
    warnings = []
    if not LOW_EXPONENT <= n <= HIGH_EXPONENT:
        warnings.append(f"exponent {n:.2f} lies outside 0.5 to 1: wind, a door open or a wrong ring; repeat the test")
    if net_pa.size < 5:
        warnings.append(f"{net_pa.size} readings; 5 or more make the result firm")
    if r2 < 0.98:
        warnings.append(f"readings scatter (r2 {r2:.3f}, 0.98 wanted): wind or a change during the test")
    if not net_pa.min() <= TEST_PRESSURE_PA <= net_pa.max():
        warnings.append(f"50 Pa lies outside the {net_pa.min():.0f} to {net_pa.max():.0f} Pa measured: extrapolated")
    return tuple(warnings)


@dataclass(frozen=True, slots=True)
class SinglePoint:
    """Leakage from one reading: cfm50 and the range the unknown exponent leaves. [cfm]"""

    cfm50: Values
    cfm50_low: Values
    cfm50_high: Values
    exponent: float
    warnings: tuple[str, ...]


def cfm50_single_point(
    flow_cfm: ArrayLike,
    pressure_pa: ArrayLike = TEST_PRESSURE_PA,
    *,
    exponent: float = EXPONENT,
    exponent_range: tuple[float, float] = (0.55, 0.75),
) -> SinglePoint:
    r"""Leakage at 50 Pa from one reading, with an assumed exponent.

    Parameters
    ----------
    flow_cfm : fan flow, > 0, any shape. [cfm]
    pressure_pa : pressure difference of the reading, baseline taken off, > 0, any shape. [Pa]
    exponent, exponent_range : assumed flow exponent and its likely range, within 0.5 to 1. [-]

    Returns
    -------
    SinglePoint; at exactly 50 Pa the range has no width, yet the exponent stays unmeasured.

    Raises
    ------
    OutOfRange : an argument outside its limits, or the exponent outside its range.

    Notes
    -----
    .. math:: Q_{50} = Q \, (50 / \Delta p)^n

    References
    ----------
    .. [1] ASTM E1827, single-point method, assumed exponent 0.65; the range is common practice, no source.

    Examples
    --------
    >>> one = cfm50_single_point(1500.0, 40.0)
    >>> round(one.cfm50), round(one.cfm50_low), round(one.cfm50_high)
    (1734, 1696, 1773)
    """
    flow, pressure = positive("flow_cfm", flow_cfm), positive("pressure_pa", pressure_pa)
    low, high = (float(within("exponent_range", float(n), LOW_EXPONENT, HIGH_EXPONENT)) for n in exponent_range)
    within("exponent", float(exponent), low, high)
    ratio = TEST_PRESSURE_PA / pressure
    ends = [flow * ratio**low, flow * ratio**high]
    warnings = [f"exponent {exponent:g} assumed from one reading: leakage area and winter leakage are less sure"]
    if np.any(np.asarray(pressure) < 25) or np.any(np.asarray(pressure) > 75):
        warnings.append("reading far from 50 Pa: a multi-point test is safer")
    middle, least, most = flow * ratio**exponent, np.minimum(*ends), np.maximum(*ends)
    scalar = np.ndim(middle) == 0
    return SinglePoint(
        float(middle) if scalar else middle,
        float(least) if scalar else least,
        float(most) if scalar else most,
        float(exponent),
        tuple(warnings),
    )


def ela_in2(
    cfm50: ArrayLike,
    exponent: ArrayLike = EXPONENT,
    *,
    reference_pa: float = 4.0,
    discharge: float = 1.0,
    density: float = LEAKAGE_AREA_DENSITY,
) -> Values:
    r"""Effective leakage area: the hole that leaks as much as the house at a reference pressure.

    Parameters
    ----------
    cfm50 : leakage at 50 Pa, >= 0, any shape. [cfm]
    exponent : flow exponent, 0.4 to 1.1, any shape. [-]
    reference_pa : pressure at which the two are equal, > 0: 4 (with `discharge` 1) or 10 (with 0.611). [Pa]
    discharge : discharge coefficient of the hole, inside (0, 1]. [-]
    density : air density, > 0. [kg/m3]

    Returns
    -------
    Area. [in2] The 4 Pa area and the 10 Pa equivalent area are different things: never compare them.

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: A = Q_{50} (p_r/50)^n / (C_d \sqrt{2 p_r/\rho})

    References
    ----------
    .. [1] ASHRAE Fundamentals ch. 16, effective leakage area (4 Pa, C_d 1); CAN/CGSB-149.10, equivalent leakage area
       (10 Pa, C_d 0.611).

    Examples
    --------
    >>> round(ela_in2(1000.0), 2), round(ela_in2(1000.0, reference_pa=10, discharge=0.611), 1)
    (54.86, 103.0)
    """
    flow, n = not_negative("cfm50", cfm50), within("exponent", exponent, 0.4, 1.1)
    at, rho = float(positive("reference_pa", reference_pa)), float(positive("density", density))
    hole = float(positive("discharge", within("discharge", discharge, 0, 1)))
    speed = hole * math.sqrt(2 * at / rho)
    return flow * (at / TEST_PRESSURE_PA) ** n * (M3S_PER_CFM * IN2_PER_M2 / speed)


def ach50(cfm50: ArrayLike, volume_ft3: ArrayLike) -> Values:
    r"""Air changes in an hour at 50 Pa.

    Parameters
    ----------
    cfm50 : leakage at 50 Pa, >= 0, any shape. [cfm]
    volume_ft3 : heated volume, > 0, any shape. [ft3]

    Returns
    -------
    60 cfm50 / volume. [1/h]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: ACH_{50} = 60 \, Q_{50} / V

    References
    ----------
    .. [1] ASTM E779 and E1827, air changes at the test pressure (definition).

    Examples
    --------
    >>> ach50(2000.0, 12_000.0)
    10.0
    """
    return 60 * not_negative("cfm50", cfm50) / positive("volume_ft3", volume_ft3)


def infiltration_cfm(
    ela: ArrayLike, stories: ArrayLike, shelter: int, delta_f: ArrayLike, wind_mph: ArrayLike
) -> Values:
    r"""Air that leaks in, by leakage area, temperature difference and wind.

    Parameters
    ----------
    ela : effective leakage area at 4 Pa, >= 0, any shape. [in2]
    stories : 1 to 3; halves read between the columns of the table, any shape. [-]
    shelter : 1 no obstructions, 2 few, 3 some as in a suburb, 4 much, 5 surrounded. [-]
    delta_f : temperature difference inside to outside, sign left out, >= 0, any shape. [degF]
    wind_mph : wind at the weather site, >= 0, any shape. [mph]

    Returns
    -------
    Air flow. [cfm]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: Q = A_L \sqrt{C_s \Delta T + C_w U^2}

    References
    ----------
    .. [1] ASHRAE Fundamentals ch. 16, basic model (coefficients: see `STACK`, `WIND`).

    Examples
    --------
    >>> round(infiltration_cfm(77.0, 2, 3, 72.0, 15.0))
    156
    """
    area, floors = not_negative("ela", ela), within("stories", stories, 1, 3)
    if shelter not in (1, 2, 3, 4, 5):
        raise OutOfRange("shelter", shelter, "a class: 1, 2, 3, 4 or 5")
    stack, wind = (plain(np.interp(floors, (1, 2, 3), table)) for table in (STACK, WIND[shelter - 1]))
    drive = stack * not_negative("delta_f", delta_f) + wind * not_negative("wind_mph", wind_mph) ** 2
    return area * root(drive)


def natural_cfm(cfm50: ArrayLike, n_factor: ArrayLike) -> Values:
    """Yearly mean leakage by the rule of thumb cfm50 / N; `infiltration_cfm` is the better way.

    Parameters
    ----------
    cfm50 : leakage at 50 Pa, >= 0, any shape. [cfm]
    n_factor : divisor by climate, height and shelter, 5 to 40, any shape. [-]

    Returns
    -------
    Air flow. [cfm]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: Q = Q_{50} / N

    References
    ----------
    .. [1] Rule of thumb of home performance work, from memory; N about 20 for a two-storey house of middling shelter.

    Examples
    --------
    >>> natural_cfm(2000.0, 20.0)
    100.0
    """
    return not_negative("cfm50", cfm50) / within("n_factor", n_factor, 5, 40)


@dataclass(frozen=True, slots=True)
class LeakageAfter:
    """Leakage once the measures are done: in all and by component [cfm], cut as a share [-], shares used [-]."""

    cfm50: Values
    by_component: Mapping[str, Values]
    reduction: Values
    shares: Mapping[str, Values]
    warnings: tuple[str, ...]


def leakage_after(
    before_cfm50: ArrayLike,
    shares: Mapping[str, ArrayLike],
    treated: Mapping[str, Mapping[str, ArrayLike]],
    effects: Mapping[str, Mapping[str, ArrayLike]],
    *,
    absent: Collection[str] = (),
) -> LeakageAfter:
    r"""Leakage at 50 Pa after the work, component by component.

    Parameters
    ----------
    before_cfm50 : measured leakage, >= 0, scalar or draws. [cfm]
    shares : share of each component, >= 0, scalar or draws; rescaled to sum 1, draw by draw. [-]
    treated : treated part of each component by measure, `treated[component][measure]`, 0 to 1. [-]
    effects : part of the leakage of what is treated that the measure stops, `effects[component][measure]`, 0 to 1. [-]
    absent : components the house does not have; their share goes to the rest.

    Returns
    -------
    LeakageAfter, with a warning where the middle result cuts more than `USUAL_REDUCTION`.

    Raises
    ------
    OutOfRange : a component or measure that is unknown or absent, an effect without a treated part or the other way
        round, a share or fraction outside its limits, shares that sum to 0.

    Notes
    -----
    .. math:: Q' = Q \left[ \sum_i s_i \prod_k (1 - t_{ik} e_{ik}) \right], \quad \sum_i s_i = 1

    The product runs only over measures on the same component. Give each share, treated part and effect its one
    set of draws and use them again in every option; never combine ends of ranges.

    References
    ----------
    .. [1] Components add: rule of this firm (FIELD, Air). Shares: ASHRAE Fundamentals ch. 16, as `LEAKAGE_SHARES`.

    Examples
    --------
    >>> after = leakage_after(2000.0, {"walls": 0.4, "rest": 0.6}, {"walls": {"fill": 0.75}}, {"walls": {"fill": 0.5}})
    >>> round(after.cfm50), round(after.reduction, 3)
    (1700, 0.15)
    """
    before = not_negative("before_cfm50", before_cfm50)
    scaled = _rescaled(shares, absent)
    for component in {**treated, **effects}:
        if component not in scaled:
            raise OutOfRange(f"treated.{component}", "not a component of this house", f"one of {', '.join(scaled)}")
        if set(treated.get(component, {})) != set(effects.get(component, {})):
            raise OutOfRange(
                f"effects.{component}", sorted(effects.get(component, {})), "an effect for each treated measure"
            )
    kept: dict[str, Values] = {}
    for component, share in scaled.items():
        left = share
        for measure, part in treated.get(component, {}).items():
            name = f"{component}.{measure}"
            effect = within(f"effects.{name}", effects[component][measure], 0, 1)
            left = left * (1 - within(f"treated.{name}", part, 0, 1) * effect)
        kept[component] = left
    total: Values = sum(kept.values(), start=0.0)
    middle = float(np.median(1 - total))
    warnings = (
        (f"cuts {middle:.0%} of the leakage; more than {USUAL_REDUCTION:.0%} is rarely seen: check the shares",)
        if middle > USUAL_REDUCTION
        else ()
    )
    return LeakageAfter(
        cfm50=before * total,
        by_component=MappingProxyType({component: before * left for component, left in kept.items()}),
        reduction=1 - total,
        shares=MappingProxyType(scaled),
        warnings=warnings,
    )


def _rescaled(shares: Mapping[str, ArrayLike], absent: Collection[str]) -> dict[str, Values]:
    """Shares of what the house has, summing to 1 in every draw. [-]"""
    unknown = sorted(set(absent) - set(shares))
    if unknown:
        raise OutOfRange("absent", unknown, f"some of {', '.join(shares)}")
    present = {name: not_negative(f"shares.{name}", s) for name, s in shares.items() if name not in absent}
    total: Values = sum(present.values(), start=0.0)
    if not np.all(np.asarray(total) > 0):
        raise OutOfRange("shares", "a sum of 0", "at least one component with a share above 0")
    return {name: share / total for name, share in present.items()}
