"""The work as reports: what is sold and not worked, how fast and how fully walls fill, leakage and call-backs."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Q, Sum
from django.utils import timezone

from estimates.records import read_record
from jobs.entry_records import DensityRecord, HoursRecord, MixRecord
from jobs.models import (
    Bay,
    BayState,
    Crew,
    CrewEntry,
    EntryKind,
    HouseTest,
    JobStatus,
    Phase,
    PhaseKind,
    PhaseStatus,
    Visit,
)
from reports.answers import Answer, Chart, counted, each, percent
from reports.asked import Asked
from reports.charts import VERMILLION, Bar, Line, Point, bar_figure, control_figure, square_figure, time_figure
from reports.exports.tables import Column, Kind, Table
from reports.frames_jobs import finished_jobs, job_frame
from reports.frames_sales import FEW_BARS

if TYPE_CHECKING:
    import pandas as pd

WEEKS_SHOWN = 12
"""Weeks ahead of which the plan is shown."""

LIMIT_FACTOR = 3 * math.sqrt(math.pi) / 2
"""From the mean moving range of single values to three standard deviations: 3 / d2, where d2 = 2 / sqrt(pi) is the mean
distance of two normal values with a standard deviation of 1. Source: derived (D); handbooks of statistics print 2.66,
among them the NIST/SEMATECH e-Handbook 6.3.2.2, from memory (M)."""

FEWEST_POINTS = 8
"""Fewer values give no limits worth drawing. Common practice, no source."""


# --- Backlog ---------------------------------------------------------------------------------------------------------


def _people(crews: Iterable[Crew]) -> dict[int, int]:
    return {crew.pk: len(crew.people) for crew in crews}


def backlog(asked: Asked) -> Answer:
    """What is sold and not worked yet, in crew-days and weeks, and how much of it is planned.

    Notes
    -----
    A crew-day is people x hours of the working day of the crew, taken over all crews; a week is what all of them can
    work in one. Hours that were reported on a phase are taken off it. Five queries.
    """
    crews = [crew for crew in Crew.objects.prefetch_related("members__worker") if crew.people and crew.is_active]
    if asked.crew:
        crews = [crew for crew in crews if str(crew.code) == asked.crew]
    people = _people(crews)
    week = sum(people[crew.pk] * (crew.last_hour - crew.first_hour) * len(crew.works_on) for crew in crews)
    days = sum(len(crew.works_on) for crew in crews)
    crew_day = week / days if days else 0.0
    hours, left, jobs = _hours_left()
    coming, weeks = _planned(people, asked.today)
    total, planned = sum(left.values()), sum(coming.values())
    rows = [
        [PhaseKind(kind).label, jobs[kind], hours[kind], left[kind], left[kind] / crew_day if crew_day else None,
         coming.get(kind, 0.0)]
        for kind in PhaseKind.values
        if left.get(kind)
    ]  # fmt: skip
    columns = (
        Column("Work"), Column("Jobs", Kind.NUMBER, 0), Column("Hours sold", Kind.NUMBER, 1),
        Column("Hours left", Kind.NUMBER, 1), Column("Crew-days left", Kind.NUMBER, 1),
        Column("Hours planned", Kind.NUMBER, 1),
    )  # fmt: skip
    if not total:
        title = "Nothing that is sold waits to be worked."
    elif not crew_day:
        title = f"{total:,.0f} hours are sold and not worked yet, and no crew has anybody on it."
    else:
        all_crews = counted(len(crews), "crew")
        title = (
            f"{total / crew_day:,.1f} crew-days are sold and not worked yet: {total / week:.1f} weeks of {all_crews}; "
            f"{percent(min(1.0, planned / total))} of the hours stand in the schedule."
        )
    chart = Chart(
        time_figure(
            [f"{day.day} {day:%b}" for day in weeks], "Person-hours in the week",
            columns=list(weeks.values()), lines=[Line("all crews", [week] * len(weeks), VERMILLION, "dash")],
        ),
        "Columns: hours of people planned in each week to come, with the hours of all crews as a line.",
        f"The {WEEKS_SHOWN} weeks to come, by the Monday on which they begin",
    )  # fmt: skip
    return Answer(
        title, Table("Backlog", columns, rows), "Phases of jobs that are booked or under way",
        (chart,) if total else (),
        ("Hours are those of one person. Capacity counts no days away and no weather.",),
        missing="" if total else "As soon as a job is booked, the work that waits stands here.",
    )  # fmt: skip


def _hours_left() -> tuple[dict[str, float], dict[str, float], dict[str, int]]:
    """Hours sold, hours left and jobs by kind of work."""
    waiting = Phase.objects.filter(
        status__in=[PhaseStatus.PLANNED, PhaseStatus.STARTED], job__status__in=[JobStatus.BOOKED, JobStatus.STARTED]
    ).order_by()
    worked: dict[int, float] = defaultdict(float)
    entries = CrewEntry.objects.filter(kind=EntryKind.HOURS, phase__in=waiting.values("pk"))
    for phase, said in standing(entries.values_list("phase_id", "data", "code", "replaces")):
        record = read_record(HoursRecord, said)
        worked[phase] += record.hours * record.people
    hours: dict[str, float] = defaultdict(float)
    left: dict[str, float] = defaultdict(float)
    jobs: dict[str, set[int]] = defaultdict(set)
    for phase, kind, job, sold in waiting.values_list("pk", "kind", "job_id", "hours"):
        hours[kind] += float(sold)
        left[kind] += max(0.0, float(sold) - worked[phase])
        jobs[kind].add(job)
    return hours, left, {kind: len(some) for kind, some in jobs.items()}


def standing(rows: Iterable[tuple[Any, Any, Any, Any]]) -> list[tuple[Any, Any]]:
    """What entries say that no later one replaces: rows of (about, data, code, replaces) -> (about, data)."""
    every = list(rows)
    replaced = {replaces for _, _, _, replaces in every if replaces is not None}
    return [(about, data) for about, data, code, _ in every if code not in replaced]


def _planned(people: dict[int, int], today: date) -> tuple[dict[str, float], dict[date, float]]:
    """Hours of people that are planned: by kind of work from today on, and by week for the weeks to come."""
    monday = today - timedelta(days=today.weekday())
    weeks = {monday + timedelta(weeks=week): 0.0 for week in range(WEEKS_SHOWN)}
    visits = Visit.objects.filter(
        crew__in=list(people), day__gte=today, phase__status__in=[PhaseStatus.PLANNED, PhaseStatus.STARTED],
        phase__job__status__in=[JobStatus.BOOKED, JobStatus.STARTED],
    )  # fmt: skip
    coming: dict[str, float] = defaultdict(float)
    for crew, day, kind, hours in (
        visits.order_by().values_list("crew", "day", "phase__kind").annotate(total=Sum("hours"))
    ):
        coming[kind] += hours * people[crew]
        begins = day - timedelta(days=day.weekday())
        if begins in weeks:
            weeks[begins] += hours * people[crew]
    return coming, weeks


# --- Production and yield --------------------------------------------------------------------------------------------


def control_limits(values: Sequence[float]) -> tuple[float, float, float]:
    r"""Lower limit, mean and upper limit of single values in their order.

    Parameters
    ----------
    values : at least two, in the order in which they came.

    Raises
    ------
    ValueError : fewer than two values.

    Notes
    -----
    .. math:: \bar x \pm \frac{3}{d_2} \overline{MR}, \qquad MR_i = |x_i - x_{i-1}|, \qquad d_2 = 2 / \sqrt\pi

    Values that follow each other by chance, and nothing else, lie within them all but three times in a thousand.

    References
    ----------
    .. [1] See LIMIT_FACTOR.

    Examples
    --------
    >>> [round(limit, 3) for limit in control_limits([10.0, 12.0, 11.0, 12.0])]
    [7.705, 11.25, 14.795]
    """
    if len(values) < 2:
        raise ValueError("control limits need at least two values")
    mean = sum(values) / len(values)
    moving = sum(abs(b - a) for a, b in pairwise(values)) / (len(values) - 1)
    return mean - LIMIT_FACTOR * moving, mean, mean + LIMIT_FACTOR * moving


def production_frame(asked: Asked) -> pd.DataFrame:
    """Finished jobs with wall filled [ft2], hours on walls [h], mixes and foam poured [ft3]; eight queries at most.

    A run of mixes counts in the yield where it has a flow meter or a weighed sample. Hours count that were reported on
    preparing, injecting and closing up.
    """
    rows = finished_jobs(asked)
    frame = job_frame(rows, asked)
    inside = rows.order_by().values("pk")
    filled = Bay.objects.filter(wall__job__in=inside, retired=False, state__in=[BayState.FILLED, BayState.PROVEN])
    areas = dict(filled.order_by().values_list("wall__job").annotate(total=Sum("area_ft2")))
    hours: dict[int, float] = defaultdict(float)
    walls = (PhaseKind.PREPARE, PhaseKind.INJECT, PhaseKind.CLOSE_UP)
    for job, said in _said(EntryKind.HOURS, Q(job__in=inside, phase__kind__in=walls)):
        record = read_record(HoursRecord, said)
        hours[job] += record.hours * record.people
    mixes: dict[int, int] = defaultdict(int)
    poured: dict[int, float] = defaultdict(float)
    samples: dict[tuple[int, str], float] = {}
    for job, said in _said(EntryKind.DENSITY, Q(job__in=inside)):
        sample = read_record(DensityRecord, said)
        samples[job, sample.lot] = sample.wet_lb_ft3
    for job, said in _said(EntryKind.MIX, Q(job__in=inside)):
        mix = read_record(MixRecord, said)
        volume = poured_ft3(mix, samples.get((job, mix.lot)) or samples.get((job, "")))
        if volume is not None:
            mixes[job] += mix.mixes
            poured[job] += volume
    frame["area"] = frame["job"].map(areas).astype(float)
    frame["hours"] = frame["job"].map(dict(hours)).astype(float)
    frame["mixes"] = frame["job"].map(dict(mixes)).astype(float)
    frame["poured"] = frame["job"].map(dict(poured)).astype(float)
    frame["rate"] = frame["area"] / frame["hours"].where(frame["hours"] > 0)
    frame["a_mix"] = frame["poured"] / frame["mixes"].where(frame["mixes"] > 0)
    return frame


def poured_ft3(mix: MixRecord, wet_lb_ft3: float | None = None) -> float | None:
    """Wet foam of a run of mixes [ft3]: by the flow meter, else its mass over a density that was weighed.

    Parameters
    ----------
    mix : the run; its own sample goes before `wet_lb_ft3`.
    wet_lb_ft3 : density of another sample of the lot, None where there is none. [lb/ft3]
    """
    if mix.meter_ft3 is not None:
        return mix.meter_ft3
    density = mix.wet_lb_ft3 or wet_lb_ft3
    return None if density is None else mix.mass_lb / density


def _said(kind: EntryKind, where: Q) -> list[tuple[int, Any]]:
    rows = CrewEntry.objects.filter(where, kind=kind).order_by()
    return standing(rows.values_list("job_id", "data", "code", "replaces"))


def production(asked: Asked) -> Answer:
    """How fast walls are filled and what a mix yields, job by job, with control limits."""
    frame = production_frame(asked)
    known = frame[frame["rate"].notna() | frame["a_mix"].notna()]
    charts, said = [], []
    for name, axis, what in (
        ("rate", "ft² an hour of one person", "filled wall an hour"),
        ("a_mix", "ft³ of foam a mix", "foam a mix"),
    ):
        some = known[known[name].notna()]
        if len(some) < FEWEST_POINTS:
            continue
        values = [float(value) for value in some[name]]
        low, mean, high = control_limits(values)
        outside = [str(number) for number, value in zip(some["number"], values) if not low <= value <= high]
        where = f"{', '.join(outside)} outside the limits" if outside else "every job inside its limits"
        said.append(f"{what}: {mean:.1f} {'ft²' if name == 'rate' else 'ft³'} on average, {where}")
        charts.append(
            Chart(
                control_figure([str(number) for number in some["number"]], values, axis, (low, mean, high)),
                f"Line: {axis.lower()} of each job in the order in which they were finished, with its mean and limits.",
                "Wall filled" if name == "rate" else "Foam poured",
            )
        )
    if said:
        title = f"{counted(len(known), 'finished job')}; {'; '.join(said)}."
    elif len(known):
        title = f"{counted(len(known), 'finished job')} with hours or mixes: limits are drawn from {FEWEST_POINTS} on."
    else:
        title = f"No job finished in {asked.words} has hours or mixes on record."
    rows = [
        [row.house, row.number, timezone.localtime(row.done_at).date(), row.crew,
         *(_or_none(getattr(row, name)) for name in ("area", "hours", "rate", "mixes", "poured", "a_mix"))]
        for row in each(known)
    ]  # fmt: skip
    columns = (
        Column("House"), Column("Job"), Column("Work done", Kind.DAY), Column("Crew"),
        Column("Wall filled, ft²", Kind.NUMBER, 0), Column("Hours on walls", Kind.NUMBER, 1),
        Column("ft² an hour", Kind.NUMBER, 1), Column("Mixes measured", Kind.NUMBER, 0),
        Column("Poured, ft³", Kind.NUMBER, 1), Column("ft³ a mix", Kind.NUMBER, 2),
    )  # fmt: skip
    return Answer(
        title, Table("Production", columns, rows), f"Jobs whose work was done in {asked.words}, in that order",
        tuple(charts),
        ("Limits are the mean and three standard deviations on each side, these taken from the mean distance of one "
         f"job to the next ({LIMIT_FACTOR:.2f} times it): a job outside them had a reason of its own.",),
        tuple(known["link"]),
        "" if len(known) else "As soon as crews report hours and mixes, production stands here.",
    )  # fmt: skip


def _or_none(value: float) -> float | None:
    return None if value != value else float(value)


# --- Leakage: verified against predicted -----------------------------------------------------------------------------


def leakage_frame(asked: Asked) -> pd.DataFrame:
    """Jobs with their last test after the work in the period, and what was expected: P10, P50, P90 [cfm50]."""
    from jobs.models import Job

    zone = timezone.get_current_timezone()
    tests = HouseTest.objects.filter(when="out", cfm50__isnull=False, **asked.during("at", zone=zone))
    last = {job: (cfm50, at) for job, cfm50, at in tests.order_by("at", "id").values_list("job_id", "cfm50", "at")}
    jobs = Job.objects.filter(pk__in=tests.order_by().values("job_id"))
    if asked.seller:
        jobs = jobs.filter(proposal__created_by__code=asked.seller)
    frame = job_frame(jobs, asked)
    frame = frame.loc[[money is not None and money.leakage is not None for money in frame["signed"]]].copy()
    for at, name in enumerate(("low", "expected", "high")):
        frame[name] = [money.leakage[at] for money in frame["signed"]]
    frame["before"] = [money.leakage_before for money in frame["signed"]]
    frame["found"] = [last[job][0] for job in frame["job"]]
    frame["tested_at"] = [last[job][1] for job in frame["job"]]
    frame["off"] = frame["found"] / frame["expected"].astype(float) - 1.0 if len(frame) else 0.0
    return frame.sort_values("off", ascending=False, kind="stable", ignore_index=True)


def leakage(asked: Asked) -> Answer:
    """Whether houses leak after the work as they were expected to."""
    frame = leakage_frame(asked)
    count = len(frame)
    inside = frame[(frame["found"] >= frame["low"]) & (frame["found"] <= frame["high"])]
    if not count:
        title = f"No house was tested after the work in {asked.words}."
    else:
        middle = float(frame["off"].mean())
        than = (
            "as much as" if abs(middle) < 0.005 else f"{percent(abs(middle))} {'more' if middle > 0 else 'less'} than"
        )
        title = (
            f"{len(inside)} of {counted(count, 'house')} {'leaks' if len(inside) == 1 else 'leak'} within the range "
            f"that was expected; on average they leak {than} expected."
        )
    points = [
        Point(row.expected, row.low, row.high, row.found, look=not row.low <= row.found <= row.high)
        for row in each(frame)
    ]
    chart = Chart(
        square_figure(points, "Expected CFM50, P10 to P90", "CFM50 found"),
        "Points: leakage found after the work over the leakage expected, with the line on which they agree.",
    )
    rows = [
        [row.house, row.number, timezone.localtime(row.tested_at).date(), _or_none(row.before), row.low, row.expected,
         row.high, row.found, row.off, "yes" if row.low <= row.found <= row.high else "no"]
        for row in each(frame)
    ]  # fmt: skip
    columns = (
        Column("House"), Column("Job"), Column("Tested", Kind.DAY), Column("Before, CFM50", Kind.NUMBER, 0),
        Column("Expected, P10", Kind.NUMBER, 0), Column("Expected, P50", Kind.NUMBER, 0),
        Column("Expected, P90", Kind.NUMBER, 0), Column("Found, CFM50", Kind.NUMBER, 0),
        Column("Found over expected, %", Kind.PERCENT, 0), Column("Within the range"),
    )  # fmt: skip
    return Answer(
        title, Table("Leakage", columns, rows), f"Last test after the work, of tests in {asked.words}",
        (chart,) if count else (),
        ("Of ten houses, eight should lie within their range; diamonds lie outside it. Below the line a house leaks "
         "less than expected.",),
        tuple(frame["link"]), "" if count else "As soon as a house is tested after the work, it stands here.",
    )  # fmt: skip


# --- Call-backs ------------------------------------------------------------------------------------------------------


def call_back_frame(asked: Asked) -> pd.DataFrame:
    """Finished jobs with whether somebody had to go back, and the lots that went into them; six queries at most."""
    rows = finished_jobs(asked)
    frame = job_frame(rows, asked)
    inside = rows.order_by().values("pk")
    back = Phase.objects.filter(job__in=inside, kind=PhaseKind.RETURN).exclude(status=PhaseStatus.DROPPED)
    visits = dict(back.order_by().values_list("job").annotate(count=Count("pk")))
    lots: dict[int, set[str]] = defaultdict(set)
    for job, said in _said(EntryKind.MIX, Q(job__in=inside)):
        lots[job].add(read_record(MixRecord, said).lot)
    frame["back"] = frame["job"].map(visits).fillna(0).astype(int)
    frame["lots"] = [sorted(lots.get(job, ())) for job in frame["job"]]
    return frame


def call_backs(asked: Asked) -> Answer:
    """Which crews and which lots of foam brought us back."""
    frame = call_back_frame(asked)
    frame["again"] = frame["back"] > 0
    by_crew = [("Crew", str(name), len(some), int(some["again"].sum())) for name, some in frame.groupby("crew")]
    apart = frame.explode("lots")
    apart = apart[apart["lots"].notna()]
    by_lot = [("Lot of foam", str(name), len(some), int(some["again"].sum())) for name, some in apart.groupby("lots")]
    jobs, again = len(frame), int(frame["again"].sum())
    if not jobs:
        title = f"No job was finished in {asked.words}."
    elif not again:
        title = f"Nobody had to go back to any of {counted(jobs, 'finished job')}."
    else:
        title = f"We had to go back to {again} of {counted(jobs, 'finished job')} ({percent(again / jobs)})"
        worst = max((row for row in by_lot if row[3]), key=lambda row: (row[3] / row[2], row[3]), default=None)
        title += f"; worst is lot {worst[1]} with {worst[3]} of {worst[2]}." if worst and len(by_lot) > 1 else "."
    ordered = [sorted(some, key=lambda row: (-row[3] / row[2], row[1])) for some in (by_crew, by_lot)]
    charts = tuple(
        Chart(
            bar_figure(
                [
                    Bar(name, 100 * some / count, f"{some} of {count}", look=bool(jobs) and some / count > again / jobs)
                    for _, name, count, some in group[:FEW_BARS]
                ],
                "Jobs with a call-back, %",
            ),
            f"Bars: share of finished jobs with a call-back, by {group[0][0].lower()}, the highest at the top.",
            f"By {group[0][0].lower()}",
        )
        for group in ordered
        if again and len(group) > 1
    )
    rows: list[list[Any]] = [[*row, row[3] / row[2]] for group in ordered for row in group]
    columns = (
        Column("By"), Column("Name"), Column("Finished jobs", Kind.NUMBER, 0),
        Column("With a call-back", Kind.NUMBER, 0), Column("Call-backs, %", Kind.PERCENT, 0),
    )  # fmt: skip
    return Answer(
        title, Table("Call-backs", columns, rows), f"Jobs whose work was done in {asked.words}", charts,
        ("A call-back is a job with a return visit. A job with several lots counts with each.",
         "Hatched bars lie above the share of all jobs."),
        missing="" if jobs else "As soon as a job is finished, it counts here.",
    )  # fmt: skip
