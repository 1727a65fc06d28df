"""Fuel bills from a file or pasted: read line by line, every fault with its line."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms

from estimates.forms.plain import PlainForm
from estimates.house import BillRecord, Fuel
from estimates.records import BadRecord, read_record
from estimates.templatetags.figures import spoken

MOST_BYTES = 200_000
"""Ten years of monthly bills are a few thousand bytes. [bytes]"""

MOST_LINES = 400

DAYS = ("%Y-%m-%d", "%m/%d/%Y", "%m/%d/%y", "%b %d %Y", "%d %b %Y")
"""How days are written; month before day, as at home."""


@dataclass(frozen=True, slots=True)
class BillLine:
    """A line as read: the bill, or why it is none."""

    number: int
    text: str
    bill: BillRecord | None
    fault: str


class BillsForm(PlainForm):
    """Bills of one fuel, pasted or from a file."""

    fuel = forms.ChoiceField(
        label="Fuel",
        choices=[(str(fuel), spoken(fuel).capitalize()) for fuel in Fuel],
        widget=forms.RadioSelect,
    )
    file = forms.FileField(
        label="File",
        required=False,
        help_text="A CSV file: first day, last day, units, dollars. The last column may be missing.",
    )
    lines = forms.CharField(
        label="Or pasted lines",
        required=False,
        strip=False,
        max_length=MOST_BYTES,
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
        help_text="One bill a line, for example 2025-01-03, 2025-02-02, 142, 214.50",
    )

    def clean(self) -> dict[str, Any]:
        """Bring the file into the box of lines, so that it can be looked at and mended there."""
        found = super().clean() or {}
        file = found.get("file")
        if file is not None:
            if file.size > MOST_BYTES:
                self.add_error("file", f"Choose a file of at most {MOST_BYTES // 1000} kB")
                return found
            try:
                found["lines"] = file.read().decode("utf-8-sig")
            except UnicodeDecodeError:
                self.add_error("file", "This file is no text. Save it as CSV (UTF-8) and choose it again")
        if not str(found.get("lines") or "").strip() and not self.errors:
            self.add_error("lines", "Enter at least one bill, or choose a file")
        if "\0" in str(found.get("lines") or ""):
            self.add_error("file", "This file is no text. Save it as CSV (UTF-8) and choose it again")
        return found


def read_bills(text: str, fuel: Fuel) -> list[BillLine]:
    r"""Read lines of bills; a first line without figures is a heading and is passed over.

    Examples
    --------
    >>> [line.bill.units for line in read_bills("from,to,therms\n1/3/2025,2/2/2025,142", Fuel.NATURAL_GAS)]
    [142.0]
    >>> read_bills("2025-01-03; x; 142", Fuel.PROPANE)[0].fault
    "last day: 'x' is no day; enter one such as 2025-01-31"
    """
    found = []
    for number, line in enumerate(text.splitlines()[:MOST_LINES], start=1):
        if not line.strip() or (number == 1 and not re.search(r"\d", line)):
            continue
        try:
            found.append(BillLine(number, line.strip(), _bill(line, fuel), ""))
        except ValueError as fault:
            found.append(BillLine(number, line.strip(), None, str(fault)))
    return found


def _bill(line: str, fuel: Fuel) -> BillRecord:
    separator = next((sign for sign in "\t;" if sign in line), ",")
    cells = [cell.strip() for cell in next(csv.reader([line], delimiter=separator, skipinitialspace=True))]
    while cells and not cells[-1]:
        cells.pop()
    if len(cells) not in (3, 4):
        raise ValueError(f"{len(cells)} columns; enter first day, last day, units and dollars")
    raw: dict[str, Any] = {
        "fuel": str(fuel),
        "first": _day("first day", cells[0]),
        "last": _day("last day", cells[1]),
        "units": _number("units", cells[2]),
    }
    if len(cells) == 4:
        raw["dollars"] = _number("dollars", cells[3])
    if raw["last"] < raw["first"]:
        raise ValueError("last day: before the first day; enter that day or a later one")
    try:
        return read_record(BillRecord, raw)
    except BadRecord as bad:
        fault = bad.faults[0]
        raise ValueError(f"{fault.path.removeprefix('$.')}: {fault.message}") from None


def _day(name: str, words: str) -> str:
    for form in DAYS:
        try:
            found: date = datetime.strptime(words.replace(",", ""), form).date()  # noqa: DTZ007 (a day, no moment)
        except ValueError:
            continue
        if 1990 <= found.year <= 2100:
            return found.isoformat()
    raise ValueError(f"{name}: {words[:40]!r} is no day; enter one such as 2025-01-31")


def _number(name: str, words: str) -> float:
    try:
        exact = Decimal(re.sub(r"[\s$,]", "", words))
    except InvalidOperation:
        exact = Decimal("NaN")
    if not exact.is_finite():
        raise ValueError(f"{name}: {words[:40]!r} is no number; enter one such as 142.5")
    return float(exact)
