"""What a report is asked for in its address: which days, whose leads and jobs; and what is shown of it as chips."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from estimates.house import Construction, SurfaceKind
from estimates.models import LeadSource, User
from estimates.models.lead import SELLERS
from jobs.models import Crew

USUAL = "12-months"
"""The period of a report that is not asked for another one."""

WALL_TYPES: dict[str, str] = {
    **{kind.value: f"{kind.value.replace('_', ' ').capitalize()}, frame" for kind in SurfaceKind},
    **{one.value: f"{one.value.replace('_', ' ').capitalize()} wall" for one in Construction if one != "frame"},
}
"""What a wall is -> its words: the kind of a framed surface, else what carries it."""

FILTERS = ("period", "seller", "crew", "source", "wall")


@dataclass(frozen=True, slots=True)
class Choices:
    """What can be chosen: code and words of each."""

    periods: tuple[tuple[str, str], ...]
    sellers: tuple[tuple[str, str], ...] = ()
    crews: tuple[tuple[str, str], ...] = ()
    sources: tuple[tuple[str, str], ...] = ()
    walls: tuple[tuple[str, str], ...] = tuple(WALL_TYPES.items())

    def of(self, name: str) -> tuple[tuple[str, str], ...]:
        """What can be chosen for a filter."""
        found: tuple[tuple[str, str], ...] = getattr(self, f"{name}s")
        return found


@dataclass(frozen=True, slots=True)
class Asked:
    """A period, both days included (None: everything), and a code for each filter that is set."""

    today: date
    first: date | None = None
    last: date | None = None
    period: str = USUAL
    words: str = "the last 12 months"
    seller: str = ""
    crew: str = ""
    source: str = ""
    wall: str = ""
    chips: tuple[tuple[str, str], ...] = ()
    faults: tuple[str, ...] = field(default=(), compare=False)

    def during(self, name: str, *, zone: Any = None) -> dict[str, Any]:
        """Conditions that a day, or with a zone a moment, lies in the period.

        Parameters
        ----------
        name : of a field of dates; with `zone`, of one of moments.
        """
        found: dict[str, Any] = {}
        if self.first is not None:
            found[f"{name}__gte"] = self.first if zone is None else midnight(self.first, zone)
        if self.last is not None:
            found[f"{name}__lt"] = self.last + timedelta(days=1)
            if zone is not None:
                found[f"{name}__lt"] = midnight(self.last + timedelta(days=1), zone)
        return found


def midnight(day: date, zone: ZoneInfo) -> datetime:
    """The moment at which a day begins."""
    return datetime.combine(day, time(), zone)


def choices_for(filters: Iterable[str], today: date) -> Choices:
    """What can be chosen for the filters of a report; one query a filter."""
    wanted = set(filters)
    sellers = User.objects.filter(role__in=SELLERS).order_by("full_name") if "seller" in wanted else ()
    crews = Crew.objects.order_by("name") if "crew" in wanted else ()
    sources = LeadSource.objects.order_by("name") if "source" in wanted else ()
    return Choices(
        periods=periods_of(today),
        sellers=tuple((str(person.code), person.full_name) for person in sellers),
        crews=tuple((str(crew.code), crew.name) for crew in crews),
        sources=tuple((str(source.code), source.name) for source in sources),
    )


def periods_of(today: date) -> tuple[tuple[str, str], ...]:
    """Periods that can be chosen: code and words."""
    return (
        (USUAL, "The last 12 months"),
        ("3-months", "The last 3 months"),
        (f"{today:%Y-%m}", f"This month, {today:%B %Y}"),
        (f"{_months_back(today, 1):%Y-%m}", f"Last month, {_months_back(today, 1):%B %Y}"),
        (str(today.year), f"This year, {today.year}"),
        (str(today.year - 1), f"Last year, {today.year - 1}"),
        ("all", "Everything"),
    )


def read_asked(query: Mapping[str, str], filters: Iterable[str], choices: Choices, *, today: date) -> Asked:
    """Read the filters of an address; what means nothing is told in `faults` and left out.

    Parameters
    ----------
    query : the query of the address.
    filters : names of those that the report knows; others are left alone.
    choices : what can be chosen.
    today : the last day of the usual period.

    Examples
    --------
    >>> day = date(2026, 3, 9)
    >>> asked = read_asked({"period": "2026-02"}, ["period"], Choices(periods_of(day)), today=day)
    >>> asked.first, asked.last, asked.words
    (datetime.date(2026, 2, 1), datetime.date(2026, 2, 28), 'February 2026')
    """
    known = tuple(filters)
    values: dict[str, str] = {}
    chips: list[tuple[str, str]] = []
    faults: list[str] = []
    period = query.get("period", "").strip() if "period" in known else USUAL
    span = _span(period or USUAL, today)
    if span is None:
        faults.append(f"There is no period “{period[:20]}”. Choose one, or write a month as 2026-03 or a year as 2026.")
        period, span = USUAL, _span(USUAL, today)
    assert span is not None
    first, last, words = span
    period = period or USUAL
    if period != USUAL and "period" in known:
        chips.append(("period", words[:1].upper() + words[1:]))
    for name in ("seller", "crew", "source", "wall"):
        code = query.get(name, "").strip() if name in known else ""
        if not code:
            continue
        said = dict(choices.of(name)).get(_code(code))
        if said is None:
            faults.append(f"There is no {name} of that code. Choose one from the list.")
            continue
        values[name] = _code(code)
        chips.append((name, f"{name.capitalize()}: {said}"))
    return Asked(today, first, last, period, words, chips=tuple(chips), faults=tuple(faults), **values)


def _code(text: str) -> str:
    try:
        return str(uuid.UUID(text))
    except ValueError:
        return text


def _span(period: str, today: date) -> tuple[date | None, date | None, str] | None:
    if period == "all":
        return None, None, "all years"
    months = re.fullmatch(r"(12|3)-months", period)
    if months:
        count = int(months[1])
        begin = _months_back(today, count)
        same_day = min(begin + timedelta(days=today.day - 1), next_month(begin) - timedelta(days=1))
        return same_day + timedelta(days=1), today, f"the last {count} months"
    if re.fullmatch(r"(19|20)\d\d", period):
        return date(int(period), 1, 1), date(int(period), 12, 31), period
    if re.fullmatch(r"(19|20)\d\d-(0[1-9]|1[0-2])", period):
        begin = date(int(period[:4]), int(period[5:]), 1)
        return begin, next_month(begin) - timedelta(days=1), f"{begin:%B %Y}"
    return None


def next_month(day: date) -> date:
    """First day of the month after that of a day."""
    return date(day.year + day.month // 12, day.month % 12 + 1, 1)


def _months_back(day: date, count: int) -> date:
    """First day of the month some months before that of a day."""
    months = day.year * 12 + day.month - 1 - count
    return date(months // 12, months % 12 + 1, 1)


def months_between(first: date, last: date) -> list[date]:
    """First days of the months from that of one day to that of another, both included."""
    found, month = [], first.replace(day=1)
    while month <= last:
        found.append(month)
        month = next_month(month)
    return found
