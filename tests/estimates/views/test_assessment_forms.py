"""A form made from a record gives the record back, keeps what was typed, and says what to enter by the label."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import pytest
from django.http import QueryDict

from estimates.forms.record_form import RecordForm
from estimates.house import (
    AtticRecord,
    BlowerDoorRecord,
    CombustionRecord,
    HouseRecord,
    OptionRecord,
    QuickWallRecord,
    WallRecord,
    house_from_json,
)
from estimates.records import Fault, read_record, specs

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures"
HOUSES = [
    house_from_json(path.read_text(encoding="utf-8"))
    for path in [*sorted((FIXTURES / "houses").glob("*.json")), FIXTURES / "odd_walls.json"]
]


def fields_of(record: Any) -> dict[str, Any]:
    return {field.name: getattr(record, field.name) for field in dataclasses.fields(record)}


def sent(form: RecordForm) -> QueryDict:
    """What a browser sends when nothing is touched."""
    data = QueryDict(mutable=True)

    def walk(made: RecordForm) -> None:
        for bound in made.main:
            value = bound.value()
            if bound.field.widget.__class__.__name__ == "CheckboxInput":
                if value:
                    data[bound.html_name] = "on"
            elif isinstance(value, list):
                data.setlist(bound.html_name, value)
            else:
                data[bound.html_name] = bound.field.widget.format_value(value) or ""
                if bound.field.widget.__class__.__name__ in ("RadioSelect", "Select"):
                    data[bound.html_name] = "" if value is None else str(value)
        for part in made.parts.values():
            walk(part.form)
        for rows in made.lists.values():
            for number, row in rows.forms:
                data.appendlist(f"{rows.key}-row", str(number))
                walk(row)

    walk(form)
    return data


def parts_of(house: HouseRecord) -> list[Any]:
    options = [option for option in house.options if not (option.wall_ids or option.attic_ids or option.leak_ids)]
    return [*house.walls, *house.quick_walls, *house.attics, *house.combustion, *options]


PARTS = [part for house in HOUSES for part in parts_of(house)]


@pytest.mark.parametrize("part", PARTS, ids=lambda part: f"{type(part).__name__}-{getattr(part, 'id', '')}")
def test_a_form_that_is_not_touched_gives_the_record_back(part: Any) -> None:
    data = sent(RecordForm(type(part), values=fields_of(part)))
    form = RecordForm(type(part), data=data, values=fields_of(part))
    assert form.is_valid(), [dict(one.errors) for one in form.live_forms()]
    assert read_record(type(part), form.raw()) == part


@pytest.mark.parametrize("house", HOUSES, ids=lambda house: house.id)
def test_the_lists_and_nested_records_of_a_house_come_back(house: HouseRecord) -> None:
    only = ("complaints", "leak_sites", "exhausts", "bills", "heating", "climate", "household", "blower_door")
    data = sent(RecordForm(HouseRecord, values=fields_of(house), only=only))
    form = RecordForm(HouseRecord, data=data, values=fields_of(house), only=only)
    assert form.is_valid(), [dict(one.errors) for one in form.live_forms()]
    from estimates.records import write_record

    whole = write_record(house) | form.raw()
    assert read_record(HouseRecord, whole) == house


@pytest.mark.parametrize(
    "record", [WallRecord, QuickWallRecord, AtticRecord, CombustionRecord, OptionRecord, BlowerDoorRecord, HouseRecord]
)
def test_every_declared_field_stands_on_the_form(record: type) -> None:
    form = RecordForm(record)
    shown = {
        item.html_name.removesuffix("-there") if kind == "field" else ""
        for topic in form.topics
        for kind, item in topic.items
    }
    found = shown | set(form.parts) | set(form.lists)
    assert found >= set(specs(record)) - {"schema", "id"}


def typed(record: type, **words: str) -> RecordForm:
    data = sent(RecordForm(record))
    for name, value in words.items():
        data[name.replace("__", "-")] = value
    return RecordForm(record, data=data)


def said(form: RecordForm) -> list[str]:
    form.is_valid()
    return [str(words) for one in form.live_forms() for found in one.errors.values() for words in found]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ({"length_ft": ""}, "Enter the length (ft)"),
        ({"length_ft": "twelve"}, "Enter the length (ft): 'twelve' holds no number"),
        ({"length_ft": "12 6"}, "is ambiguous"),
        ({"length_ft": "0"}, "Enter the length (ft) as a number above 0 ft"),
        ({"length_ft": "2000"}, "of at most 500 ft"),
        ({"jacks": "1.5"}, "Enter the jack studs at an opening as a whole number"),
        ({"jacks": "nan"}, "is no number"),
        ({"obstructed_share": "0.2"}, "15 for 15 %"),
        ({"obstructed_share": "120"}, "of at most 100 %"),
        ({"cladding": "gold"}, "Choose the cladding from the list"),
        ({"name": ""}, "Enter the name"),
        ({"studs_found_in": "16\n32; 5"}, "Line 2: enter a place from the left"),
    ],
)
def test_a_fault_says_what_to_enter_by_the_label(words: dict[str, str], sentence: str) -> None:
    whole = {"name": "North", "length_ft": "24", "height_ft": "8"} | words
    assert any(sentence in one for one in said(typed(WallRecord, **whole))), said(typed(WallRecord, **whole))


@pytest.mark.parametrize(
    ("typed_words", "value"),
    [("24", 24.0), ("24' 6\"", 24.5), ("7.62 m", 25.0), ("1,0", None), ("24 1/2", 24.5)],
)
def test_lengths_are_typed_as_people_write_them(typed_words: str, value: float | None) -> None:
    form = typed(WallRecord, name="North", length_ft=typed_words, height_ft="8")
    assert form.is_valid() is (value is not None)
    if value is not None:
        assert form.raw()["length_ft"] == pytest.approx(value)


def test_per_cent_is_typed_as_people_say_it() -> None:
    form = typed(WallRecord, name="North", length_ft="24", height_ft="8", obstructed_share="12.5 %")
    assert form.is_valid()
    assert form.raw()["obstructed_share"] == 0.125


def with_openings(*rows: dict[str, str], **more: str) -> RecordForm:
    data = sent(RecordForm(WallRecord))
    data.update({"name": "North", "length_ft": "24", "height_ft": "8"})
    for number, row in enumerate(rows):
        data.appendlist("openings-row", str(number))
        for name in ("id", "left_in", "bottom_in", "width_in", "height_in", "kind", "header_in", "sash_pocket_in"):
            data[f"openings-{number}-{name}"] = row.get(name, "window" if name == "kind" else "")
    data.update(more)
    return RecordForm(WallRecord, data=data)


WINDOW = {"left_in": "60", "bottom_in": "30", "width_in": "3 ft", "height_in": "52"}


def test_a_new_opening_gets_a_name_of_its_own() -> None:
    form = with_openings(WINDOW, WINDOW | {"left_in": "120", "id": "opening-1"})
    assert form.is_valid(), said(form)
    assert [(row["id"], row["width_in"]) for row in form.raw()["openings"]] == [
        ("w1", 36.0),
        ("opening-1", 36.0),
    ]


def test_a_row_that_was_cleared_is_taken_out() -> None:
    form = with_openings({}, WINDOW)
    assert form.is_valid(), said(form)
    assert len(form.raw()["openings"]) == 1


def test_a_row_is_added_and_taken_out_by_sending_the_form() -> None:
    more = with_openings(WINDOW, add="openings")
    assert more.wants_rows
    assert not more.faulty
    assert [number for number, _ in more.lists["openings"].forms] == [0, 1]
    assert more.lists["openings"].forms[0][1].main["left_in"].value() == "60"
    less = with_openings(WINDOW, WINDOW | {"left_in": "120"}, remove="openings-0")
    assert [form.main["left_in"].value() for _, form in less.lists["openings"].forms] == ["120"]


def test_a_fault_between_fields_stands_beside_its_row() -> None:
    form = with_openings({}, WINDOW)
    assert form.is_valid()
    form.add_fault(Fault("$.openings[0].left_in", "the opening reaches beyond the wall; enter another place"))
    row = form.lists["openings"].forms[1][1]
    assert "the opening reaches beyond the wall" in str(row.main.errors["left_in"])


def test_old_insulation_counts_only_where_its_box_is_ticked() -> None:
    form = typed(WallRecord, name="North", length_ft="24", height_ft="8", existing_fill__in_place_in="3")
    assert form.is_valid(), said(form)
    assert form.raw()["existing_fill"] is None
    form = typed(
        WallRecord, name="North", length_ft="24", height_ft="8", existing_fill__in_place_in="3",
        **{"existing_fill-there": "on"},
    )  # fmt: skip
    assert "Enter the thickness once squeezed (in)" in said(form)
