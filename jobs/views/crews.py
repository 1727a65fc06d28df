"""Crews, people, rigs, certificates and days away: one page that shows them all, a form for each."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from estimates import access
from estimates.command import Conflict
from estimates.price_books import price_book_on
from jobs.crews import absence_add, absence_remove, certificate_add, crew_save, rig_save, worker_save
from jobs.forms.crews import AbsenceForm, BlamedForm, CertificateForm, CrewForm, RigForm, WorkerForm
from jobs.models import Absence, Certificate, Crew, Rig, Worker

SOON = timedelta(days=60)
"""A certificate that ends within this time is named."""


@require_safe
@access.action("crew.plan")
def list_crews(request: HttpRequest) -> HttpResponse:
    """Show who and what there is, who is away, and which certificates end soon."""
    today = timezone.localdate()
    certificates = list(Certificate.objects.select_related("worker").order_by("valid_until", "id"))
    members = {"members__worker"}
    context = {
        "section": "crews",
        "today": today,
        "soon": today + SOON,
        "crews": Crew.objects.prefetch_related(*members, "rigs__rig").select_related("lead"),
        "workers": Worker.objects.prefetch_related("skills", "memberships__crew").select_related("user"),
        "rigs": Rig.objects.prefetch_related("crews__crew"),
        "certificates": certificates,
        "absences": Absence.objects.filter(last_day__gte=today).select_related("resource"),
    }
    return render(request, "jobs/crews.html", context)


def _answer(
    request: HttpRequest, form: BlamedForm, title: str, button: str, save: Callable[[], Any], said: str
) -> HttpResponse:
    """Show a form; once it is right, save it and go back to the overview."""
    status = 200
    if form.is_valid():
        try:
            row = save()
        except ValidationError as fault:
            form.blame(fault)
        except Conflict as fault:
            form.add_error(None, str(fault))
            status = 409
        else:
            messages.success(request, said.format(row))
            return redirect("jobs-list-crews")
    context = {
        "section": "crews",
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "title": title,
        "button": button,
    }
    return render(request, "jobs/crews_form.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("crew.plan")
def change_crew(request: HttpRequest, code: uuid.UUID | None = None) -> HttpResponse:
    """Add a crew or change one."""
    crew = None if code is None else access.get_visible_or_404(request.user, Crew, code, "crew.plan")
    form = CrewForm(request.POST or None, initial={} if crew is None else CrewForm.of(crew))

    def save() -> Crew:
        version = form.seen_version
        return crew_save(
            crew=crew, version=version, today=timezone.localdate(), **form.cleaned_data, **access.acts(request)
        )

    title = "Add a crew" if crew is None else f"Change {crew}"
    return _answer(request, form, title, "Save the crew", save, "{0} is saved.")


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("crew.plan")
def change_worker(request: HttpRequest, code: uuid.UUID | None = None) -> HttpResponse:
    """Add somebody or change them; what an hour costs is for those who may read costs."""
    worker = None if code is None else access.get_visible_or_404(request.user, Worker, code, "crew.plan")
    names = ("name", "user", "hourly_cost", "is_active", "version")
    begin = {} if worker is None else {name: getattr(worker, name) for name in names}
    if worker is not None:
        begin["skills"] = list(worker.skills.values_list("skill", flat=True))
    costs = access.allowed(request.user, "cost.read")
    form = WorkerForm(request.POST or None, initial=begin, costs=costs, worker=worker)

    def save() -> Worker:
        version, given = form.seen_version, dict(form.cleaned_data)
        if not costs and worker is None:
            # Whoever may not read a cost begins somebody at the rate that prices are made with.
            given["hourly_cost"] = _usual_cost()
        return worker_save(worker=worker, version=version, **given, **access.acts(request))

    title = "Add somebody" if worker is None else f"Change {worker}"
    return _answer(request, form, title, "Save", save, "{0} is saved.")


def _usual_cost() -> Any:
    from decimal import Decimal

    return Decimal(str(price_book_on("standard", timezone.localdate()).best("labour"))).quantize(Decimal("0.01"))


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("crew.plan")
def change_rig(request: HttpRequest, code: uuid.UUID | None = None) -> HttpResponse:
    """Add a rig or change one."""
    rig = None if code is None else access.get_visible_or_404(request.user, Rig, code, "crew.plan")
    names = ("name", "kind", "mixes_per_day", "is_active", "version")
    form = RigForm(request.POST or None, initial={} if rig is None else {name: getattr(rig, name) for name in names})

    def save() -> Rig:
        return rig_save(rig=rig, version=form.seen_version, **form.cleaned_data, **access.acts(request))

    title = "Add a rig" if rig is None else f"Change {rig}"
    return _answer(request, form, title, "Save the rig", save, "{0} is saved.")


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("crew.plan")
def add_certificate(request: HttpRequest) -> HttpResponse:
    """Record a certificate."""
    form = CertificateForm(request.POST or None)

    def save() -> Certificate:
        _ = form.seen_version
        return certificate_add(**form.cleaned_data, **access.acts(request))

    return _answer(request, form, "Add a certificate", "Save the certificate", save, "{0} is recorded.")


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("crew.plan")
def add_absence(request: HttpRequest) -> HttpResponse:
    """Record days away."""
    form = AbsenceForm(request.POST or None)

    def save() -> Absence:
        _ = form.seen_version
        return absence_add(**form.cleaned_data, **access.acts(request))

    said = "Away: {0}. Visits planned on those days stand on the schedule as broken until they are moved."
    return _answer(request, form, "Add days away", "Save the days", save, said)


@require_POST
@access.action("crew.plan")
def remove_absence(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Take days away back."""
    absence = Absence.objects.filter(code=code).first()
    if absence is not None:
        absence_remove(absence=absence, **access.acts(request))
    messages.success(request, "The days are taken back.")
    return redirect("jobs-list-crews")
