"""Moisture of walls before and after filling, against hand calculations in other units.

S: printed number seen. M: from memory, unconfirmed. D: derived here by a second method. CP: common practice.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import psychrolib
import pytest

from estimates.house import (
    Access,
    Cladding,
    Condition,
    Construction,
    ExistingFillRecord,
    FillMaterial,
    Framing,
    HouseRecord,
    InsideCover,
    InsideFinish,
    QuickWallRecord,
    Sheathing,
    SurfaceKind,
    WallRecord,
    WeatherBarrier,
    house_from_json,
)
from estimates.pricebook import PriceBook, load_book
from estimates.takeoff import take_off
from estimates.wall_moisture import WallMoisture, cavity_paths, house_moisture, inside_layers, outside_layers

HOUSES = Path(__file__).resolve().parents[2] / "fixtures" / "houses"

DESIGN_F = 3.0


@pytest.fixture(scope="module")
def book() -> PriceBook:
    return load_book("standard")


@pytest.fixture(scope="module")
def house() -> HouseRecord:
    """A house without walls of its own, 68 degF inside, on a cold day."""
    cape = house_from_json((HOUSES / "mill-cape.json").read_text(encoding="utf-8"))
    return replace(
        cape,
        walls=(),
        attics=(),
        leak_sites=(),
        options=(),
        gate_answers=(),
        gate_releases=(),
        indoor_f=68.0,
        climate=replace(cape.climate, design_f=DESIGN_F),
    )


PLAIN = WallRecord(
    id="w", name="North", length_ft=24.0, height_ft=97.125 / 12, cladding=Cladding.WOOD_BEVEL,
    sheathing=Sheathing.BOARD, inside=InsideFinish.PLASTER_LATH, inside_cover=InsideCover.PAINT,
    weather_barrier=WeatherBarrier.NONE,
)  # fmt: skip


def judged(house: HouseRecord, book: PriceBook, wall: WallRecord) -> WallMoisture:
    of = replace(house, walls=(wall,))
    (found,) = house_moisture(of, take_off(of, book), book.foam)
    return found


def saturation_inhg(temp_f: float) -> float:
    """S: a public psychrometric library; psi to inches of mercury."""
    psychrolib.SetUnitSystem(psychrolib.IP)
    return float(psychrolib.GetSatVapPres(temp_f)) / 0.491154


# The plain wall by hand, outside to inside: R films .17 and .68, bevel .14 m2K/W, board 3/4 in at .12 W/mK (S, rows of
# the material table), plaster .40 (M); permeances 10 (CP), 5 (CP), 11 (M), latex paint 5 (S); empty .91 and 120/3.5
# (M); foam 13.7 (fact sheet of the book) and its permeability over 3.5 in (book, CP).
R_OUT = 0.17 + 0.14 * 5.678263 + 0.75 / (0.12 * 6.9335)
R_IN = 0.40 + 0.68
REP_OUT, REP_IN = 1 / 10 + 1 / 5, 1 / 11 + 1 / 5


def by_hand(cavity_r: float, cavity_rep: float) -> tuple[float, float, float]:
    """Temperature behind the board [degF], vapour pressure there as if nothing condensed and saturation. [inHg]"""
    share = R_OUT / (R_OUT + cavity_r + R_IN)
    temp = DESIGN_F + (68.0 - DESIGN_F) * share
    outdoor, indoor = 0.8 * saturation_inhg(DESIGN_F), 0.4 * saturation_inhg(68.0)
    pressure = outdoor + (indoor - outdoor) * REP_OUT / (REP_OUT + cavity_rep + REP_IN)
    return temp, pressure, saturation_inhg(temp)


def test_an_empty_wall_keeps_its_sheathing_warm_enough_by_hand(house: HouseRecord, book: PriceBook) -> None:
    # D: dew-point method in inch-pound units with the saturation of a public library.
    _, pressure, saturation = by_hand(0.91, 3.5 / 120)
    assert pressure < 0.95 * saturation
    found = judged(house, book, PLAIN)
    assert found.before is not None
    assert found.before.words == "none found"
    assert not found.before.planes


def test_a_filled_wall_condenses_behind_its_sheathing_at_the_rate_by_hand(house: HouseRecord, book: PriceBook) -> None:
    # D: flow to the plane less flow from it, in grains; the saturation formulas differ by 0.6 % (ISO 13788 and ASHRAE).
    rep = 3.5 / book.foam.permeance_perm_in
    _, pressure, saturation = by_hand(13.7, rep)
    assert pressure > 1.05 * saturation
    outdoor, indoor = 0.8 * saturation_inhg(DESIGN_F), 0.4 * saturation_inhg(68.0)
    grains = (indoor - saturation) / (rep + REP_IN) - (saturation - outdoor) / REP_OUT
    found = judged(house, book, PLAIN)
    assert found.after is not None
    (plane,) = found.after.planes
    assert plane.place == "between softwood board sheathing and foam"
    assert plane.lb_ft2_day == pytest.approx(grains * 24 / 7000, rel=0.02)
    assert found.after.words == "condensation possible between softwood board sheathing and foam"
    assert any("none found as it stands (estimate)" in words for words in found.cautions)


def test_water_of_the_foam_is_thickness_times_what_it_loses(house: HouseRecord, book: PriceBook) -> None:
    # D: mass balance by hand: 3.5 in of foam between wet and dry density.
    found = judged(house, book, PLAIN)
    per_ft2 = 3.5 / 12 * (book.foam.wet_lb_ft3 - book.foam.dry_lb_ft3)
    assert found.water_lb_ft2 == pytest.approx(per_ft2, rel=1e-9)
    bays = take_off(replace(house, walls=(PLAIN,)), book).walls[0].layout.bays
    assert found.water_lb == pytest.approx(per_ft2 * sum(bay.area_ft2 for bay in bays if bay.reachable), rel=1e-9)
    assert found.drying_days == book.foam.drying_days


def test_a_tight_inside_keeps_indoor_vapour_out_and_the_water_in(house: HouseRecord, book: PriceBook) -> None:
    # M: polyethylene .06 perm, foil .02 (CP): classes I of the residential code (S: at most .1 perm).
    for cover in (InsideCover.MEMBRANE, InsideCover.FOIL):
        found = judged(house, book, replace(PLAIN, inside_cover=cover))
        assert found.after is not None
        assert not found.after.possible
        assert found.inside_perm is not None
        assert found.inside_perm < 0.1
        assert any("dries outward only" in words for words in found.cautions)
    assert not any("tight" in words for words in judged(house, book, PLAIN).cautions)


def test_a_wall_that_is_tight_on_both_sides_is_for_a_designer(house: HouseRecord, book: PriceBook) -> None:
    wall = replace(PLAIN, inside_cover=InsideCover.VINYL_PAPER, weather_barrier=WeatherBarrier.FOIL_BOARD)
    assert any("both faces are tight" in words for words in judged(house, book, wall).cautions)
    outside = replace(PLAIN, weather_barrier=WeatherBarrier.FOIL_BOARD)
    assert any("dries inward only" in words for words in judged(house, book, outside).cautions)


def test_layers_stand_from_outside_to_inside_with_their_marks(house: HouseRecord, book: PriceBook) -> None:
    found = judged(house, book, replace(PLAIN, weather_barrier=WeatherBarrier.FELT))
    names = [layer.name for layer in found.layers]
    assert names == [
        "wood bevel siding", "asphalt-saturated felt", "softwood board sheathing", "foam", "plaster on wood lath",
        "latex paint on the inside",
    ]  # fmt: skip
    assert {layer.perm_mark for layer in found.layers} <= {"S", "M", "CP"}
    # D: permeances in a row: 1 / (1/10 + 1/6 + 1/5) and 1 / (1/11 + 1/5).
    assert found.outside_perm == pytest.approx(1 / (0.1 + 1 / 6 + 0.2))
    assert found.inside_perm == pytest.approx(1 / (1 / 11 + 0.2))


def test_every_recorded_layer_has_a_row(house: HouseRecord, book: PriceBook) -> None:
    for cladding in Cladding:
        for sheathing in Sheathing:
            for barrier in WeatherBarrier:
                wall = replace(PLAIN, cladding=cladding, sheathing=sheathing, weather_barrier=barrier)
                count = 1 + (sheathing is not Sheathing.NONE) + (barrier is not WeatherBarrier.NONE)
                assert len(outside_layers(wall)) == count
    for finish in InsideFinish:
        for cover in InsideCover:
            layers = inside_layers(replace(PLAIN, inside=finish, inside_cover=cover))
            bare = finish is InsideFinish.NONE
            assert len(layers) == (2 if not bare else cover in (InsideCover.FOIL, InsideCover.MEMBRANE))


OLD = ExistingFillRecord(
    material=FillMaterial.ROCK_WOOL_BATT, in_place_in=2.0, compressed_in=0.75, covered_share=0.8,
    condition=Condition.FAIR,
)  # fmt: skip


def test_old_batts_make_a_second_path_and_lie_away_from_the_drilled_side(book: PriceBook) -> None:
    outside = replace(PLAIN, existing_fill=OLD, access=Access.LIFT_CLADDING)
    (plain,), covered = cavity_paths(outside, book.foam)
    assert plain.name == "foam"
    assert [layer.name for layer in covered] == ["foam", "old insulation"]
    inside = replace(outside, access=Access.DRILL_INSIDE)
    assert [layer.name for layer in cavity_paths(inside, book.foam)[1]] == ["old insulation", "foam"]
    # D: the permeance of the foam goes with 1 / thickness; 3.5 - .75 in of it are left.
    assert covered[0].perm == pytest.approx(book.foam.permeance_perm_in / 2.75)
    (everywhere,) = cavity_paths(replace(outside, existing_fill=replace(OLD, covered_share=1.0)), None)
    assert [layer.name for layer in everywhere] == ["empty cavity", "old insulation"]


def test_the_worse_path_counts(house: HouseRecord, book: PriceBook) -> None:
    # Old batts already keep the sheathing cold: condensation is possible as found where the empty bays have none.
    found = judged(house, book, replace(PLAIN, existing_fill=OLD))
    assert found.before is not None
    assert found.before.possible
    assert found.before.planes[0].place == "between softwood board sheathing and empty cavity"
    empty = judged(house, book, PLAIN).before
    assert empty is not None
    assert not empty.possible


def test_a_stopped_wall_is_judged_as_it_stands(house: HouseRecord, book: PriceBook) -> None:
    balloon = replace(PLAIN, framing=Framing.BALLOON, bottom_plates=0)
    found = judged(house, book, balloon)
    assert found.after is None
    assert found.before is not None
    assert found.not_judged == "not filled: judged as it stands"
    assert found.water_lb == 0.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"construction": Construction.SOLID_BRICK}, "masonry needs a designer"),
        ({"construction": Construction.BLOCK}, "masonry needs a designer"),
        ({"kind": SurfaceKind.RAFTER_SLOPE}, "rafter slope has layers that are not recorded"),
    ],
)
def test_what_the_record_does_not_hold_is_not_judged(
    house: HouseRecord, book: PriceBook, change: dict[str, object], words: str
) -> None:
    found = judged(house, book, replace(PLAIN, **change))  # type: ignore[arg-type]
    assert (found.before, found.after) == (None, None)
    assert words in found.not_judged


def test_without_a_design_temperature_it_says_what_to_enter(house: HouseRecord, book: PriceBook) -> None:
    mild = replace(house, climate=replace(house.climate, design_f=None))
    found = judged(mild, book, PLAIN)
    assert found.before is None
    assert found.not_judged == "condensation not worked out: enter climate.design_f"
    assert found.water_lb > 0


def test_a_mild_place_finds_nothing_and_still_promises_nothing(house: HouseRecord, book: PriceBook) -> None:
    mild = replace(house, climate=replace(house.climate, design_f=45.0))
    found = judged(mild, book, PLAIN)
    assert found.after is not None
    assert found.after.words == "none found"
    assert "Estimate" in found.basis
    assert "promises nothing" in found.basis


def test_a_rim_has_its_joist_and_a_weather_barrier_not_seen_is_said(house: HouseRecord, book: PriceBook) -> None:
    rim = replace(PLAIN, kind=SurfaceKind.RIM, height_ft=9.25 / 12, inside=InsideFinish.NONE, weather_barrier=None)
    found = judged(house, book, rim)
    assert "rim joist" in [layer.name for layer in found.layers]
    assert found.inside_perm is None
    assert any("not seen" in words for words in found.cautions)


def test_walls_by_a_few_figures_are_judged_too(house: HouseRecord, book: PriceBook) -> None:
    quick = QuickWallRecord(id="q", name="All round", perimeter_ft=100.0, storeys=1, storey_height_ft=8.0)
    of = replace(house, quick_walls=(quick,))
    (found,) = house_moisture(of, take_off(of, book), book.foam)
    assert found.after is not None
    assert found.after.possible
    per_ft2 = 3.5 / 12 * (book.foam.wet_lb_ft3 - book.foam.dry_lb_ft3)  # D: mass balance
    assert found.water_lb_ft2 == pytest.approx(per_ft2, rel=1e-9)
