"""The house record: reading, writing, faults by JSON path, and its schema."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from estimates.house import HouseRecord, house_from_json, house_schema, house_to_json
from estimates.records import BadRecord

HOUSES = sorted((Path(__file__).resolve().parents[2] / "fixtures" / "houses").glob("*.json"))


@pytest.fixture
def raw() -> dict[str, Any]:
    """A small sound house."""
    return json.loads((HOUSES[1]).read_text(encoding="utf-8"))  # type: ignore[no-any-return]


def faults_of(raw: Any) -> dict[str, str]:
    with pytest.raises(BadRecord) as caught:
        house_from_json(raw if isinstance(raw, str) else json.dumps(raw))
    return {fault.path: fault.message for fault in caught.value.faults}


@pytest.mark.parametrize("path", HOUSES, ids=lambda path: path.stem)
def test_every_demo_house_is_sound_round_trips_and_fits_the_schema(path: Path) -> None:
    source = path.read_text(encoding="utf-8")
    house = house_from_json(source)
    assert house_from_json(json.dumps(house_to_json(house))) == house
    jsonschema.Draft202012Validator(house_schema()).validate(json.loads(source))
    jsonschema.Draft202012Validator(house_schema()).validate(house_to_json(house))


def test_the_schema_is_a_schema_with_a_unit_in_every_description_and_no_unknown_fields() -> None:
    schema = house_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    for definition in [schema, *schema["$defs"].values()]:
        assert definition["additionalProperties"] is False
        for name, field in definition["properties"].items():
            assert field["description"].endswith("]"), name


def test_unknown_field_names_its_path_and_what_was_meant(raw: dict[str, Any]) -> None:
    raw["walls"][1]["lenght_ft"] = 3
    assert "did you mean 'length_ft'" in faults_of(raw)["$.walls[1].lenght_ft"]


def test_every_fault_is_listed_at_once(raw: dict[str, Any]) -> None:
    raw["year_built"] = "old"
    raw["walls"][0]["length_ft"] = -2
    raw["walls"][0]["openings"][0]["width_in"] = None
    raw["heating"]["fuel"] = "coal"
    del raw["street"]
    found = faults_of(raw)
    assert set(found) == {
        "$.year_built",
        "$.walls[0].length_ft",
        "$.walls[0].openings[0].width_in",
        "$.heating.fuel",
        "$.street",
    }
    assert "[ft]" in found["$.walls[0].length_ft"]
    assert "natural_gas" in found["$.heating.fuel"]


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("{", "not valid JSON"),
        ('{"a": NaN}', "NaN"),
        ('{"a": -Infinity}', "Infinity"),
        ('{"a": 1, "a": 2}', "stands twice"),
        ("[1]", "not an object"),
        ("[" * 100_000, ""),
    ],
)
def test_text_that_is_no_house_is_refused(source: str, words: str) -> None:
    assert words in " ".join(faults_of(source).values())


def test_numbers_too_large_to_hold_are_refused(raw: dict[str, Any]) -> None:
    text = json.dumps(raw).replace('"floor_area_ft2": 1040.0', '"floor_area_ft2": 1e999')
    assert "finite" in faults_of(text)["$.floor_area_ft2"]


def test_an_opening_beyond_its_wall_over_another_or_too_tall_is_refused(raw: dict[str, Any]) -> None:
    openings = raw["walls"][0]["openings"]
    openings[0]["left_in"] = 380
    openings[2] |= {"left_in": 175, "bottom_in": 10}
    raw["walls"][1]["openings"][0]["height_in"] = 90
    found = faults_of(raw)
    assert "framing from 0 to 384 in" in found["$.walls[0].openings[0].left_in"]
    assert "lies over the opening 'door'" in found["$.walls[0].openings[2]"]
    assert "above the wall" in found["$.walls[1].openings[0].height_in"]


def test_readings_that_no_fan_made_are_refused(raw: dict[str, Any]) -> None:
    raw["blower_door"]["baseline_pa"] = -19.5
    assert "baseline of -19.5 Pa" in faults_of(raw)["$.blower_door.points[6].pressure_pa"]
    raw["blower_door"]["baseline_pa"] = 0
    for point in raw["blower_door"]["points"]:
        point["pressure_pa"] = 50
    assert "all at one pressure" in faults_of(raw)["$.blower_door.points"]


def test_two_walls_of_one_id_are_refused(raw: dict[str, Any]) -> None:
    raw["walls"][1]["id"] = "front"
    assert "already used" in faults_of(raw)["$.walls[1]"]


def test_an_option_points_only_to_what_exists_and_holds_work(raw: dict[str, Any]) -> None:
    raw["options"] = [
        {"id": "a", "name": "A", "wall_ids": ["front", "attic"]},
        {"id": "b", "name": "B", "wall_ids": [], "attic_ids": [], "leak_ids": []},
    ]
    found = faults_of(raw)
    assert "no such id 'attic'" in found["$.options[0].wall_ids[1]"]
    assert "no work" in found["$.options[1]"]


def test_zero_and_impossible_walls_are_refused(raw: dict[str, Any]) -> None:
    raw["walls"][0]["length_ft"] = 0
    raw["walls"][1]["depth_in"] = -3.5
    raw["walls"][2]["length_ft"] = 0.3
    raw["walls"][2]["openings"] = []
    assert {"$.walls[0].length_ft", "$.walls[1].depth_in"} <= set(faults_of(raw))
    raw["walls"][0]["length_ft"], raw["walls"][1]["depth_in"] = 32.0, 3.5
    assert "no bay" in faults_of(raw)["$.walls[2].length_ft"]


def test_names_in_any_script_are_kept(raw: dict[str, Any]) -> None:
    raw["customer"] = "Žofie Ñandú 李 \u202b"
    assert house_from_json(json.dumps(raw)).customer == raw["customer"]


def test_control_characters_are_refused(raw: dict[str, Any]) -> None:
    raw["customer"] = "a\x00b"
    assert "control character" in faults_of(raw)["$.customer"]


def test_a_quantity_as_text_goes_through_the_parser_that_is_given(raw: dict[str, Any]) -> None:
    raw["walls"][0]["length_ft"] = "32 ft"

    def parse(text: str, unit: str) -> float:
        assert unit == "ft"
        return float(text.removesuffix(" ft"))

    house: HouseRecord = house_from_json(json.dumps(raw), parse=parse)
    assert house.walls[0].length_ft == 32.0
    assert "not a number" in faults_of(raw)["$.walls[0].length_ft"]
