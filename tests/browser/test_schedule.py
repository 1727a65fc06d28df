"""The schedule in a real browser: weeks filled and taken, a phase moved by keyboard alone and by dragging."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone

if TYPE_CHECKING:
    from playwright.sync_api import Page
    from pytest_django.live_server_helper import LiveServer

    from estimates.models import User
    from jobs.models import Crew, Job

PASSWORD = "wet foam, slow pour"


@pytest.fixture
def desk(
    live_server: LiveServer,
    transactional_db: None,
    page: Page,
    person: Callable[..., User],
    bare_crew: Callable[..., Crew],
    bare_job: Callable[..., Job],
    scheduler: User,
) -> Page:
    """A scheduler signed in; two crews, three jobs, one of which waits for a permit, a day of rain."""
    from jobs.crews import rig_save
    from jobs.models import GateKind, RigKind
    from jobs.start_gates import gate_add
    from jobs.weather import weather_put

    now = timezone.now()
    rig = rig_save(rig=None, version=0, name="Foam rig 1", kind=RigKind.FOAM, by=scheduler, now=now)
    bare_crew("North crew", "injecting", "air_sealing", rigs=[rig])
    bare_crew("South crew", "air_sealing", people=3)
    inject = ("inject", {"skills": ["injecting"], "rig_kind": "foam", "most_lag": 3})
    bare_job("prepare", inject, ("close_up", {"hours": Decimal(8), "most_lag": 1}))
    bare_job(("air_sealing", {"skills": ["air_sealing"]}))
    gate_add(job=bare_job("prepare", inject), kind=GateKind.PERMIT, name="Building permit", by=scheduler, now=now)
    day = timezone.localdate() + timedelta(days=3)
    weather_put(day=day, low_f=Decimal(41), high_f=Decimal(55), rain_chance=Decimal("0.7"), source="Station", now=now)
    user = person("scheduler", "Chesna Dray", password=PASSWORD)
    page.goto(f"{live_server.url}/sign-in/")
    page.get_by_label("E-mail address").fill(user.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()
    return page


def look(page: Page, where: str, complaints: list[str]) -> None:
    """Note what a reader with a screen reader, a keyboard or a small screen would stumble over, at both widths."""
    for width in (360, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        found = Axe().run(page)
        if found.violations_count:
            complaints.append(f"{where} at {width}: {found.generate_report()}")
        spare = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if spare:
            complaints.append(f"{where} at {width}: scrolls sideways by {spare} px")


def tab_to(page: Page, name: str) -> None:
    """Reach something by the keyboard alone."""
    for _ in range(80):
        page.keyboard.press("Tab")
        if str(page.evaluate("document.activeElement.matches('a') && document.activeElement.innerText")).startswith(
            name
        ):
            return
    pytest.fail(f"{name} is not reached by the keyboard")


def test_the_weeks_are_filled_a_phase_is_moved_by_keyboard_and_dragged_back(
    desk: Page, faults: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from jobs.models import Phase, Visit
    from jobs.schedule_rows import federal_holidays
    from jobs.views import schedule

    monkeypatch.setattr(schedule, "SLICE_S", 0.3)
    monkeypatch.setattr(schedule, "MOST_SLICES", 2)
    page, complaints = desk, list[str]()
    page.get_by_role("link", name="Schedule", exact=True).click()
    page.get_by_role("heading", name="Waiting").wait_for()
    look(page, "empty weeks", complaints)

    page.get_by_role("link", name="Fill the weeks").click()
    page.get_by_text("This is the best plan found.").wait_for()
    assert Visit.objects.count() == 0
    look(page, "plan", complaints)
    page.get_by_role("button", name="Take this plan").click()
    page.get_by_role("status").get_by_text("The plan is taken: 4 phases booked.").wait_for()
    look(page, "weeks", complaints)
    # On a phone there is one day at a time, with a way to the next one.
    page.set_viewport_size({"width": 360, "height": 800})
    assert page.locator("table.schedule thead th:visible").count() == 1
    page.set_viewport_size({"width": 1280, "height": 800})

    phase = Phase.objects.get(kind="air_sealing")
    before = phase.visits.get()
    tab_to(page, "Air sealing")
    page.keyboard.press("Enter")
    page.get_by_role("heading", level=1, name="Air sealing").wait_for()
    look(page, "one phase", complaints)
    day = before.day + timedelta(days=7)
    while {day, date.fromisoformat(_next(day))} & federal_holidays(day.year).keys():
        day += timedelta(days=7)
    page.get_by_label("First day").fill(day.isoformat())
    page.get_by_label("First day").press("Enter")
    page.get_by_role("status").get_by_text("Air sealing of J-00002 is moved to").wait_for()
    assert phase.visits.get().day == day

    # A crew that cannot do it: what breaks is said, and one button takes the nearest place.
    inject = Phase.objects.get(kind="inject", job__number="J-00001")
    page.goto(page.url.split("/schedule/")[0] + f"/schedule/phases/{inject.code}/")
    page.get_by_label("Crew").select_option(label="South crew")
    page.get_by_role("button", name="Move it").click()
    page.get_by_text("South crew lacks injecting foam.").wait_for()
    assert page.evaluate("document.activeElement.id") == "error-summary"
    look(page, "a move that breaks", complaints)
    page.get_by_role("button", name="Take that place").click()
    page.get_by_role("status").get_by_text("Inject of J-00001 is moved to").wait_for()

    page.goto(page.url.split("/schedule/")[0] + f"/schedule/?day={day.isoformat()}")
    name = phase.visits.get().crew.name
    target = page.get_by_role("row", name=name).locator(f'td[data-day="{_next(day)}"]')
    page.locator(f'[data-place="/schedule/phases/{phase.code}/"]').drag_to(target)
    page.get_by_role("status").get_by_text("Air sealing of J-00002 is moved to").wait_for()
    assert phase.visits.get().day.isoformat() == _next(day)

    for door in ("A day is lost", "Weather", "Calendars"):
        page.get_by_role("link", name=door).click()
        page.get_by_role("heading", level=1).wait_for()
        look(page, door, complaints)
        page.get_by_role("main").get_by_role("link", name="Schedule", exact=True).click()
    assert complaints == []
    # The one 409 is the move that breaks something; the browser writes that on its console.
    assert [fault for fault in faults if "409" not in fault] == []


def _next(day: date) -> str:
    """The working day after a day, or before it at the end of a week, so that both stand in one row."""
    return (day + timedelta(days=1 if day.weekday() < 4 else -1)).isoformat()
