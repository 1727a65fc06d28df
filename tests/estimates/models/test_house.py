"""What a house's row holds, its record holds too."""

import pytest
from django.core.exceptions import ValidationError

from estimates.house import HouseRecord
from estimates.models import House
from estimates.models.house import RECORD_FIELDS
from estimates.records import specs

pytestmark = pytest.mark.django_db


def row(**changes: str) -> House:
    given = {
        "reference": "alder.lane-12_b",
        "name": "Alder Lane 12",
        "street": "12 Alder Lane",
        "town": "Fernhollow",
        "state": "NY",
        "customer_name": "Wren Halloran",
    }
    return House(**{**given, **changes})


def test_a_house_without_postal_code_and_county_and_with_dots_in_its_reference_is_accepted() -> None:
    house = row()
    house.full_clean()
    assert (house.county, house.postal_code) == ("", "")


@pytest.mark.parametrize("reference", ["", "a" * 41, ".hidden", "two words", "line\n", "ü"])
def test_a_reference_that_no_record_can_have_is_refused(reference: str) -> None:
    with pytest.raises(ValidationError) as refused:
        row(reference=reference).full_clean()
    assert list(refused.value.message_dict) == ["reference"]


@pytest.mark.parametrize("name", [name for name in RECORD_FIELDS if name not in ("state", "postal_code")])
def test_a_column_is_as_long_as_its_field(name: str) -> None:
    spec, _ = specs(HouseRecord)[name]
    assert House._meta.get_field(RECORD_FIELDS[name]).max_length == spec.max_length
