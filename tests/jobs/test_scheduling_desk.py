"""What the scheduler asks at the desk: why there, why not at all, what if I move it, what now after a lost day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from jobs.schedule_problem import Crew, CrewHours, Job, Phase, PlanDay, Rig, ScheduleProblem, Span
from jobs.scheduling import check_schedule, move, solve

MONDAY = date(2026, 3, 2)
DAY = [MONDAY + timedelta(days=n) for n in range(12)]
CREWS = (Crew("a", skills=("foam",)), Crew("b", lat=0.1))


def plan(*jobs: Job, crews: tuple[Crew, ...] = CREWS, **facts: object) -> ScheduleProblem:
    days = tuple(
        PlanDay(on, worked=on.weekday() < 5, rain=on == DAY[0], low_f=30 if on == DAY[3] else 50) for on in DAY
    )
    return ScheduleProblem(days, crews, facts.pop("rigs", ()), jobs, **facts)


def one(**facts: object) -> Job:
    phase = {key: facts.pop(key) for key in list(facts) if key in Phase.__dataclass_fields__}
    return Job("x", (Phase("p", "inject", **{"hours": 16, **phase}),), **facts)


# --- why there --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("problem", "rule", "words"),
    [
        (plan(one(earliest=DAY[2], gate="permit")), "earliest-start", "Earliest start 2026-03-04 (permit)."),
        (plan(one(dry=True)), "weather", "Weather: 2026-03-02 rain."),
        (
            plan(one(hours=64, least_low_f=35)),
            "weather",
            "Weather: 2026-03-05 forecast low of 30 degF, at least 35 degF wanted.",
        ),
        (
            plan(one(hours=8, frost_free_days=3)),
            "weather",
            "Begun on 2026-03-04, it would not be dry before the frost of 2026-03-05.",
        ),
        (plan(one(away=(Span(DAY[0], DAY[1]),))), "customer-days", "The customer cannot have us on 2026-03-03"),
        (plan(one(pinned_day=DAY[3])), "pin", "It is pinned to 2026-03-05."),
        (plan(one()), "horizon", "It begins on the first day it can."),
        (
            plan(one(), crews=(Crew("a", absences=(Span(DAY[0], DAY[0]),)),)),
            "absence",
            "No crew that can do it works on 2026-03-02.",
        ),
        (
            plan(
                one(skills=("foam",), weight=0.5), Job("y", (Phase("q", "inject", 16, skills=("foam",)),), due=DAY[0])
            ),
            "other-jobs",
            "Other jobs: a is with q on 2026-03-02.",
        ),
        (
            plan(
                one(rig_kind="foam", weight=0.5),
                Job("y", (Phase("q", "inject", 16, rig_kind="foam"),), due=DAY[0]),
                rigs=(Rig("r", kinds=("foam",)),),
            ),
            "rig",
            "The rig is with q on 2026-03-02.",
        ),
    ],
)
def test_a_phase_says_what_keeps_it_from_beginning_earlier(problem, rule, words):
    [why] = [why for why in solve(problem, time_limit_s=0).why if why.phase == "p"]
    assert why.rule == rule
    assert words in why.words


def test_a_phase_that_waits_for_the_one_before_says_so():
    job = Job("x", (Phase("fill", "inject", 8), Phase("face", "paper", 8, least_lag=4)))
    why = {why.phase: why for why in solve(plan(job), time_limit_s=0).why}
    assert why["face"].rule == "days-between-phases"
    assert why["face"].words == "It follows fill, which ends on 2026-03-02, and 4 days of waiting."


# --- why not at all ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("job", "rules"),
    [
        (one(skills=("lead",)), ("crew-skill",)),
        (one(least_size=3), ("crew-size",)),
        (one(rig_kind="foam"), ("rig",)),
        (one(earliest=DAY[11] + timedelta(days=1)), ("earliest-start",)),
        (one(away=(Span(DAY[0], DAY[11]),)), ("customer-days",)),
        (one(least_low_f=60), ("weather",)),
        (one(pinned_day=DAY[5]), ("pin",)),
        (Job("x", (Phase("p", "inject", 16), Phase("q", "close-up", 16, least_lag=30))), ("days-between-phases",)),
        (one(skills=("lead",), least_size=3), ()),
        (one(hours=500), ()),
    ],
)
def test_a_job_that_cannot_be_placed_names_the_rule_that_stops_it(job, rules):
    schedule = solve(plan(job), time_limit_s=0)
    [out] = schedule.left_out
    assert out.job == "x"
    assert out.rules == rules
    assert out.words.startswith(
        "Stopped by " if rules else ("It takes longer" if "500" in str(job) else "Several rules")
    )


def test_a_job_that_others_crowd_out_says_so_and_what_would_make_room():
    full = [Job(f"j{n}", (Phase(f"j{n}p", "inject", 160, skills=("foam",)),), weight=2) for n in range(1)]
    schedule = solve(plan(*full, one(skills=("foam",), earliest=DAY[0])), time_limit_s=1)
    [out] = schedule.left_out
    assert out.rules == ("other-jobs", "crew-skill")
    assert "Other jobs have every place" in out.words


# --- a move by hand ---------------------------------------------------------------------------------------------------

PAIR = plan(
    Job("x", (Phase("fill", "inject", 16, skills=("foam",)), Phase("close", "close-up", 16, least_lag=1, most_lag=2))),
    Job("y", (Phase("attic", "attic", 16),), lat=0.1, away=(Span(DAY[2], DAY[2], "feast"),)),
)


@pytest.fixture(scope="module")
def pair():
    return solve(PAIR, time_limit_s=2)


def test_a_good_move_breaks_nothing_and_says_what_it_costs(pair):
    moved = move(PAIR, pair, "attic", "b", DAY[7])
    assert moved.breaks == ()
    assert moved.placement.first_day == DAY[7]
    assert moved.nearest == moved.placement
    placed = tuple(moved.placement if old.phase == "attic" else old for old in pair.placements)
    assert check_schedule(PAIR, replace(pair, placements=placed, terms=())) == ()
    assert moved.cost_change > 0


@pytest.mark.parametrize(
    ("phase", "crew", "day", "rule", "nearest"),
    [
        ("attic", "b", DAY[2], "customer-days", DAY[1]),
        ("attic", "b", DAY[5], "absence", DAY[4]),
        ("fill", "b", DAY[0], "crew-skill", DAY[0]),
        ("close", "b", DAY[9], "days-between-phases", DAY[2]),
        ("close", "b", DAY[0], "days-between-phases", DAY[1]),
    ],
)
def test_an_impossible_move_says_what_it_breaks_and_offers_the_nearest_place(pair, phase, crew, day, rule, nearest):
    moved = move(PAIR, pair, phase, crew, day)
    assert rule in {fault.rule for fault in moved.breaks}
    assert all(fault.words for fault in moved.breaks)
    assert moved.cost_change is None
    assert moved.nearest.first_day == nearest
    placed = tuple(moved.nearest if old.phase == phase else old for old in pair.placements)
    assert check_schedule(PAIR, replace(pair, placements=placed, terms=())) == ()


def test_a_move_of_an_unknown_phase_or_crew_is_refused(pair):
    with pytest.raises(KeyError, match="no phase 'nothing'"):
        move(PAIR, pair, "nothing", "a", DAY[0])
    with pytest.raises(KeyError, match="no crew 'z'"):
        move(PAIR, pair, "fill", "z", DAY[0])


# --- a lost day -------------------------------------------------------------------------------------------------------


def test_after_a_lost_day_only_what_stood_on_it_moves():
    """Six jobs of a day each for two crews; crew a loses its second day and has free days at the end."""
    jobs = [Job(f"j{n}", (Phase(f"j{n}p", "inject", 16),), lat=0.05) for n in range(6)]
    crews = (Crew("a", lat=0.05), Crew("b", lat=0.05))
    before = solve(plan(*jobs, crews=crews), time_limit_s=2)
    lost = [p for p in before.placements if p.crew == "a" and p.first_day == DAY[1]]
    assert len(lost) == 1
    ill = (replace(crews[0], absences=(Span(DAY[1], DAY[1], "ill"),)), crews[1])
    problem = plan(*jobs, crews=ill, promised=before.placements)
    after = solve(problem, time_limit_s=3)
    moved = [p.phase for p in before.placements if after.placement(p.phase) != p]
    assert moved == [lost[0].phase]
    assert {term.id: term.amount for term in after.terms}["changes"] <= 2
    free = solve(replace(problem, promised=()), time_limit_s=3)
    assert after.cost >= free.cost - 1e-6


def test_other_hours_of_a_crew_on_one_day_hold():
    crews = (Crew("a", other_hours=(CrewHours(DAY[0], 12, 16),)),)
    [placement] = solve(plan(one(hours=8), crews=crews), time_limit_s=0).placements
    assert (placement.first_day, placement.parts[0].start_hour) == (DAY[0], 12)
