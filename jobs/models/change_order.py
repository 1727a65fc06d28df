"""Change orders: what the work turned out to need beyond the contract."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Length
from django.db.models.lookups import Exact

from estimates.models.money_field import MoneyField
from jobs.models.job import Job


class ChangeStatus(models.TextChoices):
    """How far a change order is; only a signed one may be worked on and invoiced (rule L2)."""

    DRAFT = "draft", "Draft"
    ISSUED = "issued", "Issued"
    SIGNED = "signed", "Signed"
    DECLINED = "declined", "Declined"
    WITHDRAWN = "withdrawn", "Withdrawn"


_S = ChangeStatus

CHANGE_MOVES: dict[ChangeStatus, frozenset[ChangeStatus]] = {
    _S.DRAFT: frozenset({_S.ISSUED, _S.WITHDRAWN}),
    _S.ISSUED: frozenset({_S.SIGNED, _S.DECLINED, _S.WITHDRAWN}),
    _S.SIGNED: frozenset(),
    _S.DECLINED: frozenset(),
    _S.WITHDRAWN: frozenset(),
}
"""Status -> statuses that may follow."""


class ChangeOrder(models.Model):
    """A change of what is done and what it costs; `price` is the difference and may be a credit.

    `content` holds its lines and sentences as they were issued. An emergency may be started before it is signed;
    `sign_by` is then the last day, after which it is not billable.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="changes")
    number = models.PositiveSmallIntegerField()
    status = models.CharField(max_length=20, choices=ChangeStatus, default=ChangeStatus.DRAFT)
    reason = models.CharField(max_length=500, error_messages={"blank": "Enter why the work changes."})
    content = models.JSONField()
    price = MoneyField(db_column="price_cents")
    tax = MoneyField(db_column="tax_cents")
    emergency = models.BooleanField(default=False)
    emergency_note = models.CharField(max_length=500, blank=True)
    sign_by = models.DateField(null=True, blank=True)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    issued_at = models.DateTimeField(null=True, blank=True)
    content_sha256 = models.CharField(max_length=64, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    signed_name = models.CharField(max_length=120, blank=True)
    signed_sha256 = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ("job", "number")
        constraints = (
            models.UniqueConstraint(name="change_number_once", fields=["job", "number"]),
            models.CheckConstraint(name="change_status_known", condition=Q(status__in=ChangeStatus.values)),
            models.CheckConstraint(
                name="change_signed_whole",
                condition=(
                    Q(status=_S.SIGNED, ended_at__isnull=False, signed_sha256=models.F("content_sha256"))
                    & Q(Exact(Length("content_sha256"), 64))
                    & ~Q(signed_name="")
                )
                | (~Q(status=_S.SIGNED) & Q(signed_name="", signed_sha256="")),
            ),
            models.CheckConstraint(
                name="change_emergency_with_note", condition=Q(emergency=False) | ~Q(emergency_note="")
            ),
        )

    def __str__(self) -> str:
        return f"{self.job} change {self.number}"
