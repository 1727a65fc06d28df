"""Leads: taking them, changing them, and moving them from stage to stage."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any, TypedDict, Unpack

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q, QuerySet

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.house import ComplaintRecord
from estimates.likeness import phone_key, place_key
from estimates.models.house import House
from estimates.models.lead import LEAD_MOVES, Lead, LeadComplaint, LeadMove, LeadSource, LeadStage
from estimates.models.record_rows import delete_rows, read_rows, write_rows
from estimates.models.user import User
from estimates.records import BadRecord, read_record, write_record


class LeadFields(TypedDict, total=False):
    """What can be entered of a lead. `consent`: whether the person agrees to be called; `zone`: "" for the state's."""

    person: str
    phone: str
    email: str
    street: str
    town: str
    state: str
    county: str
    postal_code: str
    zone: str
    visit_at: datetime | None
    source: LeadSource
    seller: User
    consent: bool
    next_step: str
    next_step_on: date | None
    house: House | None
    complaints: Sequence[ComplaintRecord]


class LeadChanged(Conflict):
    """Somebody else changed the lead since it was read; `stored` is what it is now."""

    def __init__(self, stored: Lead) -> None:
        super().__init__(
            f"{stored.person} was changed by somebody else in the meantime. Compare both, then save again on version "
            f"{stored.version}."
        )
        self.stored = stored


def lead_source_put(*, name: str, cost_per_lead: Decimal, by: User, now: datetime, origin: str = "") -> LeadSource:
    """Bring a source of leads and what one lead of it costs from now on; the same again writes nothing.

    Raises
    ------
    ValidationError : the name is missing, or the cost is no amount of 0 or more. [$]
    """
    with transaction.atomic():
        source = LeadSource.objects.select_for_update().filter(name=name).first()
        before = None if source is None else {"cost_per_lead": source.cost_per_lead}
        source = source or LeadSource(name=name)
        source.cost_per_lead = cost_per_lead
        source.full_clean()
        if before == {"cost_per_lead": source.cost_per_lead}:
            return source
        source.save()
        after = {"name": name, "cost_per_lead": source.cost_per_lead}
        activity_record(
            actor=by, action="lead_source.put", target=source, now=now, before=before, after=after, origin=origin
        )
    return source


def lead_take(
    *, by: User, now: datetime, is_demo: bool = False, origin: str = "", **fields: Unpack[LeadFields]
) -> Lead:
    """Take a new lead.

    Parameters
    ----------
    by : who took it.
    now : when it came in; also when consent was given.
    is_demo : it belongs to the demo scenario.
    origin : network address or command.
    fields : at least person, state, source, seller, and a telephone number or an e-mail address.

    Raises
    ------
    ValidationError : a field is missing or wrong; each with what to enter.
    """
    with transaction.atomic():
        lead = Lead(taken_at=now, is_demo=is_demo)
        changed = _set(lead, fields, now)
        # Not from the caller's object, which may be older than the price.
        source = LeadSource.objects.filter(pk=lead.source_id).first()
        lead.cost = Decimal(0) if source is None else source.cost_per_lead
        lead.full_clean()
        lead.save()
        _write_complaints(lead, fields)
        LeadMove.objects.create(lead=lead, stage=lead.stage, at=now, by=by)
        after = {**changed, "stage": lead.stage, "cost": lead.cost}
        activity_record(actor=by, action="lead.take", target=lead, now=now, after=after, origin=origin)
    return lead


def lead_change(
    *, lead: Lead, expected_version: int, by: User, now: datetime, origin: str = "", **fields: Unpack[LeadFields]
) -> Lead:
    """Change fields of a lead; those that are left out stay, and the same values again write nothing.

    Parameters
    ----------
    lead : the lead; its row is locked.
    expected_version : the version that was read before the change.
    by, now, origin : who, when, from where. Consent is given or withdrawn at `now`.
    fields : what to change. A new source leaves the cost of the lead as it is.

    Raises
    ------
    LeadChanged : it is at another version by now.
    ValidationError : a field is wrong; each with what to enter.
    """
    with transaction.atomic():
        locked = _locked(lead)
        if locked.version != expected_version:
            raise LeadChanged(locked)
        before = _shown(locked, fields)
        after = _set(locked, fields, now)
        if before == after:
            return locked
        locked.version += 1
        locked.full_clean()
        locked.save()
        _write_complaints(locked, fields)
        changed = [name for name in after if before[name] != after[name]]
        activity_record(
            actor=by,
            action="lead.change",
            target=locked,
            now=now,
            before={name: before[name] for name in changed},
            after={name: after[name] for name in changed},
            origin=origin,
        )
    return locked


def lead_move(
    *,
    lead: Lead,
    to: LeadStage,
    by: User,
    now: datetime,
    house: House | None = None,
    visit_at: datetime | None = None,
    lost_reason: str = "",
    note: str = "",
    origin: str = "",
) -> Lead:
    """Move a lead to its next stage.

    Parameters
    ----------
    lead : the lead; its row is locked.
    to : one of the stages that may follow, see `LEAD_MOVES`.
    by, now, origin : who, when, from where.
    house : the house, once the lead is assessed; left out: the one it has.
    visit_at : when the visit is, for `to` visit set.
    lost_reason : one of `LostReason`, for `to` lost.
    note : in words.

    Raises
    ------
    ValidationError : the stage cannot follow, the house or the reason is missing, or `now` is before the last move.
    """
    with transaction.atomic():
        locked = _locked(lead)
        before = LeadStage(locked.stage)
        if to not in LEAD_MOVES[before]:
            following = ", ".join(stage for stage in LeadStage if stage in LEAD_MOVES[before])
            wanted = f"Enter one of {following}." if following else "Take a new lead for another attempt."
            raise ValidationError({"stage": f"A lead that is {before} cannot become {to}. {wanted}"})
        last = LeadMove.objects.filter(lead=locked).latest("at")
        if now < last.at:
            raise ValidationError({"now": f"It became {last.stage} at {last.at.isoformat()}. Enter a later time."})
        locked.stage, locked.lost_reason = to, lost_reason
        locked.house = house or locked.house
        locked.visit_at = visit_at or locked.visit_at
        locked.version += 1
        locked.full_clean()
        locked.save()
        move = LeadMove(lead=locked, stage=to, at=now, by=by, note=note)
        move.full_clean()
        move.save()
        activity_record(
            actor=by,
            action="lead.move",
            target=locked,
            now=now,
            before={"stage": before},
            after={"stage": to, "lost_reason": lost_reason, **({"visit_at": visit_at} if visit_at else {})},
            reason=note,
            origin=origin,
        )
    return locked


def lead_complaints(lead: Lead) -> tuple[ComplaintRecord, ...]:
    """Return what the person says is wrong, room by room."""
    return read_rows(LeadComplaint, "parent", lead).get(lead.pk, ())


def leads_alike(
    *, user: User, phone: str, street: str, town: str, state: str, besides: Lead | None = None
) -> QuerySet[Lead]:
    """Return leads of the same telephone number or the same address, however those are written, latest first.

    Parameters
    ----------
    user : who looks; leads that this person may not know of are left out.
    phone, street, town, state : as typed; empty ones are like nothing.
    besides : a lead that is not to be named.
    """
    number, place = phone_key(phone), place_key(street, town, state)
    alike = Q(pk__in=[])
    if number:
        alike |= Q(phone_key=number)
    if place:
        alike |= Q(place_key=place)
    rows = Lead.objects.visible_to(user).filter(alike).select_related("seller", "house")
    return rows if besides is None else rows.exclude(pk=besides.pk)


def _locked(lead: Lead) -> Lead:
    # Without joins: PostgreSQL reads a joined row as it was before the wait for the lock, the locked one as it is now.
    return Lead.objects.select_for_update().get(pk=lead.pk)


def _set(lead: Lead, fields: LeadFields, now: datetime) -> dict[str, Any]:
    """Bring fields to a lead and return them as the record of acts shows them."""
    for name, value in fields.items():
        if name == "consent":
            _set_consent(lead, bool(value), now)
        elif name not in LeadFields.__annotations__:
            known = ", ".join(LeadFields.__annotations__)
            raise ValidationError({name: f"A lead has no such field. Enter one of {known}."})
        elif name != "complaints":
            setattr(lead, name, value)
    shown = _shown(lead, fields)
    if "complaints" in fields:
        shown["complaints"] = _plain(fields["complaints"])
    return shown


def _set_consent(lead: Lead, given: bool, now: datetime) -> None:
    if given and not lead.may_be_called:
        lead.consent_given_at, lead.consent_withdrawn_at = now, None
    elif not given and lead.may_be_called:
        lead.consent_withdrawn_at = now


def _shown(lead: Lead, fields: Mapping[str, Any]) -> dict[str, Any]:
    """The named fields as they stand, in JSON."""
    shown: dict[str, Any] = {}
    for name in fields:
        if name == "consent":
            shown[name] = lead.may_be_called
        elif name == "complaints":
            shown[name] = _plain(lead_complaints(lead)) if lead.pk else []
        else:
            value = getattr(lead, f"{name}_id", None) if name in ("source", "seller", "house") else getattr(lead, name)
            shown[name] = value
    return shown


def _plain(complaints: Sequence[ComplaintRecord]) -> list[dict[str, Any]]:
    return [write_record(complaint) for complaint in complaints]


def _write_complaints(lead: Lead, fields: LeadFields) -> None:
    if "complaints" not in fields:
        return
    faults, records = [], []
    for place, complaint in enumerate(fields["complaints"]):
        try:
            records.append(read_record(ComplaintRecord, write_record(complaint), path=f"complaints[{place}]"))
        except BadRecord as bad:
            faults += [str(fault) for fault in bad.faults]
    if faults:
        raise ValidationError({"complaints": faults})
    delete_rows(LeadComplaint, "parent", lead)
    write_rows(LeadComplaint, [(lead, records)])


def lead_follow(
    *,
    house: House,
    stages: Collection[LeadStage],
    to: LeadStage,
    by: User,
    now: datetime,
    note: str = "",
    origin: str = "",
) -> None:
    """Move the latest lead of a house that stands at one of these stages; none does nothing."""
    lead = Lead.objects.filter(house=house, stage__in=stages).order_by("-taken_at", "-id").first()
    if lead is not None:
        lead_move(lead=lead, to=to, by=by, now=now, note=note, origin=origin)
