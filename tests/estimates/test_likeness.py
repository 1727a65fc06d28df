"""Telephone numbers and addresses that mean the same are compared as the same."""

from __future__ import annotations

import pytest

from estimates.likeness import phone_key, place_key


@pytest.mark.parametrize(
    "phone", ["607-555-0142", "(607) 555 0142", "607.555.0142", "+1 607 555 0142", "1-607-555-0142 x7", "6075550142"]
)
def test_one_number_written_in_many_ways_is_one(phone: str) -> None:
    assert phone_key(phone) == "6075550142"


def test_numbers_that_differ_stay_apart_and_slips_mean_nothing() -> None:
    assert phone_key("607-555-0143") != phone_key("607-555-0142")
    assert phone_key("555-0142") == "5550142"
    assert [phone_key(slip) for slip in ("", "x12", "12 34", "none")] == ["", "", "", ""]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("14 Kiln Row", "14  KILN ROW."),
        ("3 N. Weir St", "3 North Weir Street"),
        ("210 Old Mill Ln, Apt 2", "210 Old Mill Lane Unit 2"),
        ("8 Farrow's Rd", "8 Farrows Road"),
        ("5 Élan Ave", "5 Elan Avenue"),
    ],
)
def test_one_address_written_in_two_ways_is_one(one: str, other: str) -> None:
    assert place_key(one, "Fernhollow", "NY") == place_key(other, "fernhollow", "NY") != ""


@pytest.mark.parametrize(
    ("street", "town", "state"),
    [("16 Kiln Row", "Fernhollow", "NY"), ("14 Kiln Row", "Pellmark", "NY"), ("14 Kiln Row", "Fernhollow", "MD")],
)
def test_another_number_town_or_state_is_another_address(street: str, town: str, state: str) -> None:
    assert place_key(street, town, state) != place_key("14 Kiln Row", "Fernhollow", "NY")


def test_a_town_alone_is_no_address() -> None:
    assert place_key(" ", "Fernhollow", "NY") == ""
