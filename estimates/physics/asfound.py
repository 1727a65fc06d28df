"""A wall as the crew found it: edits applied to its layout, without renumbering what is already known.

Balance, receipt and infrared read the wall as found; the estimate keeps its own layout, and the two are compared.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from estimates.house import AsFoundRecord, PointRecord, WallRecord
from estimates.physics.framing import DEFAULT_TOOL, Bay, Hole, ToolRecord, WallLayout, lay_out
from estimates.physics.members import stud_centres
from estimates.physics.sweep import Polygon
from estimates.physics.validity import OutOfRange

SAME_STUD_IN = 0.75
"""A stud named by the crew is the laid-out one within half a stud. [in] Common practice, no source."""

SAME_BAY_SHARE = 0.6
"""Two bays are one when this share of their joint area is common. [1] CP; at half, a split bay would have two heirs."""


@dataclass(frozen=True, slots=True)
class FoundLayout:
    """A wall as found: layout with the old bay numbers kept, numbers that are new, numbers that are gone."""

    layout: WallLayout
    added: tuple[int, ...]
    retired: tuple[int, ...]


def as_found(
    wall: WallRecord, found: AsFoundRecord, tool: ToolRecord = DEFAULT_TOOL, *, sash_pocket_in: float = 0.0
) -> FoundLayout:
    """Lay a wall out as it was found.

    Parameters
    ----------
    wall : the wall as measured for the estimate.
    found : what differs. Bay numbers are those of the estimate's layout.
    tool, sash_pocket_in : as for `lay_out`. [in]

    Returns
    -------
    FoundLayout. A bay keeps its number where at least 60 % of the joint area of old and new is common, so that moving
    a stud by an inch renumbers nothing; others take the next free numbers; numbers without an heir are retired.

    Raises
    ------
    OutOfRange : a stud to move, a bay or a hole that the layout does not have; a new hole outside its bay.

    Notes
    -----
    Depth scales the volume of a bay, let-in boards taking the same share. Areas add up as in `lay_out`.

    References
    ----------
    .. [1] Rules of the firm (FIELD, as found); properties checked in tests/reference/test_asfound.py.

    Examples
    --------
    >>> wall = WallRecord(id="w", name="North", length_ft=8.0, height_ft=8.0)
    >>> split = as_found(wall, AsFoundRecord(studs_added=(PointRecord(x_in=40.0, y_in=0.0),)))
    >>> split.added, split.retired, [bay.number for bay in split.layout.bays]
    ((7, 8), (3,), [1, 2, 7, 8, 4, 5, 6])
    """
    before = lay_out(wall, tool, sash_pocket_in=sash_pocket_in)
    changed = _changed(wall, found)
    after = lay_out(changed, tool, sash_pocket_in=sash_pocket_in)
    bays = [_deepened(bay, changed, found) for bay in _with_holes(list(_numbered(before, after)), found)]
    for index, row in enumerate(found.bay_depths):
        _bay({bay.number: bay for bay in bays}, row.bay, f"bay_depths[{index}].bay")
    numbers = {bay.number for bay in bays}
    known = {bay.number for bay in before.bays}
    return FoundLayout(
        layout=replace(after, bays=tuple(bays)),
        added=tuple(sorted(numbers - known)),
        retired=tuple(sorted(known - numbers)),
    )


def _changed(wall: WallRecord, found: AsFoundRecord) -> WallRecord:
    """The record with studs, blocks and depth as found; depths of single bays and holes have no place in a record."""
    return replace(
        wall,
        studs_found_in=_studs(wall, found),
        blocks=wall.blocks + found.blocks_added,
        depth_in=wall.depth_in if found.depth_in is None else found.depth_in,
        # A deeper probe moves no corner: the framing keeps the length it was measured with.
        through_depth_in=wall.depth_in if wall.through_depth_in is None else wall.through_depth_in,
    )


def found_record(
    wall: WallRecord, found: AsFoundRecord, tool: ToolRecord = DEFAULT_TOOL, *, sash_pocket_in: float = 0.0
) -> WallRecord:
    r"""A wall as found in the form in which it was measured, so that it can be counted and priced once more.

    Parameters
    ----------
    wall, found, tool, sash_pocket_in : as for `as_found`. [in]

    Returns
    -------
    WallRecord with the studs, blocks and depth that were found. Depths of single bays become one depth of the wall that
    gives the same room; holes added or skipped change no record.

    Raises
    ------
    OutOfRange : as for `as_found`.

    Notes
    -----
    .. math:: d = d_{wall} \frac{\sum_i V_i}{\sum_i V_{i,wall}}

    with the volume of each bay at its own depth and at that of the wall.

    References
    ----------
    .. [1] Rules of the firm (FIELD, as found); checked in tests/jobs/test_change_effect.py.

    Examples
    --------
    >>> wall = WallRecord(id="w", name="North", length_ft=8.0, height_ft=8.0, depth_in=4.0)
    >>> found_record(wall, AsFoundRecord(depth_in=3.5)).depth_in
    3.5
    """
    changed = _changed(wall, found)
    if not found.bay_depths:
        return changed
    level = sum(bay.volume_ft3 for bay in lay_out(changed, tool, sash_pocket_in=sash_pocket_in).bays)
    room = sum(bay.volume_ft3 for bay in as_found(wall, found, tool, sash_pocket_in=sash_pocket_in).layout.bays)
    return replace(changed, depth_in=changed.depth_in * room / level) if level > 0 else changed


def _studs(wall: WallRecord, found: AsFoundRecord) -> tuple[PointRecord, ...]:
    if not (found.studs_moved or found.studs_added):
        return wall.studs_found_in
    centres = stud_centres(wall)
    for move in found.studs_moved:
        nearest = min(centres, key=lambda x: abs(x - move.from_in), default=math.inf)
        if abs(nearest - move.from_in) > SAME_STUD_IN:
            raise OutOfRange("studs_moved.from_in", move.from_in, "the centre of a stud that is laid out")
        centres[centres.index(nearest)] = move.to_in
    centres += [point.x_in for point in found.studs_added]
    return tuple(PointRecord(x_in=x, y_in=0.0) for x in sorted(centres))


def _numbered(before: WallLayout, after: WallLayout) -> Iterable[Bay]:
    """New bays with the number of the old bay they still are, or the next free one."""
    free = max((bay.number for bay in before.bays), default=0) + 1
    taken: set[int] = set()
    for bay in after.bays:
        likeness, number = max(
            ((_likeness(old, bay), old.number) for old in before.bays if old.number not in taken), default=(0.0, 0)
        )
        if likeness >= SAME_BAY_SHARE:
            taken.add(number)
            yield replace(bay, number=number)
        else:
            yield replace(bay, number=free)
            free += 1


def _likeness(one: Bay, other: Bay) -> float:
    """Area that the boxes round two bays share over the area they cover together. [1]"""
    wide = min(one.right_in, other.right_in) - max(one.left_in, other.left_in)
    tall = min(one.top_in, other.top_in) - max(one.bottom_in, other.bottom_in)
    if wide <= 0 or tall <= 0:
        return 0.0
    boxes = [(bay.right_in - bay.left_in) * (bay.top_in - bay.bottom_in) for bay in (one, other)]
    return wide * tall / (sum(boxes) - wide * tall)


def _with_holes(bays: list[Bay], found: AsFoundRecord) -> list[Bay]:
    """Bays with the crew's holes added and the skipped ones gone."""
    by_number = {bay.number: bay for bay in bays}
    for index, skipped in enumerate(found.holes_skipped):
        bay = _bay(by_number, skipped.bay, f"holes_skipped[{index}].bay")
        kept = tuple(hole for hole in bay.holes if (hole.column, hole.row) != (skipped.column, skipped.row))
        if len(kept) == len(bay.holes):
            raise OutOfRange(f"holes_skipped[{index}].row", skipped.row, f"a hole that bay {bay.number} has")
        by_number[bay.number] = replace(bay, holes=kept)
    for index, added in enumerate(found.holes_added):
        bay = _bay(by_number, added.bay, f"holes_added[{index}].bay")
        if not any(_inside(piece.polygon, added.x_in, added.y_in) for piece in bay.pieces):
            raise OutOfRange(f"holes_added[{index}].x_in", added.x_in, f"a place in bay {bay.number}")
        last = max((hole.row for hole in bay.holes), default=0)
        # A bay with a hole can be reached, whatever the drawing said.
        by_number[bay.number] = replace(
            bay, holes=(*bay.holes, Hole(added.x_in, added.y_in, 1, last + 1)), reachable=True, reason=""
        )
    return list(by_number.values())


def _deepened(bay: Bay, wall: WallRecord, found: AsFoundRecord) -> Bay:
    depth = next((row.depth_in for row in found.bay_depths if row.bay == bay.number), None)
    return bay if depth is None else replace(bay, volume_ft3=bay.volume_ft3 * depth / wall.depth_in)


def _bay(by_number: dict[int, Bay], number: int, path: str) -> Bay:
    if number not in by_number:
        raise OutOfRange(path, number, f"one of the bays {', '.join(map(str, sorted(by_number)))}")
    return by_number[number]


def _inside(corners: Polygon, x: float, y: float) -> bool:
    """Whether a point lies in a convex polygon given counter-clockwise, its boundary included."""
    turns = (
        (x1 - x0) * (y - y0) - (y1 - y0) * (x - x0)
        for (x0, y0), (x1, y1) in zip(corners, corners[1:] + corners[:1], strict=True)
    )
    return all(turn >= -1e-6 for turn in turns)
