from datetime import date

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from estimates.models import Rule

pytestmark = pytest.mark.django_db


def rule(first: date, last: date | None, **changes: object) -> Rule:
    given = {"jurisdiction": "US-NY", "topic": "cancellation.days", "value": 3, "text": "Three business days."}
    return Rule(
        valid_from=first, valid_to=last, source="Invented law 1", checked_on=date(2026, 1, 2), **given | changes
    )


@pytest.fixture
def year_2025() -> Rule:
    row = rule(date(2025, 1, 1), date(2025, 12, 31))
    row.full_clean()
    row.save()
    return row


def test_the_rule_of_a_day_is_found_on_its_first_and_last_day(year_2025: Rule) -> None:
    find = Rule.objects.in_force
    assert find("US-NY", "cancellation.days", date(2025, 1, 1)) == year_2025
    assert find("US-NY", "cancellation.days", date(2025, 12, 31)) == year_2025
    assert find("US-NY", "cancellation.days", date(2024, 12, 31)) is None
    assert find("US-NY", "cancellation.days", date(2026, 1, 1)) is None
    assert find("US-NJ", "cancellation.days", date(2025, 6, 1)) is None


def test_a_rule_without_a_last_day_holds_until_further_notice() -> None:
    row = rule(date(2026, 1, 1), None)
    row.save()
    assert Rule.objects.in_force("US-NY", "cancellation.days", date(2099, 1, 1)) == row


@pytest.mark.parametrize(
    ("first", "last"),
    [
        (date(2025, 12, 31), None),
        (date(2024, 1, 1), date(2025, 1, 1)),
        (date(2025, 5, 1), date(2025, 6, 1)),
        (date(2024, 1, 1), None),
    ],
)
def test_days_that_overlap_another_rule_are_refused(year_2025: Rule, first: date, last: date | None) -> None:
    with pytest.raises(ValidationError, match="already holds on some of these days"):
        rule(first, last).full_clean()


@pytest.mark.parametrize(("first", "last"), [(date(2026, 1, 1), None), (date(2024, 1, 1), date(2024, 12, 31))])
def test_days_next_to_another_rule_are_accepted(year_2025: Rule, first: date, last: date | None) -> None:
    rule(first, last).full_clean()


def test_another_place_or_topic_does_not_overlap(year_2025: Rule) -> None:
    rule(date(2025, 1, 1), None, jurisdiction="US-NJ").full_clean()
    rule(date(2025, 1, 1), None, topic="lead.area").full_clean()
    year_2025.full_clean()


def test_a_last_day_before_the_first_is_refused_on_the_form_and_in_the_database() -> None:
    wrong = rule(date(2025, 6, 1), date(2025, 5, 31))
    with pytest.raises(ValidationError, match="on or after 2025-06-01"):
        wrong.full_clean()
    with pytest.raises(IntegrityError), transaction.atomic():
        wrong.save()
