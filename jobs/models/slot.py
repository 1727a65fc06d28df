"""When somebody is where: visits of a phase, and the hours that each resource is taken."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from jobs.models.job import Phase
from jobs.models.resource import Crew, Resource, Rig


class Visit(models.Model):
    """A stretch of hours of one day that a crew works on a phase. The hours are those of the firm's clock.

    `promised` means that the homeowner was told the day. Everything that takes its hours stands in `Slot`.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    version = models.PositiveIntegerField(default=1)
    phase = models.ForeignKey(Phase, on_delete=models.PROTECT, related_name="visits")
    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="visits")
    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, null=True, blank=True, related_name="visits")
    day = models.DateField()
    first_hour = models.PositiveSmallIntegerField(validators=[MaxValueValidator(22)])
    hours = models.PositiveSmallIntegerField(validators=[MinValueValidator(1), MaxValueValidator(16)])
    promised = models.BooleanField(default=False)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("day", "first_hour", "id")
        indexes = (models.Index(name="visit_by_day", fields=["day", "crew"]),)
        constraints = (
            models.UniqueConstraint(name="visit_phase_once_per_hour", fields=["phase", "day", "first_hour", "crew"]),
            models.CheckConstraint(name="visit_hours_above_nothing", condition=Q(hours__gte=1)),
            models.CheckConstraint(name="visit_ends_on_its_day", condition=Q(first_hour__lte=24 - F("hours"))),
        )

    def __str__(self) -> str:
        return f"{self.phase} {self.day} {self.first_hour}:00"


class Slot(models.Model):
    """One hour of one resource. That it is there once is what keeps anybody from being in two places (rule S2).

    `starts_at` is a whole hour: `jobs.visits.hour_start` alone makes it. No constraint says so, because taking minutes
    out of a time needs a function that SQLite has only inside Django, and backups are read without it.
    """

    resource = models.ForeignKey(Resource, on_delete=models.PROTECT, related_name="slots")
    starts_at = models.DateTimeField()
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="slots")

    class Meta:
        constraints = (models.UniqueConstraint(name="slot_one_place_at_a_time", fields=["resource", "starts_at"]),)

    def __str__(self) -> str:
        return f"{self.resource} {self.starts_at:%Y-%m-%d %H:%M}"


class DayWeather(models.Model):
    """What the weather of a day will be where the firm works; entered, or read from a forecast file.

    Temperatures in degF, wind in mph; `rain_chance` as a share.
    """

    day = models.DateField(unique=True)
    low_f = models.DecimalField(max_digits=5, decimal_places=1)
    high_f = models.DecimalField(max_digits=5, decimal_places=1)
    rain_chance = models.DecimalField(
        max_digits=3, decimal_places=2, default=0, validators=[MinValueValidator(0), MaxValueValidator(1)]
    )
    wind_mph = models.DecimalField(max_digits=5, decimal_places=1, default=0, validators=[MinValueValidator(0)])
    source = models.CharField(max_length=120, error_messages={"blank": "Enter where the forecast comes from."})
    entered_at = models.DateTimeField()

    class Meta:
        ordering = ("day",)
        constraints = (
            models.CheckConstraint(
                name="weather_low_below_high",
                condition=Q(high_f__gte=F("low_f")),
                violation_error_message="Enter a high at or above the low.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.day}: {self.low_f} to {self.high_f} degF"
