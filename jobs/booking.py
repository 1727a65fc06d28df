"""Booking: an accepted proposal becomes a job with phases, walls, bays and start gates."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.counter import counter_next
from estimates.issuing import house_zone
from estimates.models.house import House
from estimates.models.proposal import Proposal, ProposalStatus
from estimates.models.user import User
from jobs.job_walls import copy_walls
from jobs.models import Job, JobStatus, Phase
from jobs.models.job import JOB_MOVES
from jobs.phase_plan import LEAST_HOURS, option_form, plan_phases
from jobs.start_gates import wanted_gates

_TIMES = {
    JobStatus.STARTED: "started_at",
    JobStatus.WORK_DONE: "done_at",
    JobStatus.VERIFIED: "verified_at",
    JobStatus.CLOSED: "closed_at",
    JobStatus.LOCKED: "locked_at",
}


def to_book() -> Any:
    """Accepted proposals without a job, oldest first: `jobs` pulls, nothing pushes."""
    accepted = Proposal.objects.filter(status=ProposalStatus.ACCEPTED, job__isnull=True)
    return accepted.select_related("house").order_by("accepted_at", "id")


def frozen_forms(job_or_proposal: Job | Proposal) -> dict[str, Any]:
    """The forms of the estimate that was signed, for reading: one page asks for them several times."""
    return _read(job_or_proposal.revision.snapshot)


@lru_cache(maxsize=8)
def _read(snapshot: str) -> dict[str, Any]:
    forms: dict[str, Any] = json.loads(snapshot)
    return forms


def job_book(*, proposal: Proposal, by: User, now: datetime, wanted_by: date | None = None, origin: str = "") -> Job:
    """Make the job of an accepted proposal; one that is there already is returned, and nothing written.

    Parameters
    ----------
    proposal : an accepted one; its house is locked.
    by, now, origin : who, when, from where.
    wanted_by : day by which it should be done.

    Raises
    ------
    Conflict : it is not accepted, or not any more.
    """
    with transaction.atomic():
        house = House.objects.select_for_update().get(pk=proposal.house_id)
        locked = Proposal.objects.select_for_update().select_related("revision").get(pk=proposal.pk)
        there = Job.objects.filter(proposal=locked).first()
        if there is not None:
            return there
        if locked.status != ProposalStatus.ACCEPTED:
            raise Conflict(
                f"Proposal {locked.number} is {locked.get_status_display().lower()}; only a signed one is booked."
            )
        forms = frozen_forms(locked)
        option = option_form(forms, locked.accepted_option)
        job = Job(
            number=f"J-{counter_next(name='job'):05d}",
            proposal=locked,
            house=house,
            revision=locked.revision,
            option=locked.accepted_option,
            zone=house_zone(house),
            wanted_by=wanted_by,
            booked_at=now,
            booked_by=by,
        )
        job.full_clean()
        job.save()
        copy_walls(job, forms, option)
        _write_phases(job, forms, option)
        for gate in wanted_gates(job, forms, option):
            gate.full_clean()
            gate.save()
        activity_record(
            actor=by,
            action="job.book",
            target=job,
            now=now,
            after={"number": job.number, "proposal": locked.number, "option": job.option},
            origin=origin,
        )
    return job


def _write_phases(job: Job, forms: Mapping[str, Any], option: Mapping[str, Any]) -> None:
    book = forms["price_book"]
    rates = {rate["id"]: float(rate["best"]) for rate in book["rates"]}
    for position, plan in enumerate(plan_phases(option, rates, drying_days=book["foams"][0]["drying_days"]), start=1):
        row = Phase(
            job=job,
            kind=plan.kind,
            position=position,
            hours=Decimal(str(round(max(plan.hours, LEAST_HOURS), 2))),
            least_people=plan.least_people,
            skills=list(plan.skills),
            rig_kind=plan.rig_kind or "",
            least_lag=plan.least_lag,
            most_lag=plan.most_lag,
            note=plan.note,
        )
        row.full_clean()
        row.save()


def job_move(*, job: Job, to: JobStatus, by: User | None, now: datetime, reason: str = "", origin: str = "") -> Job:
    """Move a job to another status: the one place where that is done.

    Raises
    ------
    ValidationError : locking without a reason.
    Conflict : it cannot become that from where it stands.
    """
    if to == JobStatus.LOCKED and not reason.strip():
        raise ValidationError({"reason": "Enter why the job is locked."})
    with transaction.atomic():
        locked = Job.objects.select_for_update().get(pk=job.pk)
        was = JobStatus(locked.status)
        if to not in JOB_MOVES[was]:
            raise Conflict(f"Job {locked.number} is {was.label.lower()} and cannot become {to.label.lower()}.")
        locked.status, locked.version = to, locked.version + 1
        setattr(locked, _TIMES[to], now)
        if to == JobStatus.LOCKED:
            locked.lock_reason = reason.strip()
        locked.full_clean()
        locked.save()
        activity_record(
            actor=by,
            action=f"job.{to.value}",
            target=locked,
            now=now,
            before={"status": was},
            after={"status": to},
            reason=reason,
            origin=origin,
        )
    return locked
