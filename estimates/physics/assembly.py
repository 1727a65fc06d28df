"""Heat loss of walls and ceilings made of side-by-side paths: parallel paths, isothermal planes and their mean.

What the proposal states is the parallel-path U of `wall_u`, framing included. The isothermal-planes method gives the
other bound; the two-dimensional answer of `estimates.physics.conduction` lies between.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from estimates.physics.elementwise import any_over, greater, left_out, lesser
from estimates.physics.materials import AIR_FILMS, EMPTY_CAVITY_R, material
from estimates.physics.validity import OutOfRange, Values, not_negative, positive, within

GREATEST_BOUND_RATIO = 1.5
"""Upper over lower limit of resistance above which the mean of both says nothing. [1] Source: ISO 6946, 6.7.2.1 (M)."""

UNDETECTED_FRAMING = 0.04
"""Framing that a layout misses (blocks, nailers, extra studs) over the net wall, 0 to 0.08. [1] From memory (M)."""

FRAMING_CAP = 0.30
"""The allowance never lifts the framing share above this. [1] Common practice (CP)."""

TOO_MUCH_FRAMING = (f"laid-out framing is over {FRAMING_CAP:.0%} of the wall; look at the openings and studs again",)
"""What `wall_u` warns of."""

Layer = ArrayLike | tuple[ArrayLike, ...] | list[ArrayLike]


def u_parallel(fractions: Sequence[ArrayLike], r_paths: Sequence[ArrayLike]) -> Values:
    r"""U-factor of paths side by side with no heat crossing between them.

    Parameters
    ----------
    fractions : share of the area of each path, >= 0, summing to 1; numbers or arrays that broadcast. [1]
    r_paths : resistance of each path, air to air, > 0; numbers or arrays that broadcast. [h ft2 degF/Btu]

    Returns
    -------
    U, in the shape the arguments broadcast to. [Btu/(h ft2 degF)]

    Raises
    ------
    OutOfRange : no path, not as many shares as paths, shares that do not sum to 1, a resistance that is not positive.

    Notes
    -----
    .. math:: U = \sum_i f_i / R_i

    The largest resistance possible: real walls lose more. [1]_

    References
    ----------
    .. [1] ASHRAE Fundamentals ch. 27, parallel-path method; ISO 6946, upper limit of resistance.

    Examples
    --------
    >>> round(u_parallel([0.75, 0.25], [16.43, 7.81]), 3)
    0.078
    """
    shares = _shares(fractions, len(r_paths))
    total: Values = 0.0
    for i, (share, r) in enumerate(zip(shares, r_paths)):
        total = total + share / positive(f"r_paths[{i}]", r)
    return total


def r_isothermal(fractions: Sequence[ArrayLike], layers: Sequence[Layer]) -> Values:
    r"""Resistance of layers whose faces are each of one temperature: the other bound.

    Parameters
    ----------
    fractions : share of the area of each path, >= 0, summing to 1; numbers or arrays that broadcast. [1]
    layers : from outside to inside, air films too. A number or array is a layer that is the same in all paths (>= 0); a
        list or tuple is a bridged layer with one resistance (> 0) for each path. [h ft2 degF/Btu]

    Returns
    -------
    R. [h ft2 degF/Btu]

    Raises
    ------
    OutOfRange : as `u_parallel`; a bridged layer with another number of paths.

    Notes
    -----
    .. math:: R = \sum_j \left( \sum_i f_i / R_{ij} \right)^{-1}

    The smallest resistance possible: real walls lose less. [1]_

    References
    ----------
    .. [1] ASHRAE Fundamentals ch. 27, isothermal-planes method; ISO 6946, lower limit of resistance.

    Examples
    --------
    >>> r = r_isothermal([0.75, 0.25], [0.17, 0.81, 1.32, [13, 4.38], 0.45, 0.68])
    >>> round(1 / r, 3)
    0.082
    """
    shares = _shares(fractions, len(fractions))
    total: Values = 0.0
    for j, layer in enumerate(layers):
        if isinstance(layer, list | tuple):
            total = total + 1.0 / _bridged(shares, layer, j)
        else:
            total = total + not_negative(f"layers[{j}]", layer)
    return positive("sum of layers", total)


@dataclass(frozen=True, slots=True)
class CombinedR:
    """Mean of the two bounds. r, upper, lower [h ft2 degF/Btu]; error: half the width between the bounds over r. [1]"""

    r: Values
    upper: Values
    lower: Values
    error: Values
    warnings: tuple[str, ...]


def r_iso6946(fractions: Sequence[ArrayLike], layers: Sequence[Layer]) -> CombinedR:
    r"""Resistance of a bridged element: the mean of both bounds.

    Parameters
    ----------
    fractions, layers : as `r_isothermal`.

    Returns
    -------
    CombinedR.

    Raises
    ------
    OutOfRange : as `r_isothermal`; bounds whose ratio exceeds 1.5 (metal in the wall): use two-dimensional conduction.

    Notes
    -----
    .. math:: R = (R_{upper} + R_{lower}) / 2, \qquad e = (R_{upper} - R_{lower}) / (2 R)

    References
    ----------
    .. [1] ISO 6946:2007, 6.2, combined method.

    Examples
    --------
    >>> answer = r_iso6946([0.75, 0.25], [0.17, 0.81, 1.32, [13, 4.38], 0.45, 0.68])
    >>> round(answer.r, 2), round(answer.error, 3)
    (12.51, 0.029)
    """
    paths = []
    for i in range(len(fractions)):
        path: Values = 0.0
        for j, layer in enumerate(layers):
            if isinstance(layer, list | tuple):
                _one_each(layer, len(fractions), j)
                path = path + positive(f"layers[{j}][{i}]", layer[i])
            else:
                path = path + not_negative(f"layers[{j}]", layer)
        paths.append(path)
    upper = 1.0 / u_parallel(fractions, paths)
    lower = r_isothermal(fractions, layers)
    ratio = float(np.max(np.asarray(upper / lower)))
    if ratio > GREATEST_BOUND_RATIO:
        raise OutOfRange("upper over lower limit of R", ratio, "layers that give 1.5 at most, or solve the wall in 2-D")
    r = (upper + lower) / 2.0
    error = (upper - lower) / (2.0 * r)
    wide = float(np.max(np.asarray(error))) > 0.1
    return CombinedR(r, upper, lower, error, ("the two limits differ by more than 20 %",) if wide else ())


def with_voids(u_filled: ArrayLike, u_empty: ArrayLike, void_fraction: ArrayLike) -> Values:
    r"""U-factor of an insulated part with voids in it.

    Parameters
    ----------
    u_filled : U where it is filled, > 0. [Btu/(h ft2 degF)]
    u_empty : U where it is void, > 0. [Btu/(h ft2 degF)]
    void_fraction : share of the part that is void, 0 to 1. [1]

    Returns
    -------
    U, broadcast. [Btu/(h ft2 degF)]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: U = (1 - v) U_f + v U_e

    Voids through the whole depth; a void in part of the depth loses less, unless air washes it.

    References
    ----------
    .. [1] Parallel paths, ASHRAE Fundamentals ch. 27; grading of voids: RESNET, as checked in the tests.

    Examples
    --------
    >>> round(with_voids(0.0645, 0.3745, 0.05), 4)
    0.08
    """
    void = within("void_fraction", void_fraction, 0.0, 1.0)
    return _voided(void, positive("u_filled", u_filled), positive("u_empty", u_empty))


def _voided(void: Values, filled: Values, empty: Values) -> Values:
    """`with_voids` of arguments that are checked already."""
    return filled if left_out(void, empty) else (1.0 - void) * filled + void * empty


def shrinkage_void_fraction(shrinkage: ArrayLike, width_in: ArrayLike, height_in: ArrayLike) -> Values:
    r"""Share of a bay that opens as a gap round a fill that shrinks as it dries.

    Parameters
    ----------
    shrinkage : linear shrinkage of the product, 0 to 0.2. [1]
    width_in : clear width of the bay, > 0. [in]
    height_in : clear height of the bay, > 0. [in]

    Returns
    -------
    Void share of the bay's face, broadcast. [1]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: v = 1 - (w - s w)(h - s h) / (w h)

    The fill shrinks alike both ways, so a gap s w stands along its sides and s h along its ends (or as cracks across
    it). Through shrinkage in depth is not counted: the fill keeps to one face.

    References
    ----------
    .. [1] Geometry; shrinkage itself comes from the product's sheet.

    Examples
    --------
    >>> round(shrinkage_void_fraction(0.01, 14.5, 92.625), 4)
    0.0199
    """
    s = within("shrinkage", shrinkage, 0.0, 0.2)
    width = positive("width_in", width_in)
    height = positive("height_in", height_in)
    return 1.0 - (width - s * width) * (height - s * height) / (width * height)


def covered_u(covered_share: ArrayLike, covered_r: ArrayLike, open_r: ArrayLike, series_r: ArrayLike) -> Values:
    r"""U-factor of a cavity whose old batts cover only a part of it.

    Parameters
    ----------
    covered_share : share of the cavity face that the old batts cover, 0 to 1. [1]
    covered_r : resistance within the cavity where covered: squeezed batt plus foam at its thickness, > 0.
        [h ft2 degF/Btu]
    open_r : resistance within the cavity elsewhere: foam at full depth, or the empty air space, > 0. [h ft2 degF/Btu]
    series_r : films, cladding, sheathing and inside finish, > 0. [h ft2 degF/Btu]

    Returns
    -------
    U of the cavity part, broadcast. [Btu/(h ft2 degF)]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: U = c / (R_s + R_c) + (1 - c) / (R_s + R_o)

    References
    ----------
    .. [1] Parallel paths, ASHRAE Fundamentals ch. 27.

    Examples
    --------
    >>> round(covered_u(0.5, 13.0, 10.0, 3.0), 4)
    0.0697
    """
    share = within("covered_share", covered_share, 0.0, 1.0)
    covered, open_ = positive("covered_r", covered_r), positive("open_r", open_r)
    return _covered(share, covered, open_, positive("series_r", series_r))


def _covered(share: Values, covered: Values, open_: Values, series: Values) -> Values:
    """`covered_u` of arguments that are checked already."""
    if left_out(share, covered):
        return 1.0 / (series + open_)
    return share / (series + covered) + (1.0 - share) / (series + open_)


@dataclass(frozen=True, slots=True)
class WallLayers:
    """What stands on both sides of the cavities. outside_r, inside_r with their air films [h ft2 degF/Btu]."""

    outside_r: float
    inside_r: float

    @property
    def series_r(self) -> float:
        """All of it. [h ft2 degF/Btu]"""
        return self.outside_r + self.inside_r


def wall_layers(cladding: str, sheathing: str, inside: str) -> WallLayers:
    r"""Resistance on both sides of the cavities of a wall, winter films included.

    Parameters
    ----------
    cladding, sheathing, inside : keys of the material table; "none" where there is no such layer.

    Returns
    -------
    WallLayers. [h ft2 degF/Btu]

    Raises
    ------
    OutOfRange : no such material.

    Notes
    -----
    .. math:: R_{out} = R_{film} + R_{cladding} + R_{sheathing}, \qquad R_{in} = R_{finish} + R_{film}

    References
    ----------
    .. [1] Values and their sources: rows of `estimates.physics.materials`.

    Examples
    --------
    >>> layers = wall_layers("wood_bevel", "board", "plaster_lath")
    >>> round(layers.outside_r, 2), round(layers.inside_r, 2)
    (1.87, 1.08)
    """

    def r(key: str) -> float:
        return 0.0 if key == "none" else material(key).resistance()

    return WallLayers(
        outside_r=AIR_FILMS["outside_winter"].r + r(cladding) + r(sheathing),
        inside_r=AIR_FILMS["inside_vertical"].r + r(inside),
    )


class WallU(NamedTuple):
    """Heat loss of a framed wall.

    u : U of the net wall, framing included [Btu/(h ft2 degF)]; framing_fraction : share used, allowance included [1];
    cavity_u : U of the filled cavity alone, its voids included [Btu/(h ft2 degF)].
    """

    u: Values
    framing_fraction: Values
    cavity_u: Values
    warnings: tuple[str, ...]


def wall_u(
    *,
    series_r: ArrayLike,
    cavity_r: ArrayLike,
    framing_r: ArrayLike,
    framing_fraction: ArrayLike,
    undetected_framing: ArrayLike = UNDETECTED_FRAMING,
    covered_share: ArrayLike = 0.0,
    covered_r: ArrayLike = EMPTY_CAVITY_R,
    void_fraction: ArrayLike = 0.0,
    unfilled_fraction: ArrayLike = 0.0,
    empty_r: ArrayLike = EMPTY_CAVITY_R,
) -> WallU:
    r"""U-factor of a framed wall by parallel paths: what the proposal uses.

    Parameters
    ----------
    series_r : films, cladding, sheathing and inside finish (`WallLayers.series_r`), > 0. [h ft2 degF/Btu]
    cavity_r : within the cavity: fill at full depth, or `EMPTY_CAVITY_R` before the work, > 0. [h ft2 degF/Btu]
    framing_r : framing through its depth, > 0. [h ft2 degF/Btu]
    framing_fraction : laid-out framing over the net wall (openings left out), 0 to 1. [1]
    undetected_framing : framing the layout misses, added to it, 0 to 0.08; lifts the share to 0.30 at most. [1]
    covered_share : share of the cavity face where old batts stay, 0 to 1. [1]
    covered_r : within the cavity there: squeezed batt plus foam at its thickness, > 0. [h ft2 degF/Btu]
    void_fraction : share of the filled cavity that stays void (shrinkage, slumping), 0 to 1. [1]
    unfilled_fraction : no-fill zones over the net wall, 0 to 1. [1]
    empty_r : within an empty cavity, > 0. [h ft2 degF/Btu]

    Returns
    -------
    WallU, each value in the shape the arguments broadcast to.

    Raises
    ------
    OutOfRange : an argument outside its limits; framing and no-fill zones over the whole wall.

    Notes
    -----
    .. math:: f = \max(f_0, \min(f_0 + a, 0.30))
    .. math:: U = f / (R_s + R_f) + n / (R_s + R_e) + (1 - f - n) [(1 - v) U_c + v / (R_s + R_e)]

    with U_c from `covered_u`. The allowance is taken from the cavity. Where n leaves no room for it, it is cut.

    References
    ----------
    .. [1] ASHRAE Fundamentals ch. 27, parallel-path method. Allowance, its range and cap: from memory, unconfirmed (M).

    Examples
    --------
    >>> wall = dict(series_r=2.95, framing_r=4.375, framing_fraction=0.18)
    >>> before, after = wall_u(cavity_r=0.91, **wall), wall_u(cavity_r=13.7, **wall)
    >>> round(before.u, 3), round(after.u, 3), round(after.framing_fraction, 2)
    (0.232, 0.077, 0.22)
    """
    laid_out = within("framing_fraction", framing_fraction, 0.0, 1.0)
    unfilled = within("unfilled_fraction", unfilled_fraction, 0.0, 1.0)
    # What no wall has costs a column its passes for nothing.
    no_zones = left_out(unfilled)
    if not no_zones:
        within("1 - framing_fraction - unfilled_fraction", 1.0 - (laid_out + unfilled), 0.0, 1.0)
    allowance = within("undetected_framing", undetected_framing, 0.0, 0.08)
    series = positive("series_r", series_r)
    share = within("covered_share", covered_share, 0.0, 1.0)
    covered, fill = positive("covered_r", covered_r), positive("cavity_r", cavity_r)
    empty, wood = positive("empty_r", empty_r), positive("framing_r", framing_r)
    void = within("void_fraction", void_fraction, 0.0, 1.0)

    room = 1.0 - unfilled
    cap = FRAMING_CAP if no_zones else lesser(FRAMING_CAP, room)
    framing = greater(laid_out, lesser(laid_out + allowance, cap))
    u_empty = 0.0 if no_zones and left_out(void, empty) else 1.0 / (series + empty)
    cavity_u = _voided(void, _covered(share, covered, fill, series), u_empty)
    u = framing / (series + wood) + (room - framing) * cavity_u
    if not no_zones:
        u = u + unfilled * u_empty
    return WallU(u, framing, cavity_u, TOO_MUCH_FRAMING if any_over(laid_out, FRAMING_CAP) else ())


def _shares(fractions: Sequence[ArrayLike], paths: int) -> list[Values]:
    if not len(fractions) or len(fractions) != paths:
        raise OutOfRange(
            "number of fractions", len(fractions), f"one share for each of {paths} paths, and a path at least"
        )
    shares = [within(f"fractions[{i}]", f, 0.0, 1.0) for i, f in enumerate(fractions)]
    total: Values = 0.0
    for share in shares:
        total = total + share
    if np.any(np.abs(np.asarray(total) - 1.0) > 1e-6):
        off = float(np.ravel(np.asarray(total))[np.argmax(np.abs(np.ravel(np.asarray(total)) - 1.0))])
        raise OutOfRange("sum of fractions", off, "shares that sum to 1")
    return shares


def _one_each(layer: Sequence[ArrayLike], paths: int, j: int) -> None:
    if len(layer) != paths:
        raise OutOfRange(
            f"number of resistances in layers[{j}]", len(layer), f"one for each of {paths} paths, or no list"
        )


def _bridged(shares: Sequence[Values], layer: Sequence[ArrayLike], j: int) -> Values:
    _one_each(layer, len(shares), j)
    conductance: Values = 0.0
    for i, (share, r) in enumerate(zip(shares, layer)):
        conductance = conductance + share / positive(f"layers[{j}][{i}]", r)
    return conductance
