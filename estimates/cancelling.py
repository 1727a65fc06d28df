"""The right to cancel an accepted proposal: until when, and what comes of a notice. A notice is never refused."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.cancellation import (
    BadDeadline,
    CancellationNotice,
    CancellationRight,
    Coverage,
    NoticeDelivery,
    cancellation_right,
    judge_notice,
)
from estimates.command import Conflict
from estimates.firm import load_firm
from estimates.issuing import current_link, house_zone
from estimates.leads import lead_follow
from estimates.mail import LINK, letter_add
from estimates.models.answer import Cancellation, CancellationDecision, Disclosure, DisclosureKind
from estimates.models.house import House
from estimates.models.lead import LeadStage
from estimates.models.paper import ProposalPaper
from estimates.models.proposal import Proposal, ProposalStatus
from estimates.models.user import Role, User
from estimates.proposal_words import long_date
from estimates.proposals import proposal_cancel
from estimates.rules import RuleRow, places_of, rule_from_form
from estimates.rules_table import rule_rows
from estimates.terms import Parties, terms_of

WITHOUT_A_REASON = "Cancelled by the homeowner."
"""A buyer owes no reason; the proposal keeps this where none was given."""


@dataclass(frozen=True, slots=True)
class Standing:
    """The right to cancel an accepted proposal, and what it follows from. `zone` is that of the house."""

    right: CancellationRight
    notice: NoticeDelivery
    signed_at: datetime
    zone: ZoneInfo
    places: tuple[str, ...]
    rules: tuple[RuleRow, ...]


def cancellation_standing(proposal: Proposal, *, coverage: Coverage = Coverage.COVERED) -> Standing:
    """Until when an accepted or cancelled proposal may be cancelled.

    Parameters
    ----------
    proposal : one that was accepted.
    coverage : what the contract states of the right.

    Raises
    ------
    Conflict : it was never accepted.
    RuleMissing : no rule gives the time.
    """
    if proposal.accepted_at is None:
        raise Conflict(f"Proposal {proposal.number} was not accepted; there is nothing to cancel.")
    paper = ProposalPaper.objects.filter(proposal=proposal).only("zone", "sold_in").first()
    handed = Disclosure.objects.filter(proposal=proposal, kind=DisclosureKind.CANCELLATION_NOTICE).first()
    zone = ZoneInfo(paper.zone if paper is not None else house_zone(proposal.house))
    sold_in = paper.sold_in if paper is not None else "English"
    notice = (
        NoticeDelivery(None, 0, "", sold_in)
        if handed is None
        else NoticeDelivery(handed.at, handed.copies, handed.language, sold_in)
    )
    house = proposal.house
    places = places_of(house.state, *([house.county] if house.county.strip() else []))
    rules = contract_rules(proposal, places)
    right = cancellation_right(
        rules, places, signed_at=proposal.accepted_at, notice=notice, zone=zone, coverage=coverage
    )
    return Standing(right, notice, proposal.accepted_at, zone, places, rules)


def contract_rules(proposal: Proposal, places: tuple[str, ...]) -> tuple[RuleRow, ...]:
    """The rules of the places of a contract; those frozen with the estimate where the table holds none of them."""
    rows = rule_rows(places)
    if rows:
        return rows
    return tuple(rule_from_form(form) for form in json.loads(proposal.revision.snapshot)["rules"])


def notice_words(proposal: Proposal, *, signed_on: date) -> tuple[str, ...]:
    """The notice of cancellation with its dates filled in, paragraph by paragraph."""
    house, firm = proposal.house, load_firm()
    places = places_of(house.state, *([house.county] if house.county.strip() else []))
    return terms_of(
        contract_rules(proposal, places),
        places,
        on=signed_on,
        parties=Parties(house.customer_name, firm.name, firm.address, firm.depositary),
        products="",
        signed_on=signed_on,
    ).notice


def cancellation_receive(
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
    """Record a notice to cancel, whenever it comes; one in time cancels the proposal, a late one waits for the owner.

    A second notice returns the first: what counts is that and when the homeowner first said so.

    Parameters
    ----------
    proposal : one that was accepted.
    now : when it is recorded.
    reason : in the homeowner's words; none is owed.
    by : who records a notice that came by post or by hand; None: the homeowner, through the private link.
    received_at, sent_at, postmarked_on : when it came, was sent, was stamped by the post; received now where left out.
    origin : from where.

    Raises
    ------
    ValidationError : the times do not fit together.
    Conflict : the proposal was never accepted.
    """
    with transaction.atomic():
        house = House.objects.select_for_update().get(pk=proposal.house_id)
        locked = _locked(proposal)
        there = Cancellation.objects.filter(proposal=locked).first()
        if there is not None:
            return there
        standing = cancellation_standing(locked)
        received = received_at or now
        if received > now:
            raise ValidationError({"received_at": "Enter the time it came; it cannot be in the future."})
        notice = CancellationNotice(received, sent_at, postmarked_on)
        try:
            answer = judge_notice(standing.right, notice, standing.rules, standing.places, zone=standing.zone)
        except BadDeadline as fault:
            raise ValidationError({"sent_at": f"{fault}."}) from None
        row = Cancellation(
            proposal=locked,
            received_at=received,
            sent_at=sent_at,
            postmarked_on=postmarked_on,
            by_link=by is None,
            recorded_by=by,
            recorded_at=now,
            reason=reason.strip(),
            zone=standing.zone.key,
            signed_at=standing.signed_at,
            notice_delivered_at=standing.notice.delivered_at,
            notice_language=standing.notice.language,
            notice_copies=standing.notice.copies,
            sold_in=standing.notice.spoken_language,
            coverage=standing.right.coverage,
            last_day=standing.right.last_day,
            in_time=answer.in_time,
            refund_due=answer.refund_due,
            rule="; ".join(standing.right.waiting or standing.right.notes)[:1000],
            origin=origin,
        )
        row.full_clean()
        row.save()
        activity_record(
            actor=by,
            action="proposal.cancel_notice",
            target=locked,
            now=now,
            after={"received_at": received, "in_time": answer.in_time, "last_day": standing.right.last_day},
            reason=row.reason,
            origin=origin,
        )
        if answer.in_time and locked.status == ProposalStatus.ACCEPTED:
            _cancel(locked, house, row, by=by, now=now, origin=origin)
        _letters(locked, row, now=now)
    return row


def cancellation_decide(
    *, cancellation: Cancellation, granted: bool, reason: str, by: User, now: datetime, origin: str = ""
) -> CancellationDecision:
    """Let the owner say what becomes of a notice that was not in time; the same decision again writes nothing.

    Raises
    ------
    ValidationError : it is not the owner, there is no reason, or the notice was in time.
    Conflict : it was decided otherwise already.
    """
    faults = {}
    if by.role != Role.OWNER or not by.is_active:
        faults["by"] = "Only the owner may decide on a late notice. Ask the owner."
    if not reason.strip():
        faults["reason"] = "Enter the reason."
    if cancellation.in_time:
        faults["granted"] = "The notice came in time; there is nothing to decide."
    if faults:
        raise ValidationError(faults)
    with transaction.atomic():
        house = House.objects.select_for_update().get(pk=cancellation.proposal.house_id)
        locked = _locked(cancellation.proposal)
        there = CancellationDecision.objects.filter(cancellation=cancellation).first()
        if there is not None:
            if there.granted != granted:
                raise Conflict(f"It was decided already, by {there.by.full_name}: {there.reason}")
            return there
        row = CancellationDecision(cancellation=cancellation, granted=granted, reason=reason.strip(), by=by, at=now)
        row.full_clean()
        row.save()
        activity_record(
            actor=by,
            action="proposal.cancel_decide",
            target=locked,
            now=now,
            after={"granted": granted},
            reason=row.reason,
            origin=origin,
        )
        if granted and locked.status == ProposalStatus.ACCEPTED:
            _cancel(locked, house, cancellation, by=by, now=now, origin=origin)
    return row


def _locked(proposal: Proposal) -> Proposal:
    return Proposal.objects.select_for_update().get(pk=proposal.pk)


def _cancel(
    proposal: Proposal, house: House, row: Cancellation, *, by: User | None, now: datetime, origin: str
) -> None:
    reason = row.reason or WITHOUT_A_REASON
    proposal_cancel(proposal=proposal, reason=reason, by=by, now=now, origin=origin)
    person = by or proposal.issued_by
    if person is not None:
        lead_follow(
            house=house, stages=[LeadStage.WON], to=LeadStage.CANCELLED, by=person, now=now, note=reason, origin=origin
        )


def _letters(proposal: Proposal, row: Cancellation, *, now: datetime) -> None:
    """Tell the homeowner that it came in, and the office that it did."""
    firm, house = load_firm(), proposal.house
    came = row.received_at.astimezone(ZoneInfo(row.zone))
    stamp = f"{long_date(came.date())}, {came:%H:%M} ({row.zone})"
    paper = ProposalPaper.objects.filter(proposal=proposal).only("mail_to", "site").first()
    link = current_link(proposal, now=now)
    if paper is not None and paper.mail_to:
        said = [
            f"Dear {house.customer_name},",
            f"your notice to cancel the contract of proposal {proposal.number} came in on {stamp}.",
            f"It came in time: the contract is cancelled. What you paid comes back by {long_date(row.refund_due)}."
            if row.in_time
            else "It came after the last day to cancel; the owner decides and writes to you.",
            *([f"You can read it here:\n{LINK}"] if link is not None else []),
            f"{firm.name}\n{firm.phone}",
        ]
        letter_add(
            to=[paper.mail_to],
            subject=f"Your notice to cancel, proposal {proposal.number}",
            text="\n\n".join(said),
            key=f"cancellation-{row.code}-homeowner",
            now=now,
            link=link,
            site=paper.site,
        )
    if proposal.issued_by is not None:
        letter_add(
            to=[proposal.issued_by.email],
            subject=f"Notice to cancel: {house.name}, proposal {proposal.number}, {row.words}",
            text=f"{house.customer_name}, {house.street}, {house.town}: notice to cancel of {stamp}, {row.words}.\n\n"
            f"{row.reason or WITHOUT_A_REASON}\n\nOnce cancelled, money goes back by {long_date(row.refund_due)}.",
            key=f"cancellation-{row.code}-office",
            now=now,
        )
