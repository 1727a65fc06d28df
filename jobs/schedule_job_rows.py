"""Jobs as the solvers see them: phases still to be done, from when on, and what of them is booked already."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from decimal import Decimal
from functools import lru_cache

from django.db.models import Prefetch
from django.utils import timezone

from estimates.models import EstimateRevision
from estimates.start import EarliestStart, StartGate, earliest_start
from jobs.models import Absence, Crew, Job, JobStatus, JobWall, Phase, PhaseKind, PhaseStatus, RigKind, Visit
from jobs.schedule_crew_rows import TEST_KIT, crew_away
from jobs.schedule_problem import Job as PlanJob
from jobs.schedule_problem import LagDays, Placement, Span, WorkPart
from jobs.schedule_problem import Phase as PlanPhase
from jobs.schedule_words import short_day
from jobs.start_gates import certificate_gates, start_gates, wall_gates

SHORT = frozenset({PhaseKind.TEST_IN, PhaseKind.TEST_OUT, PhaseKind.INFRARED, PhaseKind.RETURN})
"""Phases that take their hours and the travel only, not half-days (FIELD)."""

SHORT_HOURS = 6
"""Longest short visit; a longer one is planned in half-days. [h] Common practice, no source."""

OPEN_AIR = frozenset({PhaseKind.PREPARE, PhaseKind.INJECT, PhaseKind.CLOSE_UP})
"""Phases that open or close the outside of a wall: not in rain."""

ABOVE_FREEZING_F = 32.1
"""Least forecast low for injecting: forecasts are kept to a tenth. [degF]"""

APART_DAYS = 5
"""A phase that waits this many working days is planned once what goes before it is booked. [day]"""

LEAST_LEFT = 0.25
"""Hours of one person below which a phase under way has nothing left to plan. [h]"""

OPEN_JOBS = (JobStatus.BOOKED, JobStatus.STARTED, JobStatus.WORK_DONE, JobStatus.VERIFIED)


@dataclass(frozen=True, slots=True)
class Blocked:
    """A job, or the rest of one, that cannot be planned now, and why."""

    job: Job
    words: str
    phases: tuple[Phase, ...] = ()


@dataclass(slots=True)
class _Chain:
    """Phases of a job that are planned together. `after`: last day of what lies before; `waits`: that is not booked."""

    after: date | None = None
    waits: Phase | None = None
    phases: list[tuple[Phase, float]] = field(default_factory=list)
    goes_on: bool = False


def phase_id(phase: Phase) -> str:
    """Id of a phase in the problem."""
    return f"p{phase.pk}"


def is_short(phase: Phase) -> bool:
    """Whether a phase takes its hours and travel only."""
    return phase.kind in SHORT and phase.hours <= SHORT_HOURS


@lru_cache(maxsize=1024)
def foam_limits(sha256: str, revision: int) -> tuple[float | None, int]:
    """Coldest day to inject at and days until dry, of the foam that was signed; (None, 0) where there is none. [degF]

    Kept by the digest of the frozen estimate, which never changes.
    """
    forms = json.loads(EstimateRevision.objects.values_list("snapshot", flat=True).get(pk=revision))
    foams = forms.get("price_book", {}).get("foams") or []
    if not foams:
        return None, 0
    wanted = forms.get("house", {}).get("foam")
    foam = next((foam for foam in foams if foam["id"] == wanted), foams[0])
    return float(foam["least_temp_f"]), int(foam["drying_days"])


class JobReader:
    """Reads all open jobs once; what it found stands in its fields.

    `taken`, `taken_rigs` are hours and days of what stays as it is; `loose` are visits that may be moved, by phase.
    """

    def __init__(
        self,
        first: date,
        last: date,
        crews: Iterable[Crew],
        away: dict[int, list[Absence]],
        holidays: dict[date, str],
    ) -> None:
        self.first, self.last, self.away, self.holidays = first, last, away, holidays
        self.crews = {crew.pk: crew for crew in crews}
        self.all_crews: dict[int, Crew] = dict(self.crews)
        self.weekdays = {int(day) for crew in self.crews.values() for day in crew.works_on}
        self.jobs: list[PlanJob] = []
        self.placed: list[Placement] = []
        self.phases: list[Phase] = []
        self.blocked: list[Blocked] = []
        self.loose: dict[int, list[Visit]] = {}
        self.broken: dict[int, str] = {}
        self.earliest: dict[int, str] = {}
        self.taken: dict[int, dict[date, set[int]]] = defaultdict(lambda: defaultdict(set))
        self.taken_rigs: dict[int, set[date]] = defaultdict(set)
        self.least_f: float | None = None
        self._certificates: tuple[StartGate, ...] | None = None

    def read(self) -> None:
        """Read every open job, and the hours of visits of jobs that are not open."""
        visits = Visit.objects.select_related("crew", "rig").order_by("day", "first_hour", "pk")
        phases = Phase.objects.order_by("position").prefetch_related(Prefetch("visits", visits))
        walls = JobWall.objects.only("pk", "job_id", "key", "lead_safe")
        rows = (
            Job.objects.filter(status__in=OPEN_JOBS)
            .select_related("house", "revision")
            .defer("revision__snapshot")
            .prefetch_related("gates", Prefetch("walls", walls), Prefetch("phases", phases))
            .order_by("booked_at", "pk")
        )
        for job in rows:
            self._job(job)
        others = visits.filter(day__gte=self.first).exclude(phase__job__status__in=OPEN_JOBS)
        for visit in others.select_related("crew", "rig", "phase__job__house"):
            self._take([visit])
            if visit.phase.job.status == JobStatus.LOCKED:
                # Somebody has to take it off by hand: whoever was told of that day should hear of it.
                self.loose.setdefault(visit.phase_id, []).append(visit)
                self.broken[visit.pk] = f"The job is locked: {visit.phase.job.lock_reason}"

    # --- one job ------------------------------------------------------------------------------------------------------

    def _job(self, job: Job) -> None:
        chains = list(self._chains(job))
        start = self._start(job) if job.status == JobStatus.BOOKED else None
        if start is not None:
            self.earliest[job.pk] = start.sentence
        stop = "" if start is None or start.day is not None else start.sentence
        held = wall_gates(job)
        if start is not None and not stop and job.walls.all() and all(wall.key in held for wall in job.walls.all()):
            names = sorted({gate.name for gates in held.values() for gate in gates})
            stop = f"No start day yet: waiting for {', '.join(names)}."
        for number, chain in enumerate(chains):
            if stop:
                self._block(job, chain, stop)
            else:
                self._plan(job, chain, start if number == 0 else None, number)

    def _start(self, job: Job) -> EarliestStart:
        return earliest_start(self._gates(job), not_before=self.first)

    def _gates(self, job: Job) -> tuple[StartGate, ...]:
        gates = start_gates(job, lead_safe=False)
        if any(wall.lead_safe for wall in job.walls.all()):
            if self._certificates is None:
                self._certificates = tuple(certificate_gates())
            gates += self._certificates
        return gates

    def _chains(self, job: Job) -> Iterable[_Chain]:
        """Phases that are still to be done, in stretches that are planned together."""
        chains = [_Chain()]
        before: Phase | None = None
        for phase in job.phases.all():
            phase.job = job
            self.phases.append(phase)
            visits = list(phase.visits.all())
            if phase.status in (PhaseStatus.DONE, PhaseStatus.DROPPED):
                self._take(visits)
                if phase.status == PhaseStatus.DONE:
                    chains.append(_Chain(after=_ended(phase, visits)))
                continue
            kept, loose = self._split(phase, visits)
            self._take(kept)
            if loose:
                self.loose[phase.pk] = loose
            if kept:
                chains.append(_Chain(after=max(visit.day for visit in kept), goes_on=True))
                left = float(phase.hours) - sum(visit.hours * self._people(visit) for visit in kept)
                if not loose and (is_short(phase) or left < LEAST_LEFT):
                    chains[-1].goes_on = False
                    before = phase
                    continue
                chains[-1].phases.append((phase, max(left, LEAST_LEFT)))
            else:
                if phase.least_lag >= APART_DAYS and chains[-1].phases:
                    chains.append(self._apart(before))
                chains[-1].phases.append((phase, float(phase.hours)))
            before = phase
        return [chain for chain in chains if chain.phases]

    def _apart(self, before: Phase | None) -> _Chain:
        """A stretch that begins once what goes before it is booked."""
        booked = [] if before is None else self.loose.get(before.pk, [])
        return _Chain(after=booked[-1].day) if booked else _Chain(waits=before)

    def _split(self, phase: Phase, visits: list[Visit]) -> tuple[list[Visit], list[Visit]]:
        """Visits that stay as they are, and those that may be moved."""
        gone = {visit.pk for visit in visits if self._lost(visit)}
        begun = phase.status == PhaseStatus.STARTED or any(v.day < self.first and v.pk not in gone for v in visits)
        later = [visit for visit in visits if visit.day >= self.first or visit.pk in gone]
        if begun or len({visit.crew_id for visit in later}) > 1:
            return [v for v in visits if v.pk not in gone], [v for v in visits if v.pk in gone]
        return [], later

    def _lost(self, visit: Visit) -> str:
        crew = self.crews.get(visit.crew_id)
        return "" if crew is None else crew_away(crew, visit.day, self.away)

    def _people(self, visit: Visit) -> int:
        crew = self.crews.get(visit.crew_id)
        return 1 if crew is None else max(1, len(crew.members.all()))

    def _take(self, visits: Iterable[Visit]) -> None:
        for visit in visits:
            self.all_crews.setdefault(visit.crew_id, visit.crew)
            if visit.day >= self.first:
                self.taken[visit.crew_id][visit.day] |= set(range(visit.first_hour, visit.first_hour + visit.hours))
                if visit.rig_id is not None:
                    self.taken_rigs[visit.rig_id].add(visit.day)

    # --- into the problem ---------------------------------------------------------------------------------------------

    def _block(self, job: Job, chain: _Chain, words: str) -> None:
        phases = tuple(phase for phase, _ in chain.phases)
        self.blocked.append(Blocked(job, words, phases))
        for phase in phases:
            visits = self.loose.get(phase.pk, [])
            self._take(visits)
            self.broken.update({visit.pk: words for visit in visits})

    def _plan(self, job: Job, chain: _Chain, start: EarliestStart | None, number: int) -> None:
        if chain.waits is not None:
            words = f"Planned once {chain.waits.get_kind_display().lower()} is booked."
            self._block(job, chain, words)
            return
        lead = chain.phases[0][0]
        earliest, gate, latest = self.first, "", None
        if start is not None and start.day is not None:
            earliest, gate = start.day, ", ".join(start.latest)
            latest = min((g.expires_on for g in self._gates(job) if g.expires_on is not None), default=None)
        if chain.after is not None:
            opens = self._working_day(chain.after, 1 if chain.goes_on else max(1, lead.least_lag))
            if opens > earliest:
                earliest, gate = opens, "the phase before"
            if lead.most_lag is not None and not chain.goes_on:
                # A limit that has passed is no reason to leave holes open for longer still.
                latest = max(earliest, self._working_day(chain.after, max(1, lead.most_lag)))
        if earliest > self.last:
            self._block(job, chain, f"Opens on {short_day(earliest)}, after the weeks that are planned.")
            return
        phases = [self._phase(job, phase, hours) for phase, hours in chain.phases]
        if latest is not None:
            phases[0] = replace(phases[0], not_after=latest)
        home = next(iter(self.crews.values()), None)
        lat, lon = (job.latitude, job.longitude) if job.latitude is not None else _home(home)
        name = job.number if number == 0 else f"{job.number}.{number + 1}"
        self.jobs.append(
            PlanJob(
                name,
                tuple(phases),
                job.house.name,
                float(lat or 0),
                float(lon or 0),
                earliest=earliest,
                gate=gate,
                due=job.wanted_by,
                away=tuple(Span(date.fromisoformat(day), date.fromisoformat(day)) for day in job.days_away),
            )
        )
        for phase, _ in chain.phases:
            if visits := self.loose.get(phase.pk):
                self.placed.append(_placement(phase, visits))
                self.all_crews.setdefault(visits[0].crew_id, visits[0].crew)

    def _phase(self, job: Job, phase: Phase, hours: float) -> PlanPhase:
        short, foam = is_short(phase), phase.kind == PhaseKind.INJECT
        kit = (TEST_KIT,) if short and phase.rig_kind == RigKind.TEST_KIT else ()
        dry = 0
        if foam:
            least_f, dry = foam_limits(job.revision.sha256, job.revision_id)
            self.least_f = max((f for f in (self.least_f, least_f) if f is not None), default=None)
        pin = self.loose[phase.pk][0] if phase.pinned and self.loose.get(phase.pk) else None
        return PlanPhase(
            phase_id(phase),
            phase.kind,
            round(hours, 2),
            visit=short,
            least_size=phase.least_people,
            skills=(*sorted(phase.skills), *kit),
            rig_kind="" if short else phase.rig_kind,
            least_lag=phase.least_lag,
            most_lag=phase.most_lag,
            lag_days=LagDays.WORKING,
            dry=phase.kind in OPEN_AIR,
            least_low_f=ABOVE_FREEZING_F if foam else None,
            frost_free_days=min(60, dry),
            pinned_crew="" if pin is None else f"c{pin.crew_id}",
            pinned_day=None if pin is None else pin.day,
            pinned_hour=None if pin is None else pin.first_hour,
        )

    def _working_day(self, after: date, count: int) -> date:
        """The day that lies so many working days after another."""
        on, left = after, count if self.weekdays else 0
        while left > 0:
            on += timedelta(days=1)
            left -= on.isoweekday() in self.weekdays and on not in self.holidays
        return on


def _ended(phase: Phase, visits: list[Visit]) -> date | None:
    if phase.done_at is not None:
        return timezone.localdate(phase.done_at)
    return max((visit.day for visit in visits), default=None)


def _home(crew: Crew | None) -> tuple[Decimal, Decimal]:
    return (Decimal(0), Decimal(0)) if crew is None else (crew.home_latitude, crew.home_longitude)


def _placement(phase: Phase, visits: list[Visit]) -> Placement:
    parts = tuple(WorkPart(v.day, v.first_hour, v.first_hour + v.hours) for v in visits)
    rig = visits[0].rig_id if phase.rig_kind and not is_short(phase) else None
    return Placement(phase_id(phase), f"c{visits[0].crew_id}", parts, "" if rig is None else f"r{rig}")
