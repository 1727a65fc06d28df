"""The pipeline: open leads by stage with their money and age, what is expected of them, and who waits on whom."""

from __future__ import annotations

import csv
import io
import json
import statistics
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db.models import Count, F, OuterRef, Subquery
from django.utils import timezone

from estimates import access
from estimates.models import EstimateRevision, Lead, LeadMove, LeadStage, Proposal, ProposalStatus
from estimates.models.lead import OPEN
from estimates.money import from_cents, round_half_up, to_cents
from reports.frames import harmless

ODDS: dict[LeadStage, int] = {
    LeadStage.NEW: 10,
    LeadStage.VISIT_SET: 30,
    LeadStage.ASSESSED: 40,
    LeadStage.PROPOSED: 50,
}
"""Open stage -> how many of a hundred such leads become a job that stays. Source: marks CP, chosen to begin with; the
page shows what became of the firm's own leads beside them."""

ENDED = (LeadStage.WON, LeadStage.LOST, LeadStage.CANCELLED)
"""Stages after which nothing more comes; only those that stay won bring money."""

FEWEST_ENDED = 5
"""Fewer leads that have ended say nothing of the odds."""

HOMEOWNER = "Homeowner"

CSV_HEADINGS = ("Name", "Town", "Stage", "Seller", "Source", "Taken", "Days in stage", "Price, $", "Odds, %",
                "Expected, $")  # fmt: skip


@dataclass(frozen=True, slots=True)
class PipelineLead:
    """A lead with what the report needs: price of the latest revision of its house, and since when it is in its stage.

    `counted`: its price is in the sums; of two open leads of one house only the one that has come further is.
    """

    code: str
    person: str
    town: str
    stage: LeadStage
    seller: str
    seller_code: str
    source: str
    taken_at: datetime
    since: datetime
    days: int
    price: Decimal | None
    house_id: int | None
    visit_at: datetime | None
    overdue: bool
    counted: bool = True

    @property
    def expected(self) -> Decimal | None:
        """Price times odds, to the cent."""
        if self.price is None or not self.counted:
            return None
        return from_cents(round_half_up(to_cents(self.price) * ODDS[self.stage], 100))


@dataclass(frozen=True, slots=True)
class StageRow:
    """The open leads of one stage."""

    stage: LeadStage
    leads: int
    unpriced: int
    value: Decimal
    expected: Decimal
    odds: int
    median_days: float | None
    oldest_days: int | None
    ended: int
    stayed: int
    width: float = 0.0
    expected_width: float = 0.0

    @property
    def own_odds(self) -> int | None:
        """How many of a hundred leads that reached this stage stayed won; None while too few have ended."""
        return round_half_up(100 * self.stayed, self.ended) if self.ended >= FEWEST_ENDED else None


@dataclass(slots=True)
class WaitRow:
    """Who owes the next move to how many leads, and for how long the first of them has waited."""

    who: str
    what: str
    stage: LeadStage
    seller_code: str = ""
    leads: int = 0
    longest: int = 0
    overdue: int = 0


@dataclass(frozen=True, slots=True)
class ReleaseRow:
    """An option of a draft that is below its floor margin and waits for the owner's release."""

    number: str
    house: str
    house_code: str
    option: str
    margin: float
    floor: float
    days: int


@dataclass(frozen=True, slots=True)
class SourceRow:
    """What one source brought."""

    source: str
    leads: int
    cost: Decimal
    won: int
    cancelled: int
    retained: Decimal
    unpriced: int

    @property
    def per_dollar(self) -> Decimal | None:
        """Cost of the source for each dollar of the jobs that stayed [$]; None without any."""
        if not self.retained:
            return None
        return Decimal(round_half_up(to_cents(self.cost) * 10_000, to_cents(self.retained))).scaleb(-4)

    @property
    def cents_per_dollar(self) -> Decimal | None:
        """The same in cents, with two decimals."""
        return None if self.per_dollar is None else self.per_dollar.scaleb(2)


@dataclass(frozen=True, slots=True)
class Pipeline:
    """Everything on the page."""

    stages: list[StageRow]
    waits: list[WaitRow]
    releases: list[ReleaseRow]
    sources: list[SourceRow]
    leads: list[PipelineLead] = field(repr=False)

    @property
    def value(self) -> Decimal:
        """Price of all open leads that have one. [$]"""
        return sum((row.value for row in self.stages), Decimal(0))

    @property
    def expected(self) -> Decimal:
        """The forecast: each price times the odds of its stage. [$]"""
        return sum((row.expected for row in self.stages), Decimal(0))

    @property
    def unpriced(self) -> int:
        """Open leads without a price, which the forecast leaves out."""
        return sum(row.unpriced for row in self.stages)


def pipeline(user: access.Person, *, now: datetime) -> Pipeline:
    """Return the pipeline of the firm.

    Parameters
    ----------
    user : who looks.
    now : the time of the look.

    Notes
    -----
    Four queries, whatever the number of leads. Forecast = sum of price x odds of the stage over open leads that have a
    price.
    """
    rows = _lead_values(user)
    leads = _open_leads(rows, now)
    outcomes = _outcomes(user)
    issued, releases, waiting_release = _proposals(user, now)
    return Pipeline(
        stages=_with_widths([_stage_row(stage, leads, outcomes) for stage in OPEN]),
        waits=_waits(leads, issued, waiting_release, now),
        releases=releases,
        sources=_source_rows(rows),
        leads=leads,
    )


def _lead_values(user: access.Person) -> list[Any]:
    """Each lead as a mapping; the frozen snapshots, which are long, are never read."""
    newest = EstimateRevision.objects.filter(house=OuterRef("house")).order_by("-number").values("price")[:1]
    accepted = Proposal.objects.filter(house=OuterRef("house"), status=ProposalStatus.ACCEPTED)
    reached = LeadMove.objects.filter(lead=OuterRef("pk"), stage=OuterRef("stage")).values("at")[:1]
    found = Lead.objects.visible_to(user).annotate(
        price=Subquery(newest), accepted_price=Subquery(accepted.values("revision__price")[:1]), since=Subquery(reached)
    )
    names = {"seller_name": F("seller__full_name"), "seller_code": F("seller__code"), "source_name": F("source__name")}
    columns = ("code", "person", "town", "stage", "cost", "taken_at", "house_id", "visit_at", "next_step_on")
    return list(found.order_by("-taken_at", "-id").values(*columns, "price", "accepted_price", "since", **names))


def _open_leads(rows: Iterable[Mapping[str, Any]], now: datetime) -> list[PipelineLead]:
    """The open leads, those that have come furthest first; of one house only the first is counted."""
    today, seen, leads = timezone.localtime(now).date(), set(), []
    furthest = sorted((row for row in rows if row["stage"] in OPEN), key=lambda row: -OPEN.index(row["stage"]))
    for row in furthest:
        since = row["since"] or row["taken_at"]
        counted = row["house_id"] is None or row["house_id"] not in seen
        seen.add(row["house_id"])
        leads.append(
            PipelineLead(
                code=str(row["code"]),
                person=row["person"],
                town=row["town"],
                stage=LeadStage(row["stage"]),
                seller=row["seller_name"],
                seller_code=str(row["seller_code"]),
                source=row["source_name"],
                taken_at=row["taken_at"],
                since=since,
                days=max(0, (now - since).days),
                price=row["price"],
                house_id=row["house_id"],
                visit_at=row["visit_at"],
                overdue=row["next_step_on"] is not None and row["next_step_on"] < today,
                counted=counted,
            )
        )
    return leads


def _outcomes(user: access.Person) -> dict[str, dict[str, int]]:
    """Stage that was reached -> how such leads ended -> how many."""
    moves = LeadMove.objects.visible_to(user).filter(lead__stage__in=ENDED, stage__in=OPEN)
    found: dict[str, dict[str, int]] = defaultdict(dict)
    for row in moves.order_by().values("stage", "lead__stage").annotate(count=Count("id")):
        found[row["stage"]][row["lead__stage"]] = row["count"]
    return found


def _stage_row(stage: LeadStage, leads: Iterable[PipelineLead], outcomes: Mapping[str, Mapping[str, int]]) -> StageRow:
    here = [lead for lead in leads if lead.stage is stage]
    days = [lead.days for lead in here]
    ended = outcomes.get(stage, {})
    return StageRow(
        stage=stage,
        leads=len(here),
        unpriced=sum(lead.price is None for lead in here),
        value=sum((lead.price for lead in here if lead.price is not None and lead.counted), Decimal(0)),
        expected=sum((lead.expected for lead in here if lead.expected is not None), Decimal(0)),
        odds=ODDS[stage],
        median_days=statistics.median(days) if days else None,
        oldest_days=max(days, default=None),
        ended=sum(ended.values()),
        stayed=ended.get(LeadStage.WON, 0),
    )


def _with_widths(rows: list[StageRow]) -> list[StageRow]:
    """The rows with the widths of their bars, as percentages of the longest one."""
    longest = max(row.value for row in rows)
    if not longest:
        return rows
    return [
        replace(
            row,
            width=round(float(100 * row.value / longest), 2),
            expected_width=round(float(100 * row.expected / longest), 2),
        )
        for row in rows
    ]


def _proposals(user: access.Person, now: datetime) -> tuple[dict[int, datetime], list[ReleaseRow], dict[int, datetime]]:
    """When the proposal that is out was issued, by house; what waits for a release; since when, by house."""
    visible = Proposal.objects.visible_to(user)
    out = visible.filter(status=ProposalStatus.ISSUED).order_by("-issued_at").values_list("house_id", "issued_at")
    issued = {house: at for house, at in out if at is not None}
    rows: list[ReleaseRow] = []
    since: dict[int, datetime] = {}
    for draft in visible.filter(status=ProposalStatus.DRAFT).select_related("house", "revision").order_by("created_at"):
        for option in json.loads(draft.revision.snapshot)["estimate"]["options"]:
            least = draft.floor_least_margin
            if not option["below_floor"] or (least is not None and option["margin"] >= float(least)):
                continue
            since.setdefault(draft.house_id, draft.created_at)
            rows.append(
                ReleaseRow(
                    number=draft.number,
                    house=draft.house.name,
                    house_code=str(draft.house.code),
                    option=option["name"],
                    margin=option["margin"],
                    floor=option["floor_margin"],
                    days=max(0, (now - draft.created_at).days),
                )
            )
    return issued, rows, since


def _waits(
    leads: Iterable[PipelineLead], issued: Mapping[int, datetime], release: Mapping[int, datetime], now: datetime
) -> list[WaitRow]:
    found: dict[tuple[str, str, LeadStage], WaitRow] = {}
    for lead in leads:
        who, what, since = _owed(lead, issued, release, now)
        own = lead.seller_code if who == lead.seller else ""
        row = found.setdefault((who, what, lead.stage), WaitRow(who, what, lead.stage, own))
        row.leads += 1
        row.longest = max(row.longest, (now - since).days)
        row.overdue += lead.overdue
    return sorted(found.values(), key=lambda row: (-row.longest, row.who, row.what))


def _owed(
    lead: PipelineLead, issued: Mapping[int, datetime], release: Mapping[int, datetime], now: datetime
) -> tuple[str, str, datetime]:
    """Who owes the next move to a lead, what it is, and since when."""
    house = lead.house_id if lead.house_id is not None else -1
    if house in issued:
        return HOMEOWNER, "the answer to a proposal", issued[house]
    if house in release:
        return "Owner", "the release of a price below the floor", release[house]
    if lead.stage is LeadStage.PROPOSED:
        return HOMEOWNER, "the answer to a proposal", lead.since
    if lead.stage is LeadStage.ASSESSED:
        return lead.seller, "a proposal", lead.since
    if lead.stage is LeadStage.NEW:
        return lead.seller, "a visit or a first estimate", lead.since
    if lead.visit_at is not None and lead.visit_at >= now:
        return lead.seller, "the visit that is set", lead.since
    return lead.seller, "the assessment after the visit", lead.visit_at or lead.since


def _source_rows(rows: Iterable[Mapping[str, Any]]) -> list[SourceRow]:
    """What each source brought and cost, the cheapest dollar first and sources without one last."""
    by_source: dict[str, list[Mapping[str, Any]]] = defaultdict(list)
    for row in rows:
        by_source[row["source_name"]].append(row)
    found = []
    for name, brought in by_source.items():
        won = [row for row in brought if row["stage"] == LeadStage.WON]
        prices = [row["accepted_price"] or row["price"] for row in won]
        found.append(
            SourceRow(
                source=name,
                leads=len(brought),
                cost=sum((row["cost"] for row in brought), Decimal(0)),
                won=len(won),
                cancelled=sum(row["stage"] == LeadStage.CANCELLED for row in brought),
                retained=sum((price for price in prices if price is not None), Decimal(0)),
                unpriced=sum(price is None for price in prices),
            )
        )
    return sorted(found, key=lambda row: (row.per_dollar is None, row.per_dollar or 0, row.source))


def pipeline_answer(found: Pipeline) -> str:
    """Say in words what is expected of the open leads."""
    count = sum(row.leads for row in found.stages)
    if not count:
        return "No lead is open."
    leads = "1 open lead" if count == 1 else f"{count:,} open leads"
    if not found.value:
        return f"{leads}, none of them with a price yet."
    richest = max(found.stages, key=lambda row: row.value)
    return (
        f"{_whole(found.expected)} can be expected of {leads} worth {_whole(found.value)}; most of it, "
        f"{_whole(richest.value)}, is {richest.stage.label.lower()}."
    )


def pipeline_csv(found: Pipeline) -> str:
    """Write the open leads as CSV that no spreadsheet will run."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(CSV_HEADINGS)
    for lead in found.leads:
        words = [lead.person, lead.town, lead.stage.label, lead.seller, lead.source]
        figures = [
            f"{timezone.localtime(lead.taken_at):%Y-%m-%d}",
            lead.days,
            lead.price,
            ODDS[lead.stage],
            lead.expected,
        ]
        writer.writerow([*map(harmless, words), *("" if figure is None else figure for figure in figures)])
    return text.getvalue()


def _whole(amount: Decimal) -> str:
    return f"${round_half_up(to_cents(amount), 100):,}"
