"""Behaviour of assemblies: bounds, direction, refusals, and the same answer for a number and an array."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.physics.assembly import (
    FRAMING_CAP,
    covered_u,
    r_iso6946,
    r_isothermal,
    shrinkage_void_fraction,
    u_parallel,
    wall_layers,
    wall_u,
    with_voids,
)
from estimates.physics.materials import EMPTY_CAVITY_R, squeezed_batt_r
from estimates.physics.validity import OutOfRange

share = st.floats(0, 1)
resistance = st.floats(0.05, 60)
WALL = {"series_r": 2.9, "cavity_r": 13.7, "framing_r": 4.375, "framing_fraction": 0.18}


@given(f=share, a=resistance, b=resistance, films=st.floats(0.1, 5))
def test_the_isothermal_planes_answer_never_exceeds_the_parallel_one(f, a, b, films):
    upper = 1 / u_parallel([f, 1 - f], [films + a, films + b])
    lower = r_isothermal([f, 1 - f], [films, [a, b]])
    assert lower <= upper * (1 + 1e-12)
    if upper / lower <= 1.5:
        combined = r_iso6946([f, 1 - f], [films, [a, b]])
        assert lower * (1 - 1e-12) <= combined.r <= upper * (1 + 1e-12)
        assert combined.error >= -1e-12


@given(f=share, a=resistance, b=resistance)
def test_parallel_paths_lie_between_their_parts_and_do_not_depend_on_order(f, a, b):
    u = u_parallel([f, 1 - f], [a, b])
    assert min(1 / a, 1 / b) * (1 - 1e-12) <= u <= max(1 / a, 1 / b) * (1 + 1e-12)
    assert u == pytest.approx(u_parallel([1 - f, f], [b, a]), rel=1e-12)


@given(a=resistance, n=st.integers(1, 6))
def test_paths_that_are_alike_are_one_path(a, n):
    assert u_parallel([1 / n] * n, [a] * n) == pytest.approx(1 / a, rel=1e-9)
    assert r_isothermal([1 / n] * n, [0.68, [a] * n]) == pytest.approx(0.68 + a, rel=1e-9)


@given(shrinkage=st.floats(0, 0.2), width=st.floats(1, 48), height=st.floats(1, 200))
def test_a_gap_from_shrinkage_is_bounded_and_grows(shrinkage, width, height):
    void = shrinkage_void_fraction(shrinkage, width, height)
    assert -1e-12 <= void <= 2 * shrinkage + 1e-12
    assert shrinkage_void_fraction(0.2, width, height) >= void


@given(r=st.floats(5, 40), label=st.floats(2, 14), t=st.floats(0, 14), more=st.floats(0, 14))
def test_a_squeezed_batt_loses_resistance_but_never_gains_any(r, label, t, more):
    thin, thick = squeezed_batt_r(r, label, t), squeezed_batt_r(r, label, t + more)
    assert 0 <= thin <= thick * (1 + 1e-12) <= r * (1 + 1e-9)
    assert squeezed_batt_r(r, label, 0.0) == 0.0


@given(laid_out=st.floats(0, 0.5), more_r=st.floats(0.1, 30), void=st.floats(0, 0.5), unfilled=st.floats(0, 0.4))
def test_the_wall_loses_less_with_more_fill_and_more_with_voids_and_zones(laid_out, more_r, void, unfilled):
    wall = {**WALL, "framing_fraction": laid_out}
    base = wall_u(**wall).u
    assert wall_u(**{**wall, "cavity_r": 13.7 + more_r}).u <= base
    assert wall_u(**wall, void_fraction=void).u >= base
    assert wall_u(**wall, unfilled_fraction=unfilled).u >= base - 1e-12
    assert 1 / (2.9 + 13.7) <= base * (1 + 1e-12) <= 1 / (2.9 + EMPTY_CAVITY_R)


@given(laid_out=st.floats(0, 1), allowance=st.floats(0, 0.08))
def test_the_framing_allowance_adds_up_to_the_cap_and_never_takes_framing_away(laid_out, allowance):
    wall = wall_u(**{**WALL, "framing_fraction": laid_out}, undetected_framing=allowance)
    assert wall.framing_fraction >= laid_out
    assert wall.framing_fraction <= max(laid_out, min(laid_out + allowance, FRAMING_CAP)) + 1e-12
    assert bool(wall.warnings) == (laid_out > FRAMING_CAP)


def test_old_batts_over_the_whole_cavity_are_the_same_as_a_cavity_of_their_resistance():
    covered = wall_u(**WALL, covered_share=1.0, covered_r=9.0)
    assert covered.u == pytest.approx(wall_u(**{**WALL, "cavity_r": 9.0}).u, rel=1e-12)
    assert covered_u(0.0, 9.0, 13.7, 2.9) == pytest.approx(1 / 16.6, rel=1e-12)


def test_no_fill_zones_count_as_unfilled():
    all_zone = wall_u(**{**WALL, "framing_fraction": 0.2}, unfilled_fraction=0.8)
    assert all_zone.u == pytest.approx(0.2 / (2.9 + 4.375) + 0.8 / (2.9 + EMPTY_CAVITY_R), rel=1e-12)
    assert all_zone.framing_fraction == pytest.approx(0.2)  # no room for the allowance


ARGUMENTS = {
    "u_parallel": (lambda f, a, b: u_parallel([f, 1 - f], [a, b])),
    "r_isothermal": (lambda f, a, b: r_isothermal([f, 1 - f], [0.85, [a, b]])),
    "r_iso6946": (lambda f, a, b: r_iso6946([f, 1 - f], [120.0, [a, b]]).r),
    "with_voids": (lambda f, a, b: with_voids(1 / a, 1 / b, f)),
    "covered_u": (lambda f, a, b: covered_u(f, a, b, 2.9)),
    "shrinkage_void_fraction": (lambda f, a, b: shrinkage_void_fraction(f / 5, a, b)),
    "squeezed_batt_r": (lambda f, a, b: squeezed_batt_r(a, b, 10 * f)),
    "wall_u": (
        lambda f, a, b: wall_u(series_r=2.9, cavity_r=a, framing_r=b, framing_fraction=f / 2, void_fraction=f).u
    ),
}


@pytest.mark.parametrize("function", ARGUMENTS.values(), ids=ARGUMENTS)
@given(f=share, a=resistance, b=resistance)
def test_a_number_equals_the_element_of_an_array(function, f, a, b):
    alone = function(f, a, b)
    together = function(np.array([0.5, f]), np.array([5.0, a]), np.array([6.0, b]))
    assert type(alone) is float
    assert together.shape == (2,)
    assert together[1] == pytest.approx(alone, rel=1e-12)


def test_layers_of_a_wall_are_named_by_the_material_table():
    none = wall_layers("stucco", "none", "none")
    assert none.inside_r == 0.68
    assert none.series_r == pytest.approx(0.17 + 0.68 + 0.875 / (1.4 * 6.93347), rel=1e-5)
    with pytest.raises(OutOfRange, match="perhaps plywood"):
        wall_layers("wood_bevel", "plywod", "gypsum")


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: u_parallel([0.5, 0.4], [1, 2]), "sum of fractions is 0.9; enter shares that sum to 1"),
        (lambda: u_parallel([1.0], [1, 2]), "number of fractions is 1; enter one share for each of 2 paths"),
        (lambda: u_parallel([], []), "number of fractions is 0"),
        (lambda: u_parallel([0.5, 0.5], [1, 0]), r"r_paths\[1\] is 0"),
        (lambda: u_parallel([0.5, float("nan")], [1, 1]), r"fractions\[1\] is nan"),
        (
            lambda: r_isothermal([0.5, 0.5], [[1, 2, 3]]),
            r"number of resistances in layers\[0\] is 3; enter one for each of 2 paths",
        ),
        (lambda: r_isothermal([1.0], [-0.1]), r"layers\[0\] is -0.1; enter a number of 0 or more"),
        (lambda: r_isothermal([1.0], []), "sum of layers is 0"),
        (lambda: wall_u(**{**WALL, "framing_fraction": 1.2}), "framing_fraction is 1.2"),
        (lambda: wall_u(**WALL, unfilled_fraction=0.9), "1 - framing_fraction - unfilled_fraction"),
        (lambda: wall_u(**WALL, undetected_framing=0.1), "undetected_framing is 0.1; enter a number from 0 to 0.08"),
        (lambda: shrinkage_void_fraction(0.3, 14.5, 92), "shrinkage is 0.3"),
        (lambda: squeezed_batt_r(19, 0, 3.5), "label_in is 0"),
    ],
)
def test_bad_input_is_named(call, message):
    with pytest.raises(OutOfRange, match=message):
        call()
