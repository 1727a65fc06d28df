"""What lies on the desk when a house is priced: its latest assessment, the price book of the day, the last revision."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from estimates import access
from estimates.assessments import assessment_to_record
from estimates.contract import stale_prices
from estimates.forms.estimate import WhatIfForm
from estimates.house import HouseRecord
from estimates.models import EstimateRevision, House, PriceBookVersion
from estimates.models.assessment import Assessment
from estimates.physics.validity import OutOfRange
from estimates.price_books import NoPriceBook, price_book_on
from estimates.pricebook import PriceBook
from estimates.pricing import PriceRefused
from estimates.records import BadRecord
from estimates.rules import BadRule, RuleMissing
from estimates.rules_table import rule_rows
from estimates.snapshot import Snapshot
from estimates.what_if import WhatIf, try_out

TROUBLE = (BadRecord, NoPriceBook, OutOfRange, PriceRefused, RuleMissing, BadRule)
"""What keeps a house from being priced; each says in words what to mend."""

USUAL_BOOK = "standard"


@dataclass(frozen=True, slots=True)
class Desk:
    """A house to be priced on a day. `assessment` and `record` are None before anything was measured.

    `book` is None where no price book holds on the day; `trouble` then says so. `book_names` are the published ones.
    """

    house: House
    assessment: Assessment | None
    record: HouseRecord | None
    book_name: str
    book_names: tuple[str, ...]
    book: PriceBook | None
    trouble: tuple[str, ...]
    latest: EstimateRevision | None
    on: date

    def is_at(self, number: int | None, version: int | None) -> bool:
        """Whether the assessment is still the one, at the version, that somebody saw."""
        return self.assessment is not None and (self.assessment.number, self.assessment.version) == (number, version)

    def form(self, data: Any = None) -> WhatIfForm | None:
        """The form for trying; None where there is nothing to try yet."""
        if self.record is None or self.book is None or self.assessment is None:
            return None
        known = {"assessment": self.assessment.number, "version": self.assessment.version, "book": self.book_name}
        return WhatIfForm(data, house=self.record, price_book=self.book, initial=known)

    def tried(self, what: WhatIf) -> Snapshot:
        """Run the chain in memory; raises one of `TROUBLE`."""
        assert self.record is not None
        assert self.book is not None
        priced = self.record if self.record.priced_on is not None else replace(self.record, priced_on=self.on)
        return try_out(priced, self.book, what, rules=rule_rows())

    @property
    def stale(self) -> tuple[str, ...]:
        """Warnings for prices that are old."""
        if self.book is None:
            return ()
        names = {f"Price book {self.book.name}": self.book.effective_from}
        return stale_prices(names, on=self.on, days=int(self.book.best("price_stale")))


def desk_of(user: access.Person, house: House, book_name: str, on: date) -> Desk:
    """Return what lies on the desk for a house.

    Parameters
    ----------
    user : who looks.
    house : one that the person may know of.
    book_name : which price book; one that is not published gives that of the latest revision, or the usual one.
    on : the day whose prices hold, where the assessment names none.
    """
    assessment = Assessment.objects.visible_to(user).filter(house=house).order_by("-number").first()
    record = None if assessment is None else assessment_to_record(assessment)
    latest = EstimateRevision.objects.visible_to(user).filter(house=house).order_by("-number").first()
    names = tuple(sorted(set(PriceBookVersion.objects.values_list("name", flat=True))))
    before = latest.price_book.partition(" ")[0] if latest is not None else ""
    chosen = next((name for name in (book_name, before, USUAL_BOOK, *names) if name in names), USUAL_BOOK)
    book: PriceBook | None = None
    trouble: tuple[str, ...] = ()
    try:
        book = price_book_on(chosen, on if record is None or record.priced_on is None else record.priced_on)
    except NoPriceBook as fault:
        trouble = (str(fault),)
    return Desk(house, assessment, record, chosen, names, book, trouble, latest, on)


def sentences(fault: Exception) -> tuple[str, ...]:
    """What keeps a house from being priced, one sentence a fault, without the paths of the record."""
    if not isinstance(fault, BadRecord):
        return (_sentence(str(fault)),)
    return tuple(_sentence(f"{_place(each.path)}{each.message}") for each in fault.faults)


def _place(path: str) -> str:
    """A path such as ``$.walls[0].openings[1].left_ft`` as people say it: "Wall 1, opening 2, left ft: "."""
    words = []
    for step in path.removeprefix("$").strip(".").split("."):
        name, bracket, rest = step.partition("[")
        name = name.replace("_", " ")
        words.append(f"{name.removesuffix('s')} {int(rest[:-1]) + 1}" if bracket and rest[:-1].isdigit() else name)
    place = ", ".join(filter(None, words))
    return f"{place[:1].upper()}{place[1:]}: " if place else ""


def _sentence(words: str) -> str:
    text = words[:1].upper() + words[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."
