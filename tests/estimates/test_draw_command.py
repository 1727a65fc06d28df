"""`python3 manage.py draw` and the gallery of odd walls: every one is laid out, adds up and is drawn."""

from __future__ import annotations

import json
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from lxml import etree, html

from estimates.house import WallRecord, house_from_json
from estimates.physics.framing import lay_out

ODD = Path(__file__).resolve().parents[2] / "fixtures" / "odd_walls.json"
WALLS = house_from_json(ODD.read_text(encoding="utf-8")).walls


def test_the_gallery_holds_more_than_twenty_walls_of_every_kind() -> None:
    assert len(WALLS) > 20
    assert {str(wall.kind) for wall in WALLS} == {"wall", "rim", "knee_wall", "rafter_slope", "floor", "overhang"}


@pytest.mark.parametrize("wall", WALLS, ids=lambda wall: wall.id)
def test_every_odd_wall_adds_up_and_every_reachable_bay_has_its_holes(wall: WallRecord) -> None:
    layout = lay_out(wall)
    whole = layout.cavity_ft2 + layout.framing_ft2 + layout.opening_ft2 + layout.no_fill_ft2
    assert whole == pytest.approx(layout.gross_ft2, abs=1e-9 * layout.gross_ft2)
    assert layout.bays
    assert all(bool(bay.holes) == bay.reachable for bay in layout.bays)


def test_the_page_holds_one_sound_drawing_for_each_wall_without_style_attributes(tmp_path: Path) -> None:
    said = StringIO()
    call_command("draw", str(ODD), out=tmp_path / "walls.html", stdout=said)
    assert f"{len(WALLS)} walls drawn" in said.getvalue()
    page = html.fromstring((tmp_path / "walls.html").read_text(encoding="utf-8"))
    drawings = page.findall(".//svg")
    assert len(drawings) == len(WALLS)
    ids = [element.get("id") for element in page.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    assert not page.xpath("//*[@style]")
    for drawing, wall in zip(drawings, WALLS, strict=True):
        etree.fromstring(etree.tostring(drawing))
        drawn = {element.get("data-bay") for element in drawing.iter() if element.get("data-bay")}
        assert drawn == {str(bay.number) for bay in lay_out(wall).bays}


def test_a_faulty_house_is_named_and_nothing_is_written(tmp_path: Path) -> None:
    bad = tmp_path / "bad.json"
    bad.write_text(json.dumps({"schema": "cavitybook/house/1"}), encoding="utf-8")
    said = StringIO()
    with pytest.raises(CommandError) as caught:
        call_command("draw", str(bad), out=tmp_path / "walls.html", stderr=said)
    assert caught.value.returncode == 2
    assert "$.walls" not in said.getvalue()
    assert "$.heating: missing" in said.getvalue()
    assert not (tmp_path / "walls.html").exists()
