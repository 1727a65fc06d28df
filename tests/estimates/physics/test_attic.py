"""Behaviour of the attic functions."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.physics.attic import (
    SETTLEMENT,
    area_weighted_u,
    bags,
    bags_per_1000_ft2,
    coverage_row,
    coverage_row_for_r,
    initial_thickness_in,
    net_free_area_in2,
    settled_thickness_in,
    uneven_u,
    weight_lb_ft2,
)
from estimates.physics.validity import OutOfRange
from estimates.pricebook import CoverageRow


@dataclass(frozen=True)
class Line:
    r: float
    settled_in: float
    initial_in: float = 20.0
    bags_per_1000_ft2: float = 50.0
    lb_ft2: float = 1.0


TABLE = [Line(38, 10.6), Line(13, 3.7), Line(30, 8.4), Line(49, 13.7)]
positive_number = st.floats(0.05, 200)


@given(thickness=st.floats(3.7, 40), more=st.floats(0, 20))
def test_a_row_is_never_thicker_than_what_lies_there_and_more_never_gives_less(thickness, more):
    row = coverage_row(TABLE, thickness)
    assert row in TABLE
    assert row.settled_in <= thickness
    assert not [line for line in TABLE if row.settled_in < line.settled_in <= thickness]
    assert coverage_row(TABLE, thickness + more).r >= row.r


@given(r=st.floats(0.1, 49))
def test_the_row_to_buy_is_the_lowest_that_is_enough(r):
    row = coverage_row_for_r(TABLE, r)
    assert row.r >= r
    assert not [line for line in TABLE if r <= line.r < row.r]


def test_the_price_book_rows_are_coverage_lines():
    line = CoverageRow(r=30.0, settled_in=8.4, initial_in=9.6, bags_per_1000_ft2=44.5, lb_ft2=1.111)
    assert coverage_row([line], 9.0) is line


@given(area=st.floats(0, 20_000), per_1000=positive_number)
def test_bags_are_whole_enough_and_not_one_too_many(area, per_1000):
    n, exact = bags(area, per_1000), area * per_1000 / 1000
    assert n == int(n)
    assert exact - 2e-9 <= n < exact + 1


def test_binary_fractions_do_not_cost_a_bag():
    assert bags(100, 70.0) == 7
    assert bags(1000 * 0.1 * 3, 10.0) == 3  # 300.00000000000006 ft2
    assert bags(0, 70.0) == 0


@given(
    parts=st.lists(st.tuples(st.floats(0.1, 5000), st.floats(0.5, 80)), min_size=1, max_size=6), better=st.floats(0, 20)
)
def test_the_average_never_beats_the_mean_of_the_resistances_nor_the_best_part(parts, better):
    areas, rs = [a for a, _ in parts], [r for _, r in parts]
    u = area_weighted_u(areas, rs)
    assert 1 / max(rs) * (1 - 1e-12) <= u <= 1 / min(rs) * (1 + 1e-12)
    assert 1 / u <= np.average(rs, weights=areas) * (1 + 1e-9)
    assert area_weighted_u(areas, [rs[0] + better, *rs[1:]]) <= u * (1 + 1e-12)
    assert area_weighted_u([2 * a for a in areas], rs) == pytest.approx(u, rel=1e-9)


@given(depths=st.lists(st.floats(0, 30), min_size=1, max_size=10))
def test_uneven_fill_loses_at_least_what_fill_of_the_mean_depth_loses(depths):
    assert uneven_u(depths, 3.2, 1.6) >= uneven_u([float(np.mean(depths))], 3.2, 1.6) * (1 - 1e-9)


@given(settled=positive_number, s=st.floats(0, 0.5))
def test_what_is_blown_settles_back_to_what_was_wanted(settled, s):
    blown = initial_thickness_in(settled, s)
    assert blown >= settled
    assert blown * (1 - s) == pytest.approx(settled, rel=1e-12)


FUNCTIONS = {
    "bags": bags,
    "settled_thickness_in": settled_thickness_in,
    "initial_thickness_in": lambda a, b: initial_thickness_in(a, np.asarray(b) / 400),
    "weight_lb_ft2": weight_lb_ft2,
    "bags_per_1000_ft2": bags_per_1000_ft2,
    "net_free_area_in2": lambda a, b: net_free_area_in2(a),
    "area_weighted_u": lambda a, b: area_weighted_u([a, 1.0], [b, 2.0]),
}


@pytest.mark.parametrize("function", FUNCTIONS.values(), ids=FUNCTIONS)
@given(a=positive_number, b=positive_number)
def test_a_number_equals_the_element_of_an_array(function, a, b):
    alone = function(a, b)
    together = function(np.array([1.0, a]), np.array([2.0, b]))
    assert type(alone) is float
    assert together.shape == (2,)
    assert together[1] == pytest.approx(alone, rel=1e-12)


def test_settlement_ranges_contain_their_best_value():
    assert all(0 <= row.low <= row.best <= row.high < 0.5 for row in SETTLEMENT.values())


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: coverage_row(TABLE, 3.0), "settled_in is 3; enter 3.7 or more, the thinnest listed"),
        (lambda: coverage_row([], 3.0), "a coverage table with a line at least"),
        (lambda: coverage_row_for_r(TABLE, 50), "r is 50; enter 49 or less, the highest listed"),
        (lambda: coverage_row(TABLE, float("nan")), "settled_in is nan"),
        (lambda: bags(-1, 70), "area_ft2 is -1"),
        (lambda: bags([1, 2], [70, 0]), r"bags_per_1000_ft2\[1\] is 0"),
        (lambda: net_free_area_in2(1000, 200), "ratio is 200; enter 150, or 300"),
        (lambda: initial_thickness_in(5, 0.6), "settlement is 0.6; enter a number from 0 to 0.5"),
        (lambda: area_weighted_u([0, 0], [10, 20]), "sum of areas_ft2 is 0"),
        (lambda: area_weighted_u([1], [10, 20]), "number of rs is 2; enter one for each of 1 areas"),
        (lambda: uneven_u([], 3, 1), "number of depths_in is 0"),
        (lambda: uneven_u([3, -1], 3, 1), r"depths_in\[1\] is -1"),
    ],
)
def test_bad_input_is_named(call, message):
    with pytest.raises(OutOfRange, match=message):
        call()
