"""Saving a part of an assessment: nothing typed is lost, and two people who change the same field see both versions."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from estimates import access
from estimates.assessments import AssessmentChanged, assessment_put, assessment_to_record
from estimates.forms.record_form import RecordForm
from estimates.house import HouseRecord
from estimates.models import Assessment, AssessmentStatus, House, User
from estimates.records import BadRecord
from estimates.views.assessment_places import Difference, Form, Place, chosen, differences, relative

TRIES = 4
"""So often a save looks again when others save other parts at the same moment."""

KEEP = "keep:"
"""Begins the name of a choice between their value and mine."""


@dataclass(frozen=True, slots=True)
class Opened:
    """An open assessment as it was read: its row, its record, its house."""

    house: House
    row: Assessment
    record: HouseRecord


def open_assessment(house: House) -> Assessment | None:
    """The assessment of a house that is being measured, None when there is none."""
    return Assessment.objects.filter(house=house, status=AssessmentStatus.OPEN).first()


def opened_or_none(house: House) -> Opened | None:
    """The open assessment of a house with its record."""
    row = open_assessment(house)
    return None if row is None else Opened(house, row, assessment_to_record(row))


def back_home(request: HttpRequest, house: House, words: str = "") -> HttpResponse:
    """Go to the assessment of a house, saying why."""
    if words:
        messages.warning(request, words)
    return redirect("estimates-show-assessment", code=house.code)


def not_open(request: HttpRequest, house: House) -> HttpResponse:
    """Answer somebody who wants to change an assessment that is not open."""
    return back_home(request, house, "No assessment is open here. Begin one first, then go on.")


class Changed(Exception):
    """Somebody else changed the same part; `opened` is what is stored now."""

    def __init__(self, opened: Opened, base: Form | None, theirs: Form | None) -> None:
        super().__init__("changed in the meantime")
        self.opened, self.base, self.theirs = opened, base, theirs


def sent_base(request: HttpRequest) -> Form | None:
    """The part as it was when the form was shown."""
    try:
        base = json.loads(request.POST.get("base", ""))
    except (ValueError, RecursionError):
        return None
    return base if isinstance(base, dict) else None


def sent_choices(request: HttpRequest) -> dict[str, str]:
    """Choices between their value and mine, by path."""
    return {
        name.removeprefix(KEEP): str(value)
        for name, value in request.POST.items()
        if name.startswith(KEEP) and value in ("mine", "theirs")
    }


def save_part(request: HttpRequest, opened: Opened, place: Place, mine: Form) -> HouseRecord:
    """Write a part of an assessment, and return the house that holds it.

    Raises
    ------
    Changed : the same part was changed since the form was shown.
    BadRecord : it does not fit together; paths are those of the form.
    ValidationError : the assessment is completed by now.
    """
    base, version = sent_base(request), request.POST.get("version", "")
    kept = sent_choices(request)
    return save_change(request, opened, lambda now: _changed_house(now, place, mine, base, version, kept))


def save_change(request: HttpRequest, opened: Opened, change: Callable[[Opened], HouseRecord]) -> HouseRecord:
    """Bring a change to the assessment as it is stored now; changes of other parts by others stay.

    Raises
    ------
    AssessmentChanged : others save without a pause.
    ValidationError : the assessment is completed by now.
    """
    assert isinstance(request.user, User)
    now, origin = timezone.now(), access.origin_of(request)
    for attempt in range(TRIES):
        record = change(opened)
        try:
            assessment_put(
                assessment=opened.row,
                record=record,
                expected_version=opened.row.version,
                by=request.user,
                now=now,
                origin=origin,
            )
        except AssessmentChanged:
            if attempt == TRIES - 1:
                raise
            again = opened_or_none(opened.house)
            if again is None:
                raise ValidationError("The assessment was completed in the meantime.") from None
            opened = again
            continue
        return record
    raise AssertionError("a save ends in its loop")


def _changed_house(
    opened: Opened, place: Place, mine: Form, base: Form | None, version: str, kept: dict[str, str]
) -> HouseRecord:
    theirs = place.read(opened.record)
    if base is not None and kept:
        mine = chosen(mine, base, kept)
    try:
        house = place.write(opened.record, mine)
    except BadRecord as bad:
        raise BadRecord(relative(bad, place.path(opened.record))) from None
    if place.read(house) != theirs and version != str(opened.row.version) and theirs != base:
        raise Changed(opened, base, theirs)
    faults = place.faults(house)
    if faults:
        raise BadRecord(faults)
    return house


@dataclass
class Page:
    """What an edit page shows beside its form."""

    template: str
    title: str
    context: dict[str, Any]


def edit_part(request: HttpRequest, opened: Opened, place: Place, page: Page) -> HttpResponse:
    """Show the form of a part, or save it."""
    if request.method != "POST":
        return show_form(request, opened, place, page, place.form(opened.record))
    form = place.form(opened.record, request.POST)
    if form.wants_rows:
        form.hush()
        return show_form(request, opened, place, page, form)
    if not form.is_valid():
        return show_form(request, opened, place, page, form)
    try:
        save_part(request, opened, place, form.raw())
    except Changed as changed:
        return show_both(request, changed, place, page, form)
    except BadRecord as bad:
        for fault in bad.faults:
            form.add_fault(fault)
        return show_form(request, opened, place, page, form)
    except ValidationError as refused:
        return back_home(request, opened.house, " ".join(refused.messages))
    return saved(request, opened.house, form, page.context.get("kind", ""))


def saved(request: HttpRequest, house: House, form: RecordForm, kind: str) -> HttpResponse:
    """Say what was saved and go on."""
    name = form.main.cleaned_data.get("name") if "name" in form.specs else ""
    words = f"“{name}” is saved." if name else "Saved."
    if kind and request.POST.get("then") == "another":
        messages.success(request, f"{words} Enter the next one.")
        return redirect("estimates-add-part", code=house.code, kind=kind)
    messages.success(request, f"{words} The figures below count with it.")
    return redirect("estimates-show-assessment", code=house.code)


def show_form(
    request: HttpRequest,
    opened: Opened,
    place: Place,
    page: Page,
    form: RecordForm,
    *,
    both: list[Difference] | None = None,
    status: int = 200,
) -> HttpResponse:
    """Show a form with everything typed, and what it was made from."""
    sent = request.method == "POST"
    first = not sent or both is not None
    base = json.dumps(place.read(opened.record)) if first else request.POST.get("base", "")
    carried: dict[str, str] = {}
    if sent and both is None and (kept := sent_choices(request)):
        theirs = sent_base(request)
        if theirs is not None and form.was_read:
            both = differences(place.record, None, theirs, form.raw(), kept)
        else:
            # Nothing can be held against each other before the faults are mended; what was chosen is not forgotten.
            carried = kept
    context = {
        "section": "houses",
        "house": opened.house,
        "opened": opened,
        "place": place,
        "title": page.title,
        "form": form,
        "faulty": form.faulty,
        "forms": form.live_forms() if form.is_bound else [],
        "version": opened.row.version if first else request.POST.get("version", ""),
        "base": base,
        "both": both,
        "carried": carried.items(),
        "by": opened.row.updated_by,
        "at": opened.row.updated_at,
        "unsaved": sent,
        **page.context,
    }
    return render(request, page.template, context, status=status)


def show_both(request: HttpRequest, changed: Changed, place: Place, page: Page, form: RecordForm) -> HttpResponse:
    """Show their version and mine, field by field, with everything typed still in the form."""
    if changed.theirs is None:
        page.context["removed"] = True
        return show_form(request, changed.opened, place, page, form, both=[], status=409)
    house = place.write(changed.opened.record, form.raw())
    mine = place.read(house) or {}
    both = differences(place.record, changed.base, changed.theirs, mine, {})
    return show_form(request, changed.opened, place, page, form, both=both, status=409)


def may_write(request: HttpRequest) -> bool:
    """Whether the reader may change an assessment."""
    return access.allowed(request.user, "assessment.write")
