"""The solvers through their one door: rules kept, JSON both ways, bad input refused."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest

from estimates.records import BadRecord
from jobs.schedule_problem import Crew, Job, Phase, PlanDay, Rig, ScheduleProblem, Span
from jobs.scheduling import check_schedule, json_form, problem_from_json, schedule_from_json, solve

MONDAY = date(2026, 3, 2)


def days(count: int, **facts: dict[int, object]) -> tuple[PlanDay, ...]:
    """So many days from Monday; `rain={2: True}` sets a fact of day 2."""
    return tuple(
        PlanDay(
            MONDAY + timedelta(days=n),
            worked=(MONDAY + timedelta(days=n)).weekday() < 5,
            **{fact: values[n] for fact, values in facts.items() if n in values},
        )
        for n in range(count)
    )


def job(name: str, *phases: Phase, **facts: object) -> Job:
    return Job(name, phases or (Phase(f"{name}-work", "inject", hours=8),), **facts)


def problem(*jobs: Job, crews: tuple[Crew, ...] = (Crew("a"),), count: int = 12, **facts: object) -> ScheduleProblem:
    return ScheduleProblem(facts.pop("days", days(count)), crews, facts.pop("rigs", ()), jobs, **facts)


def day_of(schedule, phase: str) -> date | None:
    placement = schedule.placement(phase)
    return placement.first_day if placement else None


def test_a_job_without_hindrance_begins_on_the_first_day():
    plan = problem(job("x"))
    schedule = solve(plan, time_limit_s=0)
    assert day_of(schedule, "x-work") == MONDAY
    assert check_schedule(plan, schedule) == ()


@pytest.mark.parametrize(
    ("name", "plan", "expected"),
    [
        ("gate", problem(job("x", earliest=MONDAY + timedelta(days=2))), 2),
        ("customer", problem(job("x", away=(Span(MONDAY, MONDAY),))), 1),
        ("rain", problem(job("x", Phase("x-work", "inject", 4, dry=True)), days=days(5, rain={0: True})), 1),
        ("cold", problem(job("x", Phase("x-work", "inject", 4, least_low_f=40)), days=days(5, low_f={0: 39.0})), 1),
        (
            "frost while it dries",
            problem(job("x", Phase("x-work", "inject", 4, frost_free_days=2)), days=days(5, low_f={2: 32.0})),
            2,
        ),
        ("blocked kind", problem(job("x"), days=days(5, blocked={0: ("inject",)})), 1),
        ("crew away", problem(job("x"), crews=(Crew("a", absences=(Span(MONDAY, MONDAY),)),)), 1),
        ("pinned day", problem(job("x", Phase("x-work", "inject", 4, pinned_day=MONDAY + timedelta(days=3)))), 3),
        ("weekend", problem(job("x", earliest=MONDAY + timedelta(days=5))), 7),
    ],
)
def test_each_rule_moves_the_start_to_the_first_day_it_allows(name, plan, expected):
    assert day_of(solve(plan, time_limit_s=0), "x-work") == MONDAY + timedelta(days=expected)


def test_half_days_in_a_row_hold_the_person_hours():
    schedule = solve(problem(job("x", Phase("x-work", "inject", hours=20))), time_limit_s=0)
    [placement] = schedule.placements  # two people, half-days of 4 h: 8 + 8 + 4 -> 3 half-days
    assert [(part.on, part.start_hour, part.end_hour) for part in placement.parts] == [
        (MONDAY, 8, 16),
        (MONDAY + timedelta(days=1), 8, 12),
    ]


def test_a_visit_takes_its_hours_and_the_way_there_and_back():
    # 0.1 degree of a meridian: 6.9094 mi, x 1.3 at 30 mi/h = 17.964 min one way; 1.5 h + 0.6 h -> 3 h.
    schedule = solve(problem(job("x", Phase("x-work", "test-in", 1.5, visit=True), lat=0.1)), time_limit_s=0)
    [placement] = schedule.placements
    assert (placement.parts[0].start_hour, placement.parts[0].end_hour) == (8, 11)
    [travel] = [term.amount for term in schedule.terms if term.id == "travel"]
    assert travel == pytest.approx(35.929, abs=0.001)


@pytest.mark.parametrize(
    ("lags", "expected"),
    [({"least_lag": 3}, 3), ({"least_lag": 5, "lag_days": "working"}, 7), ({"least_lag": 5}, 7), ({}, 0)],
)
def test_days_between_phases_are_counted_as_asked(lags, expected):
    phases = (Phase("one", "inject", 4), Phase("two", "close-up", 4, **lags))
    schedule = solve(problem(job("x", *phases)), time_limit_s=0)
    assert day_of(schedule, "two") == MONDAY + timedelta(days=expected)


def test_two_crews_never_share_a_rig_in_one_half_day():
    jobs = [job(n, Phase(f"{n}-work", "inject", 16, rig_kind="foam")) for n in ("x", "y")]
    plan = problem(*jobs, crews=(Crew("a"), Crew("b")), rigs=(Rig("r", kinds=("foam",)),))
    schedule = solve(plan, time_limit_s=0)
    assert sorted(placement.first_day for placement in schedule.placements) == [MONDAY, MONDAY + timedelta(days=1)]


def test_problem_and_schedule_come_back_from_their_json_form_unchanged():
    plan = problem(
        job("x", Phase("x-work", "inject", 4, pinned_hour=12), due=MONDAY, away=(Span(MONDAY, MONDAY, "feast"),)),
        crews=(Crew("a", skills=("foam",)),),
    )
    schedule = solve(plan, time_limit_s=0)
    plan = replace(plan, promised=schedule.placements)
    assert problem_from_json(json.dumps(json_form(plan))) == plan
    assert schedule_from_json(json.dumps(json_form(schedule))) == schedule


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        (problem(job("x"), job("y", Phase("x-work", "inject", 4))), "'x-work' stands twice"),
        (problem(job("x"), days=(*days(2), PlanDay(MONDAY + timedelta(days=4)))), "every day, closed ones too"),
        (problem(job("x", Phase("p", "inject", 4, pinned_crew="z"))), "no crew 'z'"),
        (problem(job("x", Phase("p", "inject", 4, least_lag=3, most_lag=2))), "enter at least that"),
        (problem(job("x"), crews=(Crew("a", weekdays=("monday",)),)), "'monday' is no weekday"),
        (problem(job("x"), crews=(Crew("a", rig="r"),)), "there is no rig 'r'"),
        (problem(job("x", away=(Span(MONDAY, MONDAY - timedelta(days=1)),))), "lies before"),
    ],
)
def test_a_problem_whose_parts_do_not_fit_together_is_refused_by_name(plan, words):
    with pytest.raises(BadRecord, match=words):
        solve(plan, time_limit_s=0)
