"""Hazard gates: what is asked of a house before work is promised, and what an answer stops.

An answer is stop, proceed with controls, clear, or not yet known. A stop holds until somebody records its release; a
"not yet known" allows an assessment and a conditional price, and keeps that part from being started.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from pathlib import Path

from estimates.house import GateAnswerRecord, GateReleaseRecord, HouseRecord, Measure, Verdict
from estimates.physics.combustion import BlowerDoorPermission, Hazard, blower_door_allowed
from estimates.records import BadRecord, Fault, choice, code, codes, many, read_record, text, whole

SCHEMA = "cavitybook/hazards/1"

CATALOGUE = Path(__file__).resolve().parent.parent / "fixtures" / "hazards.toml"


class Where(StrEnum):
    """What a hazard is asked of: the house once, or each of its walls, attics, or both."""

    HOUSE = "house"
    WALLS = "walls"
    ATTICS = "attics"
    BOTH = "both"


@dataclass(frozen=True, slots=True, kw_only=True)
class HazardRecord:
    """One gate of the catalogue, with the text that each answer begins with."""

    id: str = code("Short name")
    question: str = text("What the assessor is asked", min_length=1, max_length=300)
    where: Where = choice(Where, "What it is asked of")  # noqa: RUF009 (declares the field, makes no value)
    built_from: int | None = whole(
        "Asked only of houses built in this year or later", low=1600, high=2100, default=None
    )
    built_before: int | None = whole("Asked only of houses built before this year", low=1600, high=2100, default=None)
    measures: tuple[str, ...] | None = codes("Asked only where one of these measures is meant; left out: always")
    stop: str = text("Text of a stop", min_length=1, max_length=300)
    controls: str = text("Text of controls", min_length=1, max_length=300)
    clear: str = text("Text of a clear answer", min_length=1, max_length=300)
    unknown: str = text("Clause that goes with a conditional price", min_length=1, max_length=300)
    source: str = text("Where the gate comes from", default="common practice (CP)")

    def text_of(self, verdict: Verdict) -> str:
        """The default text of an answer."""
        return {
            Verdict.STOP: self.stop,
            Verdict.CONTROLS: self.controls,
            Verdict.CLEAR: self.clear,
            Verdict.UNKNOWN: self.unknown,
        }[verdict]


@dataclass(frozen=True, slots=True, kw_only=True)
class HazardCatalogue:
    """Every gate."""

    schema: str = text(f"Version of this form: {SCHEMA}", pattern=SCHEMA)
    hazards: tuple[HazardRecord, ...] = many(HazardRecord, "Gates", min_items=1)

    def hazard(self, hazard: str) -> HazardRecord:
        """The gate of that id.

        Raises
        ------
        BadRecord : there is none.
        """
        for row in self.hazards:
            if row.id == hazard:
                return row
        raise BadRecord([Fault("hazard", f"no gate {hazard!r}; enter one of {', '.join(h.id for h in self.hazards)}")])


@lru_cache(maxsize=4)
def load_hazards(path: Path = CATALOGUE) -> HazardCatalogue:
    """Read the catalogue of hazard gates.

    Raises
    ------
    BadRecord : not TOML, or faults in it, each with its path and what to enter.
    """
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadRecord([Fault(path.name, f"not valid TOML: {error}")]) from None
    catalogue = read_record(HazardCatalogue, raw, path=path.stem)
    faults = [
        Fault(f"{path.stem}.hazards[{index}].measures", f"no measure {name!r}; enter one of {', '.join(Measure)}")
        for index, row in enumerate(catalogue.hazards)
        for name in row.measures or ()
        if name not in set(Measure)
    ]
    if faults:
        raise BadRecord(faults)
    return catalogue


@dataclass(frozen=True, slots=True)
class HouseFacts:
    """What decides which gates are asked: year, ids of walls, attics and leak sites, measures meant."""

    year_built: int
    walls: tuple[str, ...]
    attics: tuple[str, ...]
    measures: frozenset[Measure]
    leaks: tuple[str, ...] = ()

    @classmethod
    def of(cls, house: HouseRecord) -> HouseFacts:
        """The facts of a measured house."""
        walls = tuple(wall.id for wall in house.walls) + tuple(quick.id for quick in house.quick_walls)
        attics = tuple(attic.id for attic in house.attics)
        meant = (
            (Measure.WALL_INJECTION, bool(walls)),
            (Measure.ATTIC_TOP_UP, bool(attics)),
            (Measure.AIR_SEALING, bool(house.leak_sites)),
        )
        measures = frozenset(measure for measure, there in meant if there)
        return cls(house.year_built, walls, attics, measures, tuple(site.id for site in house.leak_sites))

    def reach(self, hazard: HazardRecord) -> tuple[str, ...]:
        """What an answer about the whole house is about: where a hazard is asked of more than one kind, everything."""
        if hazard.where is Where.WALLS:
            return self.walls
        return self.attics if hazard.where is Where.ATTICS else self.walls + self.attics + self.leaks

    def parts(self, hazard: HazardRecord) -> tuple[str, ...]:
        """Walls and attics that a gate is asked of; () where it is asked of the house, or does not apply at all."""
        if not self.asked(hazard):
            return ()
        walls = self.walls if hazard.where in (Where.WALLS, Where.BOTH) else ()
        return walls + (self.attics if hazard.where in (Where.ATTICS, Where.BOTH) else ())

    def asked(self, hazard: HazardRecord) -> bool:
        """Whether year and measures call for a gate."""
        if hazard.built_before is not None and self.year_built >= hazard.built_before:
            return False
        if hazard.built_from is not None and self.year_built < hazard.built_from:
            return False
        return hazard.measures is None or bool(self.measures & {Measure(name) for name in hazard.measures})


def answer_faults(answer: GateAnswerRecord, facts: HouseFacts, catalogue: HazardCatalogue) -> tuple[Fault, ...]:
    """What an answer lacks: a note always, a photo for stop and controls, who, how and when for "not yet known"."""
    row = catalogue.hazard(answer.hazard)
    known = facts.reach(row)
    wanted = {"note": "enter what was seen and where"}
    if answer.verdict in (Verdict.STOP, Verdict.CONTROLS):
        wanted["photos"] = "enter at least one photo"
    if answer.verdict is Verdict.UNKNOWN:
        wanted |= {
            "verifier": "enter who will find out",
            "how": "enter how it will be found out",
            "before_phase": "enter before which phase of the work",
        }
    faults = [Fault(name, f"empty; {ask}") for name, ask in wanted.items() if not _filled(getattr(answer, name))]
    if answer.parts == ():
        faults.append(Fault("parts", "names nothing; enter walls or attics, or leave it out for the whole house"))
    if answer.parts and row.where is Where.HOUSE:
        faults.append(Fault("parts", f"{row.id} is asked of the whole house; leave it out"))
    elif answer.parts:
        faults += [
            Fault("parts", f"no such part {part!r} for {row.id}; enter one of {', '.join(known) or 'none'}")
            for part in answer.parts
            if part not in known
        ]
    return tuple(faults)


def _filled(value: str | tuple[str, ...]) -> bool:
    return bool(value.strip()) if isinstance(value, str) else any(item.strip() for item in value)


@dataclass(frozen=True, slots=True)
class OpenGate:
    """A gate without an answer: for the house (`parts` ()), or for these walls and attics."""

    hazard: HazardRecord
    parts: tuple[str, ...]

    def __str__(self) -> str:
        return f"{self.hazard.id}: {self.hazard.question}" + (f" ({', '.join(self.parts)})" if self.parts else "")


def open_gates(
    facts: HouseFacts, answers: Sequence[GateAnswerRecord], catalogue: HazardCatalogue
) -> tuple[OpenGate, ...]:
    """Gates that keep an assessment from being completed, in the order of the catalogue.

    Parameters
    ----------
    facts : what decides which gates are asked.
    answers : every answer given; "not yet known" is one, an answer with faults is none.
    catalogue : the gates.

    Returns
    -------
    Gates with the parts that are not yet answered for; empty when the assessment can be completed.

    Examples
    --------
    >>> facts = HouseFacts(1984, ("north",), (), frozenset({Measure.WALL_INJECTION}))
    >>> "lead_paint" in [gate.hazard.id for gate in open_gates(facts, (), load_hazards())]
    False
    >>> str(open_gates(facts, (), load_hazards())[0])[:11]
    'vermiculite'
    """
    good = [answer for answer in answers if not answer_faults(answer, facts, catalogue)]
    found = []
    for row in catalogue.hazards:
        given = [answer for answer in good if answer.hazard == row.id]
        if row.where is Where.HOUSE:
            if facts.asked(row) and not given:
                found.append(OpenGate(row, ()))
            continue
        left = tuple(part for part in facts.parts(row) if not any(answer.covers(part) for answer in given))
        if left:
            found.append(OpenGate(row, left))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class HeldPart:
    """A wall or attic that a gate holds: stopped, or waiting for somebody to find out."""

    part: str
    hazard: str
    verdict: Verdict
    text: str


def held_parts(
    facts: HouseFacts,
    answers: Sequence[GateAnswerRecord],
    releases: Sequence[GateReleaseRecord],
    catalogue: HazardCatalogue,
) -> tuple[HeldPart, ...]:
    """Every wall, attic and leak site that may not be started, with each reason.

    A stop holds until a release on or after its day, whatever was answered later. A "not yet known" holds until a
    definite answer on or after its day. A house-wide stop holds every part.
    """
    held = []
    asked = [
        (row, frozenset(facts.reach(row)), [answer for answer in answers if answer.hazard == row.id])
        for row in catalogue.hazards
    ]
    for part in facts.walls + facts.attics + facts.leaks:
        for row, reach, given in asked:
            about = [answer for answer in given if answer.covers(part)] if part in reach else []
            held += [
                HeldPart(part, row.id, answer.verdict, f"{row.text_of(answer.verdict)} {answer.note}".strip())
                for answer in _standing(about, part, releases)
            ]
    return tuple(held)


def _standing(
    about: list[GateAnswerRecord], part: str, releases: Sequence[GateReleaseRecord]
) -> Iterator[GateAnswerRecord]:
    for answer in about:
        if answer.verdict is Verdict.STOP:
            if not any(release.lifts(answer, part) for release in releases):
                yield answer
        elif answer.verdict is Verdict.UNKNOWN:
            later = [o for o in about if o.verdict is not Verdict.UNKNOWN and o.answered_on >= answer.answered_on]
            if not later:
                yield answer


def stopped_walls(
    facts: HouseFacts,
    answers: Sequence[GateAnswerRecord],
    releases: Sequence[GateReleaseRecord],
    catalogue: HazardCatalogue,
) -> tuple[HeldPart, ...]:
    """Walls, attics and leak sites that may not enter a price: stopped, and not released."""
    return tuple(part for part in held_parts(facts, answers, releases, catalogue) if part.verdict is Verdict.STOP)


class GateClosed(ValueError):
    """A stopped part was to be priced; names every part and why."""


def refuse_stopped(parts: Iterable[str], stopped: Sequence[HeldPart]) -> None:
    """Raise when a scope holds a stopped part.

    Raises
    ------
    GateClosed : with a line for each, and what to do.
    """
    named = set(parts)
    lines = [f"{held.part}: stopped by {held.hazard}. {held.text}" for held in stopped if held.part in named]
    if lines:
        raise GateClosed("\n".join([*lines, "Take it out of the option, or record a release with its reason."]))


def conditional_clauses(
    facts: HouseFacts, answers: Sequence[GateAnswerRecord], catalogue: HazardCatalogue
) -> tuple[str, ...]:
    """Sentences that a conditional price must print: one for each answer "not yet known" that still stands."""
    clauses = []
    for answer in answers:
        if answer.verdict is not Verdict.UNKNOWN:
            continue
        row = catalogue.hazard(answer.hazard)
        about = [other for other in answers if other.hazard == answer.hazard]
        waiting = [
            part
            for part in facts.reach(row)
            if answer.covers(part) and answer in _standing([a for a in about if a.covers(part)], part, ())
        ]
        if waiting:
            place = "" if answer.parts is None else f" ({', '.join(waiting)})"
            clauses.append(
                f"{row.unknown}{place} {answer.verifier} will find out by {answer.how} before {answer.before_phase}; "
                "until then this part is not started."
            )
    return tuple(clauses)


@dataclass(frozen=True, slots=True)
class HouseGates:
    """The gates of a measured house: which are open, what is held and why, and what the price must say."""

    open: tuple[OpenGate, ...]
    held: tuple[HeldPart, ...]
    clauses: tuple[str, ...]
    controls: tuple[HeldPart, ...]

    @property
    def complete(self) -> bool:
        """Whether the assessment can be completed (rule G1)."""
        return not self.open

    def stops(self) -> dict[str, tuple[str, ...]]:
        """Wall, attic or leak site -> why it may not be priced; one that may is not in it."""
        return _by_part((held, f"stopped by {held.hazard}: {held.text}") for held in self.held if _stops(held))

    def cautions(self) -> dict[str, tuple[str, ...]]:
        """Wall, attic or leak site -> what goes with work on it: its controls, and what is not yet known."""
        waiting = (held for held in self.held if not _stops(held))
        return _by_part((held, f"{held.hazard}: {held.text}") for held in (*self.controls, *waiting))


def _stops(held: HeldPart) -> bool:
    return held.verdict is Verdict.STOP


def _by_part(said: Iterable[tuple[HeldPart, str]]) -> dict[str, tuple[str, ...]]:
    found: dict[str, list[str]] = {}
    for held, words in said:
        found.setdefault(held.part, []).append(words)
    return {part: tuple(words) for part, words in found.items()}


def house_gates(house: HouseRecord, catalogue: HazardCatalogue | None = None) -> HouseGates:
    """What the gate answers of a house come to.

    Raises
    ------
    BadRecord : an answer or release about a gate or a part that does not exist, each with its path.
    """
    known = catalogue or load_hazards()
    facts = HouseFacts.of(house)
    faults = list(_reference_faults(house, facts, known))
    if faults:
        raise BadRecord(faults)
    answers, releases = house.gate_answers, house.gate_releases
    controls = [
        HeldPart(part, row.id, Verdict.CONTROLS, f"{row.controls} {answer.note}".strip())
        for answer in answers
        if answer.verdict is Verdict.CONTROLS
        for row in (known.hazard(answer.hazard),)
        for part in facts.reach(row)
        if answer.covers(part)
    ]
    return HouseGates(
        open_gates(facts, answers, known),
        held_parts(facts, answers, releases, known),
        conditional_clauses(facts, answers, known),
        tuple(controls),
    )


def _reference_faults(house: HouseRecord, facts: HouseFacts, catalogue: HazardCatalogue) -> Iterator[Fault]:
    ids = {row.id: row for row in catalogue.hazards}
    given = [(f"$.gate_answers[{i}]", answer.hazard, answer.parts) for i, answer in enumerate(house.gate_answers)]
    given += [(f"$.gate_releases[{i}]", gone.hazard, gone.parts) for i, gone in enumerate(house.gate_releases)]
    for path, hazard, parts in given:
        if hazard not in ids:
            yield Fault(f"{path}.hazard", f"no gate {hazard!r}; enter one of {', '.join(ids)}")
            continue
        reach = facts.reach(ids[hazard])
        for place, part in enumerate(parts or ()):
            if part not in reach:
                yield Fault(
                    f"{path}.parts[{place}]", f"{hazard} is not asked of {part!r}; enter one of {', '.join(reach)}"
                )


def blower_door(
    answers: Sequence[GateAnswerRecord],
    releases: Sequence[GateReleaseRecord],
    *,
    fire: bool,
    hot_ash: bool,
    appliances_disabled: bool,
) -> BlowerDoorPermission:
    """Whether a blower door may run in this house, in either direction, and every reason why not.

    Parameters
    ----------
    answers, releases : of the gates; vermiculite and asbestos decide, an unanswered one counts as not yet known.
    fire, hot_ash, appliances_disabled : as in `estimates.physics.combustion.blower_door_allowed`.
    """
    return blower_door_allowed(
        vermiculite=_dust("vermiculite", answers, releases),
        asbestos=_dust("asbestos", answers, releases),
        fire=fire,
        hot_ash=hot_ash,
        appliances_disabled=appliances_disabled,
    )


def _dust(hazard: str, answers: Sequence[GateAnswerRecord], releases: Sequence[GateReleaseRecord]) -> Hazard:
    """The gravest that is known of a dust, in any part of the house: a fan moves air through all of it."""
    about = [answer for answer in answers if answer.hazard == hazard]
    lifted = [release for release in releases if release.hazard == hazard and release.sample.strip()]

    def found(answer: GateAnswerRecord) -> Hazard:
        if answer.verdict in (Verdict.STOP, Verdict.CONTROLS):
            parts = answer.parts or ("",)
            sampled = all(any(r.lifts(answer, part) for r in lifted) for part in parts) or bool(answer.sample.strip())
            return Hazard.SAMPLED_NEGATIVE if sampled else Hazard.PRESENT
        if answer.verdict is Verdict.UNKNOWN:
            later = [
                o
                for o in about
                if o.verdict is not Verdict.UNKNOWN
                and o.answered_on >= answer.answered_on
                and (o.parts is None or (answer.parts is not None and set(answer.parts) <= set(o.parts)))
            ]
            return Hazard.ABSENT if later else Hazard.UNKNOWN
        return Hazard.SAMPLED_NEGATIVE if answer.sample.strip() else Hazard.ABSENT

    gravity = (Hazard.ABSENT, Hazard.SAMPLED_NEGATIVE, Hazard.UNKNOWN, Hazard.PRESENT)
    return max((found(answer) for answer in about), key=gravity.index, default=Hazard.UNKNOWN)
