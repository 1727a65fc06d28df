"""Links for people who have no account."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models


class LinkPurpose(models.TextChoices):
    """The one thing that a link opens."""

    PROPOSAL = "proposal", "Read and answer a proposal"
    HOMEOWNER = "homeowner", "Read the records of a house"
    CANCELLATION = "cancellation", "Cancel a contract"
    CALENDAR = "calendar", "Read the calendar of a crew"


class PrivateLink(models.Model):
    """A link for one purpose and one object, with an end; see `estimates.links`."""

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    purpose = models.CharField(max_length=20, choices=LinkPurpose)
    target_type = models.CharField(max_length=60)
    target_code = models.UUIDField()
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, default=None, blank=True)

    class Meta:
        indexes = (models.Index(fields=["target_type", "target_code"], name="link_of_object"),)
        constraints = (
            models.CheckConstraint(name="link_purpose_known", condition=models.Q(purpose__in=LinkPurpose.values)),
            models.CheckConstraint(
                name="link_ends_after_start", condition=models.Q(expires_at__gt=models.F("created_at"))
            ),
        )

    def __str__(self) -> str:
        return f"{self.purpose} {self.target_code}"
