"""Published price books: each version is written once and holds from its day on."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import Q
from django.db.models.functions import Length
from django.db.models.lookups import Exact

from estimates.models.frozen import FrozenModel, FrozenQuerySet
from estimates.models.user import OFFICE, User


class PriceBookVersionQuerySet(FrozenQuerySet["PriceBookVersion"]):
    """Reads of price books."""

    def visible_to(self, user: User | AnonymousUser) -> PriceBookVersionQuerySet:
        """Return the price books for the office, none for others."""
        known = isinstance(user, User) and user.is_active and user.role in OFFICE
        return self.filter() if known else self.none()


class PriceBookVersion(FrozenModel):
    """One version of a price book; `content` is the canonical JSON text of the record, `sha256` that of its bytes."""

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(max_length=40)
    version = models.PositiveIntegerField()
    effective_from = models.DateField()
    content = models.TextField()
    sha256 = models.CharField(max_length=64)
    published_at = models.DateTimeField()
    published_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects = PriceBookVersionQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "price book"
        ordering = ("name", "-version")
        constraints = (
            models.UniqueConstraint(name="price_book_version_once", fields=["name", "version"]),
            models.UniqueConstraint(name="price_book_day_once", fields=["name", "effective_from"]),
            models.CheckConstraint(name="price_book_version_from_one", condition=Q(version__gte=1)),
            models.CheckConstraint(name="price_book_sha256_whole", condition=Exact(Length("sha256"), 64)),
        )

    def __str__(self) -> str:
        return f"{self.name} {self.version}"
