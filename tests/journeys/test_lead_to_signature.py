"""From a telephone call to a signature, by what people read: roles, labels and visible text; no address, id or style.

What is entered and tapped and how many pages that shows is counted and printed: `python3 manage.py test tests/journeys
-s`. The one address that is typed is the private link, as the homeowner gets it.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import TYPE_CHECKING

from django.utils import timezone

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from tests.journeys.conftest import Hand, Keys

Enter = Callable[[str], "Page"]

MOST_ENTRIES, MOST_PAGES = 60, 6
"""What a first proposal may take in quick mode, until it is issued."""

SEEN = {
    "Lead paint": "White paint on all sashes and on the siding; taken for lead, as the house is from 1926.",
    "Vermiculite": "Attic floor opened in two places, a stud space at the outlet in the hall: none.",
    "Asbestos": "Pipes in the cellar are bare, ducts unwrapped, clapboards are wood.",
    "Knob and tube": "New cable in 1988, seen in the attic, in the cellar and at four outlets.",
}
"""Gate -> what is noted there; anything else is looked at and clear."""


# --- The way ---------------------------------------------------------------------------------------------------------


def take_lead(hand: Hand) -> None:
    hand.follow("Take a lead")
    hand.arrive("Take a lead")
    hand.fill("Name", "Wren Halloran")
    hand.fill("Telephone number", "607-555-0142")
    hand.fill("E-mail address", "wren@example.org")
    hand.tick("They agree to be called about an offer")
    hand.fill("House number and street", "14 Kiln Row")
    hand.fill("Town", "Fernhollow")
    hand.fill("State, two letters", "NY")
    hand.fill("Room", "North bedroom")
    hand.fill("What is wrong, in their words", "Cold and drafty all winter.")
    hand.choose("Source", "Yard sign")
    hand.fill("Next step", "Measure the house")
    hand.fill("Day of the next step", timezone.localdate().isoformat())
    hand.press("Take the lead and measure the house")
    hand.told("is taken")
    hand.told("has a house: 14 Kiln Row")


def enter_house(hand: Hand) -> None:
    """From the lead to a first price: perimeter, storeys, heights, share of windows, and what was usual in 1926."""
    hand.arrive("A few figures")
    hand.fill("Year built", "1926")
    hand.page.keyboard.press("Tab")
    hand.page.get_by_text("Usual for its time").wait_for()
    hand.fill("Storeys", "2")
    hand.fill("Heated floor (ft²)", "1680")
    hand.fill("Bedrooms", "3")
    hand.fill("Perimeter (ft)", "122")
    # What was usual stands there, to be seen and to be changed.
    assert hand.box("Windows and doors (%)").input_value() != ""
    hand.fill("Storey height (ft)", "8' 6\"")
    hand.fill("Windows and doors (%)", "18")
    hand.fill("Floor to be covered (ft²)", "840")
    hand.tick("Natural gas")
    hand.fill("Efficiency (%)", "81")
    hand.fill("Price of a therm, gallon or kWh ($)", "1.46")
    hand.fill("Weather site", "Valley station")
    hand.fill("Source", "typed from a table of the station")
    hand.fill("Heating degree days (°F days)", "5450")
    hand.fill("Mean outdoor temperature in the season (°F)", "34")
    hand.fill("Mean wind in the season (mph)", "9.5")
    hand.page.keyboard.press("Tab")
    hand.page.get_by_role("heading", name="About $").wait_for()


def begin_assessment(hand: Hand) -> None:
    hand.press("Begin assessment")
    hand.told("The house is entered.")
    hand.arrive("Hazard gates")


def answer_gates(hand: Hand) -> int:
    """Answer every gate of the page: lead paint needs controls and a photo, all else is clear; give how many."""
    from PIL import Image

    hand.fill("What was looked at", "Every room, attic and cellar with a lamp, each face from outside; nothing seen.")
    gates = hand.page.get_by_role("group").filter(has=hand.page.get_by_label("Note")).all()
    for gate in gates:
        name = gate.locator("legend").first.inner_text().split("\n")[0].split(" ○")[0].strip()
        hand.within = gate
        hand.tick("Proceed with controls" if name == "Lead paint" else "Clear")
        if name in SEEN:
            hand.fill("Note", SEEN[name])
        if name == "Lead paint":
            content = io.BytesIO()
            Image.new("RGB", (64, 48), "burlywood").save(content, "JPEG")
            hand.give("Add a photo", {"name": "tablet.jpg", "mimeType": "image/jpeg", "buffer": content.getvalue()})
        # What an answer does not need does not stand in the way.
        assert not gate.get_by_label("Who will find out").is_visible()
    hand.within = None
    hand.arrive("Hazard gates")
    hand.press("Save and complete assessment")
    return len(gates)


def send_proposal(hand: Hand) -> str:
    """From the assessment to the proposal that is out; give the address of the private link."""
    hand.told("The assessment is complete")
    hand.arrive("Live estimate")
    hand.press("Freeze and make the proposal")
    hand.told("Frozen as revision 1")
    hand.arrive(re.compile("^Check proposal"))
    # The address the lead was taken with; the paper says what the person said.
    assert hand.box("E-mail address of the homeowner").input_value() == "wren@example.org"
    hand.press("Issue proposal")
    hand.told("is issued")
    hand.arrive(re.compile("^Proposal"))
    return hand.box("Address of the link").input_value()


def sign(hand: Hand, address: str) -> None:
    """Read the page behind the private link, then the fact sheets, and accept."""
    hand.page.goto(address)
    hand.arrive(re.compile("14 Kiln Row$"))
    assert hand.page.get_by_text("Cold and drafty all winter.").is_visible()
    hand.follow(re.compile("^Choose"))
    hand.arrive("Read this before you buy")
    hand.tick(re.compile("I was shown these fact sheets"))
    hand.press("Record it and go on")
    hand.arrive(re.compile("^Accept"))
    hand.tick(re.compile("I agree to sign and receive"))
    hand.fill("Your full name", "Wren Halloran")
    hand.press(re.compile("^Accept for"))
    hand.page.get_by_role("heading", name="Your contract").wait_for()
    hand.arrive(re.compile("14 Kiln Row$"))


# --- Journeys --------------------------------------------------------------------------------------------------------


def test_a_lead_becomes_a_signed_proposal_by_visible_words_alone(
    enter: Enter, phone: Page, faults: list[str], hand: type[Hand]
) -> None:
    from estimates.models import Disclosure, Lead, LeadStage, Proposal

    office = hand(enter("salesperson"))
    print("\ncounted from the desk, after sign-in")
    take_lead(office)
    office.report("a lead is taken")
    enter_house(office)
    price = office.report("a first price is shown")
    begin_assessment(office)
    gates = answer_gates(office)
    office.report(f"{gates} hazard gates are answered")
    address = send_proposal(office)
    issued = office.report("the proposal is issued")

    # The button that goes back does not bring the check page of what is out already: it shows the proposal as it is.
    office.page.go_back()
    office.arrive(re.compile("^Proposal"))
    office.page.get_by_role("heading", name="What went out").wait_for()

    home = hand(phone)
    sign(home, address)
    home.report("the homeowner, from the private link to the signature")

    office.page.reload()
    office.arrive(re.compile("^Proposal"))
    office.page.get_by_role("heading", name="Accepted").wait_for()
    assert office.page.get_by_text("accepted the proposal").first.is_visible()
    office.follow("Proposals")
    office.arrive("Proposals")
    office.page.get_by_role("row").filter(has_text="14 Kiln Row").get_by_text("Accepted").first.wait_for()

    assert office.complaints + home.complaints == []
    assert faults == []
    proposal = Proposal.objects.get()
    assert (proposal.status, proposal.accepted_name) == ("accepted", "Wren Halloran")
    assert Disclosure.objects.filter(proposal=proposal).exists()
    assert Lead.objects.get().stage == LeadStage.WON
    assert price["entries"] <= MOST_ENTRIES
    assert issued["entries"] <= MOST_ENTRIES
    assert issued["pages"] <= MOST_PAGES


def test_a_first_price_and_the_gates_are_reached_without_a_mouse(
    enter: Enter, faults: list[str], keyboard: type[Keys]
) -> None:
    keys = keyboard(enter("salesperson"))
    take_lead(keys)
    enter_house(keys)
    begin_assessment(keys)
    keys.fill("What was looked at", "Every room with a lamp.")
    keys.within = (
        keys.page.get_by_role("group").filter(has=keys.page.get_by_label("Note")).filter(has_text="Vermiculite")
    )
    keys.tick("Clear")
    keys.within = None
    keys.press("Save answers")
    keys.told("1 of ")
    assert keys.complaints == []
    assert faults == []
