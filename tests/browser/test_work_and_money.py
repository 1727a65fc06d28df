"""Pages of crews, verification, money and exports that no other browser test opens, at two widths."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse

if TYPE_CHECKING:
    from playwright.sync_api import Page
    from pytest_django.live_server_helper import LiveServer

    from estimates.models import User
    from jobs.models import Job

PASSWORD = "wet foam, slow pour"


def pages_of(job: Job) -> dict[str, str]:
    """What is looked at -> its address; one of each form that shares a template."""
    key = job.walls.values_list("key", flat=True)[0]
    of_job = {
        "leave to start": ("jobs-move-job", "started"),
        "verification": ("jobs-show-verification",),
        "tests": ("jobs-record-test", "out"),
        "finding": ("jobs-add-finding",),
        "infrared": ("jobs-show-infrared", key),
        "crew sheet": ("jobs-show-crew-sheet",),
        "temperatures": ("jobs-report-entry", "temperature"),
        "close the day": ("jobs-report-entry", "day-close"),
        "money of the job": ("jobs-show-money",),
        "deposit": ("jobs-issue-invoice", "deposit"),
        "progress": ("jobs-issue-invoice", "progress"),
        "payment": ("jobs-record-payment",),
        "costs": ("jobs-show-costs",),
    }
    found = {what: reverse(name, args=[job.code, *more]) for what, (name, *more) in of_job.items()}
    found["statement"] = reverse("jobs-show-statement", args=[job.house.code])
    found["cancellation"] = reverse("jobs-record-cancellation", args=[job.proposal.code])
    single = ("jobs-list-crews", "jobs-add-crew", "jobs-add-worker", "jobs-show-money-desk", "jobs-show-months")
    more = ("reports-show-exports", "reports-change-accounts", "reports-show-pipeline")
    return found | {name: reverse(name) for name in (*single, *more)}


def test_pages_of_work_and_money_are_in_order_on_a_phone_and_at_a_desk(
    live_server: LiveServer,
    transactional_db: None,
    page: Page,
    booked: Callable[..., Job],
    bare_crew: Callable[..., object],
    person: Callable[..., User],
    faults: list[str],
) -> None:
    bare_crew("North crew", "injecting", "air_sealing")
    job = booked("quarry-split")
    boss = person("owner", "Odile Marrow", password=PASSWORD)
    page.goto(f"{live_server.url}/sign-in/")
    page.get_by_label("E-mail address").fill(boss.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()
    complaints = []
    for what, address in pages_of(job).items():
        page.goto(live_server.url + address)
        if page.get_by_role("heading", level=1).count() != 1:
            complaints.append(f"{what}: {page.title()} has no heading of its own")
        for width in (360, 1280):
            page.set_viewport_size({"width": width, "height": 800})
            found = Axe().run(page)
            if found.violations_count:
                complaints.append(f"{what} at {width}: {found.generate_report()}")
            spare = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
            if spare:
                complaints.append(f"{what} at {width}: scrolls sideways by {spare} px")
    assert complaints == []
    assert faults == []
