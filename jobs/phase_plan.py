"""Phases of a job, worked out from the lines that were priced: the same hours, in the trade's order.

No database in here: the forms of a frozen estimate go in, planned phases come out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from jobs.models.job import PhaseKind
from jobs.models.resource import RigKind, Skill

PREPARE_SHARE, INJECT_SHARE, CLOSE_UP_SHARE = 0.35, 0.40, 0.25
"""How the hours of a wall are spread over protecting, lifting, drilling and probing; injecting; closing up. [1]
Common practice, no source; what crews report later says better."""

OPEN_HOLES_DAYS = 3
"""Working days that drilled holes may stand open before they are injected. Common practice, no source."""

CLOSE_UP_DAYS = 1
"""Working days after injecting within which a wall is weathertight again. Common practice, no source."""

INFRARED_HOURS = 2.0
"""Of one person, from the first picture outside to the last one inside. [h] Common practice, no source."""

TWO_PEOPLE = 2
"""One at the nozzle and one at the pump, or one in the attic and one at the hopper."""

LEAST_HOURS = 0.25
"""Anything shorter is still planned as this. [h]"""


@dataclass(frozen=True, slots=True)
class PlannedPhase:
    """A phase before it is a row. Hours are those of one person; lags in working days, `most_lag` None: no limit."""

    kind: PhaseKind
    hours: float
    least_people: int = 1
    skills: tuple[Skill, ...] = ()
    rig_kind: RigKind | None = None
    least_lag: int = 0
    most_lag: int | None = None
    note: str = ""


def plan_phases(option: Mapping[str, Any], rates: Mapping[str, float], *, drying_days: int) -> tuple[PlannedPhase, ...]:
    """Phases of a signed option in the order of work (FIELD).

    Parameters
    ----------
    option : the option in the form of `estimate.json`: its lines with their hours, walls worked lead-safe.
    rates : best values of the price book that priced it, by name; `test_in` and `test_out` in hours.
    drying_days : calendar days until the foam is dry.

    Returns
    -------
    Only phases that have something to do. Infrared waits for the drying days, turned into working days.

    Notes
    -----
    The hours of all phases but infrared add up to the hours of the lines, less the unused rest of the last half-day.

    Examples
    --------
    >>> line = {"code": "wall", "hours": 20.0, "subject": "n"}
    >>> tests = {"code": "tests", "hours": 3.0, "subject": ""}
    >>> option = {"lines": [line, tests], "lead_rule": {"lead_safe_walls": []}}
    >>> [(p.kind.value, p.hours) for p in plan_phases(option, {"test_in": 2.0, "test_out": 1.0}, drying_days=28)]
    [('test_in', 2.0), ('prepare', 7.0), ('inject', 8.0), ('close_up', 5.0), ('test_out', 1.0), ('infrared', 2.0)]
    """
    hours: dict[str, float] = {}
    for line in option["lines"]:
        hours[line["code"]] = hours.get(line["code"], 0.0) + float(line["hours"])
    walls, attic, leaks = (hours.get(code, 0.0) for code in ("wall", "attic", "leak"))
    # Whoever drills and closes a wall knows what goes into it; a tester is not sent there, nor judges own work then.
    careful = (Skill.INJECTING, *((Skill.LEAD_SAFE,) if option["lead_rule"]["lead_safe_walls"] else ()))
    testing = (Skill.TESTING,)
    planned = [PlannedPhase(PhaseKind.TEST_IN, rates["test_in"], 1, testing, RigKind.TEST_KIT)] if hours else []
    if walls > 0:
        planned += [
            PlannedPhase(PhaseKind.PREPARE, walls * PREPARE_SHARE, 1, careful),
            PlannedPhase(
                PhaseKind.INJECT,
                walls * INJECT_SHARE,
                TWO_PEOPLE,
                (Skill.INJECTING,),
                RigKind.FOAM,
                most_lag=OPEN_HOLES_DAYS,
            ),
            PlannedPhase(PhaseKind.CLOSE_UP, walls * CLOSE_UP_SHARE, 1, careful, most_lag=CLOSE_UP_DAYS),
        ]
    if leaks > 0:
        planned.append(PlannedPhase(PhaseKind.AIR_SEALING, leaks, 1, (Skill.AIR_SEALING,)))
    if attic > 0:
        planned.append(PlannedPhase(PhaseKind.ATTIC, attic, TWO_PEOPLE, (Skill.BLOWING,), RigKind.BLOWER))
    if planned:
        planned.append(PlannedPhase(PhaseKind.TEST_OUT, rates["test_out"], 1, testing, RigKind.TEST_KIT))
    if walls > 0:
        dry = working_days(drying_days)
        planned.append(PlannedPhase(PhaseKind.INFRARED, INFRARED_HOURS, 1, (Skill.INFRARED,), least_lag=dry))
    return tuple(phase for phase in planned if phase.hours > 0)


def working_days(calendar_days: int) -> int:
    """Working days that surely cover some calendar days, five to a week.

    Examples
    --------
    >>> working_days(0), working_days(1), working_days(7), working_days(28)
    (0, 1, 5, 20)
    """
    return math.ceil(calendar_days * 5 / 7)


def kit_list(
    forms: Mapping[str, Any], option_id: str, *, foam: Mapping[str, Any], loose: Mapping[str, Any]
) -> tuple[tuple[str, float, str], ...]:
    """What goes on the truck for a signed option: name, amount, unit - from the frozen takeoff, no prices.

    Parameters
    ----------
    forms : the forms of a frozen estimate.
    option_id : the option that was signed.
    foam, loose : the products in their price-book form.
    """
    option = option_form(forms, option_id)
    of = {code: {line["subject"] for line in option["lines"] if line["code"] == code} for code in _LINES}
    takeoff = forms["takeoff"]
    walls = [wall for wall in takeoff["walls"] if wall["id"] in of["wall"]]
    attics = [attic for attic in takeoff["attics"] if attic["id"] in of["attic"]]
    houses = {attic["id"]: attic for attic in forms["house"].get("attics", [])}
    amounts = [
        (f"{foam['name']}, whole mixes", float(option["mixes_bought"]), "mixes"),
        ("Plugs", float(sum(wall["plugs"] for wall in walls)), "each"),
        ("Cladding to lift and hang again", sum(wall["cladding_lift_ft"] for wall in walls), "ft"),
        ("Blocking for open floor lines and sills", sum(wall["closing_ft"] for wall in walls), "ft"),
        (f"{loose['name']}, bags", float(option["bags_bought"]), "bags"),
        ("Baffles", float(sum(attic["baffles"] for attic in attics)), "each"),
        ("Dams", sum(attic["dam_ft"] for attic in attics), "ft"),
        ("Hatch covers", float(sum(houses[a["id"]].get("hatch_ft2", 0) > 0 for a in attics)), "each"),
    ]
    sites = [site for site in takeoff["leak_sites"] if site["id"] in of["leak"]]
    amounts += [(f"Sealing: {site['name']}", float(site["quantity"]), leak_unit(forms, site["kind"])) for site in sites]
    if option["lead_rule"]["lead_safe_walls"]:
        amounts.append(("Lead-safe set-ups", float(len(option["lead_rule"]["lead_safe_walls"])), "walls"))
    return tuple(row for row in amounts if row[1] > 0)


_LINES = ("wall", "attic", "leak")


def option_form(forms: Mapping[str, Any], option_id: str) -> Mapping[str, Any]:
    """The priced option of that id in the forms of a frozen estimate.

    Raises
    ------
    KeyError : there is none.
    """
    for option in forms["estimate"]["options"]:
        if option["id"] == option_id:
            found: Mapping[str, Any] = option
            return found
    raise KeyError(f"the estimate holds no option {option_id!r}")


def leak_unit(forms: Mapping[str, Any], kind: str) -> str:
    """In what a kind of leak site is counted: ft of joint, or pieces."""
    for work in forms["price_book"]["leak_work"]:
        if work["kind"] == kind:
            return str(work["unit"])
    return "each"
