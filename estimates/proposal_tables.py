"""The list of proposals: which rows, which columns, and how they are paged."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import django_tables2 as tables
from django.core.paginator import InvalidPage
from django.db.models import Q, QuerySet
from django_tables2.paginators import LazyPaginator
from django_tables2.utils import A

from estimates import access
from estimates.models import Proposal
from estimates.tables import LAST_PAGE, ROWS_PER_PAGE
from estimates.templatetags.figures import day


class ProposalTable(tables.Table):  # type: ignore[misc]
    """Proposals, the newest first."""

    house = tables.Column(
        "House",
        accessor="house__name",
        order_by=("house__name", "id"),
        linkify=("estimates-show-proposal", {"code": A("code")}),
    )
    number = tables.Column("Proposal", order_by=("number", "id"))
    homeowner = tables.Column("Homeowner", accessor="house__customer_name", order_by=("house__customer_name", "id"))
    status = tables.Column("Stands at", order_by=("status", "-created_at", "id"))
    issued_at = tables.Column("Issued", order_by=("issued_at", "id"), default="not yet")
    valid_until = tables.Column("Price holds until", order_by=("valid_until", "id"), default="")

    class Meta:
        template_name = "partials/table.html"

    def render_status(self, record: Proposal) -> str:
        """As people call it."""
        return record.get_status_display()

    def render_issued_at(self, value: datetime) -> str:
        """The day."""
        return day(value)

    def render_valid_until(self, value: date) -> str:
        """The day."""
        return day(value)

    @property
    def reach(self) -> str:
        """Which rows these are."""
        shown, more = len(self.page.object_list), self.page.has_next()
        first = (self.page.number - 1) * ROWS_PER_PAGE + 1
        if more or self.page.number > 1:
            return f"{first}–{first + shown - 1}" + (", more on the next page" if more else ", the last ones")
        return "1 proposal" if shown == 1 else f"{shown} proposals"


def proposal_rows(user: access.Person, words: str, status: str) -> QuerySet[Proposal]:
    """Proposals that somebody may know of, each word of `words` standing in number, house, street, town or name."""
    rows = Proposal.objects.visible_to(user).select_related("house")
    if status:
        rows = rows.filter(status=status)
    for word in words.split():
        rows = rows.filter(
            Q(number__icontains=word)
            | Q(house__name__icontains=word)
            | Q(house__street__icontains=word)
            | Q(house__town__icontains=word)
            | Q(house__customer_name__icontains=word)
        )
    return rows


def proposal_table(user: access.Person, *, words: str, status: str, sort: list[str], page: str) -> ProposalTable:
    """Return one page of the proposals; what means nothing in the address is passed over."""
    table: Any = ProposalTable(proposal_rows(user, words, status), order_by=sort or None)
    wanted = int(page) if page.isascii() and page.isdigit() and len(page) < 9 and int(page) <= LAST_PAGE else 1
    try:
        table.paginate(page=wanted, per_page=ROWS_PER_PAGE, paginator_class=LazyPaginator)
    except InvalidPage:
        table.paginate(page=1, per_page=ROWS_PER_PAGE, paginator_class=LazyPaginator)
    found: ProposalTable = table
    return found
