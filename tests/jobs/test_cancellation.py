"""What a cancelled contract does to its job: locked, its coming days free, its past days kept."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from estimates.command import Conflict
from estimates.models import Cancellation, User
from jobs.cancellation import contract_cancel, contract_decide
from jobs.change_effect import ChangeLine
from jobs.changes import change_draft
from jobs.crews import crew_save, rig_save
from jobs.models import ChangeStatus, Job, JobStatus, RigKind, Slot, Visit

Book = Callable[..., Job]
FRIDAY = datetime(2026, 3, 13, 20, 0, tzinfo=UTC)


@pytest.fixture
def planned(booked: Book, scheduler: User) -> Job:
    """A job with a day that is over and one to come."""
    job = booked("mill-cape")
    now = datetime(2026, 3, 9, 14, 0, tzinfo=UTC)
    home = {"home_latitude": Decimal("42.45"), "home_longitude": Decimal("-76.5")}
    crew = crew_save(
        crew=None, version=0, name="North crew", members=[], rigs=[], today=now.date(), by=scheduler, now=now, **home
    )
    rig = rig_save(rig=None, version=0, name="Pump 1", kind=RigKind.FOAM, mixes_per_day=20, by=scheduler, now=now)
    phase = job.phases.get(position=1)
    for day in (date(2026, 3, 12), date(2026, 3, 16)):
        visit = Visit.objects.create(
            phase=phase, crew=crew, day=day, first_hour=8, hours=2, made_at=now, made_by=scheduler
        )
        starts = datetime(day.year, day.month, day.day, 13, tzinfo=UTC)
        Slot.objects.create(visit=visit, resource=rig, starts_at=starts)
    return job


def test_a_late_notice_leaves_the_job_until_the_owner_decides_and_then_frees_its_coming_days(
    planned: Job, owner: User, salesperson: User
) -> None:
    change = change_draft(
        job=planned, reason="A vent.", lines=(ChangeLine("Cap a vent", 45_50),), by=salesperson, now=FRIDAY
    )
    row = contract_cancel(proposal=planned.proposal, now=FRIDAY, by=salesperson)
    assert not row.in_time
    planned.refresh_from_db()
    assert planned.status == JobStatus.BOOKED
    assert Visit.objects.count() == 2
    contract_decide(cancellation=row, granted=True, reason="They moved away.", by=owner, now=FRIDAY)
    contract_decide(cancellation=row, granted=True, reason="They moved away.", by=owner, now=FRIDAY)
    planned.refresh_from_db()
    change.refresh_from_db()
    assert (planned.status, change.status) == (JobStatus.LOCKED, ChangeStatus.WITHDRAWN)
    assert [visit.day for visit in Visit.objects.all()] == [date(2026, 3, 12)]
    assert [slot.visit.day for slot in Slot.objects.all()] == [date(2026, 3, 12)]
    with pytest.raises(Conflict, match="is cancelled"):
        change_draft(job=planned, reason="More.", lines=(ChangeLine("More", 1),), by=salesperson, now=FRIDAY)


def test_the_office_records_a_notice_with_a_postmark_in_time_and_the_job_is_locked(
    planned: Job, salesperson: User, signed_in: Callable[[User], Client]
) -> None:
    address = reverse("jobs-record-cancellation", kwargs={"code": planned.proposal.code})
    notice: dict[str, Any] = {
        "received_on": "2026-03-13",
        "received_at": "10:00",
        "postmarked_on": "2026-03-09",
        "reason": "By post.",
    }
    with time_machine.travel(FRIDAY, tick=False):
        sales = signed_in(salesperson)
        answer = sales.post(address, notice, follow=True)
        assert f"Job {planned.number} is locked" in answer.content.decode()
        page = sales.get(reverse("jobs-show-job", kwargs={"code": planned.code})).content.decode()
    assert Cancellation.objects.get().in_time
    assert "the contract is cancelled" in page
    assert "Draft a change order" not in page
