from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from estimates.models import Rule
from estimates.rules_table import rule_put

pytestmark = pytest.mark.django_db(transaction=True)

FIXED: dict[str, Any] = {
    "jurisdiction": "US-NY",
    "topic": "cancellation.days",
    "valid_to": None,
    "value": 3,
    "text": "Three business days.",
    "source": "Invented law 1",
    "checked_on": date(2026, 1, 2),
}
DAYS = [date(2025, 1, 1), date(2026, 1, 1)]
NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)


def test_without_taking_turns_two_overlapping_rules_pass_the_check(
    together: Callable[..., list[Any]], meet: Callable[[], None]
) -> None:
    def careless(number: int) -> None:
        rule = Rule(valid_from=DAYS[number], **FIXED)
        rule.full_clean()
        meet()
        rule.save()

    assert together(2, careless) == [None, None]
    assert Rule.objects.count() == 2


def test_taking_turns_lets_one_of_two_overlapping_rules_in(together: Callable[..., list[Any]]) -> None:
    outcomes = together(2, lambda number: rule_put(valid_from=DAYS[number], by=None, now=NOW, **FIXED))
    assert sorted(type(outcome) for outcome in outcomes if isinstance(outcome, ValidationError)) == [ValidationError]
    assert Rule.objects.count() == 1
