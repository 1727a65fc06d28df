"""Properties of ranges, draws and learned rates."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimates.physics.uncertainty import (
    RangeInput,
    RangeShape,
    Sampler,
    influences,
    learn_rate,
    learn_share,
    percentiles,
)
from estimates.physics.validity import OutOfRange

number = st.floats(-1e4, 1e4, allow_nan=False)


@given(st.tuples(number, number, number).map(sorted), st.sampled_from([RangeShape.TRIANGULAR, RangeShape.PERT]))
def test_draws_stay_between_the_ends_and_rise_with_probability(three: list[float], shape: RangeShape) -> None:
    spec = RangeInput("x", three[0], three[1], three[2], shape)
    values = spec.quantile(np.linspace(0, 1, 21))
    slack = 1e-9 * (1 + abs(three[0]) + abs(three[2]))
    assert values.min() >= three[0] - slack
    assert values.max() <= three[2] + slack
    assert (np.diff(values) >= -slack).all()


@given(st.sampled_from(list(RangeShape)), st.floats(0.001, 0.999))
def test_a_quantile_of_one_probability_equals_that_of_an_array(shape: RangeShape, p: float) -> None:
    spec = RangeInput("x", 2.0, 4.0, 8.0 if shape is RangeShape.LOGNORMAL else 6.0, shape)
    assert float(spec.quantile(p)) == spec.quantile([0.5, p])[1]


@pytest.mark.parametrize("shape", [RangeShape.NORMAL, RangeShape.LOGNORMAL])
def test_the_endless_tails_have_no_last_value(shape: RangeShape) -> None:
    best = 4.0 if shape is RangeShape.LOGNORMAL else 5.0
    with pytest.raises(OutOfRange, match="probability"):
        RangeInput("x", 2.0, best, 8.0, shape).quantile([0.5, 1.0])


@given(st.integers(0, 2**40), st.integers(2, 300))
@settings(max_examples=40)
def test_draws_fill_every_slice_of_probability_once(seed: int, n: int) -> None:
    assert sorted(np.floor(Sampler(seed, n).uniform("x") * n).astype(int)) == list(range(n))


def test_adding_an_input_or_another_order_changes_no_other_draws() -> None:
    wall, attic = RangeInput("wall", 1, 2, 3), RangeInput("attic", 4, 5, 6)
    sampler = Sampler(3, 50)
    alone = sampler.draw_all((wall,))["wall"]
    assert (sampler.draw_all((attic, wall))["wall"] == alone).all()
    assert (Sampler(4, 50).draw(wall) != alone).any()


def test_a_name_given_twice_is_refused() -> None:
    with pytest.raises(OutOfRange, match="each name once"):
        Sampler(1, 5).draw_all((RangeInput("x", 1, 2, 3), RangeInput("x", 1, 2, 4)))


@pytest.mark.parametrize(
    ("low", "best", "high", "shape", "ask"),
    [
        (1, 3, 2, RangeShape.TRIANGULAR, "rising order"),
        (float("nan"), 1, 2, RangeShape.PERT, "finite"),
        (0, 1, 4, RangeShape.NORMAL, "midway"),
        (0, 1, 4, RangeShape.LOGNORMAL, "above 0"),
        (1, 3, 4, RangeShape.LOGNORMAL, "geometric"),
    ],
)
def test_a_range_that_makes_no_sense_says_what_to_enter(
    low: float, best: float, high: float, shape: RangeShape, ask: str
) -> None:
    with pytest.raises(OutOfRange, match=f"yield_ft3.*{ask}"):
        RangeInput("yield_ft3", low, best, high, shape)


@pytest.mark.parametrize(("seed", "n"), [(-1, 10), (0, 1)])
def test_a_sampler_needs_a_seed_and_two_draws(seed: int, n: int) -> None:
    with pytest.raises(OutOfRange, match=r"seed|n is"):
        Sampler(seed, n)


@given(st.lists(number, min_size=2, max_size=50))
def test_percentiles_are_in_order_and_inside_the_draws(draws: list[float]) -> None:
    found = percentiles(draws)
    assert min(draws) <= found.p10 <= found.p50 <= found.p90 <= max(draws)


@pytest.mark.parametrize("draws", [[], [1.0], [[1.0, 2.0]], [1.0, float("nan")]])
def test_percentiles_refuse_what_is_no_row_of_numbers(draws: object) -> None:
    with pytest.raises(OutOfRange, match="draws"):
        percentiles(draws)  # type: ignore[arg-type]


@given(st.lists(st.integers(-50, 50), min_size=4, max_size=30, unique=True))
def test_influence_ignores_scale_and_follows_direction(values: list[int]) -> None:
    result = np.array(values, dtype=float)
    found = influences(result, {"up": np.exp(result / 20), "down": -3 * result, "flat": np.ones(result.size)})
    assert {each.name: each.rank_correlation for each in found} == {"up": 1.0, "down": -1.0}


def test_influences_of_different_length_are_refused() -> None:
    with pytest.raises(OutOfRange, match="as many as the result"):
        influences([1, 2, 3], {"a": [1, 2]})
    with pytest.raises(OutOfRange, match="most"):
        influences([1, 2, 3], {"a": [1, 2, 3]}, most=0)


@given(st.lists(st.floats(0, 2000), max_size=20), st.floats(1, 500), st.floats(1, 500))
def test_a_learned_rate_lies_between_prior_and_jobs(seen: list[float], prior_sd: float, job_sd: float) -> None:
    learned = learn_rate(800.0, prior_sd, seen, job_sd)
    ends = (800.0, float(np.mean(seen)) if seen else 800.0)
    assert min(ends) - 1e-6 <= learned.mean <= max(ends) + 1e-6
    assert 0 <= learned.weight_of_jobs < 1
    assert learned.next_low is not None
    assert learned.next_low <= learned.low <= learned.mean <= learned.high


def test_no_jobs_give_the_prior_with_a_warning() -> None:
    learned = learn_rate(800.0, 150.0, [], 120.0)
    assert (learned.mean, learned.weight_of_jobs, learned.jobs) == (800.0, 0.0, 0)
    assert "0 own jobs" in learned.warnings[0]


def test_jobs_far_from_common_practice_are_pointed_out() -> None:
    assert any("far from common practice" in text for text in learn_rate(800, 50, [100.0] * 9, 60).warnings)


@given(st.lists(st.tuples(st.integers(0, 30), st.integers(0, 30)), max_size=8))
def test_a_learned_share_is_a_share_and_its_range_holds_its_middle(jobs: list[tuple[int, int]]) -> None:
    learned = learn_share(0.2, 10.0, [k for k, _ in jobs], [k + rest for k, rest in jobs])
    assert 0 < learned.low < learned.high < 1
    assert 0 < learned.mean < 1


@pytest.mark.parametrize(
    ("share", "weight", "part", "whole", "level"),
    [
        (0.0, 5, [1], [2], 0.8),
        (0.5, 0, [1], [2], 0.8),
        (0.5, 5, [3], [2], 0.8),
        (0.5, 5, [1, 1], [2], 0.8),
        (0.5, 5, [1], [2], 1.0),
    ],
)
def test_bad_shares_are_refused(share: float, weight: float, part: list[int], whole: list[int], level: float) -> None:
    with pytest.raises(OutOfRange, match=r"prior_share|prior_weight|part|level"):
        learn_share(share, weight, part, whole, level=level)


@pytest.mark.parametrize(("prior_sd", "job_sd", "weight"), [(0, 1, 8), (1, 0, 8), (1, 1, 0), (1, 1, float("nan"))])
def test_bad_spreads_are_refused(prior_sd: float, job_sd: float, weight: float) -> None:
    with pytest.raises(OutOfRange, match=r"prior_sd|job_sd"):
        learn_rate(1.0, prior_sd, [1.0], job_sd, job_sd_weight=weight)
