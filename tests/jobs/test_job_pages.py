"""The list of jobs, the page of a job, its start gates: what is said, who may do what, and what is kept."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from lxml import html

from estimates.models import User
from jobs.models import Bay, GateKind, Job, JobGate, JobStatus
from jobs.start_gates import gate_meet

NOW = datetime(2026, 3, 9, 14, 0, tzinfo=UTC)
Browse = Callable[[User], Client]
Book = Callable[..., Job]


def words(response: Any) -> str:
    return " ".join(html.fromstring(response.content.decode()).text_content().split())


def job_address(job: Job, name: str = "jobs-show-job", **more: Any) -> str:
    return reverse(name, kwargs={"code": job.code, **more})


@pytest.fixture(autouse=True)
def monday() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


def test_what_is_signed_is_booked_with_one_button_and_a_second_tap_finds_the_same_job(
    booked: Book, scheduler: User, salesperson: User, signed_in: Browse
) -> None:
    job = booked("mill-cape")
    proposal = job.proposal
    for rows in (job.phases, job.gates, Bay.objects, job.walls):
        rows.all().delete()
    Job.objects.all().delete()
    plan = signed_in(scheduler)
    page = plan.get("/jobs/")
    assert "Signed and still to book" in words(page)
    address = reverse("jobs-book-job", kwargs={"code": proposal.code})
    assert signed_in(salesperson).post(address).status_code == 403
    first = plan.post(address)
    again = plan.post(address)
    made = Job.objects.get()
    assert first.headers["Location"] == again.headers["Location"] == job_address(made)
    assert "to book" not in words(plan.get("/jobs/"))


def test_the_list_is_filtered_by_the_address_and_shows_no_price(
    booked: Book, scheduler: User, signed_in: Browse, django_assert_max_num_queries: Any
) -> None:
    job = booked("mill-cape")
    plan = signed_in(scheduler)
    with django_assert_max_num_queries(16):
        page = plan.get("/jobs/", {"status": "booked", "seller": job.proposal.created_by_id, "find": job.house.town})
    assert job.number in words(page)
    assert "$" not in words(page)
    assert "No job matches" in words(plan.get("/jobs/", {"status": "closed"}))
    assert job.number in words(plan.get("/jobs/", {"status": "no such word", "page": "x", "sort": "nothing"}))
    job.gates.all().delete()
    # Walls are worked lead-safe, and nobody holds the certificates.
    assert "Lead-safe firm certificate" in words(plan.get("/jobs/", {"waiting": "lead_firm"}))
    assert "No job matches" in words(plan.get("/jobs/", {"waiting": "nothing"}))
    job.walls.update(lead_safe=False)
    assert job.number in words(plan.get("/jobs/", {"waiting": "nothing"}))
    assert "No job matches" in words(plan.get("/jobs/", {"waiting": "lead_firm"}))
    assert "No job matches" in words(plan.get("/jobs/", {"waiting": "permit"}))


def test_the_list_asks_as_many_questions_for_two_jobs_as_for_one(
    booked: Book, scheduler: User, signed_in: Browse, django_assert_num_queries: Any
) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    booked("mill-cape")
    plan = signed_in(scheduler)
    with CaptureQueriesContext(
        connection,
    ) as one:
        plan.get("/jobs/")
    booked("alder-foursquare")
    with django_assert_num_queries(len(one)):
        plan.get("/jobs/")


def test_the_page_of_a_job_says_what_it_waits_for_and_shows_phases_walls_and_kit(
    booked: Book, scheduler: User, crew: User, signed_in: Browse
) -> None:
    job = booked("alder-foursquare")
    bay = Bay.objects.filter(wall__job=job, reachable=True).first()
    assert bay is not None
    Bay.objects.filter(pk=bay.pk).update(state="doubtful")
    page = signed_in(scheduler).get(job_address(job))
    said = words(page)
    # Walls are worked lead-safe, and nobody has entered the certificates yet.
    assert "No start day yet" in said
    assert "Lead-safe firm certificate" in said
    assert all(gate.name in said for gate in job.gates.all())
    tree = html.fromstring(page.content.decode())
    assert len(tree.xpath("//section[@aria-labelledby='phases']//tbody/tr")) == job.phases.count()
    assert len(tree.xpath("//svg[contains(@class, 'elevation')]")) == job.walls.filter(drawn=True).count()
    assert "1 doubtful" in said
    assert "$" not in said
    assert signed_in(crew).get(job_address(job)).status_code == 403
    assert [one for one in tree.xpath("//nav[@aria-label='Pages of this job']//a/text()") if one == "Verification"]


def test_a_gate_is_met_by_a_form_and_a_second_saver_keeps_what_was_typed(
    booked: Book, owner: User, scheduler: User, signed_in: Browse
) -> None:
    job = booked("mill-cape")
    plan = signed_in(scheduler)
    added = plan.post(
        job_address(job, "jobs-add-gate"),
        {"kind": "permit", "name": "Permit of the town", "owes": "Office", "same_day": "on"},
    )
    assert added.status_code == 302
    twice = plan.post(job_address(job, "jobs-add-gate"), {"kind": "permit", "name": "Permit of the town"})
    assert twice.status_code == 200
    assert job.gates.filter(kind=GateKind.PERMIT).count() == 1
    gate = job.gates.get(kind=GateKind.PERMIT)
    address = job_address(job, "jobs-meet-gate", gate=gate.code)
    assert "Permit of the town" in words(plan.get(job_address(job)))

    empty = plan.post(address, {"version": gate.version, "met_on": "2026-03-10"})
    assert "Enter the proof" in words(empty)
    gate_meet(gate=gate, met_on=date(2026, 3, 8), note="Paper 7", by=owner, now=NOW, version=gate.version)
    late = plan.post(address, {"version": gate.version, "met_on": "2026-03-10", "note": "Paper 8"})
    assert late.status_code == 409
    assert "Paper 7" in words(late)
    form = html.fromstring(late.content.decode())
    assert form.xpath("//textarea[@name='note']")[0].text_content().strip() == "Paper 8"
    kept = form.xpath("//input[@name='version']/@value")[0]
    assert plan.post(address, {"version": kept, "met_on": "2026-03-10", "note": "Paper 8"}).status_code == 302
    gate.refresh_from_db()
    assert (gate.met_on, gate.note) == (date(2026, 3, 10), "Paper 8")


def test_the_pamphlet_asks_how_it_was_given(booked: Book, scheduler: User, signed_in: Browse) -> None:
    # 40 CFR 745.84, S for 7 days: mailed on 1 March, the first day is the 8th.
    job = booked("mill-cape")
    gate = job.gates.filter(kind=GateKind.PAMPHLET).first() or JobGate.objects.create(
        job=job, kind=GateKind.PAMPHLET, name="Lead pamphlet handed over"
    )
    plan = signed_in(scheduler)
    address = job_address(job, "jobs-meet-gate", gate=gate.code)
    assert "How it was given" in words(plan.get(address))
    sent = {"version": gate.version, "given_on": "2026-03-01", "mailed": "yes", "proof": "Certificate 12"}
    assert plan.post(address, sent).status_code == 302
    gate.refresh_from_db()
    assert gate.met_on == date(2026, 3, 8)
    assert plan.post(address, sent | {"proof": "Another"}).status_code == 409


def test_what_is_known_is_changed_and_two_savers_see_both(
    booked: Book, owner: User, scheduler: User, signed_in: Browse
) -> None:
    job = booked("mill-cape")
    plan, boss = signed_in(scheduler), signed_in(owner)
    address = job_address(job, "jobs-change-job")
    given = {
        "version": job.version,
        "wanted_by": "2026-04-01",
        "days_away": "2026-03-16 to 2026-03-18, 2026-03-25",
        "latitude": "42.44",
        "longitude": "",
        "access_note": "Key at the neighbour’s.",
    }
    half = plan.post(address, given)
    assert "Enter the longitude as well" in words(half)
    wrong = plan.post(address, given | {"latitude": "", "days_away": "next week"})
    assert "Enter “next week” as a day" in words(wrong)
    assert plan.post(address, given | {"longitude": "-76.5"}).status_code == 302
    job.refresh_from_db()
    assert job.days_away == ["2026-03-16", "2026-03-17", "2026-03-18", "2026-03-25"]
    assert str(job.longitude) == "-76.50000"

    late = boss.post(address, given | {"latitude": "", "access_note": "Dog."})
    assert late.status_code == 409
    assert "Key at the neighbour’s." in words(late)
    tree = html.fromstring(late.content.decode())
    assert tree.xpath("//textarea[@name='access_note']")[0].text_content().strip() == "Dog."
    job.refresh_from_db()
    assert job.access_note == "Key at the neighbour’s."


def test_work_starts_only_inside_every_window(booked: Book, scheduler: User, signed_in: Browse) -> None:
    job = booked("mill-cape")
    plan = signed_in(scheduler)
    address = job_address(job, "jobs-move-job", to="started")
    refused = plan.post(address)
    assert refused.status_code == 409
    assert "End of the time to cancel" in words(refused)
    job.gates.update(met_on=date(2026, 3, 1), expires_on=None, same_day=True)
    job.walls.update(lead_safe=False)
    assert plan.post(address).status_code == 302
    job.refresh_from_db()
    assert job.status == JobStatus.STARTED
    assert plan.get(job_address(job, "jobs-move-job", to="locked")).status_code == 404
