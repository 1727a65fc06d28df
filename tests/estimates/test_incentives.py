"""Incentives: what programmes give, in which order, under which caps, and never more than the cost.

The programmes of the demo are invented; sums are D, by hand in cents.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.house import Measure
from estimates.incentives import Household, Incentives, MeasureCost, Payee, incentives, programmes
from estimates.records import BadRecord
from estimates.rules import BadRule, RuleRow, load_rules, places_of

ROWS = load_rules()
PLACES = places_of("NY", "Fernmoor")
DAY = date(2026, 6, 1)
WALLS = MeasureCost(Measure.WALL_INJECTION, 800_000, 200_000, 1_000.0)
ATTIC = MeasureCost(Measure.ATTIC_TOP_UP, 300_000, 120_000, 900.0)
AIR = MeasureCost(Measure.AIR_SEALING, 100_000, 20_000, 12.0)


def row(name: str = "a", **value: Any) -> RuleRow:
    table = {
        "name": name,
        "measures": ["wall_injection"],
        "basis": "share_of_price",
        "order": 1,
        "payee": "firm",
        "timing": "on the invoice",
    } | value
    if table["basis"].startswith("share") and "share" not in table:
        table["share"] = 0.5
    return RuleRow("US", f"incentive.{name}", date(2026, 1, 1), None, table, "Invented", "Invented", date(2026, 11, 25))


def found(*rows: RuleRow, costs: tuple[MeasureCost, ...] = (WALLS, ATTIC, AIR), **people: Any) -> Incentives:
    return incentives(rows, ("US",), costs, placed_in_service=DAY, household=Household(**people))


class TestFederalCredit:
    # S: ended for property placed in service after 2025-12-31; 30 percent, at most $1,200 a year (26 USC 25C).
    def test_a_job_of_2026_shows_none(self) -> None:
        result = incentives(ROWS, PLACES, [WALLS, ATTIC, AIR], placed_in_service=date(2026, 1, 1))
        assert "federal-insulation-credit" not in [item.programme.id for item in result.given]
        assert "federal-insulation-credit" not in [name for name, _ in result.refused]

    def test_a_job_of_2025_shows_thirty_percent_of_material_up_to_its_cap(self) -> None:
        (small,) = incentives(ROWS, ("US",), [ATTIC], placed_in_service=date(2025, 12, 31)).given
        assert (small.cents, small.caps) == (36_000, ())
        (large,) = incentives(
            ROWS, ("US",), [replace(WALLS, material_cents=500_000)], placed_in_service=date(2025, 12, 31)
        ).given
        assert large.cents == 120_000
        assert large.caps == ("cap for a household: $1,500.00 lowered to $1,200.00",)


class TestDemoProgrammes:
    def test_low_income_household(self) -> None:
        result = incentives(
            ROWS, PLACES, [WALLS, ATTIC, AIR], placed_in_service=DAY, household=Household(income_share=0.8)
        )
        # D: air sealing half of $1,000 = $500. Then 70 % of $8,000 = $5,600 capped at $4,000, of $3,000 = $2,100,
        # of the $500 left = $350: $6,450 capped at $6,000. The wall rebate is of the same group.
        assert [(item.programme.id, item.cents) for item in result.given] == [
            ("fernmoor-air-sealing", 50_000),
            ("fernmoor-income", 600_000),
        ]
        assert result.given[1].caps == (
            "cap for wall_injection: $5,600.00 lowered to $4,000.00",
            "cap for a job: $6,450.00 lowered to $6,000.00",
        )
        assert result.refused == (("fernmoor-walls", "not together with fernmoor-income"),)
        assert result.total_cents == 650_000
        assert result.net_cents == 550_000
        assert result.on_invoice_cents == 650_000
        assert result.taxable_cents == 550_000
        assert "approval before work begins" in result.given[1].needs
        assert "Not legal or tax advice" in result.caution

    @pytest.mark.parametrize(
        ("income", "why"), [(0.81, "81% of the median is outside its band"), (None, "income is not recorded; ask")]
    )
    def test_other_households_get_the_wall_rebate(self, income: float | None, why: str) -> None:
        result = incentives(ROWS, PLACES, [WALLS], placed_in_service=DAY, household=Household(income_share=income))
        (rebate,) = result.given
        # D: 1,000 ft2 at $1.25.
        assert (rebate.programme.id, rebate.cents, rebate.programme.terms.payee) == (
            "fernmoor-walls",
            125_000,
            Payee.HOMEOWNER,
        )
        assert any(why in reason for _, reason in result.refused)
        assert (result.on_invoice_cents, result.taxable_cents) == (0, 800_000)

    def test_documents_and_approval_in_hand_leave_nothing_open(self) -> None:
        people = Household(
            0.5, {}, frozenset({"fernmoor-income"}), frozenset({"proof of income", "approval letter", "final invoice"})
        )
        result = incentives(ROWS, PLACES, [WALLS], placed_in_service=DAY, household=people)
        assert result.given[0].needs == ()

    def test_another_county_gets_none_of_them(self) -> None:
        assert incentives(ROWS, places_of("NY"), [WALLS], placed_in_service=DAY).given == ()


class TestCaps:
    def test_every_basis(self) -> None:
        # D: half of $8,000; half of $2,000 of material; 1,000 ft2 at 33 cents; flat sums.
        assert found(row()).total_cents == 400_000
        assert found(row(basis="share_of_material")).total_cents == 100_000
        assert found(row(basis="per_unit", cents_per_unit=33)).total_cents == 33_000
        both = ["wall_injection", "attic_top_up"]
        assert found(row(basis="flat_measure", flat_cents=5_000, measures=both)).total_cents == 10_000
        flat = found(row(basis="flat_job", flat_cents=5_000, measures=both))
        assert flat.total_cents == 5_000
        assert sum(flat.given[0].by_measure.values()) == 5_000

    def test_share_of_the_price_and_what_a_household_had_before(self) -> None:
        (item,) = found(row(cap_share=0.4, cap_household_cents=400_000), used_cents={"a": 100_000}).given
        assert item.cents == 300_000
        assert item.caps == (
            "cap of 40% of the price: $4,000.00 lowered to $3,200.00",
            "cap for a household: $3,200.00 lowered to $3,000.00",
        )

    def test_a_cap_that_lowers_nothing_is_not_listed(self) -> None:
        (item,) = found(row(cap_job_cents=400_000, cap_measure_cents=400_000, cap_share=0.5)).given
        assert (item.cents, item.caps) == (400_000, ())

    def test_amounts_are_rounded_down(self) -> None:
        # D: 0.07 of $1.01 is 7.07 cents; binary 0.07 x 100 would be a hair over 7.
        assert found(row(share=0.07), costs=(replace(WALLS, price_cents=100, material_cents=0),)).total_cents == 7
        assert found(row(share=0.07), costs=(replace(WALLS, price_cents=101, material_cents=0),)).total_cents == 7
        assert found(row(share=0.29), costs=(replace(WALLS, price_cents=100, material_cents=0),)).total_cents == 29

    def test_a_later_programme_gets_what_is_left_and_no_more(self) -> None:
        first, second = row("a", share=0.9), row("b", share=0.9, order=2)
        result = found(first, second, costs=(WALLS,))
        assert [item.cents for item in result.given] == [720_000, 80_000]
        assert result.given[1].caps == ("price left of wall_injection: $7,200.00 lowered to $800.00",)
        assert result.net_cents == 0
        third = found(first, second, row("c", order=3), costs=(WALLS,))
        assert third.refused[0][0] == "c"
        assert "nothing is left" in third.refused[0][1]

    def test_a_share_after_earlier_incentives_is_of_the_rest(self) -> None:
        rows = row("a"), row("b", order=2, after_earlier=True)
        assert [item.cents for item in found(*rows).given] == [400_000, 200_000]

    def test_the_order_is_that_of_the_rows_not_of_the_list(self) -> None:
        rows = row("a", order=2, share=0.8), row("b", order=1, share=0.8)
        assert [item.programme.id for item in found(*rows).given] == ["b", "a"]
        assert found(*rows).given == found(*rows[::-1]).given

    def test_a_programme_that_gives_nothing_does_not_shut_out_its_group(self) -> None:
        first = row("a", exclusive_group="g", cap_household_cents=100)
        second = row("b", order=2, exclusive_group="g")
        assert [item.programme.id for item in found(first, second, used_cents={"a": 100}).given] == ["b"]


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"measures": []}, "measures"),
        ({"measures": ["walls"]}, "measures"),
        ({"documents": [1]}, "documents"),
        ({"basis": "per_unit"}, "cents_per_unit"),
        ({"flat_cents": 100}, "flat_cents"),
        ({"income_low": 0.9, "income_high": 0.8}, "income_high"),
        ({"share": 1.5}, "share"),
        ({"payee": "bank"}, "payee"),
        ({"percent": 30}, "percent"),
    ],
)
def test_faults_of_a_programme_row_are_named(change: dict[str, Any], path: str) -> None:
    with pytest.raises(BadRecord) as caught:
        programmes([row(**change)], ("US",), DAY)
    assert f"US incentive.a.{path}" in [fault.path for fault in caught.value.faults]


def test_a_field_that_does_not_fit_its_basis_says_whether_to_enter_or_drop_it() -> None:
    with pytest.raises(BadRecord) as caught:
        programmes([row(basis="per_unit", flat_cents=100)], ("US",), DAY)
    asked = {fault.path.rpartition(".")[2]: fault.message.rpartition("; ")[2] for fault in caught.value.faults}
    assert asked == {"cents_per_unit": "enter it", "flat_cents": "leave it out"}


def test_both_ends_of_an_income_band_are_inside_it() -> None:
    band = row(income_low=0.5, income_high=0.8)
    for income, inside in ((0.49, False), (0.5, True), (0.8, True), (0.81, False)):
        assert bool(found(band, income_share=income).given) is inside
    assert found(row(income_low=0.5, income_high=0.5), income_share=0.5, used_cents={"a": 0}).given


def test_bad_costs_and_people_are_refused_by_name() -> None:
    with pytest.raises(BadRecord, match="enter a table"):
        programmes([replace(row(), value=3)], ("US",), DAY)
    with pytest.raises(BadRule, match="wall_injection twice"):
        found(costs=(WALLS, WALLS))
    for bad in ({"material_cents": 800_001}, {"material_cents": -1}, {"quantity": float("nan")}, {"quantity": -1.0}):
        with pytest.raises(BadRule, match="wall_injection"):
            found(costs=(replace(WALLS, **bad),))
    with pytest.raises(BadRule, match="income_share"):
        found(income_share=float("nan"))
    with pytest.raises(BadRule, match="used_cents of a"):
        found(used_cents={"a": -1})


TERMS = st.fixed_dictionaries(
    {
        "basis": st.sampled_from(["share_of_price", "share_of_material", "per_unit", "flat_measure", "flat_job"]),
        "measures": st.lists(st.sampled_from([m.value for m in Measure]), min_size=1, max_size=3, unique=True),
        "order": st.integers(0, 5),
        "after_earlier": st.booleans(),
        "exclusive_group": st.sampled_from(["", "", "g", "h"]),
    },
    optional={
        "cap_measure_cents": st.integers(0, 500_000),
        "cap_job_cents": st.integers(0, 500_000),
        "cap_household_cents": st.integers(0, 500_000),
        "cap_share": st.sampled_from([0.0, 0.1, 1 / 3, 0.5, 1.0]),
    },
)
AMOUNTS = {
    "share_of_price": {"share": 0.37},
    "share_of_material": {"share": 1.0},
    "per_unit": {"cents_per_unit": 333},
    "flat_measure": {"flat_cents": 70_001},
    "flat_job": {"flat_cents": 99_999},
}
COSTS = st.lists(
    st.builds(
        MeasureCost,
        measure=st.sampled_from(list(Measure)),
        price_cents=st.integers(0, 2_000_000),
        material_cents=st.just(0),
        quantity=st.floats(0, 5_000),
    ),
    min_size=1,
    max_size=3,
    unique_by=lambda cost: cost.measure,
)


@given(st.lists(TERMS, max_size=6), COSTS, st.integers(0, 100))
def test_never_above_cost_in_order_and_one_of_a_group(
    terms: list[dict[str, Any]], costs: list[MeasureCost], share: int
) -> None:
    costs = [replace(cost, material_cents=cost.price_cents * share // 100) for cost in costs]
    rows = [row(f"p{n}", **table, **AMOUNTS[table["basis"]]) for n, table in enumerate(terms)]
    result = incentives(rows, ("US",), costs, placed_in_service=DAY)
    price = {cost.measure: cost.price_cents for cost in costs}
    for measure, cents in price.items():
        assert 0 <= sum(item.by_measure.get(measure, 0) for item in result.given) <= cents
    assert 0 <= result.net_cents <= sum(price.values())
    for item in result.given:
        assert item.cents == sum(item.by_measure.values()) > 0
        assert all(cents >= 0 for cents in item.by_measure.values())
        limits = item.programme.terms
        for most in (limits.cap_job_cents, limits.cap_household_cents):
            assert most is None or item.cents <= most
        if limits.cap_measure_cents is not None:
            assert all(cents <= limits.cap_measure_cents for cents in item.by_measure.values())
    orders = [item.programme.terms.order for item in result.given]
    assert orders == sorted(orders)
    groups = [item.programme.terms.exclusive_group for item in result.given if item.programme.terms.exclusive_group]
    assert len(groups) == len(set(groups))
    assert len(result.given) + len(result.refused) == len(rows)
