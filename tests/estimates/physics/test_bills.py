"""Behaviour of the bill regression."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimates.physics.bills import (
    BillFit,
    Pattern,
    Verdict,
    cv_rmse,
    fit_bills,
    measured_savings,
    nmbe,
    normalised_use,
)
from estimates.physics.validity import OutOfRange

DAYS = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
EDGES = np.concatenate([[0], np.cumsum(DAYS)[:-1]])
YEAR = 54 - 26 * np.cos(2 * np.pi * np.arange(365) / 365) + np.random.default_rng(2).normal(0, 7, 365)


def use_of(base: float, heat: float, cool: float, heat_base: float = 59, cool_base: float = 69) -> np.ndarray:
    daily = base + heat * np.maximum(heat_base - YEAR, 0) + cool * np.maximum(YEAR - cool_base, 0)
    return np.asarray(np.add.reduceat(daily, EDGES))


def heating_fit(heat: float, noise: float = 0.0) -> BillFit:
    use = use_of(0.6, heat, 0)
    scatter = np.random.default_rng(6).normal(0, noise * use.mean() if noise else 0.0, 12)
    return fit_bills(np.maximum(use + scatter, 0), DAYS, YEAR, Pattern.HEATING)


@given(st.floats(0.1, 5), st.floats(0.02, 1), st.floats(0.02, 1), st.integers(50, 64), st.integers(66, 76))
@settings(max_examples=15, deadline=None)
def test_an_exact_house_is_found_again_with_its_balance_points(
    base: float, heat: float, cool: float, heat_base: int, cool_base: int
) -> None:
    fit = fit_bills(use_of(base, heat, cool, heat_base, cool_base), DAYS, YEAR, Pattern.BOTH)
    assert (fit.heating_base_f, fit.cooling_base_f) == (heat_base, cool_base)
    assert fit.base_per_day == pytest.approx(base, rel=1e-6)
    assert fit.heating_slope == pytest.approx(heat, rel=1e-6)
    assert fit.cooling_slope == pytest.approx(cool, rel=1e-6)
    assert fit.verdict is Verdict.GOOD


def test_cooling_alone_leaves_heating_at_nothing() -> None:
    fit = fit_bills(use_of(2.0, 0.0, 0.4), DAYS, YEAR, Pattern.COOLING)
    assert (fit.heating_slope, fit.heating_base_f, fit.cooling_base_f) == (0.0, None, 69.0)
    year = normalised_use(fit, YEAR)
    assert year.heating == 0
    assert year.base + year.cooling == pytest.approx(year.total)


def test_the_year_of_the_bills_gives_the_bills_back() -> None:
    fit = heating_fit(0.1, noise=0.05)
    assert normalised_use(fit, YEAR).total == pytest.approx(fit.base_per_day * 365 + normalised_use(fit, YEAR).heating)
    assert normalised_use(fit, YEAR - 5).heating > normalised_use(fit, YEAR).heating


def test_scatter_turns_the_verdict() -> None:
    assert heating_fit(0.1).verdict is Verdict.GOOD
    assert heating_fit(0.1, noise=0.25).verdict is Verdict.USABLE
    assert heating_fit(0.1, noise=0.9).verdict is Verdict.WEAK


def test_half_a_year_and_a_balance_point_at_the_end_are_pointed_out() -> None:
    fit = fit_bills(use_of(0.6, 0.1, 0, heat_base=44)[:6], DAYS[:6], YEAR[:181], Pattern.HEATING)
    assert any("181 days" in text for text in fit.warnings)
    assert any("end of those tried" in text for text in fit.warnings)


def test_a_negative_base_is_pointed_out() -> None:
    use = np.maximum(use_of(0.0, 0.2, 0) - 10, 0)
    fit = fit_bills(use[:4], DAYS[:4], YEAR[:120], Pattern.HEATING, heating_base_f=65)
    assert any("below 0" in text for text in fit.warnings)


def test_savings_are_before_less_after_and_turn_round_with_them() -> None:
    before, after = heating_fit(0.12, 0.04), heating_fit(0.08, 0.04)
    one, other = measured_savings(before, after, YEAR), measured_savings(after, before, YEAR)
    assert one.saved == pytest.approx(normalised_use(before, YEAR).total - normalised_use(after, YEAR).total)
    assert (other.saved, other.low, other.high) == pytest.approx((-one.saved, -one.high, -one.low))
    assert measured_savings(before, after, YEAR, level=0.95).low < one.low < one.saved
    assert one.share == pytest.approx(one.saved / normalised_use(before, YEAR).total)


def test_a_change_within_the_noise_and_weak_bills_are_pointed_out() -> None:
    weak = heating_fit(0.1, noise=0.9)
    warnings = measured_savings(weak, heating_fit(0.1, 0.25), YEAR).warnings
    assert any("before the work are too weak" in text for text in warnings)
    assert any("smaller than its uncertainty" in text for text in warnings)


def test_bills_against_the_weather_are_refused() -> None:
    with pytest.raises(OutOfRange, match="not following heating weather"):
        fit_bills(np.max(use_of(0, 0.1, 0)) - use_of(0, 0.1, 0), DAYS, YEAR, Pattern.HEATING)


@pytest.mark.parametrize(
    ("use", "days", "daily", "named"),
    [
        ([1.0, 2.0], [30, 30], [50.0] * 60, "use is '2 bills'"),
        ([1.0, 2.0, -3.0], [30] * 3, [50.0] * 90, "use"),
        ([1.0, 2.0, 3.0], [30] * 2, [50.0] * 90, "days"),
        ([1.0, 2.0, 3.0], [30.5, 30, 30], [50.0] * 90, "whole days"),
        ([1.0, 2.0, 3.0], [30] * 3, [50.0] * 89, "daily_f"),
        ([1.0, 2.0, 3.0], [30] * 3, [500.0] * 90, "daily_f"),
    ],
)
def test_bad_tables_are_refused_by_name(use: list[float], days: list[int], daily: list[float], named: str) -> None:
    with pytest.raises(OutOfRange, match=named):
        fit_bills(use, days, daily, Pattern.HEATING)


def test_bad_options_are_refused_by_name() -> None:
    with pytest.raises(OutOfRange, match="heating_base_f"):
        fit_bills(use_of(1, 1, 0), DAYS, YEAR, Pattern.HEATING, heating_base_f=200)
    with pytest.raises(OutOfRange, match="level"):
        measured_savings(heating_fit(0.1), heating_fit(0.1), YEAR, level=1.0)
    with pytest.raises(OutOfRange, match="typical_daily_f"):
        normalised_use(heating_fit(0.1), [])


@given(st.lists(st.tuples(st.floats(1, 100), st.floats(0, 100)), min_size=2, max_size=12))
def test_scatter_is_never_less_than_bias(pairs: list[tuple[float, float]]) -> None:
    observed, predicted = zip(*pairs, strict=True)
    assert abs(nmbe(observed, predicted)) <= cv_rmse(observed, predicted) + 1e-9
    assert cv_rmse(observed, observed) == 0


def test_statistics_refuse_what_they_cannot_divide_by() -> None:
    with pytest.raises(OutOfRange, match="mean of observed"):
        cv_rmse([1.0, -1.0], [1.0, 1.0])
    with pytest.raises(OutOfRange, match="parameters"):
        nmbe([1.0, 2.0], [1.0, 2.0], 2)
    with pytest.raises(OutOfRange, match="predicted"):
        nmbe([1.0, 2.0], [1.0])
