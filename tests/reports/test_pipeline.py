"""The pipeline: counts, money, age, forecast, who waits, what a source brings. Expected figures are worked by hand."""

from __future__ import annotations

import csv
import html
import io
import json
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from estimates.estimating import revision_create
from estimates.leads import lead_move, lead_source_put, lead_take
from estimates.models import EstimateRevision, House, Lead, LeadStage, User
from estimates.models.lead import OPEN
from estimates.proposals import proposal_accept, proposal_draft, proposal_issue, proposal_release_floor
from reports.pipeline import ODDS, Pipeline, SourceRow, pipeline, pipeline_answer

pytestmark = pytest.mark.django_db

Browse = Callable[[User], Client]
NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)
WAYS = {
    "new": [],
    "visit_set": ["visit_set"],
    "assessed": ["assessed"],
    "proposed": ["assessed", "proposed"],
    "won": ["assessed", "proposed", "won"],
    "lost": ["lost"],
    "lost_late": ["assessed", "proposed", "lost"],
    "cancelled": ["assessed", "proposed", "won", "cancelled"],
}
"""End -> the stages on the way there, a day apart."""


@pytest.fixture
def new_house(owner: User) -> Callable[..., House]:
    def make(*prices: str, below_floor: bool = False) -> House:
        number = House.objects.count() + 1
        house = House.objects.create(
            reference=f"h{number}", name=f"House {number}", street="1 Kiln Row", town="Fernhollow", state="NY",
            customer_name=f"Homeowner {number}",
        )  # fmt: skip
        option = {"id": "all", "name": "Everything", "margin": 0.21, "floor_margin": 0.3, "below_floor": below_floor}
        for price in prices:
            revision_create(
                house=house,
                # Two revisions of the same text would be one; the price tells them apart.
                snapshot=json.dumps({"estimate": {"options": [option]}, "price": price}),
                price_book="standard 1",
                schema_version="1",
                engine_version="1",
                seed=1,
                price=Decimal(price),
                cost=Decimal("1.00"),
                created_by=owner,
                now=NOW,
            )
        return house

    return make


@pytest.fixture
def bring(salesperson: User, owner: User) -> Callable[..., Lead]:
    """Return `bring(end, house, ...)`: a lead that went its way, a day a step, and reached its stage `days` ago."""

    def brought(
        end: str,
        house: House | None = None,
        *,
        days: int = 0,
        source: str = "Yard signs",
        cost: str = "10.00",
        **more: Any,
    ) -> Lead:
        way = WAYS[end]
        start = NOW - timedelta(days=days + len(way))
        row = lead_source_put(name=source, cost_per_lead=Decimal(cost), by=owner, now=start)
        given = {"person": f"Person {Lead.objects.count()}", "phone": "555-0142", "state": "NY", "seller": salesperson}
        lead = lead_take(**{**given, **more, "source": row, "house": house, "by": owner, "now": start})
        for step, stage in enumerate(way, 1):
            lead = lead_move(
                lead=lead,
                to=LeadStage(stage),
                lost_reason="price" if stage == "lost" else "",
                by=owner,
                now=start + timedelta(days=step),
            )
        return lead

    return brought


@pytest.fixture
def look(owner: User) -> Callable[[], Pipeline]:
    return lambda: pipeline(owner, now=NOW)


def words(response: Any) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode()))).replace("\u00a0", " ")


# --- Stages and forecast ---------------------------------------------------------------------------------------------


def test_stages_count_leads_add_their_latest_prices_and_say_how_long_they_wait(
    bring: Callable[..., Lead], new_house: Callable[..., House], look: Callable[[], Pipeline]
) -> None:
    bring("new", days=3)
    bring("assessed", new_house("9000.00", "10000.00"), days=2)
    bring("assessed", new_house("20000.50"), days=9)
    bring("assessed", new_house(), days=30)
    bring("proposed", new_house("8000.00"), days=5)
    bring("lost", new_house("70000.00"), days=1)
    rows = {row.stage: row for row in look().stages}
    assert [row.leads for row in rows.values()] == [1, 0, 3, 1]
    assessed = rows[LeadStage.ASSESSED]
    assert (assessed.value, assessed.unpriced) == (Decimal("30000.50"), 1)
    assert (assessed.median_days, assessed.oldest_days) == (9, 30)
    assert rows[LeadStage.VISIT_SET].median_days is None


def test_the_forecast_is_price_times_the_stated_odds(
    bring: Callable[..., Lead], new_house: Callable[..., House], look: Callable[[], Pipeline]
) -> None:
    # By hand: 10,000.00 x 40 % + 8,000.01 x 50 % (half a cent up) = 4,000.00 + 4,000.01.
    bring("assessed", new_house("10000.00"))
    bring("proposed", new_house("8000.01"))
    bring("new")
    assert (ODDS[LeadStage.ASSESSED], ODDS[LeadStage.PROPOSED]) == (40, 50)
    found = look()
    assert (found.value, found.expected, found.unpriced) == (Decimal("18000.01"), Decimal("8000.01"), 1)
    assert pipeline_answer(found) == (
        "$8,000 can be expected of 3 open leads worth $18,000; most of it, $10,000, is assessed."
    )


def test_the_odds_are_stated_for_every_open_stage_and_rise_along_the_way() -> None:
    assert list(ODDS) == list(OPEN)
    assert sorted(ODDS.values()) == list(ODDS.values())
    assert all(0 < odds < 100 for odds in ODDS.values())


def test_two_open_leads_of_one_house_count_its_price_once(
    bring: Callable[..., Lead], new_house: Callable[..., House], look: Callable[[], Pipeline]
) -> None:
    house = new_house("10000.00")
    bring("new", house)
    bring("proposed", house)
    found = look()
    assert (found.value, found.expected) == (Decimal("10000.00"), Decimal("5000.00"))
    assert [row.value for row in found.stages] == [0, 0, 0, Decimal("10000.00")]


def test_beside_the_odds_stands_what_came_of_ended_leads(
    bring: Callable[..., Lead], new_house: Callable[..., House], look: Callable[[], Pipeline]
) -> None:
    # Seven ended; two stayed won, one was cancelled, two were lost late, two at once. Of all: 2 / 7 = 28.6 %; of the
    # five that were proposed: 2 / 5 = 40 %.
    for end in ("won", "won", "cancelled", "lost_late", "lost_late", "lost", "lost"):
        bring(end, new_house("100.00"))
    rows = {row.stage: row for row in look().stages}
    assert (rows[LeadStage.NEW].own_odds, rows[LeadStage.NEW].ended) == (29, 7)
    assert (rows[LeadStage.PROPOSED].own_odds, rows[LeadStage.PROPOSED].ended) == (40, 5)
    assert (rows[LeadStage.VISIT_SET].own_odds, rows[LeadStage.VISIT_SET].ended) == (None, 0)


def test_the_longest_bar_is_whole_and_the_others_are_in_proportion(
    bring: Callable[..., Lead], new_house: Callable[..., House], look: Callable[[], Pipeline]
) -> None:
    bring("assessed", new_house("5000.00"))
    bring("proposed", new_house("20000.00"))
    widths = [(row.width, row.expected_width) for row in look().stages]
    assert widths == [(0, 0), (0, 0), (25, 10), (100, 50)]


# --- Who waits on whom -----------------------------------------------------------------------------------------------


def test_each_stage_says_who_owes_the_next_move(
    bring: Callable[..., Lead], new_house: Callable[..., House], look: Callable[[], Pipeline], salesperson: User
) -> None:
    late = NOW.date() - timedelta(days=1)
    bring("new", days=4, next_step="Call", next_step_on=late)
    bring("new", days=8)
    bring("visit_set", days=6)
    bring("assessed", new_house("1.00"), days=2)
    bring("proposed", new_house("1.00"), days=12)
    name = salesperson.full_name
    assert [(row.who, row.what, row.leads, row.longest, row.overdue) for row in look().waits] == [
        ("Homeowner", "the answer to a proposal", 1, 12, 0),
        (name, "a visit or a first estimate", 2, 8, 1),
        (name, "the assessment after the visit", 1, 6, 0),
        (name, "a proposal", 1, 2, 0),
    ]


def test_a_visit_to_come_keeps_nobody_waiting_for_an_assessment(
    bring: Callable[..., Lead], look: Callable[[], Pipeline], owner: User
) -> None:
    lead = bring("new", days=1)
    lead_move(lead=lead, to=LeadStage.VISIT_SET, visit_at=NOW + timedelta(days=2), by=owner, now=NOW)
    assert [row.what for row in look().waits] == ["the visit that is set"]


def test_a_draft_below_its_floor_waits_for_the_owner_until_it_is_released(
    bring: Callable[..., Lead], new_house: Callable[..., House], look: Callable[[], Pipeline], owner: User
) -> None:
    house = new_house("5000.00", below_floor=True)
    bring("assessed", house, days=9)
    bring("assessed", new_house("5000.00"), days=1)
    draft = proposal_draft(revision=EstimateRevision.objects.get(house=house), by=owner, now=NOW - timedelta(days=3))
    found = look()
    (row,) = found.releases
    assert (row.number, row.house, row.option, row.margin, row.floor, row.days) == (
        draft.number, house.name, "Everything", 0.21, 0.3, 3,
    )  # fmt: skip
    assert ("Owner", "the release of a price below the floor", 3) in [(w.who, w.what, w.longest) for w in found.waits]
    proposal_release_floor(proposal=draft, least_margin=Decimal("0.2"), reason="Neighbours.", by=owner, now=NOW)
    assert look().releases == []


# --- Sources ---------------------------------------------------------------------------------------------------------


def test_a_source_is_worth_what_its_leads_cost_for_a_dollar_that_stays(
    bring: Callable[..., Lead], new_house: Callable[..., House], look: Callable[[], Pipeline]
) -> None:
    # By hand: 3 leads x 50 = 150 for 12,000 kept = 1.25 cents a dollar; the cancelled 9,000 is not kept.
    bring("won", new_house("12000.00"), source="Mailing", cost="50.00")
    bring("cancelled", new_house("9000.00"), source="Mailing", cost="50.00")
    bring("lost", source="Mailing", cost="50.00")
    bring("new", source="Card", cost="5.00")
    mailing, card = look().sources
    assert (mailing.source, mailing.leads, mailing.cost) == ("Mailing", 3, Decimal("150.00"))
    assert (mailing.won, mailing.cancelled, mailing.retained) == (1, 1, Decimal("12000.00"))
    assert (mailing.per_dollar, mailing.cents_per_dollar) == (Decimal("0.0125"), Decimal("1.25"))
    assert (card.source, card.per_dollar) == ("Card", None)


def test_the_price_of_a_won_lead_is_that_of_what_was_accepted(
    bring: Callable[..., Lead], new_house: Callable[..., House], look: Callable[[], Pipeline], owner: User
) -> None:
    house = new_house("12000.00", "15000.00")
    bring("won", house)
    first = EstimateRevision.objects.get(house=house, number=1)
    draft = proposal_draft(revision=first, by=owner, now=NOW)
    issued = proposal_issue(
        proposal=draft,
        document_sha256="a" * 64,
        document_name="p.docx",
        valid_until=date(2026, 4, 1),
        by=owner,
        now=NOW,
    )
    proposal_accept(proposal=issued, option="all", typed_name="Wren", document_sha256="a" * 64, now=NOW)
    assert look().sources[0].retained == Decimal("12000.00")


def test_a_won_lead_without_a_price_is_named_and_not_a_dollar(
    bring: Callable[..., Lead], new_house: Callable[..., House], look: Callable[[], Pipeline]
) -> None:
    bring("won", new_house())
    (row,) = look().sources
    assert (row.retained, row.unpriced, row.per_dollar) == (0, 1, None)
    assert SourceRow("Sign", 1, Decimal("0.00"), 1, 0, Decimal("10.00"), 0).per_dollar == 0


# --- The page and the file -------------------------------------------------------------------------------------------


def test_the_page_answers_first_and_names_the_odds(
    bring: Callable[..., Lead], new_house: Callable[..., House], owner: User, signed_in: Browse
) -> None:
    bring("proposed", new_house("8000.00"), days=2)
    text = words(signed_in(owner).get("/reports/pipeline/"))
    for said in (
        "$4,000 can be expected of 1 open lead worth $8,000",
        "The odds are common practice to begin with, not measured",
        "Proposed 1 0 $8,000 50 $4,000",
        "Homeowner the answer to a proposal 1",
        "Yard signs 1 $10.00 0 0 $0 nothing retained yet",
    ):
        assert said in text, said


def test_an_empty_firm_is_told_what_will_stand_here(owner: User, signed_in: Browse) -> None:
    assert "No leads yet" in words(signed_in(owner).get("/reports/pipeline/"))


def test_a_firm_without_open_leads_says_so(bring: Callable[..., Lead], look: Callable[[], Pipeline]) -> None:
    bring("lost")
    assert pipeline_answer(look()) == "No lead is open."
    bring("new")
    assert pipeline_answer(look()) == "1 open lead, none of them with a price yet."


def test_the_file_has_a_row_for_each_open_lead_and_no_formula(
    bring: Callable[..., Lead], new_house: Callable[..., House], owner: User, signed_in: Browse
) -> None:
    bring("assessed", new_house("10000.00"), days=2, person="=1+1", town="Fernhollow")
    bring("new", person="Bram Ashdown")
    bring("lost")
    response = signed_in(owner).get("/reports/pipeline.csv")
    assert response.headers["Content-Disposition"] == f'attachment; filename="pipeline-{timezone.localdate()}.csv"'
    rows = list(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"))))
    assert [(row["Name"], row["Stage"], row["Price, $"], row["Expected, $"]) for row in rows] == [
        ("'=1+1", "Assessed", "10000.00", "4000.00"),
        ("Bram Ashdown", "New", "", ""),
    ]


def test_the_pipeline_asks_as_often_for_many_leads_as_for_few(
    bring: Callable[..., Lead],
    new_house: Callable[..., House],
    owner: User,
    signed_in: Browse,
    django_assert_num_queries: Any,
) -> None:
    client = signed_in(owner)
    for _ in range(2):
        for number in range(8):
            bring(["assessed", "won", "lost", "new"][number % 4], new_house("100.00"))
        with django_assert_num_queries(6):  # session, user, leads, outcomes, issued, drafts
            client.get("/reports/pipeline/")
