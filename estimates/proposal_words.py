"""The sentences of a proposal, made from measured facts: cause and cure, limits, preparation and aftercare.

Whole sentences a homeowner understands; no number that the record does not hold.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import date
from typing import TYPE_CHECKING

from estimates.firm import FirmRecord
from estimates.house import (
    IN_PER_FT,
    Access,
    BraceKind,
    Closure,
    FillMaterial,
    HouseRecord,
    LeakKind,
    OpeningKind,
    WallRecord,
)
from estimates.money import format_money
from estimates.pricebook import PriceBook
from estimates.takeoff import AtticTakeoff, Takeoff, WallTakeoff

if TYPE_CHECKING:
    from estimates.performance import OptionPerformance
    from estimates.physics.uncertainty import Percentiles

MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip

MATERIALS = {
    FillMaterial.GLASS_BATT: "glass-fibre batts",
    FillMaterial.ROCK_WOOL_BATT: "rock-wool batts",
    FillMaterial.LOOSE_CELLULOSE: "loose cellulose",
    FillMaterial.LOOSE_GLASS: "loose glass fibre",
    FillMaterial.LOOSE_ROCK_WOOL: "loose rock wool",
}

ACCESSES = {
    Access.LIFT_CLADDING: "we lift a course of the cladding, drill the boards under it, and put the cladding back",
    Access.DRILL_CLADDING: "we drill through the cladding and plug every hole",
    Access.DRILL_INSIDE: "we drill from inside and patch every hole smooth, ready for your painter",
}

LEAKS = {
    LeakKind.TOP_PLATE: "open joint at the top of a wall",
    LeakKind.CHIMNEY_CHASE: "gap round the chimney",
    LeakKind.PLUMBING_STACK: "gap round a pipe",
    LeakKind.RECESSED_LIGHT: "recessed light",
    LeakKind.ATTIC_HATCH: "attic hatch",
    LeakKind.RIM_JOIST: "edge of the floor",
    LeakKind.SILL_PLATE: "joint at the sill",
    LeakKind.WINDOW_TRIM: "window trim",
    LeakKind.DUCT_BOOT: "duct outlet",
}


def long_date(day: date) -> str:
    """A date as papers write it.

    Examples
    --------
    >>> long_date(date(2027, 1, 4))
    '4 January 2027'
    """
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def about(value: float, digits: int = 2) -> str:
    """A number with as many digits as it deserves, never in powers of ten.

    Examples
    --------
    >>> about(3148.2), about(0.0667), about(96.4), about(0.0), about(-0.04)
    ('3,100', '0.067', '96', '0', '-0.04')
    """
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    return f"{rounded:,.{max(0, places)}f}" if places <= 0 else f"{rounded:,.{places}f}".rstrip("0").rstrip(".")


def span(spread: Percentiles, digits: int = 2) -> str:
    """A range from p10 to p90; one number where both read the same.

    Examples
    --------
    >>> from estimates.physics.uncertainty import Percentiles
    >>> span(Percentiles(183.0, 250.0, 342.0)), span(Percentiles(-12.0, 3.0, 30.0)), span(Percentiles(5.0, 5.0, 5.0))
    ('180–340', '-12 to 30', '5')
    """
    low, high = about(spread.p10, digits), about(spread.p90, digits)
    if low == high:
        return low
    return f"{low} to {high}" if low.startswith("-") else f"{low}–{high}"


def dollars_a_year(spread: Percentiles) -> str:
    """Savings from p10 to p90, to two digits.

    Examples
    --------
    >>> from estimates.physics.uncertainty import Percentiles
    >>> dollars_a_year(Percentiles(183.0, 250.0, 342.0)), dollars_a_year(Percentiles(-12.0, 3.0, 30.0))
    ('$180–$340 a year', '-$12 to $30 a year')
    """
    low, high = (_dollars(about(value)) for value in (spread.p10, spread.p90))
    if low == high:
        return f"{low} a year"
    return f"{low}{' to ' if low.startswith('-') else '–'}{high} a year"


def _dollars(shown: str) -> str:
    return f"-${shown[1:]}" if shown.startswith("-") else f"${shown}"


def listed(names: Sequence[str]) -> str:
    """Names in a sentence.

    Examples
    --------
    >>> listed(["Front"]), listed(["Front", "Back"]), listed(["Front", "Back", "Left"])
    ('Front', 'Front and Back', 'Front, Back and Left')
    >>> listed(["Left, upstairs", "Back", "Left, downstairs"])
    'Left, upstairs; Back; and Left, downstairs'
    """
    if len(names) > 1 and any("," in name for name in names):
        return f"{'; '.join(names[:-1])}; and {names[-1]}"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def count(number: int, one: str, more: str = "") -> str:
    """A number with its noun.

    Examples
    --------
    >>> count(1, "bay"), count(1200, "bay"), count(2, "gap round a pipe", "gaps round pipes")
    ('1 bay', '1,200 bays', '2 gaps round pipes')
    """
    return f"{number:,} {one if number == 1 else more or one + 's'}"


# --- cause and cure ----------------------------------------------------------------------------------------------


def causes(house: HouseRecord, takeoff: Takeoff, cfm50: float | None) -> Iterable[str]:
    """Why the house is cold, as measured."""
    empty = [wall for wall in takeoff.walls if wall.wall.existing_fill is None]
    if empty:
        area = sum(wall.layout.net_ft2 for wall in empty)
        bays = sum(wall.layout.bay_count for wall in empty)
        yield (
            f"{_walls(empty)}: no insulation was found in the cavities. {about(area)} ft² of wall, windows and doors "
            f"taken out, has {count(bays, 'bay')} with nothing but air between its studs."
        )
    for wall in takeoff.walls:
        old = wall.wall.existing_fill
        if old is not None:
            yield (
                f"{wall.wall.name}: the cavities hold old {MATERIALS[old.material]}, {old.in_place_in:g} in thick, "
                f"over about {old.covered_share:.0%} of the wall, in {old.condition} condition, in a cavity "
                f"{wall.wall.depth_in:g} in deep."
            )
    for attic in takeoff.attics:
        yield f"{attic.attic.name}: {attic_found(attic)}"
    if cfm50 is not None:
        changes = cfm50 * 60.0 / house.volume_ft3
        yield (
            f"The house leaks air: the blower door drew about {about(cfm50)} cubic feet a minute through its shell at "
            f"a pressure of 50 Pa (CFM50). At that pressure all its air is changed {about(changes)} times an hour."
        )
    if takeoff.priced_leaks:
        kinds = dict.fromkeys(LEAKS[leak.site.kind] for leak in takeoff.priced_leaks)
        yield f"We found these places where air gets through: {listed(list(kinds))}."


def _walls(walls: Sequence[WallTakeoff]) -> str:
    return listed([wall.wall.name for wall in walls])


def attic_found(attic: AtticTakeoff) -> str:
    """What lies on an attic floor now."""
    record = attic.attic
    if record.existing_material is None or record.existing_depth_in <= 0:
        return f"{about(record.area_ft2)} ft² of attic floor has no insulation."
    return (
        f"{about(record.area_ft2)} ft² of attic floor has {record.existing_depth_in:g} in of "
        f"{MATERIALS[record.existing_material]}, estimated at about R-{attic.existing_r:.0f}."
    )


def cures(takeoff: Takeoff, book: PriceBook) -> Iterable[str]:
    """What would put it right; which part of it is done depends on the option."""
    walls = takeoff.priced_walls
    if walls:
        ways = {wall.wall.access for wall in walls}
        how = "; ".join(ACCESSES[way] for way in Access if way in ways)
        yield (
            "Walls: we fill each bay with foam from the lowest hole up, until the foam shows at the hole above. To "
            f"reach the bays {how}. Each bay is ticked on the drawing of its wall."
        )
    if takeoff.priced_attics:
        first = "close the air leaks under it first, then " if takeoff.priced_leaks else ""
        yield f"Attic: we {first}blow {book.loose_fill.name.lower()} to an even depth."
    if takeoff.priced_leaks:
        yield "Air leaks: we close them one by one and measure the house again with the blower door."


def stop_reason(stop: str) -> str:
    """Why a wall is not in the price, in plain words.

    Examples
    --------
    >>> stop_reason("escape path: floor line second is open; close it or record how it is closed")
    'Foam would run away: floor line second is open. It has to be closed first.'
    >>> stop_reason("stopped by pests: Live colony: dealt with by others first. Bats.")
    'Live colony: dealt with by others first. Bats.'
    """
    head, _, rest = stop.partition(": ")
    if head.startswith("stopped by "):
        return f"{rest.rstrip('.')}."
    if head == "escape path":
        return f"Foam would run away: {rest.partition(';')[0]}. It has to be closed first."
    if head == "not worth filling":
        return f"Not worth filling: {rest}."
    if stop == "no bay that can be reached":
        return "None of its bays can be reached."
    return f"{stop[:1].upper()}{stop[1:]}."


# --- limits, care ------------------------------------------------------------------------------------------------


def not_seen(house: HouseRecord, takeoff: Takeoff) -> Iterable[str]:
    """What the visit could not show."""
    if takeoff.walls:
        yield (
            "The inside of each bay. We measured from outside and from the rooms; pipes, wires, old repairs and hidden "
            "blocks show only when we drill and probe."
        )
        yield "How deep the cavities are between all the studs; plaster that has squeezed through takes some of it."
    for wall in takeoff.walls:
        missed = [bay for bay in wall.layout.bays if not bay.reachable]
        if missed:
            area = about(sum(bay.area_ft2 for bay in missed))
            reasons = listed(sorted({bay.reason for bay in missed}))
            yield f"{wall.wall.name}: {count(len(missed), 'pocket')}, {area} ft² in all, cannot be reached ({reasons})."
        if any(brace.kind is BraceKind.UNKNOWN for brace in wall.wall.braces):
            yield f"{wall.wall.name}: how its brace is built in. We probe one bay before we drill the others."
        if any(line.closure is Closure.RIBBON for line in wall.wall.floor_lines):
            yield f"{wall.wall.name}: whether the wall is closed at the floor. We probe it before we inject."
    if house.blower_door is None:
        yield "How tight the house is: there has been no blower-door test yet."
    if takeoff.attics:
        yield "What lies under the old insulation of the attic floor."


def not_fixed(house: HouseRecord, takeoff: Takeoff) -> Iterable[str]:
    """What stays as it is, so that nobody pays for a hope."""
    if any(wall.openings for wall in house.walls):
        yield "Cold glass: windows and doors stay as they are, and so do drafts between their moving parts."
    if takeoff.walls:
        yield "Cold studs: wood carries more heat than the filled bays beside it and stays a little cooler."
    zones = sum(len(wall.no_fill) for wall in house.walls)
    pockets = sum(
        1 for wall in takeoff.walls for opening in wall.wall.openings
        if opening.kind is OpeningKind.DOUBLE_HUNG and len(wall.layout.no_fill) > len(wall.wall.no_fill)
    )  # fmt: skip
    if zones or pockets:
        yield (
            "Parts that must not be filled, hatched on the drawings, such as the pockets of sash weights or the space "
            "behind a panel. They stay without insulation."
        )
    if house.has_ducts:
        yield "Heat lost from ducts outside the heated rooms, unless a line above names them."
    if house.has_fireplace:
        yield "Warm air that goes up the open fireplace."
    yield "Damp from the ground or through the roof, and faults of the heating plant."


def foam_cautions(takeoff: Takeoff, book: PriceBook) -> Iterable[str]:
    """What to know of wet foam before saying yes."""
    walls = takeoff.priced_walls
    if walls:
        water = sum(wall.water_lb for wall in walls)
        yield (
            f"The foam is wet when it goes in. If every wall of this proposal is filled, about {about(water)} lb of "
            "water has to dry out of them through both faces."
        )
        yield f"We do not inject when air or wall is colder than {book.foam.least_temp_f:g} °F or frost is near."
        yield f"From the maker's sheet: {book.foam.cautions}"


def preparations(walls: Sequence[WallRecord], attics: int) -> Iterable[str]:
    """What the people in the house do before the crew comes."""
    if walls:
        yield "Clear 3 ft along the inside of every outside wall in this proposal."
        yield "Take pictures, mirrors and shelves off those walls."
    if any(wall.access is not Access.DRILL_INSIDE for wall in walls):
        yield "Cut back plants and move furniture and vehicles 6 ft from the outside of those walls."
    if attics:
        yield "Clear the attic floor and the way to its hatch."
    yield "Keep pets and children away from the rooms and the hoses while we work."
    yield "Let us use an outdoor tap and two electric circuits, and keep the drive free for the rig."


def aftercare(filled: bool, book: PriceBook) -> Iterable[str]:
    """What to expect, and to leave alone, afterwards."""
    days = book.foam.drying_days
    if filled:
        yield "Damp spots on the wall may show and go again within days. Tell us about one that stays or grows."
        yield "A few nails may stand out of the plaster or the cladding. Leave them until the wall is dry."
        yield "Keep the heat on and let air move along the filled walls: that is what dries them."
        yield f"No paint, no wallpaper and nothing tight on the filled walls, inside or outside, for {days} days."
    yield "If anyone in the house feels unwell or an appliance behaves oddly, call us the same day."


# --- figures in words --------------------------------------------------------------------------------------------


def savings_basis(house: HouseRecord, found: OptionPerformance, draws: int) -> str:
    """What the savings stand on."""
    climate, heating = house.climate, house.heating
    price = f"{heating.price_per_unit:,.4f}".rstrip("0")
    price += "0" * max(0, 2 - len(price.partition(".")[2]))
    bills = (
        f" Never more than the {about(heating.yearly_units, 3)} {units(found.fuel_unit)} a year on your bills for heat."
        if heating.yearly_units is not None
        else " Your bills were not at hand."
    )
    unit = UNITS.get(found.fuel_unit, found.fuel_unit)
    measured = (
        "" if found.cfm50_before is not None else " What less air leakage saves is not counted: it was not measured."
    )
    return (
        f"Worked out with {climate.heating_degree_days:,.0f} heating degree days a year below {climate.base_f:g} °F "
        f"({climate.place}; {climate.source}), {house.indoor_f:g} °F indoors, {heating.fuel.replace('_', ' ')} at "
        f"${price} a {unit} and a heating efficiency of {heating.efficiency:.0%}.{bills} The range holds eight of ten "
        f"of {draws:,} calculations in which everything not known for certain was varied.{measured}"
    )


UNITS = {"gal": "gallon"}
"""Fuel units that papers write out."""


def units(unit: str) -> str:
    """A fuel unit as it follows a number.

    Examples
    --------
    >>> units("therm"), units("gal"), units("kWh")
    ('therms', 'gallons', 'kWh')
    """
    one = UNITS.get(unit, unit)
    return one if one.endswith("h") else f"{one}s"


def hidden_damage(firm: FirmRecord) -> list[dict[str, str]]:
    """Unit prices of damage that shows only when a wall is opened."""
    return [
        {
            "what": "Cladding that is rotten or breaks and has to be replaced",
            "price": f"{format_money(firm.cladding_cents)} a foot",
        },
        {"what": "Plaster that is loose and has to be repaired", "price": f"{format_money(firm.plaster_cents)} a ft²"},
    ]


def wall_size(wall: WallRecord) -> str:
    """Length and height of a wall as its drawing shows them."""
    from estimates.linework import feet_and_inches

    return f"{feet_and_inches(wall.length_ft * IN_PER_FT)} long, {feet_and_inches(wall.height_ft * IN_PER_FT)} high"
