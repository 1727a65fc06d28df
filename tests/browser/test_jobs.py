"""From a signed proposal to a booked job, a change order that the homeowner signs on a phone, and the sign-off."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe

from jobs.models import ChangeOrder, Job, JobStatus, SignOff

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page
    from pytest_django.live_server_helper import LiveServer

    from estimates.models import User

PASSWORD = "wet foam, slow pour"
WIDTHS = (360, 1280)


def look_at(page: Page, where: str) -> list[str]:
    """What a reader with a screen reader or a small screen would stumble over, at both widths."""
    complaints = []
    size = page.viewport_size
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 800})
        if os.environ.get("SHOTS"):
            page.screenshot(path=f"{os.environ['SHOTS']}/{where.replace(' ', '-')}-{width}.png", full_page=True)
        found = Axe().run(page)
        if found.violations_count:
            complaints.append(f"{where} at {width}: {found.generate_report()}")
        spare = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if spare:
            complaints.append(f"{where} at {width}: scrolls sideways by {spare} px")
    if size is not None:
        page.set_viewport_size(size)
    return complaints


@pytest.fixture
def phone(browser: Browser) -> Page:
    """The homeowner's phone: another browser that shares nothing with that of the office."""
    page = browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True).new_page()
    page.set_default_timeout(20_000)
    return page


def test_a_job_is_booked_its_gates_met_a_change_signed_on_a_phone_and_the_work_signed_off(
    live_server: LiveServer,
    transactional_db: None,
    page: Page,
    phone: Page,
    booked: Callable[..., Job],
    person: Callable[..., User],
    faults: list[str],
) -> None:
    from django.utils import timezone

    from estimates.issuing import current_link
    from estimates.links import link_token

    job = booked("mill-cape")
    boss = person("owner", "Odile Marrow", password=PASSWORD)
    complaints: list[str] = []
    page.goto(f"{live_server.url}/sign-in/")
    page.get_by_label("E-mail address").fill(boss.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()

    page.get_by_role("link", name="Jobs", exact=True).click()
    page.get_by_role("heading", name="Jobs", level=1).wait_for()
    complaints += look_at(page, "jobs")
    page.get_by_role("link", name=job.house.name).click()
    page.get_by_role("heading", name=f"Job {job.number}").wait_for()
    complaints += look_at(page, "job")

    # A gate: a fault first, then the proof.
    page.get_by_role("link", name="Add a start gate").click()
    page.get_by_label("What is waited for").fill("Permit of the town")
    page.get_by_role("button", name="Add the gate").click()
    page.get_by_role("link", name="Permit of the town").click()
    page.get_by_label("Day it was met").fill("2026-03-10")
    page.get_by_role("button", name="Save the gate").click()
    page.locator("#error-summary").wait_for()
    complaints += look_at(page, "gate with a fault")
    page.get_by_label("Proof").fill("Permit 7")
    page.get_by_role("button", name="Save the gate").click()
    page.get_by_role("status").get_by_text("is recorded").wait_for()

    page.get_by_role("link", name="Change what is known").click()
    page.get_by_label("Days away").fill("2026-03-16 to 2026-03-18")
    complaints += look_at(page, "known")
    page.get_by_role("button", name="Save the job").click()
    page.get_by_role("status").get_by_text("is saved").wait_for()

    # A change order.
    page.get_by_role("link", name="Draft a change order").click()
    page.get_by_label("Why the work changes").fill("Rot behind the clapboards of the north wall.")
    page.get_by_label("What is done, line 1").fill("Replace 12 ft of clapboard")
    page.get_by_label("Price of line 1").fill("186")
    complaints += look_at(page, "draft")
    page.get_by_role("button", name="Save the draft").click()
    page.get_by_role("button", name="Issue it to the homeowner").wait_for()
    complaints += look_at(page, "change")
    page.get_by_role("button", name="Issue it to the homeowner").click()
    page.get_by_role("status").get_by_text("is issued").wait_for()

    # The homeowner signs it, and the work once it is done.
    link = current_link(job.proposal, now=timezone.now())
    assert link is not None
    phone.goto(f"{live_server.url}/yours/{link_token(link)}/")
    complaints += look_at(phone, "homeowner")
    phone.get_by_role("link", name="Read change order 1").click()
    phone.get_by_label("Your full name").fill("Wren Halloran")
    complaints += look_at(phone, "homeowner change")
    phone.get_by_label("I agree to sign").check()
    phone.get_by_role("button", name="Sign for").click()
    phone.get_by_role("status").get_by_text("the change is signed").wait_for()
    assert ChangeOrder.objects.get().status == "signed"
    Job.objects.filter(pk=job.pk).update(status=JobStatus.WORK_DONE, done_at=timezone.now())
    phone.reload()
    phone.get_by_role("link", name="Sign the work off").click()
    phone.get_by_label("Your full name").fill("Wren Halloran")
    complaints += look_at(phone, "homeowner sign off")
    phone.get_by_role("button", name="Sign the work off").click()
    phone.get_by_role("status").get_by_text("signing the work off").wait_for()
    assert SignOff.objects.get().typed_name == "Wren Halloran"

    # The house file tells it all.
    page.get_by_role("link", name=f"Job {job.number}").first.click()
    page.get_by_role("link", name=job.house.name).first.click()
    page.get_by_role("heading", name="What was done").wait_for()
    for said in ("booked job", "signed change order 1", "signed the work off", "recorded the start gate"):
        assert page.get_by_text(said).first.is_visible(), said
    complaints += look_at(page, "house file")
    assert complaints == []
    assert faults == []
