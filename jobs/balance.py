"""Bay balance: what was poured against what the bays hold, and where a void or an escape is to be looked for first.

Everything reads the wall as found. A mix belongs to an ordered list of bays, so volumes are compared run by run and
wall by wall; a bay has a volume of its own only where a meter or the seconds of the pump were booked, else it is
allotted its share and labelled so. A bay is accepted by visible return at its witness hole, never by volume: the
balance only says where to look.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

from estimates.linework import BayState
from estimates.physics.validity import OutOfRange, finite, not_negative, positive
from jobs.balance_odds import LEAST_ERROR, odds
from jobs.balance_records import (
    FILLED,
    Balance,
    BalanceFinding,
    BayBalance,
    BayFill,
    BayKey,
    Errors,
    JobBalance,
    MixRun,
    Priors,
    Source,
    Suspect,
    depth_sd_share,
)
from jobs.balance_words import look_for_escape, look_for_void, why_record

__all__ = [
    "Balance",
    "BalanceFinding",
    "BayBalance",
    "BayFill",
    "BayKey",
    "Errors",
    "JobBalance",
    "MixRun",
    "Priors",
    "Source",
    "Suspect",
    "balance",
    "day_close_faults",
    "depth_sd_share",
]  # fmt: skip

_Key = TypeVar("_Key", str, BayKey)

ASK = 0.5
"""A void or an escape is suspected from this chance on: of all that are suspected, half or more are there. [1]"""

FIRST = 3
"""So many bays of a run are named as where to look first. [-]"""


def day_close_faults(bays: Iterable[tuple[BayKey, BayState, str]]) -> tuple[str, ...]:
    """Why a day cannot close: planned bays that nobody accounted for (rule I1).

    Parameters
    ----------
    bays : every bay planned for the day: bay, its state, the reason written down ("" for none).

    Returns
    -------
    A sentence for each bay that is neither filled, left for tomorrow, nor refused or left out with a reason.

    Examples
    --------
    >>> day_close_faults([(("north", 1), BayState.FILLED, ""), (("north", 2), BayState.REFUSED, " ")])
    ('bay 2 of wall north is refused without a reason: write down why',)
    """
    faults = []
    for (wall, number), state, reason in bays:
        state = BayState(state)
        if state in FILLED or state is BayState.LEFT:
            continue
        if state in (BayState.REFUSED, BayState.LEFT_OUT):
            if not reason.strip():
                faults.append(f"bay {number} of wall {wall} is {state.value} without a reason: write down why")
            continue
        ask = "mark it filled, refused with a reason, or left for tomorrow"
        faults.append(f"bay {number} of wall {wall} is still {state.value}: {ask}")
    return tuple(faults)


def balance(
    bays: Sequence[BayFill],
    runs: Sequence[MixRun],
    *,
    errors: Errors | None = None,
    priors: Priors | None = None,
    ask: float = ASK,
) -> JobBalance:
    r"""Compare what was poured with what the bays of some walls hold (rule I2).

    Parameters
    ----------
    bays : every bay of the walls, as found.
    runs : every mix run into them.
    errors, priors : standard errors and chances to reckon with; left out: those of common practice.
    ask : chance from which a void or an escape is suspected, inside (0, 1). [1]

    Returns
    -------
    JobBalance.

    Raises
    ------
    OutOfRange : a bay twice, a run twice, a run with a bay that does not exist, cannot be reached, or is not booked as
        filled or refused; a volume, weight or density that is none; a run with neither weight and density nor meter.

    Notes
    -----
    .. math:: D = \sum_k (m_k / \rho_k - w_k) - \sum_i V_i, \qquad
        s^2 = \sum_k s_k^2 + \sum_i s_i^2 + (c_\rho \sum_k V_k)^2 + (c_V \sum_i V_i)^2

    Runs that share a bay are compared together: what each put into it is not known. A refused bay that a run names
    holds something from nothing to all, half of it in the mean, with variance V^2/12. From D, s and the priors of the
    bays `odds` gives the chance of a void (a tenth of its bay or more left empty) and of an escape, bay by bay. *Rule*:
    void or escape is suspected where the chance of at least one reaches `ask`; where the chance of a wrong record does,
    only that is said. Its rates of detection and of false alarms are measured on simulated walls in
    tests/benchmarks/test_balance.py. A bay with a volume of its own is judged by that alone, at the same chance.

    References
    ----------
    .. [1] Errors add in squares, Bayes' rule: any textbook. Sizes of errors and priors: common practice, no source.

    Examples
    --------
    >>> bays = [BayFill("north", n, 2.7, 0.08, BayState.FILLED, top_in=92.0) for n in range(1, 6)]
    >>> run = MixRun("m1", tuple(bay.key for bay in bays), mass_lb=54.5, wet_lb_ft3=5.0)
    >>> found = balance(bays, [run])
    >>> found.runs[0].finding.value, round(found.runs[0].difference_ft3, 1), found.bays[0].source.value
    ('void suspected', -2.6, 'allotted')
    """
    if not 0.0 < ask < 1.0:
        raise OutOfRange("ask", ask, "a chance between 0 and 1, ends left out")
    site = _Site(bays, runs, errors or Errors(), priors or Priors(), ask)
    groups = _joined([(set(run.bays), [run]) for run in runs])
    by_run = tuple(site.compare(found) for _, found in groups)
    walls = _joined([({wall for run in found for wall, _ in run.bays}, found) for _, found in groups])
    by_wall = tuple(site.compare_walls(sorted(names), found) for names, found in walls)
    by_bay = site.bay_balances(groups, by_run)
    faults = tuple(
        f"bay {bay.number} of wall {bay.wall_id} is {bay.state.value} without a mix: book the mix that filled it"
        for bay in site.without_mix()
    )
    return JobBalance(by_run, by_wall, by_bay, site.suspects(by_run, by_bay), faults)


def _joined(sets: list[tuple[set[_Key], list[MixRun]]]) -> list[tuple[set[_Key], list[MixRun]]]:
    """Runs put together where their sets share a member, in the order of their first run."""
    found: list[tuple[set[_Key], list[MixRun]]] = []
    for members, runs in sets:
        touching = [each for each in found if each[0] & members]
        found = [each for each in found if not each[0] & members]
        joined = set(members).union(*(each[0] for each in touching))
        found.append((joined, [run for each in touching for run in each[1]] + runs))
    return found


class _Site:
    """The bays by key, checked, with what one comparison needs of them."""

    def __init__(
        self, bays: Sequence[BayFill], runs: Sequence[MixRun], errors: Errors, priors: Priors, ask: float
    ) -> None:
        self.bays: dict[BayKey, BayFill] = {}
        self.errors, self.priors, self.ask = errors, priors, ask
        for i, bay in enumerate(bays):
            if bay.key in self.bays:
                raise OutOfRange(f"bays[{i}]", f"{bay.wall_id} {bay.number} again", "each bay once")
            not_negative(f"bays[{i}].fill_ft3", bay.fill_ft3)
            not_negative(f"bays[{i}].sd_ft3", bay.sd_ft3)
            finite(f"bays[{i}].holes_in", [bay.bottom_in, bay.top_in, *bay.holes_in, *bay.hidden_in])
            if bay.return_at_in is not None:
                finite(f"bays[{i}].return_at_in", bay.return_at_in)
            self.bays[bay.key] = bay
        self.poured: dict[str, tuple[float, float]] = {}
        for i, run in enumerate(runs):
            if run.id in self.poured:
                raise OutOfRange(f"runs[{i}].id", run.id, "each run once")
            self.check(f"runs[{i}]", run)
            self.poured[run.id] = _poured(f"runs[{i}]", run, errors)
        self.named = {key for run in runs for key in run.bays}
        self.volumes = self.own_volumes(runs)

    def check(self, path: str, run: MixRun) -> None:
        """Refuse a run whose bays cannot have taken it."""
        if not run.bays or len(set(run.bays)) != len(run.bays):
            raise OutOfRange(f"{path}.bays", run.bays, "the bays it was poured into, each once")
        for wall, number in run.bays:
            bay = self.bays.get((wall, number))
            named = f"bay {number} of wall {wall}"
            if bay is None:
                raise OutOfRange(f"{path}.bays", named, "bays that the walls have")
            if not bay.fill_ft3 > 0.0:
                raise OutOfRange(
                    f"{path}.bays", f"{named}, without room for foam", "bays with room, or its depth as found"
                )
            if not bay.reachable:
                raise OutOfRange(f"{path}.bays", f"{named}, not reached", "bays that can be reached, or add its hole")
            if bay.state not in FILLED and bay.state is not BayState.REFUSED:
                ask = "bays booked as filled or refused, or change the state of this one"
                raise OutOfRange(f"{path}.bays", f"{named}, {bay.state.value}", ask)
        for name, given in (("bay_meter_ft3", run.bay_meter_ft3), ("pump_s", run.pump_s)):
            for key, value in given.items():
                if key not in run.bays:
                    raise OutOfRange(f"{path}.{name}", f"of bay {key[1]} of wall {key[0]}", "readings of its own bays")
                not_negative(f"{path}.{name}", value)

    def without_mix(self) -> list[BayFill]:
        """Bays that hold foam nobody booked."""
        filled = (bay for bay in self.bays.values() if bay.state in FILLED and bay.fill_ft3 > 0.0)
        return [bay for bay in filled if bay.key not in self.named]

    # --- runs and walls ------------------------------------------------------------------------------------------

    def compare(self, runs: Sequence[MixRun]) -> Balance:
        """Balance of runs that share bays."""
        keys = list(dict.fromkeys(key for run in runs for key in run.bays))
        return self.over(", ".join(run.id for run in runs), keys, runs)

    def compare_walls(self, walls: Sequence[str], runs: Sequence[MixRun]) -> Balance:
        """Balance of a wall, or of walls that share runs; not judged where a filled bay belongs to no mix."""
        without = [bay for bay in self.without_mix() if bay.wall_id in walls]
        counted = self.named.union(bay.key for bay in without)
        found = self.over(", ".join(walls), [key for key in self.bays if key[0] in walls and key in counted], runs)
        lost = [str(bay.number) for bay in without]
        if not lost:
            return found
        return replace(
            found, finding=BalanceFinding.NOT_JUDGED, why=f"bays {', '.join(lost)} are filled and belong to no mix"
        )

    def over(self, name: str, keys: Sequence[BayKey], runs: Sequence[MixRun]) -> Balance:
        """Balance of some bays and the runs that went into them."""
        bays = [self.bays[key] for key in keys]
        fill = math.fsum(self.expected(bay)[0] for bay in bays)
        poured = math.fsum(self.poured[run.id][0] for run in runs)
        variance = math.fsum(self.poured[run.id][1] for run in runs) + math.fsum(self.expected(bay)[1] for bay in bays)
        weighed = math.fsum(self.poured[run.id][0] for run in runs if run.mass_lb is not None)
        metered = poured - weighed
        common = (self.errors.container * weighed, self.errors.meter * metered, self.errors.fill * fill)
        se = max(math.sqrt(variance + math.fsum(part * part for part in common)), 2.0 * LEAST_ERROR * fill)
        filled = [bay for bay in bays if bay.state in FILLED]
        difference = poured - fill
        z = difference / se
        if not filled:
            return Balance(
                name, tuple(keys), fill, poured, difference, se, z, 0, 0, 0, 0, 0, BalanceFinding.NOT_JUDGED,
                "every bay was refused: what each took is not known",
            )  # fmt: skip
        found = odds(difference, se, *self.columns(filled))
        finding = _finding(found.any_void, found.any_escape, found.record_wrong, self.ask)
        return Balance(
            name=name,
            bays=tuple(keys),
            fill_ft3=fill,
            poured_ft3=poured,
            difference_ft3=difference,
            se_ft3=se,
            z=z,
            chance_void=found.any_void,
            chance_escape=found.any_escape,
            chance_record=found.record_wrong,
            missing_ft3=math.fsum(found.missing_ft3),
            escaped_ft3=math.fsum(found.escaped_ft3),
            finding=finding,
            why=why_record(difference) if finding is BalanceFinding.RECORD else _why(difference, fill, z),
        )

    def expected(self, bay: BayFill) -> tuple[float, float]:
        """Volume that a bay should have taken, and its variance. [ft3, ft6]"""
        if bay.state in FILLED:
            return bay.fill_ft3, bay.sd_ft3**2
        return bay.fill_ft3 / 2.0, bay.fill_ft3**2 / 12.0

    def columns(self, bays: Sequence[BayFill]) -> tuple[list[float], list[float], list[float]]:
        """Volumes and priors of bays, as `odds` takes them."""
        return (
            [bay.fill_ft3 for bay in bays],
            [min(0.5, self.priors.void * self.signs(bay)) for bay in bays],
            [min(0.5, self.priors.escape * (self.priors.way_out if bay.ways_out else 1.0)) for bay in bays],
        )

    def signs(self, bay: BayFill) -> float:
        """How what was seen at its holes changes the chance of a void. [1]"""
        if bay.return_at_in is None or not bay.holes_in:
            return 1.0
        return self.priors.return_seen if bay.return_at_in >= max(bay.holes_in) else self.priors.return_short

    # --- single bays ---------------------------------------------------------------------------------------------

    def own_volumes(self, runs: Sequence[MixRun]) -> dict[BayKey, tuple[float, float, Source]]:
        """Volume and variance of the bays whose every run has a reading of them. [ft3, ft6]"""
        parts: dict[BayKey, list[tuple[float, float, Source] | None]] = {}
        for run in runs:
            timed = math.fsum(run.pump_s.values()) if set(run.pump_s) == set(run.bays) else 0.0
            volume, variance = self.poured[run.id]
            for key in run.bays:
                part = None
                if key in run.bay_meter_ft3:
                    part = (run.bay_meter_ft3[key], 0.0, Source.METER)
                elif timed > 0.0:
                    share = run.pump_s[key] / timed
                    own = (self.errors.flow * volume * share) ** 2 + (self.errors.seconds * volume / timed) ** 2
                    part = (volume * share, variance * share**2 + own, Source.PUMP)
                parts.setdefault(key, []).append(part)
        found = {}
        for key, given in parts.items():
            known = [part for part in given if part is not None]
            if len(known) < len(given) or self.bays[key].state not in FILLED:
                continue
            volume = math.fsum(part[0] for part in known)
            source = Source.PUMP if any(part[2] is Source.PUMP for part in known) else Source.METER
            common = self.errors.meter if source is Source.METER else self.errors.container
            bay = self.bays[key]
            spread = math.fsum(part[1] for part in known) + (common * volume) ** 2
            found[key] = (volume, spread + bay.sd_ft3**2 + (self.errors.fill * bay.fill_ft3) ** 2, source)
        return found

    def bay_balances(
        self, groups: Sequence[tuple[set[BayKey], list[MixRun]]], balances: Sequence[Balance]
    ) -> tuple[BayBalance, ...]:
        """Every bay that a run names: by its own reading, else allotted, with its share of the run's chances."""
        found = []
        for _, each in zip(groups, balances, strict=True):
            filled = [self.bays[key] for key in each.bays if self.bays[key].state in FILLED]
            shared = odds(each.difference_ft3, each.se_ft3, *self.columns(filled)) if filled else None
            place = {bay.key: i for i, bay in enumerate(filled)}
            for key in each.bays:
                bay = self.bays[key]
                if key in self.volumes:
                    found.append(self.measured(bay))
                    continue
                allotted = each.poured_ft3 * self.expected(bay)[0] / each.fill_ft3
                i = place.get(key)
                chances = (0.0, 0.0, 0.0)
                if shared is not None and i is not None:
                    chances = (shared.void[i], shared.escape[i], shared.missing_ft3[i])
                found.append(BayBalance(key, bay.fill_ft3, allotted, Source.ALLOTTED, None, *chances))
        return tuple(found)

    def measured(self, bay: BayFill) -> BayBalance:
        """A bay by its own reading alone."""
        volume, variance, source = self.volumes[bay.key]
        se = max(math.sqrt(variance), 2.0 * LEAST_ERROR * bay.fill_ft3)
        own = odds(volume - bay.fill_ft3, se, *self.columns([bay]))
        return BayBalance(
            bay.key, bay.fill_ft3, volume, source, se, own.any_void, own.any_escape, own.missing_ft3[0]
        )  # fmt: skip

    def suspects(self, balances: Sequence[Balance], bays: Sequence[BayBalance]) -> tuple[Suspect, ...]:
        """Bays to look at: those whose own reading says so, and the likeliest of each run that is suspected."""
        by_key = {bay.key: bay for bay in bays}
        found = []
        for kind, look in ((BalanceFinding.VOID, look_for_void), (BalanceFinding.ESCAPE, look_for_escape)):
            chances = {
                key: bay.chance_void if kind is BalanceFinding.VOID else bay.chance_escape
                for key, bay in by_key.items()
            }
            keys = [key for key in self.volumes if chances[key] >= self.ask]
            for each in balances:
                if each.finding in (kind, BalanceFinding.BOTH):
                    keys += self.likeliest(each.bays, chances)
            found += [Suspect(key, kind, chances[key], look(self.bays[key])) for key in dict.fromkeys(keys)]
        return tuple(sorted(found, key=lambda suspect: -suspect.chance))

    def likeliest(self, keys: Sequence[BayKey], chances: Mapping[BayKey, float]) -> list[BayKey]:
        """Bays of a suspected run to look at first: those without a reading of their own, where there are any."""
        # The last bays of a run are where a crew runs out of foam: of equal chances they come first.
        backward = list(reversed(keys))
        unread = [key for key in backward if key not in self.volumes and chances[key] > 0.0]
        doubtful = [key for key in backward if key in self.volumes and chances[key] >= self.ask / 10.0]
        return sorted(unread or doubtful, key=lambda key: -round(chances[key], 6))[:FIRST]


def _poured(path: str, run: MixRun, errors: Errors) -> tuple[float, float]:
    """Volume that a run put into its bays, and its variance without what all runs share. [ft3, ft6]"""
    waste = float(not_negative(f"{path}.waste_ft3", run.waste_ft3))
    spread = 0.0
    if run.meter_ft3 is not None:
        volume = float(positive(f"{path}.meter_ft3", run.meter_ft3))
    elif run.mass_lb is not None:
        if run.wet_lb_ft3 is None:
            raise OutOfRange(f"{path}.wet_lb_ft3", "missing", "the wet density as weighed, or a meter reading")
        density = float(positive(f"{path}.wet_lb_ft3", run.wet_lb_ft3))
        volume = float(positive(f"{path}.mass_lb", run.mass_lb)) / density
        sd = errors.density
        if run.wet_sd_lb_ft3 is not None:
            sd = float(not_negative(f"{path}.wet_sd_lb_ft3", run.wet_sd_lb_ft3)) / density
        spread = math.hypot(errors.mass, sd)
    elif set(run.bay_meter_ft3) == set(run.bays):
        # Readings bay by bay are of what went into the wall: no waste is in them.
        return math.fsum(run.bay_meter_ft3.values()), 0.0
    else:
        raise OutOfRange(f"{path}.mass_lb", "missing", "weight and wet density of the mix, or a meter reading")
    if waste >= volume:
        raise OutOfRange(f"{path}.waste_ft3", waste, f"less than the {volume:.3g} ft3 that were mixed")
    return volume - waste, (spread * volume) ** 2 + (errors.waste * waste) ** 2


def _finding(void: float, escape: float, record: float, ask: float) -> BalanceFinding:
    if record >= ask:
        return BalanceFinding.RECORD
    if void >= ask and escape >= ask:
        return BalanceFinding.BOTH
    return BalanceFinding.VOID if void >= ask else BalanceFinding.ESCAPE if escape >= ask else BalanceFinding.AGREES


def _why(difference: float, fill: float, z: float) -> str:
    if difference == 0:
        return f"as much as the {fill:.1f} ft3 of the bays"
    more = "more" if difference > 0 else "less"
    return f"{abs(difference):.1f} ft3 {more} than the {fill:.1f} ft3 of the bays, {abs(z):.1f} standard errors"
