"""Properties of leakage tests, leakage areas and leakage after the work."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.physics.airtightness import (
    LEAKAGE_SHARES,
    FanDirection,
    ach50,
    air_density,
    cfm50_single_point,
    ela_in2,
    fit_power_law,
    infiltration_cfm,
    leakage_after,
    natural_cfm,
)
from estimates.physics.uncertainty import Sampler
from estimates.physics.validity import OutOfRange

flow = st.floats(0, 20_000)
share = st.floats(0, 1)
PASCALS = (60.0, 50.0, 40.0, 30.0, 20.0, 15.0)


@given(st.floats(1, 500), st.floats(0.5, 1.0), st.floats(-5, 5))
def test_an_exact_curve_is_found_again_through_any_baseline(c: float, n: float, baseline: float) -> None:
    net = np.array(PASCALS)
    test = fit_power_law(net + baseline, c * net**n, baseline_pa=(baseline - 1, baseline + 1))
    assert test.exponent == pytest.approx(n, abs=1e-9)
    assert test.coefficient == pytest.approx(c, rel=1e-8)
    assert test.cfm50_low <= test.cfm50 * (1 + 1e-9)
    assert test.cfm50 <= test.cfm50_high * (1 + 1e-9)


@given(st.floats(0.1, 10))
def test_twice_the_flow_is_twice_the_leakage(factor: float) -> None:
    one = fit_power_law(PASCALS, [2200, 1950, 1680, 1400, 1080, 900])
    other = fit_power_law(PASCALS, np.array([2200, 1950, 1680, 1400, 1080, 900]) * factor)
    assert other.cfm50 == pytest.approx(factor * one.cfm50, rel=1e-9)
    assert other.exponent == pytest.approx(one.exponent, abs=1e-9)


def test_equal_temperatures_at_standard_air_change_nothing() -> None:
    flows = [2200, 1950, 1680, 1400, 1080, 900]
    warm = fit_power_law(PASCALS, flows, indoor_f=68, outdoor_f=68)
    assert warm.cfm50 == pytest.approx(fit_power_law(PASCALS, flows).cfm50, rel=1e-4)


def test_in_winter_depressurising_reads_high_and_pressurising_reads_low() -> None:
    flows = [2200, 1950, 1680, 1400, 1080, 900]
    pull = fit_power_law(PASCALS, flows, indoor_f=70, outdoor_f=0)
    push = fit_power_law(PASCALS, flows, indoor_f=70, outdoor_f=0, direction=FanDirection.PRESSURISE)
    assert pull.density_factor < 1 < push.density_factor


def test_doubtful_tests_are_given_with_warnings() -> None:
    steep = fit_power_law([20, 30, 40], [100, 200, 320])
    assert any("outside 0.5 to 1" in text for text in steep.warnings)
    assert any("3 readings" in text for text in steep.warnings)
    assert any("50 Pa lies outside the 20 to 40 Pa" in text for text in steep.warnings)
    ragged = fit_power_law(PASCALS, [2200, 1500, 1900, 1400, 1080, 900])
    assert any("scatter" in text for text in ragged.warnings)


@pytest.mark.parametrize(
    ("pressure", "flows", "options", "named"),
    [
        ([50, 40], [1, 2], {}, "pressure_pa"),
        ([50, 40, 30], [1, 2], {}, "flow_cfm"),
        ([50, 40, 30], [1, 2, 0], {}, "flow_cfm"),
        ([50, 40, 5], [3, 2, 1], {"baseline_pa": 5}, "pressure_pa"),
        ([50, 50, 50], [3, 2, 1], {}, "pressure_pa"),
        ([50, 40, 30], [3, 2, 1], {"indoor_f": 70.0}, "outdoor_f"),
        ([50, 40, 30], [3, 2, 1], {"outdoor_f": 70.0}, "indoor_f"),
        ([50, 40, 30], [3, 2, 1], {"baseline_pa": float("nan")}, "baseline_pa"),
    ],
)
def test_readings_that_cannot_be_are_refused_by_name(
    pressure: list[float], flows: list[float], options: dict[str, float], named: str
) -> None:
    with pytest.raises(OutOfRange, match=named):
        fit_power_law(pressure, flows, **options)  # type: ignore[arg-type]


@given(st.floats(50, 9000), st.floats(5, 100))
def test_a_single_point_lies_in_its_range(q: float, p: float) -> None:
    one = cfm50_single_point(q, p)
    assert one.cfm50_low <= one.cfm50 <= one.cfm50_high
    many = cfm50_single_point([q, q], [p, 50.0])
    assert np.asarray(many.cfm50)[0] == pytest.approx(one.cfm50, rel=1e-12)
    assert np.asarray(many.cfm50_low)[1] == np.asarray(many.cfm50_high)[1] == q
    assert any("far from 50 Pa" in text for text in one.warnings) == (not 25 <= p <= 75)


def test_a_single_point_wants_its_exponent_inside_its_range() -> None:
    with pytest.raises(OutOfRange, match="exponent"):
        cfm50_single_point(1000.0, exponent=0.9)
    with pytest.raises(OutOfRange, match="exponent_range"):
        cfm50_single_point(1000.0, exponent_range=(0.4, 0.7))


@given(flow, flow, st.floats(0.5, 1))
def test_leakage_area_grows_with_leakage_and_falls_with_exponent(a: float, b: float, n: float) -> None:
    low, high = sorted((a, b))
    assert ela_in2(low, n) <= ela_in2(high, n)
    assert ela_in2(high, min(1.0, n + 0.1)) <= ela_in2(high, n)
    assert np.asarray(ela_in2([low, high], n))[1] == pytest.approx(ela_in2(high, n), rel=1e-12)


@given(st.floats(1, 500), st.floats(1, 3), st.integers(1, 5), st.floats(0, 100), st.floats(0, 40))
def test_winter_leakage_grows_with_cold_wind_and_height_and_falls_with_shelter(
    area: float, floors: float, shelter: int, cold: float, wind: float
) -> None:
    here = infiltration_cfm(area, floors, shelter, cold, wind)
    assert here <= infiltration_cfm(area, floors, shelter, cold + 1, wind)
    assert here <= infiltration_cfm(area, floors, shelter, cold, wind + 1)
    assert here <= infiltration_cfm(area, 3, shelter, cold, wind)
    assert here >= infiltration_cfm(area, floors, 5, cold, wind)
    assert infiltration_cfm(2 * area, floors, shelter, cold, wind) == pytest.approx(2 * here, rel=1e-12)
    many = infiltration_cfm([area, area], floors, shelter, [cold, 0.0], wind)
    assert np.asarray(many)[0] == pytest.approx(here, rel=1e-12)


@given(flow, st.floats(100, 1e5), st.floats(5, 40))
def test_air_changes_and_thumb_rule_take_arrays(q: float, volume: float, n: float) -> None:
    assert np.asarray(ach50([0.0, q], volume))[1] == pytest.approx(ach50(q, volume), rel=1e-12)
    assert np.asarray(natural_cfm([0.0, q], n))[1] == pytest.approx(natural_cfm(q, n), rel=1e-12)


@given(st.floats(-40, 120), st.floats(0, 9000))
def test_air_thins_with_warmth_and_height(temperature: float, altitude: float) -> None:
    here = air_density(temperature, altitude)
    assert here > air_density(temperature + 5, altitude)
    assert here > air_density(temperature, altitude + 100)
    assert np.asarray(air_density([0.0, temperature], altitude))[1] == pytest.approx(here, rel=1e-12)


@pytest.mark.parametrize(("stories", "shelter"), [(0, 3), (4, 3), (2, 0), (2, 6)])
def test_unknown_heights_and_shelters_are_refused(stories: int, shelter: int) -> None:
    with pytest.raises(OutOfRange, match=r"stories|shelter"):
        infiltration_cfm(77.0, stories, shelter, 50.0, 10.0)


class TestLeakageAfter:
    @given(st.lists(st.tuples(st.floats(0.01, 1), share, share), min_size=1, max_size=6), flow)
    def test_stays_between_nothing_and_before_and_its_parts_sum_to_it(
        self, parts: list[tuple[float, float, float]], before: float
    ) -> None:
        names = [f"c{k}" for k in range(len(parts))]
        shares = {name: part[0] for name, part in zip(names, parts, strict=True)}
        treated = {name: {"m": part[1]} for name, part in zip(names, parts, strict=True)}
        effects = {name: {"m": part[2]} for name, part in zip(names, parts, strict=True)}
        after = leakage_after(before, shares, treated, effects)
        assert -1e-9 <= after.cfm50 <= before * (1 + 1e-9)
        assert sum(np.asarray(v) for v in after.by_component.values()) == pytest.approx(after.cfm50, abs=1e-6)
        assert math.fsum(float(v) for v in after.shares.values()) == pytest.approx(1.0, abs=1e-12)
        more = {name: {"m": min(1.0, effect["m"] + 0.1)} for name, effect in effects.items()}
        assert np.asarray(leakage_after(before, shares, treated, more).cfm50) <= np.asarray(after.cfm50) + 1e-9

    def test_a_draw_equals_the_same_numbers_alone(self) -> None:
        sampler = Sampler(5, 64)
        shares = sampler.draw_all(LEAKAGE_SHARES)
        effect = sampler.uniform("effect")
        many = leakage_after(2000.0, shares, {"walls": {"fill": 0.9}}, {"walls": {"fill": effect}}, absent={"ducts"})
        one = leakage_after(
            2000.0,
            {name: draws[7] for name, draws in shares.items()},
            {"walls": {"fill": 0.9}},
            {"walls": {"fill": float(effect[7])}},
            absent={"ducts"},
        )
        assert np.asarray(many.cfm50)[7] == pytest.approx(one.cfm50, rel=1e-12)

    def test_no_work_changes_nothing(self) -> None:
        assert leakage_after(1500.0, {"walls": 0.2, "rest": 0.9}, {}, {}).cfm50 == pytest.approx(1500.0)

    def test_an_unbelievable_cut_carries_a_warning(self) -> None:
        after = leakage_after(1500.0, {"walls": 0.8, "rest": 0.2}, {"walls": {"m": 1.0}}, {"walls": {"m": 0.9}})
        assert "72%" in after.warnings[0]

    @pytest.mark.parametrize(
        ("shares", "treated", "effects", "absent", "named"),
        [
            ({"walls": 1.0}, {"attic": {"m": 1.0}}, {"attic": {"m": 1.0}}, (), "attic"),
            ({"walls": 1.0}, {"walls": {"m": 1.0}}, {}, (), "effects.walls"),
            ({"walls": 1.0}, {}, {"walls": {"m": 1.0}}, (), "effects.walls"),
            ({"walls": 1.0}, {"walls": {"m": 1.2}}, {"walls": {"m": 1.0}}, (), "treated.walls.m"),
            ({"walls": 1.0}, {"walls": {"m": 1.0}}, {"walls": {"m": -0.1}}, (), "effects.walls.m"),
            ({"walls": 0.0}, {}, {}, (), "shares"),
            ({"walls": -1.0}, {}, {}, (), "shares.walls"),
            ({"walls": 1.0}, {}, {}, ("ducts",), "absent"),
            ({"walls": 1.0, "ducts": 1.0}, {"ducts": {"m": 1.0}}, {"ducts": {"m": 1.0}}, ("ducts",), "ducts"),
        ],
    )
    def test_what_does_not_fit_together_is_refused_by_name(
        self,
        shares: dict[str, float],
        treated: dict[str, dict[str, float]],
        effects: dict[str, dict[str, float]],
        absent: tuple[str, ...],
        named: str,
    ) -> None:
        with pytest.raises(OutOfRange, match=named):
            leakage_after(1000.0, shares, treated, effects, absent=absent)
