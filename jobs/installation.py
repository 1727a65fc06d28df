"""What entries of a crew do: to bays, to walls as found, to phases and the job; and what a day still lacks at its end.

Called by `jobs.entries` inside the transaction that keeps the entry, with the job locked.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from estimates.models.user import User
from estimates.records import BadRecord, Fault, read_record
from jobs.booking import job_move
from jobs.entry_records import BaysRecord, Checked, CheckRecord, DayCloseRecord, HoursRecord, Told
from jobs.models import Bay, BayState, CrewEntry, EntryKind, Job, JobStatus, JobWall, Phase, PhaseKind, PhaseStatus

INJECTING = frozenset({EntryKind.MIX, EntryKind.TRIAL})
"""Kinds that say that foam went into a wall; bays told as filled do so as well."""

WORK = frozenset({PhaseKind.PREPARE, PhaseKind.INJECT, PhaseKind.CLOSE_UP, PhaseKind.AIR_SEALING, PhaseKind.ATTIC})
"""Phases that are the work; once they are done, tests and infrared may follow."""

OPEN = frozenset({BayState.PLANNED, BayState.DRILLED, BayState.LEFT, BayState.DOUBTFUL})
"""States of a bay that still needs somebody."""

PHASE_OF = {
    EntryKind.AS_FOUND: PhaseKind.PREPARE,
    EntryKind.MOISTURE: PhaseKind.PREPARE,
    EntryKind.TRIAL: PhaseKind.INJECT,
    EntryKind.WATCHER: PhaseKind.INJECT,
    EntryKind.MIX: PhaseKind.INJECT,
    EntryKind.DENSITY: PhaseKind.INJECT,
    EntryKind.TEMPERATURE: PhaseKind.INJECT,
    EntryKind.WASTE: PhaseKind.INJECT,
    EntryKind.PLUGS: PhaseKind.CLOSE_UP,
    EntryKind.BAGS: PhaseKind.ATTIC,
    EntryKind.DEPTH: PhaseKind.ATTIC,
    EntryKind.LEAK: PhaseKind.AIR_SEALING,
}
"""Kind -> the phase that it belongs to and that it starts."""

BEFORE_INJECTING = frozenset({Checked.PROTECTION, Checked.CONDITION_BEFORE, Checked.ESCAPES_CLOSED})


@dataclass(frozen=True, slots=True)
class Said:
    """An entry before it is kept: its code, who says it and when, what was known of before."""

    code: uuid.UUID
    kind: EntryKind
    record: Any
    by: User
    noted_at: datetime
    knows: str | Mapping[str, str]
    now: datetime

    def knew(self, number: int) -> str:
        """Code of the last entry about a bay that the phone had seen; "" for none."""
        return self.knows if isinstance(self.knows, str) else str(self.knows.get(str(number), "") or "")


@dataclass(slots=True)
class Effect:
    """What an entry did: sentences that begin with stop or look, and clashes with both versions."""

    stops: list[str] = field(default_factory=list)
    looks: list[str] = field(default_factory=list)
    clashes: list[dict[str, Any]] = field(default_factory=list)


def fault(path: str, message: str) -> BadRecord:
    """One fault, ready to be raised."""
    return BadRecord([Fault(path, message)])


def injects(kind: EntryKind, record: Any) -> bool:
    """Whether an entry says that foam went into a wall."""
    return kind in INJECTING or (isinstance(record, BaysRecord) and record.state is Told.FILLED)


# --- bays ------------------------------------------------------------------------------------------------------------


def bays_of(wall: JobWall, numbers: Iterable[int], path: str = "$.bays") -> list[Bay]:
    """The bays of these numbers, in their order.

    Raises
    ------
    BadRecord : a number that the wall does not have, or not any more.
    """
    rows = {bay.number: bay for bay in wall.bays.filter(retired=False)}
    wanted = list(numbers)
    strange = [number for number in wanted if number not in rows]
    if strange:
        have = ", ".join(map(str, sorted(rows)))
        raise fault(path, f"{wall.name} has no bay {strange[0]}; enter one of {have}")
    return [rows[number] for number in wanted]


def bays_tell(wall: JobWall, said: Said) -> Effect:
    """Bring bays to the state that was reported; where somebody else said something else, keep both as doubtful.

    Raises
    ------
    BadRecord : a bay that is not there, no reason where one is needed.

    Notes
    -----
    An entry clashes where the last one about the bay is not the one it knows, says something else, and is somebody
    else's. Who spoke before and speaks again is taken at the later word, unless the bay is doubtful and the word is
    older than the clash.
    """
    record: BaysRecord = said.record
    if record.state in (Told.REFUSED, Told.LEFT_OUT) and not record.reason.strip():
        raise fault("$.reason", "is empty; enter why, for example what is in the way")
    bays = bays_of(wall, dict.fromkeys(bay.bay for bay in record.bays))
    codes = {bay.state_entry for bay in bays if bay.state_entry is not None}
    last = {entry.code: entry for entry in CrewEntry.objects.filter(code__in=codes).select_related("by")}
    effect = Effect()
    for bay in bays:
        before = None if bay.state_entry is None else last.get(bay.state_entry)
        if _clashes(bay, before, said):
            effect.clashes.append(_both(wall, bay, before, said))
            bay.state, bay.reason = BayState.DOUBTFUL, effect.clashes[-1]["says"][:300]
        else:
            bay.state, bay.reason = BayState(record.state.value), record.reason.strip()
        bay.state_entry = said.code
        bay.clean_fields(exclude=("wall",))
    # One statement for a whole wall; the database holds it to its constraints.
    Bay.objects.bulk_update(bays, ["state", "reason", "state_entry"])
    return effect


def _clashes(bay: Bay, before: CrewEntry | None, said: Said) -> bool:
    if bay.state == BayState.PROVEN and said.record.state is not Told.FILLED:
        return True
    if before is None or (bay.state == said.record.state.value and bay.reason == said.record.reason.strip()):
        return False
    if bay.state == BayState.DOUBTFUL and before.clashed:
        # Nobody decides a clash with words that were typed before it was known.
        return said.noted_at <= before.received_at or said.knew(bay.number) != str(before.code)
    if said.knew(bay.number) == str(before.code):
        return False
    return before.by_id != said.by.pk or before.noted_at > said.noted_at


def _both(wall: JobWall, bay: Bay, before: CrewEntry | None, said: Said) -> dict[str, Any]:
    theirs = {"state": bay.state, "reason": bay.reason}
    if before is None:
        theirs |= {"by": "the inspector", "at": ""}
    else:
        theirs |= {"by": before.by.full_name, "at": before.noted_at.isoformat()}
        if before.kind == EntryKind.BAY:
            theirs |= {"state": before.data["state"], "reason": before.data.get("reason", "")}
    yours = {
        "state": said.record.state.value,
        "reason": said.record.reason.strip(),
        "by": said.by.full_name,
        "at": said.noted_at.isoformat(),
    }
    says = (
        f"Bay {bay.number} of {wall.name}: {_word(theirs)}; {_word(yours)}. "
        "Both are kept; look at the bay and say once more what holds."
    )
    return {"wall": wall.key, "bay": bay.number, "theirs": theirs, "yours": yours, "says": says}


def _word(version: Mapping[str, str]) -> str:
    at = ""
    if version["at"]:
        at = f" at {timezone.localtime(datetime.fromisoformat(version['at'])):%H:%M}"
    why = f" ({version['reason']})" if version["reason"] else ""
    return f"{version['by']} said {version['state']}{why}{at}"


# --- phases and the job ----------------------------------------------------------------------------------------------


def phase_of(job: Job, kind: EntryKind, record: Any) -> Phase | None:
    """The phase that an entry belongs to; None where it belongs to none."""
    wanted = PHASE_OF.get(kind)
    if isinstance(record, BaysRecord):
        wanted = PhaseKind.PREPARE if record.state in (Told.DRILLED, Told.PLANNED) else PhaseKind.INJECT
    elif isinstance(record, HoursRecord):
        wanted = None if record.stretch is None else PhaseKind(record.stretch)
    elif isinstance(record, CheckRecord) and record.what is not Checked.COMBUSTION:
        wanted = PhaseKind.PREPARE if record.what in BEFORE_INJECTING else PhaseKind.CLOSE_UP
    return None if wanted is None else job.phases.filter(kind=wanted).first()


def work_goes_on(job: Job, said: Said, phase: Phase | None) -> None:
    """Move phases and the job on by what was reported.

    The first entry starts the job. Injecting is done when no bay needs anybody any more, and goes on when one does
    again; other phases are done when the day is closed with that word. Once all work is done, so is the job's.

    Raises
    ------
    BadRecord : a phase that the job does not have.
    """
    if job.status == JobStatus.BOOKED:
        job_move(job=job, to=JobStatus.STARTED, by=said.by, now=said.now)
    if phase is not None and phase.status == PhaseStatus.PLANNED:
        _turn(phase, PhaseStatus.STARTED, said.now)
    if isinstance(said.record, BaysRecord):
        _injecting(job, said.now)
    if isinstance(said.record, DayCloseRecord):
        for index, done in enumerate(said.record.done):
            row = job.phases.filter(kind=done.phase).first()
            if row is None:
                known = ", ".join(job.phases.values_list("kind", flat=True))
                raise fault(f"$.done[{index}].phase", f"no such stretch of work here; enter one of {known}")
            if row.status in (PhaseStatus.PLANNED, PhaseStatus.STARTED):
                _turn(row, PhaseStatus.DONE, said.now)
    status = Job.objects.values_list("status", flat=True).get(pk=job.pk)
    waiting = job.phases.filter(kind__in=WORK, status__in=(PhaseStatus.PLANNED, PhaseStatus.STARTED))
    if status == JobStatus.STARTED and not waiting.exists():
        job_move(job=job, to=JobStatus.WORK_DONE, by=said.by, now=said.now)


def _injecting(job: Job, now: datetime) -> None:
    rows = {phase.kind: phase for phase in job.phases.filter(kind__in=(PhaseKind.PREPARE, PhaseKind.INJECT))}
    inject = rows.get(PhaseKind.INJECT)
    if inject is None:
        return
    bays = Bay.objects.filter(wall__job=job, retired=False)
    if bays.filter(state__in=OPEN).exists():
        if inject.status == PhaseStatus.DONE:
            _turn(inject, PhaseStatus.STARTED, now)
        return
    for row in rows.values():
        if row.status in (PhaseStatus.PLANNED, PhaseStatus.STARTED):
            _turn(row, PhaseStatus.DONE, now)


def _turn(phase: Phase, status: PhaseStatus, now: datetime) -> None:
    phase.status, phase.version = status, phase.version + 1
    if phase.started_at is None:
        phase.started_at = now
    phase.done_at = now if status == PhaseStatus.DONE else None
    phase.save(update_fields=["status", "version", "started_at", "done_at"])


# --- the end of a day ------------------------------------------------------------------------------------------------


def day_unaccounted(job: Job, day: date) -> list[str]:
    """Bays that keep a day from being closed (rule I1): on walls of that day, neither filled nor refused nor left.

    A drilled bay is accounted for on a day that only drilled.
    """
    found = []
    for wall, entries in _walls_of(job, day):
        poured = any(injects(EntryKind(e.kind), _record(e)) for e in entries)
        states = [BayState.PLANNED, BayState.DRILLED] if poured else [BayState.PLANNED]
        numbers = wall.bays.filter(retired=False, state__in=states).values_list("number", flat=True)
        if numbers:
            found.append(f"{wall.name}: {_bays(list(numbers))}; say filled, refused with why, or left for another day")
    return found


def _bays(numbers: list[int]) -> str:
    listed = ", ".join(map(str, numbers))
    return f"bays {listed} are open" if len(numbers) > 1 else f"bay {listed} is open"


def _walls_of(job: Job, day: date) -> list[tuple[JobWall, list[CrewEntry]]]:
    kinds = (EntryKind.BAY, EntryKind.MIX, EntryKind.TRIAL)
    entries = CrewEntry.objects.filter(job=job, day=day, kind__in=kinds).order_by("noted_at", "id")
    found: dict[int, list[CrewEntry]] = {}
    for entry in entries:
        if entry.wall_id is not None:
            found.setdefault(entry.wall_id, []).append(entry)
    walls = {wall.pk: wall for wall in job.walls.all()}
    return [(walls[key], rows) for key, rows in found.items()]


def _record(entry: CrewEntry) -> Any:
    return read_record(BaysRecord, entry.data) if entry.kind == EntryKind.BAY else None


def day_lacks(job: Job, day: date, *, after_midday: bool) -> list[str]:
    """What a day of work still lacks: temperatures, trial, watcher, checks. It does not keep the day from closing."""
    from estimates.conditions import TemperatureReading, missing_readings

    poured = [
        (wall, rows) for wall, rows in _walls_of(job, day) if any(injects(EntryKind(e.kind), _record(e)) for e in rows)
    ]
    if not poured:
        return []
    rows = list(CrewEntry.objects.filter(job=job, day=day).values_list("kind", "wall__key", "data"))
    readings = []
    for kind, key, data in rows:
        if kind == EntryKind.TEMPERATURE:
            slot = data["slot"] if data["slot"] in ("start", "midday") else key
            readings.append(TemperatureReading(key, slot, None, None, None, None, None))
    names = {wall.key: wall.name for wall, _ in poured}
    lacks = [_named(one, names) for one in missing_readings(readings, list(names), past_midday=after_midday)]
    trials = set(CrewEntry.objects.filter(job=job, kind=EntryKind.TRIAL).values_list("wall__key", flat=True))
    watched = {key for kind, key, _ in rows if kind == EntryKind.WATCHER}
    lacks += [f"no first-bay trial on {name}" for key, name in names.items() if key not in trials]
    lacks += [f"nobody named who watched inside at {name}" for key, name in names.items() if key not in watched]
    checked = {data["what"] for kind, _, data in rows if kind == EntryKind.CHECK}
    for what in (Checked.OUTLETS, Checked.DRAINS, Checked.EXHAUSTS):
        if what.value not in checked:
            lacks.append(f"{what.value} not checked")
    if Checked.COMBUSTION.value not in checked:
        lacks.append("the shell was altered today: combustion safety is checked before you leave")
    return lacks


def _named(sentence: str, names: Mapping[str, str]) -> str:
    for key, name in names.items():
        sentence = sentence.replace(f"at {key}:", f"at {name}:")
    return sentence
