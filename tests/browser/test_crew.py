"""The crew's phone without signal: nothing is lost, nothing arrives twice, nothing is called received before it is."""

from __future__ import annotations

import io
import os
import re
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.sessions.models import Session
from django.db import connection
from django.urls import reverse
from django.utils import timezone
from PIL import Image
from playwright.sync_api import expect

from jobs.models import CrewEntry, Job, JobWall

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page
    from pytest_django.live_server_helper import LiveServer

    from estimates.models import User

PASSWORD = "wet foam, slow pour"
ROOT = Path(__file__).resolve().parents[2]
PATIENCE_MS = 30_000


@pytest.fixture
def wall(
    transactional_db: None, measured_job: Callable[..., Job], crew_on: Callable[..., Any], person: Callable[..., User]
) -> JobWall:
    """A wall of a house that two people are at today."""
    job = measured_job("alder-foursquare")
    for number, name in enumerate(("Ada Fenwick", "Bo Tarrant")):
        someone = person("crew", name, password=PASSWORD)
        crew_on(job, someone, day=timezone.localdate(), first_hour=8 + number, hours=1)
    found = job.walls.filter(drawn=True).first()
    assert found is not None
    return found


@pytest.fixture
def phone(browser: Browser) -> Callable[..., Page]:
    """Return `phone(site, name)`: a phone of its own on which somebody signed in and the day's pages are kept."""

    def take(site: str, name: str) -> Page:
        page = browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True).new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.goto(f"{site}/sign-in/?next={reverse('jobs-show-today')}")
        sign_in(page, mail_of(name))
        page.get_by_text("pages are kept on this phone").wait_for()
        return page

    return take


def mail_of(name: str) -> str:
    from estimates.models import User

    return User.objects.get(full_name=name).email


def sign_in(page: Page, email: str) -> None:
    page.get_by_label("E-mail address").fill(email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()


def tell(page: Page, number: int, word: str) -> None:
    page.locator(f'.bay-tap[data-bay="{number}"]').click()
    page.get_by_role("button", name=word, exact=True).click()


def complaints(page: Page) -> list[str]:
    """What would not do on a phone with gloves: faults that axe finds, scrolling sideways, small targets."""
    found = [Axe().run(page).generate_report()] if Axe().run(page).violations_count else []
    spare = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    small = page.evaluate(
        """[...document.querySelectorAll("main button, main a, main summary, main .choices label, main .bay-tap")]
        .filter(one => one.checkVisibility() && one.getBoundingClientRect().height < 44)
        .map(one => one.textContent.trim().slice(0, 40))"""
    )
    return found + ([f"scrolls sideways by {spare} px"] if spare else []) + [f"small: {one}" for one in small]


def numbers_of(wall: JobWall) -> list[int]:
    return list(wall.bays.filter(state="planned").values_list("number", flat=True))


def test_a_day_without_signal_arrives_once_after_a_session_that_ran_out(
    live_server: LiveServer, wall: JobWall, phone: Callable[..., Page], tmp_path: Path
) -> None:
    page, site, job = phone(live_server.url, "Ada Fenwick"), live_server.url, wall.job
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    addresses = {
        "today": reverse("jobs-show-today"),
        "house": reverse("jobs-show-crew-sheet", args=[job.code]),
        "mix": reverse("jobs-report-entry", args=[job.code, "mix"]),
        "queue": reverse("jobs-show-queue"),
        "wall": reverse("jobs-show-crew-wall", args=[job.code, wall.key]),
    }
    for where, address in addresses.items():
        page.goto(site + address)
        assert complaints(page) == [], where

    page.context.set_offline(True)
    page.reload()
    first, second, third = numbers_of(wall)[:3]
    tell(page, first, "Filled")
    page.get_by_text("1 item saved on this phone, not received by office: no signal.").wait_for()
    # Refused without why: said here, not in the evening.
    tell(page, second, "Refused")
    page.get_by_text("Enter why").wait_for()
    page.get_by_label("Why, where refused or left out").fill("Pipe in the bay")
    page.get_by_role("button", name="Refused", exact=True).click()
    expect(page.locator(f'.bay-tap[data-bay="{second}"]')).to_contain_text("refused, saved on this phone")
    # The page comes back from the phone, and still knows what was told.
    page.goto(site + addresses["house"])
    page.goto(site + addresses["wall"])
    expect(page.locator(f'.bay-tap[data-bay="{first}"]')).to_contain_text("filled, saved on this phone")
    picture = io.BytesIO()
    Image.new("RGB", (60, 40), "grey").save(picture, "JPEG")
    page.goto(site + reverse("jobs-report-entry", args=[job.code, "photo"]))
    page.get_by_label("Photo").set_input_files(
        {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": picture.getvalue()}
    )
    page.get_by_role("button", name="Save the photo").click()
    page.get_by_text("3 items saved on this phone, not received by office").wait_for()
    page.get_by_role("button", name="Sign out").click()
    page.get_by_text("3 items not received by office.").wait_for()
    assert CrewEntry.objects.count() == 0

    # The session runs out meanwhile: the queue stays, asks to sign in, and is sent then.
    Session.objects.all().delete()
    page.goto(site + addresses["queue"])
    expect(page.locator("[data-items] > li")).to_have_count(3)
    page.context.set_offline(False)
    page.get_by_text("You are signed out; nothing is lost.").wait_for()
    page.locator("[data-line]").get_by_role("link", name="Sign in").click()
    sign_in(page, mail_of("Ada Fenwick"))
    page.get_by_text("Received by office: 3 items.").wait_for()
    expect(page.locator("[data-items] > li")).to_have_count(0)
    assert sorted(CrewEntry.objects.values_list("kind", flat=True)) == ["bay", "bay", "photo"]
    assert [wall.bays.get(number=n).state for n in (first, second, third)] == ["filled", "refused", "planned"]
    page.get_by_role("button", name="Sign out").click()
    page.get_by_label("Password").wait_for()
    assert not [name for name in page.evaluate("caches.keys()") if not name.startswith("crew-shell-")]
    assert faults == []


def test_two_phones_that_say_different_things_of_a_bay_show_both(
    live_server: LiveServer, wall: JobWall, phone: Callable[..., Page]
) -> None:
    address = live_server.url + reverse("jobs-show-crew-wall", args=[wall.job.code, wall.key])
    number = numbers_of(wall)[0]
    one, other = phone(live_server.url, "Ada Fenwick"), phone(live_server.url, "Bo Tarrant")
    one.goto(address)
    other.goto(address)
    one.context.set_offline(True)
    tell(one, number, "Filled")
    tell(other, number, "Left for another day")
    other.get_by_text("Received by office: 1 item.").wait_for()
    one.context.set_offline(False)
    one.get_by_text(re.compile("Bo Tarrant said left .*; Ada Fenwick said filled")).wait_for()
    assert wall.bays.get(number=number).state == "doubtful"
    assert list(CrewEntry.objects.values_list("clashed", flat=True)).count(True) == 1
    other.reload()
    expect(other.locator(f'.bay-tap[data-bay="{number}"]')).to_contain_text("doubtful")
    # Somebody else signs in on the phone: what the first one kept is neither shown nor sent.
    one.context.set_offline(True)
    tell(one, number, "Filled")
    one.get_by_text("1 item saved on this phone").wait_for()
    one.context.clear_cookies()
    one.context.set_offline(False)
    one.goto(f"{live_server.url}/sign-in/?next={reverse('jobs-show-queue')}")
    sign_in(one, mail_of("Bo Tarrant"))
    one.get_by_text("1 item of somebody else wait on this phone").wait_for()
    expect(one.locator("[data-items] > li")).to_have_count(0)
    assert CrewEntry.objects.count() == 2


# --- a server that dies -----------------------------------------------------------------------------------------------


@pytest.fixture
def mortal(wall: JobWall, tmp_path: Path) -> Iterator[Callable[[], str]]:
    """Return `mortal()`: starts the program as a process of its own on the data of this test, and gives its address.

    It kills itself without a word once it has kept entries and before it answers, while the file `die` is there.
    """
    var, with_port = tmp_path / "var", socket.socket()
    var.mkdir()
    with_port.bind(("127.0.0.1", 0))
    port = with_port.getsockname()[1]
    with_port.close()
    environment = {**os.environ, "CAVITYBOOK_VAR": str(var), "CAVITYBOOK_NO_VENV": "1", **_database(var)}
    running: list[subprocess.Popen[bytes]] = []

    def start() -> str:
        command = [sys.executable, str(Path(__file__).with_name("dying_server.py")), str(port), str(tmp_path / "die")]
        running.append(subprocess.Popen(command, cwd=ROOT, env=environment))
        for _ in range(300):
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{port}/health/", timeout=5).close()
                break
            except (urllib.error.URLError, OSError):
                time.sleep(0.1)
        return f"http://127.0.0.1:{port}"

    yield start
    for process in running:
        process.kill()
        process.wait()


def _database(var: Path) -> dict[str, str]:
    """Where the other process finds the data of the test: a copy of the SQLite database, or the same server."""
    given = connection.settings_dict
    if connection.vendor == "sqlite":
        import sqlite3

        with sqlite3.connect(var / "cavitybook.sqlite3") as copy:
            connection.connection.backup(copy)
        copy.close()
        return {"DATABASE_URL": ""}
    host = f"{given['USER']}:{given['PASSWORD']}@{given['HOST'] or 'localhost'}:{given['PORT'] or 5432}"
    return {"DATABASE_URL": f"postgresql://{host}/{given['NAME']}"}


def test_a_server_that_dies_before_its_answer_has_the_entry_once(
    wall: JobWall, phone: Callable[..., Page], mortal: Callable[[], str], tmp_path: Path
) -> None:
    site = mortal()
    page = phone(site, "Ada Fenwick")
    page.goto(site + reverse("jobs-show-crew-wall", args=[wall.job.code, wall.key]))
    (tmp_path / "die").touch()
    tell(page, numbers_of(wall)[0], "Filled")
    page.get_by_text("1 item saved on this phone, not received by office yet.").wait_for()
    assert not (tmp_path / "die").exists()
    mortal()
    page.goto(site + reverse("jobs-show-queue"))
    page.get_by_text("Received by office: 1 item.").wait_for()
    page.goto(site + reverse("jobs-show-crew-wall", args=[wall.job.code, wall.key]))
    expect(page.locator(f'.bay-tap[data-bay="{numbers_of(wall)[0]}"]')).to_contain_text("filled")
    page.goto(site + reverse("jobs-show-crew-sheet", args=[wall.job.code]))
    expect(page.get_by_text(re.compile("Ada Fenwick: Bays"))).to_have_count(1)
