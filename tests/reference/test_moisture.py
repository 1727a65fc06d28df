"""Moisture against printed values. S the printed number was seen, M from memory, D two methods, CP common practice."""

import math

import psychrolib
import pytest

from estimates.physics.condensation import VapourLayer
from estimates.physics.drying import (
    FRAMING_MOISTURE_LIMIT,
    LUMBER_MOISTURE_LIMIT,
    foam_drying,
    foam_water_lb_ft2,
)
from estimates.physics.moisture import (
    MonthClimate,
    Verdict,
    glaser,
    layer_from_si,
    least_temperature_factor,
    moisture_year,
    temperature_factor,
)
from estimates.physics.vapour import (
    NG_PER_PERM,
    RETARDER_RULES,
    RetarderClass,
    class_iii_allowed,
    dew_point_f,
    iso_saturation_pa,
    perm_from_si,
    perm_to_si,
    retarder_class,
    saturation_pressure_pa,
    saturation_pressure_psia,
)


@pytest.mark.parametrize(
    ("temp_f", "printed"), [(-4, 0.014974), (23, 0.058268), (41, 0.12656), (77, 0.45973), (122, 1.79140)]
)
def test_saturation_pressures_of_the_handbook_tables(temp_f, printed):
    # S: ASHRAE Fundamentals 2017 ch. 1 via the tests of a public psychrometric library, which hold it to 3e-4.
    assert saturation_pressure_psia(temp_f) == pytest.approx(printed, rel=3e-4)


@pytest.mark.parametrize(
    ("temp_c", "kpa"),
    [(0, 0.6113), (5, 0.8726), (10, 1.2281), (15, 1.7056), (20, 2.3388), (25, 3.1690), (30, 4.2455), (50, 12.3440)],
)
def test_saturation_pressures_of_a_public_encyclopedia(temp_c, kpa):
    # S: table in kPa to 4 digits. It is made by another formulation, 0.06 % off
    # ours at 50 degC, where the handbook's own table (above, 122 degF) agrees with us: rel 7e-4.
    assert saturation_pressure_pa(temp_c) / 1000 == pytest.approx(kpa, rel=7e-4)


@pytest.mark.parametrize(("temp_c", "mm_hg"), [(-20, 0.776), (-10, 1.950), (-5, 3.013), (-2, 3.880)])
def test_saturation_pressures_over_ice_of_an_instrument_maker(temp_c, mm_hg):
    # S: hygrometer manual, mm of mercury; an older formulation, 0.1 % below today's: rel 2e-3.
    assert saturation_pressure_pa(temp_c) / 133.322 == pytest.approx(mm_hg, rel=2e-3)


@pytest.mark.parametrize("temp_c", [-20, -10, -1, 0, 5, 20, 40])
def test_the_short_formula_of_iso_13788_stays_near_the_long_one(temp_c):
    assert iso_saturation_pa(temp_c) == pytest.approx(saturation_pressure_pa(temp_c), rel=6e-3)  # D, two formulas


@pytest.mark.parametrize(
    ("temp_f", "rh"), [(70, 0.4), (95, 0.9), (50, 1.0), (40, 0.6), (0, 0.7), (-20, 0.5), (140, 0.1)]
)
def test_dew_points_of_a_public_psychrometric_library(temp_f, rh):
    psychrolib.SetUnitSystem(psychrolib.IP)
    # S: psychrolib, which stops at 0.0018 degF.
    assert dew_point_f(temp_f, rh) == pytest.approx(psychrolib.GetTDewPointFromRelHum(temp_f, rh), abs=0.005)


@pytest.mark.parametrize("temp_f", [-100, -40, 0, 31.9, 32.1, 60, 150, 300])
def test_saturation_pressures_of_a_public_psychrometric_library(temp_f):
    psychrolib.SetUnitSystem(psychrolib.IP)
    # D: the handbook's formula as others wrote it down.
    assert saturation_pressure_psia(temp_f) == pytest.approx(psychrolib.GetSatVapPres(temp_f), rel=1e-4)


# S: a public check of ISO 13788, outside to inside; 10.7 degC and 79 %, 20 degC and 55 %; Rse 0.04, Rsi 0.13.
WALL = [
    layer_from_si("brick", 0.11, 10, 0.69),
    layer_from_si("mortar", 0.01, 10, 0.41),
    layer_from_si("polystyrene", 0.03, 20, 0.037),
    layer_from_si("hollow brick", 0.03, 10, 0.44),
    layer_from_si("plaster", 0.01, 6, 0.57),
]


@pytest.fixture(scope="module")
def checked():
    return glaser(WALL, t_out_c=10.7, rh_out=0.79, t_in_c=20, rh_in=0.55)


def test_glaser_wall_resistances(checked):
    assert 1 / checked.u == pytest.approx(1.25, abs=0.005)
    assert checked.u == pytest.approx(0.80, abs=0.005)
    assert checked.sd == pytest.approx(2.16, abs=0.005)


def test_glaser_wall_temperatures(checked):
    printed = [10.7, 11.0, 12.2, 12.4, 18.4, 18.9, 19.0, 20.0]
    assert list(checked.temperature_c) == pytest.approx(printed, abs=0.051)  # printed to 0.1


def test_glaser_wall_vapour_pressures(checked):
    printed = [1016.00, 1016.00, 1153.16, 1165.62, 1240.44, 1277.84, 1285.32, 1285.32]
    assert list(checked.pressure_pa) == pytest.approx(printed, abs=0.02)  # two decimals, its own rounding of 610.5 exp
    assert not checked.condenses
    assert list(checked.pressure_with_condensation_pa) == pytest.approx(list(checked.pressure_pa))


def test_glaser_wall_surface_factors(checked):
    # D: with Rsi 0.25 throughout 0.818 (the source mixes films and prints .80, which is not reproduced); least factor
    # .36 printed (S), .364 by hand: dew point of 1285.3 / 0.8 Pa is 14.09 degC.
    assert checked.temperature_factor == pytest.approx(0.818, abs=0.0005)
    assert least_temperature_factor(10.7, 20, 0.55) == pytest.approx(0.36, abs=0.005)
    assert least_temperature_factor(10.7, 20, 0.55) == pytest.approx(0.364, abs=0.0005)


def test_condensation_between_two_layers_by_hand():
    # D: one plane; g = 2e-10 ((p_i - p_s) / s_2 - (p_s - p_e) / s_1), temperatures by hand.
    wall = [VapourLayer("fill", 0.2, 0.5), VapourLayer("board", 0.1, 2.0)][::-1]
    cold = glaser(wall, t_out_c=-10, rh_out=0.8, t_in_c=20, rh_in=0.6)
    t = -10 + 30 * (0.04 + 0.1) / (0.04 + 0.3 + 0.13)
    p_s = 610.5 * math.exp(21.875 * t / (265.5 + t))
    p_e = 0.8 * 610.5 * math.exp(21.875 * -10 / 255.5)
    p_i = 0.6 * 610.5 * math.exp(17.269 * 20 / 257.3)
    (plane,) = cold.planes
    assert plane.place == "between board and fill"
    assert plane.rate == pytest.approx(2e-10 * ((p_i - p_s) / 0.5 - (p_s - p_e) / 2.0), rel=1e-9)


def test_a_month_of_drying_by_hand():
    # D: the same wall; what one cold month leaves, a warm one takes away at the rate that the held plane gives.
    wall = [VapourLayer("board", 0.1, 2.0), VapourLayer("fill", 0.2, 0.5)]
    cold, warm = MonthClimate(-10, 0.8, 20, 0.6, 30), MonthClimate(10, 0.6, 20, 0.5, 30)
    year = moisture_year(wall, [warm, cold, warm], r_in=0.13)
    gain = glaser(wall, t_out_c=-10, rh_out=0.8, t_in_c=20, rh_in=0.6).planes[0].rate * 30 * 86400
    t = 10 + 10 * 0.14 / 0.47
    p_s, p_e = (610.5 * math.exp(17.269 * x / (237.3 + x)) * rh for x, rh in ((t, 1.0), (10.0, 0.6)))
    p_i = 610.5 * math.exp(17.269 * 20 / 257.3) * 0.5
    loss = -2e-10 * ((p_i - p_s) / 0.5 - (p_s - p_e) / 2.0) * 30 * 86400
    assert year.first_month == 1
    assert loss > 0
    assert list(year.amounts[:, 0]) == pytest.approx([gain, max(0, gain - loss), max(0, gain - 2 * loss)], rel=1e-9)
    assert year.verdict is (Verdict.GATHERS if gain > 2 * loss else Verdict.DRIES_OUT)


def test_one_perm_in_si():
    assert pytest.approx(57.2, abs=0.05) == NG_PER_PERM  # M
    # D: grain 64.79891 mg, h 3600 s, ft2 0.09290304 m2, inHg 3386.389 Pa.
    assert pytest.approx(64.79891e3 / (3600 * 0.09290304 * 3386.389) * 1e3, rel=1e-5) == NG_PER_PERM
    assert perm_to_si(1.0) == NG_PER_PERM


def test_gypsum_board_of_a_heat_transfer_textbook():
    # S: permeance of 9.5 mm gypsum board 2.86e-9 kg/(s m2 Pa), the handbook's 50 perm at 3/8 in.
    assert perm_from_si(2860) == pytest.approx(50, abs=0.5)
    # M: the book's answer, 8.32 kg through 3 m x 8 m in a day from 20 degC and 60 % into none; 2.86 has three digits.
    kg = perm_to_si(50) * 1e-12 * 0.6 * saturation_pressure_pa(20) * 24 * 86400
    assert kg == pytest.approx(8.32, abs=0.03)


@pytest.mark.parametrize(
    ("perm", "printed"),
    [(0.06, "I"), (0.1, "I"), (0.11, "II"), (1.0, "II"), (1.01, "III"), (10.0, "III"), (11, "open")],
)
def test_retarder_classes_of_the_residential_code(perm, printed):
    assert retarder_class(perm) is RetarderClass(printed)  # S: IRC R702.7


def test_continuous_insulation_that_lets_paint_be_the_retarder():
    assert RETARDER_RULES["6"].ci_2x6 == 11.25  # S: over 2x6 in zone 6, a public thread on the 2018 code
    assert class_iii_allowed("6", sheathing="osb", vented_cladding=False, continuous_r=11.25, framing_depth_in=5.5)
    assert not class_iii_allowed("6", sheathing="osb", vented_cladding=False, continuous_r=11.0, framing_depth_in=5.5)
    # M: the rest of IRC 2018 table R702.7.1.
    assert class_iii_allowed("5", sheathing="osb", vented_cladding=True, continuous_r=0, framing_depth_in=5.5)
    assert class_iii_allowed("6", sheathing="fiberboard", vented_cladding=True, continuous_r=0, framing_depth_in=3.5)
    assert not class_iii_allowed("7", sheathing="gypsum", vented_cladding=True, continuous_r=9.9, framing_depth_in=3.5)
    assert class_iii_allowed("3", sheathing="osb", vented_cladding=False, continuous_r=0, framing_depth_in=3.5)


def test_drying_days_by_hand():
    # D: 3.5 in of foam, 5.0 wet and 2.07 dry: 0.8546 lb/ft2 = 5982 grains. Handbook steam pressures, M, inHg: 55 degF
    # .4360, 45 degF .3005, 68 degF .6905. Outward 5 (.4360 - .2104), inward 8 (.4360 - .2762): 2.406 grains/h.
    water = foam_water_lb_ft2(3.5, 5.0, 2.07)
    assert water == pytest.approx(0.8546, abs=0.00005)
    dry = foam_drying(water, wall_f=55, out_perm=5, out_f=45, out_rh=0.7, in_perm=8, in_f=68, in_rh=0.4)
    assert dry.best_days == pytest.approx(5982 / 2.406 / 24, rel=0.005)
    assert (dry.low_days, dry.high_days) == (0.5 * dry.best_days, 2 * dry.best_days)  # CP: half to twice


def test_the_factor_of_a_bare_window_pane():
    # D: 1 / 5.8 W/(m2 K) glass with Rsi 0.25 and Rse 0.04 and no layer: 0.04 / 0.29.
    assert temperature_factor(0.0) == pytest.approx(0.04 / 0.29, rel=1e-12)


def test_moisture_contents_that_hold_a_wall_open():
    assert FRAMING_MOISTURE_LIMIT == 0.18  # S, federal programme guide
    assert LUMBER_MOISTURE_LIMIT == 0.19  # M
