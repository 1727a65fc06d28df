"""Formatting of figures. Expected texts are written by hand from the rules of the pages, not taken from the code."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.models import Role, User
from estimates.templatetags import figures
from estimates.templatetags.permissions import may

NB = "\u00a0"


@pytest.mark.parametrize(
    ("value", "kind", "shown"),
    [
        (517.5, "ft2", f"518{NB}ft²"),
        (1234567.0, "ft2", f"1,234,567{NB}ft²"),
        (0.0, "ft3", f"0.0{NB}ft³"),
        (3.625, "in", f"3.625{NB}in"),
        (16.0, "in", f"16{NB}in"),
        (100.0, "in", f"100{NB}in"),
        (0.0885, "U", f"0.089{NB}Btu/h ft² °F"),
        (3.0, "each", "3"),
        (2.5, "each", "2.5"),
        (1.0, "job", f"1{NB}job"),
        (-2.25, "mix", f"\u22122.25{NB}mixes"),
        (49.0, "R", "49"),
        (None, "cfm50", "not known"),
    ],
)
def test_a_quantity_carries_the_unit_and_digits_of_its_kind(value: float | None, kind: str, shown: str) -> None:
    assert figures.amount(value, kind) == shown


def test_an_unknown_kind_of_quantity_is_a_fault_and_not_a_guess() -> None:
    with pytest.raises(KeyError):
        figures.amount(1.0, "furlong")


@pytest.mark.parametrize(
    ("value", "places", "shown"), [(2.675, 2, "2.68"), (0.5, 0, "1"), (-0.5, 0, "\u22121"), (2.5, 0, "3")]
)
def test_halves_are_rounded_away_from_zero(value: float, places: int, shown: str) -> None:
    assert figures.digits(value, places) == shown


@given(st.floats(-1e9, 1e9), st.integers(0, 4))
def test_a_shown_number_is_never_further_off_than_half_its_last_digit(value: float, places: int) -> None:
    shown = Decimal(figures.digits(value, places).replace(",", "").replace("\u2212", "-"))
    assert abs(shown - Decimal(repr(value))) <= Decimal(1).scaleb(-places) / 2


def test_a_range_has_both_ends_and_one_unit() -> None:
    assert figures.between({"p10": 1999.6, "p50": 2100.0, "p90": 2300.4}, "cfm50") == f"2,000–2,300{NB}CFM50"
    assert figures.between({"p10": 10.1, "p50": 10.2, "p90": 10.3}, "cfm50") == f"10{NB}CFM50"
    assert figures.between(None, "cfm50") == "not known"


def test_a_range_of_money_that_crosses_zero_keeps_its_signs() -> None:
    assert figures.dollars_between({"p10": -40.0, "p50": 10.0, "p90": 1020.0}) == "\u2212$40–$1,020"


@pytest.mark.parametrize(
    ("amount", "shown"), [(123450, "$1,234.50"), (Decimal("1234.50"), "$1,234.50"), (0, "$0.00"), (-5, "-$0.05")]
)
def test_money_reads_the_same_from_cents_and_dollars(amount: int | Decimal, shown: str) -> None:
    assert figures.money(amount) == shown


def test_lists_show_whole_dollars_and_nothing_for_no_amount() -> None:
    assert figures.whole_money(Decimal("1234.49")) == "$1,234"
    assert figures.whole_money(Decimal("1234.50")) == "$1,235"
    assert figures.whole_money(None) == ""


@pytest.mark.parametrize(
    ("value", "places", "shown"), [(0.42, 0, "42"), (0.4205, 1, "42.1"), (0.285, 0, "29"), (1.0, 1, "100.0")]
)
def test_a_share_is_a_percentage_with_halves_up(value: float, places: int, shown: str) -> None:
    assert figures.share(value, places) == f"{shown}{NB}%"


def test_dates_are_those_of_the_firm_and_not_of_london(settings: object) -> None:
    settings.TIME_ZONE = "America/New_York"  # type: ignore[attr-defined]
    evening = datetime(2027, 1, 5, 2, 30, tzinfo=UTC)
    assert figures.day(evening) == "Mon 4 Jan 2027"
    assert figures.moment(evening) == "Mon 4 Jan 2027, 21:30"
    assert figures.day(date(2027, 1, 5)) == "Tue 5 Jan 2027"


@pytest.mark.parametrize(
    ("names", "shown"), [([], ""), (["a"], "a"), (["a", "b"], "a and b"), (["a", "b", "c"], "a, b and c")]
)
def test_names_are_listed_with_an_and(names: list[str], shown: str) -> None:
    assert figures.listed(names) == shown


def test_a_page_part_is_shown_to_those_who_may_see_it() -> None:
    assert may(User(role=Role.OWNER), "cost.read")
    assert not may(User(role=Role.BOOKKEEPER), "cost.read")
    assert not may(User(role=Role.OWNER, is_active=False), "cost.read")
    with pytest.raises(KeyError):
        may(User(role=Role.OWNER), "cost.raed")
