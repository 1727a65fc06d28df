"""Where a house stands: its eight chapters, what is next in each and who owes it."""

from __future__ import annotations

from dataclasses import dataclass

from estimates.activity import object_type
from estimates.assessments import assessment_to_record
from estimates.gates import house_gates
from estimates.models import (
    ActivityEntry,
    Assessment,
    EstimateRevision,
    House,
    Lead,
    LeadStage,
    Proposal,
    ProposalStatus,
)
from estimates.models.assessment import AssessmentStatus
from estimates.models.user import User
from estimates.records import BadRecord
from jobs.house_chapter import Chapter, ChapterState
from jobs.house_job import chapters_after
from jobs.models import Job

AFTER = 3
"""So many chapters follow the signature."""

MOST_ACTS = 60
"""So many of the latest acts are shown on the page of a house."""


@dataclass(frozen=True, slots=True)
class HouseState:
    """The chapters in their order, the one where something is to be done, and the rows behind them."""

    chapters: tuple[Chapter, ...]
    lead: Lead | None
    proposal: Proposal | None
    job: Job | None

    @property
    def next_chapter(self) -> Chapter | None:
        """The first chapter in which something is to be done; once there is a job, of those after the signature."""
        open_ones = self.chapters if self.job is None else self.chapters[-AFTER:]
        return next((c for c in open_ones if c.state in (ChapterState.NOW, ChapterState.BLOCKED)), None)


def house_state(house: House, user: User) -> HouseState:
    """Return where a house stands, as far as somebody may know of it."""
    leads = Lead.objects.visible_to(user).filter(house=house).select_related("seller", "source")
    lead = leads.order_by("-taken_at", "-id").first()
    assessment = Assessment.objects.filter(house=house).order_by("-number").select_related("updated_by").first()
    revision = EstimateRevision.objects.filter(house=house).order_by("-number").defer("snapshot").first()
    proposal = Proposal.objects.filter(house=house).order_by("-created_at", "-id").select_related("created_by").first()
    seller = lead.seller.full_name if lead is not None else "Sales"
    measured = _assessment(assessment, seller)
    job, after = chapters_after(proposal)
    return HouseState(
        (
            _lead(lead),
            measured,
            _takeoff(revision, assessment),
            _estimate(revision, assessment, seller),
            _proposal(proposal, revision, seller),
            *after,
        ),
        lead,
        proposal,
        job,
    )


def _lead(lead: Lead | None) -> Chapter:
    if lead is None:
        return Chapter("Lead", ChapterState.NOT_YET, "No lead is linked to this house.")
    said = f"{lead.get_stage_display()}; {lead.source.name}"
    if lead.stage in (LeadStage.LOST, LeadStage.CANCELLED):
        return Chapter("Lead", ChapterState.BLOCKED, f"{said}.", door="lead")
    if not lead.is_open:
        return Chapter("Lead", ChapterState.DONE, f"{said}.", door="lead")
    step = lead.next_step or "Plan the next step"
    return Chapter("Lead", ChapterState.NOW, f"{said}.", step, lead.seller.full_name, "lead")


def _assessment(assessment: Assessment | None, seller: str) -> Chapter:
    name, door = "Site assessment", "estimates-show-assessment"
    if assessment is None:
        return Chapter(name, ChapterState.NOW, "Nothing is measured yet.", "Measure the house", seller, door)
    if assessment.status == AssessmentStatus.COMPLETED:
        return Chapter(name, ChapterState.DONE, f"Completed; last changed by {assessment.updated_by}.", door=door)
    try:
        waiting = len(house_gates(assessment_to_record(assessment)).open)
    except BadRecord as bad:
        return Chapter(name, ChapterState.BLOCKED, str(bad.faults[0]), "Mend the assessment", seller, door)
    if waiting:
        questions = "1 hazard question is" if waiting == 1 else f"{waiting} hazard questions are"
        return Chapter(name, ChapterState.NOW, f"{questions} open.", "Answer them", seller, door)
    return Chapter(name, ChapterState.NOW, "Every hazard question is answered.", "Complete it", seller, door)


def _takeoff(revision: EstimateRevision | None, assessment: Assessment | None) -> Chapter:
    if revision is not None:
        return Chapter("Takeoff", ChapterState.DONE, f"Frozen with revision {revision.number}.")
    if assessment is None:
        return Chapter("Takeoff", ChapterState.NOT_YET, "Follows from the walls that are measured.")
    return Chapter("Takeoff", ChapterState.NOW, "Worked out from the assessment as it stands.", door="")


def _estimate(revision: EstimateRevision | None, assessment: Assessment | None, seller: str) -> Chapter:
    name, door = "Estimate", "estimates-show-estimate"
    if revision is None and assessment is None:
        return Chapter(name, ChapterState.NOT_YET, "Follows the assessment.")
    if revision is None:
        return Chapter(name, ChapterState.NOW, "Priced in memory only.", "Freeze a revision", seller, door)
    if assessment is not None and assessment.updated_at > revision.created_at:
        said = f"The assessment was changed after revision {revision.number}."
        return Chapter(name, ChapterState.NOW, said, "Freeze a new revision", seller, door)
    return Chapter(name, ChapterState.DONE, f"Revision {revision.number}.", door=door)


def _proposal(proposal: Proposal | None, revision: EstimateRevision | None, seller: str) -> Chapter:
    name = "Proposal"
    if proposal is None:
        if revision is None:
            return Chapter(name, ChapterState.NOT_YET, "Follows the estimate.")
        return Chapter(name, ChapterState.NOW, "None is made yet.", "Make the proposal", seller)
    said = f"{proposal.number}, {proposal.get_status_display().lower()}"
    status = ProposalStatus(proposal.status)
    if status is ProposalStatus.DRAFT:
        return Chapter(name, ChapterState.NOW, f"{said}.", "Check and issue it", seller, "proposal")
    if status is ProposalStatus.ISSUED:
        until = f"{said}, valid until {proposal.valid_until}."
        return Chapter(name, ChapterState.NOW, until, "Answer it", "Homeowner", "proposal")
    if status is ProposalStatus.ACCEPTED:
        return Chapter(name, ChapterState.DONE, f"{said}.", door="proposal")
    return Chapter(name, ChapterState.BLOCKED, f"{said}.", "Make another one, or close the lead", seller, "proposal")


def house_acts(house: House, user: User) -> list[ActivityEntry]:
    """Return the latest acts on a house, its leads, assessments, proposals and jobs, latest first.

    That a house was made of a lead is one act, although lead and house each keep it.
    """
    known = [
        (House, [house.code]),
        (Lead, list(Lead.objects.visible_to(user).filter(house=house).values_list("code", flat=True))),
        (Assessment, list(Assessment.objects.filter(house=house).values_list("code", flat=True))),
        (Proposal, list(Proposal.objects.filter(house=house).values_list("code", flat=True))),
        (Job, list(Job.objects.visible_to(user).filter(house=house).values_list("code", flat=True))),
    ]
    rows = ActivityEntry.objects.none()
    for model, codes in known:
        rows = rows | ActivityEntry.objects.filter(object_type=object_type(model), object_code__in=codes)
    rows = rows.exclude(action="lead.house", after__made=True)
    return list(rows.select_related("actor").order_by("-at", "-id")[:MOST_ACTS])
