"""Homeowners who tap twice, on two devices, at the same moment."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine

from estimates.answers import fact_sheets_read, opening_note, proposal_answer_yes, question_ask
from estimates.cancelling import cancellation_receive
from estimates.command import Conflict
from estimates.issuing import LookChanged, proposal_send
from estimates.models import (
    ActivityEntry,
    Cancellation,
    Disclosure,
    EstimateRevision,
    OutboxMessage,
    PrivateLink,
    Proposal,
    ProposalPaper,
    Question,
    User,
)
from estimates.proposal_look import Terms, proposal_look
from estimates.proposals import proposal_draft

pytestmark = pytest.mark.django_db(transaction=True)
Together = Callable[..., list[Any]]

NOW = datetime(2026, 3, 6, 23, 30, tzinfo=UTC)


@pytest.fixture(autouse=True)
def friday() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


def sign(proposal: Proposal, option: str) -> str:
    proposal_answer_yes(
        proposal=proposal,
        option=option,
        typed_name="Wren Halloran",
        document_sha256=proposal.document_sha256,
        electronic=True,
        acknowledged=(),
        now=NOW,
    )
    return option


def test_two_options_signed_at_once_are_one_contract_with_one_set_of_papers(
    together: Together, send: Callable[..., Any]
) -> None:
    out = send("quarry-split")
    options = [one["id"] for one in out.proposal.paper.content["options"]]
    assert len(options) == 2
    fact_sheets_read(proposal=out.proposal, now=NOW)
    outcomes = together(4, lambda number: sign(out.proposal, options[number % 2]))
    taken = Proposal.objects.get().accepted_option
    # The same answer twice is the same contract; the other one is told so.
    assert outcomes.count(taken) == 2
    assert sum(isinstance(outcome, Conflict) for outcome in outcomes) == 2
    assert Disclosure.objects.count() == 3
    assert OutboxMessage.objects.filter(key__startswith="accepted-").count() == 2
    assert ActivityEntry.objects.filter(action="proposal.accept").count() == 1


def test_one_notice_to_cancel_sent_four_times_at_once_is_one(together: Together, send: Callable[..., Any]) -> None:
    out = send()
    fact_sheets_read(proposal=out.proposal, now=NOW)
    sign(out.proposal, "all")
    codes = together(4, lambda _: cancellation_receive(proposal=out.proposal, now=NOW).code)
    assert set(codes) == {Cancellation.objects.get().code}
    assert Proposal.objects.get().status == "cancelled"
    assert ActivityEntry.objects.filter(action="proposal.cancel").count() == 1


def test_one_question_and_one_look_sent_four_times_at_once_are_one(
    together: Together, send: Callable[..., Any]
) -> None:
    out = send()
    key = uuid.uuid4()
    together(4, lambda _: question_ask(proposal=out.proposal, key=key, words="Must we move out?", now=NOW).code)
    assert Question.objects.count() == 1
    together(4, lambda _: opening_note(proposal=out.proposal, now=NOW))
    assert ActivityEntry.objects.filter(action="proposal.open").count() == 1


def test_a_proposal_issued_four_times_at_once_goes_out_once(
    together: Together, estimated: Callable[..., EstimateRevision], salesperson: User, papers_folder: None
) -> None:
    draft = proposal_draft(revision=estimated("mill-cape"), by=salesperson, now=NOW)
    on = NOW.date()
    terms = Terms(on, "wren@example.org")
    seen = proposal_look(draft, terms, on=on).seen

    def issue(_: int) -> Any:
        return proposal_send(
            proposal=draft, terms=terms, seen=seen, site="http://testserver", by=salesperson, now=NOW, on=on
        )

    outcomes = together(4, issue)
    assert not any(isinstance(outcome, LookChanged) for outcome in outcomes)
    assert sum(isinstance(outcome, Conflict) for outcome in outcomes) == 3
    assert ProposalPaper.objects.count() == PrivateLink.objects.count() == OutboxMessage.objects.count() == 1
