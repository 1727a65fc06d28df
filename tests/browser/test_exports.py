"""The exports in a real browser: chosen, looked at, made, fetched; and a house that begins with a file."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe

if TYPE_CHECKING:
    from playwright.sync_api import Page
    from pytest_django.live_server_helper import LiveServer

    from estimates.models import House, User
    from jobs.models import Job

PASSWORD = "wet foam, slow pour"
NOON = datetime(2026, 4, 14, 16, 0, tzinfo=UTC)
HOUSE = Path(__file__).resolve().parents[2] / "fixtures" / "houses" / "mill-cape.json"


@pytest.fixture
def desk(
    live_server: LiveServer,
    transactional_db: None,
    page: Page,
    person: Callable[..., User],
    bare_job: Callable[..., Job],
    house: House,
) -> Page:
    """The owner signed in; a payment that came in."""
    from jobs.models import PaymentMethod
    from jobs.payments import payment_record

    owner = person("owner", "Odile Marrow", password=PASSWORD)
    payment_record(
        job=bare_job(), amount=123_456, received_on=date(2026, 4, 13), method=PaymentMethod.CHECK, reference="1041",
        key=uuid.uuid4(), by=owner, now=NOON,
    )  # fmt: skip
    page.goto(f"{live_server.url}/sign-in/")
    page.get_by_label("E-mail address").fill(owner.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()
    return page


def look(page: Page, where: str, complaints: list[str]) -> None:
    """Note what a reader with a screen reader, a keyboard or a small screen would stumble over, at both widths."""
    for width in (360, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        found = Axe().run(page)
        if found.violations_count:
            complaints.append(f"{where} at {width}: {found.generate_report()}")
        spare = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if spare:
            complaints.append(f"{where} at {width}: scrolls sideways by {spare} px")


def test_a_period_goes_out_and_a_file_comes_in(
    desk: Page, live_server: LiveServer, faults: list[str], house: House, tmp_path: Path
) -> None:
    from estimates.house import house_from_json
    from reports.exports.hpxml import hpxml_xml

    page, complaints = desk, list[str]()
    page.goto(f"{live_server.url}/money/")
    page.get_by_role("link", name="Exports for the bookkeeper's program").click()
    look(page, "exports", complaints)
    page.get_by_label("What", exact=True).select_option("everything")
    page.get_by_label("Period", exact=True).select_option("days")
    page.get_by_label("First day").fill("2026-04-01")
    page.get_by_label("Last day").fill("2026-04-30")
    page.get_by_role("button", name="Look at it").click()
    look(page, "preview", complaints)
    page.get_by_role("button", name="Make the ZIP file").click()
    look(page, "made", complaints)
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Fetch everything-20260401-20260430.zip").click()
    assert Path(waiting.value.path()).read_bytes()[:2] == b"PK"
    page.get_by_role("link", name="Exports", exact=True).click()
    page.get_by_role("link", name="Codes of the accounts").click()
    look(page, "accounts", complaints)
    page.get_by_label("Code of Bank").fill("1010")
    page.get_by_role("button", name="Save the codes").click()
    page.get_by_text("Account map 1 holds from now on.").wait_for()

    file = tmp_path / "house.xml"
    file.write_bytes(hpxml_xml(house_from_json(HOUSE.read_text()), written_at=NOON))
    page.goto(f"{live_server.url}/houses/{house.code}/assessment/")
    page.get_by_role("link", name="Begin with an HPXML file").click()
    look(page, "file", complaints)
    page.get_by_label("HPXML file", exact=True).set_input_files(file)
    page.get_by_role("button", name="Look at the file").click()
    look(page, "file read", complaints)
    page.get_by_role("button", name="Begin the assessment with it").click()
    page.get_by_role("alert").wait_for()
    look(page, "file lacks", complaints)
    assert complaints == []
    assert faults == []
