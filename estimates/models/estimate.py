"""Estimate revisions: what was calculated and priced, frozen."""

from __future__ import annotations

import uuid
from decimal import Decimal

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models.functions import Length
from django.db.models.lookups import Exact

from estimates.models.frozen import FrozenModel, FrozenQuerySet
from estimates.models.house import House
from estimates.models.money_field import MoneyField
from estimates.models.user import User


class EstimateRevisionQuerySet(FrozenQuerySet["EstimateRevision"]):
    """Reads of revisions."""

    def visible_to(self, user: User | AnonymousUser) -> EstimateRevisionQuerySet:
        """Return the revisions of the houses that somebody may know of."""
        return self.filter(house__in=House.objects.visible_to(user))


class EstimateRevision(FrozenModel):
    """One revision of the estimate of a house.

    `snapshot` is the text of the canonical JSON files (house record, takeoff, performance, estimate); `sha256` is that
    of its UTF-8 bytes. Price and cost stand beside it so that lists and sums need not read it.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    house = models.ForeignKey(House, on_delete=models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    price_book = models.CharField(max_length=120)
    schema_version = models.CharField(max_length=40)
    engine_version = models.CharField(max_length=40)
    seed = models.PositiveBigIntegerField()
    snapshot = models.TextField()
    sha256 = models.CharField(max_length=64)
    price = MoneyField(db_column="price_cents")
    cost = MoneyField(db_column="cost_cents")

    objects = EstimateRevisionQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "estimate revision"
        ordering = ("house", "-number")
        constraints = (
            models.UniqueConstraint(name="revision_number_once_per_house", fields=["house", "number"]),
            models.CheckConstraint(name="revision_number_from_one", condition=models.Q(number__gte=1)),
            models.CheckConstraint(name="revision_price_not_negative", condition=models.Q(price__gte=Decimal(0))),
            models.CheckConstraint(name="revision_cost_not_negative", condition=models.Q(cost__gte=Decimal(0))),
            models.CheckConstraint(name="revision_sha256_whole", condition=Exact(Length("sha256"), 64)),
        )

    def __str__(self) -> str:
        return f"{self.house} revision {self.number}"
