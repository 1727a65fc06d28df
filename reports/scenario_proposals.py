"""The proposals of the demo scenario: issued and answered by the services that people use."""

from __future__ import annotations

from decimal import Decimal

from estimates.answers import fact_sheets_read, proposal_answer_no, proposal_answer_yes
from estimates.issuing import proposal_send
from estimates.models import EstimateRevision, Lead, Proposal, ProposalPaper, ProposalStatus, User
from estimates.proposal_look import Terms, last_price_day, proposal_look
from estimates.proposals import proposal_draft, proposal_floor_faults, proposal_release_floor
from reports.scenario import ORIGIN, ScenarioHouse
from reports.scenario_story import Calendar

SITE = "http://127.0.0.1:8000"
"""Address that the letters of the demo would name; none is sent."""

RELEASED_DOWN_TO = Decimal("0.2500")
"""Margin down to which the owner releases the one price of the story that is below the floor. [1]"""


def proposal_load(
    house: ScenarioHouse, days: Calendar, *, lead: Lead, revision: EstimateRevision, owner: User
) -> Proposal | None:
    """Bring the proposal of a house with its answer; one that is there already is left as it is.

    Returns
    -------
    The proposal; None for a house that none was made for.

    Raises
    ------
    ValidationError : something keeps it from going out, so the story asks for what the rules forbid.
    """
    row = house.lead
    if row.proposed is None:
        return None
    known = Proposal.objects.filter(revision=revision).first()
    if known is not None:
        return known
    on, now = days.day(row.proposed), days.time(row.proposed)
    proposal = proposal_draft(revision=revision, by=lead.seller, now=now, origin=ORIGIN)
    if proposal_floor_faults(proposal):
        proposal = proposal_release_floor(
            proposal=proposal,
            least_margin=RELEASED_DOWN_TO,
            reason="First house on a street of twelve like it.",
            by=owner,
            now=now,
            origin=ORIGIN,
        )
    terms = Terms(last_price_day(proposal, on=on))
    seen = proposal_look(proposal, terms, on=on).seen
    proposal_send(proposal=proposal, terms=terms, seen=seen, site=SITE, by=lead.seller, now=now, on=on, origin=ORIGIN)
    proposal.refresh_from_db()
    return _answered(proposal, house, days)


def _answered(proposal: Proposal, house: ScenarioHouse, days: Calendar) -> Proposal:
    """What the homeowner did, on the days of the story."""
    row = house.lead
    if row.lost is not None:
        return proposal_answer_no(proposal=proposal, reason=row.words, now=days.time(row.lost), origin=ORIGIN)
    if row.won is None:
        return proposal
    now = days.time(row.won)
    fact_sheets_read(proposal=proposal, now=now, origin=ORIGIN)
    paper = ProposalPaper.objects.get(proposal=proposal)
    first = house.record.options[0].id if house.record.options else "all"
    accepted = proposal_answer_yes(
        proposal=proposal,
        option=row.option or first,
        typed_name=house.record.customer,
        document_sha256=proposal.document_sha256,
        electronic=True,
        acknowledged=range(len(paper.content["acknowledgements"])),
        now=now,
        origin=ORIGIN,
    )
    assert accepted.status == ProposalStatus.ACCEPTED
    return accepted
