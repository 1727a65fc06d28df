"""Proposals: their numbers, what lets them go out, and what the homeowner can answer."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from estimates.command import Conflict
from estimates.models import ActivityEntry, Counter, EstimateRevision, Proposal, ProposalStatus, User
from estimates.models.proposal import PROPOSAL_MOVES
from estimates.proposals import (
    NotAllowed,
    proposal_accept,
    proposal_cancel,
    proposal_decline,
    proposal_draft,
    proposal_expire,
    proposal_issue,
    proposal_release_floor,
    proposal_withdraw,
)

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)
UNTIL = date(2026, 4, 1)
PAPER = "ab" * 32
S = ProposalStatus
Freeze = Callable[..., EstimateRevision]


def snapshot(**options: dict[str, Any]) -> str:
    """A frozen estimate with options, each at a margin of 45 % over a floor of 35 % unless said otherwise."""
    usual = {"margin": 0.45, "floor_margin": 0.35, "below_floor": False}
    return json.dumps({"estimate": {"options": [{"id": name, **usual, **given} for name, given in options.items()]}})


LOW = {"margin": 0.301, "below_floor": True}


@pytest.fixture
def draft(freeze_revision: Freeze, salesperson: User) -> Callable[..., Proposal]:
    def drafted(**options: dict[str, Any]) -> Proposal:
        revision = freeze_revision(snapshot=snapshot(**(options or {"walls": {}, "all": {}})))
        return proposal_draft(revision=revision, by=salesperson, now=NOW)

    return drafted


@pytest.fixture
def issue(salesperson: User) -> Callable[..., Proposal]:
    def issued(proposal: Proposal, **changes: Any) -> Proposal:
        given = {"document_sha256": PAPER, "document_name": "P-00001.docx", "valid_until": UNTIL, "by": salesperson}
        return proposal_issue(proposal=proposal, **{**given, "now": NOW, **changes})

    return issued


def accept(proposal: Proposal, **changes: Any) -> Proposal:
    given = {"option": "all", "typed_name": " Wren Halloran ", "document_sha256": PAPER, "now": NOW}
    return proposal_accept(proposal=proposal, **{**given, **changes})


@pytest.fixture
def acts(issue: Callable[..., Proposal], owner: User) -> dict[ProposalStatus, Callable[[Proposal], Proposal]]:
    """How a proposal gets to each status."""
    after = NOW + timedelta(days=40)
    return {
        S.ISSUED: issue,
        S.ACCEPTED: accept,
        S.DECLINED: lambda proposal: proposal_decline(proposal=proposal, reason="Too dear.", now=NOW),
        S.WITHDRAWN: lambda proposal: proposal_withdraw(proposal=proposal, reason="A slip.", by=owner, now=NOW),
        S.CANCELLED: lambda proposal: proposal_cancel(proposal=proposal, reason="In time.", by=None, now=NOW),
        S.EXPIRED: lambda proposal: proposal_expire(proposal=proposal, now=after),
    }


WAYS = {
    S.DRAFT: (),
    S.ISSUED: (S.ISSUED,),
    S.ACCEPTED: (S.ISSUED, S.ACCEPTED),
    S.DECLINED: (S.ISSUED, S.DECLINED),
    S.WITHDRAWN: (S.ISSUED, S.WITHDRAWN),
    S.CANCELLED: (S.ISSUED, S.ACCEPTED, S.CANCELLED),
    S.EXPIRED: (S.ISSUED, S.EXPIRED),
}


# --- Drafts and numbers ----------------------------------------------------------------------------------------------


def test_drafts_are_numbered_without_a_gap(freeze_revision: Freeze, salesperson: User) -> None:
    drafts = [
        proposal_draft(revision=freeze_revision(snapshot=snapshot(a={"n": n})), by=salesperson, now=NOW)
        for n in range(3)
    ]
    assert [proposal.number for proposal in drafts] == ["P-00001", "P-00002", "P-00003"]
    assert [proposal.revision_number for proposal in drafts] == [1, 2, 3]
    entry = ActivityEntry.objects.get(object_code=drafts[1].code)
    assert (entry.action, entry.after) == ("proposal.draft", {"number": "P-00002", "revision": 2, "status": "draft"})


def test_a_number_of_more_than_five_digits_is_written_in_full(draft: Callable[..., Proposal]) -> None:
    Counter.objects.create(name="proposal", value=99_999)
    assert draft().number == "P-100000"


def test_an_open_proposal_of_the_same_revision_is_returned_and_nothing_written(
    draft: Callable[..., Proposal], issue: Callable[..., Proposal]
) -> None:
    first = draft()
    assert draft() == first
    issue(first)
    assert draft() == first
    assert Counter.objects.get(name="proposal").value == 1


def test_a_withdrawn_proposal_makes_room_for_another_of_the_same_revision(
    draft: Callable[..., Proposal], owner: User
) -> None:
    first = draft()
    proposal_withdraw(proposal=first, reason="A slip.", by=owner, now=NOW)
    assert draft().number == "P-00002"


# --- Going out -------------------------------------------------------------------------------------------------------


def test_an_issued_proposal_holds_its_document_and_its_last_day(
    draft: Callable[..., Proposal], issue: Callable[..., Proposal], salesperson: User
) -> None:
    issue(draft())
    sent = Proposal.objects.get()
    assert (sent.status, sent.issued_at, sent.issued_by) == ("issued", NOW, salesperson)
    assert (sent.document_sha256, sent.document_name, sent.valid_until) == (PAPER, "P-00001.docx", UNTIL)
    entry = ActivityEntry.objects.latest("id")
    assert (entry.action, entry.before) == ("proposal.issue", {"status": "draft"})
    assert entry.after is not None
    assert entry.after["document_sha256"] == PAPER


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"document_sha256": "AB" * 32}, "document_sha256"),
        ({"document_sha256": ""}, "document_sha256"),
        ({"document_name": " "}, "document_name"),
        ({"valid_until": date(2026, 3, 1)}, "valid_until"),
    ],
)
def test_a_wrong_field_keeps_it_a_draft(
    draft: Callable[..., Proposal], issue: Callable[..., Proposal], change: dict[str, Any], field: str
) -> None:
    with pytest.raises(ValidationError, match="Enter") as refused:
        issue(draft(), **change)
    assert list(refused.value.message_dict) == [field]
    assert Proposal.objects.get().status == S.DRAFT


def test_an_offer_may_end_on_the_day_it_goes_out(
    draft: Callable[..., Proposal], issue: Callable[..., Proposal]
) -> None:
    sent = issue(draft(), valid_until=date(2026, 3, 2))
    assert accept(sent).status == S.ACCEPTED


def test_an_option_below_the_floor_does_not_go_out(
    draft: Callable[..., Proposal], issue: Callable[..., Proposal]
) -> None:
    with pytest.raises(ValidationError, match=r"margin 30\.1% is below the floor of 35\.0%") as refused:
        issue(draft(walls={}, all=LOW))
    (sentence,) = refused.value.message_dict["options"]
    assert sentence.startswith("options.all: ")
    assert Proposal.objects.get().status == S.DRAFT


def test_the_owner_releases_it_with_a_reason_down_to_a_margin(
    draft: Callable[..., Proposal], issue: Callable[..., Proposal], owner: User
) -> None:
    proposal = draft(walls={}, all=LOW)
    near = {"reason": "First house of the street.", "by": owner, "now": NOW}
    proposal_release_floor(proposal=proposal, least_margin=Decimal("0.3011"), **near)
    with pytest.raises(ValidationError, match="below the floor"):
        issue(proposal)
    released = proposal_release_floor(proposal=proposal, least_margin=Decimal("0.301"), **near)
    entry = ActivityEntry.objects.latest("id")
    assert (entry.action, entry.actor, entry.reason) == ("proposal.release_floor", owner, "First house of the street.")
    assert (released.floor_released_by, released.floor_least_margin) == (owner, Decimal("0.301"))
    assert issue(proposal).status == S.ISSUED


def test_nobody_but_the_owner_releases_and_not_without_a_reason(
    draft: Callable[..., Proposal], salesperson: User, owner: User
) -> None:
    proposal = draft(all=LOW)
    for by, reason, margin, field in (
        (salesperson, "A friend.", Decimal("0.3"), "by"),
        (owner, " ", Decimal("0.3"), "reason"),
        (owner, "A friend.", Decimal(30), "least_margin"),
        (owner, "A friend.", Decimal("0.30005"), "floor_least_margin"),
    ):
        with pytest.raises(ValidationError) as refused:
            proposal_release_floor(proposal=proposal, least_margin=margin, reason=reason, by=by, now=NOW)
        assert list(refused.value.message_dict) == [field]
    owner.is_active = False
    with pytest.raises(ValidationError, match="Only the owner"):
        proposal_release_floor(proposal=proposal, least_margin=Decimal("0.3"), reason="A friend.", by=owner, now=NOW)
    assert Proposal.objects.get().floor_released_by is None


def test_what_went_out_is_not_released_afterwards(
    draft: Callable[..., Proposal], issue: Callable[..., Proposal], owner: User
) -> None:
    sent = issue(draft())
    with pytest.raises(NotAllowed):
        proposal_release_floor(proposal=sent, least_margin=Decimal("0.1"), reason="Late.", by=owner, now=NOW)


# --- Answers ---------------------------------------------------------------------------------------------------------


def test_an_acceptance_holds_the_option_the_typed_name_the_time_and_the_document(
    draft: Callable[..., Proposal], issue: Callable[..., Proposal]
) -> None:
    accept(issue(draft()), origin="198.51.100.7")
    kept = Proposal.objects.get()
    assert (kept.status, kept.accepted_option, kept.accepted_name) == ("accepted", "all", "Wren Halloran")
    assert (kept.accepted_at, kept.accepted_sha256) == (NOW, PAPER)
    entry = ActivityEntry.objects.latest("id")
    assert (entry.action, entry.actor, entry.origin) == ("proposal.accept", None, "198.51.100.7")


@pytest.mark.parametrize(
    ("change", "fault", "words"),
    [
        ({"option": "attic"}, ValidationError, "Enter one of walls, all"),
        ({"typed_name": "  "}, ValidationError, "Enter your full name"),
        ({"document_sha256": "cd" * 32}, Conflict, "not the one that we sent"),
        ({"now": datetime(2026, 4, 2, 12, 0, tzinfo=UTC)}, Conflict, "ended on 2026-04-01"),
    ],
)
def test_an_acceptance_that_does_not_fit_is_refused(
    draft: Callable[..., Proposal],
    issue: Callable[..., Proposal],
    change: dict[str, Any],
    fault: type[Exception],
    words: str,
) -> None:
    sent = issue(draft())
    with pytest.raises(fault, match=words):
        accept(sent, **change)
    assert Proposal.objects.get().status == S.ISSUED


def test_an_offer_holds_until_the_end_of_its_last_day_where_the_firm_is(
    draft: Callable[..., Proposal], issue: Callable[..., Proposal], settings: Any
) -> None:
    settings.TIME_ZONE = "America/New_York"
    sent = issue(draft())
    last_minute = datetime(2026, 4, 2, 3, 59, tzinfo=UTC)  # 23:59 on 1 April in New York
    with pytest.raises(Conflict, match="it has not ended"):
        proposal_expire(proposal=sent, now=last_minute)
    with pytest.raises(Conflict, match="ended on 2026-04-01"):
        accept(sent, now=last_minute + timedelta(minutes=1))
    assert accept(sent, now=last_minute).status == S.ACCEPTED


def test_a_house_accepts_one_proposal_only_until_that_one_is_cancelled(
    draft: Callable[..., Proposal], issue: Callable[..., Proposal], freeze_revision: Freeze, owner: User
) -> None:
    first, second = issue(draft()), issue(draft(all={"n": 2}))
    accept(first)
    with pytest.raises(Conflict, match="P-00001 of this house is accepted already"):
        accept(second)
    with pytest.raises(Conflict, match="accepted already"):
        draft(all={"n": 3})
    proposal_cancel(proposal=first, reason="Changed their mind.", by=None, now=NOW)
    assert accept(second).status == S.ACCEPTED


def test_the_database_refuses_a_second_accepted_proposal_of_a_house(
    draft: Callable[..., Proposal], issue: Callable[..., Proposal]
) -> None:
    first, second = issue(draft()), issue(draft(all={"n": 2}))
    accept(first)
    taken = {"accepted_at": NOW, "accepted_option": "all", "accepted_name": "Wren", "accepted_sha256": PAPER}
    with pytest.raises(IntegrityError), transaction.atomic():
        Proposal.objects.filter(pk=second.pk).update(status=S.ACCEPTED, **taken)


@pytest.mark.parametrize("to", [status for status in S if status != S.DRAFT])
@pytest.mark.parametrize("status", S)
def test_a_proposal_moves_as_the_table_says_and_no_other_way(
    draft: Callable[..., Proposal],
    acts: dict[ProposalStatus, Callable[[Proposal], Proposal]],
    status: ProposalStatus,
    to: ProposalStatus,
) -> None:
    proposal = draft()
    for step in WAYS[status]:
        proposal = acts[step](proposal)
    assert proposal.status == status
    if to in PROPOSAL_MOVES[status]:
        assert acts[to](proposal).status == to
        entry = ActivityEntry.objects.latest("id")
        assert (entry.before, (entry.after or {})["status"]) == ({"status": status}, to)
    else:
        with pytest.raises(NotAllowed, match=f"is {status} and cannot become {to}") as refused:
            acts[to](proposal)
        assert refused.value.stored.status == status
    assert Proposal.objects.get().status == (to if to in PROPOSAL_MOVES[status] else status)


def test_reasons_are_kept_and_needed_where_the_firm_gives_them(
    draft: Callable[..., Proposal], issue: Callable[..., Proposal], owner: User
) -> None:
    sent = issue(draft())
    with pytest.raises(ValidationError, match="Enter the reason"):
        proposal_withdraw(proposal=sent, reason=" ", by=owner, now=NOW)
    with pytest.raises(ValidationError, match="Enter the reason"):
        proposal_cancel(proposal=sent, reason="", by=owner, now=NOW)
    declined = proposal_decline(proposal=sent, reason="Too dear.", now=NOW)
    assert (declined.decline_reason, declined.end_reason, declined.ended_at) == ("Too dear.", "", NOW)
    assert ActivityEntry.objects.latest("id").reason == "Too dear."


@pytest.mark.parametrize(
    "change",
    [
        {"status": "lost"},
        {"status": "issued"},
        {"status": "withdrawn"},
        {"issued_at": NOW},
        {"document_sha256": PAPER},
        {"accepted_name": "Wren"},
        {"ended_at": NOW},
        {"floor_reason": "A friend."},
        {"floor_least_margin": Decimal("0.2")},
    ],
)
def test_the_database_itself_refuses_a_draft_that_is_half_something_else(
    draft: Callable[..., Proposal], change: dict[str, Any]
) -> None:
    draft()
    with pytest.raises(IntegrityError), transaction.atomic():
        Proposal.objects.update(**change)


def test_an_acceptance_of_another_document_is_refused_by_the_database(
    draft: Callable[..., Proposal], issue: Callable[..., Proposal]
) -> None:
    accept(issue(draft()))
    for change in ({"accepted_sha256": "cd" * 32}, {"document_sha256": "cd" * 32}, {"accepted_option": ""}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Proposal.objects.update(**change)


def test_the_office_sees_proposals_and_the_crew_none(
    draft: Callable[..., Proposal], bookkeeper: User, crew: User
) -> None:
    draft()
    assert Proposal.objects.visible_to(bookkeeper).count() == 1
    assert not Proposal.objects.visible_to(crew).exists()


# --- With the engine -------------------------------------------------------------------------------------------------


def test_the_floor_is_the_one_that_the_revision_froze(
    estimated: Callable[..., EstimateRevision], issue: Callable[..., Proposal], owner: User
) -> None:
    revision = estimated("mill-cape")
    frozen = json.loads(revision.snapshot)["estimate"]["options"]
    assert frozen
    assert not any(option["below_floor"] for option in frozen)
    sent = issue(proposal_draft(revision=revision, by=owner, now=NOW))
    assert accept(sent, option=frozen[0]["id"]).accepted_option == frozen[0]["id"]
