"""Every possible placement of every phase, laid out once for the solvers: who, with which kind of rig, from when.

Time is counted in hours from midnight of the first day (`day * 24 + hour`), occupied hours are bits of a whole number:
two things collide when the bits they share are not nought.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from math import asin, ceil, cos, radians, sin, sqrt

from jobs.schedule_problem import (
    FREEZING_F,
    NOON,
    WEEKDAYS,
    Crew,
    Job,
    LagDays,
    Phase,
    Placement,
    PlanDay,
    Rig,
    ScheduleProblem,
    Span,
    WorkPart,
)

EARTH_RADIUS_MI = 3958.8
"""Mean radius of the earth. [mi]"""

ROUNDING = 1e-9
FOREVER = 1 << 30


class Rule(StrEnum):
    """Rules that may keep a phase from a place; the solver can lift one to see whether it is the one that stops."""

    EARLIEST = "earliest-start"
    CUSTOMER = "customer-days"
    WEATHER = "weather"
    SKILL = "crew-skill"
    SIZE = "crew-size"
    RIG = "rig"
    ABSENCE = "absence"
    LAG = "days-between-phases"
    PIN = "pin"
    OTHERS = "other-jobs"


NOTHING: frozenset[Rule] = frozenset()


@dataclass(frozen=True, slots=True)
class Half:
    """One half-day on a crew's roster. `away`: the crew is absent."""

    day: int
    start: int
    end: int
    away: bool

    @property
    def mask(self) -> int:
        """Its hours as bits."""
        return hours_mask(self.day * 24 + self.start, self.day * 24 + self.end)


@dataclass(slots=True, eq=False)
class Option:
    """One possible placement of one phase. `beside`: for each day it fills by half, that half and the other one."""

    phase: int
    crew: int
    rig: int  # class of interchangeable rigs, -1 for none
    start: int
    end: int
    cost: float
    mask: int
    rig_mask: int
    work: bool  # half-days of crew work, not a visit
    beside: tuple[tuple[int, int], ...]
    parts: tuple[tuple[int, int, int], ...]
    hours: int


@dataclass(slots=True)
class Layout:
    """A problem laid out. `options[p]` are those of phase number p by start; `jobs[j]` numbers of its phases."""

    problem: ScheduleProblem
    phases: list[Phase]
    job_of: list[int]
    jobs: list[list[int]]
    options: list[list[Option]]
    rig_classes: list[tuple[str, ...]]
    halves: list[list[tuple[int, int]]]  # per crew: masks of both halves of each day that has two
    fair_groups: list[list[tuple[int, float]]]  # crews alike with their share of the group's hours
    worked: list[int] = field(default_factory=list)  # number of worked days up to and including each day

    def ready(self, phase: int, end: int) -> int:
        """First hour at which a phase may begin when the one before it ends at `end`."""
        spec = self.phases[phase]
        if spec.least_lag == 0:
            return end
        return self._day_after((end - 1) // 24, spec.least_lag, spec.lag_days) * 24

    def latest(self, phase: int, end: int) -> int:
        """Last hour at which a phase may begin when the one before it ends at `end`."""
        spec = self.phases[phase]
        if spec.most_lag is None:
            return FOREVER
        return self._day_after((end - 1) // 24, spec.most_lag, spec.lag_days, last=True) * 24 + 23

    def _day_after(self, day: int, lag: int, counted: LagDays, *, last: bool = False) -> int:
        if counted == LagDays.CALENDAR:
            return day + lag
        wanted = self.worked[day] + lag
        if last:  # last day on which no more than `lag` worked days have passed
            return max((d for d, n in enumerate(self.worked) if n <= wanted), default=day)
        return next((d for d, n in enumerate(self.worked) if n >= wanted), len(self.worked) + lag)


def hours_mask(start: int, end: int) -> int:
    """Bits start to end - 1."""
    return (1 << end) - (1 << start)


def one_way_minutes(problem: ScheduleProblem, crew: Crew, job: Job) -> float:
    """Driving time from a crew's base to a house: great circle x road factor / mean speed. [min]"""
    lat1, lon1, lat2, lon2 = map(radians, (crew.lat, crew.lon, job.lat, job.lon))
    half = sin((lat2 - lat1) / 2) ** 2 + cos(lat1) * cos(lat2) * sin((lon2 - lon1) / 2) ** 2
    miles = 2 * EARTH_RADIUS_MI * asin(min(1.0, sqrt(half)))
    return miles * problem.road_factor / problem.miles_per_hour * 60


def lay_out(
    problem: ScheduleProblem, *, only: Collection[str] | None = None, lifted: frozenset[Rule] = NOTHING
) -> Layout:
    """Lay out a problem, of its jobs only those with the given ids, with some rules lifted."""
    layout = Layout(problem, [], [], [], [], _rig_classes(problem), [], _fair_groups(problem))
    total = 0
    for plan in problem.days:
        total += plan.worked
        layout.worked.append(total)
    rosters = [roster(problem, crew, lifted) for crew in problem.crews]
    for crew_halves in rosters:
        by_day: dict[int, list[int]] = {}
        for half in crew_halves:
            if not half.away:
                by_day.setdefault(half.day, []).append(half.mask)
        layout.halves.append([(both[0], both[1]) for both in by_day.values() if len(both) == 2])
    for number, job in enumerate(job for job in problem.jobs if only is None or job.id in only):
        layout.jobs.append([])
        for phase in job.phases:
            index = len(layout.phases)
            layout.phases.append(phase)
            layout.job_of.append(number)
            layout.jobs[number].append(index)
            found = list(_options(layout, rosters, job, phase, index, lifted))
            found.sort(key=lambda option: (option.start, option.cost, option.crew, option.rig))
            layout.options.append(found)
    return layout


def _rig_classes(problem: ScheduleProblem) -> list[tuple[str, ...]]:
    """Rigs that can stand in for each other; one that a crew drives alone stands for itself."""
    driven = {crew.rig for crew in problem.crews if crew.rig}
    classes: dict[object, list[str]] = {}
    for rig in problem.rigs:
        key: object = rig.id if rig.id in driven else (frozenset(rig.kinds), rig.absences)
        classes.setdefault(key, []).append(rig.id)
    return [tuple(ids) for ids in classes.values()]


def _fair_groups(problem: ScheduleProblem) -> list[list[tuple[int, float]]]:
    """Crews of the same skills and size, each with its share of the hours they are there."""
    groups: dict[object, list[tuple[int, int]]] = {}
    for index, crew in enumerate(problem.crews):
        there = sum(half.end - half.start for half in roster(problem, crew) if not half.away)
        groups.setdefault((frozenset(crew.skills), crew.size), []).append((index, there))
    shared = []
    for members in groups.values():
        total = sum(hours for _, hours in members)
        if len(members) > 1 and total:
            shared.append([(index, hours / total) for index, hours in members])
    return shared


def roster(problem: ScheduleProblem, crew: Crew, lifted: frozenset[Rule] = NOTHING) -> list[Half]:
    """Half-days of a crew in order. Days off leave none; days absent leave some marked `away`."""
    other = {hours.on: hours for hours in crew.other_hours}
    found = []
    for index, plan in enumerate(problem.days):
        if not plan.worked or (WEEKDAYS[plan.on.weekday()] not in crew.weekdays and plan.on not in other):
            continue
        hours = other.get(plan.on, crew)
        away = Rule.ABSENCE not in lifted and inside(plan.on, crew.absences)
        for start, end in (
            (hours.start_hour, min(NOON, hours.end_hour)),
            (max(NOON, hours.start_hour), hours.end_hour),
        ):
            if end > start:
                found.append(Half(index, start, end, away))
    return found


def inside(on: date, spans: Iterable[Span]) -> bool:
    """Whether a day lies in one of the spans."""
    return any(span.first <= on <= span.last for span in spans)


def weather_stops(problem: ScheduleProblem, phase: Phase, days: Collection[int]) -> str:
    """Why the weather forbids a phase on these days (numbers), empty where it does not."""
    for index in sorted(days):
        if why := day_stops(problem.days[index], phase):
            return f"{problem.days[index].on}: {why}"
    last = max(days)
    for plan in problem.days[last + 1 : last + 1 + phase.frost_free_days]:
        if plan.low_f is not None and plan.low_f <= FREEZING_F:
            return f"{plan.on}: forecast low of {plan.low_f:g} degF before it is dry"
    return ""


def day_stops(plan: PlanDay, phase: Phase) -> str:
    """Why the weather of one day forbids a phase, empty where it does not."""
    if phase.kind in plan.blocked:
        return plan.why or f"no {phase.kind} that day"
    if phase.dry and plan.rain:
        return "rain"
    if phase.least_low_f is not None and plan.low_f is not None and plan.low_f < phase.least_low_f:
        return f"forecast low of {plan.low_f:g} degF, at least {phase.least_low_f:g} degF wanted"
    return ""


# --- options of a phase -----------------------------------------------------------------------------------------------


def able(crew: Crew, phase: Phase, lifted: frozenset[Rule] = NOTHING) -> bool:
    """Whether a crew may do a phase at all: skills, people and pin."""
    return (
        (Rule.SKILL in lifted or set(phase.skills) <= set(crew.skills))
        and (Rule.SIZE in lifted or crew.size >= phase.least_size)
        and (Rule.PIN in lifted or not phase.pinned_crew or phase.pinned_crew == crew.id)
    )


def _options(
    layout: Layout, rosters: list[list[Half]], job: Job, phase: Phase, index: int, lifted: frozenset[Rule]
) -> Iterator[Option]:
    problem = layout.problem
    blocked = _blocked_days(problem, job, phase, lifted)
    is_last = phase is job.phases[-1]
    promised = next((told for told in problem.promised if told.phase == phase.id), None)
    for crew_index, crew in enumerate(problem.crews):
        if not able(crew, phase, lifted):
            continue
        travel = 2 * one_way_minutes(problem, crew, job)
        rigs = list(_rigs(layout, crew, phase, lifted))
        shapes = (
            _visits(rosters[crew_index], ceil(phase.hours + travel / 60 - ROUNDING))
            if phase.visit
            else _runs(rosters[crew_index], phase.hours / crew.size, blocked)
        )
        for parts in shapes:
            days = {day for day, _, _ in parts}
            start = parts[0][0] * 24 + parts[0][1]
            if days & blocked or not _may_begin(problem, phase, parts[0], lifted):
                continue
            if Rule.WEATHER not in lifted and phase.frost_free_days and weather_stops(problem, phase, days):
                continue
            end = parts[-1][0] * 24 + parts[-1][2]
            cost = problem.weights.travel_minute * travel * len(days) + _change(problem, promised, crew, parts)
            if is_last:
                cost += finish_cost(problem, job, problem.days[parts[-1][0]].on)
            mask = 0
            for day, first, last in parts:
                mask |= hours_mask(day * 24 + first, day * 24 + last)
            # A rig stays with its phase from the first hour to the last: so its use is an interval, and intervals of
            # which never more than n meet can always be shared out among n rigs.
            rig_mask = hours_mask(start, end)
            beside = tuple(_beside(rosters[crew_index], parts, mask))
            hours = sum(last - first for _, first, last in parts)
            for rig in rigs:
                if rig >= 0 and Rule.ABSENCE not in lifted and _rig_away(layout, rig, days):
                    continue
                yield Option(
                    index, crew_index, rig, start, end, cost, mask, rig_mask if rig >= 0 else 0,
                    not phase.visit, beside, parts, hours,
                )  # fmt: skip


def _blocked_days(problem: ScheduleProblem, job: Job, phase: Phase, lifted: frozenset[Rule]) -> set[int]:
    return {
        index
        for index, plan in enumerate(problem.days)
        if (Rule.CUSTOMER not in lifted and inside(plan.on, job.away))
        or (Rule.WEATHER not in lifted and day_stops(plan, phase))
        or (
            Rule.EARLIEST not in lifted
            and plan.on < max(day for day in (job.earliest, phase.not_before, date.min) if day is not None)
        )
    }


def _may_begin(problem: ScheduleProblem, phase: Phase, part: tuple[int, int, int], lifted: frozenset[Rule]) -> bool:
    on = problem.days[part[0]].on
    if Rule.EARLIEST not in lifted and phase.not_after is not None and on > phase.not_after:
        return False
    if Rule.PIN in lifted:
        return True
    return (phase.pinned_day is None or on == phase.pinned_day) and (
        phase.pinned_hour is None or part[1] == phase.pinned_hour
    )


def _rigs(layout: Layout, crew: Crew, phase: Phase, lifted: frozenset[Rule]) -> Iterator[int]:
    if not phase.rig_kind or Rule.RIG in lifted:
        yield -1
        return
    known = {rig.id: rig for rig in layout.problem.rigs}
    driven = {other.rig for other in layout.problem.crews if other.rig}
    for index, ids in enumerate(layout.rig_classes):
        mine = ids[0] == crew.rig if crew.rig else ids[0] not in driven
        if mine and phase.rig_kind in known[ids[0]].kinds:
            yield index


def _rig_away(layout: Layout, rig: int, days: Collection[int]) -> bool:
    spec: Rig = next(rig_ for rig_ in layout.problem.rigs if rig_.id == layout.rig_classes[rig][0])
    return bool(spec.absences) and any(inside(layout.problem.days[day].on, spec.absences) for day in days)


def _runs(halves: list[Half], hours: float, blocked: Collection[int]) -> Iterator[tuple[tuple[int, int, int], ...]]:
    """Runs of half-days on a roster, without a break, that hold the hours; parts of one day are joined."""
    for first in range(len(halves)):
        parts: list[tuple[int, int, int]] = []
        left = hours
        for half in halves[first:]:
            if half.away or half.day in blocked:
                break
            if parts and parts[-1][0] == half.day:
                parts[-1] = (half.day, parts[-1][1], half.end)
            else:
                parts.append((half.day, half.start, half.end))
            left -= half.end - half.start
            if left <= ROUNDING:
                yield tuple(parts)
                break


def _visits(halves: list[Half], hours: int) -> Iterator[tuple[tuple[int, int, int], ...]]:
    """Every run of so many hours inside one day of a roster."""
    days: dict[int, tuple[int, int]] = {}
    for half in halves:
        if not half.away:
            days[half.day] = (min(half.start, days.get(half.day, (half.start, 0))[0]), half.end)
    for day, (first, last) in days.items():
        for start in range(first, last - hours + 1):
            yield ((day, start, start + hours),)


def _beside(halves: list[Half], parts: tuple[tuple[int, int, int], ...], mask: int) -> Iterator[tuple[int, int]]:
    wanted = {day for day, _, _ in parts}
    by_day: dict[int, list[Half]] = {}
    for half in halves:
        if half.day in wanted and not half.away:
            by_day.setdefault(half.day, []).append(half)
    for both in by_day.values():
        if len(both) == 2:
            touched = [bool(half.mask & mask) for half in both]
            if touched == [True, False]:
                yield both[0].mask, both[1].mask
            elif touched == [False, True]:
                yield both[1].mask, both[0].mask


def _change(
    problem: ScheduleProblem, promised: Placement | None, crew: Crew, parts: tuple[tuple[int, int, int], ...]
) -> float:
    if promised is None:
        return 0.0
    begins = (problem.days[parts[0][0]].on, parts[0][1])
    moved = begins != (promised.first_day, promised.parts[0].start_hour)
    return problem.weights.moved_phase * moved + problem.weights.other_crew * (crew.id != promised.crew)


def finish_cost(problem: ScheduleProblem, job: Job, last_day: date) -> float:
    """Cost of finishing a job on a day: days late and days waited, times its weight."""
    late = max(0, (last_day - job.due).days) if job.due is not None else 0
    begun = max(job.earliest or date.min, problem.days[0].on)
    return job.weight * (
        problem.weights.late_day * late + problem.weights.waiting_day * max(0, (last_day - begun).days)
    )


def placement_of(layout: Layout, option: Option, rig: str) -> Placement:
    """An option as a placement, with the rig it was given."""
    problem = layout.problem
    parts = tuple(WorkPart(problem.days[day].on, first, last) for day, first, last in option.parts)
    return Placement(layout.phases[option.phase].id, problem.crews[option.crew].id, parts, rig)
