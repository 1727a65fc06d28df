"""Price books and the live estimate in a real browser: trying, keeping, freezing, and a new version of the book."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe

if TYPE_CHECKING:
    from playwright.sync_api import Page
    from pytest_django.live_server_helper import LiveServer

    from estimates.models import User

NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)
HOUSES = Path(__file__).resolve().parents[2] / "fixtures" / "houses"
SHOTS = os.environ.get("CAVITYBOOK_SHOTS", "")
"""A folder for pictures of the pages, for people who look at them; none are kept by default."""

Enter = Callable[[str], "Page"]
both_widths = pytest.mark.parametrize("width", [360, 1280])


@pytest.fixture
def assessed(site: LiveServer, owner: User) -> LiveServer:
    """The site with rules, a published price book, and assessments of two of its houses."""
    from dataclasses import asdict

    from estimates.assessments import assessment_from_record
    from estimates.house import house_from_json
    from estimates.models import EstimateRevision, House
    from estimates.price_books import price_book_publish
    from estimates.pricebook import load_book
    from estimates.proposals import proposal_draft
    from estimates.rules import load_rules
    from estimates.rules_table import rule_put

    price_book_publish(book=load_book("standard"), by=owner, now=NOW)
    for row in load_rules():
        rule_put(**{**asdict(row), "by": owner, "now": NOW})
    for name in ("mill-cape", "alder-foursquare"):
        record = house_from_json((HOUSES / f"{name}.json").read_text(encoding="utf-8"))
        house = House.objects.get(reference=name)
        assessment_from_record(house=house, record=record, by=owner, now=NOW)
        proposal_draft(revision=EstimateRevision.objects.get(house=house), by=owner, now=NOW)
    return site


def look_at(page: Page, where: str, width: int) -> str | None:
    """Return what a reader would stumble over; None when nothing."""
    if SHOTS:
        page.screenshot(path=str(Path(SHOTS) / f"{where.replace(' ', '-')}-{width}.png"), full_page=True)
    found = Axe().run(page)
    if found.violations_count:
        return f"{where}: {found.generate_report()}"
    spare = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return f"{where}: scrolls sideways by {spare} px" if spare else None


@both_widths
def test_a_price_is_tried_kept_frozen_and_compared(
    width: int, enter: Enter, assessed: LiveServer, faults: list[str]
) -> None:
    page = enter("owner")
    page.set_viewport_size({"width": width, "height": 900})
    page.get_by_role("link", name="Houses").first.click()
    page.get_by_role("link", name="Brick foursquare on Alder Run").click()
    page.get_by_role("link", name="Live estimate").first.click()
    page.get_by_role("heading", level=1, name="Live estimate").wait_for()
    complaints = [look_at(page, "live estimate", width)]
    summary = page.locator("details.line summary").first
    summary.click()
    page.get_by_text("whole mixes").first.wait_for()
    page.get_by_text("What changed since revision 1").click()
    complaints.append(look_at(page, "a line opened", width))

    before = page.locator("table.live tr.sum td").first.inner_text()
    margin = page.get_by_label("Margin wanted of", exact=False).first
    slider = page.get_by_role("slider").first
    slider.focus()
    for _ in range(6):
        page.keyboard.press("ArrowRight")
    said = page.get_by_role("status").first
    page.get_by_text("These figures are only tried.").wait_for()
    assert page.locator("table.live tr.sum td").first.inner_text() != before
    assert margin.input_value() == "45"
    assert "margin 45.0%" in said.inner_text()
    assert page.evaluate("document.activeElement.className") == "slide"
    complaints.append(look_at(page, "tried", width))

    margin.fill("lots")
    page.get_by_text("Mend this first; the figures are the last ones").wait_for()
    complaints.append(look_at(page, "a fault while trying", width))
    margin.fill("30")
    page.get_by_text("is below the floor").first.wait_for()
    page.get_by_role("button", name="Keep these figures").click()
    page.get_by_text("Kept in assessment 1.").wait_for()
    complaints.append(look_at(page, "kept below the floor", width))
    page.get_by_role("button", name="Freeze as revision").click()
    page.get_by_text("Frozen as revision 2.").wait_for()
    page.get_by_role("link", name="Live estimate").first.click()
    page.get_by_role("link", name="Release it with a reason").first.click()
    complaints.append(look_at(page, "release", width))
    page.get_by_role("button", name="Release this price").click()
    page.locator("#error-summary").wait_for()
    complaints.append(look_at(page, "release with a fault", width))
    page.get_by_label("Reason").fill("The neighbour’s house comes next")
    page.get_by_role("button", name="Release this price").click()
    page.get_by_text("may go out at a margin of").wait_for()
    page.get_by_role("link", name="Revisions").first.click()
    page.get_by_role("heading", level=1, name="Revisions").wait_for()
    complaints.append(look_at(page, "revisions", width))
    page.get_by_role("link", name="What changed since 1").click()
    page.get_by_role("heading", level=1, name="What changed from revision 1 to 2").wait_for()
    complaints.append(look_at(page, "compare", width))
    assert [complaint for complaint in complaints if complaint] == []
    assert faults == []


@both_widths
def test_the_owner_tries_a_dearer_foam_and_publishes_the_next_version(
    width: int, enter: Enter, assessed: LiveServer, faults: list[str]
) -> None:
    page = enter("owner")
    page.set_viewport_size({"width": width, "height": 900})
    page.get_by_role("link", name="Price books").first.click()
    page.get_by_role("heading", level=1, name="Price books").wait_for()
    complaints = [look_at(page, "price books", width)]
    page.get_by_role("link", name="Standard, version 1").click()
    complaints.append(look_at(page, "price book", width))
    page.get_by_label("Figure", exact=True).select_option(label="all foams")
    page.get_by_label("Change", exact=True).fill("12")
    page.get_by_role("button", name="Show what it would do").click()
    page.get_by_role("heading", level=1, name="What if: all foams: 12 % more").wait_for()
    complaints.append(look_at(page, "dearer foam", width))
    page.get_by_role("link", name="Price books").first.click()
    page.get_by_role("link", name="Make the next version of standard").click()
    complaints.append(look_at(page, "next version", width))
    page.get_by_label("Labour, with everything on top of the wage, best").fill("")
    page.get_by_role("button", name="Check this version").click()
    page.locator("#error-summary").wait_for()
    assert page.evaluate("document.activeElement.id") == "error-summary"
    complaints.append(look_at(page, "next version with a fault", width))
    page.get_by_label("Labour, with everything on top of the wage, best").fill("64")
    page.get_by_role("button", name="Check this version").click()
    page.get_by_role("heading", level=1, name="Check before publishing").wait_for()
    complaints.append(look_at(page, "check", width))
    page.get_by_role("button", name="Publish version 2").click()
    page.get_by_text("Version 2 is published").wait_for()
    assert [complaint for complaint in complaints if complaint] == []
    assert faults == []


def test_the_margin_is_tried_without_a_mouse(enter: Enter, assessed: LiveServer) -> None:
    page = enter("salesperson")
    page.get_by_role("link", name="Houses").first.click()
    page.get_by_role("link", name="Cape on Old Mill Lane").click()
    page.get_by_role("link", name="Live estimate").first.click()
    page.get_by_label("Margin wanted", exact=True).wait_for()
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.name") == "margin_all":
            break
    page.keyboard.type("47")
    page.get_by_text("These figures are only tried.").wait_for()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.value") == "47"
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.innerText") == "Keep these figures":
            break
    page.keyboard.press("Enter")
    page.get_by_text("Kept in assessment 1.").wait_for()
