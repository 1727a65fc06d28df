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


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """Hours a phase may take on one crew's roster. `beside`: each day filled by half, as that half and the other."""

    parts: tuple[tuple[int, int, int], ...]  # day, first hour, hour at which it ends
    start: int
    end: int
    mask: int
    days: int  # bits of the days worked
    hours: int
    beside: tuple[tuple[int, int], ...]


@dataclass(slots=True, eq=False)
class Option:
    """One possible placement of one phase. What the solvers ask for most stands here a second time."""

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
    price: float = 0.0  # what the crew and rig hours it takes are worth to others, once the relaxation has told


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
    rosters: list[list[Half]] = field(default_factory=list)
    shapes: dict[tuple[int, int, bool], list[Shape]] = field(default_factory=dict)
    lifted: frozenset[Rule] = NOTHING

    def ready(self, phase: int, end: int) -> int:
        """First hour at which a phase may begin when the one before it ends at `end`."""
        spec = self.phases[phase]
        if spec.least_lag == 0 or Rule.LAG in self.lifted:
            return end
        return self._day_after((end - 1) // 24, spec.least_lag, spec.lag_days) * 24

    def latest(self, phase: int, end: int) -> int:
        """Last hour at which a phase may begin when the one before it ends at `end`."""
        spec = self.phases[phase]
        if spec.most_lag is None or Rule.LAG in self.lifted:
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
    layout.lifted = lifted
    total = 0
    for plan in problem.days:
        total += plan.worked
        layout.worked.append(total)
    layout.rosters = [roster(problem, crew, lifted) for crew in problem.crews]
    for crew_halves in layout.rosters:
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
            found = list(_options(layout, job, phase, index, lifted))
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


def _options(layout: Layout, job: Job, phase: Phase, index: int, lifted: frozenset[Rule]) -> Iterator[Option]:
    problem = layout.problem
    blocked = _bits(_blocked_days(problem, job, phase, lifted))
    begin_days = _bits(_begin_days(problem, phase, lifted))
    hour = None if Rule.PIN in lifted else phase.pinned_hour
    frozen = set() if Rule.WEATHER in lifted else _frozen_ends(problem, phase)
    last_phase = phase is job.phases[-1]
    finish = [finish_cost(problem, job, plan.on) if last_phase else 0.0 for plan in problem.days]
    promised = next((told for told in problem.promised if told.phase == phase.id), None)
    for crew_index, crew in enumerate(problem.crews):
        if not able(crew, phase, lifted):
            continue
        travel = 2 * one_way_minutes(problem, crew, job)
        hours = phase.hours + travel / 60 if phase.visit else phase.hours / crew.size
        for rig in _rigs(layout, crew, phase, lifted):
            rig_away = _bits(_rig_away(layout, rig, lifted)) | blocked
            for shape in shapes(layout, crew_index, ceil(hours - ROUNDING), phase.visit):
                day, first, _ = shape.parts[0]
                last = shape.parts[-1][0]
                if shape.days & rig_away or not begin_days >> day & 1 or last in frozen:
                    continue
                if hour is not None and first != hour:
                    continue
                cost = problem.weights.travel_minute * travel * len(shape.parts) + finish[last]
                if promised is not None:
                    cost += _change(problem, promised, crew, shape.parts)
                # A rig stays with its phase from the first hour to the last: so its use is an interval, and intervals
                # of which never more than n meet can always be shared out among n rigs.
                rig_mask = hours_mask(shape.start, shape.end) if rig >= 0 else 0
                yield Option(
                    index, crew_index, rig, shape.start, shape.end, cost, shape.mask, rig_mask,
                    not phase.visit, shape.beside, shape.parts, shape.hours,
                )  # fmt: skip


def _bits(days: Iterable[int]) -> int:
    return sum(1 << day for day in set(days))


def _begin_days(problem: ScheduleProblem, phase: Phase, lifted: frozenset[Rule]) -> Iterator[int]:
    """Days on which a phase may begin as far as its last day and its pin go."""
    for index, plan in enumerate(problem.days):
        late = Rule.EARLIEST not in lifted and phase.not_after is not None and plan.on > phase.not_after
        elsewhere = Rule.PIN not in lifted and phase.pinned_day is not None and plan.on != phase.pinned_day
        if not late and not elsewhere:
            yield index


def _frozen_ends(problem: ScheduleProblem, phase: Phase) -> set[int]:
    """Days on which a phase may not end, because what it leaves would freeze before it is dry."""
    return {
        day
        for index, plan in enumerate(problem.days)
        if plan.low_f is not None and plan.low_f <= FREEZING_F
        for day in range(index - phase.frost_free_days, index)
    }


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


def rigs_for(problem: ScheduleProblem, crew: Crew, phase: Phase) -> list[str]:
    """Rigs that a crew may drive for a phase, by id."""
    driven = {other.rig for other in problem.crews if other.rig}
    return [
        rig.id
        for rig in problem.rigs
        if phase.rig_kind in rig.kinds and (rig.id == crew.rig if crew.rig else rig.id not in driven)
    ]


def _rig_away(layout: Layout, rig: int, lifted: frozenset[Rule]) -> Iterator[int]:
    """Days on which a class of rigs is not to be had."""
    if rig < 0 or Rule.ABSENCE in lifted:
        return
    absences = next(spec.absences for spec in layout.problem.rigs if spec.id == layout.rig_classes[rig][0])
    yield from (index for index, plan in enumerate(layout.problem.days) if inside(plan.on, absences))


def shapes(layout: Layout, crew: int, hours: int, visit: bool) -> list[Shape]:
    """Every way to take so many hours on a crew's roster; as half-days are whole hours, so may be the hours asked."""
    known = layout.shapes.get((crew, hours, visit))
    if known is None:
        halves = layout.rosters[crew]
        by_day: dict[int, list[int]] = {}
        for half in halves:
            if not half.away:
                by_day.setdefault(half.day, []).append(half.mask)
        known = [_shape(parts, by_day) for parts in (_visits if visit else _runs)(halves, hours)]
        layout.shapes[crew, hours, visit] = known
    return known


def _shape(parts: tuple[tuple[int, int, int], ...], by_day: dict[int, list[int]]) -> Shape:
    mask = 0
    for day, first, last in parts:
        mask |= hours_mask(day * 24 + first, day * 24 + last)
    beside = []
    for day, _, _ in parts:
        both = by_day.get(day, [])
        if len(both) == 2:
            touched = [bool(half & mask) for half in both]
            if touched != [True, True]:
                beside.append((both[0], both[1]) if touched[0] else (both[1], both[0]))
    return Shape(
        parts,
        parts[0][0] * 24 + parts[0][1],
        parts[-1][0] * 24 + parts[-1][2],
        mask,
        _bits(day for day, _, _ in parts),
        sum(last - first for _, first, last in parts),
        tuple(beside),
    )


def _runs(halves: list[Half], hours: int) -> Iterator[tuple[tuple[int, int, int], ...]]:
    """Runs of half-days on a roster, without a break, that hold the hours; parts of one day are joined."""
    for first in range(len(halves)):
        parts: list[tuple[int, int, int]] = []
        left = hours
        for half in halves[first:]:
            if half.away:
                break
            if parts and parts[-1][0] == half.day:
                parts[-1] = (half.day, parts[-1][1], half.end)
            else:
                parts.append((half.day, half.start, half.end))
            left -= half.end - half.start
            if left <= 0:
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
