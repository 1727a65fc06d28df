"""The reports in a real browser: every question at two widths, its chart drawn, its filter used, nothing fetched."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone

from reports.catalogue import REPORTS

if TYPE_CHECKING:
    from playwright.sync_api import Page
    from pytest_django.live_server_helper import LiveServer

    from estimates.models import User

PASSWORD = "wet foam, slow pour"


@pytest.fixture
def reading(
    live_server: LiveServer, transactional_db: None, firm_of: Callable[..., None], page: Page,
    person: Callable[..., User],
) -> Callable[[str], None]:  # fmt: skip
    """Signs the owner of a firm with forty finished jobs in and returns `open(address)`."""
    firm_of(40, until=timezone.localdate())
    user = person("owner", "Odile Marrow", password=PASSWORD)
    page.goto(f"{live_server.url}/sign-in/")
    page.get_by_label("E-mail address").fill(user.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()
    return lambda address: page.goto(live_server.url + address) and None


def breaches(page: Page, where: str) -> str | None:
    found = Axe().run(page)
    return f"{where}: {found.generate_report()}" if found.violations_count else None


def sideways(page: Page, where: str) -> str | None:
    spare = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return f"{where}: scrolls sideways by {spare} px" if spare else None


def test_every_report_answers_draws_and_fits(reading: Callable[[str], None], page: Page, faults: list[str]) -> None:
    complaints = []
    for name, report in REPORTS.items():
        reading(f"/reports/on/{name}/")
        assert page.locator(".answered").is_visible(), f"{report.question} has no answer"
        charts = page.locator(".chart")
        assert charts.count() >= 1, f"{report.question} has no chart"
        for at in range(charts.count()):
            charts.nth(at).locator(".main-svg").first.wait_for()
        for width in (1280, 360):
            page.set_viewport_size({"width": width, "height": 800})
            complaints.append(sideways(page, f"{name} at {width}"))
        # The pages are one template: the rules are checked where they differ.
        if name in ("months", "margins", "leakage"):
            complaints.append(breaches(page, name))
    reading("/reports/")
    complaints.append(breaches(page, "list"))
    page.get_by_role("link", name="How many leads do we win, and how soon?").click()
    page.get_by_label("Source", exact=True).select_option(label="Mailing")
    page.get_by_role("button", name="Show the answer").click()
    chip = page.locator(".chip").filter(has_text="Source: Mailing")
    assert chip.is_visible()
    chip.get_by_role("link").click()
    assert page.locator(".chip").count() == 0
    assert faults == []
    assert [one for one in complaints if one] == []
