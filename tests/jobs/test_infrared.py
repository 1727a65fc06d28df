"""What an infrared look should show: temperatures against films by hand, the rules of the day, and the picture."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from estimates.house import WallRecord
from estimates.linework import BayState
from estimates.physics.conduction import FaceLayer, StripKind
from estimates.physics.framing import WallLayout, lay_out
from estimates.physics.validity import OutOfRange
from jobs.infrared import Air, InfraredDay, Makeup, expected, infrared_day, kind_of, section
from jobs.infrared_picture import COLOURS, VoidPart, picture

WINTER = Air(70.0, 20.0)
LAYERS = Makeup((FaceLayer(0.75, 0.9), FaceLayer(0.5, 0.8)), (FaceLayer(0.5, 0.45),), 3.5, filled_r=13.7, batt_r=8.0)
KINDS = [StripKind.FILLED, StripKind.BATT, StripKind.VOID, StripKind.EMPTY]
WALL = WallRecord(
    id="n",
    name="North",
    length_ft=12.0,
    height_ft=8.0,
)


@pytest.fixture(scope="module")
def layout() -> WallLayout:
    return lay_out(WALL)


@pytest.mark.parametrize("kind", KINDS)
def test_the_middle_of_a_wide_bay_follows_the_film_formula(kind: StripKind) -> None:
    # D: one-dimensional, t_in - dt x .68 / R with R = .17 + 1.7 + r + .45 + .68, far from the studs.
    r = {StripKind.FILLED: 13.7, StripKind.BATT: 8.0}.get(kind, 0.91)
    seen = section(kind, 96.0, LAYERS, WINTER)
    middle = float(np.interp(7.25 + 1.5 + 48.0, seen.x_in, seen.surface_f))
    assert middle == pytest.approx(70.0 - 50.0 * 0.68 / (3.0 + r), abs=0.01)


def test_the_heat_through_the_wall_is_what_the_inside_film_passes() -> None:
    # D: conservation; the film's flow summed over the surface is U x dt, which the solver takes from its boundary.
    seen = section(StripKind.VOID, 14.5, LAYERS, WINTER)
    through_film = float(np.trapezoid((70.0 - seen.surface_f) / 0.68, seen.x_in)) / float(seen.x_in[-1])
    assert through_film == pytest.approx(seen.u * 50.0, rel=1e-6)


def test_surfaces_lie_between_the_air_temperatures_and_a_void_is_colder_in_winter_warmer_in_summer() -> None:
    means = {}
    for air in (WINTER, Air(72.0, 105.0)):
        for kind in KINDS:
            seen = section(kind, 14.5, LAYERS, air)
            low, high = sorted((air.t_in_f, air.t_out_f))
            assert low < seen.surface_f.min() <= seen.surface_f.max() < high
            means[air.t_out_f, kind] = seen.strips[2].mean_f
    winter = [means[20.0, kind] for kind in KINDS]
    assert winter[:3] == sorted(winter[:3], reverse=True)
    assert winter[2] == pytest.approx(winter[3])
    summer = [means[105.0, kind] for kind in KINDS]
    assert summer[:3] == sorted(summer[:3])


def test_what_a_void_shows_grows_with_the_temperature_difference(layout: WallLayout) -> None:
    one, two = (expected(layout, {}, LAYERS, Air(70.0, t)) for t in (50.0, 30.0))
    assert two.difference_f == pytest.approx(2.0 * one.difference_f)  # D: conduction is linear
    assert one.shows
    assert two.shows
    assert not expected(layout, {}, LAYERS, Air(70.0, 52.5)).shows
    assert "not enough today" in expected(layout, {}, LAYERS, Air(70.0, 60.0)).words
    thick = replace(LAYERS, inside=(FaceLayer(3.0, 30.0),))
    assert "too little for a camera" in expected(layout, {}, thick, Air(70.0, 50.0)).words
    assert "warmer than sound foam" in expected(layout, {}, LAYERS, Air(70.0, 100.0)).words


def test_every_bay_gets_the_temperature_of_what_fills_it(layout: WallLayout) -> None:
    states = {bay.number: BayState.FILLED for bay in layout.bays} | {2: BayState.DOUBTFUL, 4: BayState.REFUSED}
    seen = expected(layout, states, LAYERS, WINTER)
    by_number = {bay.number: bay for bay in seen.bays}
    assert (by_number[2].kind, by_number[4].kind) == (StripKind.VOID, StripKind.BATT)
    assert by_number[2].mean_f < by_number[4].mean_f < by_number[5].mean_f
    assert seen.void_f < seen.stud_f < seen.filled_f
    bare = expected(layout, states, replace(LAYERS, batt_r=None), WINTER)
    assert bare.batt_f is None
    assert bare.bays[3].kind is StripKind.EMPTY


def test_a_wall_record_gives_its_layers_from_the_framing_outward_and_inward() -> None:
    makeup = Makeup.of(WALL, filled_r=13.7)
    assert [layer.thickness_in for layer in makeup.outside] == [0.75, 0.5]
    assert len(makeup.inside) == 1
    assert makeup.depth_in == 3.5


# --- the day ----------------------------------------------------------------------------------------------------------

GOOD = InfraredDay(date(2026, 12, 10), date(2026, 11, 1), 68.0, 50.0, 4.0, 14.9)


def test_a_day_at_its_limits_is_valid_and_still_only_indicative() -> None:
    answer = infrared_day(GOOD, drying_days=39)
    assert answer.valid
    assert answer.due is None
    assert "indicative" in answer.words


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"t_out_f": 50.1}, "at least 18 degF"),
        ({"hours_without_sun": 3.9}, "sun on the wall 3.9 h ago"),
        ({"wind_mph": 15.0}, "wind of 15 mph"),
        ({"on": date(2026, 12, 9)}, "dries until 2026-12-10"),
    ],
)
def test_each_rule_alone_makes_a_look_count_for_nothing(change: dict[str, object], said: str) -> None:
    answer = infrared_day(replace(GOOD, **change), drying_days=39)  # type: ignore[arg-type]
    assert (answer.valid, len(answer.reasons)) == (False, 1)
    assert said in answer.words
    assert answer.words.startswith("not judged - return visit due by ")


def test_a_hot_day_is_as_good_as_a_cold_one() -> None:
    assert infrared_day(replace(GOOD, t_in_f=72.0, t_out_f=95.0), drying_days=0).valid


def test_the_return_visit_waits_until_the_wall_is_dry() -> None:
    early = infrared_day(replace(GOOD, on=date(2026, 11, 5)), drying_days=28, return_days=10)
    assert early.due == date(2026, 12, 9)


# --- the picture ------------------------------------------------------------------------------------------------------


def test_the_picture_shades_bays_names_them_and_says_so_in_words_and_numbers(layout: WallLayout) -> None:
    states = {bay.number: BayState.FILLED for bay in layout.bays} | {3: BayState.DOUBTFUL}
    seen = expected(layout, states, LAYERS, WINTER)
    svg = picture(layout, seen, title='North <& "wall"', parts=[VoidPart(5, 60.0, 80.0)])
    root = ET.fromstring(svg)
    assert "style=" not in svg
    classes = [element.get("class", "") for element in root.iter()]
    assert sum(" void" in each for each in classes) == 2
    assert any("step-1" in each for each in classes)
    assert any(f"step-{len(COLOURS)}" in each for each in classes)
    key = [element.text for element in root.iter() if element.get("class") == "key"]
    assert key[0] == "Seen from the room: left and right exchanged"
    assert any(text.endswith("degF: what a void would show") for text in key if text)
    assert any(text.endswith("degF: sound foam") for text in key if text)
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids))


def test_from_the_room_left_and_right_are_exchanged(layout: WallLayout) -> None:
    seen = expected(layout, {}, LAYERS, WINTER)

    def middle_of_first_bay(from_inside: bool) -> float:
        root = ET.fromstring(picture(layout, seen, title="n", from_inside=from_inside))
        for element in root.iter():
            says = element[0].text if len(element) else ""
            if element.tag.endswith("polygon") and says and says.startswith("Bay 1,"):
                xs = [float(point.split(",")[0]) for point in (element.get("points") or "").split()]
                return (min(xs) + max(xs)) / 2
        raise AssertionError("bay 1 is not drawn")

    inside, outside = middle_of_first_bay(True), middle_of_first_bay(False)
    assert outside < 20.0
    assert inside == pytest.approx(layout.right_in - layout.left_in - outside, abs=0.02)


def test_bad_arguments_are_named(layout: WallLayout) -> None:
    seen = expected(layout, {}, LAYERS, WINTER)
    with pytest.raises(OutOfRange, match="states is 'bay 99'"):
        expected(layout, {99: BayState.FILLED}, LAYERS, WINTER)
    with pytest.raises(OutOfRange, match="without a difference"):
        expected(layout, {}, LAYERS, Air(70.0, 70.0))
    with pytest.raises(OutOfRange, match="resistance of batt"):
        section(StripKind.BATT, 14.5, replace(LAYERS, batt_r=None), WINTER)
    with pytest.raises(OutOfRange, match=r"parts\[0\].bay is 99"):
        picture(layout, seen, title="n", parts=[VoidPart(99, 0.0, 9.0)])
    with pytest.raises(OutOfRange, match=r"parts\[0\].low_in"):
        picture(layout, seen, title="n", parts=[VoidPart(1, 99.0, 120.0)])
    with pytest.raises(OutOfRange, match="width is 0"):
        picture(layout, seen, title="n", width=0.0)
    with pytest.raises(OutOfRange, match="wind_mph"):
        infrared_day(replace(GOOD, wind_mph=-1.0), drying_days=28)
    with pytest.raises(OutOfRange, match="on is '2026-10-01'"):
        infrared_day(replace(GOOD, on=date(2026, 10, 1)), drying_days=28)
    assert kind_of(BayState.PROVEN) is StripKind.FILLED
