"""The calendar of a crew for any calendar program (RFC 5545), behind a private link. No prices."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from estimates.activity import object_type
from estimates.links import link_issue, link_revoke
from estimates.models import LinkPurpose, PrivateLink, User
from jobs.models import Crew, CrewMember, Phase, Visit

LINK_LIFE = timedelta(days=366)
"""How long a link to a calendar opens it; a new one takes a tap."""

BACK = timedelta(days=14)
"""How far back visits stand in the calendar."""


def calendar_links(crews: list[Crew], *, now: datetime) -> dict[int, PrivateLink]:
    """The link that opens each crew's calendar now, by the key of the crew."""
    of = {crew.code: crew.pk for crew in crews}
    rows = PrivateLink.objects.filter(
        purpose=LinkPurpose.CALENDAR,
        target_type=object_type(Crew),
        target_code__in=of,
        revoked_at__isnull=True,
        expires_at__gt=now,
    )
    return {of[row.target_code]: row for row in rows.order_by("created_at", "pk")}


def calendar_link_renew(*, crew: Crew, by: User, now: datetime, origin: str = "") -> PrivateLink:
    """Make a link to a crew's calendar; those that were there open nothing from now on."""
    with transaction.atomic():
        Crew.objects.select_for_update().get(pk=crew.pk)
        calendar_link_revoke(crew=crew, by=by, now=now, origin=origin)
        return link_issue(
            purpose=LinkPurpose.CALENDAR,
            target=crew,
            expires_at=now + LINK_LIFE,
            created_by=by,
            now=now,
            origin=origin,
        )


def calendar_link_revoke(*, crew: Crew, by: User, now: datetime, origin: str = "") -> int:
    """Take back every link to a crew's calendar; returns how many there were."""
    with transaction.atomic():
        rows = PrivateLink.objects.filter(
            purpose=LinkPurpose.CALENDAR,
            target_type=object_type(Crew),
            target_code=crew.code,
            revoked_at__isnull=True,
        )
        return len([link_revoke(link=row, by=by, now=now, origin=origin) for row in rows])


def crew_calendar(crew: Crew, *, now: datetime) -> bytes:
    """The visits of a crew, two weeks back and all to come, as an iCalendar object.

    Parameters
    ----------
    crew : whose visits.
    now : present time; decides how far back.

    Returns
    -------
    bytes : UTF-8, lines ended by CR LF and folded at 75 octets, with the time zone it speaks of.

    Notes
    -----
    A visit keeps its UID for life, so that a calendar moves it and does not show it twice; SEQUENCE counts its changes.

    References
    ----------
    .. [1] RFC 5545, sections 3.1 (content lines), 3.6.1 (VEVENT: DTSTAMP and UID are needed), 3.6.5 (VTIMEZONE).
    """
    from icalendar import Calendar, Event

    zone = ZoneInfo(settings.TIME_ZONE)
    calendar = Calendar()
    calendar.add("prodid", "-//Cavitybook//Crew calendar//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", crew.name)
    since = timezone.localdate(now) - BACK
    rows = Visit.objects.filter(crew=crew, day__gte=since).select_related("phase__job__house", "rig")
    members = list(CrewMember.objects.filter(crew=crew).select_related("worker"))
    for visit in rows.order_by("day", "first_hour", "pk"):
        begins = datetime(visit.day.year, visit.day.month, visit.day.day, visit.first_hour, tzinfo=zone)
        event = Event()
        event.add("uid", f"{visit.code}@cavitybook")
        event.add("dtstamp", visit.made_at)
        event.add("last-modified", visit.made_at)
        event.add("sequence", visit.version - 1)
        event.add("dtstart", begins)
        # Hours of the clock, also over a change of the clock.
        event.add("dtend", (begins.replace(tzinfo=None) + timedelta(hours=visit.hours)).replace(tzinfo=zone))
        house = visit.phase.job.house
        event.add("summary", f"{visit.phase.get_kind_display()}, {house.name} ({visit.phase.job.number})")
        event.add("location", ", ".join(part for part in (house.street, house.town, house.state) if part))
        event.add("description", _description(visit, visit.phase, members))
        calendar.add_component(event)
    calendar.add_missing_timezones()
    return bytes(calendar.to_ical())


def _description(visit: Visit, phase: Phase, members: list[CrewMember]) -> str:
    people = [
        member.worker.name
        for member in members
        if member.since <= visit.day and (member.until is None or member.until >= visit.day)
    ]
    lines = [
        f"People: {', '.join(people)}" if people else "",
        f"Rig: {visit.rig.name}" if visit.rig is not None else "",
        f"Access: {phase.job.access_note}" if phase.job.access_note else "",
        phase.note,
    ]
    return "\n".join(line for line in lines if line)
