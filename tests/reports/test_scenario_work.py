"""The jobs of the demo: each end of the story with its proof and its money, loaded once."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps

from estimates.models import Cancellation, User
from estimates.money import to_cents
from estimates.price_books import price_book_publish
from estimates.pricebook import load_book
from estimates.snapshot import take_snapshot
from jobs.billing import contract_of, job_bills
from jobs.ledger import balances
from jobs.models import Finding, InvoiceKind, Job, Posting, Refund, Slot, Verification
from reports import scenario
from reports.scenario_crews import crews_load
from reports.scenario_jobs import load_jobs
from reports.scenario_proposals import proposal_load
from reports.scenario_story import EARLIEST
from reports.scenario_work import jobs_load

NOW = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
TOLD = {"plover-16": "locked", "cooper-88": "closed", "skillet-ranch": "started"}


@pytest.fixture
def worked(tmp_path: Path, db: None, settings: Any) -> dict[str, Job]:
    settings.VAR_DIR, settings.DOCUMENTS_DIR = tmp_path, tmp_path / "documents"
    scenario.people_load(now=NOW, accounts_file=tmp_path / "accounts.txt")
    scenario.rules_load(now=NOW)
    owner = User.objects.filter(role="owner").order_by("id")[0]
    story, book = scenario.load_scenario(scenario.calendar(now=NOW)), load_book("standard")
    price_book_publish(book=book, by=owner, now=story.days.time(EARLIEST))
    sources = scenario.sources_load(story, by=owner)
    for house in story.houses:
        if house.record.id in TOLD:
            lead = scenario.lead_load(house, story.days, sources=sources, owner=owner)
            scenario.assessment_load(house, story.days, lead=lead)
            at = house.priced_at(story.days)
            revision = scenario.estimate_load(snapshot=take_snapshot(house.record, book), by=lead.seller, now=at)
            proposal_load(house, story.days, lead=lead, revision=revision, owner=owner)
    crews = crews_load(story.days, by=owner)
    jobs_load(story, crews=crews, owner=owner)
    counts = {model._meta.label: model.objects.count() for model in apps.get_app_config("jobs").get_models()}
    assert jobs_load(story, crews=crews_load(story.days, by=owner), owner=owner) == []
    again = {model._meta.label: model.objects.count() for model in apps.get_app_config("jobs").get_models()}
    assert again == counts
    return {job.house.reference: job for job in Job.objects.select_related("house")}


def test_each_end_of_the_story_has_its_proof_and_its_money(worked: dict[str, Job]) -> None:
    assert {name: job.status for name, job in worked.items()} == TOLD

    # The void was found, mended and closed; the final invoice is contract less what was invoiced before, all paid.
    done = worked["cooper-88"]
    assert Verification.objects.filter(job=done).exists()
    finding = Finding.objects.get(job=done)
    assert finding.confirmed
    assert finding.closed_at is not None
    bills = job_bills(done)
    assert sum(to_cents(bill.invoice.total) for bill in bills) == contract_of(done).total_cents
    assert sum(bill.open for bill in bills) == 0
    assert {bill.invoice.kind for bill in bills} >= {InvoiceKind.FINAL}
    assert {paper.kind for paper in done.papers.all()} >= {"receipt", "certificate", "completion", "invoice"}

    # Cancelled in time: the deposit went back whole, and nothing of it stays in the books.
    gone = worked["plover-16"]
    assert Cancellation.objects.get(proposal=gone.proposal).in_time
    refund = Refund.objects.get(job=gone)
    assert to_cents(refund.amount) == contract_of(gone).step_cents("at signing")
    assert all(cents == 0 for cents in balances(job=gone).values())

    # Under way: nothing is told of days that have not come.
    now = worked["skillet-ranch"]
    assert now.entries.exists()
    assert all(entry.noted_at < NOW for entry in now.entries.all())

    assert sum(to_cents(one.debit) - to_cents(one.credit) for one in Posting.objects.all()) == 0
    assert Slot.objects.exists()


def test_every_signed_house_of_the_story_has_a_job_row() -> None:
    story = scenario.load_scenario(scenario.Calendar.of_week(NOW, UTC))
    signed = {house.record.id for house in story.houses if house.lead.won is not None}
    assert set(load_jobs()) == signed
