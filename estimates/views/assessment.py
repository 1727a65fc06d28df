"""The assessment of a house: what is measured, what is open, what it would cost, and beginning and completing it."""

from __future__ import annotations

import json
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from estimates import access
from estimates.assessments import (
    AssessmentChanged,
    assessment_complete,
    assessment_from_record,
    assessment_to_record,
)
from estimates.gates import HouseFacts, HouseGates, Where, house_gates, load_hazards
from estimates.house import HouseRecord
from estimates.models import Assessment, AssessmentStatus, EstimateRevision, House, User
from estimates.models.house import RECORD_FIELDS
from estimates.records import BadRecord, read_record
from estimates.safety import fan_leave
from estimates.templatetags.figures import amount, spoken
from estimates.views.assessment_price import outlook
from estimates.views.assessment_save import may_write, open_assessment
from estimates.views.assessment_sides import draw_wall


@require_safe
@access.action("assessment.read")
def show_assessment(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show the assessment of a house: its parts, its gates, its price as far as it is known."""
    house = access.get_visible_or_404(request.user, House, code, "assessment.read")
    row = latest_assessment(house)
    context: dict[str, Any] = {"section": "houses", "house": house, "row": row, "may_write": may_write(request)}
    if row is None:
        context["earlier"] = earlier_record(house) is not None
        return render(request, "estimates/assessment_home.html", context)
    record = assessment_to_record(row)
    gates, faults = gates_of(record)
    context |= {
        "record": record,
        "open": row.status == AssessmentStatus.OPEN,
        "change": row.status == AssessmentStatus.OPEN and may_write(request),
        "walls": [{"wall": wall, "drawn": draw_wall(record, wall)} for wall in record.walls],
        "topics": topics_of(record),
        "gates": gates,
        "gate_faults": faults,
        "hazards": len(asked_hazards(record)),
        "warnings": [*fan_warnings(record)],
        "outlook": outlook(record, timezone.localdate()) if access.allowed(request.user, "price.read") else None,
    }
    return render(request, "estimates/assessment_home.html", context)


def fan_warnings(record: HouseRecord) -> list[str]:
    """A blower-door test that should not have been made."""
    leave = fan_leave(record)
    return [leave.warning] if leave.warning else []


def asked_hazards(record: HouseRecord) -> list[str]:
    """Ids of the gates that are asked of a house."""
    facts = HouseFacts.of(record)
    return [
        row.id for row in load_hazards().hazards if facts.asked(row) and (row.where is Where.HOUSE or facts.parts(row))
    ]


def gates_of(record: HouseRecord) -> tuple[HouseGates | None, list[str]]:
    """The gates of a record, or what keeps them from being read."""
    try:
        return house_gates(record), []
    except BadRecord as bad:
        return None, [fault.message for fault in bad.faults]


def latest_assessment(house: House) -> Assessment | None:
    """The newest assessment of a house, None before the first."""
    return Assessment.objects.filter(house=house).select_related("updated_by").order_by("-number").first()


def earlier_record(house: House) -> HouseRecord | None:
    """What is known of a house already: its latest assessment, else the record of its latest estimate."""
    row = latest_assessment(house)
    if row is not None:
        return assessment_to_record(row)
    revision = EstimateRevision.objects.filter(house=house).order_by("-number").first()
    if revision is None:
        return None
    known = {name: getattr(house, column) for name, column in RECORD_FIELDS.items()}
    return read_record(HouseRecord, json.loads(revision.snapshot)["house"] | known)


@dataclass(frozen=True, slots=True)
class TopicLine:
    """A topic on the first page of an assessment: what is known, and whether something is missing."""

    word: str
    title: str
    known: str
    done: bool


def topics_of(record: HouseRecord) -> list[TopicLine]:
    """The topics of a house with what is known of each; "open" means that the price or the proposal wants it."""
    test, use = record.blower_door, record.heating
    lines = [
        ("house", "The house", f"built {record.year_built}, {amount(record.floor_area_ft2, 'ft2')} heated", True),
        ("complaints", "What is wrong, room by room", _count(record.complaints, "complaint"), bool(record.complaints)),
        ("leaks", "Places where air leaks", _count(record.leak_sites, "leak site"), bool(record.leak_sites)),
        ("blower-door", "Blower door", _count(() if test is None else test.points, "reading"), test is not None),
        ("exhausts", "Kitchens and baths", _count(record.exhausts, "room"), bool(record.exhausts)),
        ("heating", "Heating and its price", f"{spoken(use.fuel)}, ${use.price_per_unit:,.2f} a unit", True),
        ("bills", "Fuel bills", _count(record.bills, "bill"), bool(record.bills) or use.yearly_units is not None),
        ("climate", "Climate", record.climate.place, record.climate.weather_factor is not None),
        ("household", "Household", "asked" if record.household else "not asked", record.household is not None),
    ]
    return [TopicLine(*line) for line in lines]


def _count(items: Sequence[Any], one: str) -> str:
    return f"{len(items)} {one}{'' if len(items) == 1 else 's'}" if items else "none yet"


@require_POST
@access.action("assessment.write")
def begin_assessment(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Begin an assessment with what is known of the house already."""
    house = access.get_visible_or_404(request.user, House, code, "assessment.write")
    record = earlier_record(house)
    if record is None:
        messages.warning(request, "Nothing is measured here yet. Begin with a few figures.")
        return redirect("estimates-enter-assessment", code=house.code)
    if open_assessment(house) is None:
        _begin(request, house, record)
        messages.success(request, "The assessment is open, with everything known so far. Change what is different now.")
    return redirect("estimates-show-assessment", code=house.code)


def _begin(request: HttpRequest, house: House, record: HouseRecord) -> None:
    assert isinstance(request.user, User)
    now, origin = timezone.now(), access.origin_of(request)
    try:
        assessment_from_record(house=house, record=record, by=request.user, now=now, again=True, origin=origin)
    except ValidationError as refused:
        messages.warning(request, " ".join(refused.messages))


@require_POST
@access.action("assessment.write")
def complete_assessment(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Complete the assessment; what is still open is named instead."""
    house = access.get_visible_or_404(request.user, House, code, "assessment.write")
    assert isinstance(request.user, User)
    row, home = open_assessment(house), reverse("estimates-show-assessment", kwargs={"code": house.code})
    if row is None:
        messages.warning(request, "No assessment is open here.")
        return redirect(home)
    sent = request.POST.get("version", "")
    version = int(sent) if sent.isascii() and sent.isdigit() and len(sent) < 9 else 0
    origin = access.origin_of(request)
    try:
        assessment_complete(
            assessment=row, expected_version=version, by=request.user, now=timezone.now(), origin=origin
        )
    except AssessmentChanged as changed:
        messages.warning(request, f"{changed} It is shown here as it stands now.")
    except ValidationError as refused:
        messages.warning(request, "The assessment cannot be completed yet. " + ". ".join(refused.messages) + ".")
        return redirect(f"{home}#gates")
    else:
        messages.success(request, "The assessment is complete. The next step is the estimate.")
    return redirect(home)
