"""Who and what does the work: people, crews, rigs - everything that can be in one place at a time."""

from __future__ import annotations

import uuid
from datetime import date
from decimal import Decimal
from typing import TypeVar

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.db.models import F, Q

from estimates.models.money_field import MoneyField
from estimates.models.user import OFFICE, User


class Skill(models.TextChoices):
    """What somebody can do; a phase asks for some of them."""

    INJECTING = "injecting", "Injecting foam"
    BLOWING = "blowing", "Blowing loose fill"
    AIR_SEALING = "air_sealing", "Air sealing"
    TESTING = "testing", "Blower door and combustion tests"
    INFRARED = "infrared", "Infrared"
    LEAD_SAFE = "lead_safe", "Lead-safe renovation"


class CertificateKind(models.TextChoices):
    """Papers that a start or a test may ask for."""

    LEAD_FIRM = "lead_firm", "Lead-safe firm"
    LEAD_RENOVATOR = "lead_renovator", "Lead-safe renovator"
    TESTER = "tester", "Tester of buildings"
    THERMOGRAPHER = "thermographer", "Thermographer"
    FIRST_AID = "first_aid", "First aid"


class RigKind(models.TextChoices):
    """What a rig is for."""

    FOAM = "foam", "Foam rig"
    BLOWER = "blower", "Blowing machine"
    TEST_KIT = "test_kit", "Blower door"


R = TypeVar("R", bound="Resource")


class ResourceQuerySet(models.QuerySet[R]):
    """Reads of people, crews and rigs."""

    def visible_to(self, user: User | AnonymousUser) -> ResourceQuerySet[R]:
        """Return everything for the office, none for others."""
        known = isinstance(user, User) and user.is_active and user.role in OFFICE
        return self.all() if known else self.none()


class Resource(models.Model):
    """Something that is in one place at a time; `Slot` holds it to that. A crew, a worker or a rig."""

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    version = models.PositiveIntegerField(default=1)
    name = models.CharField(max_length=80, unique=True, error_messages={"blank": "Enter a name."})
    is_active = models.BooleanField(default=True)

    objects = ResourceQuerySet["Resource"].as_manager()

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class Rig(Resource):
    """A rig; `mixes_per_day` is what a foam rig can mix on one day."""

    kind = models.CharField(max_length=20, choices=RigKind)
    mixes_per_day = models.PositiveIntegerField(null=True, blank=True, validators=[MinValueValidator(1)])

    objects = ResourceQuerySet["Rig"].as_manager()  # type: ignore[misc]

    class Meta:
        constraints = (models.CheckConstraint(name="rig_kind_known", condition=Q(kind__in=RigKind.values)),)


class Worker(Resource):
    """Somebody who works at houses. `hourly_cost` is wage and burden together."""

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="worker"
    )
    hourly_cost = MoneyField(db_column="hourly_cost_cents")

    objects = ResourceQuerySet["Worker"].as_manager()  # type: ignore[misc]

    class Meta:
        constraints = (
            models.CheckConstraint(
                name="worker_cost_not_negative",
                condition=Q(hourly_cost__gte=Decimal(0)),
                violation_error_message="Enter what an hour costs: 0 or more.",
            ),
        )


class WorkerSkill(models.Model):
    """A skill of somebody."""

    worker = models.ForeignKey(Worker, on_delete=models.CASCADE, related_name="skills")
    skill = models.CharField(max_length=20, choices=Skill)

    class Meta:
        constraints = (
            models.UniqueConstraint(name="worker_skill_once", fields=["worker", "skill"]),
            models.CheckConstraint(name="worker_skill_known", condition=Q(skill__in=Skill.values)),
        )

    def __str__(self) -> str:
        return self.get_skill_display()


class Certificate(models.Model):
    """A certificate of somebody, or of the firm where `worker` is empty; valid on both days."""

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    worker = models.ForeignKey(Worker, on_delete=models.PROTECT, null=True, blank=True, related_name="certificates")
    kind = models.CharField(max_length=20, choices=CertificateKind)
    number = models.CharField(max_length=60, error_messages={"blank": "Enter the number of the certificate."})
    valid_from = models.DateField()
    valid_until = models.DateField()

    class Meta:
        ordering = ("valid_until", "id")
        constraints = (
            models.CheckConstraint(name="certificate_kind_known", condition=Q(kind__in=CertificateKind.values)),
            models.CheckConstraint(
                name="certificate_days_in_order",
                condition=Q(valid_until__gte=F("valid_from")),
                violation_error_message="Enter a last day on or after the first one.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.number}"

    def holds_on(self, day: date) -> bool:
        """Whether it is valid on a day."""
        return self.valid_from <= day <= self.valid_until


class Crew(Resource):
    """People who go out together.

    `works_on` are its weekdays as digits, 1 for Monday; it works from `first_hour` to `last_hour` of the firm's clock.
    """

    home_latitude = models.DecimalField(
        max_digits=8, decimal_places=5, validators=[MinValueValidator(-90), MaxValueValidator(90)]
    )
    home_longitude = models.DecimalField(
        max_digits=8, decimal_places=5, validators=[MinValueValidator(-180), MaxValueValidator(180)]
    )
    lead = models.ForeignKey(Worker, on_delete=models.PROTECT, null=True, blank=True, related_name="leads_crews")
    works_on = models.CharField(
        max_length=7,
        default="12345",
        validators=[RegexValidator(r"^1?2?3?4?5?6?7?\Z", "Enter weekdays as digits in order, 1 for Monday: 12345.")],
    )
    first_hour = models.PositiveSmallIntegerField(default=8, validators=[MaxValueValidator(22)])
    last_hour = models.PositiveSmallIntegerField(default=16, validators=[MaxValueValidator(23)])

    objects = ResourceQuerySet["Crew"].as_manager()  # type: ignore[misc]

    class Meta:
        constraints = (
            models.CheckConstraint(
                name="crew_hours_in_order",
                condition=Q(last_hour__gt=F("first_hour")),
                violation_error_message="Enter an end after the beginning of the working day.",
            ),
        )

    @property
    def people(self) -> list[str]:
        """Names of who is on it now; of a crew that came with its members, nothing more is asked of the database."""
        return sorted(member.worker.name for member in self.members.all() if member.until is None)


class CrewMember(models.Model):
    """Somebody on a crew from one day on; `until` is the last day, empty while it goes on."""

    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="members")
    worker = models.ForeignKey(Worker, on_delete=models.PROTECT, related_name="memberships")
    since = models.DateField()
    until = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ("since", "id")
        constraints = (
            models.UniqueConstraint(name="crew_member_on_one_crew", fields=["worker"], condition=Q(until__isnull=True)),
            models.CheckConstraint(
                name="crew_member_days_in_order", condition=Q(until__isnull=True) | Q(until__gte=F("since"))
            ),
        )

    def __str__(self) -> str:
        return f"{self.worker} on {self.crew}"


class CrewRig(models.Model):
    """A rig that usually goes with a crew."""

    crew = models.ForeignKey(Crew, on_delete=models.CASCADE, related_name="rigs")
    rig = models.ForeignKey(Rig, on_delete=models.CASCADE, related_name="crews")

    class Meta:
        constraints = (models.UniqueConstraint(name="crew_rig_once", fields=["crew", "rig"]),)

    def __str__(self) -> str:
        return f"{self.rig} with {self.crew}"


class Absence(models.Model):
    """Days on which somebody or something cannot work, both included."""

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    resource = models.ForeignKey(Resource, on_delete=models.PROTECT, related_name="absences")
    first_day = models.DateField()
    last_day = models.DateField()
    reason = models.CharField(max_length=120, error_messages={"blank": "Enter why."})

    class Meta:
        ordering = ("first_day", "id")
        constraints = (
            models.CheckConstraint(
                name="absence_days_in_order",
                condition=Q(last_day__gte=F("first_day")),
                violation_error_message="Enter a last day on or after the first one.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.resource} {self.first_day} to {self.last_day}"
