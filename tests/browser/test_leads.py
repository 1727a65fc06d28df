"""A lead in a real browser: from the telephone to its house by visible words alone, at two widths and by keyboard."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone

if TYPE_CHECKING:
    from playwright.sync_api import Page
    from pytest_django.live_server_helper import LiveServer

    from estimates.models import Lead, LeadSource, User

Enter = Callable[[str], "Page"]

both_widths = pytest.mark.parametrize("width", [360, 1280])


@pytest.fixture
def source(site: LiveServer, person: Callable[..., User]) -> LeadSource:
    from estimates.leads import lead_source_put
    from estimates.rules_table import rule_put

    owner, now = person("owner", "Odile Marrow"), timezone.now()
    rule_put(
        jurisdiction="US",
        topic="calls.solicitation_hours",
        valid_from=date(2020, 1, 1),
        valid_to=None,
        value={"from": "08:00", "to": "21:00"},
        text="No sales call before 8 in the morning or after 9 in the evening.",
        source="16 CFR 310.4(c)",
        checked_on=date(2026, 1, 1),
        by=owner,
        now=now,
    )
    return lead_source_put(name="Yard sign", cost_per_lead=Decimal("12.50"), by=owner, now=now)


@pytest.fixture
def known(source: LeadSource, person: Callable[..., User]) -> Lead:
    """A lead that is there already, taken a week ago, with consent and a step that is overdue."""
    from estimates.leads import lead_take

    seller, now = person("salesperson", "Isolde Farthing"), timezone.now()
    return lead_take(
        person="Bram Ashdown",
        phone="607-555-0142",
        street="3 Weir Street",
        town="Fernhollow",
        state="NY",
        source=source,
        seller=seller,
        consent=True,
        next_step="Call back",
        next_step_on=timezone.localdate(now) - timedelta(days=2),
        by=seller,
        now=now - timedelta(days=7),
    )


@pytest.fixture
def complaints() -> list[str]:
    return []


def look(page: Page, where: str, complaints: list[str]) -> None:
    """Note what a reader with a screen reader, a keyboard or a small screen would stumble over."""
    found = Axe().run(page)
    if found.violations_count:
        complaints.append(f"{where}: {found.generate_report()}")
    spare = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    if spare:
        complaints.append(f"{where}: scrolls sideways by {spare} px")


@both_widths
def test_a_lead_comes_from_the_telephone_to_its_house(
    width: int, enter: Enter, known: Lead, faults: list[str], complaints: list[str]
) -> None:
    page = enter("salesperson")
    page.set_viewport_size({"width": width, "height": 800})
    look(page, "desk", complaints)

    page.get_by_role("link", name="Take a lead").click()
    page.get_by_role("button", name="Take the lead", exact=True).click()
    page.locator("#error-summary").wait_for()
    assert page.evaluate("document.activeElement.id") == "error-summary"
    look(page, "take with faults", complaints)
    page.get_by_label("Name", exact=True).fill("Wren Halloran")
    page.get_by_label("Telephone number").fill("(607) 555 0142")
    page.get_by_label("They agree to be called").check()
    # The hint comes while the form is still being filled in.
    page.get_by_text("Maybe this is somebody we know").wait_for()
    assert page.get_by_role("link", name="Bram Ashdown").count() == 1
    page.get_by_label("House number and street").fill("14 Kiln Row")
    page.get_by_label("Town").fill("Fernhollow")
    page.get_by_label("State, two letters").fill("NY")
    page.get_by_label("Room", exact=True).first.fill("North bedroom")
    page.get_by_label("What is wrong, in their words").first.fill("Cold and drafty.")
    page.get_by_role("button", name="Add a room").click()
    assert page.get_by_label("Room", exact=True).count() == 3
    page.get_by_label("Source").select_option("Yard sign")
    page.get_by_label("Next step", exact=True).fill("Call back")
    page.get_by_label("Day of the next step").fill((timezone.localdate() + timedelta(days=1)).isoformat())
    look(page, "take", complaints)
    page.get_by_role("button", name="Take the lead", exact=True).click()

    page.get_by_role("heading", level=1, name="Wren Halloran").wait_for()
    assert page.get_by_role("status").inner_text().startswith("Wren Halloran is taken.")
    look(page, "lead", complaints)
    page.get_by_role("link", name="Set the visit").click()
    page.get_by_label("Day and time of the visit").fill(f"{timezone.localdate() + timedelta(days=3)}T09:30")
    look(page, "visit", complaints)
    page.get_by_role("button", name="Set the visit").click()
    page.get_by_text("is now visit set").wait_for()

    page.get_by_role("link", name="Log a call").click()
    page.get_by_label("Appointment").check()
    page.get_by_label("We talked").check()
    page.get_by_label("Note").fill("Told them to clear three feet along the walls.")
    look(page, "call", complaints)
    page.get_by_role("button", name="Log the call").click()
    page.get_by_text("The call is logged.").wait_for()

    page.get_by_role("button", name="Make the house and measure it").click()
    page.get_by_role("heading", name="A few figures").wait_for()
    page.get_by_role("status").get_by_role("link").click()
    page.get_by_role("link", name="14 Kiln Row").wait_for()
    look(page, "lead with house", complaints)
    page.get_by_role("link", name="Mark as lost").click()
    look(page, "lost", complaints)
    page.get_by_role("link", name="Leave it as it is").click()
    page.get_by_role("link", name="Mark as assessed").click()
    page.get_by_role("button", name="Mark as assessed").click()
    page.get_by_text("is now assessed").wait_for()
    page.get_by_role("link", name="Change the lead").click()
    look(page, "change", complaints)
    assert faults == []
    assert complaints == []


@both_widths
def test_the_list_its_filters_the_sources_and_the_pipeline_are_in_order(
    width: int, enter: Enter, known: Lead, faults: list[str], complaints: list[str]
) -> None:
    page = enter("owner")
    page.set_viewport_size({"width": width, "height": 800})
    look(page, "desk of the owner", complaints)
    page.get_by_role("navigation", name="Main").get_by_role("link", name="Leads").click()
    look(page, "leads", complaints)
    page.get_by_label("Only overdue").check()
    page.get_by_role("button", name="Show leads").click()
    page.get_by_role("link", name="Bram Ashdown").wait_for()
    page.get_by_label("Name, telephone, street or town").fill("nobody of that name")
    page.get_by_role("button", name="Show leads").click()
    page.get_by_role("heading", name="No lead matches").wait_for()
    look(page, "no match", complaints)
    page.get_by_role("link", name="Remove “nobody of that name”").click()
    page.get_by_role("link", name="Bram Ashdown").wait_for()
    page.go_back()
    assert page.get_by_label("Name, telephone, street or town").input_value() == "nobody of that name"
    page.get_by_role("link", name="Sources and costs").click()
    page.get_by_role("button", name="Save the source").click()
    page.locator("#error-summary").wait_for()
    look(page, "sources", complaints)
    page.get_by_role("navigation", name="Main").get_by_role("link", name="Pipeline").click()
    page.get_by_role("heading", name="Who waits on whom").wait_for()
    look(page, "pipeline", complaints)
    assert faults == []
    assert complaints == []


def test_a_refused_sales_call_and_a_second_saver_are_readable(enter: Enter, known: Lead, complaints: list[str]) -> None:
    from estimates.leads import lead_change

    page = enter("salesperson")
    page.set_viewport_size({"width": 360, "height": 800})
    page.get_by_role("navigation", name="Main").get_by_role("link", name="Leads").click()
    page.get_by_role("link", name="Bram Ashdown").click()
    page.get_by_role("link", name="Log a call").click()
    page.get_by_label("Sales call").check()
    page.get_by_label("No answer").check()
    page.get_by_label("Time of the call").fill(f"{timezone.localdate() - timedelta(days=1)}T22:30")
    page.get_by_role("button", name="Log the call").click()
    page.get_by_text("No sales call before 8 in the morning").wait_for()
    assert page.title().startswith("Error: ")
    look(page, "refused call", complaints)
    page.get_by_role("link", name="Leave without saving").click()
    page.get_by_role("link", name="Change the lead").click()
    page.get_by_label("Town").fill("Pellmark")
    lead_change(lead=known, expected_version=1, town="Upper Fernhollow", by=known.seller, now=timezone.now())
    page.get_by_role("button", name="Save the lead").click()
    page.get_by_role("heading", name="Somebody else changed this lead while you were typing").wait_for()
    assert page.get_by_label("Town").input_value() == "Pellmark"
    look(page, "both versions", complaints)
    page.get_by_role("button", name="Save the lead").click()
    page.get_by_text("The changes are saved").wait_for()
    assert complaints == []


def test_a_lead_is_taken_without_a_mouse(enter: Enter, source: LeadSource, faults: list[str]) -> None:
    from estimates.models import Lead

    page = enter("salesperson")
    page.get_by_role("link", name="Take a lead").focus()
    page.keyboard.press("Enter")
    page.get_by_role("heading", level=1, name="Take a lead").wait_for()
    page.get_by_label("Name", exact=True).focus()
    # In the order of the page; a checkbox, a code and a clock are passed over.
    for typed in ("Wren Halloran", "607-555-0142", "", "", "14 Kiln Row", "Fernhollow", "NY"):
        page.keyboard.type(typed)
        page.keyboard.press("Tab")
    page.get_by_label("Source").focus()
    page.keyboard.type("Yard")
    page.keyboard.press("Tab")
    page.get_by_label("Next step", exact=True).focus()
    page.keyboard.type("Call back")
    page.keyboard.press("Tab")
    page.keyboard.type("03052027")
    page.get_by_label("Next step", exact=True).focus()
    # Enter in a box sends the form; it must not be taken for "Add a room".
    page.keyboard.press("Enter")
    page.get_by_role("heading", level=1, name="Wren Halloran").wait_for()
    lead = Lead.objects.get()
    assert (lead.phone, lead.town, lead.next_step_on) == ("607-555-0142", "Fernhollow", date(2027, 3, 5))
    assert faults == []
