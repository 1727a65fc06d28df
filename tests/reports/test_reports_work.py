"""The work as reports: backlog, production with control limits, leakage against the estimate, call-backs."""

import math
import random
import statistics
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any

import plotly.graph_objects as go
import pytest

from estimates.models import User
from jobs.entry_records import FT3_PER_GAL, LB_PER_GAL
from jobs.house_tests import promised_leakage
from jobs.models import Bay, BayState, CrewEntry, EntryKind, HouseTest, Job, JobStatus, JobWall, Phase, PhaseKind, Visit
from reports.asked import Asked
from reports.frames_work import (
    LIMIT_FACTOR,
    backlog,
    call_backs,
    control_limits,
    leakage,
    production,
    production_frame,
)

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 9, 15, 0, tzinfo=UTC)
MONDAY = date(2026, 3, 9)
ALL = Asked(MONDAY, None, None, "all", "all years")


@pytest.fixture
def say(crew: User) -> Callable[..., CrewEntry]:
    """Return `say(job, kind, phase=None, replaces=None, **data)`: an entry of a crew."""

    def write(job: Job, kind: str, phase: Phase | None = None, replaces: Any = None, **data: Any) -> CrewEntry:
        return CrewEntry.objects.create(
            job=job, phase=phase, kind=kind, data=data, day=MONDAY, noted_at=NOW, received_at=NOW, by=crew,
            body_sha256="a" * 64, replaces=replaces,
        )  # fmt: skip

    return write


def finished(job: Job, day: int = 0) -> Job:
    Job.objects.filter(pk=job.pk).update(status=JobStatus.WORK_DONE, done_at=NOW + timedelta(days=day))
    return job


def test_limits_hold_three_standard_deviations_of_values_that_differ_by_chance() -> None:
    # By hand: mean 11.25, mean moving range 4/3, 3 / (2 / sqrt(pi)) = 2.6587.
    low, mean, high = control_limits([10.0, 12.0, 11.0, 12.0])
    assert (mean, high - mean) == (11.25, pytest.approx(4 / 3 * 2.6587, abs=1e-4))
    assert mean - low == pytest.approx(high - mean)
    assert pytest.approx(2.66, abs=0.005) == LIMIT_FACTOR  # M: as handbooks print it
    # D: drawn from a normal distribution, the limits come out at three of its standard deviations.
    rng = random.Random(7)
    low, mean, high = control_limits([rng.gauss(20.0, 2.0) for _ in range(40_000)])
    assert high - mean == pytest.approx(6.0, abs=0.1)
    with pytest.raises(ValueError, match="at least two"):
        control_limits([1.0])


def test_backlog_is_hours_left_over_what_crews_can_work(
    bare_job: Callable[..., Job], bare_crew: Callable[..., Any], say: Callable[..., CrewEntry], scheduler: User
) -> None:
    crew = bare_crew("North crew", people=2)
    job = bare_job("inject", ("attic", {"hours": Decimal(24)}), ("test_out", {"status": "done"}))
    finished(bare_job("inject"))
    inject = job.phases.get(kind="inject")
    wrong = say(job, EntryKind.HOURS, inject, hours=9.0, people=2)
    say(job, EntryKind.HOURS, inject, replaces=wrong.code, hours=4.0, people=2)
    Visit.objects.create(phase=inject, crew=crew, day=MONDAY + timedelta(days=1), first_hour=8, hours=4, made_at=NOW,
                         made_by=scheduler)  # fmt: skip
    answer = backlog(ALL)
    # By hand: 16 + 24 hours sold, 8 worked, 32 left; a crew-day is 2 people x 8 hours, a week five of them.
    assert answer.title == (
        "2.0 crew-days are sold and not worked yet: 0.4 weeks of 1 crew; 25\u00a0% of the hours stand in the schedule."
    )
    rows = {row[0]: row[1:] for row in answer.table.rows}
    assert rows == {"Inject": [1, 16.0, 8.0, 0.5, 8.0], "Attic": [1, 24.0, 24.0, 1.5, 0.0]}
    weeks = answer.charts[0].figure["data"]
    assert weeks[0]["y"][0] == 8.0
    assert set(weeks[1]["y"]) == {80.0}


def test_production_is_wall_an_hour_and_foam_a_mix(bare_job: Callable[..., Job], say: Callable[..., CrewEntry]) -> None:
    job = finished(bare_job("inject", "attic"))
    wall = JobWall.objects.create(job=job, key="n", name="North", position=1, wall={}, room_share=1.0, foam_in=3.5,
                                  fill_ft3=30.0, mixes=1.2)  # fmt: skip
    for number, state in enumerate((BayState.FILLED, BayState.PROVEN, BayState.REFUSED), start=1):
        Bay.objects.create(wall=wall, number=number, area_ft2=120.0, fill_ft3=10.0, state=state, reason="pipe")
    say(job, EntryKind.HOURS, job.phases.get(kind="inject"), hours=4.0, people=2)
    say(job, EntryKind.HOURS, job.phases.get(kind="attic"), hours=7.0, people=2)
    bays = [{"bay": 1}]
    say(job, EntryKind.MIX, lot="A", ingredients_lb=20.0, water_gal=5.0, bays=bays, mixes=1, container_gal=5.0,
        sample_lb=1.8)  # fmt: skip
    say(job, EntryKind.MIX, lot="B", ingredients_lb=20.0, water_gal=5.0, bays=bays, mixes=2, meter_ft3=47.0)
    say(job, EntryKind.MIX, lot="C", ingredients_lb=20.0, water_gal=5.0, bays=bays, mixes=3)
    (row,) = production_frame(ALL).to_dict("records")
    assert row["rate"] == pytest.approx(240.0 / 8.0)
    # By hand: mass over density of the weighed run, the meter of the second; the third was not measured.
    first = (20.0 + 5.0 * LB_PER_GAL) / (1.8 / (5.0 * FT3_PER_GAL))
    assert (row["mixes"], row["poured"]) == (3.0, pytest.approx(first + 47.0))
    assert row["a_mix"] == pytest.approx((first + 47.0) / 3)
    assert "limits are drawn from 8 on" in production(ALL).title


def test_a_job_out_of_the_ordinary_is_named(bare_job: Callable[..., Job], say: Callable[..., CrewEntry]) -> None:
    yields = [23.0, 23.4, 22.8, 23.1, 23.3, 22.9, 23.2, 23.0, 16.0, 23.1]
    for day, volume in enumerate(yields):
        job = finished(bare_job("inject"), day)
        say(job, EntryKind.MIX, lot="A", ingredients_lb=20.0, water_gal=5.0, bays=[{"bay": 1}], mixes=1,
            meter_ft3=volume)  # fmt: skip
    answer = production(ALL)
    moving = statistics.mean(abs(b - a) for a, b in pairwise(yields))
    reach = 3 * math.sqrt(math.pi) / 2 * moving
    assert abs(16.0 - statistics.mean(yields)) > reach
    assert "J-00009 outside the limits" in answer.title
    (chart,) = answer.charts
    go.Figure(chart.figure)
    assert chart.figure["data"][0]["marker"]["symbol"].count("diamond") == 1


def test_leakage_found_is_held_against_what_was_promised(booked: Callable[..., Job], owner: User) -> None:
    job = booked("mill-cape")
    promised = promised_leakage(job)["after"]
    for at, found in ((NOW, 9_999.0), (NOW + timedelta(days=1), promised["p90"] * 1.1)):
        HouseTest.objects.create(job=job, when="out", data={}, cfm50=found, cfm50_se=50.0, at=at, by=owner)
    answer = leakage(ALL)
    (row,) = answer.table.rows
    assert (row[4], row[5], row[6]) == (promised["p10"], promised["p50"], promised["p90"])
    assert row[7] == pytest.approx(promised["p90"] * 1.1), "the last test counts"
    assert row[9] == "no"
    assert answer.title.startswith("0 of 1 house leak within the range")
    figure = answer.charts[0].figure
    go.Figure(figure)
    assert figure["layout"]["xaxis"]["range"] == figure["layout"]["yaxis"]["range"], "one scale for both"
    other = Asked(MONDAY, wall="rim", period="all", words="all years")
    assert leakage(other).missing, "the walls of this house are no rims"


def test_call_backs_are_counted_by_crew_and_by_each_lot(
    bare_job: Callable[..., Job], bare_crew: Callable[..., Any], say: Callable[..., CrewEntry], scheduler: User
) -> None:
    crews = [bare_crew("North crew"), bare_crew("South crew")]
    for number in range(4):
        job = finished(bare_job("inject", *(["return"] if number == 3 else [])), number)
        Visit.objects.create(phase=job.phases.get(kind="inject"), crew=crews[number % 2],
                             day=MONDAY + timedelta(days=number), first_hour=8, hours=8, made_at=NOW,
                             made_by=scheduler)  # fmt: skip
        for lot in ("A", "B") if number == 3 else ("A",):
            say(job, EntryKind.MIX, lot=lot, ingredients_lb=20.0, water_gal=5.0, bays=[{"bay": 1}])
    answer = call_backs(ALL)
    assert answer.title == "We had to go back to 1 of 4 finished jobs (25\u00a0%); worst is lot B with 1 of 1."
    assert answer.table.rows == [
        ["Crew", "South crew", 2, 1, 0.5], ["Crew", "North crew", 2, 0, 0.0],
        ["Lot of foam", "B", 1, 1, 1.0], ["Lot of foam", "A", 4, 1, 0.25],
    ]  # fmt: skip
    south = Asked(MONDAY, crew=str(crews[1].code), period="all", words="all years")
    assert call_backs(south).title.startswith("We had to go back to 1 of 2 finished jobs")


def test_reports_on_work_ask_as_often_for_many_jobs_as_for_few(
    bare_job: Callable[..., Job], bare_crew: Callable[..., Any], say: Callable[..., CrewEntry], owner: User,
    django_assert_max_num_queries: Any,
) -> None:  # fmt: skip
    bare_crew("North crew")
    for count in (2, 6):
        for _ in range(count):
            job = finished(bare_job("inject"))
            bare_job("attic")
            say(job, EntryKind.HOURS, job.phases.get(kind="inject"), hours=4.0)
            HouseTest.objects.create(job=job, when="out", data={}, cfm50=1500.0, cfm50_se=50.0, at=NOW, by=owner)
        # backlog 6, production 8, leakage 5, call-backs 6
        with django_assert_max_num_queries(25):
            backlog(ALL), production(ALL), leakage(ALL), call_backs(ALL)


def test_no_phase_of_a_return_makes_a_crew(bare_job: Callable[..., Job], bare_crew: Callable[..., Any],
                                           scheduler: User) -> None:  # fmt: skip
    first, second = bare_crew("North crew"), bare_crew("South crew")
    job = finished(bare_job("inject", "return"))
    for kind, crew, hours in ((PhaseKind.INJECT, first, 2), (PhaseKind.RETURN, second, 8)):
        Visit.objects.create(phase=job.phases.get(kind=kind), crew=crew, day=MONDAY, first_hour=8, hours=hours,
                             made_at=NOW, made_by=scheduler)  # fmt: skip
    assert [row[1] for row in call_backs(ALL).table.rows] == ["North crew"]
