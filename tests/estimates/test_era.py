"""What was usual in its time: every year has an era, and a table that cannot be right is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from estimates.era import TABLE, era_of, load_eras
from estimates.house import Framing
from estimates.records import BadRecord


def test_every_year_has_an_era_that_began_before_it() -> None:
    for year in range(1600, 2101):
        assert era_of(year).built_from <= year


def test_every_era_says_where_its_figures_come_from() -> None:
    assert all("M:" in era.mark and "CP" in era.mark for era in load_eras().eras)


def test_balloon_framing_gave_way_to_platforms_once() -> None:
    kinds = [era.framing for era in load_eras().eras]
    assert kinds == sorted(kinds, key=[Framing.BALLOON, Framing.PLATFORM].index)


def test_studs_never_grew_thicker_again() -> None:
    depths = [era.depth_in for era in load_eras().eras]
    assert depths == sorted(depths, reverse=True)


@pytest.mark.parametrize(
    ("was", "becomes", "sentence"),
    [
        ("built_from = 1900", "built_from = 1970", "is not after"),
        ("depth_in = 3.75", "depth_in = 0", "out of range"),
        ('framing = "balloon"', 'framing = "log"', "is not one of the choices"),
        ("[[eras]]", "[[eras]", "not valid TOML"),
    ],
)
def test_a_table_that_cannot_be_right_is_refused(was: str, becomes: str, sentence: str, tmp_path: Path) -> None:
    path = tmp_path / "eras.toml"
    path.write_text(TABLE.read_text(encoding="utf-8").replace(was, becomes), encoding="utf-8")
    with pytest.raises(BadRecord, match=sentence):
        load_eras(path)
