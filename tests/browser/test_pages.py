"""The pages in a real browser: at two widths, by keyboard, by rule, on paper."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from pypdf import PdfReader

if TYPE_CHECKING:
    from playwright.sync_api import Page
    from pytest_django.live_server_helper import LiveServer

    from estimates.models import User

PASSWORD = "wet foam, slow pour"
Enter = Callable[[str], "Page"]

both_widths = pytest.mark.parametrize("width", [360, 1280])


def look_at(page: Page, where: str) -> str | None:
    """Return what a reader with a screen reader, a keyboard or a small screen would stumble over; None when nothing."""
    found = Axe().run(page)
    if found.violations_count:
        return f"{where}: {found.generate_report()}"
    spare = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return f"{where}: scrolls sideways by {spare} px" if spare else None


def wide(page: Page, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 800})


@both_widths
def test_every_page_of_the_owner_is_in_order(width: int, enter: Enter, site: LiveServer, faults: list[str]) -> None:
    page = enter("owner")
    wide(page, width)
    complaints = [look_at(page, "start")]
    page.get_by_role("link", name="Houses").first.click()
    complaints.append(look_at(page, "houses"))
    page.goto(f"{site.url}/houses/?find=nowhere")
    complaints.append(look_at(page, "no match"))
    page.goto(f"{site.url}/houses/")
    page.get_by_role("link", name="Brick foursquare on Alder Run").click()
    page.locator("summary").first.click()
    complaints.append(look_at(page, "house"))
    page.goto(f"{site.url}/reports/margins/")
    page.locator(".chart .main-svg").first.wait_for()
    complaints.append(look_at(page, "margins"))
    assert faults == []
    page.goto(f"{site.url}/none-such/")
    complaints.append(look_at(page, "404"))
    assert [complaint for complaint in complaints if complaint] == []


@both_widths
def test_signing_in_is_in_order_with_and_without_a_fault(
    width: int, page: Page, site: LiveServer, faults: list[str]
) -> None:
    wide(page, width)
    page.goto(f"{site.url}/sign-in/")
    assert look_at(page, "sign-in") is None
    page.get_by_role("button", name="Sign in").click()
    page.locator("#error-summary").wait_for()
    assert page.evaluate("document.activeElement.id") == "error-summary"
    assert look_at(page, "sign-in with a fault") is None
    page.get_by_role("link", name="Enter your password").click()
    assert page.evaluate("document.activeElement.name") == "password"
    assert faults == []


def focused(page: Page) -> str:
    return str(page.evaluate("document.activeElement.innerText || document.activeElement.name || ''")).strip()


def tab_to(page: Page, name: str) -> None:
    """Press Tab until something is in focus, as a person without a mouse does."""
    for _ in range(60):
        page.keyboard.press("Tab")
        if focused(page) == name:
            return
    pytest.fail(f"Tab never reaches {name!r}")


def test_a_house_can_be_opened_without_a_mouse(
    page: Page, site: LiveServer, person: Callable[..., User], faults: list[str]
) -> None:
    user = person("salesperson", password=PASSWORD)
    page.goto(f"{site.url}/sign-in/")
    page.keyboard.press("Tab")
    assert focused(page) == "Skip to the content"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert focused(page) == "username"
    page.keyboard.type(user.email)
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Sign out").wait_for()
    tab_to(page, "Houses")
    page.keyboard.press("Enter")
    page.wait_for_url("**/houses/")
    tab_to(page, "Cape on Old Mill Lane")
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
    assert outline == "3px"
    page.keyboard.press("Enter")
    page.get_by_role("heading", level=1, name="Cape on Old Mill Lane").wait_for()
    tab_to(page, "Walls")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "walls"
    assert faults == []


def test_the_chart_offers_no_way_to_send_numbers_elsewhere(enter: Enter, site: LiveServer, faults: list[str]) -> None:
    page = enter("bookkeeper")
    page.goto(f"{site.url}/reports/margins/")
    page.locator(".chart .main-svg").first.wait_for()
    page.locator(".chart").hover()
    assert page.locator(".modebar-btn").count() == 0
    assert page.locator(".chart .bars path").count() == 3
    assert faults == []


def test_files_are_saved_and_not_opened_in_the_page(enter: Enter, site: LiveServer) -> None:
    page = enter("salesperson")
    page.goto(f"{site.url}/houses/")
    page.get_by_role("link", name="Cape on Old Mill Lane").click()
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Takeoff: every bay and hole").click()
    assert waiting.value.suggested_filename == "mill-cape-revision-1-takeoff.json"
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Proposal, for a word processor").click()
    assert waiting.value.path().read_bytes().startswith(b"PK")


def test_sorting_and_searching_survive_going_back(enter: Enter, site: LiveServer) -> None:
    page = enter("owner")
    page.goto(f"{site.url}/houses/")
    page.get_by_label("Find by name").fill("tamarack")
    page.get_by_role("button", name="Find houses").click()
    page.get_by_role("columnheader", name="Price").get_by_role("link").click()
    address = page.url
    page.locator("tbody a").first.click()
    page.get_by_role("heading", level=1).wait_for()
    page.go_back()
    assert page.url == address
    assert page.get_by_label("Find by name").input_value() == "tamarack"
    assert page.get_by_role("columnheader", name="Price").get_attribute("aria-sort") == "ascending"


def test_a_house_on_paper_has_its_walls_and_none_of_the_buttons(enter: Enter, site: LiveServer) -> None:
    page = enter("owner")
    page.goto(f"{site.url}/houses/")
    page.get_by_role("link", name="Cape on Old Mill Lane").click()
    page.get_by_role("heading", level=1, name="Cape on Old Mill Lane").wait_for()
    text = "\n".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(page.pdf(format="Letter"))).pages)
    assert "Cavity" in text
    assert "All lines" in text
    for left_out in ("Sign out", "Skip to the content", "takeoff.json"):
        assert left_out not in text
