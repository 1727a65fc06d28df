"""Properties of degree days and savings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.house import Fuel
from estimates.physics.energy import (
    BALANCE_POINT,
    DegreeDayMethod,
    Envelope,
    Savings,
    air_heat_factor,
    cooling_savings,
    degree_days,
    heating_savings,
    load_change,
    loss_rate,
)
from estimates.physics.uncertainty import Sampler
from estimates.physics.validity import OutOfRange

days = st.lists(st.floats(-40, 110), min_size=1, max_size=40)
loss = st.floats(1, 2000)


def heating(before: Envelope, after: Envelope, billed: object = None, fuel: Fuel = Fuel.NATURAL_GAS) -> Savings:
    return heating_savings(
        *(before, after),
        heating_degree_days=5000.0,
        fuel=fuel,
        efficiency=0.8,
        price_per_unit=1.5,
        billed_units=billed,  # type: ignore[arg-type]
    )


@given(days, st.floats(40, 75))
def test_heating_less_cooling_is_base_less_mean_and_both_move_with_the_base(temps: list[float], base: float) -> None:
    here, above = degree_days(temps, base), degree_days(temps, base + 1)
    assert np.asarray(here.heating) - here.cooling == pytest.approx(len(temps) * base - sum(temps), abs=1e-6)
    assert here.heating <= above.heating + 1e-9
    assert here.cooling >= above.cooling - 1e-9
    assert min(here.heating, here.cooling) >= 0
    many = degree_days(temps, [base, 20.0])
    assert np.asarray(many.heating)[0] == pytest.approx(here.heating, abs=1e-9)
    assert np.asarray(many.cooling)[0] == pytest.approx(here.cooling, abs=1e-9)


@given(days, st.floats(40, 75))
def test_on_days_without_swing_all_methods_agree(temps: list[float], base: float) -> None:
    flat = degree_days(temps, base).heating
    two = degree_days(np.repeat(temps, 2).reshape(-1, 2), base, DegreeDayMethod.MIN_MAX)
    hours = degree_days(np.repeat(temps, 24).reshape(-1, 24), base, DegreeDayMethod.HOURLY)
    assert two.heating == pytest.approx(flat, abs=1e-6)
    assert hours.heating == pytest.approx(flat, abs=1e-6)
    assert (two.days, hours.days) == (len(temps), len(temps))


@pytest.mark.parametrize(
    ("temps", "method"),
    [
        ([], DegreeDayMethod.DAILY_MEAN),
        ([[1.0, 2.0]], DegreeDayMethod.DAILY_MEAN),
        ([1.0, 2.0], DegreeDayMethod.MIN_MAX),
        ([[1.0] * 23], DegreeDayMethod.HOURLY),
        ([float("nan")], DegreeDayMethod.DAILY_MEAN),
        ([300.0], DegreeDayMethod.DAILY_MEAN),
    ],
)
def test_wrong_tables_of_temperature_are_refused(temps: object, method: DegreeDayMethod) -> None:
    with pytest.raises(OutOfRange, match="temperature_f"):
        degree_days(temps, 60.0, method)  # type: ignore[arg-type]


@given(st.floats(-1000, 14_000))
def test_air_carries_less_heat_higher_up(altitude: float) -> None:
    assert air_heat_factor(altitude) > air_heat_factor(altitude + 100)
    assert np.asarray(air_heat_factor([altitude]))[0] == pytest.approx(air_heat_factor(altitude), rel=1e-12)


@given(loss, st.floats(0, 500), st.floats(-200, 200), st.floats(0.5, 4))
def test_load_change_is_linear_and_takes_arrays(ua: float, cfm: float, delta: float, efficiency: float) -> None:
    one = load_change(4000.0, delta, cfm, efficiency)
    assert load_change(8000.0, delta, cfm, efficiency) == pytest.approx(2 * one, rel=1e-12, abs=1e-6)
    assert np.asarray(load_change([4000.0], [delta], cfm, efficiency))[0] == pytest.approx(one, rel=1e-12)
    assert loss_rate(ua, cfm) >= ua
    assert np.asarray(loss_rate([ua], cfm))[0] == pytest.approx(loss_rate(ua, cfm), rel=1e-12)


@given(loss, loss, st.floats(0, 300), st.floats(0, 300), st.floats(1, 3000))
def test_savings_never_exceed_the_bills_and_scale_with_them(
    ua: float, ua_after: float, cfm: float, cfm_after: float, billed: float
) -> None:
    before, after = Envelope(ua, cfm), Envelope(ua_after, cfm_after)
    found = heating(before, after, billed)
    assert found.before == pytest.approx(billed, rel=1e-9)
    assert found.saved <= billed * (1 + 1e-12)
    assert found.saved == pytest.approx(
        np.asarray(heating(before, after).saved) * found.bill_factor, rel=1e-9, abs=1e-9
    )
    drawn = heating(Envelope(np.array([ua, ua]), cfm), Envelope(np.array([ua_after, ua]), cfm_after), billed)
    assert np.asarray(drawn.saved)[0] == pytest.approx(found.saved, rel=1e-9, abs=1e-9)


@given(loss, loss)
def test_options_together_save_what_the_last_house_says_not_the_sum(first: float, second: float) -> None:
    start, one = Envelope(first + second, 0.0), Envelope(second, 0.0)
    both = heating(start, Envelope(0.0, 0.0), 700.0)
    assert both.saved == pytest.approx(700.0)
    assert heating(start, one, 700.0).saved <= both.saved + 1e-9


def test_bills_far_from_the_model_carry_a_warning() -> None:
    house = Envelope(500.0, 100.0)
    modelled = float(np.asarray(heating(house, house).before))
    assert any("2.00 times" in text for text in heating(house, house, 2 * modelled).warnings)
    assert heating(house, house, 1.2 * modelled).warnings == ()


def test_bills_of_a_house_without_loss_are_refused() -> None:
    with pytest.raises(OutOfRange, match="billed_units"):
        heating(Envelope(0.0, 0.0), Envelope(0.0, 0.0), 100.0)


def test_co2_of_electricity_is_not_made_up() -> None:
    house = Envelope(500.0, 100.0)
    found = heating(house, house, fuel=Fuel.ELECTRICITY)
    assert found.co2_kg is None
    assert "grid" in found.warnings[0]
    given_grid = cooling_savings(
        *(house, Envelope(250.0, 50.0)),
        cooling_degree_days=900.0,
        seasonal_btu_per_wh=12.0,
        price_per_kwh=0.2,
        co2_kg_per_kwh=0.4,
    )
    assert given_grid.co2_kg == pytest.approx(0.4 * float(np.asarray(given_grid.saved)))


def test_cooling_takes_draws_and_the_balance_point_has_a_range() -> None:
    base = Sampler(1, 40).draw(BALANCE_POINT)
    cooling = degree_days([60.0, 75.0, 90.0], base).cooling
    found = cooling_savings(
        *(Envelope(500.0, 0.0), Envelope(400.0, 0.0)),
        cooling_degree_days=cooling,
        seasonal_btu_per_wh=12.0,
        price_per_kwh=0.2,
    )
    assert np.asarray(found.saved).shape == (40,)
    assert BALANCE_POINT.low <= base.min() <= base.max() <= BALANCE_POINT.high


@pytest.mark.parametrize("name", ["heating_degree_days", "efficiency", "price_per_unit", "billed_units"])
def test_bad_numbers_are_refused_by_name(name: str) -> None:
    good = {"heating_degree_days": 5000.0, "efficiency": 0.8, "price_per_unit": 1.5, "billed_units": 500.0}
    with pytest.raises(OutOfRange, match=name):
        heating_savings(
            *(Envelope(500.0, 1.0), Envelope(400.0, 1.0)),
            fuel=Fuel.PROPANE,
            **{**good, name: -1.0},  # type: ignore[arg-type]
        )
