from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest

from estimates.houses import house_from_lead
from estimates.leads import lead_move, lead_source_put, lead_take
from estimates.models import House, Lead, LeadStage, User

pytestmark = pytest.mark.django_db(transaction=True)
Together = Callable[..., list[Any]]

NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)


@pytest.fixture
def take(owner: User) -> Callable[[], Lead]:
    source = lead_source_put(name="Yard signs", cost_per_lead=Decimal("12.50"), by=owner, now=NOW)
    address = {"street": "14 Kiln Row", "town": "Fernhollow", "state": "NY"}
    return lambda: lead_take(
        person="Wren Halloran", phone="607-555-0142", **address, source=source, seller=owner, by=owner, now=NOW
    )


def test_of_six_taps_at_once_one_makes_the_house(together: Together, take: Callable[[], Lead], owner: User) -> None:
    lead = take()
    outcomes = together(6, lambda number: house_from_lead(lead=lead, by=owner, now=NOW))
    assert {outcome.pk for outcome in outcomes} == set(House.objects.values_list("pk", flat=True))
    assert House.objects.count() == 1


@pytest.mark.parametrize("attempt", range(5))
def test_a_move_at_the_same_time_does_not_lose_the_house(
    attempt: int, together: Together, take: Callable[[], Lead], owner: User
) -> None:
    lead = take()

    def act(number: int) -> Any:
        if number:
            return lead_move(lead=lead, to=LeadStage.VISIT_SET, by=owner, now=NOW)
        return house_from_lead(lead=lead, by=owner, now=NOW)

    together(2, act)
    lead.refresh_from_db()
    assert (lead.stage, lead.house is not None, lead.version) == ("visit_set", True, 3)


def test_houses_of_one_street_made_at_once_get_references_of_their_own(
    together: Together, take: Callable[[], Lead], owner: User
) -> None:
    leads = [take() for _ in range(6)]
    together(6, lambda number: house_from_lead(lead=leads[number], by=owner, now=NOW))
    wanted = {"14-kiln-row", *(f"14-kiln-row-{number}" for number in range(2, 7))}
    assert set(House.objects.values_list("reference", flat=True)) == wanted
