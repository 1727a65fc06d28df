"""Money as reports: a job billed, paid and worked through the services, and what the reports make of its books."""

import json
import uuid
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import plotly.graph_objects as go
import pytest

from estimates.models import User
from estimates.money import to_cents
from jobs.costing import cost_add, costs_post, job_costs
from jobs.invoicing import Asked as Bill
from jobs.invoicing import credit_issue, invoice_issue, invoice_look
from jobs.ledger import entry_post, trial_balance
from jobs.models import (
    ChangeOrder,
    ChangeStatus,
    CostKind,
    CrewEntry,
    EntryKind,
    Invoice,
    InvoiceKind,
    Job,
    JobPaper,
    JobStatus,
    Payment,
    PaymentMethod,
    Phase,
    PhaseKind,
    TaxCertificate,
)
from jobs.payments import payment_record
from reports.answers import shown_table
from reports.asked import Asked
from reports.frames_margins import bridge, bridge_steps, margin_frame, margins
from reports.frames_money import cash, job_balances, month_frame, months

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 4, 14, 15, 0, tzinfo=UTC)
ALL = Asked(date(2026, 5, 20), None, None, "all", "all years")


@pytest.fixture
def report_hours(crew: User) -> Callable[..., CrewEntry]:
    """Return `report_hours(job, phase kind, hours, people=2)`: what a crew reports of a phase."""

    def write(job: Job, phase: str, hours: float, people: int = 2) -> CrewEntry:
        return CrewEntry.objects.create(
            job=job, phase=job.phases.get(kind=phase), kind=EntryKind.HOURS, data={"hours": hours, "people": people},
            day=NOW.date(), noted_at=NOW, received_at=NOW, by=crew, body_sha256="a" * 64,
        )  # fmt: skip

    return write


@pytest.fixture
def history(
    booked: Callable[..., Job], owner: User, report_hours: Callable[..., CrewEntry], monkeypatch: pytest.MonkeyPatch
) -> Job:
    """A job from its deposit to a credit after the final invoice, over two months, with a call-back."""
    monkeypatch.setattr("jobs.invoicing.keep_paper", lambda *args, **kwargs: None)
    job = booked("mill-cape")
    act: dict[str, Any] = {"by": owner}

    def bill(kind: InvoiceKind, at: datetime) -> Invoice:
        asked = Bill(kind, at.date(), at.date() + timedelta(days=14))
        fresh = Job.objects.get(pk=job.pk)
        seen = invoice_look(fresh, asked).seen
        return invoice_issue(job=fresh, asked=asked, seen=seen, key=uuid.uuid4(), now=at, **act)

    def pay(cents: int, at: datetime) -> None:
        payment_record(
            job=job, amount=cents, received_on=at.date(), method=PaymentMethod.CHECK, key=uuid.uuid4(), now=at, **act
        )  # fmt: skip

    march = datetime(2026, 3, 11, 15, 0, tzinfo=UTC)
    TaxCertificate.objects.create(job=job, holds=True, number="ST 1", received_on=march.date(), at=march, by=owner)
    deposit = bill(InvoiceKind.DEPOSIT, march)
    pay(to_cents(deposit.total), march)
    Phase.objects.create(job=job, kind=PhaseKind.RETURN, position=50, hours=Decimal(4))
    report_hours(job, PhaseKind.INJECT, 21.5)
    report_hours(job, PhaseKind.ATTIC, 7)
    report_hours(job, PhaseKind.RETURN, 3)
    for kind, cents, back in ((CostKind.TRAVEL, 20_000, False), (CostKind.EQUIPMENT, 5_500, True)):
        cost_add(job=job, kind=kind, words="Bill", amount=cents, on=NOW.date(), key=uuid.uuid4(), call_back=back,
                 now=NOW, **act)  # fmt: skip
    ChangeOrder.objects.create(
        job=job, number=1, status=ChangeStatus.SIGNED, reason="More behind the wall", content={},
        price=Decimal("431.50"), tax=Decimal("0.00"), created_at=NOW, created_by=owner, issued_at=NOW, ended_at=NOW,
        content_sha256="a" * 64, signed_sha256="a" * 64, signed_name="Wren Halloran",
    )  # fmt: skip
    JobPaper.objects.create(job=job, kind="receipt", name="receipt", content={}, sha256="b" * 64, made_at=NOW)
    Job.objects.filter(pk=job.pk).update(status=JobStatus.VERIFIED, started_at=march, done_at=NOW, verified_at=NOW)
    costs_post(job=job, on=NOW.date(), now=NOW, **act)
    final = bill(InvoiceKind.FINAL, NOW)
    pay(300_000, NOW)
    credit_issue(
        invoice=final, amount=12_345, reason="A scratch on the door", issued_on=NOW.date(), key=uuid.uuid4(), now=NOW,
        **act,
    )  # fmt: skip
    return Job.objects.get(pk=job.pk)


def test_margins_are_those_of_papers_and_of_job_costs(history: Job) -> None:
    # Independent of the books: the net amounts of the papers, and the costs that the job page works out.
    papers = Invoice.objects.filter(job=history)
    net = sum(to_cents(paper.net) * (-1 if paper.kind == InvoiceKind.CREDIT else 1) for paper in papers)
    costs = job_costs(history)
    (row,) = margin_frame(ALL).to_dict("records")
    assert row["revenue"] == net
    assert row["cost"] == costs.actual
    assert row["actual"] == net - costs.actual - costs.commission
    option = json.loads(history.revision.snapshot)["estimate"]["options"][0]
    assert row["price"] == option["price_cents"]
    assert row["estimated"] / row["price"] == pytest.approx(option["margin"], abs=1e-8)
    answer = margins(ALL)
    by = {(line[0], line[1]): line for line in answer.table.rows}
    assert by["Seller", history.proposal.created_by.full_name][3] == row["actual"]
    assert by["Wall type", "Wall, frame"][2] == 1
    assert by["Service", "walls and attic and air sealing"][6] == row["actual"] - row["estimated"]
    assert list(answer.links)[-1] == f"/jobs/{history.code}/"


def test_the_bridge_leads_from_estimate_to_books_to_the_cent(history: Job) -> None:
    steps, jobs = bridge_steps(ALL)
    named = dict(steps)
    assert jobs == 1
    assert sum(cents for _, cents in steps[:-1]) == named["Actual margin"]
    costs = job_costs(history)
    estimated = {kind: cents for kind, cents, _ in costs.by_kind}
    back = {row.key: row.actual for row in costs.rows}["return"]
    assert named["Labour"] == estimated["labour"] - (costs.by_kind[0][2] - back.cents["labour"])
    assert named["Call-backs"] == -back.total
    assert named["Change orders"] == 43_150
    assert named["Not billed yet"] == 0
    credit = Invoice.objects.get(kind=InvoiceKind.CREDIT)
    assert named["Discounts and credits"] == -to_cents(credit.net)
    answer = bridge(ALL)
    go.Figure(answer.charts[0].figure)
    bars = answer.charts[0].figure["data"][0]["x"]
    assert sum(bars[:-1]) == pytest.approx(bars[-1]), "the steps add up to the last bar"


def test_months_and_cash_agree_with_the_books(history: Job) -> None:
    frame = month_frame(ALL).set_index("month")
    assert list(frame.index) == ["2026-03", "2026-04", "2026-05"], "every month up to today, also an empty one"
    for month in (date(2026, 3, 1), date(2026, 4, 1)):
        trial = {row.code: row for row in trial_balance(month)}
        row = frame.loc[f"{month:%Y-%m}"]
        costs = sum(one.debit - one.credit for code, one in trial.items() if code.startswith("5"))
        assert row["cost"] == costs
        assert row["cash"] == trial["1000"].debit
        income = sum(one.credit - one.debit for code, one in trial.items() if code.startswith("4"))
        assert row["revenue"] == income
    assert (frame["booked"].sum(), frame.loc["2026-04", "finished"]) == (1, 1)
    paid = [to_cents(payment.amount) for payment in Payment.objects.order_by("received_on")]
    rows = {(line[0], line[1]): line[2:] for line in cash(ALL).table.rows}
    assert rows["Month", "March 2026"] == [paid[0], 0, paid[0], paid[0]], "the deposit is held until it is earned"
    assert rows["Month", "April 2026"] == [300_000, 0, 300_000, 0]
    open_now = sum(line[0] for (what, _), line in rows.items() if what == "Open today")
    final = Invoice.objects.get(kind=InvoiceKind.FINAL)
    credit = Invoice.objects.get(kind=InvoiceKind.CREDIT)
    assert open_now == to_cents(final.payable) - 300_000 - to_cents(credit.applied)
    assert rows["Open today", "1-30 days"][0] == open_now, "due on 28 April, seen on 20 May"
    assert cash(ALL).title.startswith(f"${(paid[0] + 300_000 + 50) // 100:,} came in and $0 went back")


def test_a_job_that_is_not_in_the_books_is_left_out_and_said(bare_job: Callable[..., Job], owner: User) -> None:
    job = bare_job("inject")
    Job.objects.filter(pk=job.pk).update(status=JobStatus.WORK_DONE, done_at=NOW)
    answer = margins(ALL)
    assert answer.missing
    assert shown_table(answer).rows == []
    assert bridge(ALL).title == "No job finished in all years is in the books with revenue and cost."


@pytest.mark.parametrize(
    ("moment", "month"),
    [
        (datetime(2026, 2, 1, 4, 59, tzinfo=UTC), "2026-01"),
        (datetime(2026, 2, 1, 5, 0, tzinfo=UTC), "2026-02"),
        (datetime(2026, 7, 1, 3, 59, tzinfo=UTC), "2026-06"),
        (datetime(2026, 2, 28, 23, 30, tzinfo=UTC), "2026-02"),
        (datetime(2026, 2, 14, 12, 0, tzinfo=UTC), "2026-02"),
    ],
)
def test_a_job_counts_in_the_month_of_the_firms_clock(
    bare_job: Callable[..., Job], moment: datetime, month: str
) -> None:
    job = bare_job("inject")
    Job.objects.filter(pk=job.pk).update(booked_at=moment)
    frame = month_frame(ALL)
    assert frame[frame["booked"] == 1]["month"].tolist() == [month]
    assert months(ALL).title == "1 job booked in all years; no revenue is in the books yet."


def test_money_reports_ask_as_often_for_many_jobs_as_for_few(
    bare_job: Callable[..., Job], owner: User, django_assert_max_num_queries: Any
) -> None:
    from django.db import transaction

    for count in (2, 6):
        for _ in range(count):
            job = bare_job("inject")
            Job.objects.filter(pk=job.pk).update(status=JobStatus.WORK_DONE, done_at=NOW)
            with transaction.atomic():
                entry_post(on=NOW.date(), memo="By hand", amounts={"bank": 900, "revenue": -900}, now=NOW, by=owner,
                           job=job)  # fmt: skip
        assert len(job_balances(Job.objects.all())) == Job.objects.count()
        # margins 6, bridge 6 and change orders, cash 3, months 3
        with django_assert_max_num_queries(22):
            margins(ALL), bridge(ALL), cash(ALL), months(ALL)
