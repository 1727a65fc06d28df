"""Walls as found: numbers stay, areas add up. Rules of the firm (FIELD); every value here is derived by hand (D)."""

from __future__ import annotations

import pytest

from estimates.house import (
    AsFoundRecord,
    BayDepthRecord,
    BlockRecord,
    HoleAddedRecord,
    HoleSkippedRecord,
    OpeningRecord,
    PointRecord,
    StudMoveRecord,
    WallRecord,
)
from estimates.physics.asfound import as_found
from estimates.physics.framing import WallLayout, lay_out
from estimates.physics.validity import OutOfRange

WALL = WallRecord(
    id="w",
    name="North",
    length_ft=16.0,
    height_ft=97.125 / 12,
    openings=(OpeningRecord(id="A", left_in=60, bottom_in=30, width_in=36, height_in=52),),
)


def numbers(layout: WallLayout) -> list[int]:
    return [bay.number for bay in layout.bays]


def test_nothing_found_changes_nothing() -> None:
    found = as_found(WALL, AsFoundRecord())
    assert found.layout == lay_out(WALL)
    assert (found.added, found.retired) == ((), ())


def test_a_stud_moved_by_an_inch_keeps_every_number_and_moves_volume_between_two_bays() -> None:
    before = lay_out(WALL)
    found = as_found(WALL, AsFoundRecord(studs_moved=(StudMoveRecord(from_in=32.0, to_in=33.0),)))
    assert numbers(found.layout) == numbers(before)
    first, second = (bay.volume_ft3 - old.volume_ft3 for bay, old in zip(found.layout.bays[1:3], before.bays[1:3]))
    assert first == pytest.approx(1.0 * 92.625 * 3.5 / 1728, rel=1e-9)
    assert second == pytest.approx(-first, rel=1e-9)


def test_a_stud_that_splits_a_bay_retires_its_number_and_adds_two() -> None:
    found = as_found(WALL, AsFoundRecord(studs_added=(PointRecord(x_in=24.0, y_in=0.0),)))
    most = max(numbers(lay_out(WALL)))
    assert found.retired == (2,)
    assert found.added == (most + 1, most + 2)
    assert sum(bay.area_ft2 for bay in found.layout.bays) == pytest.approx(found.layout.cavity_ft2)
    assert found.layout.cavity_ft2 == pytest.approx(lay_out(WALL).cavity_ft2 - 1.5 * 92.625 / 144)


def test_a_block_splits_the_bays_it_crosses_and_every_part_has_its_holes() -> None:
    block = BlockRecord(id="k", height_in=48.0, from_in=16.0, to_in=32.0)
    found = as_found(WALL, AsFoundRecord(blocks_added=(block,)))
    assert found.retired == (2,)
    assert all(bay.holes for bay in found.layout.bays if bay.number in found.added)


def test_depths_scale_volume_and_leave_area() -> None:
    before = lay_out(WALL)
    found = as_found(WALL, AsFoundRecord(depth_in=3.625, bay_depths=(BayDepthRecord(bay=3, depth_in=3.0),)))
    for bay, old in zip(found.layout.bays, before.bays, strict=True):
        depth = 3.0 if bay.number == 3 else 3.625
        assert bay.volume_ft3 == pytest.approx(old.volume_ft3 * depth / 3.5)
        assert bay.area_ft2 == pytest.approx(old.area_ft2)


def test_holes_can_be_skipped_and_added() -> None:
    before = lay_out(WALL)
    found = as_found(
        WALL,
        AsFoundRecord(
            holes_skipped=(HoleSkippedRecord(bay=1, row=2),),
            holes_added=(HoleAddedRecord(bay=2, x_in=22.0, y_in=70.0),),
        ),
    )
    assert found.layout.hole_count == before.hole_count
    assert [hole.row for hole in found.layout.bays[0].holes] == [1, 3]
    assert found.layout.bays[1].holes[-1].x_in == 22.0


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        (AsFoundRecord(studs_moved=(StudMoveRecord(from_in=40.0, to_in=41.0),)), "studs_moved.from_in is 40"),
        (AsFoundRecord(bay_depths=(BayDepthRecord(bay=99, depth_in=3.0),)), "bay_depths"),
        (AsFoundRecord(holes_skipped=(HoleSkippedRecord(bay=1, row=9),)), "holes_skipped"),
        (AsFoundRecord(holes_added=(HoleAddedRecord(bay=1, x_in=100.0, y_in=50.0),)), "a place in bay 1"),
    ],
)
def test_what_is_not_there_is_refused_by_name(edit: AsFoundRecord, words: str) -> None:
    with pytest.raises(OutOfRange, match=words.replace("[", r"\[")):
        as_found(WALL, edit)
