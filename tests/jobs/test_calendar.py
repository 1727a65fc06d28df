"""The calendar feed of a crew: read back by another program's eyes, behind a link that can be taken back."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.test import Client

from estimates.models import LinkPurpose, PrivateLink, User
from jobs.calendar_feed import crew_calendar
from jobs.models import Crew, Job, Slot
from jobs.visits import visit_book, visit_move

NOW = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def monday() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def north(bare_crew: Callable[..., Crew]) -> Crew:
    return bare_crew("North crew", "blowing")


@pytest.fixture
def act(scheduler: User) -> dict[str, Any]:
    return {"by": scheduler, "now": NOW}


def lines_of(feed: bytes) -> list[bytes]:
    """Content lines as RFC 5545, 3.1 has them: ended by CR LF, none longer than 75 octets without its end."""
    assert feed.endswith(b"\r\n")
    lines = feed.split(b"\r\n")[:-1]
    assert not any(b"\n" in line or b"\r" in line for line in lines)
    assert max(map(len, lines)) <= 75
    return lines


def test_the_feed_reads_back_as_rfc_5545_with_its_time_zone(
    north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    from icalendar import Calendar

    note = "Ring twice; the key hangs behind the shed, beside the ladder - Zoë keeps the dog, a long, long way off."
    job = bare_job("attic", ("test_out", {"hours": 2, "least_people": 1}), access_note=note)
    attic, out = job.phases.all()
    # Friday before and Monday after the clocks change on Sunday 8 March 2026.
    visit_book(phase=attic, crew=north, day=date(2026, 3, 6), hour=None, version=1, **act)
    visit_book(phase=out, crew=north, day=date(2026, 3, 9), hour=9, version=1, **act)
    feed = crew_calendar(north, now=NOW)
    lines = lines_of(feed)
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert b"VERSION:2.0" in lines
    assert sum(line.startswith(b"PRODID:") for line in lines) == 1
    calendar = Calendar.from_ical(feed)
    zones = [str(zone["TZID"]) for zone in calendar.walk("VTIMEZONE")]
    assert zones == ["America/New_York"]
    events = calendar.walk("VEVENT")
    assert len(events) == 2
    for event in events:
        # RFC 5545, 3.6.1: both are needed, once.
        assert isinstance(event["DTSTAMP"].dt, datetime)
        assert event["DTSTAMP"].dt.utcoffset().total_seconds() == 0
        assert event["DTSTART"].params["TZID"] == "America/New_York"
        assert "$" not in event.to_ical().decode()
    assert len({str(event["UID"]) for event in events}) == 2
    # S: US clocks are 5 hours behind UTC until 8 March 2026, 4 hours after (15 U.S.C. 260a).
    starts = [event["DTSTART"].dt.astimezone(UTC) for event in events]
    assert starts == [datetime(2026, 3, 6, 13, 0, tzinfo=UTC), datetime(2026, 3, 9, 13, 0, tzinfo=UTC)]
    assert [event["DTEND"].dt.astimezone(ZoneInfo("America/New_York")).hour for event in events] == [16, 11]
    assert str(events[0]["SUMMARY"]) == "Attic, Kiln Row 1 (J-00001)"
    assert str(events[0]["LOCATION"]) == "1 Kiln Row, Fernhollow, NY"
    assert note in str(events[0]["DESCRIPTION"])
    # The hours of the feed are those that are taken in the database.
    assert min(Slot.objects.values_list("starts_at", flat=True)) == starts[0]


def test_a_moved_visit_keeps_its_uid_and_counts_its_changes(
    north: Crew, bare_job: Callable[..., Job], act: dict[str, Any]
) -> None:
    from icalendar import Calendar

    phase = bare_job("attic").phases.get()
    visit_book(phase=phase, crew=north, day=date(2026, 3, 4), hour=None, version=1, **act)

    def event() -> Any:
        (found,) = Calendar.from_ical(crew_calendar(north, now=NOW)).walk("VEVENT")
        return found

    before = event()
    phase.refresh_from_db()
    visit_move(phase=phase, crew=north, day=date(2026, 3, 5), hour=None, version=phase.version, **act)
    after = event()
    assert str(after["UID"]) == str(before["UID"])
    assert (before["SEQUENCE"], after["SEQUENCE"]) == (0, 1)
    assert after["DTSTART"].dt.day == 5


def test_the_link_opens_one_calendar_until_it_is_taken_back_or_replaced(
    north: Crew, bare_job: Callable[..., Job], act: dict[str, Any], signed_in: Callable[[User], Client], scheduler: User
) -> None:
    phase = bare_job("attic").phases.get()
    visit_book(phase=phase, crew=north, day=date(2026, 3, 4), hour=None, version=1, **act)
    browse, stranger = signed_in(scheduler), Client()

    def address() -> str:
        page = browse.get("/schedule/calendars/").content.decode()
        return page.split('<p class="linkbox"><a href="http://testserver')[1].split('"')[0]

    browse.post(f"/schedule/calendars/{north.code}/new/")
    first = address()
    answer = stranger.get(first)
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    assert "no-store" in answer.headers["Cache-Control"]
    lines_of(answer.content)
    browse.post(f"/schedule/calendars/{north.code}/new/")
    second = address()
    assert second != first
    assert [stranger.get(one).status_code for one in (first, second)] == [404, 200]
    browse.post(f"/schedule/calendars/{north.code}/revoke/")
    assert stranger.get(second).status_code == 404
    assert "linkbox" not in browse.get("/schedule/calendars/").content.decode()
    assert PrivateLink.objects.filter(purpose=LinkPurpose.CALENDAR, revoked_at__isnull=True).count() == 0
    # A token of another purpose opens no calendar.
    assert stranger.get(f"/calendar/{'0' * 32}.{'x' * 43}/crew.ics").status_code == 404
    with time_machine.travel(datetime(2027, 4, 1, tzinfo=UTC), tick=False):
        assert stranger.get(second).status_code == 404


def test_no_visit_is_a_calendar_as_well(north: Crew) -> None:
    feed = crew_calendar(north, now=NOW)
    assert b"BEGIN:VEVENT" not in feed
    lines_of(feed)
