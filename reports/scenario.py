"""The demo scenario: an invented firm's people, rules and houses, brought in by the services that people use."""

from __future__ import annotations

import json
import secrets
import tomllib
from dataclasses import dataclass
from datetime import datetime, time
from pathlib import Path

from django.conf import settings
from django.db import connection
from django.utils import timezone

from estimates.activity import activity_record
from estimates.assessments import assessment_complete, assessment_from_record
from estimates.demo_accounts import LOADED, read_accounts
from estimates.estimating import estimate_freeze
from estimates.house import HouseRecord, house_to_json
from estimates.houses import house_put
from estimates.leads import lead_move, lead_source_put, lead_take
from estimates.models import ActivityEntry, EstimateRevision, House, Role, User
from estimates.models.assessment import Assessment, AssessmentStatus
from estimates.models.lead import Lead, LeadSource, LeadStage
from estimates.pricebook import PriceBook
from estimates.records import BadRecord, Fault, write_record
from estimates.rules_table import rule_put
from estimates.snapshot import ENGINE_VERSION, Snapshot, canonical_json
from reports.scenario_houses import dated, measured_houses, short_houses
from reports.scenario_story import EARLIEST, Calendar, LeadRecord, SourceRecord, load_story
from reports.scenario_table import short_table

FIXTURES: Path = settings.BASE_DIR / "fixtures"
ORIGIN = "manage.py demo"


@dataclass(frozen=True, slots=True)
class Account:
    """A demo person and the password made on the first run."""

    email: str
    full_name: str
    role: str
    password: str


def is_demo_database() -> bool:
    """Whether the demo was loaded here and no house or lead of anybody else has come since."""
    if "estimates_activityentry" not in connection.introspection.table_names():
        return False
    if not ActivityEntry.objects.filter(action=LOADED).exists():
        return False
    return not any(model.objects.filter(is_demo=False).exists() for model in (House, Lead))


def is_empty_database() -> bool:
    """Whether nobody has ever worked here."""
    return not User.objects.exists() and not House.objects.exists()


def people_load(*, now: datetime, accounts_file: Path) -> list[Account]:
    """Bring the demo people, each with a password of their own, kept in `accounts_file` for the next start."""
    rows = tomllib.loads((FIXTURES / "demo" / "people.toml").read_text(encoding="utf-8"))["people"]
    known = read_accounts(accounts_file)
    accounts = []
    for row in rows:
        user = User.objects.filter(email=row["email"]).first()
        password = known.get(row["email"]) if user is not None else None
        if password is None:
            password = "-".join(secrets.choice(_WORDS) for _ in range(4))
            if user is None:
                user = User.objects.create_user(
                    email=row["email"], full_name=row["full_name"], role=Role(row["role"]), password=password
                )
            else:
                user.set_password(password)
                user.save(update_fields=["password"])
        accounts.append(Account(row["email"], row["full_name"], row["role"], password))
    if any(known.get(account.email) != account.password for account in accounts):
        _write_accounts(accounts_file, accounts)
    owner = User.objects.get(email=rows[0]["email"])
    if not ActivityEntry.objects.filter(action=LOADED).exists():
        activity_record(actor=None, action=LOADED, target=owner, now=now, origin=ORIGIN)
    return accounts


_WORDS = (
    "alder", "ash", "aspen", "beam", "birch", "brace", "cedar", "chalk", "cleat", "dowel", "elm", "fir", "gable",
    "hazel", "hinge", "hopper", "jamb", "joist", "kettle", "larch", "ledger", "linden", "lintel", "maple", "mortar",
    "oak", "plank", "plumb", "poplar", "purlin", "quill", "rafter", "ridge", "rowan", "saddle", "sash", "shingle",
    "sill", "slate", "spruce", "stud", "tamarack", "tenon", "thatch", "timber", "trowel", "truss", "walnut",
    "willow",
)  # fmt: skip


def _write_accounts(path: Path, accounts: list[Account]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.touch(mode=0o600)
    text = "".join(f"{a.email}\t{a.password}\t{a.role}\n" for a in accounts)
    path.write_text(text, encoding="utf-8")


def rules_load(*, now: datetime) -> int:
    """Bring the dated rules of fixtures/rules; returns how many there are."""
    count = 0
    for path in sorted((FIXTURES / "rules").glob("*.toml")):
        for row in tomllib.loads(path.read_text(encoding="utf-8"))["rules"]:
            rule_put(
                jurisdiction=row["jurisdiction"],
                topic=row["topic"],
                valid_from=row["valid_from"],
                valid_to=row.get("valid_to"),
                value=row["value"],
                text=row["text"],
                source=row["source"],
                checked_on=row["checked_on"],
                by=None,
                now=now,
                origin=ORIGIN,
            )
            count += 1
    return count


@dataclass(frozen=True, slots=True)
class ScenarioHouse:
    """A house of the scenario: what happened there, and its record as of the day it was seen."""

    lead: LeadRecord
    record: HouseRecord

    @property
    def has_proposal(self) -> bool:
        """Whether a proposal was ever made for it."""
        return self.lead.proposed is not None

    def priced_at(self, days: Calendar) -> datetime:
        """When its assessment was whole: the evening of the visit, or of the day of the last release of a stop."""
        released = [release.released_on for release in self.record.gate_releases]
        return days.evening(max([days.day(self.lead.seen), *released]))


@dataclass(frozen=True, slots=True)
class Scenario:
    """The scenario on its calendar."""

    days: Calendar
    sources: tuple[SourceRecord, ...]
    houses: tuple[ScenarioHouse, ...]


def calendar(*, now: datetime) -> Calendar:
    """The calendar of the scenario: its Monday is that of the first load, so that later starts change no day."""
    first = ActivityEntry.objects.filter(action=LOADED).order_by("id").first()
    return Calendar.of_week(now if first is None else first.at, timezone.get_default_timezone())


def load_scenario(days: Calendar, limit: int | None = None) -> Scenario:
    """Read the scenario, its houses in the order of the story.

    Parameters
    ----------
    days : the calendar of the story.
    limit : only the first so many houses.

    Raises
    ------
    BadRecord : faults in the files of the scenario, each with its path.
    """
    story = load_story(FIXTURES / "demo" / "scenario.toml")
    visited = {lead.house: days.day(lead.assessed) for lead in story.leads if lead.assessed is not None}
    records = measured_houses(FIXTURES / "houses")
    records |= short_houses(short_table(FIXTURES / "demo" / "quick_houses.toml"), visited)
    faults = [
        Fault(f"scenario.leads[{index}].house", f"no house {lead.house!r}; enter one of {', '.join(sorted(records))}")
        for index, lead in enumerate(story.leads)
        if lead.house not in records
    ]
    if faults:
        raise BadRecord(faults)
    houses = [ScenarioHouse(lead, dated(records[lead.house], days.day(lead.seen))) for lead in story.leads[:limit]]
    return Scenario(days, story.sources, tuple(houses))


def sources_load(scenario: Scenario, *, by: User) -> dict[str, LeadSource]:
    """Bring the sources of leads; returns them by their short names."""
    start = scenario.days.time(EARLIEST)
    return {
        source.id: lead_source_put(name=source.name, cost_per_lead=source.cost_dollars, by=by, now=start, origin=ORIGIN)
        for source in scenario.sources
    }


def lead_load(house: ScenarioHouse, days: Calendar, *, sources: dict[str, LeadSource], owner: User) -> Lead:
    """Bring a lead with its house and every stage it has come through; one that is there already is left as it is."""
    row = house.lead
    known = Lead.objects.filter(is_demo=True, house__reference=house.record.id).first()
    if known is not None:
        return known
    seller = User.objects.get(email=row.seller)
    taken = days.time(row.taken, time.fromisoformat(row.taken_at))
    record = house.record
    lead = lead_take(
        by=seller,
        now=taken,
        is_demo=True,
        origin=ORIGIN,
        person=record.customer,
        phone=row.phone,
        email=row.email,
        street=record.street,
        town=record.town,
        state=record.state,
        county=record.county,
        postal_code=record.postal_code,
        source=sources[row.source],
        seller=seller,
        consent=row.may_call,
        next_step=row.next_step,
        next_step_on=None if row.next_step_on is None else days.day(row.next_step_on),
        house=house_put(record=record, is_demo=True, created_by=seller, now=taken, origin=ORIGIN),
        complaints=record.complaints,
    )
    for stage, day in row.moves:
        ends = stage == row.stage
        lead = lead_move(
            lead=lead,
            to=stage,
            by=owner if stage == LeadStage.CANCELLED else seller,
            now=days.time(day),
            visit_at=_visit(row, days) if stage == LeadStage.VISIT_SET else None,
            lost_reason=row.lost_reason if stage == LeadStage.LOST else "",
            note=row.words if ends else "",
            origin=ORIGIN,
        )
    return lead


def _visit(row: LeadRecord, days: Calendar) -> datetime | None:
    """When a visit is that is still to come; the clock of every house of the demo is that of the firm."""
    return None if row.visit is None else days.time(row.visit, time.fromisoformat(row.visit_at))


def assessment_load(house: ScenarioHouse, days: Calendar, *, lead: Lead) -> Assessment | None:
    """Bring the assessment of a house that was visited; it is completed, as all its gates are answered.

    Returns
    -------
    The assessment; None for a house that nobody has visited.
    """
    if house.lead.assessed is None or lead.house is None:
        return None
    assessment = assessment_from_record(
        house=lead.house, record=house.record, by=lead.seller, now=days.time(house.lead.assessed), origin=ORIGIN
    )
    if assessment.status == AssessmentStatus.COMPLETED:
        return assessment
    return assessment_complete(
        assessment=assessment,
        expected_version=assessment.version,
        by=lead.seller,
        now=house.priced_at(days),
        origin=ORIGIN,
    )


def loaded_revision(record: HouseRecord, book: PriceBook, *, seed: int) -> EstimateRevision | None:
    """The newest estimate of a house where it was made from this very record, book, seed and engine; else None."""
    latest = EstimateRevision.objects.filter(house__reference=record.id).order_by("-number").first()
    if latest is None or (latest.seed, latest.engine_version) != (seed, ENGINE_VERSION):
        return None
    frozen = json.loads(latest.snapshot)
    wanted = {"house": house_to_json(record), "price_book": write_record(book)}
    same = all(canonical_json(frozen[name]) == canonical_json(form) for name, form in wanted.items())
    return latest if same else None


def estimate_load(*, snapshot: Snapshot, by: User, now: datetime) -> EstimateRevision:
    """Bring a house and freeze its estimate as a revision; the same figures again write nothing."""
    house = house_put(record=snapshot.house, is_demo=True, created_by=by, now=now, origin=ORIGIN)
    return estimate_freeze(house=house, snapshot=snapshot, by=by, now=now, origin=ORIGIN)
