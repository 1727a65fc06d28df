"""The program as a firm has it on its first morning: people, rules, a price book, a source of leads; no house yet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page
    from pytest_django.live_server_helper import LiveServer

    from estimates.models import User

PASSWORD = "wet foam, slow pour"

PATIENCE_MS = 30_000
"""A busy machine is not a fault of the program."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture
def firm(live_server: LiveServer, transactional_db: None, settings: Any, tmp_path: Path, owner: User) -> LiveServer:
    from django.utils import timezone

    from estimates.leads import lead_source_put
    from estimates.price_books import price_book_publish
    from estimates.pricebook import load_book
    from estimates.rules import load_rules
    from estimates.rules_table import rule_put

    settings.VAR_DIR, settings.DOCUMENTS_DIR = tmp_path, tmp_path / "documents"
    now = timezone.now()
    price_book_publish(book=load_book("standard"), by=owner, now=now)
    for row in load_rules():
        rule_put(**{**asdict(row), "by": owner, "now": now})
    lead_source_put(name="Yard sign", cost_per_lead=Decimal("12.50"), by=owner, now=now)
    return live_server


@pytest.fixture
def faults(page: Page) -> list[str]:
    """What the browser of the office complains about: errors of scripts and of the content policy."""
    found: list[str] = []
    listen(page, found)
    return found


def listen(page: Page, found: list[str]) -> None:
    page.on("console", lambda said: found.append(said.text) if said.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: found.append(str(error)))


@pytest.fixture
def enter(firm: LiveServer, page: Page, person: Callable[..., User]) -> Callable[[str], Page]:
    """Return `enter(role)`: signs in through the form, at a desk, and gives the page."""

    def sign_in(role: str) -> Page:
        user = person(role, "Selwyn Tarn", password=PASSWORD)
        page.set_default_timeout(PATIENCE_MS)
        page.set_viewport_size({"width": 1280, "height": 900})
        page.goto(f"{firm.url}/sign-in/")
        page.get_by_label("E-mail address").fill(user.email)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.get_by_role("button", name="Sign out").wait_for()
        return page

    return sign_in


@pytest.fixture
def phone(browser: Browser, faults: list[str]) -> Page:
    """The homeowner's phone: another browser that shares nothing with that of the office."""
    page = browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True).new_page()
    page.set_default_timeout(PATIENCE_MS)
    listen(page, faults)
    return page
