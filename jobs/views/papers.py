"""Papers of a job: made, and handed over as they were made."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from estimates import access
from estimates.issuing import document_path
from estimates.office import OfficeFailed, write_pdf
from estimates.views.house_files import DOCX_TYPE
from jobs.models import Job, JobPaper
from jobs.papers import NAMES, paper_make

OPEN_TO_CREWS = frozenset(NAMES)
"""Kinds without prices; others, such as invoices, go through the pages of money."""


@require_POST
@access.action("job.inspect")
def make_paper(request: HttpRequest, code: uuid.UUID, kind: str) -> HttpResponse:
    """Make a paper of a job."""
    job = access.get_visible_or_404(request.user, Job, code, "job.inspect")
    if kind not in NAMES:
        raise Http404
    try:
        paper = paper_make(
            job=job,
            kind=kind,
            by=access.signed_in(request),
            now=timezone.now(),
            on=timezone.localdate(),
            origin=access.origin_of(request),
        )
    except ValidationError as refused:
        messages.warning(request, " ".join(refused.messages))
    else:
        messages.success(request, f"{NAMES[kind]} {paper.name} is there; download it below.")
    return redirect("jobs-show-verification", code=job.code)


@require_safe
@access.action("job.inspect")
def download_job_paper(request: HttpRequest, code: uuid.UUID, paper: uuid.UUID, kind: str) -> HttpResponseBase:
    """Hand over a paper of a job as Word document or PDF."""
    job = access.get_visible_or_404(request.user, Job, code, "job.inspect")
    row = JobPaper.objects.filter(job=job, code=paper, kind__in=OPEN_TO_CREWS).first()
    if row is None or kind not in ("docx", "pdf"):
        raise Http404
    path = document_path(row.sha256)
    if not path.exists():
        raise Http404
    if kind == "docx":
        return FileResponse(path.open("rb"), as_attachment=True, filename=row.name, content_type=DOCX_TYPE)
    made = path.with_suffix(".pdf")
    try:
        found = made if made.exists() else write_pdf(path)
    except OfficeFailed:
        found = None
    if found is None:
        sentence = "No PDF can be made here just now. Take the Word document."
        return render(request, "jobs/paper_missing.html", {"job": job, "sentence": sentence}, status=503)
    name = row.name.removesuffix(".docx") + ".pdf"
    return FileResponse(found.open("rb"), as_attachment=True, filename=name, content_type="application/pdf")
