"""Properties of the ventilation rules."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.physics.validity import OutOfRange
from estimates.physics.ventilation import (
    EDITIONS,
    LocalExhaust,
    LocalRoom,
    effective_infiltration,
    infiltration_credit,
    local_shortfall,
    required_fan,
    table_rate,
    whole_house_rate,
)

floor = st.floats(200, 5000)
leak = st.floats(0, 400)
edition = st.sampled_from(list(EDITIONS))


@given(floor, st.integers(0, 8), edition)
def test_bigger_and_fuller_houses_need_more_air(area: float, bedrooms: int, name: str) -> None:
    here = whole_house_rate(area, bedrooms, name)
    assert here < whole_house_rate(area + 1, bedrooms, name)
    assert here <= whole_house_rate(area, bedrooms + 1, name)
    many = whole_house_rate([area, 300.0], bedrooms, name)
    assert np.asarray(many)[0] == pytest.approx(here, rel=1e-12)


@given(floor, st.integers(1, 8))
def test_the_table_never_asks_for_less_than_the_formula(area: float, bedrooms: int) -> None:
    tabled = table_rate(area, bedrooms)
    assert tabled >= whole_house_rate(area, bedrooms) - 1e-9
    assert tabled <= whole_house_rate(area, bedrooms) + 15.5
    assert np.asarray(table_rate([area], bedrooms))[0] == tabled


@given(st.floats(0, 500), st.floats(8, 30), st.floats(0.2, 1.2))
def test_effective_infiltration_grows_with_each_argument(area: float, height: float, weather: float) -> None:
    here = effective_infiltration(area, height, weather)
    assert here <= effective_infiltration(area + 1, height, weather)
    assert here <= effective_infiltration(area, height + 1, weather)
    assert here <= effective_infiltration(area, height, weather + 0.1)
    assert np.asarray(effective_infiltration([area], height, weather))[0] == pytest.approx(here, rel=1e-12)


@given(st.floats(20, 300), leak, floor, edition, st.booleans(), st.booleans())
def test_a_credit_lies_between_nothing_and_the_leakage_and_the_total(
    total: float, leakage: float, area: float, name: str, existing: bool, balanced: bool
) -> None:
    def credit(amount: float) -> float:
        return float(infiltration_credit(total, amount, area, edition=name, existing=existing, balanced=balanced))

    assert 0 <= credit(leakage) <= min(total, leakage) + 1e-9
    assert credit(leakage) <= credit(leakage + 5) + 1e-9
    many = infiltration_credit([total], [leakage], area, edition=name, existing=existing, balanced=balanced)
    assert np.asarray(many)[0] == pytest.approx(credit(leakage), rel=1e-12)


@given(floor, st.integers(0, 6), leak, edition)
def test_a_tighter_house_never_needs_a_smaller_fan(area: float, bedrooms: int, leakage: float, name: str) -> None:
    leaky = required_fan(area, bedrooms, leakage + 20, edition=name)
    tight = required_fan(area, bedrooms, leakage, edition=name)
    assert 0 <= leaky.fan_cfm <= tight.fan_cfm + 1e-9 <= tight.total_cfm + tight.shortfall_cfm + 1e-9
    assert tight.edition == name


def test_missing_local_exhaust_is_pointed_out_and_ignored_in_new_dwellings() -> None:
    rooms = (LocalExhaust(LocalRoom.BATH, 0.0, False),)
    assert required_fan(1500.0, 2, 0.0, rooms=rooms, existing=False).shortfall_cfm == 0
    assert "no kitchen or bath" in required_fan(1500.0, 2, 0.0).warnings[0]


def test_a_fan_that_is_excused_says_so() -> None:
    fan = required_fan(1800.0, 3, 72.0, balanced=True)
    assert any("asks for no fan" in text for text in fan.warnings)


def test_unknown_editions_and_impossible_numbers_are_refused_by_name() -> None:
    with pytest.raises(OutOfRange, match=r"edition is .62\.2-1999.; enter one of 62\.2-2010"):
        whole_house_rate(1000.0, 3, "62.2-1999")
    with pytest.raises(OutOfRange, match="bedrooms"):
        whole_house_rate(1000.0, -1)
    with pytest.raises(OutOfRange, match="floor_ft2"):
        table_rate(5001.0, 3)
    with pytest.raises(OutOfRange, match=r"rooms\[0\].measured_cfm"):
        local_shortfall((LocalExhaust(LocalRoom.BATH, -1.0, False),))
    with pytest.raises(OutOfRange, match="infiltration_cfm"):
        required_fan(1000.0, 3, float("nan"))
