"""Hazard gates of an assessment: one question a page, four answers, and the owner's release of a stop."""

from __future__ import annotations

import dataclasses
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from estimates import access
from estimates.assessments import assessment_to_record
from estimates.forms.assessment_photo import PHOTO_TYPES, PhotoFile, kept_mark, kept_photo
from estimates.forms.assessment_words import gate_name
from estimates.forms.record_form import RecordForm
from estimates.gates import HazardRecord, HouseFacts, Where, answer_faults, load_hazards, open_gates
from estimates.house import GateAnswerRecord, GateReleaseRecord, HouseRecord, Verdict
from estimates.models import Assessment, AssessmentStatus, House, User
from estimates.records import BadRecord, Fault
from estimates.templatetags.figures import spoken
from estimates.views.assessment import latest_assessment
from estimates.views.assessment_photos import with_photo
from estimates.views.assessment_places import Form, ItemPlace, Items, part_choices
from estimates.views.assessment_save import (
    Changed,
    Opened,
    Page,
    back_home,
    may_write,
    not_open,
    opened_or_none,
    save_change,
    save_part,
    show_both,
    show_form,
)

change = require_http_methods(["GET", "HEAD", "POST"])

ANSWERS = Items("gate_answers", GateAnswerRecord, "answer", "Answers")

ASKED = ("verdict", "parts", "note", "photos", "sample", "verifier", "how", "before_phase")
RELEASED = ("parts", "reason", "sample")


@dataclass(frozen=True, slots=True)
class GateLine:
    """A gate on the list: its question, what was answered, and for which parts an answer is missing."""

    hazard: HazardRecord
    name: str
    answers: tuple[str, ...]
    missing: str

    @property
    def open(self) -> bool:
        """Whether an answer is missing."""
        return bool(self.missing)


def gate_lines(house: HouseRecord) -> list[GateLine]:
    """Every gate that is asked of a house, in the order of the catalogue."""
    catalogue, facts = load_hazards(), HouseFacts.of(house)
    missing = {gate.hazard.id: gate.parts for gate in open_gates(facts, house.gate_answers, catalogue)}
    names = part_names(house)
    lines = []
    for hazard in catalogue.hazards:
        if not facts.asked(hazard) or (hazard.where is not Where.HOUSE and not facts.parts(hazard)):
            continue
        answers = [answer for answer in house.gate_answers if answer.hazard == hazard.id]
        left = "" if hazard.id not in missing else _parts_words(missing[hazard.id], facts.parts(hazard), names)
        said = tuple(f"{_large(spoken(answer.verdict))}{_about(answer.parts, names)}" for answer in answers)
        lines.append(GateLine(hazard, gate_name(hazard.id), said, left))
    return lines


def part_names(house: HouseRecord) -> dict[str, str]:
    """Id -> name of the parts of a house."""
    return dict(part_choices(house)["parts"])


def _parts_words(parts: Sequence[str], every: Sequence[str], names: dict[str, str]) -> str:
    if not parts or len(parts) == len(every):
        return "not answered"
    return "not answered for " + ", ".join(names.get(part, part) for part in parts)


def _about(parts: Sequence[str] | None, names: dict[str, str]) -> str:
    return "" if parts is None else f" ({', '.join(names.get(part, part) for part in parts)})"


def _large(words: str) -> str:
    return words[:1].upper() + words[1:]


@require_safe
@access.action("assessment.read")
def list_gates(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show every gate of the latest assessment."""
    house = access.get_visible_or_404(request.user, House, code, "assessment.read")
    row = latest_assessment(house)
    if row is None:
        return back_home(request, house)
    if row.status == AssessmentStatus.OPEN and may_write(request):
        return redirect("estimates-answer-gates", code=code)
    record = assessment_to_record(row)
    return render(request, "estimates/assessment_gates.html", list_page(request, house, row, record))


def list_page(request: HttpRequest, house: House, row: Assessment, record: HouseRecord) -> dict[str, Any]:
    """What every page of all gates shows: the questions, what is open, stops and their release."""
    lines, is_open = gate_lines(record), row.status == AssessmentStatus.OPEN
    return {
        "section": "houses",
        "house": house,
        "lines": lines,
        "left": sum(1 for line in lines if line.open),
        "releases": [_release_words(release, record) for release in record.gate_releases],
        "stops": _stops(record),
        "may_release": is_open and access.allowed(request.user, "estimate.release"),
    }


def _release_words(release: GateReleaseRecord, house: HouseRecord) -> str:
    about = _about(release.parts, part_names(house))
    return (
        f"{_large(spoken(release.hazard))}{about}: released by {release.by} on {release.released_on}. {release.reason}"
    )


def _stops(house: HouseRecord) -> list[dict[str, str]]:
    """Gates that stop something, by id and name, once each."""
    known = {row.id: row for row in load_hazards().hazards}
    found = {answer.hazard for answer in house.gate_answers if answer.verdict is Verdict.STOP}
    return [{"id": hazard, "name": gate_name(hazard)} for hazard in known if hazard in found]


class GatePlace(ItemPlace):
    """One answer to a gate; a photo that came with it is added to the house."""

    def __init__(self, hazard: HazardRecord, key: str, house: HouseRecord) -> None:
        super().__init__(ANSWERS, key, house)
        self.hazard, self.only, self.photo = hazard, ASKED, ""
        self.label = gate_name(hazard.id)
        known = self.values(house)
        if known is not None and known["hazard"] != hazard.id:
            raise Http404

    def form(self, house: HouseRecord, data: QueryDict | None = None) -> RecordForm:
        """The form of the answer; only the parts that the gate is asked of can be named."""
        reach = HouseFacts.of(house).reach(self.hazard)
        choices = part_choices(house)
        names = [(part, name) for part, name in choices["parts"] if part in reach]
        photos = [(photo.id, photo.caption) for photo in house.photos]
        only = [name for name in ASKED if name != "parts" or self.hazard.where is not Where.HOUSE]
        if not photos:
            only.remove("photos")
        return RecordForm(
            GateAnswerRecord,
            data=data,
            values=self.values(house),
            only=only,
            choices={"parts": names, "photos": photos},
        )

    def write(self, house: HouseRecord, form: Form | None) -> HouseRecord:
        """Return the house with the answer, and with the photo that came with it."""
        if form is None:
            return super().write(house, None)
        if form.get("parts") == []:
            raise BadRecord([Fault("$.parts", "names nothing; enter walls or attics, or the whole house")])
        form = dict(form)
        if self.photo:
            house, photo = with_photo(house, self.photo, self.label, timezone.localdate(), "")
            form["photos"] = list(dict.fromkeys([*(form.get("photos") or ()), photo]))
        known = self.values(house) or {}
        same = known and all(known.get(name) == value for name, value in form.items() if name == "verdict")
        day = known["answered_on"] if same else timezone.localdate()
        whole = {"photos": [], **form, "hazard": self.hazard.id, "answered_on": day.isoformat()}
        return super().write(house, whole)

    def faults(self, house: HouseRecord) -> list[Fault]:
        """What the answer lacks."""
        place = self._at(house)
        answer = house.gate_answers[-1 if place is None else place]
        return [
            Fault(f"$.{fault.path}", fault.message)
            for fault in answer_faults(answer, HouseFacts.of(house), load_hazards())
        ]


@change
@access.action("assessment.write")
def answer_gate(request: HttpRequest, code: uuid.UUID, hazard: str, key: str = "") -> HttpResponse:
    """Answer a gate, or change an answer."""
    gate = next((row for row in load_hazards().hazards if row.id == hazard), None)
    if gate is None:
        raise Http404
    house = access.get_visible_or_404(request.user, House, code, "assessment.write")
    opened = opened_or_none(house)
    if opened is None:
        return not_open(request, house)
    place = GatePlace(gate, key, opened.record)
    page = Page("estimates/assessment_gate.html", place.label, _gate_context(opened, gate, key))
    if request.method != "POST":
        if key and not place.number:
            raise Http404
        return show_form(request, opened, place, page, place.form(opened.record))
    return _answer(request, opened, place, page)


def _gate_context(opened: Opened, gate: HazardRecord, key: str) -> dict[str, Any]:
    names = part_names(opened.record)
    return {
        "hazard": gate,
        "key": key,
        "photo_types": ",".join(PHOTO_TYPES),
        "texts": [(_large(spoken(verdict)), gate.text_of(verdict)) for verdict in Verdict],
        "answers": [
            {"number": number, "verdict": _large(spoken(a.verdict)), "about": _about(a.parts, names), "note": a.note}
            for number, a in enumerate(opened.record.gate_answers, start=1)
            if a.hazard == gate.id and str(number) != key
        ],
    }


def _answer(request: HttpRequest, opened: Opened, place: GatePlace, page: Page) -> HttpResponse:
    form = place.form(opened.record, request.POST)
    place.photo = kept_photo(request.POST.get("kept", ""))
    file = request.FILES.get("photo")
    if file is not None:
        try:
            place.photo = PhotoFile(required=False).clean(file)
        except ValidationError as bad:
            page.context["photo_fault"] = " ".join(bad.messages)
    page.context["kept"] = kept_mark(place.photo) if place.photo else ""
    valid = form.is_valid()
    if not valid or page.context.get("photo_fault"):
        return show_form(request, opened, place, page, form)
    try:
        house = save_part(request, opened, place, form.raw())
    except Changed as changed:
        return show_both(request, changed, place, page, form)
    except ValidationError as refused:
        return back_home(request, opened.house, " ".join(refused.messages))
    except ValueError as bad:
        for fault in getattr(bad, "faults", ()):
            if fault.path == "$.photos":
                page.context["photo_fault"] = "Choose at least one photo: a stop and controls need one"
            else:
                form.add_fault(fault)
        return show_form(request, opened, place, page, form)
    return _next_gate(request, opened.house, house)


def _next_gate(request: HttpRequest, house: House, record: HouseRecord) -> HttpResponse:
    left = [line for line in gate_lines(record) if line.open]
    if not left:
        messages.success(request, "Every gate is answered. The assessment can be completed.")
        return redirect("estimates-show-assessment", code=house.code)
    messages.success(request, f"Answered. {len(left)} still open; here is the next one.")
    return redirect("estimates-answer-gate", code=house.code, hazard=left[0].hazard.id)


@require_POST
@access.action("assessment.write")
def remove_answer(request: HttpRequest, code: uuid.UUID, hazard: str, key: str) -> HttpResponse:
    """Take an answer back; the gate is open again."""
    house = access.get_visible_or_404(request.user, House, code, "assessment.write")
    opened = opened_or_none(house)
    if opened is None:
        return not_open(request, house)
    gate = next((row for row in load_hazards().hazards if row.id == hazard), None)
    if gate is None:
        raise Http404
    # Answers are told apart by their number, which somebody else may have changed.
    if request.POST.get("version") != str(opened.row.version):
        messages.warning(request, "The answers were changed in the meantime, and nothing was taken back. Look again.")
        return redirect("estimates-list-gates", code=code)
    place = GatePlace(gate, key, opened.record)
    if place.number:
        try:
            save_change(request, opened, lambda now: place.write(now.record, None))
        except ValidationError as refused:
            return back_home(request, house, " ".join(refused.messages))
    messages.success(request, f"The answer on “{gate_name(gate.id)}” is taken back. Answer it again.")
    return redirect("estimates-answer-gate", code=code, hazard=hazard)


@change
@access.action("estimate.release")
def release_gate(request: HttpRequest, code: uuid.UUID, hazard: str) -> HttpResponse:
    """Release a stop, with the reason: the owner's word."""
    gate = next((row for row in load_hazards().hazards if row.id == hazard), None)
    if gate is None:
        raise Http404
    house = access.get_visible_or_404(request.user, House, code, "estimate.release")
    opened = opened_or_none(house)
    if opened is None:
        return not_open(request, house)
    reach = HouseFacts.of(opened.record).reach(gate)
    names = [(part, name) for part, name in part_choices(opened.record)["parts"] if part in reach]
    form = RecordForm(
        GateReleaseRecord,
        data=request.POST if request.method == "POST" else None,
        only=RELEASED,
        choices={"parts": names},
    )
    if request.method == "POST" and form.is_valid():
        if form.raw()["parts"] == []:
            form.add_fault(Fault("$.parts", "nothing is ticked; choose walls or attics, or the whole house"))
        else:
            return _released(request, opened, gate, form.raw())
    context = {
        "section": "houses",
        "house": house,
        "hazard": gate,
        "title": f"Release: {gate_name(gate.id)}",
        "form": form,
        "faulty": form.faulty,
        "forms": form.live_forms() if form.is_bound else [],
        "stops": [a for a in opened.record.gate_answers if a.hazard == gate.id and a.verdict is Verdict.STOP],
    }
    return render(request, "estimates/assessment_release.html", context)


def _released(request: HttpRequest, opened: Opened, gate: HazardRecord, form: Form) -> HttpResponse:
    assert isinstance(request.user, User)
    release = GateReleaseRecord(
        hazard=gate.id,
        released_on=timezone.localdate(),
        by=request.user.full_name,
        reason=form["reason"],
        parts=None if form.get("parts") is None else tuple(form["parts"]),
        sample=form.get("sample") or "",
    )

    def change_it(now: Opened) -> HouseRecord:
        if release in now.record.gate_releases:
            return now.record
        return dataclasses.replace(now.record, gate_releases=(*now.record.gate_releases, release))

    try:
        save_change(request, opened, change_it)
    except ValidationError as refused:
        return back_home(request, opened.house, " ".join(refused.messages))
    messages.success(request, f"The stop on “{gate_name(gate.id)}” is released in your name.")
    return redirect("estimates-list-gates", code=opened.house.code)
