"""What happened at each house of the demo scenario: who asked, when, how far it came, and what is still to come."""

# ruff: noqa: RUF009 (fields are declared by functions of estimates.records, which make no value)

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from decimal import Decimal
from enum import StrEnum
from pathlib import Path

from estimates.models.lead import LEAD_MOVES, LeadStage, LostReason
from estimates.records import BadRecord, Fault, choice, code, flag, many, read_record, text, whole

EARLIEST, LATEST = -430, 60
"""Days of the story, counted from its Monday: some fourteen months back, two months ahead."""

EVENING = time(17, 0)
"""When the office writes down how far a lead has come."""


class LaterKind(StrEnum):
    """What happens after the signature."""

    VOID = "void"
    ESCAPE = "escape"
    FROST_DAY = "frost_day"
    LOST_MARGIN = "lost_margin"
    CALL_BACK = "call_back"
    WAITING = "waiting"


@dataclass(frozen=True, slots=True, kw_only=True)
class LaterRecord:
    """Something that the job of a house will tell."""

    kind: LaterKind = choice(LaterKind, "What")
    day: int = whole("Day, counted from the Monday", unit="day", low=EARLIEST, high=LATEST)
    words: str = text("What happened", min_length=1, max_length=400)


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceRecord:
    """Where leads come from."""

    id: str = code("Short name")
    name: str = text("Name", min_length=1, max_length=80)
    cost: str = text("What one lead costs, in dollars and cents", pattern=r"\d{1,5}\.\d\d")

    @property
    def cost_dollars(self) -> Decimal:
        """Cost of one lead. [$]"""
        return Decimal(self.cost)


def _day(doc: str) -> int | None:
    return whole(f"{doc}, counted from the Monday", unit="day", low=EARLIEST, high=LATEST, default=None)  # type: ignore[no-any-return]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeadRecord:
    """One lead; every day is counted from the Monday of the story."""

    house: str = code("Id of the house")
    stage: str = text("How far it has come", min_length=1)
    source: str = code("Id of the source")
    seller: str = text("E-mail address of the person who looks after it", min_length=1)
    phone: str = text("Telephone of the person who asked", pattern=r"(555-01\d\d)?", default="")
    email: str = text("Address of the person who asked", pattern=r"([^@\s]+@example\.com)?", default="")
    may_call: bool = flag("The person agreed to be called", default=False)
    taken: int = whole("Day on which it came in", unit="day", low=EARLIEST, high=-1)
    taken_at: str = text("Time of that day", pattern=r"\d\d:\d\d")
    visit_set: int | None = _day("Day on which a visit was set")
    visit: int | None = _day("Day for which a visit is set that is still to come")
    visit_at: str = text("Time of that day", pattern=r"(\d\d:\d\d)?", default="")
    assessed: int | None = _day("Day of the visit")
    proposed: int | None = _day("Day of the proposal")
    won: int | None = _day("Day of the signature")
    lost: int | None = _day("Day on which it was lost")
    cancelled: int | None = _day("Day on which the contract was cancelled")
    lost_reason: str = text("Why it was lost", default="")
    words: str = text("What was said at the end", max_length=400, default="")
    option: str = text("Id of the option that was chosen; left out: the first", max_length=40, default="")
    next_step: str = text("What is next", max_length=200, default="")
    next_step_on: int | None = _day("Day of the next step")
    later: tuple[LaterRecord, ...] = many(LaterRecord, "What the job will tell")

    @property
    def moves(self) -> tuple[tuple[LeadStage, int], ...]:
        """Stages after the first with their days, in order."""
        days = (
            (LeadStage.VISIT_SET, self.visit_set),
            (LeadStage.ASSESSED, self.assessed),
            (LeadStage.PROPOSED, self.proposed),
            (LeadStage.WON, self.won),
            (LeadStage.LOST, self.lost),
            (LeadStage.CANCELLED, self.cancelled),
        )
        return tuple((stage, day) for stage, day in days if day is not None)

    @property
    def seen(self) -> int:
        """Day whose prices and rules hold: that of the visit, of a house that nobody has visited that of the call."""
        return self.taken if self.assessed is None else self.assessed


@dataclass(frozen=True, slots=True, kw_only=True)
class StoryRecord:
    """The whole story."""

    sources: tuple[SourceRecord, ...] = many(SourceRecord, "Sources of leads", min_items=1)
    leads: tuple[LeadRecord, ...] = many(LeadRecord, "Leads, in the order in which their houses are loaded")


def load_story(path: Path) -> StoryRecord:
    """Read the story.

    Raises
    ------
    BadRecord : faults in it, or stages, days and reasons that do not fit together; each with its path.
    """
    story = read_record(StoryRecord, tomllib.loads(path.read_text(encoding="utf-8")), path=path.stem)
    faults = [
        Fault(f"{path.stem}.leads[{index}].{name}", message)
        for index, lead in enumerate(story.leads)
        for name, message in _lead_faults(lead, {source.id for source in story.sources})
    ]
    if faults:
        raise BadRecord(faults)
    return story


def _lead_faults(lead: LeadRecord, sources: set[str]) -> Iterator[tuple[str, str]]:
    if lead.source not in sources:
        yield "source", f"no source {lead.source!r}; enter one of {', '.join(sorted(sources))}"
    if not (lead.phone or lead.email):
        yield "phone", "enter a telephone number or an e-mail address"
    reached, before = LeadStage.NEW, lead.taken
    for stage, day in lead.moves:
        if stage not in LEAD_MOVES[reached]:
            yield stage, f"a lead that is {reached} cannot become {stage}; take the day out or enter what is between"
        if day < before:
            yield stage, f"day {day} is before day {before}; enter that day or a later one"
        reached, before = stage, day
    if reached != lead.stage:
        yield "stage", f"says {lead.stage}, the days end with {reached}; enter the day of {lead.stage} or that stage"
    if before > -1:
        yield "stage", f"day {before} has not come yet; enter a day before the Monday"
    if lead.lost_reason not in (LostReason.values if reached == LeadStage.LOST else [""]):
        yield "lost_reason", f"of lost leads one of {', '.join(LostReason)}; leave it out of others"
    if bool(lead.visit_at) is not (lead.visit is not None):
        yield "visit", "enter the day of the visit and its time together"
    if lead.visit is not None and reached != LeadStage.VISIT_SET:
        yield "visit", f"a lead that is {reached} waits for no visit; leave it out"
    if bool(lead.next_step) is not (lead.next_step_on is not None):
        yield "next_step_on", "enter the next step and its day together"


@dataclass(frozen=True, slots=True)
class Calendar:
    """Turns days of the story into days and times of the calendar."""

    monday: date
    zone: tzinfo

    @classmethod
    def of_week(cls, now: datetime, zone: tzinfo) -> Calendar:
        """The calendar whose Monday begins the week of a time."""
        today = now.astimezone(zone).date()
        return cls(today - timedelta(days=today.weekday()), zone)

    def day(self, offset: int) -> date:
        """A day of the calendar."""
        return self.monday + timedelta(days=offset)

    def time(self, offset: int, at: time = EVENING) -> datetime:
        """A time of the calendar."""
        return datetime.combine(self.day(offset), at, self.zone)

    def evening(self, day: date) -> datetime:
        """When the office writes down what a day brought."""
        return datetime.combine(day, EVENING, self.zone)
