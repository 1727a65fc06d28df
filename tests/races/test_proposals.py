import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError

from estimates.command import Conflict
from estimates.estimating import revision_create
from estimates.models import ActivityEntry, EstimateRevision, House, Proposal, ProposalStatus, User
from estimates.proposals import proposal_accept, proposal_draft, proposal_issue, proposal_withdraw

pytestmark = pytest.mark.django_db(transaction=True)
Together = Callable[..., list[Any]]

NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)
PAPER = "ab" * 32
TAKEN = {"accepted_at": NOW, "accepted_option": "all", "accepted_name": "Wren", "accepted_sha256": PAPER}


@pytest.fixture
def revisions(house: House, owner: User) -> list[EstimateRevision]:
    def freeze(number: int) -> EstimateRevision:
        options = [{"id": "all", "margin": 0.45, "floor_margin": 0.35, "below_floor": False}]
        return revision_create(
            house=house,
            snapshot=json.dumps({"n": number, "estimate": {"options": options}}),
            price_book="spring 2026",
            schema_version="1",
            engine_version="1",
            seed=7,
            price=Decimal("10.00"),
            cost=Decimal("5.00"),
            created_by=owner,
            now=NOW,
        )

    return [freeze(number) for number in range(6)]


@pytest.fixture
def issued(revisions: list[EstimateRevision], owner: User) -> list[Proposal]:
    drafts = [proposal_draft(revision=revision, by=owner, now=NOW) for revision in revisions]
    return [
        proposal_issue(
            proposal=draft,
            document_sha256=PAPER,
            document_name=f"{draft.number}.docx",
            valid_until=date(2026, 4, 1),
            by=owner,
            now=NOW,
        )
        for draft in drafts
    ]


def accept(proposal: Proposal) -> str:
    proposal_accept(proposal=proposal, option="all", typed_name="Wren", document_sha256=PAPER, now=NOW)
    return proposal.number


def test_without_the_lock_two_acceptances_pass_the_check_and_only_the_constraint_notices(
    together: Together, meet: Callable[[], None], issued: list[Proposal]
) -> None:
    def careless(number: int) -> bool:
        taken = Proposal.objects.filter(house=issued[0].house, status=ProposalStatus.ACCEPTED).exists()
        meet()
        Proposal.objects.filter(pk=issued[number].pk).update(status=ProposalStatus.ACCEPTED, **TAKEN)
        return taken

    outcomes = together(2, careless)
    assert outcomes.count(False) == 1
    assert sum(isinstance(outcome, IntegrityError) for outcome in outcomes) == 1


def test_of_six_proposals_of_a_house_accepted_at_once_one_is_and_the_others_are_told(
    together: Together, issued: list[Proposal]
) -> None:
    outcomes = together(6, lambda number: accept(issued[number]))
    won = [outcome for outcome in outcomes if isinstance(outcome, str)]
    assert len(won) == 1
    assert sum(isinstance(outcome, Conflict) for outcome in outcomes) == 5
    assert [row.number for row in Proposal.objects.filter(status=ProposalStatus.ACCEPTED)] == won
    assert ActivityEntry.objects.filter(action="proposal.accept").count() == 1


def test_of_six_answers_to_one_proposal_one_counts(together: Together, issued: list[Proposal], owner: User) -> None:
    def answer(number: int) -> str:
        if number % 2:
            return accept(issued[0])
        return proposal_withdraw(proposal=issued[0], reason="A slip.", by=owner, now=NOW).number

    outcomes = together(6, answer)
    assert outcomes.count("P-00001") == 1
    assert sum(isinstance(outcome, Conflict) for outcome in outcomes) == 5


def test_drafts_made_at_once_are_numbered_without_a_gap(
    together: Together, revisions: list[EstimateRevision], owner: User
) -> None:
    drafts = together(6, lambda number: proposal_draft(revision=revisions[number], by=owner, now=NOW).number)
    assert sorted(drafts) == [f"P-{number:05d}" for number in range(1, 7)]


def test_one_revision_drafted_six_times_at_once_is_one_proposal(
    together: Together, revisions: list[EstimateRevision], owner: User
) -> None:
    assert together(6, lambda _: proposal_draft(revision=revisions[0], by=owner, now=NOW).number) == ["P-00001"] * 6
