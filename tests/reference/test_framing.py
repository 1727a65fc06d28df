"""Layout of walls against derived values and against an independent geometry library.

D: derived here by hand or by a second method. S: printed number seen. M: from memory. CP: common practice, no source.
"""

from __future__ import annotations

import itertools
import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from estimates.house import (
    BlockRecord,
    BraceKind,
    BraceRecord,
    Closure,
    CornerEnd,
    Face,
    FloorLineRecord,
    Framing,
    NoFillReason,
    NoFillRecord,
    OpeningKind,
    OpeningRecord,
    PointRecord,
    PostPattern,
    SurfaceKind,
    TeeRecord,
    WallRecord,
    wall_faults,
)
from estimates.physics.framing import DEFAULT_TOOL, hole_heights, lay_out, quick_cavity_ft3

# Precut stud of 92 5/8 in between one sole and two top plates of 1 1/2 in. M: usual lumber.
PRECUT_FT = (92.625 + 3 * 1.5) / 12


def plain(length_ft: float = 24.0, **changes: object) -> WallRecord:
    return WallRecord(id="w", name="North", length_ft=length_ft, height_ft=PRECUT_FT, **changes)  # type: ignore[arg-type]


def window(left: float = 60.0, width: float = 36.0, bottom: float = 30.0, height: float = 52.0) -> OpeningRecord:
    return OpeningRecord(id="A", left_in=left, bottom_in=bottom, width_in=width, height_in=height)


class TestPublishedAndDerivedValues:
    def test_a_full_bay_of_a_precut_wall_holds_2_7203_ft3(self) -> None:
        # D: 14.5 x 92.625 x 3.5 / 1728.
        assert lay_out(plain()).bays[1].volume_ft3 == pytest.approx(2.7203, abs=5e-5)

    def test_a_long_wall_of_studs_and_three_plates_is_0_8643_cavity(self) -> None:
        # D: (14.5 / 16) x (92.625 / 97.125); a very long wall, so that its ends vanish.
        layout = lay_out(plain(400.0))
        assert layout.cavity_ft2 / layout.gross_ft2 == pytest.approx(0.8643, abs=5e-4)

    @pytest.mark.parametrize(
        ("share", "depth", "expected"), [(0.25, 3.5, 0.21875), (0.25, 5.5, 0.34375), (0.22, 3.5, 0.22750)]
    )
    def test_quick_mode_volume_per_net_ft2(self, share: float, depth: float, expected: float) -> None:
        # D with framing shares of 25 % (16 in) and 22 % (24 in): ASHRAE, S in public notes.
        assert quick_cavity_ft3(1.0, share, depth) == pytest.approx(expected, abs=5e-6)

    def test_three_bays_take_about_one_bag_of_dense_fill(self) -> None:
        # S: an insulation handbook: one 30 lb bag fills about three 8 ft 2x4 16 in bays at 3.5 lb/ft3 (28.6 lb).
        three = 3 * lay_out(plain()).bays[1].volume_ft3
        assert three * 3.5 == pytest.approx(28.6, abs=0.05)

    def test_state_code_share_of_studs_plates_and_headers_is_of_the_size_of_a_laid_out_wall(self) -> None:
        # S: Washington WAC 51-11-1005 weights .77/.19/.04 standard framing (cavity / studs and plates / headers).
        # A 24 ft wall with two windows lies within four points of it; the code's house has corners and tees besides.
        wall = plain(
            24.0, openings=(window(50), OpeningRecord(id="B", left_in=180, bottom_in=30, width_in=48, height_in=52))
        )
        assert lay_out(wall).framing_fraction == pytest.approx(0.23, abs=0.04)


class TestLayout:
    def test_first_bay_is_shorter_by_half_a_stud_and_later_ones_are_alike(self) -> None:
        # D: 16 - 0.75 - 1.5 = 13.75; 16 - 1.5 = 14.5.
        assert [bay.clear_width_in for bay in lay_out(plain(8.0)).bays] == [13.75, 14.5, 14.5, 14.5, 14.5, 13.75]

    def test_hand_count_of_a_wall_with_a_window_and_a_door(self) -> None:
        # D, by hand on paper: 24 ft, 16 in; window 36 x 52 at 60/30, door 38 x 82 at 150, 1 jack, 1 king each side.
        door = OpeningRecord(id="D", left_in=150, bottom_in=0, width_in=38, height_in=82, kind=OpeningKind.DOOR)
        layout = lay_out(plain(24.0, openings=(window(), door)))
        assert len(layout.bays) == 23
        assert sum(bay.place == "under A" for bay in layout.bays) == 3
        assert sum(bay.place.startswith("over D") for bay in layout.bays) == 3
        # Gross 24 x 97.125/12; openings 36x52 and 38x82, in ft2.
        assert layout.gross_ft2 == pytest.approx(24 * 97.125 / 12, abs=1e-9)
        assert layout.opening_ft2 == pytest.approx((36 * 52 + 38 * 82) / 144, abs=1e-9)

    def test_a_butting_wall_is_shorter_by_the_through_walls_depth_at_both_ends(self) -> None:
        # D: rule of the firm: front and back run through, side walls butt.
        butting = lay_out(plain(24.0, face=Face.LEFT))
        assert (butting.left_in, butting.right_in) == (3.5, 24 * 12 - 3.5)
        assert lay_out(plain(24.0, face=Face.FRONT)).right_in == 288.0
        one_end = lay_out(plain(24.0, face=Face.FRONT, right_end=CornerEnd.BUTTING, through_depth_in=5.5))
        assert one_end.right_in == 288.0 - 5.5

    def test_a_remainder_under_one_inch_is_no_bay(self) -> None:
        # D: last stud centred at 80 in; its right face 80.75; an end stud at 81.5..83 leaves 0.75 in.
        layout = lay_out(plain(83.0 / 12))
        assert layout.bays[-1].right_in == pytest.approx(79.25)
        wide = lay_out(plain(84.0 / 12))
        assert wide.bays[-1].clear_width_in == pytest.approx(1.75)
        assert any("Last bay" in warning for warning in wide.warnings)

    def test_balloon_walls_run_past_the_floor_and_an_open_floor_line_is_an_escape(self) -> None:
        # D: a floor line that is stopped parts each of the nine bays in two.
        lines = (FloorLineRecord(id="second", height_in=110.0, closure=Closure.OPEN),)
        wall = plain(12.0, framing=Framing.BALLOON, floor_lines=lines, sill=Closure.FIRE_STOPPED)
        assert lay_out(wall).escapes == ("floor line second",)
        stopped = plain(
            12.0,
            framing=Framing.BALLOON,
            sill=Closure.FIRE_STOPPED,
            floor_lines=(FloorLineRecord(id="second", height_in=50.0, closure=Closure.FIRE_STOPPED),),
        )
        layout = lay_out(stopped)
        assert layout.escapes == ()
        assert len(layout.bays) == 2 * 9

    def test_a_rim_with_parallel_joists_is_one_long_pocket(self) -> None:
        rim = WallRecord(
            id="r", name="Rim", kind=SurfaceKind.RIM, length_ft=20, height_ft=9.25 / 12, joists_parallel=True
        )
        (bay,) = lay_out(rim).bays
        # D: the length less both end studs; one hole to every reach of the nozzle's width.
        assert bay.clear_width_in == 240 - 3
        assert len(bay.holes) == math.ceil(237 / DEFAULT_TOOL.width_reach_in)

    def test_pockets_behind_posts_and_partitions_are_cavity_that_cannot_be_reached(self) -> None:
        # D: what is behind a post or a partition has no hole, so less volume is filled than there is.
        wall = plain(16.0, left_post=PostPattern.POCKET, tees=(TeeRecord(id="bath", at_in=100.0),))
        layout = lay_out(wall)
        reasons = {bay.reason for bay in layout.bays if not bay.reachable}
        assert reasons == {"behind the corner post", "behind partition bath"}
        assert all(not bay.holes for bay in layout.bays if not bay.reachable)
        assert layout.volume_ft3 < sum(bay.volume_ft3 for bay in layout.bays)

    def test_studs_found_on_site_replace_the_spacing(self) -> None:
        # D: clear widths by hand from the centres and 1.5 in of stud.
        found = tuple(PointRecord(x_in=x, y_in=0) for x in (20.0, 44.0, 70.0))
        widths = [bay.clear_width_in for bay in lay_out(plain(8.0, studs_found_in=found)).bays]
        assert widths == pytest.approx([19.25 - 1.5, 22.5, 24.5, 94.5 - 70.75])

    def test_a_sash_pocket_widens_the_framed_opening_and_is_not_filled(self) -> None:
        old = OpeningRecord(id="A", left_in=60, bottom_in=30, width_in=30, height_in=52, kind=OpeningKind.DOUBLE_HUNG)
        layout = lay_out(plain(24.0, openings=(old,)), sash_pocket_in=2.5)
        # D: two strips of 2.5 x 52 in.
        assert layout.no_fill_ft2 == pytest.approx(2 * 2.5 * 52 / 144)


class TestBracesAndZones:
    BRACE = BraceRecord(id="b", from_x_in=20, from_y_in=5, to_x_in=90, to_y_in=90)

    def test_a_cut_in_brace_parts_the_bays_and_a_let_in_one_only_takes_depth(self) -> None:
        from dataclasses import replace

        # D: wood across a bay parts it; wood let into the studs takes depth from bays that stay whole.
        none = lay_out(plain(12.0))
        cut = lay_out(plain(12.0, braces=(replace(self.BRACE, kind=BraceKind.CUT_IN),)))
        let = lay_out(plain(12.0, braces=(replace(self.BRACE, kind=BraceKind.LET_IN),)))
        unknown = lay_out(plain(12.0, braces=(self.BRACE,)))
        assert len(let.bays) == len(none.bays) < len(cut.bays)
        assert len(unknown.bays) == len(cut.bays)
        assert unknown.volume_ft3 == pytest.approx(let.volume_ft3, rel=1e-12)
        assert cut.volume_ft3 < let.volume_ft3 < none.volume_ft3
        assert let.cavity_ft2 == pytest.approx(none.cavity_ft2, rel=1e-12)

    def test_a_let_in_brace_takes_its_thickness_times_the_cavity_it_crosses(self) -> None:
        from dataclasses import replace

        none = lay_out(plain(12.0))
        brace = replace(self.BRACE, kind=BraceKind.LET_IN)
        let = lay_out(plain(12.0, braces=(brace,)))
        # D: the band by shapely, cut with the bays of the plain wall.
        line = shapely.LineString([(brace.from_x_in, brace.from_y_in), (brace.to_x_in, brace.to_y_in)])
        band = line.buffer(brace.width_in / 2, cap_style="flat")
        crossed = sum(band.intersection(shapely.Polygon(bay.outline)).area for bay in none.bays)
        assert none.volume_ft3 - let.volume_ft3 == pytest.approx(crossed * 0.75 / 1728, rel=1e-9)

    def test_a_no_fill_zone_leaves_volume_and_holes(self) -> None:
        # D: points of holes against the zone by shapely.
        corners = tuple(PointRecord(x_in=x, y_in=y) for x, y in ((36, 20), (60, 20), (60, 50), (36, 60)))
        zone = NoFillRecord(id="z", reason=NoFillReason.PANEL_OR_METER, corners=corners)
        layout = lay_out(plain(12.0, no_fill=(zone,)))
        shape = shapely.Polygon([(c.x_in, c.y_in) for c in corners])
        assert layout.no_fill_ft2 > 0
        for bay in layout.bays:
            for hole in bay.holes:
                assert not shape.contains(shapely.Point(hole.x_in, hole.y_in))


class TestHoles:
    def test_rule_of_lowest_last_and_between(self) -> None:
        # CP: lowest at bottom + reach down (30), last within 6 in of the top, at most 54 in apart between.
        heights = hole_heights(1.5, 94.125)
        assert heights[0] == 31.5
        assert heights[-1] == 88.125
        assert max(b - a for a, b in itertools.pairwise(heights)) <= 54

    def test_two_holes_never_run_into_each_other(self) -> None:
        # CP: 37 in tall: the lowest would stand at 30, the last at 31; the lower one gives way by 3 in.
        assert hole_heights(0.0, 37.0) == [27.0, 31.0]

    def test_low_pockets_get_one_hole(self) -> None:
        # D: the middle under the least height; else the top less its offset, the lowest hole being higher than that.
        assert hole_heights(10.0, 15.9) == [pytest.approx(12.95)]
        assert hole_heights(0.0, 20.0) == [14.0]

    def test_a_pocket_without_height_is_refused(self) -> None:
        # D: a pocket is above its bottom.
        with pytest.raises(ValueError, match="not above"):
            hole_heights(5.0, 5.0)


# --- random walls against shapely and against conservation --------------------------------------------------------


@st.composite
def walls(draw: st.DrawFn) -> WallRecord:
    length = draw(st.floats(4.0, 60.0))
    height = draw(st.floats(4.0, 20.0))
    openings: list[OpeningRecord] = []
    x = 10.0
    while x < length * 12 - 60 and len(openings) < 4 and draw(st.booleans()):
        width = draw(st.floats(8.0, 50.0))
        bottom = draw(st.sampled_from([0.0, 6.0, 20.0, 34.0]))
        tall = draw(st.floats(6.0, max(6.5, height * 12 - bottom - 12)))
        kind = draw(st.sampled_from(list(OpeningKind)))
        openings.append(
            OpeningRecord(
                id=f"o{len(openings)}", left_in=x, bottom_in=bottom, width_in=width, height_in=tall, kind=kind
            )
        )
        x += width + draw(st.floats(1.0, 80.0))
    blocks = [BlockRecord(id="k", height_in=draw(st.floats(2.0, height * 12 - 2)))] if draw(st.booleans()) else []
    braces = []
    if draw(st.booleans()):
        ends = [draw(st.floats(0.0, length * 12)), draw(st.floats(0.0, 12.0)), draw(st.floats(0.0, length * 12))]
        braces = [
            BraceRecord(
                id="b", from_x_in=ends[0], from_y_in=ends[1], to_x_in=ends[2], to_y_in=height * 12 - 3,
                kind=draw(st.sampled_from(list(BraceKind))),
            )
        ]  # fmt: skip
    zones = []
    if draw(st.booleans()):
        a, b = draw(st.floats(0.0, length * 12)), draw(st.floats(0.0, height * 12))
        w, h = draw(st.floats(1.0, 60.0)), draw(st.floats(1.0, 60.0))
        corners = tuple(PointRecord(x_in=px, y_in=py) for px, py in ((a, b), (a + w, b), (a + w * 0.6, b + h)))
        zones = [NoFillRecord(id="z", reason=NoFillReason.OTHER, corners=corners)]
    return WallRecord(
        id="w",
        name="W",
        length_ft=length,
        height_ft=height,
        right_height_ft=draw(st.one_of(st.none(), st.floats(height, height + 6))),
        peak_height_ft=draw(st.one_of(st.none(), st.floats(height + 6.5, height + 15))),
        spacing_in=draw(st.sampled_from([12.0, 16.0, 19.2, 24.0])),
        depth_in=draw(st.sampled_from([3.5, 3.625, 5.5])),
        face=draw(st.one_of(st.none(), st.sampled_from(list(Face)))),
        jacks=draw(st.integers(0, 2)),
        openings=tuple(openings),
        blocks=tuple(blocks),
        braces=tuple(braces),
        no_fill=tuple(zones),
    )


def sound(wall: WallRecord) -> bool:
    return not list(wall_faults(wall, "$"))


@settings(max_examples=150, deadline=None)
@given(walls().filter(sound))
def test_cavity_framing_openings_and_zones_make_up_the_wall(wall: WallRecord) -> None:
    # D: areas of parts make up the whole.
    layout = lay_out(wall, sash_pocket_in=2.5)
    whole = layout.cavity_ft2 + layout.framing_ft2 + layout.opening_ft2 + layout.no_fill_ft2
    assert whole == pytest.approx(layout.gross_ft2, abs=1e-9 * max(1.0, layout.gross_ft2))
    assert math.fsum(bay.area_ft2 for bay in layout.bays) == pytest.approx(
        layout.cavity_ft2, abs=1e-9 * layout.gross_ft2
    )


@settings(max_examples=150, deadline=None)
@given(walls().filter(sound))
def test_areas_agree_with_an_independent_geometry_library(wall: WallRecord) -> None:
    # D: the same shapes joined and cut by shapely (GEOS), which knows nothing of the sweep.
    layout = lay_out(wall, sash_pocket_in=2.5)
    face = shapely.Polygon(layout.face)
    opened = shapely.union_all([shapely.Polygon(p) for p in layout.openings]).intersection(face)
    framing = shapely.union_all([shapely.Polygon(m.polygon) for m in layout.members]).intersection(face) - opened
    zones = shapely.union_all([shapely.Polygon(p) for p in layout.no_fill]).intersection(face) - opened - framing
    free = face - opened - framing - zones
    assert layout.opening_ft2 == pytest.approx(opened.area / 144, abs=1e-6)
    assert layout.no_fill_ft2 == pytest.approx(zones.area / 144, abs=1e-6)
    # Gaps under an inch count as framing here, so the two may differ by those only.
    slivers = free.area / 144 - layout.cavity_ft2
    assert slivers >= -1e-6
    assert layout.framing_ft2 == pytest.approx(framing.area / 144 + slivers, abs=1e-6)
    bays = [shapely.Polygon(bay.outline) for bay in layout.bays]
    for bay, shape in zip(layout.bays, bays, strict=True):
        # A zone may touch a plate in one point; an outline that crossed itself would lose area here.
        whole = shapely.make_valid(shape)
        assert whole.area == pytest.approx(shape.area, abs=1e-6)
        assert shape.area / 144 >= bay.area_ft2 - 1e-6
        assert (whole - free).area < 1e-5 or shape.area / 144 > bay.area_ft2 + 1e-9


@settings(max_examples=100, deadline=None)
@given(walls().filter(sound))
def test_bays_do_not_overlap_and_each_reachable_one_has_its_holes_inside(wall: WallRecord) -> None:
    layout = lay_out(wall)
    # D: areas in common by an independent geometry library.
    # Trapezoids are convex; their hull is valid for the library even where rounding turns a corner inside out.
    pieces = [shapely.MultiPoint(piece.polygon).convex_hull for bay in layout.bays for piece in bay.pieces]
    tree = shapely.STRtree(pieces)
    for one, other in tree.query(pieces, predicate="intersects").T:
        assert one == other or pieces[one].intersection(pieces[other]).area < 1e-4
    for bay in layout.bays:
        assert bool(bay.holes) == bay.reachable
        inside = [shapely.MultiPoint(piece.polygon).convex_hull.buffer(1e-6) for piece in bay.pieces]
        for hole in bay.holes:
            assert any(shape.contains(shapely.Point(hole.x_in, hole.y_in)) for shape in inside)


@settings(max_examples=60, deadline=None)
@given(st.floats(6.0, 40.0), st.sampled_from([(24.0, 12.0), (32.0, 16.0), (48.0, 16.0)]))
def test_more_studs_never_raise_cavity_area(length: float, spacings: tuple[float, float]) -> None:
    # D: more wood leaves less room.
    wide, close = spacings
    assert (
        lay_out(plain(length, spacing_in=close)).cavity_ft2 <= lay_out(plain(length, spacing_in=wide)).cavity_ft2 + 1e-9
    )
