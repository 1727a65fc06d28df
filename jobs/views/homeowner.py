"""The homeowner's page behind the private link: reading, asking, answering and cancelling, without an account.

Opening is reading: no GET changes anything. That the page was looked at is noted by a small POST of the browser once it
stood open for a moment, so that neither a mail scanner nor a preview counts as a look.
"""

from __future__ import annotations

import logging
import uuid
from typing import Any

from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from estimates import access
from estimates.answers import (
    CONSENT,
    fact_sheets_read,
    opening_note,
    proposal_answer_no,
    proposal_answer_yes,
    question_ask,
)
from estimates.cancelling import cancellation_standing
from estimates.command import Conflict
from estimates.issuing import PaperLost
from estimates.models import Cancellation, Disclosure, DisclosureKind, Proposal, ProposalStatus, Question
from estimates.office import OfficeFailed, office_path
from estimates.proposal_look import FACT_SHEET_WORDS
from estimates.views.proposal import issued_bytes, paper_response
from estimates.zones import ZONES
from jobs.cancellation import contract_cancel
from jobs.forms.homeowner import AcceptForm, CancelForm, DeclineForm, FactSheetForm, QuestionForm
from jobs.views import homeowner_job
from jobs.views.homeowner_link import basics, private, to_page
from jobs.views.money_homeowner import homeowner_invoices

log = logging.getLogger("cavitybook.homeowner")

SAID = {
    "asked": "Your question is on its way to us. Our answer will stand below it, and comes by telephone or e-mail.",
    "read": "Thank you: it is recorded that you read the fact sheets. Next: choose an option.",
    "accepted": "Thank you, your answer is recorded. Your notice of cancellation stands below; keep it.",
    "declined": "Your answer is recorded. Thank you for telling us.",
}
"""Word in the address -> what was done; no cookie is needed to say it."""


# --- Reading ---------------------------------------------------------------------------------------------------------


@require_safe
@private
def show_proposal(request: HttpRequest, proposal: Proposal, token: str) -> HttpResponse:
    """Show the proposal as it was issued, and what can be answered."""
    form = QuestionForm(initial={"key": uuid.uuid4()})
    return render(request, "jobs/homeowner.html", _page(request, proposal, token, form))


def _page(request: HttpRequest, proposal: Proposal, token: str, form: QuestionForm) -> dict[str, Any]:
    content = proposal.paper.content
    drawings = {one["id"]: one["svg"] for one in content["drawings"]}
    # Our own writer of drawings made them, and escaped every name in them, when the proposal was issued.
    walls = [wall | {"svg": mark_safe(drawings.get(wall["id"], ""))} for wall in content["walls"]]  # noqa: S308
    disclosures = {one.kind: one for one in Disclosure.objects.filter(proposal=proposal)}
    return basics(proposal, token) | {
        "content": content,
        "walls": walls,
        "said": (SAID | homeowner_job.SAID).get(request.GET.get("said", ""), ""),
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "questions": Question.objects.filter(proposal=proposal).prefetch_related("replies__by"),
        "fact_sheets": disclosures.get(DisclosureKind.FACT_SHEET),
        "notice": disclosures.get(DisclosureKind.CANCELLATION_NOTICE),
        "accepted": next((one for one in content["options"] if one["id"] == proposal.accepted_option), None),
        "cancellation": Cancellation.objects.filter(proposal=proposal).first(),
        "standing": cancellation_standing(proposal) if proposal.accepted_at is not None else None,
        "zone_words": ZONES.get(proposal.paper.zone, proposal.paper.zone),
        "has_pdf": office_path() is not None,
        # A look of the office is no look of the homeowner.
        "beacon": not request.user.is_authenticated,
        **homeowner_job.job_context(proposal),
        **homeowner_invoices(proposal),
    }


@require_POST
@private
def note_opening(request: HttpRequest, proposal: Proposal, token: str) -> HttpResponse:
    """Note that the page stood open before a reader; sent by the page itself, and harmless however often it comes."""
    if not request.user.is_authenticated:
        opening_note(proposal=proposal, now=timezone.now(), origin=access.origin_of(request))
    return HttpResponse(status=204)


@require_safe
@private
def download_paper(request: HttpRequest, proposal: Proposal, token: str, name: str) -> HttpResponseBase:
    """Hand over the document as it went out."""
    kind = {"proposal.docx": "docx", "proposal.pdf": "pdf"}.get(name)
    if kind is None or (kind == "pdf" and office_path() is None):
        raise Http404
    try:
        return paper_response(issued_bytes(proposal, pdf=kind == "pdf"), proposal, kind)
    except (PaperLost, OfficeFailed):
        log.exception("no document of proposal %s", proposal.number)
        said = "The document cannot be had just now. Everything it says stands on the page; call us for the paper."
        context = basics(proposal, token) | {"title": "The document", "sentence": said}
        return render(request, "jobs/homeowner_note.html", context, status=503)


@require_http_methods(["GET", "HEAD", "POST"])
@private
def read_fact_sheets(request: HttpRequest, proposal: Proposal, token: str) -> HttpResponse:
    """Show the fact sheets, and record that they were read."""
    form = FactSheetForm(
        request.POST if request.method == "POST" else None, initial={"option": request.GET.get("option", "")}
    )
    if form.is_valid():
        fact_sheets_read(proposal=proposal, now=timezone.now(), origin=access.origin_of(request))
        option = form.cleaned_data["option"]
        if option:
            return to_page("jobs-accept-proposal", token, option=option)
        return to_page("jobs-show-proposal", token, said="read")
    context = basics(proposal, token) | {
        "sheets": proposal.paper.content["fact_sheets"],
        "words": FACT_SHEET_WORDS,
        "read": Disclosure.objects.filter(proposal=proposal, kind=DisclosureKind.FACT_SHEET).first(),
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
    }
    return render(request, "jobs/homeowner_fact_sheets.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@private
def ask_question(request: HttpRequest, proposal: Proposal, token: str) -> HttpResponse:
    """Keep a question and pass it on; typed words stay on the page when something is missing."""
    if request.method != "POST":
        return to_page("jobs-show-proposal", token)
    form = QuestionForm(request.POST)
    if form.is_valid():
        try:
            question_ask(
                proposal=proposal,
                key=form.cleaned_data["key"],
                words=form.cleaned_data["words"],
                reach=form.cleaned_data["reach"],
                now=timezone.now(),
                origin=access.origin_of(request),
            )
        except (Conflict, ValidationError) as refused:
            form.add_error(None, refused.messages if isinstance(refused, ValidationError) else str(refused))
        else:
            return to_page("jobs-show-proposal", token, said="asked")
    return render(request, "jobs/homeowner.html", _page(request, proposal, token, form))


# --- Answering -------------------------------------------------------------------------------------------------------


@require_http_methods(["GET", "HEAD", "POST"])
@private
def accept_proposal(request: HttpRequest, proposal: Proposal, token: str) -> HttpResponse:
    """Show exactly what is accepted, and record it once it is signed."""
    content = proposal.paper.content
    asked = (request.POST if request.method == "POST" else request.GET).get("option", "")
    option = next((one for one in content["options"] if one["id"] == asked), None)
    if option is None or (request.method != "POST" and proposal.status != ProposalStatus.ISSUED):
        return to_page("jobs-show-proposal", token)
    if not Disclosure.objects.filter(proposal=proposal, kind=DisclosureKind.FACT_SHEET).exists():
        return to_page("jobs-read-fact-sheets", token, option=option["id"])
    form = AcceptForm(
        request.POST if request.method == "POST" else None,
        clauses=content["acknowledgements"],
        initial={"option": option["id"], "document_sha256": proposal.document_sha256},
    )
    refused = ""
    if form.is_valid():
        try:
            return _accept(request, proposal, token, form)
        except ValidationError as fault:
            form.add_error(None, fault.messages)
        except Conflict as fault:
            refused = str(fault)
    context = basics(proposal, token) | {
        "content": content,
        "option": option,
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "refused": refused,
        "consent": CONSENT,
        "has_pdf": office_path() is not None,
    }
    return render(request, "jobs/homeowner_accept.html", context, status=409 if refused else 200)


def _accept(request: HttpRequest, proposal: Proposal, token: str, form: AcceptForm) -> HttpResponse:
    given = form.cleaned_data
    proposal_answer_yes(
        proposal=proposal,
        option=given["option"],
        typed_name=given["typed_name"],
        document_sha256=given["document_sha256"],
        electronic=given["electronic"],
        acknowledged=form.acknowledged,
        now=timezone.now(),
        origin=access.origin_of(request),
    )
    return to_page("jobs-show-proposal", token, said="accepted")


@require_http_methods(["GET", "HEAD", "POST"])
@private
def decline_proposal(request: HttpRequest, proposal: Proposal, token: str) -> HttpResponse:
    """Record that the homeowner declines."""
    form = DeclineForm(request.POST if request.method == "POST" else None)
    refused = ""
    if form.is_valid():
        try:
            proposal_answer_no(
                proposal=proposal,
                reason=form.cleaned_data["reason"],
                now=timezone.now(),
                origin=access.origin_of(request),
            )
        except Conflict as fault:
            refused = str(fault)
        else:
            return to_page("jobs-show-proposal", token, said="declined")
    elif request.method != "POST" and proposal.status != ProposalStatus.ISSUED:
        return to_page("jobs-show-proposal", token)
    context = basics(proposal, token) | {
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "refused": refused,
    }
    return render(request, "jobs/homeowner_decline.html", context, status=409 if refused else 200)


# --- Cancelling ------------------------------------------------------------------------------------------------------


@require_http_methods(["GET", "HEAD", "POST"])
@private
def cancel_contract(request: HttpRequest, proposal: Proposal, token: str) -> HttpResponse:
    """Take a notice to cancel, in time or late; once it is there, the page confirms it."""
    if proposal.accepted_at is None:
        return to_page("jobs-show-proposal", token)
    form = CancelForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        contract_cancel(
            proposal=proposal,
            reason=form.cleaned_data["reason"],
            now=timezone.now(),
            origin=access.origin_of(request),
        )
        return to_page("jobs-cancel-contract", token)
    context = basics(proposal, token) | {
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "cancellation": Cancellation.objects.filter(proposal=proposal).select_related("decision").first(),
        "standing": cancellation_standing(proposal),
        "zone_words": ZONES.get(proposal.paper.zone, proposal.paper.zone),
        "now": timezone.now(),
    }
    return render(request, "jobs/homeowner_cancel.html", context)
