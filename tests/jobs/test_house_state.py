"""The eight chapters of a house: what is done, what is next and who owes it, from the rows that are there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from estimates.assessments import assessment_complete, assessment_from_record, assessment_put, assessment_to_record
from estimates.estimating import estimate_make
from estimates.house import HouseRecord, house_from_json
from estimates.houses import house_put
from estimates.leads import lead_source_put, lead_take
from estimates.models import Assessment, EstimateRevision, House, LeadStage, Proposal, User
from estimates.price_books import price_book_publish
from estimates.pricebook import load_book
from estimates.proposals import proposal_accept, proposal_decline, proposal_draft, proposal_issue
from estimates.rules import load_rules
from estimates.rules_table import rule_put
from jobs.house_chapter import ChapterState
from jobs.house_state import HouseState, house_acts, house_state

NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)
SHA = "a" * 64


@pytest.fixture
def record() -> HouseRecord:
    source = Path(__file__).resolve().parents[2] / "fixtures" / "houses" / "quarry-split.json"
    return house_from_json(source.read_text(encoding="utf-8"))


@pytest.fixture
def measured(record: HouseRecord, owner: User) -> House:
    return house_put(record=record, is_demo=False, created_by=owner, now=NOW)


@pytest.fixture
def assessment(measured: House, record: HouseRecord, owner: User) -> Assessment:
    return assessment_from_record(house=measured, record=record, by=owner, now=NOW)


@pytest.fixture
def revision(assessment: Assessment, owner: User) -> EstimateRevision:

    price_book_publish(book=load_book("standard"), by=owner, now=NOW)
    for row in load_rules():
        rule_put(**{**asdict(row), "by": owner, "now": NOW})
    return estimate_make(assessment=assessment, book_name="standard", on=date(2026, 3, 2), by=owner, now=NOW)


def states(found: HouseState) -> list[str]:
    return [str(chapter.state) for chapter in found.chapters]


def test_a_house_that_nobody_measured_waits_for_its_assessment(measured: House, owner: User) -> None:
    found = house_state(measured, owner)
    assert [chapter.name for chapter in found.chapters] == [
        *("Lead", "Site assessment", "Takeoff", "Estimate", "Proposal", "Job", "Verification", "Invoice"),
    ]
    assert states(found) == ["not yet", "now", *["not yet"] * 6]
    assert found.next_chapter is not None
    assert found.next_chapter.next_step == "Measure the house"


def test_open_gates_keep_the_assessment_open(
    assessment: Assessment, measured: House, record: HouseRecord, owner: User
) -> None:

    bare = replace(record, gate_answers=(), gate_releases=())
    assessment = assessment_put(assessment=assessment, record=bare, expected_version=1, by=owner, now=NOW)
    said = house_state(measured, owner).chapters[1].said
    assert "hazard questions are open" in said
    assert house_state(measured, owner).chapters[1].state is ChapterState.NOW


def test_a_change_after_the_revision_asks_for_a_new_one(
    assessment: Assessment, revision: EstimateRevision, measured: House, owner: User
) -> None:

    assert states(house_state(measured, owner))[2:5] == ["done", "done", "now"]
    record = replace(assessment_to_record(assessment), bedrooms=9)
    later = NOW + timedelta(hours=1)
    assessment_put(assessment=assessment, record=record, expected_version=1, by=owner, now=later)
    estimate = house_state(measured, owner).chapters[3]
    assert (estimate.state, estimate.next_step) == (ChapterState.NOW, "Freeze a new revision")


def test_a_proposal_goes_from_the_desk_to_the_homeowner_and_on_to_the_scheduler(
    assessment: Assessment, revision: EstimateRevision, measured: House, owner: User
) -> None:
    assessment_complete(assessment=assessment, expected_version=1, by=owner, now=NOW)
    proposal = proposal_draft(revision=revision, by=owner, now=NOW)
    assert house_state(measured, owner).chapters[4].next_step == "Check and issue it"
    proposal = issued(proposal, owner)
    waiting = house_state(measured, owner).chapters[4]
    assert (waiting.state, waiting.owes) == (ChapterState.NOW, "Homeowner")
    option = assessment_to_record(assessment).options[0].id
    proposal_accept(proposal=proposal, option=option, typed_name="Wren", document_sha256=SHA, now=NOW)
    found = house_state(measured, owner)
    assert states(found)[1:6] == ["done", "done", "done", "done", "now"]
    assert found.next_chapter is not None
    assert found.next_chapter.owes == "Scheduler"


def test_a_declined_proposal_blocks(revision: EstimateRevision, measured: House, owner: User) -> None:
    proposal_decline(proposal=issued(proposal_draft(revision=revision, by=owner, now=NOW), owner), now=NOW)
    assert house_state(measured, owner).chapters[4].state is ChapterState.BLOCKED


def test_the_acts_of_a_house_are_its_own_and_latest_first(
    revision: EstimateRevision, measured: House, house: House, owner: User
) -> None:
    acts = [act.action for act in house_acts(measured, owner)]
    assert set(acts) == {"house.put", "assessment.begin", "revision.create"}
    assert house_acts(house, owner) == []


def test_reading_the_state_takes_a_fixed_number_of_queries(
    revision: EstimateRevision, measured: House, assessment: Assessment, owner: User,
    django_assert_max_num_queries: Callable[..., object],
) -> None:  # fmt: skip
    assessment_complete(assessment=assessment, expected_version=1, by=owner, now=NOW)
    with django_assert_max_num_queries(8):  # type: ignore[attr-defined]
        house_state(measured, owner)


def issued(proposal: Proposal, owner: User) -> Proposal:
    return proposal_issue(
        proposal=proposal,
        document_sha256=SHA,
        document_name="proposal.docx",
        valid_until=date(2026, 4, 1),
        by=owner,
        now=NOW,
    )


def test_a_completed_assessment_takes_its_lead_along(
    assessment: Assessment, measured: House, record: HouseRecord, owner: User
) -> None:
    source = lead_source_put(name="Told by a neighbour", cost_per_lead=Decimal(0), by=owner, now=NOW)
    lead = lead_take(
        by=owner, now=NOW, person=record.customer, phone="555-0142", source=source, seller=owner, house=measured,
        state=record.state,
    )  # fmt: skip
    assert lead.stage == LeadStage.NEW
    assessment_complete(assessment=assessment, expected_version=1, by=owner, now=NOW)
    lead.refresh_from_db()
    assert lead.stage == LeadStage.ASSESSED
