"""From the check page of the office to a contract that the homeowner signs on a phone and cancels in time."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from docx import Document

from estimates.models import Cancellation, Disclosure, Proposal, Question
from estimates.proposal import TEMPLATE

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page
    from pytest_django.live_server_helper import LiveServer

Enter = Callable[[str], "Page"]

WIDTHS = (360, 1280)


def look_at(page: Page, where: str) -> list[str]:
    """What a reader with a screen reader or a small screen would stumble over, at both widths."""
    complaints = []
    size = page.viewport_size
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 800})
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


def test_a_proposal_is_issued_read_on_a_phone_signed_and_cancelled_in_time(
    enter: Enter, site: LiveServer, phone: Page, faults: list[str]
) -> None:
    complaints: list[str] = []
    office = enter("owner")
    phone.on("console", lambda said: faults.append(said.text) if said.type in ("error", "warning") else None)
    phone.on("pageerror", lambda error: faults.append(str(error)))

    # The office looks at exactly what goes out, and issues it.
    office.get_by_role("link", name="Houses").first.click()
    office.get_by_role("link", name="Cape on Old Mill Lane").click()
    office.get_by_role("button", name="Make the proposal").click()
    office.get_by_role("heading", name="The document").wait_for()
    office.get_by_label("E-mail address of the homeowner").fill("wren@example.org")
    office.get_by_role("button", name="Show what goes out").click()
    office.get_by_text("Dear", exact=False).first.wait_for()
    complaints += look_at(office, "check page")
    office.get_by_role("button", name="Issue proposal").click()
    office.get_by_role("status").get_by_text("is issued").wait_for()
    complaints += look_at(office, "issued")
    address = office.get_by_label("Address of the link").input_value()
    assert address.startswith(site.url)

    # The homeowner reads and asks.
    phone.goto(address)
    phone.get_by_role("heading", level=1).wait_for()
    complaints += look_at(phone, "homeowner")
    with phone.expect_response(lambda answer: answer.url.endswith("/opened/")) as told:
        phone.reload()
    assert told.value.status == 204
    phone.get_by_label("Your question").fill("Must we move out?")
    phone.get_by_role("button", name="Send question").click()
    phone.get_by_role("status").get_by_text("on its way").wait_for()
    assert Question.objects.get().words == "Must we move out?"

    # The office answers, and the homeowner reads it on the page.
    office.reload()
    office.get_by_role("link", name="Answer it").click()
    office.get_by_role("heading", name="Answer the question").wait_for()
    complaints += look_at(office, "answer")
    office.get_by_role("button", name="Send the answer").click()
    office.locator("#error-summary").wait_for()
    complaints += look_at(office, "answer with a fault")
    office.get_by_label("Answer", exact=True).fill("No. Stay out of the room that is filled, for an hour.")
    office.get_by_role("button", name="Send the answer").click()
    office.get_by_role("status").get_by_text("Your answer stands").wait_for()
    complaints += look_at(office, "answered")
    phone.goto(address)
    phone.get_by_text("Stay out of the room").wait_for()
    complaints += look_at(phone, "homeowner with an answer")

    # The fact sheets come first, then the signature.
    phone.get_by_role("link", name="Choose").first.click()
    phone.get_by_role("heading", name="Read this before you buy").wait_for()
    complaints += look_at(phone, "fact sheets")
    phone.get_by_role("button", name="Record it and go on").click()
    phone.locator("#error-summary").wait_for()
    complaints += look_at(phone, "fact sheets with a fault")
    phone.get_by_label("I was shown these fact sheets").check()
    phone.get_by_role("button", name="Record it and go on").click()
    phone.get_by_label("Your full name").wait_for()
    complaints += look_at(phone, "accept")
    phone.get_by_label("Your full name").fill("Wren Halloran")
    phone.get_by_role("button", name="Accept for").click()
    phone.locator("#error-summary").wait_for()
    assert phone.get_by_label("Your full name").input_value() == "Wren Halloran"
    complaints += look_at(phone, "accept with a fault")
    phone.get_by_label("I agree to sign and receive").check()
    phone.get_by_role("button", name="Accept for").click()
    phone.get_by_role("heading", name="Your contract").wait_for()
    phone.get_by_role("heading", name="Copy 2 of 2").wait_for()
    complaints += look_at(phone, "accepted")

    # The office sees it.
    office.reload()
    office.get_by_role("heading", name="Accepted").wait_for()
    for said in ("opened the proposal", "asked a question", "read the fact sheets", "accepted the proposal"):
        assert office.get_by_text(said).first.is_visible(), said
    complaints += look_at(office, "accepted, office")

    # The homeowner cancels in time.
    phone.get_by_role("link", name="Cancel this contract").click()
    phone.get_by_role("heading", name="Cancel the contract").wait_for()
    complaints += look_at(phone, "cancel")
    phone.get_by_role("button", name="Cancel the contract").click()
    phone.get_by_role("heading", name="Your notice to cancel is recorded").wait_for()
    assert phone.get_by_text("in time").first.is_visible()
    complaints += look_at(phone, "cancelled")
    office.reload()
    assert office.get_by_text("Notice to cancel: in time").is_visible()
    complaints += look_at(office, "cancelled, office")
    office.get_by_role("link", name="Proposals").first.click()
    complaints += look_at(office, "list")
    office.get_by_role("link", name="Template of the paper").click()
    complaints += look_at(office, "templates")

    assert complaints == []
    assert faults == []
    proposal = Proposal.objects.get()
    assert proposal.status == "cancelled"
    assert proposal.accepted_name == "Wren Halloran"
    assert Disclosure.objects.filter(proposal=proposal).count() == 3
    assert Cancellation.objects.get().in_time


def test_a_link_that_opens_nothing_is_in_order(phone: Page, site: LiveServer) -> None:
    phone.goto(f"{site.url}/yours/{'0' * 32}.{'x' * 43}/")
    phone.get_by_role("heading", name="This link opens nothing").wait_for()
    assert look_at(phone, "closed") == []


def test_a_changed_template_is_uploaded_and_a_wrong_one_refused(enter: Enter, site: LiveServer, tmp_path: Path) -> None:
    document = Document(str(TEMPLATE))
    document.add_paragraph("We have been here since the mill closed.")
    good, wrong = tmp_path / "ours.docx", tmp_path / "wrong.docx"
    document.save(str(good))
    wrong.write_bytes(b"no document")
    page = enter("owner")
    page.goto(f"{site.url}/templates/")
    page.get_by_label("Changed template").set_input_files(str(wrong))
    page.get_by_role("button", name="Check and use this template").click()
    page.locator("#error-summary").wait_for()
    assert look_at(page, "template with a fault") == []
    page.get_by_label("Changed template").set_input_files(str(good))
    page.get_by_role("button", name="Check and use this template").click()
    page.get_by_role("status").get_by_text("ours.docx").wait_for(timeout=60_000)
    assert look_at(page, "template taken") == []
