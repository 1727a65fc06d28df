"""Moving one phase by hand: what that breaks, in words, and the nearest place where it breaks nothing."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from math import ceil

from jobs.schedule_check import ScheduleFault, placement_faults, recount
from jobs.schedule_finish import plan_of
from jobs.schedule_layout import (
    ROUNDING,
    Option,
    Rule,
    lay_out,
    one_way_minutes,
    placement_of,
    rigs_for,
    shapes,
)
from jobs.schedule_problem import Crew, Job, Phase, Placement, Schedule, ScheduleProblem, WorkPart
from jobs.schedule_search import ground


@dataclass(frozen=True, slots=True)
class Move:
    """What a move by hand does.

    `placement` is where the phase would stand; `breaks` what that breaks, nothing for a good move; `cost_change` what a
    good move adds to the cost; `nearest` the nearest place that breaks nothing, None where there is none.
    """

    placement: Placement
    breaks: tuple[ScheduleFault, ...]
    cost_change: float | None
    nearest: Placement | None


def move(
    problem: ScheduleProblem, schedule: Schedule, phase: str, crew: str, day: date, hour: int | None = None
) -> Move:
    """Try a phase at another crew or day, everything else staying where it is.

    Parameters
    ----------
    problem, schedule : what is planned, and the plan.
    phase, crew : ids.
    day : day on which it is to begin.
    hour : hour at which it is to begin, None for the first of the crew's day. [h]

    Raises
    ------
    KeyError : there is no such phase or crew.
    """
    owner, spec = next(((job, p) for job, p in problem.phases() if p.id == phase), (None, None))
    people = next((c for c in problem.crews if c.id == crew), None)
    if owner is None or spec is None:
        raise KeyError(f"there is no phase {phase!r}")
    if people is None:
        raise KeyError(f"there is no crew {crew!r}")
    others = [placement for placement in schedule.placements if placement.phase != phase]
    already = set(placement_faults(problem, schedule.placements))
    tried = []
    for placement in _wanted(problem, owner, spec, people, day, hour):
        faults = tuple(_told(placement_faults(problem, [*others, placement]), already))
        tried.append((len(faults), placement, faults))
    _, placement, breaks = min(tried, key=lambda one: one[0])
    change = None
    if not breaks:
        costs = [recount(problem, plan) for plan in (schedule.placements, [*others, placement])]
        before, after = (sum(cost for _, cost in cost_of.values()) for cost_of in costs)
        change = after - before
    return Move(placement, breaks, change, _nearest(problem, others, owner, spec, placement))


def _wanted(
    problem: ScheduleProblem, job: Job, phase: Phase, crew: Crew, day: date, hour: int | None
) -> Iterator[Placement]:
    """The hours a phase would take there, with each rig it might have; on a day off the crew's usual hours."""
    layout = lay_out(problem, only=(), lifted=frozenset({Rule.ABSENCE}))
    travel = 2 * one_way_minutes(problem, crew, job)
    hours = phase.hours + travel / 60 if phase.visit else phase.hours / crew.size
    days = [plan.on for plan in problem.days]
    begins = [
        shape
        for shape in shapes(layout, problem.crews.index(crew), ceil(hours - ROUNDING), phase.visit)
        if days[shape.parts[0][0]] == day and (hour is None or shape.parts[0][1] == hour)
    ]
    if begins:
        parts = tuple(WorkPart(days[index], first, last) for index, first, last in begins[0].parts)
    else:
        first = crew.start_hour if hour is None else hour
        parts = (WorkPart(day, first, min(24, max(first + 1, crew.end_hour))),)
    for rig in rigs_for(problem, crew, phase) if phase.rig_kind else [""]:
        yield Placement(phase.id, crew.id, parts, rig)
    if phase.rig_kind and not rigs_for(problem, crew, phase):
        yield Placement(phase.id, crew.id, parts)


def _nearest(
    problem: ScheduleProblem, others: list[Placement], job: Job, phase: Phase, wanted: Placement
) -> Placement | None:
    """The place nearest in days that breaks nothing, the same crew before another one."""
    layout = ground(problem).layout
    plan = plan_of(layout, others)  # the phase's own job is left out there as a whole
    index = next(number for number, spec in enumerate(layout.phases) if spec.id == phase.id)
    place = [p.id for p in job.phases].index(phase.id)
    by_phase = {placement.phase: placement for placement in others}
    before = by_phase.get(job.phases[place - 1].id) if place else None
    after = by_phase.get(job.phases[place + 1].id) if place + 1 < len(job.phases) else None
    target = _hours(problem, wanted.first_day, wanted.parts[0].start_hour)

    def in_order(option: Option) -> bool:
        if before is not None:
            end = _hours(problem, before.last_day, before.parts[-1].end_hour)
            if not layout.ready(index, end) <= option.start <= layout.latest(index, end):
                return False
        if after is not None:
            start = _hours(problem, after.first_day, after.parts[0].start_hour)
            return layout.ready(index + 1, option.end) <= start <= layout.latest(index + 1, option.end)
        return True

    def distance(option: Option) -> tuple[float, int, float]:
        other_crew = problem.crews[option.crew].id != wanted.crew
        return (abs(option.start - target) / 24 + other_crew, option.start, option.cost)

    already = set(placement_faults(problem, others))
    for option in sorted(filter(in_order, plan.free(index)), key=distance):
        for rig in layout.rig_classes[option.rig] if option.rig >= 0 else ("",):
            placement = placement_of(layout, option, rig)
            if not any(_told(placement_faults(problem, [*others, placement]), already)):
                return placement
    return None


def _hours(problem: ScheduleProblem, on: date, hour: int) -> int:
    return (on - problem.days[0].on).days * 24 + hour


def _told(faults: Iterable[ScheduleFault], already: Collection[ScheduleFault]) -> Iterator[ScheduleFault]:
    """Faults of the move itself. A job whose phases are placed one by one by hand is whole only after the last."""
    return (fault for fault in faults if fault not in already and fault.rule != "whole-job")
