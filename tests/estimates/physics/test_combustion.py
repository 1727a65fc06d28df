"""Behaviour of combustion findings and of the blower-door permission."""

from __future__ import annotations

import dataclasses
import itertools
from types import MappingProxyType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.physics.combustion import (
    DEFAULT_LIMITS,
    Action,
    ApplianceReading,
    CombustionReadings,
    Hazard,
    Limit,
    LimitTable,
    Vent,
    blower_door_allowed,
    combustion_findings,
)
from estimates.physics.validity import OutOfRange

GOOD = ApplianceReading("Water heater", Vent.NATURAL_ALONE, 20.0, -1.0, 50.0, True)


def round_of(*appliances: ApplianceReading, leak: bool | None = False, co: float | None = 2.0) -> CombustionReadings:
    return CombustionReadings(leak, co, appliances)


def codes(readings: CombustionReadings) -> list[str]:
    return [finding.code for finding in combustion_findings(readings).findings]


def test_a_clean_round_finds_nothing_and_names_its_limits() -> None:
    result = combustion_findings(round_of(GOOD))
    assert (result.findings, result.action, result.may_work) == ((), Action.NOTE, True)
    assert result.version == DEFAULT_LIMITS.version


def test_a_gas_leak_comes_before_everything_else() -> None:
    result = combustion_findings(round_of(dataclasses.replace(GOOD, flue_co_ppm=900.0), leak=True, co=40.0))
    assert result.findings[0].code == "gas_leak"
    assert result.action is Action.EVACUATE
    assert "gas utility" in result.findings[0].text


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"spillage_s": 300.0}, "spillage"),
        ({"spillage_s": None}, "spillage_missing"),
        ({"suction_pa": -2.5}, "suction"),
        ({"suction_pa": None}, "suction_missing"),
        ({"flue_co_ppm": 200.0}, "flue_co"),
        ({"flue_co_ppm": None}, "flue_co_missing"),
        ({"restored": False}, "not_restored"),
    ],
)
def test_each_failing_or_missing_reading_stops_the_work_and_names_the_appliance(
    change: dict[str, object], code: str
) -> None:
    result = combustion_findings(round_of(dataclasses.replace(GOOD, **change)))  # type: ignore[arg-type]
    assert [finding.code for finding in result.findings] == [code]
    assert result.may_work is False
    assert result.findings[0].text.startswith("Water heater: ")


def test_tests_not_done_stop_the_work() -> None:
    assert codes(round_of(leak=None, co=None)) == ["gas_survey_missing", "ambient_co_missing"]


def test_sealed_appliances_need_no_spillage_test_and_unvented_ones_no_suction() -> None:
    sealed = ApplianceReading("Boiler", Vent.SEALED, None, -20.0, 40.0, True)
    oven = ApplianceReading("Oven", Vent.UNVENTED, None, None, 40.0, True)
    assert codes(round_of(sealed, oven)) == []


@given(st.floats(0, 200), st.floats(0, 200))
def test_more_carbon_monoxide_is_never_milder(a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert combustion_findings(round_of(co=low)).action <= combustion_findings(round_of(co=high)).action


def test_a_firms_own_limits_rule() -> None:
    rows = {**DEFAULT_LIMITS.rows, "ambient_co_stop": Limit(25, "ppm", "firm's rule", "CP")}
    own = LimitTable("ours", MappingProxyType(rows))
    result = combustion_findings(round_of(co=26.0), own)
    assert (result.action, result.version) == (Action.STOP, "ours")
    assert "limit 25" in result.findings[0].text


def test_a_table_with_a_row_missing_is_refused() -> None:
    rows = {code: row for code, row in DEFAULT_LIMITS.rows.items() if code != "spillage_s"}
    with pytest.raises(OutOfRange, match="spillage_s"):
        combustion_findings(round_of(GOOD), LimitTable("short", MappingProxyType(rows)))


@pytest.mark.parametrize(
    ("readings", "named"),
    [
        (round_of(co=-1.0), "ambient_co_ppm"),
        (round_of(co=float("nan")), "ambient_co_ppm"),
        (round_of(dataclasses.replace(GOOD, spillage_s=-1.0)), r"appliances\[0\].spillage_s"),
        (round_of(dataclasses.replace(GOOD, suction_pa=float("inf"))), r"appliances\[0\].suction_pa"),
        (round_of(dataclasses.replace(GOOD, flue_co_ppm=-4.0)), r"appliances\[0\].flue_co_ppm"),
    ],
)
def test_impossible_readings_are_refused_by_name(readings: CombustionReadings, named: str) -> None:
    with pytest.raises(OutOfRange, match=named):
        combustion_findings(readings)


def test_the_fan_runs_only_when_nothing_at_all_speaks_against_it() -> None:
    for vermiculite, asbestos in itertools.product(Hazard, repeat=2):
        for fire, ash, disabled in itertools.product((False, True), repeat=3):
            permission = blower_door_allowed(
                vermiculite=vermiculite, asbestos=asbestos, fire=fire, hot_ash=ash, appliances_disabled=disabled
            )
            doubts = [h in (Hazard.PRESENT, Hazard.UNKNOWN) for h in (vermiculite, asbestos)]
            against = sum([*doubts, fire, ash, not disabled])
            assert len(permission.reasons) == against
            assert permission.allowed == (against == 0)
