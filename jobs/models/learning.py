"""What was decided on figures that closed jobs teach, and the bills of a house after its job."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from estimates.models.frozen import FrozenModel, FrozenQuerySet
from estimates.models.pricebook import PriceBookVersion
from jobs.models.job import Job


class LearnedChoice(FrozenModel):
    """The owner's word on one figure that closed jobs teach; a later word stands beside it.

    `book_value`, `value`, `low` and `high` are in `unit`; `jobs.learning` says the level. `evidence`
    holds the numbers of the jobs that were used. `made` is the version of the price book that took it up.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    base = models.ForeignKey(PriceBookVersion, on_delete=models.PROTECT, related_name="+")
    figure = models.CharField(max_length=80)
    name = models.CharField(max_length=120)
    accepted = models.BooleanField()
    reason = models.CharField(max_length=500, blank=True)
    unit = models.CharField(max_length=20)
    book_value = models.FloatField()
    value = models.FloatField()
    low = models.FloatField()
    high = models.FloatField()
    weight = models.FloatField()
    jobs = models.PositiveIntegerField()
    evidence = models.JSONField(default=list)
    made = models.ForeignKey(PriceBookVersion, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects: models.Manager[LearnedChoice] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "choice on a learned figure"
        ordering = ("at", "id")
        constraints = (
            models.CheckConstraint(
                name="learned_choice_whole",
                condition=Q(accepted=True, made__isnull=False) | (Q(accepted=False, made__isnull=True) & ~Q(reason="")),
            ),
            models.CheckConstraint(
                name="learned_choice_in_order", condition=Q(low__lte=F("value")) & Q(high__gte=F("value"))
            ),
        )

    def __str__(self) -> str:
        return f"{self.name}: {'accepted' if self.accepted else 'refused'}"


class HouseBills(FrozenModel):
    """Bills before and after a job; `data` is the form of `jobs.savings_after.ComparedBillsRecord`.

    A later set stands beside the earlier one, never over it; the latest counts.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="bills_after")
    data = models.JSONField()
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects: models.Manager[HouseBills] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "set of bills"
        ordering = ("at", "id")

    def __str__(self) -> str:
        return f"{self.job} bills"
