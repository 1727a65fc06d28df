"""Tables of the estimates app: which rows, which columns, in which order, and how they are paged."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import django_tables2 as tables
from django.core.paginator import InvalidPage
from django.db.models import OuterRef, Q, QuerySet, Subquery
from django_tables2.paginators import LazyPaginator
from django_tables2.utils import A

from estimates import access
from estimates.models import EstimateRevision, House
from estimates.templatetags.figures import day, whole_money

ROWS_PER_PAGE = 25
LONGEST_SEARCH = 100
LAST_PAGE = 100_000
"""No firm has that many pages; a greater number in the address is a slip and gets the first page."""


class HouseTable(tables.Table):  # type: ignore[misc]
    """Houses with their latest estimate; the price column is there for those who may read a price."""

    name = tables.Column("House", order_by=("name", "id"), linkify=("estimates-show-house", {"code": A("code")}))
    street = tables.Column("Street", order_by=("street", "id"))
    town = tables.Column("Town", order_by=("town", "name", "id"))
    customer_name = tables.Column("Homeowner", order_by=("customer_name", "id"))
    estimated_at = tables.Column("Estimated", order_by=("estimated_at", "id"), default="not yet")
    price = tables.Column(
        "Price", order_by=("price", "id"), default="", attrs={"th": {"class": "number"}, "td": {"class": "number"}}
    )

    class Meta:
        template_name = "partials/table.html"
        order_by = ("name",)

    def render_estimated_at(self, value: Any) -> str:
        return day(value)

    def render_price(self, value: Decimal) -> str:
        return whole_money(value)

    @property
    def reach(self) -> str:
        """Which rows these are: the number of all of them is not counted, because that takes longer than the page."""
        shown, more = len(self.page.object_list), self.page.has_next()
        first = (self.page.number - 1) * ROWS_PER_PAGE + 1
        if more or self.page.number > 1:
            return f"{first}–{first + shown - 1}" + (", more on the next page" if more else ", the last ones")
        return "1 house" if shown == 1 else f"{shown} houses"


def house_rows(user: access.Person, words: str) -> QuerySet[House]:
    """Houses that somebody may know of, each word of `words` standing in its name, street, town or homeowner."""
    latest = EstimateRevision.objects.filter(house=OuterRef("pk")).order_by("-number")
    rows = House.objects.visible_to(user).annotate(estimated_at=Subquery(latest.values("created_at")[:1]))
    if access.allowed(user, "price.read"):
        rows = rows.annotate(price=Subquery(latest.values("price")[:1]))
    for word in words.split():
        rows = rows.filter(
            Q(name__icontains=word)
            | Q(street__icontains=word)
            | Q(town__icontains=word)
            | Q(customer_name__icontains=word)
        )
    return rows


def house_table(user: access.Person, *, words: str, sort: list[str], page: str) -> HouseTable:
    """Return one page of the houses.

    Parameters
    ----------
    user : who looks.
    words : what to look for; "" for all houses.
    sort : column names, with a hyphen for downward; unknown ones are passed over.
    page : number of the page as written in the address; anything else than a page that exists gives the first one.
    """
    hidden = () if access.allowed(user, "price.read") else ("price",)
    known = [name for name in sort if name.lstrip("-") not in hidden]
    table = HouseTable(house_rows(user, words), exclude=hidden, order_by=known or None)
    wanted = int(page) if page.isascii() and page.isdigit() and len(page) < 9 and int(page) <= LAST_PAGE else 1
    try:
        table.paginate(page=wanted, per_page=ROWS_PER_PAGE, paginator_class=LazyPaginator)
    except InvalidPage:
        table.paginate(page=1, per_page=ROWS_PER_PAGE, paginator_class=LazyPaginator)
    return table
