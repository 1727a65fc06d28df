"""Money that comes in and goes back: payments, credit set against invoices, refunds; who owes what since when."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID, uuid5

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.counter import counter_next
from estimates.models.answer import Cancellation
from estimates.models.house import House
from estimates.models.proposal import ProposalStatus
from estimates.models.user import User
from estimates.money import format_money, from_cents, to_cents
from jobs.billing import Bill, bills_of, is_cancelled, job_bills
from jobs.invoicing import credit_issue
from jobs.ledger import balances, entry_post
from jobs.models import (
    Allocation,
    Invoice,
    InvoiceKind,
    Job,
    Payer,
    Payment,
    PaymentMethod,
    Posting,
    Refund,
)


def payment_record(
    *,
    job: Job,
    amount: int,
    received_on: date,
    method: PaymentMethod,
    key: UUID,
    by: User,
    now: datetime,
    payer: Payer = Payer.HOMEOWNER,
    reference: str = "",
    invoice: Invoice | None = None,
    today: date | None = None,
    origin: str = "",
) -> Payment:
    """Record money that came in; the same key again returns the first payment and writes nothing.

    It is set against the invoice named, then against the open ones, the one due first on top; what is more than they
    ask is kept as credit of the customer.

    Parameters
    ----------
    job : for which it came.
    amount : above 0. [cents]
    received_on : not after `today`; its month must be open.
    method, payer, reference : how, whose, number of the check or transfer.
    invoice : set against this one first.
    key, by, now, origin : made with the form; who, when, from where.

    Raises
    ------
    ValidationError : an amount that is not above 0, a day in the future or in a closed month.
    """
    faults = {}
    if amount <= 0:
        faults["amount"] = "Enter an amount above $0.00."
    if received_on > (today or now.date()):
        faults["received_on"] = "Enter the day it came in; it cannot be in the future."
    if faults:
        raise ValidationError(faults)
    with transaction.atomic():
        locked = Job.objects.select_for_update().get(pk=job.pk)
        there = Payment.objects.filter(key=key).first()
        if there is not None:
            return there
        shares = _shares(job_bills(locked), amount, invoice)
        set_against = sum(cents for _, cents in shares)
        number = f"R-{counter_next(name='payment'):05d}"
        try:
            entry = entry_post(
                on=received_on,
                memo=f"{payer.label} paid, {method.label.lower()} {reference}".strip(),
                amounts={
                    "bank": amount,
                    "receivable": -set_against,
                    "credits": set_against - amount,
                    **_deposit_received(locked, shares),
                },
                document=number,
                job=locked,
                now=now,
                by=by,
            )
        except ValidationError as closed:
            raise ValidationError({"received_on": closed.messages}) from None
        payment = Payment(
            key=key,
            number=number,
            job=locked,
            amount=from_cents(amount),
            received_on=received_on,
            method=method,
            payer=payer,
            reference=reference.strip(),
            entry=entry,
            at=now,
            by=by,
        )
        payment.full_clean()
        payment.save()
        for bill, cents in shares:
            Allocation(
                invoice=bill.invoice, payment=payment, amount=from_cents(cents), on=received_on, entry=entry
            ).save()
        after = {"number": number, "amount": str(payment.amount), "credit": format_money(amount - set_against)}
        activity_record(actor=by, action="payment.record", target=locked, now=now, after=after, origin=origin)
    return payment


def _shares(bills: Sequence[Bill], amount: int, first: Invoice | None) -> list[tuple[Bill, int]]:
    """Open bills with what each gets of an amount: the one named first, then by the day they are due."""
    order = sorted(
        (bill for bill in bills if bill.open > 0),
        key=lambda bill: (first is None or bill.invoice.pk != first.pk, bill.invoice.due_on, bill.invoice.pk),
    )
    found, left = [], amount
    for bill in order:
        part = min(left, bill.open)
        if part:
            found.append((bill, part))
            left -= part
    return found


def _deposit_received(job: Job, shares: Iterable[tuple[Bill, int]]) -> dict[str, int]:
    """A deposit that came in is held for the customer from then on, unless the final invoice has earned it."""
    waiting = -balances(job=job)["deposits_asked"]
    part = sum(cents for bill, cents in shares if bill.invoice.kind == InvoiceKind.DEPOSIT)
    moved = min(part, waiting)
    return {"deposits_asked": moved, "deposits_held": -moved}


def credit_left(job: Job) -> int:
    """Credit of the customer that is neither set against an invoice nor paid back. [cents]"""
    return -balances(job=job)["credits"]


def credit_apply(*, job: Job, on: date, by: User, now: datetime, origin: str = "") -> int:
    """Set the credit of a customer against open invoices, the one due first on top; doing it again changes nothing.

    Returns
    -------
    What was set against them. [cents]

    Raises
    ------
    ValidationError : the day lies in a closed month.
    """
    with transaction.atomic():
        locked = Job.objects.select_for_update().get(pk=job.pk)
        shares = _shares(job_bills(locked), credit_left(locked), None)
        used = sum(cents for _, cents in shares)
        if not used:
            return 0
        entry = entry_post(
            on=on,
            memo=f"Credit set against {', '.join(bill.invoice.number for bill, _ in shares)}",
            amounts={"credits": used, "receivable": -used, **_deposit_received(locked, shares)},
            document=shares[0][0].invoice.number,
            job=locked,
            now=now,
            by=by,
        )
        for bill, cents in shares:
            Allocation(invoice=bill.invoice, amount=from_cents(cents), on=on, entry=entry).save()
        after = {"amount": format_money(used), "invoices": [bill.invoice.number for bill, _ in shares]}
        activity_record(actor=by, action="payment.apply_credit", target=locked, now=now, after=after, origin=origin)
    return used


def refund_pay(
    *,
    job: Job,
    amount: int,
    paid_on: date,
    method: PaymentMethod,
    reason: str,
    key: UUID,
    by: User,
    now: datetime,
    reference: str = "",
    today: date | None = None,
    origin: str = "",
) -> Refund:
    """Pay credit of the customer back; the same key again returns the first refund and writes nothing.

    Raises
    ------
    ValidationError : no reason, a day in the future or in a closed month, or more than the customer's credit.
    """
    faults = {}
    if not reason.strip():
        faults["reason"] = "Enter why the money goes back."
    if paid_on > (today or now.date()):
        faults["paid_on"] = "Enter the day it was paid; it cannot be in the future."
    if faults:
        raise ValidationError(faults)
    with transaction.atomic():
        locked = Job.objects.select_for_update().get(pk=job.pk)
        there = Refund.objects.filter(key=key).first()
        if there is not None:
            return there
        most = credit_left(locked)
        if not 0 < amount <= most:
            words = (
                f"Enter an amount from $0.01 to {format_money(most)}: that is the customer's credit."
                if most > 0
                else "The customer has no credit. Credit an invoice first."
            )
            raise ValidationError({"amount": words})
        number = f"F-{counter_next(name='refund'):05d}"
        try:
            entry = entry_post(
                on=paid_on,
                memo=f"Refund: {reason.strip()}",
                amounts={"credits": amount, "bank": -amount},
                document=number,
                job=locked,
                now=now,
                by=by,
            )
        except ValidationError as closed:
            raise ValidationError({"paid_on": closed.messages}) from None
        refund = Refund(
            key=key,
            number=number,
            job=locked,
            amount=from_cents(amount),
            paid_on=paid_on,
            method=method,
            reference=reference.strip(),
            reason=reason.strip(),
            entry=entry,
            at=now,
            by=by,
        )
        refund.full_clean()
        refund.save()
        after = {"number": number, "amount": str(refund.amount)}
        activity_record(
            actor=by, action="payment.refund", target=locked, now=now, after=after, reason=reason, origin=origin
        )
    return refund


# --- After a cancellation --------------------------------------------------------------------------------------------


def cancellation_settle(*, job: Job, on: date, by: User, now: datetime, origin: str = "") -> int:
    """Take every invoice of a cancelled contract back: what was paid becomes credit, ready to be refunded.

    Returns
    -------
    What has to go back. [cents] Doing it again changes nothing.

    Raises
    ------
    Conflict : the contract was not cancelled.
    """
    with transaction.atomic():
        locked = Job.objects.select_for_update().select_related(None).get(pk=job.pk)
        if not is_cancelled(locked):
            raise Conflict(f"The contract of job {locked.number} was not cancelled. Credit single invoices instead.")
        # The final invoice goes first: it counts on those before it.
        for bill in reversed(job_bills(locked)):
            if not bill.taken_back and (bill.to_credit or to_cents(bill.invoice.released)):
                credit_issue(
                    invoice=bill.invoice,
                    amount=None,
                    reason="The contract was cancelled.",
                    issued_on=max(on, bill.invoice.issued_on),
                    key=uuid5(bill.invoice.code, "cancelled"),
                    by=by,
                    now=now,
                    origin=origin,
                )
        return credit_left(locked)


@dataclass(frozen=True, slots=True)
class RefundDue:
    """Money that has to go back after a cancellation, and until when. [cents]"""

    job: Job
    due_on: date
    cents: int
    settled: bool

    def late(self, today: date) -> bool:
        """Whether the day is over."""
        return today > self.due_on


def refunds_due() -> tuple[RefundDue, ...]:
    """Cancelled contracts whose money did not go back yet, the most urgent first; four queries in all."""
    due = dict(
        Cancellation.objects.filter(proposal__status=ProposalStatus.CANCELLED).values_list("proposal_id", "refund_due")
    )
    jobs = list(Job.objects.filter(proposal__in=due).select_related("house", "proposal"))
    received = _sums(Payment, jobs)
    returned = _sums(Refund, jobs)
    bills = bills_of(jobs)
    found = []
    for job in jobs:
        cents = received.get(job.pk, 0) - returned.get(job.pk, 0)
        if cents > 0:
            settled = all(bill.taken_back for bill in bills.get(job.pk, ()))
            found.append(RefundDue(job, due[job.proposal_id], cents, settled))
    return tuple(sorted(found, key=lambda due: (due.due_on, due.job.number)))


def _sums(model: type[Payment] | type[Refund], jobs: Sequence[Job]) -> dict[int, int]:
    found: dict[int, int] = {}
    for job, amount in model.objects.filter(job__in=jobs).values_list("job_id", "amount"):
        found[job] = found.get(job, 0) + to_cents(amount)
    return found


# --- Who owes what ---------------------------------------------------------------------------------------------------

BANDS = ("Not due yet", "1-30 days", "31-60 days", "61-90 days", "Over 90 days")
"""Age bands of what is open, by days past the day it was due."""


def band_of(due_on: date, today: date) -> int:
    """Index in BANDS of an open invoice.

    Examples
    --------
    >>> [band_of(date(2026, 3, 31), day) for day in (date(2026, 3, 31), date(2026, 4, 1), date(2026, 4, 30))]
    [0, 1, 1]
    >>> [band_of(date(2026, 3, 31), day) for day in (date(2026, 5, 1), date(2026, 6, 29), date(2026, 6, 30))]
    [2, 3, 4]
    """
    late = (today - due_on).days
    return 0 if late <= 0 else min(4, (late - 1) // 30 + 1)


@dataclass(frozen=True, slots=True)
class OpenBill:
    """An invoice that is not paid, and its age band."""

    bill: Bill
    band: int

    @property
    def words(self) -> str:
        """Its age band in words."""
        return BANDS[self.band]


def open_bills(today: date) -> tuple[OpenBill, ...]:
    """Every invoice that is not paid, the oldest first; the number of queries does not grow with them."""
    jobs = Job.objects.filter(invoices__isnull=False).distinct()
    found = [
        OpenBill(bill, band_of(bill.invoice.due_on, today))
        for bills in bills_of(jobs).values()
        for bill in bills
        if bill.open > 0
    ]
    return tuple(sorted(found, key=lambda one: (one.bill.invoice.due_on, one.bill.invoice.pk)))


def aging(bills: Iterable[OpenBill]) -> tuple[tuple[str, int], ...]:
    """What is open in each age band. [cents]"""
    sums = [0] * len(BANDS)
    for one in bills:
        sums[one.band] += one.bill.open
    return tuple(zip(BANDS, sums, strict=True))


@dataclass(frozen=True, slots=True)
class StatementLine:
    """A paper or payment of a customer, and what they owed after it. [cents]"""

    on: date
    number: str
    words: str
    charge: int
    paid: int
    balance: int


def statement(house: House, *, until: date) -> tuple[StatementLine, ...]:
    """Everything between the firm and a customer up to a day: invoices and refunds charge, payments and credits pay."""
    rows: list[tuple[date, datetime, str, str, int, int]] = []
    for paper in Invoice.objects.filter(job__house=house, issued_on__lte=until):
        total, words = to_cents(paper.total), f"{paper.get_kind_display()}"
        if paper.kind == InvoiceKind.CREDIT:
            rows.append((paper.issued_on, paper.issued_at, paper.number, f"{words}: {paper.reason}", 0, total))
        else:
            rows.append((paper.issued_on, paper.issued_at, paper.number, words, total, 0))
    for payment in Payment.objects.filter(job__house=house, received_on__lte=until):
        words = f"Payment, {payment.get_method_display().lower()} {payment.reference}".strip()
        rows.append((payment.received_on, payment.at, payment.number, words, 0, to_cents(payment.amount)))
    rows += [
        (refund.paid_on, refund.at, refund.number, f"Refund: {refund.reason}", to_cents(refund.amount), 0)
        for refund in Refund.objects.filter(job__house=house, paid_on__lte=until)
    ]
    found, balance = [], 0
    for on, _, number, words, charge, paid in sorted(rows, key=lambda row: (row[0], row[1], row[2])):
        balance += charge - paid
        found.append(StatementLine(on, number, words, charge, paid, balance))
    return tuple(found)


def deposits_held() -> tuple[tuple[Job, int], ...]:
    """Jobs whose deposit is held for the customer, with the amount. [cents]"""
    held: dict[int, int] = {}
    rows = Posting.objects.filter(account__key="deposits_held", entry__job__isnull=False)
    for job, debit, credit in rows.values_list("entry__job_id", "debit", "credit"):
        held[job] = held.get(job, 0) + to_cents(credit) - to_cents(debit)
    jobs = Job.objects.filter(pk__in=[job for job, cents in held.items() if cents]).select_related("house")
    return tuple((job, held[job.pk]) for job in jobs.order_by("number"))
