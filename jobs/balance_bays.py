"""Bays of the balance from a wall as found: volumes, heights, and the ends through which foam may have gone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from estimates.house import BraceKind, Closure, Framing, WallRecord
from estimates.linework import BayState
from estimates.physics.framing import Bay, WallLayout
from estimates.physics.validity import OutOfRange, positive, within
from jobs.balance_records import BayFill

NEAR_IN = 3.0
"""A bay whose end lies so close to a sill, a top or a floor line touches it. [in] Two plates; common practice (CP)."""


def bay_fills(
    wall: WallRecord,
    layout: WallLayout,
    states: Mapping[int, BayState],
    *,
    room_share: float = 1.0,
    depth_sd_share: float = 0.03,
    returns_in: Mapping[int, float] | None = None,
) -> tuple[BayFill, ...]:
    """Bays of one wall as the balance takes them.

    Parameters
    ----------
    wall, layout : the wall and its layout, both as found.
    states : state of each bay by its number; a bay not named is left out.
    room_share : share of the cavity that old insulation leaves for foam, above 0 to 1. [1]
    depth_sd_share : standard error of the depth, as `depth_sd_share` has it, 0 to 1. [1]
    returns_in : number of a bay -> highest hole at which material showed. [in]

    Returns
    -------
    Every bay. Open ends, and those that we closed ourselves, stand with the bays that touch them.

    Raises
    ------
    OutOfRange : a share outside its limits, a state or a return of a bay that the wall does not have.

    Notes
    -----
    A let-in or unknown brace is a height at which a bay may be parted; blocks part bays already.

    References
    ----------
    .. [1] Rules of the firm (FIELD, fill and surfaces).

    Examples
    --------
    >>> from estimates.physics.framing import lay_out
    >>> wall = WallRecord(id="n", name="North", length_ft=8.0, height_ft=8.0)
    >>> found = lay_out(wall)
    >>> first = bay_fills(wall, found, {1: BayState.FILLED}, room_share=0.9)[0]
    >>> round(first.fill_ft3 / found.bays[0].volume_ft3, 3), first.state.value, first.ways_out
    (0.9, 'filled', ())
    """
    share = float(positive("room_share", within("room_share", room_share, 0.0, 1.0)))
    sd = float(within("depth_sd_share", depth_sd_share, 0.0, 1.0))
    seen = dict(returns_in or {})
    numbers = {bay.number for bay in layout.bays}
    for name, named in (("states", states), ("returns_in", seen)):
        for number in named:
            if number not in numbers:
                raise OutOfRange(name, f"bay {number}", f"bays that wall {wall.id} has")
    return tuple(
        BayFill(
            wall_id=wall.id,
            number=bay.number,
            fill_ft3=bay.volume_ft3 * share,
            sd_ft3=bay.volume_ft3 * share * sd,
            state=BayState(states.get(bay.number, BayState.LEFT_OUT)),
            reachable=bay.reachable,
            bottom_in=bay.bottom_in,
            top_in=bay.top_in,
            holes_in=tuple(sorted(hole.y_in for hole in bay.holes)),
            hidden_in=tuple(_braces(wall, bay)),
            return_at_in=seen.get(bay.number),
            ways_out=tuple(_ways_out(wall, layout, bay)),
        )
        for bay in layout.bays
    )


def _braces(wall: WallRecord, bay: Bay) -> Iterable[float]:
    """Heights at which braces cross the middle of a bay without parting it for certain. [in]"""
    middle = (bay.left_in + bay.right_in) / 2.0
    for brace in wall.braces:
        low, high = sorted((brace.from_x_in, brace.to_x_in))
        if brace.kind is BraceKind.CUT_IN or not low <= middle <= high or low == high:
            continue
        share = (middle - brace.from_x_in) / (brace.to_x_in - brace.from_x_in)
        y = brace.from_y_in + share * (brace.to_y_in - brace.from_y_in)
        if bay.bottom_in < y < bay.top_in:
            yield y


_WAY = {Closure.OPEN: "open", Closure.BLOCKED_BY_US: "closed by us"}


def _ways_out(wall: WallRecord, layout: WallLayout, bay: Bay) -> Iterable[str]:
    """Ends that touch a bay and that foam may have passed, in words."""
    if wall.framing is not Framing.BALLOON:
        return
    if wall.sill in _WAY and bay.bottom_in <= NEAR_IN:
        yield f"sill ({_WAY[wall.sill]})"
    for line in wall.floor_lines:
        if line.closure in _WAY and bay.bottom_in - NEAR_IN <= line.height_in <= bay.top_in + NEAR_IN:
            yield f"floor line {line.id} ({_WAY[line.closure]})"
    if wall.top in _WAY and bay.top_in >= max(y for _, y in layout.face) - NEAR_IN:
        yield f"top ({_WAY[wall.top]})"
