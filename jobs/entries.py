"""What crews report: read, kept once, and put to work - however often and in whatever state it arrives."""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.dateparse import parse_datetime

from estimates.access import allowed
from estimates.command import Conflict, command_run
from estimates.models.user import User
from estimates.photos import MOST_PHOTOS, photo_path
from estimates.physics.drying import FRAMING_MOISTURE_LIMIT
from estimates.physics.units import parse_quantity
from estimates.records import BadRecord, Fault, read_record, write_record
from jobs.booking import frozen_forms
from jobs.entry_records import (
    AT_A_WALL,
    RECORDS,
    DayCloseRecord,
    DensityRecord,
    MixRecord,
    MoistureRecord,
    PhotoRecord,
    PlugsRecord,
    TemperatureRecord,
)
from jobs.injection_stops import density_look, injection_stops, mix_stops, temperature_stops
from jobs.installation import (
    Effect,
    Said,
    bays_of,
    bays_tell,
    day_lacks,
    day_unaccounted,
    fault,
    injects,
    phase_of,
    work_goes_on,
)
from jobs.models import CrewEntry, EntryKind, Job, JobWall
from jobs.wall_found import found_tell

RECEIVED, NOT_TAKEN, CONFLICT = "received", "not taken", "conflict"
"""States of an answer. Only the first means that the office has it."""

MOST_ITEMS = 500
"""Items that one request may bring."""

AHEAD = timedelta(hours=12)
"""A phone whose clock is further ahead is set wrong."""

BARE = frozenset({"s", "psi", "h", "%"})
"""Units that are typed as bare numbers."""


@dataclass(frozen=True, slots=True)
class _Item:
    """An item as it came from a phone, its envelope read and its data not yet."""

    code: uuid.UUID
    job: Job
    wall: str
    kind: EntryKind
    data: Any
    noted_at: datetime
    replaces: uuid.UUID | None
    knows: str | Mapping[str, str]
    body: Mapping[str, Any]


def entries_receive(
    *, user: User, items: Iterable[Any], now: datetime, device: str = "", origin: str = ""
) -> list[dict[str, Any]]:
    """Take what a phone sends, each item by itself, and answer each.

    Parameters
    ----------
    user : who reports.
    items : each an object with ``code`` (UUID made on the phone), ``job`` (code of the job), ``kind``, ``data`` (form
        of the record of its kind), ``noted_at`` (ISO time with zone; left out: now), and where it applies ``wall``
        (key), ``replaces`` (code of the entry it corrects) and ``knows`` (code of the last entry about the same thing
        that the phone had seen; for bays an object from the number to that code).
    now : our clock.
    device, origin : which phone, from where.

    Returns
    -------
    An answer each, in the same order: ``code``, ``state`` (received, not taken, conflict), ``faults`` (``field`` and
    ``say``), ``stops`` and ``looks`` (sentences), ``clashes`` (both versions, who and when). What was received once is
    answered the same way for ever; what was not taken leaves no trace and may come again, mended.
    """
    return [_answer(user, raw, now, device, origin) for raw in items]


def _answer(user: User, raw: Any, now: datetime, device: str, origin: str) -> dict[str, Any]:
    code = str(raw.get("code", "")) if isinstance(raw, Mapping) else ""
    try:
        item = _envelope(user, raw, now)
        answer: dict[str, Any] = command_run(
            user=user,
            key=item.code,
            body=item.body,
            work=lambda: _keep(user, item, now, device=device, origin=origin),
        )
    except BadRecord as bad:
        return _refused(code, NOT_TAKEN, [{"field": one.path, "say": one.message} for one in bad.faults])
    except ValidationError as bad:
        return _refused(code, NOT_TAKEN, [{"field": "$", "say": sentence} for sentence in bad.messages])
    except Conflict:
        say = "This code was already used for something else. Enter it once more."
        return _refused(code, CONFLICT, [{"field": "code", "say": say}])
    return answer


def _refused(code: str, state: str, faults: list[dict[str, str]]) -> dict[str, Any]:
    return {"code": code, "state": state, "faults": faults, "stops": [], "looks": [], "clashes": []}


# --- reading ---------------------------------------------------------------------------------------------------------


def _envelope(user: User, raw: Any, now: datetime) -> _Item:
    if not isinstance(raw, Mapping):
        raise fault("$", "is not an object; enter one with code, job, kind and data")
    faults: list[Fault] = []
    code = _uuid(raw.get("code"), "code", faults)
    job = None
    asked = _uuid(raw.get("job"), "job", faults)
    if asked is not None and allowed(user, "crew.report"):
        job = Job.objects.visible_to(user).filter(code=asked).first()
    if asked is not None and job is None:
        faults.append(Fault("job", "no such job of your crew; ask the office"))
    kind = raw.get("kind")
    if kind not in EntryKind.values:
        faults.append(Fault("kind", f"{kind!r} is no kind of entry; enter one of {', '.join(EntryKind.values)}"))
    replaces = None if not raw.get("replaces") else _uuid(raw["replaces"], "replaces", faults)
    noted_at = _time(raw.get("noted_at"), now, faults)
    knows = raw.get("knows") or ""
    if not isinstance(knows, str | Mapping):
        faults.append(Fault("knows", "is neither a code nor an object from bay to code"))
    if faults or code is None or job is None or noted_at is None or not isinstance(knows, str | Mapping):
        raise BadRecord(faults)
    wall = raw.get("wall") or ""
    return _Item(code, job, str(wall), EntryKind(str(kind)), raw.get("data"), noted_at, replaces, knows, dict(raw))


def _uuid(raw: Any, name: str, faults: list[Fault]) -> uuid.UUID | None:
    try:
        return uuid.UUID(raw if isinstance(raw, str) else str(raw))
    except ValueError:
        faults.append(Fault(name, f"{str(raw)[:40]!r} is no code; enter a UUID"))
        return None


def _time(raw: Any, now: datetime, faults: list[Fault]) -> datetime | None:
    if raw in (None, ""):
        return now
    try:
        found = parse_datetime(raw) if isinstance(raw, str) else None
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        faults.append(Fault("noted_at", "is no time; enter date and time with their zone"))
        return None
    if found > now + AHEAD:
        faults.append(Fault("noted_at", "lies in the future; set the clock of the phone"))
        return None
    return found


def quantity(typed: str, unit: str) -> float:
    """A number as it was typed, in the unit of its field; seconds, hours and psi come without one.

    Raises
    ------
    ValueError : no number, with what to enter.
    """
    if unit in BARE:
        words = typed.strip().removesuffix(unit).replace(",", "").strip()
        try:
            return float(words)
        except ValueError:
            raise ValueError(f"{typed[:40]!r} is no number; enter a number [{unit}]") from None
    return float(parse_quantity(typed, unit))


# --- keeping ---------------------------------------------------------------------------------------------------------


def _keep(user: User, item: _Item, now: datetime, *, device: str, origin: str) -> dict[str, Any]:
    # One report at a time for a job: what a bay was told last must not change while it is read.
    job = Job.objects.select_for_update().get(pk=item.job.pk)
    record = read_record(RECORDS[item.kind], item.data, parse=quantity)
    wall = _wall(job, item)
    day = item.noted_at.astimezone(ZoneInfo(job.zone)).date()
    said = Said(item.code, item.kind, record, user, item.noted_at, item.knows, now)
    effect = _effect(job, wall, said, day)
    _replaced(item, effect)
    data = write_record(record)
    if item.kind == EntryKind.AS_FOUND and wall is not None and not effect.clashes:
        data = {"version": wall.found_version, "found": wall.found}
    phase = phase_of(job, item.kind, record)
    entry = CrewEntry(
        code=item.code,
        job=job,
        phase=phase,
        wall=wall,
        kind=item.kind,
        data=data,
        day=day,
        noted_at=item.noted_at,
        received_at=now,
        by=user,
        device=device[:40],
        origin=origin[:60],
        body_sha256=_sha256(item.body),
        replaces=item.replaces,
        clashed=bool(effect.clashes),
    )
    try:
        with transaction.atomic():
            entry.save()
    except IntegrityError:
        raise Conflict("This code belongs to an entry of somebody else.") from None
    work_goes_on(job, said, phase)
    return {
        "code": str(item.code),
        "state": RECEIVED,
        "faults": [],
        "stops": [f"Stop: {why}" for why in effect.stops],
        "looks": [f"Look: {why}" for why in effect.looks],
        "clashes": effect.clashes,
    }


def _wall(job: Job, item: _Item) -> JobWall | None:
    if not item.wall:
        if item.kind in AT_A_WALL:
            raise fault("wall", "is empty; choose the wall")
        return None
    wall = JobWall.objects.select_for_update().filter(job=job, key=item.wall).first()
    if wall is None:
        known = ", ".join(job.walls.values_list("key", flat=True))
        raise fault("wall", f"no wall {item.wall[:40]!r} in this job; enter one of {known}")
    return wall


def _sha256(body: Mapping[str, Any]) -> str:
    return hashlib.sha256(json.dumps(body, sort_keys=True, separators=(",", ":"), default=str).encode()).hexdigest()


def _replaced(item: _Item, effect: Effect) -> None:
    """Two corrections of one entry clash: both are kept."""
    if item.replaces is None:
        return
    old = CrewEntry.objects.filter(code=item.replaces, job=item.job, kind=item.kind).first()
    if old is None:
        raise fault("replaces", "no such entry of this kind in this job; leave it out to report something new")
    other = CrewEntry.objects.filter(replaces=item.replaces).exclude(code=item.code).select_related("by").last()
    if other is not None:
        says = f"{other.by.full_name} corrected this entry as well. Both are kept; enter once more what holds."
        theirs = {"by": other.by.full_name, "at": other.noted_at.isoformat(), "data": other.data}
        effect.clashes.append({"wall": item.wall, "bay": None, "theirs": theirs, "yours": item.data, "says": says})


def _effect(job: Job, wall: JobWall | None, said: Said, day: date) -> Effect:
    record, effect = said.record, Effect()
    if wall is not None and injects(said.kind, record):
        # Judged before the entry does anything: a fact is taken, and what was wrong with it is said.
        effect.stops += injection_stops(job, wall, at=said.noted_at, day=day)
    if wall is not None:
        _at_wall(job, wall, said, effect, day)
    if isinstance(record, DensityRecord):
        effect.stops += density_look(job, record.wet_lb_ft3)
    elif isinstance(record, PhotoRecord):
        _photo(job, record)
    elif isinstance(record, DayCloseRecord):
        open_bays = day_unaccounted(job, day)
        if open_bays:
            raise BadRecord([Fault("$", sentence) for sentence in open_bays])
        effect.looks += day_lacks(job, day, after_midday=record.after_midday)
    return effect


def _at_wall(job: Job, wall: JobWall, said: Said, effect: Effect, day: date) -> None:
    record = said.record
    if said.kind == EntryKind.BAY:
        _add(effect, bays_tell(wall, said))
    elif said.kind == EntryKind.AS_FOUND:
        year = int(frozen_forms(job)["house"]["year_built"])
        _add(effect, found_tell(wall, said, year_built=year))
    elif isinstance(record, MixRecord):
        _mix_bays(job, wall, record)
        effect.stops += mix_stops(job, record)
    elif said.kind == EntryKind.TRIAL:
        bays_of(wall, [record.bay], "$.bay")
    elif isinstance(record, TemperatureRecord):
        effect.stops += temperature_stops(job, wall, record, day=day)
    elif isinstance(record, MoistureRecord):
        if record.bay is not None:
            bays_of(wall, [record.bay], "$.bay")
        if record.content_pct > 100 * FRAMING_MOISTURE_LIMIT:
            effect.stops.append(
                f"framing above {FRAMING_MOISTURE_LIMIT:.0%}: do not inject this wall; let it dry and measure again"
            )
    elif isinstance(record, PlugsRecord) and record.plugs != record.holes:
        effect.looks.append(f"{record.plugs} plugs for {record.holes} holes: find the difference before you leave")


def _mix_bays(job: Job, wall: JobWall, record: MixRecord) -> None:
    walls = {row.key: row for row in job.walls.all()}
    named: dict[str, list[int]] = {}
    for index, bay in enumerate(record.bays):
        if bay.wall and bay.wall not in walls:
            raise fault(f"$.bays[{index}].wall", f"no wall {bay.wall!r} here; enter one of {', '.join(walls)}")
        named.setdefault(bay.wall or wall.key, []).append(bay.bay)
    for key, numbers in named.items():
        bays_of(walls[key], numbers)


def _add(effect: Effect, more: Effect) -> None:
    effect.stops += more.stops
    effect.looks += more.looks
    effect.clashes += more.clashes


def _photo(job: Job, record: PhotoRecord) -> None:
    if not photo_path(record.sha256).exists():
        raise fault("$.sha256", "the photo itself did not arrive; take it once more")
    if CrewEntry.objects.filter(job=job, kind=EntryKind.PHOTO).count() >= MOST_PHOTOS:
        raise fault("$.sha256", f"this job holds {MOST_PHOTOS} photos already; the office has to look at them first")
