"""Jobs: what was signed, its phases, and what their start waits for."""

from __future__ import annotations

import uuid
from decimal import Decimal

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from estimates.models.estimate import EstimateRevision
from estimates.models.house import House
from estimates.models.proposal import Proposal
from estimates.models.user import OFFICE, Role, User
from jobs.models.resource import RigKind


class JobStatus(models.TextChoices):
    """How far a job is; locked means that its contract was cancelled."""

    BOOKED = "booked", "Booked"
    STARTED = "started", "Under way"
    WORK_DONE = "work_done", "Work done"
    VERIFIED = "verified", "Verified"
    CLOSED = "closed", "Closed"
    LOCKED = "locked", "Locked"


_S = JobStatus

JOB_MOVES: dict[JobStatus, frozenset[JobStatus]] = {
    _S.BOOKED: frozenset({_S.STARTED, _S.LOCKED}),
    _S.STARTED: frozenset({_S.WORK_DONE, _S.LOCKED}),
    _S.WORK_DONE: frozenset({_S.STARTED, _S.VERIFIED, _S.LOCKED}),
    _S.VERIFIED: frozenset({_S.STARTED, _S.CLOSED}),
    _S.CLOSED: frozenset({_S.STARTED}),
    _S.LOCKED: frozenset(),
}
"""Status -> statuses that may follow. A call-back opens a closed job again."""


class JobQuerySet(models.QuerySet["Job"]):
    """Reads of jobs."""

    def visible_to(self, user: User | AnonymousUser) -> JobQuerySet:
        """Return the jobs that somebody may know of: the office all, crew those of their crew, others none."""
        if not (isinstance(user, User) and user.is_active):
            return self.none()
        if user.role in OFFICE:
            return self.all()
        if user.role != Role.CREW:
            return self.none()
        mine = Q(
            phases__visits__crew__members__worker__user=user,
            phases__visits__day__gte=F("phases__visits__crew__members__since"),
        ) & (
            Q(phases__visits__crew__members__until__isnull=True)
            | Q(phases__visits__day__lte=F("phases__visits__crew__members__until"))
        )
        return self.filter(pk__in=Job.objects.filter(mine).values("pk"))


class Job(models.Model):
    """One signed proposal as work. `status` is changed by `jobs.booking.job_move` alone.

    `option` is the id of the scope that was signed; what it holds is frozen in `revision`. `days_away` are days on
    which the homeowner cannot have us, as ISO text. `wanted_by` is the day it should be done.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    version = models.PositiveIntegerField(default=1)
    number = models.CharField(max_length=20, unique=True)
    proposal = models.OneToOneField(Proposal, on_delete=models.PROTECT, related_name="job")
    house = models.ForeignKey(House, on_delete=models.PROTECT, related_name="jobs")
    revision = models.ForeignKey(EstimateRevision, on_delete=models.PROTECT, related_name="jobs")
    option = models.CharField(max_length=40)
    status = models.CharField(max_length=20, choices=JobStatus, default=JobStatus.BOOKED)
    zone = models.CharField(max_length=40)
    latitude = models.DecimalField(
        max_digits=8,
        decimal_places=5,
        null=True,
        blank=True,
        validators=[MinValueValidator(-90), MaxValueValidator(90)],
    )
    longitude = models.DecimalField(
        max_digits=8,
        decimal_places=5,
        null=True,
        blank=True,
        validators=[MinValueValidator(-180), MaxValueValidator(180)],
    )
    wanted_by = models.DateField(null=True, blank=True)
    days_away = models.JSONField(default=list, blank=True)
    access_note = models.CharField(max_length=500, blank=True)
    booked_at = models.DateTimeField()
    booked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    started_at = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)
    verified_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    locked_at = models.DateTimeField(null=True, blank=True)
    lock_reason = models.CharField(max_length=500, blank=True)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ("-booked_at", "-id")
        indexes = (models.Index(name="job_by_status", fields=["status", "booked_at"]),)
        constraints = (
            models.CheckConstraint(name="job_status_known", condition=Q(status__in=JobStatus.values)),
            models.CheckConstraint(
                name="job_locked_with_reason",
                condition=(Q(status=_S.LOCKED, locked_at__isnull=False) & ~Q(lock_reason=""))
                | (~Q(status=_S.LOCKED) & Q(locked_at__isnull=True, lock_reason="")),
            ),
            models.CheckConstraint(
                name="job_closed_has_a_time", condition=~Q(status=_S.CLOSED) | Q(closed_at__isnull=False)
            ),
            models.CheckConstraint(
                name="job_place_whole",
                condition=Q(latitude__isnull=True, longitude__isnull=True)
                | Q(latitude__isnull=False, longitude__isnull=False),
            ),
        )

    def __str__(self) -> str:
        return self.number


class PhaseKind(models.TextChoices):
    """A stretch of work, in the trade's order."""

    TEST_IN = "test_in", "Test-in"
    PREPARE = "prepare", "Protect, lift, drill, probe"
    INJECT = "inject", "Inject"
    CLOSE_UP = "close_up", "Close up"
    AIR_SEALING = "air_sealing", "Air sealing"
    ATTIC = "attic", "Attic"
    TEST_OUT = "test_out", "Test-out"
    INFRARED = "infrared", "Infrared"
    RETURN = "return", "Return visit"


class PhaseStatus(models.TextChoices):
    """How far a phase is."""

    PLANNED = "planned", "Planned"
    STARTED = "started", "Under way"
    DONE = "done", "Done"
    DROPPED = "dropped", "Dropped"


class Phase(models.Model):
    """A stretch of work of a job.

    `hours` are those of one person; `least_people` must be there. Working days between the end of the phase before and
    its start lie between `least_lag` and `most_lag` (empty: no limit); 0 is the same day. `skills` are words of `Skill`
    that somebody on the crew must have. A pinned phase is not moved by the solver.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    version = models.PositiveIntegerField(default=1)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="phases")
    kind = models.CharField(max_length=20, choices=PhaseKind)
    position = models.PositiveSmallIntegerField()
    hours = models.DecimalField(max_digits=7, decimal_places=2, validators=[MinValueValidator(Decimal("0.01"))])
    least_people = models.PositiveSmallIntegerField(default=1, validators=[MinValueValidator(1)])
    skills = models.JSONField(default=list, blank=True)
    rig_kind = models.CharField(max_length=20, choices=RigKind, blank=True)
    least_lag = models.PositiveSmallIntegerField(default=0)
    most_lag = models.PositiveSmallIntegerField(null=True, blank=True)
    status = models.CharField(max_length=20, choices=PhaseStatus, default=PhaseStatus.PLANNED)
    pinned = models.BooleanField(default=False)
    note = models.CharField(max_length=300, blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("job", "position")
        constraints = (
            models.UniqueConstraint(name="phase_position_once", fields=["job", "position"]),
            models.CheckConstraint(name="phase_kind_known", condition=Q(kind__in=PhaseKind.values)),
            models.CheckConstraint(name="phase_status_known", condition=Q(status__in=PhaseStatus.values)),
            models.CheckConstraint(
                name="phase_lags_in_order", condition=Q(most_lag__isnull=True) | Q(most_lag__gte=F("least_lag"))
            ),
            models.CheckConstraint(name="phase_hours_above_nothing", condition=Q(hours__gt=Decimal(0))),
        )

    def __str__(self) -> str:
        return f"{self.job} {self.get_kind_display()}"


class GateKind(models.TextChoices):
    """What a start may wait for."""

    CANCELLATION = "cancellation", "End of the time to cancel"
    RESCISSION = "rescission", "End of the time to rescind the credit"
    PAMPHLET = "pamphlet", "Lead pamphlet handed over"
    LEAD_FIRM = "lead_firm", "Lead-safe firm certificate"
    LEAD_RENOVATOR = "lead_renovator", "Lead-safe renovator"
    PROGRAMME = "programme", "Approval of a programme"
    PERMIT = "permit", "Permit"
    SERVICE_DROP = "service_drop", "Service-drop clearance"
    ELECTRICIAN = "electrician", "Electrician's release"
    LOCATE = "locate", "Utility locate"
    HAZARD = "hazard", "Hazard still to be verified"
    DEPOSIT = "deposit", "Deposit received"
    OTHER = "other", "Something else"


class JobGate(models.Model):
    """Something that the start of a job, or of named walls, waits for: rule S1.

    `met_on` is the day it was met, empty until then; it opens the day after unless `same_day`. `expires_on` is the last
    day on which a start may use it. Every change goes through `jobs.start_gates`.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    version = models.PositiveIntegerField(default=1)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="gates")
    kind = models.CharField(max_length=20, choices=GateKind)
    name = models.CharField(max_length=120)
    walls = models.JSONField(default=list, blank=True)
    """Ids of the walls that wait for it; empty: the whole job."""
    rule = models.CharField(max_length=600, blank=True)
    owes = models.CharField(max_length=80, blank=True)
    same_day = models.BooleanField(default=False)
    met_on = models.DateField(null=True, blank=True)
    expires_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=500, blank=True)
    met_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ("job", "id")
        constraints = (
            models.CheckConstraint(name="job_gate_kind_known", condition=Q(kind__in=GateKind.values)),
            models.UniqueConstraint(name="job_gate_name_once", fields=["job", "kind", "name"]),
        )

    def __str__(self) -> str:
        return f"{self.job}: {self.name}"
