"""Quick entry: a price range within a minute, from a few figures and what was usual when the house was built."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from estimates import access
from estimates.assessments import assessment_from_record, assessment_to_record
from estimates.forms.assessment_quick import QuickForm
from estimates.house import SCHEMA, HouseRecord
from estimates.leads import lead_complaints
from estimates.models import Assessment, House, Lead, User
from estimates.models.house import RECORD_FIELDS
from estimates.records import BadRecord, read_record, write_record
from estimates.views.assessment_price import outlook
from estimates.views.assessment_save import back_home, open_assessment


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("assessment.write")
def enter_assessment(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Begin an assessment with a few figures."""
    house = access.get_visible_or_404(request.user, House, code, "assessment.write")
    if request.method != "POST":
        if open_assessment(house) is not None:
            return back_home(request, house, "An assessment is open here already. Go on with it.")
        return _page(request, house, QuickForm(begin=nearby(house)))
    form = QuickForm(request.POST, begin=nearby(house))
    # The page asks for what was usual, or for the price so far, while it is being typed.
    if request.POST.get("look") or not form.is_valid():
        return _page(request, house, form)
    try:
        record = read_record(HouseRecord, _whole(house, form))
    except BadRecord as bad:
        for fault in bad.faults:
            form.facts.add_fault(fault)
        return _page(request, house, form)
    assert isinstance(request.user, User)
    try:
        assessment_from_record(
            house=house,
            record=record,
            by=request.user,
            now=timezone.now(),
            origin=access.origin_of(request),
        )
    except ValidationError as refused:
        return back_home(request, house, " ".join(refused.messages))
    messages.success(request, "The house is entered. Next: answer the hazard gates, or leave them and measure walls.")
    return redirect("estimates-answer-gates", code=house.code)


def _whole(house: House, form: QuickForm) -> dict[str, Any]:
    """The JSON form of the house: what was typed, its address, and what its people told us on the telephone."""
    address = {name: getattr(house, column) for name, column in RECORD_FIELDS.items()}
    lead = Lead.objects.filter(house=house).order_by("-taken_at").first()
    complaints = [] if lead is None else [write_record(complaint) for complaint in lead_complaints(lead)]
    return {"schema": SCHEMA, **address, "complaints": complaints, **form.raw()}


def _page(request: HttpRequest, house: House, form: QuickForm) -> HttpResponse:
    looking = bool(request.POST.get("look"))
    price = None
    if form.is_bound and access.allowed(request.user, "price.read") and form.is_valid():
        try:
            price = outlook(read_record(HouseRecord, _whole(house, form)), timezone.localdate())
        except BadRecord:
            price = None
    if looking:
        form.hush()
    context = {
        "section": "houses",
        "house": house,
        "form": form,
        "faulty": form.faulty,
        "forms": form.live_forms(),
        "looking": looking,
        "outlook": price,
        "unsaved": form.is_bound,
        "neighbour": nearby(house).get("climate"),
    }
    return render(request, "estimates/assessment_quick.html", context)


def nearby(house: House) -> dict[str, Any]:
    """Climate of the house measured last in the same county, else in the same town or state; nothing before the first.

    Climate is the same for the neighbours, so it is asked once and shown to be confirmed.
    """
    rows = Assessment.objects.exclude(house=house).filter(house__state=house.state).order_by("-updated_at")
    same = rows.filter(house__county=house.county) if house.county else rows.filter(house__town=house.town)
    row = same.first() or rows.first()
    return {} if row is None else {"climate": assessment_to_record(row).climate}
