"""The homeowner's word that the work is done."""

from __future__ import annotations

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.mail import letter_add
from jobs.models import Job, JobStatus, SignOff

OPEN = frozenset({JobStatus.WORK_DONE, JobStatus.VERIFIED, JobStatus.CLOSED})
"""Statuses of a job that can be signed off."""


def job_sign_off(*, job: Job, typed_name: str, words: str, now: datetime, origin: str = "") -> SignOff:
    """Record the sign-off that came through the private link; a second one returns the first.

    Parameters
    ----------
    job : one whose work is done.
    typed_name : the signature.
    words : what is not as it should be, "" where all is well. The office is written to either way.
    now, origin : when, from where.

    Raises
    ------
    ValidationError : no name.
    Conflict : the work is not done yet, or the contract is cancelled.
    """
    if not typed_name.strip():
        raise ValidationError({"typed_name": "Enter your full name."})
    with transaction.atomic():
        locked = Job.objects.select_for_update().get(pk=job.pk)
        there = SignOff.objects.filter(job=locked).first()
        if there is not None:
            return there
        if locked.status not in OPEN:
            raise Conflict("The work is not done yet; there is nothing to sign off.")
        row = SignOff(job=locked, typed_name=typed_name.strip(), words=words.strip(), at=now, origin=origin)
        row.full_clean()
        row.save()
        activity_record(
            actor=None, action="job.sign_off", target=locked, now=now, reason=row.words[:500], origin=origin
        )
        seller = locked.proposal.created_by
        letter_add(
            to=[seller.email],
            subject=f"Signed off: {locked.house.name}, job {locked.number}",
            text=f"{row.typed_name} signed the work off.\n\n{row.words or 'All is well, they say.'}",
            key=f"sign-off-{row.code}",
            now=now,
        )
    return row
