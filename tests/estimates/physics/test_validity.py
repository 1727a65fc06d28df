"""The checks at the door of the physics functions."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.physics.validity import LEAST_ABOVE_0, OutOfRange, finite, not_negative, positive, within

CHECKS = {
    "finite": finite,
    "positive": positive,
    "not_negative": not_negative,
    "within": lambda name, value: within(name, value, -2.0, 3.0),
}


@pytest.mark.parametrize("check", CHECKS.values(), ids=CHECKS)
@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, "twelve", None, [1.0, math.nan], [[1.0], [2.0, 3.0]]])
def test_what_is_not_a_finite_number_is_refused_by_name(check, bad):
    with pytest.raises(OutOfRange, match=r"^depth_in.* enter a "):
        check("depth_in", bad)


@pytest.mark.parametrize("check", CHECKS.values(), ids=CHECKS)
@given(value=st.floats(allow_nan=True, allow_infinity=True))
def test_a_number_and_the_same_number_in_an_array_are_judged_alike(check, value):
    def outcome(given_value):
        try:
            return float(np.ravel(check("x", given_value))[0])
        except OutOfRange:
            return "refused"

    assert outcome(value) == outcome([value]) == outcome(np.float64(value)) == outcome(np.array(value))


def test_a_number_comes_back_as_float_and_a_list_as_array():
    assert type(positive("x", 3)) is float
    assert type(positive("x", np.float64(3))) is float
    answer = positive("x", [[1, 2], [3, 4]])
    assert isinstance(answer, np.ndarray)
    assert answer.dtype == np.float64
    assert answer.shape == (2, 2)


def test_zero_is_not_positive_but_not_negative():
    assert not_negative("x", 0.0) == 0.0
    with pytest.raises(OutOfRange, match="x is 0; enter a number above 0"):
        positive("x", 0.0)


def test_the_message_names_the_first_bad_element():
    with pytest.raises(OutOfRange, match=r"x\[1, 0\] is -5; enter a number from -2 to 3") as caught:
        within("x", [[1.0, 2.0], [-5.0, -6.0]], -2, 3)
    assert caught.value.where == (1, 0)


def test_the_limits_themselves_are_allowed():
    assert within("x", -2.0, -2, 3) == -2.0
    assert within("x", [3.0], -2, 3).tolist() == [3.0]


def test_a_low_limit_of_0_may_be_left_out_itself():
    # D: the smallest number above 0 is the lowest that is allowed.
    assert within("x", LEAST_ABOVE_0, LEAST_ABOVE_0, 6) == LEAST_ABOVE_0
    for none in (0.0, [0.0], np.array([1.0, 0.0])):
        with pytest.raises(OutOfRange, match=r"x.* is 0; enter a number above 0, at most 6"):
            within("x", none, LEAST_ABOVE_0, 6)


def test_a_whole_number_beyond_every_float_is_refused_by_name():
    with pytest.raises(OutOfRange, match="bags is 1000"):
        not_negative("bags", 10**400)
    with pytest.raises(OutOfRange, match="bags is"):
        not_negative("bags", [10**400])


def test_an_empty_column_holds_nothing_bad():
    assert positive("x", np.zeros(0)).shape == (0,)
