"""Proposals: the list, the page of one with its trail, and its document."""

from __future__ import annotations

import logging
import uuid
from datetime import date
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from estimates import access
from estimates.cancelling import cancellation_standing
from estimates.issuing import PaperLost, current_link, kept_document
from estimates.mail import link_address
from estimates.models import Proposal, ProposalPaper, ProposalStatus, Question
from estimates.models.answer import Cancellation, CancellationDecision
from estimates.office import OfficeFailed, office_path, write_pdf
from estimates.proposal_look import Terms, last_price_day, proposal_look
from estimates.proposal_tables import proposal_table
from estimates.tables import LONGEST_SEARCH
from estimates.views.house_files import DOCX_TYPE
from estimates.views.proposal_trail import trail

log = logging.getLogger("cavitybook.papers")


def proposal_or_404(request: HttpRequest, code: uuid.UUID, action: str) -> Proposal:
    """Return a proposal that the reader may know of, with its house and revision."""
    found = access.get_visible_or_404(request.user, Proposal, code, action)
    return Proposal.objects.select_related("house", "revision", "issued_by", "floor_released_by").get(pk=found.pk)


@require_safe
@access.action("price.read")
def list_proposals(request: HttpRequest) -> HttpResponse:
    """List the proposals that somebody may know of."""
    words = request.GET.get("find", "").replace("\0", "").strip()[:LONGEST_SEARCH]
    status = request.GET.get("status", "")
    status = status if status in ProposalStatus.values else ""
    table = proposal_table(
        request.user,
        words=words,
        status=status,
        sort=request.GET.getlist("sort"),
        page=request.GET.get("page", "1"),
    )
    context = {
        "section": "proposals",
        "table": table,
        "words": words,
        "status": status,
        "status_words": ProposalStatus(status).label if status else "",
        "statuses": ProposalStatus.choices,
        "sort": request.GET.get("sort", ""),
        "now": timezone.now(),
    }
    return render(request, "estimates/proposal_list.html", context)


@require_safe
@access.action("price.read")
def show_proposal(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show where a proposal stands, what it says, and what came of it."""
    proposal = proposal_or_404(request, code, "price.read")
    return render(request, "estimates/proposal.html", proposal_context(request, proposal))


def proposal_context(request: HttpRequest, proposal: Proposal) -> dict[str, Any]:
    """What the page of a proposal shows; the private link only to those who may send it."""
    now = timezone.now()
    paper = ProposalPaper.objects.filter(proposal=proposal).first()
    link = None
    if paper is not None and access.allowed(request.user, "proposal.write"):
        link = current_link(proposal, now=now)
    cancellation = Cancellation.objects.filter(proposal=proposal).select_related("recorded_by").first()
    decision = None
    if cancellation is not None:
        decision = CancellationDecision.objects.filter(cancellation=cancellation).select_related("by").first()
    standing = cancellation_standing(proposal) if proposal.accepted_at is not None else None
    options = paper.content["options"] if paper is not None else []
    ended = proposal.valid_until is not None and timezone.localdate(now) > proposal.valid_until
    return {
        "section": "proposals",
        "proposal": proposal,
        "paper": paper,
        "options": options,
        "accepted": next((one for one in options if one["id"] == proposal.accepted_option), None),
        "link": link,
        "address": link_address(link, paper.site) if link is not None and paper is not None else "",
        "questions": Question.objects.filter(proposal=proposal).prefetch_related("replies__by"),
        "cancellation": cancellation,
        "decision": decision,
        "standing": standing,
        "last_day_over": ended and proposal.status == ProposalStatus.ISSUED,
        "trail": trail(proposal),
        "has_pdf": office_path() is not None,
        "now": now,
    }


@require_safe
@access.action("document.download")
def download_paper(request: HttpRequest, code: uuid.UUID, name: str) -> HttpResponseBase:
    """Hand over the document of a proposal: as it went out, or as a draft would go out today."""
    proposal = proposal_or_404(request, code, "document.download")
    kind = {"proposal.docx": "docx", "proposal.pdf": "pdf"}.get(name)
    if kind is None or (kind == "pdf" and office_path() is None):
        raise Http404
    try:
        if proposal.status == ProposalStatus.DRAFT:
            content = _draft(proposal, request.GET.get("valid_until", ""), pdf=kind == "pdf")
        elif proposal.document_sha256:
            content = issued_bytes(proposal, pdf=kind == "pdf")
        else:
            raise Http404
    except (PaperLost, OfficeFailed) as fault:
        log.exception("no document of proposal %s", proposal.number)
        context = {"house": proposal.house, "sentence": f"{fault}"}
        return render(request, "estimates/file_missing.html", context, status=503)
    return paper_response(content, proposal, kind)


def paper_response(content: bytes, proposal: Proposal, kind: str) -> FileResponse:
    """The document as a file to save."""
    content_type = DOCX_TYPE if kind == "docx" else "application/pdf"
    filename = f"{proposal.number}.{kind}"
    return FileResponse(BytesIO(content), as_attachment=True, filename=filename, content_type=content_type)


def issued_bytes(proposal: Proposal, *, pdf: bool) -> bytes:
    """The document as it went out; its PDF is made the first time somebody asks for it.

    Raises
    ------
    PaperLost : the document is gone or changed.
    OfficeFailed : the PDF cannot be made.
    """
    path = kept_document(proposal)
    if not pdf:
        return path.read_bytes()
    made = path.with_suffix(".pdf")
    found = made if made.exists() else write_pdf(path)
    if found is None:
        raise Http404
    return found.read_bytes()


def _draft(proposal: Proposal, valid_until: str, *, pdf: bool) -> bytes:
    on = timezone.localdate()
    try:
        until = date.fromisoformat(valid_until)
    except ValueError:
        until = last_price_day(proposal, on=on)
    look = proposal_look(proposal, Terms(until), on=on)
    if not look.document:
        raise PaperLost(" ".join(look.faults))
    if not pdf:
        return look.document
    with TemporaryDirectory() as folder:
        path = Path(folder) / "draft.docx"
        path.write_bytes(look.document)
        made = write_pdf(path)
        if made is None:
            raise Http404
        return made.read_bytes()
