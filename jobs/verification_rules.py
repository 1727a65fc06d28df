"""What measurements after the work say: leakage cut against the promise, depth of loose fill against what was sold.

Arithmetic only; who looked, findings and invoices are in `jobs.verification`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from estimates.physics.least_squares import t_quantile
from estimates.physics.uncertainty import Z90, Percentiles
from estimates.physics.validity import OutOfRange, not_negative, positive


class Judged(StrEnum):
    """Good, look again, redo; the values of `jobs.models.Verdict`."""

    GOOD = "good"
    LOOK_AGAIN = "look_again"
    REDO = "redo"


# --- leakage --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Measured:
    """Leakage at 50 Pa of one test with its standard error [cfm], and what is to know of the test."""

    cfm50: float
    se: float
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Reduction:
    """Leakage cut, as a share of what was, with its standard error and the ends of its 80 % interval. [1]"""

    share: float
    se: float
    low: float
    high: float


def reduction(before: Measured, after: Measured) -> Reduction:
    r"""Share of the leakage at 50 Pa that the work cut, from two tests.

    Parameters
    ----------
    before, after : the two tests; cfm50 > 0, se >= 0 and below half of it. [cfm]

    Returns
    -------
    Reduction; negative where the house leaks more than before.

    Raises
    ------
    OutOfRange : a leakage that is not positive, a standard error that leaves nothing known.

    Notes
    -----
    .. math:: r = 1 - Q_1/Q_0, \qquad s_r = (Q_1/Q_0) \sqrt{(s_0/Q_0)^2 + (s_1/Q_1)^2}

    The interval is that of the ratio's logarithm, which keeps it below 1. Tests are taken as independent: what both
    share (the same gauge and fan) cancels in truth, so the interval is on the wide side.

    References
    ----------
    .. [1] Errors of a ratio, any textbook; cover checked on simulated tests.

    Examples
    --------
    >>> cut = reduction(Measured(2400.0, 72.0), Measured(1800.0, 54.0))
    >>> round(cut.share, 3), round(cut.low, 3), round(cut.high, 3)
    (0.25, 0.208, 0.29)
    """
    ratio = _leakage("after", after) / _leakage("before", before)
    spread = math.hypot(before.se / before.cfm50, after.se / after.cfm50)
    return Reduction(
        share=1.0 - ratio,
        se=ratio * spread,
        low=1.0 - ratio * math.exp(Z90 * spread),
        high=1.0 - ratio * math.exp(-Z90 * spread),
    )


def _leakage(name: str, test: Measured) -> float:
    cfm50 = float(positive(f"{name}.cfm50", test.cfm50))
    if float(not_negative(f"{name}.se", test.se)) >= cfm50 / 2.0:
        raise OutOfRange(f"{name}.se", test.se, f"a standard error below half of {cfm50:g} cfm: repeat the test")
    return cfm50


@dataclass(frozen=True, slots=True)
class LeakageJudged:
    """What was cut, what was promised (P10, P50, P90 of the share cut, least first) [1], the verdict and why."""

    cut: Reduction
    promised: Percentiles
    judged: Judged
    words: str


def judge_leakage(
    before: Measured, after: Measured, *, promised_before_cfm50: float, promised_after: Percentiles
) -> LeakageJudged:
    """Compare the leakage cut with what was promised.

    Parameters
    ----------
    before, after : the tests before and after the work. [cfm]
    promised_before_cfm50 : leakage that the estimate began from, > 0. [cfm]
    promised_after : P10, P50 and P90 of the leakage after the work in the estimate. [cfm]

    Returns
    -------
    LeakageJudged. *Good*: the cut reaches the low end of what was promised (its P10). *Look again*: it does not, but
    its 80 % interval does; or a test carries a warning and the cut is not good; or even the low end of the
    interval exceeds the high end promised, which asks for a second look at doors, hatches and the ring of the fan.
    *Redo*: the whole interval stays below.

    Raises
    ------
    OutOfRange : as `reduction`, and for a promise that is not positive or out of order.

    Notes
    -----
    Shares are compared, not cfm50, so that a test-in of another day than the estimate's counts for what it is.

    References
    ----------
    .. [1] Rule of the firm (CP).

    Examples
    --------
    >>> promise = Percentiles(1600.0, 1750.0, 1900.0)
    >>> judge_leakage(
    ...     Measured(2400.0, 72.0), Measured(1800.0, 54.0), promised_before_cfm50=2400.0, promised_after=promise
    ... ).words
    'leakage cut by 25 % (80 %: 21 to 29), 21 to 33 % promised'
    """
    start = float(positive("promised_before_cfm50", promised_before_cfm50))
    positive("promised_after", [promised_after.p10, promised_after.p50, promised_after.p90])
    if not promised_after.p10 <= promised_after.p50 <= promised_after.p90:
        raise OutOfRange("promised_after", promised_after, "P10, P50 and P90 in rising order")
    promised = Percentiles(*(1.0 - end / start for end in (promised_after.p90, promised_after.p50, promised_after.p10)))
    cut = reduction(before, after)
    said = (
        f"leakage cut by {100 * cut.share:.0f} % (80 %: {100 * cut.low:.0f} to {100 * cut.high:.0f}), "
        f"{100 * promised.p10:.0f} to {100 * promised.p90:.0f} % promised"
    )
    doubts = (*before.warnings, *after.warnings)
    if cut.low > promised.p90:
        why = "more than promised: look at doors, hatches and the ring of the fan, then repeat the test"
        return LeakageJudged(cut, promised, Judged.LOOK_AGAIN, f"{said}; {why}")
    if cut.share >= promised.p10:
        return LeakageJudged(cut, promised, Judged.GOOD, said)
    if doubts:
        return LeakageJudged(cut, promised, Judged.LOOK_AGAIN, f"{said}; repeat the test first: {'; '.join(doubts)}")
    if cut.high >= promised.p10:
        why = "less than promised, within what the tests can tell: repeat the test, look for leaks with the fan on"
        return LeakageJudged(cut, promised, Judged.LOOK_AGAIN, f"{said}; {why}")
    why = "less than promised beyond doubt: find the leaks with the fan on and close them"
    return LeakageJudged(cut, promised, Judged.REDO, f"{said}; {why}")


# --- depth of loose fill ----------------------------------------------------------------------------------------------

FT2_PER_READING = 300.0
"""A reading for each so much of attic. [ft2] The spacing of depth markers in the model energy code, from memory (M)."""

LEAST_READINGS = 4
"""Fewer say nothing of an attic, however small. [-] Common practice, no source."""

LEAST_SHARE = 0.9
"""The thinnest spot may have this share of the thickness wanted. [1] Common practice, no source."""


@dataclass(frozen=True, slots=True)
class DepthJudged:
    """Depth readings against the thickness wanted.

    mean_in, least_in : of the readings. [in] reaching : share of readings that reach it. [1] missing_ft3 : loose fill
    that lacks where readings fall short. [ft3] wanted_readings : how many the attic asks for.
    """

    mean_in: float
    least_in: float
    reaching: float
    missing_ft3: float
    wanted_readings: int
    judged: Judged
    words: str


def judge_depth(
    readings_in: Sequence[float], *, wanted_in: float, area_ft2: float, least_share: float = LEAST_SHARE
) -> DepthJudged:
    r"""Whether an attic holds the thickness that was sold.

    Parameters
    ----------
    readings_in : depths read, >= 0, (n,), n >= 1. [in]
    wanted_in : thickness wanted, > 0: the *initial* one of the coverage row while the fill is fresh, the *settled* one
        later. [in]
    area_ft2 : attic area, > 0. [ft2]
    least_share : share of it that the thinnest spot must have, above 0 to 1. [1]

    Returns
    -------
    DepthJudged. *Good*: readings enough, their mean reaches it, the least has its share. *Look again*: too few
    readings; a thin spot, to be raked level; or a mean that falls short by less than readings can tell (80 %). *Redo*:
    the mean falls short beyond that: blow more.

    Raises
    ------
    OutOfRange : no readings, a reading below 0, thickness or area not positive.

    Notes
    -----
    .. math:: V = \frac{A}{12 \, n} \sum_i \max(0, d - d_i)

    lacks. The mean is uncertain by t s / sqrt(n), Student's t one-sided 90 %.

    References
    ----------
    .. [1] Thickness and bags are the label's (16 CFR 460.12); the rule of the readings is common practice.

    Examples
    --------
    >>> judge_depth([15.9, 16.2, 15.8, 14.9, 16.0], wanted_in=15.7, area_ft2=1000).words
    '4 of 5 readings reach 15.7 in, mean 15.8, least 14.9'
    """
    wanted, area = float(positive("wanted_in", wanted_in)), float(positive("area_ft2", area_ft2))
    share = float(positive("least_share", least_share))
    if share > 1.0:
        raise OutOfRange("least_share", share, "a share above 0, at most 1")
    depths = np.asarray(not_negative("readings_in", list(readings_in)), dtype=np.float64)
    n = depths.size
    if n == 0:
        raise OutOfRange("readings_in", "none", "a reading at least")
    mean, least = float(depths.mean()), float(depths.min())
    reaching = int((depths >= wanted).sum())
    needed = max(LEAST_READINGS, math.ceil(area / FT2_PER_READING))
    missing = area / 12.0 * float(np.maximum(wanted - depths, 0.0).mean())
    said = f"{reaching} of {n} readings reach {wanted:g} in, mean {mean:.1f}, least {least:.1f}"
    judged, why = Judged.GOOD, ""
    if n < needed:
        judged, why = Judged.LOOK_AGAIN, f"{needed} readings wanted for {area:,.0f} ft2: take {needed - n} more"
    elif mean < wanted:
        reach = t_quantile(0.9, n - 1) * float(depths.std(ddof=1)) / math.sqrt(n)
        judged, why = Judged.REDO, f"{missing:,.0f} ft3 lack: blow more"
        if mean + reach >= wanted:
            judged, why = Judged.LOOK_AGAIN, "the mean falls short by less than these readings can tell: take more"
    elif least < share * wanted:
        judged, why = Judged.LOOK_AGAIN, f"a spot under {share * wanted:.1f} in: rake it level and read there again"
    return DepthJudged(mean, least, reaching / n, missing, needed, judged, f"{said}; {why}" if why else said)
