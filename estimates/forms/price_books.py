"""The editor of a price book: every figure of the latest version as a field, read back into the record of the next."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms

from estimates.forms.estimate_fields import NumberField
from estimates.forms.plain import DayField, PlainForm
from estimates.forms.price_book_parts import FoamPart, LeakPart, LoosePart, ProductPart, RatePart
from estimates.forms.price_book_words import RATE_GROUPS
from estimates.pricebook import PriceBook, book_faults
from estimates.records import BadRecord, read_record, write_record


class HeadPart(PlainForm):
    """Name and first day of the version, and the version it was made from."""

    base = forms.IntegerField(widget=forms.HiddenInput, min_value=0)
    name = forms.CharField(label="Name", max_length=200)
    effective_from = DayField(label="First day it holds")

    first_foam = forms.ChoiceField(label="Foam used where a house names none", widget=forms.RadioSelect)
    first_fill = forms.ChoiceField(label="Loose fill used where a house names none", widget=forms.RadioSelect)

    def __init__(self, *args: Any, book: PriceBook, after: date | None, **kwargs: Any) -> None:
        self.after = after
        super().__init__(*args, **kwargs)
        for name, products in (("first_foam", book.foams), ("first_fill", book.loose_fills)):
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)
            field.choices = [(product.id, product.name) for product in products]

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
        initial |= {"first_foam": book.foam.id, "first_fill": book.loose_fill.id}
        after = book.effective_from if base else None
        self.head = HeadPart(data, prefix="book", initial=initial, book=book, after=after)
        self.foams = [FoamPart(data, prefix=f"foam-{p.id}", of=p) for p in book.foams]
        self.foams.append(FoamPart(data, prefix="newfoam", of=None))
        self.loose_fills = [LoosePart(data, prefix=f"fill-{p.id}", of=p) for p in book.loose_fills]
        self.loose_fills.append(LoosePart(data, prefix="newfill", of=None))
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
            yield from product.all_forms if not product.is_bound or product.there else ()
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
        for name, parts in (("first_foam", self.foams), ("first_fill", self.loose_fills)):
            chosen = self.head.cleaned_data[name]
            if any(part.of is not None and part.of.id == chosen and not part.there for part in parts):
                self.head.add_error(name, "Choose one that is not left out")
        if self.head.errors:
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
            "foams": _products(self.foams, head["first_foam"]),
            "loose_fills": _products(self.loose_fills, head["first_fill"]),
            "leak_work": [work.form() for work in self.leak_work],
            "rates": [typed[rate.id] for rate in self.book.rates],
        }
        book = read_record(PriceBook, form)
        faults = book_faults(book, book.id)
        if faults:
            raise BadRecord(faults)
        return book


def _products(parts: Sequence[ProductPart], first: str) -> list[dict[str, Any]]:
    """The products of a kind, the one used where a house names none first."""
    taken = {part.of.id for part in parts if part.of is not None}
    forms_of = [part.form(taken) for part in parts if part.there]
    return sorted(forms_of, key=lambda form: form["id"] != first)


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
