"""Issuing a proposal exactly as it was looked at: its document, its private link and its letter; what was kept."""

from __future__ import annotations

import hashlib
from datetime import date, datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.filing import write_whole
from estimates.leads import lead_follow
from estimates.links import link_issue, link_revoke
from estimates.mail import letter_add
from estimates.models.house import House
from estimates.models.lead import Lead, LeadStage
from estimates.models.link import LinkPurpose, PrivateLink
from estimates.models.paper import ProposalPaper
from estimates.models.proposal import Proposal, ProposalStatus
from estimates.models.user import User
from estimates.proposal_look import Look, Terms, letter_words, proposal_look
from estimates.proposals import proposal_issue
from estimates.zones import zone_of

LINK_DAYS = 365
"""So long a private link opens: answer, right to cancel and a look at the contract later all go through it. [day]"""


class LookChanged(Conflict):
    """What would go out is no longer what was looked at; `look` is what it is now."""

    def __init__(self, look: Look) -> None:
        super().__init__("What would go out has changed since you looked at it. Look again, then issue it.")
        self.look = look


def proposal_send(
    *, proposal: Proposal, terms: Terms, seen: str, site: str, by: User, now: datetime, on: date, origin: str = ""
) -> PrivateLink:
    """Issue a draft exactly as it was looked at: keep its document, make its private link, put the letter out.

    Parameters
    ----------
    proposal : a draft.
    terms : what the sender chose.
    seen : `Look.seen` of what the sender looked at.
    site : address under which the program is reached, without a slash at its end.
    by, now, origin : who, when, from where.
    on : the day of issue.

    Returns
    -------
    The private link.

    Raises
    ------
    ValidationError : something keeps it from going out; every reason.
    LookChanged : it is not what was looked at.
    Conflict : it is no draft any more.
    """
    look = proposal_look(proposal, terms, on=on)
    if look.faults:
        raise ValidationError(list(look.faults))
    if look.seen != seen:
        raise LookChanged(look)
    # Named after its content: whoever comes second can write nothing else over it.
    write_whole(document_path(look.sha256), look.document)
    with transaction.atomic():
        house = House.objects.select_for_update().get(pk=proposal.house_id)
        issued = proposal_issue(
            proposal=proposal,
            document_sha256=look.sha256,
            document_name=f"{proposal.number}.docx",
            valid_until=terms.valid_until,
            by=by,
            now=now,
            origin=origin,
        )
        paper = ProposalPaper(
            proposal=issued,
            content=look.content,
            template=look.template,
            zone=house_zone(house),
            sold_in=terms.sold_in,
            mail_to=terms.mail_to,
            site=site,
        )
        paper.full_clean()
        paper.save()
        link = _new_link(issued, by=by, now=now, origin=origin)
        if terms.mail_to:
            letter_add(
                to=[terms.mail_to],
                subject=look.subject,
                text=look.letter,
                key=letter_key(link),
                now=now,
                link=link,
                site=site,
            )
        lead_follow(house=house, stages=[LeadStage.ASSESSED], to=LeadStage.PROPOSED, by=by, now=now, origin=origin)
    return link


def letter_key(link: PrivateLink) -> str:
    """Key in the outbox of the letter that brings a link."""
    return f"proposal-link-{link.code}"


def _new_link(proposal: Proposal, *, by: User, now: datetime, origin: str) -> PrivateLink:
    return link_issue(
        purpose=LinkPurpose.PROPOSAL,
        target=proposal,
        expires_at=now + timedelta(days=LINK_DAYS),
        created_by=by,
        now=now,
        origin=origin,
    )


def current_link(proposal: Proposal, *, now: datetime) -> PrivateLink | None:
    """The private link of a proposal that opens now; None when there is none."""
    rows = PrivateLink.objects.filter(
        target_type=proposal._meta.label_lower, target_code=proposal.code, purpose=LinkPurpose.PROPOSAL
    )
    return rows.filter(revoked_at__isnull=True, expires_at__gt=now).order_by("-created_at", "-id").first()


def proposal_link_again(*, proposal: Proposal, by: User, now: datetime, origin: str = "") -> PrivateLink:
    """Make a new private link, take back those before it, and put the letter out again where there is an address.

    Raises
    ------
    Conflict : the proposal never went out, or was withdrawn.
    """
    with transaction.atomic():
        locked = Proposal.objects.select_for_update().get(pk=proposal.pk)
        paper = ProposalPaper.objects.filter(proposal=locked).first()
        if paper is None or locked.status == ProposalStatus.WITHDRAWN:
            raise Conflict(f"Proposal {locked.number} is {locked.status}; there is nothing a link could show.")
        _close_links(locked, by=by, now=now, reason="A new link was made.", origin=origin)
        link = _new_link(locked, by=by, now=now, origin=origin)
        if paper.mail_to:
            until = locked.valid_until or timezone.localtime(now).date()
            subject, text = letter_words(locked, Terms(until, words="This link takes the place of the one before."))
            letter_add(
                to=[paper.mail_to],
                subject=subject,
                text=text,
                key=letter_key(link),
                now=now,
                link=link,
                site=paper.site,
            )
    return link


def proposal_link_close(*, proposal: Proposal, reason: str, by: User, now: datetime, origin: str = "") -> None:
    """Take every private link of a proposal back; doing it again changes nothing."""
    with transaction.atomic():
        _close_links(proposal, by=by, now=now, reason=reason, origin=origin)


def _close_links(proposal: Proposal, *, by: User, now: datetime, reason: str, origin: str) -> None:
    rows = PrivateLink.objects.filter(
        target_type=proposal._meta.label_lower, target_code=proposal.code, revoked_at__isnull=True
    )
    for link in rows:
        link_revoke(link=link, by=by, now=now, reason=reason, origin=origin)
        activity_record(actor=by, action="proposal.link_close", target=proposal, now=now, reason=reason, origin=origin)


# --- What was kept ---------------------------------------------------------------------------------------------------


class PaperLost(Exception):
    """The document that went out is not where it was kept, or is no longer what it was."""


def document_path(sha256: str) -> Path:
    """Where a document that went out is kept."""
    found: Path = settings.DOCUMENTS_DIR / "issued" / f"{sha256}.docx"
    return found


def kept_document(proposal: Proposal) -> Path:
    """The document as it went out.

    Raises
    ------
    PaperLost : it is gone or changed.
    """
    path = document_path(proposal.document_sha256)
    try:
        content = path.read_bytes()
    except OSError:
        content = b""
    if hashlib.sha256(content).hexdigest() != proposal.document_sha256:
        raise PaperLost(f"The document of proposal {proposal.number} is not the one that went out.")
    return path


def house_zone(house: House) -> str:
    """Name of the time zone of a house: of its latest lead where somebody chose one, else that of its state."""
    lead = Lead.objects.filter(house=house).order_by("-taken_at").first()
    return (lead.clock if lead is not None else zone_of(house.state)).key
