"""What a job cost beyond what the crew reports: hired machines, other firms' work, anything bought for it."""

from __future__ import annotations

import uuid
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q

from estimates.models.frozen import FrozenModel, FrozenQuerySet
from estimates.models.money_field import MoneyField
from jobs.models.bay import JobWall
from jobs.models.job import Job
from jobs.models.ledger import Entry


class CostKind(models.TextChoices):
    """What a cost is for."""

    EQUIPMENT = "equipment", "Equipment"
    SUBCONTRACT = "subcontract", "Subcontract"
    MATERIAL = "material", "Material delivered"
    TRAVEL = "travel", "Travel"
    DISPOSAL = "disposal", "Waste and disposal"
    OTHER = "other", "Other"


class CostItem(FrozenModel):
    """A cost of a job. A wrong one is taken back by a row with the amount below 0, as books do."""

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    key = models.UUIDField(unique=True)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="cost_items")
    wall = models.ForeignKey(JobWall, on_delete=models.PROTECT, null=True, blank=True, related_name="cost_items")
    kind = models.CharField(max_length=20, choices=CostKind)
    words = models.CharField(max_length=200)
    amount = MoneyField(db_column="amount_cents")
    on = models.DateField()
    call_back = models.BooleanField(default=False)
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects: models.Manager[CostItem] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "cost"
        ordering = ("on", "id")
        constraints = (
            models.CheckConstraint(name="cost_item_kind_known", condition=Q(kind__in=CostKind.values)),
            models.CheckConstraint(name="cost_item_not_nothing", condition=~Q(amount=Decimal(0))),
            models.CheckConstraint(name="cost_item_has_words", condition=~Q(words="")),
        )

    def __str__(self) -> str:
        return f"{self.job} {self.words}"
