"""Clocks of states, held against the zone table that comes with the time zone database."""

from __future__ import annotations

import importlib.resources
import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from estimates.zones import SPLIT_STATES, STATE_ZONES, ZONES, zone_of

MOMENTS = [datetime(2026, month, 15, 18, tzinfo=UTC) for month in range(1, 13)]


def listed() -> dict[str, set[str]]:
    """State -> zones of the table whose comment names the state (S: zone.tab of the database)."""
    table = (importlib.resources.files("tzdata") / "zoneinfo" / "zone.tab").read_text(encoding="utf-8")
    found: dict[str, set[str]] = {}
    for line in table.splitlines():
        if line.startswith("US\t"):
            _, _, zone, words = line.split("\t")
            for state in re.findall(r"\b([A-Z]{2})\b", words.replace("MST", "")):
                found.setdefault(state, set()).add(zone)
    return found


def test_every_state_named_by_the_database_keeps_one_of_its_clocks_here() -> None:
    named = listed()
    assert {"AZ", "ID", "IN", "KY", "MI", "ND", "OR"} <= set(named)
    for state, zones in named.items():
        if state in ("ND", "KY", "OR"):  # the table names only parts of these that differ from the rest
            continue
        mostly = zone_of(state)
        clocks = [[moment.astimezone(ZoneInfo(zone)).utcoffset() for moment in MOMENTS] for zone in zones]
        assert [moment.astimezone(mostly).utcoffset() for moment in MOMENTS] in clocks, state


def test_states_of_which_the_database_names_a_part_ask_for_a_second_look() -> None:
    assert set(listed()) <= SPLIT_STATES


def test_every_state_has_a_clock_that_the_database_knows() -> None:
    assert len(STATE_ZONES) == 50 + 1 + 4  # states, the district, four territories
    for state, zone in STATE_ZONES.items():
        assert zone_of(state).key == zone
        assert zone in ZONES


@pytest.mark.parametrize(
    ("state", "hours"), [("NY", -4), ("IL", -5), ("CO", -6), ("AZ", -7), ("CA", -7), ("AK", -8), ("HI", -10)]
)
def test_summer_clocks_of_well_known_states(state: str, hours: int) -> None:
    # M: offsets in July.
    shown = datetime(2026, 7, 1, 18, tzinfo=UTC).astimezone(zone_of(state)).utcoffset()
    assert shown is not None
    assert shown.total_seconds() == hours * 3600


def test_a_chosen_clock_wins_and_an_unknown_one_is_refused() -> None:
    assert zone_of("TX", "America/Denver").key == "America/Denver"
    with pytest.raises(KeyError, match="choose one of"):
        zone_of("TX", "Europe/Berlin")
    with pytest.raises(KeyError):
        zone_of("ZZ")
