"""What a crew reports arrives once, moves bays, phases and the job, and tells what must stop."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from estimates.models import User
from jobs.entries import entries_receive
from jobs.entry_records import FT3_PER_GAL, MixRecord
from jobs.models import Bay, CrewEntry, Job, JobWall, PhaseKind
from jobs.start_gates import gate_add

Send = Callable[..., dict[str, Any]]

MORNING = datetime(2026, 3, 11, 13, 0, tzinfo=UTC)
"""Nine o'clock in New York on Wednesday 11 March 2026: the first day after the time to cancel (P7, S)."""

WARM = {"slot": "start", "air_f": 55, "substrate_f": 52, "chemical_f": 70, "water_f": 65, "forecast_low_f": 41}


@pytest.fixture
def job(measured_job: Callable[..., Job], crew_on: Callable[..., Any]) -> Job:
    job = measured_job("alder-foursquare")
    crew_on(job)
    return job


@pytest.fixture
def wall(job: Job) -> JobWall:
    found = job.walls.filter(drawn=True).first()
    assert found is not None
    return found


@pytest.fixture
def report(job: Job, wall: JobWall, crew: User) -> Send:
    """Return `report(kind, data, by=..., at=..., **more)`: sends one item about the wall and gives its answer."""

    def send(kind: str, data: Any, *, by: User = crew, at: int = 0, **more: Any) -> dict[str, Any]:
        noted = MORNING + timedelta(minutes=at)
        item = {"code": str(uuid.uuid4()), "job": str(job.code), "wall": wall.key, "kind": kind, "data": data}
        item |= {"noted_at": noted.isoformat(), **more}
        return entries_receive(user=by, items=[item], now=noted + timedelta(minutes=1))[0]

    return send


def told(state: str, *numbers: int, **more: Any) -> dict[str, Any]:
    return {"state": state, "bays": [{"bay": number} for number in numbers], **more}


def fillable(wall: JobWall) -> list[int]:
    return list(wall.bays.filter(state="planned").values_list("number", flat=True))


def bay(wall: JobWall, number: int) -> Bay:
    return Bay.objects.get(wall=wall, number=number)


def test_an_item_that_is_sent_again_is_answered_the_same_and_kept_once(job: Job, wall: JobWall, crew: User) -> None:
    first = fillable(wall)[0]
    item = {"code": str(uuid.uuid4()), "job": str(job.code), "wall": wall.key, "kind": "bay"}
    item |= {"data": told("left", first), "noted_at": MORNING.isoformat()}
    answers = [entries_receive(user=crew, items=[item], now=MORNING + timedelta(hours=n))[0] for n in range(3)]
    assert answers[0]["state"] == "received"
    assert answers[0] == answers[1] == answers[2]
    assert CrewEntry.objects.count() == 1
    other = entries_receive(user=crew, items=[{**item, "data": told("drilled", first)}], now=MORNING)[0]
    assert other["state"] == "conflict"
    assert bay(wall, first).state == "left"


def test_a_bad_item_names_its_fields_and_holds_no_other_back(job: Job, wall: JobWall, crew: User) -> None:
    envelope = {"job": str(job.code), "wall": wall.key}
    bad_mix = {"lot": "", "ingredients_lb": "-3", "water_gal": "two", "bays": [{"bay": fillable(wall)[0]}]}
    items = [
        {**envelope, "code": str(uuid.uuid4()), "kind": "mix", "data": bad_mix},
        {**envelope, "code": str(uuid.uuid4()), "kind": "bay", "data": told("refused", fillable(wall)[0])},
        {**envelope, "code": str(uuid.uuid4()), "kind": "bay", "data": told("filled", 998)},
        {**envelope, "code": "no code", "kind": "tea", "data": {}},
        {**envelope, "code": str(uuid.uuid4()), "kind": "bay", "wall": "", "data": told("left", 1)},
        "not even an object",
        {**envelope, "code": str(uuid.uuid4()), "kind": "hours", "data": {"hours": "7.5", "people": 2}},
    ]
    answers = entries_receive(user=crew, items=items, now=MORNING)
    assert [answer["state"] for answer in answers] == ["not taken"] * 6 + ["received"]
    fields = [{fault["field"] for fault in answer["faults"]} for answer in answers]
    assert fields[0] == {"$.lot", "$.ingredients_lb", "$.water_gal"}
    assert fields[1:5] == [{"$.reason"}, {"$.bays"}, {"code", "kind"}, {"wall"}]
    assert all("enter" in f["say"] or "choose" in f["say"] for a in answers[:5] for f in a["faults"])
    kept = CrewEntry.objects.get()
    assert (kept.kind, kept.data, kept.day) == ("hours", {"hours": 7.5, "people": 2}, date(2026, 3, 11))


def test_only_the_crew_of_a_job_reports_on_it(job: Job, report: Send, stranger: User, scheduler: User) -> None:
    for who in (stranger, scheduler):
        answer = report("note", {"text": "Gate code 4711"}, by=who)
        assert (answer["state"], answer["faults"][0]["field"]) == ("not taken", "job")
    assert not CrewEntry.objects.exists()
    job.refresh_from_db()
    assert job.status == "booked"


def test_entries_move_bays_phases_and_the_job(job: Job, wall: JobWall, report: Send) -> None:
    numbers = fillable(wall)
    assert report("bay", told("drilled", *numbers[:3]))["state"] == "received"
    job.refresh_from_db()
    assert job.status == "started"
    assert job.phases.get(kind=PhaseKind.PREPARE).status == "started"
    report("bay", told("filled", numbers[0]), at=5, knows="")
    report("bay", told("refused", numbers[1], reason="Pipe in the bay"), at=6)
    assert [bay(wall, n).state for n in numbers[:3]] == ["filled", "refused", "drilled"]
    assert bay(wall, numbers[1]).reason == "Pipe in the bay"
    assert job.phases.get(kind=PhaseKind.INJECT).status == "started"
    # Every bay of every wall settled: injecting is done; reopened once one is left again.
    for one in job.walls.all():
        rest = list(one.bays.filter(state__in=("planned", "drilled")).values_list("number", flat=True))
        if rest:
            report("bay", told("filled", *rest), at=8, wall=one.key)
    assert job.phases.get(kind=PhaseKind.INJECT).status == "done"
    report("bay", told("left", numbers[0], reason="Looks short"), at=9)
    assert job.phases.get(kind=PhaseKind.INJECT).status == "started"
    report("bay", told("filled", numbers[0]), at=10)
    work = [kind for kind in job.phases.values_list("kind", flat=True) if kind in ("close_up", "air_sealing", "attic")]
    closed = report("day_close", {"done": [{"phase": kind} for kind in work]}, at=600)
    assert closed["state"] == "received"
    job.refresh_from_db()
    assert job.status == "work_done"


def test_two_people_who_say_different_things_leave_a_doubtful_bay_and_both_words(
    job: Job, wall: JobWall, report: Send, crew: User, stranger: User, crew_on: Callable[..., Any]
) -> None:
    crew_on(job, stranger, first_hour=9, hours=2)
    number = fillable(wall)[0]
    first = report("bay", told("filled", number), at=1)
    # Says the same: nothing to decide.
    same = report("bay", told("filled", number), at=2, by=stranger)
    assert same["clashes"] == []
    other = report("bay", told("refused", number, reason="Duct"), at=3, by=crew, knows={str(number): first["code"]})
    assert other["state"] == "received"
    (clash,) = other["clashes"]
    assert (clash["theirs"]["state"], clash["theirs"]["by"]) == ("filled", "Stellan Vey")
    assert (clash["yours"]["state"], clash["yours"]["reason"]) == ("refused", "Duct")
    assert (bay(wall, number).state, CrewEntry.objects.filter(clashed=True).count()) == ("doubtful", 1)
    # A word typed before the clash was known decides nothing; one that knows it does.
    late = report("bay", told("left", number), at=3, by=crew, knows={str(number): other["code"]})
    assert bay(wall, number).state == "doubtful"
    report("bay", told("refused", number, reason="Duct"), at=30, by=stranger, knows={str(number): late["code"]})
    assert bay(wall, number).state == "refused"
    assert CrewEntry.objects.filter(kind="bay").count() == 5


def test_a_fact_is_taken_and_told_to_stop(job: Job, wall: JobWall, report: Send, scheduler: User) -> None:
    number = fillable(wall)[0]
    gate_add(job=job, kind="other", name="Meter moved", owes="Utility", walls=(wall.key,), by=scheduler, now=MORNING)
    answer = report("bay", told("filled", number), at=1)
    said = " ".join(answer["stops"])
    assert answer["state"] == "received"
    assert bay(wall, number).state == "filled"
    assert "Meter moved is not met; Utility owes it" in said
    assert "framing not measured" in said
    assert "no temperatures at this wall today" in said
    assert all(stop.startswith("Stop: ") for stop in answer["stops"])
    # 40 degF is the least of the product in the price book (CP); 18 % the limit of framing (G7).
    assert any("air at 38 degF" in stop for stop in report("temperature", {**WARM, "air_f": 38}, at=2)["stops"])
    assert any("would freeze" in stop for stop in report("temperature", {**WARM, "forecast_low_f": 32}, at=3)["stops"])
    assert "18%" in report("moisture", {"content_pct": 18.1}, at=4)["stops"][0].replace(" ", "")
    job.gates.filter(met_on__isnull=True).update(met_on=date(2026, 3, 9), expires_on=None)
    assert report("temperature", WARM, at=5)["stops"] == []
    assert any("framing at 18.1" in stop for stop in report("bay", told("filled", number), at=6)["stops"])


def test_a_mix_is_weighed_against_the_band_of_its_product(wall: JobWall, report: Send) -> None:
    mix = {"lot": "B-17", "ingredients_lb": "40", "water_gal": "5", "bays": [{"bay": n} for n in fillable(wall)[:3]]}
    # D: a US gallon is 231 in3, so a quart is 0.25 x 231 / 1728 ft3; 8.34 lb a gallon of water (M).
    weighed = MixRecord(
        **{**mix, "ingredients_lb": 40.0, "water_gal": 5.0, "bays": (), "container_gal": 0.25, "sample_lb": 0.1}
    )
    assert weighed.wet_lb_ft3 == pytest.approx(0.1 * 1728 / 231 * 4, rel=1e-9)
    assert weighed.mass_lb == pytest.approx(81.7)
    from jobs.injection_stops import foam_of

    want = foam_of(wall.job).wet_lb_ft3 * 0.25 * FT3_PER_GAL
    right = report("mix", {**mix, "container_gal": "0.25", "sample_lb": str(want)}, at=1)
    heavy = report("mix", {**mix, "container_gal": "0.25", "sample_lb": str(want * 1.2)}, at=2)
    assert not any("wet density" in stop for stop in right["stops"])
    assert any("heavier" in stop for stop in heavy["stops"])
    assert [row["bay"] for row in CrewEntry.objects.filter(kind="mix")[0].data["bays"]] == fillable(wall)[:3]


def test_a_day_does_not_close_over_a_planned_bay(wall: JobWall, report: Send) -> None:
    # I1
    numbers = fillable(wall)
    report("bay", told("filled", numbers[0]), at=1)
    refused = report("day_close", {}, at=500)
    assert refused["state"] == "not taken"
    assert wall.name in refused["faults"][0]["say"]
    assert str(numbers[1]) in refused["faults"][0]["say"]
    assert report("hours", {"hours": 8}, at=501)["state"] == "received"
    report("bay", told("left", *numbers[1:]), at=502)
    closed = report("day_close", {"after_midday": True}, at=503)
    assert closed["state"] == "received"
    said = " ".join(closed["looks"])
    assert "no temperatures at start" in said
    assert "no temperatures at midday" in said
    assert "no first-bay trial" in said
    assert "combustion safety" in said


def test_a_wall_as_found_keeps_the_numbers_of_its_bays(wall: JobWall, report: Send, job: Job) -> None:
    numbers = set(wall.bays.values_list("number", flat=True))
    deeper = report("as_found", {"version": 0, "add": {"depth_in": "4"}})
    assert deeper["state"] == "received"
    wall.refresh_from_db()
    assert (wall.found, wall.found_version) == ({"depth_in": 4.0}, 1)
    assert set(wall.bays.filter(retired=False).values_list("number", flat=True)) == numbers
    from jobs.found_walls import layout_of

    widest = max(layout_of(wall, year_built=1920).bays, key=lambda one: one.right_in - one.left_in)
    middle = (widest.left_in + widest.right_in) / 2
    report("bay", told("filled", widest.number), at=1)
    split = report("as_found", {"version": 1, "add": {"studs_added": [{"x_in": middle, "y_in": 0}]}}, at=2)
    assert split["state"] == "received", split
    kept = wall.bays.get(number=widest.number)
    assert kept.retired
    assert any(f"bay {widest.number}" in look for look in split["looks"])
    added = wall.bays.filter(added=True, retired=False)
    assert {one.number for one in added}.isdisjoint(numbers)
    assert added.count() == 2
    # What was found with the first word is still there, and the wall is the layout of both.
    wall.refresh_from_db()
    assert wall.found["depth_in"] == 4.0
    layout = {one.number: one for one in layout_of(wall, year_built=1920).bays}
    for row in wall.bays.filter(retired=False, reachable=True):
        assert row.fill_ft3 == pytest.approx(layout[row.number].volume_ft3 * wall.room_share)
    wrong = report("as_found", {"version": 2, "add": {"studs_moved": [{"from_in": 1.0, "to_in": 5.0}]}}, at=3)
    assert wrong["state"] == "not taken"
    assert "studs_moved" in wrong["faults"][0]["field"]


def test_two_people_who_found_different_things_on_a_wall_see_both(
    job: Job, wall: JobWall, report: Send, stranger: User, crew_on: Callable[..., Any]
) -> None:
    crew_on(job, stranger, first_hour=9, hours=2)
    report("as_found", {"version": 0, "found": {"depth_in": 4.0}}, at=1)
    other = report("as_found", {"version": 0, "found": {"depth_in": 3.25}}, at=2, by=stranger)
    assert other["state"] == "received"
    assert other["clashes"][0]["theirs"]["found"] == {"depth_in": 4.0}
    assert other["clashes"][0]["yours"]["found"] == {"depth_in": 3.25}
    wall.refresh_from_db()
    assert wall.found == {"depth_in": 4.0}
    # The same person went on while offline: both words hold.
    own = report("as_found", {"version": 0, "add": {"bay_depths": [{"bay": 1, "depth_in": 3.0}]}}, at=3)
    assert own["clashes"] == []
    wall.refresh_from_db()
    assert wall.found == {"depth_in": 4.0, "bay_depths": [{"bay": 1, "depth_in": 3.0}]}


def test_a_correction_keeps_the_old_word_and_two_corrections_clash(report: Send) -> None:
    first = report("hours", {"hours": 8, "people": 2})
    second = report("hours", {"hours": 7, "people": 2}, at=1, replaces=first["code"])
    third = report("hours", {"hours": 6, "people": 2}, at=2, replaces=first["code"])
    assert (second["clashes"], len(third["clashes"])) == ([], 1)
    assert CrewEntry.objects.filter(kind="hours").count() == 3
    assert report("note", {"text": "x"}, at=3, replaces=first["code"])["state"] == "not taken"
