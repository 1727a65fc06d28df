"""Writing of houses: the address and the people, as their record names them."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from estimates.activity import activity_record
from estimates.house import HouseRecord
from estimates.models.house import RECORD_FIELDS, House
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
