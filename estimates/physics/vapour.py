"""Water vapour: saturation pressure, dew point, permeance units and the classes of vapour retarders."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from estimates.physics.elementwise import plain
from estimates.physics.validity import OutOfRange, Values, positive, within

PA_PER_PSI = 6894.757293168
"""Source: exact definitions of pound-force and inch."""

NG_PER_PERM = 57.2135
"""One perm (grain/(h ft2 inHg)) in ng/(s m2 Pa). Source: definitions, mercury at 32 degF; usually printed 57.2 (M)."""

AIR_PERMEABILITY = 2e-10
"""Vapour permeability of still air in ISO 13788. [kg/(m s Pa)] Source: ISO 13788:2012 (S, in public codes)."""

TRIPLE_POINT_K = 273.16
"""Where ice, water and vapour meet; the two equations change over here. [K]"""

_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 6.5459673)


def saturation_pressure_pa(temp_c: ArrayLike) -> Values:
    r"""Saturation pressure of water vapour, over ice below the triple point and over water above it.

    Parameters
    ----------
    temp_c : -100 to 200, number or array. [degC]

    Returns
    -------
    Pressure, same shape. [Pa]

    Raises
    ------
    OutOfRange : outside the limits.

    Notes
    -----
    .. math:: \ln p = C_1/T + C_2 + C_3 T + C_4 T^2 + C_5 T^3 + C_6 T^4 + C_7 \ln T

    References
    ----------
    .. [1] ASHRAE Fundamentals 2017, SI, ch. 1, eq. 5 and 6.

    Examples
    --------
    >>> round(saturation_pressure_pa(20.0), 0)
    2339.0
    """
    kelvin = np.asarray(within("temp_c", temp_c, -100.0, 200.0), dtype=np.float64) + 273.15
    log = np.log(kelvin)
    a, b, c, d, e, f, g = _ICE
    ice = a / kelvin + b + kelvin * (c + kelvin * (d + kelvin * (e + kelvin * f))) + g * log
    a, b, c, d, e, g = _WATER
    water = a / kelvin + b + kelvin * (c + kelvin * (d + kelvin * e)) + g * log
    return plain(np.exp(np.where(kelvin <= TRIPLE_POINT_K, ice, water)))


def saturation_pressure_psia(temp_f: ArrayLike) -> Values:
    """Saturation pressure of water vapour, over ice below the triple point and over water above it.

    Parameters
    ----------
    temp_f : -148 to 392, number or array. [degF]

    Returns
    -------
    Pressure, same shape. [psia]

    Raises
    ------
    OutOfRange : outside the limits.

    Notes
    -----
    Polynomial in absolute temperature with a logarithm, one over ice and one over water.

    References
    ----------
    .. [1] ASHRAE Fundamentals 2017, ch. 1, eq. 5 and 6.

    Examples
    --------
    >>> round(saturation_pressure_psia(77.0), 4)
    0.4597
    """
    fahrenheit = within("temp_f", temp_f, -148.0, 392.0)
    return saturation_pressure_pa(np.clip((np.asarray(fahrenheit) - 32.0) / 1.8, -100.0, 200.0)) / PA_PER_PSI


def dew_point_f(temp_f: ArrayLike, rh: ArrayLike) -> Values:
    """Dew point of moist air; below freezing the frost point.

    Parameters
    ----------
    temp_f : air temperature, -100 to 200. [degF]
    rh : relative humidity, 0.001 to 1. [1]

    Returns
    -------
    Dew point, broadcast. [degF]

    Raises
    ------
    OutOfRange : outside the limits.

    Notes
    -----
    Halves an interval of temperature 60 times until the saturation pressure is that of the vapour. Relative humidity
    below freezing is over ice.

    References
    ----------
    .. [1] ASHRAE Fundamentals 2017, ch. 1; checked against a public psychrometric library.

    Examples
    --------
    >>> round(dew_point_f(70.0, 0.40), 1)
    44.6
    """
    air = within("temp_f", temp_f, -100.0, 200.0)
    humidity = within("rh", rh, 0.001, 1.0)
    wanted = np.asarray(humidity * saturation_pressure_psia(air))
    high = np.broadcast_to(np.asarray(air, dtype=np.float64), wanted.shape).copy()
    low = np.full(wanted.shape, -148.0)
    for _ in range(60):
        middle = (low + high) / 2
        under = np.asarray(saturation_pressure_psia(middle)) < wanted
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    return plain((low + high) / 2)


def iso_saturation_pa(temp_c: ArrayLike) -> Values:
    r"""Saturation pressure by the short formula of ISO 13788, which its balances are made with.

    Parameters
    ----------
    temp_c : -60 to 80, number or array. [degC]

    Returns
    -------
    Pressure, same shape. [Pa]

    Raises
    ------
    OutOfRange : outside the limits.

    Notes
    -----
    .. math:: p = 610.5 \exp(17.269 t / (237.3 + t)), \quad t \ge 0
    .. math:: p = 610.5 \exp(21.875 t / (265.5 + t)), \quad t < 0

    Within 0.6 % of `saturation_pressure_pa` from -20 to 40 degC.

    References
    ----------
    .. [1] ISO 13788:2012, annex E.

    Examples
    --------
    >>> round(iso_saturation_pa(20.0), 1)
    2337.0
    """
    t = np.asarray(within("temp_c", temp_c, -60.0, 80.0), dtype=np.float64)
    return plain(610.5 * np.exp(np.where(t >= 0, 17.269 * t / (237.3 + t), 21.875 * t / (265.5 + t))))


def iso_dew_point_c(pressure_pa: ArrayLike) -> Values:
    """Temperature at which a vapour pressure saturates: the inverse of `iso_saturation_pa`.

    Parameters
    ----------
    pressure_pa : 2 to 40,000, number or array. [Pa]

    Returns
    -------
    Temperature, same shape. [degC]

    Raises
    ------
    OutOfRange : outside the limits.

    Notes
    -----
    The inverse of `iso_saturation_pa`, over water or over ice.

    References
    ----------
    .. [1] EN ISO 13788:2012, annex E.

    Examples
    --------
    >>> round(iso_dew_point_c(1606.65), 2)
    14.09
    """
    log = np.log(np.asarray(within("pressure_pa", pressure_pa, 2.0, 40_000.0), dtype=np.float64) / 610.5)
    return plain(np.where(log >= 0, 237.3 * log / (17.269 - log), 265.5 * log / (21.875 - log)))


def perm_to_si(perm: ArrayLike) -> Values:
    r"""Permeance in ng/(s m2 Pa) of a permeance in perm (> 0, number or array).

    Parameters
    ----------
    perm : permeance, any shape. [perm]

    Returns
    -------
    Permeance. [ng/(s m2 Pa)]

    Raises
    ------
    OutOfRange : below 0 or not finite.

    Notes
    -----
    .. math:: W = 57.2 \, perm

    References
    ----------
    .. [1] 1 perm = 57.2 ng/(s m2 Pa), from memory.

    Examples
    --------
    >>> round(perm_to_si(1.0), 1)
    57.2
    """
    return positive("perm", perm) * NG_PER_PERM


def perm_from_si(permeance: ArrayLike) -> Values:
    """Permeance in perm of a permeance in ng/(s m2 Pa) (> 0, number or array).

    Parameters
    ----------
    permeance : any shape. [ng/(s m2 Pa)]

    Returns
    -------
    Permeance. [perm]

    Raises
    ------
    OutOfRange : below 0 or not finite.

    Notes
    -----
    .. math:: perm = W / 57.2

    References
    ----------
    .. [1] 1 perm = 57.2 ng/(s m2 Pa), from memory.

    Examples
    --------
    >>> round(perm_from_si(57.2), 2)
    1.0
    """
    return positive("permeance", permeance) / NG_PER_PERM


def sd_from_perm(perm: ArrayLike) -> Values:
    r"""Vapour resistance of a layer as thickness of still air.

    Parameters
    ----------
    perm : permeance, > 0, number or array. [perm]

    Returns
    -------
    s_d, same shape. [m]

    Raises
    ------
    OutOfRange : not positive.

    Notes
    -----
    .. math:: s_d = \delta_0 / W

    References
    ----------
    .. [1] Definition of the equivalent air layer, EN ISO 12572.

    Examples
    --------
    >>> round(sd_from_perm(1.0), 2)
    3.5
    """
    return AIR_PERMEABILITY / (perm_to_si(perm) * 1e-12)


class RetarderClass(StrEnum):
    """How tight a layer is to vapour; the classes of the residential code, and what is more open than they are."""

    I = "I"  # noqa: E741 - the code's own name
    II = "II"
    III = "III"
    OPEN = "open"


CLASS_LIMITS_PERM = ((0.1, RetarderClass.I), (1.0, RetarderClass.II), (10.0, RetarderClass.III))
"""Highest permeance of each class, dry cup. [perm] Source: IRC R702.7 (S)."""


def retarder_class(perm: float) -> RetarderClass:
    """Class of a layer by its permeance.

    Parameters
    ----------
    perm : permeance, > 0. [perm]

    Returns
    -------
    RetarderClass.

    Raises
    ------
    OutOfRange : not positive.

    Notes
    -----
    Class I up to 0.1 perm, II up to 1.0, III up to 10.

    References
    ----------
    .. [1] International Residential Code R702.7, classes.

    Examples
    --------
    >>> retarder_class(1.0).value, retarder_class(5.0).value
    ('II', 'III')
    """
    value = float(positive("perm", perm))
    return next((kind for limit, kind in CLASS_LIMITS_PERM if value <= limit), RetarderClass.OPEN)


@dataclass(frozen=True, slots=True)
class RetarderRule:
    """What a climate zone asks for on the warm side of a framed wall.

    class_i_or_ii : whether class I or II is asked for; vented_over : sheathings over which a vented cladding lets class
    III stand in for it; ci_2x4, ci_2x6 : least R of continuous insulation that does, None: none does. [h ft2 degF/Btu]
    """

    zone: str
    class_i_or_ii: bool
    vented_over: tuple[str, ...] = ()
    ci_2x4: float | None = None
    ci_2x6: float | None = None
    mark: str = "M"


_PANELS = ("plywood", "osb", "fiberboard", "gypsum")

RETARDER_RULES: Mapping[str, RetarderRule] = MappingProxyType(
    {
        rule.zone: rule
        for rule in (
            *(RetarderRule(zone, False) for zone in ("1", "2", "3", "4A", "4B")),
            RetarderRule("4C", True, _PANELS, 2.5, 3.75),
            RetarderRule("5", True, _PANELS, 5.0, 7.5),
            RetarderRule("6", True, ("fiberboard", "gypsum"), 7.5, 11.25),
            RetarderRule("7", True, (), 10.0, 15.0),
            RetarderRule("8", True, (), 10.0, 15.0),
        )
    }
)
"""IRC 2018 R702.7 by climate zone; 11.25 in zone 6 was seen (S), the rest is from memory (M). Local code decides."""


def class_iii_allowed(
    zone: str, *, sheathing: str, vented_cladding: bool, continuous_r: float, framing_depth_in: float
) -> bool:
    """Whether a class III retarder (paint) on the inside is enough.

    Parameters
    ----------
    zone : climate zone, "1" to "8", with 4 as "4A", "4B" or "4C" (marine).
    sheathing : key of the material table.
    vented_cladding : cladding with a drained and vented gap, or vinyl.
    continuous_r : continuous insulation outside the framing, >= 0. [h ft2 degF/Btu]
    framing_depth_in : 0.5 to 24; up to 3.625 counts as 2x4. [in]

    Returns
    -------
    True where the rule names the wall.

    Raises
    ------
    OutOfRange : an unknown zone, a number outside its limits.

    Notes
    -----
    A look-up by climate zone and wall, no equation.

    References
    ----------
    .. [1] IRC 2018, R702.7.1 (M).

    Examples
    --------
    >>> class_iii_allowed("6", sheathing="osb", vented_cladding=True, continuous_r=0, framing_depth_in=3.5)
    False
    """
    if zone not in RETARDER_RULES:
        raise OutOfRange("zone", zone, f"one of {', '.join(RETARDER_RULES)}")
    rule = RETARDER_RULES[zone]
    outside = float(within("continuous_r", continuous_r, 0.0, 100.0))
    shallow = float(within("framing_depth_in", framing_depth_in, 0.5, 24.0)) <= 3.625
    needed = rule.ci_2x4 if shallow else rule.ci_2x6
    vented = vented_cladding and sheathing in rule.vented_over
    return not rule.class_i_or_ii or vented or (needed is not None and outside >= needed)
