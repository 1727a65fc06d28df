"""Behaviour of the moisture functions: bounds, conservation, a second method for the string, and refusals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimates.physics.condensation import AirState, Section, VapourLayer
from estimates.physics.drying import foam_drying, foam_water_lb_ft2
from estimates.physics.moisture import (
    MonthClimate,
    Verdict,
    glaser,
    layer_from_si,
    layer_from_us,
    least_temperature_factor,
    moisture_year,
    surface_humidity,
    temperature_factor,
)
from estimates.physics.validity import OutOfRange
from estimates.physics.vapour import (
    class_iii_allowed,
    dew_point_f,
    iso_dew_point_c,
    iso_saturation_pa,
    perm_from_si,
    perm_to_si,
    retarder_class,
    saturation_pressure_pa,
    saturation_pressure_psia,
    sd_from_perm,
)

humidity = st.floats(0.05, 1.0)
walls = st.lists(
    st.builds(VapourLayer, st.just("layer"), st.floats(0.0, 3.0), st.one_of(st.just(0.0), st.floats(0.01, 20.0))),
    min_size=1,
    max_size=5,
).filter(lambda layers: sum(layer.sd for layer in layers) > 0.01)
airs = {"t_out_c": st.floats(-30, 35), "rh_out": humidity, "t_in_c": st.floats(10, 30), "rh_in": humidity}


@settings(deadline=None)
@given(wall=walls, air=st.fixed_dictionaries(airs))
def test_vapour_stays_under_saturation_inside_the_wall_and_only_gains_condense(wall, air):
    section, state = Section.of(wall, 0.04, 0.13), AirState.of(**air)
    hull, saturation = section.string(state), section.saturation(state)
    bent = np.interp(section.sd, hull.sd, hull.pressure)
    for plane in section.planes:
        assert bent[plane[0]] <= saturation[plane].min() * (1 + 1e-9)
    assert all(rate > 0 for _, rate in hull.rates)
    straight = state.p_out + (state.p_in - state.p_out) * section.sd / section.sd[-1]
    assert (bent <= straight * (1 + 1e-9)).all()


@settings(deadline=None)
@given(wall=walls, air=st.fixed_dictionaries(airs))
def test_the_string_is_the_lowest_chord_over_every_point(wall, air):
    # Second method: the lower convex hull at a point is the least of all chords that span it.
    section, state = Section.of(wall, 0.04, 0.13), AirState.of(**air)
    hull, saturation = section.string(state), section.saturation(state)
    points = [(0.0, state.p_out), (section.sd[-1], state.p_in)]
    points += [(section.sd[p[0]], saturation[p].min()) for p in section.planes]
    for x, y in points[2:]:
        chords = [a[1] + (b[1] - a[1]) * (x - a[0]) / (b[0] - a[0]) for a in points for b in points if a[0] < x < b[0]]
        assert np.interp(x, hull.sd, hull.pressure) == pytest.approx(min(y, *chords), rel=1e-7)


@settings(deadline=None)
@given(wall=walls, air=st.fixed_dictionaries(airs))
def test_what_condenses_is_what_flows_in_less_what_flows_out(wall, air):
    section, state = Section.of(wall, 0.04, 0.13), AirState.of(**air)
    hull = section.string(state)
    slope = np.diff(hull.pressure) / np.diff(hull.sd)
    scale = 2e-10 * np.abs(slope).max() + 1e-20
    assert sum(rate for _, rate in hull.rates) == pytest.approx(2e-10 * (slope[-1] - slope[0]), abs=1e-9 * scale)
    answer = glaser(wall, **air)
    assert answer.condenses == bool(hull.rates)
    assert [plane.rate for plane in answer.planes] == [rate for _, rate in hull.rates]


@settings(deadline=None)
@given(wall=walls, air=st.fixed_dictionaries(airs))
def test_temperatures_run_from_one_air_to_the_other(wall, air):
    answer = glaser(wall, **air)
    steps = np.diff(answer.temperature_c) * np.sign(air["t_in_c"] - air["t_out_c"])
    assert (steps >= -1e-9).all()
    assert 0 <= answer.temperature_factor < 1
    assert len(answer.places) == len(wall) + 3 == answer.pressure_pa.size


@settings(deadline=None)
@given(wall=walls, air=st.fixed_dictionaries(airs), drier=st.floats(0, 1))
def test_drier_rooms_never_condense_more(wall, air, drier):
    wet = sum(plane.rate for plane in glaser(wall, **air).planes)
    dry = sum(plane.rate for plane in glaser(wall, **{**air, "rh_in": 0.05 + (air["rh_in"] - 0.05) * drier}).planes)
    assert dry <= wet * (1 + 1e-9) + 1e-18


months = st.lists(st.builds(MonthClimate, *airs.values(), st.floats(5, 31)), min_size=1, max_size=8)


@settings(deadline=None, max_examples=60)
@given(wall=walls, year=months)
def test_a_year_never_owes_water_and_its_verdict_fits_its_figures(wall, year):
    answer = moisture_year(wall, year)
    assert (answer.amounts >= 0).all()
    assert answer.amounts.shape == (len(year), len(answer.places))
    assert (answer.verdict is Verdict.GATHERS) == (answer.left_over > 0)
    assert (answer.verdict is Verdict.DRY) == (not answer.places)
    assert answer.greatest >= answer.left_over >= 0


@settings(deadline=None, max_examples=60)
@given(wall=walls, month=st.builds(MonthClimate, *airs.values(), st.floats(5, 31)), cut=st.floats(0.1, 0.9))
def test_two_parts_of_a_month_make_the_month(wall, month, cut):
    section = Section.of(wall, 0.04, 0.25)
    state = AirState.of(month.t_out_c, month.rh_out, month.t_in_c, month.rh_in)
    start = np.full(len(section.planes), 0.001)
    whole = section.after(state, 1e6, start)
    parts = section.after(state, 1e6 * (1 - cut), section.after(state, 1e6 * cut, start))
    assert parts == pytest.approx(whole, rel=1e-6, abs=1e-9)


def test_a_wet_plane_dries_and_stays_dry():
    section = Section.of([VapourLayer("a", 0.1, 1.0), VapourLayer("b", 0.1, 1.0)], 0.04, 0.13)
    state = AirState.of(20, 0.4, 20, 0.4)
    start = np.array([0.01])
    short, long = section.after(state, 3600, start), section.after(state, 1e9, start)
    assert 0 < short[0] < 0.01
    assert long[0] == 0.0


def test_a_tight_inside_face_keeps_a_filled_wall_dry_that_an_open_one_wets():
    air = {"t_out_c": -10.0, "rh_out": 0.8, "t_in_c": 20.0, "rh_in": 0.5}
    siding, fill = layer_from_us("siding", 0.8, 1.0), layer_from_us("fill", 13.7, 5.1)
    open_face = glaser([siding, fill, layer_from_us("plaster", 0.4, 11)], **air)
    tight = glaser([siding, fill, layer_from_us("vapour retarder", 0.4, 0.06)], **air)
    assert open_face.condenses
    assert not tight.condenses


def test_condensate_inside_a_thick_layer_is_found():
    # Saturation bends below the straight line of pressure between two damp airs: no layer face lies there.
    fill = [VapourLayer("fill", 2.0, 1.0)]
    damp = glaser(fill, t_out_c=-10, rh_out=0.95, t_in_c=20, rh_in=0.9)
    assert damp.planes
    assert {plane.place for plane in damp.planes} == {"in fill"}


def test_saturated_air_of_one_temperature_on_both_sides_condenses_nothing():
    layers = [VapourLayer("a", 0.3, 1.0), VapourLayer("b", 0.9, 0.7)]
    assert not glaser(layers, t_out_c=15, rh_out=1.0, t_in_c=15, rh_in=1.0).condenses


def test_condensate_on_a_face_is_warned_of():
    wall = [VapourLayer("glass", 0.005, 1000.0)]
    assert glaser(wall, t_out_c=-10, rh_out=0.8, t_in_c=20, rh_in=0.6).warnings == (
        "water condenses on the inner face",
    )


def test_a_wall_that_condenses_all_year_is_said_to_have_no_start():
    wall = [layer_from_us("foil-faced board", 1, 0.02), layer_from_us("fill", 13.7, 5.1)]
    year = moisture_year(wall, [MonthClimate(-10, 0.8, 20, 0.5)] * 3)
    assert year.verdict is Verdict.GATHERS
    assert year.warnings == ("water condenses in every month; the start of the balance is arbitrary",)
    assert np.diff(year.amounts.sum(axis=1)) == pytest.approx(year.amounts[0].sum(), rel=1e-9)


@given(t=st.floats(-100, 199), more=st.floats(0.1, 50))
def test_warmer_air_holds_more(t, more):
    assert saturation_pressure_pa(min(200.0, t + more)) > saturation_pressure_pa(t) > 0


@given(t=st.floats(-50, 75))
def test_the_short_formula_and_its_inverse_meet(t):
    assert iso_dew_point_c(iso_saturation_pa(t)) == pytest.approx(t, abs=1e-9)


@given(t=st.floats(-90, 190), rh=st.floats(0.01, 1))
def test_air_cooled_to_its_dew_point_is_saturated(t, rh):
    dew = dew_point_f(t, rh)
    assert dew <= t + 1e-9
    # The two equations part by 3e-5 at the triple point.
    assert saturation_pressure_psia(dew) == pytest.approx(rh * saturation_pressure_psia(t), rel=1e-4)


@given(perm=st.floats(0.01, 200))
def test_permeance_goes_there_and_back(perm):
    assert perm_from_si(perm_to_si(perm)) == pytest.approx(perm, rel=1e-12)
    assert sd_from_perm(2 * perm) == pytest.approx(sd_from_perm(perm) / 2, rel=1e-12)


@given(layers=st.floats(0, 10), more=st.floats(0.01, 10), rh=st.floats(0.1, 0.9), t_out=st.floats(-30, 15))
def test_a_better_wall_has_a_warmer_drier_face(layers, more, rh, t_out):
    poor, good = temperature_factor(layers), temperature_factor(layers + more)
    assert 0 < poor < good < 1
    assert surface_humidity(t_out, 20, rh, good) <= surface_humidity(t_out, 20, rh, poor) + 1e-12
    least = least_temperature_factor(t_out, 20, rh)
    if 0 <= least <= 1:
        assert surface_humidity(t_out, 20, rh, least) == pytest.approx(0.8, rel=1e-6)


DRY = {"wall_f": 55.0, "out_perm": 5.0, "out_f": 45.0, "out_rh": 0.7, "in_perm": 8.0, "in_f": 68.0, "in_rh": 0.4}


@given(water=st.floats(0, 3), more=st.floats(0, 20))
def test_foam_dries_faster_through_more_open_faces(water, more):
    base = foam_drying(water, **DRY)
    assert base.low_days <= base.best_days <= base.high_days
    assert foam_drying(water, **{**DRY, "in_perm": 8.0 + more}).best_days <= base.best_days
    assert foam_drying(2 * water, **DRY).best_days == pytest.approx(2 * base.best_days)
    assert 0 <= base.outward <= 1


def test_a_tight_face_is_warned_of():
    dry = foam_drying(0.8, **{**DRY, "in_perm": 0.5})
    assert dry.warnings == ("the inside face is tight (under 1 perm): the foam dries to one side only",)
    assert dry.outward > 0.9


FUNCTIONS = {
    "saturation_pressure_pa": lambda a, b: saturation_pressure_pa(a),
    "saturation_pressure_psia": lambda a, b: saturation_pressure_psia(a),
    "dew_point_f": dew_point_f,
    "iso_saturation_pa": lambda a, b: iso_saturation_pa(a),
    "iso_dew_point_c": lambda a, b: iso_dew_point_c(100 + 1000 * b),
    "perm_to_si": lambda a, b: perm_to_si(b),
    "perm_from_si": lambda a, b: perm_from_si(b),
    "sd_from_perm": lambda a, b: sd_from_perm(b),
    "temperature_factor": lambda a, b: temperature_factor(b),
    "least_temperature_factor": lambda a, b: least_temperature_factor(a, 60, b),
    "surface_humidity": lambda a, b: surface_humidity(a, 30, b, 0.8),
    "foam_water_lb_ft2": lambda a, b: foam_water_lb_ft2(b, 5.0, 2.0),
    "foam_drying": lambda a, b: foam_drying(b, **DRY).best_days,
}


@pytest.mark.parametrize("function", FUNCTIONS.values(), ids=FUNCTIONS)
@given(a=st.floats(-20, 50), b=st.floats(0.05, 1))
def test_a_number_equals_the_element_of_an_array(function, a, b):
    alone = function(a, b)
    together = function(np.array([1.0, a]), np.array([0.5, b]))
    assert type(alone) is float
    assert together.shape == (2,)
    assert together[1] == pytest.approx(alone, rel=1e-12, abs=1e-12)


AIR = {"t_out_c": -10.0, "rh_out": 0.8, "t_in_c": 20.0, "rh_in": 0.5}
BOARD = VapourLayer("board", 0.1, 1.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: saturation_pressure_psia(500.0), "temp_f is 500; enter a number from -148 to 392"),
        (lambda: dew_point_f(70, 0.0), "rh is 0; enter a number from 0.001 to 1"),
        (lambda: dew_point_f(70, 40), "rh is 40; enter a number from 0.001 to 1"),
        (lambda: glaser([], **AIR), "number of layers is 0"),
        (lambda: glaser([BOARD], **{**AIR, "rh_in": 50}), "rh_in is 50; enter a number from 0 to 1"),
        (lambda: glaser([VapourLayer("x", -1, 1)], **AIR), r"layers\[0\].r is -1"),
        (lambda: glaser([VapourLayer("x", 1, 0)], **AIR), "sum of layers' sd is 0"),
        (lambda: moisture_year([BOARD], []), "number of months is 0"),
        (lambda: moisture_year([BOARD], [MonthClimate(0, 0.8, 20, 0.5, 0)]), r"months\[0\].days is 0"),
        (lambda: layer_from_si("brick", 0.1, 10, 0), "brick conductivity is 0"),
        (lambda: layer_from_us("foil", 0, 0), "perm is 0"),
        (lambda: least_temperature_factor(20, 20, 0.5), "t_in_c - t_out_c is 0"),
        (lambda: temperature_factor(-0.1), "layers_r is -0.1"),
        (lambda: surface_humidity(0, 20, 0.5, 1.5), "factor is 1.5"),
        (lambda: foam_drying(0.8, **{**DRY, "in_rh": 1.0, "out_perm": 0.0}), "drying rate is .*drier air"),
        (lambda: foam_water_lb_ft2(3.5, 2.0, 5.0), "wet_lb_ft3 - dry_lb_ft3 is -3"),
        (lambda: retarder_class(0), "perm is 0"),
        (
            lambda: class_iii_allowed("4", sheathing="osb", vented_cladding=True, continuous_r=0, framing_depth_in=3.5),
            "zone is '4'; enter one of 1, 2, 3, 4A, 4B, 4C",
        ),
    ],
)
def test_bad_input_is_named(call, message):
    with pytest.raises(OutOfRange, match=message):
        call()
