"""Which control a declared field gets: a number with its unit, radios for a few words, lines for short texts."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms

from estimates.forms.assessment_fields import PartsField, PointsField, RecordNumberField, WordsField
from estimates.forms.assessment_words import ALL_WORDS, EMPTY_WORDS, hint_beside, hint_of, is_percent, label_of
from estimates.forms.plain import DayField
from estimates.records import CODE_PATTERN, Spec
from estimates.templatetags.figures import spoken

FEW = 5
"""So many choices stand as radios; more become a list to open."""

LONG_TEXT = 200
"""A text that may be longer gets a box of several lines."""

Choices = Mapping[str, Sequence[tuple[str, str]]]
"""Field of ids -> (id, name) of what can be chosen."""


@dataclass(frozen=True, slots=True)
class FieldMaker:
    """Makes the controls of a record: its `values` now, `required` fields, `choices` of ids; `compact` in a row."""

    record: type
    values: Mapping[str, Any]
    required: Collection[str]
    choices: Choices
    compact: bool

    def field(self, name: str, spec: Spec) -> forms.Field:
        """The control of a field, with its label and what to enter."""
        shared: dict[str, Any] = {
            "label": label_of(self.record, name),
            "help_text": "" if self.compact else hint_beside(label_of(self.record, name), hint_of(spec)),
        }
        if spec.kind == "text" and spec.pattern == CODE_PATTERN:
            return forms.CharField(widget=forms.HiddenInput, required=False, max_length=40, **shared)
        # What has a value of its own when it is left out need not be typed again once it is cleared.
        needed = name in self.required or (spec.kind in ("number", "whole") and not spec.optional)
        if spec.kind in ("number", "whole"):
            percent = is_percent(name, spec)
            return RecordNumberField(spec=spec, percent=percent, was=self.values[name], required=needed, **shared)
        if spec.kind == "text":
            wide = spec.max_length > LONG_TEXT
            widget = forms.Textarea(attrs={"rows": 3}) if wide else forms.TextInput(attrs={"autocomplete": "off"})
            return forms.CharField(required=bool(spec.low), max_length=spec.max_length, widget=widget, **shared)
        if spec.kind in ("choice", "flag"):
            return self._choice(name, spec, shared)
        if spec.kind == "day":
            return DayField(required=needed, **shared)
        if spec.kind == "texts":
            return WordsField(required=False, widget=forms.Textarea(attrs={"rows": 3}), **shared)
        if spec.kind == "codes":
            words = ALL_WORDS.get(name, "All of them") if spec.optional else ""
            shared["help_text"] = ""
            return PartsField(all_words=words, known=self.choices.get(name, ()), **shared)
        flat = "y_in is 0" in spec.doc
        shared["help_text"] = (
            "One stud a line, its centre from the left outside corner; left empty: laid out by the spacing."
            if flat
            else "One corner a line, in order round the zone: from the left; above the bottom. For example 36; 0"
        )
        lines = forms.Textarea(attrs={"rows": 4, "autocomplete": "off"})
        return PointsField(flat=flat, least=spec.min_items, required=spec.min_items > 0, widget=lines, **shared)

    def _choice(self, name: str, spec: Spec, shared: dict[str, Any]) -> forms.Field:
        if spec.kind == "flag":
            words = [("yes", "Yes"), ("no", "No")]
        else:
            assert spec.enum is not None
            words = [(str(word), _large(spoken(word))) for word in spec.enum]
        if spec.optional:
            words.append(("", EMPTY_WORDS.get((self.record.__name__, name), "Not known")))
        elif self.values[name] is None and (self.compact or len(words) > FEW):
            words.insert(0, ("", "Choose"))
        few = len(words) <= FEW and not self.compact
        return forms.ChoiceField(
            choices=words, widget=forms.RadioSelect if few else forms.Select, required=not spec.optional, **shared
        )


def _large(words: str) -> str:
    return words[:1].upper() + words[1:]
