"""The list of jobs: which rows, which columns, and how they are paged. It shows no prices, so anybody may read all."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import django_tables2 as tables
from django.core.paginator import InvalidPage
from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet, Subquery
from django_tables2.paginators import LazyPaginator
from django_tables2.utils import A

from estimates import access
from estimates.tables import LAST_PAGE, ROWS_PER_PAGE
from estimates.templatetags.figures import day
from jobs.models import GateKind, Job, JobGate, JobStatus, JobWall, Visit
from jobs.start_gates import certificate_gates

NOTHING = "nothing"
"""Word in the address for jobs that wait for no gate."""

CERTIFICATES = frozenset({GateKind.LEAD_FIRM, GateKind.LEAD_RENOVATOR})
"""Gates that are no rows of a job: certificates of the firm and of people meet them."""

ENDED = frozenset({JobStatus.CLOSED, JobStatus.LOCKED})
"""Jobs that wait for nothing any more."""


class JobTable(tables.Table):  # type: ignore[misc]
    """Jobs, the latest booked first."""

    house = tables.Column(
        "House",
        accessor="house__name",
        order_by=("house__name", "id"),
        linkify=("jobs-show-job", {"code": A("code")}),
    )
    number = tables.Column("Job", order_by=("number", "id"))
    town = tables.Column("Town", accessor="house__town", order_by=("house__town", "id"))
    seller = tables.Column(
        "Seller",
        accessor="proposal__created_by__full_name",
        order_by=("proposal__created_by__full_name", "id"),
    )
    status = tables.Column("Stands at", order_by=("status", "-booked_at", "id"))
    waiting = tables.Column("Waits for", empty_values=(), orderable=False)
    next_day = tables.Column("Next day", order_by=("next_day", "id"), default="not planned")
    wanted_by = tables.Column("Wanted by", order_by=("wanted_by", "id"), default="")

    certificates: Sequence[str] = ()
    """Certificates that lead-safe work waits for today."""

    class Meta:
        template_name = "partials/table.html"

    def render_status(self, record: Job) -> str:
        """As people call it."""
        return record.get_status_display()

    def render_waiting(self, record: Any) -> str:
        """What is not met yet, by name."""
        if record.status in ENDED:
            return ""
        names = [gate.name for gate in record.unmet]
        names += self.certificates if record.careful and record.started_at is None else []
        return ", ".join(names) or "nothing"

    def render_next_day(self, value: date) -> str:
        """The day."""
        return day(value)

    def render_wanted_by(self, value: date) -> str:
        """The day."""
        return day(value)

    @property
    def reach(self) -> str:
        """Which rows these are."""
        shown, more = len(self.page.object_list), self.page.has_next()
        first = (self.page.number - 1) * ROWS_PER_PAGE + 1
        if more or self.page.number > 1:
            return f"{first}–{first + shown - 1}" + (", more on the next page" if more else ", the last ones")
        return "1 job" if shown == 1 else f"{shown} jobs"


def job_rows(
    user: access.Person, *, today: date, words: str = "", status: str = "", seller: str = "", waiting: str = ""
) -> QuerySet[Job]:
    """Jobs that somebody may know of, with their unmet gates (`unmet`) and the first day from today (`next_day`).

    Parameters
    ----------
    user : who looks.
    today : from which day on a visit counts as the next one.
    words : each stands in number, house, street, town or homeowner.
    status, waiting : a status; the kind of gate that a job waits for, or `NOTHING`. "" for all.
    seller : number of the person who made the proposal. "" for all.
    """
    unmet = JobGate.objects.filter(met_on__isnull=True)
    rows: QuerySet[Job] = Job.objects.visible_to(user).select_related("house", "proposal__created_by")
    coming = Visit.objects.filter(phase__job=OuterRef("pk"), day__gte=today).order_by("day")
    careful = Exists(JobWall.objects.filter(job=OuterRef("pk"), lead_safe=True))
    rows = rows.annotate(next_day=Subquery(coming.values("day")[:1]), careful=careful)
    rows = rows.prefetch_related(Prefetch("gates", queryset=unmet, to_attr="unmet"))
    if status:
        rows = rows.filter(status=status)
    if seller:
        rows = rows.filter(proposal__created_by=int(seller))
    if waiting == NOTHING:
        rows = rows.exclude(status__in=ENDED).exclude(pk__in=unmet.values("job"))
        if missing_certificates():
            rows = rows.exclude(careful=True, started_at__isnull=True)
    elif waiting in CERTIFICATES:
        lacking = GateKind(waiting).label in missing_certificates()
        rows = rows.filter(careful=True, started_at__isnull=True).exclude(status__in=ENDED) if lacking else rows.none()
    elif waiting:
        rows = rows.exclude(status__in=ENDED).filter(pk__in=unmet.filter(kind=waiting).values("job"))
    for word in words.split():
        rows = rows.filter(
            Q(number__icontains=word)
            | Q(house__name__icontains=word)
            | Q(house__street__icontains=word)
            | Q(house__town__icontains=word)
            | Q(house__customer_name__icontains=word)
        )
    return rows


def missing_certificates() -> list[str]:
    """Names of the certificates that lead-safe work needs and that nobody holds."""
    return [gate.name for gate in certificate_gates() if gate.opens_on is None]


def job_table(rows: QuerySet[Job], *, sort: list[str], page: str) -> JobTable:
    """Return one page of jobs; what means nothing in the address is passed over."""
    table: Any = JobTable(rows, order_by=sort or None)
    table.certificates = missing_certificates()
    wanted = int(page) if page.isascii() and page.isdigit() and len(page) < 9 and int(page) <= LAST_PAGE else 1
    try:
        table.paginate(page=wanted, per_page=ROWS_PER_PAGE, paginator_class=LazyPaginator)
    except InvalidPage:
        table.paginate(page=1, per_page=ROWS_PER_PAGE, paginator_class=LazyPaginator)
    found: JobTable = table
    return found


WAITING = [(NOTHING, "Nothing: may start"), *GateKind.choices]
"""What the list can be narrowed to."""
