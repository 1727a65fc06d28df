"""Price of a house: the arithmetic identities of margin, and one wall by hand to the cent."""

from __future__ import annotations

from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.cost_columns import best_rates, parts, price_columns
from estimates.house import WHOLE_SCOPE, OptionRecord, QuickWallRecord, WallRecord
from estimates.pricebook import PriceBook, load_book
from estimates.pricing import PARTS, PriceRefused, price_cents, price_option
from estimates.quantities import quantities
from estimates.takeoff import Takeoff, quick_take_off, wall_take_off


@pytest.fixture(scope="module")
def book() -> PriceBook:
    return load_book("standard")


def counted(book: PriceBook, *walls: WallRecord) -> Takeoff:
    return Takeoff(tuple(wall_take_off(wall, book, year_built=1960) for wall in walls), (), ())


def wall(name: str = "n", length_ft: float = 24.0) -> WallRecord:
    return WallRecord(id=name, name=name, length_ft=length_ft, height_ft=97.125 / 12)


@pytest.mark.parametrize(("margin", "markup"), [(3500, "53.85"), (4000, "66.67"), (4500, "81.82"), (5000, "100.00")])
def test_margin_and_markup_of_rule_p1(margin: int, markup: str) -> None:
    # Arithmetic identity markup = m / (1 - m), printed to 0.01 %.
    cost = 10_000_000
    found = (Decimal(int(price_cents(cost, margin))) / cost - 1) * 100
    assert found.quantize(Decimal("0.01"), ROUND_HALF_UP) == Decimal(markup)


def test_shares_that_leave_nothing_are_refused() -> None:
    with pytest.raises(PriceRefused, match="leave nothing"):
        price_cents(100, 9_000, 1_000)
    with pytest.raises(PriceRefused, match="at least 0"):
        price_cents(100, -1)


@given(st.lists(st.integers(0, 10**9), min_size=1, max_size=30), st.integers(0, 8_000), st.integers(0, 1_500))
def test_price_agrees_with_decimal_arithmetic_and_scalar_equals_column(costs: list[int], m: int, s: int) -> None:
    # Independent method: decimal.ROUND_HALF_UP of the standard library.
    column = price_cents(np.array(costs, dtype=np.int64), m, s)
    rest = Decimal(10_000 - m - s) / 10_000
    for cost, found in zip(costs, np.asarray(column), strict=True):
        expected = (Decimal(cost) / rest).quantize(Decimal(1), ROUND_HALF_UP)
        assert int(found) == int(price_cents(cost, m, s)) == int(expected)


def test_one_wall_by_hand_to_the_cent(book: PriceBook) -> None:
    # D, by hand with the demo book: 24 ft plain wall, all amounts in cents.
    priced = price_option(counted(book, wall()), WHOLE_SCOPE, book)
    line = next(line for line in priced.lines if line.code == "wall")
    net = 24 * 97.125 / 12
    cavity = (13.75 + 16 * 14.5 + 13.75) * 92.625 * 3.5 / 1728
    mixes = cavity * 1.07 / 24
    assert priced.mixes_bought == 3
    assert 2 < mixes <= 3
    holes = 18 * 3
    hours = Decimal(repr(net / 800 * 24 + 0.75)).quantize(Decimal("0.001"), ROUND_HALF_UP)
    material = 3 * 9600 + holes * 35
    labour = int((hours * 5800).quantize(Decimal(1), ROUND_HALF_UP))
    contingency = int((Decimal(material + labour) * Decimal("0.04")).quantize(Decimal(1), ROUND_HALF_UP))
    cost = material + labour + contingency
    assert line.cost == dict.fromkeys(PARTS, 0) | {"material": material, "labour": labour, "contingency": contingency}
    assert line.price_cents == int((Decimal(cost) / Decimal("0.53")).quantize(Decimal(1), ROUND_HALF_UP))


def test_lines_sum_to_the_price_and_the_margin_is_the_target(book: PriceBook) -> None:
    priced = price_option(counted(book, wall(), wall("s"), wall("e", 31.0)), WHOLE_SCOPE, book)
    assert priced.price_cents == sum(line.price_cents for line in priced.lines)
    assert priced.cost_cents == sum(line.cost_cents for line in priced.lines)
    # Rounding of some ten lines moves it by a few cents only.
    assert priced.margin == pytest.approx(0.42, abs=2e-5)
    assert priced.margin_before_shares == pytest.approx(0.47, abs=2e-5)
    assert not priced.below_floor


def test_whole_mixes_are_rounded_once_for_the_option_and_shared_to_the_cent(book: PriceBook) -> None:
    walls = [wall(f"w{i}", 9.0 + i * 0.37) for i in range(7)]
    takeoff = counted(book, *walls)
    priced = price_option(takeoff, WHOLE_SCOPE, book)
    unrounded = sum(w.mixes for w in takeoff.walls)
    assert unrounded <= priced.mixes_bought < unrounded + 1
    plugs = sum(w.plugs for w in takeoff.walls)
    foam = sum(line.cost["material"] for line in priced.lines if line.code == "wall") - plugs * 35
    assert foam == priced.mixes_bought * 9600


def test_option_prices_do_not_add_because_each_is_rounded_alone(book: PriceBook) -> None:
    takeoff = counted(book, wall("a", 10.0), wall("b", 10.0))
    parts = [
        price_option(takeoff.chosen(option), option, book)
        for option in (OptionRecord(id="a", name="A", wall_ids=("a",)), OptionRecord(id="b", name="B", wall_ids=("b",)))
    ]
    whole = price_option(takeoff, WHOLE_SCOPE, book)
    assert whole.mixes_bought <= sum(part.mixes_bought for part in parts)
    assert whole.price_cents < sum(part.price_cents for part in parts)


def test_a_started_half_day_is_paid_in_full(book: PriceBook) -> None:
    priced = price_option(counted(book, wall()), WHOLE_SCOPE, book)
    assert priced.crew_days * 2 == int(priced.crew_days * 2)
    hours = sum(line.hours for line in priced.lines)
    assert hours == pytest.approx(priced.crew_days * 3 * 8)


def test_the_minimum_charge_lifts_a_small_job(book: PriceBook) -> None:
    rates = tuple(replace(rate, best=20_000.0) if rate.id == "minimum_charge" else rate for rate in book.rates)
    dear = replace(book, rates=rates)
    priced = price_option(counted(dear, wall()), WHOLE_SCOPE, dear)
    assert priced.price_cents == 20_000_00
    assert priced.lines[-1].code == "minimum"


def test_a_wall_that_is_stopped_is_not_priced_and_says_why(book: PriceBook) -> None:
    from estimates.house import Framing

    stopped = replace(wall(), framing=Framing.BALLOON)
    priced = price_option(counted(book, stopped), WHOLE_SCOPE, book)
    assert priced.lines == ()
    assert priced.price_cents == 0
    assert "escape path" in priced.warnings[0]


def test_the_range_of_cost_holds_the_best_cost_and_quick_walls_widen_it(book: PriceBook) -> None:
    measured = price_option(counted(book, wall(length_ft=60.0)), WHOLE_SCOPE, book)
    spread = measured.cost_range
    assert spread.p10 < measured.cost_cents < spread.p90
    assert measured.margin_range.p10 < measured.margin < measured.margin_range.p90
    quick = QuickWallRecord(id="q", name="Q", perimeter_ft=60.0, storeys=1, storey_height_ft=97.125 / 12)
    by_figures = price_option(Takeoff((quick_take_off(quick, book),), (), ()), WHOLE_SCOPE, book).cost_range
    assert (by_figures.p90 - by_figures.p10) / by_figures.p50 > 1.02 * (spread.p90 - spread.p10) / spread.p50


def test_a_thousand_options_at_once_cost_what_each_costs_alone(book: PriceBook) -> None:
    takeoff = counted(book, wall("a", 10.0), wall("b", 21.0), wall("c", 33.3))
    ids = [("a",), ("b",), ("a", "c"), ("a", "b", "c")]
    options = [OptionRecord(id=f"o{i}", name="O", wall_ids=ids[i % len(ids)]) for i in range(1000)]
    many = price_columns(quantities([(takeoff, option) for option in options]), best_rates(book))
    costs, prices = many.cost, many.price
    for i, option in enumerate(options[: len(ids)]):
        alone = price_option(takeoff, option, book)
        assert set(costs[i :: len(ids)]) == {alone.cost_cents}
        assert set(prices[i :: len(ids)]) == {alone.price_cents}


def test_parts_of_a_unit_mean_what_was_written() -> None:
    # Independent method: decimal.ROUND_HALF_UP on the written number.
    for written in ("1.0005", "10.5", "4.25", "0.0005", "2.6655", "1234.5675"):
        expected = int((Decimal(written) * 1000).quantize(Decimal(1), ROUND_HALF_UP))
        assert int(parts(float(written), 1000)) == expected
