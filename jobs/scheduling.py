"""Plans who does which phase of which job when: the one door to the solvers.

`solve` answers at once with a greedy plan and betters it until its time is up; `improve` goes on from a schedule, so a
page can better one in slices of seconds. Every answer has passed `check_schedule`, which shares no code with the
solvers.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from time import perf_counter

from jobs.schedule_check import ScheduleFault, check_schedule
from jobs.schedule_finish import ScheduleBroken, finish, plan_of
from jobs.schedule_greedy import Plan, greedy, multistart, reinsert
from jobs.schedule_layout import Layout, lay_out
from jobs.schedule_problem import (
    Schedule,
    ScheduleProblem,
    SolverRun,
    check_problem,
    json_form,
    problem_from_json,
    schedule_from_json,
)

__all__ = [
    "Progress",
    "Schedule",
    "ScheduleBroken",
    "ScheduleFault",
    "ScheduleProblem",
    "check_schedule",
    "improve",
    "json_form",
    "problem_from_json",
    "schedule_from_json",
    "solve",
]


@dataclass(frozen=True, slots=True)
class Progress:
    """What a page shows while the solvers run."""

    stage: str
    seconds: float
    cost: float
    bound: float


Told = Callable[[Progress], None]


class _Search:
    """The best plan so far, what is proven, and what each solver did."""

    def __init__(
        self, problem: ScheduleProblem, started: float, time_limit_s: float, seed: int, progress: Told | None
    ) -> None:
        self.problem, self.seed, self.progress, self.started = problem, seed, progress, started
        self.until = started + time_limit_s
        self.rng = random.Random(seed)
        self.layout = lay_out(problem)
        self.plan = Plan(self.layout)
        self.cost = self.plan.cost()
        self.bound, self.bound_from = simple_bound(self.layout), "each job alone"
        self.runs: list[SolverRun] = []

    @property
    def proven(self) -> bool:
        """Whether nothing can be cheaper."""
        return self.cost <= self.bound + 1e-6 * max(1.0, abs(self.cost))

    def offer(self, plan: Plan) -> None:
        """Keep a plan where it is cheaper than the best one."""
        cost = plan.cost()
        if cost < self.cost - 1e-9:
            self.plan, self.cost = plan, cost

    def tell(self, solver: str, status: str, since: float) -> None:
        """Note what a solver did and show it."""
        now = perf_counter()
        self.runs.append(SolverRun(solver, status, round(now - since, 3), self.cost))
        if self.progress is not None:
            self.progress(Progress(solver, now - self.started, self.cost, self.bound))

    def schedule(self) -> Schedule:
        """The best plan, checked."""
        return finish(
            self.problem, self.plan, bound=self.bound, bound_from=self.bound_from, runs=self.runs, seed=self.seed
        )


def solve(problem: ScheduleProblem, *, time_limit_s: float, seed: int = 0, progress: Told | None = None) -> Schedule:
    """Plan every job at least cost, within a time limit.

    Parameters
    ----------
    problem : what there is to plan.
    time_limit_s : seconds to spend; 0 gives the greedy plan, at once.
    seed : seed of the random numbers. The same seed gives the same plan as long as every step ends before the time
        limit does; a step that the clock cuts off may end elsewhere on a busier machine.
    progress : called after each step with what has been reached.

    Returns
    -------
    Schedule : it has passed `check_schedule`; `bound` is a true lower bound of its cost.

    Raises
    ------
    BadRecord : the parts of the problem do not fit together.
    ScheduleBroken : the check found a fault in a plan of ours; nothing is returned.

    Notes
    -----
    Cost = sum over the terms of `schedule_problem.TERMS` of amount x weight. Travel is from the crew's base to the
    house and back on each day; driving from house to house within a day is not modelled. A job is planned whole
    or left out.
    """
    started = perf_counter()
    check_problem(problem)
    search = _Search(problem, started, time_limit_s, seed, progress)
    since = perf_counter()
    search.offer(greedy(search.layout))
    search.tell("greedy by due date", "done", since)
    _better(search)
    return search.schedule()


def improve(
    problem: ScheduleProblem,
    schedule: Schedule,
    *,
    time_limit_s: float,
    seed: int = 0,
    progress: Told | None = None,
) -> Schedule:
    """Better a schedule for some more seconds; never a dearer one. Take another seed for each slice.

    Parameters, returns and errors are those of `solve`; jobs of `schedule` that no longer fit the problem are planned
    anew. Its bound is kept where the problem is the one it was made from.
    """
    started = perf_counter()
    check_problem(problem)
    search = _Search(problem, started, time_limit_s, seed, progress)
    since = perf_counter()
    plan = plan_of(search.layout, schedule.placements)
    search.offer(plan)
    for job, chain in enumerate(plan.chains):
        if chain is None:
            plan.insert(job)
    search.offer(plan)
    search.tell("schedule handed in", "taken over", since)
    _better(search)
    return search.schedule()


def _better(search: _Search) -> None:
    """The portfolio, until nothing can be cheaper or time is up."""
    spare = search.until - perf_counter()
    if spare <= 0 or search.proven:
        return
    since = perf_counter()
    search.offer(multistart(search.layout, until=since + min(0.5, 0.1 * spare), rng=search.rng))
    search.tell("many greedy starts", "done", since)
    since = perf_counter()
    tries = reinsert(search.plan, until=since + min(2.0, 0.3 * spare), rng=search.rng)
    search.cost = search.plan.cost()
    search.tell("taking out and putting in again", f"{tries} tries", since)


def simple_bound(layout: Layout) -> float:
    """Each job at the cheapest place it has when alone, or left out: no plan costs less than the sum.

    Half-days left empty, unfairness and other jobs only add to that.
    """
    alone = Plan(layout)
    alone.weights = replace(alone.weights, idle_half_day=0.0)
    total = 0.0
    for job in range(len(layout.jobs)):
        found = alone.best_chain(job)
        total += alone.penalty[job] if found is None else min(alone.penalty[job], found[0])
    return total
