"""From a signed proposal to a paid invoice, by what people read: scheduler, crew lead, inspector, bookkeeper.

What each enters and taps and how many pages that shows is counted and printed: `python3 manage.py test tests/journeys
-s`. Nobody types an address after signing in.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest
import time_machine

from estimates.house import ApplianceRecord, CombustionRecord, OptionRecord, Round, Vent

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from estimates.models import Proposal, User
    from tests.journeys.conftest import Hand

FIRM_ZONE = ZoneInfo("America/New_York")
SIGNED = datetime(2026, 4, 24, 22, 30, tzinfo=UTC)
MONDAY = date(2026, 4, 27)
"""The next working day: no federal holiday lies in the four weeks that follow."""

HOUSE = "Split-level on Quarry Bend"
STREET = "233 Quarry Bend"
WALL = "Lower front, above grade"
PASSWORD = "wet foam, slow pour"

SCOPE = OptionRecord(id="low", name="Lower front wall, attic and air sealing", wall_ids=("low-front",))
"""One wall: a crew taps every bay, and a hundred bays tell no more than fifteen."""

FURNACE = ApplianceRecord(
    name="Propane furnace", vent=Vent.SEALED, spillage_s=0.0, suction_pa=-1.0, flue_co_ppm=18.0, restored=True
)
TESTED = CombustionRecord(
    round=Round.TEST_IN, on=date(2026, 4, 14), gas_leak_found=False, ambient_co_ppm=0.0, appliances=(FURNACE,)
)
"""Every reading of the assessment was taken: one that is missing keeps a job from being verified."""


@dataclass
class Clock:
    """Sets the clock of the program, and that of phones that are given to it.

    The plan lies days ahead, as nobody starts before the time to cancel is over; a crew reports on the day itself. So
    the clock goes on to each day instead of the visits coming to today.
    """

    traveller: Any

    def go(self, day: date, hour: int, phone: Page | None = None) -> None:
        at = datetime.combine(day, time(hour), FIRM_ZONE)
        self.traveller.move_to(at)
        if phone is not None:
            # What is reported carries the time of the phone; timers go on.
            phone.clock.set_fixed_time(at)


@pytest.fixture
def clock() -> Iterator[Clock]:
    with time_machine.travel(datetime.combine(MONDAY, time(9), FIRM_ZONE), tick=True) as traveller:
        yield Clock(traveller)


@pytest.fixture
def lead(person: Callable[..., User]) -> User:
    return person("crew", "Corin Latham", password=PASSWORD)


@pytest.fixture
def inspector(person: Callable[..., User]) -> User:
    return person("crew", "Ines Farrow", password=PASSWORD)


@pytest.fixture
def crews(clock: Clock, owner: User, lead: User, inspector: User) -> None:
    """A crew of four with a foam rig and a blowing machine; the inspector goes alone with the blower door."""
    from jobs.crews import crew_save, rig_save, worker_save
    from jobs.models import RigKind

    act: dict[str, Any] = {"version": 0, "by": owner, "now": SIGNED}
    home = {"home_latitude": Decimal("42.44"), "home_longitude": Decimal("-76.50"), "today": SIGNED.date()}
    kinds = {"Foam rig": RigKind.FOAM, "Blowing machine": RigKind.BLOWER, "Blower door": RigKind.TEST_KIT}
    rigs = [rig_save(rig=None, name=name, kind=kind, **act) for name, kind in kinds.items()]

    def worker(name: str, user: User | None, *skills: str) -> Any:
        return worker_save(worker=None, name=name, user=user, skills=skills, hourly_cost=Decimal("46.00"), **act)

    work = ("injecting", "blowing", "air_sealing")
    people = [worker(lead.full_name, lead, *work)]
    people += [worker(name, None, *work) for name in ("Ada Fenwick", "Bo Tarrant", "Tam Orrin")]
    tester = worker(inspector.full_name, inspector, "testing", "infrared")
    crew_save(crew=None, name="Mill crew", members=people, rigs=rigs[:2], lead=people[0], **home, **act)
    crew_save(crew=None, name="Testers", members=[tester], rigs=rigs[2:], lead=tester, **home, **act)


@pytest.fixture
def proposal(clock: Clock, signed: Callable[..., Proposal]) -> Proposal:
    return signed("quarry-split", house={"options": (SCOPE,), "combustion": (TESTED,)}, at=SIGNED)


# --- The scheduler ---------------------------------------------------------------------------------------------------


def forecast() -> str:
    """Three dry, mild weeks."""
    days = [MONDAY + timedelta(days=number) for number in range(1, 22)]
    return "\n".join(["day,low_f,high_f,rain_percent,wind_mph", *(f"{day},48,66,10,6" for day in days)])


def book(hand: Hand) -> None:
    hand.follow("Jobs")
    hand.arrive("Jobs")
    hand.press(re.compile("^Book the job"))
    hand.told("is booked. Next: meet its start gates")
    hand.arrive(re.compile("^Job J-"))


def meet_gates(hand: Hand) -> None:
    """The town wants a permit: it is added, and met with its number."""
    hand.follow("Add a start gate")
    hand.arrive(re.compile("^Add a start gate"))
    hand.fill("What is waited for", "Permit of the town")
    hand.fill("Who owes it", "Office")
    hand.press("Add the gate")
    hand.arrive(re.compile("^Job J-"))
    assert hand.page.get_by_text("No start day yet: 1 start gate not met").is_visible()
    hand.follow("Permit of the town")
    hand.arrive("Permit of the town")
    hand.fill("Day it was met", MONDAY.isoformat())
    hand.fill("Proof", "Permit 26-114, by mail from the town")
    hand.press("Save the gate")
    hand.told("is recorded")
    assert hand.page.get_by_text("Earliest start").is_visible()


def enter_weather(hand: Hand) -> None:
    """The forecast comes as a file; the scheduler knows better of one day."""
    hand.follow("Schedule")
    hand.arrive("Schedule")
    hand.follow("Weather")
    hand.arrive("Weather")
    hand.give("Forecast file", {"name": "forecast.csv", "mimeType": "text/csv", "buffer": forecast().encode()})
    hand.fill("Source of the file", "Valley station")
    hand.press("Read the file")
    hand.told("The weather of 21 days is read")
    hand.fill("Day", (MONDAY + timedelta(days=1)).isoformat())
    hand.fill("Low", "44")
    hand.fill("High", "52")
    hand.fill("Chance of rain in percent", "80")
    hand.fill("Where the forecast comes from", "Radio, this morning")
    hand.press("Enter the day")
    hand.told("is entered")


def fill_weeks(hand: Hand) -> None:
    hand.follow("Schedule")
    hand.arrive("Schedule")
    hand.follow("Fill the weeks")
    hand.page.get_by_text("This is the best plan found.").wait_for()
    hand.arrive("Fill the weeks")
    hand.press("Take this plan")
    hand.told("The plan is taken: 7 phases booked.")
    hand.arrive("Schedule")
    hand.page.get_by_role("table").get_by_text(HOUSE).first.wait_for()


# --- The crew lead ---------------------------------------------------------------------------------------------------


def go_to_house(hand: Hand) -> None:
    hand.arrive("Today")
    hand.follow(re.compile(STREET))
    hand.arrive(re.compile(STREET))
    # Dangers stand before anything that is to be done.
    assert hand.page.get_by_role("heading", level=2).first.inner_text() == "Dangers and cautions"


def send(hand: Hand, button: str) -> None:
    """Save a report on the phone, and wait until the office has it: the page stays."""
    hand.count("clicks")
    hand.page.get_by_role("button", name=button, exact=True).click()
    hand.page.get_by_text("Received by office: 1 item.").wait_for()


def report(hand: Hand, page: str, button: str, given: dict[str, str], *chosen: str) -> None:
    """Open a form of the house, fill it in, send it, and go back to the house."""
    hand.follow(page)
    hand.arrive(page)
    for label, words in given.items():
        hand.fill(label, words)
    for label in chosen:
        hand.tick(label)
    send(hand, button)
    hand.follow(STREET)
    # That page was looked at when the day began.
    hand.page.get_by_role("heading", level=1, name=re.compile(STREET)).wait_for()


def fill_wall(hand: Hand) -> int:
    """Tap every bay that waits, and say that all are filled; give how many."""
    hand.follow(re.compile(f"^{WALL}"))
    hand.arrive(WALL)
    waiting = hand.page.get_by_role("checkbox", name=re.compile("planned")).all()
    for box in waiting:
        hand.count("entries")
        box.check()
    hand.tick("at the top hole")
    send(hand, "Filled")
    hand.follow(STREET)
    hand.arrive(re.compile(STREET))
    hand.page.get_by_text(f"{len(waiting)} filled").wait_for()
    return len(waiting)


def first_day(hand: Hand) -> None:
    hand.follow("Crew sheets")
    go_to_house(hand)
    bays = fill_wall(hand)
    assert bays > 10
    mix = {
        "Lot": "B-17",
        "Weight of the ingredients without water (lb)": "32",
        "Water (gal)": "8",
        "Bays in the order in which they were filled": "1-5, 7-16",
        "Mixes": "1",
    }
    report(hand, "Mix", "Save the mix", mix, WALL)
    report(hand, "Hours", "Save the hours", {"Hours of each of them (h)": "7.5", "People": "4"}, "Inject")
    report(hand, "Close the day", "Close the day", {}, "Close up")


def last_day(hand: Hand, user: User) -> None:
    """The phone lay in a drawer overnight: it asks who is there, and goes on to the day."""
    hand.follow("Today")
    hand.arrive("Sign in")
    hand.fill("E-mail address", user.email)
    hand.fill("Password", PASSWORD)
    hand.press("Sign in")
    go_to_house(hand)
    report(hand, "Leak site", "Save the leak site", {}, "Recessed lights", "It is closed")
    report(hand, "Bags", "Save the bags", {"Bags emptied": "38", "Lot": "C-2"}, "Attic over the upper level")
    report(hand, "Hours", "Save the hours", {"Hours of each of them (h)": "6", "People": "4"}, "Attic")
    report(hand, "Close the day", "Close the day", {}, "Air sealing", "Attic")
    hand.page.get_by_text("Work done").first.wait_for()


# --- The inspector ---------------------------------------------------------------------------------------------------


def enter_tests(hand: Hand, day: date) -> None:
    hand.follow("Crew sheets")
    go_to_house(hand)
    hand.follow("Tests, findings and verification")
    hand.arrive(re.compile("^Verification of J-"))
    hand.follow("Enter tests after the work")
    hand.arrive("Tests after the work")
    hand.tick("The blower door was run")
    hand.fill("House pressure (Pa)", "50")
    hand.fill("Fan flow (cfm)", "2330")
    hand.tick("Combustion safety was tested")
    hand.tick("Test out")
    hand.fill("Day of the test", day.isoformat())
    hand.fill("Carbon monoxide in the rooms (ppm)", "1")
    for question in ("Gas leak found", "Fire out", "Ash cold", "Appliances disabled"):
        hand.within = hand.page.get_by_role("group", name=question, exact=True)
        hand.tick("No" if question == "Gas leak found" else "Yes")
    hand.within = None
    hand.press("Save the tests")
    hand.told("The tests after the work are recorded.")


def find_and_close(hand: Hand) -> None:
    hand.follow("Add a finding")
    hand.arrive("Add a finding")
    hand.choose("How it was found", "Seen")
    hand.choose("Wall", WALL)
    hand.fill("Bay number", "4")
    hand.tick("Redo")
    hand.fill("What was found", "A plug stands proud beside the door.")
    hand.press("Save the finding")
    hand.told("The finding stands on the list.")
    hand.arrive(re.compile("^Verification of J-"))
    assert hand.page.get_by_text("1 finding waits for its redo.").is_visible()
    hand.follow(re.compile("^Close ?: A plug"))
    hand.arrive(re.compile("^Close: A plug"))
    hand.fill("How it was mended, and what showed it", "Set flush and primed while I stood there.")
    hand.press("Close the finding")
    hand.told("The finding is closed.")


def verify(hand: Hand) -> None:
    hand.press("Make the insulation receipt")
    hand.told("is there; download it below")
    hand.tick("Not judged: a return visit follows")
    hand.press("Verify the job")
    hand.told("The job is verified.")
    hand.arrive(re.compile("^Verification of J-"))


# --- The bookkeeper --------------------------------------------------------------------------------------------------


def invoice(hand: Hand) -> None:
    hand.follow("Money")
    hand.arrive("Money")
    hand.follow(re.compile("^Check it for J-"))
    hand.arrive("Final invoice: check it")
    hand.press("Issue the final invoice")
    hand.told("is issued")
    hand.arrive(re.compile("^Money of job J-"))


def take_payment(hand: Hand) -> None:
    hand.follow("Record a payment")
    hand.arrive("Record a payment")
    # What is open stands there already.
    assert Decimal(hand.box("Amount").input_value().replace(",", "")) > 0
    hand.choose("How it came", "Bank transfer")
    hand.fill("Reference", "T-20931")
    hand.press("Record the payment")
    hand.told("is recorded.")
    hand.arrive(re.compile("^Money of job J-"))


def read_house(hand: Hand) -> None:
    hand.follow("Houses")
    hand.follow(HOUSE)
    hand.arrive(HOUSE)
    hand.page.get_by_text("Paid; nothing is open.").first.wait_for()


# --- Journey ---------------------------------------------------------------------------------------------------------


def days_of(kind: str) -> list[date]:
    from jobs.models import Visit

    return list(Visit.objects.filter(phase__kind=kind).order_by("day").values_list("day", flat=True))


def test_a_signed_proposal_becomes_a_verified_house_and_a_paid_invoice(
    clock: Clock,
    proposal: Proposal,
    crews: None,
    desk: Callable[..., Page],
    hand: type[Hand],
    person: Callable[..., User],
    lead: User,
    inspector: User,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from jobs.models import CrewEntry, Invoice, Job, JobStatus
    from jobs.views import schedule

    # A plan for one house is as good after half a second as after fifteen.
    monkeypatch.setattr(schedule, "SLICE_S", 0.2)
    monkeypatch.setattr(schedule, "MOST_SLICES", 1)

    print("\ncounted after sign-in")
    planner = hand(desk(person("scheduler", "Chesna Dray", password=PASSWORD)))
    book(planner)
    meet_gates(planner)
    enter_weather(planner)
    fill_weeks(planner)
    planner.report("the scheduler, until the job is on the schedule")

    clock.go(days_of("inject")[0], 8)
    outside = hand(desk(lead, width=360))
    clock.go(days_of("inject")[0], 15, outside.page)
    first_day(outside)
    outside.report("the crew lead, until the first day is closed")
    clock.go(days_of("attic")[-1], 15, outside.page)
    last_day(outside, lead)
    outside.report("the crew lead, until the work is done")

    clock.go(days_of("test_out")[0], 16)
    checker = hand(desk(inspector))
    enter_tests(checker, days_of("test_out")[0])
    find_and_close(checker)
    verify(checker)
    checker.report("the inspector, until the job is verified")

    books = hand(desk(person("bookkeeper", "Bettany Quill", password=PASSWORD)))
    take = (invoice, take_payment, read_house)
    for step in take:
        step(books)
    books.report("the bookkeeper, until the house is paid")

    assert planner.complaints + outside.complaints + checker.complaints + books.complaints == []
    job = Job.objects.get()
    assert job.status == JobStatus.VERIFIED
    assert {"bay", "mix", "bags", "hours", "day_close", "leak"} <= set(CrewEntry.objects.values_list("kind", flat=True))
    assert Invoice.objects.get().kind == "final"
