"""Bills before and after a job with the weather of their days: read line by line, every fault with its line."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django import forms

from estimates.forms.assessment_bills import MOST_BYTES, _day, _number, read_bills
from estimates.house import BillRecord, Fuel
from jobs.forms.crews import BlamedForm

SIDES = ("before", "after")


@dataclass(frozen=True, slots=True)
class Cells:
    """A line of bills: the bill without its degree days, and those as they were written."""

    line: str
    degree_days: str


class BillsAfterForm(BlamedForm):
    """Bills of the heating fuel before and after the work."""

    before_file = forms.FileField(label="File of bills before the work", required=False)
    before = forms.CharField(
        label="Bills before the work",
        required=False,
        strip=False,
        max_length=MOST_BYTES,
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
        help_text="One bill a line: first day, last day, units, dollars, degree days. For example "
        "2025-01-03, 2025-02-02, 142, 214.50, 1083. Dollars may be left empty between their commas.",
    )
    after_file = forms.FileField(label="File of bills after the work", required=False)
    after = forms.CharField(
        label="Bills after the work",
        required=False,
        strip=False,
        max_length=MOST_BYTES,
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
        help_text="In the same form. A full year makes the answer firm.",
    )
    weather_file = forms.FileField(label="File of daily temperatures", required=False)
    weather = forms.CharField(
        label="Daily temperatures",
        required=False,
        strip=False,
        max_length=MOST_BYTES,
        widget=forms.Textarea(attrs={"rows": 5, "spellcheck": "false"}),
        help_text="Only where the bills have no degree days: a day and its mean outdoor temperature in °F a line, for "
        "example 2025-01-03, 27.5. The degree days are worked out from them.",
    )

    def __init__(self, *args: Any, fuel: Fuel, base_f: float, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fuel, self.base_f = fuel, base_f

    def clean(self) -> dict[str, Any]:
        """Bring files into their boxes, read every line, work out the degree days that are missing."""
        found = super().clean() or {}
        for name in (*SIDES, "weather"):
            text = self._text(found, name)
            found[name] = text
        weather = self._weather(found["weather"])
        self.bills = {side: self._bills(side, found[side], weather) for side in SIDES}
        return found

    def _text(self, found: Mapping[str, Any], name: str) -> str:
        file = found.get(f"{name}_file")
        text = str(found.get(name) or "")
        if file is None:
            return text
        if file.size > MOST_BYTES:
            self.add_error(f"{name}_file", f"Choose a file of at most {MOST_BYTES // 1000} kB")
            return text
        try:
            text = file.read().decode("utf-8-sig")
        except UnicodeDecodeError:
            text = "\0"
        if "\0" in text:
            self.add_error(f"{name}_file", "This file is no text. Save it as CSV (UTF-8) and choose it again")
            return ""
        # What stood in the file can be looked at and mended in its box.
        self.data = {**{key: self.data[key] for key in self.data}, self.add_prefix(name): text}
        return text

    def _weather(self, text: str) -> dict[date, float]:
        found: dict[date, float] = {}
        for number, row in enumerate(csv.reader(io.StringIO(text), skipinitialspace=True), start=1):
            cells = [cell.strip() for cell in row]
            if not any(cells) or (number == 1 and not any(sign.isdigit() for sign in "".join(cells))):
                continue
            try:
                if len(cells) != 2:
                    raise ValueError(f"{len(cells)} columns; enter a day and its mean temperature")
                mean = _number("temperature", cells[1])
                if not -80 <= mean <= 130:
                    raise ValueError(f"temperature: {mean:g} °F; enter a mean of a day in °F, -80 to 130")
                found[date.fromisoformat(_day("day", cells[0]))] = mean
            except ValueError as fault:
                self.add_error("weather", f"Line {number}: {fault}")
        return found

    def _bills(self, side: str, text: str, weather: Mapping[date, float]) -> list[dict[str, Any]]:
        if not text.strip():
            if side not in self.errors and f"{side}_file" not in self.errors:
                self.add_error(side, f"Enter the bills {side} the work, or choose a file")
            return []
        found: list[dict[str, Any]] = []
        before: date | None = None
        for number, raw in enumerate(text.splitlines(), start=1):
            cells = split(raw)
            if not cells.line.strip(" ,;\t") or (number == 1 and not any(sign.isdigit() for sign in raw)):
                continue
            bill = read_bills(f"\n{cells.line}", self.fuel)[0]
            try:
                if bill.bill is None:
                    raise ValueError(bill.fault)
                found.append(self._with_weather(bill.bill, cells.degree_days, weather, before))
                before = bill.bill.last
            except ValueError as fault:
                self.add_error(side, f"Line {number}: {fault}")
        return found

    def _with_weather(
        self, bill: BillRecord, written: str, weather: Mapping[date, float], before: date | None
    ) -> dict[str, Any]:
        form: dict[str, Any] = {"first": bill.first.isoformat(), "last": bill.last.isoformat(), "units": bill.units}
        if bill.dollars is not None:
            form["dollars"] = bill.dollars
        if written:
            heat = _number("degree days", written)
            if heat < 0:
                raise ValueError("degree days: below 0; enter 0 or more")
            return {**form, "degree_days": heat}
        # The day of reading stands on two bills; it is counted with the first of them.
        first = bill.first + timedelta(days=1) if bill.first == before else bill.first
        days = [first + timedelta(days=at) for at in range((bill.last - first).days + 1)]
        missing = [day for day in days if day not in weather]
        if missing:
            raise ValueError(
                f"no degree days; enter them as the fifth column, or the temperatures of {len(missing)} "
                f"days from {missing[0].isoformat()} on"
            )
        return {**form, "degree_days": round(sum(max(0.0, self.base_f - weather[day]) for day in days), 3)}


def split(line: str) -> Cells:
    r"""Take the degree days, the fifth cell, off a line of bills.

    Examples
    --------
    >>> split("2025-01-03, 2025-02-02, 142, 214.50, 1083")
    Cells(line='2025-01-03,2025-02-02,142,214.50', degree_days='1083')
    >>> split("2025-01-03; 2025-02-02; 142;; 1083").line
    '2025-01-03;2025-02-02;142;'
    >>> split("2025-01-03, 2025-02-02, 142").degree_days
    ''
    """
    separator = next((sign for sign in "\t;" if sign in line), ",")
    cells = [cell.strip() for cell in next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])]
    if len(cells) < 5:
        return Cells(line, "")
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator="").writerow(cells[:4] + cells[5:])
    return Cells(text.getvalue(), cells[4])


def lines_of(bills: list[BillRecord]) -> str:
    """Bills of an assessment as lines whose degree days are still to be entered."""
    return "\n".join(
        f"{bill.first.isoformat()}, {bill.last.isoformat()}, {bill.units:g}, "
        f"{'' if bill.dollars is None else f'{bill.dollars:.2f}'}, "
        for bill in bills
    )
