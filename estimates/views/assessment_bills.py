"""Bringing in fuel bills: looked at line by line before anything is saved."""

from __future__ import annotations

import dataclasses
import uuid

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from estimates import access
from estimates.forms.assessment_bills import BillLine, BillsForm, read_bills
from estimates.house import BillRecord, Fuel, HouseRecord
from estimates.models import House
from estimates.views.assessment_save import Opened, back_home, not_open, opened_or_none, save_change


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("assessment.write")
def import_bills(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Read bills, show them with their faults, and save them once they are as wanted."""
    house = access.get_visible_or_404(request.user, House, code, "assessment.write")
    opened = opened_or_none(house)
    if opened is None:
        return not_open(request, house)
    if request.method != "POST":
        return _page(request, opened, BillsForm(initial={"fuel": str(opened.record.heating.fuel)}), None)
    form = BillsForm(request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, opened, form, None)
    text, fuel = form.cleaned_data["lines"], Fuel(form.cleaned_data["fuel"])
    lines = read_bills(text, fuel)
    if not request.POST.get("save") or any(line.fault for line in lines) or not lines:
        # What came from a file stands in the box from here on, to be mended there.
        again = BillsForm({"fuel": str(fuel), "lines": text})
        again.is_valid()
        return _page(request, opened, again, lines)
    bills = [line.bill for line in lines if line.bill is not None]
    try:
        save_change(request, opened, lambda now: with_bills(now.record, bills))
    except ValidationError as refused:
        return back_home(request, house, " ".join(refused.messages))
    messages.success(request, f"{len(bills)} bills are saved. Look at what they say about the heating.")
    return redirect("estimates-edit-topic", code=code, topic="bills")


def _page(request: HttpRequest, opened: Opened, form: BillsForm, lines: list[BillLine] | None) -> HttpResponse:
    faults = [line for line in lines or () if line.fault]
    context = {
        "section": "houses",
        "house": opened.house,
        "form": form,
        "faulty": form.faulty or bool(faults),
        "forms": [form],
        "lines": lines,
        "faults": faults,
        "ready": bool(lines) and not faults,
    }
    return render(request, "estimates/assessment_bills.html", context)


def with_bills(house: HouseRecord, bills: list[BillRecord]) -> HouseRecord:
    """Return the house with bills, in the order of their days; one of the same fuel and days is replaced."""
    new = {(bill.fuel, bill.first, bill.last): bill for bill in (*house.bills, *bills)}
    return dataclasses.replace(house, bills=tuple(sorted(new.values(), key=lambda bill: (bill.fuel, bill.first))))
