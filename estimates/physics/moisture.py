"""Moisture in walls: condensation by the Glaser method, a year's balance, mould at surfaces and the drying of wet foam.

SI inside, as the standards are. The methods leave out rain, air leakage, storage and wicking: they compare one wall
with another (before and after filling) and do not foretell moisture contents.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estimates.physics.condensation import AirState, Section, VapourLayer
from estimates.physics.materials import R_PER_SI
from estimates.physics.validity import OutOfRange, Values, not_negative, positive, within
from estimates.physics.vapour import iso_dew_point_c, iso_saturation_pa, sd_from_perm

Array = NDArray[np.float64]

MOULD_R_IN = 0.25
"""Inside surface resistance for judging mould on opaque surfaces. [m2 K/W] Source: ISO 13788 (S)."""

CRITICAL_RH = 0.8
"""Monthly mean humidity at a surface from which mould may grow. [1] Source: ISO 13788 (S)."""


def layer_from_si(name: str, thickness_m: float, mu: float, conductivity: float) -> VapourLayer:
    r"""Layer from what European tables give.

    Parameters
    ----------
    name : what people call it.
    thickness_m : > 0. [m]
    mu : vapour resistance factor, >= 1 for solids, > 0. [1]
    conductivity : > 0. [W/(m K)]

    Returns
    -------
    Layer in SI.

    Raises
    ------
    OutOfRange : an argument that is not positive.

    Notes
    -----
    .. math:: R = d / \lambda, \qquad s_d = \mu d

    References
    ----------
    .. [1] EN ISO 13788:2012, 4.3.

    Examples
    --------
    >>> layer_from_si("brick", 0.11, 10, 0.69).sd
    1.1
    """
    thickness = float(positive(f"{name} thickness_m", thickness_m))
    r = thickness / float(positive(f"{name} conductivity", conductivity))
    return VapourLayer(name, r, thickness * float(positive(f"{name} mu", mu)))


def layer_from_us(name: str, r: float, perm: float) -> VapourLayer:
    r"""Layer from what American tables give.

    Parameters
    ----------
    name : what people call it.
    r : resistance, >= 0. [h ft2 degF/Btu]
    perm : vapour permeance, > 0. [perm]

    Returns
    -------
    Layer in SI.

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: R_{SI} = R / 5.678263, \qquad s_d = \delta_0 / W

    References
    ----------
    .. [1] EN ISO 13788:2012, 4.3; conversions as in `materials` and `vapour`.

    Examples
    --------
    >>> round(layer_from_us("gypsum board", 0.45, 37.5).sd, 3)
    0.093
    """
    return VapourLayer(name, float(not_negative(f"{name} r", r)) / R_PER_SI, float(sd_from_perm(perm)))


@dataclass(frozen=True, slots=True)
class CondensationPlane:
    """Where vapour condenses: place in words and rate. [kg/(m2 s)]"""

    place: str
    rate: float


@dataclass(frozen=True, slots=True)
class Glaser:
    """Temperatures and vapour pressures through a wall, from outside air to inside air.

    places : names; temperature_c [degC], saturation_pa [Pa], pressure_pa : straight line, as if nothing condensed [Pa],
    pressure_with_condensation_pa : never above saturation [Pa], all (n layers + 3,); planes : where it condenses;
    u [W/(m2 K)], sd : of all layers [m]; temperature_factor : f_Rsi with 0.25 m2 K/W inside [1].
    """

    places: tuple[str, ...]
    temperature_c: Array
    saturation_pa: Array
    pressure_pa: Array
    pressure_with_condensation_pa: Array
    planes: tuple[CondensationPlane, ...]
    u: float
    sd: float
    temperature_factor: float
    warnings: tuple[str, ...]

    @property
    def condenses(self) -> bool:
        """Whether vapour condenses anywhere inside."""
        return bool(self.planes)


def glaser(
    layers: Sequence[VapourLayer],
    *,
    t_out_c: float,
    rh_out: float,
    t_in_c: float,
    rh_in: float,
    r_out: float = 0.04,
    r_in: float = 0.13,
) -> Glaser:
    r"""Condensation inside a wall in steady conditions, by the tangent construction.

    Parameters
    ----------
    layers : from outside to inside.
    t_out_c, t_in_c : air temperatures, -60 to 80. [degC]
    rh_out, rh_in : relative humidities, 0 to 1. [1]
    r_out, r_in : surface resistances, >= 0. [m2 K/W]

    Returns
    -------
    Glaser.

    Raises
    ------
    OutOfRange : an argument outside its limits, no layer, no vapour or thermal resistance at all.

    Notes
    -----
    Over s_d, vapour pressure follows the tightest string from outside to inside pressure that stays under saturation:
    its lower convex hull. Where it bends, vapour condenses at

    .. math:: g = \delta_0 \left( \frac{p_{i+1} - p_i}{s_{i+1} - s_i} - \frac{p_i - p_{i-1}}{s_i - s_{i-1}} \right)

    Layers of more than 0.25 m2 K/W are cut, so a plane may lie inside one. Condensate on a face is warned of.

    References
    ----------
    .. [1] ISO 13788:2012, clause 6.

    Examples
    --------
    >>> wall = [layer_from_us("siding", 0.8, 2.0), layer_from_us("fill", 13.7, 5.1), layer_from_us("plaster", 0.4, 11)]
    >>> cold = glaser(wall, t_out_c=-10, rh_out=0.8, t_in_c=20, rh_in=0.5)
    >>> [plane.place for plane in cold.planes]
    ['between siding and fill']
    """
    section = Section.of(layers, r_out, r_in)
    state = AirState.of(t_out_c, rh_out, t_in_c, rh_in)
    hull = section.string(state)
    faces, share = section.faces, section.sd / section.sd[-1]
    straight = state.p_out + (state.p_in - state.p_out) * share
    bent = np.interp(section.sd, hull.sd, hull.pressure)
    temperature = np.array([state.t_out, *section.temperature(state)[faces], state.t_in])
    saturation = np.asarray(iso_saturation_pa(temperature), dtype=np.float64)
    layers_r = section.total_r - section.r_out - section.r_in
    return Glaser(
        places=section.places,
        temperature_c=temperature,
        saturation_pa=saturation,
        pressure_pa=np.array([state.p_out, *straight[faces], state.p_in]),
        pressure_with_condensation_pa=np.array([state.p_out, *bent[faces], state.p_in]),
        planes=tuple(CondensationPlane(section.words[plane], rate) for plane, rate in hull.rates),
        u=1.0 / section.total_r,
        sd=float(section.sd[-1]),
        temperature_factor=float(temperature_factor(max(0.0, layers_r), section.r_out)),
        warnings=tuple(
            f"water condenses on the {name} face"
            for name, face, pressure in (("outer", 1, state.p_out), ("inner", -2, state.p_in))
            if pressure > saturation[face] * (1 + 1e-12)
        ),
    )


@dataclass(frozen=True, slots=True)
class MonthClimate:
    """A month's mean conditions. Temperatures [degC], relative humidities [1], days [day]."""

    t_out_c: float
    rh_out: float
    t_in_c: float
    rh_in: float
    days: float = 30.4


class Verdict(StrEnum):
    """What a year's balance says of a wall."""

    DRY = "dry"
    DRIES_OUT = "dries out"
    GATHERS = "gathers water"


@dataclass(frozen=True, slots=True)
class MoistureYear:
    """A year's balance.

    places : planes where water stood; amounts : at the end of each month, (months, planes) [kg/m2]; first_month : index
    of the month the balance starts with; months run from it; greatest : most water at any month's end [kg/m2];
    left_over : water after the last month [kg/m2].
    """

    verdict: Verdict
    places: tuple[str, ...]
    amounts: Array
    first_month: int
    greatest: float
    left_over: float
    warnings: tuple[str, ...]


def moisture_year(
    layers: Sequence[VapourLayer], months: Sequence[MonthClimate], *, r_out: float = 0.04, r_in: float = 0.25
) -> MoistureYear:
    r"""Condensation and drying over a year, month by month.

    Parameters
    ----------
    layers : from outside to inside.
    months : means in calendar order, usually 12.
    r_out, r_in : surface resistances, >= 0. [m2 K/W]

    Returns
    -------
    MoistureYear.

    Raises
    ------
    OutOfRange : as `glaser`; no month.

    Notes
    -----
    Starts with the first month of condensation after one without. While a plane is wet its pressure is held at
    saturation and it gains or loses water at the rate of `glaser`; the moment it is dry, the month goes on without it.
    Water left after the last month gathers year by year. Freezing and running off are left out.

    References
    ----------
    .. [1] ISO 13788:2012, clause 6.4 and 6.5.

    Examples
    --------
    >>> wall = [layer_from_us("siding", 0.8, 2.0), layer_from_us("fill", 13.7, 5.1), layer_from_us("plaster", 0.4, 11)]
    >>> year = [MonthClimate(-5, 0.8, 20, 0.45)] * 3 + [MonthClimate(15, 0.7, 22, 0.5)] * 9
    >>> moisture_year(wall, year).verdict.value
    'dries out'
    """
    if not months:
        raise OutOfRange("number of months", 0, "a month at least, usually 12")
    section = Section.of(layers, r_out, r_in)
    states = [AirState.of(m.t_out_c, m.rh_out, m.t_in_c, m.rh_in) for m in months]
    seconds = [float(positive(f"months[{i}].days", m.days)) * 86400.0 for i, m in enumerate(months)]
    wet = [bool(section.string(state).rates) for state in states]
    first = next((i for i in range(len(wet)) if wet[i] and not wet[i - 1]), 0)
    amounts = np.zeros(len(section.planes))
    rows = []
    for step in range(len(months)):
        i = (first + step) % len(months)
        amounts = section.after(states[i], seconds[i], amounts)
        rows.append(amounts)
    table = np.array(rows)
    held = (table > 0.0).any(axis=0)
    left = float(amounts.sum())
    verdict = Verdict.DRY if not held.any() else Verdict.GATHERS if left > 0 else Verdict.DRIES_OUT
    warnings = []
    if all(wet):
        warnings.append("water condenses in every month; the start of the balance is arbitrary")
    return MoistureYear(
        verdict=verdict,
        places=tuple(section.words[g] for g in np.flatnonzero(held)),
        amounts=table[:, held],
        first_month=first,
        greatest=float(table.sum(axis=1).max()),
        left_over=left,
        warnings=tuple(warnings),
    )


def temperature_factor(layers_r: ArrayLike, r_out: ArrayLike = 0.04, r_in: ArrayLike = MOULD_R_IN) -> Values:
    r"""How near the inside surface is to room temperature: 1 as warm as the room, 0 as cold as outdoors.

    Parameters
    ----------
    layers_r : resistance surface to surface, >= 0; number or array. [m2 K/W]
    r_out, r_in : surface resistances, >= 0; r_in 0.25 for mould. [m2 K/W]

    Returns
    -------
    f_Rsi, broadcast. [1]

    Raises
    ------
    OutOfRange : a negative resistance, or none at all.

    Notes
    -----
    .. math:: f_{Rsi} = 1 - R_{si} / (R_{se} + R + R_{si})

    References
    ----------
    .. [1] ISO 13788:2012, 5.1.

    Examples
    --------
    >>> round(temperature_factor(1.08), 3)
    0.818
    """
    inside = not_negative("r_in", r_in)
    total = positive("sum of resistances", not_negative("layers_r", layers_r) + not_negative("r_out", r_out) + inside)
    return 1.0 - inside / total


def least_temperature_factor(
    t_out_c: ArrayLike, t_in_c: ArrayLike, rh_in: ArrayLike, critical_rh: float = CRITICAL_RH
) -> Values:
    r"""Temperature factor that keeps a surface below a critical humidity.

    Parameters
    ----------
    t_out_c : outdoor temperature, below t_in_c. [degC]
    t_in_c : indoor temperature, -20 to 60. [degC]
    rh_in : indoor relative humidity, 0.01 to 1. [1]
    critical_rh : 0.8 for mould, 1 for condensation, 0.5 to 1. [1]

    Returns
    -------
    Least f_Rsi, broadcast; at or below 0 any surface will do, above 1 none will. [1]

    Raises
    ------
    OutOfRange : an argument outside its limits, outdoors not colder than indoors.

    Notes
    -----
    .. math:: f = (t_{dew}(p_i / \varphi_c) - t_e) / (t_i - t_e)

    References
    ----------
    .. [1] ISO 13788:2012, 5.3.

    Examples
    --------
    >>> round(least_temperature_factor(10.7, 20, 0.55), 3)
    0.364
    """
    inside = within("t_in_c", t_in_c, -20.0, 60.0)
    limit = within("critical_rh", critical_rh, 0.5, 1.0)
    vapour = within("rh_in", rh_in, 0.01, 1.0) * iso_saturation_pa(inside)
    outside = within("t_out_c", t_out_c, -60.0, 60.0)
    difference = positive("t_in_c - t_out_c", inside - outside)
    return (iso_dew_point_c(vapour / limit) - outside) / difference


def surface_humidity(t_out_c: ArrayLike, t_in_c: ArrayLike, rh_in: ArrayLike, factor: ArrayLike) -> Values:
    r"""Relative humidity of the air at an inside surface; over 1 water condenses on it.

    Parameters
    ----------
    t_out_c, t_in_c : air temperatures, -60 to 60. [degC]
    rh_in : indoor relative humidity, 0 to 1. [1]
    factor : f_Rsi of the surface, 0 to 1. [1]

    Returns
    -------
    Relative humidity, broadcast, not capped. [1]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: \varphi_s = \varphi_i p_s(t_i) / p_s(t_e + f (t_i - t_e))

    References
    ----------
    .. [1] EN ISO 13788:2012, 5.2.

    Examples
    --------
    >>> round(surface_humidity(-10, 20, 0.5, 0.818), 2)
    0.71
    """
    inside, outside = within("t_in_c", t_in_c, -60.0, 60.0), within("t_out_c", t_out_c, -60.0, 60.0)
    surface = outside + within("factor", factor, 0.0, 1.0) * (inside - outside)
    return within("rh_in", rh_in, 0.0, 1.0) * iso_saturation_pa(inside) / iso_saturation_pa(surface)
