"""The pages of price books: reading, the editor, the check before publishing, and what a change would do."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from lxml import html

from estimates.forms.price_book_words import RATE_GROUPS, RATE_WORDS, SHARES_OF_ONE
from estimates.forms.price_books import PriceBookForms
from estimates.models import EstimateRevision, PriceBookVersion, User
from estimates.money import format_money
from estimates.price_books import price_book_of, price_book_publish
from estimates.pricebook import RATES, load_book
from estimates.proposals import proposal_draft

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)
BOOK = load_book("standard")
Browse = Callable[[User], Client]
Estimated = Callable[..., EstimateRevision]
LIST = "/price-books/"
LABOUR = RATE_WORDS["labour"].capitalize()


@pytest.fixture
def version(owner: User) -> PriceBookVersion:
    return price_book_publish(book=BOOK, by=owner, now=NOW)


def url(verb: str, **arguments: Any) -> str:
    return reverse(f"estimates-{verb}", kwargs=arguments)


def tree_of(response: Any, status: int = 200) -> html.HtmlElement:
    assert response.status_code == status
    return html.fromstring(response.content.decode())


def words(tree: html.HtmlElement) -> str:
    (part,) = tree.xpath("//main") if tree.tag == "html" else (tree,)
    return " ".join(part.text_content().split())


def typed(tree: html.HtmlElement, place: str = "//form[@data-guard]") -> dict[str, str]:
    """What a form would send as it stands."""
    form = tree.xpath(place)[0]
    fields = form.xpath(".//input[@name and @name != 'csrfmiddlewaretoken'] | .//select | .//textarea")
    # A browser drops the line break that a text area begins with.
    boxes = ("checkbox", "radio")
    return {
        field.get("name"): str(
            field.get("value", "on") if field.get("type") in boxes else field.value or ""
        ).removeprefix("\n")
        for field in fields
        if field.get("type") not in boxes or field.get("checked") is not None
    }


NEW = "/price-books/standard/next/"
PUBLISH = "/price-books/standard/publish/"


def next_day() -> str:
    return (timezone.localdate() + timedelta(days=3)).isoformat()


# --- Words -----------------------------------------------------------------------------------------------------------


def test_every_rate_has_its_words_and_stands_in_one_group() -> None:
    assert sorted(RATE_WORDS) == sorted(RATES)
    assert sum(len(rates) for rates in RATE_GROUPS.values()) == len(RATES)
    assert len(set(RATE_WORDS.values())) == len(RATES)
    assert set(RATES) >= SHARES_OF_ONE


# --- Reading ---------------------------------------------------------------------------------------------------------


def test_versions_are_listed_with_their_days_and_who_published_them(
    owner: User, salesperson: User, signed_in: Browse, version: PriceBookVersion
) -> None:
    later = replace(BOOK, version=2, effective_from=timezone.localdate() + timedelta(days=30))
    price_book_publish(book=later, by=owner, now=NOW)
    tree = tree_of(signed_in(salesperson).get(LIST))
    rows = [words(row) for row in tree.xpath("//tbody/tr")]
    assert "version 2 to come" in rows[0]
    assert "version 1 holds today" in rows[1]
    assert owner.full_name in rows[1]
    assert not any(NEW in link for link in tree.xpath("//a/@href"))


def test_a_version_shows_products_with_their_tables_and_rates_with_their_ranges(
    salesperson: User, signed_in: Browse, version: PriceBookVersion
) -> None:
    tree = tree_of(signed_in(salesperson).get(url("show-price-book", code=version.code)))
    fact = [words(row) for row in tree.xpath("//table[.//caption[contains(., 'Fact sheet')]]//tbody/tr")]
    assert fact[1].split() == ["3.5", "in13.7"] or fact[1].replace("\u00a0", " ") == "3.5 in13.7"
    row = tree.xpath("//tr[th[text()='Walls filled a day, cladding lifted']]")[0]
    assert [words(cell) for cell in row.xpath("./td")][:4] == ["500", "800", "1200", "ft²/day"]
    share = tree.xpath("//tr[th[text()='Contingency on direct cost']]")[0]
    assert [words(cell) for cell in share.xpath("./td")][1:4] == ["4", "", "%"]


def test_a_version_says_what_changed_since_the_one_before(
    owner: User, signed_in: Browse, version: PriceBookVersion
) -> None:
    rates = tuple(replace(rate, best=61.5) if rate.id == "labour" else rate for rate in BOOK.rates)
    second = replace(BOOK, version=2, effective_from=date(2026, 6, 1), rates=rates)
    code = price_book_publish(book=second, by=owner, now=NOW).code
    tree = tree_of(signed_in(owner).get(url("show-price-book", code=code)))
    changed = tree.xpath("//section[h2[@id='changes']]//li")
    assert [words(item) for item in changed] == [f"{LABOUR}: Best: 58 → 61.5"]


def test_old_prices_are_told_and_who_may_publish_is_led_on(owner: User, signed_in: Browse) -> None:
    price_book_publish(book=replace(BOOK, effective_from=date(2020, 1, 1)), by=owner, now=NOW)
    tree = tree_of(signed_in(owner).get(LIST))
    assert "Old prices" in words(tree)
    assert NEW in tree.xpath("//a/@href")


def test_before_anything_is_published_the_owner_is_led_to_the_first_book(
    owner: User, salesperson: User, signed_in: Browse
) -> None:
    assert NEW in tree_of(signed_in(owner).get(LIST)).xpath("//main//a/@href")
    seller = tree_of(signed_in(salesperson).get(LIST))
    assert "Ask the owner to publish it" in words(seller)
    assert tree_of(signed_in(owner).get("/price-books/none-such/next/"), 404) is not None


def test_the_list_asks_the_database_the_same_whatever_the_number_of_versions(
    owner: User, signed_in: Browse, version: PriceBookVersion, django_assert_num_queries: Any
) -> None:
    for number in range(2, 6):
        book = replace(BOOK, version=number, effective_from=date(2026, number, 1))
        price_book_publish(book=book, by=owner, now=NOW)
    client = signed_in(owner)
    with django_assert_num_queries(4):
        client.get(LIST)


# --- The editor ------------------------------------------------------------------------------------------------------


def test_the_editor_sent_as_it_stands_gives_the_same_book(
    owner: User, signed_in: Browse, version: PriceBookVersion
) -> None:
    data = typed(tree_of(signed_in(owner).get(NEW)))
    forms = PriceBookForms(BOOK, base=1, first_day=timezone.localdate(), data=data)
    assert forms.is_valid(), [form.errors for form in forms.all_forms if form.errors]
    as_it_was = replace(forms.next_book(), version=1, effective_from=BOOK.effective_from)
    assert as_it_was == BOOK


def test_a_version_is_checked_then_published_once(
    owner: User, signed_in: Browse, version: PriceBookVersion, estimated: Estimated
) -> None:
    revision = estimated("mill-cape")
    proposal_draft(revision=revision, by=owner, now=NOW)
    client = signed_in(owner)
    data = typed(tree_of(client.get(NEW))) | {
        "rate-labour-best": "$61.50",
        "foam-mineral-foam-cost_per_mix": "104",
        "foam-mineral-foam-row5-thickness_in": "9 1/4",
        "foam-mineral-foam-row5-r": "36",
        "rate-contingency-best": "5 %",
        "book-effective_from": next_day(),
    }
    checked = tree_of(client.post(NEW, data))
    assert "Check before publishing" in words(checked)
    assert f"{LABOUR}: Best: 58 → 61.5" in words(checked)
    assert revision.house.name in words(checked)
    assert PriceBookVersion.objects.count() == 1
    carried = typed(checked, f"//form[@action='{PUBLISH}']")
    answer = client.post(PUBLISH, carried, follow=True)
    assert "Version 2 is published" in answer.content.decode()
    second = price_book_of(PriceBookVersion.objects.get(version=2))
    assert second.best("labour") == 61.5
    assert second.best("contingency") == 0.05
    assert second.foam.cost_per_mix == 104
    assert [row.r for row in second.foam.facts] == [7.8, 13.7, 14.1, 21.5, 28.3, 36.0]
    assert [rate.id for rate in second.rates] == [rate.id for rate in BOOK.rates]
    # The same tap again leads to the version that is there.
    again = client.post(PUBLISH, carried, follow=True)
    assert "Version 2 is published already" in again.content.decode()
    assert PriceBookVersion.objects.count() == 2
    assert EstimateRevision.objects.get(pk=revision.pk).price == revision.price


def test_the_first_version_can_be_published_as_it_comes(owner: User, signed_in: Browse) -> None:
    client = signed_in(owner)
    checked = tree_of(client.post(NEW, typed(tree_of(client.get(NEW)))))
    client.post(PUBLISH, typed(checked, f"//form[@action='{PUBLISH}']"))
    assert price_book_of(PriceBookVersion.objects.get()) == BOOK


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"rate-labour-best": ""}, f"Enter the best value of {RATE_WORDS['labour']}"),
        ({"rate-labour-best": "much"}, "as a number, such as"),
        ({"rate-face_set_up-low": "2"}, "that is not above the best one"),
        ({"rate-face_set_up-high": "0.1"}, "that is not below the best one"),
        ({"rate-target_margin-best": "100"}, "of at most 99.99 %"),
        ({"foam-mineral-foam-yield_ft3": "0"}, "Enter a foam from one mix, best above 0 ft³"),
        ({"foam-mineral-foam-drying_days": "2.5"}, "as a whole number"),
        ({"foam-mineral-foam-row5-r": "36"}, "Enter the listed thickness too"),
        ({"leak-top_plate-hours": "-1"}, "above 0 h"),
        ({"book-effective_from": "2026-01-01"}, "Enter a first day after 2026-01-01"),
        ({"book-effective_from": "soon"}, "Enter a day, such as 2026-03-05"),
    ],
)
def test_a_fault_is_told_at_its_field_and_everything_typed_is_kept(
    owner: User, signed_in: Browse, version: PriceBookVersion, change: dict[str, str], message: str
) -> None:
    client = signed_in(owner)
    data = typed(tree_of(client.get(NEW))) | {"book-name": "Summer"} | change
    for address in (NEW, PUBLISH):
        tree = tree_of(client.post(address, data))
        assert message in words(tree.xpath("//div[@class='faults']")[0])
        assert tree.xpath("//title")[0].text_content().startswith("Error: ")
        assert typed(tree) == data
    assert PriceBookVersion.objects.count() == 1


def new_foam() -> dict[str, str]:
    foam = {
        "name": "Light injection foam", "kind": "Cementitious foam, injected", "mark": "M", "cost_per_mix": "88",
        "yield_ft3": "26", "yield_low_ft3": "24", "yield_high_ft3": "27", "waste": "6 %", "wet_lb_ft3": "4.5",
        "dry_lb_ft3": "1.8", "least_temp_f": "40 F", "least_thickness_in": "1", "drying_days": "28",
        "shrinkage_low": "0", "shrinkage_high": "1", "permeance_perm_in": "18", "row0-thickness_in": "5.5",
        "row0-r": "20", "row1-thickness_in": "3 1/2", "row1-r": "12.7",
    }  # fmt: skip
    return {f"newfoam-{name}": value for name, value in foam.items()}


def test_a_product_is_added_and_another_left_out(owner: User, signed_in: Browse, version: PriceBookVersion) -> None:
    client = signed_in(owner)
    data = typed(tree_of(client.get(NEW))) | new_foam() | {"book-effective_from": next_day()}
    data |= {"fill-cellulose-left_out": "on", "book-first_fill": "glass"}
    checked = tree_of(client.post(NEW, data))
    assert "Light injection foam: Foams added" in words(checked)
    assert "Stabilised cellulose: Loose fills taken away" in words(checked)
    client.post(PUBLISH, typed(checked, f"//form[@action='{PUBLISH}']"))
    second = price_book_of(PriceBookVersion.objects.get(version=2))
    assert [(foam.id, foam.waste) for foam in second.foams] == [("mineral-foam", 0.07), ("light-injection-foam", 0.06)]
    assert [(row.thickness_in, row.r) for row in second.foams[1].facts] == [(3.5, 12.7), (5.5, 20.0)]
    assert [fill.id for fill in second.loose_fills] == ["glass"]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"newfoam-name": "Half a foam"}, "Enter the type of insulation as papers must state it too"),
        (new_foam() | {"newfoam-row0-thickness_in": "", "newfoam-row1-r": ""}, "Enter the listed thickness too"),
        (
            {name: value for name, value in new_foam().items() if "row" not in name},
            "Enter at least one row in the table of Light injection foam",
        ),
        (new_foam() | {"newfoam-yield_low_ft3": "30"}, "in rising order"),
        ({"fill-cellulose-left_out": "on"}, "Choose one that is not left out"),
        ({"leak-top_plate-low_h": "3"}, "in rising order"),
    ],
)
def test_half_a_product_is_refused_by_what_it_lacks(
    owner: User, signed_in: Browse, version: PriceBookVersion, change: dict[str, str], message: str
) -> None:
    client = signed_in(owner)
    data = typed(tree_of(client.get(NEW))) | {"book-effective_from": next_day()} | change
    tree = tree_of(client.post(NEW, data))
    assert message in words(tree.xpath("//div[@class='faults']")[0])
    assert typed(tree) == data


def test_figures_that_leave_nothing_for_the_cost_are_refused_in_words(
    owner: User, signed_in: Browse, version: PriceBookVersion, estimated: Estimated
) -> None:
    proposal_draft(revision=estimated("mill-cape"), by=owner, now=NOW)
    client = signed_in(owner)
    data = typed(tree_of(client.get(NEW))) | {"rate-target_margin-best": "97", "book-effective_from": next_day()}
    tree = tree_of(client.post(NEW, data))
    assert "leave nothing for the cost" in words(tree)
    assert typed(tree)["rate-target_margin-best"] == "97"


def test_back_to_the_figures_keeps_what_was_typed(owner: User, signed_in: Browse, version: PriceBookVersion) -> None:
    client = signed_in(owner)
    data = typed(tree_of(client.get(NEW))) | {"rate-labour-best": "70"}
    tree = tree_of(client.post(NEW, data | {"do": "change"}))
    assert typed(tree)["rate-labour-best"] == "70"


def test_the_second_of_two_publishers_sees_the_other_version_and_keeps_the_words(
    owner: User, person: Callable[..., User], signed_in: Browse, version: PriceBookVersion
) -> None:
    client = signed_in(owner)
    day = (timezone.localdate() + timedelta(days=9)).isoformat()
    data = typed(tree_of(client.get(NEW))) | {"rate-labour-best": "70", "book-effective_from": day}
    other = person("owner", "Ottoline Birch")
    theirs = replace(BOOK, version=2, effective_from=timezone.localdate() + timedelta(days=1))
    price_book_publish(book=theirs, by=other, now=NOW)
    for address in (NEW, PUBLISH):
        tree = tree_of(client.post(address, data), 409)
        alert = words(tree.xpath("//div[@role='alert']")[0])
        assert "Ottoline Birch published version 2" in alert
        assert f"{LABOUR}: Best: 58 → 70" in alert
        assert typed(tree) == data | {"book-base": "2"}
    checked = tree_of(client.post(NEW, typed(tree)))
    client.post(PUBLISH, typed(checked, f"//form[@action='{PUBLISH}']"))
    assert PriceBookVersion.objects.get(version=3).published_by == owner


def test_only_the_owner_edits_and_publishes(
    salesperson: User, bookkeeper: User, signed_in: Browse, version: PriceBookVersion
) -> None:
    for user in (salesperson, bookkeeper):
        assert signed_in(user).get(NEW).status_code == 403
        assert signed_in(user).post(PUBLISH, {}).status_code == 403
    assert signed_in(bookkeeper).get(LIST).status_code == 403


# --- What if ---------------------------------------------------------------------------------------------------------


def tried(client: Client, version: PriceBookVersion, **data: str) -> html.HtmlElement:
    return tree_of(client.get(url("try-price-book", code=version.code), data))


def test_dearer_labour_shows_old_and_new_price_and_what_falls_below_the_floor(
    salesperson: User, signed_in: Browse, version: PriceBookVersion, estimated: Estimated
) -> None:
    revision = estimated("mill-cape")
    proposal = proposal_draft(revision=revision, by=salesperson, now=NOW)
    estimated("quarry-split")  # neither proposed nor being assessed: not on the page
    tree = tried(signed_in(salesperson), version, what="labour", percent="80")
    (row,) = tree.xpath("//table[contains(@class,'reach')]/tbody/tr")
    frozen = json.loads(revision.snapshot)["estimate"]["options"][0]
    text = words(row)
    assert proposal.number in text
    assert format_money(frozen["price_cents"]) in text
    assert "falls below 35" in text
    assert "1 of 1 options" in words(tree)
    assert PriceBookVersion.objects.count() == 1
    calm = words(tried(signed_in(salesperson), version, what="labour", percent="0"))
    assert "0 of 1 options" in calm
    assert "would cost the same" in calm


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ({"what": "labour", "percent": "lots"}, "Enter the change as a number"),
        ({"what": "labour", "percent": ""}, "Enter the change"),
        ({"what": "moonlight", "percent": "5"}, "Choose the figure from the list"),
        ({"what": "labour", "percent": "-95"}, "Enter a change of at least -90 %"),
    ],
)
def test_a_what_if_that_is_none_is_told(
    owner: User, signed_in: Browse, version: PriceBookVersion, data: dict[str, str], message: str
) -> None:
    tree = tried(signed_in(owner), version, **data)
    assert message in words(tree.xpath("//div[@class='faults']")[0])


def test_with_nothing_offered_the_page_says_so(owner: User, signed_in: Browse, version: PriceBookVersion) -> None:
    assert "Nothing is offered just now" in words(tried(signed_in(owner), version, what="foam", percent="12"))


def test_all_offers_are_read_in_one_go(
    owner: User, signed_in: Browse, version: PriceBookVersion, estimated: Estimated, django_assert_num_queries: Any
) -> None:
    client = signed_in(owner)
    for name in ("mill-cape", "quarry-split", "alder-foursquare"):
        proposal_draft(revision=estimated(name), by=owner, now=NOW)
    with django_assert_num_queries(6):
        tree = tried(client, version, what="foam", percent="12")
    assert len(tree.xpath("//table[contains(@class,'reach')]/tbody/tr")) == 6
