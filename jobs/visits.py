"""Visits: booked, moved and removed, plans taken, days lost. The database refuses what takes an hour twice (S2)."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.firm import load_firm
from estimates.mail import letter_add
from estimates.models import ProposalPaper
from estimates.models.user import User
from jobs.models import Absence, Crew, CrewMember, Phase, Resource, RigKind, Slot, Visit
from jobs.schedule_check import ScheduleFault, placement_faults
from jobs.schedule_crew_rows import crew_id
from jobs.schedule_job_rows import phase_id
from jobs.schedule_problem import Placement, Schedule
from jobs.schedule_rigs import own_rig
from jobs.schedule_rows import Board, read_board
from jobs.schedule_words import short_day
from jobs.scheduling import move

CHANGED = "The schedule was changed by somebody else meanwhile. Look at it again, then plan."


class MoveBreaks(Exception):
    """A phase cannot stand where it was wanted. `words`: what that breaks; `nearest`: where it can stand, if at all."""

    def __init__(self, words: Sequence[str], nearest: Placement | None = None) -> None:
        super().__init__(" ".join(words))
        self.words, self.nearest = tuple(words), nearest


@dataclass(frozen=True, slots=True)
class Taken:
    """What taking a plan changed: phases newly booked, moved, taken off; promised days that no longer hold."""

    booked: tuple[Phase, ...]
    moved: tuple[Phase, ...]
    removed: tuple[Phase, ...]
    told_wrong: tuple[Phase, ...]


def visit_book(
    *, phase: Phase, crew: Crew, day: date, hour: int | None, version: int, by: User, now: datetime, origin: str = ""
) -> list[Visit]:
    """Book the visits of a phase that has none, from a day and hour on; more than a day's work becomes several.

    Parameters
    ----------
    phase, crew : what is done by whom.
    day, hour : when it begins by the firm's clock; without an hour when the crew begins. [h]
    version : of the phase, as it was looked at.
    by, now, origin : who, when, from where.

    Raises
    ------
    MoveBreaks : it breaks a rule, in words, with the nearest place where it breaks none.
    ValidationError : the crew does not go out.
    Conflict : it is booked already, somebody changed it meanwhile, or somebody or something is taken.
    """
    return _put(phase, crew, day, hour, version, by, now, origin, wanted=False)


def visit_move(
    *, phase: Phase, crew: Crew, day: date, hour: int | None, version: int, by: User, now: datetime, origin: str = ""
) -> list[Visit]:
    """Move the visits of a phase; parameters and errors are those of `visit_book`, but that it must be booked."""
    return _put(phase, crew, day, hour, version, by, now, origin, wanted=True)


def _put(
    phase: Phase,
    crew: Crew,
    day: date,
    hour: int | None,
    version: int,
    by: User,
    now: datetime,
    origin: str,
    *,
    wanted: bool,
) -> list[Visit]:
    today = timezone.localdate(now)
    if day < today:
        raise ValidationError({"day": "Enter today or a later day."})
    with transaction.atomic():
        _lock()
        locked = _same(phase, version)
        board = read_board(today)
        _plannable(board, locked, crew)
        if (board.placement(locked) is not None) is not wanted:
            raise Conflict(f"{_name(locked)} is {'not booked' if wanted else 'booked already'}. Look at it again.")
        if day > board.problem.days[-1].on:
            raise ValidationError({"day": f"Enter {board.problem.days[-1].on.isoformat()} or an earlier day."})
        tried = move(board.problem, Schedule(board.placed, (), (), ()), phase_id(locked), crew_id(crew), day, hour)
        if tried.breaks:
            words = dict.fromkeys(_sentence(board, fault, phase_id(locked)) for fault in tried.breaks)
            raise MoveBreaks(list(words), tried.nearest)
        action = "visit.move" if wanted else "visit.book"
        return _write(board, [own_rig(board, tried.placement)], action, by, now, origin)


def _sentence(board: Board, fault: ScheduleFault, own: str) -> str:
    """What a move breaks, seen from the phase that is moved."""
    words = fault.words
    if fault.about != own and fault.rule in ("other-jobs", "rig"):
        # Of two that meet the check names one; who reads this wants to know the other.
        words = re.sub(rf"\b{own}\b", fault.about, words)
    elif fault.about != own:
        words = f"{board.names.get(fault.about, fault.about)} {words}"
    said = board.said(words)
    return f"{said[:1].upper()}{said[1:]}."


def _lock() -> None:
    """Everybody and everything that can be booked, in one order: the schedule is changed by one at a time."""
    list(Resource.objects.select_for_update().order_by("pk").values_list("pk", flat=True))


def _same(phase: Phase, version: int) -> Phase:
    locked = Phase.objects.select_for_update().select_related("job").get(pk=phase.pk)
    if locked.version != version:
        raise Conflict(f"{_name(locked)} was changed by somebody else meanwhile. Look at it again.")
    return locked


def _name(phase: Phase) -> str:
    return f"{phase.get_kind_display()} of {phase.job.number}"


def _plannable(board: Board, phase: Phase, crew: Crew) -> None:
    if crew_id(crew) not in {one.id for one in board.problem.crews}:
        raise ValidationError({"crew": f"{crew.name} does not go out: nobody is on it, or it was put away."})
    for stopped in board.blocked:
        if phase in stopped.phases:
            raise MoveBreaks([stopped.words])
    if phase_id(phase) not in {spec.id for _, spec in board.problem.phases()}:
        raise Conflict(f"{_name(phase)} is done or under way, and nothing of it is left to plan.")


# --- rows -------------------------------------------------------------------------------------------------------------


def _write(
    board: Board, placements: Sequence[Placement], action: str, by: User, now: datetime, origin: str
) -> list[Visit]:
    """Write placements as visits with their slots; visits that are there keep their code, so calendars follow."""
    phases = [board.phases[placement.phase] for placement in placements]
    Slot.objects.filter(visit__in=[v for p in phases for v in board.loose.get(p.pk, ())]).delete()
    written: list[Visit] = []
    for phase, placement in zip(phases, placements, strict=True):
        there = list(board.loose.get(phase.pk, ()))
        before, old = _told(there), [(visit.day, visit.first_hour) for visit in there]
        crew = board.crews[placement.crew]
        rig = board.rigs.get(placement.rig)
        if rig is None and phase.rig_kind == RigKind.TEST_KIT:
            rig = board.kits.get(placement.crew)
        visits: list[Visit] = []
        for part in placement.parts:
            visit = there.pop(0) if there else Visit(phase=phase, version=0)
            visit.promised = visit.promised and (visit.day, visit.first_hour) == (part.on, part.start_hour)
            visit.crew, visit.rig, visit.day = crew, rig, part.on
            visit.first_hour, visit.hours = part.start_hour, part.end_hour - part.start_hour
            visit.version, visit.made_at, visit.made_by = visit.version + 1, now, by
            visits.append(visit)
        for visit in there:
            visit.delete()
        begins = (placement.first_day, placement.parts[0].start_hour)
        _save(visits, last_first=bool(old) and begins > old[0])
        phase.version += 1
        phase.save(update_fields=["version"])
        activity_record(
            actor=by, action=action, target=phase.job, now=now, before=before, after=_told(visits), origin=origin
        )
        written += visits
    _take_slots(written)
    return written


def _save(visits: Sequence[Visit], *, last_first: bool) -> None:
    # In the direction of the move, so that none meets the old place of the next one.
    for visit in reversed(visits) if last_first else visits:
        visit.full_clean(validate_constraints=False, validate_unique=False)
        visit.save()


def _told(visits: Iterable[Visit]) -> dict[str, Any] | None:
    rows = [f"{visit.crew.name} {visit.day} {visit.first_hour}:00 for {visit.hours} h" for visit in visits]
    return {"visits": rows} if rows else None


def hour_start(day: date, hour: int) -> datetime:
    """An hour of the firm's clock as a moment."""
    return datetime.combine(day, time(hour), timezone.get_default_timezone())


def visit_resources(visit: Visit) -> list[Resource]:
    """Everybody and everything that a visit takes: the crew, its people of that day, the rig."""
    people = CrewMember.objects.filter(crew=visit.crew, since__lte=visit.day).exclude(until__lt=visit.day)
    found: list[Resource] = [visit.crew, *(member.worker for member in people.select_related("worker"))]
    return found if visit.rig is None else [*found, visit.rig]


def _take_slots(visits: Iterable[Visit]) -> None:
    slots = [
        Slot(resource_id=resource.pk, starts_at=hour_start(visit.day, hour), visit=visit)
        for visit in visits
        for resource in visit_resources(visit)
        for hour in range(visit.first_hour, visit.first_hour + visit.hours)
    ]
    try:
        with transaction.atomic():
            Slot.objects.bulk_create(slots)
    except IntegrityError:
        raise Conflict(_taken(slots)) from None


def _taken(slots: Sequence[Slot]) -> str:
    """Who or what is taken already, when, and by which job."""
    wanted = {(slot.resource_id, slot.starts_at) for slot in slots}
    times = [slot.starts_at for slot in slots]
    rows = Slot.objects.filter(starts_at__range=(min(times), max(times)), resource__in={s.resource_id for s in slots})
    for row in rows.select_related("resource", "visit__phase__job").order_by("starts_at", "resource__name"):
        if (row.resource_id, row.starts_at) in wanted:
            at = timezone.localtime(row.starts_at, timezone.get_default_timezone())
            job = row.visit.phase.job.number
            return f"{row.resource.name} is at {job} on {short_day(at.date())} at {at.hour}:00. Choose another time."
    return "Somebody or something is taken twice by this. Choose another time."


# --- removing, pinning, promising -------------------------------------------------------------------------------------


def visit_remove(*, phase: Phase, version: int, by: User, now: datetime, origin: str = "") -> int:
    """Take a phase off the schedule: its visits from today on. Returns how many went.

    Raises
    ------
    Conflict : somebody else changed it meanwhile.
    """
    with transaction.atomic():
        _lock()
        locked = _same(phase, version)
        visits = list(locked.visits.select_related("crew").filter(day__gte=timezone.localdate(now)))
        before = _told(visits)
        for visit in visits:
            visit.delete()
        locked.version, locked.pinned = locked.version + 1, False
        locked.save(update_fields=["version", "pinned"])
        activity_record(
            actor=by, action="visit.remove", target=locked.job, now=now, before=before, after=None, origin=origin
        )
    return len(visits)


def phase_pin(*, phase: Phase, pinned: bool, version: int, by: User, now: datetime, origin: str = "") -> Phase:
    """Pin a booked phase to its crew, day and hour, or release it. A pinned one is moved by nobody but by hand.

    Raises
    ------
    Conflict : it has no visits, or somebody else changed it meanwhile.
    """
    with transaction.atomic():
        locked = _same(phase, version)
        if pinned and not locked.visits.exists():
            raise Conflict(f"{_name(locked)} has no day yet. Book it first.")
        before, locked.pinned = {"pinned": locked.pinned}, pinned
        locked.version += 1
        locked.save(update_fields=["version", "pinned"])
        activity_record(
            actor=by,
            action="phase.pin",
            target=locked.job,
            now=now,
            before=before,
            after={"pinned": pinned, "phase": locked.kind},
            origin=origin,
        )
    return locked


def phase_promise(*, phase: Phase, version: int, by: User, now: datetime, origin: str = "") -> bool:
    """Promise the days of a phase to the homeowner, by a letter where there is an address. Whether one was written.

    Raises
    ------
    Conflict : it has no day from today on, or somebody else changed it meanwhile.
    """
    today = timezone.localdate(now)
    with transaction.atomic():
        locked = _same(phase, version)
        visits = list(locked.visits.filter(day__gte=today).order_by("day", "first_hour"))
        if not visits:
            raise Conflict(f"{_name(locked)} has no day yet. Book it first.")
        for visit in visits:
            visit.promised = True
            visit.version += 1
            visit.save(update_fields=["promised", "version"])
        locked.version += 1
        locked.save(update_fields=["version"])
        days = [f"{short_day(visit.day)} from {visit.first_hour}:00" for visit in visits]
        activity_record(
            actor=by, action="visit.promise", target=locked.job, now=now, after={"days": days}, origin=origin
        )
        return _promise_letter(locked, visits, days, now)


def _promise_letter(phase: Phase, visits: Sequence[Visit], days: Sequence[str], now: datetime) -> bool:
    paper = ProposalPaper.objects.filter(proposal=phase.job.proposal_id).only("mail_to").first()
    if paper is None or not paper.mail_to:
        return False
    firm, house = load_firm(), phase.job.house
    text = [
        f"Dear {house.customer_name},",
        f"we will be at {house.street} for this: {phase.get_kind_display().lower()}.",
        "\n".join(days),
        "Please call us if you cannot have us then.",
        f"{firm.name}\n{firm.phone}",
    ]
    letter_add(
        to=[paper.mail_to],
        subject=f"Your appointment: {days[0]}",
        text="\n\n".join(text),
        key=f"promise-{visits[0].code}-{visits[0].version}",
        now=now,
    )
    return True


# --- plans ------------------------------------------------------------------------------------------------------------


def schedule_apply(
    *, placements: Sequence[Placement], first: date, digest: str, by: User, now: datetime, origin: str = ""
) -> Taken:
    """Write a whole plan in one transaction, exactly as it was shown.

    Parameters
    ----------
    placements : of every job that the plan holds; what is booked and not among them is taken off.
    first : first day that was planned.
    digest : of the board that the plan was made from.
    by, now, origin : who, when, from where.

    Raises
    ------
    Conflict : rows changed since the plan was made, the independent check finds a fault, or an hour is taken.
    """
    with transaction.atomic():
        _lock()
        board = read_board(first)
        if board.digest != digest:
            raise Conflict(CHANGED)
        faults = list(placement_faults(board.problem, placements))
        if faults:
            raise Conflict(f"This plan does not hold: {board.said(str(faults[0]))}. Plan again.")
        booked = {placement.phase: placement for placement in board.placed}
        changed = [one for one in placements if booked.get(one.phase) != one]
        kept = {one.phase for one in placements}
        gone = [board.phases[phase] for phase in booked if phase not in kept]
        told_wrong = [
            phase
            for phase in [*(board.phases[one.phase] for one in changed), *gone]
            if any(visit.promised for visit in board.loose.get(phase.pk, ()))
            and not _same_days(booked[phase_id(phase)], placements)
        ]
        for phase in gone:
            _take_off(board, phase, by, now, origin)
        _write(board, changed, "visit.plan", by, now, origin)
    return Taken(
        booked=tuple(board.phases[one.phase] for one in changed if one.phase not in booked),
        moved=tuple(board.phases[one.phase] for one in changed if one.phase in booked),
        removed=tuple(gone),
        told_wrong=tuple(told_wrong),
    )


def _same_days(before: Placement, placements: Iterable[Placement]) -> bool:
    after = next((one for one in placements if one.phase == before.phase), None)
    return after is not None and after.parts == before.parts


def _take_off(board: Board, phase: Phase, by: User, now: datetime, origin: str) -> None:
    visits = board.loose.pop(phase.pk, [])
    before = _told(visits)
    for visit in visits:
        visit.delete()
    phase.version += 1
    phase.save(update_fields=["version"])
    activity_record(
        actor=by, action="visit.remove", target=phase.job, now=now, before=before, after=None, origin=origin
    )


def day_lost(
    *, who: Sequence[Resource], day: date, reason: str, by: User, now: datetime, origin: str = ""
) -> list[Absence]:
    """Mark a day as lost for crews, people or rigs: frost, rain, illness. Visits stay, broken, until a plan is taken.

    Raises
    ------
    ValidationError : nobody is named, there is no reason, or the day is more than a week past.
    """
    if not who:
        raise ValidationError({"who": "Choose who loses the day."})
    if day < timezone.localdate(now) - timedelta(days=7):
        raise ValidationError({"day": "Enter a day of the last week or a later one."})
    rows: list[Absence] = []
    with transaction.atomic():
        _lock()
        for resource in who:
            there = Absence.objects.filter(resource=resource, first_day__lte=day, last_day__gte=day).first()
            if there is not None:
                rows.append(there)
                continue
            row = Absence(resource=resource, first_day=day, last_day=day, reason=reason.strip())
            row.full_clean()
            row.save()
            activity_record(
                actor=by,
                action="day.lost",
                target=resource,
                now=now,
                after={"day": day},
                reason=row.reason,
                origin=origin,
            )
            rows.append(row)
    return rows
