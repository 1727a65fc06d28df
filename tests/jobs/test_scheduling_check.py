"""The independent check finds every rule broken."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from jobs.schedule_problem import Crew, CrewHours, Job, Phase, Placement, PlanDay, Rig, ScheduleProblem, Span, WorkPart
from jobs.scheduling import check_schedule, solve

MONDAY = date(2026, 3, 2)
DAY = [MONDAY + timedelta(days=n) for n in range(12)]

PROBLEM = ScheduleProblem(
    tuple(PlanDay(on, worked=on.weekday() < 5, rain=on == DAY[3], low_f=30 if on == DAY[8] else 50) for on in DAY),
    (
        Crew("a", skills=("foam",), absences=(Span(DAY[9], DAY[9], "training"),)),
        Crew("b", size=1, lat=0.1),
        Crew("c", skills=("foam",), rig="r2", other_hours=(CrewHours(DAY[1], 8, 12),)),
    ),
    (Rig("r1", kinds=("foam",), absences=(Span(DAY[10], DAY[10]),)), Rig("r2", kinds=("foam",))),
    (
        Job(
            "x",
            (
                Phase(
                    "fill", "inject", 12, least_size=2, skills=("foam",), rig_kind="foam", dry=True, frost_free_days=1
                ),
                Phase("close", "close-up", 8, least_lag=1, most_lag=3),
            ),
            earliest=DAY[1],
            gate="cancellation time",
            away=(Span(DAY[4], DAY[4], "wedding"),),
        ),
        Job("y", (Phase("test", "test-in", 1.5, visit=True, not_after=DAY[8]),)),
        Job("z", (Phase("pin", "attic", 16, pinned_crew="a", pinned_day=DAY[7], pinned_hour=8),)),
    ),
)
GOOD = solve(PROBLEM, time_limit_s=0)


def at(phase: str, crew: str, *parts: tuple[int, int, int], rig: str = "") -> Placement:
    return Placement(phase, crew, tuple(WorkPart(DAY[day], first, last) for day, first, last in parts), rig)


def broken(*placements: Placement, without: tuple[str, ...] = ()) -> list[str]:
    """Rules broken when these placements take the place of the good ones."""
    changed = {placement.phase for placement in placements} | set(without)
    kept = [placement for placement in GOOD.placements if placement.phase not in changed]
    schedule = replace(GOOD, placements=(*kept, *placements), terms=())
    return sorted({fault.rule for fault in check_schedule(PROBLEM, schedule)})


def test_a_good_schedule_breaks_nothing():
    assert check_schedule(PROBLEM, GOOD) == ()
    assert len(GOOD.placements) == 4
    assert broken(at("fill", "a", (1, 8, 16), rig="r1"), at("close", "b", (2, 8, 16))) == []


CLOSE = at("close", "b", (2, 8, 16))
FILL = at("fill", "a", (1, 8, 16), rig="r1")


@pytest.mark.parametrize(
    ("placements", "rules"),
    [
        ((at("fill", "c", (0, 8, 16), rig="r2"), CLOSE), ["earliest-start"]),
        (
            (at("fill", "b", (1, 8, 16), (2, 8, 12), rig="r1"), at("close", "b", (3, 8, 16))),
            ["crew-size", "crew-skill"],
        ),
        ((at("fill", "a", (1, 8, 16)), CLOSE), ["rig"]),
        ((at("fill", "a", (1, 8, 16), rig="r2"), CLOSE), ["rig"]),
        ((at("fill", "c", (2, 8, 16), rig="r1"), at("close", "b", (3, 8, 16))), ["rig"]),
        ((at("fill", "a", (3, 8, 16), rig="r1"), at("close", "b", (4, 8, 16))), ["customer-days", "weather"]),
        (
            (at("fill", "a", (2, 12, 16), (3, 8, 12), rig="r1"), at("close", "b", (7, 8, 16))),
            ["days-between-phases", "weather"],
        ),
        ((at("fill", "a", (9, 8, 16), rig="r1"), at("close", "b", (10, 8, 16))), ["absence"]),
        ((at("fill", "a", (10, 8, 16), rig="r1"), at("close", "b", (11, 8, 16))), ["rig"]),
        ((FILL, at("close", "b", (1, 8, 16))), ["days-between-phases"]),
        ((FILL, at("close", "b", (7, 8, 16))), ["days-between-phases"]),
        ((FILL, at("close", "b", (2, 8, 12))), ["hours"]),
        ((FILL, at("close", "b", (2, 9, 16))), ["hours"]),
        ((FILL, at("close", "a", (2, 8, 16))), ["hours"]),
        ((FILL, at("close", "b", (2, 6, 14))), ["absence"]),
        ((FILL, at("close", "b", (2, 8, 12), (4, 12, 16))), ["customer-days", "hours"]),
        ((at("fill", "c", (1, 8, 16), rig="r2"), CLOSE), ["absence"]),
        ((at("pin", "a", (2, 8, 16)),), ["pin"]),
        ((at("pin", "c", (7, 8, 16)),), ["pin"]),
        ((at("test", "a", (0, 8, 9)),), ["hours"]),
        ((at("test", "a", (9, 8, 10)),), ["absence", "earliest-start"]),
        ((FILL, CLOSE, at("test", "a", (1, 8, 10))), ["other-jobs"]),
        ((at("test", "q", (0, 8, 10)),), ["unknown"]),
        ((at("nothing", "a", (0, 8, 10)),), ["unknown"]),
        ((FILL, FILL, CLOSE), ["twice"]),
    ],
)
def test_each_rule_broken_is_named(placements, rules):
    assert broken(*placements) == rules


def test_a_day_outside_the_horizon_is_named():
    outside = Placement("test", "a", (WorkPart(DAY[0] - timedelta(days=3), 8, 10),))
    assert "horizon" in broken(outside)


def test_half_a_job_is_no_job():
    assert broken(without=("close",)) == ["whole-job"]


def test_weather_is_told_with_its_day():
    rain = replace(GOOD, placements=(at("fill", "a", (3, 8, 16), rig="r1"),), terms=())
    assert "2026-03-05: rain" in [fault.words for fault in check_schedule(PROBLEM, rain)]
    frost = replace(GOOD, placements=(at("fill", "a", (7, 8, 16), rig="r1"),), terms=())
    assert any("30 degF before it is dry" in fault.words for fault in check_schedule(PROBLEM, frost))


def test_a_cost_that_is_not_the_true_one_and_a_bound_above_it_are_found():
    cheap = replace(GOOD, terms=tuple(replace(term, cost=0.5 * term.cost) for term in GOOD.terms))
    assert {fault.rule for fault in check_schedule(PROBLEM, cheap)} == {"cost", "bound"} - (
        {"bound"} if cheap.bound <= cheap.cost else set()
    )
    proud = replace(GOOD, bound=GOOD.cost + 1)
    assert [fault.rule for fault in check_schedule(PROBLEM, proud)] == ["bound"]
