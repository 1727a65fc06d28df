"""The short table of the demo's houses: the few figures that somebody gave on the telephone or noted on one round."""

# ruff: noqa: RUF009 (fields are declared by functions of estimates.records, which make no value)

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from estimates.house import (
    Access,
    Cladding,
    ClimateRecord,
    ExistingFillRecord,
    FillMaterial,
    Fuel,
    InsideFinish,
    LeakKind,
    Sheathing,
    Verdict,
)
from estimates.records import BadRecord, Fault, choice, code, codes, flag, many, number, one, read_record, text, whole


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortWallsRecord:
    """All outside walls of a house by a few figures."""

    perimeter_ft: float = number("ft", "Length of the outside walls, once round", above=0, high=500)
    window_share: float = number("", "Share of the wall that is windows and doors", low=0, high=0.7)
    cladding: Cladding = choice(Cladding, "Outside finish")
    sheathing: Sheathing = choice(Sheathing, "Between studs and cladding")
    inside: InsideFinish = choice(InsideFinish, "Between studs and room")
    access: Access = choice(Access, "How the crew reaches the cavity")
    depth_in: float = number("in", "Stud depth", low=0.5, high=24, default=3.5)
    spacing_in: float = number("in", "Stud spacing, centre to centre", low=4, high=96, default=16.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortAtticRecord:
    """The attic floor of a house."""

    area_ft2: float = number("ft2", "Floor area", above=0, high=100_000)
    material: FillMaterial | None = choice(FillMaterial, "What lies there now", default=None)
    depth_in: float = number("in", "How deep", low=0, high=48, default=0.0)
    target_r: float = number("R", "R-value wanted in all", above=0, high=120)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortLeakRecord:
    """A leak site."""

    kind: LeakKind = choice(LeakKind, "What it is")
    quantity: float = number("", "How much: ft for joints, pieces for the rest", above=0, high=10_000)
    share: float = number("", "Share of the leakage of its part of the house", low=0, high=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortAnswerRecord:
    """An answer to a hazard gate, for the whole house or for its walls or its attic."""

    hazard: str = code("Id of the gate")
    verdict: Verdict = choice(Verdict, "Answer")
    note: str = text("What was seen and where", min_length=1, max_length=1000)
    sample: str = text("Report of a negative laboratory sample", default="")
    verifier: str = text("Not yet known: who will find out", default="")
    how: str = text("Not yet known: how", default="")
    before_phase: str = text("Not yet known: before which phase of the work", default="")
    parts: tuple[str, ...] | None = codes("`walls` or `attic`; left out: the whole house")


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortHouseRecord:
    """One house of the short table."""

    id: str = code("Short name of the house")
    name: str = text("What the firm calls the house", max_length=80, min_length=1)
    customer: str = text("Name of the homeowner", max_length=80, min_length=1)
    street: str = text("Street and number", max_length=120, min_length=1)
    town: str = text("Town", max_length=80, min_length=1)
    county: str = text("County", max_length=60, min_length=1)
    postal_code: str = text("Postal code", pattern=r"\d{5}")
    place: str = code("Id of its weather site in `places`")
    year_built: int = whole("Year the house was built", low=1600, high=2100)
    storeys: int = whole("Storeys above the ground", low=1, high=3)
    floor_area_ft2: float = number("ft2", "Conditioned floor area", above=0, high=100_000)
    storey_height_ft: float = number("ft", "Height of a storey's wall, bottom plate to top plate", above=2, high=20)
    bedrooms: int = whole("Bedrooms", low=0, high=30)
    occupants: int = whole("People who live in it", low=0, high=100)
    room: str = text("Room of the complaint", max_length=80, min_length=1)
    words: str = text("The complaint, in their words", max_length=400, min_length=1)
    walls: ShortWallsRecord = one(ShortWallsRecord, "Outside walls")
    old_fill: ExistingFillRecord | None = one(ExistingFillRecord, "Old insulation in the walls", default=None)
    attic: ShortAtticRecord | None = one(ShortAtticRecord, "Attic floor", default=None)
    leaks: tuple[ShortLeakRecord, ...] = many(ShortLeakRecord, "Leak sites")
    fuel: Fuel = choice(Fuel, "What heats it")
    efficiency: float = number("", "Seasonal efficiency", above=0, high=6)
    yearly_units: float = number("", "Therms, gallons or kWh a year for heating", above=0, high=1_000_000)
    cfm50: float | None = number("cfm", "Fan flow at 50 Pa; left out: not tested", above=0, high=50_000, default=None)
    has_ducts: bool = flag("Ducts outside the heated space", default=False)
    has_fireplace: bool = flag("Open fireplace", default=False)
    attic_alone: bool = flag("A second option holds the attic and the leak sites alone", default=False)
    target_margin: float | None = number(
        "", "Gross margin wanted; left out: that of the price book", low=0, high=0.95, default=None
    )
    discount: float = number("$", "Taken off the price of the first option", low=0, default=0.0)
    discount_reason: str = text("Why", max_length=200, default="")
    gates: tuple[ShortAnswerRecord, ...] = many(ShortAnswerRecord, "Answers that are not simply clear")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceRecord:
    """A weather site."""

    id: str = code("Short name")
    climate: ClimateRecord = one(ClimateRecord, "Its weather")


@dataclass(frozen=True, slots=True, kw_only=True)
class FuelPricesRecord:
    """What a unit of fuel costs."""

    natural_gas: float = number("$", "Price of a therm", above=0, high=100)
    heating_oil: float = number("$", "Price of a gallon", above=0, high=100)
    propane: float = number("$", "Price of a gallon", above=0, high=100)
    electricity: float = number("$", "Price of a kWh", above=0, high=100)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortTableRecord:
    """The short table as a file."""

    fuel_prices: FuelPricesRecord = one(FuelPricesRecord, "Prices of fuel")
    places: tuple[PlaceRecord, ...] = many(PlaceRecord, "Weather sites", min_items=1)
    houses: tuple[ShortHouseRecord, ...] = many(ShortHouseRecord, "Houses", min_items=1)


def short_table(path: Path) -> ShortTableRecord:
    """Read the short table.

    Raises
    ------
    BadRecord : faults in it, or a house at a weather site that is not listed.
    """
    table = read_record(ShortTableRecord, tomllib.loads(path.read_text(encoding="utf-8")), path=path.stem)
    known = {place.id for place in table.places}
    faults = [
        Fault(f"{path.stem}.houses[{index}].place", f"no site {house.place!r}; enter one of {', '.join(sorted(known))}")
        for index, house in enumerate(table.houses)
        if house.place not in known
    ]
    if faults:
        raise BadRecord(faults)
    return table
