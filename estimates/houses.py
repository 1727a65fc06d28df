"""Writing of houses: the address and the people, as their record or the lead names them."""

from __future__ import annotations

import re
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.counter import counter_next
from estimates.house import HouseRecord
from estimates.likeness import place_key
from estimates.models.house import RECORD_FIELDS, House
from estimates.models.lead import Lead
from estimates.models.user import User


def house_put(*, record: HouseRecord, is_demo: bool, created_by: User, now: datetime, origin: str = "") -> House:
    """Bring the house of a record to the database; the same record again writes nothing.

    Parameters
    ----------
    record : the measured house; its id becomes the reference.
    is_demo : the house belongs to the demo scenario.
    created_by : who asked for it.
    now : the time of the whole act.
    origin : network address or command.

    Raises
    ------
    ValidationError : a field is missing or wrong.
    """
    new = {column: getattr(record, name) for name, column in RECORD_FIELDS.items() if name != "id"}
    with transaction.atomic():
        house = House.objects.select_for_update().filter(reference=record.id).first()
        before = None if house is None else {name: getattr(house, name) for name in new}
        if house is not None and before == new:
            return house
        house = house or House(reference=record.id, is_demo=is_demo, created_at=now)
        for name, value in new.items():
            setattr(house, name, value)
        house.full_clean()
        house.save()
        activity_record(
            actor=created_by, action="house.put", target=house, now=now, before=before, after=new, origin=origin
        )
    return house


def houses_alike(*, user: User, street: str, town: str, state: str) -> list[House]:
    """Return the houses at an address, however it is written.

    Parameters
    ----------
    user : who looks; houses that this person may not know of are left out.
    street, town, state : as typed; without a street nothing is alike.
    """
    wanted = place_key(street, town, state)
    if not wanted:
        return []
    # The short words of a street differ from one writer to the next, its number and state do not.
    number = re.search(r"\d+", street)
    rows = House.objects.visible_to(user).filter(state=state, street__contains=number.group() if number else "")
    return [house for house in rows if place_key(house.street, house.town, house.state) == wanted]


def house_from_lead(*, lead: Lead, by: User, now: datetime, house: House | None = None, origin: str = "") -> House:
    """Make the house of a lead, or link it to one that is there; a lead that has one keeps it, and nothing is written.

    Parameters
    ----------
    lead : its row is locked.
    by, now, origin : who, when, from where.
    house : a house that is there already; left out: a new one with the address of the lead.

    Raises
    ------
    ValidationError : the lead has no street or town yet.
    """
    with transaction.atomic():
        # Not joined with its house: PostgreSQL reads a joined row as it was before the wait for the lock.
        locked = Lead.objects.select_for_update().get(pk=lead.pk)
        if locked.house is not None:
            return locked.house
        linked = house or _new_house(locked, by=by, now=now, origin=origin)
        locked.house = linked
        locked.version += 1
        locked.full_clean()
        locked.save()
        activity_record(
            actor=by,
            action="lead.house",
            target=locked,
            now=now,
            before={"house": None},
            after={"house": linked.name, "made": house is None},
            origin=origin,
        )
    return linked


def _new_house(lead: Lead, *, by: User, now: datetime, origin: str) -> House:
    faults = {
        name: f"Enter the {name} of the house first." for name in ("street", "town") if not getattr(lead, name).strip()
    }
    if faults:
        raise ValidationError(faults)
    new = {
        "name": lead.street[:80],
        "customer_name": lead.person,
        **{name: getattr(lead, name) for name in ("street", "town", "state", "county", "postal_code")},
    }
    # Two houses of the same name must not take the same reference at once: the turn is taken at a counter.
    counter_next(name="house.reference")
    house = House(reference=_free_reference(lead.street), is_demo=lead.is_demo, created_at=now, **new)
    house.full_clean()
    house.save()
    activity_record(actor=by, action="house.put", target=house, now=now, after=new, origin=origin)
    return house


def _free_reference(street: str) -> str:
    """A short name of the address that no house has yet, such as ``14-kiln-row`` or ``14-kiln-row-2``."""
    stem = re.sub(r"[^a-z0-9]+", "-", street.lower()).strip("-")[:32].rstrip("-") or "house"
    taken = set(House.objects.filter(reference__startswith=stem).values_list("reference", flat=True))
    number, reference = 1, stem
    while reference in taken:
        number += 1
        reference = f"{stem}-{number}"
    return reference
