"""The bookkeeper's way: a deposit checked, issued and paid too much, credit used, costs and months looked at."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import TYPE_CHECKING

from axe_playwright_python.sync_playwright import Axe

from jobs.models import BayState, Invoice, Job, Payment

if TYPE_CHECKING:
    from playwright.sync_api import Page
    from pytest_django.live_server_helper import LiveServer

    from estimates.models import User

PASSWORD = "wet foam, slow pour"


def look_at(page: Page, where: str) -> list[str]:
    """What a reader with a screen reader or a small screen would stumble over, at both widths."""
    complaints = []
    for width in (360, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        if os.environ.get("SHOTS"):
            page.screenshot(path=f"{os.environ['SHOTS']}/{where}-{width}.png", full_page=True)
        found = Axe().run(page)
        if found.violations_count:
            complaints.append(f"{where} at {width}: {found.generate_report()}")
        spare = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if spare:
            complaints.append(f"{where} at {width}: scrolls sideways by {spare} px")
    return complaints


def test_a_deposit_is_checked_issued_and_paid_too_much(
    live_server: LiveServer,
    transactional_db: None,
    page: Page,
    booked: Callable[..., Job],
    person: Callable[..., User],
    faults: list[str],
) -> None:
    job = booked("quarry-split")
    for wall in job.walls.all():
        wall.bays.update(state=BayState.FILLED)
    boss = person("owner", "Odile Marrow", password=PASSWORD)
    page.goto(f"{live_server.url}/sign-in/")
    page.get_by_label("E-mail address").fill(boss.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("link", name="Money", exact=True).click()
    page.get_by_role("heading", name="To invoice").wait_for()
    complaints = look_at(page, "money-desk")
    page.get_by_role("link", name=f"Check it for {job.number}").click()
    complaints += look_at(page, "money-check")
    # The keyboard is enough: Enter in a box looks again and issues nothing.
    page.get_by_label("Due on").press("Enter")
    page.get_by_role("button", name="Issue the deposit invoice").wait_for()
    assert not Invoice.objects.exists()
    page.get_by_role("button", name="Issue the deposit invoice").press("Enter")
    page.get_by_text("Deposit invoice I-00001 is issued.").wait_for()
    page.get_by_role("link", name="Record a payment").click()
    page.get_by_label("Amount").fill("lots")
    page.get_by_role("button", name="Record the payment").click()
    page.get_by_role("link", name="Enter the amount in dollars and cents, such as 1,250.00").wait_for()
    complaints += look_at(page, "money-payment-fault")
    page.get_by_label("Amount").fill("$1,500.00")
    page.get_by_role("button", name="Record the payment").click()
    page.get_by_text("stands to the customer's credit").first.wait_for()
    assert Payment.objects.count() == 1
    complaints += look_at(page, "money-job")
    page.get_by_role("link", name="Check and issue the progress invoice").click()
    page.get_by_label("Amount").fill("250")
    page.get_by_label("Held back").fill("25")
    page.get_by_role("button", name="Look again").click()
    page.get_by_role("cell", name="$225.00").wait_for()
    page.get_by_role("button", name="Issue the progress invoice").click()
    page.get_by_role("button", name="Set the credit against what is open").click()
    page.get_by_text("of the credit is set against open invoices").wait_for()
    page.get_by_role("link", name="Costs and margin").click()
    complaints += look_at(page, "money-costs")
    page.goto(f"{live_server.url}/money/months/")
    complaints += look_at(page, "money-months")
    page.goto(f"{live_server.url}/money/houses/{job.house.code}/statement/")
    complaints += look_at(page, "money-statement")
    assert not complaints, "\n".join(complaints)
    assert not faults
