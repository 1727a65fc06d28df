"""From a wall's record to its studs, bays and holes: the one geometry that everything else reads.

Sizes on the face of a wall are in inches from the outside corner at its left end and from its bottom. A *bay* here is
one closed pocket between framing members: what one set of holes fills. A wall without blocks has one bay between each
two studs, and one under and one over each opening.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from estimates.house import Closure, Framing, QuickWallRecord, WallRecord, framing_ends
from estimates.physics.members import NO_FILL, OPEN, SOLID, STRENGTH, Member, face_polygon, face_shapes
from estimates.physics.pockets import (
    DEFAULT_TOOL,
    IN2_PER_FT2,
    Bay,
    Hole,
    ToolRecord,
    find_pockets,
    hole_heights,
    make_bays,
)
from estimates.physics.sweep import Polygon, cut, polygon_area
from estimates.physics.validity import not_negative, positive, within

__all__ = [
    "DEFAULT_TOOL",
    "Bay",
    "Hole",
    "Member",
    "QuickCount",
    "ToolRecord",
    "WallLayout",
    "hole_heights",
    "lay_out",
    "quick_cavity_ft3",
    "quick_layout",
]

PLATE_IN = 1.5
"""Thickness of a plate where walls are known by a few figures only. [in] Usual lumber, from memory."""

NARROW_LAST_BAY_IN = 3.0
"""A last bay narrower than this is worth a warning: probe before drilling. [in] Common practice, no source."""


@dataclass(frozen=True, slots=True)
class QuickCount:
    """Bays, holes and volume of walls whose studs are not placed: counted by rule, not laid out."""

    bays: int
    holes_by_row: dict[int, int]
    volume_ft3: float


@dataclass(frozen=True, slots=True)
class WallLayout:
    """Studs, bays and holes of one wall.

    Areas on the face: gross = openings + framing + cavity + no-fill, to rounding; net = gross - openings.
    """

    wall_id: str
    left_in: float
    right_in: float
    face: Polygon
    members: tuple[Member, ...]
    openings: tuple[Polygon, ...]
    no_fill: tuple[Polygon, ...]
    bays: tuple[Bay, ...]
    gross_ft2: float
    opening_ft2: float
    framing_ft2: float
    cavity_ft2: float
    no_fill_ft2: float
    escapes: tuple[str, ...]
    warnings: tuple[str, ...]
    quick: QuickCount | None = None

    @property
    def bay_count(self) -> int:
        """Bays laid out, or counted by rule."""
        return len(self.bays) if self.quick is None else self.quick.bays

    @property
    def net_ft2(self) -> float:
        """Wall less its openings. [ft2]"""
        return self.gross_ft2 - self.opening_ft2

    @property
    def framing_fraction(self) -> float:
        """Framing as laid out, share of the net wall. [1]"""
        return self.framing_ft2 / self.net_ft2 if self.net_ft2 > 0 else 0.0

    @property
    def volume_ft3(self) -> float:
        """Empty volume of the bays that can be reached. [ft3]"""
        if self.quick is not None:
            return self.quick.volume_ft3
        return math.fsum(bay.volume_ft3 for bay in self.bays if bay.reachable)

    @property
    def hole_count(self) -> int:
        """Holes to drill."""
        return sum(self.holes_by_row().values())

    def holes_by_row(self) -> dict[int, int]:
        """Row -> number of holes; row 1 is the lowest of its bay."""
        if self.quick is not None:
            return dict(self.quick.holes_by_row)
        rows: dict[int, int] = {}
        for bay in self.bays:
            for hole in bay.holes:
                rows[hole.row] = rows.get(hole.row, 0) + 1
        return dict(sorted(rows.items()))


def lay_out(wall: WallRecord, tool: ToolRecord = DEFAULT_TOOL, *, sash_pocket_in: float = 0.0) -> WallLayout:
    """Lay out every stud, bay and hole of a wall.

    Parameters
    ----------
    wall : the wall as measured.
    tool : nozzle and reach, which place the holes. [in]
    sash_pocket_in : width of pockets beside a double-hung window that does not record its own. [in]

    Returns
    -------
    WallLayout; things to look at on site in `warnings`, openings for foam to escape in `escapes`.

    Raises
    ------
    OutOfRange : a length of the wall is not a finite number above 0, the pocket is negative. A wall read through
        `estimates.house` is within its limits already.

    Notes
    -----
    End studs stand flush with the framing's ends; layout studs are centred at k x spacing from its left end, so that
    at 16 in the first bay is 13.75 in clear and later ones 14.5 in. The last bay is the remainder. An opening has
    jacks, king studs, a sill and a header; layout studs between its jacks become cripples, those that would stand in
    its kings or jacks are left out. Gaps under 1 in count as framing. Where shapes overlap, an opening wins over
    framing, framing over a no-fill zone, a zone over the cavity.

    Validity: upright or sloping flat faces with one peak at most, openings inside the face.

    References
    ----------
    .. [1] Datum, corners and remainder: rules of this firm (FIELD), derived checks in tests/reference/test_framing.py.

    Examples
    --------
    >>> wall = WallRecord(id="w", name="North", length_ft=8.0, height_ft=8.09375)
    >>> plain = lay_out(wall)
    >>> [bay.clear_width_in for bay in plain.bays]
    [13.75, 14.5, 14.5, 14.5, 14.5, 13.75]
    >>> round(plain.bays[1].volume_ft3, 4)
    2.7203
    """
    for name in ("length_ft", "height_ft", "spacing_in", "depth_in", "stud_in", "plate_in"):
        positive(name, float(getattr(wall, name)))
    shapes, members, warnings = face_shapes(wall, float(not_negative("sash_pocket_in", sash_pocket_in)))
    face = face_polygon(wall)
    parts = cut(face, shapes, STRENGTH)
    groups, slivers = find_pockets(parts)
    bays = make_bays(wall, tool, groups)
    areas: dict[str, list[float]] = {kind: [] for kind in (*STRENGTH, "")}
    for part in parts:
        areas[part.kind].append(part.area)
    by_kind = {kind: math.fsum(found) / IN2_PER_FT2 for kind, found in areas.items()}
    packed = math.fsum(p.area for group in slivers for p in group) / IN2_PER_FT2
    left, right = framing_ends(wall)
    warnings += _bay_warnings(wall, bays)
    return WallLayout(
        wall_id=wall.id,
        left_in=left,
        right_in=right,
        face=face,
        members=tuple(members),
        openings=tuple(shape.polygon for shape in shapes if shape.kind == OPEN),
        no_fill=tuple(shape.polygon for shape in shapes if shape.kind == NO_FILL),
        bays=bays,
        gross_ft2=polygon_area(face) / IN2_PER_FT2,
        opening_ft2=by_kind[OPEN],
        framing_ft2=by_kind[SOLID] + packed,
        cavity_ft2=by_kind[""] - packed,
        no_fill_ft2=by_kind[NO_FILL],
        escapes=_escapes(wall),
        warnings=tuple(warnings),
    )


def quick_layout(quick: QuickWallRecord, tool: ToolRecord = DEFAULT_TOOL) -> WallLayout:
    """Areas, bays and holes of walls that are known by a few figures only.

    Parameters
    ----------
    quick : perimeter, storeys, heights and shares.
    tool : nozzle and reach, which give the rows of holes. [in]

    Returns
    -------
    WallLayout without placed bays; its `quick` holds the counts.

    Raises
    ------
    OutOfRange : a storey with no room between its plates.

    Notes
    -----
    gross = perimeter x height x storeys; net = gross (1 - w); cavity = net (1 - f). Bays of a storey =
    ceil((1 - w) perimeter / spacing); each has the rows of holes of a full-height bay between three plates.

    References
    ----------
    .. [1] Holes = rows x bays: rule of this firm, common practice; framing shares as in `quick_cavity_ft3`.

    Examples
    --------
    >>> quick = QuickWallRecord(id="q", name="All", perimeter_ft=100.0, storeys=1, storey_height_ft=8.0)
    >>> layout = quick_layout(quick)
    >>> layout.net_ft2, round(layout.volume_ft3, 2), layout.bay_count, layout.hole_count
    (680.0, 148.75, 64, 192)
    """
    width, height = quick.perimeter_ft * 12.0, quick.storey_height_ft * 12.0
    gross = quick.perimeter_ft * quick.storey_height_ft * quick.storeys
    net = gross * (1.0 - quick.window_share)
    rows = len(hole_heights(PLATE_IN, float(positive("storey_height_ft", height - 2 * PLATE_IN)), tool))
    bays = quick.storeys * math.ceil((1.0 - quick.window_share) * width / quick.spacing_in - 1e-9)
    face = ((0.0, 0.0), (width, 0.0), (width, height * quick.storeys), (0.0, height * quick.storeys))
    return WallLayout(
        wall_id=quick.id,
        left_in=0.0,
        right_in=width,
        face=face,
        members=(),
        openings=(),
        no_fill=(),
        bays=(),
        gross_ft2=gross,
        opening_ft2=gross - net,
        framing_ft2=net * quick.framing_share,
        cavity_ft2=net * (1.0 - quick.framing_share),
        no_fill_ft2=0.0,
        escapes=(),
        warnings=("By a few figures only: measure wall by wall before the work is fixed.",),
        quick=QuickCount(
            bays=bays,
            holes_by_row=dict.fromkeys(range(1, rows + 1), bays),
            volume_ft3=float(quick_cavity_ft3(net, quick.framing_share, quick.depth_in)),
        ),
    )


def quick_cavity_ft3(net_ft2: float, framing_fraction: float, depth_in: float) -> float:
    """Cavity volume of a wall whose openings and studs are not placed.

    Parameters
    ----------
    net_ft2 : wall less openings, >= 0. [ft2]
    framing_fraction : share of the net wall that is framing, 0 to 1. [1]
    depth_in : cavity depth, > 0. [in]

    Returns
    -------
    Volume. [ft3]

    Raises
    ------
    OutOfRange : an argument outside the limits above.

    Notes
    -----
    .. math:: V = A_{net} (1 - f) d / 12

    A layout that counts bays must not use a framing fraction again.

    References
    ----------
    .. [1] Framing shares 25 % (16 in) and 22 % (24 in): ASHRAE, as repeated in public notes.

    Examples
    --------
    >>> quick_cavity_ft3(1.0, 0.25, 3.5)
    0.21875
    """
    net = not_negative("net_ft2", net_ft2)
    share = within("framing_fraction", framing_fraction, 0.0, 1.0)
    return net * (1.0 - share) * positive("depth_in", depth_in) / 12.0  # type: ignore[return-value]


def _bay_warnings(wall: WallRecord, bays: tuple[Bay, ...]) -> list[str]:
    warnings = []
    if bays and bays[-1].clear_width_in < NARROW_LAST_BAY_IN:
        warnings.append(f"Last bay is only {bays[-1].clear_width_in:.2f} in wide; probe before drilling.")
    unreachable = [bay for bay in bays if not bay.reachable]
    if unreachable:
        share = math.fsum(bay.area_ft2 for bay in unreachable)
        pockets = "1 pocket" if len(unreachable) == 1 else f"{len(unreachable)} pockets"
        warnings.append(
            f"{pockets} cannot be reached ({share:.1f} ft2): "
            + ", ".join(sorted({bay.reason for bay in unreachable}))
            + "."
        )
    if wall.blocks or any(line.closure is Closure.FIRE_STOPPED for line in wall.floor_lines):
        warnings.append("Blocks part the bays: more holes than in a plain wall.")
    if not bays:
        warnings.append("No bay to fill.")
    return warnings


def _escapes(wall: WallRecord) -> tuple[str, ...]:
    """Open ends through which foam would run away; each must be closed before the wall is injected."""
    if wall.framing is not Framing.BALLOON:
        return ()
    found = [f"floor line {line.id}" for line in wall.floor_lines if line.closure is Closure.OPEN]
    found += ["sill"] if wall.sill is Closure.OPEN else []
    found += ["top"] if wall.top is Closure.OPEN else []
    return tuple(found)
