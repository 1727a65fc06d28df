"""Writing and reading of site assessments: a house record as rows, and back without loss.

While an assessment is open its record may be unfinished: every field holds what the record allows, but there may be no
wall yet, or an opening that does not fit. Completing it asks for everything (rule G1). Name and address belong to the
house: an assessment brings them to the house, and shows them as the house has them now. What was priced is frozen in
the revision, not here.
"""

from __future__ import annotations

import hashlib
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.gates import house_gates
from estimates.house import HouseRecord, house_faults, house_to_json
from estimates.houses import house_put
from estimates.leads import lead_follow
from estimates.models.assessment import Assessment, AssessmentStatus
from estimates.models.house import RECORD_FIELDS, House
from estimates.models.lead import LeadStage
from estimates.models.record_rows import delete_lists, read_lists, write_lists
from estimates.models.user import User
from estimates.records import BadRecord, read_record, write_record
from estimates.snapshot import canonical_json


class AssessmentChanged(Conflict):
    """Somebody else changed the assessment since it was read; `stored` and `version` are what it holds now."""

    def __init__(self, stored: HouseRecord, version: int, by: User) -> None:
        super().__init__(
            f"{by.full_name} has changed this assessment in the meantime. Compare both, then save again on version "
            f"{version}."
        )
        self.stored = stored
        self.version = version


def assessment_from_record(
    *, house: House, record: HouseRecord, by: User, now: datetime, again: bool = False, origin: str = ""
) -> Assessment:
    """Begin the next assessment of a house with a record; the record that its latest one holds writes nothing.

    Parameters
    ----------
    house : the house; its row is locked while the number is chosen, and takes name and address from the record.
    record : what was measured so far.
    by : who measured.
    now : the time of the whole act.
    again : begin the next one although the latest, which is completed, holds the same record: to go on from there.
    origin : network address or command.

    Raises
    ------
    BadRecord : a field of the record holds what it may not; every fault with its path.
    ValidationError : the record is of another house, or another assessment of the house is still open.
    """
    record = _read_again(record)
    with transaction.atomic():
        house = _house_of(house, record, by, now, origin)
        latest = Assessment.objects.filter(house=house).order_by("-number").first()
        going_on = again and latest is not None and latest.status == AssessmentStatus.COMPLETED
        if latest is not None and not going_on and assessment_to_record(latest) == record:
            return latest
        if latest is not None and latest.status == AssessmentStatus.OPEN:
            raise ValidationError(
                {"house": f"Assessment {latest.number} of {house.reference} is open. Change or complete that one."}
            )
        assessment = Assessment(
            house=house,
            number=1 if latest is None else latest.number + 1,
            created_at=now,
            created_by=by,
            updated_at=now,
            updated_by=by,
        )
        _write(assessment, record)
        _note("assessment.begin", assessment, by, now, origin, None if latest is None else _mark(latest))
    return assessment


def assessment_put(
    *, assessment: Assessment, record: HouseRecord, expected_version: int, by: User, now: datetime, origin: str = ""
) -> Assessment:
    """Bring an open assessment to a record; the record that it holds already writes nothing.

    Parameters
    ----------
    assessment : the assessment; its row is locked.
    record : what was measured so far.
    expected_version : the version that was read before the change.
    by, now, origin : who, when, from where.

    Raises
    ------
    BadRecord : a field of the record holds what it may not; every fault with its path.
    AssessmentChanged : it is at another version by now.
    ValidationError : it is completed, or the record is of another house.
    """
    record = _read_again(record)
    with transaction.atomic():
        locked = _locked_open(assessment, expected_version)
        stored = assessment_to_record(locked)
        if stored == record:
            return locked
        before = _mark(locked)
        locked.house = _house_of(locked.house, record, by, now, origin)
        locked.version += 1
        locked.updated_at, locked.updated_by = now, by
        delete_lists(Assessment, locked)
        _write(locked, record)
        _note("assessment.put", locked, by, now, origin, before)
    return locked


def assessment_complete(
    *, assessment: Assessment, expected_version: int, by: User, now: datetime, origin: str = ""
) -> Assessment:
    """Complete an assessment: from now on it is not changed (rule G1).

    Raises
    ------
    AssessmentChanged : it is at another version by now.
    ValidationError : it is completed already, something in its record does not fit together, or a hazard gate is open;
        every fault and every gate is named.
    """
    with transaction.atomic():
        locked = _locked_open(assessment, expected_version)
        record = assessment_to_record(locked)
        faults = list(house_faults(record))
        if faults:
            raise ValidationError({"record": [str(fault) for fault in faults]})
        try:
            gates = house_gates(record)
        except BadRecord as bad:
            raise ValidationError({"record": [str(fault) for fault in bad.faults]}) from None
        if gates.open:
            raise ValidationError({"gate_answers": [f"Answer the gate {gate}" for gate in gates.open]})
        before = _mark(locked)
        locked.status = AssessmentStatus.COMPLETED
        locked.version += 1
        locked.sha256 = record_sha256(record)
        locked.completed_at = locked.updated_at = now
        locked.completed_by = locked.updated_by = by
        locked.save()
        _note("assessment.complete", locked, by, now, origin, before)
        # The lead of a house that is measured is assessed, whoever forgets to say so.
        waiting = [LeadStage.NEW, LeadStage.VISIT_SET]
        lead_follow(house=locked.house, stages=waiting, to=LeadStage.ASSESSED, by=by, now=now, origin=origin)
    return locked


def assessment_to_record(assessment: Assessment) -> HouseRecord:
    """Return the record that an assessment holds; one query a table, however many walls there are.

    Name and address are those that the house has now.
    """
    while True:
        row = Assessment.objects.select_related("house").get(pk=assessment.pk)
        lists = read_lists(Assessment, "parent", row)
        # Rows are read table by table; a change in between shows as another version, and then all are read again.
        if Assessment.objects.values_list("version", flat=True).get(pk=row.pk) == row.version:
            break
    plan = Assessment.kept.plan
    values = {column.name: getattr(row, column.name) for column in plan.all_columns()}
    address = {name: getattr(row.house, column) for name, column in RECORD_FIELDS.items()}
    record: HouseRecord = plan.build(values, lambda name: lists[name].get(row.pk, ()), **address)
    return record


def record_sha256(record: HouseRecord) -> str:
    """Return the sha256 of the canonical form of a record, as a revision freezes it."""
    return hashlib.sha256(canonical_json(house_to_json(record)).encode()).hexdigest()


def _read_again(record: HouseRecord) -> HouseRecord:
    """The record through the reader, so that a row never holds what a record cannot."""
    return read_record(HouseRecord, write_record(record))


def _house_of(house: House, record: HouseRecord, by: User, now: datetime, origin: str) -> House:
    """The house, locked, with name and address as recorded."""
    locked = House.objects.select_for_update().get(pk=house.pk)
    if record.id != locked.reference:
        raise ValidationError(
            {"record": f"$.id: {record.id} is another house; enter {locked.reference}, or choose that house"}
        )
    return house_put(record=record, is_demo=locked.is_demo, created_by=by, now=now, origin=origin)


def _locked_open(assessment: Assessment, expected_version: int) -> Assessment:
    locked = Assessment.objects.select_for_update(of=("self",)).select_related("house").get(pk=assessment.pk)
    if locked.status != AssessmentStatus.OPEN:
        raise ValidationError(
            {"status": f"Assessment {locked.number} is completed and stays as it is. Begin a new one for this house."}
        )
    if locked.version != expected_version:
        raise AssessmentChanged(assessment_to_record(locked), locked.version, locked.updated_by)
    return locked


def _write(assessment: Assessment, record: HouseRecord) -> None:
    for name, value in Assessment.kept.plan.values(record).items():
        setattr(assessment, name, value)
    assessment.sha256 = record_sha256(record)
    assessment.save()
    write_lists(Assessment, [(assessment, record)])


def _mark(assessment: Assessment) -> dict[str, Any]:
    """What the record of acts says of an assessment: enough to tell what was there, without repeating it."""
    return {
        "assessment": assessment.number,
        "version": assessment.version,
        "sha256": assessment.sha256,
        "status": assessment.status,
    }


def _note(
    action: str, assessment: Assessment, by: User, now: datetime, origin: str, before: dict[str, Any] | None
) -> None:
    activity_record(
        actor=by, action=action, target=assessment, now=now, before=before, after=_mark(assessment), origin=origin
    )
