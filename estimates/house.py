"""The house as it was measured: frozen records, their JSON form and its schema.

This is the vocabulary that takeoff, physics, price, papers and pages all eat. Lengths of walls are in ft, sizes of
lumber, openings and positions on a wall in in; every field says its unit. Positions on a wall count from the outside
corner of its framing at the left end as seen from outside, and from the bottom of the wall upward.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from estimates import records
from estimates.records import BadRecord, Fault, choice, code, codes, day, flag, many, number, one, text, texts, whole

SCHEMA = "cavitybook/house/1"
"""Version of the JSON form; a change that breaks old files takes the next number."""

IN_PER_FT = 12.0


class SurfaceKind(StrEnum):
    """What a laid-out surface is; each is its own record (a floor band is never inside a wall)."""

    WALL = "wall"
    RIM = "rim"
    KNEE_WALL = "knee_wall"
    RAFTER_SLOPE = "rafter_slope"
    FLOOR = "floor"
    OVERHANG = "overhang"


class Construction(StrEnum):
    """What carries the wall. The drainage gap behind a veneer is never filled; solid brick has only a furred gap."""

    FRAME = "frame"
    FRAME_BRICK_VENEER = "frame_brick_veneer"
    SOLID_BRICK = "solid_brick"
    BLOCK = "block"


class Face(StrEnum):
    """Side of the house. Front and back walls run through at corners unless a record says otherwise."""

    FRONT = "front"
    BACK = "back"
    LEFT = "left"
    RIGHT = "right"


class Framing(StrEnum):
    """Platform: sole plate and top plates in each storey. Balloon: studs run from the sill to the roof plate."""

    PLATFORM = "platform"
    BALLOON = "balloon"


class CornerEnd(StrEnum):
    """Who owns a corner: the through wall has its full length, the butting wall is shorter by the other's depth."""

    THROUGH = "through"
    BUTTING = "butting"


class PostPattern(StrEnum):
    """Studs at a corner: the end stud alone, or a second stud behind which a pocket cannot be reached."""

    SINGLE = "single"
    POCKET = "pocket"


class Closure(StrEnum):
    """How a floor line, sill or top of a balloon wall is closed; an open one lets foam escape."""

    OPEN = "open"
    RIBBON = "ribbon"
    FIRE_STOPPED = "fire_stopped"
    BLOCKED_BY_US = "blocked_by_us"


class OpeningKind(StrEnum):
    """What is in an opening; a double-hung window of before 1950 usually has sash-weight pockets beside it."""

    WINDOW = "window"
    DOUBLE_HUNG = "double_hung"
    DOOR = "door"
    GARAGE_DOOR = "garage_door"
    OTHER = "other"


class BraceKind(StrEnum):
    """Let-in: a board notched into the studs. Cut-in: blocks between studs. Unknown counts as the worse of each."""

    LET_IN = "let_in"
    CUT_IN = "cut_in"
    UNKNOWN = "unknown"


class NoFillReason(StrEnum):
    """Why a part of a wall is not filled."""

    SASH_POCKET = "sash_pocket"
    POCKET_DOOR = "pocket_door"
    RETURN_AIR = "return_air"
    PANEL_OR_METER = "panel_or_meter"
    MEDICINE_CABINET = "medicine_cabinet"
    STAIR_STRINGER = "stair_stringer"
    TUB_OR_CABINET = "tub_or_cabinet"
    EXHAUST_DUCT = "exhaust_duct"
    WATER_PIPE = "water_pipe"
    OTHER = "other"


class Cladding(StrEnum):
    """Outside finish of a wall."""

    WOOD_BEVEL = "wood_bevel"
    WOOD_SHINGLE = "wood_shingle"
    ASBESTOS_CEMENT = "asbestos_cement"
    PLYWOOD_SIDING = "plywood_siding"
    VINYL = "vinyl"
    ALUMINIUM = "aluminium"
    STUCCO = "stucco"
    BRICK_VENEER = "brick_veneer"


class Sheathing(StrEnum):
    """What stands between the studs and the cladding."""

    NONE = "none"
    BOARD = "board"
    PLYWOOD = "plywood"
    OSB = "osb"
    FIBERBOARD = "fiberboard"


class InsideFinish(StrEnum):
    """What stands between the studs and the room."""

    PLASTER_LATH = "plaster_lath"
    GYPSUM = "gypsum"
    WOOD_PANEL = "wood_panel"
    NONE = "none"


class InsideCover(StrEnum):
    """What covers the inside face; the last four let little water vapour through."""

    PAINT = "paint"
    WALLPAPER = "wallpaper"
    OIL_PAINT = "oil_paint"
    VINYL_PAPER = "vinyl_paper"
    FOIL = "foil"
    MEMBRANE = "membrane"


class WeatherBarrier(StrEnum):
    """What stands between sheathing and cladding; none is common in old houses."""

    NONE = "none"
    FELT = "felt"
    BUILDING_PAPER = "building_paper"
    HOUSEWRAP = "housewrap"
    FOIL_BOARD = "foil_board"


class Access(StrEnum):
    """How the crew reaches the cavity; each method has its own production rate."""

    LIFT_CLADDING = "lift_cladding"
    DRILL_CLADDING = "drill_cladding"
    DRILL_INSIDE = "drill_inside"


class FillMaterial(StrEnum):
    """Insulation found in place."""

    GLASS_BATT = "glass_batt"
    ROCK_WOOL_BATT = "rock_wool_batt"
    LOOSE_CELLULOSE = "loose_cellulose"
    LOOSE_GLASS = "loose_glass"
    LOOSE_ROCK_WOOL = "loose_rock_wool"


class Condition(StrEnum):
    """How well old insulation still works."""

    GOOD = "good"
    FAIR = "fair"
    POOR = "poor"


class LeakKind(StrEnum):
    """A place where air leaks; the price book has material and minutes for each."""

    TOP_PLATE = "top_plate"
    CHIMNEY_CHASE = "chimney_chase"
    PLUMBING_STACK = "plumbing_stack"
    RECESSED_LIGHT = "recessed_light"
    ATTIC_HATCH = "attic_hatch"
    RIM_JOIST = "rim_joist"
    SILL_PLATE = "sill_plate"
    WINDOW_TRIM = "window_trim"
    DUCT_BOOT = "duct_boot"


class Fuel(StrEnum):
    """What heats the house."""

    NATURAL_GAS = "natural_gas"
    PROPANE = "propane"
    HEATING_OIL = "heating_oil"
    ELECTRICITY = "electricity"


class Verdict(StrEnum):
    """The four answers to a hazard gate."""

    STOP = "stop"
    CONTROLS = "proceed_with_controls"
    CLEAR = "clear"
    UNKNOWN = "not_yet_known"


class Round(StrEnum):
    """When combustion safety is tested."""

    TEST_IN = "test_in"
    DAY_END = "end_of_day"
    TEST_OUT = "test_out"


class Vent(StrEnum):
    """How an appliance gives off its flue gas."""

    NATURAL_ALONE = "natural_draft_water_heater_alone"
    NATURAL_COMMON = "natural_draft_with_common_vent"
    NATURAL_HEATING = "natural_draft_furnace_or_boiler_alone"
    FAN_ASSISTED = "fan_assisted"
    SEALED = "sealed_combustion"
    UNVENTED = "no_vent"


class LocalRoom(StrEnum):
    """A room that wants its own exhaust."""

    KITCHEN = "kitchen"
    BATH = "bath"


class Measure(StrEnum):
    """What the firm sells."""

    WALL_INJECTION = "wall_injection"
    ATTIC_TOP_UP = "attic_top_up"
    AIR_SEALING = "air_sealing"


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningRecord:
    """A window, door or other hole in a wall, as framed: its rough opening."""

    id: str = code("Name of the opening, unique on its wall")
    left_in: float = number("in", "Left edge, from the outside corner at the wall's left end", low=0, high=6000)
    bottom_in: float = number("in", "Bottom edge above the bottom of the wall; 0 for a door", low=0, high=1200)
    width_in: float = number("in", "Width of the rough opening", above=0, high=6000)
    height_in: float = number("in", "Height of the rough opening", above=0, high=1200)
    kind: OpeningKind = choice(OpeningKind, "What is in the opening", default=OpeningKind.WINDOW)
    header_in: float | None = number(
        "in", "Depth of the header; left out, it follows from the width", low=0, high=24, default=None
    )
    sash_pocket_in: float | None = number(
        "in",
        "Width of the sash-weight pocket on each side; left out: 2.5 in for a double-hung window in a house of before "
        "1950, else 0",
        low=0,
        high=12,
        default=None,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockRecord:
    """A level fire block or mid-height block across bays."""

    id: str = code("Name of the block row, unique on its wall")
    height_in: float = number("in", "Height of its centre line above the bottom of the wall", above=0, high=1200)
    from_in: float | None = number(
        "in", "Where the row begins, from the left outside corner; left out: the whole wall", low=0, default=None
    )
    to_in: float | None = number(
        "in", "Where the row ends, from the left outside corner; left out: the whole wall", low=0, default=None
    )
    thickness_in: float = number("in", "Thickness of the block", above=0, high=12, default=1.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class BraceRecord:
    """A diagonal brace, given by the two ends of its centre line."""

    id: str = code("Name of the brace, unique on its wall")
    from_x_in: float = number("in", "Lower end, from the left outside corner", low=0, high=6000)
    from_y_in: float = number("in", "Lower end, above the bottom of the wall", low=0, high=1200)
    to_x_in: float = number("in", "Upper end, from the left outside corner", low=0, high=6000)
    to_y_in: float = number("in", "Upper end, above the bottom of the wall", low=0, high=1200)
    width_in: float = number("in", "Width of the board on the face of the wall", above=0, high=24, default=5.5)
    thickness_in: float = number("in", "How far a let-in brace goes into the stud depth", low=0, high=3, default=0.75)
    kind: BraceKind = choice(BraceKind, "How it is built in", default=BraceKind.UNKNOWN)


@dataclass(frozen=True, slots=True, kw_only=True)
class PointRecord:
    """A corner of a zone on the face of a wall."""

    x_in: float = number("in", "From the left outside corner", low=0, high=6000)
    y_in: float = number("in", "Above the bottom of the wall", low=0, high=1200)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoFillRecord:
    """A part of a wall that must not be filled: out of bays, volume and holes; in the heat loss as unfilled."""

    id: str = code("Name of the zone, unique on its wall")
    reason: NoFillReason = choice(NoFillReason, "Why it is not filled")
    corners: tuple[PointRecord, ...] = many(PointRecord, "Corners in order round the zone", min_items=3)


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorLineRecord:
    """A floor that meets a balloon-framed wall."""

    id: str = code("Name of the floor line, unique on its wall")
    height_in: float = number("in", "Height of its block or ribbon (centre) above the bottom of the wall", above=0)
    closure: Closure = choice(Closure, "How it is closed")


@dataclass(frozen=True, slots=True, kw_only=True)
class TeeRecord:
    """A partition that meets the wall: two studs with a pocket between them that cannot be reached."""

    id: str = code("Name of the partition, unique on its wall")
    at_in: float = number("in", "Centre of the partition, from the left outside corner", low=0, high=6000)
    pocket_in: float = number("in", "Clear width of the pocket between the two studs", above=0, high=24, default=3.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExistingFillRecord:
    """Old insulation in the cavities of a wall."""

    material: FillMaterial = choice(FillMaterial, "What it is")
    in_place_in: float = number("in", "Thickness as found", above=0, high=24)
    compressed_in: float = number("in", "Thickness once the foam has squeezed it against a face", low=0, high=24)
    covered_share: float = number("", "Share of the cavity face that it covers", low=0, high=1)
    condition: Condition = choice(Condition, "How well it still works", default=Condition.FAIR)


@dataclass(frozen=True, slots=True, kw_only=True)
class WallRecord:
    """One framed surface: one face and one storey (platform), or one face from sill to roof plate (balloon)."""

    id: str = code("Name of the wall, unique in the house")
    name: str = text("What the crew and the homeowner call it", max_length=80, min_length=1)
    length_ft: float = number("ft", "Outside of framing, corner to corner", above=0, high=500)
    height_ft: float = number(
        "ft", "Underside of the bottom plate to the top of the top plate (rim: joist depth)", above=0, high=100
    )
    kind: SurfaceKind = choice(SurfaceKind, "What surface it is", default=SurfaceKind.WALL)
    construction: Construction = choice(Construction, "What carries the wall", default=Construction.FRAME)
    face: Face | None = choice(Face, "Side of the house; decides who owns its corners", default=None)
    framing: Framing = choice(Framing, "Platform or balloon", default=Framing.PLATFORM)
    spacing_in: float = number("in", "Stud spacing, centre to centre", low=4, high=96, default=16.0)
    depth_in: float = number("in", "Stud depth, which is the cavity depth", low=0.5, high=24, default=3.5)
    stud_in: float = number("in", "Stud thickness", low=0.5, high=6, default=1.5)
    plate_in: float = number("in", "Plate thickness", low=0.5, high=6, default=1.5)
    bottom_plates: int | None = whole(
        "Number of bottom plates; left out: 1 for a platform wall, else 0", unit="", low=0, high=3, default=None
    )
    top_plates: int | None = whole(
        "Number of top plates; left out: 2 for walls, else 0", unit="", low=0, high=3, default=None
    )
    right_height_ft: float | None = number(
        "ft", "Height at the right end of a wall with a raked top; left out: level", above=0, high=100, default=None
    )
    peak_height_ft: float | None = number("ft", "Height of a gable's peak", above=0, high=100, default=None)
    peak_at_ft: float | None = number(
        "ft", "Where the peak stands, from the left outside corner; left out: the middle", above=0, default=None
    )
    fill_to_ft: float | None = number(
        "ft",
        "Insulated ceiling line: the wall above it is no thermal boundary; left out: the top",
        above=0,
        default=None,
    )
    left_end: CornerEnd | None = choice(
        CornerEnd, "Owner of the left corner; left out: butting on left and right faces, else through", default=None
    )
    right_end: CornerEnd | None = choice(
        CornerEnd, "Owner of the right corner; left out: as for left_end", default=None
    )
    through_depth_in: float | None = number(
        "in", "Framing depth of the wall this one butts against; left out: its own depth", low=0, high=24, default=None
    )
    left_post: PostPattern = choice(PostPattern, "Studs at the left corner", default=PostPattern.SINGLE)
    right_post: PostPattern = choice(PostPattern, "Studs at the right corner", default=PostPattern.SINGLE)
    joists_parallel: bool = flag("Rim only: the joists run along this rim, so it is one long pocket", default=False)
    jacks: int = whole("Jack studs on each side of an opening", unit="", low=0, high=4, default=1)
    studs_found_in: tuple[PointRecord, ...] = many(
        PointRecord, "Stud centres found on site (x_in; y_in is 0), replacing the layout by spacing"
    )
    openings: tuple[OpeningRecord, ...] = many(OpeningRecord, "Openings in the wall")
    blocks: tuple[BlockRecord, ...] = many(BlockRecord, "Level blocks")
    braces: tuple[BraceRecord, ...] = many(BraceRecord, "Diagonal braces")
    no_fill: tuple[NoFillRecord, ...] = many(NoFillRecord, "Parts that must not be filled")
    tees: tuple[TeeRecord, ...] = many(TeeRecord, "Partitions that meet the wall")
    floor_lines: tuple[FloorLineRecord, ...] = many(FloorLineRecord, "Floors that meet a balloon-framed wall")
    sill: Closure = choice(Closure, "Balloon framing: how the bottom of the cavity is closed", default=Closure.OPEN)
    top: Closure = choice(Closure, "Balloon framing: how the top of the cavity is closed", default=Closure.FIRE_STOPPED)
    existing_fill: ExistingFillRecord | None = one(ExistingFillRecord, "Old insulation in the cavities", default=None)
    cladding: Cladding = choice(Cladding, "Outside finish", default=Cladding.WOOD_BEVEL)
    cladding_exposure_in: float = number("in", "Height of one course as seen", above=0, high=48, default=4.5)
    sheathing: Sheathing = choice(Sheathing, "Between studs and cladding", default=Sheathing.BOARD)
    inside: InsideFinish = choice(InsideFinish, "Between studs and room", default=InsideFinish.PLASTER_LATH)
    inside_cover: InsideCover = choice(InsideCover, "What covers the inside face", default=InsideCover.PAINT)
    weather_barrier: WeatherBarrier | None = choice(
        WeatherBarrier, "Found between sheathing and cladding; left out: not seen", default=None
    )
    access: Access = choice(Access, "How the crew reaches the cavity", default=Access.LIFT_CLADDING)
    base_height_ft: float = number("ft", "Bottom of the wall above the ground outside", low=0, high=100, default=0.0)
    steep_grade: bool = flag("The ground before it is too steep for a ladder to stand as usual", default=False)
    obstructed_share: float = number(
        "", "Share of its length behind shrubs, decks, meters or furniture", low=0, high=1, default=0.0
    )
    painted: bool | None = flag("The face that is drilled or lifted is painted; left out: as usual for it")
    room: str = text("Room that is drilled from inside; left out: the name of the wall", max_length=80, default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class QuickWallRecord:
    """Outside walls of a house, or a part of them, by a few figures: a price within a minute, with a wide range."""

    id: str = code("Name of the entry, unique among all walls of the house")
    name: str = text("What the crew and the homeowner call it", max_length=80, min_length=1)
    perimeter_ft: float = number("ft", "Length of the outside walls, once round", above=0, high=500)
    storeys: int = whole("Storeys of that perimeter", low=1, high=3)
    storey_height_ft: float = number("ft", "Height of a storey's wall, bottom plate to top plate", above=2, high=20)
    window_share: float = number("", "Share of the wall that is windows and doors", low=0, high=0.7, default=0.15)
    framing_share: float = number(
        "", "Share of the rest that is framing: studs, plates, headers", low=0, high=0.6, default=0.25
    )
    spacing_in: float = number("in", "Stud spacing, centre to centre", low=4, high=96, default=16.0)
    depth_in: float = number("in", "Stud depth, which is the cavity depth", low=0.5, high=24, default=3.5)
    existing_fill: ExistingFillRecord | None = one(ExistingFillRecord, "Old insulation in the cavities", default=None)
    cladding: Cladding = choice(Cladding, "Outside finish", default=Cladding.WOOD_BEVEL)
    sheathing: Sheathing = choice(Sheathing, "Between studs and cladding", default=Sheathing.BOARD)
    inside: InsideFinish = choice(InsideFinish, "Between studs and room", default=InsideFinish.PLASTER_LATH)
    access: Access = choice(Access, "How the crew reaches the cavity", default=Access.LIFT_CLADDING)


@dataclass(frozen=True, slots=True, kw_only=True)
class StudMoveRecord:
    """A stud that stands elsewhere than laid out."""

    from_in: float = number("in", "Centre as laid out, from the left outside corner", low=0, high=6000)
    to_in: float = number("in", "Centre as found", low=0, high=6000)


@dataclass(frozen=True, slots=True, kw_only=True)
class BayDepthRecord:
    """A bay whose depth differs from the wall's."""

    bay: int = whole("Number of the bay", low=1)
    depth_in: float = number("in", "Depth as probed", above=0, high=24)


@dataclass(frozen=True, slots=True, kw_only=True)
class HoleAddedRecord:
    """A hole drilled where none was laid out."""

    bay: int = whole("Number of the bay", low=1)
    x_in: float = number("in", "Centre, from the left outside corner", low=0, high=6000)
    y_in: float = number("in", "Centre, above the bottom of the wall", low=0, high=1200)


@dataclass(frozen=True, slots=True, kw_only=True)
class HoleSkippedRecord:
    """A hole that was laid out and not drilled."""

    bay: int = whole("Number of the bay", low=1)
    column: int = whole("Column of the hole in its bay", low=1, default=1)
    row: int = whole("Row of the hole in its column, lowest first", low=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class AsFoundRecord:
    """What the crew found on a wall that differs from its layout; the estimate's own layout stays as it was."""

    studs_moved: tuple[StudMoveRecord, ...] = many(StudMoveRecord, "Studs that stand elsewhere")
    studs_added: tuple[PointRecord, ...] = many(PointRecord, "Studs that split a bay (x_in; y_in is 0)")
    blocks_added: tuple[BlockRecord, ...] = many(BlockRecord, "Blocks that were not seen before")
    depth_in: float | None = number("in", "Depth of all bays as probed", above=0, high=24, default=None)
    bay_depths: tuple[BayDepthRecord, ...] = many(BayDepthRecord, "Bays whose depth differs")
    holes_added: tuple[HoleAddedRecord, ...] = many(HoleAddedRecord, "Holes drilled beside the layout")
    holes_skipped: tuple[HoleSkippedRecord, ...] = many(HoleSkippedRecord, "Holes not drilled")


@dataclass(frozen=True, slots=True, kw_only=True)
class AtticRecord:
    """A flat attic floor that can take more loose fill."""

    id: str = code("Name of the attic, unique in the house")
    name: str = text("What the crew and the homeowner call it", max_length=80, min_length=1)
    area_ft2: float = number("ft2", "Floor area to be covered, less the hatch", above=0, high=100_000)
    existing_material: FillMaterial | None = choice(FillMaterial, "What lies there now", default=None)
    existing_depth_in: float = number("in", "Mean depth of what lies there now", low=0, high=48, default=0.0)
    target_r: float = number("R", "R-value wanted in all", above=0, high=120, default=49.0)
    hatch_ft2: float = number("ft2", "Area of the hatch, 0 for none", low=0, high=100, default=0.0)
    soffit_bays: int = whole("Rafter bays that need a baffle", unit="", low=0, high=2000, default=0)
    dam_ft: float = number("ft", "Length of dams round hatch and hot surfaces", low=0, high=2000, default=0.0)
    vented: bool = flag("The roof space is vented", default=True)
    net_free_in2: float | None = number(
        "in2", "Net free area of its vents as found; left out: not measured", low=0, high=100_000, default=None
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakSiteRecord:
    """A place where air leaks and that the crew can close."""

    id: str = code("Name of the leak site, unique in the house")
    name: str = text("Where it is", max_length=80, min_length=1)
    kind: LeakKind = choice(LeakKind, "What it is")
    quantity: float = number("", "How much: ft for joints, pieces for the rest", above=0, high=10_000)
    component_share: float = number(
        "",
        "Share of the leakage of its part of the house (ceiling, walls, windows, ducts) that this site holds",
        low=0,
        high=1,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PressurePointRecord:
    """One reading of a blower-door test."""

    pressure_pa: float = number("Pa", "Pressure difference house to outside, sign left out", above=0, high=200)
    flow_cfm: float = number("cfm", "Fan flow", above=0, high=50_000)


@dataclass(frozen=True, slots=True, kw_only=True)
class BlowerDoorRecord:
    """A blower-door test before the work, the fan blowing out: one reading near 50 Pa, or better five and more."""

    points: tuple[PressurePointRecord, ...] = many(PressurePointRecord, "The readings", min_items=1)
    baseline_pa: float = number(
        "Pa",
        "Pressure of the house against outside with the fan off, with its sign (drawing in reads negative)",
        low=-20,
        high=20,
        default=0.0,
    )
    indoor_f: float = number("degF", "Indoor temperature", low=-40, high=130, default=70.0)
    outdoor_f: float = number("degF", "Outdoor temperature", low=-60, high=130, default=70.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatingRecord:
    """What heats the house and what it costs."""

    fuel: Fuel = choice(Fuel, "Fuel")
    efficiency: float = number(
        "", "Seasonal efficiency, heat out over fuel in (a heat pump may exceed 1)", above=0, high=6
    )
    price_per_unit: float = number("$", "Price of a therm, gallon or kWh", above=0, high=100)
    yearly_units: float | None = number(
        "",
        "Therms, gallons or kWh a year for heating alone, from the bills; savings never exceed it",
        above=0,
        high=1_000_000,
        default=None,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ClimateRecord:
    """Weather of the place over a heating season."""

    place: str = text("Name of the weather site", max_length=80, min_length=1)
    source: str = text("Where the figures come from", max_length=200, min_length=1)
    heating_degree_days: float = number("degF day", "Heating degree days a year to the base below", low=0, high=25_000)
    base_f: float = number(
        "degF", "Base of the degree days (balance temperature of the house)", low=30, high=75, default=60.0
    )
    season_mean_f: float = number("degF", "Mean outdoor temperature of the heating season", low=-40, high=75)
    season_wind_mph: float = number("mph", "Mean wind of the heating season, at the weather site", low=0, high=60)
    design_f: float | None = number(
        "degF", "Winter design temperature; left out: no check of the coldest days", low=-60, high=60, default=None
    )
    weather_factor: float | None = number(
        "",
        "Weather and shielding factor of the ventilation standard; left out: fresh air is not worked out",
        low=0.1,
        high=2,
        default=None,
    )
    altitude_ft: float = number("ft", "Height above sea level", low=-1500, high=15_000, default=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class BillRecord:
    """A bill for fuel."""

    fuel: Fuel = choice(Fuel, "Fuel")
    first: date = day("First day")
    last: date = day("Last day, included")
    units: float = number("", "Therms, gallons or kWh", low=0, high=1_000_000)
    dollars: float | None = number("$", "Amount of the bill; left out: not known", low=0, high=1_000_000, default=None)
    estimated: bool = flag("The meter was not read: the figure is the supplier's estimate", default=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class ApplianceRecord:
    """What was measured at one combustion appliance; a reading left out was not taken."""

    name: str = text("Appliance", max_length=80, min_length=1)
    vent: Vent = choice(Vent, "How it is vented")
    spillage_s: float | None = number("s", "Time until spillage stopped", low=0, high=3600, default=None)
    suction_pa: float | None = number(
        "Pa",
        "Pressure of its room against outside in the worst case, below 0 when sucked",
        low=-200,
        high=200,
        default=None,
    )
    flue_co_ppm: float | None = number("ppm", "Carbon monoxide in the flue", low=0, high=100_000, default=None)
    restored: bool = flag("Set back on after the test", default=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class CombustionRecord:
    """One round of combustion tests."""

    round: Round = choice(Round, "When, in the course of the work")
    on: date = day("Day of the test")
    gas_leak_found: bool | None = flag("The survey found a gas leak; left out: not surveyed")
    ambient_co_ppm: float | None = number(
        "ppm", "Highest carbon monoxide in the rooms; left out: not measured", low=0, high=100_000, default=None
    )
    appliances: tuple[ApplianceRecord, ...] = many(ApplianceRecord, "Appliances")


@dataclass(frozen=True, slots=True, kw_only=True)
class ExhaustRecord:
    """Exhaust of a kitchen, or of a bath with tub or shower."""

    room: LocalRoom = choice(LocalRoom, "Room")
    measured_cfm: float = number("cfm", "Measured flow; 0 without a fan", low=0, high=5000)
    openable_window: bool = flag("The room has a window that opens", default=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoRecord:
    """A photo of the assessment; the file itself is kept under its sha256."""

    id: str = code("Name of the photo, unique in the house")
    caption: str = text("What it shows", max_length=200, min_length=1)
    taken_on: date = day("Day it was taken")
    sha256: str = text("sha256 of the file, 64 hex digits; left out: no file", pattern="([0-9a-f]{64})?", default="")
    part: str = text("Id of the wall, attic or leak site it shows; left out: the house", max_length=40, default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class GateAnswerRecord:
    """One answer to a hazard gate, for the whole house (`parts` left out) or for named walls and attics."""

    hazard: str = code("Id of the gate in fixtures/hazards.toml")
    verdict: Verdict = choice(Verdict, "Answer")
    note: str = text("What was seen and where", max_length=1000, default="")
    answered_on: date = day("Day of the answer")
    parts: tuple[str, ...] | None = codes("Walls, attics or leak sites it is about; left out: the whole house")
    photos: tuple[str, ...] = codes("Ids of photos", default=())
    sample: str = text("Report of a negative laboratory sample", max_length=200, default="")
    verifier: str = text("Not yet known: who will find out", max_length=120, default="")
    how: str = text("Not yet known: how", max_length=200, default="")
    before_phase: str = text("Not yet known: before which phase of the work", max_length=80, default="")

    def covers(self, part: str) -> bool:
        """Whether the answer is about a part."""
        return self.parts is None or part in self.parts


@dataclass(frozen=True, slots=True, kw_only=True)
class GateReleaseRecord:
    """Somebody's word that a stop no longer holds, for the whole house (`parts` left out) or named parts."""

    hazard: str = code("Id of the gate")
    released_on: date = day("Day of the release")
    by: str = text("Who released it", max_length=120, min_length=1)
    reason: str = text("Why it no longer holds", max_length=500, min_length=1)
    parts: tuple[str, ...] | None = codes("Walls, attics or leak sites it is about; left out: the whole house")
    sample: str = text("Report of a negative laboratory sample", max_length=200, default="")

    def lifts(self, answer: GateAnswerRecord, part: str) -> bool:
        """Whether it lifts a stop for a part: same hazard, not before the stop, with a name and a reason."""
        return (
            self.hazard == answer.hazard
            and (self.parts is None or part in self.parts)
            and self.released_on >= answer.answered_on
            and bool(self.by.strip() and self.reason.strip())
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierIncentiveRecord:
    """What a programme gave this household before."""

    programme: str = text(
        "Id of the programme: its topic in the rule table without 'incentive.'", max_length=80, min_length=1
    )
    dollars: float = number("$", "Amount", low=0, high=1_000_000)


@dataclass(frozen=True, slots=True, kw_only=True)
class HouseholdRecord:
    """What incentive programmes ask of the people in the house."""

    income_share: float | None = number(
        "", "Household income as a share of the area's median; left out: not recorded", low=0, high=100, default=None
    )
    earlier: tuple[EarlierIncentiveRecord, ...] = many(EarlierIncentiveRecord, "What programmes gave before")
    approved: tuple[str, ...] = texts("Ids of programmes that have approved this job", max_length=80)
    documents: tuple[str, ...] = texts("Documents in hand, by the names the programmes give them")


@dataclass(frozen=True, slots=True, kw_only=True)
class ComplaintRecord:
    """What the people in the house say is wrong."""

    room: str = text("Room", max_length=80, min_length=1)
    words: str = text("In their words", max_length=400, min_length=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class OptionRecord:
    """A scope the homeowner can choose; each is priced alone."""

    id: str = code("Name of the option, unique in the house")
    name: str = text("What the homeowner reads", max_length=80, min_length=1)
    wall_ids: tuple[str, ...] | None = codes("Walls to inject; left out: all")
    attic_ids: tuple[str, ...] | None = codes("Attics to top up; left out: all")
    leak_ids: tuple[str, ...] | None = codes("Leak sites to close; left out: all")
    target_margin: float | None = number(
        "", "Gross margin wanted for this option; left out: that of the price book", low=0, high=0.95, default=None
    )
    discount: float = number("$", "Taken off the price, before margin and floor are checked", low=0, default=0.0)
    discount_reason: str = text("Why", max_length=200, default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class HouseRecord:
    """A measured house: people's complaint, walls, attics, leak sites, tests, fuel and climate."""

    schema: str = text(f"Version of this form: {SCHEMA}", pattern=SCHEMA)
    id: str = code("Short name of the house; also the name of files written for it")
    name: str = text("What the firm calls the house", max_length=80, min_length=1)
    customer: str = text("Name of the homeowner", max_length=80, min_length=1)
    street: str = text("Street and number", max_length=120, min_length=1)
    town: str = text("Town", max_length=80, min_length=1)
    state: str = text("State, two letters; decides which rules hold", pattern="[A-Z]{2}")
    county: str = text("County, town or area with rules and programmes of its own", max_length=60, default="")
    postal_code: str = text(
        "Postal code: five digits, or five, a hyphen and four", pattern=r"(\d{5}(-\d{4})?)?", default=""
    )
    priced_on: date | None = day(
        "Day whose rules and programmes hold; left out: the first day of the price book", default=None
    )
    in_service_on: date | None = day(
        "Day the work is expected to be complete, which decides programmes; left out: priced_on", default=None
    )
    year_built: int = whole("Year the house was built", unit="", low=1600, high=2100)
    storeys: int = whole("Storeys above the ground", unit="", low=1, high=3)
    floor_area_ft2: float = number("ft2", "Conditioned floor area", above=0, high=100_000)
    volume_ft3: float = number("ft3", "Conditioned volume", above=0, high=2_000_000)
    bedrooms: int = whole("Bedrooms", unit="", low=0, high=30)
    occupants: int | None = whole("People who live in it; left out: not asked", unit="", low=0, high=100, default=None)
    ceiling_height_ft: float | None = number(
        "ft",
        "Lowest floor above the ground to the highest ceiling; left out: 8.2 ft a storey",
        low=5,
        high=60,
        default=None,
    )
    shelter_class: int = whole(
        "Local shelter, 1 (open country) to 5 (close town houses), as the handbook counts",
        unit="",
        low=1,
        high=5,
        default=3,
    )
    indoor_f: float = number("degF", "Indoor temperature in the heating season", low=40, high=90, default=68.0)
    has_ducts: bool = flag("Ducts outside the heated space", default=False)
    has_fireplace: bool = flag("Open fireplace", default=False)
    foam: str = text("Id of the foam in the price book; left out: its first", max_length=40, default="")
    loose_fill: str = text("Id of the loose fill in the price book; left out: its first", max_length=40, default="")
    federally_assisted: bool = flag("Housing or work paid with federal housing money", default=False)
    capital_improvement: bool = flag("A certificate of capital improvement is in hand", default=False)
    complaints: tuple[ComplaintRecord, ...] = many(ComplaintRecord, "What is wrong, room by room")
    walls: tuple[WallRecord, ...] = many(WallRecord, "Walls and other framed surfaces")
    quick_walls: tuple[QuickWallRecord, ...] = many(
        QuickWallRecord, "Walls by a few figures, not yet measured one by one"
    )
    attics: tuple[AtticRecord, ...] = many(AtticRecord, "Attics")
    leak_sites: tuple[LeakSiteRecord, ...] = many(LeakSiteRecord, "Leak sites")
    blower_door: BlowerDoorRecord | None = one(BlowerDoorRecord, "Blower-door test before the work", default=None)
    combustion: tuple[CombustionRecord, ...] = many(CombustionRecord, "Rounds of combustion tests")
    exhausts: tuple[ExhaustRecord, ...] = many(ExhaustRecord, "Every kitchen and every bath with tub or shower")
    bills: tuple[BillRecord, ...] = many(BillRecord, "Bills before the work")
    photos: tuple[PhotoRecord, ...] = many(PhotoRecord, "Photos")
    gate_answers: tuple[GateAnswerRecord, ...] = many(GateAnswerRecord, "Answers to hazard gates")
    gate_releases: tuple[GateReleaseRecord, ...] = many(GateReleaseRecord, "Stops that somebody has released")
    household: HouseholdRecord | None = one(HouseholdRecord, "The people, as programmes ask", default=None)
    heating: HeatingRecord = one(HeatingRecord, "Heating")
    climate: ClimateRecord = one(ClimateRecord, "Climate")
    options: tuple[OptionRecord, ...] = many(OptionRecord, "Up to three scopes side by side; none: one with everything")


WHOLE_SCOPE = OptionRecord(id="all", name="Everything we measured")
"""The option of a house that lists none."""


def house_from_json(source: str, *, parse: records.QuantityParser | None = None) -> HouseRecord:
    """Read a house from JSON text.

    Parameters
    ----------
    source : the text of HOUSE.json.
    parse : turns a quantity written as text into a number of the field's unit; without it, numbers only.

    Raises
    ------
    BadRecord : every fault found, each with its JSON path, what is wrong and what to enter.
    """
    house = records.read_record(HouseRecord, records.load_json(source), parse=parse)
    faults = list(house_faults(house))
    if faults:
        raise BadRecord(faults)
    return house


def house_to_json(house: HouseRecord) -> dict[str, Any]:
    """The JSON form of a house; `house_from_json` of its text gives the same record back."""
    return records.write_record(house)


def house_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of HOUSE.json."""
    return records.json_schema(HouseRecord, title="A measured house", schema_id=f"urn:{SCHEMA.replace('/', ':')}")


def house_faults(house: HouseRecord) -> Iterable[Fault]:
    """What no single field can tell: things that do not fit together."""
    if not (house.walls or house.quick_walls or house.attics or house.leak_sites):
        yield Fault("$", "nothing to work on; enter at least one wall, attic or leak site")
    if len(house.options) > 3:
        yield Fault("$.options", f"{len(house.options)} options; enter at most 3")
    for index, wall in enumerate(house.walls):
        yield from wall_faults(wall, f"$.walls[{index}]")
    yield from _test_faults(house.blower_door)
    measured = {wall.id for wall in house.walls}
    for index, quick in enumerate(house.quick_walls):
        if quick.id in measured:
            yield Fault(f"$.quick_walls[{index}].id", f"the id {quick.id!r} is already used in walls; enter another")
        yield from _fill_faults(quick.existing_fill, quick.depth_in, f"$.quick_walls[{index}]")
    yield from _day_faults(house)
    yield from _photo_faults(house)
    known = {
        "wall_ids": measured | {quick.id for quick in house.quick_walls},
        "attic_ids": {attic.id for attic in house.attics},
        "leak_ids": {site.id for site in house.leak_sites},
    }
    for index, option in enumerate(house.options):
        chosen = [(name, getattr(option, name)) for name in known]
        for name, ids in chosen:
            for place, item in enumerate(ids or ()):
                if item not in known[name]:
                    yield Fault(f"$.options[{index}].{name}[{place}]", f"no such id {item!r}; enter one that exists")
        if all(ids == () or (ids is None and not known[name]) for name, ids in chosen):
            yield Fault(f"$.options[{index}]", "holds no work; enter at least one wall, attic or leak site")
        if option.discount > 0 and not option.discount_reason.strip():
            yield Fault(f"$.options[{index}].discount_reason", "is empty; enter why the price is lowered")


def wall_faults(wall: WallRecord, path: str) -> Iterable[Fault]:
    """What does not fit on one wall: openings beyond it or on each other, a peak below the eaves."""
    left, right = framing_ends(wall)
    if right - left < 2 * wall.stud_in + 1:
        yield Fault(
            f"{path}.length_ft", f"{wall.length_ft:g} ft leaves no bay between its end studs; enter a longer wall"
        )
        return
    top = TopLine.of(wall)
    if wall.peak_height_ft is not None and wall.peak_height_ft * IN_PER_FT <= max(top.left_in, top.right_in):
        yield Fault(f"{path}.peak_height_ft", "not above both ends; enter a height above the eaves or leave it out")
    if wall.peak_at_ft is not None and not left < wall.peak_at_ft * IN_PER_FT < right:
        yield Fault(f"{path}.peak_at_ft", "not on the wall; enter a place between its ends")
    if min(top.left_in, top.right_in) <= (bottom_plates(wall) + top_plates(wall)) * wall.plate_in:
        yield Fault(f"{path}.height_ft", "leaves no cavity between the plates; enter a greater height")
    seen: list[OpeningRecord] = []
    for index, opening in enumerate(wall.openings):
        where = f"{path}.openings[{index}]"
        pocket = opening.sash_pocket_in or 0.0
        a, b = opening.left_in - pocket, opening.left_in + opening.width_in + pocket
        head = opening.bottom_in + opening.height_in
        if a < left - 1e-9 or b > right + 1e-9:
            yield Fault(
                f"{where}.left_in",
                f"the opening reaches from {a:g} to {b:g} in, the wall's framing from {left:g} to {right:g} in; "
                "enter a smaller width or another place",
            )
        elif head > min(top.at(a), top.at(b)) + 1e-9:
            yield Fault(f"{where}.height_in", f"its head at {head:g} in is above the wall; enter a smaller height")
        for other in seen:
            apart = (
                other.left_in + other.width_in <= opening.left_in + 1e-9
                or opening.left_in + opening.width_in <= other.left_in + 1e-9
                or other.bottom_in + other.height_in <= opening.bottom_in + 1e-9
                or head <= other.bottom_in + 1e-9
            )
            if not apart:
                yield Fault(where, f"lies over the opening {other.id!r}; move one of them")
        seen.append(opening)
    yield from _fill_faults(wall.existing_fill, wall.depth_in, path)


def _day_faults(house: HouseRecord) -> Iterable[Fault]:
    """Days in the wrong order."""
    if house.priced_on and house.in_service_on and house.in_service_on < house.priced_on:
        yield Fault("$.in_service_on", f"before priced_on {house.priced_on}; enter that day or a later one")
    for index, bill in enumerate(house.bills):
        if bill.last < bill.first:
            yield Fault(f"$.bills[{index}].last", f"before the first day {bill.first}; enter that day or a later one")


def _photo_faults(house: HouseRecord) -> Iterable[Fault]:
    """Answers that point to photos which are not there."""
    known = {photo.id for photo in house.photos}
    for index, answer in enumerate(house.gate_answers):
        for place, photo in enumerate(answer.photos):
            if photo not in known:
                yield Fault(
                    f"$.gate_answers[{index}].photos[{place}]", f"no photo {photo!r}; enter the id of one in $.photos"
                )


def _test_faults(test: BlowerDoorRecord | None) -> Iterable[Fault]:
    """Readings that cannot be of a fan blowing out of the house."""
    if test is None:
        return
    for index, point in enumerate(test.points):
        if point.pressure_pa + test.baseline_pa <= 0:
            yield Fault(
                f"$.blower_door.points[{index}].pressure_pa",
                f"{point.pressure_pa:g} Pa is no more than the baseline of {test.baseline_pa:g} Pa; enter a reading "
                "with the fan on, or correct the baseline",
            )
    if len(test.points) > 2 and len({point.pressure_pa for point in test.points}) == 1:
        yield Fault("$.blower_door.points", "all at one pressure; enter readings at several, or only one of them")


def _fill_faults(old: ExistingFillRecord | None, depth_in: float, path: str) -> Iterable[Fault]:
    if old is not None and old.compressed_in > old.in_place_in:
        yield Fault(f"{path}.existing_fill.compressed_in", "thicker than in_place_in; enter the smaller, squeezed one")
    if old is not None and old.in_place_in > depth_in:
        yield Fault(
            f"{path}.existing_fill.in_place_in", f"deeper than the cavity of {depth_in:g} in; enter at most that"
        )


# --- what a wall's record means, for everything that measures on it ------------------------------------------------


def corner_end(wall: WallRecord, end: CornerEnd | None) -> CornerEnd:
    """Owner of a corner: as recorded, else front and back walls run through and side walls butt."""
    if end is not None:
        return end
    if wall.kind in (SurfaceKind.WALL, SurfaceKind.RIM) and wall.face in (Face.LEFT, Face.RIGHT):
        return CornerEnd.BUTTING
    return CornerEnd.THROUGH


def framing_ends(wall: WallRecord) -> tuple[float, float]:
    """Left and right end of the wall's own framing, from the left outside corner. [in]"""
    other = wall.depth_in if wall.through_depth_in is None else wall.through_depth_in
    left = other if corner_end(wall, wall.left_end) is CornerEnd.BUTTING else 0.0
    cut = other if corner_end(wall, wall.right_end) is CornerEnd.BUTTING else 0.0
    return left, wall.length_ft * IN_PER_FT - cut


def bottom_plates(wall: WallRecord) -> int:
    """Plates under the studs. A balloon wall stands on the sill and has none of its own."""
    if wall.bottom_plates is not None:
        return wall.bottom_plates
    upright = wall.kind in (SurfaceKind.WALL, SurfaceKind.KNEE_WALL)
    return 1 if upright and wall.framing is Framing.PLATFORM else 0


def top_plates(wall: WallRecord) -> int:
    """Plates over the studs."""
    if wall.top_plates is not None:
        return wall.top_plates
    return {SurfaceKind.WALL: 2, SurfaceKind.KNEE_WALL: 1}.get(wall.kind, 0)


@dataclass(frozen=True, slots=True)
class TopLine:
    """The top of a wall: level, raked, or a gable, as corner points from left to right. [in]"""

    points: tuple[tuple[float, float], ...]

    @classmethod
    def of(cls, wall: WallRecord) -> TopLine:
        """The top line over the wall's own framing."""
        left, right = framing_ends(wall)
        length = wall.length_ft * IN_PER_FT
        at_left = wall.height_ft * IN_PER_FT
        at_right = at_left if wall.right_height_ft is None else wall.right_height_ft * IN_PER_FT
        corners = [(0.0, at_left), (length, at_right)]
        if wall.peak_height_ft is not None:
            middle = length / 2 if wall.peak_at_ft is None else wall.peak_at_ft * IN_PER_FT
            corners.insert(1, (middle, wall.peak_height_ft * IN_PER_FT))
        whole = cls(tuple(corners))
        inner = [corner for corner in corners if left < corner[0] < right]
        return cls(((left, whole.at(left)), *inner, (right, whole.at(right))))

    @property
    def left_in(self) -> float:
        """Height at the left end. [in]"""
        return self.points[0][1]

    @property
    def right_in(self) -> float:
        """Height at the right end. [in]"""
        return self.points[-1][1]

    def at(self, x: float) -> float:
        """Height at a place on the wall. [in]"""
        for (x0, y0), (x1, y1) in zip(self.points, self.points[1:], strict=False):
            if x <= x1 or (x1, y1) == self.points[-1]:
                return y0 if y0 == y1 else y0 + (y1 - y0) * (x - x0) / (x1 - x0)
        return self.points[-1][1]
