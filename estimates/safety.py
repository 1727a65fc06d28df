"""Safe to work and to live in: combustion rounds round the work, the fan's leave, and fresh air in a tighter house.

Limits and physics stand in `estimates.physics`; this says which round is missing and what the latest one stops.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from estimates.gates import blower_door
from estimates.house import CombustionRecord, HouseRecord, Round, Vent
from estimates.physics.airtightness import EXPONENT, ela_in2
from estimates.physics.combustion import (
    DEFAULT_LIMITS,
    Action,
    ApplianceReading,
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

NO_TEST_IN = "no combustion test before the work: test before anything alters the house"


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
        missing.append(NO_TEST_IN)
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


DRAFT_OF_THE_HOUSE = {
    Vent.NATURAL_ALONE: "natural draft",
    Vent.NATURAL_COMMON: "natural draft",
    Vent.NATURAL_HEATING: "natural draft",
    Vent.UNVENTED: "no vent",
}
"""Vents that take their air from the rooms and give way first when the house gets tighter."""


@dataclass(frozen=True, slots=True)
class RoundFindings:
    """What one recorded round says, gravest first; `action` is the gravest: note, repair, stop or evacuate."""

    round: Round
    on: str
    action: str
    may_work: bool
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StandingFinding:
    """A finding that stands: of the latest round that tested its subject."""

    action: str
    subject: str
    text: str
    round: Round
    on: str


@dataclass(frozen=True, slots=True)
class HouseCombustion:
    """Combustion in a house by its recorded rounds, limit table named.

    standing : findings that stand, gravest first; missing : tests that must come before the work; may_work : nothing
    is missing and nothing that stands stops the work.
    """

    version: str
    rounds: tuple[RoundFindings, ...]
    standing: tuple[StandingFinding, ...]
    missing: tuple[str, ...]
    may_work: bool

    @property
    def texts(self) -> tuple[str, ...]:
        """Sentences for people, stops first."""
        found = tuple(f"{finding.text} ({_round_words(finding.round)}, {finding.on})" for finding in self.standing)
        return (*found, *self.missing)


def house_combustion(house: HouseRecord, limits: LimitTable = DEFAULT_LIMITS) -> HouseCombustion:
    """What the combustion rounds recorded with a house say before the work.

    Parameters
    ----------
    house : its rounds in any order; of those of one day test-in comes before end of day before test-out.
    limits : limit table in force.

    Returns
    -------
    HouseCombustion. A finding stands until a later round tests the same thing: gas piping, air of the rooms, or an
    appliance of that name. Without any test-in the work may not begin, nor with an appliance that draws its air from
    the rooms and has none.

    Raises
    ------
    OutOfRange : a missing limit row.
    """
    order = list(Round)
    rounds = sorted(house.combustion, key=lambda record: (record.on, order.index(record.round)))
    findings = [combustion_findings(_readings(record), limits) for record in rounds]
    standing: list[tuple[Action, StandingFinding]] = []
    later: set[str] = set()
    for place, (record, found) in enumerate(zip(reversed(rounds), reversed(findings), strict=True)):
        standing += [
            (
                finding.action,
                StandingFinding(
                    _action_words(finding.action), finding.subject, finding.text, record.round, f"{record.on}"
                ),
            )
            for finding in found.findings
            # What a round left out is missing only when no later round made up for it.
            if _key(finding.subject) not in later and (place == 0 or _key(finding.subject) in _tested(record))
        ]
        later |= _tested(record)
    standing.sort(key=lambda pair: -pair[0])
    missing = _missing_tests(rounds)
    return HouseCombustion(
        version=limits.version,
        rounds=tuple(
            RoundFindings(
                record.round,
                record.on.isoformat(),
                _action_words(found.action),
                found.may_work,
                tuple(finding.text for finding in found.findings),
            )
            for record, found in zip(rounds, findings, strict=True)
        ),
        standing=tuple(finding for _, finding in standing),
        missing=missing,
        may_work=not missing and all(action < Action.STOP for action, _ in standing),
    )


def _readings(record: CombustionRecord) -> CombustionReadings:
    appliances = tuple(
        ApplianceReading(a.name, a.vent, a.spillage_s, a.suction_pa, a.flue_co_ppm, a.restored)
        for a in record.appliances
    )
    return CombustionReadings(record.gas_leak_found, record.ambient_co_ppm, appliances)


def _tested(record: CombustionRecord) -> set[str]:
    """What a round tested, by the subjects of its findings."""
    tested = {_key(appliance.name) for appliance in record.appliances}
    if record.gas_leak_found is not None:
        tested.add("gas piping")
    if record.ambient_co_ppm is not None:
        tested.add("rooms")
    return tested


def _key(subject: str) -> str:
    return " ".join(subject.casefold().split())


def _missing_tests(rounds: Iterable[CombustionRecord]) -> tuple[str, ...]:
    known = list(rounds)
    first = [record for record in known if record.round is Round.TEST_IN]
    tested = {_key(appliance.name) for record in first for appliance in record.appliances}
    named = {
        _key(appliance.name): f"{appliance.name} ({DRAFT_OF_THE_HOUSE[appliance.vent]}) has no test before the work: "
        "test it before anything alters the house"
        for record in known
        for appliance in record.appliances
        if appliance.vent in DRAFT_OF_THE_HOUSE and _key(appliance.name) not in tested
    }
    return (*(() if first else (NO_TEST_IN,)), *named.values())


def _action_words(action: Action) -> str:
    return action.name.lower()


def _round_words(kind: Round) -> str:
    return {Round.TEST_IN: "test before the work", Round.DAY_END: "end of day", Round.TEST_OUT: "test after the work"}[
        kind
    ]


# --- the fan ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FanLeave:
    """Whether a blower door may run in a house, in either direction, why not, and what is asked on the day.

    warning : a test is recorded although the fan may not run here; empty where there is no such test.
    """

    allowed: bool
    reasons: tuple[str, ...]
    on_the_day: tuple[str, ...]
    warning: str


ON_THE_DAY = (
    "no fire is burning",
    "ash in hearth and stove is cold",
    "every combustion appliance is set so that it cannot fire, and set back after the test",
)
"""What only the day of the test can tell. Rule: FIELD, Air."""


def fan_leave(house: HouseRecord) -> FanLeave:
    """Whether the recorded gate answers let a blower door run; vermiculite and suspect asbestos decide (rule G2)."""
    found = blower_door(house.gate_answers, house.gate_releases, fire=False, hot_ash=False, appliances_disabled=True)
    warning = ""
    if house.blower_door is not None and not found.allowed:
        warning = f"a blower-door test is recorded, but the fan may not run in this house: {'; '.join(found.reasons)}"
    return FanLeave(found.allowed, found.reasons, ON_THE_DAY, warning)


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
    exponent: float = EXPONENT,
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
    exponent : of the leakage curve, 0.4 to 1.1; it carries CFM50 down to 4 Pa. [-]

    Returns
    -------
    FreshAir; its sentence names the edition.

    Raises
    ------
    OutOfRange : an argument outside its limits, an unknown edition.
    """

    def fan(cfm50: float) -> FanRequirement:
        leak = float(effective_infiltration(float(ela_in2(float(cfm50), exponent)), height_ft, weather_factor))
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
