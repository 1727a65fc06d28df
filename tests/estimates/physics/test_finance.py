"""Properties of present values, rates of return and payments."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.physics.finance import NoRate, irr, npv, payback_years, payment, spv, upv, upv_star
from estimates.physics.validity import OutOfRange

rate = st.floats(-0.2, 1.0)
years = st.integers(0, 60)


@given(rate, st.floats(-0.2, 0.5), years)
def test_factors_fall_with_the_rate_rise_with_time_and_growth_and_take_arrays(d: float, e: float, n: int) -> None:
    here = upv_star(d, e, n)
    assert here >= upv_star(d + 0.01, e, n) - 1e-9
    assert here <= upv_star(d, e, n + 1)
    assert here <= np.asarray(upv_star(d, e + 0.01, n)) * (1 + 1e-9) + 1e-9
    assert np.asarray(upv_star([d, 0.5], e, n))[0] == pytest.approx(here, rel=1e-12)
    assert np.asarray(spv([d], n))[0] == pytest.approx(spv(d, n), rel=1e-12)


@given(rate, years)
def test_a_uniform_sum_is_the_sum_of_single_ones(d: float, n: int) -> None:
    assert upv(d, n) == pytest.approx(sum(float(np.asarray(spv(d, t))) for t in range(1, n + 1)), rel=1e-8, abs=1e-8)
    assert np.asarray(upv([d], n))[0] == pytest.approx(upv(d, n), rel=1e-12)


@given(st.floats(0, 1), st.integers(1, 360), st.floats(1, 1e6))
def test_payments_are_worth_the_loan(r: float, n: int, loan: float) -> None:
    paid = float(np.asarray(payment(loan, r, n)))
    assert npv(r, [0.0, *([paid] * n)]) == pytest.approx(loan, rel=1e-6)
    assert np.asarray(payment([loan], r, n))[0] == pytest.approx(paid, rel=1e-12)


@given(st.floats(10, 1e5), st.lists(st.floats(1, 1e4), min_size=1, max_size=40))
def test_at_the_rate_of_return_the_row_is_worth_nothing(cost: float, back: list[float]) -> None:
    try:
        found = irr([-cost, *back])
    except NoRate:
        outside = [float(np.asarray(npv(r, [-cost, *back]))) for r in (-0.99, 10.0)]
        assert min(outside) > 0 or max(outside) < 0
        return
    scale = cost + float(np.asarray(npv(found, [0.0, *back])))
    assert npv(found, [-cost, *back]) == pytest.approx(0.0, abs=1e-8 * scale)
    assert npv(found + 0.01, [-cost, *back]) < 1e-8 * scale


@given(rate, st.lists(st.floats(-1e4, 1e4), min_size=1, max_size=10))
def test_net_present_value_takes_an_array_of_rates(d: float, flows: list[float]) -> None:
    assert np.asarray(npv([d, 0.0], flows))[0] == pytest.approx(npv(d, flows), rel=1e-9, abs=1e-6)
    assert np.asarray(npv([d, 0.0], flows))[1] == pytest.approx(sum(flows), abs=1e-6)


@pytest.mark.parametrize("flows", [[100.0, 20.0], [-100.0, -20.0], [0.0, 0.0]])
def test_payments_of_one_sign_have_no_rate(flows: list[float]) -> None:
    with pytest.raises(NoRate, match="one sign"):
        irr(flows)


def test_a_rate_beyond_all_sense_is_not_invented() -> None:
    with pytest.raises(NoRate, match="no rate of return"):
        irr([-1.0, 1000.0])
    with pytest.raises(NoRate, match="no rate of return"):
        irr([-1.0, 3.0, -2.5])


@given(st.floats(0, 1e5), st.floats(1, 1e4))
def test_payback_times_saving_is_the_cost(cost: float, saving: float) -> None:
    assert np.asarray(payback_years([cost], saving))[0] * saving == pytest.approx(cost, rel=1e-12)
    assert np.asarray(payback_years([cost], saving))[0] == pytest.approx(payback_years(cost, saving))


def test_bad_numbers_are_refused_by_name() -> None:
    with pytest.raises(OutOfRange, match="rate"):
        spv(-1.0, 5)
    with pytest.raises(OutOfRange, match="years"):
        upv(0.03, -1)
    with pytest.raises(OutOfRange, match="growth"):
        upv_star(0.03, float("nan"), 5)
    with pytest.raises(OutOfRange, match="flows"):
        npv(0.03, [])
    with pytest.raises(OutOfRange, match="flows"):
        irr([-5.0])
    with pytest.raises(OutOfRange, match="periods"):
        payment(100.0, 0.01, 0)
    with pytest.raises(OutOfRange, match="yearly_saving"):
        payback_years(100.0, 0.0)
