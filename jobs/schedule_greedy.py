"""Plans by putting in one job after the other at its cheapest place, and by taking some out and putting them in again.

The place of one job among the others is exact (a shortest path through its phases); only the order of jobs is guessed.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Iterable, Sequence
from time import perf_counter

from jobs.schedule_layout import Layout, Option

Chain = tuple[Option, ...]
"""One option for each phase of a job."""


class Plan:
    """A plan in the making: which option each phase has, and what is taken by that."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.weights = layout.problem.weights
        self.chains: list[Chain | None] = [None] * len(layout.jobs)
        self.taken = [0] * len(layout.problem.crews)
        self.worked = [0] * len(layout.problem.crews)
        self.hours = [0] * len(layout.problem.crews)
        self.rig_levels = [[0] * len(ids) for ids in layout.rig_classes]
        jobs = layout.problem.jobs
        ids = {phase.id: number for number, job in enumerate(jobs) for phase in job.phases}
        self.penalty = [
            self.weights.unscheduled * jobs[ids[layout.phases[phases[0]].id]].weight for phases in layout.jobs
        ]

    def put(self, job: int, chain: Chain) -> None:
        """Give a job its places."""
        self.chains[job] = chain
        for option in chain:
            self.taken[option.crew] |= option.mask
            self.hours[option.crew] += option.hours
            if option.work:
                self.worked[option.crew] |= option.mask
            if option.rig >= 0:
                carry, levels = option.rig_mask, self.rig_levels[option.rig]
                for level, used in enumerate(levels):
                    levels[level], carry = used | carry, used & carry

    def take(self, job: int) -> Chain | None:
        """Take a job out and return its places."""
        chain = self.chains[job]
        self.chains[job] = None
        for option in chain or ():
            self.taken[option.crew] &= ~option.mask
            self.worked[option.crew] &= ~option.mask
            self.hours[option.crew] -= option.hours
            if option.rig >= 0:
                rest, levels = option.rig_mask, self.rig_levels[option.rig]
                for level in range(len(levels) - 1, -1, -1):
                    cleared = levels[level] & rest
                    levels[level] &= ~cleared
                    rest &= ~cleared
        return chain

    def free(self, phase: int) -> list[Option]:
        """Options of a phase that collide with nothing."""
        taken = self.taken
        full = [levels[-1] for levels in self.rig_levels]
        return [
            option
            for option in self.layout.options[phase]
            if not option.mask & taken[option.crew] and not (option.rig >= 0 and option.rig_mask & full[option.rig])
        ]

    def _cost(self, option: Option, priced: float) -> float:
        """Cost of an option beside what is there: its own, its prices, and half-days that it leaves empty or fills."""
        cost = option.cost + priced * option.price
        if not option.beside or not self.weights.idle_half_day:
            return cost
        taken, worked, idle = self.taken[option.crew], self.worked[option.crew], 0
        for this, other in option.beside:
            if option.work and not other & taken:
                idle += 1
            elif other & worked and not this & taken:
                idle -= 1
        return cost + idle * self.weights.idle_half_day

    def best_chain(
        self, job: int, noise: random.Random | None = None, spread: float = 0.0, priced: float = 0.0
    ) -> tuple[float, Chain] | None:
        """The cheapest place for a job among those that are in, None where there is none.

        `priced`: how much of the prices of crews and rigs counts beside the cost (`Option.price`).
        """
        # ends: (end of the phase before, cost so far, its options), by end, the cheapest of each end only
        ends: list[tuple[int, float, Chain]] = [(-1, 0.0, ())]
        for place, phase in enumerate(self.layout.jobs[job]):
            best: dict[int, tuple[float, Chain]] = {}
            window: deque[tuple[float, int, Chain]] = deque()  # cost rises from the left; what is left of it is older
            if place:
                ready = [(self.layout.ready(phase, e), self.layout.latest(phase, e), c, h) for e, c, h in ends]
            else:
                ready = [(-1, 1 << 40, 0.0, ())]
            next_end = 0
            for option in self.free(phase):
                while next_end < len(ready) and ready[next_end][0] <= option.start:
                    _, latest, cost, chain = ready[next_end]
                    while window and window[-1][0] >= cost:
                        window.pop()
                    window.append((cost, latest, chain))
                    next_end += 1
                while window and window[0][1] < option.start:
                    window.popleft()
                if not window:
                    continue
                cost = window[0][0] + self._cost(option, priced)
                if noise is not None:
                    cost += noise.random() * spread
                known = best.get(option.end)
                if known is None or cost < known[0] - 1e-9:
                    best[option.end] = (cost, (*window[0][2], option))
            ends = [(end, *best[end]) for end in sorted(best)]
            if not ends:
                return None
        _, cost, chain = min(ends, key=lambda entry: (entry[1], entry[0]))
        return cost, chain

    def insert(self, job: int, noise: random.Random | None = None, spread: float = 0.0, priced: float = 0.0) -> None:
        """Put a job at its cheapest place, or leave it out where that costs less or there is no place."""
        found = self.best_chain(job, noise, spread, priced)
        if found is not None and sum(option.cost for option in found[1]) < self.penalty[job]:
            self.put(job, found[1])

    def cost(self) -> float:
        """Cost of the plan as it stands."""
        total = 0.0
        for job, chain in enumerate(self.chains):
            total += self.penalty[job] if chain is None else sum(option.cost for option in chain)
        if self.weights.idle_half_day:
            total += self.weights.idle_half_day * self.idle_half_days()
        if self.weights.unfair_hour:
            for group in self.layout.fair_groups:
                hours = sum(self.hours[crew] for crew, _ in group)
                total += self.weights.unfair_hour * sum(max(0.0, self.hours[crew] - s * hours) for crew, s in group)
        return total

    def idle_half_days(self) -> int:
        """Half-days left empty on days on which the crew works the other half."""
        idle = 0
        for crew, halves in enumerate(self.layout.halves):
            taken, worked = self.taken[crew], self.worked[crew]
            for one, other in halves:
                if (worked & one and not taken & other) or (worked & other and not taken & one):
                    idle += 1
        return idle

    def twin(self) -> Plan:
        """The same plan once more, to be changed apart."""
        other = Plan(self.layout)
        other.restore(self.chains)
        return other

    def copy(self) -> list[Chain | None]:
        """What `restore` takes."""
        return list(self.chains)

    def restore(self, chains: Sequence[Chain | None]) -> None:
        """Put the plan back to a copy."""
        for job, chain in enumerate(chains):
            if self.chains[job] is not chain:
                self.take(job)
        for job, chain in enumerate(chains):
            if chain is not None and self.chains[job] is None:
                self.put(job, chain)


def due_order(layout: Layout) -> list[int]:
    """Jobs by due date, the heavier first among equals: the plain rule that everything else must beat."""
    jobs = {phase.id: job for job in layout.problem.jobs for phase in job.phases}

    def key(number: int) -> tuple[float, float, int]:
        job = jobs[layout.phases[layout.jobs[number][0]].id]
        return (float(job.due.toordinal()) if job.due else 1e9, -job.weight, number)

    return sorted(range(len(layout.jobs)), key=key)


def greedy(layout: Layout, order: Iterable[int] | None = None) -> Plan:
    """Put in every job in an order, earliest due date first by default."""
    plan = Plan(layout)
    for job in due_order(layout) if order is None else order:
        plan.insert(job)
    return plan


def multistart(layout: Layout, *, until: float, rng: random.Random, most: int = 10_000) -> Plan:
    """The best of many greedy plans, orders by due date shaken more and more; the first is the plain rule.

    Parameters
    ----------
    until : reading of `time.perf_counter` at which to stop. [s]
    rng : source of the random keys.
    most : most starts.
    """
    base = due_order(layout)
    best = greedy(layout, base)
    best_cost = best.cost()
    size = max(1, len(base))
    for start in range(1, most):
        if perf_counter() >= until:
            break
        shake = size * (0.05 + 0.45 * rng.random())
        keys = {job: place + rng.uniform(-shake, shake) for place, job in enumerate(base)}
        if start % 4 == 0:
            # Jobs with few places to go are hard to put in late.
            keys = {
                job: key - 0.5 * shake / (1 + len(layout.options[layout.jobs[job][0]])) for job, key in keys.items()
            }
        plan = greedy(layout, sorted(base, key=keys.__getitem__))
        cost = plan.cost()
        if cost < best_cost - 1e-9:
            best, best_cost = plan, cost
    return best


def guided(layout: Layout, order: Sequence[int], *, until: float, rng: random.Random, most: int = 10_000) -> Plan:
    """The best of many greedy plans in about the given order, jobs put where cost and prices together are least.

    Parameters are those of `multistart`; prices stand in the options.
    """
    best: Plan | None = None
    best_cost = float("inf")
    for start in range(most):
        if start and perf_counter() >= until:
            break
        shake = rng.random() * 0.15 * len(order) if start else 0.0
        keys = {job: place + rng.uniform(-shake, shake) for place, job in enumerate(order)}
        plan = Plan(layout)
        for job in sorted(order, key=keys.__getitem__):
            plan.insert(job, priced=1.0 if start % 3 else 0.8)
        cost = plan.cost()
        if cost < best_cost - 1e-9:
            best, best_cost = plan, cost
    return best or Plan(layout)


def reinsert(plan: Plan, *, until: float, rng: random.Random, most: int = 1_000_000, priced: float = 0.0) -> int:
    """Take a few jobs out and put them in again in another order, as long as that does not cost more; how many tries.

    The plan is the best one found afterwards, never a dearer one than it was.
    """
    jobs = len(plan.layout.jobs)
    if not jobs:
        return 0
    current = best_cost = plan.cost()
    best = plan.copy()
    started, tries = perf_counter(), 0
    temperature0 = 0.004 * best_cost
    while tries < most and (now := perf_counter()) < until:
        tries += 1
        left = (until - now) / max(1e-9, until - started)
        temperature = temperature0 * left * left
        before = plan.copy()
        chosen = _some_jobs(plan, rng)
        for job in chosen:
            plan.take(job)
        rng.shuffle(chosen)
        spread, share = rng.choice((0.0, 0.0, 20.0)), rng.choice((0.0, priced, 0.5 * priced))
        for job in chosen:
            plan.insert(job, rng if spread else None, spread, share)
        cost = plan.cost()
        if cost <= current + 1e-9 or cost < current + temperature * rng.expovariate(1.0):
            current = cost
            if cost < best_cost - 1e-9:
                best, best_cost = plan.copy(), cost
        else:
            plan.restore(before)
    plan.restore(best)
    return tries


def _some_jobs(plan: Plan, rng: random.Random) -> list[int]:
    """A few jobs that get in each other's way: near in time or of one crew, and some that are out."""
    inside = [job for job, chain in enumerate(plan.chains) if chain is not None]
    outside = [job for job, chain in enumerate(plan.chains) if chain is None]
    chosen = set(rng.sample(outside, min(len(outside), rng.randint(1, 3)))) if outside else set()
    if inside:
        seed = plan.chains[rng.choice(inside)]
        assert seed is not None
        anchor = rng.choice(seed)
        wanted = rng.randint(2, 6)

        def distance(job: int) -> float:
            return (
                min(
                    abs(option.start - anchor.start) + (0 if option.crew == anchor.crew else 30)
                    for option in plan.chains[job] or ()
                )
                + rng.random() * 48
            )

        chosen.update(sorted(inside, key=distance)[:wanted])
    return list(chosen)
