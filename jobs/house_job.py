"""The chapters of a house after the signature: job, verification, invoice."""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

from django.utils import timezone

from estimates.models import Proposal, ProposalStatus
from estimates.proposal_words import count
from estimates.templatetags.figures import day
from jobs.billing import job_bills
from jobs.house_chapter import Chapter, ChapterState
from jobs.models import Finding, InvoiceKind, Job, JobStatus, Verification, Visit

JOB, VERIFICATION, INVOICE = "Job", "Verification", "Invoice"

WAITING_SHOWN = 3
"""So many unmet gates are named; the page of the job names all."""

WORKED = frozenset({JobStatus.WORK_DONE, JobStatus.VERIFIED, JobStatus.CLOSED})
PROVEN = frozenset({JobStatus.VERIFIED, JobStatus.CLOSED})


def chapters_after(proposal: Proposal | None) -> tuple[Job | None, tuple[Chapter, Chapter, Chapter]]:
    """The job of a proposal, and the three chapters that follow the signature."""
    job = None if proposal is None else Job.objects.filter(proposal=proposal).prefetch_related("gates").first()
    if job is None:
        signed = proposal is not None and proposal.status == ProposalStatus.ACCEPTED
        first = (
            Chapter(JOB, ChapterState.NOW, "Accepted and not booked yet.", "Book the job", "Scheduler", "jobs")
            if signed
            else Chapter(JOB, ChapterState.NOT_YET, "Follows the signature.")
        )
        return None, (
            first,
            Chapter(VERIFICATION, ChapterState.NOT_YET, "Follows the job."),
            Chapter(INVOICE, ChapterState.NOT_YET, "Follows the job."),
        )
    return job, (job_chapter(job), verification_chapter(job), money_chapter(job))


def job_chapter(job: Job) -> Chapter:
    """Booked, waiting for gates, scheduled, under way, done, or locked."""
    status = JobStatus(job.status)
    if status is JobStatus.LOCKED:
        return Chapter(JOB, ChapterState.BLOCKED, f"{job.number} is locked: {job.lock_reason}", door="job")
    if status in WORKED:
        return Chapter(JOB, ChapterState.DONE, f"{job.number}, {status.label.lower()}.", door="job")
    today = timezone.localdate(timezone=ZoneInfo(job.zone))
    coming = _next_day(job, today)
    if status is JobStatus.STARTED:
        said = f"{job.number} is under way; " + (f"next day {day(coming)}." if coming else "no further day is planned.")
        step = ("Finish the work", "Crew") if coming else ("Plan the next day", "Scheduler")
        return Chapter(JOB, ChapterState.NOW, said, *step, "job")
    unmet = [gate for gate in job.gates.all() if gate.met_on is None]
    planned = f"planned for {day(coming)}" if coming else "no day is planned"
    if unmet:
        names = ", ".join(gate.name for gate in unmet[:WAITING_SHOWN])
        more = f" and {len(unmet) - WAITING_SHOWN} more" if len(unmet) > WAITING_SHOWN else ""
        said = f"{job.number} waits for {names}{more}; {planned}."
        return Chapter(JOB, ChapterState.NOW, said, "Meet the start gates", unmet[0].owes or "Scheduler", "job")
    step = ("Start the work", "Crew") if coming else ("Plan its days", "Scheduler")
    return Chapter(JOB, ChapterState.NOW, f"{job.number} waits for no gate; {planned}.", *step, "job")


def _next_day(job: Job, today: date) -> date | None:
    rows = Visit.objects.filter(phase__job=job, day__gte=today).order_by("day")
    return rows.values_list("day", flat=True).first()


def verification_chapter(job: Job) -> Chapter:
    """What was found and not mended, and whether an inspector has said that the house is as it should be."""
    status = JobStatus(job.status)
    if status is JobStatus.LOCKED:
        return Chapter(VERIFICATION, ChapterState.NOT_YET, "The contract is cancelled.")
    left = Finding.objects.filter(job=job, closed_at__isnull=True).count()
    said = f"{count(left, 'finding')} open"
    if left and status is not JobStatus.BOOKED:
        return Chapter(VERIFICATION, ChapterState.NOW, f"{said}.", "Mend and close them", "Crew", "verification")
    if status in PROVEN:
        word = Verification.objects.filter(job=job).select_related("inspector").first()
        who = "" if word is None else f" by {word.inspector.full_name}, {day(word.decided_at)}"
        return Chapter(VERIFICATION, ChapterState.DONE, f"Verified{who}.", door="verification")
    if status is JobStatus.WORK_DONE:
        said = "The work is done and nothing is left open."
        return Chapter(VERIFICATION, ChapterState.NOW, said, "Verify the job", "Inspector", "verification")
    return Chapter(VERIFICATION, ChapterState.NOT_YET, "Follows the work.")


def money_chapter(job: Job) -> Chapter:
    """What was invoiced and what of it is open. No amounts: everybody in the office reads this page."""
    bills = [bill for bill in job_bills(job) if bill.live]
    owed = [bill for bill in bills if bill.open > 0]
    if owed:
        numbers = ", ".join(bill.invoice.number for bill in owed)
        return Chapter(INVOICE, ChapterState.NOW, f"Sent and not paid yet: {numbers}.", "Pay", "Homeowner", "money")
    status = JobStatus(job.status)
    if any(bill.invoice.kind == InvoiceKind.FINAL for bill in bills) and status is not JobStatus.CLOSED:
        return Chapter(INVOICE, ChapterState.NOW, "Paid; nothing is open.", "Close the job", "Scheduler", "job")
    if status is JobStatus.VERIFIED:
        return Chapter(INVOICE, ChapterState.NOW, "Verified.", "Send the final invoice", "Bookkeeper", "money")
    if status is JobStatus.CLOSED:
        return Chapter(INVOICE, ChapterState.DONE, "Nothing is open.", door="money")
    said = f"{count(len(bills), 'invoice')} sent and paid." if bills else "Nothing is invoiced yet."
    return Chapter(INVOICE, ChapterState.NOT_YET, said, door="money" if bills else "")
