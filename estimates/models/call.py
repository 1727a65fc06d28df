"""Calls: whom we called, why, when by their clock, and what came of it."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import Q

from estimates.calls import Purpose
from estimates.models.frozen import FrozenModel, FrozenQuerySet
from estimates.models.lead import Lead
from estimates.models.user import User


class CallPurpose(models.TextChoices):
    """Why we called; the words of `estimates.calls.Purpose`."""

    SALES = Purpose.SOLICITATION.value, "Sales call"
    APPOINTMENT = Purpose.APPOINTMENT.value, "Appointment"
    ARRIVAL = Purpose.CREW_ARRIVAL.value, "Arrival of the crew"
    SAFETY = Purpose.SAFETY.value, "Safety"
    BILLING = Purpose.BILLING.value, "Billing"


class CallOutcome(models.TextChoices):
    """What came of a call."""

    TALKED = "talked", "We talked"
    MESSAGE = "message", "Left a message"
    NO_ANSWER = "no_answer", "No answer"
    WRONG_NUMBER = "wrong_number", "Wrong number"


class CallEntryQuerySet(FrozenQuerySet["CallEntry"]):
    """Reads of calls."""

    def visible_to(self, user: User | AnonymousUser) -> CallEntryQuerySet:
        """Return the calls to the leads that somebody may know of."""
        return self.filter(lead__in=Lead.objects.visible_to(user))


class CallEntry(FrozenModel):
    """One call to somebody; written once, by `estimates.call_log`.

    `zone` is the time zone of the house at the time of the call, `warnings` what the rules had to say of a call that
    they do not forbid.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    lead = models.ForeignKey(Lead, on_delete=models.PROTECT, related_name="calls")
    purpose = models.CharField(max_length=20, choices=CallPurpose)
    outcome = models.CharField(max_length=20, choices=CallOutcome)
    at = models.DateTimeField()
    zone = models.CharField(max_length=40)
    note = models.CharField(max_length=500, blank=True)
    warnings = models.JSONField(default=list, blank=True)
    logged_at = models.DateTimeField()
    logged_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects = CallEntryQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "call"
        ordering = ("-at", "-id")
        constraints = (
            models.CheckConstraint(name="call_purpose_known", condition=Q(purpose__in=CallPurpose.values)),
            models.CheckConstraint(name="call_outcome_known", condition=Q(outcome__in=CallOutcome.values)),
            models.CheckConstraint(name="call_not_in_the_future", condition=Q(at__lte=models.F("logged_at"))),
        )

    def __str__(self) -> str:
        return f"{self.get_purpose_display()} {self.at.isoformat()}"
