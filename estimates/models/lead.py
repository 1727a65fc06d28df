"""Leads: who called, what is wrong, where they heard of us, and how far it has come."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q

from estimates.house import ComplaintRecord
from estimates.likeness import phone_key, place_key
from estimates.models.frozen import FrozenModel, FrozenQuerySet
from estimates.models.house import House
from estimates.models.money_field import MoneyField
from estimates.models.record_rows import RecordRow, keeps
from estimates.models.user import OFFICE, Role, User
from estimates.zones import STATE_ZONES, ZONES, zone_of


class LeadStage(models.TextChoices):
    """How far a lead has come; cancelled means within the time in which a contract may be cancelled."""

    NEW = "new", "New"
    VISIT_SET = "visit_set", "Visit set"
    ASSESSED = "assessed", "Assessed"
    PROPOSED = "proposed", "Proposed"
    WON = "won", "Won"
    LOST = "lost", "Lost"
    CANCELLED = "cancelled", "Cancelled"


LEAD_MOVES: dict[LeadStage, frozenset[LeadStage]] = {
    LeadStage.NEW: frozenset({LeadStage.VISIT_SET, LeadStage.ASSESSED, LeadStage.LOST}),
    LeadStage.VISIT_SET: frozenset({LeadStage.ASSESSED, LeadStage.LOST}),
    LeadStage.ASSESSED: frozenset({LeadStage.PROPOSED, LeadStage.LOST}),
    LeadStage.PROPOSED: frozenset({LeadStage.WON, LeadStage.LOST}),
    LeadStage.WON: frozenset({LeadStage.CANCELLED}),
    LeadStage.LOST: frozenset(),
    LeadStage.CANCELLED: frozenset(),
}
"""Stage -> stages that may follow. A house may be assessed on the telephone by a few figures, without a visit. Somebody
who comes back after all is a new lead of the same house, so that rates by source count each attempt once."""

OPEN = (LeadStage.NEW, LeadStage.VISIT_SET, LeadStage.ASSESSED, LeadStage.PROPOSED)
"""Stages of which something may still come."""

WITH_HOUSE = (LeadStage.ASSESSED, LeadStage.PROPOSED, LeadStage.WON, LeadStage.CANCELLED)
"""Stages at which there is a house."""

SELLERS = frozenset({Role.OWNER, Role.SALESPERSON})
"""Roles that look after leads."""


class LostReason(models.TextChoices):
    """Why a lead was lost."""

    PRICE = "price", "The price"
    LATER = "later", "Wants to wait"
    OTHER_FIRM = "other_firm", "Chose another firm"
    NO_ANSWER = "no_answer", "Could not be reached any more"
    NO_MONEY = "no_money", "Could not pay for it"
    NOT_SUITABLE = "not_suitable", "The house is not suitable"
    OTHER = "other", "Something else"


class LeadSourceQuerySet(models.QuerySet["LeadSource"]):
    """Reads of lead sources."""

    def visible_to(self, user: User | AnonymousUser) -> LeadSourceQuerySet:
        """Return the sources for the office, none for others."""
        return self.all() if _in_office(user) else self.none()


class LeadSource(models.Model):
    """Where leads come from, and what one of them costs from now on."""

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(max_length=80, unique=True, error_messages={"blank": "Enter the name of the source."})
    cost_per_lead = MoneyField(db_column="cost_per_lead_cents")

    objects = LeadSourceQuerySet.as_manager()

    class Meta:
        ordering = ("name",)
        constraints = (
            models.CheckConstraint(
                name="lead_source_cost_not_negative",
                condition=Q(cost_per_lead__gte=Decimal(0)),
                violation_error_message="Enter a cost per lead of 0 or more.",
            ),
        )

    def __str__(self) -> str:
        return self.name


class LeadQuerySet(models.QuerySet["Lead"]):
    """Reads of leads."""

    def visible_to(self, user: User | AnonymousUser) -> LeadQuerySet:
        """Return the leads of the firm for the office, none for others."""
        return self.all() if _in_office(user) else self.none()


class Lead(models.Model):
    """Somebody who asked us; `stage` is changed by `estimates.leads.lead_move` alone.

    `cost` is what the lead cost when it came in, so that a later price of its source changes no result. `zone` is a
    time zone that somebody chose, "" for that of the state. The two keys are how telephone number and address are
    compared with those of other leads; saving makes them.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    version = models.PositiveIntegerField(default=1)
    person = models.CharField(max_length=80, error_messages={"blank": "Enter the name of the person."})
    phone = models.CharField(
        max_length=40,
        blank=True,
        validators=[
            RegexValidator(
                r"^[+(]?[0-9][0-9 ().x-]{5,38}\Z", "Enter a telephone number: digits, spaces, dots, dashes, brackets."
            )
        ],
    )
    email = models.EmailField("e-mail address", blank=True)
    street = models.CharField(max_length=120, blank=True)
    town = models.CharField(max_length=80, blank=True)
    state = models.CharField(
        max_length=2,
        validators=[RegexValidator(r"^[A-Z]{2}\Z", "Enter the two capital letters of the state.")],
        error_messages={"blank": "Enter the two capital letters of the state."},
    )
    county = models.CharField(max_length=60, blank=True)
    postal_code = models.CharField(
        max_length=10,
        blank=True,
        validators=[RegexValidator(r"^\d{5}(-\d{4})?\Z", "Enter five digits, or five, a hyphen and four.")],
    )
    zone = models.CharField(max_length=40, blank=True, choices=ZONES)
    phone_key = models.CharField(max_length=40, blank=True, editable=False)
    place_key = models.CharField(max_length=300, blank=True, editable=False)
    source = models.ForeignKey(
        LeadSource,
        on_delete=models.PROTECT,
        related_name="leads",
        error_messages={"null": "Enter where the lead came from."},
    )
    cost = MoneyField(db_column="cost_cents")
    consent_given_at = models.DateTimeField(null=True, blank=True)
    consent_withdrawn_at = models.DateTimeField(null=True, blank=True)
    next_step = models.CharField(max_length=200, blank=True)
    next_step_on = models.DateField(null=True, blank=True)
    seller = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        related_name="leads",
        error_messages={"null": "Enter who looks after the lead."},
    )
    visit_at = models.DateTimeField(null=True, blank=True)
    stage = models.CharField(max_length=20, choices=LeadStage, default=LeadStage.NEW)
    lost_reason = models.CharField(max_length=20, choices=LostReason, blank=True)
    house = models.ForeignKey(House, on_delete=models.PROTECT, null=True, blank=True, related_name="leads")
    is_demo = models.BooleanField(default=False)
    taken_at = models.DateTimeField()

    objects = LeadQuerySet.as_manager()

    class Meta:
        ordering = ("-taken_at", "-id")
        indexes = (
            models.Index(name="lead_by_stage", fields=["stage", "taken_at"]),
            models.Index(name="lead_by_next_step", fields=["seller", "next_step_on"]),
            models.Index(name="lead_by_phone", fields=["phone_key"]),
            models.Index(name="lead_by_place", fields=["place_key"]),
            models.Index(name="lead_by_visit", fields=["visit_at"]),
        )
        constraints = (
            models.CheckConstraint(name="lead_stage_known", condition=Q(stage__in=LeadStage.values)),
            models.CheckConstraint(
                name="lead_lost_for_a_reason",
                condition=Q(stage=LeadStage.LOST, lost_reason__in=LostReason.values)
                | (~Q(stage=LeadStage.LOST) & Q(lost_reason="")),
            ),
            models.CheckConstraint(
                name="lead_can_be_reached",
                condition=~Q(phone="") | ~Q(email=""),
            ),
            models.CheckConstraint(
                name="lead_next_step_has_a_day",
                condition=Q(next_step="", next_step_on__isnull=True)
                | (~Q(next_step="") & Q(next_step_on__isnull=False)),
            ),
            models.CheckConstraint(
                name="lead_consent_in_order",
                condition=Q(consent_withdrawn_at__isnull=True)
                | Q(consent_given_at__isnull=False, consent_withdrawn_at__gte=F("consent_given_at")),
            ),
            models.CheckConstraint(
                name="lead_has_its_house",
                condition=~Q(stage__in=WITH_HOUSE) | Q(house__isnull=False),
            ),
            models.CheckConstraint(name="lead_cost_not_negative", condition=Q(cost__gte=Decimal(0))),
            models.CheckConstraint(name="lead_version_from_one", condition=Q(version__gte=1)),
        )

    def __str__(self) -> str:
        return self.person

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Save the lead with the keys by which it is compared."""
        self.phone_key = phone_key(self.phone)
        self.place_key = place_key(self.street, self.town, self.state)
        super().save(*args, **kwargs)

    def clean(self) -> None:
        """Refuse what does not fit together; the constraints below keep the same in the database.

        Raises
        ------
        ValidationError : naming the fields and what to enter.
        """
        super().clean()
        faults = {}
        if not (self.phone or self.email):
            faults["phone"] = "Enter a telephone number or an e-mail address."
        if len(self.state) == 2 and self.state.isupper() and self.state not in STATE_ZONES:
            faults["state"] = f"There is no state {self.state}. Enter the two capital letters of the state."
        if self.visit_at is not None and self.stage == LeadStage.NEW:
            faults["visit_at"] = "Leave it out; no visit is set yet."
        if self.next_step and self.next_step_on is None:
            faults["next_step_on"] = "Enter the day of the next step."
        if self.next_step_on is not None and not self.next_step:
            faults["next_step"] = "Enter the next step, or take its day out."
        if self.stage in WITH_HOUSE and self.house_id is None:
            faults["house"] = f"Enter the house; a lead that is {self.stage} has one."
        if self.stage == LeadStage.LOST and not self.lost_reason:
            faults["lost_reason"] = f"Enter why it was lost: one of {', '.join(LostReason)}."
        if self.stage != LeadStage.LOST and self.lost_reason:
            faults["lost_reason"] = "Leave it out; the lead is not lost."
        if hasattr(self, "seller") and (self.seller.role not in SELLERS or not self.seller.is_active):
            faults["seller"] = "Enter an owner or a salesperson who is with the firm."
        if faults:
            raise ValidationError(faults)

    @property
    def may_be_called(self) -> bool:
        """Whether the person has agreed to be called, and not withdrawn it."""
        return self.consent_given_at is not None and self.consent_withdrawn_at is None

    @property
    def clock(self) -> ZoneInfo:
        """The time zone of the house."""
        return zone_of(self.state, self.zone)

    @property
    def is_open(self) -> bool:
        """Whether something may still come of it."""
        return self.stage in OPEN


@keeps(ComplaintRecord, parent=Lead, many="complaints")
class LeadComplaint(RecordRow):
    """What the person says is wrong, room by room."""


class LeadMoveQuerySet(FrozenQuerySet["LeadMove"]):
    """Reads of the moves of leads."""

    def visible_to(self, user: User | AnonymousUser) -> LeadMoveQuerySet:
        """Return the moves of the leads that somebody may know of."""
        return self.filter(lead__in=Lead.objects.visible_to(user))


class LeadMove(FrozenModel):
    """A stage that a lead reached: when, and by whom."""

    lead = models.ForeignKey(Lead, on_delete=models.PROTECT, related_name="moves")
    stage = models.CharField(max_length=20, choices=LeadStage)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=500, blank=True)

    objects = LeadMoveQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "move of a lead"
        ordering = ("lead", "at", "id")
        constraints = (
            models.UniqueConstraint(name="lead_move_once_per_stage", fields=["lead", "stage"]),
            models.CheckConstraint(name="lead_move_stage_known", condition=Q(stage__in=LeadStage.values)),
        )

    def __str__(self) -> str:
        return f"{self.lead} {self.stage}"


def _in_office(user: User | AnonymousUser) -> bool:
    return isinstance(user, User) and user.is_active and user.role in OFFICE
