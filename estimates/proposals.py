"""Proposals: drafting, issuing, and what the homeowner answers."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any, cast

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.contract import FloorRelease, floor_faults
from estimates.counter import counter_next
from estimates.models.estimate import EstimateRevision
from estimates.models.house import House
from estimates.models.proposal import PROPOSAL_MOVES, Proposal, ProposalStatus
from estimates.models.user import Role, User
from estimates.records import Fault

if TYPE_CHECKING:
    from estimates.pricing import PricedOption

_S = ProposalStatus


class NotAllowed(Conflict):
    """The proposal cannot become what was asked for from where it stands; `stored` is what it is now."""

    def __init__(self, stored: Proposal, to: ProposalStatus) -> None:
        super().__init__(f"Proposal {stored.number} is {stored.status} and cannot become {to}. Load the page again.")
        self.stored = stored


def proposal_draft(*, revision: EstimateRevision, by: User, now: datetime, origin: str = "") -> Proposal:
    """Draft a proposal of a revision under the next number; one that is still open is returned, and nothing written.

    Parameters
    ----------
    revision : what is offered, as it was frozen.
    by : who drafts it.
    now : the time of the whole act.
    origin : network address or command.

    Raises
    ------
    Conflict : a proposal of this house is accepted already.
    """
    with transaction.atomic():
        house = House.objects.select_for_update().get(pk=revision.house_id)
        there = Proposal.objects.filter(revision=revision, status__in=[_S.DRAFT, _S.ISSUED]).first()
        if there is not None:
            return there
        _refuse_second(house)
        proposal = Proposal(
            # The last thing that can fail is behind us: a number that is taken is used.
            number=f"P-{counter_next(name='proposal'):05d}",
            house=house,
            revision=revision,
            revision_number=revision.number,
            created_at=now,
            created_by=by,
        )
        proposal.full_clean()
        proposal.save()
        after = {"number": proposal.number, "revision": revision.number, "status": proposal.status}
        activity_record(actor=by, action="proposal.draft", target=proposal, now=now, after=after, origin=origin)
    return proposal


def proposal_release_floor(
    *, proposal: Proposal, least_margin: Decimal, reason: str, by: User, now: datetime, origin: str = ""
) -> Proposal:
    """Let a draft go out below the floor margin (rule P2); another release takes the place of the one before.

    Parameters
    ----------
    proposal : a draft.
    least_margin : down to which margin, as a share of the price with four decimals at most.
    reason : why.
    by : the owner.
    now, origin : when, from where.

    Raises
    ------
    ValidationError : it is not the owner, there is no reason, or the margin is no share below 1.
    Conflict : the proposal is no draft any more.
    """
    faults = {}
    if by.role != Role.OWNER or not by.is_active:
        faults["by"] = "Only the owner may release a price below the floor. Ask the owner."
    if not reason.strip():
        faults["reason"] = "Enter why the price may go below the floor."
    if not Decimal(-1) <= least_margin < 1:
        faults["least_margin"] = "Enter the least margin as a share of the price from -1 to below 1, such as 0.22."
    if faults:
        raise ValidationError(faults)
    with transaction.atomic():
        locked = _locked(proposal)
        if locked.status != _S.DRAFT:
            raise NotAllowed(locked, _S.DRAFT)
        before = {"least_margin": locked.floor_least_margin, "by": locked.floor_released_by_id}
        locked.floor_released_by, locked.floor_reason, locked.floor_least_margin = by, reason, least_margin
        locked.full_clean()
        locked.save(update_fields=["floor_released_by", "floor_reason", "floor_least_margin"])
        activity_record(
            actor=by,
            action="proposal.release_floor",
            target=locked,
            now=now,
            before=before,
            after={"least_margin": least_margin, "by": by.pk},
            reason=reason,
            origin=origin,
        )
    return locked


def proposal_floor_faults(proposal: Proposal) -> tuple[Fault, ...]:
    """Options of a proposal below the floor margin that nobody has released (rule P2); empty when it can go out."""
    options = list(_frozen_options(proposal.revision))
    return floor_faults(cast("list[PricedOption]", options), _releases(proposal, options))


def proposal_issue(
    *,
    proposal: Proposal,
    document_sha256: str,
    document_name: str,
    valid_until: date,
    by: User,
    now: datetime,
    origin: str = "",
) -> Proposal:
    """Send a draft out with its document, which never changes from then on.

    Parameters
    ----------
    proposal : a draft.
    document_sha256, document_name : of the file that goes out.
    valid_until : last day of the offer.
    by, now, origin : who, when, from where.

    Raises
    ------
    ValidationError : an option is below the floor margin and not released (rule P2), or a field is wrong.
    Conflict : it is no draft any more.
    """
    faults: dict[str, Any] = {}
    if not re.fullmatch(r"[0-9a-f]{64}", document_sha256):
        faults["document_sha256"] = "Enter the sha256 of the document: 64 hex digits."
    if not document_name.strip():
        faults["document_name"] = "Enter the name of the document's file."
    if valid_until < timezone.localtime(now).date():
        faults["valid_until"] = "Enter the day of issue or a later one."
    if faults:
        raise ValidationError(faults)
    with transaction.atomic():
        locked = _locked(proposal)
        _need(locked, _S.ISSUED)
        below = proposal_floor_faults(locked)
        if below:
            raise ValidationError({"options": [str(fault) for fault in below]})
        locked.document_sha256, locked.document_name = document_sha256, document_name
        locked.valid_until, locked.issued_at, locked.issued_by = valid_until, now, by
        after = {"document_sha256": document_sha256, "document_name": document_name, "valid_until": valid_until}
        _move(locked, _S.ISSUED, by=by, now=now, origin=origin, after=after)
    return locked


def proposal_accept(
    *, proposal: Proposal, option: str, typed_name: str, document_sha256: str, now: datetime, origin: str = ""
) -> Proposal:
    """Record that the homeowner accepts an option; of two who accept at once, one succeeds.

    Parameters
    ----------
    proposal : an issued one; the row of its house is locked.
    option : id of the option.
    typed_name : the name that the homeowner typed.
    document_sha256 : of the document that was read.
    now, origin : when, from where.

    Raises
    ------
    ValidationError : there is no such option, or no name.
    Conflict : it is not open any more, another proposal of the house is accepted, the last day is over, or the document
        that was read is not the one that went out.
    """
    with transaction.atomic():
        House.objects.select_for_update().get(pk=proposal.house_id)
        locked = _locked(proposal)
        _need(locked, _S.ACCEPTED)
        _refuse_second(locked.house)
        _check_acceptance(locked, option, typed_name, document_sha256, now)
        locked.accepted_at, locked.accepted_option, locked.accepted_name = now, option, typed_name.strip()
        locked.accepted_sha256 = document_sha256
        after = {"option": option, "typed_name": typed_name.strip(), "document_sha256": document_sha256}
        _move(locked, _S.ACCEPTED, by=None, now=now, origin=origin, after=after)
    return locked


def proposal_decline(*, proposal: Proposal, now: datetime, reason: str = "", origin: str = "") -> Proposal:
    """Record that the homeowner declines, with the reason where one is given.

    Raises
    ------
    Conflict : the proposal is not issued, or answered already.
    """
    return _end(proposal, _S.DECLINED, by=None, now=now, origin=origin, decline_reason=reason)


def proposal_withdraw(*, proposal: Proposal, reason: str, by: User, now: datetime, origin: str = "") -> Proposal:
    """Take a draft or an issued proposal back.

    Raises
    ------
    ValidationError : there is no reason.
    Conflict : it is answered or ended already.
    """
    _need_reason(reason)
    return _end(proposal, _S.WITHDRAWN, by=by, now=now, origin=origin, end_reason=reason)


def proposal_cancel(*, proposal: Proposal, reason: str, by: User | None, now: datetime, origin: str = "") -> Proposal:
    """Record that an accepted proposal is cancelled; whether in time is for `estimates.cancellation` to say.

    Raises
    ------
    ValidationError : there is no reason.
    Conflict : it is not accepted.
    """
    _need_reason(reason)
    return _end(proposal, _S.CANCELLED, by=by, now=now, origin=origin, end_reason=reason)


def proposal_expire(*, proposal: Proposal, now: datetime, origin: str = "") -> Proposal:
    """Close an issued proposal whose last day is over.

    Raises
    ------
    Conflict : it is not issued, or its last day is not over.
    """
    return _end(proposal, _S.EXPIRED, by=None, now=now, origin=origin)


def proposals_expire(*, now: datetime, most: int = 1000, origin: str = "") -> int:
    """Close every issued proposal whose last day is over, and return how many; several at once do no harm.

    Parameters
    ----------
    now : the time; its day is that of the firm's clock.
    most : how many to close at most.
    origin : network address or command.
    """
    over = Proposal.objects.filter(status=_S.ISSUED, valid_until__lt=timezone.localtime(now).date())
    closed = 0
    for proposal in over.order_by("valid_until", "pk")[:most]:
        try:
            proposal_expire(proposal=proposal, now=now, origin=origin)
        except Conflict:
            # Answered, taken back or closed by another run since it was read.
            continue
        closed += 1
    return closed


@dataclass(frozen=True, slots=True)
class _Named:
    id: str


@dataclass(frozen=True, slots=True)
class _FrozenOption:
    """What the floor asks of an option, as the revision froze it: an engine of today may come to other figures."""

    option: _Named
    margin: float
    floor_margin: float
    below_floor: bool


def _frozen_options(revision: EstimateRevision) -> Iterator[_FrozenOption]:
    for form in json.loads(revision.snapshot)["estimate"]["options"]:
        yield _FrozenOption(_Named(form["id"]), form["margin"], form["floor_margin"], form["below_floor"])


def _releases(proposal: Proposal, options: list[_FrozenOption]) -> list[FloorRelease]:
    owner, least = proposal.floor_released_by, proposal.floor_least_margin
    if owner is None or least is None:
        return []
    # The owner's role was checked at the release; somebody who has left since did release it then.
    return [FloorRelease(o.option.id, True, owner.full_name, proposal.floor_reason, float(least)) for o in options]


def _locked(proposal: Proposal) -> Proposal:
    return Proposal.objects.select_for_update().get(pk=proposal.pk)


def _need(proposal: Proposal, to: ProposalStatus) -> None:
    if to not in PROPOSAL_MOVES[ProposalStatus(proposal.status)]:
        raise NotAllowed(proposal, to)


def _need_reason(reason: str) -> None:
    if not reason.strip():
        raise ValidationError({"reason": "Enter the reason."})


def _refuse_second(house: House) -> None:
    accepted = Proposal.objects.filter(house=house, status=_S.ACCEPTED).first()
    if accepted is not None:
        raise Conflict(f"Proposal {accepted.number} of this house is accepted already; there can be only one.")


def _check_acceptance(proposal: Proposal, option: str, typed_name: str, document_sha256: str, now: datetime) -> None:
    known = [frozen.option.id for frozen in _frozen_options(proposal.revision)]
    faults = {}
    if option not in known:
        faults["option"] = f"There is no option {option!r}. Enter one of {', '.join(known)}."
    if not typed_name.strip():
        faults["typed_name"] = "Enter your full name."
    if faults:
        raise ValidationError(faults)
    assert proposal.valid_until is not None
    if timezone.localtime(now).date() > proposal.valid_until:
        raise Conflict(f"The offer ended on {proposal.valid_until.isoformat()}. Ask us for a new one.")
    if document_sha256 != proposal.document_sha256:
        raise Conflict("The document that was read is not the one that we sent. Open the proposal again.")


def _end(
    proposal: Proposal, to: ProposalStatus, *, by: User | None, now: datetime, origin: str, **fields: str
) -> Proposal:
    with transaction.atomic():
        locked = _locked(proposal)
        _need(locked, to)
        if to is _S.EXPIRED:
            assert locked.valid_until is not None
            if timezone.localtime(now).date() <= locked.valid_until:
                raise Conflict(f"The offer holds until {locked.valid_until.isoformat()}; it has not ended.")
        locked.ended_at = now
        for name, value in fields.items():
            setattr(locked, name, value)
        _move(locked, to, by=by, now=now, origin=origin, reason="".join(fields.values()))
    return locked


def _move(
    proposal: Proposal,
    to: ProposalStatus,
    *,
    by: User | None,
    now: datetime,
    origin: str,
    after: dict[str, Any] | None = None,
    reason: str = "",
) -> None:
    """Bring a locked proposal to its next status and record it."""
    before = ProposalStatus(proposal.status)
    _need(proposal, to)
    proposal.status = to
    proposal.full_clean()
    proposal.save()
    activity_record(
        actor=by,
        action=f"proposal.{_ACTS[to]}",
        target=proposal,
        now=now,
        before={"status": before},
        after={"status": to, **(after or {})},
        reason=reason,
        origin=origin,
    )


_ACTS = {
    _S.ISSUED: "issue",
    _S.ACCEPTED: "accept",
    _S.DECLINED: "decline",
    _S.WITHDRAWN: "withdraw",
    _S.CANCELLED: "cancel",
    _S.EXPIRED: "expire",
}
