"""How likely a difference between fill and poured volume means a void, an escape, or a record that is wrong.

A few bays may hide a void, a few may let foam through; what they do to the sum has no closed form, but its
characteristic function has, bay by bay. One numerical inversion gives the odds of every bay, exactly but for rounding.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimates.physics.validity import OutOfRange, finite, positive, within

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

LEAST_VOID_SHARE = 0.1
"""A void is at least this much of its bay; shrinkage counts what is less. [1] Common practice (CP)."""

RECORD_WRONG = 0.002
"""Chance before looking that a volume was booked grossly wrong: a mix forgotten, a decimal lost. [1] CP, no source."""

ESCAPE_BAYS = 2.0
"""Mean volume that an escape swallows, over that of its bay. [1] Common practice, no source."""

LEAST_ERROR = 1e-3
"""Least standard error of a sum that is taken seriously, as a share of it. [1] Common practice, no source."""

REACH = 8.0
"""The inversion ends where the normal error leaves exp(-REACH^2 / 2) of it, about 1e-14. [1]"""


@dataclass(frozen=True, slots=True)
class Odds:
    """What a difference says about the bays behind it.

    any_void, any_escape, record_wrong : chances. [1]
    void, escape : chance of each bay, in the order given. [1]
    missing_ft3, escaped_ft3 : expected volume of each bay. [ft3]
    """

    any_void: float
    any_escape: float
    record_wrong: float
    void: tuple[float, ...]
    escape: tuple[float, ...]
    missing_ft3: tuple[float, ...]
    escaped_ft3: tuple[float, ...]


def odds(
    difference_ft3: float,
    se_ft3: float,
    volumes_ft3: Sequence[float],
    void_priors: Sequence[float],
    escape_priors: Sequence[float],
    *,
    least_void_share: float = LEAST_VOID_SHARE,
    record_wrong: float = RECORD_WRONG,
) -> Odds:
    r"""Chance of a void and of an escape in each of some bays, from the volume poured into all of them.

    Parameters
    ----------
    difference_ft3 : poured less fill volume of all the bays together. [ft3]
    se_ft3 : its standard error where every bay is sound, at least a thousandth of the volumes. [ft3]
    volumes_ft3 : fill volume of each bay, > 0, (n,), n >= 1. [ft3]
    void_priors, escape_priors : chance of each bay before the volumes are looked at, 0 to 0.5, (n,). [1]
    least_void_share : smallest share of a bay that counts as a void, 0 to 0.9. [1]
    record_wrong : chance that the record is grossly wrong, 0 to 0.5. [1]

    Returns
    -------
    Odds.

    Raises
    ------
    OutOfRange : an argument outside its limits, lists of different length, a difference that nothing explains.

    Notes
    -----
    .. math:: D = \sum_i X_i + N(0, s^2), \qquad X_i = \begin{cases} -U(\ell V_i, V_i) & \text{void, chance } p_i \\
        \mathrm{Exp}(2 V_i) & \text{escape, chance } q_i \\ 0 & \text{else} \end{cases}

    Bays are independent; a void leaves any share of the bay from the least one up empty, all alike; an escape swallows
    foam with a mean of two bays' volume. A record that is grossly wrong gives any difference from -V to +2V of the sum
    V alike. Bayes' rule, with densities by inversion of the characteristic function (midpoint rule, which converges
    faster than any power here).

    References
    ----------
    .. [1] Bayes' rule and Fourier inversion, any textbook; checked by direct summation for one bay and by simulated
       walls in the tests. Priors and shapes are common practice, no source.

    Examples
    --------
    >>> found = odds(-2.0, 0.2, [2.7], [0.01], [0.005])
    >>> round(found.void[0], 2), round(found.missing_ft3[0], 1)
    (0.94, 1.9)
    """
    d, s = float(finite("difference_ft3", difference_ft3)), float(positive("se_ft3", se_ft3))
    volumes = np.asarray(positive("volumes_ft3", list(volumes_ft3)), dtype=np.float64)
    p = np.asarray(within("void_priors", list(void_priors), 0.0, 0.5), dtype=np.float64)
    q = np.asarray(within("escape_priors", list(escape_priors), 0.0, 0.5), dtype=np.float64)
    least = float(within("least_void_share", least_void_share, 0, 0.9))
    wrong = float(within("record_wrong", record_wrong, 0, 0.5))
    if not volumes.size:
        raise OutOfRange("volumes_ft3", "none", "a bay at least")
    if p.size != volumes.size or q.size != volumes.size:
        raise OutOfRange("void_priors", f"{p.size} and {q.size}", f"{volumes.size}, one for each bay, as escape_priors")
    total = float(volumes.sum())
    if s < LEAST_ERROR * total:
        raise OutOfRange("se_ft3", s, f"at least {LEAST_ERROR * total:.3g}, a thousandth of the volumes")
    # Farther out the odds no longer change, while the inversion would take ever more steps.
    d = min(max(d, -total - 2.0 * REACH * s), total + 40.0 * ESCAPE_BAYS * float(volumes.max()))
    w, weight = _frequencies(s, 2.0 * (total + abs(d) + 20.0 * ESCAPE_BAYS * float(volumes.max()) + REACH * s), d)
    void, missing = _void_terms(w, volumes, least)
    swallowed = ESCAPE_BAYS * volumes[:, None]
    escape = np.asarray(1.0 / (1.0 - 1j * w * swallowed), dtype=np.complex128)
    sound = (1.0 - p - q)[:, None]
    bays = sound + p[:, None] * void + q[:, None] * escape
    others = _without_each(bays)
    gross = wrong / (3.0 * total)
    whole = float(gross + (1.0 - wrong) * _density(weight, others[0] * bays[0]))
    if whole <= 1e-12 / s:
        raise OutOfRange("difference_ft3", d, "one that voids and escapes explain, or record_wrong above 0")
    scale = (1.0 - wrong) / whole

    def of_bays(priors: Array, terms: Complex) -> tuple[float, ...]:
        found = scale * priors * _density(weight, others * terms)
        return tuple(float(v) for v in np.maximum(found, 0.0))

    no_void = float(scale * _density(weight, np.prod(sound + q[:, None] * escape, axis=0)))
    no_escape = float(scale * _density(weight, np.prod(sound + p[:, None] * void, axis=0)))
    record = _share(gross / whole)
    return Odds(
        any_void=_share(1.0 - record - no_void),
        any_escape=_share(1.0 - record - no_escape),
        record_wrong=record,
        void=tuple(_share(chance) for chance in of_bays(p, void)),
        escape=tuple(_share(chance) for chance in of_bays(q, escape)),
        missing_ft3=of_bays(p, missing),
        escaped_ft3=of_bays(q, np.asarray(swallowed * escape**2, dtype=np.complex128)),
    )


def _frequencies(s: float, period: float, d: float) -> tuple[Array, Complex]:
    """Midpoints of the inversion, and what each is weighted with: step / pi x normal error x exp(-i w d)."""
    count = max(64, math.ceil(REACH / s * period / (2.0 * math.pi)))
    step = REACH / s / count
    w = (np.arange(count) + 0.5) * step
    weight = step / math.pi * np.exp(-0.5 * (s * w) ** 2 - 1j * w * d)
    return np.asarray(w, dtype=np.float64), np.asarray(weight, dtype=np.complex128)


def _void_terms(w: Array, volumes: Array, least: float) -> tuple[Complex, Complex]:
    """E exp(-iwv) and E v exp(-iwv) of a void's volume v, uniform from the least share to the whole bay."""
    high = volumes[:, None]
    low = least * high
    at_low, at_high = np.exp(-1j * w * low), np.exp(-1j * w * high)
    plain = (at_low - at_high) / (1j * w * (high - low))
    first = ((1 + 1j * w * high) * at_high - (1 + 1j * w * low) * at_low) / (w**2 * (high - low))
    return np.asarray(plain, dtype=np.complex128), np.asarray(first, dtype=np.complex128)


def _without_each(bays: Complex) -> Complex:
    """Product of all rows but one, for each row: no division, which a zero would spoil."""
    before, after = np.ones_like(bays), np.ones_like(bays)
    before[1:] = np.cumprod(bays[:-1], axis=0)
    after[:-1] = np.cumprod(bays[:0:-1], axis=0)[::-1]
    return np.asarray(before * after)


def _density(weight: Complex, terms: Complex) -> Array:
    return np.asarray((terms @ weight).real)


def _share(value: float) -> float:
    """A chance, without what rounding adds to it."""
    return min(1.0, max(0.0, value))
