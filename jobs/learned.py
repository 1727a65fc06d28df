"""What the rows of closed jobs say of each figure that a price is worked out with: the inputs of `jobs.learning`.

Priors come from the first version of the price book, so that a figure taken up from our own jobs is never learned from
twice. Hours are set beside those that the signed estimate gave the same work, so that high, steep or obstructed walls
teach the same figure as plain ones.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from estimates.draws import FILL_EFFECT
from estimates.house import Access
from estimates.physics.validity import OutOfRange
from estimates.pricebook import PriceBook
from estimates.records import BadRecord, read_record
from jobs.entry_records import HoursRecord, MixRecord
from jobs.house_tests import promised_leakage
from jobs.learning import (
    LEAST_EFFECT,
    STARTING_PRIORS,
    ClosedJob,
    Prior,
    RateKind,
    RateProposal,
    learn,
)
from jobs.models import (
    Bay,
    BayState,
    ChangeOrder,
    ChangeStatus,
    CrewEntry,
    EntryKind,
    HouseBills,
    HouseTest,
    Job,
    JobStatus,
    JobWall,
    PhaseKind,
)
from jobs.phase_plan import option_form
from jobs.savings_after import Kept, savings_of

LAST_JOBS = 60
"""Closed jobs that are looked at, the latest first: crews and rigs of years ago are no guide. Common practice."""

HOURS_SPREAD, TESTS_SPREAD, YIELD_SPREAD = 0.20, 0.25, 0.06
"""Spread from job to job, of the logarithm. [1] Common practice, no source."""

LEAST_DONE = 0.8
"""Part of the planned wall that must be filled for its hours to say something. [1] Common practice, no source."""

ON_WALLS = frozenset({PhaseKind.PREPARE, PhaseKind.INJECT, PhaseKind.CLOSE_UP})
FILLED = frozenset({BayState.FILLED, BayState.PROVEN, BayState.DOUBTFUL})

ATTIC_PEOPLE = 2.0
"""People at blower and hose, as in `estimates.cost_columns`."""

LEAK_WORK, LEAKAGE, SAVINGS, YIELD = "leak_work", "leakage", "savings", "yield:"

WALL_RATES = {f"wall_{access}": access for access in Access}

NAMES = {
    "wall_lift_cladding": "Walls with cladding lifted",
    "wall_drill_cladding": "Walls drilled through cladding",
    "wall_drill_inside": "Walls drilled from inside",
    "attic_blowing": "Blowing attics",
    LEAK_WORK: "Air sealing, all kinds of sites",
    "test_in": "Tests before the work",
    "test_out": "Tests after the work",
    LEAKAGE: "Share of the leakage that the work stops",
    SAVINGS: "Savings by the bills over savings promised",
}

UNITS = {"attic_blowing": "h/bag", LEAK_WORK: "ratio", "test_in": "h", "test_out": "h", SAVINGS: "ratio"}


@dataclass(frozen=True, slots=True)
class Lesson:
    """A figure and what closed jobs say of it.

    found : what was learned, in hours per unit, ft3 per mix or shares. in_book : whether the price book holds it.
    used : numbers of the jobs. left_out : job and why it could not be used.
    """

    figure: str
    in_book: bool
    found: RateProposal
    used: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]


@dataclass(slots=True)
class _Heard:
    """What was gathered of one figure."""

    jobs: list[ClosedJob] = field(default_factory=list)
    left_out: list[tuple[str, str]] = field(default_factory=list)


@dataclass(slots=True)
class _Rows:
    """All rows of the jobs looked at, by job; so that their number of queries does not grow."""

    hours: dict[int, list[tuple[PhaseKind | None, str, float]]]
    mixes: dict[int, list[tuple[str, MixRecord]]]
    walls: dict[int, list[JobWall]]
    bays: dict[tuple[int, str], list[Bay]]
    tests: dict[tuple[int, str], HouseTest]
    bills: dict[int, HouseBills]
    changed: set[int]


def lessons(start: PriceBook, book: PriceBook) -> tuple[Lesson, ...]:
    """What closed jobs say of every figure that can be learned.

    Parameters
    ----------
    start : first version of the price book; its ranges are the priors.
    book : its latest version, whose figures are asked about. Hours and yields come from jobs priced with a version of
        the same book.

    Returns
    -------
    Lesson of each figure, those of the price book first; figures that no job says anything of come with the prior.

    Notes
    -----
    Hours per unit of a job: those of the price book that priced it, times hours reported over hours estimated.
    Yield: room of the bays that mixes went into, with the waste of the book, over the mixes. Leakage: cut of the blower
    door over the cut expected, times the share of the leakage that was expected to stop. Savings: of bills before and
    after, over the promised middle.
    """
    jobs = list(Job.objects.filter(status=JobStatus.CLOSED).select_related("revision").order_by("-closed_at", "-id"))
    jobs = jobs[:LAST_JOBS]
    rows = _rows(jobs)
    heard: dict[str, _Heard] = defaultdict(_Heard)
    for job in jobs:
        forms = json.loads(job.revision.snapshot)
        _hear_job(job, forms, rows, start, heard)
    return tuple(_lesson(figure, start, book, heard[figure]) for figure in _figures(book))


def _figures(book: PriceBook) -> list[str]:
    hours = [*WALL_RATES, "attic_blowing", LEAK_WORK, "test_in", "test_out"]
    return [*hours, *(f"{YIELD}{foam.id}" for foam in book.foams), LEAKAGE, SAVINGS]


def figure_name(figure: str, book: PriceBook) -> str:
    """What people call a figure."""
    if figure.startswith(YIELD):
        return f"Yield of {next(foam.name for foam in book.foams if foam.id == figure.removeprefix(YIELD))}"
    return NAMES[figure]


def _lesson(figure: str, start: PriceBook, book: PriceBook, heard: _Heard) -> Lesson:
    kind = RateKind.HOURS
    if figure.startswith(YIELD):
        kind = RateKind.YIELD
    elif figure in (LEAKAGE, SAVINGS):
        kind = RateKind.LEAKAGE if figure == LEAKAGE else RateKind.SAVINGS
    found = learn(
        figure_name(figure, book),
        kind,
        heard.jobs,
        prior=_prior(figure, start),
        current=_current(figure, start, book),
        unit=UNITS.get(figure, "h/ft2") if kind is RateKind.HOURS else "",
    )
    used = tuple(job.job for job in heard.jobs)
    return Lesson(figure, figure not in (LEAKAGE, SAVINGS), found, used, tuple(heard.left_out))


# --- Priors and the book's own figures -------------------------------------------------------------------------------


def _ordered(low: float | None, best: float, high: float | None, spread: float, mark: str) -> Prior:
    """A prior of a book's range; one without width is given the spread of single jobs on either side."""
    below = low if low is not None and low < best else best / (1 + 2 * spread)
    above = high if high is not None and high > best else best * (1 + 2 * spread)
    return Prior(below, best, above, spread, mark)


def _per_unit(figure: str, book: PriceBook) -> tuple[float | None, float, float | None]:
    """Person-hours per unit of a rate in units per day or hour: low, best, high."""
    rate = book.rate(figure)
    people = ATTIC_PEOPLE if figure == "attic_blowing" else book.best("crew_size") * book.best("day_hours")
    ends = [None if not end else people / end for end in (rate.high, rate.low)]
    return ends[0], people / rate.best, ends[1]


def _prior(figure: str, start: PriceBook) -> Prior:
    if figure in (LEAKAGE, SAVINGS):
        return STARTING_PRIORS["leakage_walls" if figure == LEAKAGE else "savings"]
    if figure.startswith(YIELD):
        foam = next((foam for foam in start.foams if foam.id == figure.removeprefix(YIELD)), None)
        if foam is None:
            return STARTING_PRIORS["yield"]
        return _ordered(foam.yield_low_ft3, foam.yield_ft3, foam.yield_high_ft3, YIELD_SPREAD, foam.mark)
    if figure == LEAK_WORK:
        return Prior(0.6, 1.0, 1.7, TESTS_SPREAD, "CP")
    rate = start.rate(figure)
    if figure in ("test_in", "test_out"):
        return _ordered(rate.low, rate.best, rate.high, TESTS_SPREAD, rate.mark)
    return _ordered(*_per_unit(figure, start), HOURS_SPREAD, rate.mark)


def _current(figure: str, start: PriceBook, book: PriceBook) -> float:
    if figure == LEAKAGE:
        return float(FILL_EFFECT.best)
    if figure == SAVINGS:
        return 1.0
    if figure.startswith(YIELD):
        return next(foam.yield_ft3 for foam in book.foams if foam.id == figure.removeprefix(YIELD))
    if figure == LEAK_WORK:
        then = {work.kind: work.hours for work in start.leak_work}
        ratios = [work.hours / then[work.kind] for work in book.leak_work if then.get(work.kind)]
        return sum(ratios) / len(ratios) if ratios else 1.0
    if figure in ("test_in", "test_out"):
        return book.best(figure)
    return _per_unit(figure, book)[1]


# --- What the rows say -----------------------------------------------------------------------------------------------


def _hear_job(job: Job, forms: Mapping[str, Any], rows: _Rows, start: PriceBook, heard: dict[str, _Heard]) -> None:
    try:
        option = option_form(forms, job.option)
    except KeyError:
        return
    if forms["price_book"].get("id") == start.id:
        _hear_hours(job, forms, option, rows, start, heard)
        _hear_yield(job, forms, rows, heard)
    _hear_leakage(job, forms, rows, heard[LEAKAGE])
    _hear_savings(job, forms, rows, heard[SAVINGS])


def _hear_hours(
    job: Job,
    forms: Mapping[str, Any],
    option: Mapping[str, Any],
    rows: _Rows,
    start: PriceBook,
    heard: dict[str, _Heard],
) -> None:
    estimated = _estimated_hours(job, forms, option, rows, start)
    actual, loose = _actual_hours(job, forms, option, rows)
    for figure, (hours, per_unit, quantity) in estimated.items():
        said = heard[figure]
        if job.pk in rows.changed and figure not in ("test_in", "test_out"):
            said.left_out.append((job.number, "the work changed after it was signed"))
        elif not actual.get(figure):
            said.left_out.append((job.number, "no hours were reported on it"))
        elif loose > 0.25 * (loose + sum(actual.values())):
            said.left_out.append((job.number, f"{loose:.0f} h were reported without a stretch of work"))
        elif figure in WALL_RATES and (done := _done_share(job, WALL_RATES[figure], rows)) < LEAST_DONE:
            said.left_out.append((job.number, f"{done:.0%} of the wall was filled".replace("%", " %")))
        else:
            part = _done_share(job, WALL_RATES[figure], rows) if figure in WALL_RATES else 1.0
            said.jobs.append(ClosedJob(job.number, quantity * part, per_unit * quantity * actual[figure] / hours))


def _estimated_hours(
    job: Job, forms: Mapping[str, Any], option: Mapping[str, Any], rows: _Rows, start: PriceBook
) -> dict[str, tuple[float, float, float]]:
    """Figure -> estimated hours of its work, hours per unit in the book that priced it, units."""
    rates = {rate["id"]: float(rate["best"]) for rate in forms["price_book"]["rates"]}
    access = {wall.key: _access(wall) for wall in rows.walls.get(job.pk, ())}
    bags = {attic["id"]: float(attic["bags"]) for attic in forms["takeoff"]["attics"]}
    kinds = {site["id"]: site["kind"] for site in forms["takeoff"]["leak_sites"]}
    first = {str(work.kind): work.hours for work in start.leak_work}
    hours: dict[str, float] = defaultdict(float)
    units: dict[str, float] = defaultdict(float)
    for line in option["lines"]:
        code, subject, planned = line["code"], line["subject"], float(line["hours"])
        if code == "wall" and subject in access:
            figure, unit = f"wall_{access[subject]}", float(line["quantity"])
        elif code == "attic":
            figure, unit = "attic_blowing", bags.get(subject, 0.0)
        elif code == "leak":
            figure, unit = LEAK_WORK, float(line["quantity"]) * first.get(kinds.get(subject, ""), 0.0)
        else:
            continue
        hours[figure] += planned
        units[figure] += unit
    found = {}
    crew = rates["crew_size"] * rates["day_hours"]
    for figure, planned in hours.items():
        if planned <= 0 or units[figure] <= 0:
            continue
        if figure == LEAK_WORK:
            per_unit = planned / units[figure]
        else:
            per_unit = (ATTIC_PEOPLE if figure == "attic_blowing" else crew) / rates[figure]
        found[figure] = (planned, per_unit, units[figure])
    if any(line["code"] == "tests" for line in option["lines"]):
        found |= {figure: (rates[figure], rates[figure], 1.0) for figure in ("test_in", "test_out")}
    return found


def _access(wall: JobWall) -> str:
    return str(wall.wall.get("access", Access.LIFT_CLADDING))


def _actual_hours(
    job: Job, forms: Mapping[str, Any], option: Mapping[str, Any], rows: _Rows
) -> tuple[dict[str, float], float]:
    """Figure -> hours reported; hours that belong to no stretch. Return visits are no part of a rate.

    Hours at the walls without a wall are shared by the estimated hours of the walls.
    """
    access = {wall.key: _access(wall) for wall in rows.walls.get(job.pk, ())}
    planned: dict[str, float] = defaultdict(float)
    for line in option["lines"]:
        if line["code"] == "wall" and line["subject"] in access:
            planned[f"wall_{access[line['subject']]}"] += float(line["hours"])
    whole = sum(planned.values())
    of_phase = {
        PhaseKind.ATTIC: "attic_blowing",
        PhaseKind.AIR_SEALING: LEAK_WORK,
        PhaseKind.TEST_IN: "test_in",
        PhaseKind.TEST_OUT: "test_out",
    }
    found: dict[str, float] = defaultdict(float)
    loose = 0.0
    for phase, wall, hours in rows.hours.get(job.pk, ()):
        if phase in of_phase:
            found[of_phase[phase]] += hours
        elif wall in access and phase is not PhaseKind.RETURN:
            found[f"wall_{access[wall]}"] += hours
        elif phase in ON_WALLS and whole:
            for figure, part in planned.items():
                found[figure] += hours * part / whole
        elif phase is None:
            loose += hours
    return found, loose


def _done_share(job: Job, access: Access, rows: _Rows) -> float:
    """Part of the reachable bays of an access that was filled, by area; 1 where bays are only counted."""
    filled = planned = 0.0
    for wall in rows.walls.get(job.pk, ()):
        if _access(wall) != access or not wall.drawn:
            continue
        for bay in rows.bays.get((job.pk, wall.key), ()):
            if bay.reachable:
                planned += bay.area_ft2
                filled += bay.area_ft2 if bay.state in FILLED else 0.0
    return filled / planned if planned else 1.0


def _hear_yield(job: Job, forms: Mapping[str, Any], rows: _Rows, heard: dict[str, _Heard]) -> None:
    runs = rows.mixes.get(job.pk, ())
    if not runs:
        return
    foams = forms["price_book"]["foams"]
    chosen = forms["house"].get("foam") or foams[0]["id"]
    foam = next((foam for foam in foams if foam["id"] == chosen), foams[0])
    said = heard[f"{YIELD}{foam['id']}"]
    room = {(key, bay.number): bay for (pk, key), bays in rows.bays.items() if pk == job.pk for bay in bays}
    named = {(bay.wall or wall, bay.bay) for wall, run in runs for bay in run.bays}
    if not named <= set(room):
        said.left_out.append((job.number, "mixes went into bays that the walls do not have"))
    elif any(room[key].state not in FILLED for key in named):
        said.left_out.append((job.number, "mixes went into bays that are not full"))
    else:
        mixes = float(sum(run.mixes for _, run in runs))
        full = sum(room[key].fill_ft3 for key in named) * (1.0 + float(foam["waste"]))
        if full > 0:
            said.jobs.append(ClosedJob(job.number, mixes, full))


def _hear_leakage(job: Job, forms: Mapping[str, Any], rows: _Rows, said: _Heard) -> None:
    out = rows.tests.get((job.pk, "out"))
    if out is None or out.cfm50 is None:
        return
    try:
        promised = promised_leakage(job, forms)
    except KeyError:
        return
    if not promised["before"] or not promised["after"]:
        return
    came = rows.tests.get((job.pk, "in"))
    before = came.cfm50 if came is not None and came.cfm50 is not None else float(promised["before"])
    # What was expected is a share of the leakage; it holds for the test before the work as for that of the assessment.
    expected = before * (1.0 - float(promised["after"]["p50"]) / float(promised["before"]))
    part, cut = expected / float(FILL_EFFECT.best), before - out.cfm50
    if expected <= 0:
        return
    if not LEAST_EFFECT * part <= cut <= part:
        said.left_out.append(
            (job.number, f"the leakage changed by {cut:,.0f} CFM50 where {expected:,.0f} was expected")
        )
    else:
        said.jobs.append(ClosedJob(job.number, part, cut))


def _hear_savings(job: Job, forms: Mapping[str, Any], rows: _Rows, said: _Heard) -> None:
    bills = rows.bills.get(job.pk)
    if bills is None:
        return
    try:
        after = savings_of(bills, forms)
    except (OutOfRange, BadRecord, KeyError) as fault:
        said.left_out.append((job.number, f"its bills cannot be compared: {fault}"))
        return
    if after.kept is Kept.UNSURE:
        said.left_out.append((job.number, "its bills are too uncertain"))
    elif after.measured.saved <= 0 or after.promised["p50"] <= 0:
        said.left_out.append((job.number, "its bills show no saving, so it has no ratio: look into it"))
    else:
        said.jobs.append(ClosedJob(job.number, after.promised["p50"], after.measured.saved))


# --- Rows ------------------------------------------------------------------------------------------------------------


def _rows(jobs: Sequence[Job]) -> _Rows:
    ids = [job.pk for job in jobs]
    hours: dict[int, list[tuple[PhaseKind | None, str, float]]] = defaultdict(list)
    mixes: dict[int, list[tuple[str, MixRecord]]] = defaultdict(list)
    kinds = (EntryKind.HOURS, EntryKind.MIX)
    entries = CrewEntry.objects.filter(job__in=ids, kind__in=kinds).select_related("phase", "wall")
    for entry in _standing(entries.order_by("noted_at", "id")):
        key = "" if entry.wall is None else entry.wall.key
        phase = None if entry.phase is None else PhaseKind(entry.phase.kind)
        if entry.kind == EntryKind.MIX:
            if phase is not PhaseKind.RETURN:
                mixes[entry.job_id].append((key, read_record(MixRecord, entry.data)))
            continue
        record = read_record(HoursRecord, entry.data)
        if phase is None and record.stretch is not None:
            phase = PhaseKind(record.stretch.value)
        hours[entry.job_id].append((phase, key, record.hours * record.people))
    walls: dict[int, list[JobWall]] = defaultdict(list)
    for wall in JobWall.objects.filter(job__in=ids):
        walls[wall.job_id].append(wall)
    bays: dict[tuple[int, str], list[Bay]] = defaultdict(list)
    for bay in Bay.objects.filter(wall__job__in=ids, retired=False).select_related("wall"):
        bays[bay.wall.job_id, bay.wall.key].append(bay)
    doors = HouseTest.objects.filter(job__in=ids, when__in=["in", "out"], cfm50__isnull=False).order_by("at", "id")
    return _Rows(
        hours=hours,
        mixes=mixes,
        walls=walls,
        bays=bays,
        tests={(test.job_id, test.when): test for test in doors},
        bills={
            one.job_id: one for one in HouseBills.objects.filter(job__in=ids).select_related("job").order_by("at", "id")
        },
        changed=set(ChangeOrder.objects.filter(job__in=ids, status=ChangeStatus.SIGNED).values_list("job", flat=True)),
    )


def _standing(entries: Iterable[CrewEntry]) -> Iterator[CrewEntry]:
    """Entries that no later one replaced; both are of the same kind."""
    rows = list(entries)
    replaced = {row.replaces for row in rows if row.replaces is not None}
    yield from (row for row in rows if row.code not in replaced)
