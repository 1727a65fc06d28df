"""Whether a wall may be injected and then covered: wet framing, drying, cold.

Readings come in as they were taken; this says what they stop, until when, and who may let it go on.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from estimates.physics.drying import FRAMING_MOISTURE_LIMIT
from estimates.physics.validity import OutOfRange, finite, within
from estimates.pricebook import FoamProduct

# --- moisture of framing ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FramingReading:
    """Moisture content of framing. [lb/lb] `bay` marks a reference bay; None where it is none."""

    wall_id: str
    on: date
    content: float
    bay: int | None = None


def wet_walls(
    readings: Iterable[FramingReading], walls: Sequence[str], *, limit: float = FRAMING_MOISTURE_LIMIT
) -> dict[str, str]:
    """Walls that may not be injected, with why: framing above the limit, or not measured.

    Parameters
    ----------
    readings : every reading; the latest day of a wall counts, and of that day the wettest.
    walls : ids of the walls to be injected.
    limit : greatest moisture content, above 0 to 0.5. [lb/lb]

    Raises
    ------
    OutOfRange : a reading or limit that is no moisture content as a share (a meter's 18 % is 0.18).

    Examples
    --------
    >>> wet_walls([FramingReading("n", date(2026, 3, 2), 0.21)], ["n"])
    {'n': 'framing at 21.0 %, limit 18.0 %: let it dry and measure again'}
    """
    most = _share("limit", limit)
    held = {}
    known = list(readings)
    for wall in walls:
        mine = [reading for reading in known if reading.wall_id == wall]
        if not mine:
            held[wall] = "framing not measured: measure it before injecting"
            continue
        day = max(reading.on for reading in mine)
        wettest = max(_share("content", reading.content) for reading in mine if reading.on == day)
        if wettest > most:
            held[wall] = f"framing at {wettest:.1%}, limit {most:.1%}: let it dry and measure again".replace("%", " %")
    return held


def _share(name: str, value: float) -> float:
    number = float(within(name, float(value), 0.0, 1.0))
    if name == "limit" and not 0.0 < number <= 0.5:
        raise OutOfRange(name, number, "a share above 0, at most 0.5")
    return number


@dataclass(frozen=True, slots=True)
class DryingRelease:
    """Somebody's word that the drying days have passed and the wall may be covered tightly."""

    by: str
    on: date
    reason: str


@dataclass(frozen=True, slots=True)
class DryingHold:
    """What a filled wall still waits for. `until`: day from which drying days alone may be released."""

    held: bool
    until: date
    holds: tuple[str, ...]
    allowed: tuple[str, ...]
    why: str


TIGHT_COVERS = ("low-permeance paint", "wallpaper", "foil", "membrane", "certificate")
"""What the hold is about. Weathertight, vapour-open close-up is never held."""


def drying_hold(
    *,
    filled_on: date,
    today: date,
    product: FoamProduct,
    reference_bays: Collection[int],
    readings: Iterable[FramingReading] = (),
    release: DryingRelease | None = None,
    limit: float = FRAMING_MOISTURE_LIMIT,
) -> DryingHold:
    """What may cover a wall after it was filled with wet foam.

    Parameters
    ----------
    filled_on, today : day of the last fill of this wall, and the day it is asked.
    product : the foam, with its drying days.
    reference_bays : bays marked for measuring again.
    readings : readings of this wall; only those of marked bays after the fill count.
    release : recorded word that the drying days have passed; one of before that day lifts nothing.
    limit : greatest moisture content. [lb/lb]

    Returns
    -------
    DryingHold. It ends when the latest reading of every marked bay is at or below the limit, or by a release on or
    after the product's drying days.

    Raises
    ------
    OutOfRange : a reading or limit that is no share.
    """
    most = _share("limit", limit)
    until = filled_on + timedelta(days=product.drying_days)
    open_close_up = ("weathertight vapour-open close-up on the same day",)
    latest: dict[int, tuple[date, float]] = {}
    for reading in readings:
        if reading.bay is None or reading.bay not in reference_bays or not filled_on < reading.on <= today:
            continue
        content = _share("content", reading.content)
        old = latest.get(reading.bay)
        if old is None or (reading.on, content) > old:
            latest[reading.bay] = (reading.on, content)
    dry = bool(reference_bays) and all(bay in latest and latest[bay][1] <= most for bay in reference_bays)
    released = (
        release is not None and until <= release.on <= today and bool(release.by.strip() and release.reason.strip())
    )
    if dry or released:
        why = "reference bays read dry" if dry else "drying days passed, release recorded"
        return DryingHold(False, until, (), (*open_close_up, *TIGHT_COVERS), why)
    wet = [bay for bay in sorted(reference_bays) if bay not in latest or latest[bay][1] > most]
    named = f"reference bays {', '.join(map(str, wet))} not yet read at or below {most:.0%}" if wet else "no bay marked"
    return DryingHold(True, until, TIGHT_COVERS, open_close_up, f"{named}; or release from {until.isoformat()} on")


# --- temperature -----------------------------------------------------------------------------------------------------

FREEZING_F = 32.0


@dataclass(frozen=True, slots=True)
class TemperatureLimits:
    """Least and greatest temperature of each thing. [degF] None: no limit that side."""

    least: Mapping[str, float]
    greatest: Mapping[str, float]


THINGS = ("air", "substrate", "chemical", "water")
"""What is measured before injecting."""


def product_limits(product: FoamProduct) -> TemperatureLimits:
    """The product's written limits: its least temperature holds for everything that is measured.

    The default of 40 degF for water-based foams is common practice (CP).
    """
    return TemperatureLimits(dict.fromkeys(THINGS, product.least_temp_f), {})


@dataclass(frozen=True, slots=True)
class TemperatureReading:
    """Temperatures at one wall. [degF] None: not measured. `forecast_low_f` is that of the days until it is dry."""

    wall_id: str
    slot: str
    air_f: float | None
    substrate_f: float | None
    chemical_f: float | None
    water_f: float | None
    forecast_low_f: float | None


@dataclass(frozen=True, slots=True)
class InjectingAnswer:
    """Whether a wall may be injected now. `releasable`: only the firm's stricter limits stand against it."""

    allowed: bool
    reasons: tuple[str, ...]
    releasable: bool


def may_inject(
    reading: TemperatureReading,
    product: TemperatureLimits,
    *,
    firm: TemperatureLimits | None = None,
    released: bool = False,
) -> InjectingAnswer:
    """Whether temperatures let a wall be injected.

    Parameters
    ----------
    reading : temperatures at the wall and the forecast low.
    product : the product's written limits, which nobody may release.
    firm : stricter limits of the firm, which the owner may release; None: none.
    released : whether the owner did.

    Returns
    -------
    InjectingAnswer. A reading equal to a limit is within it; a forecast low of 32 degF or less freezes; what is not
    measured stops.

    Raises
    ------
    OutOfRange : a temperature that is no finite number.

    Examples
    --------
    >>> cold = TemperatureReading("n", "start", 38.0, 41.0, 60.0, 55.0, 35.0)
    >>> may_inject(cold, TemperatureLimits(dict.fromkeys(THINGS, 40.0), {})).reasons
    ('air at 38 degF, at least 40 degF wanted: wait',)
    """
    values = dict(zip(THINGS, (reading.air_f, reading.substrate_f, reading.chemical_f, reading.water_f), strict=True))
    hard = [f"{name} temperature not measured: measure it" for name, value in values.items() if value is None]
    measured = {name: float(finite(f"{name}_f", float(v))) for name, v in values.items() if v is not None}
    hard += _outside(measured, product)
    if reading.forecast_low_f is None:
        hard.append("forecast low until dry not entered: look it up")
    elif float(finite("forecast_low_f", float(reading.forecast_low_f))) <= FREEZING_F:
        hard.append(f"forecast low of {reading.forecast_low_f:g} degF before the foam is dry: it would freeze; wait")
    soft = [] if firm is None else [why for why in _outside(measured, firm) if why not in hard]
    blocking = hard + ([] if released else soft)
    return InjectingAnswer(not blocking, tuple(blocking), bool(soft) and not hard)


def _outside(measured: Mapping[str, float], limits: TemperatureLimits) -> list[str]:
    found = []
    for name, value in measured.items():
        low, high = limits.least.get(name), limits.greatest.get(name)
        if low is not None and value < low:
            found.append(f"{name} at {value:g} degF, at least {low:g} degF wanted: wait")
        if high is not None and value > high:
            found.append(f"{name} at {value:g} degF, at most {high:g} degF wanted: wait")
    return found


START, MIDDAY = "start", "midday"


def missing_readings(
    readings: Iterable[TemperatureReading], faces: Sequence[str], *, past_midday: bool
) -> tuple[str, ...]:
    """Temperature readings that a day of injecting still lacks: at its start, at midday, and after each change of face.

    Parameters
    ----------
    readings : those taken today; `slot` is START, MIDDAY, or the name of a face.
    faces : faces worked on today, in order, the first one covered by the reading at the start.
    past_midday : whether work went on after midday.
    """
    taken = {reading.slot for reading in readings}
    wanted = [START, *([MIDDAY] if past_midday else []), *faces[1:]]
    return tuple(f"no temperatures at {slot}: measure now" for slot in wanted if slot not in taken)
