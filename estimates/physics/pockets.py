"""The pockets between framing members - the bays - and the holes through which they are filled."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from estimates.house import BraceKind, Closure, PostPattern, WallRecord, framing_ends
from estimates.physics.members import PARTING, RIBBON_IN, SHALLOW
from estimates.physics.pieces import outline, touching
from estimates.physics.sweep import NEAR, Polygon, Trapezoid
from estimates.physics.validity import not_negative, positive

IN2_PER_FT2 = 144.0
IN3_PER_FT3 = 1728.0

LEAST_BAY_IN = 1.0
"""A gap narrower or lower than this is no bay: it counts as framing. [in] Common practice, no source."""

LEAST_MEAN_IN = 0.5
"""Nor is a wedge whose area over its diagonal is less than this. [in] Common practice, no source."""


@dataclass(frozen=True, slots=True)
class ToolRecord:
    """Nozzle and the reach of the foam from a hole. Defaults are common practice, no source; a crew sets its own."""

    diameter_in: float = 2.0
    reach_up_in: float = 24.0
    reach_down_in: float = 30.0
    width_reach_in: float = 24.0
    top_offset_in: float = 6.0
    least_height_in: float = 6.0
    below_rake_in: float = 6.0

    def __post_init__(self) -> None:
        """Refuse a reach that reaches nowhere.

        Raises
        ------
        OutOfRange : a length is not finite, negative, or 0 where the next hole or column would never come.
        """
        for name in ("diameter_in", "reach_up_in", "reach_down_in", "width_reach_in"):
            positive(name, float(getattr(self, name)))
        for name in ("top_offset_in", "least_height_in", "below_rake_in"):
            not_negative(name, float(getattr(self, name)))


DEFAULT_TOOL = ToolRecord()


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole to drill: its centre, its column and row in the bay, lowest row first (rows above witness the fill)."""

    x_in: float
    y_in: float
    column: int
    row: int


@dataclass(frozen=True, slots=True)
class Bay:
    """One closed pocket. `pieces` are its trapezoids, `outline` its boundary; volume is of the empty cavity."""

    number: int
    stud_bay: int
    place: str
    pieces: tuple[Trapezoid, ...]
    outline: Polygon
    left_in: float
    right_in: float
    bottom_in: float
    top_in: float
    area_ft2: float
    volume_ft3: float
    reachable: bool
    reason: str
    holes: tuple[Hole, ...]

    @property
    def clear_width_in(self) -> float:
        """Widest clear width between its members. [in]"""
        return self.right_in - self.left_in


def _joins(one: Trapezoid, other: Trapezoid) -> bool:
    """Cavity joins cavity; a brace that may part the bay stays with the pocket below it."""
    upright = one.strip == other.strip
    parted = PARTING in one.kinds
    if upright:
        return not parted
    return parted == (PARTING in other.kinds)


def find_pockets(parts: Sequence[Trapezoid]) -> tuple[list[list[Trapezoid]], list[list[Trapezoid]]]:
    """Closed pockets, and gaps too small to be one.

    Parameters
    ----------
    parts : trapezoids of a wall's face, from `estimates.physics.sweep.cut`. [in]

    Returns
    -------
    Pockets, and gaps too small to be one; each a list of trapezoids.

    Raises
    ------
    Nothing of its own.

    Notes
    -----
    Cavity that touches along more than a point is one pocket, unless a brace parts it.

    References
    ----------
    .. [1] Least sizes: common practice, no source.

    Examples
    --------
    >>> from estimates.physics.sweep import cut
    >>> pockets, gaps = find_pockets(cut(((0, 0), (10, 0), (10, 10), (0, 10)), [], ()))
    >>> len(pockets), len(gaps)
    (1, 0)
    """
    cavity = [part for part in parts if part.kind == ""]
    pockets: list[list[Trapezoid]] = []
    slivers: list[list[Trapezoid]] = []
    for group in touching(cavity, _joins):
        left, right, bottom, top = _bounds(group)
        wide, tall = right - left, top - bottom
        mean = math.fsum([p.area for p in group]) / math.hypot(wide, tall)
        is_bay = min(wide, tall) >= LEAST_BAY_IN - 1e-9 and mean >= LEAST_MEAN_IN
        (pockets if is_bay else slivers).append(group)
    return pockets, slivers


def make_bays(wall: WallRecord, tool: ToolRecord, groups: list[list[Trapezoid]]) -> tuple[Bay, ...]:
    r"""Bays with their holes, numbered from left to right and from bottom to top.

    Parameters
    ----------
    wall : the wall as measured.
    tool : nozzle and reach. [in]
    groups : pockets from `find_pockets`.

    Returns
    -------
    Bays in the order of their numbers.

    Raises
    ------
    Nothing of its own.

    Notes
    -----
    .. math:: V = \sum_i A_i (d - t_i)

    over the pieces of a bay, with t_i what a let-in board takes.

    References
    ----------
    .. [1] Holes: `hole_heights`; numbering: rule of this firm.

    Examples
    --------
    >>> from estimates.physics.sweep import cut
    >>> wall = WallRecord(id="w", name="W", length_ft=2.0, height_ft=8.0)
    >>> pockets, _ = find_pockets(cut(((0, 0), (14.5, 0), (14.5, 90), (0, 90)), [], ()))
    >>> [len(bay.holes) for bay in make_bays(wall, DEFAULT_TOOL, pockets)]
    [2]
    """
    behind = _unreachable_lines(wall)
    return tuple(_bay(wall, tool, number, *found, behind) for number, found in enumerate(_numbered(groups), 1))


_Bounds = tuple[float, float, float, float]


def _bounds(group: Sequence[Trapezoid]) -> _Bounds:
    """Left, right, bottom and top of what the pieces cover."""
    if len(group) == 1:  # most bays of most walls
        _, x0, x1, low0, low1, high0, high1, _, _ = group[0]
        return x0, x1, min(low0, low1), max(high0, high1)
    return (
        min([p.x0 for p in group]),
        max([p.x1 for p in group]),
        min([min(p.low0, p.low1) for p in group]),
        max([max(p.high0, p.high1) for p in group]),
    )


def _numbered(groups: list[list[Trapezoid]]) -> Iterable[tuple[list[Trapezoid], _Bounds, int, int, int]]:
    """Pockets from left to right, then upward, each with its bounds, stud bay, place in it and how many share it."""
    boxed = sorted([(_bounds(group), group) for group in groups], key=lambda box: (box[0][0], box[0][2]))
    columns: list[list[tuple[_Bounds, list[Trapezoid]]]] = []
    reach = -math.inf
    for box in boxed:
        left, right, _, _ = box[0]
        # Pockets over and under an opening begin at a king or a jack: one stud bay as long as they overlap.
        if left < reach - LEAST_BAY_IN:
            columns[-1].append(box)
            reach = min(reach, right)
        else:
            columns.append([box])
            reach = right
    for stud_bay, pockets in enumerate(columns, 1):
        upward = sorted(pockets, key=lambda box: box[0][2])
        for place, (bounds, group) in enumerate(upward, 1):
            yield group, bounds, stud_bay, place, len(pockets)


def _bay(
    wall: WallRecord,
    tool: ToolRecord,
    number: int,
    group: list[Trapezoid],
    bounds: _Bounds,
    stud_bay: int,
    place: int,
    sharing: int,
    pocket_lines: list[tuple[float, float, str]],
) -> Bay:
    pieces = tuple(group)
    left, right, bottom, top = bounds
    areas = [piece.area for piece in pieces]
    volume = math.fsum([area * (wall.depth_in - _shallower(wall, p)) for area, p in zip(areas, pieces, strict=True)])
    reason = next((why for x0, x1, why in pocket_lines if left >= x0 - 1e-6 and right <= x1 + 1e-6), "")
    if not reason and min(right - left, top - bottom) < tool.diameter_in:
        reason = f"narrower than the {tool.diameter_in:g} in hole"
    return Bay(
        number=number,
        stud_bay=stud_bay,
        place=_place(wall, left, right, bottom, top, place, sharing),
        pieces=pieces,
        outline=outline(pieces),
        left_in=left,
        right_in=right,
        bottom_in=bottom,
        top_in=top,
        area_ft2=math.fsum(areas) / IN2_PER_FT2,
        volume_ft3=volume / IN3_PER_FT3,
        reachable=not reason,
        reason=reason,
        holes=() if reason else tuple(_holes(pieces, left, right, tool)),
    )


_BOARDS = frozenset((SHALLOW, PARTING))


def _shallower(wall: WallRecord, piece: Trapezoid) -> float:
    """How much a let-in board takes from the depth of a piece. [in]"""
    if _BOARDS.isdisjoint(piece.kinds):
        return 0.0
    boards = [brace.thickness_in for brace in wall.braces if brace.kind is not BraceKind.CUT_IN]
    boards += [RIBBON_IN[1] for line in wall.floor_lines if line.closure is Closure.RIBBON]
    return min(max(boards), wall.depth_in)


def _place(wall: WallRecord, left: float, right: float, bottom: float, top: float, place: int, sharing: int) -> str:
    for opening in wall.openings:
        overlap = min(right, opening.left_in + opening.width_in) - max(left, opening.left_in)
        if overlap > 0:
            if top <= opening.bottom_in + 1e-6:
                return f"under {opening.id}"
            if bottom >= opening.bottom_in + opening.height_in - 1e-6:
                return f"over {opening.id}"
    return "" if sharing == 1 else f"part {place} of {sharing}"


def _holes(pieces: tuple[Trapezoid, ...], left: float, right: float, tool: ToolRecord) -> Iterable[Hole]:
    columns = max(1, math.ceil((right - left) / tool.width_reach_in - 1e-9))
    for column in range(1, columns + 1):
        x = left + (right - left) * (column - 0.5) / columns
        # A zone in the way leaves a run below and a run above it; each gets its own holes.
        runs = _free_runs(pieces, x - tool.diameter_in / 2, x + tool.diameter_in / 2)
        heights = [y for run in runs for y in hole_heights(run.low, run.high, tool, sloped=run.sloped)]
        for row, y in enumerate(heights, 1):
            yield Hole(x, y, column, row)
        if not heights:
            # A wedge in which no full hole fits: one at its middle, where it is largest.
            largest = max(pieces, key=lambda piece: piece.area)
            x = (largest.x0 + largest.x1) / 2
            yield Hole(x, (largest.low0 + largest.low1 + largest.high0 + largest.high1) / 4, column, 1)


def hole_heights(
    bottom_in: float, top_in: float, tool: ToolRecord = DEFAULT_TOOL, *, sloped: bool = False
) -> list[float]:
    """Heights of the holes in one column of a pocket, lowest first.

    Parameters
    ----------
    bottom_in, top_in : lowest and highest point of the pocket at the column, top > bottom. [in]
    tool : nozzle and reach. [in]
    sloped : the top is a rake, so the last hole keeps its distance below it.

    Returns
    -------
    Heights above the bottom of the wall. [in]

    Raises
    ------
    ValueError : the top is not above the bottom.

    Notes
    -----
    The lowest hole stands at bottom + reach down, the last within the top offset of the top, those between at most
    reach up + reach down apart, evenly. A pocket lower than the least height has one hole in its middle; one in which
    the lowest hole would already be within the top offset has that hole alone. Two holes keep two diameters between
    their centres, the lower one giving way.

    References
    ----------
    .. [1] Common practice, no source: fill from the lowest hole until material shows at the one above.

    Examples
    --------
    >>> hole_heights(1.5, 94.125)
    [31.5, 59.8125, 88.125]
    >>> hole_heights(0.0, 5.0)
    [2.5]
    """
    tall = top_in - bottom_in
    if not tall > 0:
        raise ValueError(f"top_in {top_in:g} is not above bottom_in {bottom_in:g}; enter a pocket with a height")
    if tall < tool.least_height_in:
        return [bottom_in + tall / 2]
    offset = max(tool.top_offset_in, tool.below_rake_in) if sloped else tool.top_offset_in
    first, last = bottom_in + tool.reach_down_in, top_in - min(offset, tall / 2)
    if first >= last:
        return [last]
    first = min(first, last - 2 * tool.diameter_in)
    gaps = math.ceil((last - first) / (tool.reach_up_in + tool.reach_down_in) - 1e-9)
    return [first + (last - first) * step / gaps for step in range(gaps + 1)]


class _Run(NamedTuple):
    """An upright stretch of a pocket that is free over the whole width of a hole."""

    low: float
    high: float
    sloped: bool


def _free_runs(pieces: tuple[Trapezoid, ...], start: float, end: float) -> list[_Run]:
    """Upright stretches that are free from `start` to `end`, lowest first."""
    if len(pieces) == 1:  # most bays of most walls
        piece = pieces[0]
        if piece.x0 > start + NEAR or min(piece.x1, end) - max(piece.x0, start) <= NEAR:
            return []
        run = _level_run(piece, start, end)
        return [run] if run.high - run.low > NEAR else []
    strips: dict[int, list[Trapezoid]] = {}
    for piece in sorted(pieces, key=lambda p: (p.strip, p.low0 + p.low1)):
        if min(piece.x1, end) - max(piece.x0, start) <= NEAR:
            continue
        stack = strips.setdefault(piece.strip, [])
        if stack and max(abs(stack[-1].high0 - piece.low0), abs(stack[-1].high1 - piece.low1)) <= NEAR:
            stack[-1] = stack[-1]._replace(high0=piece.high0, high1=piece.high1)
        else:
            stack.append(piece)
    if not strips or min(t[0].x0 for t in strips.values()) > start + NEAR:
        return []
    free: list[_Run] | None = None
    for stack in strips.values():
        here = [_level_run(piece, start, end) for piece in stack]
        if free is not None:
            here = [_Run(max(a.low, b.low), min(a.high, b.high), a.sloped or b.sloped) for a in free for b in here]
        free = [run for run in here if run.high - run.low > NEAR]
    return sorted(free or [], key=lambda run: run.low)


def _level_run(piece: Trapezoid, start: float, end: float) -> _Run:
    """The part of a trapezoid that is free over the whole of its overlap with `start` to `end`."""
    if piece.low0 == piece.low1 and piece.high0 == piece.high1:
        return _Run(piece.low0, piece.high0, sloped=False)
    ends = [(x - piece.x0) / (piece.x1 - piece.x0) for x in (max(piece.x0, start), min(piece.x1, end))]
    low = max(piece.low0 + (piece.low1 - piece.low0) * share for share in ends)
    high = min(piece.high0 + (piece.high1 - piece.high0) * share for share in ends)
    return _Run(low, high, piece.high0 != piece.high1)


def _unreachable_lines(wall: WallRecord) -> list[tuple[float, float, str]]:
    left, right = framing_ends(wall)
    stud, pocket = wall.stud_in, wall.depth_in
    lines = [(t.at_in - t.pocket_in / 2, t.at_in + t.pocket_in / 2, f"behind partition {t.id}") for t in wall.tees]
    if wall.left_post is PostPattern.POCKET:
        lines.append((left + stud, left + stud + pocket, "behind the corner post"))
    if wall.right_post is PostPattern.POCKET:
        lines.append((right - stud - pocket, right - stud, "behind the corner post"))
    return lines
