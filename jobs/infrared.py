"""What an infrared camera should see on a filled wall, what a void would look like, and whether today is a day to look.

Temperatures come from the two-dimensional solver of `estimates.physics.conduction`, one section for each kind and
width of bay. The picture of the whole wall is drawn by `jobs.infrared_picture`. A look is indicative, never proof: a
suspected void is confirmed by a probe or a drill.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from estimates.house import WallRecord
from estimates.linework import BayState
from estimates.physics.conduction import LEAST_INFRARED_DELTA_F, FaceLayer, Infrared, Strip, StripKind, infrared
from estimates.physics.framing import WallLayout
from estimates.physics.materials import material
from estimates.physics.validity import OutOfRange, finite, not_negative, positive

LEAST_SHADE_HOURS = 4.0
"""Hours without sun on the wall before a look. [h] Rule of the firm; ASTM C1060 asks for 3 (S, at second hand)."""

MOST_WIND_MPH = 15.0
"""A look is valid below this wind. [mph] ASTM C1060 (S, at second hand)."""

LEAST_SHOWN_F = 1.0
"""A void that differs by less from sound foam does not stand out from plaster, paint and corners. [degF] CP."""

RETURN_DAYS = 60
"""A wall that was not judged is looked at again within so many days: as after a verification. [days] CP."""


@dataclass(frozen=True, slots=True)
class InfraredDay:
    """The day of a look: air temperatures [degF], hours since sun last stood on the wall [h], wind [mph], and days."""

    on: date
    filled_on: date
    t_in_f: float
    t_out_f: float
    hours_without_sun: float
    wind_mph: float


@dataclass(frozen=True, slots=True)
class InfraredAnswer:
    """Whether a look counts; `reasons` against it, in words; `due` for the return visit, None where it counts."""

    valid: bool
    reasons: tuple[str, ...]
    due: date | None
    words: str


def infrared_day(day: InfraredDay, *, drying_days: int, return_days: int = RETURN_DAYS) -> InfraredAnswer:
    """Whether today's look at a wall is valid.

    Parameters
    ----------
    day : temperatures, sun, wind, day of the look and of the last fill.
    drying_days : of the product, >= 0. [days]
    return_days : time for the return visit, from the day the wall is dry or from the look, whichever is later. [days]

    Returns
    -------
    InfraredAnswer. Limits themselves: 18 degF and 4 h are enough, 15 mph is too much.

    Raises
    ------
    OutOfRange : a temperature that is no number, hours or wind below 0, a look before the fill.

    Notes
    -----
    A wall that was not judged does not hold the invoice.

    References
    ----------
    .. [1] Rules of the firm (FIELD, gates).
    .. [2] ASTM C1060, thermographic inspection of insulation in frame buildings: 18 degF, 3 h without sun, 15 mph, as
       trade articles quote it (S, at second hand; the standard itself was not seen).

    Examples
    --------
    >>> day = InfraredDay(date(2026, 4, 20), date(2026, 3, 2), 68.0, 54.0, 5.0, 6.0)
    >>> infrared_day(day, drying_days=28).words
    'not judged - return visit due by 2026-06-19: inside and outside differ by 14 degF, at least 18 degF wanted'
    """
    warm, cold = float(finite("t_in_f", day.t_in_f)), float(finite("t_out_f", day.t_out_f))
    shade = float(not_negative("hours_without_sun", day.hours_without_sun))
    wind = float(not_negative("wind_mph", day.wind_mph))
    not_negative("drying_days", float(drying_days))
    if day.on < day.filled_on:
        raise OutOfRange("on", day.on.isoformat(), f"a day from {day.filled_on.isoformat()}, when the wall was filled")
    dry = day.filled_on + timedelta(days=drying_days)
    reasons = []
    if abs(warm - cold) < LEAST_INFRARED_DELTA_F:
        reasons.append(
            f"inside and outside differ by {abs(warm - cold):.3g} degF, at least {LEAST_INFRARED_DELTA_F:g} degF wanted"
        )
    if shade < LEAST_SHADE_HOURS:
        reasons.append(f"sun on the wall {shade:g} h ago, at least {LEAST_SHADE_HOURS:g} h wanted")
    if wind >= MOST_WIND_MPH:
        reasons.append(f"wind of {wind:g} mph, less than {MOST_WIND_MPH:g} mph wanted")
    if day.on < dry:
        reasons.append(f"the foam dries until {dry.isoformat()}: water cools the wall")
    if not reasons:
        return InfraredAnswer(True, (), None, "valid - indicative only: confirm a suspected void by probe or drill")
    due = max(day.on, dry) + timedelta(days=return_days)
    words = f"not judged - return visit due by {due.isoformat()}: {'; '.join(reasons)}"
    return InfraredAnswer(False, tuple(reasons), due, words)


@dataclass(frozen=True, slots=True)
class Air:
    """Air temperatures inside and outside. [degF]"""

    t_in_f: float
    t_out_f: float


@dataclass(frozen=True, slots=True)
class Makeup:
    """What a wall is made of.

    outside, inside : layers from the framing outward and from the framing inward. depth_in : of the framing. [in]
    filled_r, batt_r : resistance of a filled bay and of one with old insulation only, None without. [h ft2 degF/Btu]
    """

    outside: tuple[FaceLayer, ...]
    inside: tuple[FaceLayer, ...]
    depth_in: float
    filled_r: float
    batt_r: float | None = None

    @classmethod
    def of(cls, wall: WallRecord, *, filled_r: float, batt_r: float | None = None) -> Makeup:
        """Layers of a wall from its record; `filled_r` as `estimates.heat.foam_r` has it."""
        return cls(
            outside=_layers(wall.sheathing, wall.cladding),
            inside=_layers(wall.inside),
            depth_in=wall.depth_in,
            filled_r=filled_r,
            batt_r=batt_r,
        )


def _layers(*keys: str) -> tuple[FaceLayer, ...]:
    found = [material(key) for key in keys if key != "none"]
    return tuple(FaceLayer(each.thickness_in, each.resistance()) for each in found)


def section(kind: StripKind, width_in: float, makeup: Makeup, air: Air, *, stud_in: float = 1.5) -> Infrared:
    """Inside surface across one bay between two studs, sound foam beyond them.

    Parameters
    ----------
    kind : what fills the bay.
    width_in : clear width of the bay, > 0. [in]
    makeup : layers and resistances of the wall.
    air : air temperatures. [degF]
    stud_in : thickness of the studs, > 0. [in]

    Returns
    -------
    Infrared of five strips: half a sound bay, stud, the bay (third), stud, half a sound bay.

    Raises
    ------
    OutOfRange : a length or resistance that is not positive, equal temperatures, a batt without its resistance.

    Notes
    -----
    Neighbours are taken as filled; a neighbour that is empty as well changes the rim of a bay by tenths of a degree.

    References
    ----------
    .. [1] `estimates.physics.conduction.infrared`, checked there against EN ISO 10211.

    Examples
    --------
    >>> makeup = Makeup((FaceLayer(0.5, 0.8),), (FaceLayer(0.5, 0.45),), 3.5, filled_r=13.7)
    >>> [round(section(kind, 14.5, makeup, Air(70, 20)).strips[2].mean_f) for kind in ("filled", "void")]
    [68, 59]
    """
    width, stud = float(positive("width_in", width_in)), float(positive("stud_in", stud_in))
    sound = StripKind.FILLED
    strips, x = [], 0.0
    for each, wide in (
        (sound, 7.25), (StripKind.STUD, stud), (StripKind(kind), width), (StripKind.STUD, stud), (sound, 7.25)
    ):  # fmt: skip
        strips.append(Strip(x, wide, each))
        x += wide
    cavity_r = {sound: makeup.filled_r}
    if makeup.batt_r is not None:
        cavity_r[StripKind.BATT] = makeup.batt_r
    return infrared(
        strips,
        depth_in=makeup.depth_in,
        outside=makeup.outside,
        inside=makeup.inside,
        cavity_r=cavity_r,
        t_in_f=air.t_in_f,
        t_out_f=air.t_out_f,
        step_in=0.5,
    )


@dataclass(frozen=True, slots=True)
class BaySeen:
    """A bay as the camera should see it: what fills it, mean temperature of its inside surface. [degF]"""

    number: int
    kind: StripKind
    mean_f: float


@dataclass(frozen=True, slots=True)
class Expected:
    """The inside surface of a wall as it should look.

    bays : every bay. stud_f, filled_f, void_f, empty_f : studs; sound foam, a void, an unfilled bay of 14.5 in. [degF]
    batt_f : a bay with old insulation only; None where there is none. [degF]
    difference_f : void less sound foam: negative in winter. [degF]
    shows : whether a void stands out; `words` says it.
    """

    air: Air
    bays: tuple[BaySeen, ...]
    stud_f: float
    filled_f: float
    void_f: float
    empty_f: float
    batt_f: float | None
    difference_f: float
    shows: bool
    words: str


USUAL_BAY_IN = 14.5
"""Clear width of a bay at 16 in centres. [in]"""


def kind_of(state: BayState, *, old_batts: bool = False) -> StripKind:
    """What fills a bay in a state: a doubtful one is shown as the void it may be.

    Examples
    --------
    >>> kind_of(BayState.DOUBTFUL).value, kind_of(BayState.REFUSED, old_batts=True).value
    ('void', 'batt')
    """
    if state in (BayState.FILLED, BayState.PROVEN):
        return StripKind.FILLED
    if state is BayState.DOUBTFUL:
        return StripKind.VOID
    return StripKind.BATT if old_batts else StripKind.EMPTY


def expected(
    layout: WallLayout, states: Mapping[int, BayState], makeup: Makeup, air: Air, *, stud_in: float = 1.5
) -> Expected:
    """Inside-surface temperatures of every bay of a wall, and what a void would show.

    Parameters
    ----------
    layout : the wall as found.
    states : state of each bay by its number; a bay not named is unfilled.
    makeup : layers and resistances of the wall.
    air : air temperatures. [degF]
    stud_in : thickness of the studs, > 0. [in]

    Returns
    -------
    Expected.

    Raises
    ------
    OutOfRange : a bay that the wall does not have, and as `section`.

    Notes
    -----
    One section for each kind and each clear width to a quarter inch; means over the bay. Corners, plates and heads of
    openings look colder than this says, in a sound wall too.

    References
    ----------
    .. [1] As `section`.

    Examples
    --------
    >>> from estimates.physics.framing import lay_out
    >>> wall = WallRecord(id="w", name="North", length_ft=8.0, height_ft=8.0)
    >>> found = lay_out(wall)
    >>> states = {bay.number: BayState.FILLED for bay in found.bays} | {3: BayState.DOUBTFUL}
    >>> seen = expected(found, states, Makeup.of(wall, filled_r=13.7), Air(68.0, 30.0))
    >>> seen.words
    'a void shows 4.9 degF colder than sound foam'
    """
    numbers = {bay.number for bay in layout.bays}
    for number in states:
        if number not in numbers:
            raise OutOfRange("states", f"bay {number}", "bays that the wall has")
    batts = makeup.batt_r is not None
    cache: dict[tuple[StripKind, float], Infrared] = {}

    def across(kind: StripKind, width: float) -> Infrared:
        key = (kind, max(1.0, round(4.0 * width) / 4.0))
        if key not in cache:
            cache[key] = section(*key, makeup, air, stud_in=stud_in)
        return cache[key]

    seen = []
    for bay in layout.bays:
        kind = kind_of(BayState(states.get(bay.number, BayState.LEFT_OUT)), old_batts=batts)
        seen.append(BaySeen(bay.number, kind, across(kind, bay.clear_width_in).strips[2].mean_f))
    sound = across(StripKind.FILLED, USUAL_BAY_IN)
    filled, stud = sound.strips[2].mean_f, sound.strips[1].mean_f
    void = across(StripKind.VOID, USUAL_BAY_IN).strips[2].mean_f
    difference = void - filled
    enough = abs(air.t_in_f - air.t_out_f) >= LEAST_INFRARED_DELTA_F
    shows = enough and abs(difference) >= LEAST_SHOWN_F
    return Expected(
        air=air,
        bays=tuple(seen),
        stud_f=stud,
        filled_f=filled,
        void_f=void,
        empty_f=across(StripKind.EMPTY, USUAL_BAY_IN).strips[2].mean_f,
        batt_f=across(StripKind.BATT, USUAL_BAY_IN).strips[2].mean_f if batts else None,
        difference_f=difference,
        shows=shows,
        words=_shows(difference, enough=enough, shows=shows),
    )


def _shows(difference: float, *, enough: bool, shows: bool) -> str:
    how = f"a void shows {abs(difference):.1f} degF {'colder' if difference < 0 else 'warmer'} than sound foam"
    if shows:
        return how
    if not enough:
        return f"{how}: inside and outside differ by less than {LEAST_INFRARED_DELTA_F:g} degF, not enough today"
    return f"{how}: too little for a camera, {LEAST_SHOWN_F:g} degF wanted"
