"""What the homeowner does through the private link: opens, asks, reads the fact sheets, accepts or declines."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction

from estimates.activity import activity_record, object_type
from estimates.cancelling import cancellation_standing, notice_words
from estimates.command import Conflict
from estimates.firm import load_firm
from estimates.issuing import current_link
from estimates.leads import lead_follow
from estimates.mail import LINK, letter_add
from estimates.models.activity import ActivityEntry
from estimates.models.answer import Disclosure, DisclosureKind, Question, Reply
from estimates.models.house import House
from estimates.models.lead import Lead, LeadStage
from estimates.models.paper import ProposalPaper
from estimates.models.proposal import Proposal, ProposalStatus
from estimates.models.user import User
from estimates.proposal_words import long_date
from estimates.proposals import proposal_accept, proposal_decline

OPENED = "proposal.open"

OPENED_AGAIN = timedelta(hours=1)
"""A page that is opened again within this time is the same look at it."""

MOST_QUESTIONS = 30
"""So many questions may be asked of one proposal through its link; then the telephone is the better way."""

CONSENT = (
    "I agree to receive and sign this contract as an electronic record. I can read and keep this page and its "
    "documents on my device. I may ask for paper copies at no charge, and I may take this consent back by calling or "
    "writing to the firm; that changes nothing about what is signed already."
)
"""What the homeowner agrees to before signing on a page. After 15 USC 7001(c) (M); the wording is ours (CP)."""

NOTICE_LANGUAGE, NOTICE_COPIES = "English", 2
"""Language of the notice of cancellation, and how many copies are handed over on the page and in the letter."""


def opening_note(*, proposal: Proposal, now: datetime, origin: str = "") -> None:
    """Note that the homeowner looked at the proposal; a second look within the hour writes nothing."""
    with transaction.atomic():
        locked = Proposal.objects.select_for_update().get(pk=proposal.pk)
        seen = ActivityEntry.objects.of(object_type(locked), locked.code).filter(action=OPENED)
        if not seen.filter(at__gt=now - OPENED_AGAIN).exists():
            activity_record(actor=None, action=OPENED, target=locked, now=now, origin=origin)


def fact_sheets_read(*, proposal: Proposal, now: datetime, origin: str = "") -> Disclosure:
    """Record that the fact sheets were shown and read, with their words; again returns the first record.

    Raises
    ------
    Conflict : the proposal never went out.
    """
    with transaction.atomic():
        locked = _locked(proposal)
        words = fact_sheet_text(_paper(locked))
        return _disclose(locked, DisclosureKind.FACT_SHEET, words, now=now, origin=origin)


def fact_sheet_text(paper: ProposalPaper) -> str:
    """The fact sheets as plain text, as they are recorded."""
    sheets = paper.content["fact_sheets"]
    parts = ["\n".join([f"{one['name']}: {one['kind']}", *(", ".join(row) for row in one["rows"])]) for one in sheets]
    return "\n\n".join([*parts, paper.content["fact_sheet_line"]])


def question_ask(
    *, proposal: Proposal, key: UUID, words: str, reach: str = "", now: datetime, origin: str = ""
) -> Question:
    """Keep a question and put it into the outbox for the salesperson; the same form again is the same question.

    Parameters
    ----------
    proposal : one that went out.
    key : made with the form.
    words : the question.
    reach : where the homeowner wants the answer.
    now, origin : when, from where.

    Raises
    ------
    ValidationError : there are no words, or too many.
    Conflict : more questions than anybody asks, or the proposal never went out.
    """
    with transaction.atomic():
        locked = _locked(proposal)
        _paper(locked)
        there = Question.objects.filter(proposal=locked, key=key).first()
        if there is not None:
            return there
        if Question.objects.filter(proposal=locked).count() >= MOST_QUESTIONS:
            raise Conflict(f"There are {MOST_QUESTIONS} questions already. Call us: {load_firm().phone}.")
        question = Question(proposal=locked, key=key, at=now, words=words.strip(), reach=reach.strip(), origin=origin)
        question.full_clean()
        question.save()
        activity_record(
            actor=None,
            action="proposal.question",
            target=locked,
            now=now,
            after={"question": question.code},
            origin=origin,
        )
        house = locked.house
        _to_office(
            locked,
            subject=f"Question: {house.name}, proposal {locked.number}",
            text=f"{house.customer_name}, {house.street}, {house.town}, asks:\n\n{question.words}\n\n"
            f"Answer to: {question.reach or 'not said; see the lead'}",
            key=f"question-{question.code}",
            now=now,
        )
    return question


class RepliedMeanwhile(Conflict):
    """Somebody else answered the question since the form was shown."""


def question_mail(question: Question) -> str:
    """Where an answer goes: the address given with the question, else that of the proposal's letter; "" for none."""
    try:
        validate_email(question.reach)
    except ValidationError:
        paper = ProposalPaper.objects.filter(proposal=question.proposal_id).only("mail_to").first()
        return paper.mail_to if paper is not None else ""
    return question.reach


def question_reply(
    *, question: Question, key: UUID, words: str, seen: int, by: User, now: datetime, origin: str = ""
) -> Reply:
    """Answer a question: on the page of the homeowner, and in a letter where there is an address.

    Parameters
    ----------
    question : of a homeowner.
    key : made with the form; the same form again is the same reply.
    words : the answer.
    seen : how many replies stood there when the form was shown.
    by, now, origin : who, when, from where.

    Raises
    ------
    ValidationError : there are no words, or too many.
    RepliedMeanwhile : somebody else has answered since.
    """
    with transaction.atomic():
        locked = _locked(question.proposal)
        there = Reply.objects.filter(question=question, key=key).first()
        if there is not None:
            return there
        if Reply.objects.filter(question=question).count() != seen:
            raise RepliedMeanwhile("Somebody else has answered this question meanwhile. Read that answer first.")
        to = question_mail(question)
        reply = Reply(question=question, key=key, at=now, by=by, words=words.strip(), mailed_to=to)
        reply.full_clean()
        reply.save()
        after = {"question": question.code, "mailed": bool(to)}
        activity_record(actor=by, action="proposal.reply", target=locked, now=now, after=after, origin=origin)
        if to:
            _reply_letter(locked, reply, now=now)
    return reply


def _reply_letter(proposal: Proposal, reply: Reply, *, now: datetime) -> None:
    firm, paper, question = load_firm(), _paper(proposal), reply.question
    # The link signs a contract: it goes only to the address that the proposal itself went to.
    link = current_link(proposal, now=now) if reply.mailed_to == paper.mail_to else None
    asked, said = (words.replace(LINK, "(private link)") for words in (question.words, reply.words))
    text = [
        f"Dear {proposal.house.customer_name},",
        f"you asked about proposal {proposal.number}:\n\n{asked}",
        f"Our answer:\n\n{said}",
        *([f"Your proposal, with this answer:\n{LINK}"] if link is not None else []),
        f"{reply.by.full_name}\n{firm.name}\n{firm.phone}",
    ]
    letter_add(
        to=[reply.mailed_to],
        subject=f"Our answer to your question, proposal {proposal.number}",
        text="\n\n".join(text),
        key=f"reply-{question.code}-{reply.key}",
        now=now,
        link=link,
        site=paper.site if link is not None else "",
    )


def proposal_answer_yes(
    *,
    proposal: Proposal,
    option: str,
    typed_name: str,
    document_sha256: str,
    electronic: bool,
    acknowledged: Collection[int],
    now: datetime,
    origin: str = "",
) -> Proposal:
    """Record that the homeowner accepts an option, with everything that belongs to it; at once or not at all.

    The notice of cancellation is handed over with it, in two copies, and the time to cancel begins. The same answer a
    second time returns the proposal and writes nothing.

    Parameters
    ----------
    proposal : an issued one.
    option : id of the option.
    typed_name : the name that the homeowner typed.
    document_sha256 : of the document that was read.
    electronic : whether the homeowner agrees to electronic records.
    acknowledged : which of the clauses to be signed apart were, by their place from 0.
    now, origin : when, from where.

    Raises
    ------
    ValidationError : the fact sheets were not read, the consent or a clause is missing, or the name or option is wrong.
    Conflict : it is not open any more; see `estimates.proposals.proposal_accept`.
    """
    with transaction.atomic():
        house = House.objects.select_for_update().get(pk=proposal.house_id)
        locked = _locked(proposal)
        if locked.status == ProposalStatus.ACCEPTED and (locked.accepted_option, locked.accepted_name) == (
            option,
            typed_name.strip(),
        ):
            return locked
        paper = _paper(locked)
        clauses = paper.content["acknowledgements"]
        _check_consents(locked, electronic, set(range(len(clauses))) - set(acknowledged))
        accepted = proposal_accept(
            proposal=locked,
            option=option,
            typed_name=typed_name,
            document_sha256=document_sha256,
            now=now,
            origin=origin,
        )
        _disclose(accepted, DisclosureKind.ELECTRONIC_RECORDS, CONSENT, now=now, origin=origin)
        if clauses:
            words = "\n\n".join(f"{clause['title']}: {clause['text']}" for clause in clauses)
            _disclose(accepted, DisclosureKind.ACKNOWLEDGEMENTS, words, now=now, origin=origin)
        _hand_over_notice(accepted, paper, now=now, origin=origin)
        if accepted.issued_by is not None:
            lead_follow(
                house=house,
                stages=[LeadStage.PROPOSED],
                to=LeadStage.WON,
                by=accepted.issued_by,
                now=now,
                note="Accepted",
                origin=origin,
            )
        _accepted_letters(accepted, paper, now=now)
    return accepted


def proposal_answer_no(*, proposal: Proposal, reason: str, now: datetime, origin: str = "") -> Proposal:
    """Record that the homeowner declines, and tell the office; a second time returns the proposal and writes nothing.

    Raises
    ------
    Conflict : it is not open any more.
    """
    with transaction.atomic():
        locked = _locked(proposal)
        if locked.status == ProposalStatus.DECLINED:
            return locked
        declined = proposal_decline(proposal=locked, reason=reason.strip(), now=now, origin=origin)
        _to_office(
            locked,
            subject=f"Declined: {locked.house.name}, proposal {locked.number}",
            text=f"{locked.house.customer_name} declines proposal {locked.number}.\n\n{reason.strip() or 'No reason.'}",
            key=f"declined-{locked.code}",
            now=now,
        )
    return declined


def _check_consents(proposal: Proposal, electronic: bool, not_acknowledged: set[int]) -> None:
    faults = {}
    if not Disclosure.objects.filter(proposal=proposal, kind=DisclosureKind.FACT_SHEET).exists():
        faults["fact_sheet"] = "Read the fact sheets first, and say at their end that you have."
    if not electronic:
        faults["electronic"] = "Tick that you agree to sign on this page, or call us to sign on paper."
    if not_acknowledged:
        faults["acknowledged"] = "Tick each clause that is signed apart."
    if faults:
        raise ValidationError(faults)


def _hand_over_notice(proposal: Proposal, paper: ProposalPaper, *, now: datetime, origin: str) -> None:
    """Both copies of the notice of cancellation, dated by the day of signature at the house."""
    signed_on = now.astimezone(ZoneInfo(paper.zone)).date()
    words = notice_words(proposal, signed_on=signed_on)
    if words:
        _disclose(
            proposal,
            DisclosureKind.CANCELLATION_NOTICE,
            "\n\n".join([f"Date of transaction: {long_date(signed_on)}", *words]),
            now=now,
            origin=origin,
            language=NOTICE_LANGUAGE,
            copies=NOTICE_COPIES,
        )


def _accepted_letters(proposal: Proposal, paper: ProposalPaper, *, now: datetime) -> None:
    firm, house = load_firm(), proposal.house
    option = next(one for one in paper.content["options"] if one["id"] == proposal.accepted_option)
    notice = Disclosure.objects.filter(proposal=proposal, kind=DisclosureKind.CANCELLATION_NOTICE).first()
    link = current_link(proposal, now=now)
    last = cancellation_standing(proposal).right.last_day
    if paper.mail_to:
        copies = [] if notice is None else [f"Copy {copy} of {notice.copies}\n\n{notice.words}" for copy in (1, 2)]
        text = [
            f"Dear {house.customer_name},",
            f"you accepted “{option['name']}” of proposal {proposal.number} as {proposal.accepted_name}, "
            f"{option['total']} with tax.",
            *([f"You may cancel until midnight at the end of {long_date(last)}."] if last is not None else []),
            *([f"Read the contract, or cancel it, here:\n{LINK}"] if link is not None else []),
            f"{firm.name}\n{firm.phone}",
            *copies,
        ]
        letter_add(
            to=[paper.mail_to],
            subject=f"Your contract, proposal {proposal.number}, and how to cancel it",
            text="\n\n".join(text),
            key=f"accepted-{proposal.code}-homeowner",
            now=now,
            link=link,
            site=paper.site,
        )
    _to_office(
        proposal,
        subject=f"Accepted: {house.name}, proposal {proposal.number}",
        text=f"{proposal.accepted_name} accepts “{option['name']}”, {option['total']} with tax."
        + (f" The time to cancel ends on {long_date(last)}." if last is not None else ""),
        key=f"accepted-{proposal.code}-office",
        now=now,
    )


def _to_office(proposal: Proposal, *, subject: str, text: str, key: str, now: datetime) -> None:
    """To the seller of the house's lead, else to whoever issued the proposal."""
    lead = Lead.objects.filter(house=proposal.house).select_related("seller").order_by("-taken_at").first()
    person = lead.seller if lead is not None and lead.seller.is_active else proposal.issued_by
    if person is not None:
        letter_add(to=[person.email], subject=subject, text=text, key=key, now=now)


def _locked(proposal: Proposal) -> Proposal:
    return Proposal.objects.select_for_update().get(pk=proposal.pk)


def _paper(proposal: Proposal) -> ProposalPaper:
    paper = ProposalPaper.objects.filter(proposal=proposal).first()
    if paper is None:
        raise Conflict(f"Proposal {proposal.number} never went out through this program.")
    return paper


def _disclose(
    proposal: Proposal,
    kind: DisclosureKind,
    words: str,
    *,
    now: datetime,
    origin: str,
    language: str = NOTICE_LANGUAGE,
    copies: int = 1,
) -> Disclosure:
    """Record once for a proposal; call it with the proposal locked."""
    there = Disclosure.objects.filter(proposal=proposal, kind=kind).first()
    if there is not None:
        return there
    row = Disclosure(proposal=proposal, kind=kind, at=now, words=words, language=language, copies=copies, origin=origin)
    row.full_clean()
    row.save()
    activity_record(
        actor=None, action="proposal.disclose", target=proposal, now=now, after={"kind": kind.value}, origin=origin
    )
    return row
