"""Ranges and learning against a general statistics library and simulated truth.

S: printed number seen. M: from memory. D: derived here by two methods.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from estimates.physics.uncertainty import (
    RangeInput,
    RangeShape,
    Sampler,
    influences,
    learn_rate,
    learn_share,
    percentiles,
)

PROBABILITIES = np.linspace(0.01, 0.99, 33)


class TestShapes:
    @pytest.mark.parametrize(("low", "best", "high"), [(2.0, 3.0, 7.0), (0.0, 0.0, 1.0), (-4.0, 1.0, 1.0)])
    def test_triangular_quantiles_equal_the_librarys(self, low: float, best: float, high: float) -> None:
        # D: scipy.stats.triang.
        theirs = stats.triang((best - low) / (high - low), low, high - low).ppf(PROBABILITIES)
        assert RangeInput("x", low, best, high).quantile(PROBABILITIES) == pytest.approx(theirs, rel=1e-12, abs=1e-12)

    def test_pert_mean_is_low_plus_four_best_plus_high_over_six(self) -> None:
        # M: the three-point rule of network planning, mean (a + 4 m + b)/6; D: mean of many quantiles.
        fine = (np.arange(20_000) + 0.5) / 20_000
        draws = RangeInput("x", 2.0, 3.0, 10.0, RangeShape.PERT).quantile(fine)
        assert draws.mean() == pytest.approx((2 + 4 * 3 + 10) / 6, abs=1e-4)

    def test_normal_and_lognormal_put_a_tenth_below_low_and_above_high(self) -> None:
        # D: definition; scipy.stats.norm and lognorm.
        normal = RangeInput("x", 10.0, 20.0, 30.0, RangeShape.NORMAL)
        assert normal.quantile([0.1, 0.5, 0.9]) == pytest.approx([10.0, 20.0, 30.0], rel=1e-12)
        log = RangeInput("x", 2.0, 4.0, 8.0, RangeShape.LOGNORMAL)
        theirs = stats.lognorm(math.log(2.0) / stats.norm.ppf(0.9), scale=4.0).ppf(PROBABILITIES)
        assert log.quantile(PROBABILITIES) == pytest.approx(theirs, rel=1e-12)

    def test_draws_of_a_range_have_its_mean_and_spread(self) -> None:
        # D: triangular mean (a + b + c)/3 and variance (a2 + b2 + c2 - ab - ac - bc)/18.
        draws = Sampler(11, 5000).draw(RangeInput("x", 1.0, 2.0, 6.0))
        assert draws.mean() == pytest.approx(3.0, abs=2e-3)
        assert draws.var() == pytest.approx((1 + 4 + 36 - 2 - 6 - 12) / 18, rel=5e-3)


def test_percentiles_equal_the_librarys_quantiles() -> None:
    # D: scipy.stats.mstats.mquantiles with the same rule (alphap = betap = 1).
    values = np.random.default_rng(2).normal(size=501)
    ours = percentiles(values)
    theirs = stats.mstats.mquantiles(values, [0.1, 0.5, 0.9], alphap=1, betap=1)
    assert (ours.p10, ours.p50, ours.p90) == pytest.approx(tuple(theirs), rel=1e-12)


def test_rank_correlations_equal_the_librarys_with_ties() -> None:
    # D: scipy.stats.spearmanr.
    rng = np.random.default_rng(5)
    inputs = {"a": rng.integers(0, 9, 300).astype(float), "b": rng.normal(size=300), "c": rng.normal(size=300)}
    result = 3 * inputs["a"] - 2 * inputs["b"] + rng.normal(size=300)
    found = {each.name: each.rank_correlation for each in influences(result, inputs, most=3)}
    for name, values in inputs.items():
        assert found[name] == pytest.approx(stats.spearmanr(values, result).statistic, abs=1e-11)


def test_different_names_give_independent_draws() -> None:
    # D: rank correlation of 190 pairs of streams; for independent ones sd is 1/sqrt(n - 1), 5 sd is far out.
    streams = np.array([Sampler(1, 1000).uniform(f"input {k}") for k in range(20)])
    off = np.corrcoef(streams)[np.triu_indices(20, 1)]
    assert np.abs(off).max() < 5 / math.sqrt(999)
    assert abs(off.mean()) < 5 / math.sqrt(999 * off.size)


class TestLearningOnSimulatedTruth:
    @pytest.mark.parametrize(("jobs", "known"), [(1, True), (4, True), (12, True), (4, False), (30, False)])
    def test_ranges_hold_the_true_rate_and_the_next_job_as_often_as_they_say(self, jobs: int, known: bool) -> None:
        # D: truth drawn from the prior, jobs from the truth; 2000 firms, 80 % ranges, 3 sd of a binomial is 2.7 points.
        rng = np.random.default_rng(20 + jobs)
        firms, held, next_held = 2000, 0, 0
        for _ in range(firms):
            truth = rng.normal(800.0, 150.0)
            seen = rng.normal(truth, 120.0, jobs)
            learned = learn_rate(800.0, 150.0, seen, 120.0, job_sd_weight=math.inf if known else 8.0)
            held += learned.low <= truth <= learned.high
            assert learned.next_low is not None
            assert learned.next_high is not None
            next_held += learned.next_low <= rng.normal(truth, 120.0) <= learned.next_high
        slack = 0.027 if known else 0.05  # the estimated spread is blended, so the cover is near, not exact
        assert held / firms == pytest.approx(0.8, abs=slack)
        assert next_held / firms == pytest.approx(0.8, abs=slack)

    def test_a_wrong_prior_is_outvoted_by_many_jobs(self) -> None:
        # D: recovers a known parameter far from the prior.
        seen = np.random.default_rng(4).normal(500.0, 60.0, 200)
        assert learn_rate(800.0, 100.0, seen, 100.0).mean == pytest.approx(500.0, abs=3 * 60 / math.sqrt(200))

    def test_share_ranges_hold_the_true_share_as_often_as_they_say(self) -> None:
        # D: truth from the beta prior, counts from the truth.
        rng = np.random.default_rng(9)
        firms, held = 2000, 0
        for _ in range(firms):
            truth = rng.beta(20 * 0.1, 20 * 0.9)
            whole = np.full(3, 40)
            learned = learn_share(0.1, 20.0, rng.binomial(whole, truth), whole)
            held += learned.low <= truth <= learned.high
        assert held / firms == pytest.approx(0.8, abs=0.027)

    def test_the_mean_weighs_prior_and_jobs_by_their_precision(self) -> None:
        # D: by hand: prior 100 +- 10, four jobs of mean 120 with spread 20 -> equal weights, mean 110, sd sqrt(50).
        learned = learn_rate(100.0, 10.0, [110.0, 130.0, 120.0, 120.0], 20.0, job_sd_weight=math.inf, level=0.8)
        assert learned.mean == pytest.approx(110.0, abs=1e-12)
        assert learned.weight_of_jobs == pytest.approx(0.5, abs=1e-12)
        assert learned.high == pytest.approx(110 + stats.norm.ppf(0.9) * math.sqrt(50), rel=1e-6)
