"""Houses: the address that everything else hangs on."""

from __future__ import annotations

import uuid

from django.contrib.auth.models import AnonymousUser
from django.core.validators import RegexValidator
from django.db import models
from django.utils import timezone

from estimates.models.user import OFFICE, User
from estimates.records import CODE_PATTERN

RECORD_FIELDS = {
    "id": "reference",
    "name": "name",
    "customer": "customer_name",
    "street": "street",
    "town": "town",
    "state": "state",
    "county": "county",
    "postal_code": "postal_code",
}
"""Field of the house record -> column of its row; lengths are those of `estimates.house`."""


class HouseQuerySet(models.QuerySet["House"]):
    """Reads of houses."""

    def visible_to(self, user: User | AnonymousUser) -> HouseQuerySet:
        """Return the houses that somebody may know of: the office all of them, others none.

        Crew reach a house through the jobs of their own crew, never from this side of the signature.
        """
        known = isinstance(user, User) and user.is_active and user.role in OFFICE
        return self.all() if known else self.none()


class House(models.Model):
    """A house, its address and whom we deal with there."""

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    reference = models.CharField(
        max_length=40,
        unique=True,
        validators=[
            RegexValidator(
                rf"^{CODE_PATTERN}\Z",
                "Enter 1-40 letters, digits, dots, dashes or underscores, beginning with a letter or digit.",
            )
        ],
    )
    name = models.CharField(max_length=80)
    street = models.CharField(max_length=120)
    town = models.CharField(max_length=80)
    state = models.CharField(
        max_length=2, validators=[RegexValidator(r"^[A-Z]{2}$", "Enter the two capital letters of the state.")]
    )
    county = models.CharField(max_length=60, blank=True, default="")
    postal_code = models.CharField(
        max_length=10,
        blank=True,
        validators=[RegexValidator(r"^\d{5}(-\d{4})?$", "Enter five digits, or five, a hyphen and four.")],
    )
    customer_name = models.CharField(max_length=80)
    is_demo = models.BooleanField(default=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = HouseQuerySet.as_manager()

    class Meta:
        ordering = ("name", "id")

    def __str__(self) -> str:
        return self.name
