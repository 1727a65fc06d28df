"""The owner's way from what closed jobs teach to the next price book, and bills after the work, in a real browser."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from axe_playwright_python.sync_playwright import Axe

from estimates.models import PriceBookVersion
from estimates.price_books import price_book_publish
from estimates.pricebook import load_book
from estimates.proposals import proposal_draft
from jobs import learning_choices
from jobs.learned import Lesson, _Heard, _lesson
from jobs.learning import ClosedJob
from jobs.models import Job, JobStatus, LearnedChoice

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from estimates.models import EstimateRevision, User

NOW = datetime(2026, 3, 11, 15, 0, tzinfo=UTC)
DEGREE_DAYS = (990, 800, 640, 330, 120, 20, 0, 0, 70, 310, 610, 900)


def slower(start: Any, book: Any) -> tuple[Lesson, ...]:
    """Five closed jobs that took a quarter longer on walls and got less foam out of a mix; one could not be used."""
    found = []
    for figure, factor in (
        ("wall_drill_inside", 1.25),
        ("yield:mineral-foam", 0.85),
        ("test_in", 1.0),
        ("leakage", 0.8),
    ):
        now = _lesson(figure, start, book, _Heard()).found.current
        wide = (0.9, 0.95, 1.0, 1.05, 1.1)
        heard = _Heard([ClosedJob(f"J-{n:05d}", 100.0, 100.0 * factor * now * w) for n, w in enumerate(wide, 1)])
        heard.left_out.append(("J-00009", "the work changed after it was signed"))
        found.append(_lesson(figure, start, book, heard))
    return tuple(found)


def looked_at(page: Page, where: str) -> list[str]:
    """What is wrong with a page at both widths; pictures of it where a folder is named."""
    found = []
    for width in (1280, 360):
        page.set_viewport_size({"width": width, "height": 800})
        if folder := os.environ.get("SHOTS"):
            page.screenshot(path=f"{folder}/{where}-{width}.png", full_page=True)
        spare = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        found += [f"{where} at {width}: scrolls sideways by {spare} px"] if spare else []
        seen = Axe().run(page)
        found += [f"{where} at {width}: {seen.generate_report()}"] if seen.violations_count else []
    page.set_viewport_size({"width": 1280, "height": 800})
    return found


def bills(year: int, first_month: int, heat: float) -> str:
    lines = []
    for at in range(12):
        month = (first_month - 1 + at) % 12 + 1
        day = datetime(year + (first_month - 1 + at) // 12, month, 1, tzinfo=UTC).date()
        last = (day + timedelta(days=32)).replace(day=1) - timedelta(days=1)
        units = 0.9 * 30 + heat * DEGREE_DAYS[month - 1] + at % 3
        lines.append(f"{day}, {last}, {units:.1f}, 100.00, {DEGREE_DAYS[month - 1]}")
    return "\n".join(lines)


def test_the_owner_takes_a_figure_up_refuses_another_and_compares_bills(
    enter: Callable[[str], Page],
    person: Callable[..., User],
    estimated: Callable[..., EstimateRevision],
    measured_job: Callable[..., Job],
    monkeypatch: pytest.MonkeyPatch,
    faults: list[str],
) -> None:
    monkeypatch.setattr(learning_choices, "lessons", slower)
    owner = person("owner")
    price_book_publish(book=load_book("standard"), by=owner, now=NOW)
    proposal_draft(revision=estimated("alder-foursquare"), by=owner, now=NOW)
    job = measured_job("mill-cape")
    Job.objects.filter(pk=job.pk).update(
        status=JobStatus.CLOSED, started_at=NOW, done_at=NOW + timedelta(days=5), closed_at=NOW
    )
    page = enter("owner")
    page.get_by_role("navigation", name="Main").get_by_role("link", name="Reports").click()
    page.get_by_role("link", name="What do closed jobs teach?").click()
    complaints = looked_at(page, "learning")
    walls = page.get_by_role("region", name="Walls drilled from inside")
    walls.get_by_label("Take it into the next price book").check()
    foam = page.get_by_role("region", name="Yield of")
    foam.get_by_label("Refuse it").check()
    page.get_by_role("button", name="Check what it does").click()
    assert page.get_by_role("alert").get_by_text("Enter why you refuse it").is_visible()
    complaints += looked_at(page, "learning-fault")
    foam.get_by_role("textbox").fill("The pump was worn; it is mended.")
    page.get_by_role("button", name="Check what it does").click()
    page.get_by_role("heading", name="Check before deciding").wait_for()
    complaints += looked_at(page, "learning-check")
    assert PriceBookVersion.objects.count() == 1
    page.get_by_role("button", name="Publish version 2").click()
    assert page.get_by_text("1 figure taken into version 2").is_visible()
    assert LearnedChoice.objects.filter(accepted=False).get().reason == "The pump was worn; it is mended."

    page.get_by_role("navigation", name="Main").get_by_role("link", name="Reports").click()
    page.get_by_role("link", name="What do closed jobs teach?").click()
    page.get_by_role("link", name=job.number).click()
    complaints += looked_at(page, "bills")
    page.get_by_label("Bills before the work", exact=True).fill(bills(2025, 3, 0.25))
    page.get_by_label("Bills after the work", exact=True).fill(bills(2026, 4, 0.19))
    page.get_by_role("button", name="Keep and compare").click()
    page.get_by_role("heading", name="What the work saved").wait_for()
    complaints += looked_at(page, "bills-kept")
    assert complaints == []
    assert faults == []
