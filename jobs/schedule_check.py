"""Whether a schedule keeps every rule of its problem and costs what it says: written apart from the solvers.

Nothing here is shared with them but the records; roster, travel, weather and cost are worked out a second time, hour by
hour.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from jobs.schedule_problem import (
    Crew,
    CrewHours,
    Job,
    LagDays,
    Phase,
    Placement,
    PlanDay,
    Schedule,
    ScheduleProblem,
    Span,
)

COST_TOLERANCE = 1e-6
"""Relative; both sides add the same few thousand floats in another order."""


_ISO_DAYS = {"mon": 1, "tue": 2, "wed": 3, "thu": 4, "fri": 5, "sat": 6, "sun": 7}


@dataclass(frozen=True, slots=True)
class ScheduleFault:
    """One rule broken: which, by which phase or job, and in words."""

    rule: str
    about: str
    words: str

    def __str__(self) -> str:
        return f"{self.about}: {self.words}"


def check_schedule(problem: ScheduleProblem, schedule: Schedule) -> tuple[ScheduleFault, ...]:
    """Every rule that a schedule breaks, none for a good one.

    Parameters
    ----------
    problem : what it was made from.
    schedule : the schedule; its terms are checked where it has any, its bound against its cost.

    Returns
    -------
    tuple of ScheduleFault : rule, phase or job, sentence.
    """
    faults = list(placement_faults(problem, schedule.placements))
    if not faults and schedule.terms:
        faults += _term_faults(problem, schedule)
    return tuple(faults)


def placement_faults(problem: ScheduleProblem, placements: Iterable[Placement]) -> Iterator[ScheduleFault]:
    """Every rule that placements break."""
    placed: dict[str, Placement] = {}
    owners = {phase.id: (job, phase) for job in problem.jobs for phase in job.phases}
    crews = {crew.id: crew for crew in problem.crews}
    for placement in placements:
        if placement.phase not in owners:
            yield ScheduleFault("unknown", placement.phase, "there is no such phase")
        elif placement.crew not in crews:
            yield ScheduleFault("unknown", placement.phase, f"there is no crew {placement.crew}")
        elif placement.phase in placed:
            yield ScheduleFault("twice", placement.phase, "is placed twice")
        else:
            placed[placement.phase] = placement
    for job in problem.jobs:
        here = [phase for phase in job.phases if phase.id in placed]
        if 0 < len(here) < len(job.phases):
            yield ScheduleFault("whole-job", job.id, f"only {len(here)} of {len(job.phases)} phases are placed")
        for phase in here:
            yield from _one_placement(problem, crews[placed[phase.id].crew], job, phase, placed[phase.id])
        for before, after in pairwise(job.phases):
            if before.id in placed and after.id in placed:
                yield from _lag_faults(problem, after, placed[before.id], placed[after.id])
    yield from _collisions(problem, placed)


def _one_placement(
    problem: ScheduleProblem, crew: Crew, job: Job, phase: Phase, placement: Placement
) -> Iterator[ScheduleFault]:
    def fault(rule: str, words: str) -> ScheduleFault:
        return ScheduleFault(rule, phase.id, words)

    name = crew.name or crew.id
    if missing := sorted(set(phase.skills) - set(crew.skills)):
        yield fault("crew-skill", f"{name} lacks {', '.join(missing)}")
    if crew.size < phase.least_size:
        yield fault("crew-size", f"{name} has {crew.size} people, at least {phase.least_size} wanted")
    if phase.pinned_crew and phase.pinned_crew != crew.id:
        yield fault("pin", f"is pinned to crew {phase.pinned_crew}")
    begins = placement.parts[0]
    if phase.pinned_day is not None and begins.on != phase.pinned_day:
        yield fault("pin", f"is pinned to {phase.pinned_day}")
    if phase.pinned_hour is not None and begins.start_hour != phase.pinned_hour:
        yield fault("pin", f"is pinned to {phase.pinned_hour}:00")
    first = max((d for d in (job.earliest, phase.not_before) if d is not None), default=None)
    if first is not None and begins.on < first:
        held = f" ({job.gate})" if job.gate and first == job.earliest else ""
        yield fault("earliest-start", f"begins on {begins.on}, not before {first}{held}")
    if phase.not_after is not None and begins.on > phase.not_after:
        yield fault("earliest-start", f"begins on {begins.on}, not after {phase.not_after}")
    plans = {plan.on: plan for plan in problem.days}
    for part in placement.parts:
        if _within(part.on, job.away):
            yield fault("customer-days", f"the customer cannot have us on {part.on}{_reason(part.on, job.away)}")
        if part.on not in plans:
            yield fault("horizon", f"{part.on} is not among the days planned")
        elif words := _weather(plans[part.on], phase):
            yield fault("weather", f"{part.on}: {words}")
    for ahead in range(1, phase.frost_free_days + 1):
        plan = plans.get(placement.parts[-1].on + timedelta(days=ahead))
        if plan is not None and plan.low_f is not None and plan.low_f <= 32.0:
            yield fault("weather", f"{plan.on}: forecast low of {plan.low_f:g} degF before it is dry")
            break
    yield from _hour_faults(problem, plans, crew, job, phase, placement)
    yield from _rig_faults(problem, crew, phase, placement)


def _weather(plan: PlanDay, phase: Phase) -> str:
    if phase.kind in plan.blocked:
        return plan.why or f"no {phase.kind} that day"
    if plan.rain and phase.dry:
        return "rain"
    if phase.least_low_f is not None and plan.low_f is not None and plan.low_f < phase.least_low_f:
        return f"forecast low of {plan.low_f:g} degF, at least {phase.least_low_f:g} degF wanted"
    return ""


# --- hours ------------------------------------------------------------------------------------------------------------


def _hours_on(plan: PlanDay | None, crew: Crew) -> CrewHours | Crew | None:
    """Hours of a crew on a day, None where it has none; absences apart."""
    if plan is None or not plan.worked:
        return None
    own = [hours for hours in crew.other_hours if hours.on == plan.on]
    if own:
        return own[-1]
    return crew if plan.on.isoweekday() in {_ISO_DAYS[name] for name in crew.weekdays} else None


def _hour_faults(
    problem: ScheduleProblem,
    plans: Mapping[date, PlanDay],
    crew: Crew,
    job: Job,
    phase: Phase,
    placement: Placement,
) -> Iterator[ScheduleFault]:
    name = crew.name or crew.id
    stopped = False
    for part in placement.parts:
        hours = _hours_on(plans.get(part.on), crew)
        words = ""
        if hours is None:
            plan = plans.get(part.on)
            why = f" ({plan.why})" if plan is not None and plan.why and not plan.worked else ""
            words = f"{name} does not work on {part.on}{why}"
        elif _within(part.on, crew.absences):
            words = f"{name} is away on {part.on}{_reason(part.on, crew.absences)}"
        elif part.start_hour < hours.start_hour or part.end_hour > hours.end_hour or part.end_hour <= part.start_hour:
            words = f"{name} works {hours.start_hour}:00-{hours.end_hour}:00 on {part.on}"
        if words:
            stopped = True
            yield ScheduleFault("absence", phase.id, words)
    if stopped:
        return
    if phase.visit:
        wanted = math.ceil(phase.hours + 2 * travel_minutes(problem, crew, job) / 60 - 1e-9)
        part = placement.parts[0]
        if len(placement.parts) != 1 or part.end_hour - part.start_hour != wanted:
            yield ScheduleFault("hours", phase.id, f"a visit takes {wanted} h in one piece, travel included")
        return
    blocks = [(part.on, half) for part in placement.parts for half in _halves(plans, crew, part.on)]
    used = [
        (on, start, end)
        for on, (start, end) in blocks
        if any(part.on == on and part.start_hour <= start and end <= part.end_hour for part in placement.parts)
    ]
    covered = sum(part.end_hour - part.start_hour for part in placement.parts)
    if covered != sum(end - start for _, start, end in used):
        yield ScheduleFault("hours", phase.id, "takes part of a half-day; whole half-days are planned")
        return
    if covered * crew.size < phase.hours - 1e-6:
        yield ScheduleFault(
            "hours", phase.id, f"{covered * crew.size} person-hours are planned, {phase.hours:g} wanted"
        )
    elif used and (covered - (used[-1][2] - used[-1][1])) * crew.size >= phase.hours - 1e-6:
        yield ScheduleFault("hours", phase.id, "takes more half-days than it needs")
    if gap := _gap(plans, crew, used):
        yield ScheduleFault("hours", phase.id, f"is broken off: {name} works on {gap} in between")


def _halves(plans: Mapping[date, PlanDay], crew: Crew, on: date) -> list[tuple[int, int]]:
    hours = _hours_on(plans.get(on), crew)
    if hours is None:
        return []
    cuts = sorted({hours.start_hour, hours.end_hour, min(max(12, hours.start_hour), hours.end_hour)})
    return list(pairwise(cuts))


def _gap(plans: Mapping[date, PlanDay], crew: Crew, used: list[tuple[date, int, int]]) -> str:
    """First half-day on the crew's roster, absent or not, between the first and last of a phase that it leaves out."""
    if not used:
        return ""
    on = used[0][0]
    while on <= used[-1][0]:
        for start, end in _halves(plans, crew, on):
            if used[0][:2] <= (on, start) <= used[-1][:2] and (on, start, end) not in used:
                return f"{on} from {start}:00"
        on += timedelta(days=1)
    return ""


def _within(on: date, spans: Iterable[Span]) -> bool:
    return any(span.first <= on <= span.last for span in spans)


def _reason(on: date, spans: Iterable[Span]) -> str:
    return next((f" ({span.why})" for span in spans if span.first <= on <= span.last and span.why), "")


# --- rigs, order, collisions ------------------------------------------------------------------------------------------


def _rig_faults(problem: ScheduleProblem, crew: Crew, phase: Phase, placement: Placement) -> Iterator[ScheduleFault]:
    rigs = {rig.id: rig for rig in problem.rigs}
    if not phase.rig_kind:
        if placement.rig:
            yield ScheduleFault("rig", phase.id, f"needs no rig, but has {placement.rig}")
        return
    rig = rigs.get(placement.rig)
    if rig is None or phase.rig_kind not in rig.kinds:
        yield ScheduleFault("rig", phase.id, f"needs a rig for {phase.rig_kind}")
        return
    if crew.rig and crew.rig != rig.id:
        yield ScheduleFault("rig", phase.id, f"{crew.name or crew.id} drives {crew.rig} only")
    for other in problem.crews:
        if other.rig == rig.id and other.id != crew.id:
            yield ScheduleFault("rig", phase.id, f"{rig.name or rig.id} is driven by {other.name or other.id} only")
    for part in placement.parts:
        if _within(part.on, rig.absences):
            words = f"{rig.name or rig.id} is not to be had on {part.on}{_reason(part.on, rig.absences)}"
            yield ScheduleFault("rig", phase.id, words)


def _lag_faults(problem: ScheduleProblem, phase: Phase, before: Placement, after: Placement) -> Iterator[ScheduleFault]:
    ends, begins = before.parts[-1], after.parts[0]
    if (begins.on, begins.start_hour) < (ends.on, ends.end_hour):
        yield ScheduleFault("days-between-phases", phase.id, f"begins before {before.phase} ends")
        return
    if phase.lag_days == LagDays.WORKING:
        lag = sum(plan.worked for plan in problem.days if ends.on < plan.on <= begins.on)
        unit = "working days"
    else:
        lag, unit = (begins.on - ends.on).days, "days"
    if lag < phase.least_lag:
        yield ScheduleFault(
            "days-between-phases", phase.id, f"{lag} {unit} after {before.phase}, at least {phase.least_lag} wanted"
        )
    if phase.most_lag is not None and lag > phase.most_lag:
        yield ScheduleFault(
            "days-between-phases", phase.id, f"{lag} {unit} after {before.phase}, at most {phase.most_lag} allowed"
        )


def _collisions(problem: ScheduleProblem, placed: Mapping[str, Placement]) -> Iterator[ScheduleFault]:
    """Two things at one hour: of a crew the hours taken; of a rig all from first to last, as it stays there."""
    holders: dict[tuple[str, str, date, int], str] = {}
    told: set[tuple[str, str, str]] = set()
    for phase, placement in sorted(placed.items()):
        hours = [("crew", placement.crew, on, hour) for on, hour in placement.slots]
        if placement.rig:
            first = (placement.parts[0].on, placement.parts[0].start_hour)
            last = (placement.parts[-1].on, placement.parts[-1].end_hour - 1)
            on = first[0]
            while on <= last[0]:
                hours += [("rig", placement.rig, on, hour) for hour in range(24) if first <= (on, hour) <= last]
                on += timedelta(days=1)
        for kind, who, on, hour in hours:
            other = holders.setdefault((kind, who, on, hour), phase)
            if other != phase and (who, other, phase) not in told:
                told.add((who, other, phase))
                rule = "rig" if kind == "rig" else "other-jobs"
                yield ScheduleFault(rule, phase, f"{who} is with {other} on {on} at {hour}:00")


# --- cost -------------------------------------------------------------------------------------------------------------


def travel_minutes(problem: ScheduleProblem, crew: Crew, job: Job) -> float:
    """Driving time one way, by the chord between two points of a sphere. [min]"""
    points = []
    for lat, lon in ((crew.lat, crew.lon), (job.lat, job.lon)):
        phi, lam = math.radians(lat), math.radians(lon)
        points.append((math.cos(phi) * math.cos(lam), math.cos(phi) * math.sin(lam), math.sin(phi)))
    miles = 2 * 3958.8 * math.asin(min(1.0, math.dist(*points) / 2))
    return 60 * miles * problem.road_factor / problem.miles_per_hour


def recount(problem: ScheduleProblem, placements: Iterable[Placement]) -> dict[str, tuple[float, float]]:
    """Amount and cost of each term of the objective, counted hour by hour from the placements."""
    weights = problem.weights
    placed = {placement.phase: placement for placement in placements}
    crews = {crew.id: crew for crew in problem.crews}
    amounts: dict[str, float] = defaultdict(float)
    costs: dict[str, float] = defaultdict(float)

    def add(term: str, amount: float, each: float) -> None:
        amounts[term] += amount
        costs[term] += amount * each

    for job in problem.jobs:
        if any(phase.id not in placed for phase in job.phases):
            add("unscheduled", 1, weights.unscheduled * job.weight)
            continue
        for phase in job.phases:
            days = len({part.on for part in placed[phase.id].parts})
            add("travel", 2 * days * travel_minutes(problem, crews[placed[phase.id].crew], job), weights.travel_minute)
        finish = placed[job.phases[-1].id].parts[-1].on
        if job.due is not None and finish > job.due:
            add("late", (finish - job.due).days, weights.late_day * job.weight)
        begun = problem.days[0].on if job.earliest is None else max(job.earliest, problem.days[0].on)
        add("waiting", (finish - begun).days, weights.waiting_day * job.weight)
    for told in problem.promised:
        if (now := placed.get(told.phase)) is not None:
            moved = (now.parts[0].on, now.parts[0].start_hour) != (told.parts[0].on, told.parts[0].start_hour)
            add("changes", int(moved), weights.moved_phase)
            add("changes", int(now.crew != told.crew), weights.other_crew)
    add("idle", _idle(problem, placed), weights.idle_half_day)
    add("unfair", _unfair(problem, placed), weights.unfair_hour)
    return {term: (amounts[term], costs[term]) for term in amounts}


def _idle(problem: ScheduleProblem, placed: Mapping[str, Placement]) -> int:
    plans = {plan.on: plan for plan in problem.days}
    visits = {phase.id for job in problem.jobs for phase in job.phases if phase.visit}
    busy: dict[tuple[str, date], set[int]] = defaultdict(set)
    work: dict[tuple[str, date], set[int]] = defaultdict(set)
    for placement in placed.values():
        for on, hour in placement.slots:
            busy[placement.crew, on].add(hour)
            if placement.phase not in visits:
                work[placement.crew, on].add(hour)
    idle = 0
    for crew in problem.crews:
        for on in plans:
            halves = _halves(plans, crew, on)
            if len(halves) == 2 and work[crew.id, on] and not _within(on, crew.absences):
                idle += sum(not busy[crew.id, on] & set(range(*half)) for half in halves)
    return idle


def _unfair(problem: ScheduleProblem, placed: Mapping[str, Placement]) -> float:
    plans = {plan.on: plan for plan in problem.days}
    alike: dict[tuple[frozenset[str], int], list[Crew]] = defaultdict(list)
    for crew in problem.crews:
        alike[frozenset(crew.skills), crew.size].append(crew)
    over = 0.0
    for crews in alike.values():
        there: dict[str, int] = {
            crew.id: sum(
                end - start for on in plans if not _within(on, crew.absences) for start, end in _halves(plans, crew, on)
            )
            for crew in crews
        }
        load: dict[str, int] = {
            crew.id: sum(len(p.slots) for p in placed.values() if p.crew == crew.id) for crew in crews
        }
        total, all_hours = sum(load.values()), sum(there.values())
        if len(crews) > 1 and all_hours:
            over += sum(max(0.0, load[who] - total * hours / all_hours) for who, hours in there.items())
    return over


def _term_faults(problem: ScheduleProblem, schedule: Schedule) -> Iterator[ScheduleFault]:
    counted = recount(problem, schedule.placements)
    stated = {term.id: (term.amount, term.cost) for term in schedule.terms}
    scale = max(1.0, abs(schedule.cost))
    for name in sorted(counted.keys() | stated.keys()):
        for what, here, there in zip(
            ("amount", "cost"), stated.get(name, (0.0, 0.0)), counted.get(name, (0.0, 0.0)), strict=True
        ):
            if not abs(here - there) <= COST_TOLERANCE * scale:
                yield ScheduleFault("cost", name, f"{what} is given as {here:g}, counted again it is {there:g}")
    if not schedule.bound <= schedule.cost + COST_TOLERANCE * scale:
        yield ScheduleFault("bound", "bound", f"the bound {schedule.bound:g} lies above the cost {schedule.cost:g}")
