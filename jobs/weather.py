"""The weather of coming days: entered for one day, or read from a forecast file."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal, InvalidOperation

from django.db import transaction

from jobs.models import DayWeather

COLUMNS = ("day", "low_f", "high_f", "rain_percent", "wind_mph")
"""Columns of a forecast file, in any order; the last two may be left out."""

MOST_LINES = 400


class BadForecast(ValueError):
    """A forecast file that cannot be read; `faults` name the line and what to enter."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__(" ".join(faults))
        self.faults = faults


@dataclass(frozen=True, slots=True)
class ForecastDay:
    """A line of a forecast file. Temperatures in degF, wind in mph, `rain_chance` as a share."""

    day: date
    low_f: Decimal
    high_f: Decimal
    rain_chance: Decimal
    wind_mph: Decimal


def weather_put(
    *,
    day: date,
    low_f: Decimal,
    high_f: Decimal,
    source: str,
    now: datetime,
    rain_chance: Decimal = Decimal(0),
    wind_mph: Decimal = Decimal(0),
) -> DayWeather:
    """Enter the weather of a day in place of what was known of it.

    Raises
    ------
    ValidationError : a field is missing or out of its limits.
    """
    with transaction.atomic():
        row = DayWeather.objects.select_for_update().filter(day=day).first() or DayWeather(day=day)
        row.low_f, row.high_f, row.rain_chance, row.wind_mph = low_f, high_f, rain_chance, wind_mph
        row.source, row.entered_at = source.strip(), now
        row.full_clean()
        row.save()
    return row


def forecast_read(text: str) -> list[ForecastDay]:
    r"""Read a forecast file: comma-separated, a first line with the names of `COLUMNS`.

    Raises
    ------
    BadForecast : with a sentence for each fault.

    Examples
    --------
    >>> forecast_read("day,low_f,high_f,rain_percent\n2026-03-10,28,41,60")[0].rain_chance
    Decimal('0.6')
    """
    reader = csv.reader(io.StringIO(text.removeprefix("\ufeff")))
    names = [name.strip().lower() for name in next(reader, [])]
    missing = [name for name in COLUMNS[:3] if name not in names]
    strange = [name for name in names if name not in COLUMNS]
    if missing or strange or len(set(names)) != len(names):
        wrong = f"{missing[0]} is missing" if missing else f"{(strange or names)[0]!r} is no column, or stands twice"
        raise BadForecast([f"Line 1: {wrong}. Enter the columns {', '.join(COLUMNS)}."])
    faults: list[str] = []
    found: dict[date, ForecastDay] = {}
    for number, cells in enumerate(reader, start=2):
        if not any(cell.strip() for cell in cells):
            continue
        if number > MOST_LINES:
            raise BadForecast([f"Line {number}: more than {MOST_LINES} lines. Enter a shorter forecast."])
        values = dict(zip(names, (cell.strip() for cell in cells)))
        wrong_here = [f"Line {number}: {words}" for words in _faults(values, len(cells), len(names))]
        faults += wrong_here
        if wrong_here:
            continue
        row = _row(values)
        if row.high_f < row.low_f:
            faults.append(f"Line {number}: high_f {row.high_f} is below low_f {row.low_f}. Enter a higher one.")
        elif row.day in found:
            faults.append(f"Line {number}: {row.day} stands twice. Enter each day once.")
        found[row.day] = row
    if not faults and not found:
        faults = ["Line 2: there is no day. Enter at least one."]
    if faults:
        raise BadForecast(faults[:20])
    return list(found.values())


LIMITS = {"low_f": (-80, 150), "high_f": (-80, 150), "rain_percent": (0, 100), "wind_mph": (0, 200)}


def _faults(values: dict[str, str], cells: int, wanted: int) -> Iterator[str]:
    if cells != wanted:
        yield f"{cells} values, {wanted} columns. Enter a value for each column."
        return
    try:
        date.fromisoformat(values["day"])
    except ValueError:
        yield f"day is {values['day']!r}. Enter a day such as 2026-03-10."
    for name, (low, high) in LIMITS.items():
        if name not in values or (values[name] == "" and name in COLUMNS[3:]):
            continue
        try:
            good = low <= Decimal(values[name]) <= high
        except InvalidOperation:
            good = False
        if not good:
            yield f"{name} is {values[name]!r}. Enter a number from {low} to {high}."


def _row(values: dict[str, str]) -> ForecastDay:
    tenth = Decimal("0.1")
    return ForecastDay(
        date.fromisoformat(values["day"]),
        Decimal(values["low_f"]).quantize(tenth),
        Decimal(values["high_f"]).quantize(tenth),
        (Decimal(values.get("rain_percent") or 0) / 100).quantize(Decimal("0.01")).normalize(),
        Decimal(values.get("wind_mph") or 0).quantize(tenth),
    )


def forecast_import(*, text: str, source: str, now: datetime) -> int:
    """Take every day of a forecast file, or none. Returns the number of days.

    Raises
    ------
    BadForecast : a line is wrong.
    ValidationError : no source is named.
    """
    rows = forecast_read(text)
    with transaction.atomic():
        for row in rows:
            weather_put(
                day=row.day,
                low_f=row.low_f,
                high_f=row.high_f,
                rain_chance=row.rain_chance,
                wind_mph=row.wind_mph,
                source=source,
                now=now,
            )
    return len(rows)
