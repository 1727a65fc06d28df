"""What closed jobs teach: production rates, yields, leakage effects and realised savings, shrunk from common practice.

Each is learned from a stated prior and from the firm's own closed jobs by `estimates.physics.uncertainty.learn_rate`;
rates and ratios on the scale of logarithms, where twice as slow is as far as twice as fast. What comes out is proposed,
never applied: the owner accepts or refuses each (rule L1).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from estimates.physics.uncertainty import Learned, learn_rate
from estimates.physics.validity import OutOfRange, finite, positive, within

Z80 = 1.2815515655446004
"""Normal quantile at 0.9: 80 % lie within so many standard deviations of the middle. [-] Mathematical constant."""

LEVEL = 0.8
"""Level of all intervals. [1]"""

LEAST_JOBS = 3
"""Nothing is proposed from fewer jobs. [-] Common practice, no source."""

LEAST_CHANGE = 0.03
"""A smaller change is not worth a new price-book version. [1] Common practice, no source."""


class RateKind(StrEnum):
    """What is learned, and with it the scale it varies on."""

    HOURS = "hours per unit"
    YIELD = "yield of a mix"
    LEAKAGE = "leakage effect"
    SAVINGS = "realised savings"


_UNITS = {RateKind.YIELD: "ft3/mix", RateKind.LEAKAGE: "share", RateKind.SAVINGS: "ratio"}


@dataclass(frozen=True, slots=True)
class Prior:
    """Common practice before own jobs are looked at, and how sure it is.

    low, best, high : one firm in ten lies below `low`, one in ten above `high`. `job_spread` : from job to job within
    a firm, standard deviation; of the logarithm (a share of the rate) for hours, yields and savings, of the value
    itself for leakage effects. `mark` : S, M, D or CP, as for every figure.
    """

    low: float
    best: float
    high: float
    job_spread: float
    mark: str

    def __post_init__(self) -> None:
        for name in ("low", "best", "high"):
            finite(f"prior.{name}", float(getattr(self, name)))
        if not self.low < self.best < self.high:
            raise OutOfRange("prior.best", (self.low, self.best, self.high), "low < best < high")
        positive("prior.job_spread", float(self.job_spread))
        if self.mark not in ("S", "M", "D", "CP"):
            raise OutOfRange("prior.mark", self.mark, "S, M, D or CP")


STARTING_PRIORS = {
    "wall_lift_cladding": Prior(0.020, 0.030, 0.048, 0.20, "CP"),
    "attic_blowing": Prior(0.050, 0.067, 0.100, 0.20, "CP"),
    "yield": Prior(21.0, 23.5, 26.0, 0.06, "CP"),
    "leakage_walls": Prior(0.20, 0.45, 0.70, 0.12, "M"),
    "savings": Prior(0.50, 0.75, 1.05, 0.25, "M"),
}
"""Priors to begin with; person-hours per ft2 of wall and per bag, ft3 per mix, shares. A firm's price book goes before.

Walls: 500-800-1,200 ft2 by three people in a day of 8 h; attics: 20-30-40 bags an hour by two. CP and M as marked.
"""


@dataclass(frozen=True, slots=True)
class ClosedJob:
    """What one closed job says: `actual` over `quantity`.

    Hours: quantity of work, person-hours. Yield: mixes, ft3 poured. Leakage: leakage of the component before, cut of it
    in the same unit (cfm50). Savings: predicted, realised.
    """

    job: str
    quantity: float
    actual: float


class Advice(StrEnum):
    """What is proposed about a rate."""

    CHANGE = "propose"
    KEEP = "keep"
    WAIT = "wait for more jobs"


@dataclass(frozen=True, slots=True)
class RateProposal:
    """A rate learned, and what is proposed to the owner.

    prior : common practice. jobs : own jobs used. mean : posterior middle (median for hours, yields and savings);
    low, high : 80 % interval of the firm's own middle; next_low, next_high : 80 % of single jobs. [unit]
    weight : share of the middle that comes from own jobs. [1] current : in the price book; change : mean over it, less
    1. [1] words : the proposal in one sentence.
    """

    name: str
    kind: RateKind
    unit: str
    prior: Prior
    jobs: int
    mean: float
    low: float
    high: float
    next_low: float
    next_high: float
    weight: float
    current: float
    change: float
    advice: Advice
    words: str
    warnings: tuple[str, ...]


def learn(
    name: str,
    kind: RateKind,
    jobs: Sequence[ClosedJob],
    *,
    prior: Prior,
    current: float | None = None,
    unit: str = "",
) -> RateProposal:
    r"""Learn one rate from closed jobs.

    Parameters
    ----------
    name : of the rate, for the sentence.
    kind : what is learned.
    jobs : closed jobs, each once; none gives the prior back.
    prior : common practice and its spread.
    current : rate in the price book, > 0; left out: the best value of the prior. [unit]
    unit : of hours per unit ("h/ft2"); the others have their own.

    Returns
    -------
    RateProposal.

    Raises
    ------
    OutOfRange : a quantity that is not positive, an actual that is not (leakage: more cut than there was, or a negative
        cut beyond a tenth), a job twice, a prior outside the limits of its kind.

    Notes
    -----
    .. math:: x_j = \ln (a_j / q_j), \qquad m = (1 - w) \mu_0 + w \bar x, \qquad w = \frac{n/s^2}{1/\tau^2 + n/s^2}

    with mu_0 the logarithm of the prior's best value and tau from its low and high. The spread s from job to job is the
    prior's, worth eight jobs, pooled with what the jobs show. Jobs weigh alike: their spread is far larger than what a
    long or a short job measures. Leakage effects are taken as they are, without logarithms, and kept within 0 to 1. A
    *rule*: propose from three jobs on, where the middle has moved by 3 % or more and the price book's rate lies outside
    the 80 % interval; else keep.

    References
    ----------
    .. [1] Normal prior and normal data: as `learn_rate`. Priors, least jobs, least change: common practice, no source.

    Examples
    --------
    >>> jobs = [ClosedJob(f"J{i}", 700.0, 700.0 * rate) for i, rate in enumerate((0.036, 0.041, 0.038, 0.040))]
    >>> found = learn("walls", RateKind.HOURS, jobs, prior=STARTING_PRIORS["wall_lift_cladding"], unit="h/ft2")
    >>> round(found.mean, 4), round(found.weight, 2), found.advice.value
    (0.0381, 0.94, 'propose')
    """
    kind = RateKind(kind)
    middle, tau, spread = _scaled(kind, prior)
    values = _observed(kind, jobs)
    learned = learn_rate(middle, tau, values, spread, level=LEVEL)
    back = _unscaled(kind, learned)
    now = prior.best if current is None else float(positive("current", current))
    shown = unit or _UNITS.get(kind, "h/unit")
    change = back[0] / now - 1.0
    advice = _advice(len(values), change, now, back[1], back[2])
    return RateProposal(
        name=name,
        kind=kind,
        unit=shown,
        prior=prior,
        jobs=len(values),
        mean=back[0],
        low=back[1],
        high=back[2],
        next_low=back[3],
        next_high=back[4],
        weight=learned.weight_of_jobs,
        current=now,
        change=change,
        advice=advice,
        words=_words(name, shown, back, learned, now, advice),
        warnings=learned.warnings,
    )


@dataclass(frozen=True, slots=True)
class BookRate:
    """A rate as a price book keeps it: best, and the ends of its range from single jobs. [unit]"""

    low: float
    best: float
    high: float


def per_day(found: RateProposal, *, people: float, hours: float) -> BookRate:
    r"""Work that a crew does in a day, from learned person-hours per unit.

    Parameters
    ----------
    found : hours per unit, as learned. [h/unit]
    people : in the crew, > 0. [-]
    hours : of its day, > 0; 1 for a rate by the hour. [h]

    Returns
    -------
    BookRate. [unit/day]

    Raises
    ------
    OutOfRange : another kind than hours per unit, people or hours not positive.

    Notes
    -----
    .. math:: P = n h / r

    Slow jobs make the low end.

    References
    ----------
    .. [1] Definition of the rates of the price book.

    Examples
    --------
    >>> none = learn("walls", RateKind.HOURS, [], prior=STARTING_PRIORS["wall_lift_cladding"], unit="h/ft2")
    >>> round(per_day(none, people=3, hours=8).best)
    800
    """
    if found.kind is not RateKind.HOURS:
        raise OutOfRange("found.kind", found.kind.value, "hours per unit")
    crew = float(positive("people", people)) * float(positive("hours", hours))
    return BookRate(crew / found.next_high, crew / found.mean, crew / found.next_low)


def _scaled(kind: RateKind, prior: Prior) -> tuple[float, float, float]:
    """Middle and standard deviation of the prior and spread of jobs, on the scale that is normal."""
    if kind is RateKind.LEAKAGE:
        within("prior.low", prior.low, 0.0, 1.0)
        within("prior.high", prior.high, 0.0, 1.0)
        return prior.best, (prior.high - prior.low) / (2.0 * Z80), prior.job_spread
    low = float(positive("prior.low", prior.low))
    return math.log(prior.best), math.log(prior.high / low) / (2.0 * Z80), prior.job_spread


LEAST_EFFECT = -0.1
"""A component that leaks more than this much more after the work was measured wrong. [1] Common practice, no source."""


def _observed(kind: RateKind, jobs: Sequence[ClosedJob]) -> list[float]:
    values, seen = [], set[str]()
    for i, job in enumerate(jobs):
        if job.job in seen:
            raise OutOfRange(f"jobs[{i}].job", job.job, "each job once")
        seen.add(job.job)
        quantity = float(positive(f"jobs[{i}].quantity", job.quantity))
        if kind is RateKind.LEAKAGE:
            values.append(float(within(f"jobs[{i}].actual", job.actual, LEAST_EFFECT * quantity, quantity)) / quantity)
        else:
            values.append(math.log(float(positive(f"jobs[{i}].actual", job.actual)) / quantity))
    return values


def _unscaled(kind: RateKind, learned: Learned) -> tuple[float, float, float, float, float]:
    """Middle, interval of the middle, interval of the next job, in the unit of the rate."""
    low, high = learned.next_low, learned.next_high
    assert low is not None
    assert high is not None
    ends = (learned.mean, learned.low, learned.high, low, high)
    if kind is RateKind.LEAKAGE:
        a, b, c, d, e = (min(1.0, max(0.0, end)) for end in ends)
    else:
        a, b, c, d, e = (math.exp(end) for end in ends)
    return a, b, c, d, e


def _advice(jobs: int, change: float, now: float, low: float, high: float) -> Advice:
    if jobs < LEAST_JOBS:
        return Advice.WAIT
    return Advice.CHANGE if abs(change) >= LEAST_CHANGE and not low <= now <= high else Advice.KEEP


def _words(
    name: str,
    unit: str,
    found: tuple[float, float, float, float, float],
    learned: Learned,
    now: float,
    advice: Advice,
) -> str:
    mean, low, high = (f"{value:.3g}" for value in found[:3])
    jobs = "1 own job" if learned.jobs == 1 else f"{learned.jobs} own jobs"
    from_ = f"{jobs}, which weigh {learned.weight_of_jobs:.0%}".replace("%", " %")
    said = f"{name}: {mean} {unit} (80 %: {low} to {high}) from {from_}; price book {now:.3g}"
    if advice is Advice.CHANGE:
        return f"{said}. Proposed: {mean} {unit}."
    if advice is Advice.KEEP:
        return f"{said}. Keep it."
    return f"{said}. Wait for {LEAST_JOBS - learned.jobs} more."
