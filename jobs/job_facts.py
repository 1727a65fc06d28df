"""What is known of a job beside its contract: where it is, when the homeowner cannot have us, how we get in."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.models.user import User
from jobs.models import Job, JobStatus

MOST_DAYS_AWAY = 120
"""More days than that are no days away but another date for the job."""


def job_change(
    *,
    job: Job,
    version: int,
    wanted_by: date | None,
    days_away: Sequence[date],
    latitude: Decimal | None,
    longitude: Decimal | None,
    access_note: str,
    by: User,
    now: datetime,
    origin: str = "",
) -> Job:
    """Change what is known of a job.

    Parameters
    ----------
    job, version : the job, and the version that was looked at.
    wanted_by : day by which it should be done.
    days_away : days on which the homeowner cannot have us.
    latitude, longitude : of the house, both or none. [deg]
    access_note : how the crew gets in.
    by, now, origin : who, when, from where.

    Raises
    ------
    ValidationError : half a place, or too many days.
    Conflict : somebody else changed it meanwhile, or its contract is cancelled.
    """
    faults = {}
    if (latitude is None) != (longitude is None):
        missing = "longitude" if longitude is None else "latitude"
        faults[missing] = f"Enter the {missing} as well, or leave both empty."
    if len(days_away) > MOST_DAYS_AWAY:
        faults["days_away"] = f"Enter at most {MOST_DAYS_AWAY} days, or choose a later day for the job."
    if faults:
        raise ValidationError(faults)
    given = {
        "wanted_by": wanted_by,
        "days_away": sorted({day.isoformat() for day in days_away}),
        "latitude": latitude,
        "longitude": longitude,
        "access_note": access_note.strip(),
    }
    with transaction.atomic():
        locked = Job.objects.select_for_update().get(pk=job.pk)
        if locked.status == JobStatus.LOCKED:
            raise Conflict(f"Job {locked.number} is locked: {locked.lock_reason}")
        changed = {name: value for name, value in given.items() if getattr(locked, name) != value}
        if not changed:
            return locked
        if locked.version != version:
            raise Conflict("Somebody else changed this job meanwhile.")
        before = {name: getattr(locked, name) for name in changed}
        for name, value in changed.items():
            setattr(locked, name, value)
        locked.version += 1
        locked.full_clean()
        locked.save()
        activity_record(
            actor=by, action="job.change", target=locked, now=now, before=before, after=changed, origin=origin
        )
    return locked
