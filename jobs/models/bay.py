"""Walls and bays of a job: copied from the frozen takeoff at booking, then the crew's."""

from __future__ import annotations

import uuid

from django.contrib.auth.models import AnonymousUser
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q

from estimates.models.user import User
from jobs.models.job import Job


class BayState(models.TextChoices):
    """How far a bay is: the words of `estimates.linework.BayState`, which draws them."""

    PLANNED = "planned", "Planned"
    DRILLED = "drilled", "Drilled"
    FILLED = "filled", "Filled"
    REFUSED = "refused", "Refused"
    LEFT = "left", "Left for another day"
    DOUBTFUL = "doubtful", "Doubtful"
    PROVEN = "proven", "Proven"
    LEFT_OUT = "left out", "Left out"


class JobWallQuerySet(models.QuerySet["JobWall"]):
    """Reads of walls of jobs."""

    def visible_to(self, user: User | AnonymousUser) -> JobWallQuerySet:
        """Return the walls of the jobs that somebody may know of."""
        return self.filter(job__in=Job.objects.visible_to(user))


class JobWall(models.Model):
    """A wall of a job. `wall` is its record as it was frozen with the estimate, `found` what the crew found instead.

    `found` is the form of an `AsFoundRecord`, empty until there is one; `found_version` counts its changes. Room, foam,
    fill and mixes are those of the estimate, as in `takeoff.json`. [ft3, in]
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="walls")
    key = models.CharField(max_length=40)
    name = models.CharField(max_length=80)
    position = models.PositiveSmallIntegerField()
    wall = models.JSONField()
    found = models.JSONField(default=dict, blank=True)
    found_version = models.PositiveIntegerField(default=0)
    room_share = models.FloatField()
    """Part of the cavity that old insulation leaves for foam. [1]"""
    foam_in = models.FloatField()
    fill_ft3 = models.FloatField()
    mixes = models.FloatField()
    lead_safe = models.BooleanField(default=False)
    drawn = models.BooleanField(default=True)
    """Whether its bays are those of a layout; a wall known by a few figures has bays that are only counted."""

    objects = JobWallQuerySet.as_manager()

    class Meta:
        ordering = ("job", "position")
        constraints = (
            models.UniqueConstraint(name="job_wall_key_once", fields=["job", "key"]),
            models.CheckConstraint(name="job_wall_room_is_a_share", condition=Q(room_share__gte=0, room_share__lte=1)),
        )

    def __str__(self) -> str:
        return f"{self.job} {self.name}"


class Bay(models.Model):
    """A bay of a wall of a job; numbers are those of the layout and never given twice.

    `fill_ft3` is the room for foam. `state_entry` is the code of the entry that brought it to its state. A bay that the
    wall as found has no longer is retired, not removed.
    """

    wall = models.ForeignKey(JobWall, on_delete=models.PROTECT, related_name="bays")
    number = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    area_ft2 = models.FloatField()
    fill_ft3 = models.FloatField()
    holes = models.PositiveSmallIntegerField(default=0)
    reachable = models.BooleanField(default=True)
    why_not = models.CharField(max_length=200, blank=True)
    state = models.CharField(max_length=20, choices=BayState, default=BayState.PLANNED)
    state_entry = models.UUIDField(null=True, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    added = models.BooleanField(default=False)
    retired = models.BooleanField(default=False)

    class Meta:
        ordering = ("wall", "number")
        constraints = (
            models.UniqueConstraint(name="bay_number_once", fields=["wall", "number"]),
            models.CheckConstraint(name="bay_state_known", condition=Q(state__in=BayState.values)),
            models.CheckConstraint(
                name="bay_refused_with_reason", condition=~Q(state=BayState.REFUSED) | ~Q(reason="")
            ),
        )

    def __str__(self) -> str:
        return f"{self.wall} bay {self.number}"
