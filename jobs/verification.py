"""Verification: findings and their mending, the inspector's word, and what keeps the final invoice back (V1, V2)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.models.assessment import Assessment
from estimates.models.user import Role, User
from jobs.booking import job_move
from jobs.house_tests import combustion_of
from jobs.infrared import RETURN_DAYS
from jobs.models import (
    Bay,
    CrewMember,
    Finding,
    FindingKind,
    Job,
    JobStatus,
    JobWall,
    Phase,
    PhaseKind,
    PhaseStatus,
    RigKind,
    Skill,
    Verdict,
    Verification,
    Visit,
)

VOID_LIMIT = 0.01
"""Share of the reachable wall that may stay void (rule V1; the firm's own limit, editable here)."""

REFILL_HOURS = Decimal("4.00")
"""A return visit to drill and fill a void: two people, two hours. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class VoidShare:
    """Void area that is open, reachable wall area, and whether it is over the limit. [ft2]"""

    void_ft2: float
    reachable_ft2: float

    @property
    def share(self) -> float:
        """Void over reachable area. [1]"""
        return self.void_ft2 / self.reachable_ft2 if self.reachable_ft2 else 0.0

    @property
    def over(self) -> bool:
        """Whether a refill is due before the final invoice."""
        return self.share > VOID_LIMIT


def void_share(job: Job) -> VoidShare:
    """How much of the reachable wall is void by open findings that a probe, a drill or eyes confirmed."""
    bays = Bay.objects.filter(wall__job=job, reachable=True, retired=False)
    reachable = sum(bays.values_list("area_ft2", flat=True))
    open_voids = Finding.objects.filter(job=job, closed_at__isnull=True, area_ft2__gt=0, confirmed=True)
    return VoidShare(sum(open_voids.values_list("area_ft2", flat=True)), reachable)


def finding_add(
    *,
    job: Job,
    kind: FindingKind,
    verdict: Verdict,
    words: str,
    by: User,
    now: datetime,
    wall: JobWall | None = None,
    bay: int | None = None,
    area_ft2: float = 0.0,
    confirmed: bool = False,
    origin: str = "",
) -> Finding:
    """Write down something that was found; a void over the limit opens a return visit (rule V1).

    Parameters
    ----------
    wall, bay : where, as far as it is known.
    area_ft2 : of a void, 0 where it is none; never more than that of the bay.
    confirmed : whether a probe or drill has shown it. Infrared alone is indicative.

    Raises
    ------
    ValidationError : no words, a bay that the wall does not have, an area that the bay does not have.
    """
    if bay is not None:
        if wall is None:
            raise ValidationError({"bay": "Enter the wall of the bay."})
        row = Bay.objects.filter(wall=wall, number=bay, retired=False).first()
        if row is None:
            raise ValidationError({"bay": f"{wall.name} has no bay {bay}. Look at the drawing."})
        if area_ft2 > row.area_ft2 + 1e-6:
            raise ValidationError({"area_ft2": f"Bay {bay} has {row.area_ft2:.1f} ft2. Enter at most that."})
    if confirmed and kind not in (FindingKind.PROBE, FindingKind.LOOK):
        raise ValidationError({"confirmed": "Only a probe, a drill or somebody's eyes confirm a void."})
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=job.pk)
        finding = Finding(
            job=job,
            wall=wall,
            bay=bay,
            kind=kind,
            verdict=verdict,
            words=words.strip(),
            area_ft2=area_ft2,
            confirmed=confirmed,
            found_at=now,
            found_by=by,
        )
        finding.full_clean()
        finding.save()
        after = {"words": finding.words, "verdict": verdict, "area_ft2": area_ft2}
        activity_record(actor=by, action="job.finding_add", target=job, now=now, after=after, origin=origin)
        if void_share(job).over:
            _refill(job, finding, by=by, now=now, origin=origin)
    return finding


def _refill(job: Job, finding: Finding, *, by: User, now: datetime, origin: str) -> None:
    """Open one return visit for all voids that are waiting."""
    waiting = Phase.objects.filter(job=job, kind=PhaseKind.RETURN, status=PhaseStatus.PLANNED)
    if waiting.exists():
        return
    last = Phase.objects.filter(job=job).aggregate(last=Max("position"))["last"] or 0
    phase = Phase(
        job=job,
        kind=PhaseKind.RETURN,
        position=last + 1,
        hours=REFILL_HOURS,
        least_people=2,
        skills=[Skill.INJECTING],
        rig_kind=RigKind.FOAM,
        note=f"Refill: {finding.words}"[:300],
    )
    phase.full_clean()
    phase.save()
    activity_record(actor=by, action="job.refill_open", target=job, now=now, after={"note": phase.note}, origin=origin)


def finding_close(*, finding: Finding, how: str, by: User, now: datetime, version: int, origin: str = "") -> Finding:
    """Close a finding: who saw it mended, and how. Closing it again changes nothing.

    Raises
    ------
    ValidationError : nothing says how it was mended.
    Conflict : somebody else changed it meanwhile.
    """
    if not how.strip():
        raise ValidationError({"closed_how": "Enter how it was mended and what showed it."})
    with transaction.atomic():
        row = Finding.objects.select_for_update().get(pk=finding.pk)
        if row.closed_at is not None:
            return row
        if row.version != version:
            raise Conflict("Somebody else changed this finding meanwhile. Look at it again.")
        row.closed_at, row.closed_by, row.closed_how, row.version = now, by, how.strip(), row.version + 1
        row.full_clean()
        row.save()
        after = {"words": row.words, "how": row.closed_how}
        activity_record(actor=by, action="job.finding_close", target=row.job, now=now, after=after, origin=origin)
    return row


def people_of(job: Job) -> set[int]:
    """Ids of the users who were on a crew of the job on a day it worked there; who only tested is an inspector."""
    found: set[int] = set()
    worked = Visit.objects.filter(phase__job=job).exclude(phase__kind__in=INSPECTING)
    for crew, day in worked.values_list("crew", "day").distinct():
        members = CrewMember.objects.filter(crew=crew, since__lte=day, worker__user__isnull=False)
        found |= set(members.exclude(until__lt=day).values_list("worker__user_id", flat=True))
    return found


INSPECTING = (PhaseKind.TEST_IN, PhaseKind.TEST_OUT, PhaseKind.INFRARED)


def inspector_faults(job: Job, inspector: User) -> tuple[str, ...]:
    """Why somebody should not verify a job (rule V2): they measured the house, or were on its crew."""
    faults = []
    measured = Assessment.objects.filter(house=job.house).order_by("-number").first()
    if measured is not None and inspector.pk in (measured.created_by_id, measured.completed_by_id):
        faults.append(f"{inspector.full_name} measured this house")
    if inspector.pk in people_of(job):
        faults.append(f"{inspector.full_name} was on the crew")
    return tuple(faults)


def verify_faults(job: Job) -> tuple[str, ...]:
    """What keeps a job from being verified, each with what to do; findings to redo among them."""
    faults = []
    if job.status != JobStatus.WORK_DONE:
        faults.append(f"The job is {job.get_status_display().lower()}; the work has to be done first.")
    waiting = Bay.objects.filter(wall__job=job, retired=False, reachable=True, state__in=["planned", "drilled", "left"])
    if waiting.exists():
        number = waiting.count()
        said = (
            "1 bay is not accounted for: fill it" if number == 1 else f"{number} bays are not accounted for: fill them"
        )
        faults.append(f"{said}, or say why not.")
    doubtful = Bay.objects.filter(wall__job=job, retired=False, state="doubtful").count()
    if doubtful:
        said = (
            "1 bay is doubtful: look, and say what it is."
            if doubtful == 1
            else f"{doubtful} bays are doubtful: look, and say what they are."
        )
        faults.append(said)
    redo = Finding.objects.filter(job=job, closed_at__isnull=True, verdict=Verdict.REDO).count()
    if redo:
        faults.append("1 finding waits for its redo." if redo == 1 else f"{redo} findings wait for their redo.")
    combustion = combustion_of(job)
    if combustion.rounds and not job.tests.filter(when="out").exists():
        faults.append("No test after the work is recorded: test combustion safety before leaving.")
    faults += [f"Combustion: {finding.text}" for finding in combustion.standing if finding.action in STOPPING]
    return tuple(faults)


STOPPING = frozenset({"stop", "evacuate"})


def job_verify(
    *,
    job: Job,
    inspector: User,
    now: datetime,
    same_person_reason: str = "",
    infrared_judged: bool,
    today: date,
    origin: str = "",
) -> Verification:
    """Record the inspector's word that a job is what it should be; a second word returns the first.

    Parameters
    ----------
    inspector : who looked; should differ from the assessor and the crew (rule V2).
    same_person_reason : why not, where that could not be helped.
    infrared_judged : False sets a day until which the return visit is due; it does not hold the invoice.

    Raises
    ------
    ValidationError : something is open, or the inspector is the wrong person without a reason.
    """
    with transaction.atomic():
        locked = Job.objects.select_for_update().get(pk=job.pk)
        there = Verification.objects.filter(job=locked).first()
        if there is not None and locked.status in (JobStatus.VERIFIED, JobStatus.CLOSED):
            return there
        faults = list(verify_faults(locked))
        if faults:
            raise ValidationError({"job": faults})
        wrong = inspector_faults(locked, inspector)
        if wrong and not same_person_reason.strip():
            raise ValidationError(
                {"same_person_reason": f"{'; '.join(wrong)}. Choose somebody else, or enter why it cannot be helped."}
            )
        row = there or Verification(job=locked)
        row.inspector, row.decided_at = inspector, now
        row.same_person_reason = same_person_reason.strip() if wrong else ""
        row.infrared_due = None if infrared_judged else today + timedelta(days=RETURN_DAYS)
        row.full_clean()
        row.save()
        after = {"infrared_due": row.infrared_due, "exception": list(wrong)}
        activity_record(
            actor=inspector,
            action="job.verify",
            target=locked,
            now=now,
            after=after,
            reason=row.same_person_reason,
            origin=origin,
        )
        job_move(job=locked, to=JobStatus.VERIFIED, by=inspector, now=now, origin=origin)
    return row


def void_release(*, job: Job, reason: str, by: User, now: datetime, origin: str = "") -> Verification:
    """Let the final invoice go out although a void stays, with credit for the unfilled area (rule V1).

    Raises
    ------
    ValidationError : it is not the owner, there is no reason, or the job is not verified yet.
    """
    faults = {}
    if by.role != Role.OWNER or not by.is_active:
        faults["by"] = "Only the owner may release a void. Ask the owner."
    if not reason.strip():
        faults["reason"] = "Enter why the void stays and what is credited."
    row = Verification.objects.filter(job=job).first()
    if row is None:
        faults["job"] = "Verify the job first."
    if faults or row is None:
        raise ValidationError(faults)
    with transaction.atomic():
        row = Verification.objects.select_for_update().get(pk=row.pk)
        row.void_released_by, row.void_release_reason = by, reason.strip()
        row.full_clean()
        row.save(update_fields=["void_released_by", "void_release_reason"])
        activity_record(
            actor=by, action="job.void_release", target=job, now=now, reason=row.void_release_reason, origin=origin
        )
    return row


def final_invoice_faults(job: Job) -> tuple[str, ...]:
    """What verification holds against a final invoice: a void over the limit that nobody released (rule V1)."""
    row = Verification.objects.filter(job=job).first()
    if row is None:
        return ("The job is not verified yet.",)
    found = void_share(job)
    if found.over and not row.void_release_reason:
        return (
            f"{found.void_ft2:.1f} ft2 of {found.reachable_ft2:.0f} ft2 of wall are void ({found.share:.1%}, "
            f"{VOID_LIMIT:.0%} allowed): refill, or let the owner release it with a credit.",
        )
    return ()


def measure_verdicts(findings: Sequence[Finding]) -> dict[str, Verdict]:
    """Wall or kind of test -> the gravest verdict of its open findings; good where all are closed."""
    order = [Verdict.GOOD, Verdict.LOOK_AGAIN, Verdict.REDO]
    found: dict[str, Verdict] = {}
    for finding in findings:
        name = finding.wall.name if finding.wall is not None else finding.get_kind_display()
        verdict = Verdict.GOOD if finding.closed_at is not None else Verdict(finding.verdict)
        found[name] = max(found.get(name, Verdict.GOOD), verdict, key=order.index)
    return found
