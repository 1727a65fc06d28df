"""Proof that a job is what it should be: tests, findings, the inspector's word, the homeowner's."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from estimates.models.frozen import FrozenModel, FrozenQuerySet
from jobs.models.bay import JobWall
from jobs.models.job import Job


class HouseTest(FrozenModel):
    """Tests of the house before, during or after the work; `data` is the form of `jobs.verification.HouseTestRecord`.

    A later round of the same kind stands beside the earlier one, never over it.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="tests")
    when = models.CharField(
        max_length=10, choices=[("in", "Before the work"), ("day", "End of a day"), ("out", "After the work")]
    )
    data = models.JSONField()
    cfm50 = models.FloatField(null=True, blank=True)
    cfm50_se = models.FloatField(null=True, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects: models.Manager[HouseTest] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        ordering = ("at", "id")
        constraints = (models.CheckConstraint(name="house_test_when", condition=Q(when__in=["in", "day", "out"])),)

    def __str__(self) -> str:
        return f"{self.job} test {self.when}"


class Verdict(models.TextChoices):
    """What became of a thing that was looked at."""

    GOOD = "good", "Good"
    LOOK_AGAIN = "look_again", "Look again"
    REDO = "redo", "Redo"


class FindingKind(models.TextChoices):
    """How a finding was made."""

    BALANCE = "balance", "Bay balance"
    INFRARED = "infrared", "Infrared"
    PROBE = "probe", "Probe or drill"
    DEPTH = "depth", "Depth of loose fill"
    LEAKAGE = "leakage", "Blower door"
    COMBUSTION = "combustion", "Combustion safety"
    VENTILATION = "ventilation", "Ventilation"
    LOOK = "look", "Seen"


class Finding(models.Model):
    """Something found while verifying, and what is done about it: a line of the punch list.

    `area_ft2` is the area of a void, 0 where the finding is none. A finding is closed by whoever saw it mended.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    version = models.PositiveIntegerField(default=1)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="findings")
    wall = models.ForeignKey(JobWall, on_delete=models.PROTECT, null=True, blank=True, related_name="findings")
    bay = models.PositiveIntegerField(null=True, blank=True)
    kind = models.CharField(max_length=20, choices=FindingKind)
    verdict = models.CharField(max_length=20, choices=Verdict)
    words = models.CharField(max_length=500, error_messages={"blank": "Enter what was found."})
    area_ft2 = models.FloatField(default=0)
    confirmed = models.BooleanField(default=False)
    found_at = models.DateTimeField()
    found_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    closed_how = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ("found_at", "id")
        constraints = (
            models.CheckConstraint(name="finding_kind_known", condition=Q(kind__in=FindingKind.values)),
            models.CheckConstraint(name="finding_verdict_known", condition=Q(verdict__in=Verdict.values)),
            models.CheckConstraint(name="finding_area_not_negative", condition=Q(area_ft2__gte=0)),
            models.CheckConstraint(
                name="finding_closed_whole",
                condition=Q(closed_at__isnull=True, closed_by__isnull=True, closed_how="")
                | (Q(closed_at__isnull=False, closed_by__isnull=False) & ~Q(closed_how="")),
            ),
        )

    def __str__(self) -> str:
        return f"{self.job}: {self.words[:40]}"


class Verification(models.Model):
    """The inspector's word on a job (rules V1, V2).

    `same_person_reason` says why the inspector is the assessor or of the crew, where that could not be helped.
    `void_release_reason` is the owner's, where the final invoice goes out although a void is not refilled.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="verification")
    inspector = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    same_person_reason = models.CharField(max_length=500, blank=True)
    infrared_due = models.DateField(null=True, blank=True)
    """Last day for the return visit where infrared could not be judged."""
    decided_at = models.DateTimeField()
    void_release_reason = models.CharField(max_length=500, blank=True)
    void_released_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        constraints = (
            models.CheckConstraint(
                name="verification_release_whole",
                condition=Q(void_released_by__isnull=True, void_release_reason="")
                | (Q(void_released_by__isnull=False) & ~Q(void_release_reason="")),
            ),
        )

    def __str__(self) -> str:
        return f"{self.job} verified"


class SignOff(FrozenModel):
    """The homeowner's word that the work is done, through the private link or on paper."""

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="sign_off")
    typed_name = models.CharField(max_length=120)
    words = models.CharField(max_length=1000, blank=True)
    at = models.DateTimeField()
    by_link = models.BooleanField(default=True)
    origin = models.CharField(max_length=60, blank=True)

    objects: models.Manager[SignOff] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "sign-off"

    def __str__(self) -> str:
        return f"{self.job} signed off"


class JobPaper(FrozenModel):
    """A paper of a job as it was made: receipt, certificate, packet, crew sheet, change order, invoice.

    The file stands in the documents folder under its sha256, as proposals do; `content` is what it was made from.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="papers")
    kind = models.CharField(max_length=20)
    name = models.CharField(max_length=120)
    content = models.JSONField()
    sha256 = models.CharField(max_length=64)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects: models.Manager[JobPaper] = FrozenQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        ordering = ("made_at", "id")

    def __str__(self) -> str:
        return self.name
