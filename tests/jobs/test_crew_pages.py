"""The crew's pages: dangers first, one form a thing, no prices, and only the crew's own houses."""

from __future__ import annotations

import io
import json
import re
import uuid
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from PIL import Image

from estimates.models import User
from jobs.forms.crew import EDITS, PAGES
from jobs.models import CrewEntry, Job, JobWall

MORNING = datetime(2026, 3, 11, 13, 0, tzinfo=UTC)

MONEY = re.compile(r"\$|\bprice|\bcost|\bmargin|\bcents\b", re.IGNORECASE)


@pytest.fixture
def wall(measured_job: Callable[..., Job], crew_on: Callable[..., Any]) -> JobWall:
    job = measured_job("alder-foursquare")
    crew_on(job)
    found = job.walls.filter(drawn=True).first()
    assert found is not None
    return found


@pytest.fixture
def phone(signed_in: Callable[[User], Client], crew: User) -> Client:
    with time_machine.travel(MORNING, tick=False):
        return signed_in(crew)


@pytest.fixture(autouse=True)
def morning() -> Any:
    with time_machine.travel(MORNING, tick=False):
        yield


def pages_of(job: Job) -> list[str]:
    walls = [reverse("jobs-show-crew-wall", args=[job.code, wall.key]) for wall in job.walls.all()]
    reports = [reverse("jobs-report-entry", args=[job.code, name]) for name in PAGES]
    sheet = reverse("jobs-show-crew-sheet", args=[job.code])
    return [reverse("jobs-show-today"), sheet, *walls[:2], *reports, reverse("jobs-show-queue")]


def test_pages_of_the_crew_tell_no_price_and_dangers_come_first(wall: JobWall, phone: Client) -> None:
    for address in pages_of(wall.job):
        answer = phone.get(address)
        assert answer.status_code == 200, address
        text = answer.content.decode()
        assert not MONEY.search(text), (address, MONEY.search(text))
        assert answer["X-Crew-User"]
    sheet = phone.get(reverse("jobs-show-crew-sheet", args=[wall.job.code])).content.decode()
    order = [sheet.index(word) for word in ("Dangers and cautions", "Respirator", "Eyes", 'id="walls"', 'id="kit"')]
    assert order == sorted(order)
    assert not MONEY.search(phone.get(reverse("jobs-tell-session")).content.decode())


def test_the_crew_sees_its_own_houses_and_no_others(
    wall: JobWall, phone: Client, stranger: User, scheduler: User, signed_in: Callable[[User], Client]
) -> None:
    today = phone.get(reverse("jobs-show-today")).content.decode()
    assert wall.job.house.street in today
    other = signed_in(stranger)
    assert wall.job.house.street not in other.get(reverse("jobs-show-today")).content.decode()
    for address in pages_of(wall.job)[1:-1]:
        assert other.get(address).status_code == 404
    plan = signed_in(scheduler)
    assert wall.job.house.street in plan.get(reverse("jobs-show-today")).content.decode()
    page = plan.get(reverse("jobs-show-crew-wall", args=[wall.job.code, wall.key])).content.decode()
    assert "<button name=" not in page
    assert plan.post(reverse("jobs-report-entry", args=[wall.job.code, "note"]), {"text": "x"}).status_code == 403


def test_bays_are_told_by_a_tap_and_what_is_refused_keeps_what_was_typed(wall: JobWall, phone: Client) -> None:
    number = wall.bays.filter(state="planned").values_list("number", flat=True)[0]
    address = reverse("jobs-report-entry", args=[wall.job.code, "bay"])
    given = {"code": str(uuid.uuid4()), "wall": wall.key, "bays": [number], "state": "refused", "reason": ""}
    again = phone.post(address, given)
    text = again.content.decode()
    assert "<title>Error: " in text
    assert re.search(rf'name="bays" value="{number}" checked', text)
    assert "enter why" in text
    taken = phone.post(address, {**given, "reason": "Pipe in the bay"}, follow=True)
    assert "received by office" in taken.content.decode()
    assert wall.bays.get(number=number).state == "refused"
    # A second tap of a slow form changes nothing.
    phone.post(address, {**given, "reason": "Pipe in the bay"})
    assert CrewEntry.objects.count() == 1


def test_every_form_of_the_crew_can_be_filled_in(wall: JobWall, phone: Client) -> None:
    numbers = list(wall.bays.filter(state="planned").values_list("number", flat=True))
    temperatures = {"slot": "start", "air_f": "55", "substrate_f": "52", "chemical_f": "70", "water_f": "65"}
    given: dict[str, dict[str, Any]] = {
        "moisture": {"content_pct": "14"},
        "temperature": {**temperatures, "forecast_low_f": "41"},
        "trial": {"bay": numbers[0], "probe_in": "3 1/2", "result": "good", "fill_s": "95", "watched": "on"},
        "watcher": {"name": "Bo Tarrant", "rooms": "Kitchen, hall"},
        "mix": {"lot": "B-17", "ingredients_lb": "1,040.5", "water_gal": "5", "bays": f"{numbers[0]}, {numbers[1]}"},
        "density": {"container_gal": "0.25", "sample_lb": "0.1"},
        "waste": {"waste_ft3": "0.4", "what": "Hose"},
        "plugs": {"plugs": "41", "holes": "44"},
        "check": {"what": "outlets", "good": "on"},
        "bags": {"bags": "12"},
        "loose-depth": {"depth_in": "14", "place": "At the hatch"},
        "leak": {"site": "Chimney", "closed": "on"},
        "hours": {"hours": "7.5", "people": "2"},
        "material": {"name": "Tape", "amount": "3", "unit": "rolls"},
        "note": {"text": "Dog in the yard"},
        "near-miss": {"what": "Ladder slipped"},
        "move-stud": {"version": "0", "from_in": "16", "to_in": "17"},
    }
    for name, typed in given.items():
        address = reverse("jobs-report-entry", args=[wall.job.code, name])
        answer = phone.post(address, {"code": str(uuid.uuid4()), "wall": wall.key, **typed})
        assert answer.status_code == 302, (name, re.findall(r'class="fault"[^>]*>([^<]*)', answer.content.decode()))
    assert CrewEntry.objects.count() == len(given)
    assert CrewEntry.objects.get(kind="mix").data["ingredients_lb"] == 1040.5
    assert set(PAGES) - set(given) == {"photo", "day-close"}
    said = phone.get(reverse("jobs-show-crew-sheet", args=[wall.job.code])).content.decode()
    assert "41 plugs for 44 holes" in said
    # What is missing is named by its label, and the day stays open.
    bad = phone.post(reverse("jobs-report-entry", args=[wall.job.code, "hours"]), {"people": "two"}).content.decode()
    assert "Hours of each of them (h): enter a number [h]" in bad
    assert "People: " in bad
    faults = phone.post(reverse("jobs-report-entry", args=[wall.job.code, "day-close"]), {"code": str(uuid.uuid4())})
    assert f"{wall.name}: bays" in faults.content.decode()
    assert all(page.edit is not None for page in EDITS.values())


def _picture() -> io.BytesIO:
    file = io.BytesIO()
    Image.new("RGB", (40, 30), "white").save(file, "PNG")
    file.name = "IMG_2.png"
    file.seek(0)
    return file


def test_a_queue_is_answered_item_by_item_with_its_photos(
    wall: JobWall, phone: Client, settings: Any, tmp_path: Any
) -> None:
    settings.DOCUMENTS_DIR = tmp_path
    code = str(uuid.uuid4())
    envelope = {"job": str(wall.job.code), "noted_at": "2026-03-11T12:10:00Z"}
    items = [
        {**envelope, "code": code, "form": "photo", "fields": {"caption": ["North wall before"]}},
        {**envelope, "code": str(uuid.uuid4()), "form": "photo", "fields": {}},
        {**envelope, "code": str(uuid.uuid4()), "form": "hours", "fields": {"hours": ["8"], "people": ["2"]}},
        {**envelope, "code": str(uuid.uuid4()), "form": "tea", "fields": {}},
        17,
    ]
    for _ in range(2):
        sent = phone.post(reverse("jobs-receive-entries"), {"items": json.dumps(items), f"photo-{code}": _picture()})
        states = [answer["state"] for answer in sent.json()["answers"]]
        assert states == ["received", "not taken", "received", "not taken", "not taken"]
    assert CrewEntry.objects.count() == 2
    kept = CrewEntry.objects.get(kind="photo")
    shown = phone.get(reverse("jobs-show-crew-photo", args=[wall.job.code, kept.code]))
    assert shown["Content-Type"] == "image/jpeg"
    assert Image.open(io.BytesIO(b"".join(shown.streaming_content))).size == (40, 30)  # type: ignore[attr-defined]
    broken = io.BytesIO(b"no picture")
    broken.name = "a.jpg"
    bad = [{**envelope, "code": str(uuid.uuid4()), "form": "photo", "fields": {}}]
    answer = phone.post(
        reverse("jobs-receive-entries"), {"items": json.dumps(bad), f"photo-{bad[0]['code']}": broken}
    ).json()["answers"][0]
    assert "JPEG" in answer["faults"][0]["say"]
    assert phone.post(reverse("jobs-receive-entries"), {"items": "{"}).status_code == 400
