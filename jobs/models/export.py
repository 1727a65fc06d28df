"""What went out to the bookkeeper's program, and what our accounts are called there."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import F, Q

from estimates.models.frozen import FrozenModel, FrozenQuerySet
from estimates.models.user import Role, User


class ExportKind(models.TextChoices):
    """What a file holds."""

    CUSTOMERS = "customers", "Customers"
    AGING = "aging", "Open invoices by age"
    INVOICES = "invoices", "Invoices and credit notes"
    PAYMENTS = "payments", "Payments and refunds"
    JOURNAL = "journal", "Journal"
    BILLING = "billing", "Invoices and credit notes as UBL"
    EVERYTHING = "everything", "Everything"


class ExportForm(models.TextChoices):
    """In which form."""

    CSV = "csv", "CSV"
    XLSX = "xlsx", "XLSX"
    ZIP = "zip", "ZIP"


class AccountMap(FrozenModel):
    """What the bookkeeper's chart calls our accounts; the latest version holds. `accounts` as in a journal's map."""

    version = models.PositiveIntegerField(unique=True)
    accounts = models.JSONField()
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)

    objects: models.Manager[AccountMap] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "account map"
        ordering = ("version",)

    def __str__(self) -> str:
        return f"account map {self.version}"


class ExportQuerySet(FrozenQuerySet["ExportBatch"]):
    """Reads of exports."""

    def visible_to(self, user: User | AnonymousUser) -> ExportQuerySet:
        """Return every export to those who keep the books of the whole firm, none to others."""
        known = isinstance(user, User) and user.is_active and user.role in (Role.OWNER, Role.BOOKKEEPER)
        return self.all() if known else self.none()


class ExportBatch(FrozenModel):
    """A file that was made for a period, with its bytes: what went out can be fetched again as it was.

    `items` names what it holds, by part: numbers of invoices, payments and entries, references of customers.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.CharField(max_length=20, choices=ExportKind)
    form = models.CharField(max_length=10, choices=ExportForm)
    since = models.DateField()
    until = models.DateField()
    items = models.JSONField()
    rows = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    content = models.BinaryField()
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects = ExportQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "export"
        ordering = ("made_at", "id")
        indexes = (models.Index(name="export_by_period", fields=["since", "until"]),)
        constraints = (
            models.CheckConstraint(name="export_kind_known", condition=Q(kind__in=ExportKind.values)),
            models.CheckConstraint(name="export_form_known", condition=Q(form__in=ExportForm.values)),
            models.CheckConstraint(name="export_period_in_order", condition=Q(until__gte=F("since"))),
        )

    def __str__(self) -> str:
        return f"{ExportKind(self.kind).label} {self.since} to {self.until}"

    @property
    def file_name(self) -> str:
        """What the file is called."""
        return f"{self.kind}-{self.since:%Y%m%d}-{self.until:%Y%m%d}.{self.form}"
