"""Calling hours: sales calls are refused outside them, others are warned."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from estimates.calls import HOURS, CallAnswer, Purpose, call_answer
from estimates.rules import BadRule, RuleMissing, load_rules, places_of

ROWS = load_rules()
ROW = next(row for row in ROWS if row.topic == HOURS)
PLACES = places_of("NY")
EAST = ZoneInfo("America/New_York")


def call(
    at: datetime,
    purpose: Purpose = Purpose.SOLICITATION,
    *,
    consent: bool = True,
    asked_not_to_call: bool = False,
    rows: tuple = ROWS,
) -> CallAnswer:
    return call_answer(
        rows, PLACES, at=at, zone=EAST, purpose=purpose, consent=consent, asked_not_to_call=asked_not_to_call
    )


@pytest.mark.parametrize(
    ("hour", "minute", "allowed"), [(7, 59, False), (8, 0, True), (20, 59, True), (21, 0, False), (0, 0, False)]
)
def test_sales_calls_keep_the_hours(hour: int, minute: int, allowed: bool) -> None:
    # S: 16 CFR 310.4(c), 8 in the morning to 9 in the evening, local time of the person called.
    assert call(datetime(2026, 3, 2, hour, minute, tzinfo=EAST)).allowed is allowed


def test_the_clock_is_that_of_the_person_called() -> None:
    west = ZoneInfo("America/Los_Angeles")
    assert call(datetime(2026, 3, 2, 17, 30, tzinfo=west)).allowed  # 20:30 in the east
    assert not call(datetime(2026, 3, 2, 18, 30, tzinfo=west)).allowed  # 21:30 in the east


def test_consent_and_a_wish_not_to_be_called_are_kept() -> None:
    noon = datetime(2026, 3, 2, 12, tzinfo=EAST)
    assert "no consent" in call(noon, consent=False).reasons[0]
    assert call(noon, asked_not_to_call=True).reasons == ("they asked not to be called",)


@pytest.mark.parametrize("purpose", [purpose for purpose in Purpose if purpose is not Purpose.SOLICITATION])
def test_other_calls_are_warned_and_never_refused(purpose: Purpose) -> None:
    late = call(datetime(2026, 3, 2, 22, tzinfo=EAST), purpose, consent=False, asked_not_to_call=True)
    assert late.allowed
    assert "Mon 22:00 where they live is outside 08:00 to 21:00" in late.reasons[0]
    assert call(datetime(2026, 3, 2, 12, tzinfo=EAST), purpose).reasons == ()


def test_a_state_with_shorter_hours_or_fewer_days_narrows_them() -> None:
    state = replace(ROW, jurisdiction="US-NY", value={"from": "09:00", "to": "20:00", "days": [0, 1, 2, 3, 4]})
    rows = (*ROWS, state)
    assert not call(datetime(2026, 3, 2, 8, 30, tzinfo=EAST), rows=rows).allowed
    assert call(datetime(2026, 3, 2, 9, 0, tzinfo=EAST), rows=rows).allowed
    assert not call(datetime(2026, 3, 7, 12, tzinfo=EAST), rows=rows).allowed  # a Saturday


def test_bad_hours_and_times_are_refused_by_name() -> None:
    noon = datetime(2026, 3, 2, 12, tzinfo=EAST)
    for bad in ({"from": "8"}, {"from": "21:00", "to": "08:00"}, {"from": "08:00", "to": "21:00", "days": [7]}):
        with pytest.raises(BadRule, match=r"calls\.solicitation_hours holds"):
            call(noon, rows=(replace(ROW, value=bad),))
    with pytest.raises(BadRule, match="without a time zone"):
        call(noon.replace(tzinfo=None))
    with pytest.raises(RuleMissing, match=r"calls\.solicitation_hours"):
        call(noon, rows=())
