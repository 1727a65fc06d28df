"""Crews, people and rigs: who can do what, with which certificates, from when on, and when they are away."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.models.user import User
from jobs.models import Absence, Certificate, CertificateKind, Crew, CrewMember, CrewRig, Resource, Rig, Worker
from jobs.models.resource import WorkerSkill

R = TypeVar("R", Rig, Worker, Crew)


def rig_save(*, rig: Rig | None, version: int, by: User, now: datetime, origin: str = "", **fields: Any) -> Rig:
    """Add a rig, or change one: name, kind, mixes_per_day, is_active.

    Parameters
    ----------
    rig : the one to change; None adds one.
    version : the one that was looked at; anything for a new rig.
    by, now, origin : who, when, from where.

    Raises
    ------
    ValidationError : a field is missing or wrong, by name.
    Conflict : somebody else changed it meanwhile.
    """
    with transaction.atomic():
        return _save(Rig, rig, fields, version=version, by=by, now=now, origin=origin)


def worker_save(
    *,
    worker: Worker | None,
    version: int,
    skills: Iterable[str],
    by: User,
    now: datetime,
    origin: str = "",
    **fields: Any,
) -> Worker:
    """Add somebody who works at houses, or change them: name, user, hourly_cost, is_active, and their skills.

    Raises
    ------
    ValidationError, Conflict : as in `rig_save`.
    """
    with transaction.atomic():
        row = _save(
            Worker, worker, fields, version=version, by=by, now=now, origin=origin, also={"skills": sorted(skills)}
        )
        wanted = set(skills)
        WorkerSkill.objects.filter(worker=row).exclude(skill__in=wanted).delete()
        for skill in sorted(wanted - set(row.skills.values_list("skill", flat=True))):
            WorkerSkill.objects.create(worker=row, skill=skill)
    return row


def crew_save(
    *,
    crew: Crew | None,
    version: int,
    members: Iterable[Worker],
    rigs: Iterable[Rig],
    today: date,
    by: User,
    now: datetime,
    origin: str = "",
    **fields: Any,
) -> Crew:
    """Add a crew, or change it: name, home, hours, weekdays, lead, is_active, its people and rigs.

    Who leaves a crew was on it until the day before `today`, who joins is on it from `today` on.

    Raises
    ------
    ValidationError : as in `rig_save`; also somebody who is on another crew, or a lead who is not on this one.
    Conflict : as in `rig_save`.
    """
    people, taken = list(members), list(rigs)
    with transaction.atomic():
        elsewhere = CrewMember.objects.filter(worker__in=people, until__isnull=True).exclude(crew=crew)
        for member in elsewhere.select_related("worker", "crew"):
            raise ValidationError({"members": f"{member.worker} is on {member.crew}. Take them off that crew first."})
        lead = fields.get("lead")
        if lead is not None and lead not in people:
            raise ValidationError({"lead": f"{lead} is not on this crew. Choose a lead who is."})
        also = {"members": sorted(person.name for person in people), "rigs": sorted(rig.name for rig in taken)}
        row = _save(Crew, crew, fields, version=version, by=by, now=now, origin=origin, also=also)
        _members(row, people, today)
        CrewRig.objects.filter(crew=row).exclude(rig__in=taken).delete()
        for rig in taken:
            CrewRig.objects.get_or_create(crew=row, rig=rig)
    return row


def _members(crew: Crew, people: list[Worker], today: date) -> None:
    for member in CrewMember.objects.filter(crew=crew, until__isnull=True).exclude(worker__in=people):
        if member.since >= today:
            # Somebody who joined today and leaves today never worked on it.
            member.delete()
            continue
        member.until = date.fromordinal(today.toordinal() - 1)
        member.save(update_fields=["until"])
    there = set(CrewMember.objects.filter(crew=crew, until__isnull=True).values_list("worker_id", flat=True))
    for person in people:
        if person.pk not in there:
            CrewMember.objects.create(crew=crew, worker=person, since=today)


def _save(
    kind: type[R],
    there: R | None,
    fields: Mapping[str, Any],
    *,
    version: int,
    by: User,
    now: datetime,
    origin: str,
    also: Mapping[str, Any] | None = None,
) -> R:
    rows: Any = kind._default_manager
    row: R = kind() if there is None else rows.select_for_update().get(pk=there.pk)
    if there is not None and row.version != version:
        raise Conflict(f"{row.name} was changed by somebody else meanwhile. Look at it again, then save.")
    before = None if there is None else {name: _told(getattr(row, name)) for name in fields}
    for name, value in fields.items():
        setattr(row, name, value)
    row.full_clean()
    if there is not None:
        row.version += 1
    row.save()
    after = {name: _told(value) for name, value in fields.items()} | dict(also or {})
    action = f"{kind._meta.model_name}.{'add' if there is None else 'change'}"
    activity_record(actor=by, action=action, target=row, now=now, before=before, after=after, origin=origin)
    return row


def _told(value: Any) -> Any:
    return value if isinstance(value, str | int | bool | Decimal) or value is None else str(value)


def certificate_add(
    *,
    kind: CertificateKind,
    number: str,
    valid_from: date,
    valid_until: date,
    by: User,
    now: datetime,
    worker: Worker | None = None,
    origin: str = "",
) -> Certificate:
    """Record a certificate of somebody, or of the firm where no worker is named.

    Raises
    ------
    ValidationError : a field is missing, or the days are out of order.
    """
    with transaction.atomic():
        row = Certificate(
            worker=worker, kind=kind, number=number.strip(), valid_from=valid_from, valid_until=valid_until
        )
        row.full_clean()
        row.save()
        after = {"of": "the firm" if worker is None else worker.name, "kind": kind, "number": row.number}
        activity_record(actor=by, action="certificate.add", target=row, now=now, after=after, origin=origin)
    return row


def absence_add(
    *,
    resource: Resource,
    first_day: date,
    last_day: date,
    reason: str,
    by: User,
    now: datetime,
    origin: str = "",
) -> Absence:
    """Record that somebody or something is away; visits planned on those days stay, and the schedule names them.

    Raises
    ------
    ValidationError : the days are out of order, or there is no reason.
    """
    with transaction.atomic():
        row = Absence(resource=resource, first_day=first_day, last_day=last_day, reason=reason.strip())
        row.full_clean()
        row.save()
        after = {"first_day": first_day, "last_day": last_day}
        activity_record(
            actor=by, action="absence.add", target=row, now=now, after=after, reason=row.reason, origin=origin
        )
    return row


def absence_remove(*, absence: Absence, by: User, now: datetime, origin: str = "") -> None:
    """Take an absence back; one that is gone already is left gone."""
    with transaction.atomic():
        row = Absence.objects.select_for_update().filter(pk=absence.pk).first()
        if row is None:
            return
        before = {"of": row.resource.name, "first_day": row.first_day, "last_day": row.last_day}
        activity_record(actor=by, action="absence.remove", target=row, now=now, before=before, origin=origin)
        row.delete()
