"""Combustion limits against the tiers and limits of the trade.

S: printed number seen. M: from memory, unconfirmed.
"""

from __future__ import annotations

import pytest

from estimates.physics.combustion import (
    DEFAULT_LIMITS,
    Action,
    ApplianceReading,
    CombustionReadings,
    Vent,
    combustion_findings,
)


@pytest.mark.parametrize(
    ("ppm", "action"),
    [
        *((8.9, Action.NOTE), (9.0, Action.REPAIR), (34.9, Action.REPAIR)),  # M: 9 ppm
        *((35.0, Action.STOP), (69.9, Action.STOP)),  # S: 35 ppm
        (70.0, Action.EVACUATE),  # M: 70 ppm
    ],
)
def test_carbon_monoxide_in_the_rooms_acts_at_9_35_and_70_ppm(ppm: float, action: Action) -> None:
    assert combustion_findings(CombustionReadings(False, ppm, ())).action is action


@pytest.mark.parametrize(
    ("vent", "limit"),
    [
        (Vent.NATURAL_ALONE, -2.0),
        (Vent.NATURAL_COMMON, -3.0),
        (Vent.NATURAL_HEATING, -5.0),
        (Vent.FAN_ASSISTED, -15.0),
        (Vent.SEALED, -50.0),
    ],
)
def test_suction_stops_just_beyond_the_limit_of_the_vent(vent: Vent, limit: float) -> None:
    # M: depressurisation limits by appliance.
    def action(pa: float) -> Action:
        reading = ApplianceReading("heater", vent, 0.0, pa, 0.0, True)
        return combustion_findings(CombustionReadings(False, 0.0, (reading,))).action

    assert action(limit) is Action.NOTE
    assert action(limit - 0.1) is Action.STOP


def test_every_limit_says_where_it_comes_from() -> None:
    # CP: nothing is compared here; each row names the source of its own limit.
    assert all(row.source and row.mark in {"S", "M", "CP"} and row.unit for row in DEFAULT_LIMITS.rows.values())
    assert [code for code, row in DEFAULT_LIMITS.rows.items() if row.mark == "S"] == ["ambient_co_stop"]
