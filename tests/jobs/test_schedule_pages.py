"""Pages of the schedule: who reads and who writes, what is told, what a plan changes before and after it is taken."""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from estimates.models import ActivityEntry, OutboxMessage, User
from jobs.crews import rig_save
from jobs.models import Absence, Crew, DayWeather, GateKind, Job, Phase, RigKind, Skill, Visit
from jobs.start_gates import gate_add
from jobs.visits import visit_book
from jobs.weather import BadForecast, forecast_read

NOW = datetime(2026, 3, 9, 12, 0, tzinfo=UTC)  # Monday, 8 in the morning in New York
WEDNESDAY = date(2026, 3, 11)
SCHEDULE = "/schedule/"


@pytest.fixture(autouse=True)
def monday() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def act(scheduler: User) -> dict[str, Any]:
    return {"by": scheduler, "now": NOW}


@pytest.fixture
def north(bare_crew: Callable[..., Crew], act: dict[str, Any]) -> Crew:
    rig = rig_save(rig=None, version=0, name="Foam rig 1", kind=RigKind.FOAM, **act)
    return bare_crew("North crew", "injecting", rigs=[rig])


@pytest.fixture
def browse(signed_in: Callable[[User], Client], scheduler: User) -> Client:
    return signed_in(scheduler)


def inject(**more: Any) -> tuple[str, dict[str, Any]]:
    return "inject", {"skills": ["injecting"], "rig_kind": "foam", **more}


def text(answer: Any) -> str:
    """What a page says, without its marks."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())).split())


def place(browse: Client, phase: Phase, crew: Crew, day: date, hour: str = "", **more: Any) -> Any:
    phase.refresh_from_db()
    form = {"crew": crew.pk, "day": day.isoformat(), "hour": hour, "version": phase.version, **more}
    return browse.post(f"/schedule/phases/{phase.code}/", form, follow=True)


def shown_plan(page: Any) -> dict[str, str]:
    """The hidden fields of a proposed plan."""
    found = re.findall(r'<input type="hidden" name="(digest|plan|slices|keep)" value="([^"]*)">', page.content.decode())
    return {name: html.unescape(value) for name, value in found}


def test_a_phase_is_booked_by_form_shown_with_job_people_and_rig_and_moved(
    browse: Client, north: Crew, bare_job: Callable[..., Job]
) -> None:
    phase = bare_job(inject()).phases.get()
    before = text(browse.get(SCHEDULE))
    assert "Ready to book J-00001 Kiln Row 1" in before
    said = text(place(browse, phase, north, WEDNESDAY))
    assert "Inject of J-00001 is booked for Wed 11 Mar, 8:00, North crew." in said
    assert "J-00001 Kiln Row 1 8:00–16:00 , whole day North crew 1, North crew 2 Foam rig 1" in said
    assert "Ready to book" not in said
    said = text(place(browse, phase, north, date(2026, 3, 17)))
    assert "is moved to Tue 17 Mar, 8:00" in said
    assert Visit.objects.get().day == date(2026, 3, 17)
    # The page of the job leads to its week.
    assert "Week of Mon 16 Mar" in text(browse.get(f"/jobs/{phase.job.code}/schedule/"))


def test_an_impossible_move_says_what_it_breaks_and_one_button_takes_the_nearest_place(
    browse: Client, north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    first, second = bare_job(inject()).phases.get(), bare_job(inject()).phases.get()
    visit_book(phase=first, crew=north, day=WEDNESDAY, hour=None, version=1, **act)
    answer = place(browse, second, north, WEDNESDAY)
    assert answer.status_code == 409
    assert "<title>Error: " in answer.content.decode()
    words = text(answer)
    assert "North crew is with inject of J-00001 on Wed 11 Mar at 8:00." in words
    assert "The nearest place that breaks nothing: North crew, " in words
    part = answer.content.decode().split('id="error-summary"')[1].split("</form>")[0]
    form = dict(re.findall(r'name="(version|crew|day|hour)" value="([^"]*)"', part))
    assert set(form) == {"version", "crew", "day", "hour"}
    browse.post(f"/schedule/phases/{second.code}/", form)
    assert second.visits.exists()
    # A second tap finds the phase changed, books nothing more, and says so.
    again = browse.post(f"/schedule/phases/{second.code}/", form)
    assert again.status_code == 409
    assert "changed by somebody else meanwhile" in text(again)
    assert second.visits.count() == 1


def test_a_wrong_day_and_a_missing_crew_stand_beside_their_fields(
    browse: Client, north: Crew, bare_job: Callable[..., Job]
) -> None:
    phase = bare_job(inject()).phases.get()
    form = {"crew": "", "day": "soon", "hour": "9", "version": 1}
    page = browse.post(f"/schedule/phases/{phase.code}/", form).content.decode()
    assert "Choose the crew" in page
    assert "Enter a day, such as 2026-03-05" in page
    assert 'value="soon"' in page
    assert '<option value="9" selected>' in page
    assert "Enter today or a later day." in text(place(browse, phase, north, date(2026, 3, 2)))
    assert "Enter 2026-04-19 or an earlier day." in text(place(browse, phase, north, date(2026, 6, 1)))


def test_the_weeks_are_filled_shown_bettered_and_taken_in_one_go(
    browse: Client, north: Crew, bare_job: Callable[..., Job], act: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    from jobs.views import schedule

    monkeypatch.setattr(schedule, "SLICE_S", 0.2)
    jobs = [bare_job("prepare", inject(most_lag=3), wanted_by=date(2026, 3, 13)) for _ in range(3)]
    stuck = bare_job(("attic", {"skills": ["blowing"]}))
    waiting = bare_job(inject())
    gate_add(job=waiting, kind=GateKind.PERMIT, name="Building permit", **act)
    page = browse.get("/schedule/plan/")
    words = text(page)
    assert not Visit.objects.exists()
    assert "J-00005, Kiln Row 5: No start day yet: waiting for Building permit." in words
    assert "J-00004, Kiln Row 4: Stopped by the skills of the crews." in words
    assert "6 phases are new, 0 moved." in words
    for term in ("Days late", "Half-days left empty", "Travel", "Changes to what is already promised"):
        assert term in words
    plan = shown_plan(page)
    part = browse.post("/schedule/plan/better/", plan, headers={"HX-Request": "true"})
    assert "<html" not in part.content.decode()
    bettered = shown_plan(part)
    assert bettered["slices"] == "1"
    assert bettered["digest"] == plan["digest"]
    # Without script the same button gives a whole page.
    assert "<html" in browse.post("/schedule/plan/better/", plan).content.decode()
    assert not Visit.objects.exists()
    said = text(browse.post("/schedule/plan/take/", bettered, follow=True))
    assert "The plan is taken: 6 phases booked." in said
    assert {phase.visits.count() for job in jobs for phase in job.phases.all()} == {1}
    assert not stuck.phases.get().visits.exists()
    # The same plan a second time: the rows are others now, so nothing is written, and that is said.
    said = text(browse.post("/schedule/plan/take/", bettered, follow=True))
    assert "Nothing was written. The schedule was changed by somebody else meanwhile." in said
    assert Visit.objects.count() == 6


def test_a_plan_that_went_stale_or_was_tampered_with_is_not_written(
    browse: Client, north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    phase = bare_job(inject()).phases.get()
    plan = shown_plan(browse.get("/schedule/plan/"))
    early = {**plan, "plan": plan["plan"].replace("2026-03-10", "2026-03-15")}
    assert early != plan
    assert "This plan does not hold" in text(browse.post("/schedule/plan/take/", early, follow=True))
    assert "Nothing was written" in text(browse.post("/schedule/plan/take/", {**plan, "plan": "[[1]]"}, follow=True))
    visit_book(phase=phase, crew=north, day=date(2026, 3, 12), hour=None, version=1, **act)
    stale = browse.post("/schedule/plan/better/", plan, headers={"HX-Request": "true"})
    assert "This plan is out of date" in text(stale)
    assert "Nothing was written" in text(browse.post("/schedule/plan/take/", plan, follow=True))
    assert phase.visits.get().day == date(2026, 3, 12)


def test_a_lost_day_is_marked_replanned_and_the_promise_that_breaks_is_named(
    browse: Client, north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    phase = bare_job(inject()).phases.get()
    visit_book(phase=phase, crew=north, day=WEDNESDAY, hour=None, version=1, **act)
    phase.refresh_from_db()
    said = text(browse.post(f"/schedule/phases/{phase.code}/promise/", {"version": phase.version}, follow=True))
    assert "There is no e-mail address: call them." in said
    assert not OutboxMessage.objects.exists()
    page = browse.post("/schedule/lost/", {"day": "2026-03-11", "reason": ""}).content.decode()
    assert "Choose the who loses the day" not in page
    assert "Enter the reason" in page
    lost = {"who": [north.pk], "day": "2026-03-11", "reason": "Frost"}
    plan = browse.post("/schedule/lost/", lost, follow=True)
    words = text(plan)
    assert "Wed 11 Mar is lost for North crew." in words
    assert "Promised days that would change J-00001, inject: promised North crew, Wed 11 Mar, 8:00–16:00" in words
    assert Absence.objects.get().reason == "Frost"
    assert phase.visits.get().day == WEDNESDAY
    broken = text(browse.get(SCHEDULE))
    assert "1 booked phase cannot stand J-00001, inject , Wed 11 Mar 2026: North crew is away on Wed 11 Mar" in broken
    said = text(browse.post("/schedule/plan/take/", shown_plan(plan), follow=True))
    assert "1 phase moved" in said
    assert "Homeowners were promised other days. Tell them: J-00001." in said
    assert not phase.visits.filter(day=WEDNESDAY).exists()
    assert not phase.visits.filter(promised=True).exists()


def test_a_promise_writes_a_letter_where_there_is_an_address(
    browse: Client, north: Crew, booked: Callable[..., Job], act: dict[str, Any]
) -> None:
    with time_machine.travel(datetime(2026, 3, 6, 23, 30, tzinfo=UTC)):
        job = booked("mill-cape")
    phase = job.phases.first()
    assert phase is not None
    Visit.objects.create(phase=phase, crew=north, day=WEDNESDAY, first_hour=8, hours=4, made_at=NOW, made_by=act["by"])
    browse.post(f"/schedule/phases/{phase.code}/promise/", {"version": phase.version})
    letter = OutboxMessage.objects.get(key__startswith="promise-")
    assert letter.payload["to"] == ["wren@example.org"]
    assert "Wed 11 Mar from 8:00" in letter.payload["text"]
    assert "$" not in letter.payload["text"]


def test_a_phase_is_pinned_released_and_taken_off(
    browse: Client, north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    phase = bare_job(inject()).phases.get()
    visit_book(phase=phase, crew=north, day=WEDNESDAY, hour=None, version=1, **act)
    address = f"/schedule/phases/{phase.code}/"
    for pinned, words in (("1", "is pinned"), ("0", "is released")):
        phase.refresh_from_db()
        said = text(browse.post(f"{address}pin/", {"version": phase.version, "pinned": pinned}, follow=True))
        assert words in said
    assert browse.post(f"{address}remove/", {"version": 1}).status_code == 409
    phase.refresh_from_db()
    assert "is taken off the schedule" in text(
        browse.post(f"{address}remove/", {"version": phase.version}, follow=True)
    )
    assert not Visit.objects.exists()
    assert ActivityEntry.objects.filter(action="visit.remove").count() == 1


def test_who_only_reads_sees_no_door_to_writing_and_the_crew_sees_nothing(
    signed_in: Callable[[User], Client],
    salesperson: User,
    crew: User,
    north: Crew,
    bare_job: Callable[..., Job],
    act: dict[str, Any],
) -> None:
    phase = bare_job(inject()).phases.get()
    visit_book(phase=phase, crew=north, day=WEDNESDAY, hour=None, version=1, **act)
    bare_job(inject())
    page = signed_in(salesperson).get(SCHEDULE).content.decode()
    assert "J-00001" in page
    assert "/schedule/phases/" not in page
    assert "Fill the weeks" not in page
    assert signed_in(crew).get(SCHEDULE).status_code == 403
    assert signed_in(salesperson).post(f"/schedule/phases/{phase.code}/", {}).status_code == 403


def test_no_page_of_the_schedule_shows_what_somebody_costs(
    browse: Client, north: Crew, bare_job: Callable[..., Job]
) -> None:
    bare_job(inject())
    for address in (SCHEDULE, "/schedule/plan/", "/schedule/weather/", "/schedule/calendars/"):
        assert "$" not in text(browse.get(address))


def test_the_schedule_asks_as_often_for_many_as_for_few(
    browse: Client, north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def ask() -> int:
        with CaptureQueriesContext(connection) as asked:
            browse.get(SCHEDULE)
        return len(asked)

    def one(day: int) -> None:
        phase = bare_job(inject(hours=Decimal(8))).phases.get()
        visit_book(phase=phase, crew=north, day=date(2026, 3, day), hour=None, version=1, **act)

    one(10)
    bare_job(inject())
    ask()
    few = ask()
    for day in (11, 12, 13, 17):
        one(day)
        bare_job(inject())
    # The limits of a foam are read once for each frozen estimate, then remembered.
    ask()
    assert ask() == few


# --- Weather ---------------------------------------------------------------------------------------------------------


def test_weather_is_entered_or_read_from_a_file_and_stands_over_its_day(browse: Client, north: Crew) -> None:
    typed = {"day": "2026-03-10", "low_f": "28", "high_f": "41", "rain_percent": "60", "source": "Radio"}
    assert "is entered" in text(browse.post("/schedule/weather/", typed, follow=True))
    assert "28 to 41 °F, rain 60 %" in text(browse.get(SCHEDULE))
    swapped = {**typed, "low_f": "50"}
    assert "Enter a high at or above the low." in text(browse.post("/schedule/weather/", swapped))
    good = b"day,low_f,high_f,rain_percent,wind_mph\r\n2026-03-10,30,45,20,5\r\n2026-03-11,33.5,50,,\r\n"
    file = SimpleUploadedFile("forecast.csv", good, "text/csv")
    said = text(browse.post("/schedule/weather/", {"file": file, "file_source": "Station"}, follow=True))
    assert "The weather of 2 days is read." in said
    assert [str(row.low_f) for row in DayWeather.objects.all()] == ["30.0", "33.5"]
    bad = SimpleUploadedFile("forecast.csv", b"day,low_f,high_f\n2026-03-12,30\n2026-03-13,60,40\n", "text/csv")
    words = text(browse.post("/schedule/weather/", {"file": bad, "file_source": "Station"}))
    assert "Line 2: 2 values, 3 columns." in words
    assert "Line 3: high_f 40.0 is below low_f 60.0." in words
    assert DayWeather.objects.count() == 2


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ("", "Line 1: day is missing"),
        ("day,low_f,high_f,snow\n", "'snow' is no column"),
        ("day,low_f,high_f\n", "Line 2: there is no day"),
        ("day,low_f,high_f\ntomorrow,1,2\n", "Enter a day such as 2026-03-10"),
        ("day,low_f,high_f\n2026-03-10,cold,2\n", "low_f is 'cold'. Enter a number from -80 to 150"),
        ("day,low_f,high_f\n2026-03-10,NaN,2\n", "low_f is 'NaN'"),
        ("day,low_f,high_f,rain_percent\n2026-03-10,1,2,101\n", "rain_percent is '101'"),
        ("day,low_f,high_f\n2026-03-10,1,2\n2026-03-10,1,2\n", "2026-03-10 stands twice"),
    ],
)
def test_a_bad_forecast_names_line_and_column(lines: str, words: str) -> None:
    with pytest.raises(BadForecast, match=re.escape(words)):
        forecast_read(lines)


def test_every_door_of_the_schedule_has_a_name() -> None:
    assert reverse("jobs-show-schedule") == SCHEDULE


def test_a_signed_house_is_planned_from_its_own_takeoff(
    browse: Client, bare_crew: Callable[..., Crew], booked: Callable[..., Job], act: dict[str, Any]
) -> None:
    from jobs.crews import certificate_add
    from jobs.start_gates import gate_meet

    with time_machine.travel(datetime(2026, 3, 6, 23, 30, tzinfo=UTC)):
        job = booked("mill-cape")
    kinds = (("Foam rig 1", RigKind.FOAM), ("Blower 1", RigKind.BLOWER), ("Door 1", RigKind.TEST_KIT))
    rigs = [rig_save(rig=None, version=0, name=name, kind=kind, **act) for name, kind in kinds]
    bare_crew("Mill crew", *Skill.values, rigs=rigs, people=3)
    person = Crew.objects.get().members.first().worker
    days = {"valid_from": date(2026, 1, 1), "valid_until": date(2026, 12, 31)}
    certificate_add(kind="lead_firm", number="F-1", **days, **act)  # type: ignore[arg-type]
    certificate_add(kind="lead_renovator", number="R-1", worker=person, **days, **act)  # type: ignore[arg-type]
    for gate in job.gates.filter(met_on__isnull=True):
        gate_meet(gate=gate, met_on=date(2026, 3, 9), note="Seen on paper.", version=gate.version, **act)
    page = browse.get("/schedule/plan/")
    words = text(page)
    assert "Not placed" not in words
    # Infrared waits for the foam to dry, so it is planned once the rest stands.
    assert "Planned once test-out is booked." in words
    browse.post("/schedule/plan/take/", shown_plan(page))
    placed = job.phases.exclude(kind="infrared").order_by("position")
    assert {phase.visits.exists() for phase in placed} == {True}
    for phase in placed:
        hours = sum(visit.hours for visit in phase.visits.all())
        # D: three people; whole half-days hold the person-hours of the takeoff, a short visit its own hours.
        people = 1 if phase.kind in ("test_in", "test_out") else 3
        assert hours * people >= phase.hours
    starts = [phase.visits.order_by("day", "first_hour").first() for phase in placed]
    # P7, S: signed on Friday 6 March, so no work before Wednesday the 11th; then in the order of work.
    assert starts[0] is not None
    assert starts[0].day == WEDNESDAY
    order = [(visit.day, visit.first_hour) for visit in starts if visit is not None]
    assert order == sorted(order)
    assert starts[0].rig == rigs[2]
    # Now the infrared visit has a day to wait from, and lies within the six weeks.
    assert "1 phase is new, 0 moved." in text(browse.get("/schedule/plan/"))
