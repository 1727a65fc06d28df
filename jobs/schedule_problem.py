"""What there is to plan, and a plan: crews, rigs, days, jobs with their phases in order; placements and what they cost.

Frozen records with a JSON form both ways (`estimates.records`). Plain Python: no rows, no web framework.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import pairwise
from typing import Any

from estimates.records import (
    CODE_PATTERN,
    BadRecord,
    Fault,
    choice,
    code,
    codes,
    day,
    flag,
    load_json,
    many,
    number,
    one,
    read_record,
    text,
    whole,
    write_record,
)

NOON = 12
"""Hour that parts a crew's day into its two half-days."""

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
"""Names of weekdays, in the order of `date.weekday`."""

FREEZING_F = 32.0


class LagDays(StrEnum):
    """How the days between two phases are counted."""

    CALENDAR = "calendar"
    WORKING = "working"


@dataclass(frozen=True, slots=True)
class Span:
    """Days on which somebody or something is not to be had, first and last day included."""

    first: date = day("first day")
    last: date = day("last day")
    why: str = text("reason in words, shown to the scheduler", default="")


@dataclass(frozen=True, slots=True)
class PlanDay:
    """One day of the horizon with its weather."""

    on: date = day("the day")
    worked: bool = flag("whether the firm works that day; false on weekends and holidays", default=True)
    low_f: float | None = number(
        "degF", "lowest temperature forecast, left out where unknown", low=-80, high=150, default=None
    )
    rain: bool = flag("whether rain is forecast in working hours", default=False)
    blocked: tuple[str, ...] = codes("kinds of phases that the weather or the office forbids that day", default=())
    why: str = text("why the day is closed or blocked, in words", default="")


@dataclass(frozen=True, slots=True)
class CrewHours:
    """Other hours of a crew on one day."""

    on: date = day("the day")
    start_hour: int = whole("first hour worked", unit="h", low=0, high=23)
    end_hour: int = whole("hour at which work ends", unit="h", low=1, high=24)


@dataclass(frozen=True, slots=True)
class Crew:
    """People who go out together. Hours of the day are whole; noon parts them into half-days."""

    id: str = code("id of the crew")
    name: str = text("name on the page", default="")
    lat: float = number("deg", "latitude of the crew's home base", low=-90, high=90, default=0.0)
    lon: float = number("deg", "longitude of the crew's home base", low=-180, high=180, default=0.0)
    size: int = whole("people", unit="people", low=1, high=20, default=2)
    skills: tuple[str, ...] = codes("skills and valid certificates", default=())
    weekdays: tuple[str, ...] = codes("weekdays worked: mon tue wed thu fri sat sun", default=WEEKDAYS[:5])
    start_hour: int = whole("first hour worked", unit="h", low=0, high=23, default=8)
    end_hour: int = whole("hour at which work ends", unit="h", low=1, high=24, default=16)
    other_hours: tuple[CrewHours, ...] = many(CrewHours, "days with other hours than usual")
    absences: tuple[Span, ...] = many(Span, "days on which the crew does not work")
    rig: str = text("id of the rig that only this crew drives; it drives no other then", default="")


@dataclass(frozen=True, slots=True)
class Rig:
    """A truck or trailer with what a phase needs; it is at one place at a time."""

    id: str = code("id of the rig")
    name: str = text("name on the page", default="")
    kinds: tuple[str, ...] = codes("what it can be used as: foam, blower, ...", default=())
    absences: tuple[Span, ...] = many(Span, "days in the workshop")


@dataclass(frozen=True, slots=True)
class Phase:
    """One phase of a job. A visit takes whole hours with its travel; other phases take whole half-days in a row."""

    id: str = code("id of the phase, unique among all jobs")
    kind: str = text("kind of work, as days block it: inject, close-up, ...", pattern=CODE_PATTERN, max_length=40)
    hours: float = number("h", "person-hours of work; for a visit the hours on site", above=0, high=2000)
    visit: bool = flag("a short visit: takes its hours and the travel there and back only", default=False)
    least_size: int = whole("least number of people", unit="people", low=1, high=20, default=1)
    skills: tuple[str, ...] = codes("skills the crew must have", default=())
    rig_kind: str = text("kind of rig needed, empty for none", default="")
    least_lag: int = whole("least days after the phase before", unit="day", low=0, high=400, default=0)
    most_lag: int | None = whole("most days after the phase before", unit="day", low=0, high=400, default=None)
    lag_days: LagDays = choice(LagDays, "how both lags are counted", default=LagDays.CALENDAR)
    dry: bool = flag("whether rain forbids it", default=False)
    least_low_f: float | None = number(
        "degF", "least forecast low on each day of work", low=-80, high=150, default=None
    )
    frost_free_days: int = whole(
        "days after the last day of work whose forecast low must stay above freezing",
        unit="day",
        low=0,
        high=60,
        default=0,
    )
    not_before: date | None = day("first day allowed, where a gate holds this phase only", default=None)
    not_after: date | None = day("last day allowed to begin", default=None)
    pinned_crew: str = text("crew it must stay with", default="")
    pinned_day: date | None = day("day on which it must begin", default=None)
    pinned_hour: int | None = whole("hour at which it must begin", unit="h", low=0, high=23, default=None)


@dataclass(frozen=True, slots=True)
class Job:
    """A job ready to plan, all of whose phases are planned or none."""

    id: str = code("id of the job")
    phases: tuple[Phase, ...] = many(Phase, "phases in their order", min_items=1)
    name: str = text("name on the page", default="")
    lat: float = number("deg", "latitude of the house", low=-90, high=90, default=0.0)
    lon: float = number("deg", "longitude of the house", low=-180, high=180, default=0.0)
    earliest: date | None = day("first day all start gates allow", default=None)
    gate: str = text("name of the gate that decides the earliest day", default="")
    due: date | None = day("day by which it should be finished", default=None)
    weight: float = number("1", "how much its days count", above=0, high=1000, default=1.0)
    away: tuple[Span, ...] = many(Span, "days on which the customer cannot have us")


@dataclass(frozen=True, slots=True)
class WorkPart:
    """Hours of one day that a placement takes."""

    on: date = day("the day")
    start_hour: int = whole("first hour taken", unit="h", low=0, high=23)
    end_hour: int = whole("hour at which it ends", unit="h", low=1, high=24)


@dataclass(frozen=True, slots=True)
class Placement:
    """Who does a phase with which rig, and the hours it takes on each day."""

    phase: str = code("id of the phase")
    crew: str = code("id of the crew")
    parts: tuple[WorkPart, ...] = many(WorkPart, "hours taken, in order", min_items=1)
    rig: str = text("id of the rig, empty for none", default="")

    @property
    def first_day(self) -> date:
        """Day on which it begins."""
        return self.parts[0].on

    @property
    def last_day(self) -> date:
        """Day on which it ends."""
        return self.parts[-1].on

    @property
    def slots(self) -> tuple[tuple[date, int], ...]:
        """Every day and hour taken, as one resource's bookings are stored."""
        return tuple((part.on, hour) for part in self.parts for hour in range(part.start_hour, part.end_hour))


@dataclass(frozen=True, slots=True)
class ScheduleWeights:
    """What each unit of each term costs, in points; a point is a minute of travel by default."""

    travel_minute: float = number("1/min", "a minute of travel", low=0, high=1e6, default=1.0)
    late_day: float = number("1/day", "a day late, times the job's weight", low=0, high=1e6, default=60.0)
    unscheduled: float = number("1", "a job left out, times its weight", low=0, high=1e7, default=3000.0)
    idle_half_day: float = number("1", "a half-day left empty beside a worked one", low=0, high=1e6, default=40.0)
    moved_phase: float = number("1", "a promised phase on another day or hour", low=0, high=1e6, default=240.0)
    other_crew: float = number("1", "a promised phase with another crew", low=0, high=1e6, default=60.0)
    unfair_hour: float = number("1/h", "an hour above the fair share of crews alike", low=0, high=1e6, default=2.0)
    waiting_day: float = number(
        "1/day", "a day between earliest start and finish, times weight", low=0, high=1e6, default=1.0
    )


@dataclass(frozen=True, slots=True)
class ScheduleProblem:
    """Everything a plan is made from."""

    days: tuple[PlanDay, ...] = many(PlanDay, "days of the horizon, in order", min_items=1)
    crews: tuple[Crew, ...] = many(Crew, "crews")
    rigs: tuple[Rig, ...] = many(Rig, "rigs")
    jobs: tuple[Job, ...] = many(Job, "jobs")
    promised: tuple[Placement, ...] = many(Placement, "what customers and crews have been told already")
    weights: ScheduleWeights = one(ScheduleWeights, "what each term costs", default=ScheduleWeights())
    miles_per_hour: float = number("mi/h", "mean speed on the road", above=0, high=100, default=30.0)
    road_factor: float = number("1", "road distance over great-circle distance", low=1, high=5, default=1.3)

    def phases(self) -> Iterator[tuple[Job, Phase]]:
        """Every phase with its job."""
        for job in self.jobs:
            for phase in job.phases:
                yield job, phase


TERMS = {
    "unscheduled": ("Jobs left out", "jobs"),
    "late": ("Days late", "days"),
    "travel": ("Travel", "min"),
    "idle": ("Half-days left empty on days a crew is out", "half-days"),
    "changes": ("Changes to what is already promised", "changes"),
    "unfair": ("Hours above the fair share of crews alike", "h"),
    "waiting": ("Days from earliest start to finish", "days"),
}
"""Terms of the objective: id -> words and unit."""


@dataclass(frozen=True, slots=True)
class Term:
    """One term of the objective: how much of it there is and what that costs."""

    id: str = code("id of the term")
    amount: float = number("", "amount in the unit of the term")
    cost: float = number("", "points")


@dataclass(frozen=True, slots=True)
class SolverRun:
    """What one solver did."""

    solver: str = text("which solver")
    status: str = text("what it reported, in words")
    seconds: float = number("s", "time taken", default=0.0)
    cost: float | None = number("", "cost after it", default=None)


@dataclass(frozen=True, slots=True)
class Why:
    """Why a phase lands where it does."""

    phase: str = code("id of the phase")
    rule: str = text("rule that keeps it from beginning earlier")
    words: str = text("the same as a sentence", max_length=600)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A job that is not in the plan, and the rules that stop it."""

    job: str = code("id of the job")
    rules: tuple[str, ...] = codes("rules each of which, lifted alone, would let it in", default=())
    words: str = text("the same as a sentence", max_length=600, default="")


@dataclass(frozen=True, slots=True)
class Schedule:
    """A plan that has passed the independent check. `bound`: no plan of this problem can cost less."""

    placements: tuple[Placement, ...] = many(Placement, "placements, by first hour and crew")
    terms: tuple[Term, ...] = many(Term, "terms of the objective")
    left_out: tuple[LeftOut, ...] = many(LeftOut, "jobs that are not in the plan")
    why: tuple[Why, ...] = many(Why, "why each phase lands where it does")
    bound: float = number("", "no plan costs less than this", default=0.0)
    bound_from: str = text("what proves the bound", default="")
    runs: tuple[SolverRun, ...] = many(SolverRun, "what each solver did")
    seed: int = whole("seed of the random numbers", default=0)

    @property
    def cost(self) -> float:
        """Cost of the plan: the sum of its terms."""
        return sum(term.cost for term in self.terms)

    @property
    def ratio(self) -> float | None:
        """Cost over bound, 1 for a proven best plan; None where the bound is nought."""
        return self.cost / self.bound if self.bound > 0 else None

    def placement(self, phase: str) -> Placement | None:
        """Placement of a phase, None where its job is left out."""
        return next((placement for placement in self.placements if placement.phase == phase), None)


# --- JSON form and cross-checks ---------------------------------------------------------------------------------------


def problem_from_json(source: str) -> ScheduleProblem:
    """Read a problem.

    Raises
    ------
    BadRecord : every fault with its path and what to enter.
    """
    problem = read_record(ScheduleProblem, load_json(source))
    check_problem(problem)
    return problem


def schedule_from_json(source: str) -> Schedule:
    """Read a schedule; whether it keeps the rules of a problem is `jobs.scheduling.check_schedule`'s business."""
    return read_record(Schedule, load_json(source))


def json_form(record: ScheduleProblem | Schedule) -> dict[str, Any]:
    """JSON form of a problem or a schedule; the readers above take it back unchanged."""
    return write_record(record)


def check_problem(problem: ScheduleProblem) -> None:
    """Refuse a problem whose parts do not fit together.

    Raises
    ------
    BadRecord : every fault with its path and what to enter.
    """
    faults = [*_day_faults(problem), *_crew_faults(problem), *_job_faults(problem), *_promised_faults(problem)]
    if faults:
        raise BadRecord(faults)


def _day_faults(problem: ScheduleProblem) -> Iterator[Fault]:
    days = [plan.on for plan in problem.days]
    if not days:
        yield Fault("$.days", "no day to plan; enter at least one")
    for index, (before, after) in enumerate(pairwise(days), 1):
        if (after - before).days != 1:
            yield Fault(f"$.days[{index}].on", f"{after} does not follow {before}; enter every day, closed ones too")


def _span_faults(path: str, spans: tuple[Span, ...]) -> Iterator[Fault]:
    for index, span in enumerate(spans):
        if span.last < span.first:
            yield Fault(f"{path}[{index}].last", f"{span.last} lies before {span.first}; enter the last day")


def _crew_faults(problem: ScheduleProblem) -> Iterator[Fault]:
    rigs = {rig.id for rig in problem.rigs}
    drivers: dict[str, str] = {}
    for index, crew in enumerate(problem.crews):
        path = f"$.crews[{index}]"
        yield from _span_faults(f"{path}.absences", crew.absences)
        for field, hours in [(path, crew), *((f"{path}.other_hours[{i}]", h) for i, h in enumerate(crew.other_hours))]:
            if hours.end_hour <= hours.start_hour:  # type: ignore[attr-defined]
                yield Fault(f"{field}.end_hour", "not after start_hour; enter a later hour")
        for weekday in crew.weekdays:
            if weekday not in WEEKDAYS:
                yield Fault(f"{path}.weekdays", f"{weekday!r} is no weekday; enter some of {', '.join(WEEKDAYS)}")
        if crew.rig and crew.rig not in rigs:
            yield Fault(
                f"{path}.rig", f"there is no rig {crew.rig!r}; enter one of {', '.join(sorted(rigs)) or 'none'}"
            )
        if crew.rig and crew.rig in drivers:
            yield Fault(f"{path}.rig", f"{crew.rig!r} is driven by {drivers[crew.rig]} already; enter another")
        drivers[crew.rig] = crew.id
    for index, rig in enumerate(problem.rigs):
        yield from _span_faults(f"$.rigs[{index}].absences", rig.absences)


def _job_faults(problem: ScheduleProblem) -> Iterator[Fault]:
    crews = {crew.id for crew in problem.crews}
    seen: set[str] = set()
    for number_, job in enumerate(problem.jobs):
        yield from _span_faults(f"$.jobs[{number_}].away", job.away)
        if not job.phases:
            yield Fault(f"$.jobs[{number_}].phases", "no phase; enter at least one")
        for index, phase in enumerate(job.phases):
            path = f"$.jobs[{number_}].phases[{index}]"
            if phase.id in seen:
                yield Fault(f"{path}.id", f"the id {phase.id!r} stands twice; enter another")
            seen.add(phase.id)
            if phase.most_lag is not None and phase.most_lag < phase.least_lag:
                yield Fault(f"{path}.most_lag", f"below least_lag {phase.least_lag}; enter at least that")
            if phase.visit and phase.rig_kind:
                yield Fault(f"{path}.rig_kind", "a visit drives no rig; leave it out or plan half-days")
            if phase.pinned_crew and phase.pinned_crew not in crews:
                yield Fault(f"{path}.pinned_crew", f"there is no crew {phase.pinned_crew!r}; enter one of the crews")


def _promised_faults(problem: ScheduleProblem) -> Iterator[Fault]:
    known = {phase.id for _, phase in problem.phases()}
    seen: set[str] = set()
    for index, placement in enumerate(problem.promised):
        path = f"$.promised[{index}]"
        if placement.phase not in known:
            yield Fault(f"{path}.phase", f"there is no phase {placement.phase!r}; enter one of the jobs' phases")
        if placement.phase in seen:
            yield Fault(f"{path}.phase", f"{placement.phase!r} is promised twice; keep one")
        seen.add(placement.phase)
        if not placement.parts:
            yield Fault(f"{path}.parts", "no hours; enter at least one part")
