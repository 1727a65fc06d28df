"""Bills before and after a job: what the work saved, beside what was promised."""

from __future__ import annotations

import uuid
from datetime import date
from io import BytesIO
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import FileResponse, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from estimates import access
from estimates.house import BillRecord, HouseRecord
from estimates.physics.energy import FUELS
from estimates.physics.validity import OutOfRange
from estimates.records import BadRecord, read_record
from estimates.views.house_files import DOCX_TYPE
from jobs.booking import frozen_forms
from jobs.forms.bills_after import BillsAfterForm, lines_of
from jobs.models import HouseBills, Job
from jobs.savings_after import ComparedBillsRecord, SavingsAfter, WeatherBillRecord, bills_keep, savings_of, work_days
from jobs.savings_letter import savings_letter


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("learning.decide")
def compare_bills(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show what the bills say of a job, and take new ones; a set that was kept stays beside the next one."""
    seen = access.get_visible_or_404(request.user, Job, code, "learning.decide")
    job = Job.objects.select_related("house", "revision").get(pk=seen.pk)
    forms = frozen_forms(job)
    try:
        house = read_record(HouseRecord, forms["house"])
    except (BadRecord, KeyError):
        # Frozen by an earlier form of the program, or by none: it holds no fuel and no weather to compare with.
        return render(request, "jobs/bills_after.html", {"section": "jobs", "job": job, "unread": True})
    kept = HouseBills.objects.filter(job=job).select_related("job", "by").order_by("-at", "-id").first()
    day = work_days(job)
    fuel: dict[str, Any] = {"fuel": house.heating.fuel, "base_f": house.climate.base_f}
    if request.method == "POST":
        form = BillsAfterForm(request.POST, request.FILES, **fuel)
        if form.is_valid():
            try:
                bills = bills_keep(
                    job=job,
                    form=form.bills,
                    by=access.signed_in(request),
                    now=timezone.now(),
                    origin=access.origin_of(request),
                )
            except BadRecord as bad:
                for fault in bad.faults:
                    side = "after" if fault.path.startswith("$.after") else "before"
                    form.add_error(side, f"{fault.path.removeprefix('$.')}: {fault.message}")
            except ValidationError as refused:
                form.blame(refused)
            else:
                messages.success(
                    request,
                    f"The bills are kept. {_said(bills, forms)} Next: see whether closed jobs teach something else.",
                )
                return redirect("jobs-compare-bills", code=job.code)
    else:
        form = BillsAfterForm(initial=_initial(kept, house, day), **fuel)
    context: dict[str, Any] = {
        "section": "jobs",
        "job": job,
        "house": house,
        "unit": FUELS[house.heating.fuel].unit,
        "done": day,
        "kept": kept,
        "found": None if kept is None else _found(kept, forms),
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
    }
    return render(request, "jobs/bills_after.html", context)


@require_safe
@access.action("learning.decide")
def write_letter(request: HttpRequest, code: uuid.UUID) -> HttpResponseBase:
    """Hand over the letter to the homeowner, written from the bills that were kept last."""
    seen = access.get_visible_or_404(request.user, Job, code, "learning.decide")
    job = Job.objects.select_related("house", "revision", "proposal").get(pk=seen.pk)
    try:
        paper = savings_letter(job, on=timezone.localdate())
    except (ValidationError, OutOfRange, BadRecord) as refused:
        messages.warning(request, " ".join(getattr(refused, "messages", [str(refused)])))
        return redirect("jobs-compare-bills", code=job.code)
    name = f"{job.number}-savings.docx"
    return FileResponse(BytesIO(paper), as_attachment=True, filename=name, content_type=DOCX_TYPE)


def _found(kept: HouseBills, forms: dict[str, Any]) -> SavingsAfter | None:
    try:
        return savings_of(kept, forms)
    except (OutOfRange, BadRecord, KeyError):
        return None


def _said(kept: HouseBills, forms: dict[str, Any]) -> str:
    found = _found(kept, forms)
    return "" if found is None else found.sentence


def _initial(kept: HouseBills | None, house: HouseRecord, done: tuple[date, date] | None) -> dict[str, str]:
    """What stands in the boxes: the set kept last, else the bills of the assessment."""
    if kept is not None:
        record = read_record(ComparedBillsRecord, kept.data)
        return {"before": _lines(record.before), "after": _lines(record.after)}
    bills = sorted((bill for bill in house.bills if bill.fuel is house.heating.fuel), key=lambda bill: bill.first)
    if done is None:
        return {"before": lines_of(bills)}
    outside: list[BillRecord] = [bill for bill in bills if bill.last < done[0]]
    return {"before": lines_of(outside)}


def _lines(bills: tuple[WeatherBillRecord, ...]) -> str:
    return "\n".join(
        f"{bill.first.isoformat()}, {bill.last.isoformat()}, {bill.units:g}, "
        f"{'' if bill.dollars is None else f'{bill.dollars:.2f}'}, {bill.degree_days:g}"
        for bill in bills
    )
