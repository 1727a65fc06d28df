"""Dated rules of a place: what the law or a programme asked for on a given day, and where that is written."""

from __future__ import annotations

import datetime
import uuid

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q


class RuleQuerySet(models.QuerySet["Rule"]):
    """Reads of the rule table."""

    def in_force(self, jurisdiction: str, topic: str, on: datetime.date) -> Rule | None:
        """Return the rule of a place on a topic on a day; None when the table holds none for that day."""
        return (
            self.filter(Q(valid_to__isnull=True) | Q(valid_to__gte=on), valid_from__lte=on)
            .filter(jurisdiction=jurisdiction, topic=topic)
            .first()
        )


class Rule(models.Model):
    """One rule between two days, both included; without a last day it holds until further notice."""

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    jurisdiction = models.CharField(max_length=60)
    topic = models.CharField(max_length=80)
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)
    value = models.JSONField()
    text = models.TextField()
    source = models.CharField(max_length=300)
    checked_on = models.DateField()

    objects = RuleQuerySet.as_manager()

    class Meta:
        ordering = ("jurisdiction", "topic", "valid_from")
        constraints = (
            models.CheckConstraint(
                name="rule_days_in_order", condition=Q(valid_to__isnull=True) | Q(valid_to__gte=F("valid_from"))
            ),
            models.UniqueConstraint(name="rule_once_per_first_day", fields=["jurisdiction", "topic", "valid_from"]),
        )

    def __str__(self) -> str:
        return f"{self.jurisdiction} {self.topic} from {self.valid_from}"

    def clean(self) -> None:
        """Refuse a rule whose days overlap another rule of the same place and topic.

        Raises
        ------
        ValidationError : the days are in the wrong order, or another rule holds on one of them.
        """
        super().clean()
        if self.valid_to is not None and self.valid_to < self.valid_from:
            raise ValidationError({"valid_to": f"Enter a last day on or after {self.valid_from}."})
        others = (
            Rule.objects.filter(jurisdiction=self.jurisdiction, topic=self.topic)
            .exclude(pk=self.pk)
            .filter(Q(valid_to__isnull=True) | Q(valid_to__gte=self.valid_from))
        )
        if self.valid_to is not None:
            others = others.filter(valid_from__lte=self.valid_to)
        if (other := others.first()) is not None:
            last = other.valid_to or "further notice"
            raise ValidationError(
                {
                    "valid_from": f"The rule from {other.valid_from} to {last} already holds on some of these days. "
                    "End that one first, or enter other days."
                }
            )
