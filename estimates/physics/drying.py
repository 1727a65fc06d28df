"""Wet foam in a wall: the water it brings and the time that water needs to leave."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from estimates.physics.validity import OutOfRange, Values, not_negative, positive, within
from estimates.physics.vapour import saturation_pressure_psia

PSI_PER_INHG = 0.491154
"""Pressure of 1 in of mercury at 32 degF. [psi] Source: definition of the conventional inch of mercury."""

GRAINS_PER_LB = 7000.0
"""Source: definition of the grain."""

FRAMING_MOISTURE_LIMIT = 0.18
"""Wood moisture content above which a wall is not closed. [lb/lb] Source: a federal programme's guide (S)."""

LUMBER_MOISTURE_LIMIT = 0.19
"""Moisture content up to which lumber is sold as dry. [lb/lb] From memory (M)."""

DRYING_RANGE = (0.5, 2.0)
"""Real drying time over the estimate, low and high. [1] Common practice (CP): joints, wood and weather decide."""


def foam_water_lb_ft2(depth_in: ArrayLike, wet_lb_ft3: ArrayLike, dry_lb_ft3: ArrayLike) -> Values:
    r"""Water that wet foam brings into a wall.

    Parameters
    ----------
    depth_in : foam thickness, > 0. [in]
    wet_lb_ft3, dry_lb_ft3 : density as injected and when dry, > 0, wet at least dry. [lb/ft3]

    Returns
    -------
    Water, broadcast. [lb/ft2]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: m = d (\rho_w - \rho_d) / 12

    References
    ----------
    .. [1] Mass balance: what is lost between wet and dry density.

    Examples
    --------
    >>> round(foam_water_lb_ft2(3.5, 5.0, 2.07), 3)
    0.855
    """
    excess = not_negative(
        "wet_lb_ft3 - dry_lb_ft3", positive("wet_lb_ft3", wet_lb_ft3) - positive("dry_lb_ft3", dry_lb_ft3)
    )
    return positive("depth_in", depth_in) / 12.0 * excess


@dataclass(frozen=True, slots=True)
class Drying:
    """Days until the water has left: a common-practice estimate with its range. outward : share that leaves outward."""

    low_days: Values
    best_days: Values
    high_days: Values
    outward: Values
    warnings: tuple[str, ...]


def foam_drying(
    water_lb_ft2: ArrayLike,
    *,
    wall_f: ArrayLike,
    out_perm: ArrayLike,
    out_f: ArrayLike,
    out_rh: ArrayLike,
    in_perm: ArrayLike,
    in_f: ArrayLike,
    in_rh: ArrayLike,
) -> Drying:
    r"""Days for wet foam to dry through both faces of its wall: an estimate of common practice, not a measurement.

    Parameters
    ----------
    water_lb_ft2 : water to lose, >= 0. [lb/ft2]
    wall_f : mean temperature of the wet foam, 33 to 120. [degF]
    out_perm, in_perm : permeance of all layers outside and inside of the foam, >= 0. [perm]
    out_f, in_f : air temperatures, -60 to 120. [degF]
    out_rh, in_rh : relative humidities, 0 to 1. [1]

    Returns
    -------
    Drying, each value broadcast; low and high are half and twice the best.

    Raises
    ------
    OutOfRange : an argument outside its limits; air so damp, or faces so tight, that the foam takes up water.

    Notes
    -----
    .. math:: n = 7000 m / (24 [W_o (p_s - p_o) + W_i (p_s - p_i)])

    The foam is taken as saturated until dry; what wood and plaster take up for a while, joints and sun speed it,
    a drying front that moves inward slows it: hence the range. The product's own drying days hold on papers.

    References
    ----------
    .. [1] Diffusion: ASHRAE Fundamentals ch. 25. Use and range: common practice (CP).

    Examples
    --------
    >>> dry = foam_drying(0.855, wall_f=55, out_perm=5, out_f=45, out_rh=0.7, in_perm=8, in_f=68, in_rh=0.4)
    >>> round(dry.low_days), round(dry.best_days), round(dry.high_days)
    (52, 104, 207)
    """
    saturated = saturation_pressure_psia(within("wall_f", wall_f, 33.0, 120.0))
    outside = within("out_rh", out_rh, 0.0, 1.0) * saturation_pressure_psia(within("out_f", out_f, -60.0, 120.0))
    inside = within("in_rh", in_rh, 0.0, 1.0) * saturation_pressure_psia(within("in_f", in_f, -60.0, 120.0))
    outer, inner = not_negative("out_perm", out_perm), not_negative("in_perm", in_perm)
    outward = outer * (saturated - outside) / PSI_PER_INHG
    inward = inner * (saturated - inside) / PSI_PER_INHG
    rate = outward + inward
    if np.any(np.asarray(rate) <= 0.0):
        raise OutOfRange(
            "drying rate", float(np.min(np.asarray(rate))), "faces more open to vapour, or warmer or drier air"
        )
    best = not_negative("water_lb_ft2", water_lb_ft2) * GRAINS_PER_LB / (24.0 * rate)
    warnings = [
        f"the {name} face is tight (under 1 perm): the foam dries to one side only"
        for name, perm in (("outside", outer), ("inside", inner))
        if np.any(np.asarray(perm) < 1.0)
    ]
    return Drying(DRYING_RANGE[0] * best, best, DRYING_RANGE[1] * best, outward / rate, tuple(warnings))
