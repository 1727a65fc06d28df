"""The enclosure of an HPXML file as the beginning of an assessment, with a report of what was not understood."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Any

from lxml import etree

from estimates.era import era_of
from estimates.house import SCHEMA, BlowerDoorRecord, HouseRecord, house_from_json
from estimates.records import BadRecord, Fault, read_record, write_record
from reports.exports.hpxml_reading import (
    Note,
    Reading,
    children,
    every,
    find,
    finite,
    hpxml_root,
    plain_id,
    words_at,
)
from reports.exports.hpxml_surfaces import read_surfaces
from reports.exports.hpxml_words import FUEL

Form = dict[str, Any]

STOREY_FT = 8.0
"""Height of a storey where a file gives none [CP]. [ft]"""

USUAL_YEAR = 1950
"""Year of building that stands for "not known" when something has to be guessed [CP]."""

FUELS = {word: fuel for fuel, word in FUEL.items()}

SHELTERED = {"exposed": 2, "normal": 3, "well-shielded": 4}
"""Class of shelter of each of their three words (our reading) [CP]."""

TAKEN = ("AirInfiltration", "Attics", "Roofs", "RimJoists", "Walls", "Floors", "Windows", "Doors")
"""Parts of an enclosure that are read."""

CIRCLES = (
    ("ConditionedFloorArea", "HeatedFloorArea", "FinishedFloorArea", "GrossFloorArea"),
    ("ConditionedBuildingVolume", "BuildingVolume"),
    ("NumberofConditionedFloorsAboveGrade", "NumberofStoriesAboveGrade", "NumberofConditionedFloors"),
)
"""Fields that say nearly the same, best first: floor area [ft2], volume [ft3], storeys."""


@dataclass(frozen=True, slots=True)
class HpxmlHouse:
    """What was read: the JSON form of a house, notes on the way, and what must be entered before it is whole."""

    form: Form
    notes: tuple[Note, ...]
    missing: tuple[Fault, ...]


def house_from_hpxml(raw: bytes, *, like: HouseRecord | None = None) -> HpxmlHouse:
    """Read the enclosure of a house from an HPXML file.

    Parameters
    ----------
    raw : the bytes of the file, HPXML 4.0 to 4.2.
    like : a house nearby, from which climate and fuel price are taken: the standard holds neither.

    Returns
    -------
    HpxmlHouse. Areas, studs, old insulation, attics and the blower-door test are the file's own. Of several buildings
    the one that was audited is read, else the first. Nothing is made up without a note; `missing` names the facts that
    no file of this kind holds, or that this one lacks.

    Raises
    ------
    BadRecord : the file cannot be read at all; see `hpxml_reading.hpxml_root`.
    """
    root, reading = hpxml_root(raw), Reading()
    building = _building(root, reading)
    form = _facts(root, building, reading)
    details = find(building, "BuildingDetails")
    enclosure = None if details is None else find(details, "Enclosure")
    if enclosure is None:
        raise BadRecord([Fault("$", "the building has no Enclosure; enter a file with its walls and attics")])
    year = form.get("year_built", USUAL_YEAR)
    form |= read_surfaces(
        enclosure, reading, era=era_of(year), storey_ft=_storey_ft(form), storeys=form.get("storeys", 1)
    )
    _note_rest(details, enclosure, reading)
    test = _blower_door(enclosure, form, reading)
    if test:
        form["blower_door"] = test
    assert details is not None
    form["heating"] = _heating(details, reading, like)
    form["climate"] = _climate(building, reading, like)
    try:
        house_from_json(json.dumps(form))
    except BadRecord as bad:
        return HpxmlHouse(form, tuple(reading.notes), bad.faults)
    return HpxmlHouse(form, tuple(reading.notes), ())


def _building(root: etree._Element, reading: Reading) -> etree._Element:
    found = every(root, "Building")
    if not found:
        raise BadRecord([Fault("$", "holds no Building; enter a file with a house")])
    chosen = next((one for one in found if words_at(one, "ProjectStatus/EventType") == "audit"), found[0])
    if len(found) > 1:
        reading.left_out(
            "Building", f"{len(found) - 1} more, such as the house after the work; the audited one is read"
        )
    return chosen


def _facts(root: etree._Element, building: etree._Element, reading: Reading) -> Form:
    """Who, where, and how large. What the file does not say is left out, but for what can be worked out."""
    identifier = find(building, "BuildingID")
    raw_id = "" if identifier is None else str(identifier.get("id", ""))
    address = "Site/Address"
    facts: Form = {"schema": SCHEMA, "id": plain_id(raw_id, "house", default="imported")}
    said = {
        "name": words_at(identifier, "SendingSystemIdentifierValue") or words_at(building, f"{address}/Address1"),
        "customer": _customer(root, building),
        "street": words_at(building, f"{address}/Address1"),
        "town": words_at(building, f"{address}/CityMunicipality"),
        "state": words_at(building, f"{address}/StateCode"),
        "postal_code": words_at(building, f"{address}/ZipCode"),
    }
    facts |= {name: words for name, words in said.items() if words}
    facts.setdefault("name", facts["id"])
    return facts | _sizes(building, reading)


def _customer(root: etree._Element, building: etree._Element) -> str:
    reference = find(building, "CustomerID")
    wanted = None if reference is None else reference.get("idref")
    for customer in every(root, "Customer"):
        person = find(customer, "CustomerDetails/Person")
        identifier = None if person is None else find(person, "SystemIdentifier")
        if wanted is None or (identifier is not None and identifier.get("id") == wanted):
            return f"{words_at(person, 'Name/FirstName')} {words_at(person, 'Name/LastName')}".strip()
    return ""


def _sizes(building: etree._Element, reading: Reading) -> Form:
    summary = find(building, "BuildingDetails/BuildingSummary")
    construction = None if summary is None else find(summary, "BuildingConstruction")
    place = "BuildingSummary"

    def number(*names: str) -> float | None:
        return next((x for x in (reading.number(construction, name, place) for name in names) if x), None)

    area, volume, storeys = (number(*names) for names in CIRCLES)
    ceiling = number("AverageCeilingHeight", "FloorToFloorHeight")
    sizes: Form = {}
    if area and not volume:
        volume = area * (ceiling or STOREY_FT)
        reading.guessed(
            place, f"volume {volume:.6g} ft3, from the floor area and rooms {ceiling or STOREY_FT:g} ft high"
        )
    if storeys is None:
        storeys = 1.0
        reading.guessed(place, "one storey")
    # A storey and a half has walls of its own only below; the upper one has knee walls.
    sizes["storeys"] = min(max(int(storeys), 1), 3)
    for name, value in {"floor_area_ft2": area, "volume_ft3": volume}.items():
        if value:
            sizes[name] = value
    for name, path in {"year_built": "YearBuilt", "bedrooms": "NumberofBedrooms"}.items():
        value = reading.number(construction, path, place)
        if value is not None:
            sizes[name] = int(value)
    residents = reading.number(summary, "BuildingOccupancy/NumberofResidents", place)
    if residents is not None:
        sizes["occupants"] = round(residents)
    shelter = words_at(summary, "Site/ShieldingofHome")
    if shelter in SHELTERED:
        sizes["shelter_class"] = SHELTERED[shelter]
    return sizes


def _storey_ft(form: Form) -> float:
    """Height of a storey, from volume and floor area where both are known, within what a wall may have. [ft]"""
    if "volume_ft3" in form and "floor_area_ft2" in form:
        height = form["volume_ft3"] / form["floor_area_ft2"]
        return height if 6.0 <= height <= 12.0 else STOREY_FT
    return STOREY_FT


def _note_rest(details: etree._Element | None, enclosure: etree._Element, reading: Reading) -> None:
    """Name what is in the file and not read."""
    for name, group in children(enclosure):
        count = sum(1 for _ in children(group))
        if name not in TAKEN and count:
            reading.left_out(name, f"{count} of them are not read")
    for name, _ in children(details):
        if name not in ("BuildingSummary", "ClimateandRiskZones", "Enclosure", "Systems"):
            reading.left_out(name, "is not read")
    for name, system in (pair for _, group in children(details) for pair in children(group)):
        if etree.QName(system.getparent()).localname == "Systems" and name != "HVAC":
            reading.left_out(name, "is not read")


def _blower_door(enclosure: etree._Element, form: Form, reading: Reading) -> Form:
    """The test nearest to 50 Pa whose result is a flow, or air changes of a known volume."""
    found: list[tuple[float, Form]] = []
    tests = every(enclosure, "AirInfiltration/AirInfiltrationMeasurement")
    for test in tests:
        identifier = find(test, "SystemIdentifier")
        place = f"AirInfiltrationMeasurement {'' if identifier is None else identifier.get('id', '')[:60]}".strip()
        pressure = reading.number(test, "HousePressure", place)
        flow = reading.number(test, "BuildingAirLeakage/AirLeakage", place)
        unit = words_at(test, "BuildingAirLeakage/UnitofMeasure")
        if words_at(test, "TypeOfInfiltrationMeasurement") not in ("", "blower door"):
            reading.left_out(place, "no blower-door test")
            continue
        volume = reading.number(test, "InfiltrationVolume", place) or form.get("volume_ft3")
        if unit == "ACH" and flow and volume:
            # Air changes an hour times the volume is cubic feet an hour.
            flow, unit = flow * volume / 60.0, "CFM"
        if unit != "CFM" or not flow or not pressure:
            reading.left_out(place, f"a result in {unit or 'no unit'} at {pressure or 0:g} Pa; enter the test")
            continue
        made: Form = {"points": [{"pressure_pa": pressure, "flow_cfm": flow}]}
        outside = words_at(test, "OutsideTemperature")
        outdoor_f = _signed(outside, f"{place}: OutsideTemperature", reading) if outside else None
        if outdoor_f is not None:
            made["outdoor_f"] = outdoor_f
        try:
            read_record(BlowerDoorRecord, made)
        except BadRecord as bad:
            for fault in bad.faults:
                reading.refused(place, f"{fault.path.removeprefix('$.')}: {fault.message}")
            continue
        found.append((abs(pressure - 50.0), made))
    if len(found) > 1:
        reading.left_out("AirInfiltration", f"{len(found) - 1} more tests; the one nearest to 50 Pa is taken")
    return min(found, key=lambda pair: pair[0])[1] if found else {}


def _signed(said: str, place: str, reading: Reading) -> float | None:
    """A number that may be below 0; None with a note where it is none."""
    value = finite(said)
    if math.isnan(value):
        reading.refused(place, f"{said[:40]!r} is no finite number")
        return None
    return value


def _heating(details: etree._Element, reading: Reading, like: HouseRecord | None) -> Form:
    plant = "Systems/HVAC/HVACPlant"
    found = [*every(details, f"{plant}/HeatingSystem"), *every(details, f"{plant}/HeatPump")]
    heating: Form = {}
    if found:
        fuel = words_at(found[0], "HeatingSystemFuel") or words_at(found[0], "HeatPumpFuel")
        if fuel in FUELS:
            heating["fuel"] = FUELS[fuel].value
        elif fuel:
            reading.left_out("HeatingSystem", f"{fuel} as fuel; enter one of {', '.join(FUELS)}")
        efficiency = _efficiency(found[0], reading)
        if efficiency:
            heating["efficiency"] = efficiency
    if len(found) > 1:
        reading.left_out("HeatingSystem", f"{len(found) - 1} more; the first is taken")
    if like is not None and heating.get("fuel") == like.heating.fuel.value:
        heating["price_per_unit"] = like.heating.price_per_unit
        reading.guessed("Fuel price", f"{like.heating.price_per_unit:g} $, that of {like.name}")
    return heating


def _efficiency(system: etree._Element, reading: Reading) -> float | None:
    for one in every(system, "AnnualHeatingEfficiency"):
        value, unit = reading.number(one, "Value", "HeatingSystem"), words_at(one, "Units")
        if value and unit in ("HSPF", "HSPF2"):
            # Heat in Btu for each Wh taken; a Wh is 3.412 Btu.
            return value / 3.412
        if value:
            # Some write a share, some a figure in percent.
            return value / 100.0 if unit in ("AFUE", "Percent") and value > 1.5 else value
    return None


def _climate(building: etree._Element, reading: Reading, like: HouseRecord | None) -> Form:
    station = words_at(building, "BuildingDetails/ClimateandRiskZones/WeatherStation/Name")
    elevation = words_at(building, "Site/Elevation")
    climate: Form = {}
    if like is not None:
        climate = write_record(like.climate)
        reading.guessed("Climate", f"that of {like.name}: {like.climate.place}")
    elif station:
        climate["place"] = station
    altitude_ft = _signed(elevation, "Site: Elevation", reading) if elevation else None
    if altitude_ft is not None:
        climate["altitude_ft"] = altitude_ft
    return climate
