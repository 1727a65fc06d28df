"""From rows to a problem of the schedule: crews, rigs, days with their weather, jobs with what is still to be done.

What has been worked, or is under way, is not planned again: its hours are taken out of the crew's day. Everything that
is booked beyond that is told to the solvers as promised, so that they move as little of it as they can.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

from jobs.models import Crew, DayWeather, Phase, PhaseKind, Rig, Visit
from jobs.schedule_check import placement_faults
from jobs.schedule_crew_rows import crew_id, days_away, going_out, kits_of, plan_crews, plan_rigs
from jobs.schedule_job_rows import Blocked, JobReader, phase_id
from jobs.schedule_problem import Placement, PlanDay, ScheduleProblem, json_form
from jobs.schedule_words import in_words

PLAN_DAYS = 42
"""Days that are planned at once: six weeks."""

RAIN_CHANCE = 0.5
"""Chance of rain from which a day counts as wet. [1] Common practice, no source."""


@dataclass(slots=True)
class Board:
    """Everything that is read for planning. Ids of the problem: `c`, `r`, `p` and the key of the row."""

    first: date
    problem: ScheduleProblem
    placed: tuple[Placement, ...]
    names: dict[str, str]
    phases: dict[str, Phase]
    crews: dict[str, Crew]
    rigs: dict[str, Rig]
    kits: dict[str, Rig]
    loose: dict[int, list[Visit]]
    blocked: list[Blocked]
    broken: dict[int, str]
    holidays: dict[date, str]
    weather: dict[date, DayWeather]
    earliest: dict[int, str]

    @property
    def digest(self) -> str:
        """What a proposal was made from; another one says that rows changed meanwhile."""
        versions = sorted((visit.pk, visit.version) for visits in self.loose.values() for visit in visits)
        text = json.dumps([json_form(self.problem), versions], sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()

    def said(self, words: str) -> str:
        """A sentence of the solvers with names instead of ids, and days as the pages write them."""
        return in_words(words, self.names)

    def placement(self, phase: Phase) -> Placement | None:
        """Where a phase is booked, None where it is not or cannot be moved."""
        return next((one for one in self.placed if one.phase == phase_id(phase)), None)


@lru_cache(maxsize=16)
def federal_holidays(year: int) -> dict[date, str]:
    """Federal holidays of a year by day, days on which they are observed included."""
    import holidays

    return dict(holidays.country_holidays("US", years=[year], observed=True).items())


# --- days -------------------------------------------------------------------------------------------------------------


def read_board(first: date, *, days: int = PLAN_DAYS) -> Board:
    """Read what there is to plan from a day on.

    Parameters
    ----------
    first : first day that may be planned; visits before it, and those of phases under way, stay as they are.
    days : days of the horizon. [day]

    Returns
    -------
    Board : the problem, what is booked, what is broken and what cannot be planned, with why.
    """
    last = first + timedelta(days=days - 1)
    crews = list(going_out())
    away = days_away(first, last)
    holidays = {day: name for day, name in federal_holidays(first.year).items() if first <= day <= last}
    holidays |= {day: name for day, name in federal_holidays(last.year).items() if first <= day <= last}
    weather = {row.day: row for row in DayWeather.objects.filter(day__range=(first, last))}
    reader = JobReader(first, last, crews, away, holidays)
    reader.read()
    rigs = list(Rig.objects.filter(is_active=True))
    kits = kits_of(crews)
    problem = ScheduleProblem(
        days=tuple(_days(first, days, crews, holidays, weather, reader.least_f)),
        crews=tuple(plan_crews(crews, kits, away, reader.taken, first)),
        rigs=tuple(plan_rigs(rigs, away, reader.taken_rigs)),
        jobs=tuple(reader.jobs),
        promised=tuple(reader.placed),
    )
    board = Board(
        first=first,
        problem=problem,
        placed=tuple(reader.placed),
        names=_names(reader.all_crews.values(), rigs, reader.phases),
        phases={phase_id(phase): phase for phase in reader.phases},
        crews={crew_id(crew): crew for crew in crews},
        rigs={f"r{rig.pk}": rig for rig in rigs},
        kits=kits,
        loose=reader.loose,
        blocked=reader.blocked,
        broken=reader.broken,
        holidays=holidays,
        weather=weather,
        earliest=reader.earliest,
    )
    _mark_faults(board)
    return board


def _mark_faults(board: Board) -> None:
    """Mark visits that no longer keep the rules: a gate, the weather, the days between phases."""
    for fault in placement_faults(board.problem, board.placed):
        phase = board.phases.get(fault.about)
        if fault.rule == "whole-job" or phase is None:
            continue
        for visit in board.loose.get(phase.pk, ()):
            board.broken.setdefault(visit.pk, board.said(fault.words))


def _days(
    first: date,
    days: int,
    crews: Iterable[Crew],
    holidays: dict[date, str],
    weather: dict[date, DayWeather],
    least_f: float | None,
) -> Iterator[PlanDay]:
    worked = {int(day) for crew in crews for day in crew.works_on}
    for number in range(days):
        on = first + timedelta(days=number)
        row = weather.get(on)
        blocked: tuple[str, ...] = ()
        why = holidays.get(on, "")
        if row is not None and least_f is not None and float(row.high_f) < least_f:
            blocked = (PhaseKind.INJECT.value,)
            why = why or f"a high of {float(row.high_f):g} degF, the foam wants {least_f:g} degF"
        yield PlanDay(
            on,
            worked=on.isoweekday() in worked and on not in holidays,
            low_f=None if row is None else float(row.low_f),
            rain=row is not None and float(row.rain_chance) >= RAIN_CHANCE,
            blocked=blocked,
            why=why,
        )


def _names(crews: Iterable[Crew], rigs: Iterable[Rig], phases: Iterable[Phase]) -> dict[str, str]:
    names = {crew_id(crew): crew.name for crew in crews} | {f"r{rig.pk}": rig.name for rig in rigs}
    return names | {phase_id(p): f"{p.get_kind_display().lower()} of {p.job.number}" for p in phases}
