"""Measuring a house in a real browser: on a phone and at a desk, by keyboard, with the wall drawn while it is typed."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe

if TYPE_CHECKING:
    from playwright.sync_api import Page
    from pytest_django.live_server_helper import LiveServer

Enter = Callable[[str], "Page"]
both_widths = pytest.mark.parametrize("width", [360, 1280])


def look_at(page: Page, where: str) -> str | None:
    """Return what a reader with a screen reader or a small screen would stumble over; None when nothing."""
    found = Axe().run(page)
    if found.violations_count:
        return f"{where}: {found.generate_report()}"
    spare = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return f"{where}: scrolls sideways by {spare} px" if spare else None


def to_assessment(page: Page, site: LiveServer, name: str) -> None:
    page.goto(f"{site.url}/houses/")
    page.get_by_role("link", name=name).click()
    page.get_by_role("link", name="Assessment: what is measured and what is open").click()


def measured(page: Page, site: LiveServer) -> None:
    to_assessment(page, site, "Cape on Old Mill Lane")
    page.get_by_role("button", name="Begin with what the estimate holds").click()
    page.get_by_role("heading", name="Hazard gates").wait_for()


@both_widths
def test_every_page_of_an_assessment_is_in_order(width: int, enter: Enter, site: LiveServer, faults: list[str]) -> None:
    page = enter("owner")
    page.set_viewport_size({"width": width, "height": 800})
    to_assessment(page, site, "Cape on Old Mill Lane")
    complaints = [look_at(page, "nothing yet")]
    page.get_by_role("link", name="Begin with a few figures").click()
    complaints.append(look_at(page, "few figures"))
    page.get_by_role("button", name="Begin assessment").click()
    complaints.append(look_at(page, "few figures with faults"))
    measured(page, site)
    complaints.append(look_at(page, "first page"))
    home = page.url
    for words in ("The house", "Places where air leaks", "Blower door", "Kitchens and baths", "Fuel bills", "Climate"):
        page.goto(home)
        page.get_by_role("link", name=words, exact=True).click()
        complaints.append(look_at(page, words))
    page.get_by_role("link", name="Leave without saving").click()
    page.get_by_role("link", name="Front", exact=True).click()
    page.evaluate("document.querySelectorAll('details').forEach(topic => { topic.open = true })")
    complaints.append(look_at(page, "wall"))
    page.get_by_label("Length (ft)").fill("a rod")
    page.get_by_role("button", name="Save wall").click()
    page.locator("#error-summary").wait_for()
    assert page.evaluate("document.activeElement.id") == "error-summary"
    complaints.append(look_at(page, "wall with a fault"))
    for words in ("Add an attic", "Add an option", "Add a round of combustion tests", "Photos", "See every gate"):
        page.goto(home)
        page.get_by_role("link", name=words).click()
        complaints.append(look_at(page, words))
    complaints.append(look_at(page, "every gate"))
    page.get_by_role("group", name="Pests").get_by_label("Stop", exact=True).check()
    page.get_by_role("group", name="Mould").get_by_label("Not yet known", exact=True).check()
    page.get_by_role("button", name="Save answers").click()
    page.get_by_text("Nothing is saved yet").wait_for()
    complaints.append(look_at(page, "every gate with faults"))
    page.goto(home)
    page.get_by_role("link", name="See every gate").click()
    page.get_by_role("link", name=re.compile("words on paper.*Asbestos")).click()
    complaints.append(look_at(page, "gate"))
    page.get_by_role("button", name="Save answer").click()
    complaints.append(look_at(page, "gate with faults"))
    page.goto(home)
    page.get_by_role("link", name="Fuel bills").click()
    page.get_by_role("link", name="Bring in bills from a file or pasted lines").click()
    page.get_by_label("Or pasted lines").fill("2025-01-03,2025-02-02,142,214.50\nnever")
    page.get_by_role("button", name="Look at the bills").click()
    complaints.append(look_at(page, "bills"))
    assert faults == []
    assert [complaint for complaint in complaints if complaint] == []


def test_a_house_is_entered_by_keyboard_and_priced_at_once(enter: Enter, site: LiveServer, faults: list[str]) -> None:
    page = enter("salesperson")
    to_assessment(page, site, "Cape on Old Mill Lane")
    page.get_by_role("link", name="Begin with a few figures").click()
    page.get_by_label("Year built").focus()
    page.keyboard.type("1926")
    page.keyboard.press("Tab")
    page.get_by_text("Usual for its time").wait_for()
    # What was usual has arrived, and the place of the cursor is still the next box.
    assert page.evaluate("document.activeElement.name") == "storeys"
    for words in ("2", "1680", "3"):
        page.keyboard.type(words)
        page.keyboard.press("Tab")
    page.get_by_label("Perimeter (ft)").fill("122")
    assert page.get_by_label("Storey height (ft)").input_value() == "8.75"
    page.get_by_label("Natural gas").check()
    page.get_by_label("Efficiency (%)").fill("81")
    page.get_by_label("Price of a therm, gallon or kWh ($)").fill("1.46")
    page.get_by_label("Weather site").fill("Valley station")
    page.get_by_label("Source").fill("typed")
    page.get_by_label("Heating degree days (°F days)").fill("5450")
    page.get_by_label("Mean outdoor temperature in the season (°F)").fill("34")
    page.get_by_label("Mean wind in the season (mph)").fill("9.5")
    page.keyboard.press("Tab")
    page.get_by_role("heading", name="About $").wait_for()
    page.get_by_role("button", name="Begin assessment").click()
    page.get_by_text("The house is entered.").wait_for()
    page.get_by_role("heading", name="Hazard gates").wait_for()
    assert faults == []


def test_the_wall_is_drawn_anew_while_it_is_typed(enter: Enter, site: LiveServer, faults: list[str]) -> None:
    page = enter("salesperson")
    measured(page, site)
    page.get_by_role("link", name="Front", exact=True).click()
    page.get_by_text("32′ 0″", exact=True).wait_for()
    page.get_by_label("Length (ft)").fill("36' 6\"")
    page.get_by_text("36′ 6″", exact=True).wait_for()
    page.get_by_role("button", name="Add another opening").click()
    row = page.get_by_role("group", name="Opening 4")
    row.get_by_label("Left edge").fill("380")
    row.get_by_label("Bottom edge").fill("30")
    row.get_by_label("Width").fill("40")
    row.get_by_label("Height (in)").fill("30")
    page.locator("#elevation").get_by_text("w3", exact=True).wait_for()
    row.get_by_label("Left edge").fill("430")
    page.get_by_text("Cannot be drawn yet").wait_for()
    page.get_by_role("button", name="Take out opening 4").click()
    row.wait_for(state="detached")
    page.get_by_text("36′ 6″", exact=True).wait_for()
    page.get_by_role("button", name="Save wall").click()
    page.get_by_text("“Front” is saved.").wait_for()
    assert faults == []


def test_leaving_typed_work_is_asked_about(enter: Enter, site: LiveServer) -> None:
    page = enter("salesperson")
    measured(page, site)
    page.get_by_role("link", name="Front", exact=True).click()
    page.get_by_label("Length (ft)").fill("36")
    asked: list[str] = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    page.get_by_role("link", name="Leave without saving").click(no_wait_after=True)
    page.wait_for_timeout(300)
    assert asked == ["beforeunload"]
    assert page.get_by_label("Length (ft)").input_value() == "36"


@both_widths
def test_both_versions_stand_side_by_side(width: int, enter: Enter, site: LiveServer, faults: list[str]) -> None:
    page = enter("salesperson")
    page.set_viewport_size({"width": width, "height": 800})
    measured(page, site)
    page.get_by_role("link", name="Front", exact=True).click()
    other = page.context.new_page()
    other.goto(page.url)
    other.get_by_label("Length (ft)").fill("40")
    other.get_by_role("button", name="Save wall").click()
    other.get_by_text("“Front” is saved.").wait_for()
    other.close()
    page.get_by_label("Length (ft)").fill("34")
    page.get_by_role("button", name="Save wall").click()
    page.get_by_text("has changed this while you were typing").wait_for()
    assert look_at(page, "both versions") is None
    page.get_by_role("group", name="Length").get_by_label("Theirs: 40 ft").check()
    page.get_by_role("button", name="Save wall").click()
    page.get_by_text("“Front” is saved.").wait_for()
    page.get_by_text("40′ 0″", exact=True).wait_for()
    assert [fault for fault in faults if "409" not in fault] == []


def test_a_photo_from_the_tablet_answers_a_gate(enter: Enter, site: LiveServer, faults: list[str]) -> None:
    from PIL import Image

    content = io.BytesIO()
    Image.new("RGB", (64, 48), "brown").save(content, "JPEG")
    page = enter("salesperson")
    measured(page, site)
    page.get_by_role("link", name="See every gate").click()
    page.get_by_role("link", name=re.compile("words on paper.*Bulk moisture")).click()
    page.get_by_role("button", name="Take it back").first.click()
    page.get_by_text("is taken back").wait_for()
    page.get_by_label("Stop", exact=True).check()
    page.get_by_label("Note").fill("Stain under the valley, framing at 24 %.")
    page.get_by_label("Add a photo").set_input_files(
        {"name": "tablet.jpg", "mimeType": "image/jpeg", "buffer": content.getvalue()}
    )
    page.get_by_role("button", name="Save answer").click()
    page.get_by_text("Every gate is answered.").wait_for()
    page.get_by_role("link", name="Photos").click()
    photo = page.get_by_role("img", name="Bulk moisture")
    photo.scroll_into_view_if_needed()
    page.wait_for_function("[...document.images].some(image => image.naturalWidth === 64)")
    assert faults == []
