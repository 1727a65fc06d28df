"""The live estimate of a house: what it shows to whom, trying, keeping, freezing, and the second of two savers."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from lxml import html

from estimates.assessments import assessment_complete, assessment_from_record, assessment_put, assessment_to_record
from estimates.house import HouseRecord, house_from_json
from estimates.houses import house_put
from estimates.models import ActivityEntry, EstimateRevision, House, Proposal, User
from estimates.models.assessment import Assessment
from estimates.money import format_money
from estimates.price_books import price_book_publish
from estimates.pricebook import load_book
from estimates.rules import load_rules
from estimates.rules_table import rule_put
from estimates.snapshot import take_snapshot

pytestmark = pytest.mark.django_db

HOUSES = Path(__file__).resolve().parents[3] / "fixtures" / "houses"
NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)
Browse = Callable[[User], Client]
Measure = Callable[..., Assessment]


@pytest.fixture(autouse=True)
def own_folder(settings: Any, tmp_path: Path) -> None:
    settings.VAR_DIR = tmp_path
    settings.DOCUMENTS_DIR = tmp_path / "documents"


@pytest.fixture
def book(owner: User) -> None:
    price_book_publish(book=load_book("standard"), by=owner, now=NOW)
    for row in load_rules():
        rule_put(**{**asdict(row), "by": owner, "now": NOW})


@pytest.fixture
def measured(owner: User) -> Measure:
    def measure(name: str = "quarry-split", **changes: Any) -> Assessment:
        # A fixed day, so that the same figures are the same revision tomorrow.
        day = {"priced_on": NOW.date()}
        record = replace(house_from_json((HOUSES / f"{name}.json").read_text(encoding="utf-8")), **{**day, **changes})
        house = house_put(record=record, is_demo=False, created_by=owner, now=NOW)
        return assessment_from_record(house=house, record=record, by=owner, now=NOW)

    return measure


def url(verb: str, house: House, **more: Any) -> str:
    return reverse(f"estimates-{verb}", kwargs={"code": house.code, **more})


def page(client: Client, address: str, status: int = 200) -> html.HtmlElement:
    response = client.get(address)
    assert response.status_code == status
    return html.fromstring(response.content.decode())


def words(tree: html.HtmlElement) -> str:
    """What stands in a part of a page; of a whole page, in its content."""
    (part,) = tree.xpath("//main") if tree.tag == "html" else (tree,)
    return " ".join(part.text_content().split())


def typed(tree: html.HtmlElement) -> dict[str, str]:
    """What the form for trying would send as it stands."""
    form = tree.xpath("//form[@data-guard]")[0]
    fields = form.xpath(".//input[@name and @name != 'csrfmiddlewaretoken']")
    return {field.get("name"): field.get("value", "") for field in fields}


def run(assessment: Assessment, **changes: Any) -> Any:
    record = assessment_to_record(assessment)
    return take_snapshot(replace(record, **changes), load_book("standard"), rules=load_rules())


# --- What it shows ---------------------------------------------------------------------------------------------------


def test_price_margin_and_markup_stand_together_as_the_chain_has_them(
    owner: User, signed_in: Browse, measured: Measure, book: None
) -> None:
    assessment = measured()
    tree = page(signed_in(owner), url("show-estimate", assessment.house))
    rows = [words(row) for row in tree.xpath("//table[contains(@class,'live')]//tr[@class='sum']")]
    options = run(assessment).options
    assert [re.split(r"\$| on |\d", row)[0] for row in rows] == ["Price", "Margin", "Markup"]
    for priced in options:
        assert format_money(priced.price_cents) in rows[0]
        assert f"{priced.margin:.1%}"[:-1] in rows[1]
        assert f"{priced.markup:.1%}"[:-1] in rows[2]
    assert not EstimateRevision.objects.exists()


def test_every_line_opens_down_to_its_inputs(owner: User, signed_in: Browse, measured: Measure, book: None) -> None:
    assessment = measured("alder-foursquare")
    tree = page(signed_in(owner), url("show-estimate", assessment.house))
    lines = tree.xpath("//details[@class='line']")
    options = run(assessment).options
    assert len(lines) == sum(len(priced.lines) for priced in options)
    wall = next(words(line) for line in lines if "of room" in words(line))
    for part in ("waste", "÷ 24 ft³ from one", "whole mixes × $96.00", "3 people × 8 h", "an hour", "commission)"):
        assert part in wall


def test_a_bookkeeper_reads_prices_and_nothing_of_costs(
    bookkeeper: User, signed_in: Browse, measured: Measure, book: None
) -> None:
    assessment = measured()
    tree = page(signed_in(bookkeeper), url("show-estimate", assessment.house))
    text = words(tree)
    assert format_money(run(assessment).options[0].price_cents) in text
    for absent in ("argin", "arkup", "Direct cost", "ommission", "Freeze", "What if", "Price books"):
        assert absent not in text
    assert not tree.xpath("//details[@class='line']")
    assert not tree.xpath("//form[@data-guard]")


def test_a_house_without_an_assessment_says_what_comes_first(
    owner: User, signed_in: Browse, house: House, book: None
) -> None:
    assert "Nothing measured yet" in words(page(signed_in(owner), url("show-estimate", house)))


def test_without_a_price_book_the_page_says_who_publishes_one(
    owner: User, salesperson: User, signed_in: Browse, measured: Measure
) -> None:
    address = url("show-estimate", measured().house)
    boss = page(signed_in(owner), address)
    assert boss.xpath("//div[@class='empty']//a/@href") == [reverse("estimates-list-price-books")]
    assert "Ask the owner to publish one" in words(page(signed_in(salesperson), address))


def test_an_unfinished_assessment_says_what_is_missing_in_words(
    owner: User, signed_in: Browse, measured: Measure, book: None
) -> None:
    bare = {"walls": (), "quick_walls": (), "attics": (), "leak_sites": (), "options": (), "gate_answers": ()}
    tree = page(signed_in(owner), url("show-estimate", measured(**bare).house))
    assert "Nothing to work on; enter at least one wall, attic or leak site." in words(tree)
    assert "$." not in words(tree)


def test_old_prices_are_told(owner: User, signed_in: Browse, measured: Measure, book: None) -> None:
    late = measured(priced_on=NOW.replace(year=2027).date(), in_service_on=None)
    assert "Old prices" in words(page(signed_in(owner), url("show-estimate", late.house)))


def test_a_page_asks_the_database_the_same_few_things_whatever_the_house(
    owner: User, signed_in: Browse, measured: Measure, book: None, django_assert_max_num_queries: Any
) -> None:
    client, assessment = signed_in(owner), measured("alder-foursquare")
    with django_assert_max_num_queries(45):
        page(client, url("show-estimate", assessment.house))


# --- Trying ----------------------------------------------------------------------------------------------------------


def test_trying_shows_other_figures_and_writes_nothing(
    owner: User, signed_in: Browse, measured: Measure, book: None
) -> None:
    assessment, client = measured("mill-cape"), signed_in(owner)
    before = page(client, url("show-estimate", assessment.house))
    acts = ActivityEntry.objects.count()
    data = typed(before) | {"margin_all": "50", "discount_all": "$100", "reason_all": "Neighbour", "crew": "2"}
    response = client.post(url("try-estimate", assessment.house), data)
    assert response.status_code == 200
    tree = html.fromstring(response.content.decode())
    assert "These figures are only tried." in words(tree)
    assert "A crew of 2 keeps its speed a head" in words(tree)
    assert typed(tree)["margin_all"] == "50"
    assert "Discount: Neighbour" in words(tree)
    assert not tree.xpath("//button[text()='Freeze as revision']")
    assert ActivityEntry.objects.count() == acts
    assert assessment_to_record(assessment).options == ()


def test_htmx_gets_the_figures_alone(owner: User, signed_in: Browse, measured: Measure, book: None) -> None:
    assessment, client = measured("mill-cape"), signed_in(owner)
    data = typed(page(client, url("show-estimate", assessment.house))) | {"margin_all": "50 %"}
    response = client.post(url("try-estimate", assessment.house), data, headers={"HX-Request": "true"})
    text = response.content.decode()
    assert "<html" not in text
    assert "50.0" in text
    assert 'id="lines" hx-swap-oob="innerHTML"' in text


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"margin_all": "a lot"}, "Enter the margin wanted as a number, such as 40"),
        ({"margin_all": "96"}, "Enter a margin wanted of at most 95 %"),
        ({"discount_all": "50"}, "Enter why the price is lowered"),
        ({"discount_all": "-5"}, "Enter a discount of at least $0"),
        ({"crew": ""}, "Enter the crew size"),
        ({"crew": "20"}, "Enter a crew size of at most 12 people"),
    ],
)
def test_a_fault_is_told_by_its_label_and_everything_typed_is_kept(
    owner: User, signed_in: Browse, measured: Measure, book: None, change: dict[str, str], message: str
) -> None:
    assessment, client = measured("mill-cape"), signed_in(owner)
    data = typed(page(client, url("show-estimate", assessment.house))) | {"reason_all": ""} | change
    for verb in ("try-estimate", "keep-estimate"):
        response = client.post(url(verb, assessment.house), data)
        tree = html.fromstring(response.content.decode())
        assert message in words(tree.xpath("//div[@class='faults']")[0])
        assert tree.xpath("//title")[0].text_content().startswith("Error: ")
        assert typed(tree) == data
    part = client.post(url("try-estimate", assessment.house), data, headers={"HX-Request": "true"})
    assert part.headers["HX-Retarget"] == "#try-faults"
    assert message in html.fromstring(part.content.decode()).text_content()


def test_a_price_that_cannot_be_is_refused_in_words(
    owner: User, signed_in: Browse, measured: Measure, book: None
) -> None:
    assessment, client = measured("mill-cape"), signed_in(owner)
    data = typed(page(client, url("show-estimate", assessment.house))) | {"margin_all": "95"}
    tree = html.fromstring(client.post(url("try-estimate", assessment.house), data).content.decode())
    assert "leave nothing for the cost" in words(tree)
    assert typed(tree)["margin_all"] == "95"


# --- Keeping ---------------------------------------------------------------------------------------------------------


def test_keeping_writes_margin_discount_and_target_into_the_assessment_once(
    salesperson: User, signed_in: Browse, measured: Measure, book: None
) -> None:
    assessment, client = measured(), signed_in(salesperson)
    record = assessment_to_record(assessment)
    tree = page(client, url("show-estimate", assessment.house))
    first, attic = record.options[0].id, record.attics[0].id
    change = {f"margin_{first}": "38.5", f"discount_{first}": "120", f"reason_{first}": "Two at once", "crew": "2"}
    data = typed(tree) | change | {f"attic_{attic}": "R-38"}
    response = client.post(url("keep-estimate", assessment.house), data, follow=True)
    assert "Kept in assessment 1." in response.content.decode()
    kept = assessment_to_record(assessment)
    option = kept.options[0]
    assert (option.target_margin, option.discount, option.discount_reason) == (0.385, 120.0, "Two at once")
    assert kept.attics[0].target_r == 38.0
    # The same tap again comes with the version of before: it is told, and nothing is written.
    version = Assessment.objects.get(pk=assessment.pk).version
    again = client.post(url("keep-estimate", assessment.house), data)
    assert again.status_code == 409
    assert Assessment.objects.get(pk=assessment.pk).version == version


def test_keeping_what_is_there_says_so(owner: User, signed_in: Browse, measured: Measure, book: None) -> None:
    assessment, client = measured("mill-cape"), signed_in(owner)
    data = typed(page(client, url("show-estimate", assessment.house)))
    response = client.post(url("keep-estimate", assessment.house), data, follow=True)
    assert "Nothing to keep" in response.content.decode()
    assert Assessment.objects.get(pk=assessment.pk).version == 1


def test_keeping_over_a_completed_assessment_begins_the_next_one(
    owner: User, signed_in: Browse, measured: Measure, book: None
) -> None:
    assessment, client = measured("quarry-split"), signed_in(owner)
    assessment_complete(assessment=assessment, expected_version=1, by=owner, now=NOW)
    tree = page(client, url("show-estimate", assessment.house))
    name = assessment_to_record(assessment).options[0].id
    response = client.post(url("keep-estimate", assessment.house), typed(tree) | {f"margin_{name}": "39"}, follow=True)
    assert "began assessment 2" in response.content.decode()
    second = Assessment.objects.get(house=assessment.house, number=2)
    assert assessment_to_record(second).options[0].target_margin == 0.39
    assert assessment_to_record(assessment).options[0].target_margin is None


def test_the_second_of_two_savers_sees_both_and_loses_nothing(
    owner: User, salesperson: User, signed_in: Browse, measured: Measure, book: None
) -> None:
    assessment = measured("mill-cape")
    mine, theirs = signed_in(salesperson), signed_in(owner)
    address = url("show-estimate", assessment.house)
    data = typed(page(mine, address)) | {"margin_all": "40"}
    theirs.post(url("keep-estimate", assessment.house), typed(page(theirs, address)) | {"margin_all": "47"})
    response = mine.post(url("keep-estimate", assessment.house), data)
    assert response.status_code == 409
    tree = html.fromstring(response.content.decode())
    row = tree.xpath("//div[@role='alert']//tr[th[text()='Margin wanted']]")[0]
    assert [words(cell) for cell in row.xpath("./td")] == ["47", "40"]
    assert owner.full_name in words(tree.xpath("//div[@role='alert']")[0])
    assert typed(tree)["margin_all"] == "40"
    # Sent again as the page now stands, it holds.
    assert mine.post(url("keep-estimate", assessment.house), typed(tree)).status_code == 302
    assert assessment_to_record(assessment).options[0].target_margin == 0.4


# --- Freezing and releasing ------------------------------------------------------------------------------------------


def freeze(client: Client, assessment: Assessment, **change: str) -> Any:
    tree = page(client, url("show-estimate", assessment.house))
    form = tree.xpath("//form[.//button[text()='Freeze as revision']]")[0]
    data = {key: str(value) for key, value in form.form_values() if key != "csrfmiddlewaretoken"}
    return client.post(url("freeze-estimate", assessment.house), data | change, follow=True)


def test_freezing_makes_one_revision_of_what_was_shown(
    salesperson: User, signed_in: Browse, measured: Measure, book: None
) -> None:
    assessment, client = measured(), signed_in(salesperson)
    response = freeze(client, assessment)
    assert "Frozen as revision 1." in response.content.decode()
    revision = EstimateRevision.objects.get()
    assert revision.snapshot == run(assessment).text()
    tree = page(client, url("show-estimate", assessment.house))
    assert "These figures are revision 1" in words(tree)
    data = {"assessment": "1", "version": "1", "book": "standard"}
    again = client.post(url("freeze-estimate", assessment.house), data, follow=True)
    assert "Nothing has changed since revision 1" in again.content.decode()
    assert EstimateRevision.objects.count() == 1


def test_freezing_and_making_the_proposal_is_one_step(
    salesperson: User, signed_in: Browse, measured: Measure, book: None
) -> None:
    assessment, client = measured(), signed_in(salesperson)
    for act in (lambda: freeze(client, assessment, then="propose"), lambda: propose_again(client, assessment)):
        response = act()
        proposal = Proposal.objects.get()
        assert response.redirect_chain[-1][0] == reverse("estimates-check-proposal", kwargs={"code": proposal.code})
    assert (proposal.status, proposal.revision_number) == ("draft", 1)
    assert EstimateRevision.objects.count() == 1


def propose_again(client: Client, assessment: Assessment) -> Any:
    data = {"assessment": "1", "version": "1", "book": "standard", "then": "propose"}
    return client.post(url("freeze-estimate", assessment.house), data, follow=True)


def test_what_was_changed_in_between_is_looked_at_before_it_is_frozen(
    owner: User, signed_in: Browse, measured: Measure, book: None
) -> None:
    assessment, client = measured(), signed_in(owner)
    response = freeze(client, assessment, version="7")
    assert "changed in the meantime" in response.content.decode()
    for wrong in ("", "x", "9" * 30):
        assert client.post(url("freeze-estimate", assessment.house), {"version": wrong}).status_code == 302
    assert not EstimateRevision.objects.exists()


def test_what_changed_since_the_last_revision_is_told(
    owner: User, signed_in: Browse, measured: Measure, book: None
) -> None:
    assessment, client = measured(), signed_in(owner)
    freeze(client, assessment)
    record = assessment_to_record(assessment)
    wall = replace(record.walls[0], length_ft=record.walls[0].length_ft + 4)
    longer = replace(record, walls=(wall, *record.walls[1:]))
    assessment_put(assessment=assessment, record=longer, expected_version=1, by=owner, now=NOW)
    tree = page(client, url("show-estimate", assessment.house))
    since = words(tree.xpath("//details[summary[contains(., 'since revision 1')]]")[0])
    assert wall.name in since
    assert "more" in since


@pytest.fixture
def cheap(owner: User, signed_in: Browse, measured: Measure, book: None) -> Assessment:
    """A frozen house whose one option earns 20 %, below the floor."""
    assessment = measured("mill-cape")
    client = signed_in(owner)
    tree = page(client, url("show-estimate", assessment.house))
    client.post(url("keep-estimate", assessment.house), typed(tree) | {"margin_all": "20"})
    freeze(client, assessment)
    return Assessment.objects.get(pk=assessment.pk)


def test_below_the_floor_the_seller_asks_and_the_owner_releases(
    owner: User, salesperson: User, signed_in: Browse, cheap: Assessment
) -> None:
    address = url("show-estimate", cheap.house)
    seller = page(signed_in(salesperson), address)
    assert "ask the owner, who alone can release it" in words(seller)
    release = url("release-floor", cheap.house, number=1)
    assert release not in seller.xpath("//a/@href")
    assert signed_in(salesperson).get(release).status_code == 403
    client = signed_in(owner)
    assert release in page(client, address).xpath("//a/@href")
    tree = page(client, release)
    data = {"least_margin": tree.xpath("//input[@name='least_margin']/@value")[0], "reason": "Slow month"}
    response = client.post(release, data, follow=True)
    assert "may go out" in response.content.decode()
    proposal = Proposal.objects.get()
    assert (proposal.floor_released_by, proposal.floor_reason) == (owner, "Slow month")
    assert proposal.floor_least_margin is not None
    assert Decimal("0.19") < proposal.floor_least_margin <= Decimal("0.20")
    acts = ActivityEntry.objects.count()
    client.post(release, data)
    assert ActivityEntry.objects.count() == acts


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ({"least_margin": "20", "reason": "  "}, "Enter the reason"),
        ({"least_margin": "", "reason": "Slow month"}, "Enter the least margin"),
        ({"least_margin": "30", "reason": "Slow month"}, "or the lowest option stays held back"),
        ({"least_margin": "19.123", "reason": "Slow month"}, "two decimals at most"),
    ],
)
def test_a_release_without_reason_or_effect_is_refused(
    owner: User, signed_in: Browse, cheap: Assessment, data: dict[str, str], message: str
) -> None:
    response = signed_in(owner).post(url("release-floor", cheap.house, number=1), data)
    tree = html.fromstring(response.content.decode())
    assert message in words(tree.xpath("//div[@class='faults']")[0])
    assert tree.xpath("//textarea")[0].value.strip() == data["reason"].strip()
    assert not Proposal.objects.exists()


def test_the_price_at_the_floor_keeps_the_floor(owner: User, signed_in: Browse, cheap: Assessment) -> None:
    text = words(page(signed_in(owner), url("show-estimate", cheap.house)))
    found = re.search(r"At the floor the price would be about \$([\d,.]+\d)", text)
    assert found is not None
    price = float(found.group(1).replace(",", ""))
    cost = run(cheap).options[0].cost_cents / 100
    # D: (price - cost - 5 % commission) / price against the floor of the book.
    assert 0 <= (price - cost - 0.05 * price) / price - load_book("standard").best("floor_margin") < 1e-4


# --- Revisions -------------------------------------------------------------------------------------------------------


@pytest.fixture
def twice(owner: User, signed_in: Browse, measured: Measure, book: None) -> House:
    """A house with two revisions: the second has a longer wall and another margin."""
    assessment, client = measured(), signed_in(owner)
    freeze(client, assessment)
    record: HouseRecord = assessment_to_record(assessment)
    wall = replace(record.walls[0], length_ft=record.walls[0].length_ft + 4)
    option = replace(record.options[0], target_margin=0.4)
    changed = replace(record, walls=(wall, *record.walls[1:]), options=(option, *record.options[1:]))
    assessment_put(assessment=assessment, record=changed, expected_version=1, by=owner, now=NOW)
    freeze(client, assessment)
    return assessment.house


def test_revisions_are_listed_newest_first_with_prices_for_those_who_may_read_them(
    owner: User, scheduler: User, signed_in: Browse, twice: House, django_assert_num_queries: Any
) -> None:
    tree = page(signed_in(owner), url("list-revisions", twice))
    assert [words(cell) for cell in tree.xpath("//tbody//th")] == ["Revision 2", "Revision 1"]
    first = EstimateRevision.objects.get(number=1)
    assert format_money(int(first.price * 100)) in words(tree)
    assert "Direct cost" in words(tree)
    without = words(page(signed_in(scheduler), url("list-revisions", twice)))
    assert "$" not in without
    assert "cost" not in without
    client = signed_in(owner)
    with django_assert_num_queries(5):
        page(client, url("list-revisions", twice))


def test_an_older_revision_is_shown_as_it_was_frozen(owner: User, signed_in: Browse, twice: House) -> None:
    tree = page(signed_in(owner), url("show-revision", twice, number=1))
    first = EstimateRevision.objects.get(number=1)
    assert format_money(int(first.price * 100)) in words(tree)
    assert "The latest is revision 2" in words(tree)
    assert not tree.xpath("//section[@class='files']")
    page(signed_in(owner), url("show-revision", twice, number=3), 404)


def test_what_changed_between_two_revisions_is_told_in_words_and_dollars(
    owner: User, signed_in: Browse, twice: House
) -> None:
    text = words(page(signed_in(owner), url("compare-revisions", twice) + "?from=1&to=2"))
    first, second = EstimateRevision.objects.order_by("number")
    change = int((second.price - first.price) * 100)
    assert f"{format_money(abs(change))} {'more' if change > 0 else 'less'}" in text
    assert "26 ft → 30 ft" in text
    assert "left out → 40.0 %" in text
    assert "Margin" in text
    assert words(page(signed_in(owner), url("compare-revisions", twice) + "?from=99&to=x")) == text


def test_who_may_not_read_prices_is_told_of_the_house_alone(
    scheduler: User, bookkeeper: User, signed_in: Browse, twice: House
) -> None:
    without = words(page(signed_in(scheduler), url("compare-revisions", twice)))
    assert "26 ft → 30 ft" in without
    assert "Price" not in without
    assert "argin" not in without
    partly = words(page(signed_in(bookkeeper), url("compare-revisions", twice)))
    assert "Price" in partly
    assert "argin" not in partly
    assert "Direct cost" not in partly


def test_one_revision_alone_is_compared_with_nothing(
    owner: User, signed_in: Browse, measured: Measure, book: None
) -> None:
    assessment, client = measured(), signed_in(owner)
    freeze(client, assessment)
    assert "no two revisions" in words(page(client, url("compare-revisions", assessment.house)))
