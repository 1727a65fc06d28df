"""When somebody may be called: sales calls only inside the hours of the place and with consent, others are warned."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, time
from enum import StrEnum
from zoneinfo import ZoneInfo

from estimates.rules import BadRule, RuleRow, needed_rule, rules_on, table_of

HOURS = "calls.solicitation_hours"
"""Topic of the rule table: a table with `from` and `to` (HH:MM), and `days` (0 Monday to 6 Sunday) where not all."""


class Purpose(StrEnum):
    """Why somebody is called."""

    SOLICITATION = "sales"
    APPOINTMENT = "appointment"
    CREW_ARRIVAL = "crew arrival"
    SAFETY = "safety"
    BILLING = "billing"


@dataclass(frozen=True, slots=True)
class CallAnswer:
    """Whether a call may be made. `reasons` forbid a sales call; for any other they are warnings."""

    allowed: bool
    reasons: tuple[str, ...]


def call_answer(
    rows: Iterable[RuleRow],
    places: Sequence[str],
    *,
    at: datetime,
    zone: ZoneInfo,
    purpose: Purpose,
    consent: bool,
    asked_not_to_call: bool = False,
) -> CallAnswer:
    """Whether somebody may be called now.

    Parameters
    ----------
    rows, places : the rule table and the jurisdictions of the person called; the hours of every row must be kept.
    at : the moment of the call, with its time zone.
    zone : time zone of the person called.
    purpose : why; only a sales call is refused.
    consent : whether consent to sales calls is recorded.
    asked_not_to_call : whether the person asked not to be called.

    Returns
    -------
    CallAnswer. The first minute of the hours is inside, the last moment (`to`) is outside.

    Raises
    ------
    BadRule : a time without a zone, hours that cannot be read.
    RuleMissing : no row on calling hours holds on the day.

    References
    ----------
    .. [1] 16 CFR 310.4(c): not before 8 in the morning nor after 9 in the evening, local time of the person called (S).

    Examples
    --------
    >>> from datetime import date
    >>> row = RuleRow("US", HOURS, date(2020, 1, 1), None, {"from": "08:00", "to": "21:00"}, "8 to 9.", "M",
    ...     date(2026, 1, 1))
    >>> call_answer([row], ("US",), at=datetime(2026, 3, 2, 14, tzinfo=ZoneInfo("UTC")), consent=True,
    ...     zone=ZoneInfo("America/New_York"), purpose=Purpose.SOLICITATION).allowed
    True
    """
    if at.tzinfo is None:
        raise BadRule(f"at is {at}, without a time zone; enter the moment with its zone")
    local = at.astimezone(zone)
    table = list(rows)
    needed_rule(table, places, HOURS, local.date())
    reasons = []
    for row in rules_on(table, places, HOURS, local.date()):
        first, last, days = _hours(row)
        if local.weekday() not in days or not first <= local.time() < last:
            reasons.append(
                f"{local:%a %H:%M} where they live is outside {first:%H:%M} to {last:%H:%M}: call then. {row.quote}"
            )
    if purpose is Purpose.SOLICITATION:
        reasons += [] if consent else ["no consent to sales calls is recorded: ask for it in writing first"]
        reasons += ["they asked not to be called"] if asked_not_to_call else []
        return CallAnswer(not reasons, tuple(reasons))
    return CallAnswer(True, tuple(reasons))


def _hours(row: RuleRow) -> tuple[time, time, frozenset[int]]:
    table = table_of(row, "from", "to", "days")
    try:
        first, last = time.fromisoformat(table["from"]), time.fromisoformat(table["to"])
        days = frozenset(table.get("days", range(7)))
    except (KeyError, TypeError, ValueError):
        raise BadRule(f"{row.jurisdiction} {HOURS} holds {row.value!r}; enter from and to as HH:MM") from None
    if not first < last or not days <= frozenset(range(7)):
        raise BadRule(f"{row.jurisdiction} {HOURS} holds {row.value!r}; enter from before to, and days from 0 to 6")
    return first, last, days
