"""The boxes of a form made from a record: numbers with their unit, per cent, places on a wall, parts by name."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms

from estimates.forms.assessment_words import unit_of
from estimates.physics.units import UNITS, parse_quantity
from estimates.records import Spec

EVERYTHING = "*"
"""Ticked instead of single parts: all of them, which a record writes by leaving the field out."""


def shown_number(value: float | None, *, percent: bool = False) -> str:
    """A number as it stands in a box.

    Examples
    --------
    >>> shown_number(97.125), shown_number(0.15, percent=True), shown_number(None), shown_number(1200.0)
    ('97.125', '15', '', '1200')
    """
    if value is None:
        return ""
    exact = Decimal(f"{value:.9g}")
    text = format(exact * 100 if percent else exact, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


class RecordNumberField(forms.CharField):
    """A number of a record, typed with or without its unit, per cent where people say it so."""

    def __init__(self, *, spec: Spec, percent: bool, was: float | None, **kwargs: Any) -> None:
        super().__init__(max_length=40, **kwargs)
        self.spec, self.percent, self.was = spec, percent, was
        whole = spec.kind == "whole"
        self.widget.attrs |= {"inputmode": "numeric" if whole else "decimal", "autocomplete": "off"}
        self.unit = "%" if percent else unit_of("", spec)

    def clean(self, value: Any) -> float | int | None:
        """Return the number in the unit of the record, None where nothing was typed and nothing is needed."""
        words = str(super().clean(value) or "").strip()
        if not words:
            return None
        # What was not touched keeps its last digit.
        if self.was is not None and words == shown_number(self.was, percent=self.percent):
            return self.was
        number = self._read(words)
        self._check(number)
        return int(number) if self.spec.kind == "whole" else number

    @property
    def _asked(self) -> str:
        label = str(self.label or "")
        return label[:1].lower() + label[1:]

    def _read(self, words: str) -> float:
        if self.spec.unit in UNITS:
            try:
                return parse_quantity(words, self.spec.unit)
            except ValueError as fault:
                raise forms.ValidationError(f"Enter the {self._asked}: {fault}") from None
        bare = re.sub(r"[\s,$]", "", words).removesuffix("%").removesuffix("therms").removesuffix("kWh")
        try:
            exact = Decimal(bare)
        except InvalidOperation:
            exact = Decimal("NaN")
        if not exact.is_finite() or abs(exact) > Decimal("1e12"):
            raise forms.ValidationError(f"Enter the {self._asked} in figures: {words!r} is no number")
        if self.spec.kind == "whole" and exact != exact.to_integral_value():
            raise forms.ValidationError(f"Enter the {self._asked} as a whole number")
        if self.percent and 0 < exact < 1 and "%" not in words:
            raise forms.ValidationError(f"Enter the {self._asked}: 15 for 15 %, or 0.5 % with its sign")
        return float(exact / 100 if self.percent else exact)

    def _check(self, number: float) -> None:
        spec, unit = self.spec, "%" if self.percent else unit_of("", self.spec)
        bounds = (
            (spec.above is not None and number <= spec.above, "above", spec.above),
            (spec.low is not None and number < spec.low, "of at least", spec.low),
            (spec.high is not None and number > spec.high, "of at most", spec.high),
        )
        for broken, words, limit in bounds:
            if broken:
                said = f"{shown_number(limit, percent=self.percent)} {unit}".strip()
                raise forms.ValidationError(f"Enter the {self._asked} as a number {words} {said}")


class WordsField(forms.CharField):
    """Short texts, one a line."""

    widget = forms.Textarea

    def prepare_value(self, value: Any) -> Any:
        """Return the lines of a tuple."""
        return "\n".join(value) if isinstance(value, tuple | list) else value

    def clean(self, value: Any) -> list[str]:
        """Return the lines that hold something."""
        return [line.strip() for line in str(super().clean(value) or "").splitlines() if line.strip()]


class PointsField(forms.CharField):
    """Places on the face of a wall, one a line: from the left, then above the bottom. [in]"""

    widget = forms.Textarea

    def __init__(self, *, flat: bool, least: int, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.flat, self.least = flat, least

    def prepare_value(self, value: Any) -> Any:
        """Return the lines of a tuple of points."""
        if not isinstance(value, tuple | list):
            return value
        return "\n".join(
            shown_number(point.x_in) + ("" if self.flat else f"; {shown_number(point.y_in)}") for point in value
        )

    def clean(self, value: Any) -> list[dict[str, float]]:
        """Return the points in their JSON form."""
        lines = [line.strip() for line in str(super().clean(value) or "").splitlines() if line.strip()]
        points = [self._point(line, number) for number, line in enumerate(lines, start=1)]
        if len(points) < self.least:
            raise forms.ValidationError(f"Enter at least {self.least} corners, one a line, such as 36; 0")
        return points

    def _point(self, line: str, number: int) -> dict[str, float]:
        parts = [part.strip() for part in re.split(r"[;\t]|,(?!\d{3}\b)", line) if part.strip()]
        wanted = "a place from the left, such as 16" if self.flat else "from the left; above the bottom, such as 36; 0"
        if len(parts) != (1 if self.flat else 2):
            raise forms.ValidationError(f"Line {number}: enter {wanted}")
        try:
            numbers = [parse_quantity(part, "in") for part in parts]
        except ValueError as fault:
            raise forms.ValidationError(f"Line {number}: {fault}") from None
        if not all(0 <= figure <= 6000 for figure in numbers):
            raise forms.ValidationError(f"Line {number}: enter places from 0 to 6,000 in")
        return {"x_in": numbers[0], "y_in": 0.0 if self.flat else numbers[1]}


class PartsField(forms.MultipleChoiceField):
    """Parts of the house by name; the first choice means all of them."""

    def __init__(self, *, all_words: str, known: Sequence[tuple[str, str]], **kwargs: Any) -> None:
        choices = [*([(EVERYTHING, all_words)] if all_words else []), *known]
        super().__init__(choices=choices, widget=forms.CheckboxSelectMultiple, required=False, **kwargs)
        self.all_words = all_words

    def prepare_value(self, value: Any) -> Any:
        """Return what is ticked."""
        if value is None:
            return [EVERYTHING] if self.all_words else []
        return list(value)

    def clean(self, value: Any) -> list[str] | None:
        """Return the ids, None for all."""
        ticked = list(super().clean(value))
        return None if EVERYTHING in ticked else ticked
