"""Site assessments: the measured house as rows, one table for the house and one for each of its lists.

The columns come from the records of `estimates.house`; a field added there becomes a column here with the next
migration, and a list added there asks for a class here before the program starts.
"""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import Q
from django.db.models.functions import Length
from django.db.models.lookups import Exact

from estimates import house as records
from estimates.models.house import RECORD_FIELDS, House
from estimates.models.record_rows import Kept, RecordRow, keeps, need_tables
from estimates.models.user import User


class AssessmentStatus(models.TextChoices):
    """An open assessment is being measured; a completed one is not changed, a new one is begun instead."""

    OPEN = "open", "Open"
    COMPLETED = "completed", "Completed"


class AssessmentQuerySet(models.QuerySet["Assessment"]):
    """Reads of assessments."""

    def visible_to(self, user: User | AnonymousUser) -> AssessmentQuerySet:
        """Return the assessments of the houses that somebody may know of."""
        return self.filter(house__in=House.objects.visible_to(user))


@keeps(records.HouseRecord, without=RECORD_FIELDS)
class Assessment(models.Model):
    """One assessment of a house; `version` counts its changes, `sha256` is that of its canonical record.

    Name and address are the house's and kept there; see `estimates.assessments`.
    """

    kept: ClassVar[Kept]

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    house = models.ForeignKey(House, on_delete=models.PROTECT, related_name="assessments")
    number = models.PositiveIntegerField()
    version = models.PositiveIntegerField(default=1)
    status = models.CharField(max_length=20, choices=AssessmentStatus, default=AssessmentStatus.OPEN)
    sha256 = models.CharField(max_length=64)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    updated_at = models.DateTimeField()
    updated_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    completed_at = models.DateTimeField(null=True, blank=True)
    completed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = AssessmentQuerySet.as_manager()

    class Meta:
        ordering = ("house", "-number")
        constraints = (
            models.UniqueConstraint(name="assessment_number_once_per_house", fields=["house", "number"]),
            models.UniqueConstraint(
                name="assessment_one_open_per_house", fields=["house"], condition=Q(status=AssessmentStatus.OPEN)
            ),
            models.CheckConstraint(name="assessment_number_from_one", condition=Q(number__gte=1)),
            models.CheckConstraint(name="assessment_version_from_one", condition=Q(version__gte=1)),
            models.CheckConstraint(name="assessment_status_known", condition=Q(status__in=AssessmentStatus.values)),
            models.CheckConstraint(name="assessment_sha256_whole", condition=Exact(Length("sha256"), 64)),
            models.CheckConstraint(
                name="assessment_completed_by_somebody",
                condition=Q(status=AssessmentStatus.OPEN, completed_at__isnull=True, completed_by__isnull=True)
                | Q(status=AssessmentStatus.COMPLETED, completed_at__isnull=False, completed_by__isnull=False),
            ),
        )

    def __str__(self) -> str:
        return f"{self.house} assessment {self.number}"


@keeps(records.ComplaintRecord, parent=Assessment, many="complaints")
class Complaint(RecordRow):
    """What the people in the house say is wrong."""


@keeps(records.WallRecord, parent=Assessment, many="walls")
class Wall(RecordRow):
    """A framed surface, measured."""


@keeps(records.PointRecord, parent=Wall, many="studs_found_in")
class FoundStud(RecordRow):
    """A stud found on site."""


@keeps(records.OpeningRecord, parent=Wall, many="openings")
class Opening(RecordRow):
    """A window, door or other hole in a wall."""


@keeps(records.BlockRecord, parent=Wall, many="blocks")
class Block(RecordRow):
    """A level block across bays."""


@keeps(records.BraceRecord, parent=Wall, many="braces")
class Brace(RecordRow):
    """A diagonal brace."""


@keeps(records.NoFillRecord, parent=Wall, many="no_fill")
class NoFillZone(RecordRow):
    """A part of a wall that is not filled."""


@keeps(records.PointRecord, parent=NoFillZone, many="corners")
class ZoneCorner(RecordRow):
    """A corner of a zone that is not filled."""


@keeps(records.TeeRecord, parent=Wall, many="tees")
class Tee(RecordRow):
    """A partition that meets a wall."""


@keeps(records.FloorLineRecord, parent=Wall, many="floor_lines")
class FloorLine(RecordRow):
    """A floor that meets a balloon-framed wall."""


@keeps(records.QuickWallRecord, parent=Assessment, many="quick_walls")
class QuickWall(RecordRow):
    """Walls by a few figures."""


@keeps(records.AtticRecord, parent=Assessment, many="attics")
class Attic(RecordRow):
    """An attic floor."""


@keeps(records.LeakSiteRecord, parent=Assessment, many="leak_sites")
class LeakSite(RecordRow):
    """A place where air leaks."""


@keeps(records.PressurePointRecord, parent=Assessment, many="blower_door_points")
class PressurePoint(RecordRow):
    """A reading of the blower-door test."""


@keeps(records.CombustionRecord, parent=Assessment, many="combustion")
class CombustionRound(RecordRow):
    """A round of combustion tests."""


@keeps(records.ApplianceRecord, parent=CombustionRound, many="appliances")
class Appliance(RecordRow):
    """What was measured at a combustion appliance."""


@keeps(records.ExhaustRecord, parent=Assessment, many="exhausts")
class Exhaust(RecordRow):
    """Exhaust of a kitchen or bath."""


@keeps(records.BillRecord, parent=Assessment, many="bills")
class Bill(RecordRow):
    """A bill for fuel."""


@keeps(records.PhotoRecord, parent=Assessment, many="photos")
class Photo(RecordRow):
    """A photo of the assessment."""


@keeps(records.GateAnswerRecord, parent=Assessment, many="gate_answers")
class GateAnswer(RecordRow):
    """An answer to a hazard gate."""


@keeps(records.GateReleaseRecord, parent=Assessment, many="gate_releases")
class GateRelease(RecordRow):
    """A stop that somebody has released."""


@keeps(records.EarlierIncentiveRecord, parent=Assessment, many="household_earlier")
class EarlierIncentive(RecordRow):
    """What a programme gave the household before."""


@keeps(records.OptionRecord, parent=Assessment, many="options")
class ScopeOption(RecordRow):
    """A scope that the homeowner can choose."""


need_tables(Assessment)
