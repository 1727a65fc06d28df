"""How walls and attics lose heat before and after they are filled: their U, framing included.

Numbers or draws alike; what is uncertain comes in as `Inputs`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from estimates.draws import (
    EMPTY,
    FRAMING,
    KEYS,
    OLD_ATTIC,
    QUICK_FRAMING,
    QUICK_WINDOWS,
    Inputs,
    old_batts,
    shrinkage,
)
from estimates.house import InsideFinish, SurfaceKind
from estimates.physics.assembly import shrinkage_void_fraction, wall_layers, wall_u
from estimates.physics.materials import AIR_FILMS, framing_r, material
from estimates.pricebook import FoamProduct
from estimates.takeoff import QUICK_SIZE, AtticTakeoff, Takeoff, WallTakeoff, fact_row

_FILM = {
    SurfaceKind.FLOOR: "inside_down",
    SurfaceKind.OVERHANG: "inside_down",
    SurfaceKind.RAFTER_SLOPE: "inside_up",
}


@dataclass(frozen=True, slots=True)
class Surface:
    """One wall or attic, numbers or draws: area [ft2], U as it is and U once filled [Btu/(h ft2 degF)]."""

    attic: bool
    id: str
    name: str
    area_ft2: Any
    u_now: Any
    u_filled: Any


def house_surfaces(takeoff: Takeoff, foam: FoamProduct, inputs: Inputs) -> tuple[Surface, ...]:
    """Every wall and attic of a house; what stops or needs nothing keeps its U."""
    found = []
    for wall in takeoff.walls:
        now = wall_heat(wall, foam, False, inputs)
        filled = wall_heat(wall, foam, True, inputs) if wall.priced else now
        found.append(Surface(False, wall.wall.id, wall.wall.name, _wall_area(wall, inputs), now, filled))
    for attic in takeoff.attics:
        now = attic_heat(attic, False, inputs)
        filled = attic_heat(attic, True, inputs) if attic.priced else now
        found.append(Surface(True, attic.attic.id, attic.attic.name, attic.attic.area_ft2, now, filled))
    return tuple(found)


def wall_heat(counted: WallTakeoff, foam: FoamProduct, filled: bool, inputs: Inputs) -> Any:
    """U of a wall, framing included. [Btu/(h ft2 degF)]"""
    wall, layout, old = counted.wall, counted.layout, counted.wall.existing_fill
    layers = wall_layers(wall.cladding, wall.sheathing, wall.inside)
    film = AIR_FILMS[_FILM.get(wall.kind, "inside_vertical")].r - AIR_FILMS["inside_vertical"].r
    keys = inputs[KEYS] if wall.inside is InsideFinish.PLASTER_LATH else 0.0
    empty = inputs[EMPTY]
    framing, unseen = layout.framing_fraction, inputs[FRAMING]
    if layout.quick is not None:
        framing, unseen = np.clip(framing + inputs[QUICK_FRAMING], 0.0, 1.0), 0.0
    unreached = sum(bay.area_ft2 for bay in layout.bays if not bay.reachable) + layout.no_fill_ft2
    covered_share = 0.0 if old is None else old.covered_share
    if not filled:
        cavity_r = empty
        covered_r = empty if old is None else inputs[old_batts(wall)] * old.in_place_in
        void: Any = 0.0
    else:
        cavity_r = foam_r(foam, wall.depth_in, keys)
        covered_r = cavity_r
        if old is not None:
            squeezed = material(old.material).resistance(old.compressed_in) if old.compressed_in > 0 else 0.0
            covered_r = squeezed + foam_r(foam, wall.depth_in - old.compressed_in, keys)
        void = shrinkage_void_fraction(inputs[shrinkage(foam)], wall.spacing_in - wall.stud_in, _bay_height(counted))
    return wall_u(
        series_r=layers.series_r + film,
        cavity_r=cavity_r,
        framing_r=framing_r(wall.depth_in),
        framing_fraction=framing,
        undetected_framing=unseen,
        covered_share=covered_share,
        covered_r=covered_r,
        void_fraction=void,
        unfilled_fraction=unreached / layout.net_ft2 if layout.net_ft2 > 0 else 0.0,
        empty_r=empty,
    ).u


def _wall_area(counted: WallTakeoff, inputs: Inputs) -> Any:
    """Net area of a wall, or of walls known by a few figures only. [ft2]"""
    layout = counted.layout
    if layout.quick is None:
        return layout.net_ft2
    openings = np.clip(layout.opening_ft2 / layout.gross_ft2 + inputs[QUICK_WINDOWS], 0.0, 0.95)
    return layout.gross_ft2 * inputs[QUICK_SIZE] * (1.0 - openings)


def foam_r(foam: FoamProduct, thickness_in: float, lost_in: Any) -> Any:
    """R of foam in a cavity, at the resistance per inch of its fact-sheet row; for heat loss, never for papers."""
    row = fact_row(foam, thickness_in) or foam.facts[0]
    return row.r / row.thickness_in * np.maximum(thickness_in - lost_in, 0.1)


def _bay_height(counted: WallTakeoff) -> float:
    return max((bay.top_in - bay.bottom_in for bay in counted.layout.bays), default=1.0)


def attic_heat(counted: AtticTakeoff, filled: bool, inputs: Inputs) -> Any:
    """U of an attic floor: films up and down, ceiling board, old and new fill over the joists. [Btu/(h ft2 degF)]"""
    added = counted.row.r if filled and counted.row is not None else 0.0
    fixed = 2 * AIR_FILMS["inside_up"].r + material("gypsum").resistance()
    return 1.0 / (fixed + counted.existing_r * inputs[OLD_ATTIC] + added)
