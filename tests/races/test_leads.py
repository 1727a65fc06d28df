from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from estimates.leads import LeadChanged, lead_change, lead_move, lead_source_put, lead_take
from estimates.models import Lead, LeadMove, LeadStage, LostReason, User

pytestmark = pytest.mark.django_db(transaction=True)
Together = Callable[..., list[Any]]

NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)


@pytest.fixture
def lead(owner: User) -> Lead:
    source = lead_source_put(name="Yard signs", cost_per_lead=Decimal("12.50"), by=owner, now=NOW)
    return lead_take(
        person="Wren Halloran", phone="555-0142", state="NY", source=source, seller=owner, by=owner, now=NOW
    )


def test_without_the_lock_a_lead_is_lost_and_visited_at_once(
    together: Together, meet: Callable[[], None], lead: Lead, owner: User
) -> None:
    def careless(number: int) -> str:
        row = Lead.objects.get(pk=lead.pk)
        meet()
        row.stage = LeadStage.VISIT_SET if number else LeadStage.LOST
        row.lost_reason = "" if number else LostReason.LATER
        row.save()
        return LeadMove.objects.create(lead=row, stage=row.stage, at=NOW, by=owner).stage

    assert sorted(together(2, careless)) == ["lost", "visit_set"]


def test_of_six_moves_at_once_each_follows_the_one_before(together: Together, lead: Lead, owner: User) -> None:
    def move(number: int) -> Lead:
        lost = number % 2 == 0
        to, reason = (LeadStage.LOST, LostReason.LATER) if lost else (LeadStage.VISIT_SET, "")
        return lead_move(lead=lead, to=to, lost_reason=reason, by=owner, now=NOW)

    outcomes = together(6, move)
    moved = [outcome.stage for outcome in outcomes if isinstance(outcome, Lead)]
    assert all(isinstance(outcome, Lead | ValidationError) for outcome in outcomes)
    assert sorted(moved) in (["lost"], ["lost", "visit_set"])
    stages = list(LeadMove.objects.filter(lead=lead).order_by("id").values_list("stage", flat=True))
    assert stages in (["new", "lost"], ["new", "visit_set", "lost"])


def test_of_six_changes_on_one_version_one_succeeds(together: Together, lead: Lead, owner: User) -> None:
    def change(number: int) -> str:
        return lead_change(lead=lead, expected_version=1, town=f"Town {number}", by=owner, now=NOW).town

    outcomes = together(6, change)
    (town,) = [outcome for outcome in outcomes if isinstance(outcome, str)]
    refused = [outcome for outcome in outcomes if isinstance(outcome, LeadChanged)]
    assert [fault.stored.town for fault in refused] == [town] * 5
