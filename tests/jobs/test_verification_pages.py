"""The pages of verification: tests and findings entered, infrared drawn, the inspector's word given."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine
from django.test import Client

from estimates.models import User
from jobs.booking import job_move
from jobs.models import Bay, Finding, HouseTest, Job, JobStatus, Verification

NOW = datetime(2026, 4, 20, 18, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def papers(papers_folder: None) -> None:
    """Papers go into a folder of the test."""


@pytest.fixture
def job(booked: Callable[..., Job]) -> Job:
    return booked("mill-cape")


@pytest.fixture
def browse(signed_in: Callable[[User], Client], owner: User) -> Client:
    return signed_in(owner)


def _address(job: Job, rest: str = "") -> str:
    return f"/jobs/{job.code}/verification/{rest}"


READINGS = [(60, 1500), (50, 1330), (40, 1150), (30, 955), (20, 735)]


def _test_form() -> dict[str, Any]:
    form: dict[str, Any] = {
        "blower_door-there": "on",
        "blower_door-points-row": [str(number) for number in range(len(READINGS))],
        "fire_out": "yes",
        "ash_cold": "yes",
        "appliances_disabled": "yes",
        "blower_door-baseline_pa": "0",
        "blower_door-indoor_f": "68",
        "blower_door-outdoor_f": "41",
    }
    for number, (pressure, flow) in enumerate(READINGS):
        form[f"blower_door-points-{number}-pressure_pa"] = str(pressure)
        form[f"blower_door-points-{number}-flow_cfm"] = str(flow)
    return form


def test_a_test_is_entered_and_judged_against_what_was_promised(browse: Client, job: Job) -> None:
    page = browse.get(_address(job, "tests/out/")).content.decode()
    assert "Before the fan runs" in page
    said = browse.post(_address(job, "tests/out/"), _test_form(), follow=True)
    assert "The tests after the work are recorded." in said.content.decode()
    test = HouseTest.objects.get()
    # D: the fan blew air of 68 degF, the leaks let in air of 41: densities go with the absolute temperature (Rankine).
    assert test.cfm50 == pytest.approx(1330 * (41 + 459.67) / (68 + 459.67), rel=0.01)
    assert "promised" in said.content.decode()


def test_a_fan_that_may_not_run_is_said_and_nothing_typed_is_lost(browse: Client, job: Job) -> None:
    form = _test_form() | {"ash_cold": "no"}
    page = browse.post(_address(job, "tests/out/"), form).content.decode()
    assert "The fan may not run here" in page
    assert 'value="1150"' in page
    assert not HouseTest.objects.exists()


def test_a_finding_is_entered_on_a_bay_and_closed_once(browse: Client, job: Job) -> None:
    wall = job.walls.all()[0]
    bay = Bay.objects.filter(wall=wall, reachable=True)[0]
    form = {"kind": "probe", "wall": wall.pk, "bay": bay.number, "area_ft2": "0.5", "confirmed": "on"}
    page = browse.post(_address(job, "findings/new/"), {**form, "verdict": "redo"}).content.decode()
    assert "Enter what was found" in page
    assert not Finding.objects.exists()
    browse.post(_address(job, "findings/new/"), {**form, "verdict": "redo", "words": "Void at the top"})
    finding = Finding.objects.get()
    close = _address(job, f"findings/{finding.code}/close/")
    assert "Void at the top" in browse.get(close).content.decode()
    for _ in range(2):
        done = browse.post(close, {"closed_how": "Drilled and filled", "version": "1"}, follow=True)
        assert done.status_code == 200
    finding.refresh_from_db()
    assert finding.closed_how == "Drilled and filled"


@time_machine.travel(NOW)
def test_the_camera_picture_is_drawn_and_says_whether_today_counts(browse: Client, job: Job, owner: User) -> None:
    wall = job.walls.all()[0]
    address = _address(job, f"infrared/{wall.key}/")
    page = browse.get(address).content.decode()
    assert "<svg" in page
    assert "Nothing is filled yet" in page
    warm = browse.get(address + "?on=2026-04-20&t_in_f=68&t_out_f=60&hours_without_sun=6&wind_mph=5").content.decode()
    assert "not enough today" in warm
    wrong = browse.get(address + "?on=2026-04-20&t_in_f=warm&t_out_f=60&hours_without_sun=6&wind_mph=5")
    assert "Enter the indoor temperature" in wrong.content.decode()


def test_the_inspector_verifies_a_job_that_is_done(browse: Client, job: Job, owner: User) -> None:
    assert "The job can be verified once its work is done." in browse.get(_address(job)).content.decode()
    Bay.objects.filter(wall__job=job, reachable=True).update(state="filled")
    for to in (JobStatus.STARTED, JobStatus.WORK_DONE):
        job_move(job=job, to=to, by=owner, now=NOW)
    browse.post(_address(job, "tests/out/"), _test_form() | {
        "combustion-there": "on", "combustion-round": "test_out", "combustion-on": "2026-04-20",
        "combustion-gas_leak_found": "no", "combustion-ambient_co_ppm": "1",
    })  # fmt: skip
    page = browse.post(_address(job, "verify/"), {"infrared_judged": "no"}, follow=True).content.decode()
    assert "The job is verified" in page, page
    row = Verification.objects.get()
    assert row.inspector == owner
    assert row.infrared_due is not None
    assert "return visit due by" in page


def test_crew_of_another_house_are_told_nothing(signed_in: Callable[[User], Client], stranger: User, job: Job) -> None:
    assert signed_in(stranger).get(_address(job)).status_code == 404


def test_papers_are_made_on_the_page_and_handed_over(browse: Client, job: Job) -> None:
    said = browse.post(f"/jobs/{job.code}/papers/crew_sheet/make/", follow=True).content.decode()
    assert "Crew sheet J-00001-crew_sheet.docx is there" in said
    paper = job.papers.get()
    got = browse.get(f"/jobs/{job.code}/papers/{paper.code}.docx")
    assert got.headers["Content-Disposition"] == 'attachment; filename="J-00001-crew_sheet.docx"'
    assert b"".join(got.streaming_content).startswith(b"PK")
    refused = browse.post(f"/jobs/{job.code}/papers/certificate/make/", follow=True).content.decode()
    assert "follows the verification" in refused
    assert browse.post(f"/jobs/{job.code}/papers/bill/make/").status_code == 404
