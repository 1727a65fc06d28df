"""Heat, air and savings of a house against a hand calculation, and the rules of ranges."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from estimates.house import (
    BillRecord,
    Cladding,
    CombustionRecord,
    HeatingRecord,
    HouseRecord,
    LeakKind,
    LeakSiteRecord,
    OpeningRecord,
    OptionRecord,
    QuickWallRecord,
    Round,
    WallRecord,
    house_from_json,
)
from estimates.performance import OptionPerformance, Performance, performance
from estimates.pricebook import PriceBook, load_book
from estimates.snapshot import canonical_json
from estimates.takeoff import take_off

HOUSES = Path(__file__).resolve().parents[2] / "fixtures" / "houses"


@pytest.fixture(scope="module")
def book() -> PriceBook:
    return load_book("standard")


@pytest.fixture(scope="module")
def cape() -> HouseRecord:
    """A measured house with a blower-door test and a figure for heating; gates, bills and rounds are added by tests."""
    house = house_from_json((HOUSES / "mill-cape.json").read_text(encoding="utf-8"))
    return replace(
        house,
        gate_answers=(),
        gate_releases=(),
        bills=(),
        combustion=(),
        exhausts=(),
        occupants=None,
        ceiling_height_ft=None,
        climate=replace(house.climate, weather_factor=None, design_f=None),
    )


def run(house: HouseRecord, book: PriceBook, **options: Any) -> Performance:
    return performance(house, take_off(house, book), book, **options)


def test_u_of_a_plain_wall_by_hand(cape: HouseRecord, book: PriceBook) -> None:
    # D, by hand: films .17 + .68, wood bevel siding .79, 3/4 in board .90 (handbook values of the material table, S),
    # gypsum .45; cavity .91 empty, 13.7 foam; 3.5 in softwood at 1.25 per in; layout framing + 4 points.
    wall = WallRecord(
        id="w", name="W", length_ft=24.0, height_ft=97.125 / 12,
        openings=(OpeningRecord(id="o", left_in=60, bottom_in=30, width_in=36, height_in=52),),
    )  # fmt: skip
    house = replace(cape, walls=(replace(wall, inside=cape.walls[0].inside),), attics=(), leak_sites=(), options=())
    counted = take_off(house, book).walls[0]
    series = 0.17 + 0.68 + 0.14 * 5.678263 + 0.75 / (0.12 * 6.9335) + 0.5 / (0.16 * 6.9335)
    framing = counted.layout.framing_fraction + 0.04
    before = (1 - framing) / (series + 0.91) + framing / (series + 3.5 * 1.25)
    void = 1 - (1 - 0.005) * (1 - 0.005)
    filled = (1 - void) / (series + 13.7) + void / (series + 0.91)
    after = (1 - framing) * filled + framing / (series + 3.5 * 1.25)
    (surface,) = run(house, book).options[0].surfaces
    unreached = sum(bay.area_ft2 for bay in counted.layout.bays if not bay.reachable)
    assert unreached == 0
    assert surface.u_before == pytest.approx(before, abs=5e-4)
    assert surface.u_after == pytest.approx(after, abs=5e-4)


def test_savings_by_hand_without_ranges_lie_in_the_middle(cape: HouseRecord, book: PriceBook) -> None:
    # D, by hand: 24 x HDD x dUA / (efficiency x heat content of a gallon of oil, about 138,700 Btu).
    house = replace(cape, blower_door=None, leak_sites=(), attics=(), options=())
    outcome = run(house, book).options[0]
    less = sum(s.area_ft2 * (s.u_before - s.u_after) for s in outcome.surfaces)
    gallons = 24 * house.climate.heating_degree_days * less / (0.79 * 138_700)
    assert outcome.saved_units.p50 == pytest.approx(gallons, rel=0.05)
    assert outcome.saved_units.p10 < gallons < outcome.saved_units.p90
    assert outcome.saved_dollars.p50 == pytest.approx(outcome.saved_units.p50 * 3.85)
    assert outcome.fuel_unit == "gal"
    assert any("no blower-door test" in warning for warning in outcome.warnings)


def test_the_same_seed_gives_the_same_figures_and_another_moves_them_little(cape: HouseRecord, book: PriceBook) -> None:
    one, same, other = (run(cape, book, seed=seed).options[0].saved_units for seed in (3, 3, 4))
    assert one == same
    assert one != other
    assert other.p50 == pytest.approx(one.p50, rel=0.02)


def test_doing_more_saves_more_in_every_draw_and_together_is_not_the_sum(cape: HouseRecord, book: PriceBook) -> None:
    # FIELD: options run from one baseline with one set of draws; combined savings are worked out again, not added.
    options = (
        OptionRecord(id="both", name="Both"),
        OptionRecord(id="walls", name="Walls", attic_ids=(), leak_ids=()),
        OptionRecord(id="rest", name="Rest", wall_ids=()),
    )
    both, walls, rest = run(replace(cape, options=options), book).options
    assert both.saved_units.p10 > max(walls.saved_units.p10, rest.saved_units.p10)
    assert both.saved_units.p50 < walls.saved_units.p50 + rest.saved_units.p50
    assert both.cfm50_before == walls.cfm50_before == rest.cfm50_before
    assert both.cfm50_after is not None
    assert walls.cfm50_after is not None
    assert both.cfm50_after.p50 < walls.cfm50_after.p50 < both.cfm50_before


def modelled(house: HouseRecord, outcome: OptionPerformance) -> float:
    """D, by hand and best values: gallons of oil a year for walls, attics and winter air before the work."""
    assert house.blower_door is not None
    assert outcome.cfm50_before is not None
    climate = house.climate
    n = run(house, load_book("standard")).leak_exponent
    assert n is not None
    # ENGINE 4: area at 4 Pa, then A sqrt(Cs dT + Cw U2), one storey, shelter 2 (table, S and M); air at the altitude.
    area = outcome.cfm50_before * (4 / 50) ** n / 60 * 0.3048**3 / math.sqrt(2 * 4 / 1.2) / 0.0254**2
    cfm = area * math.sqrt(0.0150 * (house.indoor_f - climate.season_mean_f) + 0.0092 * climate.season_wind_mph**2)
    air = 60 * 0.0180 * (1 - 6.8754e-6 * climate.altitude_ft) ** 5.2559 * cfm
    loss = outcome.ua_before + air
    return float(24 * climate.heating_degree_days * loss / (house.heating.efficiency * 138_700))


def with_bills(house: HouseRecord, gallons: float) -> HouseRecord:
    return replace(house, heating=replace(house.heating, yearly_units=gallons))


def test_what_the_measured_parts_explain_of_the_bills_by_hand(cape: HouseRecord, book: PriceBook) -> None:
    found = run(with_bills(cape, 640.0), book)
    by_hand = modelled(cape, found.options[0])
    assert found.heating.modelled_units.p50 == pytest.approx(by_hand, rel=0.03)  # the middle of draws, not best values
    assert found.heating.explained is not None
    assert found.heating.explained.p50 == pytest.approx(by_hand / 640.0, rel=0.03)
    share = f"{found.heating.explained.p50:.0%}"
    assert found.heating.sentence == (
        f"the measured walls, attics and air explain {share} of the heating bills (estimate)"
    )


def test_a_model_larger_than_the_bills_cuts_savings_in_proportion(cape: HouseRecord, book: PriceBook) -> None:
    # D: with half the modelled use on the bills every saving is half; never scaled up where the bills are larger.
    free = run(with_bills(cape, 10_000.0), book)
    middle = free.heating.modelled_units.p50
    # Bills under half of every draw of the model shrink each by (model / bills), so the share saved stays.
    tight = run(with_bills(cape, middle / 2), book)
    share = free.options[0].saved_units.p50 / middle
    assert tight.options[0].saved_units.p50 == pytest.approx(share * middle / 2, rel=0.02)
    assert any("savings were cut back" in words for words in tight.options[0].warnings)
    none = run(replace(cape, heating=replace(cape.heating, yearly_units=None)), book)
    assert none.options[0].saved_units == free.options[0].saved_units
    assert none.heating.explained is None
    assert none.heating.sentence == ""
    assert not any("cut back" in words for words in (*none.options[0].warnings, *free.options[0].warnings))


def test_savings_never_exceed_what_the_bills_say_heating_uses(cape: HouseRecord, book: PriceBook) -> None:
    outcome = run(with_bills(cape, 100.0), book).options[0]
    assert 0 < outcome.saved_units.p90 < 100.0


def test_bills_hold_savings_where_no_figure_is_typed(cape: HouseRecord, book: PriceBook) -> None:
    bill = BillRecord(fuel=cape.heating.fuel, first=date(2025, 1, 1), last=date(2025, 12, 31), units=100.0)
    untyped = replace(cape, bills=(bill,), heating=replace(cape.heating, yearly_units=None))
    assert run(untyped, book).options == run(with_bills(cape, 100.0), book).options


def test_absent_ducts_cannot_be_sealed_and_their_share_goes_to_the_rest(cape: HouseRecord, book: PriceBook) -> None:
    boots = LeakSiteRecord(id="b", name="Boots", kind=LeakKind.DUCT_BOOT, quantity=8, component_share=1.0)
    with_ducts = replace(cape, walls=(), attics=(), leak_sites=(boots,), options=())
    without = replace(with_ducts, has_ducts=False)
    sealed, untouched = (run(house, book).options[0] for house in (with_ducts, without))
    assert sealed.cfm50_after is not None
    assert untouched.cfm50_after is not None
    assert sealed.cfm50_after.p50 < untouched.cfm50_after.p50
    assert untouched.cfm50_after.p50 == pytest.approx(untouched.cfm50_before)


def test_a_stopped_wall_keeps_its_heat_loss(book: PriceBook) -> None:
    raw = json.loads((HOUSES / "quarry-split.json").read_text(encoding="utf-8"))
    house = house_from_json(json.dumps(raw))
    surfaces = {surface.id: surface for surface in run(house, book).options[0].surfaces}
    assert surfaces["low-back"].u_before == surfaces["low-back"].u_after
    assert surfaces["up-front"].u_after < surfaces["up-front"].u_before / 2


def test_a_baseline_that_draws_in_is_taken_from_the_readings(cape: HouseRecord, book: PriceBook) -> None:
    # D: with the house already at -2 Pa the fan made 48 of the 50 Pa, so the house leaks more at a true 50.
    test = replace(cape.blower_door, baseline_pa=-2.0, points=(cape.blower_door.points[0],))  # type: ignore[type-var]
    one = run(replace(cape, blower_door=test), book).options[0]
    point = cape.blower_door.points[0]  # type: ignore[union-attr]
    assert one.cfm50_before == pytest.approx(point.flow_cfm * (50 / (point.pressure_pa - 2.0)) ** 0.65)


def test_fuel_and_efficiency_divide_the_heat(cape: HouseRecord, book: PriceBook) -> None:
    from estimates.house import Fuel

    electric = HeatingRecord(fuel=Fuel.ELECTRICITY, efficiency=2.5, price_per_unit=0.2)
    oil = replace(cape, heating=replace(cape.heating, yearly_units=None))
    kwh = run(replace(cape, heating=electric), book).options[0]
    gallons = run(oil, book).options[0]
    # D: the same heat: kWh x 3412.14 x 2.5 = gallons x 138,700 x 0.79 (heat contents: ENGINE 5, S).
    ratio = kwh.saved_units.p50 * 3412.14 * 2.5 / (gallons.saved_units.p50 * 138_700 * 0.79)
    assert math.isclose(ratio, 1.0, rel_tol=2e-3)


def test_a_quick_entry_gives_a_wider_range_than_the_same_walls_measured(cape: HouseRecord, book: PriceBook) -> None:
    plain = WallRecord(id="w", name="W", length_ft=100.0, height_ft=8.0, inside=cape.walls[0].inside)
    measured = replace(cape, walls=(plain,), attics=(), leak_sites=(), options=(), blower_door=None)
    quick = QuickWallRecord(
        id="q", name="Q", perimeter_ft=100.0, storeys=1, storey_height_ft=8.0, window_share=0.0, framing_share=0.18,
        inside=cape.walls[0].inside,
    )  # fmt: skip
    by_figures = replace(measured, walls=(), quick_walls=(quick,))
    one, other = (run(house, book).options[0].saved_units for house in (measured, by_figures))
    assert other.p50 == pytest.approx(one.p50, rel=0.06)
    assert other.p90 - other.p10 > 1.1 * (one.p90 - one.p10)
    both = replace(measured, quick_walls=(quick,))
    assert run(both, book).options[0].saved_units.p50 == pytest.approx(one.p50 + other.p50, rel=0.02)


def test_a_nonsense_curve_warns_and_still_gives_finite_figures(cape: HouseRecord, book: PriceBook) -> None:
    assert cape.blower_door is not None
    points = tuple(replace(point, flow_cfm=2000.0 + 5 * point.pressure_pa) for point in cape.blower_door.points)
    outcome = run(replace(cape, blower_door=replace(cape.blower_door, points=points)), book)
    assert outcome.leak_exponent == 0.5
    assert any("exponent" in warning for warning in outcome.options[0].warnings)
    assert outcome.options[0].saved_units.p90 > 0


# --- fresh air, combustion, fan and moisture in the result ------------------------------------------------------------


def test_fresh_air_stands_with_each_option_and_warns_when_a_fan_is_newly_needed(
    cape: HouseRecord, book: PriceBook
) -> None:
    placed = replace(cape, climate=replace(cape.climate, weather_factor=0.6))
    outcome = run(placed, book).options[0]
    assert outcome.fresh_air is not None
    assert outcome.cfm50_after is not None
    # S: .03 a ft2 and 7.5 a person, .0522 wsf cfm50 at 8.2 ft; M: the credit of an exhaust fan goes with Qinf / Qtot.
    total = 0.03 * placed.floor_area_ft2 + 7.5 * (placed.bedrooms + 1)
    exponent = run(placed, book).leak_exponent
    assert exponent is not None
    for cfm50, fan in (
        (outcome.cfm50_after.p50, outcome.fresh_air.after),
        (outcome.cfm50_after.p10, outcome.fresh_air.tightest),
    ):
        leak = 0.0522 * (4 / 50) ** (exponent - 0.65) * 0.6 * cfm50
        assert fan.fan_cfm == pytest.approx(total - leak**2 / total, abs=0.3)
    assert outcome.fresh_air.newly_needed
    assert outcome.fresh_air.sentence in outcome.warnings
    assert any("no kitchen or bath exhaust recorded" in words for words in outcome.warnings)


def test_without_a_weather_factor_or_a_test_fresh_air_says_what_is_missing(cape: HouseRecord, book: PriceBook) -> None:
    outcome = run(cape, book).options[0]
    assert outcome.fresh_air is None
    assert "fresh air not worked out: enter climate.weather_factor" in outcome.warnings
    untested = run(replace(cape, blower_door=None), book).options[0]
    assert untested.fresh_air is None
    assert any("no blower-door test" in words and "fresh air" in words for words in untested.warnings)


def test_what_stops_the_work_comes_first_in_the_warnings_of_the_house(cape: HouseRecord, book: PriceBook) -> None:
    leak = CombustionRecord(round=Round.TEST_IN, on=date(2026, 3, 2), gas_leak_found=True, ambient_co_ppm=0.0)
    cold = replace(cape, combustion=(leak,), climate=replace(cape.climate, design_f=3.0))
    found = run(cold, book)
    assert found.warnings[0].startswith("Gas leak.")
    assert not found.combustion.may_work
    assert found.warnings[1] == found.fan.warning != ""
    assert not any("Gas leak" in words for option in found.options for words in option.warnings)


def test_every_wall_has_its_moisture_and_new_condensation_is_named(cape: HouseRecord, book: PriceBook) -> None:
    walls = tuple(replace(wall, cladding=Cladding.WOOD_BEVEL, existing_fill=None) for wall in cape.walls)
    cold = replace(cape, walls=walls, climate=replace(cape.climate, design_f=3.0))
    found = run(cold, book)
    assert [wall.id for wall in found.moisture] == [wall.id for wall in cold.walls]
    (words,) = [words for words in found.warnings if "may bring condensation" in words]
    assert all(wall.name in words for wall in cold.walls)
    assert "(estimate)" in words
    mild = run(replace(cold, climate=replace(cold.climate, design_f=45.0)), book)
    assert not any("may bring condensation" in words for words in mild.warnings)


def test_a_wall_and_an_attic_of_one_id_are_two_surfaces(cape: HouseRecord, book: PriceBook) -> None:
    shared = replace(cape, attics=(replace(cape.attics[0], id=cape.walls[0].id),))
    option = OptionRecord(id="attic", name="Attic", wall_ids=(), leak_ids=())
    surfaces = run(replace(shared, options=(option,)), book).options[0].surfaces
    changed = [surface.name for surface in surfaces if surface.u_after < surface.u_before]
    assert changed == [cape.attics[0].name]


def test_the_result_is_the_same_every_time_and_can_be_frozen(cape: HouseRecord, book: PriceBook) -> None:
    rich = replace(
        cape,
        climate=replace(cape.climate, design_f=3.0, weather_factor=0.6),
        combustion=(CombustionRecord(round=Round.TEST_IN, on=date(2026, 3, 2), gas_leak_found=False),),
    )
    one, same = (canonical_json(asdict(run(rich, book))) for _ in range(2))
    assert one == same
    assert json.loads(one)["combustion"]["rounds"][0]["on"] == "2026-03-02"
