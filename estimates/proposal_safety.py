"""What a proposal says of hazards, lead paint, flames, fresh air and moisture, in plain words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from estimates.gates import HouseGates, load_hazards
from estimates.house import HouseRecord, Verdict
from estimates.lead import LEAD_GATE, LeadFinding
from estimates.pricing import PricedOption
from estimates.proposal_words import listed
from estimates.takeoff import Takeoff

if TYPE_CHECKING:
    from estimates.performance import Performance

LEAD_WORK = (
    "a certified renovator is in charge. You will see plastic sheets on floors or ground and over doors and windows, "
    "warning signs at the edge of the work, and nobody but the crew inside it. At the end we clean until the cleaning "
    "is checked and found good. Keep children and pets out until then. You get the lead pamphlet before we start and "
    "the records of the work with the last invoice."
)
"""What a family sees of lead-safe work: signs, sheets, closed openings, cleaning and its check. 40 CFR 745.85, by a
public checklist of that rule (S for signs, sheets and closed openings; M for the rest)."""


UNSEEN_BARRIER = "weather barrier behind the cladding not seen: counted as none"
"""A caution of `estimates.wall_moisture` that belongs to what could not be seen."""


def unseen_barriers(performance: Performance, offered: Takeoff) -> Iterable[str]:
    """Walls whose weather barrier could not be looked at."""
    walls = [wall.id for wall in performance.moisture if UNSEEN_BARRIER in wall.cautions]
    filled = [wall.wall.id for wall in offered.priced_walls if wall.wall.id in walls]
    if filled:
        yield f"{_called(filled, offered)}: whether a weather barrier lies behind the cladding; we count on none."


def names_of(takeoff: Takeoff) -> dict[str, str]:
    """Name of every wall, attic and leak site by its id."""
    found = {wall.wall.id: wall.wall.name for wall in takeoff.walls}
    found |= {attic.attic.id: attic.attic.name for attic in takeoff.attics}
    return found | {leak.site.id: leak.site.name for leak in takeoff.leaks}


def sentence(said: str) -> str:
    """A note as a sentence.

    Examples
    --------
    >>> sentence("no test before the work: test first"), sentence("Done.")
    ('No test before the work: test first.', 'Done.')
    """
    said = said.strip()
    return f"{said[:1].upper()}{said[1:]}{'' if said.endswith(('.', '!', '?')) else '.'}"


def open_questions(gates: HouseGates, takeoff: Takeoff) -> list[str]:
    """Every question of an assessment that is not complete, with the parts it is open for."""
    return [gate.hazard.question + (f" ({_places(gate.parts, takeoff)})" if gate.parts else "") for gate in gates.open]


def _places(parts: Sequence[str], takeoff: Takeoff) -> str:
    """Parts by their names, with all walls and all attics in two words where there are several."""
    names = names_of(takeoff)
    said = []
    left = list(parts)
    for kind, ids in (
        ("all walls", [wall.wall.id for wall in takeoff.walls]),
        ("all attics", [attic.attic.id for attic in takeoff.attics]),
    ):
        if len(ids) > 1 and set(ids) <= set(left):
            said.append(kind)
            left = [part for part in left if part not in ids]
    return listed([*said, *(names.get(part, part) for part in left)])


def conditions(gates: HouseGates, offered: Takeoff) -> list[str]:
    """The clauses of a conditional price that concern what is offered, with parts called by their names."""
    names = names_of(offered)
    catalogue = load_hazards()
    waiting = [held for held in gates.held if held.verdict is Verdict.UNKNOWN]
    said = []
    for clause in gates.clauses:
        about = {held.part for held in waiting if clause.startswith(catalogue.hazard(held.hazard).unknown)}
        if about & set(names):
            said.append(_clause(clause, names))
    return said


def _clause(clause: str, names: Mapping[str, str]) -> str:
    """A clause with its parts in front, by their names, and a capital after every full stop."""
    found = re.search(r" \(([\w.-]+(?:, [\w.-]+)*)\)", clause)
    parts = [] if found is None else [part for part in found[1].split(", ") if part in names]
    if found is not None and parts:
        clause = f"{listed([names[part] for part in parts])}: {clause[: found.start()]}{clause[found.end() :]}"
    return re.sub(r"(?<=[.!?] )[a-z]", lambda letter: letter[0].upper(), clause)


def control_cautions(gates: HouseGates, offered: Takeoff) -> list[str]:
    """The controls that go with the work on what is offered; those of lead have words of their own."""
    names = names_of(offered)
    parts: dict[str, list[str]] = {}
    for held in gates.controls:
        if held.hazard != LEAD_GATE and held.part in names:
            parts.setdefault(held.text, []).append(held.part)
    return [
        sentence(said if len(about) == len(names) else f"{_called(about, offered)}: {said}")
        for said, about in parts.items()
    ]


def _called(parts: Sequence[str], done: Takeoff) -> str:
    """The same at the head of a sentence."""
    places = _places(parts, done)
    return places[:1].upper() + places[1:]


def lead_cautions(
    house: HouseRecord, offered: Takeoff, options: Sequence[PricedOption], findings: Sequence[LeadFinding]
) -> Iterable[str]:
    """What lead paint means for the family; nothing for a house that is too young or whose walls stay as they are."""
    if not offered.priced_walls or all(finding.built_outside for finding in findings):
        return
    careful = dict.fromkeys(wall for priced in options for wall in priced.lead_safe)
    if careful:
        yield f"Lead-safe work on {_places(list(careful), offered)}: {LEAD_WORK}"
        return
    yield (
        f"The house was built in {house.year_built}, so paint may hold lead. By what we measured and tested, this work "
        "is outside the federal lead rule; tell us if you know of lead paint where we work."
    )


def combustion_cautions(performance: Performance) -> Iterable[str]:
    """Findings of combustion tests that stand, gravest first, and the tests still to come."""
    found = performance.combustion
    for finding in found.standing:
        yield sentence(finding.text)
    if found.rounds or found.standing:
        for missing in found.missing:
            yield sentence(missing)
    elif found.missing:
        yield "Before anything alters the house, every appliance that burns fuel is tested, and again after the work."


def fresh_air_words(options: Sequence[PricedOption], performance: Performance) -> list[str]:
    """Whether a fan is needed after the work, once where every option says the same."""
    said: dict[str, list[str]] = {}
    for priced, found in zip(options, performance.options, strict=True):
        if found.fresh_air is not None:
            said.setdefault(found.fresh_air.sentence, []).append(priced.option.name)
        elif found.cfm50_before is not None:
            said.setdefault("Not worked out yet; we do it before we start.", []).append(priced.option.name)
    if len(said) == 1:
        return list(said)
    return [f"{listed(names)}: {words}" for words, names in said.items()]


def moisture_cautions(performance: Performance, offered: Takeoff) -> Iterable[str]:
    """Cautions on moisture in the walls that are filled, each once, with its walls and what it stands on."""
    filled = {wall.wall.id for wall in offered.priced_walls}
    about: dict[str, list[str]] = {}
    basis = ""
    for wall in performance.moisture:
        if wall.id not in filled:
            continue
        for caution in wall.cautions:
            if caution != UNSEEN_BARRIER:
                about.setdefault(caution, []).append(wall.id)
        if wall.after is not None and wall.after.possible:
            basis = wall.basis.replace(" degF", " °F")
    for caution, walls in about.items():
        yield sentence(f"{_called(walls, offered)}: {caution}")
    if basis:
        yield basis
