"""How often the bay balance finds what is there, and how often it cries wolf: simulated walls with known faults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from estimates.linework import BayState
from estimates.physics.validity import OutOfRange, not_negative, positive, within
from jobs.balance import balance
from jobs.balance_records import BalanceFinding, BayFill, BayKey, Errors, MixRun, Source

WALL = "trial"
WET_LB_FT3 = 5.0
"""Wet density of the simulated foam; its value cancels. [lb/ft3]"""


@dataclass(frozen=True, slots=True)
class Rates:
    """What came of the trials, as shares of them. [1]

    void, escape : at least one run or bay was suspected of it; record : a record was called doubtful;
    void_wall : the wall as a whole was; named : a bay that truly holds a void was among those to look at first.
    """

    trials: int
    void: float
    escape: float
    record: float
    void_wall: float
    named: float


def trial_rates(
    *,
    bays: int = 36,
    per_run: int = 9,
    bay_ft3: float = 2.7,
    sd_share: float = 0.03,
    voids: Mapping[int, float] | None = None,
    escapes: Mapping[int, float] | None = None,
    source: Source = Source.ALLOTTED,
    errors: Errors | None = None,
    trials: int = 100,
    seed: int = 1,
) -> Rates:
    r"""Rates of detection and of false alarms on one wall, for known voids and escapes.

    Parameters
    ----------
    bays, per_run : bays of the wall, and of each mix run, both >= 1. [-]
    bay_ft3 : fill volume of a bay, > 0. [ft3]
    sd_share : standard error of a bay's volume, as a share, 0 to 1. [1]
    voids : number of a bay -> share of it left empty, 0 to 1. [1]
    escapes : number of a bay -> volume that ran away, >= 0. [ft3]
    source : what is booked: weight of the runs only (allotted), seconds of the pump, or a meter at the bay.
    errors : standard errors, of the simulated measuring as of the balance.
    trials : walls to simulate, >= 1. [-]
    seed : of the random numbers.

    Returns
    -------
    Rates.

    Raises
    ------
    OutOfRange : an argument outside its limits, a bay that the wall does not have.

    Notes
    -----
    .. math:: v_i = V_i (1 + c_V)(1 + \epsilon_i)(1 - u_i) + e_i

    is poured into bay i; weight, density, seconds and meter readings get the errors that `errors` names, common ones
    once per wall. A rate from n trials has a standard error of sqrt(r (1 - r) / n).

    References
    ----------
    .. [1] Simulation with normal errors, no source.

    Examples
    --------
    >>> found = trial_rates(bays=9, voids={4: 1.0}, source=Source.METER, trials=5)
    >>> found.void, found.named
    (1.0, 1.0)
    """
    wanted = errors or Errors()
    shares, ways = dict(voids or {}), dict(escapes or {})
    for name, count in (("bays", bays), ("per_run", per_run), ("trials", trials)):
        if count < 1:
            raise OutOfRange(name, count, "a whole number from 1")
    for name, given in (("voids", shares), ("escapes", ways)):
        for number in given:
            if not 1 <= number <= bays:
                raise OutOfRange(name, number, f"numbers of bays from 1 to {bays}")
    fill, sd = float(positive("bay_ft3", bay_ft3)), float(within("sd_share", sd_share, 0.0, 1.0))
    empty = np.array([float(within("voids", shares.get(n + 1, 0.0), 0.0, 1.0)) for n in range(bays)])
    away = np.array([float(not_negative("escapes", ways.get(n + 1, 0.0))) for n in range(bays)])
    rng = np.random.default_rng(seed)
    keys = [(WALL, n + 1) for n in range(bays)]
    found = [BayFill(WALL, number, fill, sd * fill, BayState.FILLED) for _, number in keys]
    counts = np.zeros(5)
    for _ in range(trials):
        true = fill * (1 + wanted.fill * rng.standard_normal()) * (1 + sd * rng.standard_normal(bays))
        runs = _booked(rng, keys, np.maximum(true * (1 - empty), 0.0) + away, per_run, source, wanted)
        seen = balance(found, runs, errors=wanted)
        void = {suspect.key[1] for suspect in seen.suspects if suspect.kind is BalanceFinding.VOID}
        by_void, by_escape = (BalanceFinding.VOID, BalanceFinding.BOTH), (BalanceFinding.ESCAPE, BalanceFinding.BOTH)
        escape = any(suspect.kind is BalanceFinding.ESCAPE for suspect in seen.suspects)
        counts += (
            bool(void) or any(run.finding in by_void for run in seen.runs),
            escape or any(run.finding in by_escape for run in seen.runs),
            any(run.finding is BalanceFinding.RECORD for run in seen.runs),
            seen.walls[0].finding in by_void,
            bool(void & set(shares)),
        )
    return Rates(trials, *(float(count) / trials for count in counts))


def _booked(
    rng: np.random.Generator,
    keys: list[BayKey],
    poured: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    per_run: int,
    source: Source,
    errors: Errors,
) -> list[MixRun]:
    """What a crew books of the volumes that went into the bays."""
    container, meter = errors.container * rng.standard_normal(), errors.meter * rng.standard_normal()
    runs = []
    for start in range(0, len(keys), per_run):
        mine, volumes = tuple(keys[start : start + per_run]), poured[start : start + per_run]
        weighed = WET_LB_FT3 * (1 + container) * (1 + errors.density * rng.standard_normal())
        mass = max(float(volumes.sum()), 0.1) * WET_LB_FT3 * (1 + errors.mass * rng.standard_normal())
        readings, seconds = {}, {}
        if source is Source.METER:
            readings = dict(zip(mine, (float(v) for v in np.maximum(volumes * (1 + meter), 0.0)), strict=True))
        if source is Source.PUMP:
            rate = 0.04 * (1 + errors.flow * rng.standard_normal(volumes.size))
            timed = volumes / rate + errors.seconds * rng.standard_normal(volumes.size)
            seconds = dict(zip(mine, (float(v) for v in np.maximum(timed, 0.0)), strict=True))
        run = MixRun(str(start), mine, mass_lb=mass, wet_lb_ft3=float(weighed), bay_meter_ft3=readings, pump_s=seconds)
        runs.append(run)
    return runs
