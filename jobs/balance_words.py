"""Where to look first for a void or an escape, in words a crew can follow."""

from __future__ import annotations

from estimates.linework import feet_and_inches
from jobs.balance_records import BayFill

_WAYS = "the floor line below and above it, a duct or pipe chase beside it, the soffit, the sill in the basement"


def look_for_void(bay: BayFill) -> str:
    """What to do about a bay that may hold a void.

    Examples
    --------
    >>> from estimates.linework import BayState
    >>> bay = BayFill("n", 4, 2.7, 0.1, BayState.FILLED, top_in=92.0, holes_in=(30.0, 60.0, 86.0), return_at_in=60.0)
    >>> look_for_void(bay)
    'no material showed above 5′ 0″: probe or drill from 5′ 0″ to 7′ 8″, then look by infrared'
    """
    top_hole = max(bay.holes_in, default=None)
    if bay.return_at_in is not None and top_hole is not None and bay.return_at_in < top_hole:
        seen = feet_and_inches(bay.return_at_in)
        return f"no material showed above {seen}: probe or drill from {_band(bay.return_at_in, bay.top_in)}, {_THEN}"
    inside = [y for y in sorted(bay.hidden_in) if bay.bottom_in < y < bay.top_in]
    if inside:
        at = inside[0]
        high = inside[1] if len(inside) > 1 else bay.top_in
        return f"a brace or block may part it at {feet_and_inches(at)}: probe or drill from {_band(at, high)}, {_THEN}"
    if bay.top_in > bay.bottom_in:
        low = bay.bottom_in + 2.0 / 3.0 * (bay.top_in - bay.bottom_in)
        return f"foam fails at the top first: probe or drill from {_band(low, bay.top_in)}, {_THEN}"
    return f"foam fails at the top first: probe or drill there, {_THEN}"


_THEN = "then look by infrared"


def look_for_escape(bay: BayFill) -> str:
    """What to look at about a bay that may have let foam through."""
    if bay.ways_out:
        return f"an open end was booked here: look at the {', '.join(bay.ways_out)} first; then at {_WAYS}"
    return f"look at {_WAYS}; run water and open drains, turn on fans beside it"


def why_record(difference_ft3: float) -> str:
    """What a difference means that neither voids nor escapes explain."""
    if difference_ft3 < 0:
        return "far less than voids explain: look for a mix that was not booked, its weight and its density"
    return f"far more than an escape explains: check weight, density and waste of the mixes; then {_WAYS}"


def _band(low_in: float, high_in: float) -> str:
    return f"{feet_and_inches(max(low_in, 0.0))} to {feet_and_inches(max(high_in, 0.0))}"
