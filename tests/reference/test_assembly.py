"""U-factors of assemblies against printed ones. S number seen, M from memory, D two methods, CP common practice."""

import pytest

from estimates.physics.assembly import r_iso6946, r_isothermal, u_parallel, wall_u, with_voids
from estimates.physics.materials import EMPTY_CAVITY_R, SQUEEZED_BATTS, squeezed_batt_r
from estimates.physics.validity import OutOfRange

# The wood-framed wall of ANSI/ASHRAE/IES 90.1 Appendix A, A3.4 (M): cavity 75 %, studs and plates 21 %, headers 4 %;
# films 0.17 and 0.68, stucco 0.08, gypsum board 0.56 on both sides.
SHARES_901 = [0.75, 0.21, 0.04]
SERIES_901 = 0.17 + 0.68 + 0.08 + 0.56 + 0.56
STUD_2X4, STUD_2X6 = 4.38, 6.88


def u_901(cavity_r, continuous_r=0.0, stud_r=STUD_2X4):
    series = SERIES_901 + continuous_r
    return u_parallel(SHARES_901, [series + cavity_r, series + stud_r, series + stud_r])


@pytest.mark.parametrize(
    ("cavity_r", "printed"), [(EMPTY_CAVITY_R, 0.292), (11, 0.096), (13, 0.089), (15, 0.083)], ids="R-{}".format
)
def test_wood_framed_walls_of_90_1_appendix_a(cavity_r, printed):
    assert u_901(cavity_r) == pytest.approx(printed, abs=0.0005)  # M


@pytest.mark.parametrize(
    ("cavity_r", "continuous_r", "stud_r", "printed"),
    [
        # S: deemed-to-comply wood-framed wall tables after IECC-C and 90.1, printed to 3 digits; the tolerance of
        # 0.0006 allows for their own rounding of the base wall.
        pytest.param(EMPTY_CAVITY_R, 12, STUD_2X4, 0.064, id="2x4 R-0+12"),
        pytest.param(11, 5, STUD_2X4, 0.063, id="2x4 R-11+5"),
        pytest.param(13, 3.8, STUD_2X4, 0.064, id="2x4 R-13+3.8"),
        pytest.param(15, 3, STUD_2X4, 0.064, id="2x4 R-15+3"),
        pytest.param(EMPTY_CAVITY_R, 12, STUD_2X6, 0.062, id="2x6 R-0+12"),
        pytest.param(18, 2, STUD_2X6, 0.057, id="2x6 R-19 squeezed to R-18, +2"),
        pytest.param(20, 2, STUD_2X6, 0.054, id="2x6 R-20+2"),
        pytest.param(21, 2, STUD_2X6, 0.053, id="2x6 R-21+2"),
    ],
)
def test_deemed_to_comply_walls_with_continuous_insulation(cavity_r, continuous_r, stud_r, printed):
    assert u_901(cavity_r, continuous_r, stud_r) == pytest.approx(printed, abs=0.0006)


@pytest.mark.parametrize(
    ("r", "printed"),
    [(0, 1.282), (1, 0.562), (5, 0.173), (10, 0.093), (13, 0.073), (20, 0.048), (30, 0.032), (60, 0.016)],
)
def test_continuous_insulation_above_deck_of_90_1_table_a2_2_3(r, printed):
    assert u_parallel([1.0], [0.17 + 0.61 + r]) == pytest.approx(printed, abs=0.0005)  # S, 90.1-2016


def test_handbook_wall_by_both_methods():
    # M: ASHRAE Fundamentals wall example, outside to inside.
    layers = [0.17, 0.81, 1.32, [13, 4.38], 0.45, 0.68]
    series = 0.17 + 0.81 + 1.32 + 0.45 + 0.68
    assert u_parallel([0.75, 0.25], [series + 13, series + 4.38]) == pytest.approx(0.078, abs=0.0005)
    assert 1 / r_isothermal([0.75, 0.25], layers) == pytest.approx(0.082, abs=0.0005)


def test_clear_wall_bounds_that_two_dimensional_conduction_must_meet():
    # D: 2x4, R-13, 16 in on centre: gypsum 0.45, OSB 0.62, films 0.68 and 0.17, wood 1.25 per in.
    shares = [14.5 / 16, 1.5 / 16]
    series = 0.45 + 0.62 + 0.68 + 0.17
    assert 1 / u_parallel(shares, [series + 13, series + 4.375]) == pytest.approx(13.222, abs=0.0005)
    assert r_isothermal(shares, [0.17, 0.62, [13, 4.375], 0.45, 0.68]) == pytest.approx(12.892, abs=0.0005)


def test_wall_of_a_public_r_value_list():
    # S: path totals 13.73 and 7.12, 85 and 15 %, path U 0.0728 and 0.1404, assembly R 12.05; the list sums its rounded
    # path U-factors, which moves the last digit: tolerance 0.015.
    assert 1 / u_parallel([0.85, 0.15], [13.73, 7.12]) == pytest.approx(12.05, abs=0.015)


def test_timber_framed_wall_of_a_national_annex_to_iso_6946():
    # S: Scottish guidance 2005, annex 6.B.2: layers and path totals 3.971 and 1.715 m2K/W, timber 9.5 %.
    # M: its limits 3.531 and 3.418 and the mean 3.475, made from unrounded layers: tolerance 0.0015.
    layers = [0.040, 0.132, 0.090, 0.146, [3.333, 1.077], 0.100, 0.130]
    assert sum(r[0] if isinstance(r, list) else r for r in layers) == pytest.approx(3.971, abs=0.0005)
    assert sum(r[1] if isinstance(r, list) else r for r in layers) == pytest.approx(1.715, abs=0.0005)
    answer = r_iso6946([0.905, 0.095], layers)
    assert answer.upper == pytest.approx(3.531, abs=0.0015)
    assert answer.lower == pytest.approx(3.418, abs=0.0015)
    assert answer.r == pytest.approx(3.475, abs=0.0015)
    assert answer.warnings == ()


def test_metal_studs_are_beyond_the_mean_of_both_limits():
    # ISO 6946 (M): not where upper over lower limit exceeds 1.5.
    with pytest.raises(OutOfRange, match=r"upper over lower limit of R is .*; enter layers that give 1.5 at most"):
        r_iso6946([0.99, 0.01], [0.17, 0.45, [13.0, 0.01], 0.45, 0.68])


@pytest.mark.parametrize(("voids", "printed"), [(0.0, 0.0887), (0.02, 0.0928), (0.05, 0.0989)], ids="{:.0%}".format)
def test_voids_of_the_insulated_area_by_grade(voids, printed):
    # D: the 90.1 R-13 wall; grades of 2 and 5 % voids: rule of a home energy rating standard (S for grades I and II).
    cavity = with_voids(1 / (SERIES_901 + 13), 1 / (SERIES_901 + EMPTY_CAVITY_R), voids)
    whole = u_parallel([0.75, 0.25], [1 / cavity, SERIES_901 + STUD_2X4])
    assert whole == pytest.approx(printed, abs=0.00005)
    built = wall_u(
        series_r=SERIES_901,
        cavity_r=13,
        framing_r=STUD_2X4,
        framing_fraction=0.25,
        undetected_framing=0.0,
        void_fraction=voids,
    )
    assert built.u == pytest.approx(printed, abs=0.00005)


@pytest.mark.parametrize(("depth", "printed"), [(5.5, 18), (3.5, 13)])
def test_an_r_19_batt_squeezed_into_framing(depth, printed):
    # S: a civil engineering handbook and a builders' magazine.
    (row,) = [row for row in SQUEEZED_BATTS if row.label_r == 19 and row.cavity_in == depth]
    assert row.r == printed


@pytest.mark.parametrize("row", SQUEEZED_BATTS, ids=lambda row: f"R-{row.label_r} in {row.cavity_in}")
def test_the_half_percent_rule_agrees_with_the_charts(row):
    # S: "for every x % you lose approximately x/2 %", R to the next whole number: half a unit, and the rule's own word
    # "approximately": 2.5 where nearly half is squeezed out (for R-19 in 3.5 in the charts themselves say 13 and 14).
    slack = 2.5 if row.cavity_in / row.label_in < 0.75 else 1.0
    assert squeezed_batt_r(row.label_r, row.label_in, row.cavity_in) == pytest.approx(row.r, abs=slack)


def test_a_one_percent_gap_all_round_costs_what_hand_arithmetic_says():
    # D: perimeter gap by hand, 14.5 x 92.625 in less 1 % both ways: 2 strips and 2 ends less the corners twice.
    from estimates.physics.assembly import shrinkage_void_fraction

    gap = 0.145 * 92.625 + 0.92625 * 14.5 - 0.145 * 0.92625
    assert shrinkage_void_fraction(0.01, 14.5, 92.625) == pytest.approx(gap / (14.5 * 92.625), rel=1e-12)


@pytest.mark.parametrize(
    ("laid_out", "allowance", "used"), [(0.18, 0.04, 0.22), (0.20, 0.08, 0.28), (0.28, 0.04, 0.30), (0.33, 0.04, 0.33)]
)
def test_the_undetected_framing_allowance_and_its_cap(laid_out, allowance, used):
    # M: 4 points by default, 0 to 8, capped at 30 %; by hand.
    wall = wall_u(series_r=2.9, cavity_r=13.7, framing_r=4.375, framing_fraction=laid_out, undetected_framing=allowance)
    assert wall.framing_fraction == pytest.approx(used, abs=1e-12)
    assert wall.u == pytest.approx(used / 7.275 + (1 - used) / 16.6, rel=1e-12)
