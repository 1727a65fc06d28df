"""Plans who does which phase of which job when: the one door to the solvers.

`solve` answers at once with a greedy plan and betters it until its time is up; `improve` goes on from a schedule, so a
page can better one in slices of seconds. Every answer has passed `check_schedule`, which shares no code with the
solvers.
"""

from __future__ import annotations

from time import perf_counter

from jobs.schedule_check import ScheduleFault, check_schedule
from jobs.schedule_finish import ScheduleBroken, plan_of
from jobs.schedule_greedy import greedy
from jobs.schedule_move import Move, move
from jobs.schedule_problem import (
    Schedule,
    ScheduleProblem,
    check_problem,
    json_form,
    problem_from_json,
    schedule_from_json,
)
from jobs.schedule_search import (
    Progress,
    Search,
    Told,
    guided_starts,
    kernel,
    many_starts,
    relax,
    small_program,
    whole_program,
    windows,
)

__all__ = [
    "Move",
    "Progress",
    "Schedule",
    "ScheduleBroken",
    "ScheduleFault",
    "ScheduleProblem",
    "check_schedule",
    "improve",
    "json_form",
    "move",
    "problem_from_json",
    "schedule_from_json",
    "solve",
]


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

    Examples
    --------
    >>> from datetime import date
    >>> from jobs.schedule_problem import Crew, Job, Phase, PlanDay
    >>> days = (PlanDay(date(2026, 3, 2)), PlanDay(date(2026, 3, 3)))
    >>> job = Job("alder", (Phase("fill", "inject", hours=16),), earliest=date(2026, 3, 3))
    >>> schedule = solve(ScheduleProblem(days, (Crew("a"),), jobs=(job,)), time_limit_s=0)
    >>> print(schedule.placements[0].first_day, schedule.why[0].words)
    2026-03-03 Earliest start 2026-03-03.
    """
    started = perf_counter()
    check_problem(problem)
    search = Search(problem, started, time_limit_s, seed, progress)
    since = perf_counter()
    search.offer(greedy(search.layout))
    search.note("greedy by due date", "done", since)
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
    anew.
    """
    started = perf_counter()
    check_problem(problem)
    search = Search(problem, started, time_limit_s, seed, progress)
    since = perf_counter()
    plan = plan_of(search.layout, schedule.placements)
    search.offer(plan)
    for job, chain in enumerate(plan.chains):
        if chain is None:
            plan.insert(job)
    search.offer(plan)
    search.note("schedule handed in", "taken over", since)
    _better(search)
    return search.schedule()


def _better(search: Search) -> None:
    """The portfolio, until nothing can be cheaper or time is up."""
    for step in (many_starts, relax, small_program, guided_starts, whole_program, kernel, windows):
        if search.proven or search.left <= 0:
            return
        step(search)
