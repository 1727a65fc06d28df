"""The assessment in the browser's words: nothing typed is lost, gates hold, prices are for those who may read them."""

from __future__ import annotations

import dataclasses
import html
import io
import json
import re
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from estimates.assessments import assessment_from_record, assessment_put, assessment_to_record
from estimates.forms.record_form import full_form
from estimates.gates import load_hazards
from estimates.house import GateAnswerRecord, HouseRecord, PhotoRecord, Verdict, house_from_json
from estimates.houses import house_put
from estimates.models import Assessment, House, User
from estimates.photos import BadPhoto, photo_keep, photo_path
from estimates.records import specs

pytestmark = pytest.mark.django_db
HOUSES = Path(__file__).resolve().parents[3] / "fixtures" / "houses"
NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)


@pytest.fixture(autouse=True)
def own_folder(settings: Any, tmp_path: Path) -> None:
    settings.VAR_DIR = tmp_path
    settings.DOCUMENTS_DIR = tmp_path / "documents"


def measured(**changes: Any) -> HouseRecord:
    record = house_from_json((HOUSES / "mill-cape.json").read_text(encoding="utf-8"))
    return dataclasses.replace(record, **changes)


@pytest.fixture
def begun(owner: User) -> Callable[..., Assessment]:
    def begin(record: HouseRecord | None = None, **changes: Any) -> Assessment:
        record = record or measured(**changes)
        house = house_put(record=record, is_demo=False, created_by=owner, now=NOW)
        return assessment_from_record(house=house, record=record, by=owner, now=NOW)

    return begin


@pytest.fixture
def seller(signed_in: Callable[[User], Client], salesperson: User) -> Client:
    return signed_in(salesperson)


def at(name: str, house: House, **more: str) -> str:
    return reverse(f"estimates-{name}", kwargs={"code": house.code, **more})


def page_of(response: Any) -> str:
    return html.unescape(re.sub(r"\s+", " ", response.content.decode()))


def fields_in(text: str) -> dict[str, Any]:
    """What a browser sends when nothing is touched: the fields of the page's own form."""
    from lxml import html as lxml_html

    form = next(form for form in lxml_html.fromstring(text).forms if form.get("id") in ("part-form", "quick-form"))
    found: dict[str, Any] = {}

    def add(name: str, value: str) -> None:
        known = found.get(name)
        found[name] = value if known is None else [*known, value] if isinstance(known, list) else [known, value]

    for box in form.xpath(".//input|.//select|.//textarea"):
        name, kind = box.get("name"), box.get("type", box.tag)
        if not name or kind == "file" or (kind in ("radio", "checkbox") and box.get("checked") is None):
            continue
        if kind == "select":
            chosen = box.xpath("./option[@selected]") or box.xpath("./option")
            add(name, chosen[0].get("value"))
        elif kind == "textarea":
            add(name, (box.text or "").removeprefix("\n"))
        else:
            add(name, box.get("value", "on" if kind == "checkbox" else ""))
    return found


def typed(client: Client, address: str, **changes: Any) -> Any:
    """Open a page, type some fields and send it."""
    sent = fields_in(client.get(address).content.decode()) | changes
    return client.post(address, sent)


def stored(house: House) -> HouseRecord:
    row = Assessment.objects.filter(house=house).order_by("-number").first()
    assert row is not None
    return assessment_to_record(row)


# --- The first page --------------------------------------------------------------------------------------------------


def test_a_house_without_an_assessment_offers_to_begin_one(seller: Client, house: House) -> None:
    page = page_of(seller.get(at("show-assessment", house)))
    assert "Nothing is measured yet" in page
    assert at("enter-assessment", house) in page
    assert "Begin with what the estimate holds" not in page


def test_an_estimate_is_where_an_assessment_can_begin(
    seller: Client, estimated: Callable[..., Any], salesperson: User
) -> None:
    house = estimated("mill-cape").house
    assert "Begin with what the estimate holds" in page_of(seller.get(at("show-assessment", house)))
    assert seller.post(at("begin-assessment", house)).status_code == 302
    assert [wall.name for wall in stored(house).walls] == [wall.name for wall in measured().walls]
    assert Assessment.objects.get(house=house).created_by == salesperson


def test_beginning_twice_begins_once(seller: Client, estimated: Callable[..., Any]) -> None:
    house = estimated("mill-cape").house
    for _ in range(2):
        seller.post(at("begin-assessment", house))
    assert Assessment.objects.filter(house=house).count() == 1


@pytest.mark.parametrize(
    ("role", "price", "change"),
    [("owner", True, True), ("salesperson", True, True), ("bookkeeper", True, False), ("scheduler", False, False)],
)
def test_each_role_sees_its_part_of_the_first_page(
    role: str,
    price: bool,
    change: bool,
    begun: Callable[..., Assessment],
    person: Callable[..., User],
    signed_in: Callable[[User], Client],
) -> None:
    house = begun().house
    page = page_of(signed_in(person(role)).get(at("show-assessment", house)))
    assert ("What would narrow it" in page) is price
    assert bool(re.search(r"About \$\d", page)) is price
    assert ("Complete assessment" in page) is change
    assert "33 bays to fill" in page
    assert not re.search(r"[Mm]argin|[Dd]irect cost|[Mm]arkup", page.split("<main", 1)[1])


def test_the_first_page_asks_as_often_for_one_wall_as_for_many(
    begun: Callable[..., Assessment], seller: Client
) -> None:
    wall = measured().walls[0]
    counts = []
    for number in (1, 12):
        walls = tuple(dataclasses.replace(wall, id=f"wall-{place}") for place in range(number))
        house = begun(measured(id=f"house-{number}", walls=walls, gate_answers=(), options=())).house
        seller.get(at("show-assessment", house))
        with CaptureQueriesContext(
            connection,
        ) as queries:
            seller.get(at("show-assessment", house))
        counts.append(len(queries))
    assert counts[0] == counts[1]
    assert counts[0] < 60


# --- Quick entry -----------------------------------------------------------------------------------------------------

QUICK = {
    "year_built": "1926", "storeys": "2", "floor_area_ft2": "1,680 sq ft", "bedrooms": "3", "wall-perimeter_ft": "122'",
    "wall-storey_height_ft": "", "wall-window_share": "", "wall-spacing_in": "", "wall-depth_in": "",
    "attic-area_ft2": "830", "attic-existing_depth_in": "0", "attic-existing_material": "", "test-flow_cfm": "4020",
    "heating-fuel": "natural_gas", "heating-efficiency": "81", "heating-price_per_unit": "$1.46",
    "heating-yearly_units": "", "climate-place": "Valley station", "climate-source": "typed",
    "climate-heating_degree_days": "5,450", "climate-base_f": "60", "climate-season_mean_f": "34",
    "climate-season_wind_mph": "9.5", "climate-design_f": "", "climate-weather_factor": "", "climate-altitude_ft": "0",
}  # fmt: skip


def test_a_few_figures_give_a_price_range_at_once(seller: Client, house: House) -> None:
    response = seller.post(at("enter-assessment", house), QUICK, follow=True)
    page = page_of(response)
    assert "The house is entered" in page
    assert response.redirect_chain[-1][0] == at("answer-gates", house)
    page = page_of(seller.get(at("show-assessment", house)))
    assert re.search(r"About \$[\d,]+–\$[\d,]+", page)
    record = stored(house)
    wall = record.quick_walls[0]
    assert (wall.perimeter_ft, wall.storey_height_ft, wall.depth_in, str(wall.cladding)) == (
        122,
        8.75,
        3.625,
        "wood_bevel",
    )
    assert (wall.window_share, wall.framing_share) == (0.16, 0.24)
    assert record.heating.efficiency == 0.81
    assert record.volume_ft3 == 1680 * 8.75
    assert record.blower_door is not None
    assert record.attics[0].area_ft2 == 830
    assert record.customer == house.customer_name


def test_what_was_usual_is_shown_and_gives_way_to_what_was_typed(seller: Client, house: House) -> None:
    address = at("enter-assessment", house)
    page = page_of(seller.post(address, QUICK | {"look": "usual", "wall-depth_in": "4"}))
    assert "Balloon framing" in page
    assert "M: framing and sizes" in page
    assert "Error:" not in page
    assert Assessment.objects.count() == 0
    sent = fields_in(seller.post(address, QUICK | {"look": "usual", "wall-depth_in": "4"}).content.decode())
    assert (sent["wall-storey_height_ft"], sent["wall-depth_in"], sent["usual_for"]) == ("8.75", "4", "1900")
    # Another year brings what was usual then, where nobody typed anything else.
    later = fields_in(seller.post(address, sent | {"look": "usual", "year_built": "1975"}).content.decode())
    assert (later["wall-cladding"], later["wall-depth_in"], later["wall-storey_height_ft"]) == (
        "plywood_siding",
        "4",
        "8.1",
    )


def test_the_price_so_far_is_for_those_who_may_read_it(seller: Client, house: House) -> None:
    page = page_of(seller.post(at("enter-assessment", house), QUICK | {"look": "price"}))
    assert re.search(r"About \$[\d,]+–\$[\d,]+", page)


def test_faults_of_quick_entry_keep_what_was_typed(seller: Client, house: House) -> None:
    page = page_of(seller.post(at("enter-assessment", house), QUICK | {"floor_area_ft2": "big", "storeys": "9"}))
    assert "<title>Error: " in page
    assert "Enter the heated floor (ft²): 'big' holds no number" in page
    assert "Enter the storeys as a number of at most 3" in page
    assert 'value="122\'"' in page.replace("&#x27;", "'")
    assert Assessment.objects.count() == 0


def test_sending_quick_entry_twice_enters_the_house_once(seller: Client, house: House) -> None:
    for _ in range(2):
        assert seller.post(at("enter-assessment", house), QUICK).status_code == 302
    assert Assessment.objects.filter(house=house).count() == 1


def test_climate_comes_from_the_house_measured_last_near_by(
    seller: Client, begun: Callable[..., Assessment], house: House
) -> None:
    climate = begun().house and measured().climate
    page = page_of(seller.get(at("enter-assessment", house)))
    assert f"As at {climate.place}" in page
    assert f'value="{climate.source}"' in page


# --- Walls and topics ------------------------------------------------------------------------------------------------


def test_a_wall_is_changed_as_people_write_lengths(seller: Client, begun: Callable[..., Assessment]) -> None:
    house = begun().house
    response = typed(seller, at("edit-part", house, kind="walls", key="front"), length_ft="33' 6\"", name="Street side")
    assert response.status_code == 302
    wall = next(wall for wall in stored(house).walls if wall.id == "front")
    assert (wall.length_ft, wall.name) == (33.5, "Street side")
    assert wall.openings == measured().walls[0].openings


def test_a_form_that_was_not_touched_changes_nothing(seller: Client, begun: Callable[..., Assessment]) -> None:
    row = begun()
    addresses = [at("edit-part", row.house, kind="walls", key=wall.id) for wall in measured().walls]
    addresses += [at("edit-topic", row.house, topic=word) for word in ("house", "leaks", "bills", "heating", "climate")]
    addresses += [at("edit-topic", row.house, topic=word) for word in ("blower-door", "exhausts", "household")]
    for address in addresses:
        assert typed(seller, address).status_code == 302, address
    row.refresh_from_db()
    assert row.version == 1


def test_a_fault_keeps_every_word_and_names_the_field(seller: Client, begun: Callable[..., Assessment]) -> None:
    house = begun().house
    response = typed(
        seller, at("edit-part", house, kind="walls", key="front"), length_ft="a rod", height_ft="8 ft 1 in", name="Kept"
    )
    page = page_of(response)
    assert "<title>Error: " in page
    assert "Enter the length (ft): 'a rod' holds no number" in page
    assert 'value="8 ft 1 in"' in page
    assert 'value="Kept"' in page
    assert stored(house) == measured()


def test_an_opening_beyond_the_wall_is_named_at_its_row(seller: Client, begun: Callable[..., Assessment]) -> None:
    house = begun().house
    address = at("edit-part", house, kind="walls", key="front")
    page = page_of(typed(seller, address, **{"openings-0-left_in": "380"}))
    assert "the opening reaches from 380 to" in page
    assert "Cannot be drawn yet" in page
    assert stored(house) == measured()


def test_a_new_wall_is_added_once_however_often_it_is_sent(seller: Client, begun: Callable[..., Assessment]) -> None:
    house = begun().house
    address = at("add-part", house, kind="walls")
    sent = fields_in(seller.get(address).content.decode()) | {"name": "Back porch", "length_ft": "12", "height_ft": "8"}
    for _ in range(2):
        assert seller.post(address, sent).status_code == 302
    assert [wall.id for wall in stored(house).walls][-2:] == [measured().walls[-1].id, "back-porch"]
    assert seller.post(address, sent | {"length_ft": "14"}).status_code == 302
    assert [wall.id for wall in stored(house).walls][-2:] == ["back-porch", "back-porch-2"]


def test_a_row_is_added_without_saving_anything(seller: Client, begun: Callable[..., Assessment]) -> None:
    row = begun()
    address = at("edit-part", row.house, kind="walls", key="front")
    page = typed(seller, address, add="openings", name="Half typed").content.decode()
    assert 'name="openings-3-left_in"' in page
    assert 'value="Half typed"' in page
    assert 'data-unsaved="1"' in page
    row.refresh_from_db()
    assert row.version == 1


def test_a_wall_is_drawn_while_it_is_typed(seller: Client, begun: Callable[..., Assessment]) -> None:
    house = begun().house
    sent = fields_in(seller.get(at("edit-part", house, kind="walls", key="front")).content.decode())
    drawn = page_of(seller.post(at("preview-wall", house), sent | {"length_ft": "20", "openings-row": []}))
    assert "<svg" in drawn
    assert "20′ 0″" in drawn
    assert "bays to fill" in drawn
    assert "Cannot be drawn yet" in page_of(seller.post(at("preview-wall", house), sent | {"length_ft": "-2"}))
    assert stored(house) == measured()


def test_taking_out_a_wall_takes_its_traces_along(seller: Client, begun: Callable[..., Assessment]) -> None:
    answers = (
        GateAnswerRecord(
            hazard="pests", verdict=Verdict.CLEAR, note="None.", answered_on=date(2026, 3, 2), parts=("front",)
        ),
        GateAnswerRecord(
            hazard="pests", verdict=Verdict.CLEAR, note="None.", answered_on=date(2026, 3, 2), parts=("front", "back")
        ),
    )
    photos = (PhotoRecord(id="p", caption="Front", taken_on=date(2026, 3, 2), part="front"),)
    house = begun(gate_answers=answers, photos=photos).house
    address = at("remove-part", house, kind="walls", key="front")
    assert "Take out “Front”?" in page_of(seller.get(address))
    assert seller.post(address, {"version": "1"}).status_code == 302
    record = stored(house)
    assert "front" not in [wall.id for wall in record.walls]
    assert [answer.parts for answer in record.gate_answers] == [("back",)]
    assert record.photos[0].part == ""
    assert seller.get(address).status_code == 404
    assert seller.post(address, {"version": "2"}).status_code == 302


def test_pages_that_do_not_exist_say_so(seller: Client, begun: Callable[..., Assessment]) -> None:
    house = begun().house
    for address in (
        at("edit-topic", house, topic="weather"),
        at("add-part", house, kind="doors"),
        at("edit-part", house, kind="walls", key="nowhere"),
        at("edit-part", house, kind="combustion", key="9"),
        at("answer-gate", house, hazard="dragons"),
    ):
        assert seller.get(address).status_code == 404, address


# --- Two people ------------------------------------------------------------------------------------------------------


def meanwhile(row: Assessment, by: User, **changes: Any) -> None:
    """Somebody else changes the front wall."""
    row.refresh_from_db()
    record = assessment_to_record(row)
    walls = tuple(dataclasses.replace(wall, **changes) if wall.id == "front" else wall for wall in record.walls)
    assessment_put(
        assessment=row, record=dataclasses.replace(record, walls=walls), expected_version=row.version, by=by, now=NOW
    )


def test_two_people_on_different_walls_do_not_meet(
    seller: Client, begun: Callable[..., Assessment], owner: User
) -> None:
    row = begun()
    address = at("edit-part", row.house, kind="walls", key="back")
    sent = fields_in(seller.get(address).content.decode())
    meanwhile(row, owner, length_ft=30.0)
    assert seller.post(address, sent | {"name": "Garden side"}).status_code == 302
    walls = {wall.id: wall for wall in stored(row.house).walls}
    assert (walls["front"].length_ft, walls["back"].name) == (30.0, "Garden side")


def test_the_second_saver_sees_both_versions_field_by_field(
    seller: Client, begun: Callable[..., Assessment], owner: User
) -> None:
    row = begun()
    address = at("edit-part", row.house, kind="walls", key="front")
    sent = fields_in(seller.get(address).content.decode())
    meanwhile(row, owner, length_ft=30.0, height_ft=9.0)
    response = seller.post(address, sent | {"length_ft": "31", "name": "Street side"})
    assert response.status_code == 409
    page = page_of(response)
    assert "Odile Marrow has changed this while you were typing" in page
    assert "Theirs: 30 ft" in page
    assert "Mine: 31 ft" in page
    assert 'value="Street side"' in page
    assert stored(row.house).walls[0].length_ft == 30.0
    # What I did not touch begins as theirs, what I typed as mine.
    again = fields_in(response.content.decode())
    assert (again["keep:height_ft"], again["keep:length_ft"], again["keep:name"]) == ("theirs", "mine", "mine")
    assert seller.post(address, again).status_code == 302
    wall = stored(row.house).walls[0]
    assert (wall.length_ft, wall.height_ft, wall.name) == (31.0, 9.0, "Street side")


def test_the_second_saver_can_take_their_value(seller: Client, begun: Callable[..., Assessment], owner: User) -> None:
    row = begun()
    address = at("edit-part", row.house, kind="walls", key="front")
    sent = fields_in(seller.get(address).content.decode())
    meanwhile(row, owner, length_ft=30.0)
    again = fields_in(seller.post(address, sent | {"length_ft": "31"}).content.decode())
    assert seller.post(address, again | {"keep:length_ft": "theirs"}).status_code == 302
    assert stored(row.house).walls[0].length_ft == 30.0


def test_what_was_chosen_outlives_a_fault(seller: Client, begun: Callable[..., Assessment], owner: User) -> None:
    row = begun()
    address = at("edit-part", row.house, kind="walls", key="front")
    sent = fields_in(seller.get(address).content.decode())
    meanwhile(row, owner, length_ft=30.0, height_ft=9.0)
    both = fields_in(seller.post(address, sent | {"name": "Street side"}).content.decode())
    wrong = seller.post(address, both | {"depth_in": "deep", "keep:name": "theirs"})
    assert "<title>Error: " in page_of(wrong)
    mended = fields_in(wrong.content.decode())
    assert (mended["keep:height_ft"], mended["keep:name"]) == ("theirs", "theirs")
    # Faults between fields show both versions again, with what was chosen.
    wide = fields_in(seller.post(address, mended | {"depth_in": "3.5", "openings-0-left_in": "390"}).content.decode())
    assert (wide["keep:height_ft"], wide["keep:name"]) == ("theirs", "theirs")
    assert seller.post(address, wide | {"openings-0-left_in": "40"}).status_code == 302
    wall = stored(row.house).walls[0]
    assert (wall.length_ft, wall.height_ft, wall.name) == (30.0, 9.0, "Front")


def test_what_was_taken_out_meanwhile_can_be_brought_back(
    seller: Client, begun: Callable[..., Assessment], owner: User
) -> None:
    row = begun()
    address = at("edit-part", row.house, kind="walls", key="front")
    sent = fields_in(seller.get(address).content.decode())
    record = assessment_to_record(row)
    assessment_put(
        assessment=row,
        record=dataclasses.replace(record, walls=record.walls[1:]),
        expected_version=1,
        by=owner,
        now=NOW,
    )
    response = seller.post(address, sent | {"length_ft": "31"})
    assert response.status_code == 409
    assert "has taken this out" in page_of(response)
    assert seller.post(address, fields_in(response.content.decode())).status_code == 302
    assert {wall.id: wall.length_ft for wall in stored(row.house).walls}["front"] == 31.0


def test_a_third_change_is_shown_again(seller: Client, begun: Callable[..., Assessment], owner: User) -> None:
    row = begun()
    address = at("edit-part", row.house, kind="walls", key="front")
    sent = fields_in(seller.get(address).content.decode())
    meanwhile(row, owner, length_ft=30.0)
    again = fields_in(seller.post(address, sent | {"length_ft": "31"}).content.decode())
    meanwhile(row, owner, length_ft=29.0)
    response = seller.post(address, again)
    assert response.status_code == 409
    assert "Theirs: 29 ft" in page_of(response)


def test_a_base_that_was_tampered_with_is_no_way_round(
    seller: Client, begun: Callable[..., Assessment], owner: User
) -> None:
    row = begun()
    address = at("edit-part", row.house, kind="walls", key="front")
    sent = fields_in(seller.get(address).content.decode())
    meanwhile(row, owner, length_ft=30.0)
    for base in ("", "[", "[" * 100_000, "3", "{}"):
        assert seller.post(address, sent | {"length_ft": "31", "base": base}).status_code == 409
    assert stored(row.house).walls[0].length_ft == 30.0


def test_the_base_of_a_form_is_what_the_house_holds(seller: Client, begun: Callable[..., Assessment]) -> None:
    row = begun()
    sent = fields_in(seller.get(at("edit-part", row.house, kind="walls", key="front")).content.decode())
    wall = measured().walls[0]
    assert json.loads(sent["base"]) == {name: full_form(getattr(wall, name)) for name in specs(type(wall))}


# --- Gates, releases, completing -------------------------------------------------------------------------------------


def picture(colour: str = "red", size: tuple[int, int] = (40, 30), form: str = "JPEG", **more: Any) -> bytes:
    kept = io.BytesIO()
    Image.new("RGB", size, colour).save(kept, form, **more)
    return kept.getvalue()


def upload(content: bytes, name: str = "tablet.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, content, content_type="image/jpeg")


ANSWER = {"verdict": "clear", "parts": "*", "note": "Looked at every face.", "sample": "", "verifier": "", "how": "",
          "before_phase": ""}  # fmt: skip


def test_the_assessment_is_not_completed_while_a_gate_is_open(seller: Client, begun: Callable[..., Assessment]) -> None:
    answers = tuple(answer for answer in measured().gate_answers if answer.hazard != "pests")
    house = begun(gate_answers=answers).house
    page = page_of(seller.post(at("complete-assessment", house), {"version": "1"}, follow=True))
    assert "cannot be completed yet" in page
    assert "pests" in page
    assert "1 of 17 open." in page
    assert Assessment.objects.get(house=house).status == "open"


def test_a_gate_is_answered_and_the_assessment_completed(seller: Client, begun: Callable[..., Assessment]) -> None:
    answers = tuple(answer for answer in measured().gate_answers if answer.hazard != "pests")
    house = begun(gate_answers=answers).house
    response = seller.post(
        at("answer-gate", house, hazard="pests"), ANSWER | {"version": "1", "base": "null"}, follow=True
    )
    assert "Every gate is answered" in page_of(response)
    assert "The assessment is complete" in page_of(
        seller.post(at("complete-assessment", house), {"version": "2"}, follow=True)
    )
    assert "Begin another assessment" in page_of(seller.get(at("show-assessment", house)))
    response = seller.get(at("edit-topic", house, topic="house"), follow=True)
    assert "No assessment is open here" in page_of(response)
    seller.post(at("begin-assessment", house))
    assert list(Assessment.objects.filter(house=house).values_list("number", "status")) == [
        (2, "open"),
        (1, "completed"),
    ]
    assert stored(house).walls == measured().walls


def test_completing_what_somebody_just_changed_is_refused(
    seller: Client, begun: Callable[..., Assessment], owner: User
) -> None:
    row = begun()
    meanwhile(row, owner, length_ft=30.0)
    page = page_of(seller.post(at("complete-assessment", row.house), {"version": "1"}, follow=True))
    assert "Odile Marrow has changed this assessment" in page
    assert Assessment.objects.get(pk=row.pk).status == "open"


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"note": ""}, "enter what was seen and where"),
        ({"verdict": ""}, "Choose the answer"),
        ({"verdict": "stop"}, "Choose at least one photo"),
        ({"verdict": "not_yet_known"}, "enter who will find out"),
        ({"parts": []}, "names nothing; enter walls or attics"),
        ({"parts": "cellar"}, "Choose the parts of the house it is about from the list"),
    ],
)
def test_an_answer_that_lacks_something_says_what(
    changes: dict[str, Any], sentence: str, seller: Client, begun: Callable[..., Assessment]
) -> None:
    house = begun(gate_answers=()).house
    response = seller.post(
        at("answer-gate", house, hazard="pests"), ANSWER | {"version": "1", "base": "null"} | changes
    )
    assert response.status_code == 200
    assert sentence in page_of(response)
    assert stored(house).gate_answers == ()


def test_a_photo_comes_with_an_answer_and_is_kept_over_a_fault(
    seller: Client, begun: Callable[..., Assessment]
) -> None:
    house = begun(gate_answers=(), photos=()).house
    address = at("answer-gate", house, hazard="bulk_moisture")
    sent = ANSWER | {"verdict": "stop", "version": "1", "base": "null"}
    page = seller.post(address, sent | {"note": "", "photo": upload(picture())}).content.decode()
    assert "One photo has arrived" in page
    kept = re.search(r'name="kept" value="([^"]+)"', page)
    assert kept is not None
    assert seller.post(address, sent | {"kept": html.unescape(kept[1])}).status_code == 302
    record = stored(house)
    assert record.gate_answers[0].photos == ("photo-1",)
    assert photo_path(record.photos[0].sha256).exists()
    assert seller.get(at("show-photo", house, sha256=record.photos[0].sha256)).status_code == 200


def test_not_yet_known_says_who_how_and_before_which_phase(seller: Client, begun: Callable[..., Assessment]) -> None:
    house = begun(gate_answers=()).house
    seller.post(
        at("answer-gate", house, hazard="pests"),
        ANSWER
        | {"verdict": "not_yet_known", "verifier": "Corin", "how": "lamp", "before_phase": "inject"}
        | {"parts": ["front", "back"], "version": "1", "base": "null"},
    )
    answer = stored(house).gate_answers[0]
    assert (answer.verifier, answer.how, answer.before_phase, answer.parts) == (
        "Corin",
        "lamp",
        "inject",
        ("front", "back"),
    )
    page = page_of(seller.get(at("list-gates", house), follow=True))
    assert "Not answered for Left gable end" in page


def test_an_answer_is_changed_and_taken_back(seller: Client, begun: Callable[..., Assessment]) -> None:
    house = begun().house
    number = next(n for n, a in enumerate(measured().gate_answers, start=1) if a.hazard == "pests")
    address = at("change-answer", house, hazard="pests", key=str(number))
    assert typed(seller, address, note="Mice droppings swept.", verdict="clear").status_code == 302
    assert stored(house).gate_answers[number - 1].note == "Mice droppings swept."
    back = at("remove-answer", house, hazard="pests", key=str(number))
    seller.post(back, {"version": "1"})
    assert len(stored(house).gate_answers) == len(measured().gate_answers)
    seller.post(back, {"version": "2"})
    assert "pests" not in [answer.hazard for answer in stored(house).gate_answers]
    assert seller.get(at("change-answer", house, hazard="pests", key="1")).status_code == 404


def test_only_the_owner_releases_a_stop_and_says_why(
    seller: Client, begun: Callable[..., Assessment], owner: User, signed_in: Callable[[User], Client]
) -> None:
    stop = GateAnswerRecord(
        hazard="knob_and_tube", verdict=Verdict.STOP, note="Live.", answered_on=date(2026, 3, 2), photos=("p",)
    )
    house = begun(gate_answers=(stop,), photos=(PhotoRecord(id="p", caption="Knob", taken_on=date(2026, 3, 2)),)).house
    address = at("release-gate", house, hazard="knob_and_tube")
    assert seller.post(address, {"parts": "*", "reason": "I say so"}).status_code == 403
    assert "Release: Knob and tube" not in page_of(seller.get(at("list-gates", house), follow=True))
    client = signed_in(owner)
    assert "Release: Knob and tube" in page_of(client.get(at("list-gates", house), follow=True))
    assert "Enter the reason" in page_of(client.post(address, {"parts": "*", "reason": ""}))
    assert "nothing is ticked" in page_of(client.post(address, {"reason": "Cut off."}))
    for _ in range(2):
        client.post(address, {"parts": "*", "reason": "Electrician cut it off, invoice 118.", "sample": ""})
    releases = stored(house).gate_releases
    assert [(one.by, one.reason, one.parts) for one in releases] == [
        ("Odile Marrow", "Electrician cut it off, invoice 118.", None)
    ]


def test_every_gate_of_the_catalogue_has_a_page(seller: Client, begun: Callable[..., Assessment]) -> None:
    house = begun(gate_answers=()).house
    for hazard in load_hazards().hazards:
        page = page_of(seller.get(at("answer-gate", house, hazard=hazard.id)))
        assert hazard.question in page
        assert hazard.stop in page


# --- Every gate on one page ------------------------------------------------------------------------------------------


def sheet(client: Client, house: House, **changes: Any) -> Any:
    return typed(client, at("answer-gates", house), **changes)


def cleared(house: HouseRecord) -> dict[str, Any]:
    return {f"{hazard.id}-verdict": "clear" for hazard in load_hazards().hazards}


def test_all_gates_are_answered_at_once_and_clear_ones_share_a_sentence(
    seller: Client, begun: Callable[..., Assessment]
) -> None:
    house = begun(gate_answers=(), photos=()).house
    assert seller.get(at("list-gates", house)).headers["Location"] == at("answer-gates", house)
    changes = cleared(measured()) | {
        "looked_at": "Every room, attic and cellar, with a lamp.",
        "pests-note": "Mice droppings swept.",
        "bulk_moisture-verdict": "stop",
        "bulk_moisture-note": "Stain under the valley.",
        "bulk_moisture-photo": upload(picture()),
        "asbestos-verdict": "not_yet_known",
        "asbestos-note": "Pipe wrap.",
        "asbestos-verifier": "Corin",
        "asbestos-how": "sample",
        "asbestos-before_phase": "inject",
        "asbestos-parts": ["front", "back"],
        "then": "complete",
    }
    # "not yet known" for two walls leaves the others open: everything is kept, and the page says what is left.
    page = page_of(seller.post(at("answer-gates", house), fields_in_sheet(seller, house) | changes, follow=True))
    assert "The assessment cannot be completed yet" in page
    assert "Not answered for Left gable end" in page
    answers = {answer.hazard: answer for answer in stored(house).gate_answers}
    assert answers["vermiculite"].note == "Every room, attic and cellar, with a lamp."
    assert answers["pests"].note == "Mice droppings swept."
    assert answers["bulk_moisture"].photos == ("photo-1",)
    assert (answers["asbestos"].parts, answers["asbestos"].verifier) == (("front", "back"), "Corin")
    response = sheet(seller, house, **{"asbestos-parts": "*", "then": "complete"})
    assert response.headers["Location"] == at("show-estimate", house)
    assert stored(house).gate_answers[0].answered_on == answers["lead_paint"].answered_on
    assert Assessment.objects.get(house=house).status == "completed"
    # Completed: the list is read, and nobody can answer any more.
    assert "Pests" in page_of(seller.get(at("list-gates", house)))
    assert sheet_refused(seller, house)


def fields_in_sheet(client: Client, house: House) -> dict[str, Any]:
    return fields_in(client.get(at("answer-gates", house)).content.decode())


def sheet_refused(client: Client, house: House) -> bool:
    return "No assessment is open here" in page_of(client.post(at("answer-gates", house), {}, follow=True))


def test_a_faulty_row_keeps_everything_typed_and_names_its_gate(
    seller: Client, begun: Callable[..., Assessment]
) -> None:
    house = begun(gate_answers=(), photos=()).house
    sent = {
        "pests-verdict": "clear",
        "mould-note": "Smell in the corner.",
        "bulk_moisture-verdict": "stop",
        "bulk_moisture-note": "Stain.",
        "vermiculite-verdict": "not_yet_known",
        "vermiculite-note": "Hatch painted shut.",
        "asbestos-verdict": "stop",
        "asbestos-note": "Pipe wrap.",
        "asbestos-photo": upload(picture()),
        "cavity_duct-verdict": "dragons",
    }
    response = sheet(seller, house, **sent)
    page = page_of(response)
    assert response.status_code == 200
    assert "<title>Error:" in page
    for words in (
        "Mould – Choose the answer",
        "Cavities as ducts – Choose the answer from the list",
    ):
        assert words in page
    assert stored(house).gate_answers == ()
    mended = fields_in(response.content.decode()) | {"mould-verdict": "clear", "cavity_duct-verdict": "clear"}
    page = page_of(seller.post(at("answer-gates", house), mended))
    for words in (
        "Pests – Note: enter what was seen and where, or fill in at the top what was looked at",
        "Bulk moisture – Choose at least one photo",
        "Vermiculite – Who will find out: empty; enter who will find out",
        "Vermiculite – Before which phase of the work: empty",
        "One photo has arrived and is kept",
        "Smell in the corner.",
    ):
        assert words in page
    assert "Asbestos – " not in page
    assert stored(house).gate_answers == ()


def test_two_people_at_the_gates_see_both_answers(
    seller: Client, begun: Callable[..., Assessment], owner: User, signed_in: Callable[[User], Client]
) -> None:
    house = begun(gate_answers=(), photos=()).house
    early = fields_in_sheet(seller, house)
    sheet(signed_in(owner), house, **{"pests-verdict": "clear", "pests-note": "No sign.", "looked_at": ""})
    sheet(signed_in(owner), house, **{"mould-verdict": "clear", "mould-note": "None smelled."})
    mine = early | {
        "pests-verdict": "not_yet_known",
        "pests-note": "Nest in the gable?",
        "pests-verifier": "Corin",
        "pests-how": "lamp",
        "pests-before_phase": "inject",
        "asbestos-verdict": "clear",
        "asbestos-note": "Bare pipes.",
    }
    response = seller.post(at("answer-gates", house), mine)
    page = page_of(response)
    assert response.status_code == 409
    assert "Odile Marrow has changed this while you were typing" in page
    assert "Theirs: Clear, No sign." in page
    assert "Nest in the gable?" in page
    assert [answer.hazard for answer in stored(house).gate_answers] == ["pests", "mould"]
    # A gate that only the other one answered is not asked about, and stays.
    again = fields_in(response.content.decode())
    assert again["keep:pests"] == "mine"
    assert "keep:mould" not in again
    theirs = seller.post(at("answer-gates", house), again | {"keep:pests": "theirs"}, follow=True)
    assert theirs.status_code == 200
    answers = {answer.hazard: answer for answer in stored(house).gate_answers}
    assert (answers["pests"].note, answers["asbestos"].note, answers["mould"].note) == (
        "No sign.",
        "Bare pipes.",
        "None smelled.",
    )
    seller.post(at("answer-gates", house), again)
    assert next(a for a in stored(house).gate_answers if a.hazard == "pests").verifier == "Corin"


def test_a_gate_answered_part_by_part_is_shown_and_left_alone(seller: Client, begun: Callable[..., Assessment]) -> None:
    day = date(2026, 3, 2)
    apart = tuple(
        GateAnswerRecord(
            hazard="pests", verdict=Verdict.CLEAR, note=f"Looked at {part}.", answered_on=day, parts=(part,)
        )
        for part in ("front", "back")
    )
    house = begun(gate_answers=apart, photos=()).house
    assert "Clear (Front), Looked at front." in page_of(seller.get(at("answer-gates", house)))
    sheet(seller, house, **{"mould-verdict": "clear", "mould-note": "None."})
    assert stored(house).gate_answers[:2] == apart


# --- Photos ----------------------------------------------------------------------------------------------------------

PHOTO = {"caption": "Front from the street", "part": "front", "taken_on": "2026-03-02", "kept": ""}


def test_a_photo_is_made_anew_without_place_and_camera(seller: Client, begun: Callable[..., Assessment]) -> None:
    exif = Image.Exif()
    exif[271], exif[274] = "Maker", 6
    exif.get_ifd(0x8825)[1] = "N"
    house = begun(photos=()).house
    content = picture(size=(2400, 1200), exif=exif)
    assert b"Maker" in content
    assert seller.post(at("add-photo", house), PHOTO | {"file": upload(content)}).status_code == 302
    photo = stored(house).photos[0]
    assert (photo.id, photo.part, photo.caption) == ("photo-1", "front", "Front from the street")
    response = seller.get(at("show-photo", house, sha256=photo.sha256))
    body = b"".join(response.streaming_content)  # type: ignore[attr-defined]
    assert response.headers["Content-Type"] == "image/jpeg"
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    assert response.headers["Content-Disposition"].startswith("inline")
    with Image.open(io.BytesIO(body)) as kept:
        assert not kept.getexif()
        assert kept.size == (900, 1800)
    assert b"Maker" not in body


def test_a_photo_of_a_telephone_is_taken_as_it_comes(seller: Client, begun: Callable[..., Assessment]) -> None:
    from pillow_heif import register_heif_opener

    register_heif_opener()
    exif = Image.Exif()
    exif[271] = "Maker"
    house = begun(photos=()).house
    content = picture(size=(2400, 1200), form="HEIF", exif=exif.tobytes())
    assert content[4:12] == b"ftypheic"
    assert b"Maker" in content
    file = SimpleUploadedFile("IMG_0007.HEIC", content, content_type="image/heic")
    assert seller.post(at("add-photo", house), PHOTO | {"file": file}).status_code == 302
    kept = photo_path(stored(house).photos[0].sha256).read_bytes()
    with Image.open(io.BytesIO(kept)) as made:
        assert (made.format, made.size) == ("JPEG", (1800, 900))
    assert b"Maker" not in kept
    for broken in (content[:300], content[: len(content) // 2]):
        page = page_of(seller.post(at("add-photo", house), PHOTO | {"file": upload(broken, "IMG_0008.HEIC")}))
        assert "Choose a JPEG, PNG, WebP or HEIC picture." in page


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"<script>alert(1)</script>", "cannot be read as a photo"),
        (b"GIF89a" + b"\0" * 60, "cannot be read as a photo"),
        (picture()[:200], "cannot be read as a photo"),
        (b"", "The file is empty. Choose a photo."),
        (picture(size=(9000, 7000)), "63 million pixels"),
    ],
)
def test_a_file_that_is_no_photo_is_refused_in_words(
    content: bytes, sentence: str, seller: Client, begun: Callable[..., Assessment]
) -> None:
    house = begun(photos=()).house
    page = page_of(seller.post(at("add-photo", house), PHOTO | {"file": upload(content)}))
    assert sentence in page
    assert 'value="Front from the street"' in page
    assert stored(house).photos == ()


def test_what_is_hidden_behind_a_picture_is_not_kept(tmp_path: Path) -> None:
    content = picture(form="PNG") + b"<html><script>alert(1)</script></html>"
    kept = photo_path(photo_keep(io.BytesIO(content), len(content))).read_bytes()
    assert b"script" not in kept
    assert kept.startswith(b"\xff\xd8\xff")
    with pytest.raises(BadPhoto, match="at most 15 MB"):
        photo_keep(io.BytesIO(content), 15_000_001)


def test_a_photo_without_a_caption_is_kept_for_the_next_try(seller: Client, begun: Callable[..., Assessment]) -> None:
    house = begun(photos=()).house
    page = seller.post(at("add-photo", house), PHOTO | {"caption": "", "file": upload(picture())}).content.decode()
    assert "Enter the what it shows" not in page
    kept = [value for value in re.findall(r'name="kept" value="([^"]+)"', page) if value]
    assert kept
    assert seller.post(at("add-photo", house), PHOTO | {"kept": html.unescape(kept[-1])}).status_code == 302
    assert len(stored(house).photos) == 1


def test_a_mark_of_a_photo_cannot_be_made_up(seller: Client, begun: Callable[..., Assessment]) -> None:
    house = begun(photos=()).house
    sha256 = photo_keep(io.BytesIO(picture("blue")), 100)
    assert "Choose a photo" in page_of(seller.post(at("add-photo", house), PHOTO | {"kept": sha256}))


def test_a_photo_is_seen_only_with_its_house_and_by_the_office(
    seller: Client, begun: Callable[..., Assessment], house: House, crew: User, signed_in: Callable[[User], Client]
) -> None:
    own = begun(photos=()).house
    seller.post(at("add-photo", own), PHOTO | {"file": upload(picture())})
    sha256 = stored(own).photos[0].sha256
    assert seller.get(at("show-photo", house, sha256=sha256)).status_code == 404
    assert seller.get(at("show-photo", own, sha256="0" * 64)).status_code == 404
    assert signed_in(crew).get(at("show-photo", own, sha256=sha256)).status_code == 403
    assert Client().get(at("show-photo", own, sha256=sha256)).status_code == 302


def test_a_photo_that_is_taken_out_leaves_the_gates(seller: Client, begun: Callable[..., Assessment]) -> None:
    house = begun().house
    photo = measured().photos[0].id
    seller.post(at("remove-photo", house, key=photo))
    record = stored(house)
    assert photo not in [one.id for one in record.photos]
    assert all(photo not in answer.photos for answer in record.gate_answers)


@pytest.mark.parametrize("name", ["", "../../etc/passwd", "A" * 64, "0" * 63])
def test_a_path_of_a_photo_cannot_be_made_up(name: str) -> None:
    with pytest.raises(ValueError, match="is no sha256"):
        photo_path(name)


# --- Tests and bills -------------------------------------------------------------------------------------------------


def test_the_blower_door_page_draws_the_line_and_warns_where_the_fan_may_not_run(
    seller: Client, begun: Callable[..., Assessment]
) -> None:
    page = page_of(seller.get(at("edit-topic", begun().house, topic="blower-door")))
    assert 'class="curve"' in page
    assert page.count("<circle") == len(measured().blower_door.points)  # type: ignore[union-attr]
    assert "CFM50 (95" in page
    vermiculite = GateAnswerRecord(
        hazard="vermiculite", verdict=Verdict.STOP, note="In the attic.", answered_on=date(2026, 3, 2), photos=("p",)
    )
    house = begun(
        measured(
            id="other", gate_answers=(vermiculite,),
            photos=(PhotoRecord(id="p", caption="Attic", taken_on=date(2026, 3, 2)),),
        )
    ).house  # fmt: skip
    page = page_of(seller.get(at("edit-topic", house, topic="blower-door")))
    assert "The fan may not run in this house" in page
    assert "It is kept, and stands here as a warning." in page
    assert (
        typed(seller, at("edit-topic", house, topic="blower-door"), **{"blower_door-baseline_pa": "1"}).status_code
        == 302
    )


def test_a_reading_below_the_baseline_is_named_at_its_row(seller: Client, begun: Callable[..., Assessment]) -> None:
    address = at("edit-topic", begun().house, topic="blower-door")
    page = page_of(
        typed(seller, address, **{"blower_door-points-0-pressure_pa": "0.5", "blower_door-baseline_pa": "-2"})
    )
    assert "is no more than the baseline of -2 Pa" in page


def test_a_combustion_round_shows_what_it_stops(seller: Client, begun: Callable[..., Assessment]) -> None:
    house = begun().house
    address = at("edit-part", house, kind="combustion", key="1")
    assert typed(seller, address, ambient_co_ppm="80").status_code == 302
    page = page_of(seller.get(address))
    assert "The work may not begin" in page
    assert "Evacuate" in page


LINES = 'from,to,therms,dollars\n2025-01-03,2025-02-02,142,214.50\n2/3/2025,3/4/2025,"1,120",$180'


def test_bills_are_looked_at_before_they_are_saved(seller: Client, begun: Callable[..., Assessment]) -> None:
    house = begun(bills=()).house
    address = at("import-bills", house)
    page = page_of(seller.post(address, {"fuel": "natural_gas", "lines": LINES, "look": "1"}))
    assert "2 bills can be saved" in page
    assert stored(house).bills == ()
    for _ in range(2):
        assert seller.post(address, {"fuel": "natural_gas", "lines": LINES, "save": "1"}).status_code == 302
    assert [(b.first.isoformat(), b.units, b.dollars) for b in stored(house).bills] == [
        ("2025-01-03", 142.0, 214.5),
        ("2025-02-03", 1120.0, 180.0),
    ]


def test_each_bad_line_is_named_and_nothing_is_saved(seller: Client, begun: Callable[..., Assessment]) -> None:
    house = begun(bills=()).house
    lines = (
        "2025-01-03,2025-02-02,142\n2025-13-03,2025-02-02,142\n2025-03-03,2025-02-02,142\n2025-03-03,2025-04-02,lots\n7"
    )
    sent = {"fuel": "propane", "lines": lines, "save": "1"}
    page = page_of(seller.post(at("import-bills", house), sent))
    assert "<title>Error: " in page
    for sentence in (
        "first day: '2025-13-03' is no day",
        "last day: before the first day",
        "units: 'lots' is no number",
        "1 columns; enter first day",
    ):
        assert sentence in page
    assert "2025-03-03,2025-04-02,lots" in page
    assert stored(house).bills == ()


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (LINES.encode("utf-8-sig"), "2 bills can be saved"),
        (b"\xff\xfe\x00\x01", "This file is no text"),
        (b"PK\0\0", "This file is no text"),
        (b"x" * 200_001, "at most 200 kB"),
    ],
)
def test_bills_come_from_a_file(
    content: bytes, sentence: str, seller: Client, begun: Callable[..., Assessment]
) -> None:
    house = begun(bills=()).house
    sent = {"fuel": "natural_gas", "lines": "", "file": SimpleUploadedFile("bills.csv", content)}
    assert sentence in page_of(seller.post(at("import-bills", house), sent))
