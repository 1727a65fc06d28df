"""What has to leave the house: written with the change that causes it, sent afterwards."""

from __future__ import annotations

import uuid
from datetime import datetime

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import Q


class OutboxQuerySet(models.QuerySet["OutboxMessage"]):
    """Reads of the outbox."""

    def ready(self, now: datetime) -> OutboxQuerySet:
        """Return messages that are due, not sent, not given up, and in nobody's hands."""
        return self.filter(
            Q(claimed_until__isnull=True) | Q(claimed_until__lte=now),
            sent_at__isnull=True,
            given_up_at__isnull=True,
            due_at__lte=now,
        ).order_by("due_at", "id")


class OutboxMessage(models.Model):
    """One thing to send. A sender claims it for a few minutes, sends it, then marks it sent."""

    kind = models.CharField(max_length=40)
    key = models.CharField(max_length=120, unique=True)
    payload = models.JSONField(encoder=DjangoJSONEncoder)
    created_at = models.DateTimeField()
    due_at = models.DateTimeField()
    attempts = models.PositiveIntegerField(default=0)
    claim = models.UUIDField(null=True, default=None)
    claimed_until = models.DateTimeField(null=True, default=None)
    sent_at = models.DateTimeField(null=True, default=None)
    given_up_at = models.DateTimeField(null=True, default=None)
    last_error = models.CharField(max_length=500, blank=True)

    objects = OutboxQuerySet.as_manager()

    class Meta:
        indexes = (
            models.Index(
                name="outbox_waiting",
                fields=["due_at"],
                condition=Q(sent_at__isnull=True, given_up_at__isnull=True),
            ),
        )
        constraints = (
            models.CheckConstraint(
                name="outbox_sent_or_given_up", condition=Q(sent_at__isnull=True) | Q(given_up_at__isnull=True)
            ),
        )

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"

    def take(self, *, now: datetime, until: datetime) -> bool:
        """Claim the message; one sender of many succeeds, because the database lets one of them change the row."""
        claim = uuid.uuid4()
        taken = (
            OutboxMessage.objects.ready(now)
            .filter(pk=self.pk)
            .update(claim=claim, claimed_until=until, attempts=models.F("attempts") + 1)
        )
        if taken:
            self.refresh_from_db()
        return bool(taken)
