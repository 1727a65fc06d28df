"""Houses that come out of leads: made once, under a free short name, or linked to the one that is there."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from estimates.houses import house_from_lead, houses_alike
from estimates.leads import lead_move, lead_source_put, lead_take, leads_alike
from estimates.models import ActivityEntry, House, Lead, LeadStage, User

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)
ADDRESS = {"street": "14 Kiln Row", "town": "Fernhollow", "state": "NY", "postal_code": "00014", "county": "Fernmoor"}


@pytest.fixture
def take(owner: User) -> Callable[..., Lead]:
    def taken(**changes: Any) -> Lead:
        source = lead_source_put(name="Yard signs", cost_per_lead=Decimal("12.50"), by=owner, now=NOW)
        given = {"person": "Wren Halloran", "phone": "607-555-0142", "source": source, "seller": owner, **ADDRESS}
        return lead_take(**{**given, "by": owner, "now": NOW, **changes})

    return taken


def test_the_house_of_a_lead_has_its_address_and_the_lead_may_be_assessed(
    take: Callable[..., Lead], owner: User
) -> None:
    lead = take()
    house = house_from_lead(lead=lead, by=owner, now=NOW)
    assert {name: getattr(house, name) for name in ADDRESS} == ADDRESS
    assert (house.reference, house.name, house.customer_name) == ("14-kiln-row", "14 Kiln Row", "Wren Halloran")
    assert lead_move(lead=lead, to=LeadStage.ASSESSED, by=owner, now=NOW).house == house
    entry = ActivityEntry.objects.get(action="lead.house")
    assert entry.after == {"house": "14 Kiln Row", "made": True}


def test_asking_twice_gives_the_same_house(take: Callable[..., Lead], owner: User) -> None:
    lead = take()
    house = house_from_lead(lead=lead, by=owner, now=NOW)
    assert house_from_lead(lead=lead, by=owner, now=NOW) == house
    assert House.objects.count() == 1
    lead.refresh_from_db()
    assert lead.version == 2


def test_houses_of_one_name_get_references_of_their_own(take: Callable[..., Lead], owner: User) -> None:
    streets = ["14 Kiln Row", "14 Kiln Row", "14 Kiln Row!", "…"]
    made = [house_from_lead(lead=take(street=street), by=owner, now=NOW).reference for street in streets]
    assert made == ["14-kiln-row", "14-kiln-row-2", "14-kiln-row-3", "house"]


def test_without_a_street_or_town_no_house_is_made(take: Callable[..., Lead], owner: User) -> None:
    with pytest.raises(ValidationError, match="Enter the street of the house first") as refused:
        house_from_lead(lead=take(street="", town=""), by=owner, now=NOW)
    assert set(refused.value.message_dict) == {"street", "town"}
    assert not House.objects.exists()


def test_a_lead_can_be_linked_to_the_house_that_is_there(take: Callable[..., Lead], owner: User) -> None:
    house = house_from_lead(lead=take(), by=owner, now=NOW)
    later = take(person="Bram Ashdown", street="14 KILN ROW.")
    assert houses_alike(user=owner, street=later.street, town=later.town, state="NY") == [house]
    assert house_from_lead(lead=later, house=house, by=owner, now=NOW) == house
    assert House.objects.count() == 1


def test_alike_are_leads_of_the_same_number_or_address(take: Callable[..., Lead], owner: User, crew: User) -> None:
    first = take()
    number = take(phone="+1 (607) 555-0142", street="1 Weir Street")
    place = take(phone="607-555-0199", street="14 KILN ROW")
    take(phone="", email="someone@example.test", street="", town="")
    asked = {"phone": "607.555.0142", "street": "14 Kiln row", "town": "fernhollow", "state": "NY"}
    assert set(leads_alike(user=owner, **asked)) == {first, number, place}
    assert set(leads_alike(user=owner, besides=first, **asked)) == {number, place}
    assert not leads_alike(user=owner, phone="", street="", town="", state="NY").exists()
    assert not leads_alike(user=crew, **asked).exists()


def test_the_keys_follow_a_changed_address(take: Callable[..., Lead], owner: User) -> None:
    from estimates.leads import lead_change

    lead = lead_change(lead=take(), expected_version=1, street="9 Weir St", phone="607-555-0177", by=owner, now=NOW)
    lead.refresh_from_db()
    assert (lead.phone_key, lead.place_key) == ("6075550177", "9 weir street|fernhollow|ny")
