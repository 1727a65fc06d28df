"""What waits for a seller today: visits, next steps that are due, and proposals without an answer."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import Q, QuerySet
from django.utils import timezone

from estimates import access
from estimates.models import Lead, LeadStage, Proposal, ProposalStatus, Role, User
from estimates.models.lead import OPEN

MOST = 12
"""Rows of one kind on the desk; the list has the others."""


@dataclass(frozen=True, slots=True)
class Desk:
    """What waits, at most `MOST` of a kind and one more where there are more.

    `unplanned`: open leads for which nothing is planned; `everybody`: not those of one seller alone.
    """

    visits: list[Lead]
    due: list[Lead]
    waiting: list[Proposal]
    unplanned: int
    everybody: bool

    @property
    def is_empty(self) -> bool:
        """Whether nothing waits."""
        return not (self.visits or self.due or self.waiting or self.unplanned)


def own_leads(user: User) -> QuerySet[Lead]:
    """Return the leads that somebody looks after: a salesperson those of their own, the owner all of them."""
    rows = Lead.objects.visible_to(user)
    return rows if user.role == Role.OWNER else rows.filter(seller=user)


def desk_of(user: User, *, now: datetime) -> Desk:
    """Return the desk of a seller.

    Parameters
    ----------
    user : who looks, with the right to change leads.
    now : the time of the look; the day is that of the firm's time zone.
    """
    today = timezone.localtime(now).date()
    start = _midnight(today)
    leads = own_leads(user).select_related("seller")
    open_leads = leads.filter(stage__in=OPEN)
    # One of an earlier day that nobody has moved on is still on the desk: what came of it?
    visits = open_leads.filter(
        Q(visit_at__gte=start) | Q(stage=LeadStage.VISIT_SET), visit_at__lt=_midnight(today + timedelta(days=1))
    )
    planned = (
        Q(next_step_on__isnull=False) | Q(stage=LeadStage.PROPOSED) | Q(stage=LeadStage.VISIT_SET, visit_at__gte=now)
    )
    due = open_leads.filter(next_step_on__lte=today).order_by("next_step_on", "id")
    return Desk(
        visits=list(visits.order_by("visit_at", "id")[: MOST + 1]),
        due=list(due[: MOST + 1]),
        waiting=list(_waiting(user)[: MOST + 1]) if access.allowed(user, "price.read") else [],
        unplanned=open_leads.exclude(planned).count(),
        everybody=user.role == Role.OWNER,
    )


def _waiting(user: User) -> QuerySet[Proposal]:
    rows = Proposal.objects.visible_to(user).filter(status=ProposalStatus.ISSUED)
    if user.role != Role.OWNER:
        rows = rows.filter(house__in=own_leads(user).filter(house__isnull=False).values("house"))
    # The frozen snapshot is long; the desk needs the price beside it.
    return rows.select_related("house", "revision").defer("revision__snapshot").order_by("issued_at", "id")


def _midnight(on: date) -> datetime:
    return datetime.combine(on, time(), timezone.get_current_timezone())
