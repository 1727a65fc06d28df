"""Sales tax by dated rule. Rates in the rows are examples; the arithmetic is D, by decimal arithmetic."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.rules import BadRule, RuleRow, load_rules, places_of
from estimates.tax import TOPIC, sales_tax

DAY = date(2026, 3, 2)
COST = {"material": 30_00, "labour": 50_00, "travel": 20_00}


def row(place: str = "US-XX", **value: Any) -> RuleRow:
    table = {"rate": "0.08", "taxed": "everything", "certificate_exempts": True} | value
    return RuleRow(place, TOPIC, date(2026, 1, 1), None, table, "A tax.", "M", DAY)


def tax(*rows: RuleRow, price: int = 200_00, lowered: int = 0, certificate: bool = False) -> tuple[int, int]:
    found = sales_tax(
        rows,
        ("US", "US-XX", "US-XX/County"),
        on=DAY,
        price_cents=price,
        cost_cents=COST,
        lowered_cents=lowered,
        certificate=certificate,
    )
    return found.taxable_cents, found.cents


def test_everything_or_the_share_of_taxed_parts_is_taxed() -> None:
    assert tax(row()) == (200_00, 16_00)
    assert tax(row(taxed=["material"])) == (60_00, 4_80)
    assert tax(row(taxed=["material", "labour"])) == (160_00, 12_80)
    assert tax(row(taxed=[])) == (0, 0)


def test_the_narrowest_place_decides_and_no_row_charges_nothing_and_says_so() -> None:
    assert tax(row(), row("US-XX/County", rate="0.0875")) == (200_00, 17_50)
    nothing = sales_tax((), ("US", "US-XX"), on=DAY, price_cents=1, cost_cents=COST)
    assert (nothing.cents, nothing.rule) == (0, None)
    assert "no sales-tax rule for US, US-XX" in nothing.why


def test_a_certificate_frees_only_where_the_row_says_so() -> None:
    assert tax(row(), certificate=True) == (0, 0)
    assert tax(row(certificate_exempts=False), certificate=True) == (200_00, 16_00)


def test_incentives_that_lower_the_taxable_amount_lower_it_to_nothing_at_most() -> None:
    assert tax(row(), lowered=50_00) == (150_00, 12_00)
    assert tax(row(), lowered=500_00) == (0, 0)


@given(st.integers(0, 10**8), st.sampled_from(["0.04", "0.0875", "0.08375", "0.065"]))
def test_half_a_cent_goes_up(price: int, rate: str) -> None:
    expected = (Decimal(price) * Decimal(rate)).quantize(Decimal(1), ROUND_HALF_UP)
    assert tax(row(rate=rate), price=price)[1] == int(expected)


def test_a_tie_goes_up() -> None:
    assert tax(row(rate="0.05"), price=10) == (10, 1)  # half a cent exactly


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ({"taxed": ["windows"]}, "taxed holds"),
        ({"rate": "8"}, "enter a share"),
        ({"rate": "x"}, "enter a number"),
        ({"extra": 1}, "extra is not known"),
    ],
)
def test_rows_that_cannot_be_used_are_refused_by_name(value: dict[str, Any], said: str) -> None:
    with pytest.raises(BadRule, match=said):
        tax(row(**value))
    with pytest.raises(BadRule, match="enter both"):
        tax(replace(row(), value={"rate": "0.08"}))
    with pytest.raises(BadRule, match="amounts of 0 or more"):
        tax(row(), price=-1)


@pytest.mark.parametrize("state", ["NY", "MD", "CA"])
def test_every_state_of_the_example_has_a_row_that_can_be_used(state: str) -> None:
    found = sales_tax(load_rules(), places_of(state), on=DAY, price_cents=100_00, cost_cents=COST)
    assert found.rule is not None
    assert found.rule.jurisdiction == f"US-{state}"
    assert "Not legal or tax advice" in found.why
