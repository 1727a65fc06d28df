"""The editor of a price book: every figure of the latest version as a field, read back into the record of the next."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.forms import BoundField

from estimates.forms.estimate_fields import NumberField, PercentField
from estimates.forms.plain import DayField, PlainForm
from estimates.forms.price_book_words import RATE_GROUPS, SHARES_OF_ONE
from estimates.pricebook import CoverageRow, FactRow, FoamProduct, LeakWork, LooseProduct, PriceBook, Rate, book_faults
from estimates.records import BadRecord, Spec, read_record, specs, write_record

MARKS = (("CP", "common practice"), ("M", "from memory"))
SPARE_ROWS = 2
"""Empty rows under a table, for thicknesses that the sheet lists newly."""


def field_of(spec: Spec, *, required: bool, label: str = "") -> forms.Field:
    """The form field of a field of a record: its limits, its unit, its words."""
    label = label or spec.doc.partition(":")[0].partition(";")[0]
    if spec.kind in ("number", "whole"):
        kind = WholeField if spec.kind == "whole" else NumberField
        return kind(label=label, unit=spec.unit, low=spec.low, high=spec.high, above=spec.above, required=required)
    if spec.kind == "choice":
        assert spec.enum is not None
        choices = [(item.value, item.value.replace("_", " ")) for item in spec.enum]
        return forms.ChoiceField(label=label, choices=choices, required=required)
    if spec.pattern == "M|CP":
        return forms.ChoiceField(label="Where the values come from", choices=MARKS, required=required)
    widget = (
        forms.Textarea(attrs={"rows": 3}) if spec.max_length > 200 else forms.TextInput(attrs={"autocomplete": "off"})
    )
    return forms.CharField(label=label, required=bool(spec.low) and required, max_length=spec.max_length, widget=widget)


class WholeField(NumberField):
    """A whole number."""

    def within(self, number: float) -> int:
        """Return the number when it is whole and within the limits."""
        if number != int(number):
            raise forms.ValidationError(f"Enter the {self.small} as a whole number")
        return int(super().within(number))


class RecordPart(PlainForm):
    """The fields of one record of the book that people change; the rest stays as it is."""

    record: type
    kept: tuple[str, ...] = ("id",)

    def __init__(self, *args: Any, of: Any, needed: bool = True, **kwargs: Any) -> None:
        self.of = of
        self.base_record_fields = {
            name: field_of(spec, required=needed and required)
            for name, (spec, required) in specs(self.record).items()
            if spec.kind not in ("many", "one") and name not in self.kept
        }
        if of is not None:
            kwargs["initial"] = {name: getattr(of, name) for name in self.base_record_fields}
        super().__init__(*args, **kwargs)
        for name, field in self.base_record_fields.items():
            self.fields[name] = field
        for field in self.fields.values():
            label = str(field.label)
            choose = "Choose" if isinstance(field, forms.ChoiceField) else "Enter"
            field.error_messages["required"] = f"{choose} the {label[:1].lower()}{label[1:]}"

    @property
    def empty(self) -> bool:
        """Whether nothing was typed into any of its fields."""
        return not any(
            str(self.data.get(self.add_prefix(name), "")).strip()
            for name, field in self.fields.items()
            if not isinstance(field, forms.ChoiceField)
        )


class RowPart(RecordPart):
    """A row of a product's table; an empty one is no row."""

    def clean(self) -> dict[str, Any]:
        """All figures of a row, or none."""
        data = super().clean() or {}
        if not self.empty:
            for name, field in self.fields.items():
                if data.get(name) is None and name not in self.errors:
                    self.add_error(name, f"Enter the {str(field.label)[:1].lower()}{str(field.label)[1:]} too")
        return data


class FactPart(RowPart):
    record = FactRow


class CoveragePart(RowPart):
    record = CoverageRow


class ProductPart(RecordPart):
    """A product with the rows of its table."""

    rows_name: str
    row_part: type[RowPart]

    def __init__(self, *args: Any, of: Any, **kwargs: Any) -> None:
        super().__init__(*args, of=of, **kwargs)
        given = getattr(of, self.rows_name)
        self.rows = [
            self.row_part(
                self.data if self.is_bound else None,
                prefix=f"{self.prefix}-row{place}",
                of=given[place] if place < len(given) else None,
                needed=False,
            )
            for place in range(len(given) + SPARE_ROWS)
        ]

    def form(self) -> dict[str, Any]:
        """The record's JSON form."""
        rows = [row.cleaned_data for row in self.rows if not row.empty]
        return write_record(self.of) | self.cleaned_data | {self.rows_name: rows}

    @property
    def all_forms(self) -> list[PlainForm]:
        """Itself and its rows."""
        return [self, *self.rows]


class FoamPart(ProductPart):
    record = FoamProduct
    rows_name, row_part = "facts", FactPart


class LoosePart(ProductPart):
    record = LooseProduct
    rows_name, row_part = "coverage", CoveragePart


class LeakPart(RecordPart):
    record = LeakWork
    kept = ("kind", "unit")

    @property
    def title(self) -> str:
        """What is closed, and what one of it is."""
        return f"{str(self.of.kind).replace('_', ' ').capitalize()}, {'a ft' if self.of.unit == 'ft' else 'each'}"

    def form(self) -> dict[str, Any]:
        """The record's JSON form."""
        return write_record(self.of) | self.cleaned_data


class RatePart(PlainForm):
    """Low, best and high of one rate."""

    low, best, high = NumberField(required=False, unit=""), NumberField(unit=""), NumberField(required=False, unit="")
    mark = forms.ChoiceField(choices=MARKS)

    def __init__(self, *args: Any, of: Rate, words: str, **kwargs: Any) -> None:
        self.of, self.words = of, words
        share = of.unit == "share"
        super().__init__(*args, initial={n: getattr(of, n) for n in ("low", "best", "high", "mark")}, **kwargs)
        highest = 0.9999 if of.id in SHARES_OF_ONE else None
        for name in ("low", "best", "high"):
            label = f"{name} value of {words}"
            kind: dict[str, Any] = {"label": label, "low": 0, "high": highest, "required": name == "best"}
            field = PercentField(**kind) if share else NumberField(unit=of.unit, **kind)
            field.error_messages["required"] = f"Enter the {label}"
            self.fields[name] = field
        self.fields["mark"].label = f"where {words} comes from"
        self.unit = "%" if share else of.unit

    def clean(self) -> dict[str, Any]:
        """Low, best and high in order."""
        data = super().clean() or {}
        low, best, high = (data.get(name) for name in ("low", "best", "high"))
        if best is not None and low is not None and low > best:
            self.add_error("low", f"Enter a low value of {self.words} that is not above the best one")
        if best is not None and high is not None and high < best:
            self.add_error("high", f"Enter a high value of {self.words} that is not below the best one")
        return data

    @property
    def cells(self) -> list[BoundField]:
        """The three figures, as they stand beside each other."""
        return [self["low"], self["best"], self["high"]]

    def form(self) -> dict[str, Any]:
        """The record's JSON form."""
        data = {name: value for name, value in self.cleaned_data.items() if value is not None}
        return {"id": self.of.id, "unit": self.of.unit} | data


class HeadPart(PlainForm):
    """Name and first day of the version, and the version it was made from."""

    base = forms.IntegerField(widget=forms.HiddenInput, min_value=0)
    name = forms.CharField(label="Name", max_length=200)
    effective_from = DayField(label="First day it holds")

    def __init__(self, *args: Any, after: date | None, **kwargs: Any) -> None:
        self.after = after
        super().__init__(*args, **kwargs)

    def clean_effective_from(self) -> date:
        """Each version begins after the one before."""
        day: date = self.cleaned_data["effective_from"]
        if self.after is not None and day <= self.after:
            raise forms.ValidationError(
                f"Enter a first day after {self.after.isoformat()}, when the last version began"
            )
        return day


@dataclass(frozen=True, slots=True)
class RateGroup:
    """Rates that belong together."""

    title: str
    rates: tuple[RatePart, ...]


class PriceBookForms:
    """All parts of the editor. `book` is what it starts from; `base` its version, 0 where none is published yet."""

    def __init__(self, book: PriceBook, *, base: int, first_day: date, data: Mapping[str, Any] | None = None) -> None:
        self.book, self.base = book, base
        initial = {"base": base, "name": book.name, "effective_from": first_day}
        self.head = HeadPart(data, prefix="book", initial=initial, after=book.effective_from if base else None)
        self.foams = [FoamPart(data, prefix=f"foam-{p.id}", of=p) for p in book.foams]
        self.loose_fills = [LoosePart(data, prefix=f"fill-{p.id}", of=p) for p in book.loose_fills]
        self.leak_work = [LeakPart(data, prefix=f"leak-{work.kind}", of=work) for work in book.leak_work]
        self.groups = [
            RateGroup(
                title,
                tuple(
                    RatePart(data, prefix=f"rate-{name}", of=book.rate(name), words=words)
                    for name, words in rates.items()
                ),
            )
            for title, rates in RATE_GROUPS.items()
        ]
        self.refused: tuple[str, ...] = ()

    @property
    def all_forms(self) -> Iterator[PlainForm]:
        """Every form, in the order of the page."""
        yield self.head
        for product in (*self.foams, *self.loose_fills):
            yield from product.all_forms
        yield from self.leak_work
        for group in self.groups:
            yield from group.rates

    @property
    def faulty(self) -> bool:
        """Whether the summary of faults is to be shown."""
        return bool(self.refused) or any(form.faulty for form in self.all_forms)

    def is_valid(self) -> bool:
        """Whether every part holds what it may, and the book as a whole can be read."""
        # Every form is checked, so that the page shows all faults at once.
        if sum(not form.is_valid() for form in self.all_forms):
            return False
        try:
            self.next_book()
        except BadRecord as bad:
            self.refused = tuple(str(fault) for fault in bad.faults)
        return not self.refused

    def next_book(self) -> PriceBook:
        """The book as typed, as the version after the one it was made from.

        Raises
        ------
        BadRecord : something in it does not fit together.
        """
        head = self.head.cleaned_data
        typed = {rate.of.id: rate.form() for group in self.groups for rate in group.rates}
        form = write_record(self.book) | {
            "version": self.base + 1,
            "name": head["name"],
            "effective_from": head["effective_from"].isoformat(),
            "foams": [product.form() for product in self.foams],
            "loose_fills": [product.form() for product in self.loose_fills],
            "leak_work": [work.form() for work in self.leak_work],
            "rates": [typed[rate.id] for rate in self.book.rates],
        }
        book = read_record(PriceBook, form)
        faults = book_faults(book, book.id)
        if faults:
            raise BadRecord(faults)
        return book


class ScaleForm(PlainForm):
    """One cost or rate, and by how many percent it is changed."""

    what = forms.ChoiceField(label="Figure")
    percent = NumberField(label="Change", unit="%", low=-90, high=300)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices: list[Any] = [
            (
                "Material",
                [
                    ("foam", "all foams"),
                    ("loose_fill", "all loose fills"),
                    ("leak_material", "material for leak sites"),
                ],
            )
        ]
        choices += [(title, list(rates.items())) for title, rates in RATE_GROUPS.items()]
        field = self.fields["what"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices
        self.words = {value: words for _, group in choices for value, words in group}
