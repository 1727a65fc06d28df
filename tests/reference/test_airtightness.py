"""Air leakage against published tables, worked examples and independent regressions.

S: printed number seen. M: from memory, unconfirmed. D: derived here by two methods. CP: common practice, no source.
"""

from __future__ import annotations

import math

import numpy as np
import psychrolib
import pytest
from scipy import optimize, stats

from estimates.physics.airtightness import (
    STACK,
    WIND,
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

# D: a ten-point test made up here; its results by three regressions (statistics library, normal equations by hand,
# general minimiser), agreeing to all digits printed.
PRESSURES = [58.3, 52.1, 47.6, 41.9, 36.4, 30.8, 25.2, 20.5, 15.1, 12.4]
FLOWS = [2118.0, 1958.0, 1869.0, 1703.0, 1572.0, 1397.0, 1240.0, 1068.0, 883.0, 769.0]


class TestTenPointTest:
    def test_gives_the_derived_curve(self) -> None:
        test = fit_power_law(PRESSURES, FLOWS)
        assert test.exponent == pytest.approx(0.651867, abs=5e-7)
        assert test.exponent_se == pytest.approx(0.00401, abs=5e-6)
        assert test.coefficient == pytest.approx(149.866, abs=5e-4)
        assert test.r2 == pytest.approx(0.999698, abs=5e-7)
        assert test.cfm50 == pytest.approx(1919.58, abs=5e-3)
        assert test.flow_cfm(4.0) == pytest.approx(369.97, abs=5e-3)
        assert ela_in2(test.cfm50, test.exponent) == pytest.approx(104.82, abs=5e-3)
        assert test.warnings == ()

    def test_equals_a_library_regression_and_a_minimiser(self) -> None:
        # D: scipy.stats.linregress on logarithms, scipy.optimize.minimize of the sum of squares.
        test = fit_power_law(PRESSURES, FLOWS)
        line = stats.linregress(np.log(PRESSURES), np.log(FLOWS))
        assert (test.exponent, test.exponent_se) == pytest.approx((line.slope, line.stderr), rel=1e-9)
        assert test.coefficient_se == pytest.approx(test.coefficient * line.intercept_stderr, rel=1e-9)

        def squares(v: np.ndarray) -> float:
            return float(np.sum((np.log(FLOWS) - v[0] - v[1] * np.log(PRESSURES)) ** 2))

        found = optimize.minimize(squares, [5.0, 0.6], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-16})
        assert found.x == pytest.approx([math.log(test.coefficient), test.exponent], abs=1e-6)

    def test_its_interval_is_that_of_the_mean_line_by_the_textbook_formula(self) -> None:
        # D: se of the mean response = s sqrt(1/n + (x - xbar)2/Sxx), written out without matrices.
        x, y = np.log(PRESSURES), np.log(FLOWS)
        line = stats.linregress(x, y)
        s = math.sqrt(np.sum((y - line.intercept - line.slope * x) ** 2) / 8)
        se = s * math.sqrt(0.1 + (math.log(50) - x.mean()) ** 2 / np.sum((x - x.mean()) ** 2))
        test = fit_power_law(PRESSURES, FLOWS)
        assert test.cfm50_high / test.cfm50 == pytest.approx(math.exp(stats.t.ppf(0.975, 8) * se), rel=1e-9)
        assert test.cfm50 / test.cfm50_low == pytest.approx(test.cfm50_high / test.cfm50, rel=1e-12)

    def test_its_interval_holds_the_truth_95_times_in_100(self) -> None:
        # D: 1500 simulated tests of a known house; 3 sd of a binomial is 1.7 points.
        rng = np.random.default_rng(8)
        truth = 120 * np.asarray(PRESSURES) ** 0.62
        held = 0
        for _ in range(1500):
            test = fit_power_law(PRESSURES, truth * np.exp(rng.normal(0, 0.02, 10)))
            held += test.cfm50_low <= 120 * 50**0.62 <= test.cfm50_high
        assert held / 1500 == pytest.approx(0.95, abs=0.017)


class TestAirDensity:
    @pytest.mark.parametrize(("temperature", "altitude"), [(68.0, 0.0), (10.0, 0.0), (95.0, 2500.0), (-20.0, 7000.0)])
    def test_equals_that_of_a_psychrometric_library(self, temperature: float, altitude: float) -> None:
        # D: psychrolib, dry air, standard atmosphere; its gas constant is rounded to 53.35.
        psychrolib.SetUnitSystem(psychrolib.IP)
        pressure = psychrolib.GetStandardAtmPressure(altitude)
        theirs = psychrolib.GetDryAirDensity(temperature, pressure) * 16.018463
        assert air_density(temperature, altitude) == pytest.approx(theirs, rel=3e-4)

    @pytest.mark.parametrize("direction", list(FanDirection))
    def test_the_same_mass_passes_fan_and_leaks(self, direction: FanDirection) -> None:
        # D: mass balance; the air at the fan is indoor air when it depressurises, outdoor air when it pressurises.
        test = fit_power_law(PRESSURES, FLOWS, indoor_f=70, outdoor_f=10, direction=direction)
        indoor, outdoor = air_density(70.0), air_density(10.0)
        fan, leak = (indoor, outdoor) if direction is FanDirection.DEPRESSURISE else (outdoor, indoor)
        assert test.density_factor * leak == pytest.approx(fan, rel=1e-12)

    def test_orifice_leaks_are_corrected_by_density_alone_and_laminar_leaks_by_viscosity_alone(self) -> None:
        # D: orifice flow Q ~ sqrt(dp/rho), laminar flow Q ~ dp/mu, at both limits of the exponent.
        p = np.array([20.0, 30.0, 40.0, 60.0])
        orifice = fit_power_law(p, 100 * p**0.5, indoor_f=70, outdoor_f=0, altitude_ft=3000)
        assert orifice.standard_factor == pytest.approx(math.sqrt(air_density(0.0, 3000.0) / 1.2041), rel=1e-9)
        cold, warm = (fit_power_law(p, 10 * p, indoor_f=70, outdoor_f=t).standard_factor for t in (0, 100))
        # M: handbook viscosity of air at 0 and 100 degF, 1.63e-5 and 1.90e-5 Pa s, over 1.81e-5 at 68 degF.
        assert cold == pytest.approx(1.63 / 1.81, abs=0.006)
        assert warm == pytest.approx(1.90 / 1.81, abs=0.006)


class TestLeakageArea:
    def test_4_pa_area_is_0_05486_in2_per_cfm50_about_an_18th(self) -> None:
        # S: about cfm50/18 in training material of the trade; D: 0.05486 from the equation with exact unit factors.
        assert ela_in2(1.0) == pytest.approx(0.05486, abs=5e-6)
        assert 1 / ela_in2(1.0) == pytest.approx(18, abs=0.5)

    def test_10_pa_area_is_about_a_10th(self) -> None:
        # S: about cfm50/10 in training material of the trade.
        assert 1 / ela_in2(1.0, reference_pa=10, discharge=0.611) == pytest.approx(10, abs=0.5)


class TestWinterLeakage:
    def test_handbook_example_of_a_two_storey_house(self) -> None:
        # M: ASHRAE Fundamentals ch. 16 example: 77 in2, class 3, 72 degF, 15 mph, 12,000 ft3 -> 155 cfm, 0.78 ach.
        flow = infiltration_cfm(77.0, 2, 3, 72.0, 15.0)
        assert flow == pytest.approx(155, abs=1)
        assert 60 * flow / 12_000 == pytest.approx(0.78, abs=0.005)

    def test_stack_and_wind_tables_agree_with_their_si_twins(self) -> None:
        # S: SI lists of the same chapter, (L/s)2/(cm4 K) and (L/s)2/(cm4 (m/s)2); the I-P lists are from memory.
        # The printed I-P stack list is 0.7 % below the exact conversion of the SI list.
        per_cfm2_in4 = (0.3048**3 * 1000 / 60) ** 2 / 2.54**4
        si_stack = (0.000145, 0.000290, 0.000435)
        si_wind = (
            (0.000319, 0.000420, 0.000494),
            (0.000246, 0.000325, 0.000382),
            (0.000174, 0.000231, 0.000271),
            (0.000104, 0.000137, 0.000161),
            (0.000032, 0.000042, 0.000049),
        )
        for ours, theirs in zip(STACK, si_stack, strict=True):
            assert ours * per_cfm2_in4 * 1.8 == pytest.approx(theirs, rel=0.0075)
        half = 0.00005 * per_cfm2_in4 / 0.44704**2 + 0.0000005
        for ours_row, theirs_row in zip(WIND, si_wind, strict=True):
            for ours, theirs in zip(ours_row, theirs_row, strict=True):
                assert ours * per_cfm2_in4 / 0.44704**2 == pytest.approx(theirs, abs=half)

    def test_rule_of_thumb_and_air_changes(self) -> None:
        # CP: definitions of the trade.
        assert natural_cfm(2000.0, 20.0) == pytest.approx(100.0)
        assert ach50(2000.0, 12_000.0) == pytest.approx(10.0)


def test_single_point_at_the_handbook_exponent_equals_the_curve_through_that_point() -> None:
    # D: a test that follows n = 0.65 exactly.
    p = np.array([15.0, 25.0, 35.0, 45.0, 55.0])
    curve = fit_power_law(p, 130 * p**0.65)
    assert cfm50_single_point(130 * 35**0.65, 35.0).cfm50 == pytest.approx(curve.cfm50, rel=1e-12)


class TestLeakageAfter:
    def test_products_run_on_one_component_and_sums_across_components(self) -> None:
        # D: by hand: .5 (1 - .8 x .5)(1 - 1 x .1) + .3 (1 - .5 x .9) + .2 = .27 + .165 + .2 = .635.
        after = leakage_after(
            2400.0,
            {"walls": 0.5, "ceiling": 0.3, "other": 0.2},
            {"walls": {"fill": 0.8, "rim": 1.0}, "ceiling": {"seal": 0.5}},
            {"walls": {"fill": 0.5, "rim": 0.1}, "ceiling": {"seal": 0.9}},
        )
        assert after.cfm50 == pytest.approx(2400 * 0.635, rel=1e-12)

    def test_shares_of_the_handbook_without_ducts_and_fireplace_are_rescaled(self) -> None:
        # D: .35/.73 of the leakage in the walls; M: shares from memory.
        after = leakage_after(
            1000.0,
            {"walls": 0.35, "ceiling": 0.18, "windows": 0.15, "ducts": 0.18, "fireplace": 0.12, "vents": 0.05},
            {"walls": {"fill": 1.0}},
            {"walls": {"fill": 1.0}},
            absent=("ducts", "fireplace"),
        )
        assert after.reduction == pytest.approx(0.35 / 0.73, rel=1e-12)
