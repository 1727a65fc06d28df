"""What the crew reports: entries that are written once, whichever phone and however often they arrive."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from estimates.models.frozen import FrozenModel, FrozenQuerySet
from jobs.models.bay import JobWall
from jobs.models.job import Job, Phase


class EntryKind(models.TextChoices):
    """What an entry tells; the form of its `data` is declared in `jobs.entries`."""

    BAY = "bay", "Bays"
    AS_FOUND = "as_found", "Wall as found"
    TRIAL = "trial", "First-bay trial"
    WATCHER = "watcher", "Inside watcher"
    MIX = "mix", "Mix"
    DENSITY = "density", "Wet density"
    TEMPERATURE = "temperature", "Temperatures"
    MOISTURE = "moisture", "Moisture of framing"
    WASTE = "waste", "Waste and wash-out"
    PLUGS = "plugs", "Plugs"
    BAGS = "bags", "Bags"
    DEPTH = "depth", "Depth of loose fill"
    LEAK = "leak", "Leak site"
    CHECK = "check", "Check"
    HOURS = "hours", "Hours"
    MATERIAL = "material", "Material"
    PHOTO = "photo", "Photo"
    NOTE = "note", "Note"
    NEAR_MISS = "near_miss", "Near miss"
    DAY_CLOSE = "day_close", "Day closed"


class CrewEntry(FrozenModel):
    """One thing that a crew reported. `code` is made on the phone, so that sending again is harmless.

    `noted_at` is the clock of the phone, `received_at` ours. An entry that corrects another names it in `replaces`; the
    old one stays. `clashed` marks an entry that did not know of a later one about the same thing: both are kept, and
    the office or the crew lead decides by another entry.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="entries")
    phase = models.ForeignKey(Phase, on_delete=models.PROTECT, null=True, blank=True, related_name="entries")
    wall = models.ForeignKey(JobWall, on_delete=models.PROTECT, null=True, blank=True, related_name="entries")
    kind = models.CharField(max_length=20, choices=EntryKind)
    data = models.JSONField()
    day = models.DateField()
    noted_at = models.DateTimeField()
    received_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    device = models.CharField(max_length=40, blank=True)
    origin = models.CharField(max_length=60, blank=True)
    body_sha256 = models.CharField(max_length=64)
    replaces = models.UUIDField(null=True, blank=True)
    clashed = models.BooleanField(default=False)

    objects: models.Manager[CrewEntry] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "crew entry"
        verbose_name_plural = "crew entries"
        ordering = ("noted_at", "id")
        indexes = (models.Index(name="entry_of_job", fields=["job", "kind", "day"]),)
        constraints = (models.CheckConstraint(name="entry_kind_known", condition=Q(kind__in=EntryKind.values)),)

    def __str__(self) -> str:
        return f"{self.job} {self.get_kind_display()}"
