"""Why each phase lands where it does, and which rule stops a job that cannot be placed."""

from __future__ import annotations

from datetime import date

from jobs.schedule_greedy import Plan
from jobs.schedule_layout import Layout, Option, Rule, able, day_stops, inside, lay_out
from jobs.schedule_problem import FREEZING_F, Job, LagDays, LeftOut, Phase, Why

WORDS = {
    Rule.EARLIEST: "the earliest start",
    Rule.CUSTOMER: "the customer's days",
    Rule.WEATHER: "the weather",
    Rule.SKILL: "the skills of the crews",
    Rule.SIZE: "the size of the crews",
    Rule.RIG: "the rigs",
    Rule.ABSENCE: "absences",
    Rule.LAG: "the days between its phases",
    Rule.PIN: "its pins",
    Rule.OTHERS: "other jobs",
}

LIFTED = tuple(rule for rule in Rule if rule != Rule.OTHERS)
"""Rules lifted one at a time, in the order in which they are named."""


def reasons(plan: Plan) -> tuple[Why, ...]:
    """For each phase of a plan, what keeps it from beginning earlier."""
    layout = plan.layout
    owners = {phase.id: job for job, phase in layout.problem.phases()}
    found = []
    for chain in plan.chains:
        before: Option | None = None
        for option in chain or ():
            phase = layout.phases[option.phase]
            rule, words = _reason(plan, owners[phase.id], phase, option, before)
            found.append(Why(phase.id, rule, words))
            before = option
    return tuple(found)


def _reason(plan: Plan, job: Job, phase: Phase, option: Option, before: Option | None) -> tuple[str, str]:
    layout = plan.layout
    on = layout.problem.days[option.parts[0][0]].on
    if phase.pinned_day is not None:
        return Rule.PIN, f"It is pinned to {phase.pinned_day}."
    earlier = [
        other
        for other in layout.options[option.phase]
        if other.start < option.start
        and (before is None or layout.ready(option.phase, before.end) <= other.start)
        and (before is None or other.start <= layout.latest(option.phase, before.end))
    ]
    if earlier:
        return _beaten(plan, option, earlier)
    first, rule, words = _first_day(layout, job, phase, option, before)
    for day in range(option.parts[0][0] - 1, first - 1, -1):
        plan_day = layout.problem.days[day]
        if not plan_day.worked:
            continue
        if inside(plan_day.on, job.away):
            return Rule.CUSTOMER, f"The customer cannot have us on {plan_day.on}; the next day that fits is {on}."
        if stops := day_stops(plan_day, phase):
            return Rule.WEATHER, f"Weather: {plan_day.on} {stops}."
        crews = [index for index, crew in enumerate(layout.problem.crews) if able(crew, phase)]
        if not any(half.day == day and not half.away for index in crews for half in layout.rosters[index]):
            return Rule.ABSENCE, f"No crew that can do it works on {plan_day.on}."
        return _met_later(layout, job, phase, day)
    return rule, words


def _met_later(layout: Layout, job: Job, phase: Phase, first: int) -> tuple[str, str]:
    """What a phase begun on a day that fits would meet afterwards."""
    begun = layout.problem.days[first].on
    for plan in layout.problem.days[first + 1 :]:
        if plan.worked and inside(plan.on, job.away):
            return Rule.CUSTOMER, f"Begun on {begun}, it would not be done before the customer's day {plan.on}."
        if plan.worked and (stops := day_stops(plan, phase)):
            return Rule.WEATHER, f"Begun on {begun}, it would meet weather on {plan.on}: {stops}."
        if phase.frost_free_days and plan.low_f is not None and plan.low_f <= FREEZING_F:
            return Rule.WEATHER, f"Begun on {begun}, it would not be dry before the frost of {plan.on}."
    return Rule.ABSENCE, f"Begun on {begun}, it would run into absences or the end of the days planned."


def _beaten(plan: Plan, option: Option, earlier: list[Option]) -> tuple[str, str]:
    """An earlier start was possible by the rules: who has it, or what it would cost."""
    layout = plan.layout
    earlier.sort(key=lambda other: (other.start, other.crew == option.crew, -other.cost), reverse=True)

    def busy(other: Option) -> int:
        """Hours of the crew that others have."""
        return other.mask & plan.taken[other.crew] & ~(option.mask if other.crew == option.crew else 0)

    def out(other: Option) -> int:
        """Hours at which others have every rig of the kind."""
        if other.rig < 0:
            return 0
        return other.rig_mask & plan.rig_levels[other.rig][-1] & ~(option.rig_mask if other.rig == option.rig else 0)

    idle = [other for other in earlier if not busy(other)]
    free = next((other for other in idle if not out(other)), None)
    if free is not None:
        on = layout.problem.days[free.parts[0][0]].on
        return "cost", f"It could begin on {on}, but no plan found costs less in travel, idle half-days and lateness."
    wanted = (idle or earlier)[0]
    on = layout.problem.days[wanted.parts[0][0]].on
    holder = next(
        other
        for chain in plan.chains
        for other in chain or ()
        if other.phase != option.phase
        and (
            (other.rig_mask & wanted.rig_mask and other.rig == wanted.rig)
            if idle
            else (other.mask & wanted.mask and other.crew == wanted.crew)
        )
    )
    name = layout.phases[holder.phase].id
    if idle:
        return Rule.RIG, f"The rig is with {name} on {on}."
    crew = layout.problem.crews[wanted.crew]
    return Rule.OTHERS, f"Other jobs: {crew.name or crew.id} is with {name} on {on}."


def _first_day(layout: Layout, job: Job, phase: Phase, option: Option, before: Option | None) -> tuple[int, str, str]:
    """First day on which it might have begun as far as gates and the phase before go, and which of them says so."""
    days = layout.problem.days
    limits: list[tuple[date, str, str]] = [(days[0].on, "horizon", "It begins on the first day it can.")]
    if job.earliest is not None:
        limits.append((job.earliest, Rule.EARLIEST, f"Earliest start {job.earliest}{_gate(job)}."))
    if phase.not_before is not None:
        limits.append((phase.not_before, Rule.EARLIEST, f"Not before {phase.not_before}."))
    if before is not None:
        ready = min(layout.ready(option.phase, before.end) // 24, len(days) - 1)
        unit = ("" if phase.lag_days == LagDays.CALENDAR else "working ") + ("day" if phase.least_lag == 1 else "days")
        lag = f", and {phase.least_lag} {unit} of waiting" if phase.least_lag else ""
        words = f"It follows {layout.phases[before.phase].id}, which ends on {days[(before.end - 1) // 24].on}{lag}."
        limits.append((days[ready].on, Rule.LAG, words))
    day, rule, words = max(limits, key=lambda limit: (limit[0], limit[1] != "horizon"))
    index = next((index for index, plan in enumerate(days) if plan.on >= day), len(days))
    return index, rule, words


def _gate(job: Job) -> str:
    return f" ({job.gate})" if job.gate else ""


# --- jobs left out ----------------------------------------------------------------------------------------------------


def left_out(plan: Plan) -> tuple[LeftOut, ...]:
    """For each job left out, the rules that stop it: each was lifted alone and the job tried again."""
    layout = plan.layout
    owners = {phase.id: job for job, phase in layout.problem.phases()}
    out = {
        number: owners[layout.phases[layout.jobs[number][0]].id]
        for number, chain in enumerate(plan.chains)
        if not chain
    }
    if not out:
        return ()
    ids = {job.id for job in out.values()}
    lifted: dict[Rule, Layout] = {rule: lay_out(layout.problem, only=ids, lifted=frozenset({rule})) for rule in LIFTED}
    everything = lay_out(layout.problem, only=ids, lifted=frozenset(LIFTED))
    empty = Plan(layout)
    found = []
    for place, (number, job) in enumerate(out.items()):  # `only` keeps the order of the jobs
        if empty.best_chain(number) is not None:
            found.append(_crowded_out(plan, number, job, place, lifted))
            continue
        rules = tuple(rule for rule in LIFTED if Plan(lifted[rule]).best_chain(place) is not None)
        if rules:
            words = f"Stopped by {' and by '.join(WORDS[rule] for rule in rules)}."
            if len(rules) > 1:
                words += " Lifting one of them would do."
        elif Plan(everything).best_chain(place) is not None:
            words = "Several rules together stop it; lifting one alone does not help."
        else:
            words = "It takes longer than the days planned; plan more days."
        found.append(LeftOut(job.id, rules, words))
    return tuple(found)


def _crowded_out(plan: Plan, number: int, job: Job, place: int, lifted: dict[Rule, Layout]) -> LeftOut:
    """A job that would fit alone."""
    chain = plan.best_chain(number)
    if chain is not None:
        words = f"Leaving it out costs {plan.penalty[number]:.0f}, its cheapest place left {chain[0]:.0f}."
        return LeftOut(job.id, ("cost",), words)
    rules = []
    for rule in LIFTED:
        beside = Plan(lifted[rule])
        beside.taken, beside.worked = plan.taken, plan.worked
        beside.rig_levels = plan.rig_levels
        if beside.best_chain(place) is not None:
            rules.append(rule)
    words = "Other jobs have every place that it could take."
    if rules:
        words += f" There would be one but for {' or '.join(WORDS[rule] for rule in rules)}."
    return LeftOut(job.id, (Rule.OTHERS, *rules), words)
