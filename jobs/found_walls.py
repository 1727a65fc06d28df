"""Walls of a job as they were found: record, layout and state of every bay, for drawings, crew sheets and papers."""

from __future__ import annotations

import json
from functools import lru_cache

from estimates.house import AsFoundRecord, WallRecord
from estimates.linework import BayState
from estimates.physics.asfound import as_found
from estimates.physics.framing import DEFAULT_TOOL, WallLayout
from estimates.records import read_record
from estimates.snapshot import canonical_json
from estimates.takeoff import SASH_POCKET_IN, SASH_POCKETS_BEFORE, wall_layout
from jobs.models import JobWall


def record_of(wall: JobWall) -> WallRecord:
    """The wall as it was measured for the estimate."""
    return read_record(WallRecord, wall.wall)


def layout_of(wall: JobWall, *, year_built: int) -> WallLayout:
    """The wall laid out as it was found; as it was measured while nothing else was found.

    Raises
    ------
    OutOfRange : what was found does not fit the wall.
    """
    pocket = SASH_POCKET_IN if year_built < SASH_POCKETS_BEFORE else 0.0
    if not wall.found:
        return wall_layout(record_of(wall), DEFAULT_TOOL, pocket)
    return _found(canonical_json(wall.wall), canonical_json(wall.found), pocket)


@lru_cache(maxsize=512)
def _found(measured: str, found: str, pocket: float) -> WallLayout:
    wall = read_record(WallRecord, json.loads(measured))
    return as_found(wall, read_record(AsFoundRecord, json.loads(found)), sash_pocket_in=pocket).layout


def states_of(wall: JobWall) -> dict[int, BayState]:
    """State of each bay by its number; retired ones are not among them."""
    rows = wall.bays.filter(retired=False).values_list("number", "state")
    return {number: BayState(state) for number, state in rows}
