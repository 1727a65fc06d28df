"""The books: accounts, balanced entries, months that are closed."""

from __future__ import annotations

import uuid
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q

from estimates.models.frozen import FrozenModel, FrozenQuerySet
from estimates.models.money_field import MoneyField
from jobs.models.job import Job


class AccountKind(models.TextChoices):
    """On which side of the books an account stands."""

    ASSET = "asset", "Asset"
    LIABILITY = "liability", "Liability"
    INCOME = "income", "Income"
    EXPENSE = "expense", "Expense"


class Account(models.Model):
    """An account of the firm's small chart; `key` is what the program calls it, `code` the number in the books."""

    key = models.CharField(max_length=40, unique=True)
    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=20, choices=AccountKind)

    class Meta:
        ordering = ("code",)
        constraints = (
            models.CheckConstraint(name="account_kind_known", condition=Q(kind__in=AccountKind.values)),
            models.CheckConstraint(name="account_named", condition=~Q(Q(key="") | Q(code="") | Q(name=""))),
        )

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class Entry(FrozenModel):
    """What one document or payment did to the books: postings whose debits and credits are equal (rule B2).

    Written by `jobs.ledger.entry_post` alone. `number` has no gaps; `document` is the number of the paper behind it.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    number = models.PositiveIntegerField(unique=True)
    on = models.DateField()
    memo = models.CharField(max_length=200)
    document = models.CharField(max_length=40, blank=True)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="ledger_entries")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects: models.Manager[Entry] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "ledger entry"
        verbose_name_plural = "ledger entries"
        ordering = ("number",)
        indexes = (models.Index(name="ledger_entry_by_day", fields=["on", "number"]),)

    def __str__(self) -> str:
        return f"entry {self.number}"


class Posting(FrozenModel):
    """One side of an entry: either a debit or a credit."""

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="postings")
    account = models.ForeignKey(Account, on_delete=models.PROTECT, related_name="postings")
    debit = MoneyField(db_column="debit_cents", default=Decimal("0.00"))
    credit = MoneyField(db_column="credit_cents", default=Decimal("0.00"))

    objects: models.Manager[Posting] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        ordering = ("entry", "id")
        constraints = (
            models.CheckConstraint(
                name="posting_debit_or_credit",
                condition=Q(debit__gt=Decimal(0), credit=Decimal(0)) | Q(debit=Decimal(0), credit__gt=Decimal(0)),
            ),
        )

    def __str__(self) -> str:
        return f"{self.entry} {self.account}"


class Period(FrozenModel):
    """A month that was closed: nothing is written into it or before it any more.

    `month` is its first day; `jobs.ledger.period_close` sees to that. No constraint does, because taking the day out of
    a date needs a function that SQLite has only inside Django, and backups are read without it.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    month = models.DateField(unique=True)
    closed_at = models.DateTimeField()
    closed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entries = models.PositiveIntegerField(default=0)
    debit = MoneyField(db_column="debit_cents", default=Decimal("0.00"))
    """Debits of the month, as they stood when it was closed; credits are the same."""

    objects: models.Manager[Period] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "closed month"
        ordering = ("-month",)
        constraints = (models.CheckConstraint(name="period_debit_not_negative", condition=Q(debit__gte=Decimal(0))),)

    def __str__(self) -> str:
        return f"{self.month:%B %Y}"
