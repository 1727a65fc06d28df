"""Fields of figures that belong to prices: numbers in units of the price book, and shares typed as percentages."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms

from estimates.forms.plain import QuantityField
from estimates.physics.units import UNITS, parse_quantity
from estimates.templatetags.price_book import shown_number, shown_percent, shown_unit


class NumberField(QuantityField):
    """A number in a unit of the price book, such as $/h or ft2/day; units that people write are understood.

    `reads` is the unit as the price book names it, `unit` as people see it.

    Parameters
    ----------
    above : limit that is not included.
    spoken : the label in full, where the one that is seen leans on a heading; messages use it. The rest as for
        `QuantityField`.
    """

    def __init__(self, *, above: float | None = None, spoken: str = "", **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.above = above
        self.spoken = spoken
        self.reads, self.unit = self.read_in, shown_unit(self.read_in)
        if spoken:
            self.widget.attrs["aria-label"] = spoken

    def clean(self, value: Any) -> float | None:
        """Return the number, None where nothing was typed and nothing is needed."""
        words = str(forms.CharField.clean(self, value) or "").strip()
        if not words:
            return None
        return self.within(self.read(words))

    def read(self, words: str) -> float:
        """Read what was typed, in the unit of the field."""
        if self.reads in UNITS:
            try:
                return parse_quantity(words, self.reads)
            except ValueError as fault:
                raise forms.ValidationError(f"Enter the {self.small} in {self.unit}: {fault}") from None
        return float(self.decimal(words.removesuffix(self.unit).removesuffix(self.reads)))

    def decimal(self, words: str) -> Decimal:
        """Read a plain number."""
        try:
            number = Decimal(words.replace("$", "").replace(",", "").replace(" ", ""))
        except InvalidOperation:
            number = Decimal("NaN")
        if not number.is_finite() or abs(number) > Decimal("1e12"):
            raise forms.ValidationError(f"Enter the {self.small} as a number, such as {self.example}")
        return number

    @property
    def small(self) -> str:
        """The label as it stands in a sentence."""
        label = self.spoken or str(self.label or "")
        return label[:1].lower() + label[1:]

    example = "1,250.5"

    def within(self, number: float) -> float:
        """Return the number when it is within the limits."""
        if self.above is not None and number <= self.above:
            raise forms.ValidationError(f"Enter a {self.small} above {self.told(self.above)}")
        if self.low is not None and number < self.low:
            raise forms.ValidationError(f"Enter a {self.small} of at least {self.told(self.low)}")
        if self.high is not None and number > self.high:
            raise forms.ValidationError(f"Enter a {self.small} of at most {self.told(self.high)}")
        return number

    def told(self, number: float) -> str:
        """A limit as it stands in a message."""
        return f"{number:,g} {self.unit}".rstrip()

    def prepare_value(self, value: Any) -> Any:
        """A number as it stands in the box; what somebody typed stays as typed."""
        return shown_number(value) if isinstance(value, int | float) else value


class PercentField(NumberField):
    """A share typed as a percentage: ``40``, ``40 %``; gives the fraction."""

    example = "40"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(unit="%", **kwargs)

    def read(self, words: str) -> float:
        """Read the percentage as a fraction, exactly as typed."""
        return float(self.decimal(words.removesuffix("%")).scaleb(-2))

    def told(self, number: float) -> str:
        """A limit as a percentage."""
        return f"{shown_percent(number)} %"

    def prepare_value(self, value: Any) -> Any:
        """A share as a percentage; what somebody typed stays as typed."""
        return shown_percent(value) if isinstance(value, int | float) else value
