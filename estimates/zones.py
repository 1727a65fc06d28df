"""Which clock a house keeps: the zone of its state, and the zones to choose from."""

from __future__ import annotations

from zoneinfo import ZoneInfo

ZONES: dict[str, str] = {
    "America/New_York": "Eastern",
    "America/Chicago": "Central",
    "America/Denver": "Mountain",
    "America/Phoenix": "Mountain, no summer time",
    "America/Los_Angeles": "Pacific",
    "America/Anchorage": "Alaska",
    "Pacific/Honolulu": "Hawaii",
    "America/Puerto_Rico": "Atlantic",
    "Pacific/Guam": "Guam",
}
"""Name in the time zone database -> how people call it."""

_BY_ZONE = {
    "America/New_York": "CT DC DE FL GA IN KY MA MD ME MI NC NH NJ NY OH PA RI SC VA VT WV",
    "America/Chicago": "AL AR IA IL KS LA MN MO MS ND NE OK SD TN TX WI",
    "America/Denver": "CO ID MT NM UT WY",
    "America/Phoenix": "AZ",
    "America/Los_Angeles": "CA NV OR WA",
    "America/Anchorage": "AK",
    "Pacific/Honolulu": "HI",
    "America/Puerto_Rico": "PR VI",
    "Pacific/Guam": "GU MP",
}

STATE_ZONES: dict[str, str] = {state: zone for zone, states in _BY_ZONE.items() for state in states.split()}
"""State -> the zone of most of it. Source: marks M; the tests hold it against the time zone database."""

SPLIT_STATES = frozenset(["AK", "AZ", "FL", "ID", "IN", "KS", "KY", "MI", "ND", "NE", "NV", "OR", "SD", "TN", "TX"])
"""States in which a part keeps another clock (M), so that a page asks for a second look."""


def zone_of(state: str, chosen: str = "") -> ZoneInfo:
    """Return the time zone of a house.

    Parameters
    ----------
    state : two capital letters.
    chosen : one of ZONES where somebody knows better, "" for the zone of the state.

    Raises
    ------
    KeyError : no such state, or no such zone.

    Examples
    --------
    >>> zone_of("NY").key, zone_of("TX", "America/Denver").key
    ('America/New_York', 'America/Denver')
    """
    name = chosen or STATE_ZONES[state]
    if name not in ZONES:
        raise KeyError(f"there is no zone {name!r}; choose one of {', '.join(ZONES)}")
    return ZoneInfo(name)
