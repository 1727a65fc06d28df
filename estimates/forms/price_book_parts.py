"""Parts of the editor of a price book: a product with its table, the work on a leak site, a rate with its range."""

from __future__ import annotations

from typing import Any

from django import forms
from django.forms import BoundField
from django.utils.text import slugify

from estimates.forms.estimate_fields import NumberField, PercentField
from estimates.forms.plain import PlainForm
from estimates.forms.price_book_words import SHARES_OF_ONE
from estimates.pricebook import CoverageRow, FactRow, FoamProduct, LeakWork, LooseProduct, Rate
from estimates.records import Spec, specs, write_record
from estimates.templatetags.price_book import shown_unit

MARKS = (("CP", "common practice"), ("M", "from memory"))
SPARE_ROWS = 2
"""Empty rows under a table, for thicknesses that the sheet lists newly."""

FIRST_ROWS = 8
"""Empty rows of the table of a new product."""

PERCENTAGES = frozenset({"waste", "shrinkage_low", "shrinkage_high"})
"""Fields of products that are shares, typed as percentages."""


def field_of(spec: Spec, *, name: str, required: bool) -> forms.Field:
    """The form field of a field of a record: its limits, its unit, its words."""
    label = spec.doc.partition(":")[0].partition(";")[0]
    if name in PERCENTAGES:
        return PercentField(label=label, low=spec.low, high=spec.high, required=required)
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
            name: field_of(spec, name=name, required=needed and required)
            for name, (spec, required) in specs(self.record).items()
            if spec.kind not in ("many", "one") and name not in self.kept
        }
        if of is not None:
            kwargs["initial"] = {name: getattr(of, name) for name in self.base_record_fields}
        # Of a record that may be left empty, this is asked once anything of it is typed.
        self.asked = [
            name
            for name, (spec, required) in specs(self.record).items()
            if name in self.base_record_fields and required and (spec.kind != "text" or spec.low)
        ]
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

    def clean(self) -> dict[str, Any]:
        """All of a record, or nothing of it."""
        data = super().clean() or {}
        if not self.empty:
            for name in self.asked:
                if data.get(name) in (None, "") and name not in self.errors:
                    label = str(self.fields[name].label)
                    self.add_error(name, f"Enter the {label[:1].lower()}{label[1:]} too")
        return data

    def need_order(self, data: dict[str, Any], low: str, best: str, high: str) -> None:
        """Ask for low <= best <= high."""
        values = [data.get(name) for name in (low, best, high)]
        if None not in values and not values[0] <= values[1] <= values[2]:  # type: ignore[operator]
            names = [str(self.fields[name].label).lower() for name in (low, best, high)]
            self.add_error(best, f"Enter {names[0]}, {names[1]} and {names[2]} in rising order")


class RowPart(RecordPart):
    """A row of a product's table; an empty one is no row."""


class FactPart(RowPart):
    record = FactRow


class CoveragePart(RowPart):
    record = CoverageRow


class ProductPart(RecordPart):
    """A product with the rows of its table. Without an `of` it is a new one, which may stay empty."""

    rows_name: str
    row_part: type[RowPart]

    def __init__(self, *args: Any, of: Any, **kwargs: Any) -> None:
        super().__init__(*args, of=of, needed=of is not None, **kwargs)
        given = () if of is None else getattr(of, self.rows_name)
        spare = SPARE_ROWS if given else FIRST_ROWS
        self.rows = [
            self.row_part(
                self.data if self.is_bound else None,
                prefix=f"{self.prefix}-row{place}",
                of=given[place] if place < len(given) else None,
                needed=False,
            )
            for place in range(len(given) + spare)
        ]
        if of is not None:
            self.fields["left_out"] = forms.BooleanField(
                label=f"Leave {of.name} out",
                required=False,
                help_text="Houses that ask for it are then asked to choose another",
            )

    def clean(self) -> dict[str, Any]:
        """A product needs a row of its table."""
        data = super().clean()
        if self.there and all(row.empty for row in self.rows):
            name = data.get("name") or "the new product"
            self.add_error(None, f"Enter at least one row in the table of {name}")
        return data

    @property
    def there(self) -> bool:
        """Whether the product stands in the version that is made."""
        if self.of is None:
            return not self.empty or not all(row.empty for row in self.rows)
        return not self.data.get(self.add_prefix("left_out"))

    def form(self, taken: set[str]) -> dict[str, Any]:
        """The record's JSON form; a new product gets an id from its name that is not among those `taken`."""
        rows = [row.cleaned_data for row in self.rows if not row.empty]
        first = next(iter(self.rows[0].fields))
        kept = {"id": _new_id(self.cleaned_data["name"], taken)} if self.of is None else write_record(self.of)
        typed = {name: value for name, value in self.cleaned_data.items() if name != "left_out"}
        return kept | typed | {self.rows_name: sorted(rows, key=lambda row: float(row[first]))}

    @property
    def rows_faulty(self) -> bool:
        """Whether the table is to be opened, for a fault in it."""
        return any(row.faulty for row in self.rows)

    @property
    def all_forms(self) -> list[PlainForm]:
        """Itself and its rows."""
        return [self, *self.rows]


def _new_id(name: str, taken: set[str]) -> str:
    base = slugify(name)[:32] or "product"
    return next(found for found in (base, *(f"{base}-{n}" for n in range(2, 1000))) if found not in taken)


class FoamPart(ProductPart):
    record = FoamProduct
    rows_name, row_part = "facts", FactPart

    def clean(self) -> dict[str, Any]:
        """Yields and shrinkages in order."""
        data = super().clean()
        self.need_order(data, "yield_low_ft3", "yield_ft3", "yield_high_ft3")
        self.need_order(data, "shrinkage_low", "shrinkage_low", "shrinkage_high")
        return data


class LoosePart(ProductPart):
    record = LooseProduct
    rows_name, row_part = "coverage", CoveragePart


class LeakPart(RecordPart):
    record = LeakWork
    kept = ("kind", "unit")

    def clean(self) -> dict[str, Any]:
        """Hours in order."""
        data = super().clean()
        self.need_order(data, "low_h", "hours", "high_h")
        return data

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
        self.unit = shown_unit(of.unit)

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
