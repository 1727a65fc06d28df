"""What a job cost beside what was estimated: hours, mixes, bags, bills, and the sentence that tells where it went."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from estimates.models import User
from jobs.costing import RETURN, CostRow, JobCosts, Spent, cost_add, costs_post, job_costs, where_it_went
from jobs.ledger import balances
from jobs.models import (
    CostKind,
    Crew,
    CrewEntry,
    CrewMember,
    EntryKind,
    Job,
    JobStatus,
    Phase,
    PhaseKind,
    Worker,
)

NOW = datetime(2026, 3, 18, 14, 0, tzinfo=UTC)
DAY = date(2026, 3, 17)


@pytest.fixture
def job(booked: Callable[..., Job]) -> Job:
    return booked("quarry-split")


@pytest.fixture
def report(job: Job, crew: User) -> Callable[..., CrewEntry]:
    """Let somebody of a crew of two, at $30 and $40 an hour, report something."""
    lead = Worker.objects.create(name="Corin Latham", user=crew, hourly_cost=Decimal("40.00"))
    second = Worker.objects.create(name="Ada Fenwick", hourly_cost=Decimal("30.00"))
    north = Crew.objects.create(name="North crew", home_latitude=Decimal(42), home_longitude=Decimal(-76))
    for worker in (lead, second):
        CrewMember.objects.create(crew=north, worker=worker, since=date(2026, 1, 5))

    def told(kind: EntryKind, data: dict[str, Any], **more: Any) -> CrewEntry:
        row = CrewEntry(
            code=uuid.uuid4(),
            job=job,
            kind=kind,
            data=data,
            day=DAY,
            noted_at=NOW,
            received_at=NOW,
            by=crew,
            body_sha256="a" * 64,
            **more,
        )
        row.save()
        return row

    return told


def row_of(costs: JobCosts, key: str) -> CostRow:
    return next(row for row in costs.rows if row.key == key)


def test_the_estimate_is_the_direct_cost_of_the_signed_lines(job: Job) -> None:
    option = json.loads(job.revision.snapshot)["estimate"]["options"][0]
    costs = job_costs(job)
    assert costs.estimated == option["direct_cost_cents"]
    assert costs.actual == 0
    assert costs.sentence == "Nothing is booked to this job yet."
    assert costs.margin_estimated == pytest.approx(option["margin"], abs=1e-4)
    assert row_of(costs, "up-front").estimated.hours == pytest.approx(7.8875)


def test_hours_mixes_bags_and_bills_stand_where_they_were_spent(
    job: Job, report: Callable[..., CrewEntry], bookkeeper: User
) -> None:
    front, back = job.walls.get(key="up-front"), job.walls.get(key="up-back")
    phase = {kind: job.phases.get(kind=kind) for kind in (PhaseKind.INJECT, PhaseKind.ATTIC)}
    book = json.loads(job.revision.snapshot)["price_book"]
    mix, bag = (
        round(book[of][0][cost] * 100) for of, cost in (("foams", "cost_per_mix"), ("loose_fills", "cost_per_bag"))
    )
    # One person: at their own cost. Two: at the mean of the crew, here $35.
    report(EntryKind.HOURS, {"hours": 4.0, "people": 1}, wall=front)
    report(EntryKind.HOURS, {"hours": 3.0, "people": 2}, wall=back)
    report(EntryKind.HOURS, {"hours": 5.0, "people": 2}, phase=phase[PhaseKind.ATTIC])
    bays = [{"bay": 1}, {"bay": 2}, {"bay": 1, "wall": "up-back"}, {"bay": 2, "wall": "up-back"}]
    report(EntryKind.MIX, {"lot": "L-17", "ingredients_lb": 40, "water_gal": 5, "mixes": 2, "bays": bays}, wall=front)
    wrong = report(EntryKind.BAGS, {"bags": 400}, phase=phase[PhaseKind.ATTIC])
    report(EntryKind.BAGS, {"bags": 40}, phase=phase[PhaseKind.ATTIC], replaces=wrong.code)
    report(EntryKind.MATERIAL, {"name": "cap board", "amount": 24.0, "unit": "ft"}, wall=front)
    back_phase = Phase.objects.create(job=job, kind=PhaseKind.RETURN, position=20, hours=Decimal("4"))
    report(EntryKind.HOURS, {"hours": 1.5, "people": 2}, phase=back_phase)
    act = {"by": bookkeeper, "now": NOW, "on": DAY}
    key = uuid.uuid4()
    staging = {"job": job, "kind": CostKind.EQUIPMENT, "words": "Staging, two days", "amount": 42_000, "wall": front}
    item = cost_add(key=key, **staging, **act)
    assert cost_add(key=key, **staging, **act).pk == item.pk
    costs = job_costs(job)
    assert (row_of(costs, "up-front").actual.cents["labour"], row_of(costs, "up-front").actual.hours) == (16_000, 4.0)
    assert (row_of(costs, "up-back").actual.cents["labour"], row_of(costs, "up-back").actual.hours) == (21_000, 6.0)
    assert row_of(costs, "attic").actual.cents["labour"] == 35_000
    assert row_of(costs, "attic").actual.cents["material"] == 40 * bag
    assert row_of(costs, "up-front").actual.cents["material"] == mix
    assert row_of(costs, "up-front").actual.cents["equipment"] == 42_000
    assert row_of(costs, RETURN).actual.total == costs.call_backs == 10_500
    assert costs.lots == (("L-17", 2, 2 * mix),)
    assert costs.unpriced == ("24 ft cap board",)
    everything = 16_000 + 21_000 + 35_000 + 10_500 + 40 * bag + 2 * mix + 42_000
    assert costs.actual == everything
    # Into the books once, and again only what is new.
    assert costs_post(job=job, **act) == everything - 42_000
    assert costs_post(job=job, **act) == 0
    report(EntryKind.HOURS, {"hours": 1.0, "people": 1}, wall=front)
    assert costs_post(job=job, **act) == 4_000
    books = balances(job=job)
    assert sum(cents for key, cents in books.items() if key.startswith("cost_")) == everything + 4_000
    assert (books["cost_call_back"], books["cost_equipment"]) == (10_500, 42_000)
    assert (books["wages_payable"], books["stock"]) == (-86_500, -(40 * bag + 2 * mix))


def test_a_cost_without_words_amount_or_a_day_that_was_is_refused(job: Job, bookkeeper: User) -> None:
    with pytest.raises(ValidationError) as refused:
        cost_add(
            job=job,
            kind=CostKind.OTHER,
            words=" ",
            amount=0,
            on=date(2026, 3, 19),
            key=uuid.uuid4(),
            by=bookkeeper,
            now=NOW,
        )
    assert set(refused.value.message_dict) == {"words", "amount", "on"}


def test_the_sentence_names_the_largest_differences_with_their_money() -> None:
    def row(key: str, name: str, estimated: Spent, actual: Spent) -> CostRow:
        return CostRow(key, name, estimated, actual)

    def spent(hours: float = 0.0, mixes: float = 0.0, **cents: int) -> Spent:
        found = Spent(hours=hours, mixes=mixes)
        for kind, amount in cents.items():
            found.add(kind, amount)
        return found

    rows = [
        row(
            "n",
            "North wall",
            spent(10.0, 10.0, labour=35_000, material=96_000),
            spent(16.5, 11.4, labour=57_750, material=109_440),
        ),
        row("s", "South wall", spent(10.0, 10.0, labour=35_000, material=96_000), spent(10.1, labour=35_350)),
        row("job", "The whole job", spent(subcontract=0), spent(subcontract=30_000)),
    ]
    # 262,000 estimated; 57,750 + 109,440 + 35,350 + 30,000 = 232,540 spent: 29,460 less, because nobody reported the
    # mixes of the south wall.
    said = where_it_went(rows, ["Frost", "frost"])
    assert said == (
        "Cost $294.60 less than estimated (11 %): 2 days lost to frost, no material booked for South wall (-$960.00), "
        "subcontract of the whole job (+$300.00), 6.5 h more on North wall (+$227.50)."
    )
    # While the work goes on, what is not spent yet is no saving.
    assert where_it_went(rows, done=False) == (
        "$2,325.40 of $2,620.00 estimated is spent so far: subcontract of the whole job (+$300.00), 6.5 h more on "
        "North wall (+$227.50), 14 % more mix on North wall (+$134.40)."
    )


def test_costs_and_margin_are_for_the_owner(
    job: Job,
    report: Callable[..., CrewEntry],
    owner: User,
    bookkeeper: User,
    scheduler: User,
    signed_in: Callable[[User], Client],
) -> None:
    report(EntryKind.HOURS, {"hours": 4.0, "people": 1}, wall=job.walls.get(key="up-front"))
    Job.objects.filter(pk=job.pk).update(status=JobStatus.STARTED)
    costs, money = reverse("jobs-show-costs", args=[job.code]), reverse("jobs-show-money", args=[job.code])
    with time_machine.travel(NOW):
        page = signed_in(owner).get(costs).content.decode()
        assert "$160.00 of $" in page
        assert "Margin after commission" in page
        assert signed_in(bookkeeper).get(costs).status_code == 403
        assert "Costs and margin" not in signed_in(bookkeeper).get(money).content.decode()
        assert signed_in(scheduler).get(money).status_code == 403
        adding = reverse("jobs-add-cost", args=[job.code])
        given = {"kind": "subcontract", "words": "Electrician", "amount": "180", "on": "2026-03-17"}
        done = signed_in(bookkeeper).post(adding, {**given, "key": str(uuid.uuid4())}, follow=True)
        assert "Electrician, $180.00, is booked to job" in done.content.decode()
        posted = signed_in(bookkeeper).post(reverse("jobs-post-costs", args=[job.code]), follow=True)
        assert "$160.00 of labour and material is posted." in posted.content.decode()
