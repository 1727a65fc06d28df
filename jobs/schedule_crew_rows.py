"""Crews and rigs as the solvers see them: people, skills with valid certificates, hours, days away."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date, timedelta

from django.db.models import Prefetch

from jobs.models import Absence, Certificate, CertificateKind, Crew, CrewMember, Rig, RigKind, Skill
from jobs.schedule_problem import WEEKDAYS, CrewHours, Span
from jobs.schedule_problem import Crew as PlanCrew
from jobs.schedule_problem import Rig as PlanRig

TEST_KIT = "test_kit"
"""Skill word of a crew that takes a blower door of its own on short visits."""


def crew_id(crew: Crew) -> str:
    """Id of a crew in the problem."""
    return f"c{crew.pk}"


def days_away(first: date, last: date) -> dict[int, list[Absence]]:
    """Absences of everybody and everything by the key of the row, a week back included."""
    found: dict[int, list[Absence]] = defaultdict(list)
    # Lost days of this week count as well: what was booked on them is planned anew.
    for row in Absence.objects.filter(last_day__gte=first - timedelta(days=7), first_day__lte=last):
        found[row.resource_id].append(row)
    return found


def going_out() -> Iterable[Crew]:
    """Crews that go out now, with their people and rigs."""
    members = CrewMember.objects.filter(until__isnull=True, worker__is_active=True).select_related("worker")
    rows = Crew.objects.filter(is_active=True).order_by("name", "pk")
    return rows.prefetch_related(Prefetch("members", members.prefetch_related("worker__skills")), "rigs__rig")


def kits_of(crews: Iterable[Crew]) -> dict[str, Rig]:
    """A blower door for each crew that usually takes one; where two do, the smaller crew has it."""
    given: dict[str, Rig] = {}
    for crew in sorted(crews, key=lambda crew: (len(crew.members.all()), crew.name)):
        for row in crew.rigs.all():
            rig = row.rig
            free = rig.is_active and rig not in given.values()
            if rig.kind == RigKind.TEST_KIT and free and crew_id(crew) not in given:
                given[crew_id(crew)] = rig
    return given


def crew_away(crew: Crew, day: date, away: dict[int, list[Absence]]) -> str:
    """Why a crew does not go out on a day, empty where it does: it goes out whole or not at all."""
    for who in (crew, *(member.worker for member in crew.members.all())):
        for row in away.get(who.pk, ()):
            if row.first_day <= day <= row.last_day:
                return row.reason if who.pk == crew.pk else f"{who.name}: {row.reason}"
    return ""


def plan_crews(
    crews: Iterable[Crew],
    kits: dict[str, Rig],
    away: dict[int, list[Absence]],
    taken: dict[int, dict[date, set[int]]],
    first: date,
) -> Iterator[PlanCrew]:
    """Crews with somebody on them. `taken`: hours of the day, by crew and day, that are not planned anew."""
    certified = {
        row.worker_id
        for row in Certificate.objects.filter(kind=CertificateKind.LEAD_RENOVATOR, worker__isnull=False)
        if row.holds_on(first)
    }
    for crew in crews:
        people = [member.worker for member in crew.members.all()]
        if not people:
            continue
        skills = {row.skill for person in people for row in person.skills.all() if row.skill != Skill.LEAD_SAFE}
        if any(row.skill == Skill.LEAD_SAFE and p.pk in certified for p in people for row in p.skills.all()):
            skills.add(Skill.LEAD_SAFE)
        rig = kits.get(crew_id(crew))
        hours, closed = _rest_of_days(crew, taken.get(crew.pk, {}))
        spans = [
            Span(row.first_day, row.last_day, row.reason if who is crew else f"{who.name}: {row.reason}")
            for who in (crew, *people)
            for row in away.get(who.pk, ())
        ]
        yield PlanCrew(
            crew_id(crew),
            crew.name,
            float(crew.home_latitude),
            float(crew.home_longitude),
            size=len(people),
            skills=tuple(sorted(str(skill) for skill in skills) + ([TEST_KIT] if rig is not None else [])),
            weekdays=tuple(WEEKDAYS[int(d) - 1] for d in crew.works_on),
            start_hour=crew.first_hour,
            end_hour=crew.last_hour,
            other_hours=tuple(hours),
            absences=(*sorted(spans, key=lambda span: (span.first, span.last, span.why)), *closed),
        )


def _rest_of_days(crew: Crew, taken: dict[date, set[int]]) -> tuple[list[CrewHours], list[Span]]:
    """What is left of days on which a crew has something that is not planned anew: the longer end, or nothing."""
    hours, closed = [], []
    for on, busy in sorted(taken.items()):
        inside = [hour for hour in busy if crew.first_hour <= hour < crew.last_hour]
        if not inside:
            continue
        before, after = min(inside) - crew.first_hour, crew.last_hour - 1 - max(inside)
        if before <= 0 and after <= 0:
            closed.append(Span(on, on, "out on a job that stays as it is"))
        elif after >= before:
            hours.append(CrewHours(on, max(inside) + 1, crew.last_hour))
        else:
            hours.append(CrewHours(on, crew.first_hour, min(inside)))
    return hours, closed


def plan_rigs(rigs: Iterable[Rig], away: dict[int, list[Absence]], taken: dict[int, set[date]]) -> Iterator[PlanRig]:
    """Rigs; `taken`: days, by rig, on which it is out on something that is not planned anew."""
    for rig in rigs:
        spans = [Span(row.first_day, row.last_day, row.reason) for row in away.get(rig.pk, ())]
        spans += [Span(on, on, "on a job that stays as it is") for on in sorted(taken.get(rig.pk, ()))]
        yield PlanRig(f"r{rig.pk}", rig.name, (rig.kind,), tuple(spans))
