"""The rows of the demo: the same from the same files, every stage with its time, money at what it cost then."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.db.models import F

from estimates.assessments import assessment_to_record
from estimates.leads import lead_complaints, lead_source_put
from estimates.models import EstimateRevision, House, User
from estimates.models.assessment import Assessment, AssessmentStatus
from estimates.models.lead import Lead, LeadMove, LeadSource, LeadStage
from estimates.pricebook import load_book
from estimates.snapshot import take_snapshot
from reports.scenario import (
    Scenario,
    assessment_load,
    calendar,
    estimate_load,
    is_demo_database,
    lead_load,
    load_scenario,
    loaded_revision,
    people_load,
    sources_load,
)

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, 30, tzinfo=UTC)


def load(folder: Path, count: int | None = None, now: datetime = NOW) -> Scenario:
    """Bring people, sources and leads."""
    people_load(now=now, accounts_file=folder / "accounts.txt")
    owner = User.objects.get(role="owner")
    scenario = load_scenario(calendar(now=now), count)
    sources = sources_load(scenario, by=owner)
    for house in scenario.houses:
        lead = lead_load(house, scenario.days, sources=sources, owner=owner)
        assessment_load(house, scenario.days, lead=lead)
    return scenario


def rows() -> list[Any]:
    """Every lead, move and house, without keys made at random."""
    leads = Lead.objects.annotate(place=F("house__reference"), at_source=F("source__name"), by=F("seller__email"))
    skipped = {"id", "code", "source", "seller", "house"}
    fields = [field.name for field in Lead._meta.fields if field.name not in skipped]
    found: list[Any] = list(leads.order_by("place").values(*fields, "place", "at_source", "by"))
    moves = LeadMove.objects.order_by("lead__house__reference", "at")
    found += moves.values_list("lead__house__reference", "stage", "at", "by__email", "note")
    kept = Assessment.objects.order_by("house__reference")
    found += kept.values_list("house__reference", "number", "status", "sha256", "created_at", "completed_at")
    found += House.objects.order_by("reference").values("reference", "name", "street", "county", "created_at")
    return found


def test_two_loads_from_the_same_files_give_the_same_rows(tmp_path: Path) -> None:
    before = transaction.savepoint()
    load(tmp_path, 24)
    first = rows()
    transaction.savepoint_rollback(before)
    assert not Lead.objects.exists()
    load(tmp_path, 24)
    assert len(first) > 24 * 4
    assert rows() == first


def test_every_stage_has_its_time_and_only_visited_houses_have_an_assessment(tmp_path: Path) -> None:
    story = load(tmp_path)
    for lead in Lead.objects.all():
        moves = list(LeadMove.objects.filter(lead=lead).order_by("at", "id"))
        assert moves[0].stage == LeadStage.NEW
        assert moves[0].at == lead.taken_at
        assert moves[-1].stage == lead.stage
        assert all(move.at < NOW for move in moves)
    assert set(Lead.objects.values_list("stage", flat=True)) == set(LeadStage.values)
    without = set(Lead.objects.filter(house__assessments=None).values_list("house__reference", flat=True))
    assert without == {house.record.id for house in story.houses if house.lead.assessed is None}
    assert len(without) == 11


def test_a_lead_keeps_its_complaint_its_consent_and_what_its_source_cost_then(tmp_path: Path) -> None:
    scenario = load(tmp_path, 3)
    owner = User.objects.get(role="owner")
    source = LeadSource.objects.get(name="Search on the web")
    lead_source_put(name=source.name, cost_per_lead=Decimal("99.00"), by=owner, now=NOW)
    lead = Lead.objects.get(house__reference="quarry-split")
    assert lead.cost == Decimal("62.00")
    assert lead_complaints(lead) == scenario.houses[2].record.complaints
    assert lead.may_be_called
    assert lead.next_step_on == scenario.days.day(2)


def test_a_visited_house_has_a_completed_assessment_that_holds_its_record(tmp_path: Path) -> None:
    scenario = load(tmp_path, 8)
    assert Assessment.objects.count() == 8
    for house in scenario.houses:
        kept = Assessment.objects.get(house__reference=house.record.id)
        assert kept.status == AssessmentStatus.COMPLETED
        assert assessment_to_record(kept) == house.record
        assert kept.completed_at is not None
        # Nobody completes it before the stops in it were released.
        days = [release.released_on for release in house.record.gate_releases]
        assert all(day <= scenario.days.monday and kept.completed_at >= scenario.days.evening(day) for day in days)


def test_the_calendar_stays_at_the_week_of_the_first_load(tmp_path: Path) -> None:
    first = load(tmp_path, 1).days
    later = calendar(now=datetime(2027, 3, 1, 12, tzinfo=UTC))
    assert later == first
    assert first.monday.isoformat() == "2026-11-23"


def test_an_estimate_is_known_again_only_from_the_same_record_and_seed(tmp_path: Path) -> None:
    house = load(tmp_path, 8).houses[7]
    book = load_book("standard")
    by = User.objects.get(role="owner")
    assert loaded_revision(house.record, book, seed=1) is None
    revision = estimate_load(snapshot=take_snapshot(house.record, book, seed=1), by=by, now=NOW)
    assert loaded_revision(house.record, book, seed=1) == revision
    assert loaded_revision(house.record, book, seed=2) is None
    moved = load_scenario(calendar(now=NOW)).houses[8].record
    assert loaded_revision(moved, book, seed=1) is None
    assert EstimateRevision.objects.count() == 1


def test_somebodys_own_lead_makes_it_no_demo_any_more(tmp_path: Path) -> None:
    load(tmp_path, 1)
    assert is_demo_database()
    Lead.objects.update(is_demo=False)
    assert not is_demo_database()
