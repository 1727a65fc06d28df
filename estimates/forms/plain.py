"""The form that all pages build on: typed words are kept, and every message says what to enter, by the label."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms

from estimates.physics.units import parse_quantity


class PlainForm(forms.Form):
    """A form without the browser's own checks; messages are made from the labels."""

    use_required_attribute = False

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            label = str(field.label or "")
            small = label[:1].lower() + label[1:]
            choose = isinstance(field, forms.ChoiceField)
            asked = "Choose" if choose else "Enter"
            spoken = small if small.startswith(("the ", "what ", "how ", "why ", "who ")) else f"the {small}"
            field.error_messages["required"] = f"{asked} {spoken}"
            if choose:
                field.error_messages["invalid_choice"] = f"Choose the {small} from the list"

    @property
    def faulty(self) -> bool:
        """Whether the summary of faults is to be shown."""
        return self.is_bound and bool(self.errors)


UNIT_WORDS = {
    "ft2": "ft²", "ft3": "ft³", "in2": "in²", "degF": "°F", "degF day": "°F days", "R": "R", "$": "$",
}  # fmt: skip
"""Unit as declared -> as people read it."""


class QuantityField(forms.CharField):
    """A number in a unit, typed as people write it: ``8' 6"``, ``2.5 m``, ``1,250.5``.

    Parameters
    ----------
    unit : unit of the value it gives; shown outside the box.
    low, high : limits, both included, in that unit.
    """

    def __init__(self, *, unit: str, low: float | None = None, high: float | None = None, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 40)
        super().__init__(**kwargs)
        self.read_in, self.low, self.high = unit, low, high
        self.unit = UNIT_WORDS.get(unit, unit)
        self.widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}

    def clean(self, value: Any) -> float | None:
        """Return the number, None where nothing was typed and nothing is needed."""
        words = str(super().clean(value) or "").strip()
        if not words:
            return None
        label = str(self.label or "").lower()
        try:
            number = parse_quantity(words, self.read_in)
        except ValueError as fault:
            raise forms.ValidationError(f"Enter the {label} in {self.unit or 'figures'}: {fault}") from None
        if self.low is not None and number < self.low:
            raise forms.ValidationError(f"Enter a {label} of at least {self.low:g} {self.unit}".rstrip())
        if self.high is not None and number > self.high:
            raise forms.ValidationError(f"Enter a {label} of at most {self.high:g} {self.unit}".rstrip())
        return number


class MoneyInput(forms.CharField):
    """Dollars and cents, typed as people write them: ``1,250``, ``$44.63``; gives a Decimal."""

    def __init__(self, *, low: Decimal | None = Decimal(0), high: Decimal | None = None, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 20)
        super().__init__(**kwargs)
        self.unit, self.low, self.high = "$", low, high
        self.widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}

    def clean(self, value: Any) -> Decimal | None:
        """Return the amount, None where nothing was typed and nothing is needed."""
        words = str(super().clean(value) or "").replace("$", "").replace(",", "").replace(" ", "")
        if not words:
            return None
        label = str(self.label or "").lower()
        try:
            amount = Decimal(words)
        except ArithmeticError:
            raise forms.ValidationError(f"Enter the {label} in dollars and cents, such as 1,250.00") from None
        if not amount.is_finite() or amount != amount.quantize(Decimal("0.01")):
            raise forms.ValidationError(f"Enter the {label} with two decimals at most, such as 1,250.00")
        if self.low is not None and amount < self.low:
            raise forms.ValidationError(f"Enter a {label} of at least ${self.low:,}")
        if self.high is not None and amount > self.high:
            raise forms.ValidationError(f"Enter a {label} of at most ${self.high:,}")
        return amount


class DayField(forms.DateField):
    """A day, by the browser's own calendar or typed as 2026-03-05."""

    def __init__(self, *, low: date | None = None, high: date | None = None, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
        super().__init__(input_formats=["%Y-%m-%d", "%m/%d/%Y"], **kwargs)
        self.low, self.high = low, high
        self.error_messages["invalid"] = "Enter a day, such as 2026-03-05"

    def clean(self, value: Any) -> date | None:
        """Return the day, None where nothing was typed and nothing is needed."""
        found: date | None = super().clean(value)
        if found is not None and self.low is not None and found < self.low:
            raise forms.ValidationError(f"Enter {self.low.isoformat()} or a later day")
        if found is not None and self.high is not None and found > self.high:
            raise forms.ValidationError(f"Enter {self.high.isoformat()} or an earlier day")
        return found
