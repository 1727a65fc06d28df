"""Crews, people and rigs: what is kept of them, who may change them, and what the pages say."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.test import Client

from estimates.command import Conflict
from estimates.models import ActivityEntry, User
from jobs.crews import certificate_add, crew_save, rig_save, worker_save
from jobs.models import Absence, CertificateKind, Crew, CrewMember, Resource, Rig, RigKind, Skill, Worker

NOW = datetime(2026, 3, 9, 14, 0, tzinfo=UTC)
MONDAY = date(2026, 3, 9)


@pytest.fixture
def act(scheduler: User) -> dict[str, Any]:
    return {"by": scheduler, "now": NOW}


@pytest.fixture
def person_of(act: dict[str, Any]) -> Callable[..., Worker]:
    def make(name: str, *skills: Skill) -> Worker:
        return worker_save(worker=None, version=0, skills=skills, name=name, hourly_cost=Decimal("31.50"), **act)

    return make


def _crew(
    act: dict[str, Any], members: list[Worker], crew: Crew | None = None, today: date = MONDAY, **more: Any
) -> Crew:
    given = {"name": "North crew", "home_latitude": Decimal("42.45"), "home_longitude": Decimal("-76.5"), **more}
    version = 0 if crew is None else crew.version
    return crew_save(crew=crew, version=version, members=members, rigs=[], today=today, **given, **act)


def test_somebody_is_on_one_crew_at_a_time(act: dict[str, Any], person_of: Callable[..., Worker]) -> None:
    ada = person_of("Ada Fenwick", Skill.INJECTING)
    _crew(act, [ada])
    with pytest.raises(ValidationError, match="Ada Fenwick is on North crew"):
        _crew(act, [ada], name="South crew")
    assert not Crew.objects.filter(name="South crew").exists()


def test_who_leaves_a_crew_was_on_it_until_the_day_before(
    act: dict[str, Any], person_of: Callable[..., Worker]
) -> None:
    ada, bo = person_of("Ada Fenwick"), person_of("Bo Tarrant")
    crew = _crew(act, [ada, bo])
    crew = _crew(act, [bo], crew=crew, today=date(2026, 3, 16))
    left = CrewMember.objects.get(worker=ada)
    assert (left.since, left.until) == (MONDAY, date(2026, 3, 15))
    assert CrewMember.objects.get(worker=bo).until is None


def test_a_lead_is_on_the_crew(act: dict[str, Any], person_of: Callable[..., Worker]) -> None:
    ada, bo = person_of("Ada Fenwick"), person_of("Bo Tarrant")
    with pytest.raises(ValidationError, match="Bo Tarrant is not on this crew"):
        _crew(act, [ada], lead=bo)


def test_a_second_saver_is_told(act: dict[str, Any]) -> None:
    rig = rig_save(rig=None, version=0, name="Rig 1", kind=RigKind.FOAM, mixes_per_day=24, **act)
    rig_save(rig=rig, version=rig.version, name="Rig one", kind=RigKind.FOAM, mixes_per_day=24, **act)
    with pytest.raises(Conflict, match="changed by somebody else"):
        rig_save(rig=rig, version=1, name="Rig first", kind=RigKind.FOAM, mixes_per_day=24, **act)
    assert Rig.objects.get().name == "Rig one"
    assert ActivityEntry.objects.filter(action="rig.change").count() == 1


def test_a_certificate_holds_on_both_of_its_days(act: dict[str, Any]) -> None:
    row = certificate_add(
        kind=CertificateKind.LEAD_FIRM,
        number="LF-1",
        valid_from=date(2026, 1, 1),
        valid_until=date(2026, 12, 31),
        **act,
    )
    days = [date(2025, 12, 31), date(2026, 1, 1), date(2026, 12, 31), date(2027, 1, 1)]
    assert [row.holds_on(day) for day in days] == [False, True, True, False]


# --- Pages -----------------------------------------------------------------------------------------------------------


@pytest.fixture
def browse(signed_in: Callable[[User], Client], scheduler: User) -> Client:
    return signed_in(scheduler)


CREW_FORM = {
    "name": "North crew",
    "weekdays": ["5", "1", "3"],
    "first_hour": "7",
    "last_hour": "15",
    "home_latitude": "42.45",
    "home_longitude": "-76.5",
    "is_active": "on",
}


def test_a_crew_is_entered_and_stands_on_the_page(browse: Client, person_of: Callable[..., Worker]) -> None:
    ada = person_of("Ada Fenwick", Skill.INJECTING, Skill.LEAD_SAFE)
    said = browse.post("/crews/crew/new/", {**CREW_FORM, "members": [ada.pk], "lead": ada.pk}, follow=True)
    crew = Crew.objects.get()
    assert (crew.works_on, crew.first_hour, crew.lead) == ("135", 7, ada)
    page = said.content.decode()
    assert "North crew is saved." in page
    assert "Lead-safe renovation" in page
    again = browse.get(f"/crews/crew/{crew.code}/").content.decode()
    assert 'value="42.45000"' in again


def test_what_is_wrong_is_said_beside_its_field_and_nothing_is_lost(browse: Client) -> None:
    wrong = {**CREW_FORM, "home_latitude": "north", "first_hour": "12", "last_hour": "12"}
    page = browse.post("/crews/crew/new/", wrong).content.decode()
    assert "Enter the latitude in degrees, such as 42.45" in page
    assert 'value="north"' in page
    assert "North crew" in page
    assert not Crew.objects.exists()


def test_whoever_may_not_read_costs_neither_sees_nor_sets_them(
    browse: Client, person_of: Callable[..., Worker]
) -> None:
    ada = person_of("Ada Fenwick")
    assert "31.50" not in browse.get("/crews/").content.decode()
    assert "hourly_cost" not in browse.get(f"/crews/people/{ada.code}/").content.decode()
    form = {"name": "Ada F. Fenwick", "is_active": "on", "version": ada.version, "hourly_cost": "1.00"}
    browse.post(f"/crews/people/{ada.code}/", form)
    ada.refresh_from_db()
    assert (ada.name, ada.hourly_cost) == ("Ada F. Fenwick", Decimal("31.50"))


@time_machine.travel(NOW)
def test_days_away_are_entered_and_taken_back(browse: Client, person_of: Callable[..., Worker]) -> None:
    ada = person_of("Ada Fenwick")
    form = {"resource": Resource.objects.get(name=ada.name).pk, "first_day": "2026-03-12", "last_day": "2026-03-11"}
    page = browse.post("/crews/away/new/", {**form, "reason": "Leave"}).content.decode()
    assert "Enter a last day on or after the first one." in page
    browse.post("/crews/away/new/", {**form, "last_day": "2026-03-13", "reason": "Leave"})
    absence = Absence.objects.get()
    assert "Thu 12 Mar 2026" in browse.get("/crews/").content.decode()
    for _ in range(2):
        assert browse.post(f"/crews/away/{absence.code}/take-back/").status_code == 302
    assert not Absence.objects.exists()


def test_the_overview_asks_as_often_for_many_as_for_few(
    browse: Client, act: dict[str, Any], person_of: Callable[..., Worker], django_assert_num_queries: Any
) -> None:
    def ask() -> int:
        from django.db import connection
        from django.test.utils import CaptureQueriesContext

        with CaptureQueriesContext(connection) as asked:
            browse.get("/crews/")
        return len(asked)

    _crew(act, [person_of("Ada Fenwick", Skill.INJECTING)])
    few = ask()
    for number in range(6):
        _crew(act, [person_of(f"Person {number}", Skill.BLOWING)], name=f"Crew {number}")
    assert ask() == few
