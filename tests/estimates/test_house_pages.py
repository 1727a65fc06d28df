"""The list of houses, the page of a house, and its files."""

import io
import json
import re
import zipfile
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from lxml import html

from estimates.house import QuickWallRecord
from estimates.models import EstimateRevision, House, Role, User
from estimates.money import format_money
from estimates.office import OfficeFailed
from estimates.snapshot import canonical_json
from estimates.views import house_files

pytestmark = pytest.mark.django_db

Browse = Callable[[User], Client]
Estimated = Callable[..., EstimateRevision]
CAPE, SPLIT, FOURSQUARE = "mill-cape", "quarry-split", "alder-foursquare"


@pytest.fixture(autouse=True)
def own_folder(settings: Any, tmp_path: Path) -> None:
    settings.VAR_DIR = tmp_path
    settings.DOCUMENTS_DIR = tmp_path / "documents"


def page(client: Client, address: str, status: int = 200) -> html.HtmlElement:
    response = client.get(address)
    assert response.status_code == status
    return html.fromstring(response.content.decode())


def words(tree: html.HtmlElement) -> str:
    return " ".join(tree.text_content().split())


def house_address(revision: EstimateRevision) -> str:
    return reverse("estimates-show-house", kwargs={"code": revision.house.code})


def file_address(revision: EstimateRevision, name: str) -> str:
    return reverse("estimates-download-file", kwargs={"code": revision.house.code, "name": name})


def many_houses(count: int) -> None:
    House.objects.bulk_create(
        House(
            reference=f"row-{i:03}",
            name=f"Row house {i:03}",
            street=f"{i} Row Street",
            town="Fernhollow",
            state="NY",
            postal_code="12345",
            customer_name="Wren Halloran",
        )
        for i in range(count)
    )


# --- The list --------------------------------------------------------------------------------------------------------


def test_the_list_names_each_house_and_leads_to_it(owner: User, signed_in: Browse, estimated: Estimated) -> None:
    revision = estimated(CAPE)
    tree = page(signed_in(owner), "/houses/")
    (row,) = tree.xpath("//tbody/tr")
    assert row.xpath("./th[@scope='row']/a/@href") == [house_address(revision)]
    assert revision.house.street in words(row)
    assert revision.house.customer_name in words(row)
    assert "Mon 2 Mar 2026" in words(row)
    assert "1 house, as of" in words(tree.xpath("//caption")[0])
    assert {th.get("scope") for th in tree.xpath("//thead//th")} == {"col"}


def test_a_house_without_an_estimate_is_listed_as_not_yet_estimated(
    owner: User, signed_in: Browse, house: House
) -> None:
    assert "not yet" in words(page(signed_in(owner), "/houses/").xpath("//tbody/tr")[0])


def test_prices_are_listed_for_those_who_may_read_them_only(
    owner: User, scheduler: User, signed_in: Browse, estimated: Estimated
) -> None:
    shown = f"${round(estimated(CAPE).price):,}"
    assert shown in words(page(signed_in(owner), "/houses/"))
    without = words(page(signed_in(scheduler), "/houses/?sort=price"))
    assert "$" not in without
    assert "Price" not in without


def test_the_search_needs_every_word_somewhere_and_stays_in_the_address(
    owner: User, signed_in: Browse, estimated: Estimated
) -> None:
    estimated(CAPE), estimated(SPLIT)
    client = signed_in(owner)
    tree = page(client, "/houses/?find=quarry+sandstrand&sort=-town")
    assert [words(a) for a in tree.xpath("//tbody//a")] == ["Split-level on Quarry Bend"]
    assert tree.xpath("//input[@name='find']/@value") == ["quarry sandstrand"]
    assert tree.xpath("//input[@name='sort']/@value") == ["-town"]
    assert all("find=quarry+sandstrand" in link for link in tree.xpath("//thead//a/@href"))
    assert not page(client, "/houses/?find=quarry+mill").xpath("//tbody")


def test_a_search_without_a_match_says_so_and_offers_all_houses(owner: User, signed_in: Browse, house: House) -> None:
    tree = page(signed_in(owner), "/houses/?find=%3Cb%3Enowhere")
    assert "No house matches “<b>nowhere”" in words(tree)
    assert "?" in tree.xpath("//div[@class='empty']//a/@href")
    assert not tree.xpath("//main//b")


def test_without_houses_the_list_says_what_it_is_for(owner: User, signed_in: Browse) -> None:
    tree = page(signed_in(owner), "/houses/")
    assert "No houses yet" in words(tree)
    assert not tree.xpath("//table | //input[@name='find']")


def test_the_order_is_announced_and_can_be_turned_round(owner: User, signed_in: Browse) -> None:
    many_houses(3)
    client = signed_in(owner)
    first = page(client, "/houses/")
    assert [(words(th), th.get("aria-sort")) for th in first.xpath("//th[@aria-sort]")] == [("House", "ascending")]
    turned = page(client, "/houses/" + first.xpath("//th[@aria-sort]/a/@href")[0])
    assert turned.xpath("//th/@aria-sort") == ["descending"]
    assert [words(a) for a in turned.xpath("//tbody//a")] == [f"Row house {i:03}" for i in (2, 1, 0)]


def test_a_long_list_is_paged_and_every_house_stands_on_one_page(owner: User, signed_in: Browse) -> None:
    many_houses(55)
    client, seen, address = signed_in(owner), [], "/houses/?sort=town"
    while True:
        tree = page(client, address)
        seen += [words(a) for a in tree.xpath("//tbody//a")]
        following = tree.xpath("//a[@rel='next']/@href")
        if not following:
            break
        address = "/houses/" + following[0]
    assert seen == [f"Row house {i:03}" for i in range(55)]
    assert "51–55, the last ones" in words(tree.xpath("//caption")[0])


@pytest.mark.parametrize(
    "wrong",
    ["page=0", "page=-1", "page=9999", "page=9" * 30, "page=%C2%B2", "page=x", "sort=%00", "sort=code", "find=%00"],
)
def test_a_slip_in_the_address_shows_the_first_page(wrong: str, owner: User, signed_in: Browse) -> None:
    many_houses(2)
    assert len(page(signed_in(owner), f"/houses/?{wrong}").xpath("//tbody/tr")) == 2


@pytest.mark.parametrize("count", [1, 20, 60])
def test_the_list_takes_three_queries_however_many_houses_there_are(
    count: int, owner: User, signed_in: Browse, django_assert_num_queries: Any
) -> None:
    many_houses(count)
    client = signed_in(owner)
    with django_assert_num_queries(3):  # session, person, rows
        client.get("/houses/")


# --- A house ---------------------------------------------------------------------------------------------------------


def test_a_house_page_shows_who_where_and_what_is_wrong(owner: User, signed_in: Browse, estimated: Estimated) -> None:
    text = words(page(signed_in(owner), house_address(estimated(FOURSQUARE))))
    for part in (
        "Nerissa Quillfeather",
        "14 Alder Run, Tamarack Hollow, NY 00014",
        "The outside walls feel cold",
        "Dining room",
    ):
        assert part in text


def test_every_wall_is_drawn_and_measured(owner: User, signed_in: Browse, estimated: Estimated) -> None:
    revision = estimated(FOURSQUARE)
    tree = page(signed_in(owner), house_address(revision))
    recorded = json.loads(revision.snapshot)["house"]["walls"]
    drawn = tree.xpath("//article[@class='wall']")
    assert len(drawn) == len(recorded)
    for article, wall in zip(drawn, recorded):
        assert len(article.xpath(".//figure/*[local-name()='svg']")) == 1
        shown = words(article.xpath(".//th[.='Wall, corner to corner']/../td")[0])
        # Derived: a level wall is length times height, less the framing depth where it butts against another.
        whole = wall["length_ft"] * wall["height_ft"]
        assert 0.9 * whole - 0.5 <= float(shown.split()[0].replace(",", "")) <= whole + 0.5


def test_a_page_of_many_drawings_uses_no_id_twice_and_no_style(
    owner: User, signed_in: Browse, estimated: Estimated
) -> None:
    tree = page(signed_in(owner), house_address(estimated(FOURSQUARE)))
    ids = tree.xpath("//@id")
    assert len(ids) == len(set(ids))
    assert not tree.xpath("//@style | //style | //script[not(@src)]")
    assert not [name for element in tree.iter() for name in element.attrib if str(name).startswith("on")]
    targets = {link[1:] for link in tree.xpath("//a/@href") if link.startswith("#")}
    assert targets <= set(ids)


def test_walls_known_by_a_few_figures_say_why_they_are_not_drawn(
    owner: User, signed_in: Browse, estimated: Estimated
) -> None:
    quick = QuickWallRecord(id="round", name="All round", perimeter_ft=120.0, storeys=1, storey_height_ft=8.0)
    tree = page(signed_in(owner), house_address(estimated(CAPE, walls=(), quick_walls=(quick,), options=())))
    (article,) = tree.xpath("//article[@class='wall']")
    assert not article.xpath(".//figure")
    assert "No drawing yet" in words(article)
    # Derived: 120 ft x 8 ft.
    assert words(article.xpath(".//th[.='Wall, corner to corner']/../td")[0]) == "960 ft²"


def test_a_wall_that_must_not_be_filled_says_why(owner: User, signed_in: Browse, estimated: Estimated) -> None:
    text = words(page(signed_in(owner), house_address(estimated(SPLIT))))
    assert "Not filled and not in the price" in text
    assert "Not worth filling: 0.50 in left beside the old insulation" in text


def money_texts(revision: EstimateRevision) -> tuple[set[str], set[str]]:
    """Every price, and every cost or share of a price, that the estimate holds."""
    prices, costs = set(), set()
    for option in json.loads(revision.snapshot)["estimate"]["options"]:
        prices |= {option["price_cents"], option["total_cents"], option["net_cents"], option["tax"]["cents"]}
        prices |= {step["cents"] for step in option["payments"]}
        costs |= {option["direct_cost_cents"], option["commission_cents"], option["overhead_cents"]}
        for line in option["lines"]:
            prices.add(line["price_cents"])
            costs |= {line["direct_cost_cents"], *line["direct_cost_parts_cents"].values()}
    return {format_money(cents) for cents in prices}, {format_money(cents) for cents in costs - prices - {0}}


COST_WORDS = ("margin", "markup", "direct cost", "commission", "labour", "contingency")


@pytest.mark.parametrize("role", [Role.OWNER, Role.SALESPERSON])
def test_those_who_sell_see_every_price_and_every_cost(
    role: Role, person: Callable[..., User], signed_in: Browse, estimated: Estimated
) -> None:
    revision = estimated(FOURSQUARE)
    text = words(page(signed_in(person(role)), house_address(revision)))
    prices, costs = money_texts(revision)
    assert {amount for amount in prices | costs if amount not in text} == set()
    assert all(word in text.lower() for word in COST_WORDS)


def test_the_range_of_cost_and_margin_stands_beside_them(
    owner: User, bookkeeper: User, signed_in: Browse, estimated: Estimated
) -> None:
    revision = estimated(FOURSQUARE)
    option = json.loads(revision.snapshot)["estimate"]["options"][0]
    low, high = (round(option["direct_cost_range_cents"][end] / 100) for end in ("p10", "p90"))
    shown = f"${low:,}–${high:,}"
    assert shown in words(page(signed_in(owner), house_address(revision)))
    assert shown not in signed_in(bookkeeper).get(house_address(revision)).content.decode()


def test_the_bookkeeper_sees_prices_and_is_sent_no_cost(
    bookkeeper: User, signed_in: Browse, estimated: Estimated
) -> None:
    revision = estimated(FOURSQUARE)
    source = signed_in(bookkeeper).get(house_address(revision)).content.decode()
    prices, costs = money_texts(revision)
    assert {amount for amount in prices if amount not in source} == set()
    assert {amount for amount in costs if amount in source} == set()
    assert not [word for word in COST_WORDS if word in words(html.fromstring(source).xpath("//main")[0]).lower()]


def test_the_scheduler_is_sent_neither_price_nor_cost(scheduler: User, signed_in: Browse, estimated: Estimated) -> None:
    revision = estimated(FOURSQUARE)
    source = signed_in(scheduler).get(house_address(revision)).content.decode()
    prices, costs = money_texts(revision)
    assert {amount for amount in prices | costs if amount in source} == set()
    assert not [word for word in (*COST_WORDS, "deposit", "price book") if word in source.lower()]
    assert "/files/" not in source
    assert "Front (south)" in source


def test_margin_and_markup_follow_from_the_shown_price_and_cost(
    owner: User, signed_in: Browse, estimated: Estimated
) -> None:
    tree = page(signed_in(owner), house_address(estimated(CAPE)))

    def shown(head: str) -> Decimal:
        return Decimal(
            re.sub(r"[^\d.]", "", words(tree.xpath(f"//table[contains(@class,'options')]//th[.='{head}']/../td")[0]))
        )

    price, cost, commission = shown("Price"), shown("Direct cost"), shown("Commission")
    # Derived from the definitions; half the last printed digit is 0.05 points.
    near = Decimal("0.0501")
    assert abs(shown("Margin before commission") - 100 * (price - cost) / price) < near
    assert abs(shown("Margin after commission") - 100 * (price - cost - commission) / price) < near
    assert abs(shown("Markup on direct cost") - 100 * (price - cost) / cost) < near
    net = price - cost - commission - shown("Overhead")
    assert abs(shown("Net margin, after overhead") - 100 * net / price) < near
    assert price + shown("Sales tax") == shown("Total")
    (payments,) = tree.xpath("//table[contains(@class,'options')]//th[.='Payments']/../td")
    assert sum(Decimal(re.sub(r"[^\d.]", "", words(step))) for step in payments.xpath("p")) == shown("Total")


def test_lines_add_up_to_the_shown_total_and_parts_to_their_line(
    owner: User, signed_in: Browse, estimated: Estimated
) -> None:
    tree = page(signed_in(owner), house_address(estimated(CAPE)))

    def cents(element: html.HtmlElement) -> int:
        return int(re.sub(r"\D", "", element.text_content()))

    rows = tree.xpath("//table[contains(@class,'lines')]/tbody/tr")
    total = tree.xpath("//table[contains(@class,'lines')]/tfoot//td[@data-label='Price']")[0]
    assert sum(cents(row.xpath("./td[@data-label='Price']")[0]) for row in rows) == cents(total)
    for row in rows:
        assert sum(cents(part) for part in row.xpath(".//dd")) == cents(row.xpath("./td[@data-label='Price']")[0])


def test_names_out_of_a_record_cannot_become_markup(owner: User, signed_in: Browse, estimated: Estimated) -> None:
    nasty = "<img src=x onerror=1> & “co”"
    revision = estimated(CAPE, name=nasty, customer=nasty)
    tree = page(signed_in(owner), house_address(revision))
    assert words(tree.xpath("//h1")[0]) == nasty
    assert not tree.xpath("//img")


def test_a_house_without_an_estimate_says_what_is_missing(owner: User, signed_in: Browse, house: House) -> None:
    text = words(page(signed_in(owner), reverse("estimates-show-house", kwargs={"code": house.code})))
    assert "No estimate yet" in text
    assert "Wren Halloran" in text


def test_the_latest_of_several_estimates_is_shown(owner: User, signed_in: Browse, estimated: Estimated) -> None:
    estimated(CAPE)
    second = estimated(CAPE, bedrooms=7)
    assert second.number == 2
    assert "Estimate revision 2" in words(page(signed_in(owner), house_address(second)))


def test_a_house_that_does_not_exist_is_not_found(owner: User, signed_in: Browse) -> None:
    page(signed_in(owner), "/houses/00000000-0000-4000-8000-000000000000/", 404)


def test_a_house_page_cannot_be_posted_to(owner: User, signed_in: Browse, estimated: Estimated) -> None:
    assert signed_in(owner).post(house_address(estimated(CAPE))).status_code == 405


# --- Files -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["takeoff", "performance", "estimate"])
def test_a_json_file_is_the_frozen_form_byte_for_byte(
    name: str, salesperson: User, signed_in: Browse, estimated: Estimated
) -> None:
    revision = estimated(CAPE)
    response = signed_in(salesperson).get(file_address(revision, f"{name}.json"))
    assert b"".join(response) == canonical_json(json.loads(revision.snapshot)[name]).encode()
    assert response.headers["Content-Type"] == "application/json"
    assert response.headers["Content-Disposition"] == f'attachment; filename="mill-cape-revision-1-{name}.json"'
    assert response.headers["X-Content-Type-Options"] == "nosniff"


def test_the_estimate_file_is_not_for_those_who_may_read_no_cost(
    bookkeeper: User, signed_in: Browse, estimated: Estimated
) -> None:
    revision = estimated(CAPE)
    client = signed_in(bookkeeper)
    assert client.get(file_address(revision, "estimate.json")).status_code == 403
    assert "estimate.json" not in client.get(house_address(revision)).content.decode()


def test_the_takeoff_of_the_bookkeeper_holds_no_cost_of_material(
    bookkeeper: User, owner: User, signed_in: Browse, estimated: Estimated
) -> None:
    address = file_address(estimated(CAPE), "takeoff.json")
    kept, whole = (json.loads(b"".join(signed_in(who).get(address))) for who in (bookkeeper, owner))
    assert "dollars" not in json.dumps(kept)
    assert "dollars" in json.dumps(whole)
    assert kept["walls"] == whole["walls"]


def test_the_proposal_is_a_document_to_be_saved(bookkeeper: User, signed_in: Browse, estimated: Estimated) -> None:
    revision = estimated(CAPE)
    response = signed_in(bookkeeper).get(file_address(revision, "proposal.docx"))
    assert "wordprocessingml" in response.headers["Content-Type"]
    assert response.headers["Content-Disposition"].startswith("attachment")
    with zipfile.ZipFile(io.BytesIO(b"".join(response))) as paper:
        text = re.sub("<[^>]+>", "", paper.read("word/document.xml").decode())
    assert revision.house.customer_name in text


def test_the_pdf_is_offered_and_made_where_there_is_an_office(
    owner: User, signed_in: Browse, estimated: Estimated, libreoffice: str
) -> None:
    revision = estimated(CAPE)
    client = signed_in(owner)
    assert file_address(revision, "proposal.pdf") in client.get(house_address(revision)).content.decode()
    response = client.get(file_address(revision, "proposal.pdf"))
    assert response.headers["Content-Type"] == "application/pdf"
    assert b"".join(response).startswith(b"%PDF-")


def test_without_an_office_no_pdf_is_offered(
    owner: User, signed_in: Browse, estimated: Estimated, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(house_files, "office_path", lambda: None)
    monkeypatch.setattr(house_files, "write_pdf", lambda path: None)
    revision = estimated(CAPE)
    client = signed_in(owner)
    assert "proposal.pdf" not in client.get(house_address(revision)).content.decode()
    assert client.get(file_address(revision, "proposal.pdf")).status_code == 404


def test_when_the_office_fails_the_page_says_what_to_fetch_instead(
    owner: User, signed_in: Browse, estimated: Estimated, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(path: Path) -> None:
        raise OfficeFailed("no PDF within 120 s")

    monkeypatch.setattr(house_files, "write_pdf", fail)
    text = words(page(signed_in(owner), file_address(estimated(CAPE), "proposal.pdf"), 503))
    assert "Fetch the proposal for a word processor" in text
    assert "120 s" not in text


def test_an_estimate_of_an_older_engine_without_a_paper_says_what_to_do(
    owner: User, signed_in: Browse, estimated: Estimated, freeze_revision: Callable[..., EstimateRevision]
) -> None:
    house = estimated(CAPE).house
    frozen = json.loads(house.revisions.first().snapshot)
    frozen["takeoff"]["walls"][0]["mixes"] += 1
    older = freeze_revision(house=house, snapshot=canonical_json(frozen))
    text = words(page(signed_in(owner), file_address(older, "proposal.docx"), 503))
    assert "Estimate the house again" in text


@pytest.mark.parametrize(
    "name", ["house.json", "price_book.json", "secret_key", "proposal.doc", "..%2f..%2fsecret_key"]
)
def test_nothing_but_the_named_files_can_be_fetched(
    name: str, owner: User, signed_in: Browse, estimated: Estimated
) -> None:
    folder = house_address(estimated(CAPE))
    assert signed_in(owner).get(f"{folder}files/{name}").status_code == 404


def test_the_scheduler_may_not_fetch_a_file(scheduler: User, signed_in: Browse, estimated: Estimated) -> None:
    assert signed_in(scheduler).get(file_address(estimated(CAPE), "takeoff.json")).status_code == 403
