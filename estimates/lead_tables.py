"""The list of leads: which rows a filter in the address asks for, which columns, and how they are paged."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import django_tables2 as tables
from django.core.paginator import InvalidPage
from django.db.models import F, Q, QuerySet
from django.utils.html import format_html
from django_tables2.utils import A

from estimates import access
from estimates.likeness import phone_key
from estimates.models import Lead, LeadSource, LeadStage, User
from estimates.models.lead import OPEN, SELLERS
from estimates.tables import LAST_PAGE, LONGEST_SEARCH, ROWS_PER_PAGE
from estimates.templatetags.figures import day

ALL_OPEN = "open"
"""Value of the stage filter for every stage of which something may still come."""

STAGES: dict[str, str] = {ALL_OPEN: "Every open stage", **dict(LeadStage.choices)}

FEWEST_DIGITS = 4
"""Digits of a search word from which on it is looked for in telephone numbers, whatever marks stand between."""


@dataclass(frozen=True, slots=True)
class LeadFilter:
    """What the address asks for; a value that means nothing is left out."""

    words: str = ""
    stage: str = ""
    seller: User | None = None
    source: LeadSource | None = None
    overdue: bool = False

    @property
    def chips(self) -> list[tuple[str, str]]:
        """Name in the address and words of each filter that is set."""
        chips = [("find", f"“{self.words}”")] if self.words else []
        chips += [("stage", STAGES[self.stage])] if self.stage else []
        chips += [("seller", f"Seller: {self.seller.full_name}")] if self.seller else []
        chips += [("source", f"Source: {self.source.name}")] if self.source else []
        chips += [("overdue", "Next step overdue")] if self.overdue else []
        return chips


def read_filter(asked: Mapping[str, str], sellers: list[User], sources: list[LeadSource]) -> LeadFilter:
    """Read the filter of an address.

    Parameters
    ----------
    asked : the query of the address.
    sellers, sources : those that can be chosen.
    """
    stage = asked.get("stage", "")
    return LeadFilter(
        words=asked.get("find", "").replace("\0", "").strip()[:LONGEST_SEARCH],
        stage=stage if stage in STAGES else "",
        seller=_chosen(sellers, asked.get("seller", "")),
        source=_chosen(sources, asked.get("source", "")),
        overdue=asked.get("overdue") == "1",
    )


def choices(user: access.Person) -> tuple[list[User], list[LeadSource]]:
    """Return the sellers, those who have left too, and the sources that a list can be filtered by."""
    sellers = list(User.objects.filter(role__in=SELLERS)) if access.allowed(user, "lead.read") else []
    return sellers, list(LeadSource.objects.visible_to(user))


def lead_rows(user: access.Person, wanted: LeadFilter, *, today: date) -> QuerySet[Lead]:
    """Return the leads that somebody may know of and a filter asks for."""
    rows = Lead.objects.visible_to(user).select_related("seller", "source")
    if wanted.stage:
        rows = rows.filter(stage__in=OPEN if wanted.stage == ALL_OPEN else [wanted.stage])
    if wanted.seller is not None:
        rows = rows.filter(seller=wanted.seller)
    if wanted.source is not None:
        rows = rows.filter(source=wanted.source)
    if wanted.overdue:
        rows = rows.filter(stage__in=OPEN, next_step_on__lt=today)
    number = phone_key(wanted.words)
    if number:
        return rows.filter(phone_key__contains=number)
    for word in wanted.words.split():
        rows = rows.filter(_found(word))
    return rows


def _found(word: str) -> Q:
    digits = "".join(letter for letter in word if letter.isascii() and letter.isdigit())
    found = Q(phone__icontains=word)
    for name in ("person", "email", "street", "town"):
        found |= Q(**{f"{name}__icontains": word})
    return found | Q(phone_key__contains=digits) if len(digits) >= FEWEST_DIGITS else found


def _chosen(rows: list[Any], code: str) -> Any:
    try:
        wanted = uuid.UUID(code)
    except ValueError:
        return None
    return next((row for row in rows if row.code == wanted), None)


class LeadTable(tables.Table):  # type: ignore[misc]
    """Leads with what is next for each."""

    person = tables.Column("Name", order_by=("person", "id"), linkify=("estimates-show-lead", {"code": A("code")}))
    phone = tables.Column("Telephone", orderable=False, default="")
    town = tables.Column("Town", order_by=("town", "person", "id"), default="")
    stage = tables.Column("Stage", order_by=("stage", "id"))
    seller = tables.Column("Seller", accessor="seller__full_name", order_by=("seller__full_name", "id"))
    source = tables.Column("Source", accessor="source__name", order_by=("source__name", "id"))
    next_step = tables.Column("Next step", orderable=False, default="none")
    next_step_on = tables.Column("Due", default="")
    taken_at = tables.Column("Taken", order_by=("taken_at", "id"))

    class Meta:
        template_name = "partials/table.html"
        order_by = ("next_step_on",)

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        self.today = today
        super().__init__(*args, **kwargs)

    def order_next_step_on(self, rows: QuerySet[Lead], is_descending: bool) -> tuple[QuerySet[Lead], bool]:
        """Leads without a next step stand last either way, on both databases."""
        due = F("next_step_on")
        return rows.order_by(due.desc(nulls_last=True) if is_descending else due.asc(nulls_last=True), "-id"), True

    def render_stage(self, record: Lead) -> str:
        """The stage in words."""
        return record.get_stage_display()

    def render_next_step_on(self, value: date, record: Lead) -> str:
        """The day, with a word where it is today or over."""
        late = (self.today - value).days
        if late > 0 and record.is_open:
            return format_html('{} <strong class="tag">overdue {}</strong>', day(value), days_words(late))
        return f"{day(value)}, today" if late == 0 else day(value)

    def render_taken_at(self, value: Any) -> str:
        """The day in the firm's time zone."""
        return format_html('<span class="nobreak">{}</span>', day(value))

    @property
    def reach(self) -> str:
        """How many leads there are, and which of them stand here."""
        count, first = self.paginator.count, self.page.start_index()
        words = "1 lead" if count == 1 else f"{count:,} leads"
        return words if count <= ROWS_PER_PAGE else f"{words}, here {first:,}–{self.page.end_index():,}"


def days_words(days: int) -> str:
    """Return a number of days in words.

    Examples
    --------
    >>> days_words(1), days_words(12)
    ('1 day', '12 days')
    """
    return "1 day" if days == 1 else f"{days:,} days"


def lead_table(rows: QuerySet[Lead], *, today: date, sort: list[str], page: str) -> LeadTable:
    """Return one page of some leads.

    Parameters
    ----------
    rows : see `lead_rows`.
    today : the day from which on a next step is overdue.
    sort : column names, with a hyphen for downward; unknown ones are passed over.
    page : number of the page as written in the address; anything else than a page that exists gives the first one.
    """
    table = LeadTable(rows, today=today, order_by=sort or None)
    wanted = int(page) if page.isascii() and page.isdigit() and len(page) < 9 and int(page) <= LAST_PAGE else 1
    try:
        table.paginate(page=wanted, per_page=ROWS_PER_PAGE)
    except InvalidPage:
        table.paginate(page=1, per_page=ROWS_PER_PAGE)
    return table
