"""Combustion safety: what readings mean for the crew, and when a blower door may run at all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum, StrEnum
from types import MappingProxyType

from estimates.house import Vent
from estimates.physics.validity import OutOfRange, finite, not_negative


class Action(IntEnum):
    """What a finding asks for, mild to grave."""

    NOTE = 0
    REPAIR = 1
    STOP = 2
    EVACUATE = 3


@dataclass(frozen=True, slots=True)
class Limit:
    """One row of the limit table. `mark`: S printed number seen, M from memory, CP common practice."""

    value: float
    unit: str
    source: str
    mark: str


@dataclass(frozen=True, slots=True)
class LimitTable:
    """Limits in force under a version. Rows by code; `suction:` and `flue_co:` rows end in the vent's name."""

    version: str
    rows: Mapping[str, Limit]

    def limit(self, code: str) -> Limit:
        """The row of that code, OutOfRange when the table has none."""
        if code not in self.rows:
            raise OutOfRange("limits", f"without a row {code}", "a table with every row of DEFAULT_LIMITS")
        return self.rows[code]


_TRADE = "combustion safety practice of home performance work"

DEFAULT_LIMITS = LimitTable(
    version="2026-01",
    rows=MappingProxyType(
        {
            "ambient_co_note": Limit(9, "ppm", "outdoor 8 h air quality standard, used indoors", "M"),
            "ambient_co_stop": Limit(35, "ppm", "combustion safety standard: stop, make safe", "S"),
            "ambient_co_evacuate": Limit(70, "ppm", "combustion safety standard: leave, call for help", "M"),
            "spillage_s": Limit(300, "s", _TRADE + ", warm vent", "M"),
            f"suction:{Vent.NATURAL_ALONE}": Limit(-2, "Pa", _TRADE, "M"),
            f"suction:{Vent.NATURAL_COMMON}": Limit(-3, "Pa", _TRADE, "M"),
            f"suction:{Vent.NATURAL_HEATING}": Limit(-5, "Pa", _TRADE, "M"),
            f"suction:{Vent.FAN_ASSISTED}": Limit(-15, "Pa", _TRADE, "M"),
            f"suction:{Vent.SEALED}": Limit(-50, "Pa", _TRADE, "M"),
            f"flue_co:{Vent.NATURAL_ALONE}": Limit(200, "ppm air-free", "gas water heater standard", "M"),
            f"flue_co:{Vent.NATURAL_COMMON}": Limit(400, "ppm air-free", "gas furnace standard", "M"),
            f"flue_co:{Vent.NATURAL_HEATING}": Limit(400, "ppm air-free", "gas furnace standard", "M"),
            f"flue_co:{Vent.FAN_ASSISTED}": Limit(400, "ppm air-free", "gas furnace standard", "M"),
            f"flue_co:{Vent.SEALED}": Limit(400, "ppm air-free", "gas furnace standard", "M"),
            f"flue_co:{Vent.UNVENTED}": Limit(225, "ppm as measured", "oven bottom, " + _TRADE, "M"),
        }
    ),
)
"""Starting limits; a firm loads its own rows. Suction: most negative zone pressure the vent bears, worst case."""


@dataclass(frozen=True, slots=True)
class ApplianceReading:
    """Readings at one appliance. None: not measured.

    `spillage_s` seconds until spillage stopped [s]; `suction_pa` zone pressure to outside under worst case [Pa], below
    0 when sucked; `flue_co_ppm` in the units of the limit row [ppm]; `restored` set back on after the test.
    """

    name: str
    vent: Vent
    spillage_s: float | None
    suction_pa: float | None
    flue_co_ppm: float | None
    restored: bool


@dataclass(frozen=True, slots=True)
class CombustionReadings:
    """One round of combustion tests. None: not done. `ambient_co_ppm` highest reading in the rooms [ppm]."""

    gas_leak_found: bool | None
    ambient_co_ppm: float | None
    appliances: tuple[ApplianceReading, ...]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found: what to do, at what, the reading against its limit, and the sentence for the crew."""

    code: str
    action: Action
    subject: str
    reading: float | None
    limit: Limit | None
    text: str


@dataclass(frozen=True, slots=True)
class CombustionFindings:
    """All findings, gravest first, and the gravest action. Work goes on only when `may_work`."""

    version: str
    action: Action
    findings: tuple[Finding, ...]

    @property
    def may_work(self) -> bool:
        """False when anything says stop or evacuate."""
        return self.action < Action.STOP


def combustion_findings(readings: CombustionReadings, limits: LimitTable = DEFAULT_LIMITS) -> CombustionFindings:
    """What a round of combustion tests means.

    Parameters
    ----------
    readings : one round of tests.
    limits : limit table in force.

    Returns
    -------
    CombustionFindings: a gas leak, 70 ppm in the rooms evacuate; 35 ppm, spillage, too much suction, too much flue CO,
    a test not done or an appliance left off stop the work; 9 ppm asks for a repair.

    Raises
    ------
    OutOfRange : a reading that is negative or no finite number, a missing limit row.

    Notes
    -----
    A reading equal to a limit counts as over it (CO, spillage) or as within it (suction).

    References
    ----------
    .. [1] Source and mark of every limit stand in its row.

    Examples
    --------
    >>> result = combustion_findings(CombustionReadings(False, 36.0, ()))
    >>> result.action.name, result.may_work
    ('STOP', False)
    """
    found = [*_gas(readings.gas_leak_found), *_ambient(readings.ambient_co_ppm, limits)]
    for index, appliance in enumerate(readings.appliances):
        found += _appliance(f"appliances[{index}]", appliance, limits)
    found.sort(key=lambda finding: -finding.action)
    worst = found[0].action if found else Action.NOTE
    return CombustionFindings(limits.version, worst, tuple(found))


def _gas(found: bool | None) -> list[Finding]:
    if found is None:
        text = "Gas-leak survey not done. Do it before anything else."
        return [Finding("gas_survey_missing", Action.STOP, "gas piping", None, None, text)]
    if not found:
        return []
    text = "Gas leak. No switches, no flames. Leave the house and call the gas utility from outside."
    return [Finding("gas_leak", Action.EVACUATE, "gas piping", None, None, text)]


def _ambient(ppm: float | None, limits: LimitTable) -> list[Finding]:
    if ppm is None:
        text = "Carbon monoxide in the rooms not measured. Measure before work starts and keep the meter on."
        return [Finding("ambient_co_missing", Action.STOP, "rooms", None, None, text)]
    reading = float(not_negative("ambient_co_ppm", float(ppm)))
    tiers = (
        ("ambient_co_evacuate", Action.EVACUATE, "Everyone out now. Call emergency services from outside."),
        ("ambient_co_stop", Action.STOP, "Stop. Turn appliances off, open windows, find the source before going on."),
        ("ambient_co_note", Action.REPAIR, "Tell the occupants, open windows, find the source."),
    )
    for code, action, order in tiers:
        row = limits.limit(code)
        if reading >= row.value:
            text = f"Carbon monoxide {reading:g} {row.unit} in the rooms, limit {row.value:g}. {order}"
            return [Finding(code, action, "rooms", reading, row, text)]
    return []


def _appliance(path: str, appliance: ApplianceReading, limits: LimitTable) -> list[Finding]:
    name, found = appliance.name, []

    def stop(code: str, reading: float | None, row: Limit | None, text: str) -> None:
        found.append(Finding(code, Action.STOP, name, reading, row, f"{name}: {text}"))

    vented = appliance.vent is not Vent.UNVENTED
    if vented and appliance.vent is not Vent.SEALED:
        if appliance.spillage_s is None:
            stop("spillage_missing", None, None, "spillage not tested. Test under worst case.")
        else:
            reading, row = float(not_negative(f"{path}.spillage_s", appliance.spillage_s)), limits.limit("spillage_s")
            if reading >= row.value:
                stop("spillage", reading, row, f"still spills after {reading:g} s, limit {row.value:g}. Turn it off.")
    if vented:
        if appliance.suction_pa is None:
            stop("suction_missing", None, None, "zone pressure not measured. Measure under worst case.")
        else:
            reading = float(finite(f"{path}.suction_pa", float(appliance.suction_pa)))
            row = limits.limit(f"suction:{appliance.vent}")
            if reading < row.value:
                stop("suction", reading, row, f"zone at {reading:g} Pa, limit {row.value:g}. Give it air or reroute.")
    if appliance.flue_co_ppm is None:
        stop("flue_co_missing", None, None, "flue carbon monoxide not measured. Measure at steady state.")
    else:
        reading = float(not_negative(f"{path}.flue_co_ppm", float(appliance.flue_co_ppm)))
        row = limits.limit(f"flue_co:{appliance.vent}")
        if reading >= row.value:
            stop("flue_co", reading, row, f"{reading:g} {row.unit} in the flue, limit {row.value:g}. Have it serviced.")
    if not appliance.restored:
        stop("not_restored", None, None, "not set back on after the test. Restore it and relight before leaving.")
    return found


class Hazard(StrEnum):
    """Answer about something that a blower door could blow into the rooms."""

    ABSENT = "absent"
    SAMPLED_NEGATIVE = "sampled negative"
    UNKNOWN = "not yet known"
    PRESENT = "present"


@dataclass(frozen=True, slots=True)
class BlowerDoorPermission:
    """Whether the fan may run, in either direction, and every reason why not."""

    allowed: bool
    reasons: tuple[str, ...]


def blower_door_allowed(
    *, vermiculite: Hazard, asbestos: Hazard, fire: bool, hot_ash: bool, appliances_disabled: bool
) -> BlowerDoorPermission:
    """Whether a blower door may run.

    Parameters
    ----------
    vermiculite, asbestos : what is known; only absent or a recorded negative sample let the fan run.
    fire : a fire burns in a hearth or stove.
    hot_ash : ash in a hearth or stove is not known to be cold.
    appliances_disabled : every combustion appliance is set so that it cannot fire.

    Returns
    -------
    BlowerDoorPermission; the same holds for blowing in and sucking out.

    Raises
    ------
    Nothing: every answer is one of the words given.

    Notes
    -----
    A list of conditions, no equation: the fan runs only when none stands against it.

    References
    ----------
    .. [1] Safety practice of home performance work, from memory; decides less than local code and the maker's sheet.

    Examples
    --------
    >>> blower_door_allowed(vermiculite=Hazard.ABSENT, asbestos=Hazard.SAMPLED_NEGATIVE, fire=False, hot_ash=False,
    ...     appliances_disabled=True)
    BlowerDoorPermission(allowed=True, reasons=())
    """
    reasons = []
    for name, hazard in (("vermiculite", vermiculite), ("suspect asbestos", asbestos)):
        if hazard is Hazard.PRESENT:
            reasons.append(f"{name} is present: no fan in either direction unless a sample is recorded negative")
        elif hazard is Hazard.UNKNOWN:
            reasons.append(f"{name} is not yet known: look, and sample when in doubt, before the fan runs")
    if fire:
        reasons.append("a fire is burning: let it die and its ash cool")
    if hot_ash:
        reasons.append("ash may be hot: remove it or wait until it is cold")
    if not appliances_disabled:
        reasons.append("combustion appliances can fire: disable them first, restore them after")
    return BlowerDoorPermission(not reasons, tuple(reasons))
