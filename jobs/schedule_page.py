"""What the schedule pages show, put together from a board: weeks, jobs ready to book, a proposed plan in words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from django.utils import timezone

from jobs.models import Absence, Crew, CrewMember, DayWeather, Job, Phase, RigKind, Skill, Visit
from jobs.schedule_crew_rows import TEST_KIT, crew_away, days_away, going_out
from jobs.schedule_problem import NOON, TERMS, Placement, Schedule
from jobs.schedule_problem import Phase as PlanPhase
from jobs.schedule_rows import RAIN_CHANCE, Board, federal_holidays
from jobs.schedule_words import short_day

WEEKS = 2
"""Weeks that the page shows at once."""


@dataclass(frozen=True, slots=True)
class DayHead:
    """A day over its column: weather and why nobody works, in words."""

    on: date
    today: bool
    holiday: str
    weather: str
    wet: bool

    @property
    def name(self) -> str:
        """The day as it is read aloud."""
        return short_day(self.on)


@dataclass(frozen=True, slots=True)
class Entry:
    """A visit in its cell. `half` is a word for screen and stylesheet; `broken` why it cannot stand, empty for good."""

    visit: Visit
    half: str
    hours: str
    people: str
    broken: str
    movable: bool
    leads: bool
    """It is the first visit of its phase that may be moved: dragging it moves the phase."""


@dataclass(frozen=True, slots=True)
class Cell:
    """A day of a crew."""

    on: date
    today: bool
    away: str
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True)
class Week:
    """A week: its days, and a row of cells for each crew."""

    days: tuple[DayHead, ...]
    rows: tuple[tuple[Crew, tuple[Cell, ...]], ...]


def hours_words(first: int, hours: int) -> str:
    """Hours of a day as people read them.

    Examples
    --------
    >>> hours_words(8, 4)
    '8:00–12:00'
    """
    return f"{first}:00–{first + hours}:00"


def half_of(first: int, hours: int) -> str:
    """Which half of the day some hours fill.

    Examples
    --------
    >>> half_of(8, 4), half_of(12, 4), half_of(8, 8), half_of(10, 3)
    ('morning', 'afternoon', 'whole day', 'whole day')
    """
    if first + hours <= NOON:
        return "morning"
    return "afternoon" if first >= NOON else "whole day"


def weeks_of(board: Board, monday: date, *, today: date) -> tuple[Week, ...]:
    """Crews by days, two weeks from a Monday on; the number of queries does not grow with the visits."""
    last = monday + timedelta(days=7 * WEEKS - 1)
    visits = list(
        Visit.objects.filter(day__range=(monday, last))
        .select_related("phase__job__house", "crew", "rig")
        .order_by("day", "first_hour", "pk")
    )
    by_cell: dict[tuple[int, date], list[Visit]] = defaultdict(list)
    for visit in visits:
        by_cell[visit.crew_id, visit.day].append(visit)
    crews = {crew.pk: crew for crew in going_out()}
    for visit in visits:
        crews.setdefault(visit.crew_id, visit.crew)
    weather = {row.day: row for row in DayWeather.objects.filter(day__range=(monday, last))}
    members = _members(monday, last)
    away = days_away(monday + timedelta(days=7), last)
    worked = {int(d) for crew in crews.values() for d in crew.works_on} | {visit.day.isoweekday() for visit in visits}
    loose = {visit.pk: visit is rows[0] for rows in board.loose.values() for visit in rows}
    weeks = []
    for number in range(WEEKS):
        days = [monday + timedelta(days=7 * number + place) for place in range(7)]
        days = [day for day in days if day.isoweekday() in worked] or days[:5]
        heads = tuple(_head(day, today, weather.get(day)) for day in days)
        rows = tuple(
            (crew, tuple(_cell(board, crew, day, today, by_cell[crew.pk, day], members, away, loose) for day in days))
            for crew in crews.values()
        )
        weeks.append(Week(heads, rows))
    return tuple(weeks)


def _members(first: date, last: date) -> dict[int, list[CrewMember]]:
    found: dict[int, list[CrewMember]] = defaultdict(list)
    rows = CrewMember.objects.filter(since__lte=last).exclude(until__lt=first).select_related("worker")
    for row in rows:
        found[row.crew_id].append(row)
    return found


def _head(day: date, today: date, row: DayWeather | None) -> DayHead:
    wet = row is not None and float(row.rain_chance) >= RAIN_CHANCE
    return DayHead(day, day == today, federal_holidays(day.year).get(day, ""), weather_words(row), wet)


def weather_words(row: DayWeather | None) -> str:
    """The weather of a day in a line, empty where it is not known."""
    if row is None:
        return ""
    words = f"{float(row.low_f):.0f} to {float(row.high_f):.0f} °F"
    if row.rain_chance:
        words += f", rain {100 * float(row.rain_chance):.0f} %"
    if row.wind_mph:
        words += f", wind {float(row.wind_mph):.0f} mph"
    return words


def _cell(
    board: Board,
    crew: Crew,
    day: date,
    today: date,
    visits: Sequence[Visit],
    members: dict[int, list[CrewMember]],
    away: dict[int, list[Absence]],
    loose: dict[int, bool],
) -> Cell:
    people = ", ".join(
        row.worker.name
        for row in members.get(crew.pk, ())
        if row.since <= day and (row.until is None or row.until >= day)
    )
    reason = crew_away(crew, day, away) if crew.is_active else ""
    entries = tuple(
        Entry(
            visit,
            half_of(visit.first_hour, visit.hours),
            hours_words(visit.first_hour, visit.hours),
            people,
            board.broken.get(visit.pk, ""),
            visit.pk in loose and day >= today,
            loose.get(visit.pk, False) and day >= today,
        )
        for visit in visits
    )
    return Cell(day, day == today, reason, entries)


# --- jobs ready to book -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Ready:
    """A job with phases that have no day: what it waits for, and what stands in the way."""

    job: Job
    start: str
    due: date | None
    phases: tuple[Phase, ...]
    stops: tuple[str, ...]


def ready_jobs(board: Board) -> tuple[list[Ready], list[Ready]]:
    """Jobs that can be booked, and those that cannot now."""
    booked = {placement.phase for placement in board.placed}
    ready = []
    for planned in board.problem.jobs:
        specs = [spec for spec in planned.phases if spec.id not in booked]
        if not specs:
            continue
        rows = tuple(board.phases[spec.id] for spec in specs)
        job = rows[0].job
        start = board.earliest.get(job.pk, "")
        if not start and planned.earliest is not None:
            start = f"Not before {short_day(planned.earliest)}."
        stops = tuple(dict.fromkeys(words for spec in specs for words in _stops(board, spec)))
        ready.append(Ready(job, board.said(start), job.wanted_by, rows, stops))
    held = [Ready(b.job, "", b.job.wanted_by, b.phases, (board.said(b.words),)) for b in board.blocked]
    return ready, held


def _stops(board: Board, spec: PlanPhase) -> Iterator[str]:
    """What keeps every crew, or the next days, from a phase."""
    crews, kind = board.problem.crews, board.phases[spec.id].get_kind_display()
    for skill in spec.skills:
        if not any(skill in crew.skills for crew in crews):
            name = "takes a blower door" if skill == TEST_KIT else f"can do: {Skill(skill).label.lower()}"
            yield f"{kind}: no crew {name}."
    if not any(crew.size >= spec.least_size and set(spec.skills) <= set(crew.skills) for crew in crews):
        yield f"{kind}: no crew of {spec.least_size} with all of its skills."
    if spec.rig_kind and not any(spec.rig_kind in rig.kinds for rig in board.problem.rigs):
        yield f"{kind}: no {RigKind(spec.rig_kind).label.lower()} in use."
    bad = []
    for plan in board.problem.days[:14]:
        low = plan.low_f
        cold = spec.least_low_f is not None and low is not None and low < spec.least_low_f
        if plan.worked and (spec.kind in plan.blocked or (plan.rain and spec.dry) or cold):
            bad.append(f"{short_day(plan.on)} ({'rain' if plan.rain and spec.dry else 'cold'})")
    if bad:
        yield f"{kind}: not on {', '.join(bad)}."


# --- a proposed plan --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Line:
    """A phase of a proposed plan. `change` is a word: new, moved, stays."""

    phase: Phase
    crew: str
    rig: str
    when: str
    change: str
    was: str
    told: bool
    why: str


@dataclass(frozen=True, slots=True)
class TermWords:
    """A term of the objective in plain words."""

    words: str
    amount: str
    points: str


def plan_lines(board: Board, plan: Schedule) -> list[tuple[Job, list[Line]]]:
    """Phases of a plan by job, in the order in which the jobs begin."""
    why = {one.phase: board.said(one.words) for one in plan.why}
    booked = {placement.phase: placement for placement in board.placed}
    first = {board.phases[one.phase].job_id: one for one in reversed(plan.placements)}
    order = {job: number for number, job in enumerate(sorted(first, key=lambda key: _begins(first[key])))}
    rows = sorted(plan.placements, key=lambda one: (order[board.phases[one.phase].job_id], _begins(one)))
    found = []
    for _, group in groupby(rows, key=lambda one: board.phases[one.phase].job_id):
        lines = [_line(board, one, booked.get(one.phase), why.get(one.phase, "")) for one in group]
        found.append((lines[0].phase.job, lines))
    return found


def _begins(placement: Placement) -> tuple[date, int]:
    return placement.first_day, placement.parts[0].start_hour


def _line(board: Board, now: Placement, before: Placement | None, why: str) -> Line:
    phase = board.phases[now.phase]
    change = "new" if before is None else "stays" if (before.crew, before.parts) == (now.crew, now.parts) else "moved"
    told = change == "moved" and any(visit.promised for visit in board.loose.get(phase.pk, ()))
    was = "" if before is None else f"{board.names.get(before.crew, before.crew)}, {when_words(before)}"
    return Line(
        phase,
        board.names.get(now.crew, now.crew),
        board.names.get(now.rig, ""),
        when_words(now),
        change,
        was,
        told,
        why,
    )


def when_words(placement: Placement) -> str:
    """When a placement begins and ends, in words."""
    first, last = placement.parts[0], placement.parts[-1]
    if first.on == last.on:
        return f"{short_day(first.on)}, {first.start_hour}:00–{last.end_hour}:00"
    return f"{short_day(first.on)} {first.start_hour}:00 to {short_day(last.on)} {last.end_hour}:00"


UNITS = {"min": ("minute", "minutes"), "h": ("hour", "hours"), "half-days": ("half-day", "half-days")}


def term_words(plan: Schedule) -> list[TermWords]:
    """The objective in plain words: what there is of each term, and what it costs in points."""
    found = []
    for term in plan.terms:
        words, unit = TERMS[term.id]
        one, many = UNITS.get(unit, (unit.removesuffix("s"), unit))
        amount = f"{term.amount:,.0f}"
        found.append(TermWords(words, f"{amount} {one if amount == '1' else many}", f"{term.cost:,.0f}"))
    return found


def bound_words(plan: Schedule) -> str:
    """How far from the best that is possible a plan can be at most."""
    if plan.ratio is not None and plan.ratio <= 1 + 1e-6:
        return f"It has {plan.cost:,.0f} points, and it is proven that no plan has fewer."
    return f"It has {plan.cost:,.0f} points; it is proven that no plan has fewer than {max(0.0, plan.bound):,.0f}."


def left_words(board: Board, plan: Schedule) -> list[tuple[str, str]]:
    """Jobs that are not in a plan, with why."""
    jobs = {job.id: job for job in board.problem.jobs}
    return [(f"{one.job}, {jobs[one.job].name}", board.said(one.words)) for one in plan.left_out]


def removed_phases(board: Board, plan: Schedule) -> list[Phase]:
    """Phases that are booked now and would be taken off."""
    kept = {one.phase for one in plan.placements}
    return [board.phases[one.phase] for one in board.placed if one.phase not in kept]


def monday_of(day: date | None) -> date:
    """The Monday of a day's week; of this week without a day."""
    on = day or timezone.localdate()
    return on - timedelta(days=on.weekday())
