"""The jobs of the demo story: what became of each signed house, and on which days its crew was there."""

# ruff: noqa: RUF009 (fields are declared by functions of estimates.records, which make no value)

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from estimates.records import Fault, choice, code, many, number, one, read_record, text, whole
from reports.scenario import FIXTURES
from reports.scenario_story import EARLIEST, LATEST, Calendar


class JobEnd(StrEnum):
    """How far a job of the story is."""

    SIGNED = "signed"
    BOOKED = "booked"
    STARTED = "started"
    VERIFIED = "verified"
    CLOSED = "closed"
    CANCELLED = "cancelled"


def _day(doc: str, *, needed: bool = False) -> int | None:
    if needed:
        return whole(f"{doc}, counted from the Monday", unit="day", low=EARLIEST, high=LATEST)  # type: ignore[no-any-return]
    return whole(f"{doc}, counted from the Monday", unit="day", low=EARLIEST, high=LATEST, default=None)  # type: ignore[no-any-return]


@dataclass(frozen=True, slots=True, kw_only=True)
class LostDay:
    """A day on which the crew could not work."""

    day: int = whole("Day", unit="day", low=EARLIEST, high=LATEST)
    words: str = text("Why", min_length=1, max_length=120)


@dataclass(frozen=True, slots=True, kw_only=True)
class Defect:
    """A void or an escape: where, how large, found and mended when."""

    wall: str = text("Id of the wall; left out: the first", max_length=40, default="")
    area: float = number("ft2", "Area of a void; 0 for an escape", low=0, high=500, default=0.0)
    found: int = whole("Day on which it was found", unit="day", low=EARLIEST, high=LATEST)
    mended: int = whole("Day on which it was mended", unit="day", low=EARLIEST, high=LATEST)
    words: str = text("What was found", min_length=1, max_length=300)


@dataclass(frozen=True, slots=True, kw_only=True)
class CallBack:
    """A visit after the job was closed."""

    day: int = whole("Day", unit="day", low=EARLIEST, high=LATEST)
    hours: float = number("h", "Hours of one person", above=0, high=40)
    words: str = text("Why", min_length=1, max_length=300)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtraCost:
    """A cost that no crew reports."""

    kind: str = text("Kind of cost", min_length=1)
    dollars: str = text("Amount", pattern=r"\d{1,5}\.\d\d")
    day: int = whole("Day of the bill", unit="day", low=EARLIEST, high=LATEST)
    words: str = text("What it was for", min_length=1, max_length=200)


@dataclass(frozen=True, slots=True, kw_only=True)
class JobRecord:
    """What became of a signed house."""

    house: str = code("Id of the house")
    end: JobEnd = choice(JobEnd, "How far it is")
    crew: str = text("Crew", max_length=80, default="")
    begin: int | None = _day("First day on site")
    hours: float = number("", "Actual hours over planned", above=0, high=5, default=1.0)
    mix: float = number("", "Poured over required", above=0, high=5, default=1.0)
    cut: float = number("", "Part of the promised cut in leakage that was found", above=0, high=3, default=1.0)
    lost: tuple[LostDay, ...] = many(LostDay, "Days lost")
    void: Defect | None = one(Defect, "A void", default=None)
    escape: Defect | None = one(Defect, "An escape", default=None)
    extra: tuple[ExtraCost, ...] = many(ExtraCost, "Costs besides")
    infrared: int | None = _day("Day of the infrared look; left out: not judged")
    paid: int | None = _day("Day on which the final invoice was paid")
    part_paid: int | None = _day("Day on which half of it was paid")
    call_back: CallBack | None = one(CallBack, "A call-back", default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class JobsRecord:
    """All of them."""

    jobs: tuple[JobRecord, ...] = many(JobRecord, "Jobs, in the order in which they are loaded")


def load_jobs() -> dict[str, JobRecord]:
    """Read the jobs of the story, by house.

    Raises
    ------
    BadRecord : faults in the file, each with its path.
    """
    raw = tomllib.loads((FIXTURES / "demo" / "jobs.toml").read_text(encoding="utf-8"))
    found = read_record(JobsRecord, raw, path="jobs").jobs
    faults = [
        Fault(f"jobs.jobs[{index}].begin", "enter the first day on site, and the crew")
        for index, row in enumerate(found)
        if row.end in (JobEnd.STARTED, JobEnd.VERIFIED, JobEnd.CLOSED) and (row.begin is None or not row.crew)
    ]
    if faults:
        from estimates.records import BadRecord

        raise BadRecord(faults)
    return {row.house: row for row in found}


# --- days on site ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Stretch:
    """Hours of a crew on a phase on one day: which phase by its place, day, first hour of the clock, whole hours."""

    phase: int
    day: date
    first_hour: int
    hours: int


def spread(hours: list[float], days: Iterator[date], *, people: int, first_hour: int, last_hour: int) -> list[Stretch]:
    """Phases one after the other over working days, in whole hours of the crew.

    Examples
    --------
    >>> week = iter([date(2026, 3, 2), date(2026, 3, 3)])
    >>> found = spread([4.0, 20.0], week, people=2, first_hour=8, last_hour=16)
    >>> [(one.phase, one.day.day, one.first_hour, one.hours) for one in found]
    [(0, 2, 8, 2), (1, 2, 10, 6), (1, 3, 8, 4)]
    """
    found: list[Stretch] = []
    day, at = next(days), first_hour
    for phase, amount in enumerate(hours):
        left = max(1, math.ceil(amount / people - 1e-9))
        while left:
            if at >= last_hour:
                day, at = next(days), first_hour
            now = min(left, last_hour - at)
            found.append(Stretch(phase, day, at, now))
            at, left = at + now, left - now
    return found


def working_days(begin: date, lost: set[date]) -> Iterator[date]:
    """Mondays to Fridays from a day on, federal holidays and lost days left out."""
    from jobs.schedule_rows import federal_holidays

    day = begin
    while True:
        if day.weekday() < 5 and day not in lost and day not in federal_holidays(day.year):
            yield day
        day += timedelta(days=1)


def days_of(days: Calendar, row: JobRecord) -> Iterator[date]:
    """Working days of a job of the story."""
    assert row.begin is not None
    return working_days(days.day(row.begin), {days.day(lost.day) for lost in row.lost})
