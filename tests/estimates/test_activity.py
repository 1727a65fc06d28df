import uuid
from datetime import date, datetime
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from estimates.activity import activity_record, object_type
from estimates.models import ActivityEntry, House, User

pytestmark = pytest.mark.django_db


def test_an_act_is_recorded_with_who_when_where_what_and_why(house: House, owner: User, now: datetime) -> None:
    activity_record(
        actor=owner,
        action="house.rename",
        target=house,
        now=now,
        before={"name": "Old", "on": date(2026, 1, 1)},
        after={"name": "New", "price": Decimal("1.50"), "id": uuid.UUID(int=1)},
        reason="typing error",
        origin="192.0.2.7",
    )
    entry = ActivityEntry.objects.get()
    assert (entry.actor, entry.at, entry.origin, entry.reason) == (owner, now, "192.0.2.7", "typing error")
    assert (entry.object_type, entry.object_code) == ("estimates.house", house.code)
    assert entry.before == {"name": "Old", "on": "2026-01-01"}
    assert entry.after == {"name": "New", "price": "1.50", "id": str(uuid.UUID(int=1))}
    assert list(ActivityEntry.objects.of(object_type(House), house.code)) == [entry]


@pytest.mark.parametrize("action", ["rename", "House.rename", "house rename", "house."])
def test_an_action_without_a_dotted_name_is_refused(house: House, now: datetime, action: str) -> None:
    with pytest.raises(ValidationError):
        activity_record(actor=None, action=action, target=house, now=now)
