"""The houses of the demo scenario as records: measured ones from their own files, the others from the short table.

Files say what was seen, on whichever day they were written for; `dated` moves a house to the day of its story.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

from estimates.gates import HouseFacts, Where, load_hazards
from estimates.house import (
    SCHEMA,
    AtticRecord,
    BillRecord,
    BlowerDoorRecord,
    ComplaintRecord,
    Fuel,
    GateAnswerRecord,
    HeatingRecord,
    HouseRecord,
    LeakSiteRecord,
    OptionRecord,
    PhotoRecord,
    PressurePointRecord,
    QuickWallRecord,
    Verdict,
    house_faults,
    house_from_json,
)
from estimates.records import BadRecord, Fault
from reports.scenario_table import ShortAnswerRecord, ShortHouseRecord, ShortTableRecord

LEAD_PAINT_BEFORE = 1978
"""Paint of houses built before this year is worked lead-safe in the short table. Source: 40 CFR 745.82."""

WORK_DAYS_AHEAD = 45
"""Days from the visit to the end of the work, as the demo promises it."""

STATE = "NY"


def measured_houses(folder: Path) -> dict[str, HouseRecord]:
    """Houses by id, each from a file of its own.

    Raises
    ------
    BadRecord : a file holds faults; each with its path.
    """
    records = [house_from_json(path.read_text(encoding="utf-8")) for path in sorted(folder.glob("*.json"))]
    return {record.id: record for record in records}


def short_houses(table: ShortTableRecord, visited_on: dict[str, date]) -> dict[str, HouseRecord]:
    """The houses of the short table by id.

    Parameters
    ----------
    table : as read.
    visited_on : house id -> day of the visit; a house that is not in it was only phoned about, and has no gate
        answers and no blower-door test.

    Raises
    ------
    BadRecord : a house comes out with faults; each with its path.
    """
    found = {}
    for short in table.houses:
        house = _house(short, table, visited_on.get(short.id))
        faults = [Fault(f"{short.id}{fault.path[1:]}", fault.message) for fault in house_faults(house)]
        if faults:
            raise BadRecord(faults)
        found[house.id] = house
    return found


def _house(short: ShortHouseRecord, table: ShortTableRecord, visited_on: date | None) -> HouseRecord:
    climate = next(place.climate for place in table.places if place.id == short.place)
    tested = short.cfm50 is not None and visited_on is not None
    house = HouseRecord(
        schema=SCHEMA,
        id=short.id,
        name=short.name,
        customer=short.customer,
        street=short.street,
        town=short.town,
        state=STATE,
        county=short.county,
        postal_code=short.postal_code,
        year_built=short.year_built,
        storeys=short.storeys,
        floor_area_ft2=short.floor_area_ft2,
        # Three inches of a storey's wall are plates, not room.
        volume_ft3=short.floor_area_ft2 * (short.storey_height_ft - 0.25),
        bedrooms=short.bedrooms,
        occupants=short.occupants,
        has_ducts=short.has_ducts,
        has_fireplace=short.has_fireplace,
        complaints=(ComplaintRecord(room=short.room, words=short.words),),
        quick_walls=(_walls(short),),
        attics=_attics(short),
        leak_sites=tuple(
            LeakSiteRecord(
                id=leak.kind.replace("_", "-"),
                name=leak.kind.replace("_", " ").capitalize(),
                kind=leak.kind,
                quantity=leak.quantity,
                component_share=leak.share,
            )
            for leak in short.leaks
        ),
        blower_door=_one_reading(short.cfm50) if tested and short.cfm50 is not None else None,
        heating=HeatingRecord(
            fuel=short.fuel,
            efficiency=short.efficiency,
            price_per_unit=getattr(table.fuel_prices, short.fuel),
            yearly_units=short.yearly_units,
        ),
        climate=climate,
        options=_options(short),
    )
    if visited_on is None:
        return house
    answers, photos = _answers(short, HouseFacts.of(house), visited_on)
    return dataclasses.replace(house, gate_answers=answers, photos=photos)


def _walls(short: ShortHouseRecord) -> QuickWallRecord:
    walls = short.walls
    return QuickWallRecord(
        id="walls",
        name="Outside walls",
        perimeter_ft=walls.perimeter_ft,
        storeys=short.storeys,
        storey_height_ft=short.storey_height_ft,
        window_share=walls.window_share,
        spacing_in=walls.spacing_in,
        depth_in=walls.depth_in,
        existing_fill=short.old_fill,
        cladding=walls.cladding,
        sheathing=walls.sheathing,
        inside=walls.inside,
        access=walls.access,
    )


def _attics(short: ShortHouseRecord) -> tuple[AtticRecord, ...]:
    if short.attic is None:
        return ()
    return (
        AtticRecord(
            id="attic",
            name="Attic floor",
            area_ft2=short.attic.area_ft2,
            existing_material=short.attic.material,
            existing_depth_in=short.attic.depth_in,
            target_r=short.attic.target_r,
            hatch_ft2=5.0,
        ),
    )


def _one_reading(cfm50: float) -> BlowerDoorRecord:
    return BlowerDoorRecord(points=(PressurePointRecord(pressure_pa=50.0, flow_cfm=cfm50),))


def _options(short: ShortHouseRecord) -> tuple[OptionRecord, ...]:
    """None where everything is offered at the usual price; else everything, and where wanted the attic alone."""
    if not (short.attic_alone or short.discount or short.target_margin):
        return ()
    everything = OptionRecord(
        id="all",
        name="Walls, attic and air sealing",
        target_margin=short.target_margin,
        discount=short.discount,
        discount_reason=short.discount_reason,
    )
    alone = OptionRecord(id="top", name="Attic and air sealing", wall_ids=())
    return (everything, alone) if short.attic_alone else (everything,)


def _answers(
    short: ShortHouseRecord, facts: HouseFacts, on: date
) -> tuple[tuple[GateAnswerRecord, ...], tuple[PhotoRecord, ...]]:
    """Every gate that is asked: as the table says, else with the usual controls, else clear; photos where due."""
    answers: list[GateAnswerRecord] = []
    photos: list[PhotoRecord] = []
    for said in _said(short, facts):
        shown: tuple[str, ...] = ()
        if said.verdict in (Verdict.STOP, Verdict.CONTROLS):
            shown = (f"p{len(photos) + 1:02d}",)
            photos.append(PhotoRecord(id=shown[0], caption=f"For {said.hazard.replace('_', ' ')}", taken_on=on))
        answers.append(
            GateAnswerRecord(
                hazard=said.hazard,
                verdict=said.verdict,
                note=said.note,
                answered_on=on,
                parts=said.parts,
                photos=shown,
                sample=said.sample,
                verifier=said.verifier,
                how=said.how,
                before_phase=said.before_phase,
            )
        )
    return tuple(answers), tuple(photos)


def _said(short: ShortHouseRecord, facts: HouseFacts) -> Iterator[ShortAnswerRecord]:
    for hazard in load_hazards().hazards:
        given = [answer for answer in short.gates if answer.hazard == hazard.id]
        yield from given
        asked = facts.parts(hazard)
        if hazard.where is Where.HOUSE:
            open_, parts = facts.asked(hazard) and not given, None
        else:
            rest = tuple(part for part in asked if not any(part in (said.parts or asked) for said in given))
            open_, parts = bool(rest), rest if given else None
        if open_:
            usual = _usual(short, hazard.id)
            verdict = Verdict.CONTROLS if usual else Verdict.CLEAR
            yield ShortAnswerRecord(hazard=hazard.id, verdict=verdict, note=usual or hazard.clear, parts=parts)


def _usual(short: ShortHouseRecord, hazard: str) -> str:
    """What is done in every such house: lead-safe work before 1978, combustion tests where something burns."""
    if hazard == "lead_paint" and short.year_built < LEAD_PAINT_BEFORE:
        return f"Paint of before {LEAD_PAINT_BEFORE}, not tested: worked lead-safe."
    if hazard == "combustion" and short.fuel is not Fuel.ELECTRICITY:
        return f"Burns {short.fuel.replace('_', ' ')}: tested before the work, at the end of each day and after it."
    return ""


# --- days ----------------------------------------------------------------------------------------------------------


def dated(house: HouseRecord, on: date) -> HouseRecord:
    """A house as if it had been visited on a day.

    Parameters
    ----------
    house : as its file has it.
    on : the day of the visit; of a house that nobody has visited, the day of the telephone call.

    Returns
    -------
    The house priced on that day. Answers, photos, releases and tests keep their distance from the visit; bills move by
    whole years, because their winter must stay a winter, to end before it.
    """
    seen = [answer.answered_on for answer in house.gate_answers]
    moved = on - min(seen) if seen else timedelta(0)
    return dataclasses.replace(
        house,
        priced_on=on,
        in_service_on=on + timedelta(days=WORK_DAYS_AHEAD),
        bills=tuple(_bills(house.bills, on)),
        combustion=tuple(dataclasses.replace(item, on=item.on + moved) for item in house.combustion),
        photos=tuple(dataclasses.replace(item, taken_on=item.taken_on + moved) for item in house.photos),
        gate_answers=tuple(
            dataclasses.replace(item, answered_on=item.answered_on + moved) for item in house.gate_answers
        ),
        gate_releases=tuple(
            dataclasses.replace(item, released_on=item.released_on + moved) for item in house.gate_releases
        ),
    )


def _bills(bills: tuple[BillRecord, ...], on: date) -> Iterator[BillRecord]:
    if not bills:
        return
    last = max(bill.last for bill in bills)
    years = on.year - last.year
    if _years_on(last, years) >= on:
        years -= 1
    for bill in bills:
        yield dataclasses.replace(bill, first=_years_on(bill.first, years), last=_years_on(bill.last, years))


def _years_on(day: date, years: int) -> date:
    """The same day of another year; 29 February becomes the 28th where there is none."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return day.replace(year=day.year + years, day=28)
