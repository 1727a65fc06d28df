"""The plan as a 0-1 program for HiGHS: one column for each possible placement of a phase.

A job is a path through its phases in time: a placement leads from its start to the first start of the next phase that
its lag allows, waiting leads from one start to the next. So each column stands in two rows of its job and in one for
each half-day of its crew and rig, and the relaxation of one job alone is exact. The relaxation of the whole is a lower
bound of every plan's cost; a reduced cost says which placements no cheaper plan can hold.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from time import perf_counter
from typing import Any

from jobs.schedule_greedy import Chain, Plan
from jobs.schedule_layout import Layout, Option

INTEGRAL = 1e-5
"""How far from 0 or 1 a column may be that counts as that."""

INFINITY = float("inf")


@dataclass(frozen=True, slots=True)
class Answer:
    """What the solver found. `chains` is None unless it reported a feasible 0-1 solution that reads as one.

    `bound` is None unless the solver proved one for the columns it was given.
    """

    status: str
    chains: Mapping[int, Chain | None] | None
    bound: float | None
    optimal: bool


@dataclass(frozen=True, slots=True)
class Relaxation:
    """The linear relaxation: its optimum, and per option and per job left out its value and reduced cost."""

    bound: float
    options: Mapping[int, tuple[float, float]]  # id(option) -> value, reduced cost
    left_out: Mapping[int, tuple[float, float]]


class Program:
    """Rows and columns for the jobs in `free`; all other jobs stay where the plan has them.

    Parameters
    ----------
    plan : what stays, and the start for the solver.
    free : jobs to plan anew.
    keep : ids of the options to offer, None for all.
    """

    def __init__(self, plan: Plan, free: Collection[int], keep: Collection[int] | None = None) -> None:
        self.plan, self.layout = plan, plan.layout
        self.free = sorted(free)
        self.costs: list[float] = []
        self.upper: list[float] = []
        self.whole: list[bool] = []
        self.entries: list[list[tuple[int, float]]] = []
        self.row_low: list[float] = []
        self.row_high: list[float] = []
        self.column_of: dict[int, int] = {}
        self.out_column: dict[int, int] = {}
        fixed = _fixed(plan, self.free)
        options = {phase: fixed.free(phase) for job in self.free for phase in self.layout.jobs[job]}
        if keep is not None:
            options = {phase: [o for o in found if id(o) in keep] for phase, found in options.items()}
        self.options = options
        for job in self.free:
            self._job(job)
        placed = [option for job in self.free for phase in self.layout.jobs[job] for option in options[phase]]
        placed = [option for option in placed if id(option) in self.column_of]
        self._crews(placed)
        self._rigs(placed, fixed)
        if plan.weights.idle_half_day:
            self._idle(placed, fixed)
        if plan.weights.unfair_hour:
            self._unfair(placed, fixed)

    # --- building ---

    def _row(self, low: float, high: float) -> int:
        self.row_low.append(low)
        self.row_high.append(high)
        return len(self.row_low) - 1

    def _column(self, cost: float, upper: float, entries: list[tuple[int, float]], *, whole: bool = False) -> int:
        self.costs.append(cost)
        self.upper.append(upper)
        self.whole.append(whole)
        self.entries.append(entries)
        return len(self.costs) - 1

    def _job(self, job: int) -> None:
        """Columns of a job: out, or a path through its phases."""
        begin = self._row(1.0, 1.0)
        self.out_column[job] = self._column(self.plan.penalty[job], 1.0, [(begin, 1.0)], whole=True)
        phases = self.layout.jobs[job]
        # Rows of this phase: one for each hour at which it may begin; the first phase begins from one row.
        rows: list[int] | None = None
        starts: list[int] = []
        for place, phase in enumerate(phases):
            following = phases[place + 1] if place + 1 < len(phases) else None
            next_starts = sorted({o.start for o in self.options[following]}) if following is not None else []
            next_rows = [self._row(0.0, 0.0) for _ in next_starts]
            reach: list[tuple[int, int, int]] = []  # first next start, last one, column
            for option in self.options[phase]:
                source = begin if rows is None else rows[bisect_left(starts, option.start)]
                # Into a row counts -1, out of it +1; the first row holds the 1 that flows.
                entries = [(source, 1.0)]
                if following is not None:
                    first = bisect_left(next_starts, self.layout.ready(following, option.end))
                    last = bisect_left(next_starts, self.layout.latest(following, option.end) + 1) - 1
                    if first > last:
                        continue
                    entries.append((next_rows[first], -1.0))
                    reach.append((first, last, len(self.costs)))
                self.column_of[id(option)] = self._column(option.cost, 1.0, entries, whole=True)
            if following is not None:
                self._waits(next_rows, reach, limited=self.layout.phases[following].most_lag is not None)
            rows, starts = next_rows, next_starts

    def _waits(self, rows: list[int], reach: list[tuple[int, int, int]], *, limited: bool) -> None:
        """Columns for waiting from one start to the next; what waits must be allowed to begin later still."""
        for index, (row, after) in enumerate(pairwise(rows)):
            entries = [(row, 1.0), (after, -1.0)]
            if limited:
                limit = self._row(-INFINITY, 0.0)
                entries.append((limit, 1.0))
                for first, last, column in reach:
                    if first <= index < last:
                        self.entries[column].append((limit, -1.0))
            self._column(0.0, 1.0, entries)

    def _crews(self, placed: Iterable[Option]) -> None:
        """At each hour at which something may begin, a crew is at one place."""
        by_crew: dict[int, list[Option]] = {}
        for option in placed:
            by_crew.setdefault(option.crew, []).append(option)
        for options in by_crew.values():
            starts = sorted({option.start for option in options})
            rows = [self._row(-INFINITY, 1.0) for _ in starts]
            for option in options:
                column = self.entries[self.column_of[id(option)]]
                for index in range(bisect_left(starts, option.start), bisect_left(starts, option.end)):
                    column.append((rows[index], 1.0))

    def _rigs(self, placed: Iterable[Option], fixed: Plan) -> None:
        """At each hour at which a rig may be taken, no more are out than there are."""
        by_class: dict[int, list[Option]] = {}
        for option in placed:
            if option.rig >= 0:
                by_class.setdefault(option.rig, []).append(option)
        staying: dict[int, set[int]] = {}
        for chain in fixed.chains:
            for option in chain or ():
                if option.rig >= 0:
                    staying.setdefault(option.rig, set()).add(option.start)
        for rig, options in by_class.items():
            starts = sorted({option.start for option in options} | staying.get(rig, set()))
            levels = fixed.rig_levels[rig]
            rows = [self._row(-INFINITY, len(levels) - sum(level >> hour & 1 for level in levels)) for hour in starts]
            for option in options:
                column = self.entries[self.column_of[id(option)]]
                for index in range(bisect_left(starts, option.start), bisect_left(starts, option.end)):
                    column.append((rows[index], 1.0))

    def _idle(self, placed: Iterable[Option], fixed: Plan) -> None:
        """Idle >= work in this half - anything in the other, for each half of each day of each crew."""
        terms: dict[tuple[int, int, int], list[tuple[int, float]]] = {}
        for option in placed:
            for this, other in option.beside:
                column = self.column_of[id(option)]
                if option.work:
                    terms.setdefault((option.crew, this, other), []).append((column, 1.0))
                terms.setdefault((option.crew, other, this), []).append((column, -1.0))
        for (crew, this, other), entries in terms.items():
            if other & fixed.taken[crew]:
                continue
            row = self._row(-INFINITY, -1.0 if this & fixed.worked[crew] else 0.0)
            for column, factor in entries:
                self.entries[column].append((row, factor))
            self._column(self.plan.weights.idle_half_day, INFINITY, [(row, -1.0)])

    def _unfair(self, placed: Iterable[Option], fixed: Plan) -> None:
        """Over >= hours of a crew - its share of the hours of all crews alike."""
        load_row: dict[int, int] = {}
        for group in self.layout.fair_groups:
            total_row = self._row(0.0, 0.0)
            over_rows = []
            for crew, _ in group:
                load_row[crew] = self._row(-fixed.hours[crew], -fixed.hours[crew])
                over_rows.append(self._row(-INFINITY, 0.0))
                # load = hours fixed + hours placed: placed - load = -fixed
                self._column(0.0, INFINITY, [(load_row[crew], -1.0), (total_row, 1.0), (over_rows[-1], 1.0)])
                self._column(self.plan.weights.unfair_hour, INFINITY, [(over_rows[-1], -1.0)])
            shares = [(row, -share) for row, (_, share) in zip(over_rows, group, strict=True)]
            self._column(0.0, INFINITY, [(total_row, -1.0), *shares])
        for option in placed:
            if option.crew in load_row:
                self.entries[self.column_of[id(option)]].append((load_row[option.crew], float(option.hours)))

    # --- solving ---

    def _solver(self, *, relaxed: bool, time_limit_s: float, seed: int, gap: float = 1e-9) -> Any:
        import highspy
        import numpy as np

        lengths = [len(column) for column in self.entries]
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = len(self.costs), len(self.row_low)
        lp.col_cost_ = np.array(self.costs)
        lp.col_lower_ = np.zeros(len(self.costs))
        lp.col_upper_ = np.array(self.upper)
        lp.row_lower_, lp.row_upper_ = np.array(self.row_low), np.array(self.row_high)
        lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
        lp.a_matrix_.start_ = np.concatenate(([0], np.cumsum(lengths))).astype(np.int32)
        lp.a_matrix_.index_ = np.array([row for column in self.entries for row, _ in column], dtype=np.int32)
        lp.a_matrix_.value_ = np.array([value for column in self.entries for _, value in column])
        if not relaxed:
            kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
            lp.integrality_ = [kinds[whole] for whole in self.whole]
        solver: Any = highspy.Highs()  # type: ignore[no-untyped-call]
        solver.setOptionValue("output_flag", False)
        solver.setOptionValue("time_limit", max(0.01, time_limit_s))
        solver.setOptionValue("random_seed", seed % (1 << 31))
        solver.setOptionValue("mip_rel_gap", gap)
        solver.setOptionValue("mip_abs_gap", 1e-7)
        solver.passModel(lp)
        return solver

    def relax(self, *, time_limit_s: float, seed: int = 0) -> Relaxation | None:
        """Optimum of the linear relaxation, None where the solver did not reach it."""
        import highspy

        solver = self._solver(relaxed=True, time_limit_s=time_limit_s, seed=seed)
        # Simplex takes 1 to 5 s on a month of sixty jobs, worst where crews are short; the interior point 1 to 2 s.
        solver.setOptionValue("solver", "ipm")
        solver.run()
        if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        solution = solver.getSolution()
        values, duals = list(solution.col_value), list(solution.col_dual)
        return Relaxation(
            solver.getInfo().objective_function_value,
            {key: (values[column], duals[column]) for key, column in self.column_of.items()},
            {job: (values[column], duals[column]) for job, column in self.out_column.items()},
        )

    def solve(self, *, time_limit_s: float, seed: int = 0, gap: float = 1e-9) -> Answer:
        """Solve the 0-1 program from where the plan stands; the status is read before any value.

        Started from a solution, HiGHS 1.16 may state an objective that is not that of its own columns (seen on problems
        of four phases) and stop there as if it were proven. Such an answer proves nothing and is asked for again
        without a start. `gap`: relative distance to the bound at which to stop.
        """
        until = perf_counter() + time_limit_s
        solver = self._solver(relaxed=False, time_limit_s=time_limit_s, seed=seed, gap=gap)
        self._start(solver)
        solver.run()
        if not self._consistent(solver) and (left := until - perf_counter()) > 0:
            solver = self._solver(relaxed=False, time_limit_s=left, seed=seed, gap=gap)
            solver.run()
        return self._answer(solver)

    def _consistent(self, solver: Any) -> bool:
        """Whether the objective that is stated is that of the columns."""
        values = solver.getSolution().col_value
        if len(values) != len(self.costs):
            return True  # no solution, nothing to compare
        cost = sum(each * value for each, value in zip(self.costs, values, strict=True))
        return bool(abs(cost - solver.getInfo().objective_function_value) <= 1e-6 * max(1.0, abs(cost)))

    def _start(self, solver: Any) -> None:
        """Hand in the plan's own places: every 0-1 column, so that nothing is left to guess."""
        import numpy as np

        chosen = set()
        for job in self.free:
            chain = self.plan.chains[job]
            if chain is None:
                chosen.add(self.out_column[job])
            elif all(id(option) in self.column_of for option in chain):
                chosen.update(self.column_of[id(option)] for option in chain)
            else:
                return
        columns = np.array([column for column, whole in enumerate(self.whole) if whole], dtype=np.int32)
        solver.setSolution(len(columns), columns, np.array([float(column in chosen) for column in columns]))

    def _answer(self, solver: Any) -> Answer:
        import highspy

        status = solver.getModelStatus()
        words = solver.modelStatusToString(status)
        known = (
            highspy.HighsModelStatus.kOptimal,
            highspy.HighsModelStatus.kTimeLimit,
            highspy.HighsModelStatus.kSolutionLimit,
        )
        info = solver.getInfo()
        feasible = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
        if status not in known or not feasible:
            return Answer(f"{words}, no plan", None, None, False)
        chains = self._chains(list(solver.getSolution().col_value))
        if not self._consistent(solver):
            # The places may serve all the same: they are costed and checked anew by whoever takes them.
            return Answer(f"{words}, but its objective is not that of its columns", chains, None, False)
        bound = info.mip_dual_bound if abs(info.mip_dual_bound) < 1e29 else None
        if chains is None:
            return Answer(f"{words}, but not 0 or 1", None, bound, False)
        return Answer(words, chains, bound, status == highspy.HighsModelStatus.kOptimal)

    def _chains(self, values: list[float]) -> dict[int, Chain | None] | None:
        """Places read from a solution, None where it does not say one thing for each phase."""
        if any(abs(value - round(value)) > INTEGRAL for value, whole in zip(values, self.whole, strict=True) if whole):
            return None
        found: dict[int, Chain | None] = {}
        for job in self.free:
            chain = []
            for phase in self.layout.jobs[job]:
                here = [
                    option
                    for option in self.options[phase]
                    if id(option) in self.column_of and values[self.column_of[id(option)]] > 0.5
                ]
                chain += here
            out = values[self.out_column[job]] > 0.5
            if out and not chain:
                found[job] = None
            elif not out and [option.phase for option in chain] == self.layout.jobs[job]:
                found[job] = tuple(chain)
            else:
                return None
        return found


def _fixed(plan: Plan, free: Iterable[int]) -> Plan:
    """The plan without the free jobs."""
    rest = Plan(plan.layout)
    out = set(free)
    for job, chain in enumerate(plan.chains):
        if chain is not None and job not in out:
            rest.put(job, chain)
    return rest


def applied(plan: Plan, chains: Mapping[int, Chain | None]) -> Plan:
    """A new plan with other places for some jobs."""
    new = _fixed(plan, chains)
    for job, chain in chains.items():
        if chain is not None:
            new.put(job, chain)
    return new


def guided_order(layout: Layout, relaxation: Relaxation) -> list[int]:
    """Jobs by the mean start of their first phase in the relaxation, those that it leaves out last."""
    keys: dict[int, tuple[bool, float, int]] = {}
    for job, phases in enumerate(layout.jobs):
        first = [(o.start, relaxation.options.get(id(o), (0.0, 0.0))[0]) for o in layout.options[phases[0]]]
        weight = sum(value for _, value in first)
        start = sum(start * value for start, value in first) / weight if weight > 1e-9 else INFINITY
        keys[job] = (relaxation.left_out.get(job, (0.0, 0.0))[0] > 0.5, start, job)
    return sorted(keys, key=keys.__getitem__)
