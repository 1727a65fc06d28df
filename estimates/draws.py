"""What is uncertain about one house: every input with a range, drawn once per house and used again in every option.

Streams are seeded by name, so an input more changes no other input's draws.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from estimates.house import HouseRecord, WallRecord
from estimates.physics.airtightness import LEAKAGE_SHARES
from estimates.physics.materials import EMPTY_CAVITY_R, FIELD_BATT_R_PER_IN
from estimates.physics.uncertainty import RangeInput
from estimates.pricebook import FoamProduct
from estimates.takeoff import QUICK_SIZE, Takeoff

DRAWS = 2000
"""Draws of a range: P10 and P90 of savings move by about 1 % from seed to seed."""

Draws = NDArray[np.float64]

FRAMING = RangeInput("how much framing stands in the walls unseen", 0.0, 0.04, 0.08)
"""Undetected framing over the net wall. [1] From memory, unconfirmed."""

EMPTY = RangeInput("how well an empty cavity resists heat", 0.75, EMPTY_CAVITY_R, 1.01)
"""[h ft2 degF/Btu] Best and high: see EMPTY_CAVITY_R; low: common practice, no source."""

KEYS = RangeInput("plaster squeezed into the cavities", 0.0, 0.2, 0.5)
"""Depth lost to plaster that squeezed through the laths. [in] Common practice, no source."""

QUICK_WINDOWS = RangeInput("how much of the quick walls is windows and doors", -0.05, 0.0, 0.05)
"""Added to the share of openings of a quick entry. [1] Common practice, no source."""

QUICK_FRAMING = RangeInput("how much of the quick walls is framing", -0.05, 0.0, 0.05)
"""Added to the framing share of a quick entry, which has no undetected part. [1] Common practice, no source."""

OLD_ATTIC = RangeInput("how well the old attic insulation still works", 0.7, 1.0, 1.15)
"""[1] Common practice, no source."""

WINTER = RangeInput("how long in the year the house needs heat", 0.85, 1.0, 1.15)
"""Degree days when the balance temperature is not known from bills. [1] Common practice: 60 degF, give or take 4."""

FILL_EFFECT = RangeInput("how much air filling the walls stops", 0.3, 0.5, 0.7)
"""Share of the leakage through filled walls that stops. [1] Common practice, no source; learned from verified jobs."""

SEAL_EFFECT = RangeInput("how much air sealing a leak site stops", 0.6, 0.8, 0.9)
"""Share of the leakage through sealed sites that stops. [1] Common practice, no source; learned from verified jobs."""

_IN_WORDS = {
    "walls": "the walls",
    "ceiling": "the ceiling",
    "windows": "windows and doors",
    "ducts": "the ducts",
    "fireplace": "the fireplace",
    "vents": "vents",
}


@dataclass(frozen=True, slots=True)
class Inputs:
    """Uncertain inputs of one house, either their best values or their draws."""

    values: Mapping[str, Any]

    def __getitem__(self, spec: RangeInput) -> Any:
        return self.values[spec.name]


def house_inputs(house: HouseRecord, takeoff: Takeoff, foam: FoamProduct) -> tuple[RangeInput, ...]:
    """Every uncertain input of a house, each once."""
    specs = [FRAMING, EMPTY, KEYS, OLD_ATTIC, WINTER, FILL_EFFECT, SEAL_EFFECT, shrinkage(foam)]
    specs += [old_batts(wall.wall) for wall in takeoff.walls if wall.wall.existing_fill is not None]
    specs += [leak_share(share) for share in LEAKAGE_SHARES]
    specs += [QUICK_SIZE, QUICK_WINDOWS, QUICK_FRAMING] if house.quick_walls else []
    return tuple({spec.name: spec for spec in specs}.values())


def shrinkage(foam: FoamProduct) -> RangeInput:
    """Linear shrinkage of a foam. [1]"""
    middle = (foam.shrinkage_low + foam.shrinkage_high) / 2
    return RangeInput("how much the foam shrinks", foam.shrinkage_low, middle, foam.shrinkage_high)


def old_batts(wall: WallRecord) -> RangeInput:
    """What old batts still do, per inch. [R/in]"""
    assert wall.existing_fill is not None
    field = FIELD_BATT_R_PER_IN[wall.existing_fill.condition]
    return RangeInput(
        f"how well old batts in {field.condition} condition still work", field.low, field.best, field.high
    )


def leak_share(share: RangeInput) -> RangeInput:
    """Share of the house's leakage that goes through a part of it. [1]"""
    return replace(share, name=f"how much of the leakage goes through {_IN_WORDS[share.name]}")
