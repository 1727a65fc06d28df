"""People who go through the program by what they read, and the firm as it is on its first morning: no house yet."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from axe_playwright_python.sync_playwright import Axe

if TYPE_CHECKING:
    from playwright.sync_api import Browser, FilePayload, Locator, Page
    from pytest_django.live_server_helper import LiveServer

    from estimates.models import Proposal, User

PASSWORD = "wet foam, slow pour"

PATIENCE_MS = 30_000
"""A busy machine is not a fault of the program."""

Words = str | re.Pattern[str]
"""What is written on the page, whole; or a pattern of it."""


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


@pytest.fixture
def desk(live_server: LiveServer, browser: Browser) -> Callable[..., Page]:
    """Return `desk(user, width=1280)`: signs somebody in, in a browser that shares nothing with the others."""

    def sit(user: User, width: int = 1280) -> Page:
        context = browser.new_context(viewport={"width": width, "height": 900}, has_touch=width < 600)
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.goto(f"{live_server.url}/sign-in/")
        page.get_by_label("E-mail address").fill(user.email)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.get_by_role("button", name="Sign out").wait_for()
        return page

    return sit


@pytest.fixture
def signed(send: Callable[..., Any]) -> Callable[..., Proposal]:
    """Return `signed(file name, **terms)`: a proposal that is signed as it is sent, and not booked yet."""

    from estimates.answers import fact_sheets_read, proposal_answer_yes
    from estimates.models import ProposalPaper

    def sign(name: str, **changes: Any) -> Proposal:
        proposal = send(name, **changes).proposal
        fact_sheets_read(proposal=proposal, now=proposal.issued_at)
        content = ProposalPaper.objects.get(proposal=proposal).content
        return proposal_answer_yes(
            proposal=proposal,
            option=content["options"][0]["id"],
            typed_name="Wren Halloran",
            document_sha256=proposal.document_sha256,
            electronic=True,
            acknowledged=range(len(content["acknowledgements"])),
            now=proposal.issued_at,
        )

    return sign


# --- Hands -----------------------------------------------------------------------------------------------------------


@dataclass
class Hand:
    """A hand at a page: does what a person does there, and counts it."""

    page: Page
    counts: dict[str, int] = field(default_factory=lambda: {"entries": 0, "clicks": 0, "pages": 0})
    complaints: list[str] = field(default_factory=list)
    within: Locator | None = None
    """The part of the page where the hand is; None: anywhere."""

    def __post_init__(self) -> None:
        # A page that arrives after a redirect is one page; what comes into a page while one types is none.
        self.page.on("domcontentloaded", lambda _: self.count("pages"))

    def count(self, what: str) -> None:
        self.counts[what] += 1

    def box(self, label: Words) -> Locator:
        return (self.within or self.page).get_by_label(label, exact=isinstance(label, str)).first

    def fill(self, label: Words, words: str) -> None:
        self.count("entries")
        self.box(label).fill(words)

    def choose(self, label: Words, words: str) -> None:
        self.count("entries")
        self.box(label).select_option(label=words)

    def tick(self, label: Words) -> None:
        self.count("entries")
        self.box(label).check()

    def give(self, label: Words, file: FilePayload) -> None:
        self.count("entries")
        self.box(label).set_input_files(file)

    def tap(self, target: Locator) -> None:
        """Click what shows another page, and wait for that."""
        self.count("clicks")
        with self.page.expect_event("domcontentloaded"):
            target.click()

    def follow(self, words: Words) -> None:
        self.tap(self.page.get_by_role("link", name=words, exact=isinstance(words, str)).first)

    def press(self, words: Words) -> None:
        self.tap(self.page.get_by_role("button", name=words, exact=isinstance(words, str)))

    def arrive(self, title: Words) -> None:
        """Wait for the page of this title, and note what a reader would stumble over on it."""
        self.page.get_by_role("heading", level=1, name=title, exact=isinstance(title, str)).wait_for()
        here = self.page.title()
        found = Axe().run(self.page)
        if found.violations_count:
            self.complaints.append(f"{here}: {found.generate_report()}")
        spare = self.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if spare:
            self.complaints.append(f"{here}: scrolls sideways by {spare} px")

    def told(self, words: str) -> None:
        """Wait for what the program says was done."""
        try:
            self.page.get_by_role("status").get_by_text(words).first.wait_for()
        except Exception:
            shown = self.page.get_by_role("main").inner_text()[:1500]
            raise AssertionError(f"waited for {words!r}, the page says: {shown}") from None

    @property
    def title(self) -> str:
        return self.page.get_by_role("heading", level=1).inner_text()

    def report(self, until: str) -> dict[str, int]:
        counts = dict(self.counts)
        print(f"{until}: {counts['entries']} entries, {counts['clicks']} clicks, {counts['pages']} pages")
        return counts


@dataclass
class Keys(Hand):
    """A hand that has a keyboard and no mouse: every place is reached by Tab, from wherever the cursor is."""

    most: int = 150

    def reach(self, target: Locator) -> None:
        for _ in range(self.most):
            if target.evaluate("element => element === document.activeElement"):
                return
            self.page.keyboard.press("Tab")
        pytest.fail(f"the keyboard does not reach {target}")

    def fill(self, label: Words, words: str) -> None:
        self.count("entries")
        box = self.box(label)
        self.reach(box)
        if box.get_attribute("type") == "date":
            year, month, day = words.split("-")
            words = f"{month}{day}{year}"
        # A box that is reached by Tab has its words selected: typing replaces them.
        self.page.keyboard.type(words)

    def choose(self, label: Words, words: str) -> None:
        self.count("entries")
        self.reach(self.box(label))
        self.page.keyboard.type(words)

    def tick(self, label: Words) -> None:
        self.count("entries")
        box = self.box(label)
        if box.get_attribute("type") == "radio":
            # Tab comes to the first of the choices; the arrows go on from there.
            choice = self.page.get_by_label(label, exact=isinstance(label, str))
            group = (self.within or self.page).get_by_role("group").filter(has=choice).last.get_by_role("radio")
            self.reach(group.first)
            self.page.keyboard.press("Space")
            for _ in range(group.count()):
                if box.is_checked():
                    return
                self.page.keyboard.press("ArrowDown")
        else:
            self.reach(box)
            self.page.keyboard.press("Space")
        assert box.is_checked()

    def give(self, label: Words, file: FilePayload) -> None:
        self.count("entries")
        box = self.box(label)
        self.reach(box)
        # The window in which a file is chosen belongs to the machine, not to the page; its browser here may open none.
        box.set_input_files(file)

    def tap(self, target: Locator) -> None:
        self.count("clicks")
        self.reach(target)
        with self.page.expect_event("domcontentloaded"):
            self.page.keyboard.press("Enter")


@pytest.fixture
def hand() -> type[Hand]:
    """`hand(page)`: somebody with a mouse or a finger."""
    return Hand


@pytest.fixture
def keyboard() -> type[Keys]:
    """`keyboard(page)`: somebody without a mouse."""
    return Keys
