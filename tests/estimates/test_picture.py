"""Pictures for papers."""

import io

import pytest
from PIL import Image

from estimates.drawing import elevation
from estimates.house import OpeningRecord, WallRecord
from estimates.physics.framing import lay_out
from estimates.picture import keep_png, png_bytes

WALL = WallRecord(
    id="w",
    name="North",
    length_ft=16.0,
    height_ft=8.0,
    openings=(OpeningRecord(id="cost$5", left_in=60, bottom_in=30, width_in=60, height_in=48),),
)


@pytest.fixture(scope="module")
def drawing():
    return elevation(lay_out(WALL), WALL, {1: "filled"}, shown_px=423)


def test_a_picture_has_the_size_asked_for_and_the_shape_of_the_drawing(drawing):
    image = Image.open(io.BytesIO(png_bytes(drawing, width_in=4.4, dpi=100)))
    assert image.width == 440
    assert image.width / image.height == pytest.approx(drawing.width / drawing.height, rel=0.01)


def test_pictures_are_the_same_to_the_byte(drawing):
    assert png_bytes(drawing, width_in=3, dpi=80) == png_bytes(drawing, width_in=3, dpi=80)


def test_bays_of_other_states_look_different(drawing):
    plain = elevation(lay_out(WALL), WALL, shown_px=423)
    assert png_bytes(drawing, width_in=3, dpi=80) != png_bytes(plain, width_in=3, dpi=80)


def test_the_wall_is_where_the_drawing_says(drawing):
    # D: the pixel at the middle of the first bay's foot must be of its ground or pattern, the one outside white paper.
    image = Image.open(io.BytesIO(png_bytes(drawing, width_in=4, dpi=100))).convert("RGB")
    scale = 400 / drawing.width

    def at(x: float, y: float) -> tuple[int, int, int]:
        return image.getpixel((int((x - drawing.left) * scale), int((drawing.top - y) * scale)))

    assert at(191, 70) != (255, 255, 255)  # end stud
    assert at(192 + 2 * drawing.text_in * 0.2, 70) == (255, 255, 255)
    assert at(90, 72) == (0xF4, 0xF6, 0xF6)  # glass


def test_a_picture_is_drawn_once_and_kept(drawing, tmp_path):
    first = keep_png(drawing, tmp_path / "store", width_in=3, dpi=80)
    first.write_bytes(b"kept")
    assert keep_png(drawing, tmp_path / "store", width_in=3, dpi=80).read_bytes() == b"kept"
    other = keep_png(drawing, tmp_path / "store", width_in=3.5, dpi=80)
    assert other != first
    assert sorted(p.name for p in (tmp_path / "store").iterdir()) == sorted([first.name, other.name])


@pytest.mark.parametrize(
    ("width_in", "dpi", "name"), [(0, 200, "width_in"), (float("nan"), 200, "width_in"), (4, 7, "dpi")]
)
def test_sizes_out_of_range_are_refused_by_name(drawing, tmp_path, width_in, dpi, name):
    with pytest.raises(ValueError, match=name):
        keep_png(drawing, tmp_path, width_in=width_in, dpi=dpi)
