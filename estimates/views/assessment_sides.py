"""What stands beside a form of an assessment: the wall drawn to scale, the blower-door curve, what the tests say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import QueryDict
from django.utils.safestring import SafeString

from estimates.air import Leakage
from estimates.forms.record_form import RecordForm
from estimates.heating_bills import heating_use
from estimates.house import HouseRecord, WallRecord, wall_faults
from estimates.physics.framing import DEFAULT_TOOL, WallLayout
from estimates.physics.validity import OutOfRange
from estimates.records import BadRecord, read_record
from estimates.safety import fan_leave, house_combustion
from estimates.takeoff import SASH_POCKET_IN, SASH_POCKETS_BEFORE, wall_layout
from estimates.views.assessment_curve import Curve, curve_of
from estimates.views.assessment_places import ItemPlace, part_choices
from estimates.views.house_chapters import wall_svg


@dataclass(frozen=True, slots=True)
class DrawnWall:
    """A wall as typed: its drawing with counts, or why it cannot be drawn yet."""

    svg: SafeString | None
    says: str
    faults: tuple[str, ...]
    warnings: tuple[str, ...]


def draw_wall(house: HouseRecord, wall: WallRecord) -> DrawnWall:
    """Draw a wall and count what is on it."""
    faults = [fault.message for fault in wall_faults(wall, "$")]
    if faults:
        return DrawnWall(None, "", tuple(_large(words) for words in faults), ())
    pocket = SASH_POCKET_IN if house.year_built < SASH_POCKETS_BEFORE else 0.0
    try:
        layout = wall_layout(wall, DEFAULT_TOOL, pocket)
        svg = wall_svg(house, wall)
    except (OutOfRange, ValueError) as refused:
        return DrawnWall(None, "", (_large(str(refused)),), ())
    return DrawnWall(svg, _counts(layout), (), tuple(_large(words) for words in (*layout.warnings, *layout.escapes)))


def _counts(layout: WallLayout) -> str:
    bays = sum(1 for bay in layout.bays if bay.reachable)
    return f"{bays} bays to fill, {layout.hole_count} holes, {layout.net_ft2:,.0f} ft² of wall less openings"


def _large(words: str) -> str:
    return words[:1].upper() + words[1:]


def wall_preview(house: HouseRecord, data: QueryDict) -> DrawnWall:
    """Draw the wall of a form that is being typed."""
    form = RecordForm(WallRecord, data=data, choices=part_choices(house))
    if not form.is_valid():
        words = [str(one) for made in form.live_forms() for errors in made.errors.values() for one in errors]
        return DrawnWall(None, "", tuple(words), ())
    try:
        wall = read_record(WallRecord, form.raw() | {"id": "typed"})
    except BadRecord as bad:
        return DrawnWall(None, "", tuple(fault.message for fault in bad.faults), ())
    return draw_wall(house, wall)


def item_side(kind: str, house: HouseRecord, place: ItemPlace, data: QueryDict) -> dict[str, Any]:
    """What stands beside the form of an item: as it was typed, else as it is stored."""
    values = place.values(house)
    if kind == "walls" and data:
        return {"drawn": wall_preview(house, data)}
    if kind == "walls":
        drawn = draw_wall(house, WallRecord(**values)) if values else DrawnWall(None, "", (), ())
        return {"drawn": drawn}
    if kind == "combustion":
        return {"found": house_combustion(house)}
    return {}


def topic_side(topic: str, house: HouseRecord) -> dict[str, Any]:
    """What stands beside the form of a topic."""
    if topic == "blower-door":
        return {"curve": _curve(house), "leave": fan_leave(house)}
    if topic == "bills":
        return {"heating": heating_use(house), "import_bills": True}
    return {}


def _curve(house: HouseRecord) -> Curve | None:
    try:
        leak = Leakage.of(house)
        return None if leak is None or house.blower_door is None else curve_of(house, house.blower_door, leak)
    except OutOfRange:
        return None
