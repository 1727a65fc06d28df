"""What the start of a job waits for (rule S1): gates that follow from what was signed, and those that somebody adds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.cancelling import cancellation_standing, contract_rules
from estimates.command import Conflict
from estimates.gates import HeldPart, house_gates, load_hazards
from estimates.house import HouseRecord, Verdict
from estimates.models.user import User
from estimates.records import read_record
from estimates.rules import needed_rule, places_of, whole_of
from estimates.start import EarliestStart, StartGate, earliest_start
from jobs.models import Certificate, CertificateKind, GateKind, Job, JobGate

ELECTRICAL = frozenset({"knob_and_tube", "wiring_condition"})
"""Hazards whose controls are an electrician's work."""

SERVICE = frozenset({"overhead_service"})
"""Hazards whose controls are clearance from the service drop."""


def wanted_gates(job: Job, forms: Mapping[str, Any], option: Mapping[str, Any]) -> Iterator[JobGate]:
    """Gates that follow from what was signed: not saved yet."""
    right = cancellation_standing(job.proposal).right
    yield JobGate(
        job=job,
        kind=GateKind.CANCELLATION,
        name=GateKind.CANCELLATION.label,
        rule="; ".join(right.waiting or right.notes)[:600],
        owes="Homeowner",
        met_on=right.last_day,
    )
    if option["lead_rule"]["holds"]:
        yield JobGate(
            job=job, kind=GateKind.PAMPHLET, name=GateKind.PAMPHLET.label, owes="Office", same_day=True, rule=PAMPHLET
        )
    for given in option["incentives"]["given"]:
        if any("approval" in need for need in given["needs"]):
            name = f"{GateKind.PROGRAMME.label}: {given['name']}"[:120]
            yield JobGate(job=job, kind=GateKind.PROGRAMME, name=name, owes="Office", same_day=True)
    yield from _hazards(job, forms, {line["subject"] for line in option["lines"] if line["subject"]})


PAMPHLET = "Handed over at most 60 days before the start, mailed at least 7 days before (40 CFR 745.84)."


def _hazards(job: Job, forms: Mapping[str, Any], parts: set[str]) -> Iterator[JobGate]:
    """Hazards that somebody still has to look at, and controls that somebody else has to carry out."""
    house = read_record(HouseRecord, forms["house"])
    gates, catalogue = house_gates(house), load_hazards()
    answers = {answer.hazard: answer for answer in house.gate_answers}
    for hazard, held in _by_hazard((h for h in gates.held if h.verdict is Verdict.UNKNOWN), parts):
        answer = answers[hazard]
        name = f"{catalogue.hazard(hazard).question}"[:120]
        how = f"{answer.verifier} finds out by {answer.how} before {answer.before_phase}."
        yield JobGate(
            job=job,
            kind=GateKind.HAZARD,
            name=name,
            walls=held,
            rule=how[:600],
            owes=answer.verifier[:80],
            same_day=True,
        )
    for hazard, held in _by_hazard(gates.controls, parts):
        if hazard not in ELECTRICAL | SERVICE:
            continue
        kind = GateKind.ELECTRICIAN if hazard in ELECTRICAL else GateKind.SERVICE_DROP
        rule = catalogue.hazard(hazard).controls
        owes = "Electrician" if kind == GateKind.ELECTRICIAN else "Utility"
        name = f"{kind.label}: {catalogue.hazard(hazard).question}"[:120]
        yield JobGate(job=job, kind=kind, name=name, walls=held, rule=rule[:600], owes=owes)


def _by_hazard(held: Any, parts: set[str]) -> Iterator[tuple[str, list[str]]]:
    found: dict[str, list[str]] = {}
    one: HeldPart
    for one in held:
        if one.part in parts:
            found.setdefault(one.hazard, []).append(one.part)
    yield from ((hazard, sorted(set(named))) for hazard, named in found.items())


def start_gates(job: Job, *, lead_safe: bool) -> tuple[StartGate, ...]:
    """Every gate that the start of the whole job waits for; those of single walls are in `wall_gates`.

    Certificates of the lead-safe firm and of its renovator with the longest time are read as they stand today.
    """
    rows = [
        StartGate(gate.name, gate.met_on, gate.expires_on, same_day=gate.same_day, rule=gate.rule)
        for gate in job.gates.all()
        if not gate.walls
    ]
    return (*rows, *(certificate_gates() if lead_safe else ()))


def wall_gates(job: Job) -> dict[str, tuple[JobGate, ...]]:
    """Wall, attic or leak site -> gates that keep it from being started and are not met."""
    found: dict[str, list[JobGate]] = {}
    for gate in job.gates.all():
        if gate.met_on is None:
            for part in gate.walls:
                found.setdefault(part, []).append(gate)
    return {part: tuple(gates) for part, gates in found.items()}


def certificate_gates() -> Iterator[StartGate]:
    """Gates of lead-safe work: certificates of the firm and of the renovator that hold longest."""
    firm = Certificate.objects.filter(kind=CertificateKind.LEAD_FIRM, worker__isnull=True)
    people = Certificate.objects.filter(kind=CertificateKind.LEAD_RENOVATOR, worker__is_active=True)
    for rows, kind in ((firm, GateKind.LEAD_FIRM), (people, GateKind.LEAD_RENOVATOR)):
        best = rows.order_by("-valid_until").first()
        if best is None:
            yield StartGate(kind.label, None, rule="40 CFR 745.89, 745.90: certified firm, certified renovator.")
        else:
            yield StartGate(f"{kind.label} {best.number}", best.valid_from, best.valid_until, same_day=True)


def job_start(job: Job, *, lead_safe: bool, not_before: date) -> EarliestStart:
    """The first day on which a job may start, and the gate that decides it."""
    return earliest_start(start_gates(job, lead_safe=lead_safe), not_before=not_before)


def gate_add(
    *,
    job: Job,
    kind: GateKind,
    name: str,
    by: User,
    now: datetime,
    rule: str = "",
    owes: str = "",
    same_day: bool = False,
    walls: tuple[str, ...] = (),
    origin: str = "",
) -> JobGate:
    """Add something that a start waits for: a permit, a rescission, a wish of the homeowner.

    Raises
    ------
    ValidationError : no name, or one that the job has already; a wall that the job does not have.
    """
    known = set(job.walls.values_list("key", flat=True))
    strange = [wall for wall in walls if wall not in known]
    if strange:
        raise ValidationError({"walls": f"No wall {strange[0]!r} in this job. Choose from {', '.join(sorted(known))}."})
    with transaction.atomic():
        gate = JobGate(job=job, kind=kind, name=name.strip(), rule=rule, owes=owes, same_day=same_day)
        gate.walls = list(walls)
        gate.full_clean()
        gate.save()
        activity_record(actor=by, action="job.gate_add", target=job, now=now, after={"gate": gate.name}, origin=origin)
    return gate


def gate_meet(
    *,
    gate: JobGate,
    met_on: date | None,
    note: str,
    by: User,
    now: datetime,
    version: int,
    expires_on: date | None = None,
    origin: str = "",
) -> JobGate:
    """Record that a gate was met, on which day and with what proof; None takes that back.

    Raises
    ------
    ValidationError : the days are out of order, or there is no proof.
    Conflict : somebody else changed it meanwhile.
    """
    if met_on is not None and not note.strip():
        raise ValidationError({"note": "Enter the proof: number of the paper, who said so, when."})
    if met_on is not None and expires_on is not None and expires_on < met_on:
        raise ValidationError({"expires_on": "Enter a last day on or after the day it was met."})
    with transaction.atomic():
        locked = JobGate.objects.select_for_update().get(pk=gate.pk)
        if locked.version != version:
            raise Conflict(f"{locked.name} was changed by somebody else meanwhile. Look at it again.")
        before = {"met_on": locked.met_on, "expires_on": locked.expires_on, "note": locked.note}
        locked.met_on, locked.expires_on, locked.note = met_on, expires_on, note.strip()
        locked.met_by = by if met_on is not None else None
        locked.version += 1
        locked.full_clean()
        locked.save()
        after = {"gate": locked.name, "met_on": met_on, "expires_on": expires_on, "note": locked.note}
        activity_record(
            actor=by, action="job.gate_meet", target=locked.job, now=now, before=before, after=after, origin=origin
        )
    return locked


def pamphlet_record(
    *, gate: JobGate, given_on: date, mailed: bool, proof: str, by: User, now: datetime, version: int, origin: str = ""
) -> JobGate:
    """Record that the lead pamphlet was handed over or mailed: its window follows from the rules of the place (G4).

    Raises
    ------
    ValidationError : it is in the future, or there is no proof.
    Conflict : somebody else changed it meanwhile.
    """
    if given_on > now.date():
        raise ValidationError({"given_on": "Enter the day it was given; it cannot be in the future."})
    house = gate.job.house
    places = places_of(house.state, *([house.county] if house.county.strip() else []))
    rows = contract_rules(gate.job.proposal, places)
    most = whole_of(needed_rule(rows, places, "lead.pamphlet_days", given_on))
    wait = whole_of(needed_rule(rows, places, "lead.pamphlet_mailed_days", given_on)) if mailed else 0
    return gate_meet(
        gate=gate,
        met_on=given_on + timedelta(days=wait),
        expires_on=given_on + timedelta(days=most),
        note=f"{'Mailed' if mailed else 'Handed over'} {given_on.isoformat()}. {proof.strip()}"
        if proof.strip()
        else "",
        by=by,
        now=now,
        version=version,
        origin=origin,
    )
