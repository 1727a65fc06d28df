"""What the page of a job shows, put together from its rows and from the estimate that was signed. No prices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from django.utils.safestring import SafeString, mark_safe

from estimates.drawing import elevation, to_svg
from estimates.physics.validity import OutOfRange
from estimates.start import EarliestStart, StartGate, earliest_start
from jobs.booking import frozen_forms
from jobs.found_walls import layout_of, record_of
from jobs.models import BayState, Job, JobGate, JobWall, Phase, RigKind, Skill, Visit
from jobs.phase_plan import kit_list, option_form
from jobs.start_gates import start_gates

DRAWING_PX, PHONE_PX = 544.0, 318.0
"""Width of an elevation where there is room for it, and on the smallest phone. [CSS px]"""


@dataclass(frozen=True, slots=True)
class PhaseRow:
    """A phase in words: what follows after what, and who is planned when."""

    phase: Phase
    hours: float
    lag: str
    skills: str
    rig: str
    visits: tuple[Visit, ...]


@dataclass(frozen=True, slots=True)
class WallView:
    """A wall with its drawing, "" where it is known by figures only, and how many bays are in which state."""

    wall: JobWall
    svg: SafeString | str
    counts: tuple[tuple[str, int], ...]
    waits_for: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class JobPicture:
    """The parts of the page of a job."""

    option_name: str
    start: EarliestStart
    certificates: tuple[StartGate, ...]
    gates: tuple[JobGate, ...]
    phases: tuple[PhaseRow, ...]
    walls: tuple[WallView, ...]
    kit: tuple[tuple[str, float, str], ...]


def job_picture(job: Job, *, today: date) -> JobPicture:
    """Put the page of a job together; the number of queries does not grow with the job.

    Parameters
    ----------
    job : with its revision.
    today : from which day on a start is looked for.
    """
    forms = frozen_forms(job)
    walls = list(job.walls.prefetch_related("bays"))
    gates = tuple(job.gates.select_related("met_by"))
    lead_safe = any(wall.lead_safe for wall in walls)
    every = start_gates(job, lead_safe=lead_safe)
    held = {gate.name for gate in gates}
    waiting = {key: tuple(g.name for g in gates if g.met_on is None and key in g.walls) for key in _keys(walls)}
    book = forms["price_book"]
    return JobPicture(
        option_name=option_form(forms, job.option)["name"],
        start=earliest_start(every, not_before=today),
        certificates=tuple(gate for gate in every if gate.name not in held),
        gates=gates,
        phases=tuple(phase_rows(job)),
        walls=tuple(
            WallView(wall, wall_drawing(wall, year_built=forms["house"]["year_built"]), counts(wall), waiting[wall.key])
            for wall in walls
        ),
        kit=kit_list(forms, job.option, foam=book["foams"][0], loose=book["loose_fills"][0]),
    )


def _keys(walls: list[JobWall]) -> list[str]:
    return [wall.key for wall in walls]


def phase_rows(job: Job) -> list[PhaseRow]:
    """The phases of a job in their order."""
    phases = job.phases.prefetch_related("visits__crew")
    rows: list[PhaseRow] = []
    for phase in phases:
        skills = ", ".join(Skill(skill).label for skill in phase.skills)
        rig = RigKind(phase.rig_kind).label if phase.rig_kind else ""
        rows.append(
            PhaseRow(
                phase,
                float(phase.hours),
                lag_words(phase, first=not rows),
                skills.capitalize(),
                rig,
                tuple(phase.visits.all()),
            )
        )
    return rows


def lag_words(phase: Phase, *, first: bool) -> str:
    """How long after the phase before this one starts, in words.

    Examples
    --------
    >>> lag_words(Phase(least_lag=0, most_lag=3), first=False), lag_words(Phase(least_lag=20), first=False)
    ('the same day to 3 working days after', 'at least 20 working days after')
    >>> lag_words(Phase(least_lag=0), first=False), lag_words(Phase(least_lag=1, most_lag=1), first=False)
    ('any day after', '1 working day after')
    """
    if first:
        return "comes first"
    least, most = phase.least_lag, phase.most_lag
    if most is None:
        return f"at least {_days(least)} after" if least else "any day after"
    if most == 0:
        return "the same day"
    if least == most:
        return f"{_days(most)} after"
    return f"{least or 'the same day'} to {_days(most)} after"


def _days(count: int) -> str:
    return f"{count} working day{'' if count == 1 else 's'}"


def counts(wall: JobWall) -> tuple[tuple[str, int], ...]:
    """How many bays of a wall are in which state, in the order of the work; states without a bay are left out."""
    found: dict[str, int] = {}
    for bay in wall.bays.all():
        if not bay.retired:
            found[bay.state] = found.get(bay.state, 0) + 1
    return tuple((state.label, found[state]) for state in BayState if state in found)


def wall_drawing(wall: JobWall, *, year_built: int) -> SafeString | str:
    """Draw a wall as it was found, each bay in its state; "" where it has no layout to draw."""
    if not wall.drawn:
        return ""
    try:
        layout = layout_of(wall, year_built=year_built)
    except OutOfRange:
        # What was found no longer fits the wall; the crew sheet says so, the page goes on without the drawing.
        return ""
    numbers = {bay.number for bay in layout.bays}
    states: Mapping[int, str] = {
        bay.number: bay.state for bay in wall.bays.all() if not bay.retired and bay.number in numbers
    }
    drawing = elevation(layout, record_of(wall), states, shown_px=PHONE_PX)
    title = f"{wall.name}, seen from outside, each bay in its state"
    # The writer escapes every name it is given.
    return mark_safe(to_svg(drawing, title=title, width=DRAWING_PX, key=f"job-wall-{wall.key}"))  # noqa: S308
