"""Writing the table of dated rules."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django.db import transaction

from estimates.activity import activity_record
from estimates.models.rule import Rule
from estimates.models.user import User

FIELDS = ("valid_to", "value", "text", "source", "checked_on")


def rule_put(
    *,
    jurisdiction: str,
    topic: str,
    valid_from: date,
    valid_to: date | None,
    value: Any,
    text: str,
    source: str,
    checked_on: date,
    by: User | None,
    now: datetime,
    origin: str = "",
) -> Rule:
    """Write the rule of a place on a topic from a day on; the same rule again writes nothing.

    A rule is found by place, topic and first day. Its other fields are brought to the values given.

    Raises
    ------
    ValidationError : a field is missing or wrong, or another rule holds on one of the days.
    """
    new = {"valid_to": valid_to, "value": value, "text": text, "source": source, "checked_on": checked_on}
    with transaction.atomic():
        # The neighbours in time are locked with it: the check against overlaps must not be passed by two at once.
        rows = list(Rule.objects.select_for_update().filter(jurisdiction=jurisdiction, topic=topic))
        rule = next((row for row in rows if row.valid_from == valid_from), None)
        before = None if rule is None else {name: getattr(rule, name) for name in FIELDS}
        if rule is not None and before == new:
            return rule
        rule = rule or Rule(jurisdiction=jurisdiction, topic=topic, valid_from=valid_from)
        for name, field_value in new.items():
            setattr(rule, name, field_value)
        rule.full_clean()
        rule.save()
        activity_record(actor=by, action="rule.put", target=rule, now=now, before=before, after=new, origin=origin)
    return rule
