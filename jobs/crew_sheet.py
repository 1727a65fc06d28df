"""What a crew has to know of a house: visits, cautions, kit, steps, walls. Nothing in here knows a price."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import F, Q

from estimates.gates import house_gates
from estimates.house import Cladding, HouseRecord, WallRecord
from estimates.models.user import Role, User
from estimates.pricebook import PriceBook
from estimates.records import read_record
from jobs.booking import frozen_forms
from jobs.found_walls import record_of
from jobs.models import Bay, BayState, CrewEntry, DayWeather, EntryKind, Job, JobStatus, JobWall, PhaseKind, Visit
from jobs.phase_plan import kit_list, option_form
from jobs.start_gates import wall_gates

HOT_F = 80.0
"""From this high on a day asks for water, shade and rests. [degF] Common practice, no source."""

HIGH_IN = 72.0
"""Holes above this height need a ladder or staging. [in] Common practice, no source."""

LEAD_STEPS = (
    "Sign up and everybody else kept out. Plastic on the ground 10 ft out from the wall, 6 ft out inside; windows and "
    "doors within 20 ft shut. No torch, no heat gun above 1,100 °F, no sanding or grinding without a shroud and a "
    "HEPA vacuum. Wet what you drill. Bag the waste, clean every day; the renovator checks the cleaning and signs. "
    "(40 CFR 745.85, from memory)"
)

STEPS = {
    PhaseKind.TEST_IN: "Combustion safety and blower door before anything is altered.",
    PhaseKind.PREPARE: (
        "Photos before. Protect, lift, drill from the lowest hole up, probe every bay, measure moisture of framing."
    ),
    PhaseKind.INJECT: (
        "Close open floor lines, sills and tops. Temperatures, first-bay trial on each wall, somebody named watches "
        "inside. Fill from the lowest hole until material shows at the hole above; weigh the foam with each lot."
    ),
    PhaseKind.CLOSE_UP: (
        "Plugs counted against holes, cladding hung, weathertight and vapour-open. Outlets, drains and exhausts "
        "checked. Combustion safety at the end of each day that altered the shell."
    ),
    PhaseKind.AIR_SEALING: "Seal the sites on the list, guided by the blower door.",
    PhaseKind.ATTIC: "Baffles, dams and hatch first, then the bags; read every ruler.",
    PhaseKind.TEST_OUT: "Combustion safety and blower door after the work.",
    PhaseKind.INFRARED: "Only when the weather allows and the drying days are over.",
    PhaseKind.RETURN: "What the inspector found, first.",
}


@dataclass(frozen=True, slots=True)
class Caution:
    """A danger at this house and what is done about it."""

    name: str
    text: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything the page of a house shows before its walls."""

    cautions: tuple[Caution, ...]
    forbidden: tuple[str, ...]
    kit: tuple[tuple[str, float, str], ...]
    leaks: tuple[tuple[str, str], ...]
    attics: tuple[tuple[str, str], ...]


def crew_visits(user: User, first: date, last: date) -> list[Visit]:
    """Visits of somebody's crew between two days, both included; the office sees those of every crew."""
    rows = Visit.objects.filter(day__gte=first, day__lte=last).exclude(phase__job__status=JobStatus.LOCKED)
    if user.role == Role.CREW:
        mine = Q(crew__members__worker__user=user, day__gte=F("crew__members__since")) & (
            Q(crew__members__until__isnull=True) | Q(day__lte=F("crew__members__until"))
        )
        rows = rows.filter(pk__in=Visit.objects.filter(mine).values("pk"))
    return list(rows.select_related("phase__job__house", "crew", "rig").order_by("day", "first_hour", "id"))


def other_jobs(user: User, seen: Iterable[Job]) -> list[Job]:
    """Houses of somebody's crew that are booked or under way and not on those visits; at most twenty."""
    wanted = (JobStatus.BOOKED, JobStatus.STARTED)
    rows = Job.objects.visible_to(user).filter(status__in=wanted).exclude(pk__in=[job.pk for job in seen])
    return list(rows.select_related("house").order_by("booked_at", "id")[:20])


def sheet_of(job: Job, *, today: date) -> Sheet:
    """The sheet of a job, from what was signed and what gates say today."""
    forms = frozen_forms(job)
    option = option_form(forms, job.option)
    house = read_record(HouseRecord, forms["house"])
    book = read_record(PriceBook, forms["price_book"])
    foam, loose = ({"name": product.name} for product in (book.foam, book.loose_fills[0]))
    parts = {line["subject"] for line in option["lines"] if line["subject"]}
    sites = [site for site in forms["takeoff"]["leak_sites"] if site["id"] in parts]
    attics = [attic for attic in forms["takeoff"]["attics"] if attic["id"] in parts]
    return Sheet(
        cautions=tuple(_cautions(job, house, parts, hot=_hot(today))),
        forbidden=tuple(_forbidden(job, house, parts)),
        kit=kit_list(forms, job.option, foam=foam, loose=loose),
        leaks=tuple((site["id"], site["name"]) for site in sites),
        attics=tuple((attic["id"], attic["name"]) for attic in attics),
    )


def _names(house: HouseRecord) -> dict[str, str]:
    rows: list[Any] = [*house.walls, *house.quick_walls, *house.attics, *house.leak_sites]
    return {row.id: row.name for row in rows}


def _hot(today: date) -> bool:
    weather = DayWeather.objects.filter(day=today).first()
    return weather is not None and float(weather.high_f) >= HOT_F


def _cautions(job: Job, house: HouseRecord, parts: set[str], *, hot: bool) -> Iterable[Caution]:
    walls = list(job.walls.all())
    records = {wall.key: record_of(wall) for wall in walls}
    names = _names(house)
    careful = [wall.name for wall in walls if wall.lead_safe]
    if careful:
        yield Caution("Lead-safe work", f"{', '.join(careful)}: {LEAD_STEPS}")
    for (hazard, text), about in _controls(house, parts).items():
        # Lead has its own words above.
        where = "" if set(about) == parts else f"{', '.join(names.get(part, part) for part in about)}: "
        yield Caution(hazard.replace("_", " ").capitalize(), where + text)
    attic = any(part in parts for part in (one.id for one in house.attics))
    if walls or attic:
        yield Caution("Respirator", "Drilling, old insulation and dust: fitted respirator on, filters checked.")
    if walls:
        yield Caution(
            "Eyes", "Foam under pressure: sealed glasses on whenever the hose is live; water to rinse at hand."
        )
        live = "Probe by hand before every hole; power off where wires cross a bay. Meter and drop are never touched."
        yield Caution("Electrical", live)
    if any(_high(record) for record in records.values()):
        yield Caution(
            "Ladder", "Level, tied or held, three points; staging above one storey. None near the service drop."
        )
    if any(record.cladding in (Cladding.BRICK_VENEER, Cladding.STUCCO) for record in records.values()):
        yield Caution("Silica", "Brick, mortar and stucco: drill wet or with a vacuum at the bit, respirator on.")
    if attic or hot:
        yield Caution(
            "Heat", "Water and shade, a rest every hour; nobody alone in the attic. Stop at cramps or dizziness."
        )


def _high(record: WallRecord) -> bool:
    return record.height_ft * 12.0 > HIGH_IN


def _controls(house: HouseRecord, parts: set[str]) -> Mapping[tuple[str, str], list[str]]:
    found: dict[tuple[str, str], list[str]] = {}
    for held in house_gates(house).controls:
        if held.part in parts and held.hazard != "lead_paint":
            found.setdefault((held.hazard, held.text), []).append(held.part)
    return found


def _forbidden(job: Job, house: HouseRecord, parts: set[str]) -> Iterable[str]:
    names = _names(house)
    for part, gates in wall_gates(job).items():
        if part in parts:
            for gate in gates:
                yield f"{names.get(part, part)}: not before this is met: {gate.name} ({gate.owes or 'office'})"
    for gate in job.gates.all():
        if not gate.walls and gate.met_on is None:
            yield f"The whole house: not before this is met: {gate.name} ({gate.owes or 'office'})"


def open_bays(wall: JobWall) -> list[Bay]:
    """Bays that still wait: planned or drilled."""
    return list(wall.bays.filter(retired=False, state__in=(BayState.PLANNED, BayState.DRILLED)))


def reported(job: Job, *, days: int = 2, today: date) -> list[CrewEntry]:
    """What was reported lately, newest first; at most forty."""
    rows = job.entries.filter(day__gt=today - timedelta(days=days)).select_related("by", "wall")
    return list(rows.order_by("-noted_at", "-id")[:40])


def told_of(entry: CrewEntry) -> str:
    """An entry in a few words."""
    data = entry.data
    if entry.kind == EntryKind.BAY:
        return f"bays {', '.join(str(bay['bay']) for bay in data['bays'])} {data['state']}"
    if entry.kind == EntryKind.HOURS:
        return f"{data['hours']:g} h, {data.get('people', 1)} people"
    if entry.kind == EntryKind.LEAK:
        return f"{data['site']} {'closed' if data.get('closed') else 'still open'}"
    if entry.kind in (EntryKind.MIX, EntryKind.BAGS):
        return f"lot {data['lot']}" if data.get("lot") else ""
    words = data.get("text") or data.get("what") or data.get("caption") or ""
    return str(words)[:120]
