"""The homeowner's page after the signature: their days, changes to sign, papers, and signing the work off."""

from __future__ import annotations

import logging
import uuid
from io import BytesIO
from typing import Any

from django.core.exceptions import ValidationError
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from estimates import access
from estimates.answers import CONSENT
from estimates.command import Conflict
from estimates.issuing import PaperLost
from estimates.models import Proposal
from estimates.office import OfficeFailed, office_path
from estimates.views.house_files import DOCX_TYPE
from jobs.changes import change_decline, change_sign, effect_of, lines_of
from jobs.forms.changes import SignForm, SignOffForm
from jobs.forms.homeowner import DeclineForm
from jobs.invoice_paper import PAPER_KIND, paper_bytes
from jobs.models import ChangeOrder, ChangeStatus, Job, JobPaper, SignOff, Visit
from jobs.sign_off import OPEN, job_sign_off
from jobs.views.homeowner_link import basics, private, to_page

log = logging.getLogger("cavitybook.homeowner")

ELSEWHERE = ("crew_sheet", PAPER_KIND)
"""Kinds of papers that stay with the firm, and invoices, which stand with what is open of them."""

SHOWN = (ChangeStatus.ISSUED, ChangeStatus.SIGNED, ChangeStatus.DECLINED)
"""Change orders that a homeowner sees; drafts and those taken back are ours."""

SAID = {
    "signed": "Thank you, the change is signed.",
    "declined-change": "Your answer is recorded: the change is not done. We call you about what follows.",
    "signed-off": "Thank you for signing the work off.",
}
"""Word in the address -> what was done on the job."""


def job_context(proposal: Proposal) -> dict[str, Any]:
    """What the homeowner's page shows of the job of a proposal; nothing where there is none."""
    job = Job.objects.filter(proposal=proposal).first()
    if job is None:
        return {"job": None}
    visits = Visit.objects.filter(phase__job=job, promised=True, day__gte=timezone.localdate())
    return {
        "job": job,
        "days": visits.select_related("phase").order_by("day", "first_hour"),
        "changes": [(change, effect_of(change)) for change in ChangeOrder.objects.filter(job=job, status__in=SHOWN)],
        "papers": JobPaper.objects.filter(job=job).exclude(kind__in=ELSEWHERE).defer("content"),
        "sign_off": SignOff.objects.filter(job=job).first(),
        "can_sign_off": job.status in OPEN,
    }


def _job(proposal: Proposal) -> Job:
    job = Job.objects.filter(proposal=proposal).select_related("house").first()
    if job is None:
        raise Http404
    return job


@require_http_methods(["GET", "HEAD", "POST"])
@private
def answer_change(request: HttpRequest, proposal: Proposal, token: str, change: uuid.UUID) -> HttpResponse:
    """Show a change order as it was issued, and take the signature under it."""
    job = _job(proposal)
    row = ChangeOrder.objects.filter(job=job, code=change, status__in=SHOWN).first()
    if row is None:
        raise Http404
    declining = request.method == "POST" and request.POST.get("answer") == "decline"
    posted = request.POST if request.method == "POST" else None
    form = SignForm(None if declining else posted, initial={"content_sha256": row.content_sha256})
    no = DeclineForm(posted if declining else None)
    now, origin, refused = timezone.now(), access.origin_of(request), ""
    try:
        if declining and no.is_valid():
            change_decline(change=row, reason=no.cleaned_data["reason"], now=now, origin=origin)
            return to_page("jobs-show-proposal", token, said="declined-change")
        if not declining and form.is_valid():
            change_sign(change=row, **form.cleaned_data, now=now, origin=origin)
            return to_page("jobs-show-proposal", token, said="signed")
    except ValidationError as fault:
        form.add_error(None, fault.messages)
    except Conflict as fault:
        refused = str(fault)
        row.refresh_from_db()
    context = basics(proposal, token) | {
        "job": job,
        "change": row,
        "lines": lines_of(row),
        "effect": effect_of(row),
        "open": row.status == ChangeStatus.ISSUED,
        "form": form,
        "no": no,
        "forms": [form],
        "faulty": form.faulty,
        "refused": refused,
        "consent": CONSENT,
    }
    return render(request, "jobs/homeowner_change.html", context, status=409 if refused else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@private
def sign_off_job(request: HttpRequest, proposal: Proposal, token: str) -> HttpResponse:
    """Take the homeowner's word that the work is done."""
    job = _job(proposal)
    if SignOff.objects.filter(job=job).exists():
        return to_page("jobs-show-proposal", token, said="signed-off")
    form = SignOffForm(request.POST if request.method == "POST" else None)
    refused = ""
    if form.is_valid():
        try:
            job_sign_off(job=job, **form.cleaned_data, now=timezone.now(), origin=access.origin_of(request))
        except ValidationError as fault:
            form.add_error(None, fault.messages)
        except Conflict as fault:
            refused = str(fault)
        else:
            return to_page("jobs-show-proposal", token, said="signed-off")
    context = basics(proposal, token) | {
        "job": job,
        "can_sign_off": job.status in OPEN,
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "refused": refused,
    }
    return render(request, "jobs/homeowner_sign_off.html", context, status=409 if refused else 200)


@require_safe
@private
def download_homeowner_paper(
    request: HttpRequest, proposal: Proposal, token: str, paper: uuid.UUID, kind: str
) -> HttpResponseBase:
    """Hand over a paper of the job as it was made."""
    row = JobPaper.objects.filter(job=_job(proposal), code=paper).exclude(kind__in=ELSEWHERE).first()
    if row is None or kind not in ("docx", "pdf") or (kind == "pdf" and office_path() is None):
        raise Http404
    try:
        content = paper_bytes(row, pdf=kind == "pdf")
    except (PaperLost, OfficeFailed):
        log.exception("no document of paper %s", row.name)
        said = "The document cannot be had just now. Call us for it."
        context = basics(proposal, token) | {"title": row.name, "sentence": said}
        return render(request, "jobs/homeowner_note.html", context, status=503)
    name = f"{row.name.removesuffix('.docx')}.{kind}"
    content_type = DOCX_TYPE if kind == "docx" else "application/pdf"
    return FileResponse(BytesIO(content), as_attachment=True, filename=name, content_type=content_type)
