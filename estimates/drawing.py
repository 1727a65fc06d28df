"""The elevation of a wall, drawn to scale from its laid-out bays, and its SVG for pages."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping

from estimates.house import (
    IN_PER_FT,
    BraceKind,
    BraceRecord,
    Closure,
    CornerEnd,
    OpeningKind,
    TopLine,
    WallRecord,
    corner_end,
)
from estimates.linework import (
    Area,
    BayState,
    Dot,
    Drawing,
    Label,
    Mark,
    Stroke,
    bounds,
    clip_convex,
    feet_and_inches,
    label_width,
)
from estimates.physics.framing import DEFAULT_TOOL, Bay, ToolRecord, WallLayout
from estimates.physics.members import RIBBON_IN
from estimates.physics.sweep import Polygon, rectangle
from estimates.svg import to_svg

__all__ = ["BayState", "Drawing", "elevation", "to_svg"]

LEAST_TEXT_PX = 11.0
"""Labels are this high at the least width at which a drawing is shown. [px]"""

LEAST_WIDTH_IN = 144.0
"""A shorter wall keeps the scale of one of this length, so that it does not look like a barn. [in]"""

UPRIGHT_LIMIT = 1.25
"""A drawing is at most this much higher than wide; a tower gets room beside it. [1]"""

MARGINS = {"left": 2.8, "right": 0.6, "top": 0.6, "bottom": 2.7}
"""Room round the wall. [text sizes]"""

KEY_ROW = 1.5
"""Height of a row of the key. [text sizes]"""

NUMBER_ROW = 1.2
"""Height of a row of bay numbers under the wall, for walls too long to hold them. [text sizes]"""

OVER_STUD_IN = 1.5
"""A number may reach this far over the studs beside its bay. [in]"""

_KINDS = {
    "top plate": "plate", "bottom plate": "plate", "header": "header", "sill": "plate", "block": "block",
    "fire stop": "block", "brace": "brace",
}  # fmt: skip


def elevation(
    layout: WallLayout,
    wall: WallRecord,
    states: Mapping[int, str] | None = None,
    *,
    tool: ToolRecord = DEFAULT_TOOL,
    shown_px: float = 360.0,
) -> Drawing:
    """Draw a wall as seen from outside.

    Parameters
    ----------
    layout : studs, bays and holes of the wall. [in]
    wall : the wall itself.
    states : bay number -> state; a bay not named is planned when it can be reached, else left out.
    tool : for the diameter of the holes. [in]
    shown_px : least width at which the drawing will be shown; labels are readable there. [CSS px], 200 to 4,000

    Returns
    -------
    Drawing, the same for the same arguments.

    Raises
    ------
    ValueError : a state or a bay number that does not exist, a width out of range.

    Notes
    -----
    Everything is to scale but holes, which never shrink below what can be seen. Bay numbers stand where they fit.

    Examples
    --------
    >>> from estimates.physics.framing import lay_out
    >>> wall = WallRecord(id="w", name="North", length_ft=8.0, height_ft=8.0)
    >>> elevation(lay_out(wall), wall, {2: "filled"}).says
    'Wall North, 8′ 0″ long and 8′ 0″ high. 6 bays: 5 planned, 1 filled. 18 holes.'
    """
    if not 200 <= shown_px <= 4000:
        raise ValueError(f"shown_px is {shown_px:g}; enter a width from 200 to 4,000 px")
    known = _states(layout, states or {})
    sheet = _Sheet(layout, wall, known, shown_px)
    marks = [*_frame(layout, wall), *_bays(layout, known), *_over(layout, wall), *_holes(layout, tool, sheet.text)]
    labels = [*_names(layout, wall, sheet.text), *sheet.numbers]
    return Drawing(
        left=sheet.left,
        bottom=sheet.bottom,
        right=sheet.left + sheet.width,
        top=sheet.top,
        text_in=sheet.text,
        marks=(*marks, *_sizes(wall, sheet.text, sheet.foot), *sheet.key(), *labels),
        says=_says(layout, wall, known),
    )


def _states(layout: WallLayout, given: Mapping[int, str]) -> dict[int, BayState]:
    numbers = {bay.number for bay in layout.bays}
    for number, state in given.items():
        if number not in numbers:
            raise ValueError(f"states names bay {number}; the wall has bays 1 to {len(numbers)}")
        if state not in set(BayState):
            raise ValueError(f"states[{number}] is {state!r}; enter one of {', '.join(BayState)}")
    usual = {bay.number: BayState.PLANNED if bay.reachable else BayState.LEFT_OUT for bay in layout.bays}
    return usual | {number: BayState(state) for number, state in given.items()}


class _Sheet:
    """Room of a drawing: the text size follows from the width, the width from the text size in the margins."""

    def __init__(self, layout: WallLayout, wall: WallRecord, states: Mapping[int, BayState], shown_px: float) -> None:
        self.entries = list(_key_entries(layout, wall, states))
        points = TopLine.of(wall).points
        long, high = wall.length_ft * IN_PER_FT, max(y for _, y in points)
        room = dict(MARGINS)
        room["right"] = MARGINS["left"] if wall.right_height_ft is not None else room["right"]
        room["top"] = 1.6 if wall.peak_height_ft is not None else room["top"]
        share = LEAST_TEXT_PX / shown_px
        tall = high / (UPRIGHT_LIMIT - share * (room["top"] + room["bottom"] + 2 * KEY_ROW))
        self.width = max(long / (1 - share * (room["left"] + room["right"])), LEAST_WIDTH_IN, tall)
        self.text = share * self.width
        # The height of a low wall is written longer than the wall is high.
        over = label_width(feet_and_inches(wall.height_ft * IN_PER_FT), self.text) / 2 + wall.height_ft * IN_PER_FT / 2
        self.left, self.top = -room["left"] * self.text, max(high + room["top"] * self.text, over)
        self.numbers, under = _numbers(layout, self.text)
        self.foot = -(room["bottom"] + (NUMBER_ROW if under else 0.0)) * self.text
        self.rows = list(self._wrapped())
        self.bottom = self.foot - KEY_ROW * len(self.rows) * self.text

    def _wrapped(self) -> Iterable[list[tuple[float, str, str]]]:
        """Rows of (place, word, sort) that fit the width."""
        row: list[tuple[float, str, str]] = []
        at, end = 0.0, self.left + self.width
        for word, sort in self.entries:
            needs = 1.5 * self.text + label_width(word, self.text)
            if row and at + needs > end:
                yield row
                row, at = [], 0.0
            row.append((at, word, sort))
            at += needs + 1.2 * self.text
        if row:
            yield row

    def key(self) -> Iterable[Mark]:
        """Swatch and word for everything that needs one."""
        t = self.text
        for number, row in enumerate(self.rows):
            y = self.foot - (number + 0.5) * KEY_ROW * t
            for x, word, sort in row:
                if sort in ("hole", "witness"):
                    yield Dot(sort, (x + 0.6 * t, y), 0.3 * t)
                elif sort in ("brace-mark", "escape", "floor-line"):
                    yield Stroke(sort, (x, y), (x + 1.2 * t, y))
                else:
                    box = rectangle("", x, y - 0.5 * t, x + 1.2 * t, y + 0.5 * t).polygon
                    yield Area("no-fill" if sort == "no fill" else "bay", box, sort)
                yield Label("key", (x + 1.5 * t, y), word, t, "start")


def _key_entries(layout: WallLayout, wall: WallRecord, states: Mapping[int, BayState]) -> Iterable[tuple[str, str]]:
    present = set(states.values())
    yield from ((state.value, state.value) for state in BayState if state in present)
    if layout.no_fill:
        yield "never filled", "no fill"
    rows = {hole.row for bay in layout.bays for hole in bay.holes}
    if 1 in rows:
        yield "fill hole", "hole"
    if rows - {1}:
        yield "witness hole", "witness"
    if any(brace.kind is not BraceKind.CUT_IN for brace in wall.braces):
        yield "brace", "brace-mark"
    if any(line.closure is not Closure.OPEN for line in wall.floor_lines):
        yield "floor line", "floor-line"
    if layout.escapes:
        yield "open end", "escape"


# --- the wall ----------------------------------------------------------------------------------------------------


def _frame(layout: WallLayout, wall: WallRecord) -> Iterable[Mark]:
    top, end = TopLine.of(wall), wall.length_ft * IN_PER_FT
    if wall.fill_to_ft is not None:
        yield Area("beyond", ((layout.left_in, 0.0), (layout.right_in, 0.0), *reversed(top.points)))
    # The corner posts of the walls this one butts against show where the tape is held.
    if corner_end(wall, wall.left_end) is CornerEnd.BUTTING:
        yield Area("corner", rectangle("", 0.0, 0.0, layout.left_in, top.left_in).polygon)
    if corner_end(wall, wall.right_end) is CornerEnd.BUTTING:
        yield Area("corner", rectangle("", layout.right_in, 0.0, end, top.right_in).polygon)
    yield Area("face", layout.face)
    for zone in layout.no_fill:
        yield from _clipped("no-fill", zone, layout, "no fill", "Never filled")
    for member in layout.members:
        yield from _clipped(_KINDS.get(member.kind, "stud"), member.polygon, layout)
    for polygon, opening in zip(layout.openings, wall.openings, strict=True):
        yield from _clipped("opening", polygon, layout, says=f"Opening {opening.id}")
        x0, y0, x1, y1 = bounds(polygon)
        inset = min(x1 - x0, y1 - y0) * 0.08
        foot = y0 if opening.kind in (OpeningKind.DOOR, OpeningKind.GARAGE_DOOR) else y0 + inset
        yield Area("pane", rectangle("", x0 + inset, foot, x1 - inset, y1 - inset).polygon)


def _clipped(kind: str, polygon: Polygon, layout: WallLayout, hatch: str = "", says: str = "") -> Iterable[Area]:
    inside = clip_convex(polygon, layout.face)
    if len(inside) >= 3:
        yield Area(kind, inside, hatch, says)


def _bays(layout: WallLayout, states: Mapping[int, BayState]) -> Iterable[Mark]:
    for bay in layout.bays:
        holes = "1 hole" if len(bay.holes) == 1 else f"{len(bay.holes)} holes"
        said = [f"Bay {bay.number}{f' {bay.place}' if bay.place else ''}", states[bay.number].value]
        said.append(holes if bay.reachable else f"not reached, {bay.reason}")
        yield Area("bay", bay.outline, states[bay.number].value, ", ".join(said), bay.number)
    yield Area("edge", layout.face)


def _over(layout: WallLayout, wall: WallRecord) -> Iterable[Mark]:
    """What lies over the bays without parting them for certain."""
    for brace in wall.braces:
        if brace.kind is not BraceKind.CUT_IN:
            yield from _clipped("brace-mark", _brace_band(brace), layout)
    left, right = layout.left_in, layout.right_in
    for line in wall.floor_lines:
        y = line.height_in
        if line.closure is Closure.RIBBON:
            half = RIBBON_IN[0] / 2
            yield from _clipped("floor-line", rectangle("", left, y - half, right, y + half).polygon, layout)
        else:
            yield Stroke("escape" if line.closure is Closure.OPEN else "floor-line", (left, y), (right, y))
    if "sill" in layout.escapes:
        yield Stroke("escape", (left, 0.0), (right, 0.0))
    if "top" in layout.escapes:
        roof = layout.face[2:]
        for start, end in itertools.pairwise(roof):
            yield Stroke("escape", start, end)


def _brace_band(brace: BraceRecord) -> Polygon:
    x0, y0, x1, y1 = brace.from_x_in, brace.from_y_in, brace.to_x_in, brace.to_y_in
    length = math.hypot(x1 - x0, y1 - y0) or 1.0
    dx, dy = -(y1 - y0) / length * brace.width_in / 2, (x1 - x0) / length * brace.width_in / 2
    return ((x0 - dx, y0 - dy), (x1 - dx, y1 - dy), (x1 + dx, y1 + dy), (x0 + dx, y0 + dy))


def _holes(layout: WallLayout, tool: ToolRecord, text: float) -> Iterable[Mark]:
    radius = max(tool.diameter_in / 2, 0.2 * text)
    for bay in layout.bays:
        for hole in bay.holes:
            yield Dot("hole" if hole.row == 1 else "witness", (hole.x_in, hole.y_in), radius)


# --- words on it -------------------------------------------------------------------------------------------------


def _names(layout: WallLayout, wall: WallRecord, text: float) -> Iterable[Label]:
    for polygon, opening in zip(layout.openings, wall.openings, strict=True):
        x0, y0, x1, y1 = bounds(polygon)
        needs, middle = label_width(opening.id, text), ((x0 + x1) / 2, (y0 + y1) / 2)
        if needs <= (x1 - x0) * 0.92 and text * 1.2 <= y1 - y0:
            yield Label("name", middle, opening.id, text)
        elif needs <= (y1 - y0) * 0.92 and text * 1.2 <= x1 - x0:
            yield Label("name", middle, opening.id, text, turned=True)


def _numbers(layout: WallLayout, text: float) -> tuple[list[Label], bool]:
    """Bay numbers, and whether they had to go under the wall.

    A number stands in the foot of its bay, else in its head; it may lie over a stud, not over another. On a wall so
    long that most find no room, as many as fit stand in a row below.
    """
    size, taken = 0.9 * text, [bounds(polygon) for polygon in layout.openings]
    placed = []
    for bay in layout.bays:
        for y in _number_heights(bay, size):
            label = _number(bay, y, size)
            x0, y0, x1, y1 = label.box
            narrow = x1 - x0 > bay.clear_width_in + 2 * OVER_STUD_IN
            if not narrow and not any(x0 < c and a < x1 and y0 < d and b < y1 for a, b, c, d in taken):
                taken.append((x0 - 0.25 * size, y0, x1 + 0.25 * size, y1))
                placed.append(label)
                break
    feet = [bay for bay in layout.bays if bay.bottom_in <= layout.bays[0].bottom_in + 1e-6]
    if 2 * len(placed) >= len(feet):
        return placed, False
    below: list[Label] = []
    for bay in feet:
        label = _number(bay, -0.75 * text, size)
        if not below or label.box[0] > below[-1].box[2] + 0.5 * size:
            below.append(label)
    return below, True


def _number(bay: Bay, y: float, size: float) -> Label:
    return Label("number", ((bay.left_in + bay.right_in) / 2, y), str(bay.number), size)


def _number_heights(bay: Bay, size: float) -> Iterable[float]:
    """Heights at which a number clears the bay's ends and holes, the lowest first."""
    half = (bay.left_in + bay.right_in) / 2
    low = [y for piece in bay.pieces if piece.x0 <= half <= piece.x1 for y in (piece.low0, piece.low1)]
    high = [y for piece in bay.pieces if piece.x0 <= half <= piece.x1 for y in (piece.high0, piece.high1)]
    if not low or max(low) > min(high):
        return
    for y in (max(low) + 0.75 * size, min(high) - 0.75 * size):
        inside = max(low) + 0.6 * size <= y <= min(high) - 0.6 * size
        if inside and all(abs(hole.y_in - y) > 0.9 * size for hole in bay.holes):
            yield y


def _sizes(wall: WallRecord, text: float, foot: float) -> Iterable[Mark]:
    end, top = wall.length_ft * IN_PER_FT, TopLine.of(wall)
    y = foot + 0.5 * text
    yield Stroke("dimension", (0.0, y), (end, y))
    yield from (Stroke("tick", (x - 0.3 * text, y - 0.3 * text), (x + 0.3 * text, y + 0.3 * text)) for x in (0.0, end))
    yield Label("size", (end / 2, y + 0.85 * text), feet_and_inches(end), text)
    yield from _upright(-1.2 * text, -0.85 * text, wall.height_ft * IN_PER_FT, text)
    if wall.right_height_ft is not None:
        yield from _upright(end + 1.2 * text, 0.85 * text, wall.right_height_ft * IN_PER_FT, text)
    if wall.peak_height_ft is not None:
        x, high = max(top.points, key=lambda point: point[1])
        yield Label("size", (x, high + 0.9 * text), feet_and_inches(wall.peak_height_ft * IN_PER_FT), text)
    # The tape is held at the outside corner of the framing at the left.
    arrow = ((-0.1 * text, 0.0), (-0.75 * text, 0.4 * text), (-0.75 * text, -0.4 * text))
    yield Area("datum", arrow, says="Measured from here")


def _upright(x: float, beside: float, high: float, text: float) -> Iterable[Mark]:
    yield Stroke("dimension", (x, 0.0), (x, high))
    yield from (Stroke("tick", (x - 0.3 * text, y - 0.3 * text), (x + 0.3 * text, y + 0.3 * text)) for y in (0.0, high))
    yield Label("size", (x + beside, high / 2), feet_and_inches(high), text, turned=True)


def _says(layout: WallLayout, wall: WallRecord, states: Mapping[int, BayState]) -> str:
    counted = [(state.value, sum(1 for s in states.values() if s is state)) for state in BayState]
    bays = ", ".join(f"{count} {word}" for word, count in counted if count)
    high = max(y for _, y in TopLine.of(wall).points)
    said = [
        f"Wall {wall.name}, {feet_and_inches(wall.length_ft * IN_PER_FT)} long and {feet_and_inches(high)} high.",
        f"{len(layout.bays)} bays{f': {bays}' if bays else ''}.",
        f"{layout.hole_count} holes.",
    ]
    if wall.openings:
        said.append("Openings: " + ", ".join(opening.id for opening in wall.openings) + ".")
    if layout.escapes:
        said.append("Open: " + ", ".join(layout.escapes) + ".")
    return " ".join(said)
