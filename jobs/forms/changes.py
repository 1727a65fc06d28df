"""Forms of change orders: of the office, and of the homeowner who signs one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.forms.boundfield import BoundField

from estimates.forms.plain import DayField, MoneyInput, PlainForm
from estimates.money import from_cents, to_cents
from jobs.change_effect import ChangeLine
from jobs.changes import lines_of
from jobs.forms.crews import BlamedForm
from jobs.models import ChangeOrder

LEAST_ROWS, SPARE_ROWS = 4, 2
"""So many lines the form shows at least, and so many empty ones below those that are there."""


class ChangeForm(BlamedForm):
    """Reason, lines and emergency of a change order; prices are there for those who may set one."""

    reason = forms.CharField(label="Why the work changes", max_length=500, widget=forms.Textarea(attrs={"rows": 3}))
    emergency_note = forms.CharField(
        label="Why it cannot wait for the signature",
        help_text="Only for safety or weather; a photo goes with it. Left empty, work waits for the signature.",
        required=False,
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    sign_by = DayField(
        label="Last day to sign",
        help_text="Of an emergency: not signed by then, it is not billable.",
        required=False,
    )
    seen = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(self, *args: Any, prices: bool, rows: int = LEAST_ROWS, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.prices, self.count = prices, rows
        for row in range(1, rows + 1):
            text = forms.CharField(label=f"What is done, line {row}", required=False, max_length=200)
            self.fields[f"text_{row}"] = text
            if prices:
                self.fields[f"dollars_{row}"] = MoneyInput(label=f"Price of line {row}", low=None, required=False)

    @classmethod
    def of(cls, change: ChangeOrder, seen: str, *, prices: bool) -> ChangeForm:
        """A form that begins with a draft."""
        lines = lines_of(change)
        begin: dict[str, Any] = {
            "reason": change.reason,
            "emergency_note": change.emergency_note,
            "sign_by": change.sign_by,
            "seen": seen,
        }
        for row, line in enumerate(lines, start=1):
            begin[f"text_{row}"] = line.text
            begin[f"dollars_{row}"] = None if line.cents is None else from_cents(line.cents)
        return cls(initial=begin, prices=prices, rows=rows_for(lines))

    def clean(self) -> dict[str, Any]:
        """A price needs its words."""
        given = super().clean() or {}
        for row in range(1, self.count + 1):
            if given.get(f"dollars_{row}") is not None and not given.get(f"text_{row}", "").strip():
                self.add_error(f"text_{row}", f"Enter what is done in line {row}, or take its price out")
        if not any(given.get(f"text_{row}", "").strip() for row in range(1, self.count + 1)):
            self.add_error("text_1", "Enter what is done, in one line or more")
        return given

    @property
    def lines(self) -> tuple[ChangeLine, ...]:
        """The lines that were typed; of a valid form."""
        found = []
        for row in range(1, self.count + 1):
            text, dollars = self.cleaned_data[f"text_{row}"].strip(), self.cleaned_data.get(f"dollars_{row}")
            if text:
                found.append(ChangeLine(text, None if dollars is None else to_cents(dollars)))
        return tuple(found)

    @property
    def pairs(self) -> list[list[BoundField]]:
        """The boxes of each line, to stand beside each other."""
        names = ("text", "dollars") if self.prices else ("text",)
        return [[self[f"{name}_{row}"] for name in names] for row in range(1, self.count + 1)]

    @property
    def given(self) -> dict[str, Any]:
        """What a service is given; of a valid form."""
        names = ("reason", "emergency_note", "sign_by")
        return {name: self.cleaned_data[name] for name in names} | {"lines": self.lines}


def rows_for(lines: Sequence[ChangeLine]) -> int:
    """How many lines a form shows for those that are there."""
    return max(LEAST_ROWS, len(lines) + SPARE_ROWS)


class SignForm(PlainForm):
    """The homeowner's signature under a change order."""

    electronic = forms.BooleanField(label="I agree to sign and receive this change as an electronic record")
    typed_name = forms.CharField(
        label="Your full name",
        help_text="Typed here, it is your signature.",
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    content_sha256 = forms.CharField(max_length=64, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["typed_name"].error_messages |= {"required": "Enter your full name"}
        self.fields["electronic"].error_messages |= {
            "required": "Tick that you agree to an electronic record, or call us to sign on paper"
        }


class SignOffForm(PlainForm):
    """The homeowner's word that the work is done."""

    typed_name = forms.CharField(
        label="Your full name",
        help_text="Typed here, it is your signature.",
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    words = forms.CharField(
        label="Anything that is not as it should be",
        help_text="Leave it empty where all is well.",
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"max_length": "Enter at most 1,000 characters"},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["typed_name"].error_messages |= {"required": "Enter your full name"}
