"""Proposals: what was offered to a homeowner, and what came of it."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Length
from django.db.models.lookups import Exact

from estimates.models.estimate import EstimateRevision
from estimates.models.house import House
from estimates.models.user import User


class ProposalStatus(models.TextChoices):
    """Where a proposal stands; cancelled means after acceptance, within the legal time."""

    DRAFT = "draft", "Draft"
    ISSUED = "issued", "Issued"
    ACCEPTED = "accepted", "Accepted"
    DECLINED = "declined", "Declined"
    CANCELLED = "cancelled", "Cancelled"
    WITHDRAWN = "withdrawn", "Withdrawn"
    EXPIRED = "expired", "Expired"


_S = ProposalStatus

PROPOSAL_MOVES: dict[ProposalStatus, frozenset[ProposalStatus]] = {
    _S.DRAFT: frozenset({_S.ISSUED, _S.WITHDRAWN}),
    _S.ISSUED: frozenset({_S.ACCEPTED, _S.DECLINED, _S.WITHDRAWN, _S.EXPIRED}),
    _S.ACCEPTED: frozenset({_S.CANCELLED}),
    _S.DECLINED: frozenset(),
    _S.CANCELLED: frozenset(),
    _S.WITHDRAWN: frozenset(),
    _S.EXPIRED: frozenset(),
}
"""Status -> statuses that may follow."""

_WENT_OUT = (
    Q(issued_at__isnull=False, issued_by__isnull=False, valid_until__isnull=False)
    & Q(Exact(Length("document_sha256"), 64))
    & ~Q(document_name="")
)
_NEVER_WENT_OUT = Q(
    issued_at__isnull=True, issued_by__isnull=True, valid_until__isnull=True, document_sha256="", document_name=""
)
_WAS_ACCEPTED = Q(accepted_at__isnull=False, accepted_sha256=F("document_sha256")) & ~Q(
    Q(accepted_option="") | Q(accepted_name="")
)
_NEVER_ACCEPTED = Q(accepted_at__isnull=True, accepted_option="", accepted_name="", accepted_sha256="")


class ProposalQuerySet(models.QuerySet["Proposal"]):
    """Reads of proposals."""

    def visible_to(self, user: User | AnonymousUser) -> ProposalQuerySet:
        """Return the proposals of the houses that somebody may know of."""
        return self.filter(house__in=House.objects.visible_to(user))


class Proposal(models.Model):
    """An offer made from one revision; every change goes through `estimates.proposals`.

    `document_sha256` is of the file as it went out, `accepted_sha256` of the one that was read at acceptance. A floor
    release holds for every option of this proposal down to `floor_least_margin` (share of the price).
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    number = models.CharField(max_length=20, unique=True)
    house = models.ForeignKey(House, on_delete=models.PROTECT, related_name="proposals")
    revision = models.ForeignKey(EstimateRevision, on_delete=models.PROTECT, related_name="proposals")
    revision_number = models.PositiveIntegerField()
    status = models.CharField(max_length=20, choices=ProposalStatus, default=ProposalStatus.DRAFT)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    issued_at = models.DateTimeField(null=True, blank=True)
    issued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    valid_until = models.DateField(null=True, blank=True)
    document_sha256 = models.CharField(max_length=64, blank=True)
    document_name = models.CharField(max_length=120, blank=True)
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_option = models.CharField(max_length=40, blank=True)
    accepted_name = models.CharField(max_length=120, blank=True)
    accepted_sha256 = models.CharField(max_length=64, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    decline_reason = models.CharField(max_length=500, blank=True)
    """In the homeowner's words, where they give any."""
    end_reason = models.CharField(max_length=500, blank=True)
    """Why it was withdrawn or cancelled."""
    floor_released_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    floor_reason = models.CharField(max_length=500, blank=True)
    floor_least_margin = models.DecimalField(max_digits=5, decimal_places=4, null=True, blank=True)

    objects = ProposalQuerySet.as_manager()

    class Meta:
        ordering = ("-created_at", "-id")
        constraints = (
            models.CheckConstraint(name="proposal_status_known", condition=Q(status__in=ProposalStatus.values)),
            models.UniqueConstraint(
                name="proposal_one_accepted_per_house", fields=["house"], condition=Q(status=_S.ACCEPTED)
            ),
            models.UniqueConstraint(
                name="proposal_one_open_per_revision",
                fields=["revision"],
                condition=Q(status__in=[_S.DRAFT, _S.ISSUED]),
            ),
            models.CheckConstraint(
                name="proposal_document_whole",
                condition=Q(status=_S.DRAFT) & _NEVER_WENT_OUT
                | Q(status=_S.WITHDRAWN) & (_NEVER_WENT_OUT | _WENT_OUT)
                | ~Q(status__in=[_S.DRAFT, _S.WITHDRAWN]) & _WENT_OUT,
            ),
            models.CheckConstraint(
                name="proposal_acceptance_whole",
                condition=Q(status__in=[_S.ACCEPTED, _S.CANCELLED]) & _WAS_ACCEPTED
                | ~Q(status__in=[_S.ACCEPTED, _S.CANCELLED]) & _NEVER_ACCEPTED,
            ),
            models.CheckConstraint(
                name="proposal_end_has_a_time",
                condition=Q(status__in=[_S.DRAFT, _S.ISSUED, _S.ACCEPTED], ended_at__isnull=True)
                | Q(status__in=[_S.DECLINED, _S.CANCELLED, _S.WITHDRAWN, _S.EXPIRED], ended_at__isnull=False),
            ),
            models.CheckConstraint(
                name="proposal_floor_release_whole",
                condition=Q(floor_released_by__isnull=True, floor_reason="", floor_least_margin__isnull=True)
                | (Q(floor_released_by__isnull=False, floor_least_margin__isnull=False) & ~Q(floor_reason="")),
            ),
        )

    def __str__(self) -> str:
        return self.number
