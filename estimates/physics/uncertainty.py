"""Ranges: seeded draws of uncertain inputs, what came of them, which inputs matter, and learning from finished jobs."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estimates.physics.least_squares import t_quantile
from estimates.physics.validity import OutOfRange, finite, not_negative, positive, within

Z90 = 1.2815515655446004
"""Standard normal quantile at 0.9. [-] Mathematical constant."""


class RangeShape(StrEnum):
    """How values lie between low and high."""

    TRIANGULAR = "triangular"
    PERT = "pert"
    NORMAL = "normal"
    LOGNORMAL = "lognormal"


@dataclass(frozen=True, slots=True)
class RangeInput:
    """An input that is not known exactly.

    Triangular and PERT: `low` and `high` are the ends, nothing lies outside, `best` is the most likely value. Normal
    and lognormal: `low` and `high` are the values that one in ten falls below and one in ten above, `best` the median;
    for the normal it must be their mean, for the lognormal their geometric mean, both within 1 % of the width.
    `low` = `high` makes a constant. Unit: that of the input.

    Raises
    ------
    OutOfRange : ends out of order, not finite, or not fitting the shape.

    Examples
    --------
    >>> RangeInput("existing_r", 3.0, 2.0, 4.0)
    Traceback (most recent call last):
    ...
    estimates.physics.validity.OutOfRange: existing_r is (3.0, 2.0, 4.0); enter low, best and high in rising order
    """

    name: str
    low: float
    best: float
    high: float
    shape: RangeShape = RangeShape.TRIANGULAR

    def __post_init__(self) -> None:
        three = (self.low, self.best, self.high)
        for value in three:
            finite(self.name, float(value))
        if not self.low <= self.best <= self.high:
            raise OutOfRange(self.name, three, "low, best and high in rising order")
        slack = 0.01 * (self.high - self.low)
        if self.shape is RangeShape.NORMAL and abs(self.best - (self.low + self.high) / 2) > slack:
            raise OutOfRange(self.name, three, "a best value midway between low and high, or another shape")
        if self.shape is RangeShape.LOGNORMAL:
            if self.low <= 0:
                raise OutOfRange(self.name, three, "values above 0, or another shape")
            if abs(self.best - math.sqrt(self.low * self.high)) > slack:
                raise OutOfRange(self.name, three, "the geometric mean of low and high as best, or another shape")

    def quantile(self, probability: ArrayLike) -> NDArray[np.float64]:
        """Values that lie at the given probabilities.

        Parameters
        ----------
        probability : from 0 to 1, any shape (ends only for triangular and PERT). [-]

        Returns
        -------
        array of the same shape, unit of the input.

        Raises
        ------
        OutOfRange : a probability outside 0 to 1.

        Notes
        -----
        PERT is the beta distribution on [low, high] with shapes 1 + 4 (best - low)/(high - low) and
        1 + 4 (high - best)/(high - low).

        Examples
        --------
        >>> RangeInput("share", 0.0, 0.5, 1.0).quantile([0.0, 0.5, 1.0])
        array([0. , 0.5, 1. ])
        """
        p = np.asarray(within("probability", probability, 0.0, 1.0), dtype=np.float64)
        width = self.high - self.low
        if width == 0:
            return np.full(p.shape, float(self.best))
        if self.shape is RangeShape.TRIANGULAR:
            rise, fall = self.best - self.low, self.high - self.best
            left = self.low + np.sqrt(p * width * rise)
            right = self.high - np.sqrt((1 - p) * width * fall)
            return np.where(p * width <= rise, left, right)
        from scipy.special import betaincinv, ndtri  # lazily: slow to import

        if self.shape is RangeShape.PERT:
            lean = 4 * (self.best - self.low) / width
            return np.asarray(self.low + width * betaincinv(1 + lean, 5 - lean, p))
        if p.size and (p.min() == 0 or p.max() == 1):
            raise OutOfRange(
                "probability", float(p.max()), "a number between 0 and 1, ends left out: this shape has none"
            )
        if self.shape is RangeShape.NORMAL:
            return np.asarray((self.low + self.high) / 2 + width / (2 * Z90) * ndtri(p))
        spread = math.log(self.high / self.low) / (2 * Z90)
        return np.asarray(math.sqrt(self.low * self.high) * np.exp(spread * ndtri(p)))


@dataclass(frozen=True, slots=True)
class Sampler:
    """Draws of named inputs that repeat for the same seed.

    Each name has a stream of its own, made from seed and name: adding an input or asking in another order changes no
    other input's draws, and every option of a house that asks for one name gets the same draws. Draws are stratified
    (one in each of the n equal slices of probability), so that percentiles settle with fewer of them.

    Parameters
    ----------
    seed : any integer from 0.
    n : how many draws, at least 2.

    Raises
    ------
    OutOfRange : seed below 0 or n below 2.

    Examples
    --------
    >>> one = Sampler(7, 100).uniform("wall_r")
    >>> bool((one == Sampler(7, 100).uniform("wall_r")).all()), one.shape
    (True, (100,))
    """

    seed: int
    n: int

    def __post_init__(self) -> None:
        if self.seed < 0:
            raise OutOfRange("seed", self.seed, "a whole number from 0")
        if self.n < 2:
            raise OutOfRange("n", self.n, "at least 2 draws")

    def uniform(self, name: str) -> NDArray[np.float64]:
        """Probabilities inside (0, 1) for one name, shape (n,). [-]"""
        words = np.frombuffer(hashlib.sha256(name.encode()).digest(), dtype="<u4")
        rng = np.random.default_rng(np.random.SeedSequence([self.seed, *(int(word) for word in words)]))
        slices = rng.permutation(self.n)
        inside = np.clip(rng.random(self.n), 1e-9, 1 - 1e-9)
        return (slices + inside) / self.n

    def draw(self, spec: RangeInput) -> NDArray[np.float64]:
        """Draws of one input, shape (n,), in its unit."""
        return spec.quantile(self.uniform(spec.name))

    def draw_all(self, specs: tuple[RangeInput, ...]) -> dict[str, NDArray[np.float64]]:
        """Draws of several inputs by name; a name given twice is refused with OutOfRange."""
        names = [spec.name for spec in specs]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise OutOfRange("specs", twice, "each name once")
        return {spec.name: self.draw(spec) for spec in specs}


@dataclass(frozen=True, slots=True)
class Percentiles:
    """One in ten lies below `p10`, half below `p50`, nine in ten below `p90`."""

    p10: float
    p50: float
    p90: float


def percentiles(draws: ArrayLike) -> Percentiles:
    """P10, P50 and P90 of draws.

    Parameters
    ----------
    draws : shape (n,), at least 2, any unit.

    Returns
    -------
    Percentiles, linear between order statistics, unit of the draws.

    Raises
    ------
    OutOfRange : not finite, not a row of at least 2.

    Notes
    -----
    Linear interpolation between ordered draws.

    References
    ----------
    .. [1] The default of numpy.percentile.

    Examples
    --------
    >>> percentiles(range(11))
    Percentiles(p10=1.0, p50=5.0, p90=9.0)
    """
    values = _row("draws", draws)
    low, middle, high = (float(v) for v in np.percentile(values, [10, 50, 90]))
    return Percentiles(low, middle, high)


@dataclass(frozen=True, slots=True)
class Influence:
    """How far an input moves a result: rank correlation from -1 to 1."""

    name: str
    rank_correlation: float


def influences(result: ArrayLike, inputs: Mapping[str, ArrayLike], most: int = 3) -> tuple[Influence, ...]:
    """The inputs that matter most for a result, strongest first.

    Parameters
    ----------
    result : draws of the result, shape (n,). [any]
    inputs : draws of each input by name, shape (n,) each; constants count as without influence. [any]
    most : how many to name, at least 1. [-]

    Returns
    -------
    tuple of Influence; inputs without any influence are left out, equals stand in order of name.

    Raises
    ------
    OutOfRange : draws of different length or not finite, most below 1.

    Notes
    -----
    Spearman's rank correlation with mean ranks for ties.

    References
    ----------
    .. [1] Spearman's rank correlation; checked against scipy.stats in the tests.

    Examples
    --------
    >>> influences([1, 2, 3, 4], {"r": [4, 3, 2, 1], "hours": [1, 3, 2, 4], "waste": [5, 5, 5, 5]})
    (Influence(name='r', rank_correlation=-1.0), Influence(name='hours', rank_correlation=0.8))
    """
    if most < 1:
        raise OutOfRange("most", most, "at least 1")
    target = _centred_ranks(_row("result", result))
    found = []
    for name in sorted(inputs):
        values = _row(name, inputs[name])
        if values.shape != target.shape:
            raise OutOfRange(name, f"{values.size} draws", f"{target.size}, as many as the result has")
        ranks = _centred_ranks(values)
        scale = math.sqrt(float(ranks @ ranks) * float(target @ target))
        if scale > 0:
            found.append(Influence(name, round(float(ranks @ target) / scale, 12)))
    found.sort(key=lambda each: -abs(each.rank_correlation))
    return tuple(each for each in found[:most] if each.rank_correlation != 0)


@dataclass(frozen=True, slots=True)
class Learned:
    """A rate learned from a prior and the firm's own jobs.

    `low` and `high` hold the true mean at the asked level, `next_low` and `next_high` the next single job (None for
    shares); `weight_of_jobs` says how much of `mean` comes from the jobs, from 0 to 1.
    """

    mean: float
    low: float
    high: float
    next_low: float | None
    next_high: float | None
    weight_of_jobs: float
    jobs: int
    warnings: tuple[str, ...]


FEW_JOBS = 5
"""Below this many own jobs the result carries a warning. [-] Common practice, no source."""


def learn_rate(
    prior_mean: float,
    prior_sd: float,
    observed: ArrayLike,
    job_sd: float,
    *,
    job_sd_weight: float = 8.0,
    level: float = 0.8,
) -> Learned:
    r"""A rate (production, yield, ratio) shrunk from common practice towards the firm's own jobs.

    Parameters
    ----------
    prior_mean, prior_sd : common practice and how sure it is, sd > 0. [unit of the rate]
    observed : the rate on each finished job, shape (n,), n may be 0. [unit of the rate]
    job_sd : spread from job to job to expect, > 0. [unit of the rate]
    job_sd_weight : how many jobs the expected spread is worth, > 0; infinite when the spread is known. [-]
    level : probability that the ranges hold, inside (0, 1). [-]

    Returns
    -------
    Learned

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: m = (\mu_0/\tau^2 + n\bar x/s^2) / (1/\tau^2 + n/s^2), \quad
        s^2 = (\nu_0 s_0^2 + (n - 1) s_x^2) / (\nu_0 + n - 1)

    Normal prior and normal jobs. Exact for a known spread; with an estimated one the range uses Student's t with
    nu_0 + n - 1 degrees of freedom, an approximation whose cover is tested on simulated jobs.

    References
    ----------
    .. [1] Gelman et al., Bayesian Data Analysis, normal data with known variance (from memory, unconfirmed).

    Examples
    --------
    >>> learned = learn_rate(800, 150, [650, 700, 640, 690], 120)
    >>> round(learned.mean), round(learned.weight_of_jobs, 2), learned.jobs
    (684, 0.89, 4)
    """
    finite("prior_mean", prior_mean)
    tau2, s02 = float(positive("prior_sd", prior_sd)) ** 2, float(positive("job_sd", job_sd)) ** 2
    if not job_sd_weight > 0:
        raise OutOfRange("job_sd_weight", job_sd_weight, "a number above 0")
    values = np.atleast_1d(np.asarray(finite("observed", observed), dtype=np.float64)).ravel()
    n = values.size
    extra = max(n - 1, 0)
    known = math.isinf(job_sd_weight)
    s2 = s02
    if not known and extra:
        s2 = (job_sd_weight * s02 + float(np.sum((values - values.mean()) ** 2))) / (job_sd_weight + extra)
    precision = 1 / tau2 + n / s2
    weight = (n / s2) / precision
    mean = float(prior_mean if n == 0 else (1 - weight) * prior_mean + weight * values.mean())
    reach = t_quantile(_upper(level), 1e9 if known else job_sd_weight + extra)
    half, next_half = reach * math.sqrt(1 / precision), reach * math.sqrt(1 / precision + s2)
    warnings = _few(n)
    if n and abs(values.mean() - prior_mean) > 3 * math.sqrt(tau2 + s2 / n):
        warnings += ("own jobs lie far from common practice: check how they were measured",)
    return Learned(mean, mean - half, mean + half, mean - next_half, mean + next_half, weight, n, warnings)


def learn_share(
    prior_share: float, prior_weight: float, part: ArrayLike, whole: ArrayLike, *, level: float = 0.8
) -> Learned:
    r"""A share (of bays refused, of bids won) shrunk from common practice towards the firm's own jobs.

    Parameters
    ----------
    prior_share : common practice, inside (0, 1). [-]
    prior_weight : how many cases common practice is worth, > 0. [-]
    part : cases that count on each job, 0 to whole, shape (n,). [-]
    whole : all cases on each job, >= 0, shape (n,). [-]
    level : probability that the range holds, inside (0, 1). [-]

    Returns
    -------
    Learned, with equal tails left out on both sides.

    Raises
    ------
    OutOfRange : an argument outside its limits, or more in part than in whole.

    Notes
    -----
    .. math:: p \sim \mathrm{Beta}(w p_0 + \sum k, \; w (1 - p_0) + \sum (n - k))

    References
    ----------
    .. [1] Beta prior with binomial-like evidence, any Bayesian textbook; cover checked on simulated truth.

    Examples
    --------
    >>> learned = learn_share(0.10, 20, [3, 1], [40, 40])
    >>> round(learned.mean, 3), round(learned.weight_of_jobs, 2)
    (0.06, 0.8)
    """
    share = float(prior_share)
    if not 0 < share < 1:
        raise OutOfRange("prior_share", share, "a number between 0 and 1, ends left out")
    weight = float(positive("prior_weight", float(prior_weight)))
    k = np.atleast_1d(np.asarray(not_negative("part", part), dtype=np.float64))
    n = np.atleast_1d(np.asarray(not_negative("whole", whole), dtype=np.float64))
    if k.shape != n.shape:
        raise OutOfRange("part", f"{k.size} jobs", f"{n.size}, as many as whole has")
    if (k > n).any():
        raise OutOfRange("part", float(k[k > n][0]), "no more than the whole of that job")
    from scipy.special import betaincinv  # lazily: slow to import

    a, b = weight * share + float(k.sum()), weight * (1 - share) + float((n - k).sum())
    tail = 1 - _upper(level)
    low, high = (float(betaincinv(a, b, p)) for p in (tail, 1 - tail))
    return Learned(a / (a + b), low, high, None, None, float(n.sum()) / (a + b), int(n.size), _few(int(n.size)))


def _upper(level: float) -> float:
    if not 0 < level < 1:
        raise OutOfRange("level", level, "a number between 0 and 1, ends left out")
    return 0.5 + level / 2


def _few(jobs: int) -> tuple[str, ...]:
    return (f"learned from {jobs} own jobs; {FEW_JOBS} or more make it firm",) if jobs < FEW_JOBS else ()


def _row(name: str, values: ArrayLike) -> NDArray[np.float64]:
    row = np.asarray(finite(name, values), dtype=np.float64)
    if row.ndim != 1 or row.size < 2:
        raise OutOfRange(name, f"of shape {row.shape}", "a row of at least 2 draws")
    return row


def _centred_ranks(values: NDArray[np.float64]) -> NDArray[np.float64]:
    _, where, counts = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(counts)
    ranks = (last - (counts - 1) / 2)[where]
    return np.asarray(ranks - (values.size + 1) / 2, dtype=np.float64)
