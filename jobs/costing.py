"""What a job cost beside what was estimated, by wall and line, and in one sentence where the money went."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.models.user import User
from estimates.money import format_money, from_cents, round_half_up, to_cents
from jobs.billing import contract_of
from jobs.booking import frozen_forms
from jobs.ledger import balances, entry_post
from jobs.models import (
    Absence,
    CostItem,
    CostKind,
    CrewEntry,
    CrewMember,
    EntryKind,
    Job,
    JobStatus,
    JobWall,
    PhaseKind,
    Visit,
    Worker,
)

KINDS = ("labour", "material", "equipment", "subcontract", "travel", "disposal", "other")
"""Kinds of cost, as the books keep them."""

WALLS, ATTIC, LEAKS, TESTS, JOB, RETURN = "walls", "attic", "leaks", "tests", "job", "return"
"""Groups of lines that no wall has to itself."""

NAMES = {
    WALLS: "All walls together",
    ATTIC: "Attic",
    LEAKS: "Air sealing",
    TESTS: "Tests before and after the work",
    JOB: "The whole job: travel, rigs, waste, rest of half-days",
    RETURN: "Call-backs",
}

GROUP_OF_LINE = {"attic": ATTIC, "leak": LEAKS, "tests": TESTS}
GROUP_OF_PHASE = {
    PhaseKind.ATTIC: ATTIC,
    PhaseKind.AIR_SEALING: LEAKS,
    PhaseKind.TEST_IN: TESTS,
    PhaseKind.TEST_OUT: TESTS,
    PhaseKind.INFRARED: TESTS,
    PhaseKind.RETURN: RETURN,
}

WORTH_SAYING = 0.02
"""Part of the estimated cost from which a difference is named. Common practice, no source."""

MOST_NAMED = 3


@dataclass(slots=True)
class Spent:
    """Cost of a group by kind [cents], with its hours and mixes."""

    cents: dict[str, int] = field(default_factory=lambda: dict.fromkeys(KINDS, 0))
    hours: float = 0.0
    mixes: float = 0.0
    bags: float = 0.0

    @property
    def total(self) -> int:
        """All kinds. [cents]"""
        return sum(self.cents.values())

    def add(self, kind: str, cents: int) -> None:
        """Add to a kind."""
        self.cents[kind] += cents


@dataclass(frozen=True, slots=True)
class CostRow:
    """A wall or another group: estimated and actual."""

    key: str
    name: str
    estimated: Spent
    actual: Spent

    @property
    def more(self) -> int:
        """Actual less estimated. [cents]"""
        return self.actual.total - self.estimated.total


@dataclass(frozen=True, slots=True)
class JobCosts:
    """Estimated and actual cost of a job. [cents]

    `unpriced` names material that the crew used and nobody entered a bill for; `price` is contract and signed changes
    before tax.
    """

    rows: tuple[CostRow, ...]
    by_kind: tuple[tuple[str, int, int], ...]
    lots: tuple[tuple[str, int, int], ...]
    unpriced: tuple[str, ...]
    price: int
    commission: int
    done: bool
    sentence: str

    @property
    def estimated(self) -> int:
        """Direct cost as estimated. [cents]"""
        return sum(row.estimated.total for row in self.rows)

    @property
    def actual(self) -> int:
        """Direct cost so far. [cents]"""
        return sum(row.actual.total for row in self.rows)

    @property
    def call_backs(self) -> int:
        """Of it, return visits. [cents]"""
        return sum(row.actual.total for row in self.rows if row.key == RETURN)

    @property
    def margin_estimated(self) -> float | None:
        """Gross margin after commission, as estimated."""
        return self._margin(self.estimated)

    @property
    def margin_actual(self) -> float | None:
        """Gross margin after commission, with the cost so far."""
        return self._margin(self.actual)

    def _margin(self, cost: int) -> float | None:
        return (self.price - cost - self.commission) / self.price if self.price else None


def job_costs(job: Job) -> JobCosts:
    """What a job cost beside what was estimated.

    Notes
    -----
    Labour: hours that the crew reported, at the burdened cost of whoever reported them; where several people worked, at
    the mean of the crew that day. Hours at the walls without a wall are shared by their estimated hours. Material:
    mixes and bags at the prices of the price book frozen with the estimate. All else comes from bills that the office
    entered. Entries that another one corrects do not count.
    """
    frozen = frozen_forms(job)
    contract, book = contract_of(job), frozen["price_book"]
    walls = {wall.key: wall for wall in JobWall.objects.filter(job=job)}
    estimated = _estimated(contract.lines, walls)
    actual, lots, unpriced = _actual(job, walls, book, estimated)
    keys = [*walls, *(key for key in NAMES if key in estimated or key in actual)]
    rows = tuple(
        CostRow(
            key,
            walls[key].name if key in walls else NAMES[key],
            estimated.get(key, Spent()),
            actual.get(key, Spent()),
        )
        for key in keys
    )
    by_kind = tuple(
        (kind, sum(row.estimated.cents[kind] for row in rows), sum(row.actual.cents[kind] for row in rows))
        for kind in KINDS
    )
    done = job.status in (JobStatus.WORK_DONE, JobStatus.VERIFIED, JobStatus.CLOSED)
    changes = sum(to_cents(change.price) for change in job.changes.filter(status="signed"))
    return JobCosts(
        rows=rows,
        by_kind=by_kind,
        lots=tuple(sorted((lot, mixes, cents) for lot, (mixes, cents) in lots.items())),
        unpriced=tuple(unpriced),
        price=contract.price_cents + changes,
        commission=contract.commission_cents,
        done=done,
        sentence=where_it_went(rows, _lost_days(job), done=done),
    )


def _estimated(lines: Iterable[Mapping[str, Any]], walls: Mapping[str, JobWall]) -> dict[str, Spent]:
    """Direct cost of the signed lines by group; contingency goes with "other"."""
    found: dict[str, Spent] = {}
    for line in lines:
        at_wall = line["code"] == "wall" and line["subject"] in walls
        key = line["subject"] if at_wall else GROUP_OF_LINE.get(line["code"], JOB)
        spent = found.setdefault(key, Spent())
        for part, cents in line["direct_cost_parts_cents"].items():
            spent.add(part if part in KINDS else "other", int(cents))
        spent.hours += float(line["hours"])
        if at_wall:
            spent.mixes += walls[key].mixes
    return found


def _entries(job: Job) -> list[CrewEntry]:
    kinds = (EntryKind.HOURS, EntryKind.MIX, EntryKind.BAGS, EntryKind.MATERIAL)
    rows = list(CrewEntry.objects.filter(job=job, kind__in=kinds).select_related("phase", "wall", "by__worker"))
    corrected = {row.replaces for row in rows if row.replaces is not None}
    return [row for row in rows if row.code not in corrected]


def _actual(
    job: Job, walls: Mapping[str, JobWall], book: Mapping[str, Any], estimated: Mapping[str, Spent]
) -> tuple[dict[str, Spent], dict[str, tuple[int, int]], list[str]]:
    per_mix, per_bag = _cents(book["foams"][0]["cost_per_mix"]), _cents(book["loose_fills"][0]["cost_per_bag"])
    usual = _cents(next(rate["best"] for rate in book["rates"] if rate["id"] == "labour"))
    found: dict[str, Spent] = {}
    lots: dict[str, tuple[int, int]] = {}
    unpriced: list[str] = []
    rates = _crew_rates(job)
    for row in _entries(job):
        back = row.phase is not None and row.phase.kind == PhaseKind.RETURN
        if row.kind == EntryKind.HOURS:
            _add_hours(found, row, back, walls, estimated, rates, usual)
        elif row.kind == EntryKind.MIX:
            mixes = int(row.data.get("mixes", 1))
            lot = str(row.data["lot"])
            lots[lot] = (lots.get(lot, (0, 0))[0] + mixes, lots.get(lot, (0, 0))[1] + mixes * per_mix)
            named = [bay.get("wall") or (row.wall.key if row.wall is not None else "") for bay in row.data["bays"]]
            for key, share in _shares(RETURN if back else WALLS, named, walls, back):
                spent = found.setdefault(key, Spent())
                spent.mixes += mixes * share
                spent.add("material", round(mixes * per_mix * share))
        elif row.kind == EntryKind.BAGS:
            spent = found.setdefault(RETURN if back else ATTIC, Spent())
            spent.bags += int(row.data["bags"])
            spent.add("material", int(row.data["bags"]) * per_bag)
        else:
            unpriced.append(f"{row.data['amount']:g} {row.data['unit']} {row.data['name']}")
    for item in CostItem.objects.filter(job=job).select_related("wall"):
        at = item.wall.key if item.wall is not None else JOB
        spent = found.setdefault(RETURN if item.call_back else at, Spent())
        spent.add(item.kind, to_cents(item.amount))
    return found, lots, unpriced


def _cents(dollars: float) -> int:
    return round_half_up(round(float(dollars) * 10_000), 100)


def _shares(other: str, named: Sequence[str], walls: Mapping[str, JobWall], back: bool) -> Iterator[tuple[str, float]]:
    """Group -> its part of a mix, by the bays that it went into."""
    keys = [other if back or name not in walls else name for name in named]
    for key in dict.fromkeys(keys):
        yield key, keys.count(key) / len(keys)


def _crew_rates(job: Job) -> dict[tuple[int, date], list[int]]:
    """(somebody of a crew, day) -> what an hour of each of the crew costs. [cents]"""
    days = set(CrewEntry.objects.filter(job=job, kind=EntryKind.HOURS).values_list("day", flat=True))
    found: dict[tuple[int, date], list[int]] = {}
    members = list(CrewMember.objects.select_related("worker"))
    for day in days:
        crews: dict[int, list[Worker]] = {}
        for member in members:
            if member.since <= day and (member.until is None or day <= member.until):
                crews.setdefault(member.crew_id, []).append(member.worker)
        for workers in crews.values():
            for worker in workers:
                if worker.user_id is not None:
                    found[worker.user_id, day] = [to_cents(one.hourly_cost) for one in workers]
    return found


def _add_hours(
    found: dict[str, Spent],
    row: CrewEntry,
    back: bool,
    walls: Mapping[str, JobWall],
    estimated: Mapping[str, Spent],
    rates: Mapping[tuple[int, date], list[int]],
    usual: int,
) -> None:
    people = int(row.data.get("people", 1))
    hours = float(row.data["hours"]) * people
    worker = getattr(row.by, "worker", None)
    own = usual if worker is None else to_cents(worker.hourly_cost)
    crew = rates.get((row.by_id, row.day), [own])
    cost = round(hours * (own if people == 1 else sum(crew) / len(crew)))
    for key, share in _hour_shares(row, back, walls, estimated):
        spent = found.setdefault(key, Spent())
        spent.hours += hours * share
        spent.add("labour", round(cost * share))


def _hour_shares(
    row: CrewEntry, back: bool, walls: Mapping[str, JobWall], estimated: Mapping[str, Spent]
) -> list[tuple[str, float]]:
    if back:
        return [(RETURN, 1.0)]
    if row.wall is not None:
        return [(row.wall.key, 1.0)]
    if row.phase is None:
        return [(JOB, 1.0)]
    group = GROUP_OF_PHASE.get(PhaseKind(row.phase.kind))
    whole = sum(estimated[key].hours for key in walls if key in estimated)
    if group is not None or not whole:
        return [(group or WALLS, 1.0)]
    return [(key, estimated[key].hours / whole) for key in walls if key in estimated]


# --- In a sentence ---------------------------------------------------------------------------------------------------


def _lost_days(job: Job) -> tuple[str, ...]:
    """Reasons of days on which a crew of this job could not work between its first and last visit."""
    visits = list(Visit.objects.filter(phase__job=job).values_list("crew_id", "day"))
    if not visits:
        return ()
    first, last = min(day for _, day in visits), max(day for _, day in visits)
    rows = Absence.objects.filter(
        resource__in={crew for crew, _ in visits}, first_day__gte=first, last_day__lte=last
    ).order_by("first_day")
    return tuple(row.reason for row in rows)


def where_it_went(rows: Sequence[CostRow], lost: Sequence[str] = (), *, done: bool = True) -> str:
    """One sentence on the largest differences between actual and estimated cost.

    Examples
    --------
    >>> north = CostRow("n", "North wall", Spent(mixes=10.0), Spent(mixes=11.4))
    >>> north.estimated.add("material", 96000), north.actual.add("material", 109440)
    (None, None)
    >>> where_it_went([north], ["frost"])
    'Cost $134.40 more than estimated (14 %): one day lost to frost, 14 % more mix on North wall (+$134.40).'
    """
    estimated = sum(row.estimated.total for row in rows)
    actual = sum(row.actual.total for row in rows)
    if not actual:
        return "Nothing is booked to this job yet."
    least = WORTH_SAYING * estimated
    reasons = sorted(
        ((cents, words) for row in rows for cents, words in _reasons(row, done) if abs(cents) >= least),
        key=lambda one: -abs(one[0]),
    )
    named = [*_lost_words(lost), *(f"{words} ({_signed(cents)})" for cents, words in reasons[:MOST_NAMED])]
    more = actual - estimated
    if not done:
        head = f"{format_money(actual)} of {format_money(estimated)} estimated is spent so far"
    elif abs(more) < least:
        head = f"Cost {format_money(actual)}, as estimated"
    else:
        share = abs(more) / estimated if estimated else 1.0
        head = f"Cost {format_money(abs(more))} {'more' if more > 0 else 'less'} than estimated ({share * 100:.0f} %)"
    return f"{head}: {', '.join(named)}." if named else f"{head}."


def _lost_words(lost: Sequence[str]) -> list[str]:
    if not lost:
        return []
    count = "one day" if len(lost) == 1 else f"{len(lost)} days"
    return [f"{count} lost to {' and '.join(dict.fromkeys(reason.lower() for reason in lost))}"]


def _reasons(row: CostRow, done: bool) -> Iterator[tuple[int, str]]:
    """Differences of a group in words; before the work is done only what is over counts."""
    for kind in KINDS:
        estimated, actual = row.estimated.cents[kind], row.actual.cents[kind]
        cents = actual - estimated
        if not cents or (cents < 0 and not done):
            continue
        if row.key == RETURN:
            yield cents, f"call-backs, {kind}"
        elif kind == "material" and row.estimated.mixes and row.actual.mixes:
            share = row.actual.mixes / row.estimated.mixes - 1
            yield cents, f"{abs(share) * 100:.0f} % {'more' if share > 0 else 'less'} mix on {row.name}"
        elif kind == "labour" and row.actual.hours:
            hours = row.actual.hours - row.estimated.hours
            yield cents, f"{abs(hours):.1f} h {'more' if hours > 0 else 'less'} on {row.name}"
        elif actual:
            yield cents, f"{kind} of {_named(row)}"
        elif kind != "other":
            yield cents, f"no {kind} booked for {_named(row)}"


def _named(row: CostRow) -> str:
    """A group inside of a sentence; a wall keeps its name as it was given."""
    return row.name[:1].lower() + row.name[1:] if row.key in NAMES else row.name


def _signed(cents: int) -> str:
    return f"{'+' if cents > 0 else ''}{format_money(cents)}"


# --- Into the books --------------------------------------------------------------------------------------------------


def cost_add(
    *,
    job: Job,
    kind: CostKind,
    words: str,
    amount: int,
    on: date,
    key: UUID,
    by: User,
    now: datetime,
    wall: JobWall | None = None,
    call_back: bool = False,
    origin: str = "",
) -> CostItem:
    """Enter a cost that no crew reports; the same key again returns the first one and writes nothing.

    Parameters
    ----------
    amount : what it cost; below 0 takes a wrong one back. [cents]
    on : day of the bill; its month must be open.

    Raises
    ------
    ValidationError : no words, no amount, a wall of another job, a day in a closed month or in the future.
    """
    faults = {}
    if not words.strip():
        faults["words"] = "Enter what it was for."
    if not amount:
        faults["amount"] = "Enter what it cost."
    if on > now.date():
        faults["on"] = "Enter the day of the bill; it cannot be in the future."
    if wall is not None and wall.job_id != job.pk:
        faults["wall"] = "Choose a wall of this job."
    if faults:
        raise ValidationError(faults)
    with transaction.atomic():
        locked = Job.objects.select_for_update().get(pk=job.pk)
        there = CostItem.objects.filter(key=key).first()
        if there is not None:
            return there
        account = "cost_call_back" if call_back else f"cost_{kind.value}"
        entry = entry_post(
            on=on,
            memo=f"{kind.label}: {words.strip()}",
            amounts={account: amount, "payable": -amount},
            job=locked,
            now=now,
            by=by,
        )
        item = CostItem(
            key=key,
            job=locked,
            wall=wall,
            kind=kind,
            words=words.strip(),
            amount=from_cents(amount),
            on=on,
            call_back=call_back,
            entry=entry,
            at=now,
            by=by,
        )
        item.full_clean()
        item.save()
        after = {"kind": kind, "words": item.words, "amount": str(item.amount)}
        activity_record(actor=by, action="job.cost_add", target=locked, now=now, after=after, origin=origin)
    return item


def costs_post(*, job: Job, on: date, by: User, now: datetime, origin: str = "") -> int:
    """Bring the books to what the crew reported: labour and material of a job. Doing it again posts nothing.

    Returns
    -------
    What was posted, in all. [cents] Below 0 where a correction took cost back.

    Raises
    ------
    ValidationError : the day lies in a closed month.
    """
    with transaction.atomic():
        locked = Job.objects.select_for_update().select_related("revision").get(pk=job.pk)
        costs = job_costs(locked)
        bills = _billed(locked)
        labour = sum(row.actual.cents["labour"] for row in costs.rows)
        material = sum(row.actual.cents["material"] for row in costs.rows) - bills["material"]
        back = {row.key: row.actual for row in costs.rows}.get(RETURN, Spent()).cents
        crew_back = back["labour"] + back["material"] - bills["back_material"]
        wanted = {
            "cost_labour": labour - back["labour"],
            "cost_material": material - (back["material"] - bills["back_material"]) + bills["own_material"],
            "cost_call_back": crew_back + bills["back"],
            "wages_payable": -labour,
            "stock": -material,
        }
        standing = balances(job=locked)
        amounts = {key: cents - standing[key] for key, cents in wanted.items()}
        moved = amounts["cost_labour"] + amounts["cost_material"] + amounts["cost_call_back"]
        entry = entry_post(
            on=on, memo=f"Cost reported by the crew, job {locked.number}", amounts=amounts, job=locked, now=now, by=by
        )
        if entry is not None:
            after = {"amount": format_money(moved)}
            activity_record(actor=by, action="job.costs_post", target=locked, now=now, after=after, origin=origin)
    return moved


def _billed(job: Job) -> dict[str, int]:
    """What bills stand in the books already. [cents]"""
    found = {"material": 0, "own_material": 0, "back": 0, "back_material": 0}
    for item in CostItem.objects.filter(job=job):
        cents = to_cents(item.amount)
        if item.kind == CostKind.MATERIAL:
            found["material"] += cents
            found["back_material" if item.call_back else "own_material"] += cents
        if item.call_back:
            found["back"] += cents
    return found
