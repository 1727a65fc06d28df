"""Calls that are written down: sales calls keep the hours of the house and its people's wish, others are warned."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError

from estimates.call_log import CallRefused, NextStep, call_log
from estimates.leads import LeadChanged, lead_change, lead_source_put, lead_take
from estimates.models import ActivityEntry, CallEntry, CallOutcome, CallPurpose, Lead, User
from estimates.models.frozen import Frozen
from estimates.rules_table import rule_put

pytestmark = pytest.mark.django_db

EAST = ZoneInfo("America/New_York")
NOON = datetime(2026, 3, 2, 12, tzinfo=EAST)


@pytest.fixture
def hours(owner: User) -> None:
    # S: 16 CFR 310.4(c), 8 in the morning to 9 in the evening by the clock of the person called.
    rule_put(
        jurisdiction="US",
        topic="calls.solicitation_hours",
        valid_from=date(2020, 1, 1),
        valid_to=None,
        value={"from": "08:00", "to": "21:00"},
        text="No sales call before 8 in the morning or after 9 in the evening.",
        source="16 CFR 310.4(c)",
        checked_on=date(2026, 1, 1),
        by=owner,
        now=NOON,
    )


@pytest.fixture
def take(hours: None, owner: User) -> Callable[..., Lead]:
    def taken(**changes: Any) -> Lead:
        source = lead_source_put(name="Yard signs", cost_per_lead=Decimal("12.50"), by=owner, now=NOON)
        given = {"person": "Wren Halloran", "phone": "555-0142", "state": "NY", "source": source, "seller": owner}
        return lead_take(**{**given, "consent": True, "by": owner, "now": NOON - timedelta(days=9), **changes})

    return taken


def log(lead: Lead, by: User, at: datetime, purpose: CallPurpose = CallPurpose.SALES, **more: Any) -> CallEntry:
    given = {"outcome": CallOutcome.TALKED, "now": at + timedelta(minutes=5)}
    return call_log(lead=lead, purpose=purpose, at=at, by=by, **{**given, **more})


def test_a_sales_call_inside_the_hours_is_kept_with_the_clock_of_the_house(
    take: Callable[..., Lead], owner: User
) -> None:
    entry = log(take(), owner, NOON, note="Wants the attic as well.")
    entry.refresh_from_db()
    assert (entry.at, entry.zone, entry.warnings, entry.logged_by) == (NOON, "America/New_York", [], owner)
    act = ActivityEntry.objects.get(action="lead.call")
    assert act.after is not None
    assert (act.after["purpose"], act.after["outcome"], act.reason) == ("sales", "talked", "Wants the attic as well.")
    with pytest.raises(Frozen):
        entry.save()


@pytest.mark.parametrize(("hour", "minute", "kept"), [(7, 59, False), (8, 0, True), (20, 59, True), (21, 0, False)])
def test_a_sales_call_keeps_the_hours_and_the_refusal_quotes_the_rule(
    take: Callable[..., Lead], owner: User, hour: int, minute: int, kept: bool
) -> None:
    lead, at = take(), NOON.replace(hour=hour, minute=minute)
    if kept:
        assert log(lead, owner, at).pk
        return
    with pytest.raises(CallRefused, match=r"No sales call before 8 .* 16 CFR 310\.4\(c\)"):
        log(lead, owner, at)
    assert not CallEntry.objects.exists()
    assert not ActivityEntry.objects.filter(action="lead.call").exists()


def test_the_hours_are_those_of_the_house_not_of_the_office(take: Callable[..., Lead], owner: User) -> None:
    nine_at_night_in_the_east = NOON.replace(hour=21)
    log(take(state="CA"), owner, nine_at_night_in_the_east)  # 18:00 there
    log(take(state="NY", zone="America/Denver"), owner, nine_at_night_in_the_east)  # 19:00 by the chosen clock
    with pytest.raises(CallRefused, match="Mon 07:00 where they live"):
        log(take(state="CA"), owner, NOON.replace(hour=10))


@pytest.mark.parametrize("purpose", [purpose for purpose in CallPurpose if purpose is not CallPurpose.SALES])
def test_any_other_call_is_kept_and_warned(take: Callable[..., Lead], owner: User, purpose: CallPurpose) -> None:
    entry = log(take(consent=False), owner, NOON.replace(hour=22), purpose)
    (warning,) = entry.warnings
    assert "Mon 22:00 where they live is outside 08:00 to 21:00" in warning


def test_without_consent_no_sales_call(take: Callable[..., Lead], owner: User) -> None:
    with pytest.raises(CallRefused, match="no consent to sales calls is recorded"):
        log(take(consent=False), owner, NOON)


def test_after_consent_is_withdrawn_no_sales_call_but_one_of_before_can_be_written_down(
    take: Callable[..., Lead], owner: User
) -> None:
    lead = lead_change(lead=take(), expected_version=1, consent=False, by=owner, now=NOON)
    with pytest.raises(CallRefused, match="asked not to be called"):
        log(lead, owner, NOON + timedelta(hours=1))
    log(lead, owner, NOON - timedelta(hours=1), now=NOON + timedelta(hours=2))
    log(lead, owner, NOON + timedelta(hours=1), CallPurpose.APPOINTMENT)


def test_a_call_in_the_minute_of_the_consent_counts_as_with_it(take: Callable[..., Lead], owner: User) -> None:
    lead = take(now=NOON + timedelta(seconds=40))
    assert log(lead, owner, NOON).pk


def test_where_no_hours_are_on_record_a_sales_call_is_refused_and_another_warned(
    take: Callable[..., Lead], owner: User
) -> None:
    lead, before = take(now=datetime(2019, 5, 1, tzinfo=UTC)), datetime(2019, 6, 3, 16, tzinfo=UTC)
    with pytest.raises(CallRefused, match="The calling hours of NY are not known"):
        log(lead, owner, before)
    assert "not known" in log(lead, owner, before, CallPurpose.SAFETY).warnings[0]


def test_the_next_step_is_changed_with_the_call_or_neither_is_written(take: Callable[..., Lead], owner: User) -> None:
    lead = take()
    step = NextStep("Send the papers", date(2026, 3, 9), expected_version=1)
    log(lead, owner, NOON, next_step=step)
    lead.refresh_from_db()
    assert (lead.next_step, lead.next_step_on, lead.version) == ("Send the papers", date(2026, 3, 9), 2)
    with pytest.raises(LeadChanged):
        log(lead, owner, NOON, next_step=NextStep("Wait", date(2026, 3, 10), expected_version=1))
    with pytest.raises(ValidationError, match="Enter the day"):
        log(lead, owner, NOON, next_step=NextStep("Wait", None, expected_version=2))
    assert CallEntry.objects.count() == 1


def test_a_call_to_come_cannot_be_written_down(take: Callable[..., Lead], owner: User) -> None:
    with pytest.raises(ValidationError, match="now or earlier"):
        log(take(), owner, NOON, now=NOON - timedelta(minutes=1))


def test_calls_are_seen_by_the_office_alone(
    take: Callable[..., Lead], owner: User, scheduler: User, crew: User
) -> None:
    log(take(), owner, NOON)
    assert CallEntry.objects.visible_to(scheduler).count() == 1
    assert not CallEntry.objects.visible_to(crew).exists()
