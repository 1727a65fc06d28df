"""The solvers against trying everything, on small problems; and what happens when a solver fails."""

from __future__ import annotations

import itertools
import random
from datetime import date, timedelta

import pytest

from jobs import schedule_exact, schedule_search
from jobs.schedule_check import placement_faults, recount
from jobs.schedule_exact import Program
from jobs.schedule_greedy import Plan
from jobs.schedule_layout import lay_out
from jobs.schedule_problem import (
    Crew,
    Job,
    Phase,
    Placement,
    PlanDay,
    Rig,
    ScheduleProblem,
    ScheduleWeights,
    Span,
    WorkPart,
)
from jobs.scheduling import check_schedule, improve, solve

MONDAY = date(2026, 3, 2)


def small_problem(seed: int) -> ScheduleProblem:
    """Two jobs, three or four phases, one or two crews of one rig, three days with rain, a visit now and then."""
    rng = random.Random(seed)
    days = tuple(
        PlanDay(
            MONDAY + timedelta(days=n), worked=rng.random() > 0.1, rain=rng.random() < 0.2, low_f=rng.choice((30, 45))
        )
        for n in range(3)
    )
    crews = tuple(
        Crew(
            f"c{n}",
            lat=rng.uniform(0, 0.2),
            size=2,
            skills=("foam",) if n == 0 or rng.random() < 0.5 else (),
            absences=(Span(MONDAY, MONDAY),) if rng.random() < 0.2 else (),
        )
        for n in range(rng.choice((1, 2, 2)))
    )
    jobs, left = [], 4
    for number in range(2):
        phases = []
        for index in range(min(left, 2)):
            visit = rng.random() < 0.25
            phases.append(
                Phase(
                    f"j{number}p{index}",
                    "inject",
                    hours=1.5 if visit else rng.choice((8.0, 8.0, 14.0)),
                    visit=visit,
                    skills=("foam",) if rng.random() < 0.5 else (),
                    rig_kind="foam" if not visit and rng.random() < 0.4 else "",
                    least_lag=rng.choice((0, 0, 1)),
                    most_lag=rng.choice((None, 1)),
                    dry=rng.random() < 0.5,
                    frost_free_days=rng.choice((0, 0, 1)),
                )
            )
        left -= len(phases)
        jobs.append(
            Job(
                f"j{number}",
                tuple(phases),
                lat=rng.uniform(0, 0.3),
                earliest=MONDAY + timedelta(days=rng.choice((0, 0, 1))),
                due=MONDAY + timedelta(days=rng.randrange(3)),
                weight=rng.choice((1.0, 2.0)),
                away=(Span(MONDAY + timedelta(days=2), MONDAY + timedelta(days=2)),) if rng.random() < 0.2 else (),
            )
        )
    promised = (Placement("j0p0", "c0", (WorkPart(MONDAY + timedelta(days=1), 8, 12),)),) if rng.random() < 0.5 else ()
    weights = ScheduleWeights(unscheduled=rng.choice((200.0, 3000.0)), idle_half_day=40, unfair_hour=5, waiting_day=7)
    return ScheduleProblem(days, crews, (Rig("r", kinds=("foam",)),), tuple(jobs), promised, weights)


def every_start(problem: ScheduleProblem, job: Job, phase: Phase) -> list[Placement]:
    """Every run of whole hours or half-days within three days, with no look at any rule; the check does the rest."""
    halves = [(plan.on, start, start + 4) for plan in problem.days for start in (8, 12)]
    found = []
    for crew in problem.crews:
        rigs = ["r"] if phase.rig_kind else [""]
        if phase.visit:
            runs = [
                (WorkPart(plan.on, start, end),)
                for plan in problem.days
                for start in range(8, 16)
                for end in range(start + 1, 17)
            ]
        else:
            runs = []
            for chosen in itertools.chain.from_iterable(itertools.combinations(halves, n) for n in (1, 2)):
                days = sorted({on for on, _, _ in chosen})
                runs.append(
                    tuple(
                        WorkPart(on, min(s for d, s, _ in chosen if d == on), max(e for d, _, e in chosen if d == on))
                        for on in days
                    )
                )
        for parts, rig in itertools.product(runs, rigs):
            placement = Placement(phase.id, crew.id, parts, rig)
            alone = [fault for fault in placement_faults(problem, [placement]) if fault.rule != "whole-job"]
            if not alone:
                found.append(placement)
    return found


def least_cost(problem: ScheduleProblem) -> float:
    """By trying every combination."""
    choices = []
    for job in problem.jobs:
        places = [every_start(problem, job, phase) for phase in job.phases]
        whole = [
            chain
            for chain in itertools.product(*places)
            if not any(fault.rule != "whole-job" for fault in placement_faults(problem, chain))
        ]
        choices.append([(), *whole])
    best = float("inf")
    for combination in itertools.product(*choices):
        placed = [placement for chain in combination for placement in chain]
        cost = sum(cost for _, cost in recount(problem, placed).values())
        if cost < best and not list(placement_faults(problem, placed)):
            best = cost
    return best


@pytest.mark.parametrize("seed", range(24))
def test_the_solver_equals_trying_everything_on_small_problems(seed):
    problem = small_problem(seed)
    schedule = solve(problem, time_limit_s=20, seed=seed)
    assert schedule.cost == pytest.approx(least_cost(problem), abs=1e-6)
    assert schedule.bound == pytest.approx(schedule.cost, rel=1e-5, abs=1e-3)
