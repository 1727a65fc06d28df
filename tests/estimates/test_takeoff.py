"""Takeoff of one wall and one attic against a hand calculation."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from estimates.house import (
    Access,
    AtticRecord,
    Condition,
    ExistingFillRecord,
    FillMaterial,
    GateAnswerRecord,
    GateReleaseRecord,
    InsideCover,
    OpeningRecord,
    QuickWallRecord,
    Verdict,
    WallRecord,
    WeatherBarrier,
    house_from_json,
)
from estimates.pricebook import PriceBook, load_book
from estimates.records import BadRecord
from estimates.takeoff import (
    attic_take_off,
    fact_row,
    height_shares,
    quick_take_off,
    take_off,
    wall_take_off,
    whole_units,
)


@pytest.fixture(scope="module")
def book() -> PriceBook:
    return load_book("standard")


def wall(**changes: object) -> WallRecord:
    return WallRecord(id="n", name="North", length_ft=8.0, height_ft=97.125 / 12, **changes)  # type: ignore[arg-type]


def test_hand_calculation_of_a_plain_8_ft_wall(book: PriceBook) -> None:
    # D, by hand: bays 13.75 + 4 x 14.5 + 13.75 in clear, 92.625 high, 3.5 deep; waste 7 %, 24 ft3 a mix, wet 5.0 and
    # dry 2.07 lb/ft3 (the demo price book).
    counted = wall_take_off(wall(), book, year_built=1960)
    cavity = (13.75 * 2 + 14.5 * 4) * 92.625 * 3.5 / 1728
    assert counted.layout.volume_ft3 == pytest.approx(cavity, rel=1e-12)
    assert counted.fill_ft3 == pytest.approx(cavity, rel=1e-12)
    assert counted.required_ft3 == pytest.approx(cavity * 1.07, rel=1e-12)
    assert counted.mixes == pytest.approx(cavity * 1.07 / 24, rel=1e-12)
    assert counted.water_lb == pytest.approx(cavity * (5.0 - 2.07), rel=1e-12)
    # Three rows of one hole in six bays; every row lifts one course over the whole wall.
    assert counted.plugs == 18
    assert counted.cladding_lift_ft == pytest.approx(3 * 8.0)


def test_old_batts_leave_foam_beside_them_and_full_depth_elsewhere(book: PriceBook) -> None:
    # D, by hand: 80 % covered, squeezed to 0.75 of 3.5 in: 0.2 + 0.8 x 2.75 / 3.5 of the cavity.
    old = ExistingFillRecord(
        material=FillMaterial.ROCK_WOOL_BATT, in_place_in=2.0, compressed_in=0.75, covered_share=0.8
    )
    plain = wall_take_off(wall(), book, year_built=1960)
    counted = wall_take_off(wall(existing_fill=old), book, year_built=1960)
    assert counted.fill_ft3 == pytest.approx(plain.fill_ft3 * (0.2 + 0.8 * 2.75 / 3.5), rel=1e-12)
    # The receipt and the papers may name only the row at or under 2.75 in.
    assert counted.fact is not None
    assert counted.fact.thickness_in == 2.0


def test_full_good_batts_are_not_worth_filling(book: PriceBook) -> None:
    old = ExistingFillRecord(
        material=FillMaterial.GLASS_BATT,
        in_place_in=3.5,
        compressed_in=3.0,
        covered_share=1.0,
        condition=Condition.GOOD,
    )
    counted = wall_take_off(wall(existing_fill=old), book, year_built=1960)
    assert not counted.priced
    assert "not worth filling" in counted.stops[0]


def test_papers_take_the_largest_listed_thickness_not_above_the_installed_one(book: PriceBook) -> None:
    rows = {thickness: fact_row(book.foam, thickness) for thickness in (0.9, 3.4999, 3.5, 3.55, 9.0)}
    found = {thickness: row and row.thickness_in for thickness, row in rows.items()}
    assert found == {0.9: None, 3.4999: 2.0, 3.5: 3.5, 3.55: 3.5, 9.0: 7.25}


def test_an_opening_takes_its_area_and_its_framing_from_the_cavity(book: PriceBook) -> None:
    opening = OpeningRecord(id="A", left_in=30, bottom_in=30, width_in=36, height_in=40)
    assert (
        wall_take_off(wall(openings=(opening,)), book, year_built=1960).fill_ft3
        < wall_take_off(wall(), book, year_built=1960).fill_ft3 - 36 * 40 * 3.5 / 1728
    )


def test_attic_buys_the_smallest_row_that_reaches_the_target(book: PriceBook) -> None:
    # 1,000 ft2 to R-49 from nothing: 72.6 bags (ENGINE 7, D: 3.6 R/in, 1.6 lb/ft3, 25 lb bag).
    bare = AtticRecord(id="a", name="Attic", area_ft2=1000.0, target_r=49.0)
    counted = attic_take_off(bare, book.loose_fill)
    assert counted.row is not None
    assert counted.row.r == 49.0
    assert counted.bags == pytest.approx(72.6)
    assert whole_units(counted.bags) == 73


def test_attic_that_has_enough_buys_nothing_and_one_beyond_the_table_says_so(book: PriceBook) -> None:
    deep = AtticRecord(
        id="a", name="Attic", area_ft2=100.0, existing_material=FillMaterial.LOOSE_CELLULOSE, existing_depth_in=16.0
    )
    assert attic_take_off(deep, book.loose_fill).row is None
    greedy = AtticRecord(id="a", name="Attic", area_ft2=100.0, target_r=80.0)
    assert "not reached" in attic_take_off(greedy, book.loose_fill).warnings[0]


def test_quick_entry_by_hand(book: PriceBook) -> None:
    # D, by hand: 120 ft round, two storeys of 8.5 ft, 15 % openings, 25 % framing (ASHRAE share, S in public notes).
    quick = QuickWallRecord(id="q", name="All round", perimeter_ft=120.0, storeys=2, storey_height_ft=8.5)
    counted = quick_take_off(quick, book)
    net = 120 * 8.5 * 2 * 0.85
    assert counted.layout.net_ft2 == pytest.approx(net)
    assert counted.fill_ft3 == pytest.approx(net * 0.75 * 3.5 / 12)
    assert counted.mixes == pytest.approx(net * 0.75 * 3.5 / 12 * 1.07 / 24)
    # Holes = rows x bays: 2 storeys x ceil(0.85 x 1440 / 16) bays, three rows in a bay of 99 in.
    assert counted.reachable_bays == 2 * 77
    assert counted.plugs == 2 * 77 * 3


def test_a_stopped_wall_attic_or_leak_site_is_counted_and_not_priced() -> None:
    source = Path(__file__).resolve().parents[2] / "fixtures" / "houses" / "mill-cape.json"
    house = house_from_json(source.read_text(encoding="utf-8"))
    wall, attic = house.walls[0].id, house.attics[0].id
    day = date(2026, 3, 2)
    stop = GateAnswerRecord(
        hazard="knob_and_tube", verdict=Verdict.STOP, note="live", answered_on=day, parts=(wall, attic)
    )
    counted = take_off(replace(house, gate_answers=(stop,)), load_book("standard"))
    assert wall not in [part.wall.id for part in counted.priced_walls]
    assert attic not in [part.attic.id for part in counted.priced_attics]
    assert any("knob_and_tube" in why for why in counted.walls[0].stops)
    released = GateReleaseRecord(
        hazard="knob_and_tube", released_on=day, by="owner", reason="rewired, electrician's paper 12"
    )
    again = take_off(replace(house, gate_answers=(stop,), gate_releases=(released,)), load_book("standard"))
    assert wall in [part.wall.id for part in again.priced_walls]


def test_an_answer_about_nothing_is_refused_with_its_path() -> None:
    source = Path(__file__).resolve().parents[2] / "fixtures" / "houses" / "mill-cape.json"
    house = house_from_json(source.read_text(encoding="utf-8"))
    day = date(2026, 3, 2)
    wrong = (
        GateAnswerRecord(hazard="dragons", verdict=Verdict.CLEAR, answered_on=day),
        GateAnswerRecord(hazard="weak_interior", verdict=Verdict.CLEAR, answered_on=day, parts=("no-such",)),
    )
    with pytest.raises(BadRecord) as refused:
        take_off(replace(house, gate_answers=wrong), load_book("standard"))
    assert [fault.path for fault in refused.value.faults] == ["$.gate_answers[0].hazard", "$.gate_answers[1].parts[0]"]


@pytest.mark.parametrize(
    ("base", "height", "access", "shares"),
    # D: shares of a rectangle above 10 ft and above 20 ft.
    [
        (0.0, 8.0, Access.LIFT_CLADDING, (0.0, 0.0)),
        (9.0, 8.0, Access.LIFT_CLADDING, (7 / 8, 0.0)),
        (9.0, 16.0, Access.DRILL_CLADDING, (10 / 16, 5 / 16)),
        (25.0, 8.0, Access.LIFT_CLADDING, (0.0, 1.0)),
        (25.0, 8.0, Access.DRILL_INSIDE, (0.0, 0.0)),
    ],
)
def test_the_shares_of_a_wall_worked_from_ladder_and_staging(
    base: float, height: float, access: Access, shares: tuple[float, float]
) -> None:
    wall = WallRecord(id="w", name="W", length_ft=20.0, height_ft=height, base_height_ft=base, access=access)
    assert height_shares(wall) == pytest.approx(shares)


@pytest.mark.parametrize(
    ("inside", "outside", "said"),
    [
        (InsideCover.PAINT, None, None),
        (InsideCover.VINYL_PAPER, WeatherBarrier.FELT, "dries outward only"),
        (InsideCover.PAINT, WeatherBarrier.FOIL_BOARD, "dries inward only"),
        (InsideCover.FOIL, WeatherBarrier.FOIL_BOARD, "cannot dry"),
    ],
)
def test_tight_faces_are_warned_of(inside: InsideCover, outside: WeatherBarrier | None, said: str | None) -> None:
    wall = WallRecord(id="w", name="W", length_ft=20.0, height_ft=8.0, inside_cover=inside, weather_barrier=outside)
    warnings = wall_take_off(wall, load_book("standard"), year_built=1960).warnings
    assert any(said in warning for warning in warnings) if said else not any("vapour" in w for w in warnings)


def test_vents_of_an_attic_are_held_against_one_part_in_300() -> None:
    # IRC R806.2 (S): 1,500 ft2 asks for 1440 in2 at 1/150 and 720 in2 at 1/300.
    attic = AtticRecord(id="a", name="Attic", area_ft2=1500.0, net_free_in2=719.0)
    counted = attic_take_off(attic, load_book("standard").loose_fill)
    assert (counted.free_150_in2, counted.free_300_in2) == pytest.approx((1440.0, 720.0))
    assert any("add vents" in warning for warning in counted.warnings)
    enough = attic_take_off(replace(attic, net_free_in2=720.0), load_book("standard").loose_fill)
    assert not any("add vents" in warning for warning in enough.warnings)


def test_walls_built_alike_are_laid_out_alike_and_keep_their_ids(book: PriceBook) -> None:
    first, second = (wall_take_off(replace(wall(), id=name), book, year_built=1960) for name in ("a", "b"))
    assert (first.layout.wall_id, second.layout.wall_id) == ("a", "b")
    assert first.layout.bays == second.layout.bays
    longer = wall_take_off(replace(wall(), length_ft=9.0), book, year_built=1960)
    assert longer.layout.bays != first.layout.bays
