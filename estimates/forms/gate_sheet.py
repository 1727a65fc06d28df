"""Every hazard gate of a house as a row of one form: its answer, its note, and what that answer needs besides."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils.datastructures import MultiValueDict

from estimates.forms.assessment_fields import EVERYTHING
from estimates.forms.assessment_photo import PhotoFile, kept_mark, kept_photo
from estimates.forms.assessment_words import gate_name
from estimates.forms.plain import PlainForm
from estimates.forms.record_form import RecordForm, full_form
from estimates.gates import HazardRecord, Where
from estimates.house import GateAnswerRecord, Verdict
from estimates.records import Fault

ROW = ("verdict", "parts", "note", "verifier", "how", "before_phase")
"""What a row asks; sample and photos that are kept already stay as they are."""

MOST_NAMED = 24
"""A house of more parts names single ones on the page of the gate: boxes for all of them would fill every row."""

Answer = dict[str, Any]

Files = MultiValueDict[str, Any]
"""What a browser sent along, by the name of its box."""


def asked_of(answer: GateAnswerRecord) -> Answer:
    """What a row asks of an answer, as JSON, so that two can be held against each other."""
    return {name: full_form(getattr(answer, name)) for name in ROW}


class GateRow:
    """One gate on the sheet.

    Parameters
    ----------
    hazard : the gate.
    stored : its answers as the house holds them; the row changes one, or gives the first.
    parts : id and name of the parts that it can be asked of.
    missing : words for what is not answered yet, "" where nothing is.
    data, files : what was sent; None for a page that is first shown.
    """

    def __init__(
        self,
        hazard: HazardRecord,
        stored: Sequence[GateAnswerRecord],
        parts: Sequence[tuple[str, str]],
        missing: str,
        data: QueryDict | None = None,
        files: Files | None = None,
    ) -> None:
        self.hazard, self.stored, self.missing = hazard, tuple(stored), missing
        self.name = gate_name(hazard.id)
        self.photo, self.photo_fault = "", ""
        # What a page says of it besides: answers in words, and those of somebody else with the choice between the two.
        self.given: list[str] = []
        self.theirs, self.keep = "", ""
        named = hazard.where is not Where.HOUSE and 1 < len(parts) <= MOST_NAMED
        only = [name for name in ROW if name != "parts" or named]
        values = dataclasses.asdict(self.stored[0]) if self.stored else {}
        # Several answers, each for its own parts, have a page each; here they are only shown.
        self.form = None
        if len(self.stored) < 2 or (data is not None and data.get(f"{hazard.id}-verdict")):
            self.form = RecordForm(
                GateAnswerRecord, data=data, values=values, only=only, prefix=hazard.id, choices={"parts": parts}
            )
            self.form.main.fields["note"].widget.attrs["rows"] = 2
            self._receive(data, files)

    @property
    def photos(self) -> int:
        """How many photos the answer shows already."""
        return len(self.stored[0].photos) if self.stored else 0

    @property
    def kept(self) -> str:
        """The mark that brings a photo back that came with a faulty sheet."""
        return kept_mark(self.photo) if self.photo else ""

    def _receive(self, data: QueryDict | None, files: Files | None) -> None:
        if data is None:
            return
        self.photo = kept_photo(data.get(f"{self.hazard.id}-kept", ""))
        file = None if files is None else files.get(f"{self.hazard.id}-photo")
        if file is None:
            return
        try:
            self.photo = PhotoFile(required=False).clean(file)
        except ValidationError as bad:
            self.photo_fault = " ".join(bad.messages)

    @property
    def is_blank(self) -> bool:
        """Whether nothing was said: the gate stays as open as it was."""
        if self.form is None:
            return True
        typed = ("verdict", "note", "verifier", "how", "before_phase")
        said = any(str(self.form.main[name].value() or "").strip() for name in typed)
        said |= "parts" in self.form.specs and self.form.main["parts"].value() not in ([], [EVERYTHING])
        return not said and not self.photo and not self.photo_fault

    def is_valid(self) -> bool:
        """Whether the row can be held by an answer."""
        if self.form is None or self.is_blank:
            return True
        return self.form.is_valid() and not self.photo_fault

    def answer(self, looked_at: str) -> Answer:
        """What was said; a clear answer without a note of its own takes the shared one."""
        assert self.form is not None
        said = {"parts": full_form(self.stored[0].parts) if self.stored else None} | self.form.raw()
        if said["verdict"] == Verdict.CLEAR and not str(said["note"] or "").strip():
            said["note"] = looked_at
        return {name: said[name] for name in ROW}

    def whole(self, said: Answer, was: GateAnswerRecord | None, photos: Sequence[str], today: date) -> Answer:
        """The JSON form of the answer; one that says the same as before keeps its day."""
        day = was.answered_on if was is not None and was.verdict == said["verdict"] else today
        kept = {"sample": was.sample} if was is not None else {}
        return {**said, **kept, "photos": list(photos), "hazard": self.hazard.id, "answered_on": day.isoformat()}

    def add_fault(self, fault: Fault) -> None:
        """Put a fault beside its box."""
        assert self.form is not None
        if fault.path == "photos":
            self.photo_fault = "Choose at least one photo: a stop and controls need one"
        elif fault.path == "note":
            words = "enter what was seen and where"
            if self.form.main["verdict"].value() == Verdict.CLEAR:
                words += ", or fill in at the top what was looked at"
            self.form.add_fault(Fault("$.note", words))
        else:
            self.form.add_fault(Fault(f"$.{fault.path}", fault.message))

    @property
    def faults(self) -> list[tuple[str, str]]:
        """Id of the box and words, for the summary at the head of the page."""
        if self.form is None or self.is_blank:
            return []
        found = [("", str(words)) for words in self.form.main.non_field_errors()]
        for field in self.form.visible:
            place = f"{field.id_for_label}_0" if field.name == "verdict" else field.id_for_label
            found += [(place, str(words)) for words in field.errors]
        if self.photo_fault:
            found.append((f"id_{self.hazard.id}-photo", self.photo_fault))
        return found


class LookedAtForm(PlainForm):
    """The sentence that all clear answers may share."""

    looked_at = forms.CharField(
        label="What was looked at",
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="One sentence for the whole round: the note of every gate answered “Clear” that has none of its own.",
    )


class GateSheet:
    """Every gate at once: `rows`, and the shared sentence in `looked`."""

    def __init__(self, rows: Sequence[GateRow], data: QueryDict | None = None) -> None:
        self.rows, self.looked, self.is_bound = tuple(rows), LookedAtForm(data), data is not None

    def is_valid(self) -> bool:
        """Whether everything that was said can be kept; every row is asked, so that every fault is shown."""
        return all([self.looked.is_valid(), *(row.is_valid() for row in self.rows)])

    @property
    def faulty(self) -> bool:
        """Whether the summary of faults is to be shown."""
        return self.is_bound and (self.looked.faulty or any(row.faults for row in self.rows))

    def answers(self) -> dict[str, Answer]:
        """What was said, by gate; rows that are blank, or that cannot be changed here, are left out."""
        looked_at = self.looked.cleaned_data["looked_at"].strip()
        return {row.hazard.id: row.answer(looked_at) for row in self.rows if row.form is not None and not row.is_blank}
