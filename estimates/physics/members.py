"""The framing members of a wall, and every other shape on its face: openings, zones, let-in boards.

Sizes are in inches from the outside corner at the wall's left end and from its bottom.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass

from estimates.house import (
    BraceKind,
    Closure,
    OpeningKind,
    OpeningRecord,
    PostPattern,
    SurfaceKind,
    TopLine,
    WallRecord,
    bottom_plates,
    framing_ends,
    top_plates,
)
from estimates.physics.sweep import Polygon, Shape, clip_below, rectangle

RIBBON_IN = (5.5, 0.75)
"""Height and depth of the ribbon let into balloon studs under the joists. [in] From memory: a 1x6 board."""

HEADER_BY_WIDTH_IN = ((48.0, 5.5), (72.0, 7.25), (96.0, 9.25), (math.inf, 11.25))
"""Widest opening and the depth of its header. [in, in] Common practice, no source; actual depths of 2x6 to 2x12."""

SOLID = "framing"
OPEN = "opening"
NO_FILL = "no fill"
SHALLOW = "shallow"
PARTING = "shallow, parting"
STRENGTH = (OPEN, SOLID, NO_FILL)
"""Where shapes overlap: an opening wins over framing, framing over a no-fill zone. The other two only mark a cavity:
a let-in board takes depth, and a brace not known how it is built in may also part the bay."""


@dataclass(frozen=True, slots=True)
class Member:
    """A framing member as drawn."""

    kind: str
    polygon: Polygon


def face_polygon(wall: WallRecord) -> Polygon:
    """The face of the wall up to the insulated ceiling line.

    Parameters
    ----------
    wall : the wall as measured.

    Returns
    -------
    Corners, counter-clockwise. [in]

    Raises
    ------
    Nothing of its own; `estimates.house.wall_faults` says what does not fit.

    Notes
    -----
    The top line over the wall's own framing, cut level at the insulated ceiling line.

    References
    ----------
    .. [1] Datum and corners: rules of this firm (FIELD).

    Examples
    --------
    >>> face_polygon(WallRecord(id="w", name="W", length_ft=2.0, height_ft=4.0))
    ((0.0, 0.0), (24.0, 0.0), (24.0, 48.0), (0.0, 48.0))
    """
    left, right = framing_ends(wall)
    top = TopLine.of(wall)
    whole: Polygon = ((left, 0.0), (right, 0.0), *reversed(top.points))
    return whole if wall.fill_to_ft is None else clip_below(whole, wall.fill_to_ft * 12.0)


def face_shapes(wall: WallRecord, sash_pocket_in: float) -> tuple[list[Shape], list[Member], list[str]]:
    """Every shape on the face, the members to draw, and what to look at on site.

    Parameters
    ----------
    wall : the wall as measured.
    sash_pocket_in : width of pockets beside a double-hung window that does not record its own. [in]

    Returns
    -------
    Shapes for the sweep, members to draw, warnings. [in]

    Raises
    ------
    Nothing of its own; `estimates.house.wall_faults` says what does not fit.

    Notes
    -----
    Lumber where a carpenter sets it; see `lay_out` for the rules.

    References
    ----------
    .. [1] Rules of this firm (FIELD); headers by width: common practice.

    Examples
    --------
    >>> shapes, members, warnings = face_shapes(WallRecord(id="w", name="W", length_ft=4.0, height_ft=8.0), 0.0)
    >>> [member.kind for member in members]
    ['bottom plate', 'top plate', 'top plate', 'stud', 'stud', 'stud', 'stud']
    """
    left, right = framing_ends(wall)
    high = max(y for _, y in TopLine.of(wall).points)
    members = [*_plates(wall), *_end_studs(wall, high)]
    openings = [_Framed.of(wall, opening, sash_pocket_in) for opening in wall.openings]
    members += _layout_studs(wall, high, openings)
    for framed in openings:
        members += framed.members(wall, high)
    for block in wall.blocks:
        start = left if block.from_in is None else max(left, block.from_in)
        end = right if block.to_in is None else min(right, block.to_in)
        members.append(
            _member(
                "block", start, block.height_in - block.thickness_in / 2, end, block.height_in + block.thickness_in / 2
            )
        )
    for line in wall.floor_lines:
        if line.closure is Closure.FIRE_STOPPED:
            members.append(
                _member(
                    "fire stop", left, line.height_in - wall.plate_in / 2, right, line.height_in + wall.plate_in / 2
                )
            )
    warnings: list[str] = []
    marks: list[Shape] = []
    for brace in wall.braces:
        band = _band(brace.from_x_in, brace.from_y_in, brace.to_x_in, brace.to_y_in, brace.width_in)
        if brace.kind is BraceKind.CUT_IN:
            members.append(Member("brace", band))
        else:
            marks.append(Shape(PARTING if brace.kind is BraceKind.UNKNOWN else SHALLOW, band))
        if brace.kind is BraceKind.UNKNOWN:
            warnings.append(
                f"Brace {brace.id}: not known how it is built in; holes are set as if it parts the bays, "
                "volume as if it does not. Probe one bay."
            )
        else:
            warnings.append(
                f"Brace {brace.id}: needs holes on both sides"
                if brace.kind is BraceKind.CUT_IN
                else f"Brace {brace.id}: watch the return above it"
            )
    for line in wall.floor_lines:
        if line.closure is Closure.RIBBON:
            marks.append(
                rectangle(SHALLOW, left, line.height_in - RIBBON_IN[0] / 2, right, line.height_in + RIBBON_IN[0] / 2)
            )
            warnings.append(f"Floor line {line.id}: ribbon seen, closing not proven. Probe it before injecting.")
    shapes = [Shape(SOLID, member.polygon) for member in members]
    shapes += [framed.shape for framed in openings]
    shapes += [zone for framed in openings for zone in framed.pockets]
    shapes += [Shape(NO_FILL, tuple((c.x_in, c.y_in) for c in zone.corners)) for zone in wall.no_fill]
    return shapes + marks, members, warnings


def _member(kind: str, x0: float, y0: float, x1: float, y1: float) -> Member:
    return Member(kind, rectangle(SOLID, x0, y0, x1, y1).polygon)


def _plates(wall: WallRecord) -> Iterable[Member]:
    left, right = framing_ends(wall)
    for index in range(bottom_plates(wall)):
        yield _member("bottom plate", left, index * wall.plate_in, right, (index + 1) * wall.plate_in)
    points = TopLine.of(wall).points
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        # A plate that follows the rake is thicker measured upright.
        upright = wall.plate_in * math.hypot(x1 - x0, y1 - y0) / (x1 - x0)
        for index in range(top_plates(wall)):
            over, under = index * upright, (index + 1) * upright
            yield Member("top plate", ((x0, y0 - under), (x1, y1 - under), (x1, y1 - over), (x0, y0 - over)))


def _end_studs(wall: WallRecord, high: float) -> Iterable[Member]:
    left, right = framing_ends(wall)
    stud, pocket = wall.stud_in, wall.depth_in
    yield _member("stud", left, 0.0, left + stud, high)
    yield _member("stud", right - stud, 0.0, right, high)
    if wall.left_post is PostPattern.POCKET:
        yield _member("stud", left + stud + pocket, 0.0, left + 2 * stud + pocket, high)
    if wall.right_post is PostPattern.POCKET:
        yield _member("stud", right - 2 * stud - pocket, 0.0, right - stud - pocket, high)
    for tee in wall.tees:
        half = tee.pocket_in / 2
        yield _member("stud", tee.at_in - half - stud, 0.0, tee.at_in - half, high)
        yield _member("stud", tee.at_in + half, 0.0, tee.at_in + half + stud, high)


def stud_centres(wall: WallRecord) -> list[float]:
    r"""Centres of the studs between the end studs, before openings displace any: as found, else by spacing. [in]

    Parameters
    ----------
    wall : the wall as measured.

    Returns
    -------
    Centres from left to right. [in]

    Raises
    ------
    Nothing of its own.

    Notes
    -----
    .. math:: x_k = x_0 + k s, \quad k = 1, 2, \ldots

    References
    ----------
    .. [1] Layout from the left end: rule of this firm (FIELD).

    Examples
    --------
    >>> stud_centres(WallRecord(id="w", name="W", length_ft=4.0, height_ft=8.0))
    [16.0, 32.0]
    """
    if wall.studs_found_in:
        return [point.x_in for point in wall.studs_found_in]
    if wall.kind is SurfaceKind.RIM and wall.joists_parallel:
        return []
    left, right = framing_ends(wall)
    count = int((right - left - wall.stud_in) / wall.spacing_in)
    return [left + k * wall.spacing_in for k in range(1, count + 1)]


def _layout_studs(wall: WallRecord, high: float, openings: list[_Framed]) -> Iterable[Member]:
    left, right = framing_ends(wall)
    half = wall.stud_in / 2
    for centre in stud_centres(wall):
        start, end = centre - half, centre + half
        if start < left + wall.stud_in - 1e-9 or end > right - wall.stud_in + 1e-9:
            continue  # the end stud takes its place
        if not any(framed.displaces(start, end) for framed in openings):
            yield _member("stud", start, 0.0, end, high)


@dataclass(frozen=True, slots=True)
class _Framed:
    """An opening with what frames it: `king0..king1` over all, `jack0..jack1` between the kings."""

    record: OpeningRecord
    pocket: float
    king0: float
    jack0: float
    jack1: float
    king1: float

    @classmethod
    def of(cls, wall: WallRecord, record: OpeningRecord, sash_pocket_in: float) -> _Framed:
        pocket = record.sash_pocket_in
        if pocket is None:
            pocket = sash_pocket_in if record.kind is OpeningKind.DOUBLE_HUNG else 0.0
        inner0, inner1 = record.left_in - pocket, record.left_in + record.width_in + pocket
        jacks, stud = wall.jacks * wall.stud_in, wall.stud_in
        if record.kind is OpeningKind.OTHER:
            return cls(record, 0.0, inner0, inner0, inner1, inner1)
        return cls(record, pocket, inner0 - jacks - stud, inner0 - jacks, inner1 + jacks, inner1 + jacks + stud)

    @property
    def framed(self) -> bool:
        """A small hole such as a vent has no framing of its own."""
        return self.record.kind is not OpeningKind.OTHER

    @property
    def head(self) -> float:
        return self.record.bottom_in + self.record.height_in

    @property
    def inner(self) -> tuple[float, float]:
        return self.record.left_in - self.pocket, self.record.left_in + self.record.width_in + self.pocket

    @property
    def shape(self) -> Shape:
        r = self.record
        return rectangle(OPEN, r.left_in, r.bottom_in, r.left_in + r.width_in, self.head)

    @property
    def pockets(self) -> list[Shape]:
        if self.pocket <= 0:
            return []
        r, (a, b) = self.record, self.inner
        return [
            rectangle(NO_FILL, a, r.bottom_in, r.left_in, self.head),
            rectangle(NO_FILL, r.left_in + r.width_in, r.bottom_in, b, self.head),
        ]

    def displaces(self, start: float, end: float) -> bool:
        """Whether a layout stud would stand in a king or jack; between the jacks it becomes a cripple."""
        a, b = self.inner
        in_assembly = end > self.king0 + 1e-9 and start < self.king1 - 1e-9
        return self.framed and in_assembly and not (start >= a - 1e-9 and end <= b + 1e-9)

    def members(self, wall: WallRecord, high: float) -> Iterable[Member]:
        if not self.framed:
            return
        r, (a, b) = self.record, self.inner
        if r.header_in is None:
            header = next(depth for widest, depth in HEADER_BY_WIDTH_IN if r.width_in <= widest)
        else:
            header = r.header_in
        yield _member("king stud", self.king0, 0.0, self.jack0, high)
        yield _member("king stud", self.jack1, 0.0, self.king1, high)
        if wall.jacks:
            yield _member("jack stud", self.jack0, 0.0, a, self.head)
            yield _member("jack stud", b, 0.0, self.jack1, self.head)
        if header > 0:
            yield _member("header", self.jack0, self.head, self.jack1, self.head + header)
        if r.bottom_in > 0:
            yield _member("sill", a, max(0.0, r.bottom_in - wall.plate_in), b, r.bottom_in)


def _band(x0: float, y0: float, x1: float, y1: float, width: float) -> Polygon:
    """A board of given width along a centre line."""
    length = math.hypot(x1 - x0, y1 - y0) or 1.0
    dx, dy = -(y1 - y0) / length * width / 2, (x1 - x0) / length * width / 2
    return ((x0 - dx, y0 - dy), (x1 - dx, y1 - dy), (x1 + dx, y1 + dy), (x0 + dx, y0 + dy))
