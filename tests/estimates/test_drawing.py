"""Elevations. Marks: S printed number seen, M from memory, D derived by a second method, CP common practice."""

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from shapely.geometry import Polygon as ShapelyPolygon
from shapely.ops import unary_union

from estimates.drawing import BayState, elevation, to_svg
from estimates.house import (
    BlockRecord,
    BraceKind,
    BraceRecord,
    Closure,
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
)
from estimates.linework import Area, Dot, Label, Stroke, clip_convex, feet_and_inches
from estimates.physics.framing import lay_out

SVG = "{http://www.w3.org/2000/svg}"


def window(code: str, left: float, bottom: float = 36, width: float = 36, height: float = 46) -> OpeningRecord:
    return OpeningRecord(id=code, left_in=left, bottom_in=bottom, width_in=width, height_in=height)


def zone(code: str, *corners: tuple[float, float]) -> NoFillRecord:
    points = tuple(PointRecord(x_in=x, y_in=y) for x, y in corners)
    return NoFillRecord(id=code, reason=NoFillReason.PANEL_OR_METER, corners=points)


def platform(**fields: object) -> WallRecord:
    return WallRecord(**({"id": "w", "name": "North", "length_ft": 28.0, "height_ft": 8.09375} | fields))  # type: ignore[arg-type]


ODD_WALLS = {
    "plain": platform(openings=(window("w1", 40), window("door", 150, 0, 38, 82))),
    "gable": platform(
        face=Face.LEFT,
        peak_height_ft=18.0,
        openings=(window("attic", 150, 120, 28, 36),),
        braces=(BraceRecord(id="b", from_x_in=8, from_y_in=3, to_x_in=84, to_y_in=92),),
    ),
    "gable filled to the ceiling": platform(peak_height_ft=18.0, fill_to_ft=8.09375),
    "balloon": platform(
        framing=Framing.BALLOON,
        height_ft=18.5,
        sill=Closure.OPEN,
        floor_lines=(FloorLineRecord(id="f2", height_in=112, closure=Closure.RIBBON),),
        openings=(replace(window("parlour", 48, 30, 32, 58), kind=OpeningKind.DOUBLE_HUNG, sash_pocket_in=2.5),),
    ),
    "tiny": platform(length_ft=3.0),
    "sixty feet": platform(length_ft=60.0, openings=tuple(window(f"w{i}", 40 + 90 * i) for i in range(7))),
    "raked with blocks": platform(
        right_height_ft=11.5,
        blocks=(BlockRecord(id="mid", height_in=48),),
        tees=(TeeRecord(id="t", at_in=60),),
        left_post=PostPattern.POCKET,
    ),
    "no fill and a cut-in brace": platform(
        no_fill=(zone("panel", (60, 20), (92, 20), (92, 80), (60, 80)),),
        braces=(
            BraceRecord(id="b", from_x_in=100, from_y_in=3, to_x_in=180, to_y_in=92, kind=BraceKind.CUT_IN),
        ),
    ),
    "rim": platform(kind=SurfaceKind.RIM, height_ft=9.25 / 12),
    "tower": platform(length_ft=5.0, height_ft=26.0, framing=Framing.BALLOON),
}  # fmt: skip

odd_walls = pytest.mark.parametrize("wall", ODD_WALLS.values(), ids=ODD_WALLS.keys())


def drawn(wall: WallRecord, shown_px: float = 360.0):
    layout = lay_out(wall)
    return layout, elevation(layout, wall, shown_px=shown_px)


@odd_walls
def test_drawn_bays_have_the_areas_of_the_layout(wall):
    # D: shapely measures the drawn outlines, the layout summed its trapezoids.
    layout, drawing = drawn(wall)
    areas = {m.bay: ShapelyPolygon(m.points).area for m in drawing.marks if isinstance(m, Area) and m.bay}
    assert areas == pytest.approx({bay.number: bay.area_ft2 * 144.0 for bay in layout.bays}, rel=1e-9, abs=1e-6)


@odd_walls
def test_drawn_shapes_cover_the_face_and_nothing_beyond_it(wall):
    # D: the union of everything solid, open, unfilled or cavity is the face again.
    layout, drawing = drawn(wall)
    solid = {"stud", "plate", "header", "block", "brace", "opening", "no-fill", "bay"}
    on_wall = [m for m in drawing.marks if isinstance(m, Area) and m.kind in solid and m.points[0][1] >= -1e-9]
    face = ShapelyPolygon(layout.face)
    covered = unary_union([ShapelyPolygon(m.points).buffer(0) for m in on_wall])
    assert covered.difference(face.buffer(1e-6)).area == pytest.approx(0.0, abs=1e-6)
    packed = layout.framing_ft2 - sum(ShapelyPolygon(m.polygon).intersection(face).area for m in layout.members) / 144.0
    # Gaps too narrow to be bays count as framing and keep the ground of the face.
    assert face.difference(covered).area / 144.0 <= max(0.0, packed) + 0.5


@odd_walls
def test_every_hole_is_drawn_at_its_place_and_can_be_seen(wall):
    layout, drawing = drawn(wall)
    places = {(hole.x_in, hole.y_in) for bay in layout.bays for hole in bay.holes}
    dots = [m for m in drawing.marks if isinstance(m, Dot) and m.centre in places]
    assert len(dots) == layout.hole_count
    # 2 px across at 360 px of page is the least that we take for visible (CP).
    assert min(dot.radius for dot in dots) * 2 * 360 / drawing.width >= 2.0
    assert min(dot.radius for dot in dots) >= 1.0


@odd_walls
@pytest.mark.parametrize("shown_px", [360, 423, 900])
def test_labels_are_readable_at_the_least_width(wall, shown_px):
    _, drawing = drawn(wall, shown_px)
    labels = [m for m in drawing.marks if isinstance(m, Label)]
    assert min(label.size for label in labels) * shown_px / drawing.width >= 9.0


@odd_walls
@pytest.mark.parametrize("shown_px", [360, 900])
def test_no_label_lies_over_another_or_runs_out_of_the_drawing(wall, shown_px):
    _, drawing = drawn(wall, shown_px)
    boxes = [m.box for m in drawing.marks if isinstance(m, Label)]
    for number, (a, b, c, d) in enumerate(boxes):
        assert a >= drawing.left - 1e-6
        assert c <= drawing.right + 1e-6
        assert b >= drawing.bottom - 1e-6
        assert d <= drawing.top + 1e-6
        for e, f, g, h in boxes[number + 1 :]:
            assert not (a < g - 1e-6 and e < c - 1e-6 and b < h - 1e-6 and f < d - 1e-6)


@odd_walls
def test_svg_is_sound_xml_without_any_style_and_says_what_it_shows(wall):
    layout, drawing = drawn(wall)
    text = to_svg(drawing, title=wall.name, width=340)
    root = etree.fromstring(text)
    assert "style" not in text
    assert not re.search(r"\son\w+=", text)
    assert root.find(f"{SVG}title").text == wall.name
    assert f"{len(layout.bays)} bays" in root.find(f"{SVG}desc").text
    ids = root.xpath("//@id")
    assert len(ids) == len(set(ids))
    assert set(root.get("aria-labelledby").split()) <= set(ids)
    used = set(re.findall(r"url\(#([^)]+)\)", text))
    assert used <= set(ids)
    for value in re.findall(r'="(-?[\d.]+)"', text):
        assert float(value) == float(value)
    _, _, wide, high = map(float, root.get("viewBox").split())
    assert float(root.get("width")) / float(root.get("height")) == pytest.approx(wide / high, rel=1e-3)


@odd_walls
def test_same_wall_gives_the_same_svg(wall):
    first, second = (to_svg(drawn(wall)[1], title="T", width=340) for _ in range(2))
    assert first == second


def test_two_drawings_on_a_page_share_no_id():
    pages = [to_svg(drawn(wall)[1], title="T", width=340) for wall in (ODD_WALLS["plain"], ODD_WALLS["gable"])]
    ids = [set(etree.fromstring(page).xpath("//@id")) for page in pages]
    assert not ids[0] & ids[1]


def test_a_key_keeps_the_same_drawing_apart_from_itself():
    _, drawing = drawn(ODD_WALLS["plain"])
    pages = [to_svg(drawing, title="T", width=340, key=key) for key in ("before", "after")]
    ids = [set(etree.fromstring(page).xpath("//@id")) for page in pages]
    assert not ids[0] & ids[1]


def test_every_state_is_told_by_word_pattern_and_class():
    wall = ODD_WALLS["plain"]
    layout = lay_out(wall)
    states = {number: str(state) for number, state in enumerate(BayState, 1)}
    root = etree.fromstring(to_svg(elevation(layout, wall, states), title="T", width=340))
    patterns = [etree.tostring(p)[60:] for p in root.iter(f"{SVG}pattern")]
    assert len(set(patterns)) == len(patterns) == len(BayState)
    words = {text.text for text in root.iter(f"{SVG}text")}
    for number, state in states.items():
        bay = root.xpath(f"//*[@data-bay='{number}']")[0]
        assert f"bay-{state.replace(' ', '-')}" in bay.get("class").split()
        assert state in bay.find(f"{SVG}title").text
        assert state in words


@pytest.mark.parametrize("state", BayState)
def test_states_differ_without_colour(state):
    from estimates.linework import HATCHES

    shapes = [(HATCHES[other].strokes, HATCHES[other].dots) for other in BayState if other is not state]
    marks = [HATCHES[other].mark for other in BayState if other is not state]
    assert (HATCHES[state].strokes, HATCHES[state].dots) not in shapes
    assert HATCHES[state].mark not in marks


def test_pockets_that_cannot_be_reached_are_left_out_unless_told():
    layout, drawing = drawn(ODD_WALLS["raked with blocks"])
    states = {m.bay: m.hatch for m in drawing.marks if isinstance(m, Area) and m.bay}
    assert {number for number, state in states.items() if state == "left out"} == {
        bay.number for bay in layout.bays if not bay.reachable
    }
    assert set(states.values()) == {"planned", "left out"}


@pytest.mark.parametrize(
    ("states", "message"),
    [
        ({1: "full"}, r"states\[1\] is 'full'; enter one of planned"),
        ({99: "filled"}, "names bay 99; the wall has bays 1 to"),
    ],
)  # fmt: skip
def test_unknown_states_and_bays_are_refused_by_name(states, message):
    wall = ODD_WALLS["plain"]
    with pytest.raises(ValueError, match=message):
        elevation(lay_out(wall), wall, states)


@pytest.mark.parametrize("shown_px", [0, -5, float("nan"), 1e9])
def test_a_width_out_of_range_is_refused(shown_px):
    wall = ODD_WALLS["plain"]
    with pytest.raises(ValueError, match="shown_px"):
        elevation(lay_out(wall), wall, shown_px=shown_px)
    with pytest.raises(ValueError, match="width"):
        to_svg(drawn(wall)[1], title="T", width=0 if shown_px > 0 else shown_px)


def test_hostile_names_stay_text():
    wall = platform(name='</title><script>alert("1")</script> & Ünïcode ‮\ufffe', openings=(window("w1", 40),))
    root = etree.fromstring(to_svg(drawn(wall)[1], title=wall.name, width=340))
    assert not list(root.iter(f"{SVG}script"))
    assert '<script>alert("1")' in root.find(f"{SVG}title").text
    assert "Ünïcode" in root.find(f"{SVG}desc").text


def test_the_tape_starts_at_the_outside_corner_even_where_the_wall_butts():
    _, drawing = drawn(ODD_WALLS["gable"])
    tip = next(m for m in drawing.marks if isinstance(m, Area) and m.kind == "datum").points[0]
    assert tip[0] <= 0 < 3.5
    length = [m for m in drawing.marks if isinstance(m, Stroke) and m.kind == "dimension" and m.start[1] == m.end[1]]
    assert [(m.start[0], m.end[0]) for m in length] == [(0.0, 336.0)]


def test_the_part_above_the_insulated_ceiling_is_only_outlined():
    _, drawing = drawn(ODD_WALLS["gable filled to the ceiling"])
    bays = [m for m in drawing.marks if isinstance(m, Area) and m.bay]
    assert max(y for bay in bays for _, y in bay.points) <= 8.09375 * 12 + 1e-9
    assert [m.kind for m in drawing.marks if isinstance(m, Area)].count("beyond") == 1


def test_open_ends_of_a_balloon_wall_are_shown_and_said():
    _, drawing = drawn(ODD_WALLS["balloon"])
    assert any(isinstance(m, Stroke) and m.kind == "escape" and m.start[1] == 0 for m in drawing.marks)
    assert "Open: sill." in drawing.says


def test_bay_numbers_move_below_a_wall_too_long_to_hold_them():
    _, far = drawn(ODD_WALLS["sixty feet"])
    _, near = drawn(ODD_WALLS["plain"])
    assert all(m.at[1] < 0 for m in far.marks if isinstance(m, Label) and m.kind == "number")
    assert all(m.at[1] > 0 for m in near.marks if isinstance(m, Label) and m.kind == "number")


@settings(max_examples=40, deadline=None)
@given(
    length=st.floats(2, 200),
    height=st.floats(1, 40),
    rise=st.floats(-0.5, 3),
    shown_px=st.sampled_from([320, 360, 700, 1280]),
)
def test_any_wall_draws_within_its_sheet_with_every_number_once(length, height, rise, shown_px):
    wall = platform(length_ft=length, height_ft=height, right_height_ft=height * (1 + rise))
    _, drawing = drawn(wall, shown_px)
    numbers = [m.text for m in drawing.marks if isinstance(m, Label) and m.kind == "number"]
    assert len(numbers) == len(set(numbers))
    for mark in drawing.marks:
        if isinstance(mark, Area):
            assert all(
                drawing.left <= x <= drawing.right and drawing.bottom <= y <= drawing.top for x, y in mark.points
            )
    etree.fromstring(to_svg(drawing, title="T", width=340))


@settings(max_examples=100, deadline=None)
@given(st.floats(0, 5000))
def test_feet_and_inches_read_back_within_a_sixteenth(inches):
    # D: read back by its parts; a sixteenth is half of the last eighth printed.
    shown = feet_and_inches(inches)
    feet = int(shown.split("′")[0]) if "′" in shown else 0
    parts = shown.split("′")[-1].strip(" ″").split()
    rest = sum(eval(part) for part in parts)
    assert abs(feet * 12 + rest - inches) <= 1 / 16 + 1e-9
    assert rest < 12


@pytest.mark.parametrize("inches", [-1.0, float("nan"), float("inf")])
def test_a_length_that_is_none_is_refused(inches):
    with pytest.raises(ValueError, match="inches"):
        feet_and_inches(inches)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(-20, 30), st.floats(-20, 30)), min_size=3, max_size=3, unique=True))
def test_clipping_a_triangle_agrees_with_shapely(corners):
    # D: Sutherland-Hodgman against an independent geometry library.
    house = ((0.0, 0.0), (10.0, 0.0), (10.0, 8.0), (5.0, 12.0), (0.0, 8.0))
    triangle = ShapelyPolygon(corners)
    clipped = clip_convex(tuple(corners), house)
    area = ShapelyPolygon(clipped).area if len(clipped) >= 3 else 0.0
    assert area == pytest.approx(triangle.buffer(0).intersection(ShapelyPolygon(house)).area, rel=1e-6, abs=1e-6)
