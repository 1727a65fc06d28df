"""Visits: what a booking takes, what a move breaks, what stays of a plan after a lost day."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.core.exceptions import ValidationError

from estimates.command import Conflict
from estimates.models import ActivityEntry, User
from jobs.crews import absence_add, rig_save
from jobs.models import Absence, Crew, DayWeather, GateKind, Job, Phase, PhaseStatus, Rig, RigKind, Slot, Visit
from jobs.schedule_problem import Placement, WorkPart
from jobs.schedule_rows import read_board
from jobs.scheduling import solve
from jobs.start_gates import gate_add
from jobs.visits import MoveBreaks, day_lost, phase_pin, schedule_apply, visit_book, visit_move, visit_remove

NOW = datetime(2026, 3, 9, 12, 0, tzinfo=UTC)  # Monday, 8 in the morning in New York
TUESDAY, WEDNESDAY, THURSDAY = date(2026, 3, 10), date(2026, 3, 11), date(2026, 3, 12)


@pytest.fixture(autouse=True)
def monday() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def act(scheduler: User) -> dict[str, Any]:
    return {"by": scheduler, "now": NOW}


@pytest.fixture
def rig(act: dict[str, Any]) -> Rig:
    return rig_save(rig=None, version=0, name="Foam rig 1", kind=RigKind.FOAM, **act)


@pytest.fixture
def north(bare_crew: Callable[..., Crew], rig: Rig) -> Crew:
    return bare_crew("North crew", "injecting", rigs=[rig])


def inject(**more: Any) -> tuple[str, dict[str, Any]]:
    return "inject", {"skills": ["injecting"], "rig_kind": "foam", **more}


def book(phase: Phase, crew: Crew, day: date, act: dict[str, Any], hour: int | None = None) -> list[Visit]:
    phase.refresh_from_db()
    return visit_book(phase=phase, crew=crew, day=day, hour=hour, version=phase.version, **act)


def test_a_visit_takes_the_crew_its_people_and_the_rig_for_each_hour(
    north: Crew, rig: Rig, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    phase = bare_job(inject()).phases.get()
    (visit,) = book(phase, north, WEDNESDAY, act)
    # 16 hours of one person are 8 of a crew of two.
    assert (visit.day, visit.first_hour, visit.hours, visit.rig) == (WEDNESDAY, 8, 8, rig)
    taken = Slot.objects.filter(visit=visit)
    assert set(taken.values_list("resource__name", flat=True)) == {
        "North crew",
        "North crew 1",
        "North crew 2",
        "Foam rig 1",
    }
    # D: New York is 4 hours behind UTC from 8 March on, so 8:00 is 12:00 UTC.
    hours = sorted({slot.starts_at for slot in taken})
    assert hours[0] == datetime(2026, 3, 11, 12, 0, tzinfo=UTC)
    assert (len(hours), taken.count()) == (8, 32)
    assert ActivityEntry.objects.filter(action="visit.book").count() == 1


def test_work_of_more_than_a_day_becomes_several_visits_over_a_weekend(
    north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    phase = bare_job(inject(hours=Decimal(40))).phases.get()
    visits = book(phase, north, THURSDAY, act)
    # 40 person-hours of two people: 20 h, so five half-days: Thursday, Friday, Monday morning.
    assert [(visit.day.day, visit.first_hour, visit.hours) for visit in visits] == [(12, 8, 8), (13, 8, 8), (16, 8, 4)]


def test_what_is_taken_is_named_with_its_job_and_a_nearest_place_is_offered(
    north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    first, second = bare_job(inject()).phases.get(), bare_job(inject()).phases.get()
    book(first, north, WEDNESDAY, act)
    with pytest.raises(MoveBreaks) as stopped:
        book(second, north, WEDNESDAY, act)
    assert "North crew is with inject of J-00001 on Wed 11 Mar at 8:00." in stopped.value.words
    assert stopped.value.nearest is not None
    assert stopped.value.nearest.first_day in {TUESDAY, THURSDAY}
    assert Visit.objects.count() == 1
    # The other way round the sentence names the other one, whichever of the two was entered first.
    visit_remove(phase=first, version=2, **act)
    book(second, north, WEDNESDAY, act)
    with pytest.raises(MoveBreaks, match="North crew is with inject of J-00002 on Wed 11 Mar"):
        book(first, north, WEDNESDAY, act)


def test_without_the_check_the_slots_still_refuse_and_say_who_is_taken(
    north: Crew, bare_job: Callable[..., Job], act: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    from jobs import visits
    from jobs.schedule_move import Move

    first, second = bare_job(inject()).phases.get(), bare_job(inject()).phases.get()
    book(first, north, WEDNESDAY, act)

    def careless(problem: Any, schedule: Any, phase: str, crew: str, day: date, hour: int | None = None) -> Move:
        return Move(Placement(phase, crew, (WorkPart(day, 8, 16),)), (), 0.0, None)

    monkeypatch.setattr(visits, "move", careless)
    with pytest.raises(Conflict, match=r"North crew is at J-00001 on Wed 11 Mar at 8:00\. Choose another time\."):
        book(second, north, WEDNESDAY, act)
    assert not second.visits.exists()
    assert Slot.objects.filter(visit__phase=first).count() == 32


def test_a_move_keeps_the_code_of_its_visit_and_frees_the_old_hours(
    north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    phase = bare_job(inject(hours=Decimal(32))).phases.get()
    before = book(phase, north, TUESDAY, act)
    phase.refresh_from_db()
    after = visit_move(phase=phase, crew=north, day=WEDNESDAY, hour=None, version=phase.version, **act)
    assert [visit.code for visit in after] == [visit.code for visit in before]
    assert [visit.day for visit in after] == [WEDNESDAY, THURSDAY]
    assert not Slot.objects.filter(starts_at__lt=datetime(2026, 3, 11, tzinfo=UTC)).exists()
    with pytest.raises(Conflict, match="changed by somebody else"):
        visit_move(phase=phase, crew=north, day=THURSDAY, hour=None, version=1, **act)


def test_a_crew_without_the_skill_a_job_whose_gate_waits_and_a_past_day_are_refused(
    north: Crew, bare_crew: Callable[..., Crew], bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    other = bare_crew("South crew", "blowing")
    job = bare_job(inject())
    phase = job.phases.get()
    with pytest.raises(MoveBreaks, match="South crew lacks injecting foam"):
        book(phase, other, WEDNESDAY, act)
    with pytest.raises(ValidationError, match="Enter today or a later day"):
        book(phase, north, date(2026, 3, 8), act)
    gate_add(job=job, kind=GateKind.PERMIT, name="Building permit", **act)
    with pytest.raises(MoveBreaks, match="No start day yet: waiting for Building permit"):
        book(phase, north, WEDNESDAY, act)


def test_frost_rain_cold_and_holidays_keep_injecting_away(
    north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    # FIELD: the product's limits while injecting, a forecast minimum above freezing until it is dry.
    phase = bare_job(inject()).phases.get()

    def forecast(day: date, low: int, high: int, rain: str = "0") -> None:
        DayWeather.objects.update_or_create(
            day=day,
            defaults={"low_f": low, "high_f": high, "rain_chance": Decimal(rain), "source": "test", "entered_at": NOW},
        )

    forecast(TUESDAY, 41, 60, "0.5")
    forecast(WEDNESDAY, 35, 39)
    forecast(date(2026, 3, 13), 30, 50)
    words = {}
    for day in (TUESDAY, WEDNESDAY, THURSDAY):
        with pytest.raises(MoveBreaks) as stopped:
            book(phase, north, day, act)
        words[day] = " ".join(stopped.value.words)
    assert "rain" in words[TUESDAY]
    assert "a high of 39 degF, the foam wants 40 degF" in words[WEDNESDAY]
    assert "Fri 13 Mar: forecast low of 30 degF before it is dry" in words[THURSDAY]
    # S, 5 U.S.C. 6103: Memorial Day is the last Monday of May; six weeks from 20 April hold it not, from 4 May they do.
    with time_machine.travel(datetime(2026, 5, 4, 12, 0, tzinfo=UTC)):
        late = {"by": act["by"], "now": datetime(2026, 5, 4, 12, 0, tzinfo=UTC)}
        with pytest.raises(MoveBreaks, match="Memorial Day"):
            book(phase, north, date(2026, 5, 25), late)


def test_a_plan_is_written_whole_or_not_at_all(north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]) -> None:
    jobs = [bare_job(("prepare", {}), inject(most_lag=3), ("close_up", {"hours": 8, "most_lag": 1})) for _ in range(2)]
    board = read_board(TUESDAY)
    plan = solve(board.problem, time_limit_s=0)
    assert not plan.left_out
    taken = schedule_apply(placements=plan.placements, first=TUESDAY, digest=board.digest, **act)
    assert len(taken.booked) == 6
    assert {phase.visits.count() for job in jobs for phase in job.phases.all()} == {1}
    after = read_board(TUESDAY)
    assert set(after.placed) == set(plan.placements)
    assert after.broken == {}
    with pytest.raises(Conflict, match="changed by somebody else meanwhile"):
        schedule_apply(placements=plan.placements, first=TUESDAY, digest=board.digest, **act)
    # The same plan again changes nothing.
    again = schedule_apply(placements=plan.placements, first=TUESDAY, digest=after.digest, **act)
    assert (again.booked, again.moved, again.removed) == ((), (), ())


def test_a_plan_that_breaks_a_rule_is_refused_by_the_check(
    north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    ids = [f"p{bare_job(inject()).phases.get().pk}" for _ in range(2)]
    board = read_board(TUESDAY)
    both = [Placement(i, f"c{north.pk}", (WorkPart(WEDNESDAY, 8, 16),), next(iter(board.rigs))) for i in ids]
    with pytest.raises(Conflict, match="This plan does not hold"):
        schedule_apply(placements=both, first=TUESDAY, digest=board.digest, **act)
    assert not Visit.objects.exists()


def test_a_lost_day_breaks_its_visits_and_the_plan_after_it_moves_no_others(
    north: Crew, bare_crew: Callable[..., Crew], bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    south = bare_crew("South crew", "blowing")
    struck, far = bare_job(inject()).phases.get(), bare_job("attic").phases.get()
    book(struck, north, TUESDAY, act)
    book(far, south, WEDNESDAY, act)
    day_lost(who=[north], day=TUESDAY, reason="Frost", **act)
    day_lost(who=[north], day=TUESDAY, reason="Frost", **act)
    assert Absence.objects.count() == 1
    board = read_board(date(2026, 3, 9))
    assert list(board.broken.values()) == ["North crew is away on Tue 10 Mar (Frost)"]
    board = read_board(TUESDAY)
    plan = solve(board.problem, time_limit_s=0)
    taken = schedule_apply(placements=plan.placements, first=TUESDAY, digest=board.digest, **act)
    assert (taken.booked, taken.moved, taken.removed) == ((), (struck,), ())
    assert struck.visits.get().day == WEDNESDAY
    assert far.visits.get().day == WEDNESDAY


def test_what_is_under_way_stays_and_only_its_lost_rest_is_planned(
    north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    phase = bare_job(inject(hours=Decimal(48))).phases.get()
    book(phase, north, date(2026, 3, 9), act)
    day_lost(who=[north], day=TUESDAY, reason="Rain", **act)
    # On Tuesday evening: Monday was worked, Tuesday was lost, Wednesday stands.
    board = read_board(WEDNESDAY)
    (spec,) = [spec for _, spec in board.problem.phases()]
    # D: 48 person-hours less Monday and Wednesday of two people for 8 h.
    assert spec.hours == pytest.approx(16)
    plan = solve(board.problem, time_limit_s=0)
    with time_machine.travel(NOW + timedelta(days=1)):
        schedule_apply(placements=plan.placements, first=WEDNESDAY, digest=board.digest, **act)
    assert sorted(visit.day.day for visit in phase.visits.all()) == [9, 11, 12]


def test_somebody_away_keeps_the_crew_at_home_and_names_who(
    north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    phase = bare_job(inject()).phases.get()
    book(phase, north, WEDNESDAY, act)
    person = north.members.first().worker
    absence_add(resource=person, first_day=WEDNESDAY, last_day=WEDNESDAY, reason="Ill", **act)
    assert list(read_board(TUESDAY).broken.values()) == ["North crew is away on Wed 11 Mar (North crew 1: Ill)"]


def test_a_pinned_phase_stays_until_it_is_released(
    north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    phase = bare_job(inject()).phases.get()
    with pytest.raises(Conflict, match="has no day yet"):
        phase_pin(phase=phase, pinned=True, version=1, **act)
    book(phase, north, THURSDAY, act)
    phase.refresh_from_db()
    phase = phase_pin(phase=phase, pinned=True, version=phase.version, **act)
    plan = solve(read_board(TUESDAY).problem, time_limit_s=0)
    assert plan.placements[0].first_day == THURSDAY
    with pytest.raises(MoveBreaks, match="pinned to Thu 12 Mar"):
        visit_move(phase=phase, crew=north, day=WEDNESDAY, hour=None, version=phase.version, **act)
    visit_remove(phase=phase, version=phase.version, **act)
    assert not Slot.objects.exists()


def test_infrared_is_planned_once_the_work_before_it_is_booked(
    north: Crew, bare_crew: Callable[..., Crew], bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    bare_crew("Test crew", "infrared", people=1)
    job = bare_job(inject(), ("infrared", {"hours": 2, "least_people": 1, "skills": ["infrared"], "least_lag": 20}))
    first, infrared = job.phases.all()
    board = read_board(TUESDAY)
    assert [(one.phases, one.words) for one in board.blocked] == [((infrared,), "Planned once inject is booked.")]
    book(first, north, WEDNESDAY, act)
    board = read_board(TUESDAY)
    later = board.problem.jobs[1]
    # D: 20 working days after Wednesday 11 March, no holiday between: four weeks on.
    assert later.earliest == date(2026, 4, 8)
    plan = solve(board.problem, time_limit_s=0)
    part = plan.placement(f"p{infrared.pk}").parts[0]  # type: ignore[union-attr]
    assert part.end_hour - part.start_hour == 2


def test_a_done_phase_is_not_planned_and_the_next_one_follows_it(
    north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    job = bare_job("prepare", inject(most_lag=3))
    done, _ = job.phases.all()
    Phase.objects.filter(pk=done.pk).update(status=PhaseStatus.DONE, done_at=NOW)
    (planned,) = read_board(TUESDAY).problem.jobs
    assert [phase.kind for phase in planned.phases] == ["inject"]
    # Working days after Monday 9 March: at least one, at most three.
    assert (planned.earliest, planned.phases[0].not_after) == (TUESDAY, THURSDAY)


def test_each_crew_takes_the_rig_that_is_usually_its_own(
    north: Crew, bare_crew: Callable[..., Crew], bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    from jobs.schedule_rigs import own_rigs

    second = rig_save(rig=None, version=0, name="A rig that comes first by name", kind=RigKind.FOAM, **act)
    south = bare_crew("South crew", "injecting", rigs=[second])
    first, other = bare_job(inject()).phases.get(), bare_job(inject()).phases.get()
    board = read_board(TUESDAY)
    part = (WorkPart(WEDNESDAY, 8, 16),)
    mine = north.rigs.get().rig
    crossed = [
        Placement(f"p{first.pk}", f"c{north.pk}", part, f"r{second.pk}"),
        Placement(f"p{other.pk}", f"c{south.pk}", part, f"r{mine.pk}"),
    ]
    assert [one.rig for one in own_rigs(board, crossed)] == [f"r{mine.pk}", f"r{second.pk}"]
    # By hand as well; where it is out with somebody else, the other one goes.
    (visit,) = book(first, north, WEDNESDAY, act)
    assert visit.rig == mine
    absence_add(resource=second, first_day=THURSDAY, last_day=THURSDAY, reason="Workshop", **act)
    (visit,) = book(other, south, THURSDAY, act)
    assert visit.rig == mine


def test_visits_of_a_locked_job_are_marked_until_somebody_takes_them_off(
    north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    from jobs.booking import job_move
    from jobs.models import JobStatus

    phase = bare_job(inject()).phases.get()
    book(phase, north, WEDNESDAY, act)
    job_move(job=phase.job, to=JobStatus.LOCKED, reason="Cancelled in time.", **act)
    board = read_board(date(2026, 3, 9))
    assert list(board.broken.values()) == ["The job is locked: Cancelled in time."]
    assert board.problem.jobs == ()
    phase.refresh_from_db()
    assert visit_remove(phase=phase, version=phase.version, **act) == 1
    assert read_board(TUESDAY).broken == {}
