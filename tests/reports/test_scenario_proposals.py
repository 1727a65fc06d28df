"""The proposals of the demo: each stage of the story has the paper and the answer that belong to it."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from estimates.issuing import kept_document
from estimates.models import Disclosure, OutboxMessage, Proposal, User
from estimates.price_books import price_book_publish
from estimates.pricebook import load_book
from estimates.snapshot import take_snapshot
from reports import scenario
from reports.scenario_proposals import proposal_load
from reports.scenario_story import EARLIEST

NOW = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
TOLD = {
    "saltbox-9": "accepted",
    "plover-16": "accepted",
    "rye-415": "declined",
    "pippin-28": "issued",
    "anvil-6": "declined",
}


@pytest.fixture
def brought(tmp_path: Path, db: None) -> dict[str, Proposal | None]:
    scenario.people_load(now=NOW, accounts_file=tmp_path / "accounts.txt")
    scenario.rules_load(now=NOW)
    owner = User.objects.filter(role="owner").order_by("id")[0]
    story, book = scenario.load_scenario(scenario.calendar(now=NOW)), load_book("standard")
    price_book_publish(book=book, by=owner, now=story.days.time(EARLIEST))
    sources = scenario.sources_load(story, by=owner)
    found: dict[str, Proposal | None] = {}
    for house in story.houses:
        if house.record.id not in TOLD:
            continue
        lead = scenario.lead_load(house, story.days, sources=sources, owner=owner)
        scenario.assessment_load(house, story.days, lead=lead)
        revision = scenario.estimate_load(
            snapshot=take_snapshot(house.record, book), by=lead.seller, now=house.priced_at(story.days)
        )
        first = proposal_load(house, story.days, lead=lead, revision=revision, owner=owner)
        again = proposal_load(house, story.days, lead=lead, revision=revision, owner=owner)
        assert first == again
        found[house.record.id] = first
    return found


def test_each_stage_has_its_paper_and_its_answer(brought: dict[str, Proposal | None]) -> None:
    assert {name: proposal.status for name, proposal in brought.items() if proposal} == TOLD
    for proposal in brought.values():
        assert proposal is not None
        assert kept_document(proposal).exists()
        assert proposal.issued_at is not None
        assert proposal.issued_at < NOW


def test_a_signature_has_its_notice(brought: dict[str, Proposal | None]) -> None:
    signed = brought["saltbox-9"]
    assert Disclosure.objects.filter(proposal=signed, kind="cancellation_notice").exists()


def test_no_letter_of_the_demo_goes_to_a_homeowner(brought: dict[str, Proposal | None]) -> None:
    office = set(User.objects.values_list("email", flat=True))
    assert all(set(message.payload.get("to", [])) <= office for message in OutboxMessage.objects.all())
