"""The jobs of the demo scenario at work: booked, visited, reported, tested, verified, billed and paid.

Everything goes through the services that the pages use. Only the visits of the past are written as they were, with
their hours: the planner plans ahead and never back.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.house import Round
from estimates.models import Proposal, ProposalStatus, Role, User
from jobs.booking import frozen_forms, job_book, job_move
from jobs.entries import entries_receive
from jobs.house_tests import house_test_record, promised_leakage
from jobs.models import Crew, FindingKind, GateKind, Job, JobStatus, JobWall, Phase, PhaseKind, Slot, Verdict, Visit
from jobs.papers import paper_make
from jobs.start_gates import gate_meet, pamphlet_record
from jobs.verification import finding_add, finding_close, job_verify
from jobs.visits import hour_start, visit_resources
from reports.scenario import ORIGIN, Scenario
from reports.scenario_jobs import Defect, JobEnd, JobRecord, Stretch, days_of, load_jobs, spread
from reports.scenario_money import job_billed, job_refunded, months_closed
from reports.scenario_story import EVENING, Calendar

KEYS = uuid.UUID("6f1d7a54-51a1-4c8e-9c7e-0d7d8a1f2b3c")
"""Under which the codes of the demo's entries are made, so that they are the same at every load."""

BAYS_A_MIX = 12
"""Bays that one entry of mixes names, of a job that is told in full."""

BAYS_A_WALL = 300
"""The same of an old job without a story, which is told in short: the first start of the demo waits for it."""


def jobs_load(story: Scenario, *, crews: Mapping[str, Crew], owner: User) -> list[Job]:
    """Bring the jobs of the houses that were signed; those that are there already are left as they are.

    Returns
    -------
    Jobs that were brought now.
    """
    office = User.objects.filter(role=Role.SCHEDULER).order_by("id")[0]
    rows, found = load_jobs(), []
    for house in story.houses:
        row = rows.get(house.record.id)
        proposal = Proposal.objects.filter(house__reference=house.record.id, accepted_at__isnull=False).first()
        if (
            row is None
            or proposal is None
            or row.end is JobEnd.SIGNED
            or Job.objects.filter(proposal=proposal).exists()
        ):
            continue
        with transaction.atomic():
            booked_at = proposal.accepted_at + timedelta(hours=15) if proposal.accepted_at else story.days.time(0)
            if proposal.status == ProposalStatus.CANCELLED:
                continue
            job = job_book(proposal=proposal, by=office, now=booked_at, origin=ORIGIN)
            work = Work(job, row, story.days, crews, owner, office)
            if row.end is JobEnd.CANCELLED:
                assert house.lead.cancelled is not None
                job_refunded(job, story.days, cancelled=house.lead.cancelled, words=house.lead.words, owner=owner)
            else:
                work.done()
            found.append(job)
    # A demo of some houses only may be asked for more of them later: their months stay open.
    if set(rows) <= {house.record.id for house in story.houses}:
        months_closed(story.days, owner=owner)
    return found


@dataclass(slots=True)
class Work:
    """One job of the story being brought in, day by day."""

    job: Job
    row: JobRecord
    days: Calendar
    crews: Mapping[str, Crew]
    owner: User
    office: User
    forms: dict[str, Any] = field(init=False)
    sent: int = 0

    def __post_init__(self) -> None:
        self.forms = frozen_forms(self.job)

    def done(self) -> None:
        """Bring everything that happened before the Monday of the story."""
        job_billed(self.job, self.row, self.days, owner=self.owner, step="deposit")
        if self.row.end is JobEnd.BOOKED or self.row.begin is None:
            self._gates(self.job.booked_at.date() + timedelta(days=12))
            return
        self._gates(self.days.day(self.row.begin))
        stretches = self._stretches()
        self._visits(stretches)
        for day in sorted({one.day for one in stretches}):
            self._day(day, [one for one in stretches if one.day == day], stretches)
        if self.row.end is JobEnd.STARTED:
            return
        last = max(one.day for one in stretches)
        self._defects(last)
        self._verify(last)
        job_billed(self.job, self.row, self.days, owner=self.owner, step="final", on=last + timedelta(days=3))
        self._afterwards()

    # --- before ----------------------------------------------------------------------------------------------------

    def _gates(self, begin: date) -> None:
        for gate in self.job.gates.filter(met_on__isnull=True):
            acts: dict[str, Any] = {"by": self.office, "now": self._at(begin, 8), "version": gate.version}
            if gate.kind == GateKind.PAMPHLET:
                pamphlet_record(
                    gate=gate,
                    given_on=begin - timedelta(days=10),
                    mailed=False,
                    proof="Signed copy in the file",
                    **acts,
                )
            else:
                met = begin - timedelta(days=2)
                gate_meet(gate=gate, met_on=met, note="Seen on site and noted in the file.", **acts)

    def _stretches(self) -> list[Stretch]:
        crew = self._crew
        people = len(crew.people) or 1
        hours = []
        for phase in self._phases:
            factor = 1.0 if phase.kind in (PhaseKind.TEST_IN, PhaseKind.TEST_OUT) else self.row.hours
            hours.append(float(phase.hours) * factor)
        found = spread(
            hours, days_of(self.days, self.row), people=people, first_hour=crew.first_hour, last_hour=crew.last_hour
        )
        # What lies ahead is planned, not reported.
        return [one for one in found if one.day < self.days.day(0)]

    @property
    def _crew(self) -> Crew:
        return self.crews[self.row.crew]

    @property
    def _phases(self) -> list[Phase]:
        kinds = (PhaseKind.INFRARED, PhaseKind.RETURN)
        return list(self.job.phases.exclude(kind__in=kinds).order_by("position"))

    def _visits(self, stretches: list[Stretch]) -> None:
        phases = self._phases
        for one in stretches:
            self._visit(phases[one.phase], self._crew, one.day, one.first_hour, one.hours)

    def _visit(self, phase: Phase, crew: Crew, day: date, first_hour: int, hours: int) -> None:
        rigs = [row.rig for row in crew.rigs.select_related("rig") if row.rig.kind == phase.rig_kind]
        visit = Visit(
            phase=phase,
            crew=crew,
            rig=rigs[0] if rigs and phase.rig_kind != "test_kit" else None,
            day=day,
            first_hour=first_hour,
            hours=hours,
            promised=True,
            made_at=self.job.booked_at,
            made_by=self.office,
        )
        visit.full_clean()
        visit.save()
        Slot.objects.bulk_create(
            Slot(resource_id=resource.pk, starts_at=hour_start(day, hour), visit=visit)
            for resource in visit_resources(visit)
            for hour in range(first_hour, first_hour + hours)
        )

    # --- a day -----------------------------------------------------------------------------------------------------

    def _day(self, day: date, today: list[Stretch], every: list[Stretch]) -> None:
        phases, finished = self._phases, []
        for one in today:
            phase = phases[one.phase]
            mine = [other for other in every if other.phase == one.phase]
            self._hours(day, phase, one, mine)
            if one is mine[-1] or (one.day, one.first_hour) == (mine[-1].day, mine[-1].first_hour):
                finished.append(phase.kind)
            if phase.kind == PhaseKind.INJECT:
                self._inject(day, mine.index(one), len(mine))
            elif phase.kind in finished:
                self._finish(day, phase)
        done = [{"phase": kind} for kind in finished if kind not in (PhaseKind.INJECT,)]
        self._tell(day, "day_close", {"after_midday": True, "done": done}, at=16)

    def _hours(self, day: date, phase: Phase, one: Stretch, mine: list[Stretch]) -> None:
        people = len(self._crew.people) or 1
        factor = 1.0 if phase.kind in (PhaseKind.TEST_IN, PhaseKind.TEST_OUT) else self.row.hours
        each = float(phase.hours) * factor / people * one.hours / sum(other.hours for other in mine)
        self._tell(day, "hours", {"hours": round(each, 2), "people": people, "stretch": phase.kind}, at=15)

    def _finish(self, day: date, phase: Phase) -> None:
        if phase.kind == PhaseKind.PREPARE:
            self._tell(day, "check", {"what": "protection", "good": True}, at=9)
        elif phase.kind == PhaseKind.CLOSE_UP and self._in_full:
            for wall in self.job.walls.all():
                holes = sum(wall.bays.filter(retired=False, reachable=True).values_list("holes", flat=True))
                self._tell(day, "plugs", {"plugs": holes, "holes": holes}, wall=wall, at=14)
        elif phase.kind == PhaseKind.AIR_SEALING:
            for line in self._lines("leak"):
                self._tell(day, "leak", {"site": line["subject"], "closed": True}, at=14)
        elif phase.kind == PhaseKind.ATTIC:
            self._attics(day)
        elif phase.kind in (PhaseKind.TEST_IN, PhaseKind.TEST_OUT):
            self._test(day, "in" if phase.kind == PhaseKind.TEST_IN else "out")

    def _lines(self, code: str) -> list[Mapping[str, Any]]:
        option = next(one for one in self.forms["estimate"]["options"] if one["id"] == self.job.option)
        return [line for line in option["lines"] if line["code"] == code]

    def _attics(self, day: date) -> None:
        wanted = [line["subject"] for line in self._lines("attic")]
        for attic in self.forms["takeoff"]["attics"]:
            if attic["id"] not in wanted:
                continue
            self._tell(day, "bags", {"bags": -int(-attic["bags"] // 1), "attic": attic["id"]}, at=13)
            if not self._in_full:
                continue
            initial = attic["added"]["initial_in"]
            for place, more in (
                ("at the hatch", 0.2),
                ("over the stair", 0.0),
                ("north eave", 0.4),
                ("south eave", 0.3),
            ):
                depth = {"depth_in": round(initial + more, 1), "place": place, "attic": attic["id"]}
                self._tell(day, "depth", depth, at=14)

    # --- injecting -------------------------------------------------------------------------------------------------

    def _inject(self, day: date, index: int, count: int) -> None:
        """The walls whose turn it is on this day of injecting."""
        walls = list(self.job.walls.all())
        first, last = len(walls) * index // count, len(walls) * (index + 1) // count
        foam = self.forms["price_book"]["foams"][0]
        for wall in walls[first:last]:
            if self._in_full:
                air = {"air_f": 55, "substrate_f": 50, "chemical_f": 68, "water_f": 70, "forecast_low_f": 41}
                self._tell(day, "temperature", {"slot": "start", **air}, wall=wall, at=9)
                self._tell(day, "moisture", {"content_pct": 12.5}, wall=wall, at=9)
            self._fill(day, wall, foam)

    @property
    def _in_full(self) -> bool:
        return self.row.void is not None or self.row.escape is not None or self.row.end is not JobEnd.CLOSED

    def _fill(self, day: date, wall: JobWall, foam: Mapping[str, Any]) -> None:
        bays = list(wall.bays.filter(retired=False, reachable=True).order_by("number"))
        if not bays:
            return
        filled = {"state": "filled", "bays": [{"bay": bay.number} for bay in bays], "returned": "top hole"}
        self._tell(day, "bay", filled, wall=wall, at=12)
        factor = self.row.mix
        if self.row.escape is not None and self._is(wall, self.row.escape):
            factor *= 1.35
        wet, per_mix = float(foam["wet_lb_ft3"]), float(foam["yield_ft3"]) * float(foam["wet_lb_ft3"])
        short = self._short(wall, bays)
        step = BAYS_A_MIX if self._in_full else BAYS_A_WALL
        for start in range(0, len(bays), step):
            some = bays[start : start + step]
            poured = sum(bay.fill_ft3 for bay in some) * factor - sum(short.get(bay.number, 0.0) for bay in some)
            mass = max(1.0, poured) * wet
            water = round(mass * 0.55 / 8.34, 2)
            data = {
                "lot": f"M{self.days.day(0).year % 100}-{abs(self.row.begin or 0) // 14:02d}",
                "ingredients_lb": round(mass - water * 8.34, 2),
                "water_gal": water,
                "mixes": max(1, round(mass * (1 + float(foam["waste"])) / per_mix)),
                "bays": [{"bay": bay.number} for bay in some],
                "container_gal": 1.0,
                "sample_lb": round(wet * 231 / 1728, 4),
            }
            self._tell(day, "mix", data, wall=wall, at=13)

    def _is(self, wall: JobWall, defect: Defect) -> bool:
        return wall.key == defect.wall or (not defect.wall and wall.position == 1)

    def _short(self, wall: JobWall, bays: list[Any]) -> dict[int, float]:
        """Volume that a void left out, bay by bay from the last one on."""
        void = self.row.void
        if void is None or not self._is(wall, void):
            return {}
        left, found = void.area, {}
        for bay in reversed(bays):
            part = min(left, bay.area_ft2)
            found[bay.number] = bay.fill_ft3 * part / bay.area_ft2
            left -= part
            if left <= 1e-9:
                break
        return found

    # --- tests and findings ----------------------------------------------------------------------------------------

    def _test(self, day: date, when: str) -> None:
        form: dict[str, Any] = {"fire_out": True, "ash_cold": True, "appliances_disabled": True}
        house = self.forms["house"]
        door, promised = house.get("blower_door"), promised_leakage(self.job, self.forms)
        if door and promised["before"]:
            p50 = promised["after"]["p50"]
            scale = 1.0 if when == "in" else 1.0 - self.row.cut * (1.0 - p50 / promised["before"])
            points = [{**point, "flow_cfm": point["flow_cfm"] * scale} for point in door["points"]]
            form["blower_door"] = {**door, "points": points}
        form["combustion"] = self._combustion(day, Round.TEST_IN if when == "in" else Round.TEST_OUT)
        tester = self._reporter
        try:
            house_test_record(job=self.job, when=when, form=form, by=tester, now=self._at(day, 15), origin=ORIGIN)
        except ValidationError:
            # Where the fan may not run, only combustion is tested.
            form.pop("blower_door", None)
            house_test_record(job=self.job, when=when, form=form, by=tester, now=self._at(day, 15), origin=ORIGIN)

    def _combustion(self, day: date, kind: Round) -> dict[str, Any]:
        """A round in which everything is as it should be, of the appliances that the house has."""
        names: dict[str, str] = {}
        for known in self.forms["house"].get("combustion", []):
            names |= {appliance["name"]: appliance["vent"] for appliance in known.get("appliances", [])}
        good = {"spillage_s": 5, "suction_pa": -0.5, "flue_co_ppm": 20, "restored": True}
        return {
            "round": kind.value,
            "on": day.isoformat(),
            "gas_leak_found": False,
            "ambient_co_ppm": 1,
            "appliances": [{"name": name, "vent": vent, **good} for name, vent in names.items()],
        }

    def _defects(self, last: date) -> None:
        for defect, kind in ((self.row.void, FindingKind.PROBE), (self.row.escape, FindingKind.BALANCE)):
            if defect is None:
                continue
            wall = next((one for one in self.job.walls.all() if self._is(one, defect)), None)
            found, mended = max(last, self.days.day(defect.found)), max(last, self.days.day(defect.mended))
            row = finding_add(
                job=self.job,
                kind=kind,
                verdict=Verdict.REDO,
                words=defect.words,
                wall=wall,
                area_ft2=defect.area,
                confirmed=kind == FindingKind.PROBE,
                by=self.owner,
                now=self._at(found, 17),
                origin=ORIGIN,
            )
            self._return(mended, defect.words)
            how = (
                "Drilled and filled, material at the witness hole." if defect.area else "Cleaned, closed and looked at."
            )
            finding_close(
                finding=row, how=how, by=self.owner, now=self._at(mended, 17), version=row.version, origin=ORIGIN
            )

    def _return(self, day: date, words: str) -> None:
        """The return visit, where the finding opened one."""
        phase = self.job.phases.filter(kind=PhaseKind.RETURN).first()
        if phase is None:
            return
        hour = self._free_hour(day)
        self._visit(phase, self._crew, day, hour, 2)
        self._tell(day, "hours", {"hours": 2.0, "people": 2, "stretch": "return"}, at=16)
        self._tell(day, "note", {"text": words}, at=16)
        self._tell(day, "day_close", {"done": [{"phase": "return"}]}, at=16)

    def _free_hour(self, day: date) -> int:
        taken = set(Slot.objects.filter(resource=self._crew.pk).values_list("starts_at", flat=True))
        hours = range(self._crew.first_hour, self._crew.last_hour - 1)
        free = [h for h in hours if hour_start(day, h) not in taken and hour_start(day, h + 1) not in taken]
        return free[0] if free else self._crew.last_hour

    def _verify(self, last: date) -> None:
        job = Job.objects.get(pk=self.job.pk)
        inspector = self.crews["Test crew"].lead
        assert inspector is not None
        assert inspector.user is not None
        defects = [d for d in (self.row.void, self.row.escape) if d is not None]
        day = max([last + timedelta(days=1), *(self.days.day(d.mended) + timedelta(days=1) for d in defects)])
        paper_make(job=job, kind="receipt", by=self.owner, now=self._at(day, 9), on=day, origin=ORIGIN)
        job_verify(
            job=job,
            inspector=inspector.user,
            now=self._at(day, 10),
            infrared_judged=False,
            today=day,
            same_person_reason="",
            origin=ORIGIN,
        )
        job = Job.objects.get(pk=job.pk)
        for kind in ("certificate", "completion") if self._in_full else ("completion",):
            paper_make(job=job, kind=kind, by=self.owner, now=self._at(day, 11), on=day, origin=ORIGIN)

    def _afterwards(self) -> None:
        tests = self.crews["Test crew"]
        phase = self.job.phases.filter(kind=PhaseKind.INFRARED).first()
        if self.row.infrared is not None and phase is not None:
            day = self.days.day(self.row.infrared)
            self._visit(phase, tests, day, 9, 2)
            self._tell(day, "hours", {"hours": 2.0, "stretch": "infrared"}, at=11, crew=tests)
            self._tell(day, "day_close", {"done": [{"phase": "infrared"}]}, at=12, crew=tests)
        job = Job.objects.get(pk=self.job.pk)
        if self.row.end is JobEnd.CLOSED:
            assert self.row.paid is not None
            now = self.days.time(self.row.paid)
            job_move(job=job, to=JobStatus.CLOSED, by=self.owner, now=now, origin=ORIGIN)
        if self.row.call_back is not None:
            self._called_back()

    def _called_back(self) -> None:
        back = self.row.call_back
        assert back is not None
        last = self.job.phases.order_by("-position").values_list("position", flat=True)[0]
        phase = Phase(
            job=self.job,
            kind=PhaseKind.RETURN,
            position=last + 1,
            hours=Decimal(str(back.hours)),
            note=back.words,
        )
        phase.full_clean()
        phase.save()
        day = self.days.day(back.day)
        self._visit(phase, self._crew, day, self._free_hour(day), max(1, round(back.hours)))
        self._tell(day, "hours", {"hours": back.hours, "stretch": "return"}, at=15)
        self._tell(day, "note", {"text": back.words}, at=15)

    # --- telling ---------------------------------------------------------------------------------------------------

    @property
    def _reporter(self) -> User:
        lead = self._crew.lead
        assert lead is not None
        assert lead.user is not None
        return lead.user

    def _at(self, day: date, hour: int) -> datetime:
        return datetime.combine(day, time(hour), self.days.zone)

    def _tell(
        self,
        day: date,
        kind: str,
        data: dict[str, Any],
        *,
        at: int,
        wall: JobWall | None = None,
        crew: Crew | None = None,
    ) -> None:
        """Report something as the phone does; what the service does not take is a fault of the story."""
        self.sent += 1
        noted = self._at(day, at) + timedelta(seconds=self.sent)
        item: dict[str, Any] = {
            "code": str(uuid.uuid5(KEYS, f"{self.row.house}-{self.sent}")),
            "job": str(self.job.code),
            "kind": kind,
            "data": data,
            "noted_at": noted.isoformat(),
        }
        if wall is not None:
            item["wall"] = wall.key
        lead = (crew or self._crew).lead
        assert lead is not None
        assert lead.user is not None
        answer = entries_receive(
            user=lead.user, items=[item], now=datetime.combine(day, EVENING, self.days.zone), origin=ORIGIN
        )[0]
        if answer["state"] != "received":
            raise ValidationError(f"{self.row.house}: {kind} on {day}: {answer['faults']}")
