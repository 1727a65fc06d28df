"""Verification of a job: tests after the work, findings, infrared, the inspector's word."""

from __future__ import annotations

import uuid
from datetime import date
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_http_methods, require_safe

from estimates import access
from estimates.command import Conflict
from estimates.forms.record_form import RecordForm
from estimates.heat import foam_r
from estimates.house import HouseRecord
from estimates.office import office_path
from estimates.physics.uncertainty import Percentiles
from estimates.physics.validity import OutOfRange
from estimates.pricebook import PriceBook
from estimates.records import BadRecord, Fault, read_record
from jobs.balance_rows import job_balance
from jobs.booking import frozen_forms
from jobs.depths import attic_depths
from jobs.forms.verification import CloseForm, FindingForm, InspectForm, LookForm, ReleaseForm
from jobs.found_walls import layout_of, record_of, states_of
from jobs.house_tests import (
    WHEN,
    HouseTestRecord,
    combustion_of,
    house_test_record,
    promised_leakage,
    shell_days_untested,
    ventilation_after,
)
from jobs.infrared import Air, InfraredDay, Makeup, expected, infrared_day
from jobs.infrared_picture import picture
from jobs.models import EntryKind, Finding, Job, JobStatus, JobWall, Verification
from jobs.papers import NAMES
from jobs.verification import (
    final_invoice_faults,
    finding_add,
    finding_close,
    inspector_faults,
    job_verify,
    measure_verdicts,
    verify_faults,
    void_release,
    void_share,
)
from jobs.verification_rules import Measured, judge_leakage

WHEN_WORDS = {"in": "before the work", "day": "at the end of a day", "out": "after the work"}


def _job(request: HttpRequest, code: uuid.UUID, action: str) -> Job:
    job = access.get_visible_or_404(request.user, Job, code, action)
    return Job.objects.select_related("house", "revision", "proposal").get(pk=job.pk)


def _acts(request: HttpRequest) -> dict[str, Any]:
    return {"now": timezone.now(), "origin": access.origin_of(request)}


@require_safe
@access.action("job.inspect")
def show_verification(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show what proves the job, what is still open, and where the inspector says so."""
    return render(request, "jobs/verification.html", _page(request, _job(request, code, "job.inspect")))


def _page(request: HttpRequest, job: Job, **more: Any) -> dict[str, Any]:
    findings = list(Finding.objects.filter(job=job).select_related("wall", "found_by", "closed_by"))
    user = access.signed_in(request)
    tests = list(job.tests.select_related("by"))
    forms = frozen_forms(job)
    row = Verification.objects.filter(job=job).select_related("inspector", "void_released_by").first()
    return {
        "section": "jobs",
        "job": job,
        "walls": list(job.walls.all()),
        "tests": tests,
        "when_words": WHEN_WORDS,
        "leakage": _leakage(job, forms, tests),
        "ventilation": ventilation_after(job),
        "untested_days": shell_days_untested(job, _shell_days(job), today=timezone.localdate()),
        "combustion": combustion_of(job),
        "findings": findings,
        **_balance(job, forms),
        "depths": attic_depths(job, forms),
        "verdicts": sorted(measure_verdicts(findings).items()),
        "void": void_share(job),
        "verification": row,
        "faults": () if row is not None else verify_faults(job),
        "not_me": inspector_faults(job, user),
        "holds": final_invoice_faults(job) if row is not None else (),
        "form": InspectForm(),
        "release": ReleaseForm(),
        "papers": list(job.papers.filter(kind__in=NAMES)),
        "paper_names": list(NAMES.items()),
        "has_pdf": office_path() is not None,
        "can_verify": job.status == JobStatus.WORK_DONE,
        **more,
    }


def _shell_days(job: Job) -> list[date]:
    """Days on which the work altered the shell: foam, loose fill or a leak closed (rule G5)."""
    kinds = (EntryKind.BAY, EntryKind.BAGS, EntryKind.LEAK)
    return list(job.entries.filter(kind__in=kinds).values_list("day", flat=True))


def _balance(job: Job, forms: dict[str, Any]) -> dict[str, Any]:
    found = job_balance(job, forms)
    if isinstance(found, str):
        return {"balance_said": found}
    names = {wall.key: wall.name for wall in job.walls.all()}
    return {"balance": found, "suspects": [(names[one.key[0]], one.key[1], one) for one in found.suspects]}


def _leakage(job: Job, forms: dict[str, Any], tests: list[Any]) -> dict[str, Any] | None:
    """The test after the work against the one before and against what was promised."""
    after = next((test for test in reversed(tests) if test.when == "out" and test.cfm50 is not None), None)
    if after is None:
        return None
    promised = promised_leakage(job, forms)
    before = next((test for test in reversed(tests) if test.when == "in" and test.cfm50 is not None), None)
    was = (
        Measured(promised["before"], 0.05 * promised["before"])
        if before is None
        else Measured(before.cfm50, before.cfm50_se or 0.0)
    )
    now = Measured(after.cfm50, after.cfm50_se or 0.0)
    p = promised["after"]
    try:
        judged = judge_leakage(
            was,
            now,
            promised_before_cfm50=promised["before"],
            promised_after=Percentiles(p["p10"], p["p50"], p["p90"]),
        )
    except OutOfRange as fault:
        return {"fault": str(fault)}
    return {"before": was, "after": now, "judged": judged, "estimated": before is None}


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("job.inspect")
def record_test(request: HttpRequest, code: uuid.UUID, when: str) -> HttpResponse:
    """Enter a round of tests."""
    if when not in WHEN:
        raise Http404
    job = _job(request, code, "job.inspect")
    form = RecordForm(HouseTestRecord, data=request.POST if request.method == "POST" else None)
    status = 200
    if request.method == "POST" and not form.wants_rows and form.is_valid():
        try:
            house_test_record(job=job, when=when, form=form.raw(), by=access.signed_in(request), **_acts(request))
        except BadRecord as bad:
            for fault in bad.faults:
                form.add_fault(fault)
        except OutOfRange as fault:
            form.add_fault(Fault("$", str(fault)))
        except ValidationError as refused:
            for name, words in refused.message_dict.items():
                for sentence in words:
                    form.add_fault(Fault(f"$.{name}", sentence))
        else:
            messages.success(request, f"The tests {WHEN_WORDS[when]} are recorded.")
            return redirect("jobs-show-verification", code=job.code)
        status = 200
    context = {
        "section": "jobs",
        "job": job,
        "form": form,
        "faulty": form.faulty,
        "forms": form.live_forms() if form.is_bound else [],
        "title": f"Tests {WHEN_WORDS[when]}",
    }
    return render(request, "jobs/verification_test.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("job.inspect")
def add_finding(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Write down something that was found."""
    job = _job(request, code, "job.inspect")
    asked = request.GET.get("wall", "")
    wall = JobWall.objects.filter(job=job, key=asked).first() if asked else None
    form = FindingForm(request.POST or None, job=job, initial={"wall": wall, "bay": request.GET.get("bay", "")})
    if form.is_valid():
        _ = form.seen_version
        try:
            finding_add(job=job, by=access.signed_in(request), **form.cleaned_data, **_acts(request))
        except ValidationError as fault:
            form.blame(fault)
        else:
            messages.success(request, "The finding stands on the list.")
            return redirect("jobs-show-verification", code=job.code)
    context = {"job": job, "form": form, "title": "Add a finding", "button": "Save the finding"}
    return _form(request, context)


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("job.inspect")
def close_finding(request: HttpRequest, code: uuid.UUID, finding: uuid.UUID) -> HttpResponse:
    """Close a finding that was mended."""
    job = _job(request, code, "job.inspect")
    row = Finding.objects.filter(job=job, code=finding).select_related("wall").first()
    if row is None:
        raise Http404
    form = CloseForm(request.POST or None, initial={"version": row.version})
    status = 200
    if form.is_valid():
        version = form.seen_version
        try:
            finding_close(
                finding=row,
                how=form.cleaned_data["closed_how"],
                version=version,
                by=access.signed_in(request),
                **_acts(request),
            )
        except ValidationError as fault:
            form.blame(fault)
        except Conflict as fault:
            form.add_error(None, str(fault))
            status = 409
        else:
            messages.success(request, "The finding is closed.")
            return redirect("jobs-show-verification", code=job.code)
    context = {"job": job, "form": form, "title": f"Close: {row.words}", "button": "Close the finding"}
    return _form(request, context, status=status)


def _form(request: HttpRequest, context: dict[str, Any], *, status: int = 200) -> HttpResponse:
    form = context["form"]
    shown = context | {"section": "jobs", "forms": [form], "faulty": form.faulty}
    return render(request, "jobs/verification_form.html", shown, status=status)


@require_http_methods(["POST"])
@access.action("job.inspect")
def verify_job(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Record the inspector's word."""
    job = _job(request, code, "job.inspect")
    form = InspectForm(request.POST)
    if form.is_valid():
        _ = form.seen_version
        try:
            job_verify(
                job=job,
                inspector=access.signed_in(request),
                today=timezone.localdate(),
                **form.cleaned_data,
                **_acts(request),
            )
        except ValidationError as fault:
            form.blame(fault)
        else:
            messages.success(request, "The job is verified. Its papers can be made now.")
            return redirect("jobs-show-verification", code=job.code)
    return render(request, "jobs/verification.html", _page(request, job, form=form, forms=[form], faulty=form.faulty))


@require_http_methods(["POST"])
@access.action("void.release")
def release_void(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Let the final invoice go although a void stays."""
    job = _job(request, code, "void.release")
    form = ReleaseForm(request.POST)
    if form.is_valid():
        try:
            void_release(job=job, reason=form.cleaned_data["reason"], by=access.signed_in(request), **_acts(request))
        except ValidationError as fault:
            form.blame(fault)
        else:
            messages.success(request, "The void is released; credit the unfilled area on the final invoice.")
            return redirect("jobs-show-verification", code=job.code)
    context = _page(request, job, release=form, forms=[form], faulty=form.faulty)
    return render(request, "jobs/verification.html", context)


@require_safe
@access.action("job.inspect")
def show_infrared(request: HttpRequest, code: uuid.UUID, key: str) -> HttpResponse:
    """Draw what the camera should see on a wall today, and say whether today counts."""
    job = _job(request, code, "job.inspect")
    wall = JobWall.objects.filter(job=job, key=key).first()
    if wall is None:
        raise Http404
    asked = bool(request.GET)
    begin = {"on": timezone.localdate(), "t_in_f": "68", "t_out_f": "35", "hours_without_sun": "6", "wind_mph": "5"}
    form = LookForm(request.GET if asked else begin)
    context: dict[str, Any] = {"section": "jobs", "job": job, "wall": wall, "forms": [form], "form": form}
    if form.is_valid():
        try:
            context |= _seen(job, wall, form.cleaned_data)
        except OutOfRange as fault:
            form.add_error(None, str(fault))
    return render(request, "jobs/verification_infrared.html", context | {"faulty": form.faulty})


def _seen(job: Job, wall: JobWall, given: dict[str, Any]) -> dict[str, Any]:
    forms = frozen_forms(job)
    house, book = read_record(HouseRecord, forms["house"]), read_record(PriceBook, forms["price_book"])
    record, filled_on = record_of(wall), _filled_on(job, wall)
    air = Air(given["t_in_f"], given["t_out_f"])
    found: dict[str, Any] = {"filled_on": filled_on}
    if filled_on is not None:
        day = InfraredDay(
            given["on"], filled_on, air.t_in_f, air.t_out_f, given["hours_without_sun"], given["wind_mph"]
        )
        found["answer"] = infrared_day(day, drying_days=book.foam.drying_days)
    if wall.drawn:
        layout = layout_of(wall, year_built=house.year_built)
        makeup = Makeup.of(record, filled_r=float(foam_r(book.foam, wall.foam_in, 0.0)))
        seen = expected(layout, states_of(wall), makeup, air)
        # Every name in it is escaped by the writer of the drawing.
        drawn = picture(layout, seen, title=f"What the camera should see: {wall.name}")
        found |= {"seen": seen, "svg": mark_safe(drawn)}  # noqa: S308
    return found


def _filled_on(job: Job, wall: JobWall) -> date | None:
    """Day of the last fill of a wall, by what the crew reported."""
    rows = job.entries.filter(wall=wall, kind=EntryKind.BAY).order_by("-day")
    latest: date | None = rows.values_list("day", flat=True).first()
    return latest
