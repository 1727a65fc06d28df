"""Behaviour of the material table."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.house import Cladding, FillMaterial, InsideFinish, Sheathing
from estimates.physics.materials import FIELD_BATT_R_PER_IN, MATERIALS, Group, air_film, framing_r, material
from estimates.physics.validity import OutOfRange

PER_INCH = sorted(key for key, row in MATERIALS.items() if row.k is not None)


@pytest.mark.parametrize("layer", [*Cladding, *Sheathing, *InsideFinish, *FillMaterial])
def test_every_layer_a_house_record_can_name_is_in_the_table(layer):
    if layer.value != "none":
        assert material(layer.value).key == layer.value


@given(key=st.sampled_from(PER_INCH), thin=st.floats(0.01, 20), more=st.floats(0.01, 20))
def test_thicker_resists_more_heat_and_lets_less_vapour_through(key, thin, more):
    row = material(key)
    assert row.resistance(thin + more) > row.resistance(thin) > 0
    assert row.permeance(thin + more) < row.permeance(thin)


@given(depth=st.floats(0.1, 24), kind=st.sampled_from(["softwood", "spruce_pine_fir", "hardwood"]))
def test_framing_of_a_number_equals_the_element_of_an_array(depth, kind):
    assert framing_r(depth, kind) == framing_r(np.array([1.0, depth]), kind)[1]


def test_an_unknown_material_is_refused_with_near_names():
    with pytest.raises(OutOfRange, match="material is 'gipsum'; enter a listed one, perhaps gypsum"):
        material("gipsum")
    with pytest.raises(OutOfRange, match="enter one of wood_bevel, "):
        material("zzz")
    with pytest.raises(OutOfRange, match="air_film is 'inside_upp'"):
        air_film("inside_upp")


def test_a_lapped_siding_has_no_other_thickness():
    with pytest.raises(OutOfRange, match=r"thickness_in is 0.6; enter 0.5, the only one listed"):
        material("wood_bevel").resistance(0.6)


@pytest.mark.parametrize("bad", [0.0, -1.0, float("nan"), float("inf")])
def test_a_thickness_that_is_no_thickness_is_refused(bad):
    with pytest.raises(OutOfRange, match="thickness_in"):
        material("gypsum").resistance(bad)
    with pytest.raises(OutOfRange, match="thickness_in"):
        material("gypsum").permeance(bad)


def test_only_framing_frames():
    with pytest.raises(OutOfRange, match="kind is 'glass_batt'; enter a framing material"):
        framing_r(3.5, "glass_batt")


def test_ranges_of_old_batts_contain_their_best_value_and_fall_with_condition():
    for row in FIELD_BATT_R_PER_IN.values():
        assert 0 < row.low < row.best < row.high
    assert [FIELD_BATT_R_PER_IN[c].best for c in ("good", "fair", "poor")] == [2.5, 1.8, 0.7]  # M


def test_insulation_resists_more_than_framing_per_inch():
    best_wood = max(1 / row.k for row in MATERIALS.values() if row.group is Group.FRAMING)
    assert all(1 / row.k > best_wood for row in MATERIALS.values() if row.group is Group.INSULATION)
