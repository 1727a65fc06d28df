"""Invoices, payments and closing a month at the same moment."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.models import User
from jobs.billing import job_bills
from jobs.invoicing import Asked, invoice_issue, invoice_look
from jobs.ledger import entry_post, period_close, unbalanced
from jobs.models import Entry, Invoice, InvoiceKind, Job, Payment, PaymentMethod, Period
from jobs.payments import credit_left, payment_record

pytestmark = pytest.mark.django_db(transaction=True)
Together = Callable[..., list[Any]]

NOW = datetime(2026, 3, 9, 14, 0, tzinfo=UTC)
MONDAY = date(2026, 3, 9)


def test_invoices_of_several_jobs_at_once_have_every_number_once_and_none_is_missing(
    together: Together, booked: Callable[..., Job], bookkeeper: User
) -> None:
    jobs = [booked("quarry-split"), booked("mill-cape")]
    asked = Asked(InvoiceKind.DEPOSIT, MONDAY, MONDAY)
    seen = [invoice_look(job, asked).seen for job in jobs]
    keys = [uuid.uuid4(), uuid.uuid4()]

    def issue(number: int) -> str:
        # Each of two jobs is billed three times over: twice by the same form, once by somebody else's.
        job = number % 2
        key = keys[job] if number < 4 else uuid.uuid4()
        return invoice_issue(
            job=jobs[job], asked=asked, seen=seen[job], key=key, by=bookkeeper, now=NOW
        ).number  # fmt: skip

    outcomes = together(6, issue)
    assert sorted(Invoice.objects.values_list("number", flat=True)) == ["I-00001", "I-00002"]
    # Whoever came second with another form is told, those with the same form got the same invoice.
    for job in (0, 1):
        same = {outcome for outcome in outcomes[job::2] if isinstance(outcome, str)}
        refused = [outcome for outcome in outcomes[job::2] if isinstance(outcome, ValidationError)]
        assert len(same) == 1
        assert len(refused) in (1, 2)
    assert list(Entry.objects.values_list("number", flat=True)) == [1, 2]
    assert unbalanced() == []


def test_payments_at_once_never_pay_an_invoice_twice(
    together: Together, booked: Callable[..., Job], bookkeeper: User
) -> None:
    job = booked("quarry-split")
    asked = Asked(InvoiceKind.DEPOSIT, MONDAY, MONDAY)
    look = invoice_look(job, asked)
    invoice_issue(job=job, asked=asked, seen=look.seen, key=uuid.uuid4(), by=bookkeeper, now=NOW)
    keys = [uuid.uuid4(), uuid.uuid4(), uuid.uuid4()]

    def pay(number: int) -> str:
        return payment_record(
            job=job,
            amount=look.total,
            received_on=MONDAY,
            method=PaymentMethod.CHECK,
            key=keys[number % 3],
            by=bookkeeper,
            now=NOW,
        ).number

    numbers = together(6, pay)
    assert not [outcome for outcome in numbers if isinstance(outcome, Exception)]
    assert Payment.objects.count() == 3
    assert [bill.open for bill in job_bills(job)] == [0]
    assert credit_left(job) == 2 * look.total
    assert unbalanced() == []


def test_nothing_is_posted_into_a_month_that_is_closed_meanwhile(together: Together, bookkeeper: User) -> None:
    february = date(2026, 2, 1)

    def work(number: int) -> Any:
        if number == 2:
            return period_close(month=february, today=MONDAY, by=bookkeeper, now=NOW)
        with transaction.atomic():
            return entry_post(
                on=date(2026, 2, 27), memo="By hand", amounts={"bank": 100, "revenue": -100}, now=NOW, by=bookkeeper
            )

    outcomes = together(5, work)
    written = [outcome for outcome in outcomes if isinstance(outcome, Entry)]
    refused = [outcome for outcome in outcomes if isinstance(outcome, ValidationError)]
    assert len(written) + len(refused) == 4
    # What the closed month says it holds is what it holds.
    assert Period.objects.get().entries == Entry.objects.count() == len(written)
