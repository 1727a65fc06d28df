"""Fresh air of an option worked out again from its leakage, by hand.

S: printed number seen. M: from memory, unconfirmed. D: derived here by a second method.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from estimates.air import OptionFreshAir, option_fresh_air
from estimates.house import ExhaustRecord, HouseRecord, LocalRoom, house_from_json
from estimates.physics.uncertainty import Percentiles

HOUSES = Path(__file__).resolve().parents[2] / "fixtures" / "houses"


@pytest.fixture(scope="module")
def house() -> HouseRecord:
    cape = house_from_json((HOUSES / "mill-cape.json").read_text(encoding="utf-8"))
    return replace(
        cape,
        floor_area_ft2=1040.0,
        bedrooms=2,
        occupants=None,
        storeys=1,
        ceiling_height_ft=None,
        exhausts=(),
        climate=replace(cape.climate, weather_factor=0.6),
    )


def air(house: HouseRecord, before: float, low: float, middle: float) -> OptionFreshAir:
    found = option_fresh_air(house, before, Percentiles(low, middle, middle + (middle - low)))
    assert isinstance(found, OptionFreshAir)
    return found


def fan_by_hand(cfm50: float, *, height_ft: float = 8.2, people: int = 3, shortfall: float = 0.0) -> float:
    """S: .03 a ft2, 7.5 a person, .052 wsf (H/8.2)^.4 cfm50; M: of an exhaust fan credit goes with Qinf / Qtot."""
    total = 0.03 * 1040 + 7.5 * people
    leak = 0.0522 * 0.6 * (height_ft / 8.2) ** 0.4 * cfm50
    return float(max(0.0, total + shortfall - leak * min(1.0, leak / total)))


def test_the_fan_before_after_and_at_the_tight_end_by_hand(house: HouseRecord) -> None:
    found = air(house, 2350.0, 1200.0, 1400.0)
    assert found.before.fan_cfm == pytest.approx(fan_by_hand(2350.0), abs=0.2)
    assert found.after.fan_cfm == pytest.approx(fan_by_hand(1400.0), abs=0.2)
    assert found.tightest.fan_cfm == pytest.approx(fan_by_hand(1200.0), abs=0.2)
    assert (found.newly_needed, found.maybe_needed) == (True, False)
    assert found.people == 3
    assert found.height_ft == 8.2
    assert "By edition 62.2-2016" in found.sentence
    assert "1,200 CFM50, the tight end" in found.sentence


def test_a_fan_needed_only_at_the_tight_end_asks_for_a_test_after_the_work(house: HouseRecord) -> None:
    found = air(house, 2350.0, 1400.0, 1580.0)
    assert fan_by_hand(1580.0) < 15 <= fan_by_hand(1400.0)  # under 15 cfm edition 2016 asks for no fan (M)
    assert (found.newly_needed, found.maybe_needed) == (False, True)
    assert "measure after the work" in found.sentence


def test_an_airy_house_needs_none(house: HouseRecord) -> None:
    found = air(house, 4000.0, 3000.0, 3300.0)
    assert (found.newly_needed, found.maybe_needed) == (False, False)
    assert found.sentence == "By edition 62.2-2016 no whole-house fan is needed after the work."


def test_people_beyond_the_bedrooms_count(house: HouseRecord) -> None:
    six = air(replace(house, occupants=6), 2350.0, 1200.0, 1400.0)
    assert six.people == 6
    assert six.after.total_cfm == pytest.approx(0.03 * 1040 + 7.5 * 6)
    assert air(replace(house, occupants=1), 2350.0, 1200.0, 1400.0).people == 3


def test_height_is_as_recorded_or_that_of_the_storeys(house: HouseRecord) -> None:
    two = air(replace(house, storeys=2), 2350.0, 1200.0, 1400.0)
    assert two.after.fan_cfm == pytest.approx(fan_by_hand(1400.0, height_ft=16.4), abs=0.2)
    tall = air(replace(house, ceiling_height_ft=17.0), 2350.0, 1200.0, 1400.0)
    assert tall.after.fan_cfm == pytest.approx(fan_by_hand(1400.0, height_ft=17.0), abs=0.2)


def test_a_quarter_of_missing_exhaust_is_added(house: HouseRecord) -> None:
    # S: 100 cfm for a kitchen, 50 for a bath, a quarter of the deficit; M: 20 cfm for a window.
    rooms = (
        ExhaustRecord(room=LocalRoom.KITCHEN, measured_cfm=0.0, openable_window=True),
        ExhaustRecord(room=LocalRoom.BATH, measured_cfm=30.0),
    )
    found = air(replace(house, exhausts=rooms), 2350.0, 1200.0, 1400.0)
    assert found.after.shortfall_cfm == pytest.approx((80 + 20) / 4)
    assert found.after.fan_cfm == pytest.approx(fan_by_hand(1400.0, shortfall=25.0), abs=0.2)


def test_the_measured_exponent_carries_the_leakage_down_to_4_pascal(house: HouseRecord) -> None:
    # D: at exponent n leakage at 4 Pa goes with (4/50)^n: .55 lets in (50/4)^.1 times as much as .65.
    as_if = Percentiles(*(q * (50 / 4) ** 0.1 for q in (1200.0, 1400.0, 1600.0)))
    same = option_fresh_air(house, 2350.0 * (50 / 4) ** 0.1, as_if)
    steep = option_fresh_air(house, 2350.0, Percentiles(1200.0, 1400.0, 1600.0), 0.55)
    assert isinstance(same, OptionFreshAir)
    assert isinstance(steep, OptionFreshAir)
    assert steep.after.fan_cfm == pytest.approx(same.after.fan_cfm, rel=1e-9)


def test_what_is_missing_is_named(house: HouseRecord) -> None:
    after = Percentiles(1200.0, 1400.0, 1600.0)
    nowhere = replace(house, climate=replace(house.climate, weather_factor=None))
    assert option_fresh_air(nowhere, 2350.0, after) == "fresh air not worked out: enter climate.weather_factor"
    crowd = option_fresh_air(replace(house, occupants=40), 2350.0, after)
    assert isinstance(crowd, str)
    assert "40 people are beyond the standard" in crowd
