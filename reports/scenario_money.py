"""The money of the demo scenario: deposits, final invoices, payments, refunds and closed months."""

from __future__ import annotations

import uuid
from datetime import date, datetime, time, timedelta
from decimal import Decimal

from estimates.models import User
from estimates.money import to_cents
from jobs.billing import contract_of, job_bills
from jobs.cancellation import contract_cancel
from jobs.costing import cost_add, costs_post
from jobs.invoicing import Asked, certificate_record, invoice_issue, invoice_look
from jobs.ledger import period_close
from jobs.models import CostKind, Invoice, InvoiceKind, Job, PaymentMethod
from jobs.payments import cancellation_settle, credit_left, payment_record, refund_pay
from reports.scenario import ORIGIN
from reports.scenario_jobs import JobRecord
from reports.scenario_story import Calendar

KEYS = uuid.UUID("0a2a6a9b-1f6d-4f59-9d3f-3c1f5b7d9e11")
"""Under which the keys of the demo's invoices and payments are made, so that they are the same at every load."""

OPEN_MONTHS = 2
"""So many months back are still open."""


def job_billed(
    job: Job, row: JobRecord, days: Calendar, *, owner: User, step: str, on: date | None = None
) -> Invoice | None:
    """Issue the deposit or the final invoice of a job, and record what was paid on it.

    Returns
    -------
    The invoice; None where the contract asks for none.
    """
    if step == "deposit":
        day = job.booked_at.astimezone(days.zone).date()
        return _deposit(job, days, day, owner)
    assert on is not None
    _usual_costs(job, on, days, owner)
    for number, extra in enumerate(row.extra):
        cost_add(
            job=job,
            kind=CostKind(extra.kind),
            words=extra.words,
            amount=to_cents(Decimal(extra.dollars)),
            on=days.day(extra.day),
            key=_key(job, f"cost-{number}"),
            by=owner,
            now=_at(days, max(on, days.day(extra.day))),
            origin=ORIGIN,
        )
    if contract_of(job).needs_certificate:
        certificate_record(
            job=job,
            holds=True,
            number=f"CI-{job.number}",
            received_on=on,
            note="Signed at the kitchen table.",
            by=owner,
            now=_at(days, on),
            today=on,
            origin=ORIGIN,
        )
    costs_post(job=job, on=on, by=owner, now=_at(days, on), origin=ORIGIN)
    invoice = _issue(Job.objects.get(pk=job.pk), InvoiceKind.FINAL, on, days, owner)
    open_cents = sum(bill.open for bill in job_bills(job))
    if row.paid is not None:
        _paid(job, open_cents, days.day(row.paid), days, owner, "final", PaymentMethod.CHECK)
    elif row.part_paid is not None:
        _paid(job, open_cents // 2, days.day(row.part_paid), days, owner, "part", PaymentMethod.TRANSFER)
    return invoice


BILLED = {"equipment": "Rigs and machines", "travel": "Fuel and travel", "disposal": "Waste and disposal"}
"""Kinds of cost that come as bills and not from the crew; in the demo they come to what was estimated."""


def _usual_costs(job: Job, on: date, days: Calendar, owner: User) -> None:
    for kind, words in BILLED.items():
        cents = sum(int(line["direct_cost_parts_cents"][kind]) for line in contract_of(job).lines)
        if cents:
            cost_add(
                job=job,
                kind=CostKind(kind),
                words=words,
                amount=cents,
                on=on,
                key=_key(job, f"usual-{kind}"),
                by=owner,
                now=_at(days, on),
                origin=ORIGIN,
            )


def _deposit(job: Job, days: Calendar, day: date, owner: User) -> Invoice | None:
    asked = Asked(InvoiceKind.DEPOSIT, day, day + timedelta(days=7))
    if invoice_look(job, asked).faults:
        return None
    invoice = _issue(job, InvoiceKind.DEPOSIT, day, days, owner)
    open_cents = sum(bill.open for bill in job_bills(job))
    _paid(job, open_cents, min(day + timedelta(days=2), days.day(-1)), days, owner, "deposit", PaymentMethod.CARD)
    return invoice


def _issue(job: Job, kind: InvoiceKind, day: date, days: Calendar, owner: User) -> Invoice:
    asked = Asked(kind, day, day + timedelta(days=14))
    look = invoice_look(job, asked)
    return invoice_issue(
        job=job,
        asked=asked,
        seen=look.seen,
        key=_key(job, kind.value),
        by=owner,
        now=_at(days, day),
        origin=ORIGIN,
    )


def _paid(job: Job, cents: int, day: date, days: Calendar, owner: User, name: str, method: PaymentMethod) -> None:
    if cents <= 0:
        return
    payment_record(
        job=job,
        amount=cents,
        received_on=day,
        method=method,
        reference=f"demo {job.number}",
        key=_key(job, f"paid-{name}"),
        by=owner,
        now=_at(days, day),
        today=day,
        origin=ORIGIN,
    )


def job_refunded(job: Job, days: Calendar, *, cancelled: int, words: str, owner: User) -> None:
    """A contract cancelled in time: the deposit had come, and went back within the time."""
    _deposit(job, days, job.booked_at.astimezone(days.zone).date(), owner)
    contract_cancel(proposal=job.proposal, now=days.time(cancelled), reason=words, origin=ORIGIN)
    day = days.day(cancelled + 4)
    cancellation_settle(job=job, on=day, by=owner, now=_at(days, day), origin=ORIGIN)
    left = credit_left(job)
    if left > 0:
        refund_pay(
            job=job,
            amount=left,
            paid_on=day,
            method=PaymentMethod.CHECK,
            reason="The contract was cancelled in time.",
            key=_key(job, "refund"),
            by=owner,
            now=_at(days, day),
            today=day,
            origin=ORIGIN,
        )


def months_closed(days: Calendar, *, owner: User) -> None:
    """Close every month but the last ones; closing again changes nothing."""
    today = days.day(0)
    month = today.replace(day=1)
    for _ in range(OPEN_MONTHS):
        month = (month - timedelta(days=1)).replace(day=1)
    period_close(month=month, today=today, by=owner, now=_at(days, today), origin=ORIGIN)


def _key(job: Job, name: str) -> uuid.UUID:
    return uuid.uuid5(KEYS, f"{job.house.reference}-{name}")


def _at(days: Calendar, day: date) -> datetime:
    return datetime.combine(day, time(17), days.zone)
