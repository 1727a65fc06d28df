"""Records of the bay balance: bays as found, mix runs, and what their comparison says."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from estimates.linework import BayState
from estimates.physics.validity import OutOfRange, not_negative, positive, within

BayKey = tuple[str, int]
"""A bay: id of its wall, its number on the wall."""

FILLED = frozenset({BayState.FILLED, BayState.DOUBTFUL, BayState.PROVEN})
"""States of a bay that holds foam."""


@dataclass(frozen=True, slots=True)
class Errors:
    """Standard errors of what is measured, as shares of it. [1] Common practice, no source; the firm sets its own.

    mass : of the weight of a mix; density : of its wet density, where the record has none of its own; container : of
    all wet densities alike (volume of the cup, scale); meter : of all readings alike; flow : of the pump's rate from
    bay to bay; fill : of all fill volumes of a job alike (plaster keys, rough lumber); waste : of the logged waste.
    seconds : of a time at the pump. [s]
    """

    mass: float = 0.01
    density: float = 0.03
    container: float = 0.015
    meter: float = 0.02
    flow: float = 0.05
    fill: float = 0.02
    waste: float = 0.25
    seconds: float = 1.0

    def __post_init__(self) -> None:
        for name in ("mass", "density", "container", "meter", "flow", "fill", "waste"):
            within(f"errors.{name}", float(getattr(self, name)), 0.0, 1.0)
        not_negative("errors.seconds", float(self.seconds))


@dataclass(frozen=True, slots=True)
class Priors:
    """Chances of a bay before volumes are looked at, and what its own signs do to them. [1] CP, no source.

    return_seen, return_short : factors on the void where material showed at the top hole, or did not show there.
    way_out : factor on the escape where the wall had an open floor line, sill or top.
    """

    void: float = 0.01
    escape: float = 0.005
    return_seen: float = 0.5
    return_short: float = 5.0
    way_out: float = 4.0

    def __post_init__(self) -> None:
        for name in ("void", "escape"):
            within(f"priors.{name}", float(getattr(self, name)), 0.0, 0.5)
        for name in ("return_seen", "return_short", "way_out"):
            not_negative(f"priors.{name}", float(getattr(self, name)))


@dataclass(frozen=True, slots=True)
class BayFill:
    """A bay as found.

    fill_ft3, sd_ft3 : cavity less old solids and parts never filled, and its standard error (`depth_sd_share`). [ft3]
    bottom_in, top_in, holes_in, hidden_in : its ends, its holes, braces or blocks that may part it: heights. [in]
    return_at_in : highest hole at which material showed; None where nobody booked it. [in]
    ways_out : open ends that touch it, in words ("sill", "floor line 2").
    """

    wall_id: str
    number: int
    fill_ft3: float
    sd_ft3: float
    state: BayState
    reachable: bool = True
    bottom_in: float = 0.0
    top_in: float = 0.0
    holes_in: tuple[float, ...] = ()
    hidden_in: tuple[float, ...] = ()
    return_at_in: float | None = None
    ways_out: tuple[str, ...] = ()

    @property
    def key(self) -> BayKey:
        """Wall and number."""
        return self.wall_id, self.number


@dataclass(frozen=True, slots=True)
class MixRun:
    """Mixes poured one after the other into an ordered list of bays.

    mass_lb, wet_lb_ft3, wet_sd_lb_ft3 : weight of the ingredients, wet density as weighed and its standard error; or
    meter_ft3 : volume by a flow meter. waste_ft3 : thrown away, spilled, left in the hose.
    bay_meter_ft3, pump_s : reading or seconds at the pump of its bays, where booked.
    """

    id: str
    bays: tuple[BayKey, ...]
    mass_lb: float | None = None
    wet_lb_ft3: float | None = None
    wet_sd_lb_ft3: float | None = None
    meter_ft3: float | None = None
    waste_ft3: float = 0.0
    bay_meter_ft3: Mapping[BayKey, float] = field(default_factory=dict)
    pump_s: Mapping[BayKey, float] = field(default_factory=dict)


class Source(StrEnum):
    """Where the volume of a bay comes from."""

    METER = "metered"
    PUMP = "from pump seconds"
    ALLOTTED = "allotted"


class BalanceFinding(StrEnum):
    """What a balance says."""

    AGREES = "agrees"
    VOID = "void suspected"
    ESCAPE = "escape suspected"
    BOTH = "void and escape suspected"
    RECORD = "record doubtful"
    NOT_JUDGED = "not judged"


@dataclass(frozen=True, slots=True)
class Balance:
    """Volumes of a run, of runs that share bays, or of a wall.

    fill_ft3, poured_ft3, difference_ft3, se_ft3 : difference is poured less fill, se its standard error. [ft3]
    z : difference over se. chance_void, chance_escape, chance_record : of at least one void, one escape, of a record
    that is grossly wrong. [1] missing_ft3, escaped_ft3 : expected volumes. [ft3]
    """

    name: str
    bays: tuple[BayKey, ...]
    fill_ft3: float
    poured_ft3: float
    difference_ft3: float
    se_ft3: float
    z: float
    chance_void: float
    chance_escape: float
    chance_record: float
    missing_ft3: float
    escaped_ft3: float
    finding: BalanceFinding
    why: str


@dataclass(frozen=True, slots=True)
class BayBalance:
    """A bay: fill and poured volume [ft3], where the latter comes from, chances of a void and an escape. [1]"""

    key: BayKey
    fill_ft3: float
    poured_ft3: float
    source: Source
    se_ft3: float | None
    chance_void: float
    chance_escape: float
    missing_ft3: float


@dataclass(frozen=True, slots=True)
class Suspect:
    """A bay to look at: what is suspected, its chance [1], and where to look first, in words."""

    key: BayKey
    kind: BalanceFinding
    chance: float
    look: str


@dataclass(frozen=True, slots=True)
class JobBalance:
    """Balances of runs and walls, bays, and suspected bays with the likeliest first; `faults` lists what lacks."""

    runs: tuple[Balance, ...]
    walls: tuple[Balance, ...]
    bays: tuple[BayBalance, ...]
    suspects: tuple[Suspect, ...]
    faults: tuple[str, ...]


def depth_sd_share(low_in: float, depth_in: float, high_in: float) -> float:
    r"""Standard error of a bay's depth, as a share of it; its volume has the same.

    Parameters
    ----------
    low_in, depth_in, high_in : least, likeliest and greatest depth, > 0, in rising order. [in]

    Returns
    -------
    Share. [1]

    Raises
    ------
    OutOfRange : a depth that is not positive, out of order.

    Notes
    -----
    .. math:: s^2 = (a^2 + b^2 + c^2 - ab - ac - bc) / 18

    of a triangular distribution.

    References
    ----------
    .. [1] Variance of the triangular distribution, any textbook.

    Examples
    --------
    >>> round(depth_sd_share(3.25, 3.5, 3.75), 3)
    0.029
    """
    a, c, b = (
        float(positive(name, float(v)))
        for name, v in (("low_in", low_in), ("depth_in", depth_in), ("high_in", high_in))
    )
    if not a <= c <= b:
        raise OutOfRange("depth_in", (a, c, b), "least, likeliest and greatest depth in rising order")
    return math.sqrt(max(0.0, a * a + b * b + c * c - a * b - a * c - b * c) / 18.0) / c
