"""Invoices and credit notes as they were issued; nothing of them ever changes (rule B2)."""

from __future__ import annotations

import uuid
from decimal import Decimal

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import F, Q

from estimates.models.frozen import FrozenModel, FrozenQuerySet
from estimates.models.money_field import MoneyField
from estimates.models.user import User
from jobs.models.change_order import ChangeOrder
from jobs.models.job import Job
from jobs.models.ledger import Entry
from jobs.models.verification import JobPaper

ZERO = Decimal("0.00")


class InvoiceKind(models.TextChoices):
    """What a bill is for."""

    DEPOSIT = "deposit", "Deposit invoice"
    PROGRESS = "progress", "Progress invoice"
    CHANGE = "change", "Change-order invoice"
    FINAL = "final", "Final invoice"
    CREDIT = "credit", "Credit note"


_K = InvoiceKind


class InvoiceQuerySet(FrozenQuerySet["Invoice"]):
    """Reads of invoices."""

    def visible_to(self, user: User | AnonymousUser) -> InvoiceQuerySet:
        """Return those of the jobs that somebody may know of."""
        return self.filter(job__in=Job.objects.visible_to(user))


class Invoice(FrozenModel):
    """A bill, or a credit note against one. Amounts are positive on both.

    `total` is net and tax. `retained` is held back until the final invoice, whose `released` asks for all of it. A
    credit note takes `applied` off what its invoice still asks, `retained` off what that one holds back, and what is
    left of it becomes credit of the customer. `rebill` marks a credit note that takes a wrong invoice back: its work is
    billed again; others lower what the customer pays in the end.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    key = models.UUIDField(unique=True)
    """Made with the form: the same form sent twice is one invoice."""
    number = models.CharField(max_length=20, unique=True)
    kind = models.CharField(max_length=20, choices=InvoiceKind)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="invoices")
    change = models.ForeignKey(ChangeOrder, on_delete=models.PROTECT, null=True, blank=True, related_name="invoices")
    credits = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="credit_notes")
    issued_on = models.DateField()
    due_on = models.DateField()
    net = MoneyField(db_column="net_cents")
    tax = MoneyField(db_column="tax_cents")
    taxable = MoneyField(db_column="taxable_cents", default=ZERO)
    tax_rate = models.DecimalField(max_digits=7, decimal_places=6, default=Decimal(0))
    tax_why = models.CharField(max_length=800, blank=True)
    discounts = MoneyField(db_column="discounts_cents", default=ZERO)
    """What its net amount was lowered by: the discount of the contract, credit for what was not filled."""
    retained = MoneyField(db_column="retained_cents", default=ZERO)
    released = MoneyField(db_column="released_cents", default=ZERO)
    applied = MoneyField(db_column="applied_cents", default=ZERO)
    rebill = models.BooleanField(default=False)
    reason = models.CharField(max_length=500, blank=True)
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    paper = models.ForeignKey(JobPaper, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects = InvoiceQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "invoice"
        ordering = ("issued_at", "id")
        indexes = (
            models.Index(name="invoice_by_job", fields=["job", "kind"]),
            models.Index(name="invoice_by_due_day", fields=["due_on"]),
        )
        constraints = (
            models.CheckConstraint(name="invoice_kind_known", condition=Q(kind__in=InvoiceKind.values)),
            models.CheckConstraint(
                name="invoice_amounts_not_negative",
                condition=Q(retained__gte=ZERO, released__gte=ZERO, applied__gte=ZERO),
            ),
            models.CheckConstraint(name="invoice_due_after_issue", condition=Q(due_on__gte=F("issued_on"))),
            models.CheckConstraint(
                name="invoice_credit_names_its_invoice",
                condition=(Q(kind=_K.CREDIT, credits__isnull=False) & ~Q(reason=""))
                | (~Q(kind=_K.CREDIT) & Q(credits__isnull=True, applied=ZERO, rebill=False)),
            ),
            models.CheckConstraint(
                name="invoice_change_named",
                condition=Q(kind=_K.CHANGE, change__isnull=False) | (~Q(kind=_K.CHANGE) & Q(change__isnull=True)),
            ),
        )

    def __str__(self) -> str:
        return self.number

    @property
    def total(self) -> Decimal:
        """Net and tax. [$]"""
        return self.net + self.tax

    @property
    def payable(self) -> Decimal:
        """What it asks for when it is issued; of a credit note nothing. [$]"""
        return ZERO if self.kind == InvoiceKind.CREDIT else self.total - self.retained + self.released


class InvoiceLine(FrozenModel):
    """A line of an invoice. `taxable` is the part of its net amount that bears tax."""

    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveSmallIntegerField()
    text = models.CharField(max_length=300)
    quantity = models.DecimalField(max_digits=12, decimal_places=3)
    unit = models.CharField(max_length=20)
    net = MoneyField(db_column="net_cents")
    tax = MoneyField(db_column="tax_cents", default=ZERO)
    taxable = MoneyField(db_column="taxable_cents", default=ZERO)

    objects: models.Manager[InvoiceLine] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        ordering = ("invoice", "position")
        constraints = (
            models.UniqueConstraint(name="invoice_line_position_once", fields=["invoice", "position"]),
            models.CheckConstraint(name="invoice_line_has_words", condition=~Q(text="")),
        )

    def __str__(self) -> str:
        return self.text


class TaxCertificate(FrozenModel):
    """What the customer's certificate does to the sales tax of a job; the latest row holds.

    `holds` False: the customer gives none, so the tax is charged although the estimate counted on one.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="tax_certificates")
    holds = models.BooleanField()
    number = models.CharField(max_length=60, blank=True)
    received_on = models.DateField()
    note = models.CharField(max_length=300, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects: models.Manager[TaxCertificate] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "tax certificate"
        ordering = ("at", "id")
        constraints = (
            models.CheckConstraint(name="tax_certificate_numbered", condition=Q(holds=False) | ~Q(number="")),
        )

    def __str__(self) -> str:
        return f"{self.job} {self.number}"
