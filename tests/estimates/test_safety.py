"""Combustion rounds round the work, and fresh air worked out again after it."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.physics.combustion import CombustionReadings
from estimates.physics.validity import OutOfRange
from estimates.physics.ventilation import required_fan
from estimates.safety import CombustionRound, CombustionStanding, FreshAir, Round, combustion_standing, fresh_air

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
