"""Materials against printed tables. S the printed number was seen, M from memory, D two methods, CP common practice."""

import pytest
from ht.insulation import ASHRAE

from estimates.physics.materials import (
    AIR_FILMS,
    EMPTY_CAVITY_R,
    K_PER_SI,
    MATERIALS,
    R_PER_SI,
    air_film,
    framing_r,
    material,
)

# S: the tables of ASHRAE Fundamentals as the public heat transfer library `ht` holds them; the printed SI numbers are
# stated in the rows, so they must be equal but for the conversion. Value: k [W/(m K)] or R [m2 K/W] at thickness [mm].
FROM_HT = {
    "gypsum": ("Gypsum or plaster board", "k", 0.16),
    "plywood": ("Plywood (douglas fir)", "r", 0.14),
    "osb": ("Oriented strand board (OSB)", "r", 0.12),
    "wood_bevel": ("Siding, Wood, bevel, 200 mm, lapped", "r", 0.14),
    "wood_bevel_wide": ("Siding, Wood, bevel, 250 mm, lapped", "r", 0.18),
    "wood_shingle": ("Shingles, Wood, 400 mm, 190 mm exposure", "r", 0.15),
    "asbestos_cement": ("Shingles, Siding, Asbestos/cement, lapped", "r", 0.037),
    "plywood_siding": ("Siding, Wood, plywood, lapped", "r", 0.10),
    "vinyl": ("Siding, Aluminum, steel, or vinyl, over sheathing, hollow-backed", "r", 0.11),
    "aluminium": ("Siding, Aluminum, steel, or vinyl, over sheathing, hollow-backed", "r", 0.11),
    "spruce_pine_fir": ("Hem/fir, spruce/pine/fir", "k", 0.12),
    "board": ("Hem/fir, spruce/pine/fir", "k", 0.12),
    "loose_cellulose": ("Loose fill, Cellulosic", "k", 0.042),
    "glass_batt": ("Glass-fiber batts, 90 mm", "k", 0.043),
    "rock_wool_batt": ("Mineral fiber", "k", 0.036),
    "stucco": ("Concrete, Cement/lime, mortar, and stucco, 1920 kg/m^3", "k", 1.4),
    "brick_veneer": ("Brick, fired clay, 1920 kg/m^3", "k", 0.895),
}


@pytest.mark.parametrize("key", FROM_HT)
def test_conductivities_and_resistances_equal_the_handbook_tables(key):
    name, what, printed = FROM_HT[key]
    _, _, conductivity, resistance, _ = ASHRAE[name]
    assert (conductivity if what == "k" else resistance) == printed
    row = material(key)
    if what == "k":
        assert row.k / 6.93347 == pytest.approx(printed, rel=1e-5)
    else:
        assert row.resistance() / 5.678263 == pytest.approx(printed, rel=1e-6)


@pytest.mark.parametrize(
    ("key", "thickness_in", "printed", "tolerance"),
    [
        # S: ASHRAE Fundamentals 1997 as reprinted in a public table: gypsum 1/2 in, regular fiberboard 1/2 in.
        pytest.param("gypsum", 0.5, 0.45, 0.005, id="gypsum board 1/2 in, S"),
        pytest.param("fiberboard", 0.5, 1.32, 0.005, id="fiberboard 1/2 in, S"),
        # S: softwood 1.25 and hardwood 0.91 per in, trade magazine after ASHRAE, 1975.
        pytest.param("softwood", 1.0, 1.25, 0.005, id="softwood per in, S"),
        pytest.param("hardwood", 1.0, 0.91, 0.005, id="hardwood per in, S"),
        # S: studs 4.38 and 6.88 in public R-value lists.
        pytest.param("softwood", 3.5, 4.38, 0.0051, id="2x4 stud, S"),
        pytest.param("softwood", 5.5, 6.88, 0.0051, id="2x6 stud, S"),
        # S: cellulose 3.6 to 3.8 per in is today's label range; the handbook's conductivity gives 3.43: an honest
        # deviation of 5 %, so only the first digit of the range is asked for here.
        pytest.param("loose_cellulose", 1.0, 3.6, 0.2, id="cellulose per in, S, 5 % off the label range"),
        # S: face brick 4 in 0.43 (ASHRAE 1989, 125 lb/ft3); ours is 120 lb/ft3 of the newer table, 0.64 at 4 in: other
        # density, other table; held to the band between the printed 0.43 and common brick 0.80 (S, old lists).
        pytest.param("brick_veneer", 4.0, 0.615, 0.185, id="4 in brick between face and common brick, S"),
        pytest.param("mineral_foam", 1.0, 3.9, 0.05, id="cementitious foam per in, S"),
        pytest.param("loose_glass", 1.0, 2.2, 0.05, id="loose glass fiber at 0.7 lb/ft3, S"),
        pytest.param("wood_panel", 0.25, 0.31, 0.005, id="plywood 1/4 in, S"),
        # M: older handbook editions printed 0.81 for this siding; the SI table gives 0.79.
        pytest.param("wood_bevel", 0.5, 0.81, 0.03, id="bevel siding, M, 2 % off the older edition"),
    ],
)
def test_resistances_agree_with_other_printed_lists(key, thickness_in, printed, tolerance):
    assert material(key).resistance(thickness_in) == pytest.approx(printed, abs=tolerance)


@pytest.mark.parametrize(
    ("film", "printed"),
    [  # S: ASHRAE Fundamentals ch. 26.
        ("outside_winter", 0.17),
        ("outside_summer", 0.25),
        ("inside_up", 0.61),
        ("inside_vertical", 0.68),
        ("inside_down", 0.92),
    ],
)
def test_air_films_are_those_of_the_handbook(film, printed):
    assert air_film(film) == printed
    assert AIR_FILMS[film].mark == "S"


def test_the_empty_cavity_is_the_printed_air_space():
    # S: ASHRAE 1989 construction codes print 0.91 for an air space; back-solved from 90.1 in tests of the assembly (M).
    assert EMPTY_CAVITY_R == 0.91


@pytest.mark.parametrize(
    ("key", "perm"),
    [
        # S: public lists; M: ASHRAE Fundamentals permeance table from memory (gypsum board 50 perm at 3/8 in).
        pytest.param("felt", 6.0, id="felt, S"),
        pytest.param("latex_paint", 5.0, id="latex paint, S"),
        pytest.param("polyethylene", 0.06, id="polyethylene 6 mil, M (a public list prints 0.05)"),
        pytest.param("plaster_lath", 11.0, id="plaster on wood lath, M"),
    ],
)
def test_permeances_are_those_of_the_lists(key, perm):
    assert material(key).permeance() == pytest.approx(perm)


def test_gypsum_board_of_three_eighths_has_50_perm():
    assert material("gypsum").permeance(0.375) == pytest.approx(50, abs=0.5)  # M; also "50" in a public list, S


def test_unit_factors_follow_from_the_definitions_of_foot_and_btu():
    # D: foot 0.3048 m, Btu (IT) 1055.05585262 J, hour 3600 s, degF 5/9 K.
    btu_per_hour = 1055.05585262 / 3600
    assert pytest.approx((0.3048**2) * (5 / 9) / btu_per_hour, rel=1e-7) == 1 / R_PER_SI
    assert pytest.approx(0.0254 * 0.3048**-2 * btu_per_hour / (5 / 9), rel=1e-7) == 1 / K_PER_SI


def test_every_row_has_a_mark_and_a_source():
    # CP: nothing is compared here; each row names its own source.
    for row in MATERIALS.values():
        assert row.mark in {"S", "M", "D", "CP"}
        assert row.perm_mark in {"S", "M", "D", "CP"}
        assert row.source


def test_studs_resist_in_proportion_to_depth():
    assert framing_r(3.5) == 4.375  # 1.25 per in, S
