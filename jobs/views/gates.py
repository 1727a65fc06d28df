"""Start gates of a job: adding one, and recording that one was met."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from estimates import access
from estimates.command import Conflict
from jobs.forms.crews import BlamedForm
from jobs.forms.jobs import GateForm, NewGateForm, PamphletForm
from jobs.models import GateKind, Job, JobGate
from jobs.start_gates import gate_add, gate_meet, pamphlet_record
from jobs.views.jobs import either_way, job_or_404, theirs


@either_way
@access.action("job.write")
def add_gate(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Add something that the start waits for."""
    job = job_or_404(request, code, "job.write")
    form = NewGateForm(request.POST if request.method == "POST" else None, job=job)
    if form.is_valid():
        _ = form.seen_version
        try:
            gate = gate_add(
                job=job, **form.cleaned_data | {"walls": tuple(form.cleaned_data["walls"])}, **access.acts(request)
            )
        except ValidationError as fault:
            form.blame(fault)
        else:
            messages.success(request, f"The start waits for “{gate.name}” now. Next: record it once it is met.")
            return _back(job)
    return _form(request, job, form, f"Add a start gate to {job.number}", "Add the gate")


@either_way
@access.action("job.write")
def meet_gate(request: HttpRequest, code: uuid.UUID, gate: uuid.UUID) -> HttpResponse:
    """Record that a gate was met, with day, proof and last day; of the lead pamphlet, how and when it was given."""
    job = job_or_404(request, code, "job.write")
    row = JobGate.objects.filter(job=job, code=gate).select_related("job__house", "met_by").first()
    if row is None:
        raise Http404
    kind = PamphletForm if row.kind == GateKind.PAMPHLET else GateForm
    posted = request.POST if request.method == "POST" else None
    form: BlamedForm = kind(posted, initial=_begin(row))
    status, overtaken = 200, False
    if form.is_valid():
        version = form.seen_version
        try:
            _meet(request, row, form, version)
        except ValidationError as fault:
            form.blame(fault)
        except Conflict as fault:
            row.refresh_from_db()
            data = request.POST.copy()
            data["version"] = str(row.version)
            form, status, overtaken = kind(data), 409, True
            form.is_valid()
            form.add_error(None, f"{fault} What they saved stands below; saving again puts yours in its place.")
        else:
            messages.success(request, f"“{row.name}” is recorded.")
            return _back(job)
    saved = theirs(GateForm(), _begin(row)) if overtaken else []
    return _form(request, job, form, row.name, "Save the gate", gate=row, saved=saved, status=status)


def _meet(request: HttpRequest, row: JobGate, form: BlamedForm, version: int) -> None:
    if isinstance(form, PamphletForm):
        pamphlet_record(gate=row, version=version, **form.cleaned_data, **access.acts(request))
    else:
        gate_meet(gate=row, version=version, **form.cleaned_data, **access.acts(request))


def _begin(row: JobGate) -> dict[str, Any]:
    return {"version": row.version, "met_on": row.met_on, "expires_on": row.expires_on, "note": row.note}


def _back(job: Job) -> HttpResponse:
    return redirect(f"{job_address(job)}#gates")


def job_address(job: Job) -> str:
    """Address of the page of a job."""
    return reverse("jobs-show-job", kwargs={"code": job.code})


def _form(
    request: HttpRequest,
    job: Job,
    form: BlamedForm,
    title: str,
    button: str,
    *,
    gate: JobGate | None = None,
    saved: list[tuple[str, str]] | None = None,
    status: int = 200,
) -> HttpResponse:
    context = {
        "section": "jobs",
        "job": job,
        "gate": gate,
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "title": title,
        "button": button,
        "theirs": saved or [],
    }
    return render(request, "jobs/job_form.html", context, status=status)
