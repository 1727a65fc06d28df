"""Safe to work and to live in: combustion rounds round the work, and fresh air once the house is tighter.

Limits and physics stand in `estimates.physics`; this says which round is missing and what the latest one stops.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from estimates.house import Round
from estimates.physics.airtightness import ela_in2
from estimates.physics.combustion import (
    DEFAULT_LIMITS,
    Action,
    CombustionFindings,
    CombustionReadings,
    LimitTable,
    combustion_findings,
)
from estimates.physics.ventilation import (
    DEFAULT_EDITION,
    FanRequirement,
    LocalExhaust,
    effective_infiltration,
    required_fan,
)

# --- combustion rounds -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CombustionRound:
    """One round of combustion tests on a day."""

    round: Round
    on: date
    readings: CombustionReadings


@dataclass(frozen=True, slots=True)
class CombustionStanding:
    """Which rounds are missing, what the latest one says, and whether work may go on."""

    missing: tuple[str, ...]
    latest: CombustionFindings | None
    may_work: bool

    @property
    def texts(self) -> tuple[str, ...]:
        """Sentences for the crew, gravest first."""
        found = () if self.latest is None else tuple(finding.text for finding in self.latest.findings)
        return (*found, *self.missing)


def combustion_standing(
    rounds: Iterable[CombustionRound],
    *,
    shell_days: Collection[date],
    today: date,
    finished: bool = False,
    limits: LimitTable = DEFAULT_LIMITS,
) -> CombustionStanding:
    """Whether combustion safety lets the work go on.

    Parameters
    ----------
    rounds : every round tested; of those of one day the one given last is the later.
    shell_days : days on which the work altered the shell of the house.
    today : day for which it is asked; rounds after it do not count, an end of today is not yet missing.
    finished : whether all work is done, so that the test-out is due.
    limits : limit table in force.

    Returns
    -------
    CombustionStanding. Work needs a test-in, the end-of-day round of every earlier shell day (a test-out of that day
    serves too), and a latest round whose findings stop nothing.
    """
    done = [item for item in rounds if item.on <= today]
    missing = []
    if not any(item.round is Round.TEST_IN for item in done):
        missing.append("no combustion test before the work: test before anything alters the house")
    ended = {item.on for item in done if item.round in (Round.DAY_END, Round.TEST_OUT)}
    due = sorted(day for day in shell_days if day < today or (finished and day <= today))
    missing += [
        f"no combustion test at the end of {day.isoformat()}, when the shell was altered: test before going on"
        for day in due
        if day not in ended
    ]
    last_shell = max((day for day in shell_days if day <= today), default=None)
    out = [item.on for item in done if item.round is Round.TEST_OUT]
    if finished and (not out or (last_shell is not None and max(out) < last_shell)):
        missing.append("no combustion test after the last work on the shell: test before leaving")
    order = list(Round)
    latest = max(enumerate(done), key=lambda p: (p[1].on, order.index(p[1].round), p[0]), default=None)
    findings = None if latest is None else combustion_findings(latest[1].readings, limits)
    may_work = not missing and findings is not None and findings.action < Action.STOP
    return CombustionStanding(tuple(missing), findings, may_work)


# --- fresh air -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FreshAir:
    """Fan a house needs before and after the work. `newly_needed`: the tightening made the difference."""

    before: FanRequirement
    after: FanRequirement
    newly_needed: bool
    sentence: str


def fresh_air(
    *,
    cfm50_before: float,
    cfm50_after: float,
    floor_ft2: float,
    bedrooms: int,
    height_ft: float,
    weather_factor: float,
    rooms: tuple[LocalExhaust, ...] = (),
    edition: str = DEFAULT_EDITION,
    balanced: bool = False,
) -> FreshAir:
    """Fresh air of an existing dwelling, worked out again from its leakage after the job.

    Parameters
    ----------
    cfm50_before, cfm50_after : leakage at 50 Pa, >= 0. [cfm]
    floor_ft2, bedrooms : of the dwelling. [ft2, -]
    height_ft : lowest floor above grade to highest ceiling, 5 to 60. [ft]
    weather_factor : weather and shielding factor of the place, 0.1 to 2. [-]
    rooms : measured exhaust of kitchens and baths.
    edition, balanced : as in `estimates.physics.ventilation.required_fan`.

    Returns
    -------
    FreshAir; its sentence names the edition.

    Raises
    ------
    OutOfRange : an argument outside its limits, an unknown edition.
    """

    def fan(cfm50: float) -> FanRequirement:
        leak = float(effective_infiltration(float(ela_in2(float(cfm50))), height_ft, weather_factor))
        return required_fan(floor_ft2, bedrooms, leak, rooms=rooms, edition=edition, balanced=balanced)

    before, after = fan(cfm50_before), fan(cfm50_after)
    newly = after.fan_needed and not before.fan_needed
    if not after.fan_needed:
        sentence = f"By edition {edition} no whole-house fan is needed after the work."
    elif newly:
        sentence = (
            f"By edition {edition} a whole-house fan of {after.fan_cfm:.0f} cfm is now needed; it was not before."
        )
    else:
        sentence = (
            f"By edition {edition} a whole-house fan of {after.fan_cfm:.0f} cfm is needed, {before.fan_cfm:.0f} cfm "
            "before the work."
        )
    return FreshAir(before, after, newly, sentence)
