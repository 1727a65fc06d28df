"""Writing the table of dated rules, and reading it for the engine."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.db import transaction

from estimates.activity import activity_record
from estimates.counter import counter_next
from estimates.models.rule import Rule
from estimates.models.user import User
from estimates.rules import RuleRow

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
    there = Rule.objects.filter(jurisdiction=jurisdiction, topic=topic, valid_from=valid_from).first()
    if there is not None and _fields(there) == new:
        return there
    with transaction.atomic():
        # One writer at a time: two that see no overlap in each other's absence must not both pass the check. Rows that
        # are not there yet cannot be locked, so the turn is taken at a counter.
        counter_next(name="rule.put")
        rule = Rule.objects.filter(jurisdiction=jurisdiction, topic=topic, valid_from=valid_from).first()
        before = None if rule is None else _fields(rule)
        rule = rule or Rule(jurisdiction=jurisdiction, topic=topic, valid_from=valid_from)
        for name, field_value in new.items():
            setattr(rule, name, field_value)
        rule.full_clean()
        rule.save()
        activity_record(actor=by, action="rule.put", target=rule, now=now, before=before, after=new, origin=origin)
    return rule


def rule_rows(places: Iterable[str] | None = None) -> tuple[RuleRow, ...]:
    """Return the rules as plain rows for the engine, those of some places or all."""
    rules = Rule.objects.all() if places is None else Rule.objects.filter(jurisdiction__in=list(places))
    return tuple(
        RuleRow(
            jurisdiction=rule.jurisdiction,
            topic=rule.topic,
            valid_from=rule.valid_from,
            valid_to=rule.valid_to,
            value=rule.value,
            text=rule.text,
            source=rule.source,
            checked_on=rule.checked_on,
        )
        for rule in rules
    )


def _fields(rule: Rule) -> dict[str, Any]:
    return {name: getattr(rule, name) for name in FIELDS}
