"""A measured house leaves as HPXML that the official schema accepts, with what that form does not hold named."""

import dataclasses
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path

import hpxml_version_translator
import pytest
from hpxml_version_translator.converter import convert_hpxml_to_version
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from shapely.geometry import Polygon, box

from estimates.house import (
    FillMaterial,
    HouseRecord,
    Measure,
    OpeningKind,
    OpeningRecord,
    PressurePointRecord,
    QuickWallRecord,
    SurfaceKind,
    WallRecord,
    house_from_json,
)
from estimates.records import CODE_PATTERN, BadRecord
from reports.exports.hpxml import hpxml_left_out, hpxml_xml, scope_work
from reports.exports.hpxml_enclosure import Work, gross_area_ft2
from reports.exports.hpxml_words import NAMESPACE

HOUSES = sorted((Path(__file__).resolve().parents[3] / "fixtures" / "houses").glob("*.json"))
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
N = {"h": NAMESPACE}


@cache
def official() -> etree.XMLSchema:
    """S: the schema of HPXML 4.2 as the package ships it."""
    return etree.XMLSchema(
        etree.parse(Path(hpxml_version_translator.__file__).parent / "schemas" / "v4.2" / "HPXML.xsd")
    )


@cache
def house_of(name: str) -> HouseRecord:
    return house_from_json(next(path for path in HOUSES if path.stem == name).read_text(encoding="utf-8"))


def read(raw: bytes) -> etree._Element:
    root = etree.fromstring(raw)
    official().assertValid(root)
    return root


def enclosures(root: etree._Element) -> list[etree._Element]:
    return root.findall("h:Building/h:BuildingDetails/h:Enclosure", N)


def part(enclosure: etree._Element, id_: str) -> etree._Element:
    (identifier,) = enclosure.xpath(f".//h:SystemIdentifier[@id='{id_}']", namespaces=N)
    return identifier.getparent()


def layers(element: etree._Element) -> list[tuple[str, str | None, str | None]]:
    """Material, thickness and R-value of each layer."""
    found = []
    for layer in element.findall("h:Insulation/h:Layer", N):
        material = layer.find("h:InsulationMaterial", N)[0]
        words = f"{etree.QName(material).localname} {material.text or ''}".strip()
        found.append((words, layer.findtext("h:Thickness", None, N), layer.findtext("h:NominalRValue", None, N)))
    return found


@pytest.mark.parametrize("path", HOUSES, ids=lambda path: path.stem)
def test_every_house_is_valid_and_holds_each_part_before_and_after(path):
    house = house_of(path.stem)
    root = read(hpxml_xml(house, written_at=NOON))
    before, after = enclosures(root)
    for prefix, enclosure in (("", before), ("after-", after)):
        for wall in house.walls:
            area = float(part(enclosure, f"{prefix}wall-{wall.id}").findtext("h:Area", None, N))
            assert area == pytest.approx(gross_area_ft2(wall), rel=1e-8)
        for attic in house.attics:
            ceiling = part(enclosure, f"{prefix}ceiling-{attic.id}")
            assert float(ceiling.findtext("h:Area", None, N)) == pytest.approx(attic.area_ft2)
    project = root.find("h:Project", N)
    assert project.find("h:PreBuildingID", N).get("idref") == f"house-{house.id}"
    assert project.find("h:PostBuildingID", N).get("idref") == f"after-house-{house.id}"
    option = house.options[0] if house.options else None
    measures = project.findall("h:ProjectDetails/h:Measures/h:Measure", N)
    assert len(measures) == len(list(scope_work(house, option) if option else scope_work(house)))
    for measure in measures:
        idref = measure.find("h:InstalledComponents/h:InstalledComponent", N).get("idref")
        assert root.xpath(f"//h:SystemIdentifier[@id='{idref}']", namespaces=N)


def test_another_program_takes_a_file_and_brings_it_to_the_next_version(tmp_path):
    """D: the translator of the standard's own makers checks what it reads and what it writes against the schemas."""
    ours, next_ = tmp_path / "ours.xml", tmp_path / "next.xml"
    ours.write_bytes(hpxml_xml(house_of("sorrel-bungalow"), written_at=NOON))
    convert_hpxml_to_version("5.0", str(ours), str(next_))
    names = {"h": etree.parse(next_).getroot().nsmap[None]}
    areas = etree.parse(next_).xpath("//h:Wall/h:Area/text()", namespaces=names)
    upright = [
        wall for wall in house_of("sorrel-bungalow").walls if wall.kind in (SurfaceKind.WALL, SurfaceKind.KNEE_WALL)
    ]
    assert [float(area) for area in areas] == pytest.approx([gross_area_ft2(wall) for wall in upright] * 2)


def test_an_empty_cavity_is_empty_before_and_full_of_foam_after():
    before, after = enclosures(read(hpxml_xml(house_of("alder-foursquare"), written_at=NOON)))
    assert layers(part(before, "wall-front")) == [("None", None, "0")]
    # D: the cavity is 3.625 in deep; the house alone tells no R-value of a product.
    assert layers(part(after, "after-wall-front")) == [("Other injected foam", "3.625", None)]
    wall = part(after, "after-wall-front")
    assert wall.find("h:SystemIdentifier", N).get("sameas") == "wall-front"
    assert wall.findtext("h:Siding", None, N) == "brick veneer"
    assert wall.findtext("h:WallType/h:WoodStud/h:FramingType", None, N) == "balloon"


def test_old_batts_are_told_with_their_thickness_and_lie_squeezed_beside_the_foam_after():
    house = next(house_of(path.stem) for path in HOUSES if any(w.existing_fill for w in house_of(path.stem).walls))
    wall = next(wall for wall in house.walls if wall.existing_fill)
    old = wall.existing_fill
    work = [Work(part=wall.id, measure=Measure.WALL_INJECTION, quantity=1.0, unit="ft2", added_r=7.5)]
    before, after = enclosures(read(hpxml_xml(house, written_at=NOON, work=work)))
    (found,) = layers(part(before, f"wall-{wall.id}"))
    assert found[:2] == (
        "Batt fiberglass" if "glass" in old.material.value else "Batt rockwool",
        f"{old.in_place_in:g}",
    )
    condition = part(before, f"wall-{wall.id}").findtext("h:Insulation/h:InsulationCondition", None, N)
    assert condition == old.condition.value
    squeezed, foam = layers(part(after, f"after-wall-{wall.id}"))
    assert squeezed[1] == f"{old.compressed_in:g}"
    assert foam == ("Other injected foam", f"{wall.depth_in - old.compressed_in:g}", "7.5")
    untouched = next(other for other in house.walls if other.id != wall.id)
    assert layers(part(after, f"after-wall-{untouched.id}")) == layers(part(before, f"wall-{untouched.id}"))


def test_an_attic_gets_what_its_target_lacks_or_what_the_product_lists():
    house = house_of("alder-foursquare")
    before, after = enclosures(read(hpxml_xml(house, written_at=NOON)))
    # D: 3 in of loose rock wool at R 2.8 an inch (the row of the material table) is 8.4; 49 - 8.4 = 40.6.
    assert layers(part(before, "ceiling-attic")) == [("LooseFill rockwool", "3", "8.4")]
    assert layers(part(after, "after-ceiling-attic")) == [
        ("LooseFill rockwool", "3", "8.4"),
        ("LooseFill unknown", None, "40.6"),
    ]
    listed = Work(
        part="attic",
        measure=Measure.ATTIC_TOP_UP,
        quantity=716.0,
        unit="ft2",
        cost_cents=215_050,
        material=FillMaterial.LOOSE_CELLULOSE,
        thickness_in=11.5,
        added_r=41.0,
    )
    root = read(hpxml_xml(house, written_at=NOON, work=[listed], done_on=date(2026, 4, 9), title="Attic"))
    assert layers(part(enclosures(root)[1], "after-ceiling-attic"))[1] == ("LooseFill cellulose", "11.5", "41")
    (measure,) = root.findall("h:Project/h:ProjectDetails/h:Measures/h:Measure", N)
    said = {etree.QName(child).localname: child.text for child in measure if len(child) == 0}
    assert said["Cost"] == "2150.50"
    assert said["InstallationDate"] == "2026-04-09"
    assert said["Status"] == "Installed"
    assert measure.findtext("h:Quantity/h:Value", None, N) == "716.000"
    assert root.findtext("h:Project/h:ProjectDetails/h:Title", None, N) == "Attic"


def test_the_blower_door_test_is_told_at_fifty_pascal_and_the_figure_after_as_an_estimate():
    house = house_of("alder-foursquare")
    # D: one reading at 50 Pa, nothing to take off, is its own result.
    one_reading = (PressurePointRecord(pressure_pa=50.0, flow_cfm=4300.0),)
    test = dataclasses.replace(house.blower_door, points=one_reading, baseline_pa=0.0)
    house = dataclasses.replace(house, blower_door=test)
    root = read(hpxml_xml(house, written_at=NOON, cfm50_after=2900.0))
    air = [one.find("h:AirInfiltration/h:AirInfiltrationMeasurement", N) for one in enclosures(root)]
    assert [one.findtext("h:TypeOfInfiltrationMeasurement", None, N) for one in air] == ["blower door", "estimate"]
    assert {one.findtext("h:HousePressure", None, N) for one in air} == {"50"}
    flows = [float(one.findtext("h:BuildingAirLeakage/h:AirLeakage", None, N)) for one in air]
    assert flows[0] == 4300.0
    assert flows[1] == 2900.0
    untested = dataclasses.replace(house, blower_door=None)
    assert enclosures(read(hpxml_xml(untested, written_at=NOON)))[0].find("h:AirInfiltration", N) is None


def test_heat_from_electricity_beyond_what_goes_in_is_a_heat_pump():
    root = read(hpxml_xml(house_of("upland-twostorey"), written_at=NOON))
    plant = root.find("h:Building/h:BuildingDetails/h:Systems/h:HVAC/h:HVACPlant", N)
    assert plant.findtext("h:HeatPump/h:AnnualHeatingEfficiency/h:Units", None, N) == "COP"
    assert plant.findtext("h:HeatPump/h:AnnualHeatingEfficiency/h:Value", None, N) == "2.1"
    gas = read(hpxml_xml(house_of("alder-foursquare"), written_at=NOON))
    system = gas.find("h:Building/h:BuildingDetails/h:Systems/h:HVAC/h:HVACPlant/h:HeatingSystem", N)
    assert system.findtext("h:HeatingSystemFuel", None, N) == "natural gas"
    assert system.findtext("h:AnnualHeatingEfficiency/h:Value", None, N) == "0.82"


def test_walls_known_by_a_few_figures_leave_with_their_share_of_windows():
    quick = QuickWallRecord(id="all", name="All round", perimeter_ft=100.0, storeys=2, storey_height_ft=8.5)
    house = dataclasses.replace(house_of("mill-cape"), walls=(), quick_walls=(quick,), options=())
    before = enclosures(read(hpxml_xml(house, written_at=NOON)))[0]
    # D: 100 ft x 2 x 8.5 ft = 1700 ft2, 15 % of it windows.
    assert part(before, "wall-all").findtext("h:Area", None, N) == "1700"
    assert part(before, "window-1").findtext("h:Area", None, N) == "255"
    assert "That these are walls known by a few figures only: all." in hpxml_left_out(house)


def test_what_the_form_does_not_hold_is_told_by_part():
    told = hpxml_left_out(house_of("alder-foursquare"))
    assert any(line.startswith("Depth of studs") and line.endswith("front, back, left, right.") for line in told)
    assert any(line.startswith("Blocks, braces") and "back" in line for line in told)
    assert any(line.startswith("Length and height of walls") for line in told)
    assert "Bills." in told
    assert not any(line.startswith("Openings that are neither") for line in told)
    wall = house_of("mill-cape").walls[0]
    hatch = OpeningRecord(id="coal", left_in=1, bottom_in=0, width_in=20, height_in=20, kind=OpeningKind.OTHER)
    odd = dataclasses.replace(house_of("mill-cape"), walls=(dataclasses.replace(wall, openings=(hatch,)),), bills=())
    assert f"Openings that are neither window nor door: {wall.id}." in hpxml_left_out(odd)
    assert "Bills." not in hpxml_left_out(odd)


def work_on(part_id: str, measure: Measure = Measure.WALL_INJECTION) -> Work:
    return Work(part=part_id, measure=measure, quantity=1.0, unit="ft2")


@pytest.mark.parametrize(
    ("given_", "path", "said"),
    [
        ({"written_at": datetime(2026, 3, 2)}, "written_at", "time zone"),
        ({"work": [work_on("nowhere")]}, "work[0].part", "no wall_injection on 'nowhere'"),
        ({"work": [work_on("front", Measure.ATTIC_TOP_UP)]}, "work[0].part", "no attic_top_up on 'front'"),
        ({"work": [work_on("front"), work_on("front")]}, "work[1].part", "worked on twice"),
    ],
)
def test_what_does_not_belong_to_the_house_is_refused_by_name(given_, path, said):
    with pytest.raises(BadRecord, match=said) as refused:
        hpxml_xml(house_of("alder-foursquare"), **({"written_at": NOON} | given_))
    assert [fault.path for fault in refused.value.faults] == [path]


def test_readings_that_make_no_leakage_are_refused_by_their_field():
    house = house_of("alder-foursquare")
    points = tuple(PressurePointRecord(pressure_pa=p, flow_cfm=q) for p, q in [(20, 1e-9), (40, 5e4), (60, 1e-9)])
    bad = dataclasses.replace(house, blower_door=dataclasses.replace(house.blower_door, points=points, baseline_pa=-20))
    with pytest.raises(BadRecord) as refused:
        hpxml_xml(bad, written_at=NOON)
    assert [fault.path for fault in refused.value.faults] == ["$.blower_door"]


heights = st.floats(4.0, 20.0)


@settings(max_examples=60)
@given(
    length=st.floats(3.0, 60.0),
    left=heights,
    right=st.none() | heights,
    rise=st.none() | st.floats(0.5, 12.0),
    at=st.none() | st.floats(0.1, 0.9),
    fill=st.none() | st.floats(1.0, 30.0),
)
def test_the_area_of_a_wall_is_that_of_its_outline_below_the_ceiling_line(length, left, right, rise, at, fill):
    """D: a geometry library cuts the outline at the line."""
    other = left if right is None else right
    peak = None if rise is None else max(left, other) + rise
    wall = WallRecord(
        id="w",
        name="W",
        length_ft=length,
        height_ft=left,
        right_height_ft=right,
        peak_height_ft=peak,
        peak_at_ft=None if peak is None or at is None else at * length,
        fill_to_ft=fill,
    )
    top = [(length, other), *([((at or 0.5) * length, peak)] if peak is not None else []), (0.0, left)]
    outline = Polygon([(0.0, 0.0), (length, 0.0), *top])
    cut = outline.intersection(box(0.0, 0.0, length, 100.0 if fill is None else fill))
    assert gross_area_ft2(wall) == pytest.approx(cut.area, rel=1e-9)


@settings(max_examples=25)
@given(
    ids=st.lists(st.from_regex(CODE_PATTERN, fullmatch=True), min_size=3, max_size=3, unique=True),
    words=st.text(st.characters(exclude_categories=("Cs", "Cc"), include_characters="\n\t"), min_size=1, max_size=80),
)
def test_whatever_the_parts_are_called_the_file_is_valid(ids, words):
    house = house_of("alder-foursquare")
    walls = tuple(dataclasses.replace(wall, id=id_, name=words) for wall, id_ in zip(house.walls[:3], ids, strict=True))
    attic = dataclasses.replace(house.attics[0], id=ids[0], name=words)
    site = dataclasses.replace(house.leak_sites[0], id=ids[0], name=words)
    named = dataclasses.replace(
        house,
        id=ids[1],
        name=words,
        customer=words,
        street=words,
        town=words,
        walls=walls,
        attics=(attic,),
        leak_sites=(site,),
        options=(),
    )
    before = enclosures(read(hpxml_xml(named, written_at=NOON)))[0]
    for id_ in ids:
        assert part(before, f"wall-{id_}").find("h:Area", N) is not None
