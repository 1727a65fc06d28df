import math
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimates.money import (
    LARGEST,
    MoneyError,
    format_money,
    from_cents,
    line_cents,
    round_half_up,
    share_cents,
    share_columns,
    to_cents,
)

quantities = st.integers(-(10**9), 10**9)
rates = st.integers(-(10**9), 10**9)


# D: exact arithmetic by hand. 10.5 x 4.25 = 44.625; 1 x 2.665 = 2.665; 0.5 x 0.01 = 0.005. Each is a tie.
@pytest.mark.parametrize(
    ("quantity", "rate", "cents"),
    [
        (10_500, 42_500, 4463),
        (1_000, 26_650, 267),
        (-1_000, 26_650, -267),
        (500, 100, 1),
        (-500, 100, -1),
        (499, 100, 0),
        (0, 10**9, 0),
    ],
)
def test_a_tie_goes_away_from_zero(quantity: int, rate: int, cents: int) -> None:
    assert line_cents(quantity, rate) == cents
    assert line_cents(np.array([quantity]), rate).tolist() == [cents]


# D: second method is the standard library's decimal arithmetic.
@given(quantities, rates)
def test_a_line_equals_the_decimal_library_rounding_half_up(quantity: int, rate: int) -> None:
    exact = Decimal(quantity) / 1000 * (Decimal(rate) / 10_000) * 100
    assert line_cents(quantity, rate) == int(exact.quantize(Decimal(1), rounding=ROUND_HALF_UP))


@given(st.lists(st.tuples(quantities, rates), min_size=1, max_size=20))
def test_a_batch_equals_its_lines_one_by_one(pairs: list[tuple[int, int]]) -> None:
    batch = line_cents(np.array([q for q, _ in pairs]), np.array([r for _, r in pairs]))
    assert batch.dtype == np.int64
    assert batch.tolist() == [line_cents(q, r) for q, r in pairs]


@given(st.integers(-LARGEST, LARGEST), st.integers(1, LARGEST))
def test_rounding_is_right_to_the_ends_of_int64(numerator: int, denominator: int) -> None:
    exact = Fraction(numerator, denominator)
    size = (abs(exact) + Fraction(1, 2)).__floor__()
    expected = -size if numerator < 0 else size
    assert round_half_up(numerator, denominator) == expected
    assert round_half_up(np.array([numerator]), denominator).tolist() == [expected]


@given(st.lists(st.integers(-LARGEST, LARGEST), max_size=12), st.integers(1, LARGEST) | st.integers(1, 12))
def test_a_column_is_rounded_as_each_of_its_numbers(column: list[int], denominator: int) -> None:
    # D: numbers are rounded by the integers of the language, columns in int64.
    given_column = np.array(column, dtype=np.int64)
    assert round_half_up(given_column, denominator).tolist() == [round_half_up(n, denominator) for n in column]
    assert given_column.tolist() == column, "the column given was changed"


def test_quantities_and_rates_broadcast() -> None:
    assert line_cents(np.array([[1_000], [2_000]]), np.array([10_000, 5_000])).tolist() == [[100, 50], [200, 100]]


@pytest.mark.parametrize("rate", [LARGEST, np.array([1, LARGEST])])
def test_a_product_beyond_int64_is_refused(rate: int | np.ndarray) -> None:
    with pytest.raises(MoneyError, match="quantity_thousandths times rate_ten_thousandths is beyond"):
        line_cents(2, rate)


def test_the_largest_product_is_still_served() -> None:
    assert line_cents(1, LARGEST) == line_cents(np.array([1]), LARGEST)[0] == 92233720368548


@pytest.mark.parametrize("value", [1.0, True, "1", Decimal(1), np.array([1.5]), np.array([True])])
def test_what_is_no_whole_number_is_refused_by_name(value: object) -> None:
    with pytest.raises(MoneyError, match=r"^quantity_thousandths .*Enter"):
        line_cents(value, 1)  # type: ignore[call-overload]


@pytest.mark.parametrize("value", [-(2**63), 2**63, np.array([-(2**63)]), np.array([2**63], dtype=np.uint64)])
def test_what_does_not_fit_a_column_is_refused(value: int | np.ndarray) -> None:
    with pytest.raises(MoneyError, match="beyond"):
        round_half_up(value, 10)


@pytest.mark.parametrize("denominator", [0, -1, 1.0, True])
def test_a_denominator_that_is_not_positive_is_refused(denominator: int) -> None:
    with pytest.raises(MoneyError, match="denominator"):
        round_half_up(5, denominator)


weights = st.lists(st.integers(0, 10**6) | st.decimals(0, 10**6, places=3) | st.floats(0, 1e6), min_size=1, max_size=12)


@given(st.integers(-(10**12), 10**12), weights.filter(lambda ws: sum(map(Fraction, ws)) > 0))
def test_shares_sum_exactly_and_stay_within_a_cent_of_their_part(total: int, ws: list[int | Decimal | float]) -> None:
    shares = share_cents(total, ws)
    whole = sum(map(Fraction, ws))
    assert sum(shares) == total
    assert all(abs(s - total * Fraction(w) / whole) < 1 for s, w in zip(shares, ws, strict=True))


def test_equal_remainders_are_served_from_the_first_on() -> None:
    assert share_cents(2, [1, 1, 1]) == [1, 1, 0]
    assert share_cents(-2, [1, 1, 1]) == [-1, -1, 0]


def test_nothing_shared_by_nothing_is_nothing() -> None:
    assert share_cents(0, [0, 0]) == [0, 0]
    assert share_cents(0, []) == []


@pytest.mark.parametrize(
    ("ws", "sentence"),
    [
        ([0, 0], "weights sum to 0"),
        ([], "weights sum to 0"),
        ([1, -1], r"weights\[1\] is -1"),
        ([float("nan")], r"weights\[0\] is nan"),
        ([1, float("inf")], r"weights\[1\] is inf"),
        ([Decimal("NaN")], r"weights\[0\]"),
        (["x"], r"weights\[0\] is 'x'"),
    ],
)
def test_weights_that_share_nothing_are_refused(ws: list[float], sentence: str) -> None:
    with pytest.raises(MoneyError, match=sentence):
        share_cents(10, ws)


odd_weights = st.sampled_from([0.0, 0.1, 0.2, 0.3, 0.7, 1.0, 2.0, 3.0, 1e-300, 1e300, 5e-324]) | st.floats(0, 1e6)
amounts = st.integers(-1_000, 1_000) | st.integers(-(10**9), 10**9) | st.integers(-LARGEST, LARGEST)
groups_of_rows = st.lists(st.tuples(amounts, st.lists(odd_weights, max_size=16)), max_size=6)


# D: second method is the sharing of one amount in exact fractions.
@settings(max_examples=400)
@given(groups_of_rows)
def test_columns_are_shared_as_each_amount_alone(rows: list[tuple[int, list[float]]]) -> None:
    rows = [(total if sum(ws) > 0 else 0, ws) for total, ws in rows]
    group = np.array([i for i, (_, ws) in enumerate(rows) for _ in ws], dtype=np.int64)
    totals = np.array([total for total, _ in rows], dtype=np.int64)
    shared = share_columns(totals, np.array([w for _, ws in rows for w in ws], dtype=np.float64), group)
    assert shared.tolist() == [cents for total, ws in rows for cents in share_cents(total, ws)]


def test_many_groups_of_one_size_are_shared_as_each_amount_alone() -> None:
    # D, as above: more groups than one block holds, equal and unequal weights, one group of another size in between.
    rng = np.random.default_rng(11)
    weights = np.where(rng.random((5_000, 4)) < 0.5, 2.5, rng.uniform(0.1, 9.0, (5_000, 4)))
    group, flat = np.repeat(np.arange(5_000), 4), weights.ravel()
    group, flat = np.delete(group, 8_001), np.delete(flat, 8_001)
    totals = rng.integers(0, 100_000, 5_000)
    shared = share_columns(totals, flat, group)
    for i in [0, 1, 1_999, 2_000, 2_001, 4_095, 4_096, 4_999, *rng.integers(0, 5_000, 200).tolist()]:
        assert shared[group == i].tolist() == share_cents(int(totals[i]), flat[group == i].tolist())


def test_equal_remainders_of_a_column_are_served_from_the_first_on() -> None:
    # D: by hand. 2 to three of weight 1; 1 to weights 1 and 3: 0.25 and 0.75; 2 to weights 10 and 30: 0.5 and 1.5.
    group = np.array([0, 0, 0, 1, 1, 2, 2])
    shared = share_columns(np.array([-2, 1, 2]), np.array([1, 1, 1, 1, 3, 10, 30]), group)
    assert shared.tolist() == [-1, -1, 0, 0, 1, 1, 1]


@pytest.mark.parametrize(
    ("totals", "ws", "group", "sentence"),
    [
        ([0, 5], [1.0, 0.0], [0, 1], "weights of group 1 sum to 0"),
        ([0, 5], [1.0], [0], "weights of group 1 sum to 0"),
        ([5], [1.0, -1.0], [0, 0], r"weights\[1\] is -1"),
        ([5], [1.0, math.nan], [0, 0], r"weights\[1\] is nan"),
        ([5], [math.inf], [0], r"weights\[0\] is inf"),
        ([5, 5], [1.0, 1.0], [1, 0], "group does not run from 0 to 1"),
        ([5], [1.0], [1], "group does not run from 0 to 0"),
        ([5], [1.0, 1.0], [0], "weights has 2 rows and group 1"),
        ([5.0], [1.0], [0], "totals holds float64"),
    ],
)
def test_columns_that_cannot_be_shared_are_refused(
    totals: list[int], ws: list[float], group: list[int], sentence: str
) -> None:
    with pytest.raises(MoneyError, match=sentence):
        share_columns(np.array(totals), np.array(ws), np.array(group))


@given(st.integers(-LARGEST, LARGEST))
def test_cents_and_dollars_are_two_forms_of_one_amount(cents: int) -> None:
    dollars = from_cents(cents)
    assert dollars.as_tuple().exponent == -2
    assert to_cents(dollars) == cents
    assert Decimal(format_money(cents).replace("$", "").replace(",", "")) == dollars


@pytest.mark.parametrize(
    "amount", [2.5, 3, "4.00", Decimal("2.665"), Decimal("NaN"), Decimal("Infinity"), Decimal("1e17")]
)
def test_an_amount_that_is_no_dollars_and_cents_is_refused(amount: Decimal) -> None:
    with pytest.raises(MoneyError, match="Enter"):
        to_cents(amount)


@pytest.mark.parametrize(
    ("cents", "text"),
    [
        (123450, "$1,234.50"),
        (-123450, "-$1,234.50"),
        (5, "$0.05"),
        (-5, "-$0.05"),
        (0, "$0.00"),
        (10**9, "$10,000,000.00"),
    ],
)
def test_money_is_written_one_way(cents: int, text: str) -> None:
    assert format_money(cents) == text
