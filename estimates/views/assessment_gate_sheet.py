"""Every hazard gate on one page: answered together, saved together, and what two people said stands side by side."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from datetime import date

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from estimates import access
from estimates.assessments import AssessmentChanged, assessment_complete, assessment_to_record
from estimates.forms.assessment_photo import PHOTO_TYPES
from estimates.forms.gate_sheet import Answer, Files, GateRow, GateSheet, asked_of
from estimates.gates import HouseFacts, answer_faults, load_hazards
from estimates.house import HouseRecord
from estimates.models import House
from estimates.records import Fault, read_record, write_record
from estimates.templatetags.figures import spoken
from estimates.views.assessment_gates import gate_lines, list_page, part_names
from estimates.views.assessment_photos import with_photo
from estimates.views.assessment_places import part_choices, without_dangling
from estimates.views.assessment_save import (
    Opened,
    back_home,
    not_open,
    open_assessment,
    opened_or_none,
    save_change,
    sent_base,
    sent_choices,
)

Answers = Mapping[str, list[Answer]]
"""Gate -> its answers as somebody saw them."""


class SheetChanged(Exception):
    """Somebody else answered the same gates differently; `gates` names them, `opened` is what is stored now."""

    def __init__(self, opened: Opened, gates: list[str]) -> None:
        super().__init__("changed in the meantime")
        self.opened, self.gates = opened, gates


class SheetFaulty(Exception):
    """Answers lack something; `faults` are by gate."""

    def __init__(self, faults: dict[str, tuple[Fault, ...]]) -> None:
        super().__init__("answers lack something")
        self.faults = faults


def sheet_of(house: HouseRecord, data: QueryDict | None = None, files: Files | None = None) -> GateSheet:
    """The gates that are asked of a house, with what was sent."""
    facts, choices = HouseFacts.of(house), part_choices(house)["parts"]
    rows = []
    for line in gate_lines(house):
        reach = facts.reach(line.hazard)
        named = [(part, name) for part, name in choices if part in reach]
        stored = [answer for answer in house.gate_answers if answer.hazard == line.hazard.id]
        rows.append(GateRow(line.hazard, stored, named, line.missing, data, files))
    return GateSheet(rows, data)


def seen_of(house: HouseRecord) -> dict[str, list[Answer]]:
    """Every answer of a house by its gate."""
    found: dict[str, list[Answer]] = {}
    for answer in house.gate_answers:
        found.setdefault(answer.hazard, []).append(asked_of(answer))
    return found


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("assessment.write")
def answer_gates(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Answer every gate on one page; what is left out stays open."""
    house = access.get_visible_or_404(request.user, House, code, "assessment.write")
    opened = opened_or_none(house)
    if opened is None:
        return not_open(request, house)
    if request.method != "POST":
        return sheet_page(request, opened, sheet_of(opened.record))
    sheet = sheet_of(opened.record, request.POST, request.FILES)
    if not sheet.is_valid():
        return sheet_page(request, opened, sheet)
    try:
        record = save_change(request, opened, lambda now: _answered(request, now, sheet))
    except SheetFaulty as bad:
        for row in sheet.rows:
            for fault in bad.faults.get(row.hazard.id, ()):
                row.add_fault(fault)
        return sheet_page(request, opened, sheet)
    except SheetChanged as changed:
        again = sheet_of(changed.opened.record, request.POST, request.FILES)
        again.is_valid()
        return sheet_page(request, changed.opened, again, changed=changed.gates)
    except AssessmentChanged:
        messages.warning(request, "Others are saving at the same moment. Nothing you typed is lost; save again.")
        return sheet_page(request, opened, sheet)
    except ValidationError as refused:
        return back_home(request, house, " ".join(refused.messages))
    if request.POST.get("then") == "complete":
        return _complete(request, house, record)
    return _saved(request, house, record)


def _answered(request: HttpRequest, now: Opened, sheet: GateSheet) -> HouseRecord:
    """The house as it is stored now, with what the sheet says of its gates.

    Raises
    ------
    SheetChanged, SheetFaulty : somebody else said something else of the same gate; answers lack something.
    """
    theirs, base, kept = seen_of(now.record), sent_base(request), sent_choices(request)
    same = request.POST.get("version") == str(now.row.version)
    mine, both = {}, []
    for hazard, answer in sheet.answers().items():
        row = next(row for row in sheet.rows if row.hazard.id == hazard)
        stored = theirs.get(hazard, [])
        seen = stored if same else (base or {}).get(hazard, [])
        if ([answer] in (seen, stored) and not row.photo) or kept.get(hazard) == "theirs":
            continue
        if stored != seen and kept.get(hazard) != "mine":
            both.append(hazard)
        mine[hazard] = answer
    if both:
        raise SheetChanged(now, both)
    return _written(now.record, mine, sheet, timezone.localdate())


def _written(house: HouseRecord, mine: Mapping[str, Answer], sheet: GateSheet, today: date) -> HouseRecord:
    new: dict[str, Answer] = {}
    for row in sheet.rows:
        if row.hazard.id not in mine:
            continue
        stored = [answer for answer in house.gate_answers if answer.hazard == row.hazard.id]
        photos = list(stored[0].photos) if stored else []
        if row.photo:
            house, photo = with_photo(house, row.photo, row.name, today, "")
            photos = list(dict.fromkeys([*photos, photo]))
        new[row.hazard.id] = row.whole(mine[row.hazard.id], stored[0] if stored else None, photos, today)
    raw = write_record(house)
    # Where somebody else has given several answers in the meantime, mine takes the place of them all: I chose it.
    listed = [answer for answer in raw.get("gate_answers", []) if answer["hazard"] not in new]
    record = read_record(HouseRecord, without_dangling(raw | {"gate_answers": [*listed, *new.values()]}))
    facts, catalogue = HouseFacts.of(record), load_hazards()
    faults = {
        answer.hazard: found
        for answer in record.gate_answers
        if answer.hazard in new and (found := answer_faults(answer, facts, catalogue))
    }
    if faults:
        raise SheetFaulty(faults)
    return record


def sheet_page(
    request: HttpRequest, opened: Opened, sheet: GateSheet, *, changed: list[str] | None = None
) -> HttpResponse:
    """The page of every gate; `changed` names those that somebody else answered differently in the meantime."""
    first = request.method != "POST" or changed is not None
    kept = {} if changed is not None else sent_choices(request)
    names = part_names(opened.record)
    for row in sheet.rows:
        row.given = [_words(asked_of(answer), names) for answer in row.stored]
        if row.hazard.id in (changed or kept):
            row.theirs, row.keep = "; ".join(row.given) or "no answer any more", kept.get(row.hazard.id, "mine")
    context = list_page(request, opened.house, opened.row, opened.record) | {
        "opened": opened,
        "sheet": sheet,
        "faulty": sheet.faulty,
        "version": opened.row.version if first else request.POST.get("version", ""),
        "base": json.dumps(seen_of(opened.record)) if first else request.POST.get("base", ""),
        "both": bool(changed or kept),
        "unsaved": request.method == "POST",
        "photo_types": ",".join(PHOTO_TYPES),
    }
    return render(request, "estimates/assessment_gate_sheet.html", context, status=200 if changed is None else 409)


def _words(answer: Answer, names: Mapping[str, str]) -> str:
    """An answer in a sentence."""
    about = "" if answer["parts"] is None else f" ({', '.join(names.get(part, part) for part in answer['parts'])})"
    rest = [answer[name] for name in ("note", "verifier", "how", "before_phase") if answer[name]]
    words = spoken(answer["verdict"])
    return ", ".join([f"{words[:1].upper()}{words[1:]}{about}", *rest])


def _saved(request: HttpRequest, house: House, record: HouseRecord) -> HttpResponse:
    lines = gate_lines(record)
    left = sum(1 for line in lines if line.open)
    if not left:
        messages.success(request, "Every gate is answered. The assessment can be completed.")
        return redirect("estimates-show-assessment", code=house.code)
    messages.success(request, f"Saved. {len(lines) - left} of {len(lines)} are answered, {left} still open.")
    return redirect("estimates-list-gates", code=house.code)


def _complete(request: HttpRequest, house: House, record: HouseRecord) -> HttpResponse:
    """Complete the assessment as it was just saved."""
    row = open_assessment(house)
    if row is None or assessment_to_record(row) != record:
        messages.warning(
            request, "Saved. Somebody else changed the assessment meanwhile: look at it, then complete it."
        )
        return redirect("estimates-show-assessment", code=house.code)
    try:
        assessment_complete(
            assessment=row,
            expected_version=row.version,
            by=access.signed_in(request),
            now=timezone.now(),
            origin=access.origin_of(request),
        )
    except (AssessmentChanged, ValidationError) as refused:
        words = str(refused) if isinstance(refused, AssessmentChanged) else ". ".join(refused.messages) + "."
        messages.warning(request, f"Saved. The assessment cannot be completed yet. {words}")
        return redirect("estimates-list-gates", code=house.code)
    messages.success(request, "The assessment is complete. Next: look at the price, then make the proposal.")
    return redirect("estimates-show-estimate", code=house.code)
