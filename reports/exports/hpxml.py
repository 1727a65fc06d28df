"""A measured house and what is to be done to it as HPXML 4.2, the open form of home-performance data.

The file holds two buildings, as found and as after the work, and a project that leads from one to the other. What the
form has no place for is told by `hpxml_left_out`, so that nobody takes the file for the whole record.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import Any

from lxml import etree

from estimates.house import (
    WHOLE_SCOPE,
    Cladding,
    Construction,
    Fuel,
    HouseRecord,
    LeakKind,
    Measure,
    OpeningKind,
    OptionRecord,
    Round,
    SurfaceKind,
    WallRecord,
)
from estimates.money import from_cents
from estimates.physics.validity import OutOfRange
from estimates.records import BadRecord, Fault
from reports.exports.hpxml_enclosure import IN2_PER_FT2, Stage, Work, cfm50_of, gross_area_ft2, put_enclosure, walls_of
from reports.exports.hpxml_words import FUEL, NAMESPACE, SHELTER, STUD_DEPTHS, VERSION, stud_size
from reports.exports.hpxml_xml import put, put_id

PROGRAM = "Cavitybook"

DONE = "Installed"
PLANNED = "Recommended"

MEASURE_WORDS = {
    Measure.WALL_INJECTION: "Inject foam into closed wall cavities",
    Measure.ATTIC_TOP_UP: "Add loose-fill insulation to the attic floor",
    Measure.AIR_SEALING: "Seal air leaks",
}

_BY_LENGTH = (LeakKind.TOP_PLATE, LeakKind.RIM_JOIST, LeakKind.SILL_PLATE, LeakKind.WINDOW_TRIM)


def hpxml_xml(
    house: HouseRecord,
    *,
    written_at: datetime,
    work: Sequence[Work] | None = None,
    title: str = "",
    cfm50_after: float | None = None,
    after_tested: bool = False,
    done_on: date | None = None,
) -> bytes:
    """Write a house, its tests and its measures as HPXML 4.2.

    Parameters
    ----------
    house : the measured house.
    written_at : when the file is made, with its time zone.
    work : what is done to each part; None: what the first option of the house holds (see `scope_work`).
    title : name of the scope; left empty: that of the first option.
    cfm50_after : leakage at 50 Pa after the work, None where nobody worked it out or tested. [cfm]
    after_tested : `cfm50_after` was tested, not worked out.
    done_on : the day the work was complete; None: it is still planned.

    Returns
    -------
    UTF-8 XML. The resistance of old insulation is that of its material at the thickness found; foam bears none unless
    `Work.added_r` gives what its data sheet lists.

    Raises
    ------
    BadRecord : the time lacks its zone, work names a part that the house does not have, or the readings of the
        blower-door test make no leakage.

    References
    ----------
    .. [1] HPXML data dictionary, version 4.2 (schemas HPXML.xsd, HPXMLBaseElements.xsd, HPXMLDataTypes.xsd).
    """
    option = house.options[0] if house.options else WHOLE_SCOPE
    planned = tuple(scope_work(house, option) if work is None else work)
    faults = list(_faults(house, planned, written_at))
    if faults:
        raise BadRecord(faults)
    try:
        cfm50 = cfm50_of(house)
    except OutOfRange as beyond:
        raise BadRecord([Fault("$.blower_door", str(beyond))]) from None
    before, after = Stage(), Stage("after-", planned)
    root = etree.Element(f"{{{NAMESPACE}}}HPXML", {"schemaVersion": VERSION}, nsmap={None: NAMESPACE})
    _put_header(root, written_at)
    _put_customer(root, house)
    _put_building(root, house, before, "audit", cfm50, estimated=False)
    end = "proposed workscope" if done_on is None else "job completion testing/final inspection"
    _put_building(root, house, after, end, cfm50_after, estimated=not after_tested)
    _put_project(root, house, planned, title or option.name, done_on)
    return bytes(etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True))


def scope_work(house: HouseRecord, option: OptionRecord = WHOLE_SCOPE) -> Iterator[Work]:
    """What an option does to each part, as far as the house alone tells.

    Parameters
    ----------
    house : the measured house.
    option : which walls, attics and leak sites; by default all of them.

    Returns
    -------
    One `Work` for each part: walls by their area less openings [ft2], attics by their floor area [ft2], leak sites by
    ft or pieces. No costs.
    """
    for wall in walls_of(house):
        if option.wall_ids is None or wall.id in option.wall_ids:
            if isinstance(wall, WallRecord):
                holes = sum(opening.width_in * opening.height_in for opening in wall.openings) / IN2_PER_FT2
            else:
                holes = wall.window_share * gross_area_ft2(wall)
            net = max(gross_area_ft2(wall) - holes, 0.0)
            yield Work(part=wall.id, measure=Measure.WALL_INJECTION, quantity=net, unit="ft2")
    for attic in house.attics:
        if option.attic_ids is None or attic.id in option.attic_ids:
            yield Work(part=attic.id, measure=Measure.ATTIC_TOP_UP, quantity=attic.area_ft2, unit="ft2")
    for site in house.leak_sites:
        if option.leak_ids is None or site.id in option.leak_ids:
            unit = "ft" if site.kind in _BY_LENGTH else "each"
            yield Work(part=site.id, measure=Measure.AIR_SEALING, quantity=site.quantity, unit=unit)


def hpxml_left_out(house: HouseRecord) -> tuple[str, ...]:
    """What of this house the file does not hold, or holds more coarsely, a sentence each.

    Parameters
    ----------
    house : the measured house.

    Returns
    -------
    Sentences for the reader of the file; each names the parts it is about.
    """
    return tuple(
        f"{words}: {', '.join(names)}." if names else f"{words}." for words, names in _left_out(house) if names != []
    )


def _left_out(house: HouseRecord) -> Iterator[tuple[str, list[str] | None]]:
    """A sentence and the parts it is about; None for the whole house, an empty list where it does not apply."""
    walls = house.walls

    def of(wanted: Any) -> list[str]:
        return [wall.id for wall in walls if wanted(wall)]

    yield "Length and height of walls; only their area, up to the insulated ceiling line", of(lambda w: True)
    yield "Places and sizes of openings; only the area of each", of(lambda w: w.openings)
    yield (
        "Openings that are neither window nor door",
        of(lambda w: any(o.kind is OpeningKind.OTHER for o in w.openings)),
    )
    inside = "Blocks, braces, partitions, floor lines, found studs and parts that are not filled"
    yield inside, of(lambda w: w.blocks or w.braces or w.tees or w.floor_lines or w.studs_found_in or w.no_fill)
    yield "Sheathing, weather barrier, access, paint and side of the house", of(lambda w: True)
    sized = [wall for wall in walls_of(house) if getattr(wall, "kind", None) is not SurfaceKind.RIM]
    odd = [wall.id for wall in sized if STUD_DEPTHS.get(stud_size(wall.depth_in)) != wall.depth_in]
    yield "Depth of studs, given by the nearest size of lumber", odd
    yield "Depth of the cavity behind the rim", of(lambda w: w.kind is SurfaceKind.RIM)
    rough = (Cladding.WOOD_SHINGLE, Cladding.PLYWOOD_SIDING)
    yield "Kind of wood siding", [w.id for w in walls_of(house) if w.cladding in rough]
    masonry = (Construction.SOLID_BRICK, Construction.BLOCK)
    yield "Furring of solid walls", of(lambda w: w.construction in masonry)
    filled = [wall.id for wall in walls_of(house) if wall.existing_fill is not None]
    yield "Share of the cavity that old insulation covers, and what it is squeezed to before the work", filled
    yield "That these are walls known by a few figures only", [quick.id for quick in house.quick_walls]
    yield "Hatch, dams, baffles and vent area of attics", [attic.id for attic in house.attics]
    yield "Share of the leakage that each leak site holds", [site.id for site in house.leak_sites]
    if house.blower_door is not None and len(house.blower_door.points) > 1:
        yield "Readings of the blower-door test; only the leakage at 50 Pa", None
    whole = {
        "Combustion tests other than the carbon monoxide of the first round": house.combustion,
        "Exhausts of kitchen and baths": house.exhausts,
        "Bills": house.bills,
        "Answers to hazard gates, releases and photos": house.gate_answers or house.photos,
        "What the people say, and what programmes ask of them": house.complaints or house.household,
        "Options after the first": house.options[1:],
        "Ducts outside the heated space": house.has_ducts,
        "Open fireplace": house.has_fireplace,
    }
    for words, there in whole.items():
        if there:
            yield words, None
    yield "Fuel price, heating use a year, degree days, wind and design temperature", None


def _faults(house: HouseRecord, planned: Sequence[Work], written_at: datetime) -> Iterator[Fault]:
    if written_at.tzinfo is None:
        yield Fault("written_at", "has no time zone; enter a time with one")
    known = _names(house)
    seen = set()
    for at, work in enumerate(planned):
        if work.part not in known[work.measure]:
            yield Fault(f"work[{at}].part", f"no {work.measure.value} on {work.part!r}; enter a part of this house")
        if (work.measure, work.part) in seen:
            yield Fault(f"work[{at}].part", f"{work.part!r} is worked on twice; enter it once")
        seen.add((work.measure, work.part))


def _names(house: HouseRecord) -> dict[Measure, dict[str, str]]:
    """Id -> name of what each measure can be done to."""
    return {
        Measure.WALL_INJECTION: {wall.id: wall.name for wall in walls_of(house)},
        Measure.ATTIC_TOP_UP: {attic.id: attic.name for attic in house.attics},
        Measure.AIR_SEALING: {site.id: site.name for site in house.leak_sites},
    }


def _put_header(root: etree._Element, written_at: datetime) -> None:
    header = put(root, "XMLTransactionHeaderInformation")
    put(header, "XMLType", "HPXML")
    put(header, "XMLGeneratedBy", PROGRAM)
    put(header, "CreatedDateAndTime", written_at.isoformat(timespec="seconds"))
    put(header, "Transaction", "create")
    put(put(root, "SoftwareInfo"), "SoftwareProgramUsed", PROGRAM)


def _put_customer(root: etree._Element, house: HouseRecord) -> None:
    """The standard wants a first and a last name: the last word is taken for the latter."""
    person = put(put(put(root, "Customer"), "CustomerDetails"), "Person")
    put_id(person, "SystemIdentifier", "customer")
    first, _, last = house.customer.strip().rpartition(" ")
    name = put(person, "Name")
    put(name, "FirstName", first)
    put(name, "LastName", last)


def _put_building(
    root: etree._Element, house: HouseRecord, stage: Stage, event: str, cfm50: float | None, *, estimated: bool
) -> None:
    building = put(root, "Building")
    put_id(building, "BuildingID", stage.id("house", house.id), name=house.name)
    put(building, "CustomerID", idref="customer")
    _put_site(building, house, stage)
    put(put(building, "ProjectStatus"), "EventType", event)
    details = put(building, "BuildingDetails")
    _put_summary(details, house)
    station = put(put(details, "ClimateandRiskZones"), "WeatherStation")
    stage.put_id(station, "station", "weather")
    put(station, "Name", house.climate.place)
    put_enclosure(details, house, stage, cfm50=cfm50, estimated=estimated)
    _put_heating(details, house, stage)
    if not stage.prefix:
        _put_combustion(details, house)


def _put_site(building: etree._Element, house: HouseRecord, stage: Stage) -> None:
    site = put(building, "Site")
    put_id(site, "SiteID", stage.id("site", house.id))
    address = put(site, "Address")
    put(address, "Address1", house.street)
    put(address, "CityMunicipality", house.town)
    put(address, "StateCode", house.state)
    if house.postal_code:
        put(address, "ZipCode", house.postal_code)
    put(site, "Elevation", house.climate.altitude_ft)


def _put_summary(details: etree._Element, house: HouseRecord) -> None:
    summary = put(details, "BuildingSummary")
    put(put(summary, "Site"), "ShieldingofHome", SHELTER[house.shelter_class])
    if house.occupants is not None:
        put(put(summary, "BuildingOccupancy"), "NumberofResidents", house.occupants)
    construction = put(summary, "BuildingConstruction")
    put(construction, "YearBuilt", str(house.year_built))
    put(construction, "NumberofConditionedFloorsAboveGrade", house.storeys)
    put(construction, "AverageCeilingHeight", house.volume_ft3 / house.floor_area_ft2)
    put(construction, "NumberofBedrooms", str(house.bedrooms))
    put(construction, "ConditionedFloorArea", house.floor_area_ft2)
    put(construction, "ConditionedBuildingVolume", house.volume_ft3)


def _put_heating(details: etree._Element, house: HouseRecord, stage: Stage) -> None:
    """Electricity that gives more heat than it takes is a heat pump."""
    hvac = put(put(details, "Systems"), "HVAC")
    plant, heating = put(hvac, "HVACPlant"), house.heating
    pump = heating.fuel is Fuel.ELECTRICITY and heating.efficiency > 1
    system = put(plant, "HeatPump" if pump else "HeatingSystem")
    stage.put_id(system, "heating", "main")
    put(system, "HeatPumpFuel" if pump else "HeatingSystemFuel", FUEL[heating.fuel])
    efficiency = put(system, "AnnualHeatingEfficiency")
    put(efficiency, "Units", "COP" if pump else "Percent" if heating.fuel is Fuel.ELECTRICITY else "AFUE")
    put(efficiency, "Value", heating.efficiency)
    control = put(hvac, "HVACControl")
    stage.put_id(control, "control", "main")
    put(control, "SetpointTempHeatingSeason", house.indoor_f)


def _put_combustion(details: etree._Element, house: HouseRecord) -> None:
    first = next((test for test in house.combustion if test.round is Round.TEST_IN), None)
    if first is not None and first.ambient_co_ppm is not None:
        appliances = put(put(details, "HealthAndSafety"), "CombustionAppliances")
        put(appliances, "MaxAmbientCOinLivingSpaceDuringAudit", first.ambient_co_ppm)


def _put_project(
    root: etree._Element, house: HouseRecord, planned: Sequence[Work], title: str, done_on: date | None
) -> None:
    project = put(root, "Project")
    put_id(project, "ProjectID", f"project-{house.id}")
    put(project, "PreBuildingID", idref=Stage().id("house", house.id))
    put(project, "PostBuildingID", idref=Stage("after-").id("house", house.id))
    details = put(project, "ProjectDetails")
    put(details, "Title", title)
    if done_on is not None:
        put(details, "CompleteDateActual", done_on.isoformat())
    if planned:
        measures = put(details, "Measures")
        for work in planned:
            _put_measure(measures, house, work, done_on)


def _put_measure(measures: etree._Element, house: HouseRecord, work: Work, done_on: date | None) -> None:
    measure = put(measures, "Measure")
    ids = put(measure, "MeasureSystemIdentifiers")
    put_id(ids, "SystemIdentifiersInfo", f"measure-{work.measure.value}-{work.part}")
    of = {Measure.WALL_INJECTION: "wall", Measure.ATTIC_TOP_UP: "ceiling"}.get(work.measure)
    put(measure, "MeasureDescription", f"{MEASURE_WORDS[work.measure]}: {_names(house)[work.measure][work.part]}")
    quantity = put(measure, "Quantity")
    put(quantity, "Units", work.unit)
    put(quantity, "Value", f"{work.quantity:.3f}")
    if done_on is not None:
        put(measure, "InstallationDate", done_on.isoformat())
    if work.cost_cents is not None:
        put(measure, "Cost", str(from_cents(work.cost_cents)))
    put(measure, "Status", PLANNED if done_on is None else DONE)
    put(put(measure, "MeasureType"), "InstallReplace")
    installed = put(measure, "InstalledComponents")
    idref = Stage("after-").id("sealing", "sites") if of is None else Stage("after-").id(of, work.part)
    put(installed, "InstalledComponent", idref=idref)
