"""One formula for a number and for a column: both answer alike."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.physics.assembly import wall_u
from estimates.physics.elementwise import any_over, greater, left_out, lesser, plain, root
from estimates.physics.validity import OutOfRange

numbers = st.floats(-1e12, 1e12)
WALL = {"series_r": 2.95, "cavity_r": 13.7, "framing_r": 4.375, "framing_fraction": 0.18}


@given(numbers, numbers)
def test_a_number_and_a_column_answer_alike_to_the_last_bit(one: float, other: float) -> None:
    # D: the standard library and numpy are two methods.
    column = np.array([one, one])
    assert lesser(one, other) == min(one, other)
    assert greater(one, other) == max(one, other)
    assert np.array_equal(lesser(column, other), [min(one, other)] * 2)
    assert np.array_equal(greater(one, np.array([other, other])), [max(one, other)] * 2)
    assert root(abs(one)) == math.sqrt(abs(one)) == root(abs(column))[0]
    assert any_over(one, other) == any_over(column, other) == (one > other)


def test_a_number_in_is_a_number_out() -> None:
    assert type(lesser(1.0, 2.0)) is type(greater(1.0, 2.0)) is type(root(4.0)) is float
    assert type(plain(np.float64(1.0))) is type(plain(np.array(1.0))) is float
    answer = wall_u(**WALL, void_fraction=0.02)
    assert {type(answer.u), type(answer.framing_fraction), type(answer.cavity_u)} == {float}


def test_nothing_is_over_a_limit_in_an_empty_column() -> None:
    assert not any_over(np.zeros(0), -1.0)


def test_only_the_number_0_beside_numbers_falls_away() -> None:
    assert left_out(0.0)
    assert not left_out(1e-300)
    assert not left_out(np.zeros(2))
    assert not left_out(0.0, np.zeros(2))


@pytest.mark.parametrize("share", ["covered_share", "void_fraction", "unfilled_fraction"])
def test_a_share_of_0_left_out_or_worked_out_gives_the_same_wall(share: str) -> None:
    # D: 0 a + (1 - 0) b = b for finite numbers; the column of zeros goes through every step.
    number, column = wall_u(**WALL, **{share: 0.0}), wall_u(**WALL, **{share: np.zeros(3)})
    assert np.array_equal(column.u, np.full(3, number.u))
    assert number.u == wall_u(**WALL).u


@pytest.mark.parametrize(("share", "beside"), [("covered_share", "covered_r"), ("void_fraction", "empty_r")])
def test_what_falls_away_still_gives_the_answer_its_shape(share: str, beside: str) -> None:
    assert np.shape(wall_u(**WALL, **{share: 0.0, beside: np.array([0.91, 1.0])}).u) == (2,)


@pytest.mark.parametrize("framing", [0.1, 0.2, 0.3, 0.7, 0.8, 0.9])
def test_framing_and_zones_may_fill_the_wall_to_the_last_bit_but_not_beyond(framing: float) -> None:
    # D: U of such a wall is that of its framing and of its empty zones.
    zones = 1.0 - framing
    wanted = framing / (2.95 + 4.375) + zones / (2.95 + 0.91)
    assert wall_u(**{**WALL, "framing_fraction": framing}, unfilled_fraction=zones).u == pytest.approx(
        wanted, rel=1e-12
    )
    with pytest.raises(OutOfRange, match="1 - framing_fraction - unfilled_fraction"):
        wall_u(**{**WALL, "framing_fraction": framing}, unfilled_fraction=min(1.0, zones + 1e-9))
