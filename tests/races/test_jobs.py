"""A contract that is booked and cancelled at the same moment."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine

from estimates.answers import fact_sheets_read, proposal_answer_yes
from estimates.command import Conflict
from estimates.models import ActivityEntry, ProposalStatus, User
from jobs.booking import job_book
from jobs.cancellation import contract_cancel
from jobs.change_effect import ChangeLine
from jobs.changes import change_draft, change_issue, change_sign, seen_of
from jobs.models import Job, JobStatus

pytestmark = pytest.mark.django_db(transaction=True)
Together = Callable[..., list[Any]]

NOW = datetime(2026, 3, 6, 23, 30, tzinfo=UTC)


@pytest.fixture(autouse=True)
def friday() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def contract(send: Callable[..., Any]) -> Any:
    out = send()
    fact_sheets_read(proposal=out.proposal, now=NOW)
    return proposal_answer_yes(
        proposal=out.proposal,
        option=out.proposal.paper.content["options"][0]["id"],
        typed_name="Wren Halloran",
        document_sha256=out.proposal.document_sha256,
        electronic=True,
        acknowledged=range(len(out.proposal.paper.content["acknowledgements"])),
        now=NOW,
    )


def test_a_contract_booked_and_cancelled_at_once_leaves_no_job_that_is_not_locked(
    together: Together, contract: Any, scheduler: User
) -> None:
    def act(number: int) -> str:
        if number % 2:
            return job_book(proposal=contract, by=scheduler, now=NOW).number
        return str(contract_cancel(proposal=contract, now=NOW).code)

    outcomes = together(6, act)
    faults = [outcome for outcome in outcomes if not isinstance(outcome, str)]
    # Booking may come too late; a notice never does.
    assert all(isinstance(fault, Conflict) for fault in faults)
    assert len({outcomes[number] for number in (0, 2, 4)}) == 1
    contract.refresh_from_db()
    assert contract.status == ProposalStatus.CANCELLED
    assert [job.status for job in Job.objects.all()] in ([], [JobStatus.LOCKED])
    assert ActivityEntry.objects.filter(action="job.locked").count() == Job.objects.count()


def test_a_change_is_not_signed_under_a_contract_that_is_cancelled_meanwhile(
    together: Together, contract: Any, scheduler: User, salesperson: User
) -> None:
    job = job_book(proposal=contract, by=scheduler, now=NOW)
    line = (ChangeLine("Cap a vent", 45_50),)
    draft = change_draft(job=job, reason="A vent was found.", lines=line, by=salesperson, now=NOW)
    out = change_issue(change=draft, seen=seen_of(draft), by=salesperson, now=NOW)

    def act(number: int) -> str:
        if number % 2:
            sign = {"typed_name": "Wren Halloran", "content_sha256": out.content_sha256, "electronic": True}
            return str(change_sign(change=out, now=NOW, **sign).status)
        return str(contract_cancel(proposal=contract, now=NOW).code)

    outcomes = together(4, act)
    out.refresh_from_db()
    job.refresh_from_db()
    assert job.status == JobStatus.LOCKED
    signed = outcomes.count("signed")
    # Either it was signed before the contract ended, or it ended with it; never both.
    assert out.status == ("signed" if signed else "withdrawn")
