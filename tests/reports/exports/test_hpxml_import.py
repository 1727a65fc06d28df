"""The enclosure of somebody's HPXML file becomes a house to go on with; what was not understood is told."""

import json
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from estimates.house import (
    Construction,
    HouseRecord,
    OpeningKind,
    SurfaceKind,
    house_from_json,
    house_to_json,
)
from estimates.records import BadRecord
from reports.exports import hpxml_reading
from reports.exports.hpxml import hpxml_xml
from reports.exports.hpxml_enclosure import cfm50_of, gross_area_ft2
from reports.exports.hpxml_import import HpxmlHouse, house_from_hpxml
from reports.exports.hpxml_reading import NoteKind
from reports.exports.hpxml_words import NAMESPACE, NEAR_SIZE_IN, SIDING

HOUSES = sorted((Path(__file__).resolve().parents[3] / "fixtures" / "houses").glob("*.json"))
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


def house_of(path: Path) -> HouseRecord:
    return house_from_json(path.read_text(encoding="utf-8"))


def whole(read: HpxmlHouse) -> HouseRecord:
    assert read.missing == ()
    return house_from_json(json.dumps(read.form))


@pytest.mark.parametrize("path", HOUSES, ids=lambda path: path.stem)
def test_a_house_that_was_written_comes_back_with_the_same_walls_and_attics(path):
    house = house_of(path)
    back = whole(house_from_hpxml(hpxml_xml(house, written_at=NOON), like=house))

    upright = {wall.id: wall for wall in house.walls if wall.kind is SurfaceKind.WALL}
    assert {quick.id for quick in back.quick_walls} == set(upright)
    assert {wall.id: wall.kind for wall in back.walls} == {
        wall.id: wall.kind for wall in house.walls if wall.id not in upright
    }
    for came in (*back.quick_walls, *back.walls):
        wall = next(wall for wall in house.walls if wall.id == came.id)
        assert came.name == wall.name
        assert gross_area_ft2(came) == pytest.approx(gross_area_ft2(wall), rel=1e-8)
        assert came.spacing_in == wall.spacing_in
        if wall.kind is SurfaceKind.RIM:
            assert came.length_ft == pytest.approx(wall.length_ft)
        else:
            # Rounded to the size of lumber.
            assert abs(came.depth_in - wall.depth_in) <= NEAR_SIZE_IN
        veneer = wall.construction is Construction.FRAME_BRICK_VENEER
        if wall.kind in (SurfaceKind.WALL, SurfaceKind.RIM):
            assert SIDING[came.cladding] == ("brick veneer" if veneer else SIDING[wall.cladding])
        if wall.kind in (SurfaceKind.WALL, SurfaceKind.KNEE_WALL):
            assert came.inside == wall.inside
        assert (came.existing_fill is None) == (wall.existing_fill is None)
        if wall.existing_fill is not None:
            assert came.existing_fill.material is wall.existing_fill.material
            assert came.existing_fill.condition is wall.existing_fill.condition
            assert came.existing_fill.in_place_in == pytest.approx(min(wall.existing_fill.in_place_in, came.depth_in))
    for quick in back.quick_walls:
        openings = [o for o in upright[quick.id].openings if o.kind is not OpeningKind.OTHER]
        area = sum(opening.width_in * opening.height_in for opening in openings) / 144.0
        assert quick.window_share * gross_area_ft2(quick) == pytest.approx(area, rel=1e-6, abs=1e-6)

    kept = ("id", "name", "area_ft2", "existing_material", "existing_depth_in", "vented")
    assert [[getattr(attic, name) for name in kept] for attic in back.attics] == [
        [getattr(attic, name) for name in kept] for attic in house.attics
    ]
    facts = ("id", "name", "street", "town", "state", "postal_code", "year_built", "storeys", "bedrooms", "occupants")
    assert [getattr(back, name) for name in facts] == [getattr(house, name) for name in facts]
    assert (back.floor_area_ft2, back.volume_ft3) == (house.floor_area_ft2, house.volume_ft3)
    assert (back.heating.fuel, back.heating.efficiency) == (house.heating.fuel, house.heating.efficiency)
    assert back.climate == house.climate
    assert cfm50_of(back) == (None if house.blower_door is None else pytest.approx(cfm50_of(house), rel=1e-6))


def test_without_a_house_nearby_climate_and_fuel_price_are_asked_for_and_not_made_up():
    house = house_of(HOUSES[0])
    read = house_from_hpxml(hpxml_xml(house, written_at=NOON))
    paths = {fault.path for fault in read.missing}
    assert "$.heating.price_per_unit" in paths
    assert "$.climate.heating_degree_days" in paths
    assert read.form["climate"]["place"] == house.climate.place
    assert "price_per_unit" not in read.form["heating"]


def foreign(enclosure: str, *, version: str = "4.2", details: str = "", before: str = "") -> bytes:
    """A file as another program may write it."""
    return f"""<?xml version="1.0"?>{before}
<HPXML xmlns="{NAMESPACE}" schemaVersion="{version}">
  <!-- written elsewhere -->
  <Building>
    <BuildingID id="Bldg 7"/>
    <Site><SiteID id="S"/><Address><Address1>9 Larch Row</Address1><CityMunicipality>Pellmark Falls</CityMunicipality>
      <StateCode>NY</StateCode></Address></Site>
    <ProjectStatus><EventType>audit</EventType></ProjectStatus>
    <BuildingDetails>
      <BuildingSummary><BuildingConstruction><YearBuilt>1926</YearBuilt>
        <NumberofConditionedFloorsAboveGrade>2</NumberofConditionedFloorsAboveGrade>
        <NumberofBedrooms>3</NumberofBedrooms><ConditionedFloorArea>1600</ConditionedFloorArea>
        </BuildingConstruction></BuildingSummary>
      <Enclosure>{enclosure}</Enclosure>{details}
    </BuildingDetails>
  </Building>
</HPXML>""".encode()


def wall(inner: str, id_: str = "w1", group: str = "Wall") -> str:
    return f'<{group}><SystemIdentifier id="{id_}"/>{inner}</{group}>'


OUTSIDE = "<ExteriorAdjacentTo>outside</ExteriorAdjacentTo><InteriorAdjacentTo>conditioned space</InteriorAdjacentTo>"
FOREIGN = foreign(
    f"""
    <AirInfiltration>
      {
        wall(
            "<TypeOfInfiltrationMeasurement>estimate</TypeOfInfiltrationMeasurement>",
            "a0",
            "AirInfiltrationMeasurement",
        )
    }
      {
        wall(
            "<TypeOfInfiltrationMeasurement>blower door</TypeOfInfiltrationMeasurement>"
            "<HousePressure>50</HousePressure><BuildingAirLeakage><UnitofMeasure>ACH</UnitofMeasure>"
            "<AirLeakage>12</AirLeakage></BuildingAirLeakage>",
            "a1",
            "AirInfiltrationMeasurement",
        )
    }
    </AirInfiltration>
    <Roofs>{wall("<InteriorAdjacentTo>attic - vented</InteriorAdjacentTo><Area>900</Area>", "r1", "Roof")}</Roofs>
    <Walls>
      {
        wall(
            OUTSIDE + "<WallType><WoodStud/></WallType><Area>640</Area><Studs><Size>2x6</Size><Spacing>24</Spacing>"
            "</Studs><Siding>vinyl siding</Siding><InteriorFinish><Type>gypsum board</Type></InteriorFinish>"
            '<Insulation><SystemIdentifier id="i1"/><Layer><InstallationType>cavity</InstallationType>'
            "<InsulationMaterial><Batt>fiberglass</Batt></InsulationMaterial><NominalRValue>11</NominalRValue></Layer>"
            "<Layer><InstallationType>continuous</InstallationType><InsulationMaterial><Rigid>eps</Rigid>"
            "</InsulationMaterial><NominalRValue>4</NominalRValue></Layer></Insulation>",
        )
    }
      {wall(OUTSIDE + "<WallType><StructuralBrick/></WallType><Area>300</Area>", "brick")}
      {wall(OUTSIDE.replace("outside", "other housing unit") + "<Area>300</Area>", "party")}
      {wall(OUTSIDE, "bare")}
      {wall(OUTSIDE + "<Area>-5</Area>", "minus")}
      {wall(OUTSIDE + "<Area>1e8</Area>", "huge")}
      {wall(OUTSIDE + "<Area>160</Area><Siding>fiber cement siding</Siding>", "wall-w1")}
    </Walls>
    <FoundationWalls>{wall("<Area>800</Area>", "f1", "FoundationWall")}</FoundationWalls>
    <Floors>
      {
        wall(
            "<ExteriorAdjacentTo>attic - unvented</ExteriorAdjacentTo><Area>800</Area><Insulation>"
            '<SystemIdentifier id="i2"/><Layer><InsulationMaterial><LooseFill>vermiculite</LooseFill>'
            "</InsulationMaterial><NominalRValue>8</NominalRValue></Layer></Insulation>",
            "top",
            "Floor",
        )
    }
      {wall("<ExteriorAdjacentTo>garage</ExteriorAdjacentTo><Area>240</Area>", "over", "Floor")}
    </Floors>
    <Windows>
      {wall('<Area>64</Area><AttachedToWall idref="w1"/>', "x1", "Window")}
      {wall("<Area>40</Area>", "x2", "Window")}
    </Windows>
    """,
    details="<Appliances/><Systems><HVAC><HVACPlant><HeatingSystem><SystemIdentifier id='h'/><HeatingSystemFuel>"
    "fuel oil</HeatingSystemFuel><AnnualHeatingEfficiency><Units>Percent</Units><Value>82</Value>"
    "</AnnualHeatingEfficiency></HeatingSystem></HVACPlant></HVAC></Systems>",
)


def test_a_file_written_elsewhere_is_read_as_far_as_it_goes():
    read = house_from_hpxml(FOREIGN, like=house_of(HOUSES[1]))
    form = read.form
    first, second = form["quick_walls"]
    assert (first["id"], second["id"]) == ("w1", "w1-2")
    assert (first["depth_in"], first["spacing_in"], first["cladding"], first["inside"]) == (
        5.5,
        24.0,
        "vinyl",
        "gypsum",
    )
    # D: rooms of 8 ft are the guess, so 640 ft2 are 80 ft; 64 ft2 of window in it and 40 ft2 over 800 ft2 of all walls.
    assert first["perimeter_ft"] * first["storeys"] * first["storey_height_ft"] == pytest.approx(640.0)
    assert first["window_share"] == pytest.approx(64 / 640 + 40 / 800)
    assert second["window_share"] == pytest.approx(40 / 800)
    # D: R 11 of glass batt at R 1/k an inch, k = 0.043 W/mK: 11 x 0.298 = 3.28 in.
    assert first["existing_fill"]["in_place_in"] == pytest.approx(3.28, abs=0.01)
    (attic,) = form["attics"]
    assert (attic["area_ft2"], attic["vented"]) == (800.0, False)
    assert "existing_material" not in attic
    (floor,) = form["walls"]
    assert floor["kind"] == "floor"
    assert floor["length_ft"] * floor["height_ft"] == pytest.approx(240.0)
    # D: 12 air changes an hour of 1600 x 8 = 12,800 ft3 are 2,560 cfm.
    assert form["blower_door"]["points"] == [{"pressure_pa": 50.0, "flow_cfm": pytest.approx(2560.0)}]
    assert form["heating"] == {"fuel": "heating_oil", "efficiency": 0.82, "price_per_unit": pytest.approx(3.85)}
    assert [fault.path for fault in read.missing] == ["$.customer"]
    assert whole(HpxmlHouse(form | {"customer": "Ann Hollis"}, (), ())).street == "9 Larch Row"


@pytest.mark.parametrize(
    ("kind", "place", "said"),
    [
        (NoteKind.LEFT_OUT, "Wall brick", "StructuralBrick"),
        (NoteKind.LEFT_OUT, "Wall party", "other housing unit"),
        (NoteKind.LEFT_OUT, "Wall bare", "no area"),
        (NoteKind.REFUSED, "Wall minus", "'-5'"),
        (NoteKind.REFUSED, "Wall huge", "perimeter_ft"),
        (NoteKind.LEFT_OUT, "Wall w1", "continuous insulation Rigid eps"),
        (NoteKind.GUESSED, "Wall w1", "from its R-value of 11"),
        (NoteKind.GUESSED, "Wall wall-w1", "cladding"),
        (NoteKind.LEFT_OUT, "Floor top", "asbestos"),
        (NoteKind.LEFT_OUT, "Roof r1", "no heated room"),
        (NoteKind.LEFT_OUT, "FoundationWalls", "1 of them"),
        (NoteKind.LEFT_OUT, "AirInfiltrationMeasurement a0", "no blower-door test"),
        (NoteKind.LEFT_OUT, "Appliances", "not read"),
        (NoteKind.GUESSED, "Windows and doors in no wall", "40 ft2"),
        (NoteKind.GUESSED, "BuildingSummary", "volume 12800"),
        (NoteKind.GUESSED, "Fuel price", "3.85"),
    ],
)
def test_what_was_not_taken_as_it_stands_is_told(kind, place, said):
    notes = house_from_hpxml(FOREIGN, like=house_of(HOUSES[1])).notes
    assert [note for note in notes if note.kind is kind and note.place == place and said in note.words]


# S: the standard's own examples tell where a floor lies by the attic or the basement that it is attached to, and give
# insulation by its R-value alone.
ATTACHED = foreign(
    f"""
    <Attics>{
        wall("<AtticType><Attic><Vented>true</Vented></Attic></AtticType><AttachedToFloor idref='up'/>", "a1", "Attic")
    }</Attics>
    <Foundations>{
        wall(
            "<FoundationType><Basement><Conditioned>true</Conditioned></Basement></FoundationType>"
            "<AttachedToFloor idref='down'/>",
            "f1",
            "Foundation",
        )
    }</Foundations>
    <RimJoists>{wall("<Area>90</Area><FloorJoists><Size>2x10</Size></FloorJoists>", "rim", "RimJoist")}</RimJoists>
    <Walls>{
        wall(
            "<Area>500</Area><Insulation><SystemIdentifier id='i'/><Layer><NominalRValue>13</NominalRValue></Layer>"
            "</Insulation>"
        )
    }</Walls>
    <Floors>
      {
        wall(
            "<Area>700</Area><Insulation><SystemIdentifier id='j'/><Layer><InsulationMaterial><LooseFill>cellulose"
            "</LooseFill></InsulationMaterial><NominalRValue>19</NominalRValue></Layer></Insulation>",
            "up",
            "Floor",
        )
    }
      {wall("<Area>700</Area>", "down", "Floor")}
    </Floors>"""
)


def test_a_floor_is_an_attic_or_lies_over_a_heated_basement_by_what_it_is_attached_to():
    read = house_from_hpxml(ATTACHED, like=house_of(HOUSES[0]))
    (attic,) = read.form["attics"]
    assert (attic["id"], attic["area_ft2"], attic["vented"]) == ("up", 700.0, True)
    # D: R 19 of loose cellulose, k = 0.042 W/mK: R 3.434 an inch, 5.53 in.
    assert attic["existing_depth_in"] == pytest.approx(5.53, abs=0.01)
    (rim,) = read.form["walls"]
    # D: a joist of 9.25 in: 90 ft2 / 0.7708 ft = 116.8 ft.
    assert rim["length_ft"] == pytest.approx(116.8, abs=0.05)
    assert "existing_fill" not in read.form["quick_walls"][0]
    told = [str(note) for note in read.notes if note.kind is NoteKind.LEFT_OUT]
    assert "left out: Floor down: lies over a heated basement" in told
    assert any(line.startswith("left out: Wall w1: insulation of no kind, 13 R") for line in told)


BOMB = "<!DOCTYPE lol [<!ENTITY a 'ha'><!ENTITY b '&a;&a;&a;&a;'>]>"


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"", "not XML"),
        (b"{}", "not XML"),
        (b"<HPXML", "not XML"),
        (b"<house/>", "outermost element is house"),
        (b'<HPXML xmlns="http://hpxmlonline.com/2019/10" schemaVersion="3.0"/>', "version 3.0"),
        (f'<HPXML xmlns="{NAMESPACE}" schemaVersion="9"/>'.encode(), "version 9"),
        (f'<HPXML xmlns="{NAMESPACE}" schemaVersion="4.2"/>'.encode(), "holds no Building"),
        (foreign("").replace(b"<Enclosure></Enclosure>", b""), "has no Enclosure"),
        (foreign("", before=BOMB), "document type"),
        (foreign("", before=BOMB).decode().encode("utf-16"), "document type"),
        (foreign("", before='<!DOCTYPE x SYSTEM "file:///etc/hostname">'), "document type"),
        (foreign("<Walls>" + wall("<Area>1</Area>") * 2_001 + "</Walls>"), "2,001 walls"),
        (b"<a>" * 100_000, "not XML"),
    ],
)
def test_a_file_that_is_no_house_or_means_harm_is_refused_whole(raw, said):
    with pytest.raises(BadRecord, match=said) as refused:
        house_from_hpxml(raw)
    assert [fault.path for fault in refused.value.faults] == ["$"]


def test_a_file_larger_than_any_house_is_not_even_parsed(monkeypatch):
    monkeypatch.setattr(hpxml_reading, "MOST_BYTES", 1_000)
    with pytest.raises(BadRecord, match="at most 1,000"):
        house_from_hpxml(foreign("") + b" " * 1_000)


def test_figures_too_large_for_any_house_never_become_infinite():
    raw = FOREIGN.replace(b"<ConditionedFloorArea>1600<", b"<ConditionedFloorArea>1e308<")
    read = house_from_hpxml(raw)
    assert "floor_area_ft2" not in read.form
    assert "$.floor_area_ft2" in {fault.path for fault in read.missing}
    json.dumps(read.form, allow_nan=False)


@pytest.mark.parametrize("said", ["NaN", "INF", "-INF", "1e999", "twelve", "0x10", "1_000", "&lt;b&gt;"])
def test_a_figure_that_is_none_never_comes_through(said):
    raw = foreign(
        f"<Walls>{wall(OUTSIDE + f'<Area>{said}</Area>')}{wall(OUTSIDE + '<Area>100</Area>', 'good')}</Walls>",
    ).replace(b"<Address>", f"<Address/><Elevation>{said}</Elevation><Address>".encode())
    read = house_from_hpxml(raw)
    assert [form["id"] for form in read.form["quick_walls"]] == ["good"]
    refused = [note for note in read.notes if note.kind is NoteKind.REFUSED]
    assert {note.place for note in refused} >= {"Wall w1", "Site: Elevation"}
    json.dumps(read.form, allow_nan=False)


# --- The two commands ------------------------------------------------------------------------------------------------


def refused(command: str, *args: str, **options) -> list[str]:
    said = StringIO()
    with pytest.raises(CommandError) as caught:
        call_command(command, *args, stdout=StringIO(), stderr=said, **options)
    assert caught.value.returncode == 2
    return [*said.getvalue().splitlines(), str(caught.value)]


def test_a_house_goes_out_and_comes_back_by_command(tmp_path):
    xml, house, said = tmp_path / "house.xml", tmp_path / "house.json", StringIO()
    call_command("house_hpxml", str(HOUSES[0]), out=xml, stdout=said)
    assert "not in the file: Bills." in said.getvalue()
    said = StringIO()
    call_command("hpxml_house", str(xml), out=house, like=HOUSES[0], stdout=said)
    assert "guessed: Climate" in said.getvalue()
    assert said.getvalue().splitlines()[-1] == f"Written to {house}"
    assert house_from_json(house.read_text(encoding="utf-8")).id == HOUSES[0].stem
    said = StringIO()
    call_command("hpxml_house", str(xml), out=house, stdout=said)
    assert "to enter: $.heating.price_per_unit: missing" in said.getvalue()
    assert "facts to enter before it can be estimated" in said.getvalue()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["house.json", "house.xml"]


def test_a_bad_file_gives_a_line_per_fault_and_code_2(tmp_path):
    out = tmp_path / "out"
    form = house_to_json(house_of(HOUSES[0]))
    (tmp_path / "bad.json").write_text(json.dumps(form | {"storeys": 9, "bedrooms": -1}), encoding="utf-8")
    lines = refused("house_hpxml", str(tmp_path / "bad.json"), out=out)
    assert [line.split(":")[0] for line in lines] == ["$.storeys", "$.bedrooms", "Nothing was written."]
    (tmp_path / "bad.xml").write_bytes(foreign("", before=BOMB))
    assert "document type" in refused("hpxml_house", str(tmp_path / "bad.xml"), out=out)[0]
    assert "no such file" in refused("hpxml_house", str(tmp_path / "none.xml"), out=out)[0]
    assert "cannot be read" in refused("hpxml_house", str(tmp_path), out=out)[0]
    assert not out.exists()
    nowhere = tmp_path / "no" / "where.xml"
    assert "cannot be written" in refused("house_hpxml", str(HOUSES[0]), out=nowhere)[-1]
