"""Cancelling a contract once there may be a job: notice, decision, lock and free days in one transaction.

`estimates.cancelling` knows the contract, this module what hangs on it. Pages call this one, never that one.
"""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db import transaction

from estimates.activity import activity_record
from estimates.cancelling import WITHOUT_A_REASON, cancellation_decide, cancellation_receive
from estimates.models.answer import Cancellation, CancellationDecision
from estimates.models.house import House
from estimates.models.proposal import Proposal, ProposalStatus
from estimates.models.user import User
from jobs.booking import job_move
from jobs.models import ChangeOrder, ChangeStatus, Job, JobStatus, Slot, Visit
from jobs.models.job import JOB_MOVES


def contract_cancel(
    *,
    proposal: Proposal,
    now: datetime,
    reason: str = "",
    by: User | None = None,
    received_at: datetime | None = None,
    sent_at: datetime | None = None,
    postmarked_on: date | None = None,
    origin: str = "",
) -> Cancellation:
    """Record a notice to cancel; where it cancels the contract, lock its job and give its days back.

    Parameters, Raises
    ------------------
    As for `estimates.cancelling.cancellation_receive`. A notice is never refused, and a second one returns the first.
    """
    with transaction.atomic():
        # The house first, as booking does: whichever comes second finds what the first one left.
        House.objects.select_for_update().get(pk=proposal.house_id)
        row = cancellation_receive(
            proposal=proposal,
            now=now,
            reason=reason,
            by=by,
            received_at=received_at,
            sent_at=sent_at,
            postmarked_on=postmarked_on,
            origin=origin,
        )
        job_release(proposal=proposal, reason=row.reason or WITHOUT_A_REASON, by=by, now=now, origin=origin)
    return row


def contract_decide(
    *, cancellation: Cancellation, granted: bool, reason: str, by: User, now: datetime, origin: str = ""
) -> CancellationDecision:
    """Let the owner decide on a late notice; where it cancels the contract, lock its job and give its days back.

    Raises
    ------
    ValidationError, Conflict : as for `estimates.cancelling.cancellation_decide`.
    """
    proposal = cancellation.proposal
    with transaction.atomic():
        House.objects.select_for_update().get(pk=proposal.house_id)
        row = cancellation_decide(
            cancellation=cancellation, granted=granted, reason=reason, by=by, now=now, origin=origin
        )
        words = cancellation.reason or WITHOUT_A_REASON
        job_release(proposal=proposal, reason=words, by=by, now=now, origin=origin)
    return row


def job_release(*, proposal: Proposal, reason: str, by: User | None, now: datetime, origin: str = "") -> Job | None:
    """Lock the job of a cancelled contract and take its coming days off the schedule; again, it changes nothing.

    Returns
    -------
    The job; None where there is none or the contract stands.

    Notes
    -----
    Days that are over stay: work was done on them. Change orders that nobody has signed are withdrawn. A job that was
    verified or closed keeps its status, because it is done; what is owed back is a matter of its invoices.
    """
    with transaction.atomic():
        if Proposal.objects.get(pk=proposal.pk).status != ProposalStatus.CANCELLED:
            return None
        job = Job.objects.select_for_update().filter(proposal=proposal).first()
        if job is None or JobStatus.LOCKED not in JOB_MOVES[JobStatus(job.status)]:
            return job
        days = _free(job, now=now)
        ChangeOrder.objects.filter(job=job, status__in=[ChangeStatus.DRAFT, ChangeStatus.ISSUED]).update(
            status=ChangeStatus.WITHDRAWN, ended_at=now
        )
        locked = job_move(job=job, to=JobStatus.LOCKED, by=by, now=now, reason=reason, origin=origin)
        if days:
            activity_record(
                actor=by, action="job.release_days", target=locked, now=now, after={"days": days}, origin=origin
            )
    return locked


def _free(job: Job, *, now: datetime) -> list[str]:
    """Remove the visits from today on that have not begun, with their slots; the days that came free."""
    today = now.astimezone(ZoneInfo(job.zone)).date()
    begun = Slot.objects.filter(visit__phase__job=job, starts_at__lte=now).values("visit")
    coming = Visit.objects.filter(phase__job=job, day__gte=today).exclude(pk__in=begun)
    days = sorted({day.isoformat() for day in coming.values_list("day", flat=True)})
    Slot.objects.filter(visit__in=coming).delete()
    coming.delete()
    return days
