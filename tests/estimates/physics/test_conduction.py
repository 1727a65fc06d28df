"""Behaviour of the conduction solver: conservation, bounds, symmetry and refusals."""

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

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
from estimates.physics.validity import OutOfRange

FACE = [FaceLayer(0.5, 0.45)]
WALL = {"depth_in": 3.5, "outside": FACE, "inside": FACE, "cavity_r": {StripKind.FILLED: 13.7}, "t_in_f": 70.0}
films = st.floats(0.05, 2)
conductivity = st.floats(0.02, 50)


@st.composite
def sections(draw):
    nx, ny = draw(st.integers(1, 5)), draw(st.integers(1, 5))
    x = np.cumsum([0.0, *(draw(st.floats(0.1, 3)) for _ in range(nx))])
    y = np.cumsum([0.0, *(draw(st.floats(0.1, 3)) for _ in range(ny))])
    k = np.array([[draw(conductivity) for _ in range(nx)] for _ in range(ny)])
    return x, y, k


@settings(deadline=None, max_examples=60)
@given(section=sections(), low=st.floats(-20, 40), high=st.floats(-20, 40), r1=films, r2=films, side=st.floats(-20, 40))
def test_heat_that_flows_in_flows_out_and_no_place_is_hotter_than_its_surroundings(section, low, high, r1, r2, side):
    x, y, k = section
    field = solve(
        x, y, k, (Boundary(Side.LOW, low, r1), Boundary(Side.HIGH, high, r2), Boundary(Side.LEFT, side, r1, end=y[1]))
    )
    largest = max(1.0, *(abs(q) for q in field.heat_in))
    assert sum(field.heat_in) == pytest.approx(0, abs=1e-8 * largest)
    assert field.temperature.min() >= min(low, high, side) - 1e-7
    assert field.temperature.max() <= max(low, high, side) + 1e-7


@settings(deadline=None, max_examples=60)
@given(section=sections(), r1=films, r2=films)
def test_held_surfaces_conserve_heat_too_and_films_only_slow_it(section, r1, r2):
    x, y, k = section
    held = solve(x, y, k, (Boundary(Side.LOW, 0.0), Boundary(Side.HIGH, 10.0)))
    filmed = solve(x, y, k, (Boundary(Side.LOW, 0.0, r1), Boundary(Side.HIGH, 10.0, r2)))
    assert held.heat_in[0] == pytest.approx(-held.heat_in[1], rel=1e-7)
    assert held.heat_in[1] >= filmed.heat_in[1] > 0
    assert held.surface(Side.HIGH) == pytest.approx(10.0)


@settings(deadline=None, max_examples=40)
@given(section=sections())
def test_corners_where_held_surfaces_meet_count_for_both_of_them_but_once(section):
    x, y, k = section
    field = solve(x, y, k, (Boundary(Side.LEFT, 0.0), Boundary(Side.LOW, 0.0), Boundary(Side.HIGH, 20.0)))
    assert sum(field.heat_in) == pytest.approx(0, abs=1e-8 * max(abs(q) for q in field.heat_in))
    assert field.temperature[-1, 0] == 10.0


@settings(deadline=None, max_examples=40)
@given(stud=st.floats(0.5, 20), fill=st.floats(0.5, 40), f=st.floats(0.05, 0.5), outer=films, inner=films)
def test_two_dimensions_lie_between_isothermal_planes_and_parallel_paths(stud, fill, f, outer, inner):
    x = grid_lines([0, 8 * f, 8.0], 0.5)
    y = grid_lines([0, 0.5, 4.0], 0.25)
    middle_x, middle_y = np.meshgrid((x[1:] + x[:-1]) / 2, (y[1:] + y[:-1]) / 2)
    k = np.where(middle_y < 0.5, 0.5 / 0.6, np.where(middle_x < 8 * f, 3.5 / stud, 3.5 / fill))
    field = solve(x, y, k, (Boundary(Side.LOW, 0.0, outer), Boundary(Side.HIGH, 1.0, inner)))
    r = 8.0 / field.heat_in[1]
    lower = r_isothermal([f, 1 - f], [outer, 0.6, [stud, fill], inner])
    upper = 1 / u_parallel([f, 1 - f], [outer + 0.6 + stud + inner, outer + 0.6 + fill + inner])
    assert lower * (1 - 1e-9) <= r <= upper * (1 + 1e-9)


@settings(deadline=None, max_examples=40)
@given(section=sections(), r1=films, r2=films)
def test_turning_or_mirroring_the_section_turns_the_answer(section, r1, r2):
    x, y, k = section
    field = solve(x, y, k, (Boundary(Side.LOW, 0.0, r1), Boundary(Side.HIGH, 10.0, r2)))
    turned = solve(y, x, k.T, (Boundary(Side.LEFT, 0.0, r1), Boundary(Side.RIGHT, 10.0, r2)))
    np.testing.assert_allclose(turned.temperature.T, field.temperature, atol=1e-8)
    mirrored = solve(x[-1] - x[::-1], y, k[:, ::-1], (Boundary(Side.LOW, 0.0, r1), Boundary(Side.HIGH, 10.0, r2)))
    assert mirrored.temperature[:, ::-1] == pytest.approx(field.temperature, abs=1e-8)


@settings(deadline=None, max_examples=30)
@given(layers=st.lists(st.tuples(st.floats(0.1, 5), conductivity), min_size=1, max_size=5), r1=films, r2=films)
def test_a_layered_section_is_a_sum_of_resistances(layers, r1, r2):
    y = np.cumsum([0.0, *(t for t, _ in layers)])
    k = np.array([[k, k] for _, k in layers])
    field = solve([0, 1, 3], y, k, (Boundary(Side.LOW, 5.0, r1), Boundary(Side.HIGH, 25.0, r2)))
    total = r1 + sum(t / k for t, k in layers) + r2
    assert field.heat_in[1] == pytest.approx(3 * 20 / total, rel=1e-7)
    assert field.surface(Side.HIGH)[0] == pytest.approx(25 - 20 * r2 / total, abs=1e-6)


def test_a_film_may_cover_a_part_of_a_cell():
    cells = np.ones((1, 1))
    whole = solve([0, 2], [0, 1], cells, (Boundary(Side.LOW, 0.0, 1.0), Boundary(Side.HIGH, 1.0, 1.0)))
    halves = solve(
        [0, 2],
        [0, 1],
        cells,
        (Boundary(Side.LOW, 0.0, 1.0), Boundary(Side.HIGH, 1.0, 1.0, 0, 0.5), Boundary(Side.HIGH, 1.0, 1.0, 0.5, 2)),
    )
    assert halves.heat_in[1] + halves.heat_in[2] == pytest.approx(whole.heat_in[1])


@given(stops=st.lists(st.floats(-100, 100), min_size=2, max_size=6, unique=True), step=st.floats(0.5, 20))
def test_grid_lines_pass_through_every_stop_with_cells_no_wider_than_the_step(stops, step):
    lines = grid_lines(stops, step)
    assert (np.diff(lines) >= 0).all()
    assert np.diff(lines).max() <= step * (1 + 1e-8)
    assert all(np.abs(lines - stop).min() == 0 for stop in stops)


def test_an_empty_bay_looks_coldest_and_a_filled_one_warmest_in_winter():
    strips = [
        Strip(0, 14.5, StripKind.EMPTY),
        Strip(14.5, 1.5, StripKind.STUD),
        Strip(16, 14.5, StripKind.FILLED),
        Strip(30.5, 1.5, StripKind.STUD),
        Strip(32, 2.0, StripKind.VOID),
        Strip(34, 12.5, StripKind.FILLED),
    ]
    winter = infrared(strips, **WALL, t_out_f=20.0)
    empty, stud, filled, _, void, _ = (s.mean_f for s in winter.strips)
    assert 20 < empty < void < stud < filled < 70
    assert winter.warnings == ()
    summer = infrared(strips, **WALL, t_out_f=120.0)
    assert summer.strips[0].mean_f == pytest.approx(140 - empty, abs=1e-6)  # linear: the picture is turned over
    assert summer.u == pytest.approx(winter.u, rel=1e-9)
    assert all(s.lowest_f <= s.mean_f <= s.highest_f for s in winter.strips)


def test_a_small_difference_of_air_temperatures_is_warned_about():
    seen = infrared([Strip(0, 14.5, StripKind.EMPTY)], **WALL, t_out_f=55.0)
    assert seen.warnings == ("inside and outside differ by less than 18 degF: not judged, come again",)


LOW = Boundary(Side.LOW, 0.0)
ONE = np.ones((1, 1))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: solve([0, 1], [0, 1], ONE, ()), "boundaries is 'none'; enter a held surface or an air film"),
        (lambda: solve([0, 0], [0, 1], ONE, (LOW,)), "x is .*rising grid lines"),
        (lambda: solve([0, 1], [0, 1], np.ones((2, 1)), (LOW,)), "one conductivity for each cell"),
        (lambda: solve([0, 1], [0, 1], -ONE, (LOW,)), r"k\[0, 0\] is -1"),
        (lambda: solve([0, 1], [0, 1], ONE, (LOW, LOW)), r"boundaries\[1\].*no other boundary covers"),
        (lambda: solve([0, 1], [0, 1], ONE, (Boundary(Side.LOW, 0.0, end=2.0),)), "a stretch within 0 to 1"),
        (lambda: solve([0, 1], [0, 1], ONE, (Boundary(Side.LOW, 0.0, -1.0),)), "film_r is -1"),
        (lambda: solve([0, 1], [0, 1], ONE, (Boundary(Side.LOW, 0.0, 0.0, 0.2, 0.4),)), "reaches a grid line"),
        (lambda: solve([0, 1], [0, 1], ONE, (LOW,)).at(2.0, 0.5), "x is 2; enter a number from 0 to 1"),
        (lambda: grid_lines([1, 1], 1), "number of stops is 1"),
        (lambda: infrared([], **WALL, t_out_f=20), "strips is 'none'"),
        (
            lambda: infrared([Strip(0, 5, StripKind.BATT)], **WALL, t_out_f=20),
            "cavity_r .*enter the resistance of batt",
        ),
        (lambda: infrared([Strip(0, 5, StripKind.EMPTY)], **WALL, t_out_f=70), "without a difference nothing shows"),
        (
            lambda: infrared([Strip(0, 5, StripKind.EMPTY), Strip(6, 5, StripKind.STUD)], **WALL, t_out_f=20),
            r"strips\[1\].x_in is 6; enter the right edge",
        ),
    ],
)
def test_bad_input_is_named(call, message):
    with pytest.raises(OutOfRange, match=message):
        call()


def test_importing_the_heat_and_moisture_modules_loads_no_heavy_library():
    names = ("materials", "assembly", "conduction", "vapour", "condensation", "moisture", "drying", "attic")
    imports = "; ".join(f"import estimates.physics.{name}" for name in names)
    heavy = "{'scipy', 'pandas', 'matplotlib', 'pint', 'django'} & set(sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", f"{imports}; import sys; print({heavy} or 'none')"], capture_output=True, text=True
    )
    assert (done.stdout.strip(), done.stderr) == ("none", "")
