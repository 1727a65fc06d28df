"""What must hold before a proposal or contract goes out: floor, age of prices, deposit, schedule, clauses."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.contract import (
    CLAUSES,
    DEPOSIT_CAP,
    SCHEDULE,
    Due,
    FloorRelease,
    PaymentStep,
    clause_faults,
    deposit_cap,
    floor_faults,
    required_clauses,
    schedule_faults,
    stale_prices,
)
from estimates.house import OptionRecord
from estimates.physics.uncertainty import Percentiles
from estimates.pricing import Line, PricedOption
from estimates.rules import BadRule, load_rules, places_of

ROWS = load_rules()
DAY = date(2026, 3, 2)
CA, MD, NY = places_of("CA"), places_of("MD"), places_of("NY")


def option(price: int, cost: int = 6_000, floor: float = 0.35) -> PricedOption:
    line = Line("wall", None, "n", "North", 1.0, "ft2", 1.0, {"material": cost}, price)
    flat = Percentiles(0.0, 0.0, 0.0)
    record = OptionRecord(id="walls", name="Walls")
    return PricedOption(
        option=record,
        lines=(line,),
        mixes_bought=1,
        bags_bought=0,
        crew_days=1.0,
        shares_cents={"commission": 0},
        overhead_cents=0,
        lead_safe=(),
        target_margin=0.42,
        floor_margin=floor,
        cost_range=flat,
        margin_range=flat,
        warnings=(),
    )


class TestFloor:
    RELEASE = FloorRelease("walls", True, "the owner", "a neighbour of three jobs", 0.30)

    def test_a_margin_below_the_floor_cannot_be_sent(self) -> None:
        (fault,) = floor_faults([option(9_000)], [])
        assert (fault.path, "33.3% is below the floor of 35.0%" in fault.message) == ("options.walls", True)

    def test_the_floor_itself_can(self) -> None:
        # D: 6,500 of 10,000 cents is a margin of exactly 35 %.
        assert floor_faults([option(10_000, 6_500)], []) == ()
        assert floor_faults([option(10_000, 6_501)], []) != ()

    def test_the_owner_releases_it_with_a_reason_down_to_a_margin(self) -> None:
        assert floor_faults([option(9_000)], [self.RELEASE]) == ()
        assert floor_faults([option(8_500)], [self.RELEASE]) != ()

    @pytest.mark.parametrize(
        "change", [{"by_owner": False}, {"reason": " "}, {"by": ""}, {"option_id": "attic"}, {"least_margin": 0.34}]
    )
    def test_a_release_that_lacks_something_releases_nothing(self, change: dict[str, object]) -> None:
        assert floor_faults([option(9_000)], [replace(self.RELEASE, **change)]) != ()


class TestAge:
    def test_a_price_warns_the_day_after_its_last_good_day(self) -> None:
        dated = {"foam": date(2026, 1, 1)}
        assert stale_prices(dated, on=date(2026, 4, 1), days=90) == ()
        assert len(stale_prices(dated, on=date(2026, 4, 2), days=90)) == 1

    def test_the_oldest_comes_first_and_a_price_of_tomorrow_is_named(self) -> None:
        dated = {"b": date(2025, 1, 1), "a": date(2024, 1, 1), "c": date(2026, 3, 3)}
        found = stale_prices(dated, on=DAY, days=30)
        assert [line[0] for line in found] == ["a", "b", "c"]
        assert "holds only from 2026-03-03" in found[2]

    def test_a_negative_age_is_refused(self) -> None:
        with pytest.raises(BadRule, match="days is -1"):
            stale_prices({}, on=DAY, days=-1)


class TestDeposit:
    @pytest.mark.parametrize(
        ("places", "price", "cap"),
        [
            # S: 10 percent or $1,000, whichever is less.
            (CA, 999_900, 99_990),
            (CA, 1_000_000, 100_000),
            (CA, 5_000_000, 100_000),
            # S: one third, rounded down to the cent.
            (MD, 1_000_000, 333_333),
            (MD, 2, 0),
            # S: no cap, but a trust account.
            (NY, 1_000_000, None),
        ],
    )
    def test_the_cap_of_a_state(self, places: tuple[str, ...], price: int, cap: int | None) -> None:
        assert deposit_cap(ROWS, places, price_cents=price, on=DAY).cents == cap

    def test_a_deposit_over_the_cap_is_refused_with_the_rule_quoted(self) -> None:
        steps = [PaymentStep("Deposit", Due.SIGNING, 100_001), PaymentStep("Rest", Due.COMPLETION, 899_999)]
        (fault,) = schedule_faults(ROWS, CA, steps, price_cents=1_000_000, on=DAY)
        for part in ("$1,000.01 at signing is more than $1,000.00", "whichever is less", "7159", "Not legal"):
            assert part in fault.message
        good = [replace(steps[0], cents=100_000), replace(steps[1], cents=900_000)]
        assert schedule_faults(ROWS, CA, good, price_cents=1_000_000, on=DAY) == ()

    def test_two_payments_at_signing_are_one_deposit(self) -> None:
        steps = [
            PaymentStep("A", Due.SIGNING, 60_000),
            PaymentStep("B", Due.SIGNING, 60_000),
            PaymentStep("C", Due.COMPLETION, 880_000),
        ]
        assert len(schedule_faults(ROWS, CA, steps, price_cents=1_000_000, on=DAY)) == 1

    def test_the_strictest_row_of_all_places_counts(self) -> None:
        row = next(row for row in ROWS if row.topic == DEPOSIT_CAP and row.jurisdiction == "US-MD")
        town = replace(row, jurisdiction="US-MD/town", value={"share": "1/4", "from_price_cents": 500_000})
        places = (*MD, "US-MD/town")
        assert deposit_cap([*ROWS, town], places, price_cents=1_000_000, on=DAY).rule == town
        assert deposit_cap([*ROWS, town], places, price_cents=499_999, on=DAY).rule == row

    def test_rows_that_say_nothing_are_refused(self) -> None:
        row = next(row for row in ROWS if row.topic == DEPOSIT_CAP)
        for bad in ({}, {"share": "x"}, {"percent": 10}, 0.1):
            with pytest.raises(BadRule, match=r"contract\.deposit_cap"):
                deposit_cap([replace(row, value=bad)], (row.jurisdiction,), price_cents=100, on=DAY)
        with pytest.raises(BadRule, match="price_cents is -1"):
            deposit_cap(ROWS, CA, price_cents=-1, on=DAY)

    @given(st.integers(0, 10**10))
    def test_a_cap_never_passes_the_share_nor_the_price(self, price: int) -> None:
        cap = deposit_cap(ROWS, MD, price_cents=price, on=DAY).cents
        assert cap is not None
        assert 0 <= cap <= Fraction(price, 3) < cap + 1


class TestSchedule:
    def steps(self, progress: int, earned: int) -> list[PaymentStep]:
        return [
            PaymentStep("Deposit", Due.SIGNING, 100_000),
            PaymentStep("Walls filled", Due.PROGRESS, progress, earned),
            PaymentStep("Rest", Due.COMPLETION, 900_000 - progress),
        ]

    def test_progress_payments_never_exceed_work_done_and_material(self) -> None:
        good = self.steps(400_000, 500_000)
        assert schedule_faults(ROWS, NY, good, price_cents=1_000_000, on=DAY) == ()
        (fault,) = schedule_faults(ROWS, NY, self.steps(400_001, 500_000), price_cents=1_000_000, on=DAY)
        assert fault.path == "steps[1].cents"
        assert "$5,000.01 paid by then, $5,000.00 earned; enter at most $4,000.00." in fault.message
        assert "reasonable relationship" in fault.message

    def test_where_no_row_says_so_they_may(self) -> None:
        assert schedule_faults(ROWS, MD, self.steps(800_000, 0), price_cents=1_000_000, on=DAY) == ()

    def test_steps_must_add_up_be_positive_and_in_order(self) -> None:
        faults = schedule_faults(ROWS, MD, self.steps(900_000, 0), price_cents=1_000_001, on=DAY)
        assert [fault.path for fault in faults] == ["steps[2].cents", "steps"]
        assert "add up to $10,000.00, not to $10,000.01" in faults[1].message
        (order,) = schedule_faults(ROWS, MD, self.steps(1, 0)[::-1], price_cents=1_000_000, on=DAY)
        assert "order they fall due" in order.message

    def test_a_schedule_row_that_cannot_be_read_is_refused(self) -> None:
        row = next(row for row in ROWS if row.topic == SCHEDULE)
        with pytest.raises(BadRule, match="enter 'work_and_material'"):
            schedule_faults([replace(row, value="?")], (row.jurisdiction,), [], price_cents=0, on=DAY)


class TestClauses:
    def test_a_state_adds_to_the_federal_clauses_and_takes_none_away(self) -> None:
        federal = set(required_clauses(ROWS, ("US",), on=DAY))
        for places in (CA, MD, NY):
            assert federal < set(required_clauses(ROWS, places, on=DAY))

    def test_a_contract_that_lacks_one_is_refused_with_the_rule_quoted(self) -> None:
        wanted = set(required_clauses(ROWS, NY, on=DAY))
        assert clause_faults(ROWS, NY, wanted, on=DAY) == ()
        (fault,) = clause_faults(ROWS, NY, wanted - {"lien_notice"}, on=DAY)
        assert fault.path == "clauses.lien_notice"
        assert "General Business Law 771" in fault.message
        assert "Not legal or tax advice" in fault.message

    def test_a_row_that_is_no_list_is_refused(self) -> None:
        row = next(row for row in ROWS if row.topic == CLAUSES)
        with pytest.raises(BadRule, match="list of clauses"):
            required_clauses([replace(row, value=["a", 1])], (row.jurisdiction,), on=DAY)
