"""From a plan of the solvers to a schedule: rigs by name, terms of the objective, nothing unchecked."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from jobs.schedule_check import check_schedule
from jobs.schedule_greedy import Plan
from jobs.schedule_layout import Layout, Option, one_way_minutes, placement_of
from jobs.schedule_problem import Placement, Schedule, ScheduleProblem, SolverRun, Term
from jobs.schedule_reasons import left_out, reasons


class ScheduleBroken(RuntimeError):
    """A plan failed the independent check; `faults` says where. It is never shown as a schedule."""

    def __init__(self, faults: Sequence[object]) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = tuple(faults)


def placements(plan: Plan) -> tuple[Placement, ...]:
    """Placements of a plan, by first hour and crew, each with a rig by name."""
    chosen = sorted(
        (option for chain in plan.chains for option in chain or ()),
        key=lambda option: (option.start, option.crew, option.phase),
    )
    rigs = _rigs(plan.layout, chosen)
    return tuple(placement_of(plan.layout, option, rig) for option, rig in zip(chosen, rigs, strict=True))


def _rigs(layout: Layout, chosen: Iterable[Option]) -> list[str]:
    """A rig for each option, in order of their start: the promised one where it is free, else the first free one."""
    told = {placement.phase: placement.rig for placement in layout.problem.promised}
    free_from: dict[str, int] = {}
    given = []
    for option in chosen:
        if option.rig < 0:
            given.append("")
            continue
        free = [rig for rig in layout.rig_classes[option.rig] if free_from.get(rig, 0) <= option.start]
        wanted = told.get(layout.phases[option.phase].id, "")
        rig = wanted if wanted in free else free[0]
        free_from[rig] = option.end
        given.append(rig)
    return given


def terms(plan: Plan) -> tuple[Term, ...]:
    """What each term of the objective amounts to and costs."""
    problem, weights = plan.layout.problem, plan.weights
    owners = {phase.id: job for job, phase in problem.phases()}
    told = {placement.phase: placement for placement in problem.promised}
    travel = late = late_cost = waiting = waiting_cost = out_cost = moved = other = 0.0
    for number, chain in enumerate(plan.chains):
        if chain is None:
            out_cost += plan.penalty[number]
            continue
        job = owners[plan.layout.phases[chain[0].phase].id]
        for option in chain:
            travel += 2 * one_way_minutes(problem, problem.crews[option.crew], job) * len(option.parts)
            if promised := told.get(plan.layout.phases[option.phase].id):
                begins = (problem.days[option.parts[0][0]].on, option.parts[0][1])
                moved += begins != (promised.first_day, promised.parts[0].start_hour)
                other += problem.crews[option.crew].id != promised.crew
        finish = problem.days[chain[-1].parts[-1][0]].on
        days_late = max(0, (finish - job.due).days) if job.due else 0
        days_waited = max(0, (finish - max(job.earliest or date.min, problem.days[0].on)).days)
        late, late_cost = late + days_late, late_cost + days_late * job.weight * weights.late_day
        waiting, waiting_cost = waiting + days_waited, waiting_cost + days_waited * job.weight * weights.waiting_day
    unfair = 0.0
    for group in plan.layout.fair_groups:
        hours = sum(plan.hours[crew] for crew, _ in group)
        unfair += sum(max(0.0, plan.hours[crew] - share * hours) for crew, share in group)
    idle = plan.idle_half_days()
    return (
        Term("unscheduled", sum(chain is None for chain in plan.chains), out_cost),
        Term("late", late, late_cost),
        Term("travel", travel, travel * weights.travel_minute),
        Term("idle", idle, idle * weights.idle_half_day),
        Term("changes", moved + other, moved * weights.moved_phase + other * weights.other_crew),
        Term("unfair", unfair, unfair * weights.unfair_hour),
        Term("waiting", waiting, waiting_cost),
    )


def finish(
    problem: ScheduleProblem,
    plan: Plan,
    *,
    bound: float,
    bound_from: str,
    runs: Iterable[SolverRun],
    seed: int,
) -> Schedule:
    """A plan as a schedule that has passed the independent check.

    Raises
    ------
    ScheduleBroken : it has not.
    """
    found = terms(plan)
    cost = sum(term.cost for term in found)
    schedule = Schedule(
        placements(plan),
        found,
        # A bound and a cost that are equal may differ in their last digits; one really above is for the check to find.
        bound=cost if cost < bound <= cost + 1e-6 * max(1.0, cost) else bound,
        bound_from=bound_from,
        runs=tuple(runs),
        left_out=left_out(plan),
        why=reasons(plan),
        seed=seed,
    )
    if faults := check_schedule(problem, schedule):
        raise ScheduleBroken(faults)
    return schedule


def plan_of(layout: Layout, schedule_placements: Iterable[Placement]) -> Plan:
    """Placements as a plan of a layout; jobs that no longer fit, or only in part, are left out."""
    told = {placement.phase: placement for placement in schedule_placements}
    crews = {crew.id: index for index, crew in enumerate(layout.problem.crews)}
    days = {plan.on: index for index, plan in enumerate(layout.problem.days)}
    plan = Plan(layout)
    for job, phases in enumerate(layout.jobs):
        chain: list[Option] = []
        for phase in phases:
            placement = told.get(layout.phases[phase].id)
            if placement is None:
                break
            parts = tuple((days.get(part.on, -1), part.start_hour, part.end_hour) for part in placement.parts)
            fits = [
                option
                for option in plan.free(phase)
                if option.parts == parts
                and option.crew == crews.get(placement.crew)
                and (option.rig < 0 or placement.rig in layout.rig_classes[option.rig])
            ]
            if not fits or not _in_order(layout, chain, fits[0]):
                break
            chain.append(fits[0])
        if len(chain) == len(phases):
            plan.put(job, tuple(chain))
    return plan


def _in_order(layout: Layout, chain: list[Option], option: Option) -> bool:
    if not chain:
        return True
    end = chain[-1].end
    return layout.ready(option.phase, end) <= option.start <= layout.latest(option.phase, end)
