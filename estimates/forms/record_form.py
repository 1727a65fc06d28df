"""A form made from the declared fields of a record: units outside the box, rows for lists, faults beside their field.

A field added to `estimates.house` appears here by itself. Everything typed stays typed: rows are added and taken out by
sending the form, with or without JavaScript.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from django import forms
from django.http import QueryDict

from estimates.forms.assessment_fields import shown_number
from estimates.forms.assessment_maker import Choices, FieldMaker
from estimates.forms.assessment_words import (
    ROW_WORDS,
    THERE_WORDS,
    groups_of,
    hint_of,
    is_percent,
    name_of,
)
from estimates.forms.plain import PlainForm
from estimates.house import PointRecord
from estimates.records import BadRecord, Fault, Spec, read_record, specs

MOST_ROWS = 300
"""No house has so many rows of one kind; a form that claims more is a slip or a trick."""

SHORT_IDS = {"window": "w", "double_hung": "w", "door": "d", "garage_door": "d"}
"""Kind of opening -> beginning of its id: it stands in the drawing, where there is little room."""


def simple(spec: Spec) -> bool:
    """Whether a field is one control on a form."""
    return spec.kind not in ("one", "many") or spec.record is PointRecord


@dataclass(frozen=True, slots=True)
class Topic:
    """Fields that belong together: `items` are ("field", bound field), ("part", Part) or ("rows", Rows)."""

    title: str
    items: tuple[tuple[str, Any], ...]
    open: bool


@dataclass(frozen=True, slots=True)
class Part:
    """A nested record; `there` is the box that says whether it is there at all, None where it always is."""

    label: str
    there: Any
    form: RecordForm


@dataclass(frozen=True, slots=True)
class Rows:
    """A list of nested records."""

    name: str
    label: str
    one: str
    hint: str
    key: str
    forms: tuple[tuple[int, RecordForm], ...]


class RecordForm:
    """A form for some fields of a record.

    Parameters
    ----------
    record : the record type.
    data : what was sent; None for a form that is first shown.
    values : field -> value as the record holds it; fields that are not named begin with their default.
    only : the fields on this form; None: all of them.
    prefix : begins the name of every control.
    choices : for fields of ids, what can be chosen.
    compact : a row among rows: choices as lists instead of radios.
    """

    def __init__(
        self,
        record: type,
        *,
        data: QueryDict | None = None,
        values: Mapping[str, Any] | None = None,
        only: Iterable[str] | None = None,
        prefix: str = "",
        choices: Choices | None = None,
        compact: bool = False,
    ) -> None:
        self.type, self.data, self.prefix, self.compact = record, data, prefix, compact
        self.is_bound = data is not None
        known = specs(record)
        wanted = set(known if only is None else only)
        self.specs = {name: spec for name, (spec, _) in known.items() if name in wanted and name != "schema"}
        self.required = {name for name, (_, required) in known.items() if required}
        self.choices = choices or {}
        self.values = {name: self._start(name, values or {}) for name in self.specs}
        self._maker = FieldMaker(record, self.values, self.required, self.choices, compact)
        self.main = self._main()
        self.parts = {n: self._part(n, s) for n, s in self.specs.items() if not simple(s) and s.kind == "one"}
        self.lists = {n: self._rows(n, s) for n, s in self.specs.items() if not simple(s) and s.kind == "many"}
        self._raw: dict[str, Any] | None = None

    # --- making --------------------------------------------------------------------------------------------------

    def _start(self, name: str, values: Mapping[str, Any]) -> Any:
        if name in values:
            return values[name]
        default = self.type.__dataclass_fields__[name].default  # type: ignore[attr-defined]
        return None if default is dataclasses.MISSING else default

    def _key(self, name: str) -> str:
        return f"{self.prefix}-{name}" if self.prefix else name

    def _main(self) -> PlainForm:
        fields = {name: self._maker.field(name, spec) for name, spec in self.specs.items() if simple(spec)}
        fields |= {
            f"{name}-there": forms.BooleanField(label=THERE_WORDS.get(name, f"There is one: {name}"), required=False)
            for name, spec in self.specs.items()
            if spec.kind == "one" and spec.optional
        }
        initial = {name: self._initial(name, spec) for name, spec in self.specs.items() if simple(spec)}
        initial |= {f"{name}-there": self.values.get(name) is not None for name in self.specs}
        made: type[PlainForm] = type("MadeForm", (PlainForm,), fields)
        return made(self.data, prefix=self.prefix or None, initial=initial)

    def _initial(self, name: str, spec: Spec) -> Any:
        value = self.values[name]
        if spec.kind in ("number", "whole"):
            return shown_number(value, percent=is_percent(name, spec))
        if spec.kind == "flag":
            return {True: "yes", False: "no", None: ""}[value]
        return value

    def _part(self, name: str, spec: Spec) -> Part:
        assert spec.record is not None
        value = self.values[name]
        there = self.main[f"{name}-there"] if spec.optional else None
        form = RecordForm(
            spec.record,
            data=self.data,
            values=_fields_of(value),
            prefix=self._key(name),
            choices=self.choices,
        )
        return Part(name_of(self.type, name), there, form)

    def _rows(self, name: str, spec: Spec) -> Rows:
        assert spec.record is not None
        key, records = self._key(name), tuple(self.values[name] or ())
        numbers = list(range(len(records))) if self.data is None else self._sent_rows(key)
        if self.data is not None and self.data.get("add") == key and len(numbers) < MOST_ROWS:
            numbers.append(max(numbers, default=-1) + 1)
        if self.data is None and not numbers:
            numbers = [0] if spec.min_items else []
        gone = "" if self.data is None else self.data.get("remove", "")
        rows = tuple(
            (number, self._row(spec.record, f"{key}-{number}", records[number] if number < len(records) else None))
            for number in numbers
            if gone != f"{key}-{number}"
        )
        return Rows(name, name_of(self.type, name), ROW_WORDS.get(name, "row"), hint_of(spec), key, rows)

    def _sent_rows(self, key: str) -> list[int]:
        assert self.data is not None
        sent = [int(text) for text in self.data.getlist(f"{key}-row") if re.fullmatch(r"\d{1,4}", text)]
        return list(dict.fromkeys(sent))[:MOST_ROWS]

    def _row(self, record: type, prefix: str, value: Any) -> RecordForm:
        new = (
            self.data is not None
            and f"{prefix.rsplit('-', 1)[0]}" == self.data.get("add")
            and not any(name.startswith(f"{prefix}-") for name in self.data)
        )
        return RecordForm(
            record,
            data=None if new else self.data,
            values=_fields_of(value),
            prefix=prefix,
            choices=self.choices,
            compact=True,
        )

    # --- reading -------------------------------------------------------------------------------------------------

    @property
    def wants_rows(self) -> bool:
        """Whether the form was sent only to add or take out a row."""
        return self.data is not None and bool(self.data.get("add") or self.data.get("remove"))

    def is_there(self, name: str) -> bool:
        """Whether a nested record is there."""
        part = self.parts[name]
        return part.there is None or bool(part.there.value())

    def kept_rows(self, name: str) -> list[RecordForm]:
        """The rows that hold something; one that was cleared is taken out."""
        return [form for _, form in self.lists[name].forms if not form.is_blank]

    @property
    def is_blank(self) -> bool:
        """Whether nothing was typed into any box; choices begin with something, so they do not count."""
        boxes = [n for n, s in self.specs.items() if simple(s) and s.kind not in ("choice", "flag")]
        default = {n for n in boxes if self.specs[n].kind in ("number", "whole") and n not in self.required}
        typed = [n for n in boxes if n not in default and not isinstance(self.main.fields[n].widget, forms.HiddenInput)]
        return not any(str(self.main[name].value() or "").strip() for name in typed)

    def live_forms(self) -> list[PlainForm]:
        """The forms that count, in the order of the page."""
        found = [self.main]
        for name, part in self.parts.items():
            if self.is_there(name):
                found += part.form.live_forms()
        for name in self.lists:
            for form in self.kept_rows(name):
                found += form.live_forms()
        return found

    @property
    def faulty(self) -> bool:
        """Whether the summary of faults is to be shown."""
        return self.is_bound and not self.wants_rows and any(form.errors for form in self.live_forms())

    def is_valid(self) -> bool:
        """Whether everything typed can be held by the record."""
        if not self.is_bound:
            return False
        self._hush_unused()
        # Every form is asked, so that every fault is shown at once.
        answers = [form.is_valid() for form in self.live_forms()]
        if not all(answers):
            return False
        try:
            self._raw = self._json()
            self._read()
        except BadRecord as bad:
            for fault in bad.faults:
                self.add_fault(fault)
            return False
        return True

    def hush(self) -> None:
        """Show no faults: the form is still being typed."""
        self.main.errors.clear()
        for part in self.parts.values():
            part.form.hush()
        for rows in self.lists.values():
            for _, form in rows.forms:
                form.hush()

    def _hush_unused(self) -> None:
        """Show no faults of rows that hold nothing, nor of nested records that are not there."""
        for name, part in self.parts.items():
            if self.is_there(name):
                part.form._hush_unused()
            else:
                part.form.hush()
        for rows in self.lists.values():
            for _, form in rows.forms:
                if form.is_blank:
                    form.hush()

    def _read(self) -> None:
        """The declared reader has the last word, field by field, so that a part of a record can be asked as well."""
        assert self._raw is not None
        known = specs(self.type)
        whole = self.required <= set(self.specs) | {"id"}
        if whole:
            raw = self._raw if "id" not in known or self._raw.get("id") else self._raw | {"id": "new"}
            read_record(self.type, raw)

    @property
    def was_read(self) -> bool:
        """Whether every field by itself could be read."""
        return self._raw is not None

    def raw(self) -> dict[str, Any]:
        """The JSON form of what was typed; valid forms only."""
        assert self._raw is not None
        return self._raw

    def _json(self) -> dict[str, Any]:
        raw: dict[str, Any] = {}
        for name, spec in self.specs.items():
            if name in self.parts:
                raw[name] = self.parts[name].form._json() if self.is_there(name) else None
            elif name in self.lists:
                raw[name] = _with_ids(name, [form._json() for form in self.kept_rows(name)])
            else:
                raw[name] = self._plain(spec, name)
        return {name: value for name, value in raw.items() if value is not None or name in self._nullable()}

    def _nullable(self) -> set[str]:
        return {name for name, spec in self.specs.items() if spec.optional}

    def _plain(self, spec: Spec, name: str) -> Any:
        value = self.main.cleaned_data.get(name)
        if spec.kind == "flag":
            return {"yes": True, "no": False}.get(str(value))
        if spec.kind == "choice":
            return value or None
        if isinstance(value, date):
            return value.isoformat()
        return value

    # --- faults --------------------------------------------------------------------------------------------------

    def add_fault(self, fault: Fault) -> None:
        """Put a fault beside the field its path names, or at the head of the form where there is none."""
        self._add(re.findall(r"\.([A-Za-z_0-9]+)|\[(\d+)\]", fault.path), fault.message)

    def _add(self, path: list[tuple[str, str]], message: str) -> None:
        name = path[0][0] if path else ""
        if name in self.parts and len(path) > 1:
            self.parts[name].form._add(path[1:], message)
        elif name in self.lists and len(path) > 1 and path[1][1]:
            rows = self.kept_rows(name)
            place = int(path[1][1])
            if place < len(rows):
                rows[place]._add(path[2:], message)
            else:
                self.main.add_error(None, message)
        elif name in self.main.fields and not isinstance(self.main.fields[name].widget, forms.HiddenInput):
            label = str(self.main.fields[name].label)
            self.main.add_error(name, f"{label}: {message}")
        else:
            said = f"{name_of(self.type, name)}: {message}" if name in self.specs else _large(message)
            self.main.add_error(None, said)

    # --- showing -------------------------------------------------------------------------------------------------

    @property
    def topics(self) -> list[Topic]:
        """What a template shows, topic by topic."""
        found = []
        hidden = {bound.name for bound in self.hidden}
        seen = [name for name in self.specs if name not in hidden]
        for place, (title, names) in enumerate(groups_of(self.type, seen)):
            items = tuple(self._item(name) for name in names)
            found.append(Topic(title, items, place == 0 or any(self._stands_out(name) for name in names)))
        return found

    def _item(self, name: str) -> tuple[str, Any]:
        if name in self.parts:
            return "part", self.parts[name]
        if name in self.lists:
            return "rows", self.lists[name]
        return "field", self.main[name]

    def _stands_out(self, name: str) -> bool:
        """Whether something of a field is to be seen at once: a fault, a list with rows, a nested record."""
        if name in self.parts:
            return self.is_there(name)
        if name in self.lists:
            return bool(self.lists[name].forms)
        return self.is_bound and bool(self.main[name].errors)

    @property
    def hidden(self) -> list[Any]:
        """The hidden fields."""
        return self.main.hidden_fields()

    @property
    def visible(self) -> list[Any]:
        """The fields that a reader sees."""
        return self.main.visible_fields()


def _fields_of(value: Any) -> dict[str, Any]:
    if value is None:
        return {}
    return {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}


def _with_ids(name: str, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Give rows that ask for an id one that no other row has: w1 for a window, d1 for a door, brace-1 for a brace."""
    if not any("id" in row for row in rows):
        return rows
    taken = {row["id"] for row in rows if row["id"]}
    for row in rows:
        base = SHORT_IDS.get(str(row.get("kind")), "o") if name == "openings" else ROW_WORDS.get(name, "row") + "-"
        number = 1
        while not row["id"]:
            candidate = f"{base.split(' ')[-1]}{number}"
            if candidate not in taken:
                row["id"] = candidate
                taken.add(candidate)
            number += 1
    return rows


def _large(words: str) -> str:
    return words[:1].upper() + words[1:]


def full_form(value: Any) -> Any:
    """The JSON form of a value with every field written, so that two can be held against each other.

    Examples
    --------
    >>> full_form(PointRecord(x_in=1.0, y_in=0.0)), full_form((date(2026, 3, 2),)), full_form(None)
    ({'x_in': 1.0, 'y_in': 0.0}, ['2026-03-02'], None)
    """
    if dataclasses.is_dataclass(value):
        return {field.name: full_form(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, tuple | list):
        return [full_form(item) for item in value]
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, StrEnum) else value
