"""Which houses earn the target margin: the numbers, the words, the file, the chart."""

import csv
import io
import json
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from django.contrib.staticfiles import finders
from django.test import Client
from lxml import html

from estimates.estimating import revision_create
from estimates.models import EstimateRevision, User
from reports.charts import MOST_BARS, margin_chart
from reports.frames import MARGIN_COLUMNS, csv_text, harmless, latest_revisions, margin_answer, margin_frame

pytestmark = pytest.mark.django_db

Browse = Callable[[User], Client]
Estimated = Callable[..., EstimateRevision]
CAPE, SPLIT, FOURSQUARE = "mill-cape", "quarry-split", "alder-foursquare"


@pytest.fixture
def discounted(owner: User, estimated: Estimated) -> Callable[[str, int], EstimateRevision]:
    """Freeze the estimate of a house again with some cents off its price."""

    def freeze(name: str, cents: int) -> EstimateRevision:
        before = estimated(name)
        frozen = json.loads(before.snapshot)
        option = frozen["estimate"]["options"][0]
        option["price_cents"] -= cents
        copied = ("price_book", "schema_version", "engine_version", "seed", "cost")
        return revision_create(
            house=before.house,
            snapshot=json.dumps(frozen),
            price=Decimal(option["price_cents"]) / 100,
            created_by=owner,
            now=datetime(2026, 3, 3, 14, 30, tzinfo=UTC),
            **{field: getattr(before, field) for field in copied},
        )

    return freeze


def frame_of(user: User) -> pd.DataFrame:
    return margin_frame(latest_revisions(user))


def rows_of(count: int, **columns: Any) -> pd.DataFrame:
    usual = {
        "code": "c", "house": "House", "street": "S", "option": "O", "price": 100.0, "cost": 50.0, "markup": 100.0,
        "margin": 40.0, "target": 42.0, "above": -2.0, "meets": False,
    }  # fmt: skip
    return pd.DataFrame([usual | columns] * count, columns=["code", *MARGIN_COLUMNS])


def test_the_margin_is_what_is_left_of_the_price_after_cost_and_commission(owner: User, estimated: Estimated) -> None:
    option = json.loads(estimated(FOURSQUARE).snapshot)["estimate"]["options"][0]
    (row,) = frame_of(owner).to_dict("records")
    # Derived from the definition, in dollars.
    earned = row["price"] - row["cost"] - option["commission_cents"] / 100
    assert row["margin"] == pytest.approx(100 * earned / row["price"], abs=1e-9)
    assert row["markup"] == pytest.approx(100 * (row["price"] / row["cost"] - 1), abs=1e-9)
    assert row["above"] == pytest.approx(row["margin"] - 100 * option["target_margin"], abs=1e-9)


def test_a_price_made_from_the_target_earns_it_although_each_line_is_rounded(owner: User, estimated: Estimated) -> None:
    for name in (CAPE, SPLIT, FOURSQUARE):
        estimated(name)
    assert frame_of(owner)["meets"].tolist() == [True, True, True]


def test_a_dollar_off_is_not_lost_in_the_rounding(
    owner: User, discounted: Callable[[str, int], EstimateRevision]
) -> None:
    discounted(CAPE, 100)
    (row,) = frame_of(owner).to_dict("records")
    assert not row["meets"]


def test_each_house_counts_once_with_its_latest_estimate_and_the_lowest_comes_first(
    owner: User, estimated: Estimated, discounted: Callable[[str, int], EstimateRevision]
) -> None:
    estimated(CAPE)
    latest = discounted(FOURSQUARE, 500_00)
    frame = frame_of(owner)
    assert frame["house"].tolist() == [latest.house.name, "Cape on Old Mill Lane"]
    assert frame["price"].iloc[0] == float(latest.price)


def test_the_answer_names_the_house_furthest_below(
    owner: User, estimated: Estimated, discounted: Callable[[str, int], EstimateRevision]
) -> None:
    assert margin_answer(frame_of(owner)) == "No house has an estimate yet."
    estimated(CAPE)
    assert margin_answer(frame_of(owner)) == "The only house earns its target margin."
    estimated(SPLIT)
    assert margin_answer(frame_of(owner)) == "All 2 houses earn the target margin."
    discounted(FOURSQUARE, 1000_00)
    answer = margin_answer(frame_of(owner))
    assert answer.startswith(
        "2 of 3 houses earn the target margin; furthest below is Brick foursquare on Alder Run, by "
    )
    assert margin_answer(rows_of(3)) == "None of 3 houses earns the target."
    assert margin_answer(rows_of(1)) == "The only house misses its target margin."


def test_without_an_estimate_the_page_says_so_and_draws_nothing(owner: User, signed_in: Browse) -> None:
    response = signed_in(owner).get("/reports/margins/")
    tree = html.fromstring(response.content.decode())
    assert "No house has an estimate yet." in tree.text_content()
    assert not tree.xpath("//body//script | //table")
    assert len(signed_in(owner).get("/reports/margins.csv").content.splitlines()) == 1


def test_page_chart_and_file_hold_the_same_numbers(owner: User, signed_in: Browse, estimated: Estimated) -> None:
    for name in (CAPE, SPLIT, FOURSQUARE):
        estimated(name)
    client = signed_in(owner)
    tree = html.fromstring(client.get("/reports/margins/").content.decode())
    figure = json.loads(tree.xpath("//script[@id='margins']")[0].text)
    bars, targets = figure["data"]
    file = list(csv.DictReader(io.StringIO(client.get("/reports/margins.csv").content.decode("utf-8-sig"))))
    table = [[cell.text_content().strip() for cell in row] for row in tree.xpath("//tbody/tr")]
    assert [row["House"] for row in file] == [row[0] for row in table]
    for number, row in enumerate(file):
        assert bars["x"][number] == pytest.approx(float(row["Margin after commission, %"]), abs=0.005)
        assert targets["x"][number] == pytest.approx(float(row["Target, %"]), abs=0.005)
        assert float(table[number][6]) == pytest.approx(float(row["Margin after commission, %"]), abs=0.055)
    assert list(file[0]) == list(MARGIN_COLUMNS.values())


def test_the_bookkeeper_reads_margins_and_is_sent_no_cost(
    bookkeeper: User, signed_in: Browse, estimated: Estimated
) -> None:
    revision = estimated(CAPE)
    client = signed_in(bookkeeper)
    page = client.get("/reports/margins/").content.decode()
    file = client.get("/reports/margins.csv").content.decode("utf-8-sig")
    for text in (page, file):
        assert "Direct cost" not in text
        assert "Markup" not in text
    assert f"{revision.cost:,.0f}" not in page
    assert f"{revision.cost:.2f}" not in file
    assert f"{revision.price:.2f}" in file


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_no_cell_of_the_file_can_be_taken_for_a_formula(start: str) -> None:
    text = csv_text(rows_of(1, house=f"{start}1+1", street=f"{start}A1"), list(MARGIN_COLUMNS))
    (row,) = csv.DictReader(io.StringIO(text, newline=""))
    assert row["House"] == f"'{start}1+1"
    assert row["Street"] == f"'{start}A1"
    assert row["Above target, points"] == "-2.00"
    assert harmless("Alder = Run") == "Alder = Run"


def test_the_file_is_saved_and_dated(owner: User, signed_in: Browse) -> None:
    response = signed_in(owner).get("/reports/margins.csv")
    assert response.headers["Content-Disposition"].startswith('attachment; filename="margins-2')
    assert response.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert response.headers["X-Content-Type-Options"] == "nosniff"


def test_the_chart_marks_the_target_of_every_bar_and_tells_misses_by_word_too() -> None:
    bars, targets = margin_chart(pd.concat([rows_of(1), rows_of(1, meets=True, margin=44.0)]))["data"]
    assert bars["type"] == "bar"
    assert len(bars["x"]) == len(targets["x"]) == 2
    assert ["below" in text for text in bars["text"]] == [True, False]
    assert len(set(bars["marker"]["color"])) == 2


def test_bars_begin_at_zero_and_a_loss_reaches_the_other_way() -> None:
    low, high = margin_chart(rows_of(2, margin=12.0))["layout"]["xaxis"]["range"]
    assert low == 0
    assert high > 42
    low, _ = margin_chart(rows_of(2, margin=-20.0))["layout"]["xaxis"]["range"]
    assert low < -20


def test_a_chart_of_many_houses_draws_only_as_many_as_can_be_read() -> None:
    bars, _ = margin_chart(rows_of(MOST_BARS + 5))["data"]
    assert len(bars["x"]) == MOST_BARS


def test_a_name_cannot_put_markup_into_the_chart(owner: User, signed_in: Browse, estimated: Estimated) -> None:
    figure = margin_chart(rows_of(1, house="<a href='x'>Mill</a>"))
    assert figure["layout"]["annotations"][0]["text"] == "&lt;a href='x'&gt;Mill&lt;/a&gt;"
    estimated(CAPE, name="</script><b>Mill</b>")
    tree = html.fromstring(signed_in(owner).get("/reports/margins/").content.decode())
    assert not tree.xpath("//b[.='Mill']")


def test_the_chart_library_comes_from_the_installed_package_and_nothing_else_does() -> None:
    found = finders.find("charts/plotly.min.js")
    assert Path(str(found)).stat().st_size > 1_000_000
    assert "site-packages" in str(found)
    for other in ("charts/../plotly.min.js", "charts/datasets/gapminder.csv.gz", "charts/", "plotly.min.js"):
        assert not finders.find(other)


def test_collecting_files_for_production_takes_the_chart_library_along() -> None:
    listed = [name for finder in finders.get_finders() for name, _ in finder.list([])]
    assert "plotly.min.js" in listed
    assert "css/cavitybook.css" in listed
