"""Money that came in and went back, and what it was set against."""

from __future__ import annotations

import uuid
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q

from estimates.models.frozen import FrozenModel, FrozenQuerySet
from estimates.models.money_field import MoneyField
from jobs.models.invoice import Invoice
from jobs.models.job import Job
from jobs.models.ledger import Entry

ABOVE_NOTHING = Q(amount__gt=Decimal(0))


class PaymentMethod(models.TextChoices):
    """How money moved."""

    CHECK = "check", "Check"
    TRANSFER = "transfer", "Bank transfer"
    CARD = "card", "Card"
    CASH = "cash", "Cash"


class Payer(models.TextChoices):
    """Whose money it was."""

    HOMEOWNER = "homeowner", "Homeowner"
    PROGRAMME = "programme", "Incentive programme"
    LENDER = "lender", "Lender"


class Payment(FrozenModel):
    """Money that came in for a job."""

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    key = models.UUIDField(unique=True)
    """Made with the form: the same form sent twice is one payment."""
    number = models.CharField(max_length=20, unique=True)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="payments")
    amount = MoneyField(db_column="amount_cents")
    received_on = models.DateField()
    method = models.CharField(max_length=20, choices=PaymentMethod)
    payer = models.CharField(max_length=20, choices=Payer, default=Payer.HOMEOWNER)
    reference = models.CharField(max_length=80, blank=True)
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects: models.Manager[Payment] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        ordering = ("received_on", "id")
        constraints = (
            models.CheckConstraint(name="payment_above_nothing", condition=ABOVE_NOTHING),
            models.CheckConstraint(name="payment_method_known", condition=Q(method__in=PaymentMethod.values)),
            models.CheckConstraint(name="payment_payer_known", condition=Q(payer__in=Payer.values)),
        )

    def __str__(self) -> str:
        return self.number


class Allocation(FrozenModel):
    """A part of a payment, or of credit where `payment` is empty, set against an invoice."""

    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="allocations")
    payment = models.ForeignKey(Payment, on_delete=models.PROTECT, null=True, blank=True, related_name="allocations")
    amount = MoneyField(db_column="amount_cents")
    on = models.DateField()
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="+")

    objects: models.Manager[Allocation] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        ordering = ("on", "id")
        constraints = (models.CheckConstraint(name="allocation_above_nothing", condition=ABOVE_NOTHING),)

    def __str__(self) -> str:
        return f"{self.invoice} {self.amount}"


class Refund(FrozenModel):
    """Money that went back to the customer out of their credit."""

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    key = models.UUIDField(unique=True)
    number = models.CharField(max_length=20, unique=True)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="refunds")
    amount = MoneyField(db_column="amount_cents")
    paid_on = models.DateField()
    method = models.CharField(max_length=20, choices=PaymentMethod)
    reference = models.CharField(max_length=80, blank=True)
    reason = models.CharField(max_length=500)
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects: models.Manager[Refund] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        ordering = ("paid_on", "id")
        constraints = (
            models.CheckConstraint(name="refund_above_nothing", condition=ABOVE_NOTHING),
            models.CheckConstraint(name="refund_with_reason", condition=~Q(reason="")),
            models.CheckConstraint(name="refund_method_known", condition=Q(method__in=PaymentMethod.values)),
        )

    def __str__(self) -> str:
        return self.number
