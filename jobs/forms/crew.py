"""Forms of the crew pages: each is made from the record of its kind, and reads what was typed into that record's form.

A phone keeps what was typed, field by field, and sends it later; `entry_data` turns it into data the same way for both.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from django import forms
from django.utils.datastructures import MultiValueDict

from estimates.forms.plain import PlainForm
from estimates.records import Spec, specs
from jobs.entry_records import AT_A_WALL, RECORDS, BayRecord
from jobs.models import EntryKind, Job, PhaseKind

Typed = MultiValueDict[str, str]

LONG = 300
"""Texts that may be this long get more than one line. [characters]"""


@dataclass(frozen=True, slots=True)
class Box:
    """A field that no record declares: of an edit of a wall as found."""

    name: str
    label: str
    unit: str
    whole: bool = False


@dataclass(frozen=True, slots=True)
class EntryPage:
    """A form of the crew: kind of its entry, words, fields that are asked (all of the record where none are named)."""

    kind: EntryKind
    title: str
    button: str
    hint: str = ""
    fields: tuple[str, ...] = ()
    boxes: tuple[Box, ...] = ()
    edit: Callable[[Mapping[str, Any], str], dict[str, Any]] | None = None

    @property
    def at_wall(self) -> bool:
        """Whether the form asks for a wall."""
        return self.kind in AT_A_WALL


def _one(name: str, *keys: str) -> Callable[[Mapping[str, Any], str], dict[str, Any]]:
    return lambda typed, code: {name: [{key: typed[key] for key in keys if key in typed}]}


_K = EntryKind
_BLOCK = ("height_in", "from_in", "to_in")
_X = Box("x_in", "Centre, from the left outside corner", "in")
_Y = Box("y_in", "Height above the bottom of the wall", "in")
_BAY = Box("bay", "Number of the bay", "", whole=True)

EDITS: dict[str, EntryPage] = {
    "move-stud": EntryPage(
        _K.AS_FOUND,
        "A stud stands elsewhere",
        "Save the stud",
        boxes=(
            Box("from_in", "Centre as drawn, from the left outside corner", "in"),
            Box("to_in", "Centre as found", "in"),
        ),
        edit=_one("studs_moved", "from_in", "to_in"),
    ),
    "split-bay": EntryPage(
        _K.AS_FOUND,
        "A stud that is not drawn splits a bay",
        "Save the new stud",
        boxes=(_X,),
        edit=lambda typed, code: {"studs_added": [{"x_in": typed.get("x_in", ""), "y_in": 0}]},
    ),
    "depth": EntryPage(
        _K.AS_FOUND,
        "All bays are deeper or shallower",
        "Save the depth",
        boxes=(Box("depth_in", "Depth by the probe", "in"),),
        edit=lambda typed, code: {"depth_in": typed.get("depth_in", "")},
    ),
    "bay-depth": EntryPage(
        _K.AS_FOUND,
        "One bay is deeper or shallower",
        "Save the depth of the bay",
        boxes=(_BAY, Box("depth_in", "Depth by the probe", "in")),
        edit=_one("bay_depths", "bay", "depth_in"),
    ),
    "block": EntryPage(
        _K.AS_FOUND,
        "A block is in the way",
        "Save the block",
        hint="Leave both ends empty where it runs along the whole wall.",
        boxes=(
            Box("height_in", "Height of its centre above the bottom of the wall", "in"),
            Box("from_in", "Begins, from the left outside corner", "in"),
            Box("to_in", "Ends, from the left outside corner", "in"),
        ),
        edit=lambda typed, code: {
            "blocks_added": [{"id": f"found-{code[:8]}"} | {k: typed[k] for k in _BLOCK if k in typed}]
        },
    ),
    "add-hole": EntryPage(
        _K.AS_FOUND,
        "A hole more was drilled",
        "Save the hole",
        boxes=(_BAY, _X, _Y),
        edit=_one("holes_added", "bay", "x_in", "y_in"),
    ),
    "skip-hole": EntryPage(
        _K.AS_FOUND,
        "A hole was not drilled",
        "Save the hole that is not there",
        boxes=(_BAY, Box("row", "Which hole, counted from the bottom", "", whole=True)),
        edit=_one("holes_skipped", "bay", "row"),
    ),
}
"""Edits of a wall as found; each adds to what was found before."""

PAGES: dict[str, EntryPage] = {
    "photo": EntryPage(_K.PHOTO, "Photo", "Save the photo"),
    "moisture": EntryPage(_K.MOISTURE, "Moisture of framing", "Save the moisture"),
    "temperature": EntryPage(_K.TEMPERATURE, "Temperatures", "Save the temperatures"),
    "trial": EntryPage(_K.TRIAL, "First-bay trial", "Save the trial"),
    "watcher": EntryPage(_K.WATCHER, "Inside watcher", "Save the watcher"),
    "mix": EntryPage(
        _K.MIX, "Mix", "Save the mix", hint="Weigh the sample at the start, with each lot, and as often as agreed."
    ),
    "density": EntryPage(_K.DENSITY, "Wet density", "Save the wet density"),
    "waste": EntryPage(_K.WASTE, "Waste and wash-out", "Save the waste"),
    "plugs": EntryPage(_K.PLUGS, "Plugs", "Save the plugs", hint="Count both; they have to be the same."),
    "leak": EntryPage(_K.LEAK, "Leak site", "Save the leak site"),
    "bags": EntryPage(_K.BAGS, "Bags", "Save the bags"),
    "loose-depth": EntryPage(_K.DEPTH, "Depth of loose fill", "Save the depth"),
    "check": EntryPage(_K.CHECK, "Check", "Save the check"),
    "hours": EntryPage(_K.HOURS, "Hours", "Save the hours"),
    "material": EntryPage(_K.MATERIAL, "Other material", "Save the material"),
    "note": EntryPage(_K.NOTE, "Note", "Save the note"),
    "near-miss": EntryPage(_K.NEAR_MISS, "Near miss", "Save the near miss"),
    "day-close": EntryPage(
        _K.DAY_CLOSE,
        "Close the day",
        "Close the day",
        hint="Every bay of today's walls is filled, refused with why, or left for another day.",
    ),
}
"""Name in the address -> form, in the order in which the sheet offers them."""

BAY_PAGE = EntryPage(_K.BAY, "Bays", "Save the bays")
ALL_PAGES = {**PAGES, **EDITS, "bay": BAY_PAGE}


# --- reading what was typed ------------------------------------------------------------------------------------------


def entry_data(page: EntryPage, typed: Typed, code: str) -> dict[str, Any]:
    """The data of an entry, from what was typed into its form; empty boxes are left out.

    Parameters
    ----------
    page : the form.
    typed : field -> what was typed.
    code : code of the entry.

    Examples
    --------
    >>> typed = MultiValueDict({"lot": ["B-17"], "ingredients_lb": ["40"], "bays": ["3, 5-7"], "mixes": [""]})
    >>> entry_data(PAGES["mix"], typed, "")
    {'lot': 'B-17', 'ingredients_lb': '40', 'bays': [{'bay': 3}, {'bay': 5}, {'bay': 6}, {'bay': 7}]}
    """
    if page.edit is not None:
        given = {box.name: _typed(Spec("whole" if box.whole else "number", ""), typed, box.name) for box in page.boxes}
        edit = page.edit({name: value for name, value in given.items() if value is not None}, code)
        return {"version": _whole(typed.get("version") or ""), "add": edit}
    found: dict[str, Any] = {}
    for name, (spec, _) in specs(RECORDS[page.kind]).items():
        value = _typed(spec, typed, name)
        if value is not None:
            found[name] = value
    return found


def _typed(spec: Spec, typed: Typed, name: str) -> Any:
    if spec.kind == "flag":
        return True if typed.get(name) else None
    if spec.kind == "many":
        words = [word for word in typed.getlist(name) if word.strip()]
        if spec.record is BayRecord:
            return _bays(words) or None
        return [{"phase": word} for word in words] or None
    words_ = (typed.get(name) or "").strip()
    if not words_:
        return None
    if spec.kind == "whole":
        return _whole(words_)
    return _bare(words_) if spec.kind == "number" and not spec.unit else words_


def _bare(words: str) -> Any:
    """A number that has no unit; else the words, which the record refuses by name."""
    plain = words.replace(",", "").removesuffix("%").strip()
    return float(plain) if re.fullmatch(r"-?[0-9]{1,9}(\.[0-9]{1,9})?", plain) else words


def _whole(words: str) -> Any:
    """A whole number where there is one; else the words, which the record refuses by name."""
    plain = words.replace(",", "").strip()
    return int(plain) if re.fullmatch(r"-?[0-9]{1,9}", plain) else words


def _bays(words: list[str]) -> list[dict[str, Any]]:
    """Bays in the order in which they were named; a dash means all between."""
    found: list[dict[str, Any]] = []
    for word in re.split(r"[,;\s]+", re.sub(r"\s*[-–]\s*", "-", " ".join(words)).strip()):
        ends = re.fullmatch(r"([0-9]{1,4})-([0-9]{1,4})", word)
        if ends and int(ends[1]) <= int(ends[2]):
            found += [{"bay": number} for number in range(int(ends[1]), int(ends[2]) + 1)]
        elif word:
            found.append({"bay": _whole(word)})
    return found


def knows_of(typed: Typed) -> dict[str, str]:
    """Bay -> code of the last entry about it that the page had shown."""
    return {
        name.removeprefix("knows-"): str(typed.get(name))
        for name in typed
        if name.startswith("knows-") and typed.get(name)
    }


# --- showing ---------------------------------------------------------------------------------------------------------


class EntryForm(PlainForm):
    """The form of an entry. It checks nothing itself: the record does, here and for a phone that was offline."""

    def __init__(self, page: EntryPage, job: Job, places: Mapping[str, list[tuple[str, str]]], *args: Any, **kw: Any):
        super().__init__(*args, **kw)
        self.page = page
        if page.at_wall and not page.boxes:
            self.fields["wall"] = _radios("Wall", places["wall"], needed=True)
        for box in page.boxes:
            self.fields[box.name] = _box(
                Spec("whole" if box.whole else "number", box.label, unit=box.unit),
                needed=box.name not in ("from_in", "to_in") or len(page.boxes) == 2,
            )
        if page.boxes:
            return
        for name, (spec, required) in specs(RECORDS[page.kind]).items():
            needed = required or bool(spec.low and spec.kind == "text")
            if name == "sha256":
                self.fields["photo"] = _photo()
            elif name == "done":
                self.fields[name] = _phases(job)
            elif name == "stretch":
                there = [(phase.kind, phase.get_kind_display()) for phase in job.phases.all()]
                self.fields[name] = _radios(spec.doc, there, needed=needed)
            elif name in places:
                self.fields[name] = _radios(spec.doc, places[name], needed=needed)
            elif name == "bays":
                self.fields[name] = _bay_box(spec)
            else:
                self.fields[name] = _box(spec, needed=needed)

    def blame(self, faults: list[dict[str, str]]) -> None:
        """Show what the records found beside the fields they are about."""
        for one in faults:
            path = one["field"].replace("$.found.", "$.").replace("$.add.", "$.")
            name = next((n for n in self.fields if re.search(rf"(^|\.){n}\b", path)), None)
            name = "photo" if name is None and "sha256" in path else name
            label = "" if name is None else f"{self.fields[name].label}: "
            self.add_error(name, label + re.sub(r"^missing; ", "", one["say"]))


def _box(spec: Spec, *, needed: bool) -> forms.Field:
    given: dict[str, Any] = {"label": spec.doc, "required": False}
    attrs: dict[str, Any] = {"autocomplete": "off"} | ({"data-needed": "1"} if needed else {})
    if spec.kind == "flag":
        return forms.BooleanField(**given)
    if spec.kind == "choice":
        assert spec.enum is not None
        return _radios(spec.doc, [(str(word), _shown(word)) for word in spec.enum], needed=needed)
    if spec.kind == "text":
        field = forms.CharField(**given, max_length=None, widget=forms.Textarea(attrs={**attrs, "rows": 3}))
        if spec.max_length < LONG:
            field.widget = forms.TextInput(attrs=attrs)
        return field
    attrs["inputmode"] = "numeric" if spec.kind == "whole" else "decimal"
    box = forms.CharField(**given, widget=forms.TextInput(attrs=attrs))
    box.unit = UNITS.get(spec.unit, spec.unit)  # type: ignore[attr-defined]
    if box.unit:  # type: ignore[attr-defined]
        box.label = f"{spec.doc} ({box.unit})"  # type: ignore[attr-defined]
    return box


UNITS = {"ft3": "ft³", "lb/ft3": "lb/ft³", "degF": "°F"}
"""Units as people read them."""


def _shown(word: StrEnum) -> str:
    return word.value[:1].upper() + word.value[1:]


def _radios(label: str, choices: list[tuple[str, str]], *, needed: bool) -> forms.ChoiceField:
    attrs = {"data-needed": "1"} if needed else {}
    return forms.ChoiceField(label=label, choices=choices, required=False, widget=forms.RadioSelect(attrs=attrs))


def _bay_box(spec: Spec) -> forms.CharField:
    attrs = {"inputmode": "text", "autocomplete": "off", "data-needed": "1"}
    return forms.CharField(
        label=spec.doc, help_text="For example 4, 5, 7-9.", required=False, widget=forms.TextInput(attrs=attrs)
    )


def _phases(job: Job) -> forms.MultipleChoiceField:
    rows = job.phases.exclude(kind__in=(PhaseKind.TEST_IN, PhaseKind.TEST_OUT, PhaseKind.INFRARED, PhaseKind.RETURN))
    choices = [(phase.kind, phase.get_kind_display()) for phase in rows if phase.status in ("planned", "started")]
    return forms.MultipleChoiceField(
        label="What is finished", choices=choices, required=False, widget=forms.CheckboxSelectMultiple
    )


def _photo() -> forms.FileField:
    attrs = {"accept": "image/*", "capture": "environment", "data-needed": "1"}
    return forms.FileField(label="Photo", required=False, widget=forms.FileInput(attrs=attrs))
