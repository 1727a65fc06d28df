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


# --- what a solver says is read with care -----------------------------------------------------------------------------


@pytest.fixture
def busy() -> ScheduleProblem:
    """Two jobs that both want the only crew's first day, so that the greedy order matters."""
    jobs = tuple(
        Job(f"j{n}", (Phase(f"j{n}p", "inject", hours=16),), earliest=MONDAY, due=MONDAY, weight=1.0 + n)
        for n in range(2)
    )
    return ScheduleProblem(tuple(PlanDay(MONDAY + timedelta(days=n)) for n in range(3)), (Crew("c"),), (), jobs)


def test_an_infeasible_program_gives_no_plan(busy):
    program = Program(Plan(lay_out(busy)), [0, 1])
    program._row(1.0, 1.0)  # a row without columns: 0 = 1
    answer = program.solve(time_limit_s=5)
    assert answer.chains is None
    assert answer.bound is None
    assert not answer.optimal
    assert "Infeasible" in answer.status
    assert program.relax(time_limit_s=5) is None


def test_no_time_gives_no_plan_rather_than_a_guess(busy, monkeypatch):
    """Without a start and without time the solver holds no solution; its arrays are not read."""
    program = Program(Plan(lay_out(busy)), [0, 1])
    monkeypatch.setattr(program, "_start", lambda solver: solver.setOptionValue("time_limit", 0.0))
    answer = program.solve(time_limit_s=0.0)
    assert answer.chains is None


def test_a_solver_that_fails_leaves_the_greedy_plan_and_says_so(busy, monkeypatch):
    schedule_search.ground.cache_clear()
    build = Program.__init__

    def broken(self, *args):
        build(self, *args)
        self._row(1.0, 1.0)

    monkeypatch.setattr(Program, "__init__", broken)
    schedule = solve(busy, time_limit_s=0.3)
    assert check_schedule(busy, schedule) == ()
    assert len(schedule.placements) == 2
    assert schedule.bound_from == "each job alone"
    assert [run.status for run in schedule.runs if run.solver == "linear relaxation"] == ["not finished in time"]


def test_a_plan_that_books_a_crew_twice_is_refused_whoever_made_it(busy, monkeypatch):
    def lying(self, **_):
        first = {job: (self.options[self.layout.jobs[job][0]][0],) for job in self.free}
        return schedule_exact.Answer("Optimal", first, None, True)

    monkeypatch.setattr(Program, "solve", lying)
    schedule = solve(busy, time_limit_s=0.3)
    assert check_schedule(busy, schedule) == ()
    assert len({placement.first_day for placement in schedule.placements}) == 2


def test_an_objective_that_is_not_that_of_the_columns_proves_nothing(busy, monkeypatch):
    monkeypatch.setattr(Program, "_consistent", lambda self, solver: False)
    answer = Program(Plan(lay_out(busy)), [0, 1]).solve(time_limit_s=5)
    assert answer.bound is None
    assert not answer.optimal
    assert "not that of its columns" in answer.status


def test_the_same_seed_gives_the_same_plan(busy):
    again = [solve(busy, time_limit_s=10, seed=3) for _ in range(2)]
    assert again[0].placements == again[1].placements
    assert again[0].terms == again[1].terms


def test_improving_never_costs_more_and_shows_its_progress():
    problem = small_problem(5)
    rough = solve(problem, time_limit_s=0)
    seen = []
    better = improve(problem, rough, time_limit_s=5, seed=1, progress=seen.append)
    assert better.cost <= rough.cost
    assert better.cost == pytest.approx(least_cost(problem), abs=1e-6)
    assert [step.cost for step in seen] == sorted((step.cost for step in seen), reverse=True)
    assert all(step.bound <= step.cost + 1e-6 for step in seen)
