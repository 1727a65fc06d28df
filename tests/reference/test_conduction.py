"""Two-dimensional conduction against EN ISO 10211 annex A and arithmetic. S number seen, M memory, D derived."""

import math

import numpy as np
import pytest

from estimates.physics.assembly import r_isothermal, u_parallel
from estimates.physics.conduction import (
    Boundary,
    FaceLayer,
    Side,
    Strip,
    StripKind,
    grid_lines,
    infrared,
    solve,
)

# S: EN ISO 10211:2007, A.1 (half of a square column, width 1, height 2): rows y = 1/8 .. 7/8 from the top, columns
# x = 1/4 .. 4/4; tolerance of the standard 0.1 K.
CASE_1 = [
    [9.7, 13.4, 14.7, 15.1],
    [5.3, 8.6, 10.3, 10.8],
    [3.2, 5.6, 7.0, 7.5],
    [2.0, 3.6, 4.7, 5.0],
    [1.3, 2.3, 3.0, 3.2],
    [0.7, 1.4, 1.8, 1.9],
    [0.3, 0.6, 0.8, 0.9],
]


def case_1(cells=40):
    x, y = np.linspace(0, 1, cells + 1), np.linspace(0, 2, 2 * cells + 1)
    held = (Boundary(Side.LEFT, 0.0), Boundary(Side.LOW, 0.0), Boundary(Side.HIGH, 20.0))
    return solve(x, y, np.ones((2 * cells, cells)), held)


def test_iso_10211_case_1_temperatures():
    field = case_1()
    for row, printed_row in enumerate(CASE_1, start=1):
        for column, printed in enumerate(printed_row, start=1):
            assert field.at(column / 4, 2 - row / 4) == pytest.approx(printed, abs=0.1)


def test_iso_10211_case_1_agrees_with_the_series_solution():
    # D: separation of variables on the whole column, width 2, height 2: the second, analytic method.
    field = case_1(64)
    for x, y in ((0.25, 0.5), (0.5, 1.0), (1.0, 1.0), (1.0, 1.75), (0.75, 1.5)):
        series = sum(
            80 / (n * math.pi) * math.sin(n * math.pi * x / 2) * math.sinh(n * math.pi * y / 2) / math.sinh(n * math.pi)
            for n in range(1, 200, 2)
        )
        assert field.at(x, y) == pytest.approx(series, abs=0.01)


# S: EN ISO 10211:2007, A.2; mm, y down; tolerance of the standard 0.1 K and 0.1 W/m.
CASE_2_POINTS = {
    "A": (0, 0, 7.1),
    "B": (500, 0, 0.8),
    "C": (0, 6, 7.9),
    "D": (15, 6, 6.3),
    "E": (500, 6, 0.8),
    "F": (0, 11, 16.4),
    "G": (15, 11, 16.3),
    "H": (0, 47.5, 16.8),
    "I": (500, 47.5, 18.3),
}
CASE_2_BLOCKS = [  # x0, x1, y0, y1, W/(m K)
    (0, 500, 0, 47.5, 0.029),
    (0, 500, 0, 6, 1.15),
    (0, 15, 6, 11, 0.12),
    (0, 15, 11, 12.5, 230.0),
    (0, 1.5, 11, 47.5, 230.0),
    (0, 500, 46, 47.5, 230.0),
]


def case_2(fine=0.5):
    near = grid_lines([0, 1.5, 15, 30], fine)
    far = 30 + np.geomspace(fine, 470, 80)
    x = np.concatenate([near, far])
    y = grid_lines([0, 6, 11, 12.5, 46, 47.5], fine)
    centre_x, centre_y = np.meshgrid((x[1:] + x[:-1]) / 2, (y[1:] + y[:-1]) / 2)
    k = np.zeros_like(centre_x)
    for x0, x1, y0, y1, value in CASE_2_BLOCKS:
        k[(centre_x > x0) & (centre_x < x1) & (centre_y > y0) & (centre_y < y1)] = value
    # Lengths in mm make film resistances 1000 times theirs; heat flow is in W per m of depth either way.
    return solve(x, y, k, (Boundary(Side.LOW, 0.0, film_r=60.0), Boundary(Side.HIGH, 20.0, film_r=110.0)))


@pytest.fixture(scope="module")
def field_2():
    return case_2()


@pytest.mark.parametrize("point", CASE_2_POINTS)
def test_iso_10211_case_2_temperatures(field_2, point):
    x, y, printed = CASE_2_POINTS[point]
    assert field_2.at(x, y) == pytest.approx(printed, abs=0.1)


def test_iso_10211_case_2_heat_flow(field_2):
    # S: EN ISO 10211:2007, A.2: 9.5 W/m; tolerance of the standard 0.1 W/m.
    assert field_2.heat_in[1] == pytest.approx(9.5, abs=0.1)
    assert -field_2.heat_in[0] == pytest.approx(9.5, abs=0.1)


def clear_wall(step):
    """D: half a bay and half a stud of the 2x4 R-13 wall of the assembly checks, 16 in on centre. [in]"""
    x = grid_lines([0, 0.75, 8.0], step)
    y = grid_lines([0, 0.5, 4.0, 4.5], step)
    k = np.empty((y.size - 1, x.size - 1))
    centre_x, centre_y = np.meshgrid((x[1:] + x[:-1]) / 2, (y[1:] + y[:-1]) / 2)
    k[:] = np.where(centre_y < 0.5, 0.5 / 0.62, 0.5 / 0.45)
    core = (centre_y > 0.5) & (centre_y < 4.0)
    k[core] = np.where(centre_x < 0.75, 3.5 / 4.375, 3.5 / 13)[core]
    field = solve(x, y, k, (Boundary(Side.LOW, 0.0, film_r=0.17), Boundary(Side.HIGH, 1.0, film_r=0.68)))
    return 8.0 / field.heat_in[1]


def test_a_clear_wall_lies_between_both_bounds():
    # D: 12.892 <= 13.105 <= 13.222; three independent methods.
    shares = [14.5 / 16, 1.5 / 16]
    lower = r_isothermal(shares, [0.17, 0.62, [13, 4.375], 0.45, 0.68])
    upper = 1 / u_parallel(shares, [1.92 + 13, 1.92 + 4.375])
    assert (lower, upper) == (pytest.approx(12.892, abs=0.0005), pytest.approx(13.222, abs=0.0005))
    two_d = clear_wall(0.0625)
    assert lower < two_d < upper
    assert two_d == pytest.approx(13.105, abs=0.005)


def test_a_finer_grid_changes_the_clear_wall_less_and_less():
    # D: what any method that converges must do.
    coarse, middle, fine = clear_wall(0.5), clear_wall(0.25), clear_wall(0.125)
    assert abs(fine - middle) < abs(middle - coarse)
    assert fine == pytest.approx(13.105, abs=0.02)


def test_infrared_of_wide_strips_is_one_dimensional_in_their_middle():
    # D: far from any edge the surface is t_in - dt x film / R; by hand with R = .17 + .8 + r + .45 + .68.
    resistances = {StripKind.FILLED: 13.7, StripKind.BATT: 8.0}
    kinds = [StripKind.FILLED, StripKind.EMPTY, StripKind.BATT, StripKind.VOID, StripKind.STUD]
    strips = [Strip(60.0 * i, 60.0, kind) for i, kind in enumerate(kinds)]
    seen = infrared(
        strips,
        depth_in=3.5,
        outside=[FaceLayer(0.75, 0.8)],
        inside=[FaceLayer(0.5, 0.45)],
        cavity_r=resistances,
        t_in_f=70,
        t_out_f=20,
        step_in=0.5,
    )
    within = {**resistances, StripKind.EMPTY: 0.91, StripKind.VOID: 0.91, StripKind.STUD: 4.375}
    for i, kind in enumerate(kinds):
        middle = float(np.interp(60.0 * i + 30.0, seen.x_in, seen.surface_f))
        assert middle == pytest.approx(70 - 50 * 0.68 / (2.10 + within[kind]), abs=0.01)
