"""What somebody tries on the live estimate of a house, and the owner's release of a price below the floor."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django import forms
from django.forms import BoundField

from estimates.forms.estimate_fields import NumberField, PercentField
from estimates.forms.plain import MoneyInput, PlainForm
from estimates.house import HouseRecord
from estimates.pricebook import PriceBook
from estimates.templatetags.price_book import shown_percent
from estimates.what_if import OptionWish, WhatIf, options_of

MOST_DISCOUNT = Decimal(100_000)
SLIDER_MARGINS = (0, 70)
"""Ends of the slider; the field beside it takes any margin that the record takes. [%]"""


class WhatIfForm(PlainForm):
    """Margin, discount and reason of each option, R-value of each attic, people of the crew."""

    assessment = forms.IntegerField(widget=forms.HiddenInput, min_value=1)
    version = forms.IntegerField(widget=forms.HiddenInput, min_value=1)
    book = forms.CharField(widget=forms.HiddenInput, max_length=40)

    def __init__(self, *args: Any, house: HouseRecord, price_book: PriceBook, **kwargs: Any) -> None:
        self.house, self.price_book = house, price_book
        self.declared = tuple(options_of(house))
        super().__init__(*args, **kwargs)
        names = len(self.declared) > 1
        for option in self.declared:
            of = f" of {option.name}" if names else ""
            usual = shown_percent(price_book.best("target_margin"))
            self.fields[f"margin_{option.id}"] = PercentField(
                label="Margin wanted",
                spoken=f"Margin wanted{of}",
                low=0,
                high=0.95,
                required=False,
                initial=option.target_margin,
                help_text=f"Empty: {usual} %, as the price book",
            )
            self.fields[f"discount_{option.id}"] = MoneyInput(
                label="Discount",
                high=MOST_DISCOUNT,
                required=False,
                initial=f"{option.discount:.2f}" if option.discount else "",
            )
            self.fields[f"discount_{option.id}"].widget.attrs["aria-label"] = f"Discount{of}"
            self.fields[f"reason_{option.id}"] = forms.CharField(
                label="Reason for the discount",
                max_length=200,
                required=False,
                initial=option.discount_reason,
                widget=forms.TextInput(attrs={"autocomplete": "off", "aria-label": f"Reason for the discount{of}"}),
            )
        for attic in house.attics:
            self.fields[f"attic_{attic.id}"] = NumberField(
                label=f"R-value wanted on {attic.name}",
                unit="R",
                above=0,
                high=120,
                initial=attic.target_r,
                error_messages={"required": f"Enter the R-value wanted on {attic.name}"},
            )
        self.fields["crew"] = NumberField(
            label="Crew size",
            unit="people",
            low=1,
            high=12,
            initial=price_book.best("crew_size"),
            help_text="Only tried, never kept: the crew stands in the price book",
            error_messages={"required": "Enter the crew size"},
        )

    def clean(self) -> dict[str, Any]:
        """A discount needs its reason."""
        data = super().clean() or {}
        for option in self.declared:
            name = f"reason_{option.id}"
            if data.get(f"discount_{option.id}") and not (data.get(name) or "").strip():
                self.add_error(name, "Enter why the price is lowered")
        return data

    def wish(self) -> WhatIf:
        """What is tried, of a valid form."""
        data = self.cleaned_data
        crew = data["crew"]
        return WhatIf(
            options={
                option.id: OptionWish(
                    data[f"margin_{option.id}"],
                    float(data[f"discount_{option.id}"] or 0),
                    data[f"reason_{option.id}"].strip(),
                )
                for option in self.declared
            },
            attic_r={attic.id: data[f"attic_{attic.id}"] for attic in self.house.attics},
            crew=None if crew == self.price_book.best("crew_size") else crew,
        )

    @property
    def parts(self) -> Iterator[dict[str, Any]]:
        """The fields in groups: one for each option, then the attics and the crew, each with its slider."""
        margin = self.price_book.best("target_margin")
        for option in self.declared:
            wanted = margin if option.target_margin is None else option.target_margin
            slider = Slider(self[f"margin_{option.id}"], *SLIDER_MARGINS, 0.5, shown_percent(wanted))
            yield {
                "title": option.name,
                "sliders": [slider],
                "fields": [self[f"discount_{option.id}"], self[f"reason_{option.id}"]],
            }
        others = [Slider(self[f"attic_{attic.id}"], 11, 60, 1, f"{attic.target_r:g}") for attic in self.house.attics]
        others.append(Slider(self["crew"], 1, 8, 1, f"{self.price_book.best('crew_size'):g}"))
        yield {"title": "Attic and crew" if self.house.attics else "Crew", "sliders": others, "fields": []}


class Slider:
    """A field with a slider beside it. `start` is where the slider stands while the field is empty."""

    def __init__(self, field: BoundField, low: float, high: float, step: float, start: str) -> None:
        self.field, self.low, self.high, self.step, self.start = field, low, high, step, start


class ReleaseForm(PlainForm):
    """Down to which margin a price may go, and why."""

    least_margin = PercentField(label="Least margin", low=-1, high=0.95)
    reason = forms.CharField(
        label="Reason",
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="It stays with the proposal, together with your name",
    )

    def clean_reason(self) -> str:
        """A reason of blanks is none."""
        reason: str = self.cleaned_data["reason"].strip()
        return reason

    def clean_least_margin(self) -> Decimal:
        """As a share with four decimals, which is what a proposal keeps."""
        share = Decimal(repr(self.cleaned_data["least_margin"]))
        if share != share.quantize(Decimal("0.0001")):
            raise forms.ValidationError("Enter the least margin with two decimals at most, such as 31.25")
        return share.quantize(Decimal("0.0001"))
