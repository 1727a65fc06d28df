"""What the page of a house shows: the figures of its latest estimate, less what the reader's role may not see."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from django.utils.safestring import SafeString, mark_safe

from estimates import access
from estimates.drawing import elevation, to_svg
from estimates.house import WHOLE_SCOPE, HouseRecord, Measure, OptionRecord, WallRecord
from estimates.linework import Area, bounds
from estimates.models import EstimateRevision
from estimates.physics.framing import DEFAULT_TOOL
from estimates.records import read_record
from estimates.takeoff import SASH_POCKET_IN, SASH_POCKETS_BEFORE, quick_wall, wall_layout

DRAWING_PX = 544.0
"""Width of an elevation where there is room for it. [CSS px]"""

THUMB_PX = 96.0
"""Width of a wall in the row of all walls. [CSS px]"""

PHONE_PX = 318.0
"""Width of an elevation on the smallest phone, where its labels must still be readable. [CSS px]"""

COSTS = (
    "direct_cost_cents",
    "direct_cost_parts_cents",
    "direct_cost_range_cents",
    "margin_range",
    "margin",
    "margin_before_shares",
    "markup",
    "target_margin",
    "floor_margin",
    "below_floor",
    "commission_cents",
    "price_shares_cents",
    "overhead_cents",
    "net_margin",
    "measures",
)
"""What of an option or line only those may see who may read costs."""

PRICES = (
    "price_cents",
    "deposit_cents",
    "deposit_cap",
    "discount_cents",
    "total_cents",
    "net_cents",
    "due_cents",
    "tax",
    "incentives",
    "payments",
    "payment_faults",
    "lines",
)
"""What of an option only those may see who may read prices."""

Form = dict[str, Any]


def house_chapters(revision: EstimateRevision, user: access.Person) -> Form:
    """Return the chapters of a house's page.

    Parameters
    ----------
    revision : the latest one.
    user : who looks; without ``price.read`` there are no prices, without ``cost.read`` no costs or margins in what is
        returned, so that no template can show them.
    """
    frozen = json.loads(revision.snapshot)
    house = read_record(HouseRecord, frozen["house"])
    return {
        "record": house,
        "walls": [wall_chapter(house, wall, frozen) for wall in (*house.walls, *map(quick_wall, house.quick_walls))],
        "attics": _beside(house.attics, frozen["takeoff"]["attics"]),
        "leak_sites": [
            leak
            | {
                "unit": next(
                    work["unit"] for work in frozen["price_book"]["leak_work"] if work["kind"] == leak["record"].kind
                )
            }
            for leak in _beside(house.leak_sites, frozen["takeoff"]["leak_sites"])
        ],
        "options": [
            option_chapter(option, outcome, house, frozen, user)
            for option, outcome in zip(frozen["estimate"]["options"], frozen["performance"]["options"], strict=True)
        ],
        "price_book": frozen["estimate"]["price_book"],
        "safety": safety_chapter(house, frozen),
    }


def safety_chapter(house: HouseRecord, frozen: Form) -> Form:
    """Return what the hazard gates, the combustion tests and the blower door say, each part by its own name."""
    gates, heat = frozen["estimate"]["gates"], frozen["performance"]
    known: Iterable[Any] = (*house.walls, *house.quick_walls, *house.attics, *house.leak_sites)
    names: dict[str, str] = {part.id: part.name for part in known}

    def named(forms: Iterable[Form]) -> list[Form]:
        found: dict[tuple[str, str], list[str]] = {}
        for form in forms:
            part = str(form["part"])
            found.setdefault((form["verdict"], form["text"]), []).append(names.get(part, part))
        return [
            {"verdict": verdict, "text": text, "names": parts if len(parts) < len(names) else []}
            for (verdict, text), parts in found.items()
        ]

    return {
        "complete": gates["complete"],
        "open": [
            gate
            | {"names": [names.get(part, part) for part in gate["parts"]] if len(gate["parts"]) < len(names) else []}
            for gate in gates["open"]
        ],
        "held": named(gates["held"]),
        "warnings": heat["warnings"],
        "combustion": heat["combustion"],
        "heating": heat["heating"],
        "lead": [option["lead_rule"] | {"name": option["name"]} for option in frozen["estimate"]["options"]],
    }


def _beside(records: Iterable[Any], counted: Iterable[Form]) -> list[Form]:
    return [{"record": record, "counted": form} for record, form in zip(records, counted, strict=True)]


def wall_chapter(house: HouseRecord, wall: WallRecord, frozen: Form) -> Form:
    """Return a wall with its drawing, its figures and what its heat loss becomes."""
    counted = next(form for form in frozen["takeoff"]["walls"] if form["id"] == wall.id)
    surfaces = [
        surface
        for outcome in frozen["performance"]["options"]
        for surface in outcome["surfaces"]
        if surface["id"] == wall.id and surface["name"] == wall.name
    ]
    heat = min(surfaces, key=lambda surface: surface["u_after"], default=None)
    moisture = next((form for form in frozen["performance"]["moisture"] if form["id"] == wall.id), None)
    rows = sorted((int(row), holes) for row, holes in counted["holes_by_row"].items())
    return {
        "record": wall,
        "counted": counted,
        "svg": wall_svg(house, wall) if counted["placed"] else "",
        "thumb": wall_thumb(house, wall) if counted["placed"] else "",
        "rows": [f"row {row}: {holes}" for row, holes in rows],
        "moisture": moisture,
        "heat": None if heat is None or heat["u_after"] >= heat["u_before"] else heat | {"less": _less(heat)},
    }


def _less(heat: Mapping[str, float]) -> float:
    return 1 - heat["u_after"] / heat["u_before"]


def wall_svg(house: HouseRecord, wall: WallRecord) -> SafeString:
    """Draw a wall as the takeoff laid it out."""
    layout = wall_layout(wall, DEFAULT_TOOL, SASH_POCKET_IN if house.year_built < SASH_POCKETS_BEFORE else 0.0)
    drawing = elevation(layout, wall, shown_px=PHONE_PX)
    # The writer escapes every name it is given.
    return mark_safe(to_svg(drawing, title=f"{wall.name}, seen from outside", width=DRAWING_PX, key=f"wall-{wall.id}"))  # noqa: S308


def wall_thumb(house: HouseRecord, wall: WallRecord) -> SafeString:
    """Draw a wall as a small picture without words, to stand in a row of all walls."""
    layout = wall_layout(wall, DEFAULT_TOOL, SASH_POCKET_IN if house.year_built < SASH_POCKETS_BEFORE else 0.0)
    drawing = elevation(layout, wall, shown_px=PHONE_PX)
    # What lies under the bottom of the wall are the swatches of the key.
    areas = tuple(mark for mark in drawing.marks if isinstance(mark, Area) and min(y for _, y in mark.points) > -1.0)
    left, bottom, right, top = bounds([point for mark in areas for point in mark.points])
    plain = replace(drawing, marks=areas, left=left - 1, bottom=bottom - 1, right=right + 1, top=top + 1)
    small = to_svg(plain, title=wall.name, width=THUMB_PX, key=f"thumb-{wall.id}")
    return mark_safe(small)  # noqa: S308


def option_chapter(priced: Form, outcome: Form, house: HouseRecord, frozen: Form, user: access.Person) -> Form:
    """Return an option: what it holds, what it does, and as much of its money as `user` may see."""
    chapter = priced | {
        "outcome": outcome,
        "scope": _scope(priced["id"], house, frozen["takeoff"]),
        "warnings": [*priced["warnings"], *outcome["warnings"]],
    }
    if not access.allowed(user, "price.read"):
        return _without(chapter, (*PRICES, *COSTS))
    if not access.allowed(user, "cost.read"):
        chapter["lines"] = [_without(line, COSTS) for line in priced["lines"]]
        return _without(chapter, COSTS)
    chapter["commission_share"] = _best(frozen["price_book"], "commission")
    chapter["lines"] = [
        line | {"earned_cents": line["price_cents"] - line["direct_cost_cents"]} for line in priced["lines"]
    ]
    return chapter


def _without(form: Form, names: Iterable[str]) -> Form:
    return {name: value for name, value in form.items() if name not in set(names)}


def _best(book: Form, name: str) -> float:
    return float(next(rate["best"] for rate in book["rates"] if rate["id"] == name))


def _scope(option_id: str, house: HouseRecord, takeoff: Form) -> list[Form]:
    """What an option holds, measure by measure; walls that must not be filled are left out."""
    option = next((option for option in house.options if option.id == option_id), WHOLE_SCOPE)
    return [{"measure": measure, "names": names} for measure, names in _names(option, takeoff) if names]


def _names(option: OptionRecord, takeoff: Form) -> Iterable[tuple[Measure, list[str]]]:
    def chosen(forms: list[Form], ids: tuple[str, ...] | None) -> list[str]:
        return [form["name"] for form in forms if ids is None or form["id"] in ids]

    walls = [wall for wall in takeoff["walls"] if wall["priced"]]
    attics = [attic for attic in takeoff["attics"] if attic["added"] is not None]
    yield Measure.WALL_INJECTION, chosen(walls, option.wall_ids)
    yield Measure.ATTIC_TOP_UP, chosen(attics, option.attic_ids)
    yield Measure.AIR_SEALING, chosen(takeoff["leak_sites"], option.leak_ids)
