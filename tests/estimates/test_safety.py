"""Combustion rounds round the work, and fresh air worked out again after it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.house import (
    ApplianceRecord,
    CombustionRecord,
    GateAnswerRecord,
    HouseRecord,
    Vent,
    Verdict,
    house_from_json,
)
from estimates.physics.combustion import CombustionReadings
from estimates.physics.validity import OutOfRange
from estimates.physics.ventilation import required_fan
from estimates.safety import (
    NO_TEST_IN,
    CombustionRound,
    CombustionStanding,
    FreshAir,
    Round,
    combustion_standing,
    fan_leave,
    fresh_air,
    house_combustion,
)

MON, TUE, WED = date(2026, 3, 2), date(2026, 3, 3), date(2026, 3, 4)


def after_round(kind: Round, on: date, ppm: float = 0.0) -> CombustionRound:
    return CombustionRound(kind, on, CombustionReadings(False, ppm, ()))


def standing(*rounds: CombustionRound, today: date = WED, finished: bool = False) -> CombustionStanding:
    return combustion_standing(rounds, shell_days=[MON, TUE], today=today, finished=finished)


IN, END, OUT = Round.TEST_IN, Round.DAY_END, Round.TEST_OUT
FULL = (after_round(IN, MON), after_round(END, MON), after_round(END, TUE))


def test_work_goes_on_with_test_in_and_every_earlier_shell_day_tested() -> None:
    assert standing(*FULL).may_work
    assert standing(after_round(IN, MON), today=MON).may_work


def test_without_a_test_in_nothing_begins() -> None:
    found = standing(today=MON)
    assert not found.may_work
    assert "no combustion test before the work" in found.texts[0]


def test_a_shell_day_without_its_evening_test_is_named() -> None:
    found = standing(after_round(IN, MON), after_round(END, TUE))
    assert not found.may_work
    assert found.missing == (
        "no combustion test at the end of 2026-03-02, when the shell was altered: test before going on",
    )


def test_a_finished_job_needs_a_test_out_after_the_last_shell_day() -> None:
    assert not standing(*FULL, finished=True).may_work
    assert standing(*FULL, after_round(OUT, TUE), finished=True).may_work
    assert "before leaving" in standing(*FULL, after_round(OUT, MON), finished=True).missing[0]


@pytest.mark.parametrize(
    ("ppm", "may_work", "words"),
    [(8.9, True, ""), (9.0, True, "Tell the occupants"), (35.0, False, "Stop."), (70.0, False, "Everyone out now")],
)
def test_the_tiers_of_carbon_monoxide_in_the_rooms(ppm: float, may_work: bool, words: str) -> None:
    # S: 35 ppm stops. M: 9 and 70 ppm. The rows stand in physics.combustion with their marks.
    found = standing(*FULL[:2], after_round(END, TUE, ppm))
    assert found.may_work is may_work
    assert words in " ".join(found.texts)


def test_the_latest_round_decides_and_later_days_do_not_count() -> None:
    bad, good = after_round(END, TUE, 50.0), after_round(END, TUE, 0.0)
    assert standing(*FULL[:2], bad, good).may_work
    assert not standing(*FULL[:2], good, bad).may_work
    assert standing(after_round(IN, MON), after_round(END, MON), after_round(END, TUE, 50.0), today=MON).may_work


def air(after: float, *, before: float = 4_000.0) -> FreshAir:
    return fresh_air(
        cfm50_before=before,
        cfm50_after=after,
        floor_ft2=1_456.0,
        bedrooms=3,
        height_ft=17.0,
        weather_factor=0.6,
    )


def test_a_house_made_tighter_may_now_need_a_fan() -> None:
    found = air(1_200.0)
    assert (found.before.fan_needed, found.after.fan_needed, found.newly_needed) == (False, True, True)
    assert "edition 62.2-2016" in found.sentence
    assert "now needed" in found.sentence
    assert not air(3_900.0).newly_needed
    assert "no whole-house fan is needed" in air(3_900.0).sentence
    assert "cfm before the work" in air(1_000.0, before=1_200.0).sentence


def test_the_credit_is_that_of_the_standards_short_form() -> None:
    # D: with the 4 Pa area at exponent 0.65 the standard's Q is 0.052 wsf (H/8.2)^0.4 cfm50 (printed to two digits).
    leak = 0.052 * 0.6 * (17 / 8.2) ** 0.4 * 1_200
    assert air(1_200.0).after.fan_cfm == pytest.approx(required_fan(1_456.0, 3, leak).fan_cfm, abs=0.5)


@given(st.floats(100, 6_000), st.floats(100, 6_000))
def test_tighter_never_needs_a_smaller_fan(a: float, b: float) -> None:
    low, high = sorted((a, b))
    found = air(low, before=high)
    assert found.after.fan_cfm >= found.before.fan_cfm - 1e-9


def test_a_negative_leakage_is_refused_by_name() -> None:
    with pytest.raises(OutOfRange, match="cfm50"):
        air(-1.0)


# --- rounds recorded with a house -------------------------------------------------------------------------------------

HOUSES = Path(__file__).resolve().parents[2] / "fixtures" / "houses"


@pytest.fixture(scope="module")
def house() -> HouseRecord:
    """A house with a blower-door test and nothing recorded on combustion or hazards."""
    cape = house_from_json((HOUSES / "mill-cape.json").read_text(encoding="utf-8"))
    assert cape.blower_door is not None
    return replace(cape, combustion=(), gate_answers=(), gate_releases=())


HEATER = ApplianceRecord(
    name="Water heater", vent=Vent.NATURAL_ALONE, spillage_s=30.0, suction_pa=-1.0, flue_co_ppm=20.0, restored=True
)


def round_of(kind: Round, on: date, *appliances: ApplianceRecord, ppm: float | None = 0.0) -> CombustionRecord:
    return CombustionRecord(round=kind, on=on, gas_leak_found=False, ambient_co_ppm=ppm, appliances=appliances)


def test_a_house_without_a_test_in_may_not_be_worked_on(house: HouseRecord) -> None:
    found = house_combustion(house)
    assert found.missing == (NO_TEST_IN,)
    assert not found.may_work
    assert found.rounds == ()


def test_a_clean_test_in_lets_the_work_begin(house: HouseRecord) -> None:
    found = house_combustion(replace(house, combustion=(round_of(IN, MON, HEATER),)))
    assert found.may_work
    assert found.texts == ()
    assert [(r.round, r.on, r.action) for r in found.rounds] == [(IN, "2026-03-02", "note")]


def test_a_stop_comes_before_a_repair_and_before_what_is_missing(house: HouseRecord) -> None:
    # S: 35 ppm stops. M: 9 ppm asks for a repair; -2 Pa is the most a water heater alone bears.
    sucked = replace(HEATER, suction_pa=-3.0)
    found = house_combustion(replace(house, combustion=(round_of(END, MON, sucked, ppm=12.0),)))
    assert [finding.action for finding in found.standing] == ["stop", "repair"]
    assert found.texts[0].startswith("Water heater: zone at -3 Pa, limit -2.")
    assert found.texts[0].endswith("(end of day, 2026-03-02)")
    assert found.texts[-2:] == (
        NO_TEST_IN,
        "Water heater (natural draft) has no test before the work: test it before anything alters the house",
    )


@pytest.mark.parametrize(
    ("vent", "named"),
    [
        (Vent.NATURAL_COMMON, True),
        (Vent.NATURAL_HEATING, True),
        (Vent.UNVENTED, True),
        (Vent.SEALED, False),
        (Vent.FAN_ASSISTED, False),
    ],
)
def test_an_appliance_on_the_air_of_the_rooms_needs_its_own_test_in(
    house: HouseRecord, vent: Vent, named: bool
) -> None:
    late = replace(HEATER, name="Range", vent=vent)
    found = house_combustion(replace(house, combustion=(round_of(IN, MON, HEATER), round_of(END, TUE, HEATER, late))))
    assert any("Range" in words for words in found.missing) is named


def test_a_stop_stands_until_the_same_appliance_is_tested_again(house: HouseRecord) -> None:
    spills = replace(HEATER, spillage_s=400.0)  # M: 300 s
    first, without = round_of(IN, MON, spills), round_of(END, MON)
    held = house_combustion(replace(house, combustion=(without, first)))
    assert not held.may_work
    assert [(f.subject, f.round) for f in held.standing] == [("Water heater", IN)]
    mended = round_of(END, TUE, replace(HEATER, name="water  HEATER"))
    assert house_combustion(replace(house, combustion=(first, without, mended))).may_work


def test_a_gas_leak_stands_until_a_survey_finds_none(house: HouseRecord) -> None:
    leak = CombustionRecord(round=IN, on=MON, gas_leak_found=True, ambient_co_ppm=0.0)
    silent = CombustionRecord(round=END, on=MON, ambient_co_ppm=0.0)
    found = house_combustion(replace(house, combustion=(leak, silent)))
    assert found.standing[0].action == "evacuate"
    assert house_combustion(replace(house, combustion=(leak, round_of(END, MON)))).may_work


# --- the fan ----------------------------------------------------------------------------------------------------------


def answered(*answers: tuple[str, Verdict]) -> tuple[GateAnswerRecord, ...]:
    return tuple(
        GateAnswerRecord(hazard=hazard, verdict=verdict, note="looked", answered_on=MON) for hazard, verdict in answers
    )


CLEAR = answered(("vermiculite", Verdict.CLEAR), ("asbestos", Verdict.CLEAR))


def test_a_recorded_test_where_the_fan_may_not_run_is_warned_of_with_the_reason(house: HouseRecord) -> None:
    found = fan_leave(replace(house, gate_answers=(*CLEAR, *answered(("vermiculite", Verdict.STOP)))))
    assert not found.allowed
    assert "a blower-door test is recorded, but the fan may not run" in found.warning
    assert "vermiculite is present" in found.warning


def test_a_house_looked_through_lets_the_fan_run_and_asks_for_the_rest_on_the_day(house: HouseRecord) -> None:
    found = fan_leave(replace(house, gate_answers=CLEAR))
    assert (found.allowed, found.warning) == (True, "")
    assert len(found.on_the_day) == 3


def test_a_house_nobody_looked_through_does_not(house: HouseRecord) -> None:
    found = fan_leave(house)
    assert not found.allowed
    assert "vermiculite is not yet known" in found.warning
    untested = fan_leave(replace(house, blower_door=None))
    assert (untested.allowed, untested.warning) == (False, "")
