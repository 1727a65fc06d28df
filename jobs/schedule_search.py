"""The steps of the portfolio: greedy starts, relaxation, whole program, windows. Each betters one search in turn."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from time import perf_counter

from jobs.schedule_check import placement_faults
from jobs.schedule_exact import Program, Relaxation, applied, guided_order
from jobs.schedule_finish import finish, placements
from jobs.schedule_greedy import Plan, guided, multistart, reinsert
from jobs.schedule_layout import Layout, lay_out
from jobs.schedule_problem import Schedule, ScheduleProblem, SolverRun

FEW_COLUMNS, WHOLE_COLUMNS = 1500, 4000
"""Most placements for which the whole program is tried at once, and before or among windows: it then mostly ends."""

KERNEL_PER_PHASE, KEPT_PER_PHASE = 12, 30
"""Placements of a phase, on average, in the kernel and in windows; those of least reduced cost."""

WINDOW_S, WINDOW_GAP = 0.5, 3e-3
"""Longest a window may take [s], and how near its own optimum it may stop."""

FIRST_WINDOW, LARGEST_WINDOW = 10, 40
"""Jobs planned anew in a window, at first and at most."""


@dataclass(frozen=True, slots=True)
class Progress:
    """What a page shows while the solvers run."""

    stage: str
    seconds: float
    cost: float
    bound: float


Told = Callable[[Progress], None]


class Ground:
    """What is the same in every search on one problem: its layout and, once worked out, its relaxation."""

    def __init__(self, problem: ScheduleProblem) -> None:
        self.layout = lay_out(problem)
        self.simple_bound = simple_bound(self.layout)
        self.relaxation: Relaxation | None = None


@lru_cache(maxsize=2)
def ground(problem: ScheduleProblem) -> Ground:
    """The ground of a problem; the last two are kept, as a page betters one schedule in slices."""
    return Ground(problem)


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


class Search:
    """The best plan so far, what is proven, and what each solver did."""

    def __init__(
        self, problem: ScheduleProblem, started: float, time_limit_s: float, seed: int, progress: Told | None
    ) -> None:
        self.problem, self.seed, self.progress, self.started = problem, seed, progress, started
        self.until = started + time_limit_s
        self.rng = random.Random(seed)
        self.ground = ground(problem)
        self.layout = self.ground.layout
        self.plan = Plan(self.layout)
        self.cost = self.plan.cost()
        self.bound, self.bound_from = self.ground.simple_bound, "each job alone"
        self.runs: list[SolverRun] = []

    @property
    def left(self) -> float:
        """Seconds left."""
        return self.until - perf_counter()

    @property
    def proven(self) -> bool:
        """Whether nothing can be cheaper."""
        return self.cost <= self.bound + 1e-6 * max(1.0, abs(self.cost))

    def offer(self, plan: Plan) -> bool:
        """Keep a plan where it is cheaper than the best one and breaks no rule; whether it is kept."""
        cost = plan.cost()
        if cost >= self.cost - 1e-9 or next(placement_faults(self.problem, placements(plan)), None) is not None:
            return False
        self.plan, self.cost = plan, cost
        return True

    def prove(self, bound: float, by: str) -> None:
        """Keep a bound where it is the better one."""
        if bound > self.bound:
            self.bound, self.bound_from = bound, by

    def show(self, stage: str) -> None:
        """Tell whoever wants to know."""
        if self.progress is not None:
            self.progress(Progress(stage, perf_counter() - self.started, self.cost, self.bound))

    def note(self, solver: str, status: str, since: float) -> None:
        """Note what a solver did, and show it."""
        self.runs.append(SolverRun(solver, status, round(perf_counter() - since, 3), self.cost))
        self.show(solver)

    def schedule(self) -> Schedule:
        """The best plan, checked."""
        return finish(
            self.problem, self.plan, bound=self.bound, bound_from=self.bound_from, runs=self.runs, seed=self.seed
        )


# --- steps ------------------------------------------------------------------------------------------------------------


def many_starts(search: Search) -> None:
    """Greedy plans in shaken orders, then a short repair of the best."""
    since = perf_counter()
    plan = multistart(search.layout, until=since + min(0.4, 0.1 * search.left), rng=search.rng, most=40)
    search.offer(plan)
    search.note("many greedy starts", "done", since)


def relax(search: Search) -> None:
    """The linear relaxation of the whole: the bound, and prices of crew and rig hours for what follows."""
    since = perf_counter()
    known = search.ground.relaxation
    if known is None:
        program = Program(Plan(search.layout), range(len(search.layout.jobs)))
        known = program.relax(time_limit_s=0.5 * search.left, seed=search.seed)
        if known is None:
            search.note("linear relaxation", "not finished in time", since)
            return
        for options in search.layout.options:
            for option in options:
                # Placements that are not in the program lead nowhere: no later phase can follow them.
                value = known.options.get(id(option))
                option.price = value[1] - option.cost if value is not None else 1e6
        search.ground.relaxation = known
    search.prove(known.bound - 1e-6 * max(1.0, abs(known.bound)), "linear relaxation")
    search.note("linear relaxation", "optimal", since)


def guided_starts(search: Search) -> None:
    """Greedy plans in the order and at the prices of the relaxation, then jobs taken out and put in again."""
    since, known = perf_counter(), search.ground.relaxation
    if known is not None:
        order = guided_order(search.layout, known)
        plan = guided(search.layout, order, until=since + min(0.4, 0.1 * search.left), rng=search.rng, most=30)
        search.offer(plan)
    tries = _repair(search, min(0.8, 0.15 * search.left), most=1500)
    search.note("greedy at the prices of the relaxation", f"{tries} tries", since)


def _repair(search: Search, seconds: float, most: int) -> int:
    """Take jobs out of the best plan and put them in again; how many tries."""
    plan = search.plan.twin()
    priced = 0.0 if search.ground.relaxation is None else 1.0
    tries = reinsert(plan, until=perf_counter() + seconds, rng=search.rng, most=most, priced=priced)
    search.offer(plan)
    return tries


def _useful(search: Search) -> set[int] | None:
    """Placements that a cheaper plan than the best one can hold; None while that is not known."""
    known = search.ground.relaxation
    if known is None:
        return None
    room = search.cost - known.bound + 1e-6 * max(1.0, abs(search.cost))
    return {key for key, (_, reduced) in known.options.items() if reduced <= room}


def small_program(search: Search) -> None:
    """The whole program where it is so small that nothing else is worth its time."""
    whole_program(search, most=FEW_COLUMNS)


def whole_program(search: Search, share: float = 0.6, most: int = WHOLE_COLUMNS) -> None:
    """The 0-1 program of all jobs, without placements that no cheaper plan can hold, where few enough remain."""
    useful = _useful(search)
    if useful is None or len(useful) > most:
        return
    since, before = perf_counter(), search.cost
    program = Program(search.plan, range(len(search.layout.jobs)), useful | _chosen(search.plan))
    answer = program.solve(time_limit_s=share * search.left, seed=search.seed)
    if answer.chains is not None:
        search.offer(applied(search.plan, answer.chains))
    if answer.bound is not None:
        # What was left out of the program costs no less than the best plan did.
        search.prove(min(answer.bound, before), "whole program")
    search.note("whole program", answer.status, since)


def _chosen(plan: Plan) -> set[int]:
    return {id(option) for chain in plan.chains for option in chain or ()}


def kernel(search: Search) -> None:
    """All jobs at once, but only with the placements that the relaxation likes best: quick, and often near the best."""
    if search.ground.relaxation is None:
        return
    since = perf_counter()
    program = Program(search.plan, range(len(search.layout.jobs)), _best_options(search, KERNEL_PER_PHASE))
    answer = program.solve(time_limit_s=0.35 * search.left, seed=search.seed, gap=WINDOW_GAP)
    if answer.chains is not None:
        search.offer(applied(search.plan, answer.chains))
    search.note("program of the likeliest placements", answer.status, since)


def windows(search: Search) -> None:
    """Plan some jobs that are near each other anew, exactly, again and again; the whole program once it is small."""
    since, size, tries, kept, failed = perf_counter(), FIRST_WINDOW, 0, KEPT_PER_PHASE, 0
    gap = WINDOW_GAP
    room = len(_useful(search) or ())
    while search.left > 0.05 and not search.proven:
        tries += 1
        jobs = _near(search, size)
        program = Program(search.plan, jobs, _best_options(search, kept))
        answer = program.solve(time_limit_s=min(WINDOW_S, search.left), seed=search.seed + tries, gap=gap)
        if answer.chains is not None and search.offer(applied(search.plan, answer.chains)):
            failed = 0
            search.show("windows")
        else:
            failed += 1
        size = min(LARGEST_WINDOW, size + 2) if answer.optimal else max(6, size - 2)
        if failed and failed % 2 == 0:
            _repair(search, min(0.2, search.left), most=300)
        if failed and failed % 12 == 0:
            kept, gap = 2 * kept, 1e-9
        useful = len(_useful(search) or ())
        if room > WHOLE_COLUMNS >= useful > 0 and search.left > 1.0:
            room = useful
            whole_program(search, 0.5)
    search.note("windows", f"{tries} windows", since)


def _best_options(search: Search, per_phase: int) -> set[int] | None:
    """Placements of least reduced cost, those of the plan among them; None while the relaxation is not known."""
    known = search.ground.relaxation
    if known is None:
        return None
    limit = per_phase * len(search.layout.phases)
    ranked = sorted(known.options.items(), key=lambda item: item[1][1])
    return (
        {key for key, _ in ranked[:limit]}
        | {key for key, (value, _) in ranked[limit:] if value > 1e-6}
        | _chosen(search.plan)
    )


def _near(search: Search, size: int) -> list[int]:
    """Jobs near each other in time or of one crew, and a few that are left out."""
    rng, chains = search.rng, search.plan.chains
    inside = [job for job, chain in enumerate(chains) if chain is not None]
    outside = [job for job, chain in enumerate(chains) if chain is None]
    chosen = rng.sample(outside, min(len(outside), max(2, size // 3)))
    if inside:
        anchor = rng.choice(chains[rng.choice(inside)] or ())
        distance = {
            job: min(
                abs(option.start - anchor.start) / 24 + (0.0 if option.crew == anchor.crew else 1.5)
                for option in chains[job] or ()
            )
            + 1.5 * rng.random()
            for job in inside
        }
        chosen += sorted(inside, key=distance.__getitem__)[:size]
    return chosen
