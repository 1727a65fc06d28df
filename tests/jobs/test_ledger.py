"""The books: every entry balances, closed months refuse, and sums agree with the papers whatever happens."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from estimates.cancelling import cancellation_receive
from estimates.command import Conflict
from estimates.models import ActivityEntry, User
from estimates.models.frozen import Frozen
from estimates.money import to_cents
from jobs.billing import contract_of, job_bills
from jobs.invoicing import Asked, credit_issue, invoice_issue, invoice_look
from jobs.ledger import balances, entry_post, months_open, period_close, trial_balance, unbalanced
from jobs.models import (
    Allocation,
    Bay,
    BayState,
    ChangeOrder,
    ChangeStatus,
    Entry,
    Invoice,
    InvoiceKind,
    Job,
    JobPaper,
    JobStatus,
    Payment,
    PaymentMethod,
    Period,
    Posting,
    Refund,
)
from jobs.payments import cancellation_settle, credit_apply, credit_left, payment_record, refund_pay

NOW = datetime(2026, 3, 9, 14, 0, tzinfo=UTC)
MONDAY = date(2026, 3, 9)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leaves the documents of invoices out: these tests look at the books."""
    monkeypatch.setattr("jobs.invoicing.keep_paper", lambda *args, **kwargs: None)


@pytest.fixture
def post(owner: User) -> Callable[..., Entry | None]:
    def written(on: date = MONDAY, **amounts: int) -> Entry | None:
        with transaction.atomic():
            return entry_post(on=on, memo="By hand", amounts=amounts, now=NOW, by=owner)

    return written


# --- Posting ---------------------------------------------------------------------------------------------------------


def test_an_entry_balances_or_is_not_written(post: Callable[..., Entry | None]) -> None:
    with pytest.raises(ValueError, match=r"out of balance by \$0\.01"):
        post(bank=1001, receivable=-1000)
    assert not Entry.objects.exists()
    entry = post(bank=1000, receivable=-1000, revenue=0)
    assert entry is not None
    assert entry.number == 1
    assert [(one.account.key, one.debit, one.credit) for one in entry.postings.all()] == [
        ("bank", Decimal("10.00"), Decimal("0.00")),
        ("receivable", Decimal("0.00"), Decimal("10.00")),
    ]
    assert post(bank=0) is None
    # A number that was drawn for nothing is given out again.
    later = post(bank=5, receivable=-5)
    assert later is not None
    assert later.number == 2


def test_what_is_posted_is_neither_changed_nor_removed(post: Callable[..., Entry | None]) -> None:
    post(bank=1000, receivable=-1000)
    with pytest.raises(Frozen):
        Posting.objects.update(debit=Decimal("1.00"))
    with pytest.raises(Frozen):
        Entry.objects.get().delete()


def test_a_closed_month_and_those_before_it_refuse(post: Callable[..., Entry | None], bookkeeper: User) -> None:
    post(date(2026, 1, 15), bank=700, receivable=-700)
    post(date(2026, 2, 27), bank=1000, receivable=-1000)
    assert months_open(MONDAY) == (date(2026, 1, 1), date(2026, 2, 1))
    with pytest.raises(ValidationError, match="March 2026 is not over; close it from April 1 on"):
        period_close(month=date(2026, 3, 1), today=MONDAY, by=bookkeeper, now=NOW)
    period = period_close(month=date(2026, 2, 1), today=MONDAY, by=bookkeeper, now=NOW)
    assert (period.entries, period.debit) == (1, Decimal("10.00"))
    again = period_close(month=date(2026, 2, 1), today=MONDAY, by=bookkeeper, now=NOW)
    assert (again.pk, ActivityEntry.objects.filter(action="ledger.close").count()) == (period.pk, 1)
    for day in (date(2026, 2, 28), date(2026, 1, 2)):
        with pytest.raises(ValidationError, match=r"is closed\. Enter a day from March 1, 2026 on"):
            post(day, bank=5, receivable=-5)
    with pytest.raises(Conflict, match="February 2026 is closed already"):
        period_close(month=date(2026, 1, 1), today=MONDAY, by=bookkeeper, now=NOW)
    assert post(date(2026, 3, 1), bank=5, receivable=-5) is not None
    assert months_open(MONDAY) == ()
    with pytest.raises(Frozen):
        Period.objects.all().delete()


def test_the_trial_balance_comes_to_nothing_and_tells_the_month_from_what_stands(
    post: Callable[..., Entry | None],
) -> None:
    post(date(2026, 2, 27), receivable=1080, revenue=-1000, tax_payable=-80)
    post(date(2026, 3, 2), bank=1080, receivable=-1080)
    post(date(2026, 4, 2), bank=-80, tax_payable=80)
    rows = {row.name: (row.debit, row.credit, row.balance) for row in trial_balance(date(2026, 3, 1))}
    assert rows == {
        "Bank": (1080, 0, 1080),
        "Receivable from customers": (0, 1080, 0),
        "Sales tax payable": (0, 0, -80),
        "Revenue": (0, 0, -1000),
    }
    assert balances(until=date(2026, 2, 28))["receivable"] == 1080


# --- Whatever happens ------------------------------------------------------------------------------------------------

ACTS = (
    "deposit",
    "fill",
    "progress",
    "change",
    "change_invoice",
    "done",
    "final",
    "pay",
    "pay_all",
    "pay_too_much",
    "apply",
    "credit",
    "take_back",
    "refund",
    "cancel",
)

steps = st.lists(st.tuples(st.sampled_from(ACTS), st.integers(0, 1000)), min_size=4, max_size=14)


class History:
    """Carries random acts out on a job; what the services refuse is left out, as a person would."""

    def __init__(self, job: Job, by: User) -> None:
        self.job, self.by, self.at, self.day = job, by, NOW, MONDAY
        self.done: list[str] = []

    def act(self, name: str, size: int) -> None:
        self.at += timedelta(hours=7)
        self.day = self.at.date()
        try:
            with transaction.atomic():
                getattr(self, f"do_{name}")(size)
        except (ValidationError, Conflict):
            return
        self.done.append(name)

    @property
    def who(self) -> dict[str, Any]:
        return {"by": self.by, "now": self.at}

    def issue(self, kind: InvoiceKind, **more: Any) -> None:
        self.job = Job.objects.get(pk=self.job.pk)
        asked = Asked(kind, self.day, self.day + timedelta(days=14), **more)
        look = invoice_look(self.job, asked)
        invoice_issue(job=self.job, asked=asked, seen=look.seen, key=uuid.uuid4(), **self.who)

    def do_deposit(self, size: int) -> None:
        self.issue(InvoiceKind.DEPOSIT)

    def do_fill(self, size: int) -> None:
        bays = Bay.objects.filter(wall__job=self.job, state=BayState.PLANNED).order_by("pk")
        chosen = list(bays.values_list("pk", flat=True)[: 10 + size // 20])
        Bay.objects.filter(pk__in=chosen).update(state=BayState.FILLED)

    def do_progress(self, size: int) -> None:
        limit = invoice_look(self.job, Asked(InvoiceKind.PROGRESS, self.day, self.day)).limit or 0
        amount = max(1, limit * size // 1000)
        self.issue(InvoiceKind.PROGRESS, amount=amount, retained=amount * (size % 4) // 20)

    def do_change(self, size: int) -> None:
        number = self.job.changes.count() + 1
        price = Decimal(size * 37 - 9000) / 100
        ChangeOrder.objects.create(
            job=self.job,
            number=number,
            status=ChangeStatus.SIGNED,
            reason="More behind the wall",
            content={},
            price=price,
            tax=(price * Decimal("0.08")).quantize(Decimal("0.01")),
            created_at=self.at,
            created_by=self.by,
            issued_at=self.at,
            ended_at=self.at,
            content_sha256="a" * 64,
            signed_sha256="a" * 64,
            signed_name="Wren Halloran",
        )

    def do_change_invoice(self, size: int) -> None:
        changes = list(self.job.changes.all())
        if changes:
            self.issue(InvoiceKind.CHANGE, change=changes[size % len(changes)])

    def do_done(self, size: int) -> None:
        if not JobPaper.objects.filter(job=self.job).exists():
            JobPaper.objects.create(
                job=self.job, kind="receipt", name="receipt", content={}, sha256="b" * 64, made_at=self.at
            )
        Job.objects.filter(pk=self.job.pk, status=JobStatus.BOOKED).update(status=JobStatus.VERIFIED)

    def do_final(self, size: int) -> None:
        self.do_done(size)
        self.issue(InvoiceKind.FINAL)

    def pay(self, amount: int) -> None:
        payment_record(
            job=self.job,
            amount=amount,
            received_on=self.day,
            method=PaymentMethod.CHECK,
            key=uuid.uuid4(),
            **self.who,
        )

    def owed(self) -> int:
        return sum(bill.open for bill in job_bills(self.job))

    def do_pay(self, size: int) -> None:
        self.pay(self.owed() * size // 1000)

    def do_pay_all(self, size: int) -> None:
        self.pay(self.owed())

    def do_pay_too_much(self, size: int) -> None:
        self.pay(self.owed() + size)

    def do_apply(self, size: int) -> None:
        credit_apply(job=self.job, on=self.day, **self.who)

    def credit(self, size: int, amount: Callable[[int], int | None]) -> None:
        bills = job_bills(self.job)
        if bills:
            bill = bills[size % len(bills)]
            credit_issue(
                invoice=bill.invoice,
                amount=amount(bill.to_credit),
                reason="Agreed by telephone",
                issued_on=self.day,
                key=uuid.uuid4(),
                **self.who,
            )

    def do_credit(self, size: int) -> None:
        self.credit(size, lambda left: left * size // 3000)

    def do_take_back(self, size: int) -> None:
        self.credit(size, lambda _: None)

    def do_refund(self, size: int) -> None:
        refund_pay(
            job=self.job,
            amount=credit_left(self.job) * size // 1000,
            paid_on=self.day,
            method=PaymentMethod.TRANSFER,
            reason="Paid too much",
            key=uuid.uuid4(),
            **self.who,
        )

    def do_cancel(self, size: int) -> None:
        if size < 800:
            return
        cancellation_receive(proposal=self.job.proposal, now=NOW)
        self.job = Job.objects.get(pk=self.job.pk)
        back = cancellation_settle(job=self.job, on=self.day, **self.who)
        assert back == credit_left(self.job)


def total(rows: Iterator[Decimal] | Any) -> int:
    return sum(to_cents(row) for row in rows)


def from_papers(job: Job) -> dict[str, int]:
    """What each account must hold, added up from the papers alone: nothing here reads a posting."""
    papers = list(Invoice.objects.filter(job=job))
    bills = [paper for paper in papers if paper.kind != InvoiceKind.CREDIT]
    notes = [paper for paper in papers if paper.kind == InvoiceKind.CREDIT]
    paid = total(one.amount for one in Payment.objects.filter(job=job))
    back = total(one.amount for one in Refund.objects.filter(job=job))
    used = total(one.amount for one in Allocation.objects.filter(invoice__job=job))
    to_customer = total(note.total + note.released - note.applied - note.retained for note in notes)
    finals = [bill.issued_at for bill in bills if bill.kind == InvoiceKind.FINAL]
    earned = [
        bill for bill in papers
        if (bill.credits or bill).kind != InvoiceKind.DEPOSIT or finals
    ]  # fmt: skip
    sign = {paper.pk: -1 if paper.kind == InvoiceKind.CREDIT else 1 for paper in papers}
    held = [paper for paper in papers if paper not in earned]
    return {
        "bank": paid - back,
        "receivable": total(bill.total - bill.retained + bill.released for bill in bills)
        - used
        - total(note.applied for note in notes),
        "retainage": total(sign[paper.pk] * (paper.retained - paper.released) for paper in papers),
        "credits": -(paid + to_customer - used - back),
        "deposits": -sum(sign[paper.pk] * to_cents(paper.total) for paper in held),
        "income": -sum(sign[paper.pk] * to_cents(paper.net) for paper in earned),
        "tax_payable": -sum(sign[paper.pk] * to_cents(paper.tax) for paper in earned),
    }


@pytest.mark.usefixtures("quick")
def test_the_books_agree_with_the_papers_to_the_cent_whatever_happens(
    booked: Callable[..., Job], bookkeeper: User
) -> None:
    job = booked("quarry-split")
    seen: set[str] = set()

    @settings(max_examples=24, derandomize=True, database=None, suppress_health_check=list(HealthCheck))
    @given(steps)
    def holds(acts: list[tuple[str, int]]) -> None:
        with transaction.atomic():
            history = History(Job.objects.get(pk=job.pk), bookkeeper)
            for name, size in acts:
                history.act(name, size)
                books, papers = balances(job=job), from_papers(job)
                both = {
                    **{name: books[name] for name in ("bank", "receivable", "retainage", "credits", "tax_payable")},
                    "deposits": books["deposits_asked"] + books["deposits_held"],
                    "income": books["revenue"] + books["discounts"] + books["refunds"],
                }
                assert both == papers, (history.done, name)
                assert sum(books.values()) == 0
                assert unbalanced() == []
                assert books["deposits_held"] <= 0
                assert books["deposits_asked"] <= 0
                assert books["credits"] <= 0
                assert books["receivable"] >= 0
                assert books["retainage"] >= 0
            seen.update(history.done)
            _final_is_the_contract(job)
            transaction.set_rollback(True)

    holds()
    # The histories reached everything that there is; else the property says little.
    assert seen == set(ACTS)


def _final_is_the_contract(job: Job) -> None:
    """Whoever has the final invoice has been billed contract and changes, neither more nor less."""
    papers = Invoice.objects.filter(job=job)
    final = papers.filter(kind=InvoiceKind.FINAL).exclude(credit_notes__rebill=True).first()
    if final is None:
        return
    billed = total(one.total for one in papers.exclude(kind=InvoiceKind.CREDIT))
    billed -= total(note.total for note in papers.filter(kind=InvoiceKind.CREDIT, rebill=True))
    changes = [change for change in job.changes.all() if change.ended_at is not None]
    signed = contract_of(job).signed_cents + total(change.price + change.tax for change in changes)
    later = [change for change in changes if change.ended_at is not None and change.ended_at > final.issued_at]
    assert billed == signed - total(change.price + change.tax for change in later)
