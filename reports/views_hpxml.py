"""A house as an HPXML file, and an HPXML file as the beginning of its assessment."""

from __future__ import annotations

import base64
import binascii
import uuid
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from estimates import access
from estimates.assessments import assessment_from_record, assessment_to_record
from estimates.forms.plain import PlainForm
from estimates.forms.record_form import RecordForm, simple
from estimates.house import ClimateRecord, HeatingRecord, HouseRecord, house_faults
from estimates.leads import lead_complaints
from estimates.models import Assessment, House, Lead
from estimates.models.house import RECORD_FIELDS
from estimates.records import BadRecord, read_record, specs, write_record
from estimates.views.assessment import earlier_record
from estimates.views.assessment_save import back_home, open_assessment
from reports.exports.hpxml_import import house_from_hpxml
from reports.exports.hpxml_reading import Note

MOST_BYTES = 1_000_000
"""Files of a house have less than a twentieth of this; the check page carries the file along. [bytes]"""

NESTED = {"heating": ("Heating and its price", HeatingRecord), "climate": ("Climate", ClimateRecord)}
"""Parts of a house of which the standard holds only some fields: title and record."""

KEPT = ("complaints", "household", "bills")
"""What the people of a house told us stays, whatever file its walls come from."""


@require_safe
@access.action("house.read")
def download_hpxml(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Hand over a house, its tests and its measures as HPXML; it holds no price and no cost."""
    from reports.exports.hpxml import hpxml_xml

    house = access.get_visible_or_404(request.user, House, code, "house.read")
    record = earlier_record(house)
    if record is None:
        messages.warning(request, "Nothing is measured here yet, so there is nothing to write.")
        return redirect("estimates-show-house", code=house.code)
    try:
        faults = list(house_faults(record))
        if faults:
            raise BadRecord(faults)
        content = hpxml_xml(record, written_at=timezone.now())
    except BadRecord as bad:
        words = "; ".join(str(fault) for fault in bad.faults[:3])
        messages.warning(request, f"The assessment cannot be written as HPXML yet: {words}")
        return redirect("estimates-show-house", code=house.code)
    response = HttpResponse(content, content_type="application/xml")
    response.headers["Content-Disposition"] = f'attachment; filename="{house.reference}.hpxml.xml"'
    return response


# --- A file as the beginning of an assessment ------------------------------------------------------------------------


class FileForm(PlainForm):
    """The file; `kept` carries it along while what it lacks is entered."""

    file = forms.FileField(label="HPXML file", help_text="Version 4.0 to 4.2, of one house.", required=False)
    kept = forms.CharField(widget=forms.HiddenInput, required=False)

    def clean(self) -> dict[str, Any]:
        """The bytes of the file, of a new one first."""
        given = super().clean() or {}
        file, raw = given.get("file"), b""
        if file is not None:
            raw = file.read(MOST_BYTES + 1)
        elif given.get("kept"):
            try:
                raw = base64.b64decode(given["kept"], validate=True)
            except (binascii.Error, ValueError):
                raw = b""
        if not raw and "file" not in self.errors:
            self.add_error("file", "Choose the HPXML file")
        elif len(raw) > MOST_BYTES:
            self.add_error("file", f"Choose a file of one house; this one has more than {MOST_BYTES:,} bytes")
        given["raw"] = raw
        return given


@dataclass(frozen=True, slots=True)
class Read:
    """A file as read for a house: the JSON form so far, notes on the way, and forms for what it lacks."""

    form: dict[str, Any]
    notes: tuple[Note, ...]
    facts: RecordForm | None
    nested: dict[str, RecordForm]

    @property
    def asked(self) -> list[RecordForm]:
        """The forms for what the file lacks."""
        return [*([self.facts] if self.facts is not None else []), *self.nested.values()]

    def live_forms(self) -> list[PlainForm]:
        """Those forms one by one."""
        return [made for form in self.asked for made in form.live_forms()]

    def record(self) -> HouseRecord:
        """The house with what was entered.

        Raises
        ------
        BadRecord : something in it does not fit its field.
        """
        whole = self.form | (self.facts.raw() if self.facts is not None else {})
        return read_record(HouseRecord, whole | {name: form.raw() for name, form in self.nested.items()})


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("assessment.write")
def bring_hpxml(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Read an HPXML file, show what was made of it, and begin an assessment with it."""
    house = access.get_visible_or_404(request.user, House, code, "assessment.write")
    taking = request.method == "POST" and "take" in request.POST
    if open_assessment(house) is not None and not taking:
        return back_home(request, house, "An assessment is open here already. Complete it before you bring in a file.")
    if request.method != "POST":
        return _page(request, house, FileForm())
    form = FileForm(request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, house, form)
    raw = form.cleaned_data["raw"]
    try:
        read = _read(request, house, raw, taking=taking)
    except BadRecord as bad:
        for fault in bad.faults:
            form.add_error("file", f"{fault.message[:1].upper()}{fault.message[1:]}")
        return _page(request, house, form)
    answers = [asked.is_valid() for asked in read.asked] if taking else [False]
    if not all(answers):
        return _page(request, house, form, read, raw)
    try:
        assessment_from_record(
            house=house,
            record=read.record(),
            by=access.signed_in(request),
            now=timezone.now(),
            origin=access.origin_of(request),
        )
    except BadRecord as bad:
        return _page(request, house, form, read, raw, tuple(str(fault) for fault in bad.faults))
    except ValidationError as refused:
        return back_home(request, house, " ".join(refused.messages))
    messages.success(request, "The file is the beginning of this assessment. Next: go through what was guessed.")
    return redirect("estimates-show-assessment", code=house.code)


def _read(request: HttpRequest, house: House, raw: bytes, *, taking: bool) -> Read:
    """The file for this house: address and what its people said are ours, the rest is the file's."""
    earlier = earlier_record(house)
    found = house_from_hpxml(raw, like=earlier or _neighbour(house))
    form = found.form | {name: getattr(house, column) for name, column in RECORD_FIELDS.items()}
    form |= _said(house, earlier)
    data = request.POST if taking else None
    nested = {}
    for name, (_, record) in NESTED.items():
        try:
            read_record(record, form.get(name, {}))
        except BadRecord:
            nested[name] = RecordForm(record, data=data, values=form.get(name, {}), prefix=name)
    lacking = [
        name
        for name, (spec, required) in specs(HouseRecord).items()
        if required and simple(spec) and name not in form and name != "schema"
    ]
    facts = RecordForm(HouseRecord, data=data, only=lacking, prefix="facts") if lacking else None
    return Read(form, found.notes, facts, nested)


def _said(house: House, earlier: HouseRecord | None) -> dict[str, Any]:
    """What the people of the house told us, in the assessment before or on the telephone."""
    if earlier is not None:
        said = write_record(earlier)
        return {name: said[name] for name in KEPT if said.get(name)}
    lead = Lead.objects.filter(house=house).order_by("-taken_at").first()
    return {} if lead is None else {"complaints": [write_record(one) for one in lead_complaints(lead)]}


def _neighbour(house: House) -> HouseRecord | None:
    """The house measured last in the same town, else in the state: its climate and fuel price are near ours."""
    rows = Assessment.objects.exclude(house=house).filter(house__state=house.state).order_by("-updated_at")
    row = rows.filter(house__town=house.town).first() or rows.first()
    return None if row is None else assessment_to_record(row)


def _page(
    request: HttpRequest,
    house: House,
    form: FileForm,
    read: Read | None = None,
    raw: bytes = b"",
    faults: tuple[str, ...] = (),
) -> HttpResponse:
    asked = [] if read is None else read.live_forms()
    context: dict[str, Any] = {
        "section": "houses",
        "house": house,
        "form": form,
        "forms": [form, *asked],
        "faulty": form.faulty or bool(faults) or any(one.is_bound and one.errors for one in asked),
        "record_faults": faults,
        "read": read,
    }
    if read is not None:
        kinds = dict.fromkeys(note.kind for note in read.notes)
        context |= {
            "kept": base64.b64encode(raw).decode(),
            "notes": [(kind, [note for note in read.notes if note.kind == kind]) for kind in kinds],
            "walls": len(read.form.get("walls", ())) + len(read.form.get("quick_walls", ())),
            "attics": len(read.form.get("attics", ())),
            "test": bool(read.form.get("blower_door")),
            "nested": [(NESTED[name][0], one) for name, one in read.nested.items()],
        }
    return render(request, "reports/house_from_file.html", context)
