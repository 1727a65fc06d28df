"""Leads as reports: ages in a stage, rates by source and seller, cost per dollar that stayed; and their pages."""

import csv
import io
import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import plotly.graph_objects as go
import pytest
from django.test import Client
from django.utils import timezone
from lxml import html

from estimates.leads import lead_move, lead_take
from estimates.models import House, Lead, LeadSource, LeadStage, User
from reports.asked import Asked, Choices, periods_of, read_asked
from reports.frames_sales import answer_frame, marketing, pipeline_age, source_frame, winning

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 9, 15, 0, tzinfo=UTC)
ALL = Asked(date(2026, 3, 9), None, None, "all", "all years")
Bring = Callable[..., Lead]
Browse = Callable[[User], Client]


@pytest.fixture
def bring(owner: User, salesperson: User) -> Bring:
    """Return `bring(*steps, source, seller, taken, cost)`: a lead with the days after it was taken of each stage."""
    made = iter(range(1000))

    def take(*steps: tuple[str, float], source: str = "Yard signs", seller: User | None = None, taken: datetime = NOW,
             cost: str = "10.00", price: str | None = None) -> Lead:  # fmt: skip
        number = next(made)
        row, _ = LeadSource.objects.get_or_create(name=source, defaults={"cost_per_lead": Decimal(cost)})
        house = House.objects.create(
            reference=f"h{number}", name=f"Kiln Row {number}", street=f"{number} Kiln Row", town="Fernhollow",
            state="NY", customer_name="Wren",
        )  # fmt: skip
        if price is not None:
            _freeze(house, price, owner)
        lead = lead_take(
            person=f"Wren {number}", phone=f"607-555-{number:04d}", state="NY", source=row,
            seller=seller or salesperson, by=salesperson, now=taken, house=house,
        )  # fmt: skip
        for stage, days in steps:
            why = {"lost_reason": "price"} if stage == "lost" else {}
            lead = lead_move(lead=lead, to=LeadStage(stage), by=owner, now=taken + timedelta(days=days), **why)
        return lead

    return take


def _freeze(house: House, price: str, owner: User) -> None:
    from estimates.estimating import revision_create

    revision_create(
        house=house, snapshot=json.dumps({"house": house.reference}), price_book="standard 1", schema_version="1",
        engine_version="none", seed=1, price=Decimal(price), cost=Decimal("1.00"), created_by=owner, now=NOW,
    )  # fmt: skip


WON = (("assessed", 1), ("proposed", 2), ("won", 6))
LOST = (("assessed", 1), ("proposed", 2), ("lost", 12))


def test_a_rate_counts_leads_that_ended_and_takes_back_what_was_cancelled(bring: Bring) -> None:
    for _ in range(3):
        bring(*WON)
    bring(*LOST)
    bring(*WON, ("cancelled", 8))
    bring(*WON[:2])
    bring(*WON, source="Church talk")
    answer = winning(ALL)
    rows = {(row[0], row[1]): row[2:] for row in answer.table.rows}
    # By hand: of 5 ended yard-sign leads 3 stayed; answers after 4, 4, 4, 10 and 4 days.
    assert rows["Source", "Yard signs"] == [6, 5, 3, 1, 0.6, 4.0]
    assert rows["Source", "Church talk"] == [1, 1, 1, 0, None, 4.0], "one lead is no rate"
    assert (
        answer.title
        == "4 of 6 leads that ended were won and stayed (67\u00a0%); the middle answer came 4 days after the proposal."
    )


def test_days_count_from_the_proposal_and_only_where_there_was_one(bring: Bring) -> None:
    bring(*LOST)
    bring(("lost", 3))
    days = answer_frame(ALL)["days"]
    assert sorted(days.dropna()) == [pytest.approx(10.0)]


def test_a_dollar_that_stayed_bears_the_cost_of_leads_that_did_not(bring: Bring) -> None:
    bring(*WON, price="2000.00", cost="25.00")
    bring(*LOST, price="900.00")
    bring(*WON, ("cancelled", 8), price="5000.00")
    bring(*WON, source="Fair", cost="80.00", price="1000.00")
    bring(source="Radio", cost="40.00")
    frame = source_frame(ALL).set_index("source")
    # By hand: 3 leads at $25 for $2,000 kept = 3.75 cents; $80 for $1,000 = 8 cents.
    assert frame.loc["Yard signs", "per_dollar"] == pytest.approx(0.0375)
    assert frame.loc["Fair", "per_dollar"] == pytest.approx(0.08)
    answer = marketing(ALL)
    assert [row[0] for row in answer.table.rows] == ["Yard signs", "Fair", "Radio"]
    assert answer.table.rows[2][6] is None
    # $195 for $3,000.
    assert (
        answer.title == "Each dollar that was signed and stayed cost 6.5 cents in marketing; "
        "the dearest source is Fair with 8.0 cents."
    )
    assert "$40 went to 1 source that brought nothing yet: Radio." in answer.notes


def test_leads_that_stand_too_long_are_named_with_the_longest(bring: Bring) -> None:
    now = timezone.now()
    bring(("assessed", 1), taken=now - timedelta(days=98.5), price="100.00")
    bring(taken=now - timedelta(days=3))
    bring(*LOST, taken=now - timedelta(days=200))
    answer = pipeline_age(ALL)
    assert answer.title == (
        "1 of 2 open leads has stood in its stage for more than 30 days; the longest, 97 days, is assessed."
    )
    rows = {row[0]: row[1:] for row in answer.table.rows}
    assert rows["Assessed"] == [1, 0, 0, 0, 1, 97, 10_000]
    assert rows["New"] == [1, 1, 0, 0, 0, 3, 0]


def test_the_period_and_the_seller_decide_which_leads_count(bring: Bring, owner: User) -> None:
    bring(*WON, taken=datetime(2026, 2, 1, 4, 59, tzinfo=UTC))
    bring(*WON, taken=datetime(2026, 2, 1, 5, 1, tzinfo=UTC), seller=owner)
    zone = timezone.get_current_timezone()
    assert str(zone) == "America/New_York", "five in the morning by Greenwich is midnight here"
    february = read_asked({"period": "2026-02"}, ["period"], Choices(periods_of(NOW.date())), today=NOW.date())
    assert len(answer_frame(february)) == 1
    assert len(answer_frame(Asked(NOW.date(), seller=str(owner.code)))) == 1


def test_a_filter_that_means_nothing_is_told_and_left_out() -> None:
    choices = Choices(periods_of(NOW.date()))
    asked = read_asked({"period": "soon", "wall": "tent"}, ["period", "wall"], choices, today=NOW.date())
    assert len(asked.faults) == 2
    assert "There is no period “soon”." in asked.faults[0]
    assert (asked.first, asked.last, asked.wall) == (date(2025, 3, 10), date(2026, 3, 9), "")


@pytest.mark.parametrize(
    ("period", "first", "last"),
    [
        ("2024-02", date(2024, 2, 1), date(2024, 2, 29)),
        ("2025", date(2025, 1, 1), date(2025, 12, 31)),
        ("3-months", date(2026, 1, 1), date(2026, 3, 31)),
        ("all", None, None),
    ],
)
def test_periods_begin_and_end_on_their_days(period: str, first: date | None, last: date | None) -> None:
    today = date(2026, 3, 31)
    asked = read_asked({"period": period}, ["period"], Choices(periods_of(today)), today=today)
    assert (asked.first, asked.last) == (first, last)


def test_page_chart_and_file_hold_the_same_numbers(bring: Bring, owner: User, signed_in: Browse) -> None:
    bring(*WON, price="2000.00", source="=Fair", taken=timezone.now() - timedelta(days=20))
    client = signed_in(owner)
    tree = html.fromstring(client.get("/reports/on/marketing/").content.decode())
    figure = json.loads(tree.xpath("//script[@id='figure-1']")[0].text)
    go.Figure(figure)  # refuses what the library does not know
    (row,) = csv.DictReader(io.StringIO(client.get("/reports/on/marketing.csv").content.decode("utf-8-sig")))
    cells = [cell.text_content().strip() for cell in tree.xpath("//tbody/tr/*")]
    assert (cells[0], cells[2], cells[5]) == ("=Fair", "$10", "$2,000")
    assert (row["Source"], row["Cost"], row["Retained"]) == ("'=Fair", "10.00", "2000.00")
    assert figure["data"][0]["x"] == [pytest.approx(0.5)]
    assert float(row["Cost per retained dollar, cents"]) == 0.5


def test_filters_stand_in_the_address_and_can_be_taken_out(bring: Bring, owner: User, signed_in: Browse) -> None:
    lead = bring(*WON, taken=timezone.now() - timedelta(days=20))
    client = signed_in(owner)
    address = f"/reports/on/winning/?period=all&source={lead.source.code}"
    tree = html.fromstring(client.get(address).content.decode())
    chips = tree.xpath("//ul[@class='chips']//a/@href")
    assert chips == [f"/reports/on/winning/?source={lead.source.code}", "/reports/on/winning/?period=all"]
    said = html.fromstring(client.get("/reports/on/winning/?period=soon").content.decode()).text_content()
    assert "There is no period “soon”" in said


def test_sales_reads_no_report_with_costs_and_no_unknown_one(
    salesperson: User, owner: User, bookkeeper: User, signed_in: Browse
) -> None:
    from reports.catalogue import REPORTS

    for report in REPORTS.values():
        wanted = 403 if report.action == "report.margin" else 200
        assert signed_in(salesperson).get(f"/reports/on/{report.name}/").status_code == wanted
        assert signed_in(bookkeeper).get(f"/reports/on/{report.name}.csv").status_code == 200
        page = signed_in(owner).get(f"/reports/on/{report.name}/?period=all")
        assert page.status_code == 200
        assert report.question in page.content.decode()
    listed = signed_in(salesperson).get("/reports/").content.decode()
    assert [report.question in listed for report in REPORTS.values()] == [
        report.action == "report.read" for report in REPORTS.values()
    ]
    assert signed_in(owner).get("/reports/on/none-such/").status_code == 404


def test_lead_reports_ask_as_often_for_many_leads_as_for_few(bring: Bring, django_assert_max_num_queries: Any) -> None:
    for _ in range(2):
        for _ in range(4):
            bring(*WON, price="100.00")
        with django_assert_max_num_queries(4):  # leads by age, leads by answer, leads by source, signed options
            pipeline_age(ALL), winning(ALL), marketing(ALL)
