"""The record of who did what: append-only."""

from __future__ import annotations

from uuid import UUID

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.core.validators import RegexValidator
from django.db import models

from estimates.models.frozen import FrozenModel, FrozenQuerySet


class ActivityEntryQuerySet(FrozenQuerySet["ActivityEntry"]):
    """Reads of the record."""

    def of(self, object_type: str, object_code: UUID) -> ActivityEntryQuerySet:
        """Return what happened to one object, latest first."""
        return self.filter(object_type=object_type, object_code=object_code)


class ActivityEntry(FrozenModel):
    """One act: who, when (UTC), from where, what, on which object, what it changed, and why.

    The row stores a dotted action, never a sentence: sentences are made when the record is shown.
    """

    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    """Nobody when the program acted by itself."""
    at = models.DateTimeField()
    origin = models.CharField(max_length=100, blank=True)
    """Network address, or the command that was run."""
    action = models.CharField(
        max_length=60,
        validators=[
            RegexValidator(r"^[a-z_]+(\.[a-z_]+)+$", "Enter small words joined by dots, such as house.rename.")
        ],
    )
    object_type = models.CharField(max_length=60)
    object_code = models.UUIDField()
    before = models.JSONField(null=True, encoder=DjangoJSONEncoder)
    after = models.JSONField(null=True, encoder=DjangoJSONEncoder)
    reason = models.CharField(max_length=500, blank=True)

    objects = ActivityEntryQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "activity entry"
        verbose_name_plural = "activity entries"
        ordering = ("-at", "-id")
        indexes = (models.Index(fields=["object_type", "object_code", "at"], name="activity_of_object"),)
        constraints = (
            # No regular expression in the database: plain SQLite tools could not check the table then.
            models.CheckConstraint(name="activity_action_dotted", condition=models.Q(action__contains=".")),
        )

    def __str__(self) -> str:
        return f"{self.action} {self.object_type} {self.object_code}"
