from datetime import date, datetime
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from estimates.models import ActivityEntry, Rule
from estimates.rules_table import rule_put

pytestmark = pytest.mark.django_db


def put(now: datetime, **changes: Any) -> Rule:
    given: dict[str, Any] = {
        "jurisdiction": "US-NY",
        "topic": "cancellation.days",
        "valid_from": date(2025, 1, 1),
        "valid_to": None,
        "value": {"days": 3},
        "text": "Three business days.",
        "source": "Invented law 1",
        "checked_on": date(2026, 1, 2),
        "by": None,
        "now": now,
    }
    return rule_put(**{**given, **changes})


def test_the_same_rule_again_writes_nothing(now: datetime) -> None:
    assert put(now) == put(now)
    assert Rule.objects.count() == 1
    assert ActivityEntry.objects.count() == 1


def test_an_ended_rule_makes_room_for_the_next_and_both_acts_are_on_record(now: datetime) -> None:
    put(now)
    with pytest.raises(ValidationError, match="End that one first"):
        put(now, valid_from=date(2026, 1, 1), value={"days": 5})
    put(now, valid_to=date(2025, 12, 31))
    put(now, valid_from=date(2026, 1, 1), value={"days": 5})
    in_force = Rule.objects.in_force("US-NY", "cancellation.days", date(2026, 5, 1))
    assert in_force is not None
    assert in_force.value == {"days": 5}
    changes = [(entry.before or {}).get("valid_to", "new") for entry in ActivityEntry.objects.order_by("id")]
    assert changes == ["new", None, "new"]
