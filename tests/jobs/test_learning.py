"""Learning from closed jobs: known truth recovered at the stated cover, prior without jobs, sample with many."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from estimates.physics.validity import OutOfRange
from jobs.learning import (
    STARTING_PRIORS,
    Z80,
    Advice,
    ClosedJob,
    Prior,
    RateKind,
    RateProposal,
    learn,
    per_day,
)

WALLS = STARTING_PRIORS["wall_lift_cladding"]
LEAKAGE = STARTING_PRIORS["leakage_walls"]
KINDS = [
    (RateKind.HOURS, WALLS),
    (RateKind.YIELD, STARTING_PRIORS["yield"]),
    (RateKind.LEAKAGE, LEAKAGE),
    (RateKind.SAVINGS, STARTING_PRIORS["savings"]),
]


def jobs(*rates: float, quantity: float = 700.0) -> list[ClosedJob]:
    return [ClosedJob(f"J{i}", quantity, quantity * rate) for i, rate in enumerate(rates)]


def walls(*rates: float, **others: float) -> RateProposal:
    return learn("walls", RateKind.HOURS, jobs(*rates), prior=WALLS, unit="h/ft2", **others)


@pytest.mark.parametrize(("kind", "prior"), KINDS)
def test_without_jobs_the_prior_comes_back(kind: RateKind, prior: Prior) -> None:
    found = learn("rate", kind, [], prior=prior)
    assert (found.mean, found.weight, found.jobs) == (pytest.approx(prior.best), 0.0, 0)
    assert found.advice is Advice.WAIT
    assert found.low < prior.best < found.high


@pytest.mark.parametrize(("kind", "prior"), KINDS)
def test_many_jobs_outweigh_the_prior(kind: RateKind, prior: Prior) -> None:
    rate = 0.8 * prior.best
    few, many = (learn("rate", kind, jobs(*[rate * f for f in (0.9, 1.0, 1.1)] * n), prior=prior) for n in (1, 200))
    assert few.weight < many.weight
    assert many.weight > 0.98
    middle = rate if kind is RateKind.LEAKAGE else rate * (0.9 * 1.1) ** (1 / 3)
    assert many.mean == pytest.approx(middle, rel=0.01)
    assert rate < few.mean < prior.best
    assert many.advice is Advice.CHANGE


def test_the_posterior_is_the_precision_weighted_mean_by_hand() -> None:
    # D: one job, so that the spread stays the prior's: w = (1/.2^2) / (1/tau^2 + 1/.2^2), tau from .020 and .048.
    found = walls(0.040)
    tau = math.log(0.048 / 0.020) / (2 * Z80)
    weight = (1 / 0.2**2) / (1 / tau**2 + 1 / 0.2**2)
    assert found.weight == pytest.approx(weight)
    by_hand = math.exp((1 - weight) * math.log(0.030) + weight * math.log(0.040))
    assert found.mean == pytest.approx(by_hand)


def cover(kind: RateKind, prior: Prior, n: int, trials: int, seed: int) -> tuple[float, float]:
    """How often the 80 % intervals hold the firm's own middle, and its next job, for firms drawn from the prior."""
    rng = np.random.default_rng(seed)
    logs = kind is not RateKind.LEAKAGE
    middle = math.log(prior.best) if logs else prior.best
    tau = (math.log(prior.high / prior.low) if logs else prior.high - prior.low) / (2 * Z80)
    holds = holds_next = 0
    for _ in range(trials):
        spread = prior.job_spread * math.sqrt(8.0 / rng.chisquare(8))
        own = middle + tau * rng.standard_normal()
        rates = own + spread * rng.standard_normal(n + 1)
        if logs:
            rates, own = np.exp(rates), math.exp(own)
        found = learn("rate", kind, jobs(*rates[:n]), prior=prior)
        holds += found.low <= own <= found.high
        holds_next += found.next_low <= rates[n] <= found.next_high
    return holds / trials, holds_next / trials


@pytest.mark.parametrize(("kind", "prior"), [KINDS[0], KINDS[1], KINDS[3]])
@pytest.mark.parametrize("n", [2, 6, 30])
def test_known_truth_is_covered_at_the_stated_rate(kind: RateKind, prior: Prior, n: int) -> None:
    # D: 80 % within 3.5 binomial standard errors, and two points for Student's t being an approximation here.
    trials = 900
    tolerance = 3.5 * math.sqrt(0.8 * 0.2 / trials) + 0.02
    middle, following = cover(kind, prior, n, trials, seed=n)
    assert middle == pytest.approx(0.8, abs=tolerance)
    assert following == pytest.approx(0.8, abs=tolerance)


def test_a_leakage_effect_is_covered_too_where_it_stays_clear_of_its_ends() -> None:
    prior = Prior(0.40, 0.50, 0.60, 0.06, "CP")
    trials = 900
    tolerance = 3.5 * math.sqrt(0.8 * 0.2 / trials) + 0.02
    middle, _ = cover(RateKind.LEAKAGE, prior, 6, trials, seed=4)
    assert middle == pytest.approx(0.8, abs=tolerance)


def test_shrinking_comes_closer_to_the_truth_than_the_bare_mean_of_few_jobs() -> None:
    # D: mean squared error of the logarithm over firms drawn from the prior; three jobs each.
    rng = np.random.default_rng(8)
    tau = math.log(WALLS.high / WALLS.low) / (2 * Z80)
    shrunk, bare = [], []
    for _ in range(400):
        own = math.log(WALLS.best) + tau * rng.standard_normal()
        rates = own + 0.4 * rng.standard_normal(3)
        found = learn("w", RateKind.HOURS, jobs(*np.exp(rates)), prior=replace(WALLS, job_spread=0.4))
        shrunk.append((math.log(found.mean) - own) ** 2)
        bare.append((rates.mean() - own) ** 2)
    assert np.mean(shrunk) < np.mean(bare)


def test_a_change_is_proposed_only_from_three_jobs_outside_the_interval() -> None:
    assert walls(0.045, 0.046).advice is Advice.WAIT
    assert walls(0.045, 0.046).words.endswith("Wait for 1 more.")
    changed = walls(0.045, 0.046, 0.044)
    assert changed.advice is Advice.CHANGE
    assert changed.words.endswith(f"Proposed: {changed.mean:.3g} h/ft2.")
    assert walls(0.031, 0.030, 0.032).advice is Advice.KEEP
    assert walls(0.045, 0.046, 0.044, current=changed.mean).advice is Advice.KEEP
    wild = walls(0.020, 0.060, 0.040)
    assert wild.change > 0.1
    assert wild.advice is Advice.KEEP


def test_a_crew_day_is_the_inverse_of_hours_and_slow_jobs_are_its_low_end() -> None:
    found = walls(0.045, 0.046, 0.044)
    day = per_day(found, people=3, hours=8)
    assert day.best == pytest.approx(24 / found.mean)
    assert day.low == pytest.approx(24 / found.next_high)
    assert day.low < day.best < day.high
    with pytest.raises(OutOfRange, match="hours per unit"):
        per_day(learn("y", RateKind.YIELD, [], prior=STARTING_PRIORS["yield"]), people=3, hours=8)
    with pytest.raises(OutOfRange, match="people"):
        per_day(found, people=0, hours=8)


def test_leakage_effects_stay_within_nothing_and_all() -> None:
    found = learn("walls", RateKind.LEAKAGE, jobs(0.98, 1.0, 0.99, 1.0, 1.0, 0.97), prior=LEAKAGE)
    assert found.next_high == 1.0
    assert 0 <= found.low <= found.mean <= found.high <= 1
    learn("walls", RateKind.LEAKAGE, jobs(-0.05), prior=LEAKAGE)


def test_jobs_far_from_common_practice_bring_a_warning() -> None:
    assert any("far from common practice" in warning for warning in walls(0.30, 0.31, 0.29, 0.30, 0.30).warnings)


def test_bad_records_are_named() -> None:
    with pytest.raises(OutOfRange, match=r"jobs\[0\].quantity is 0"):
        learn("w", RateKind.HOURS, [ClosedJob("a", 0.0, 3.0)], prior=WALLS)
    with pytest.raises(OutOfRange, match=r"jobs\[0\].actual"):
        learn("w", RateKind.HOURS, [ClosedJob("a", 5.0, float("nan"))], prior=WALLS)
    with pytest.raises(OutOfRange, match="each job once"):
        learn("w", RateKind.HOURS, [ClosedJob("a", 5.0, 3.0)] * 2, prior=WALLS)
    with pytest.raises(OutOfRange, match=r"jobs\[0\].actual"):
        learn("w", RateKind.LEAKAGE, [ClosedJob("a", 5.0, -3.0)], prior=LEAKAGE)
    with pytest.raises(OutOfRange, match="low < best < high"):
        Prior(3.0, 2.0, 4.0, 0.1, "CP")
    with pytest.raises(OutOfRange, match="S, M, D or CP"):
        Prior(1.0, 2.0, 4.0, 0.1, "guess")
    with pytest.raises(OutOfRange, match=r"prior\.high is 4"):
        learn("w", RateKind.LEAKAGE, [], prior=Prior(0.5, 2.0, 4.0, 0.1, "CP"))
    with pytest.raises(OutOfRange, match=r"current is 0"):
        walls(current=0.0)
