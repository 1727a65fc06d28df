"""The lead rule: how much painted surface the work disturbs, whether that asks for lead-safe work, and its papers.

Areas are exact and never rounded before they are judged. Whatever is not known counts as painted with lead.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from estimates.house import Access, Cladding, HouseRecord, Verdict
from estimates.physics.validity import OutOfRange, not_negative, positive
from estimates.rules import NOT_ADVICE, RuleRow, needed_rule, number_of, whole_of
from estimates.start import StartGate
from estimates.takeoff import Takeoff, WallTakeoff

IN2_PER_FT2 = 144.0

OUTSIDE = "outside"
"""The name of the one place that every outside wall is part of."""

LEAD_GATE = "lead_paint"
"""Id of the hazard gate that asks about lead."""

LAP_IN = 1.0
"""How far a lifted course runs under the one above, painted. [in] Common practice, no source."""

_TIE = 1e-9
"""Areas that differ by less are equal: sums of binary fractions. [ft2]"""


class Practice(StrEnum):
    """Work practices that the rule prohibits or restricts. Source: 40 CFR 745.85(a)(3), from memory (M)."""

    OPEN_FLAME = "open flame burning or torching of paint"
    MACHINE_WITHOUT_FILTER = "sanding, grinding, planing or blasting by machine without filtered exhaust"
    HEAT_GUN = "heat gun at or above 1100 degF on paint"


@dataclass(frozen=True, slots=True)
class Holes:
    """Equal holes through painted surface; each painted layer drilled counts."""

    diameter_in: float
    count: int
    painted_layers: int = 1

    @property
    def area_ft2(self) -> float:
        r"""Painted surface disturbed, :math:`n \pi d^2 / 4` for each layer. [ft2]

        Examples
        --------
        >>> round(Holes(2.0, 1).area_ft2, 5)
        0.02182
        """
        diameter = float(positive("diameter_in", float(self.diameter_in)))
        count = float(not_negative("count", float(self.count)))
        layers = float(not_negative("painted_layers", float(self.painted_layers)))
        return count * layers * math.pi * diameter**2 / 4 / IN2_PER_FT2


@dataclass(frozen=True, slots=True)
class RemovedPiece:
    """Painted pieces taken off, whole or in part: their full painted face counts, the lap under the next course too.

    `face_in` painted width of the face: exposure and lap; `loosened` neighbours loosened with it, same size.
    `kind_ft2` all painted surface of that small kind of component in the place, None where it is not a small one.
    """

    name: str
    length_ft: float
    face_in: float
    count: int = 1
    loosened: int = 0
    ruined: bool = False
    kind_ft2: float | None = None

    @property
    def area_ft2(self) -> float:
        """Painted surface disturbed. [ft2]

        Examples
        --------
        >>> RemovedPiece("course", 40.0, 6.0).area_ft2
        20.0
        """
        length = float(not_negative("length_ft", float(self.length_ft)))
        face = float(positive("face_in", float(self.face_in)))
        pieces = float(not_negative("count", float(self.count))) + float(not_negative("loosened", float(self.loosened)))
        return pieces * length * face / 12.0


@dataclass(frozen=True, slots=True)
class PaintedWork:
    """Work on painted surface in one place on one day.

    `place` name of the room, or OUTSIDE for the whole outside of the house; `lead_free_test` the report that found the
    components of this work free of lead, "" without one.
    """

    place: str
    on: date
    holes: tuple[Holes, ...] = ()
    removed: tuple[RemovedPiece, ...] = ()
    window_replaced: bool = False
    demolition: bool = False
    practices: tuple[Practice, ...] = ()
    lead_free_test: str = ""

    @property
    def area_ft2(self) -> float:
        """Painted surface disturbed. [ft2]"""
        return math.fsum([hole.area_ft2 for hole in self.holes] + [piece.area_ft2 for piece in self.removed])

    @property
    def forcing(self) -> tuple[str, ...]:
        """What makes the rule hold at any size."""
        found = [f"{piece.name} is expected to be ruined: that is demolition" for piece in self.removed if piece.ruined]
        found += ["a window is replaced"] if self.window_replaced else []
        found += ["painted surface is demolished"] if self.demolition else []
        return (*found, *(f"prohibited or restricted practice: {practice}" for practice in self.practices))


@dataclass(frozen=True, slots=True)
class PlaceArea:
    """The most painted surface disturbed in a place within the days that count as one job, and its limit. [ft2]"""

    place: str
    area_ft2: float
    limit_ft2: float
    first_on: date
    last_on: date
    rule: RuleRow

    @property
    def over(self) -> bool:
        """Whether it is more than the limit; exactly the limit is exempt."""
        return self.area_ft2 > self.limit_ft2 + _TIE


@dataclass(frozen=True, slots=True)
class LeadFinding:
    """Whether the lead rule holds, why, and the areas behind it. `built_outside`: the house is too young for it."""

    holds: bool
    built_outside: bool
    reasons: tuple[str, ...]
    areas: tuple[PlaceArea, ...]
    released: tuple[str, ...]
    caution: str = NOT_ADVICE


def lead_finding(
    rows: Iterable[RuleRow],
    places: Sequence[str],
    work: Sequence[PaintedWork],
    *,
    year_built: int,
    on: date,
    federally_assisted: bool = False,
) -> LeadFinding:
    r"""Whether the lead rule holds for the work.

    Parameters
    ----------
    rows, places : the rule table and the jurisdictions of the house; a state's row takes the place of the federal one.
    work : all work on painted surface in this house, done and planned.
    year_built : of the house.
    on : day for which the rules are looked up.
    federally_assisted : housing or work paid with federal housing money.

    Returns
    -------
    LeadFinding. The limit is exempt itself; each room is judged alone and the whole outside together.

    Raises
    ------
    OutOfRange : a size that is negative, or no number.
    RuleMissing, BadRule : a row the rule needs is missing or holds no number.

    Notes
    -----
    .. math:: A = \sum n \pi d^2 / 4 + \sum l w

    summed over every window of the days that count as one job, both its first and last day included.

    References
    ----------
    .. [1] 40 CFR 745.83, minor repair and maintenance activities (S).
    .. [2] 24 CFR 35.1350(d) for federally assisted housing (S).

    Examples
    --------
    >>> from estimates.rules import load_rules
    >>> day = date(2026, 3, 2)
    >>> work = [PaintedWork("hall", day, (Holes(2.0, 276),))]
    >>> lead_finding(load_rules(), ("US",), work, year_built=1926, on=day).reasons
    ('hall: 6.02 ft2 disturbed, more than 6 ft2',)
    """
    table = list(rows)
    built_before = whole_of(needed_rule(table, places, "lead.built_before", on))
    if year_built >= built_before:
        reason = f"built in {year_built}, not before {built_before}"
        return LeadFinding(False, True, (reason,), (), ())
    free = [item for item in work if item.lead_free_test.strip()]
    counted = [item for item in work if not item.lead_free_test.strip()]
    same_job = whole_of(needed_rule(table, places, "lead.same_job_days", on), low=1)
    reasons = [f"{item.place}: {why}" for item in counted for why in item.forcing]
    areas = []
    for place in sorted({item.place for item in counted}):
        rule = needed_rule(table, places, _limit_topic(place, federally_assisted), on)
        areas.append(_most(place, [item for item in counted if item.place == place], same_job, rule))
        if areas[-1].over:
            area = areas[-1]
            reasons.append(f"{place}: {area.area_ft2:.2f} ft2 disturbed, more than {area.limit_ft2:g} ft2")
    if federally_assisted:
        share = number_of(needed_rule(table, places, "lead.assisted_exempt_share_of_component", on))
        reasons += _small_components(counted, share)
    released = tuple(f"{item.place}: free of lead by {item.lead_free_test}" for item in free)
    return LeadFinding(bool(reasons), False, tuple(reasons), tuple(areas), released)


def _limit_topic(place: str, assisted: bool) -> str:
    kind = "outside" if place == OUTSIDE else "inside_room"
    return f"lead.{'assisted_' if assisted else ''}exempt_ft2_{kind}"


def _most(place: str, work: list[PaintedWork], days: int, rule: RuleRow) -> PlaceArea:
    """The greatest sum over any window of so many days."""
    best: tuple[float, date, date] | None = None
    for first in sorted({item.on for item in work}):
        inside = [item for item in work if first <= item.on <= first + timedelta(days=days)]
        area = math.fsum(item.area_ft2 for item in inside)
        if best is None or area > best[0]:
            best = (area, first, max(item.on for item in inside))
    assert best is not None
    return PlaceArea(place, best[0], number_of(rule), best[1], best[2], rule)


def _small_components(work: list[PaintedWork], share: float) -> Iterable[str]:
    for item in work:
        for piece in item.removed:
            if piece.kind_ft2 is None:
                continue
            part = piece.area_ft2 / float(positive(f"{piece.name} kind_ft2", float(piece.kind_ft2)))
            if part > share + _TIE:
                yield f"{item.place}: {part:.0%} of {piece.name} disturbed, more than {share:.0%}"


PAINT_FREE = frozenset({Cladding.VINYL, Cladding.ALUMINIUM, Cladding.BRICK_VENEER})
"""Claddings that come without house paint; painted ones are named by the assessor. Common practice (CP)."""


def wall_work(
    wall: WallTakeoff,
    *,
    on: date,
    hole_in: float,
    room: str = "",
    lap_in: float = LAP_IN,
    painted_layers: int = 1,
    cladding_painted: bool | None = None,
) -> PaintedWork:
    """What injecting one wall disturbs, from its own takeoff.

    Parameters
    ----------
    wall : the wall, counted.
    on : day of the work.
    hole_in : diameter of the holes, > 0. [in]
    room : room that is drilled from inside; needed for that access.
    lap_in : how far a course runs under the one above, painted, >= 0. [in]
    painted_layers : painted layers that each hole goes through (plaster and an old wainscot are two).
    cladding_painted : whether the outside is painted; None: as usual for that cladding.

    Returns
    -------
    PaintedWork: courses lifted with exposure and lap, or holes through the cladding, or holes through the room's face.

    Raises
    ------
    OutOfRange : drilled from inside without a room, a size outside its limits.
    """
    painted = wall.wall.cladding not in PAINT_FREE if cladding_painted is None else cladding_painted
    holes = (Holes(hole_in, wall.plugs, painted_layers),)
    if wall.wall.access is Access.DRILL_INSIDE:
        if not room.strip():
            raise OutOfRange("room", room, "the room that is drilled, because each room is judged alone")
        return PaintedWork(room, on, holes)
    if not painted:
        return PaintedWork(OUTSIDE, on)
    if wall.wall.access is Access.DRILL_CLADDING:
        return PaintedWork(OUTSIDE, on, holes)
    face = wall.wall.cladding_exposure_in + float(not_negative("lap_in", lap_in))
    return PaintedWork(OUTSIDE, on, (), (RemovedPiece("lifted course", wall.cladding_lift_ft, face),))


def option_lead(
    house: HouseRecord, chosen: Takeoff, rows: Iterable[RuleRow], places: Sequence[str], *, on: date, hole_in: float
) -> tuple[LeadFinding, tuple[str, ...]]:
    """The lead rule over an option of a house: what it finds, and the walls that are worked lead-safe.

    Parameters
    ----------
    house, chosen : the house, and what of it the option holds.
    rows, places, on : the rule table, the jurisdictions of the house, the day of looking up.
    hole_in : diameter of the holes. [in]

    Returns
    -------
    The finding, and ids of walls: every wall with painted work where the rule holds, and any wall whose answer to the
    lead gate asks for controls. A clear answer to the gate is a test that found its walls free of lead.
    """
    table = list(rows)
    answers = [answer for answer in house.gate_answers if answer.hazard == LEAD_GATE]
    work = []
    for counted in chosen.priced_walls:
        wall = counted.wall
        if wall.access is Access.DRILL_INSIDE and wall.painted is False:
            continue
        found = wall_work(
            counted, on=on, hole_in=hole_in, room=wall.room or wall.name, lap_in=LAP_IN, cladding_painted=wall.painted
        )
        about = [answer for answer in answers if answer.covers(wall.id)]
        free = [answer for answer in about if answer.verdict is Verdict.CLEAR]
        tested = "" if not free or len(free) < len(about) else free[-1].sample or free[-1].note or "recorded test"
        work.append((wall.id, replace(found, lead_free_test=tested)))
    finding = lead_finding(
        table,
        places,
        [item for _, item in work],
        year_built=house.year_built,
        on=on,
        federally_assisted=house.federally_assisted,
    )
    if finding.built_outside:
        return finding, ()
    names = [counted.wall.id for counted in chosen.priced_walls]
    controls = [answer for answer in answers if answer.verdict is Verdict.CONTROLS]
    asked = {name for name in names if any(answer.covers(name) for answer in controls)}
    painted = {name for name, item in work if finding.holds and item.area_ft2 > 0 and not item.lead_free_test}
    return finding, tuple(name for name in names if name in asked | painted)


# --- papers of lead work -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Certificate:
    """A certificate of the firm or of the renovator; None: not recorded."""

    name: str
    valid_from: date | None
    valid_to: date | None


@dataclass(frozen=True, slots=True)
class Pamphlet:
    """When the pamphlet was given or mailed, with proof. None: not yet."""

    given_on: date | None
    mailed: bool = False
    proof: str = ""


def lead_start_gates(
    rows: Iterable[RuleRow],
    places: Sequence[str],
    *,
    firm: Certificate,
    renovator: Certificate,
    pamphlet: Pamphlet,
    on: date,
) -> tuple[StartGate, ...]:
    """Start gates of a job under the lead rule: both certificates valid on the day, and the pamphlet in its window.

    Parameters
    ----------
    rows, places, on : the rule table, the jurisdictions of the house, the day of looking up.
    firm, renovator, pamphlet : what is recorded.

    References
    ----------
    .. [1] 40 CFR 745.84: at most 60 days before the work begins; mailed at least 7 days before (S for the 7, M for 60).
    """
    table = list(rows)
    most = needed_rule(table, places, "lead.pamphlet_days", on)
    mailed = needed_rule(table, places, "lead.pamphlet_mailed_days", on)
    gates = [
        StartGate(f"certificate of {holder.name}", holder.valid_from, holder.valid_to, same_day=True)
        for holder in (firm, renovator)
    ]
    given = pamphlet.given_on if pamphlet.proof.strip() else None
    opens = given if given is None or not pamphlet.mailed else given + timedelta(days=whole_of(mailed))
    ends = None if given is None else given + timedelta(days=whole_of(most))
    rule = mailed if pamphlet.mailed else most
    return (*gates, StartGate("lead pamphlet with proof", opens, ends, same_day=True, rule=rule.quote))


@dataclass(frozen=True, slots=True)
class RecordsDue:
    """Until when owner and occupant get the records of lead work, and until when they are kept."""

    give_by: date
    keep_until: date


def records_due(
    rows: Iterable[RuleRow], places: Sequence[str], *, completed_on: date, final_invoice_on: date | None
) -> RecordsDue:
    """When records of lead work are due and how long they are kept.

    Parameters
    ----------
    rows, places : the rule table and the jurisdictions of the house.
    completed_on : day on which the work was complete.
    final_invoice_on : day of the final invoice, None while there is none.

    References
    ----------
    .. [1] 40 CFR 745.86: with the final invoice or within 30 days of completion, whichever is earlier; 3 years (S).

    Examples
    --------
    >>> from estimates.rules import load_rules
    >>> records_due(load_rules(), ("US",), completed_on=date(2024, 2, 29), final_invoice_on=None)
    RecordsDue(give_by=datetime.date(2024, 3, 30), keep_until=datetime.date(2027, 3, 1))
    """
    table = list(rows)
    give_by = completed_on + timedelta(days=whole_of(needed_rule(table, places, "lead.records_days", completed_on)))
    if final_invoice_on is not None:
        give_by = min(give_by, final_invoice_on)
    year = completed_on.year + whole_of(needed_rule(table, places, "lead.records_years", completed_on), low=1)
    try:
        keep_until = completed_on.replace(year=year)
    except ValueError:  # 29 February in a year without one
        keep_until = date(year, 3, 1)
    return RecordsDue(give_by, keep_until)
