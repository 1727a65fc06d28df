"""The right to cancel: which day it ends, when its clock starts, what a notice means."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.cancellation import (
    BadDeadline,
    CancellationNotice,
    CancellationRight,
    Coverage,
    NoticeDelivery,
    business_day_after,
    cancellation_right,
    is_business_day,
    judge_notice,
    rescission_gate,
)
from estimates.rules import RuleMissing, load_rules, places_of
from estimates.start import earliest_start

ROWS = load_rules()
EAST, WEST = ZoneInfo("America/New_York"), ZoneInfo("America/Los_Angeles")
FRIDAY = datetime(2026, 3, 6, 19, 30, tzinfo=EAST)


def right(
    signed_at: datetime = FRIDAY,
    *,
    delivered_at: datetime | None = FRIDAY,
    copies: int = 2,
    language: str = "English",
    state: str = "NY",
    zone: ZoneInfo = EAST,
    coverage: Coverage = Coverage.COVERED,
    buyer_65: bool | None = False,
) -> CancellationRight:
    notice = NoticeDelivery(delivered_at, copies, language, "English")
    return cancellation_right(
        ROWS, places_of(state), signed_at=signed_at, notice=notice, zone=zone, coverage=coverage, buyer_65=buyer_65
    )


def test_the_deadline_is_the_midnight_that_ends_the_last_day() -> None:
    found = right()
    assert found.last_day == date(2026, 3, 10)
    assert found.deadline == datetime(2026, 3, 11, 0, 0, tzinfo=EAST)


def test_the_deadline_keeps_the_wall_clock_over_a_change_of_clocks() -> None:
    # Clocks of the zone go back on Sunday 2026-11-01; signed on Friday, the third business day is Tuesday.
    found = right(datetime(2026, 10, 30, 12, tzinfo=EAST), delivered_at=datetime(2026, 10, 30, 12, tzinfo=EAST))
    assert found.deadline is not None
    assert found.deadline.isoformat() == "2026-11-04T00:00:00-05:00"


def test_the_clock_starts_at_the_later_of_signature_and_notice() -> None:
    assert right(delivered_at=FRIDAY + timedelta(days=3)).last_day == date(2026, 3, 12)
    assert right(delivered_at=FRIDAY - timedelta(days=3)).last_day == date(2026, 3, 10)


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"delivered_at": None}, "not yet delivered"),
        ({"copies": 1}, "1 of 2 copies"),
        ({"language": "Spanish"}, "in that language"),
    ],
)
def test_a_notice_not_fully_delivered_starts_no_clock_and_nothing_is_ever_late(changes: dict, why: str) -> None:
    found = right(**changes)
    assert (found.last_day, found.deadline, found.running_out) == (None, None, False)
    assert any(why in fault for fault in found.waiting)
    late = CancellationNotice(received_at=FRIDAY + timedelta(days=200))
    answer = judge_notice(found, late, ROWS, places_of("NY"), zone=EAST)
    assert (answer.in_time, answer.words) == (True, "in time")


def test_the_day_is_that_of_the_house_not_of_the_server() -> None:
    # 21:30 on Friday in the west is already Saturday in UTC.
    moment = datetime(2026, 3, 7, 5, 30, tzinfo=ZoneInfo("UTC"))
    found = right(moment, delivered_at=moment, state="CA", zone=WEST)
    assert (found.started_on, found.last_day) == (date(2026, 3, 6), date(2026, 3, 10))


def test_the_longest_right_wins() -> None:
    # S: Maryland Commercial Law 14-302.1, fifth business day, seventh for a buyer of 65.
    assert right(state="MD").last_day == date(2026, 3, 12)
    assert right(state="MD", buyer_65=True).last_day == date(2026, 3, 14)
    unknown = right(state="MD", buyer_65=None)
    assert unknown.last_day == date(2026, 3, 14)
    assert any("not recorded" in note for note in unknown.notes)
    assert unknown.rules[0].value == 7
    assert "Not legal or tax advice" in unknown.notes[0]


def test_the_note_on_age_stands_only_where_age_is_unknown_and_matters() -> None:
    for found in (right(state="MD", buyer_65=True), right(state="NY", buyer_65=None)):
        assert not any("not recorded" in note for note in found.notes)


def test_the_shortest_time_to_refund_holds_for_the_firm() -> None:
    federal = next(row for row in ROWS if row.topic == "cancellation.refund_business_days")
    rows = [*ROWS, replace(federal, jurisdiction="US-NY", value=12), replace(federal, jurisdiction="US-MD", value=5)]
    notice = CancellationNotice(datetime(2026, 3, 10, 12, tzinfo=EAST))
    assert judge_notice(right(), notice, rows, places_of("NY"), zone=EAST).refund_rule == federal
    short = judge_notice(right(state="MD"), notice, rows, places_of("MD"), zone=EAST)
    assert (short.refund_rule.value, short.refund_due) == (5, date(2026, 3, 16))


def test_exempt_and_emergency_have_no_deadline_but_accept_a_notice() -> None:
    for coverage in (Coverage.EXEMPT, Coverage.EMERGENCY):
        found = right(coverage=coverage)
        assert found.deadline is None
        answer = judge_notice(found, CancellationNotice(FRIDAY), ROWS, places_of("NY"), zone=EAST)
        assert answer.in_time is None
        assert "owner to decide" in answer.words


@pytest.mark.parametrize(
    ("notice", "in_time"),
    [
        (CancellationNotice(datetime(2026, 3, 10, 23, 59, 59, tzinfo=EAST)), True),
        (CancellationNotice(datetime(2026, 3, 11, 0, 0, tzinfo=EAST)), False),
        (CancellationNotice(datetime(2026, 3, 14, 9, tzinfo=EAST), postmarked_on=date(2026, 3, 10)), True),
        (CancellationNotice(datetime(2026, 3, 14, 9, tzinfo=EAST), postmarked_on=date(2026, 3, 11)), False),
        (
            CancellationNotice(
                datetime(2026, 3, 14, 9, tzinfo=EAST), sent_at=datetime(2026, 3, 11, 2, tzinfo=ZoneInfo("UTC"))
            ),
            True,  # 21:00 of the 10th at the house
        ),
    ],
)
def test_the_day_of_sending_decides(notice: CancellationNotice, in_time: bool) -> None:
    answer = judge_notice(right(), notice, ROWS, places_of("NY"), zone=EAST)
    assert answer.in_time is in_time
    assert answer.words == ("in time" if in_time else "late - owner to decide")


def test_refund_days_run_from_receipt() -> None:
    # S: ten business days from receipt. D, by calendar: from Tuesday 10th: 11 12 13 14 / 16 17 18 19 20 21 March 2026.
    notice = CancellationNotice(datetime(2026, 3, 10, 12, tzinfo=EAST), postmarked_on=date(2026, 3, 9))
    assert judge_notice(right(), notice, ROWS, places_of("NY"), zone=EAST).refund_due == date(2026, 3, 21)


def test_an_observed_day_lengthens_the_buyers_time_and_not_the_firms() -> None:
    # D, by calendar: received Wednesday 1 July, then 2 3 6 7 8 9 10 11 13 14; the 4th is none, the observed 3rd is.
    notice = CancellationNotice(datetime(2026, 7, 1, 12, tzinfo=EAST))
    assert judge_notice(right(), notice, ROWS, places_of("NY"), zone=EAST).refund_due == date(2026, 7, 14)


def test_bad_input_is_named() -> None:
    with pytest.raises(BadDeadline, match=r"signed_at .* without a time zone"):
        right(FRIDAY.replace(tzinfo=None))
    with pytest.raises(BadDeadline, match="correct one of them"):
        judge_notice(
            right(), CancellationNotice(FRIDAY, postmarked_on=date(2026, 4, 1)), ROWS, places_of("NY"), zone=EAST
        )
    with pytest.raises(BadDeadline, match="count is 0"):
        business_day_after(date(2026, 1, 1), 0)
    with pytest.raises(RuleMissing, match=r"cancellation\.business_days"):
        right(FRIDAY.replace(year=1999), delivered_at=FRIDAY)
    with pytest.raises(RuleMissing, match="refund"):
        judge_notice(right(), CancellationNotice(FRIDAY), ROWS[:1], places_of("NY"), zone=EAST)


@given(st.dates(date(2022, 1, 1), date(2060, 12, 31)), st.integers(1, 12))
def test_a_deadline_is_a_business_day_with_count_of_them_behind_it(start: date, count: int) -> None:
    for observed in (True, False):
        end = business_day_after(start, count, observed=observed)
        days = [start + timedelta(days=n) for n in range(1, (end - start).days + 1)]
        assert sum(is_business_day(day, observed=observed) for day in days) == count
        assert is_business_day(end, observed=observed)
    assert business_day_after(start, count) >= business_day_after(start, count, observed=False)


@given(st.dates(date(2022, 1, 1), date(2060, 12, 31)))
def test_signing_later_never_ends_the_right_earlier(start: date) -> None:
    assert business_day_after(start, 3) <= business_day_after(start + timedelta(days=1), 3)


def test_a_longer_row_is_never_shortened_by_a_state_with_fewer_days() -> None:
    rows = [replace(row, value=1) if row.jurisdiction == "US-NY" else row for row in ROWS]
    found = cancellation_right(
        rows,
        places_of("NY"),
        signed_at=FRIDAY,
        notice=NoticeDelivery(FRIDAY, 2, "English", "English"),
        zone=EAST,
        buyer_65=False,
    )
    assert found.last_day == date(2026, 3, 10)


def test_work_starts_the_day_after_the_last_day_to_cancel() -> None:
    gate = right().start_gate
    assert gate is not None
    assert earliest_start([gate], not_before=date(2026, 3, 6)).day == date(2026, 3, 11)
    waiting = right(delivered_at=None).start_gate
    assert waiting is not None
    assert earliest_start([waiting], not_before=date(2026, 3, 6)).waiting == ("end of the cancellation time",)
    assert right(coverage=Coverage.EMERGENCY).start_gate is None


def test_rescission_runs_from_the_last_of_signing_notice_and_disclosures() -> None:
    signed = date(2026, 7, 1)

    def last(notice_on: date | None, disclosures_on: date | None, *, observed: bool = True) -> date | None:
        gate = rescission_gate(
            ROWS, ("US",), signed_on=signed, notice_on=notice_on, disclosures_on=disclosures_on, observed=observed
        )
        return gate.opens_on

    # D, by calendar, Wednesday 1 July 2026: 2 6 7 where the observed 3rd is left out, else 2 3 6 (S: a bankers'
    # journal says that under 12 CFR 1026.2(a)(6) the 3rd counts).
    assert last(signed, signed) == date(2026, 7, 7)
    assert last(signed, signed, observed=False) == date(2026, 7, 6)
    assert last(signed, date(2026, 7, 6)) == date(2026, 7, 9)
    assert last(date(2026, 7, 7), signed) == date(2026, 7, 10)
    assert last(None, signed) is last(signed, None) is None
