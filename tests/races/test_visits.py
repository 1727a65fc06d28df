"""Schedulers who want one crew, or one rig, for the same hour: real requests, each with its own connection."""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from typing import Any

import pytest
import time_machine
from django.db import IntegrityError
from django.test import Client

from estimates.models import ActivityEntry, User
from jobs.crews import rig_save
from jobs.models import Crew, Job, Phase, RigKind, Slot, Visit

pytestmark = pytest.mark.django_db(transaction=True)
Together = Callable[..., list[Any]]

NOW = datetime(2026, 3, 9, 12, 0, tzinfo=UTC)
WEDNESDAY = date(2026, 3, 11)
INJECT = ("inject", {"skills": ["injecting"], "rig_kind": "foam"})


@pytest.fixture(autouse=True)
def monday() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def crews(bare_crew: Callable[..., Crew], scheduler: User) -> list[Crew]:
    rig_save(rig=None, version=0, name="Foam rig 1", kind=RigKind.FOAM, by=scheduler, now=NOW)
    return [bare_crew(name, "injecting") for name in ("North crew", "South crew")]


@pytest.fixture
def phases(bare_job: Callable[..., Job]) -> list[Phase]:
    return [bare_job(INJECT).phases.get() for _ in range(5)]


@pytest.fixture
def clients(signed_in: Callable[[User], Client], scheduler: User) -> list[Client]:
    return [signed_in(scheduler) for _ in range(5)]


def ask(client: Client, phase: Phase, crew: Crew) -> tuple[int, str]:
    form = {"crew": crew.pk, "day": WEDNESDAY.isoformat(), "hour": "", "version": 1}
    answer = client.post(f"/schedule/phases/{phase.code}/", form)
    words = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())).split())
    return answer.status_code, words


def test_of_five_jobs_that_want_one_crew_at_one_hour_one_gets_it_and_the_others_are_told(
    together: Together, clients: list[Client], phases: list[Phase], crews: list[Crew]
) -> None:
    outcomes = together(5, lambda number: ask(clients[number], phases[number], crews[0]))
    assert sorted(status for status, _ in outcomes) == [302, 409, 409, 409, 409]
    winner = phases[[status for status, _ in outcomes].index(302)]
    sentence = f"North crew is with inject of {winner.job.number} on Wed 11 Mar at 8:00."
    assert all(sentence in words for status, words in outcomes if status == 409)
    assert list(Visit.objects.values_list("phase", flat=True)) == [winner.pk]
    # Crew, two people and the rig for eight hours; nothing of the others was half-written.
    assert Slot.objects.count() == 4 * 8
    assert ActivityEntry.objects.filter(action="visit.book").count() == 1


def test_of_two_crews_that_want_one_rig_at_one_hour_one_gets_it(
    together: Together, clients: list[Client], phases: list[Phase], crews: list[Crew]
) -> None:
    outcomes = together(2, lambda number: ask(clients[number], phases[number], crews[number]))
    assert sorted(status for status, _ in outcomes) == [302, 409]
    assert "Foam rig 1 is with inject of" in next(words for status, words in outcomes if status == 409)
    assert Slot.objects.filter(resource__name="Foam rig 1").count() == 8


def test_one_job_booked_by_five_at_once_is_booked_once(
    together: Together, clients: list[Client], phases: list[Phase], crews: list[Crew]
) -> None:
    outcomes = together(5, lambda number: ask(clients[number], phases[0], crews[0]))
    assert sorted(status for status, _ in outcomes) == [302, 409, 409, 409, 409]
    assert all("changed by somebody else meanwhile" in words for status, words in outcomes if status == 409)
    assert Visit.objects.count() == 1


def test_a_plan_taken_twice_at_once_is_written_once(
    together: Together, clients: list[Client], phases: list[Phase], crews: list[Crew]
) -> None:
    page = clients[0].get("/schedule/plan/").content.decode()
    found = re.findall(r'name="(digest|plan|slices|keep)" value="([^"]*)">', page)
    plan = {name: html.unescape(value) for name, value in found}
    places = together(2, lambda number: clients[number].post("/schedule/plan/take/", plan)["Location"])
    assert sorted(place.split("?")[0] for place in places) == ["/schedule/", "/schedule/plan/"]
    assert Visit.objects.count() == 5
    assert ActivityEntry.objects.filter(action="visit.plan").count() == 5


def test_without_the_lock_the_slots_let_only_one_in(
    together: Together, meet: Callable[[], None], phases: list[Phase], crews: list[Crew], scheduler: User
) -> None:
    start = datetime(2026, 3, 11, 12, 0, tzinfo=UTC)
    visits = [
        Visit.objects.create(
            phase=phase, crew=crews[0], day=WEDNESDAY, first_hour=8, hours=1, made_at=NOW, made_by=scheduler
        )
        for phase in phases[:2]
    ]

    def careless(number: int) -> bool:
        taken = Slot.objects.filter(resource=crews[0], starts_at=start).exists()
        meet()
        Slot.objects.create(resource=crews[0], starts_at=start, visit=visits[number])
        return taken

    outcomes = together(2, careless)
    assert outcomes.count(False) == 1
    assert sum(isinstance(outcome, IntegrityError) for outcome in outcomes) == 1
