"""A lead in words: what its fields are called, and how their values are said."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from estimates.models.lead import Lead, LeadSource, LeadStage
from estimates.models.user import User
from estimates.templatetags.figures import day
from estimates.zones import ZONES

LABELS: dict[str, str] = {
    "person": "name",
    "phone": "telephone number",
    "email": "e-mail address",
    "street": "street",
    "town": "town",
    "state": "state",
    "county": "county",
    "postal_code": "postal code",
    "zone": "clock",
    "visit_at": "visit",
    "source": "source",
    "seller": "seller",
    "consent": "consent to sales calls",
    "next_step": "next step",
    "next_step_on": "day of the next step",
    "house": "house",
    "complaints": "complaints",
    "lost_reason": "reason",
    "stage": "stage",
}
"""Field -> what people call it, in the order of the form."""

NOTHING = "nothing"


def clock_time(moment: datetime, zone: ZoneInfo) -> str:
    """Return a moment by a clock elsewhere.

    Examples
    --------
    >>> clock_time(datetime(2026, 3, 2, 14, 5, tzinfo=ZoneInfo("UTC")), ZoneInfo("America/Chicago"))
    'Mon 2 Mar 2026, 08:05'
    """
    local = moment.astimezone(zone)
    return f"{day(local.date())}, {local:%H:%M}"


def said_value(name: str, value: Any, *, zone: ZoneInfo | None = None) -> str:
    """Return the value of a field as people say it.

    Parameters
    ----------
    name : field of a lead.
    value : as the lead, the form or the record of acts (JSON) holds it.
    zone : time zone of the house, for moments.
    """
    if value in (None, "", [], ()):
        return "that of the state" if name == "zone" else NOTHING
    if name == "consent":
        return "given" if value else "not given"
    if name == "zone":
        return ZONES.get(value, str(value))
    if name == "stage":
        return LeadStage(value).label.lower()
    if name == "complaints":
        return "; ".join(f"{part['room']}: {part['words']}" for part in value)
    if isinstance(value, User):
        return value.full_name
    if isinstance(value, LeadSource):
        return value.name
    if name == "visit_at":
        moment = datetime.fromisoformat(value) if isinstance(value, str) else value
        return clock_time(moment, zone) if zone is not None else day(moment)
    if name == "next_step_on":
        return day(date.fromisoformat(value) if isinstance(value, str) else value)
    return str(value)


def said_changes(before: Mapping[str, Any], after: Mapping[str, Any], *, zone: ZoneInfo | None = None) -> list[str]:
    """Return the changed fields as half sentences.

    Parameters
    ----------
    before, after : changed fields as the record of acts holds them; people and sources are ids there and not said.
    zone : time zone of the house.

    Examples
    --------
    >>> said_changes({"town": "", "seller": 3}, {"town": "Fernhollow", "seller": 4})
    ['town from nothing to Fernhollow', 'seller']
    """
    words = []
    for name in (name for name in LABELS if name in after):
        if name in ("seller", "source", "house", "complaints"):
            words.append(LABELS[name])
        else:
            old, new = (said_value(name, part.get(name), zone=zone) for part in (before, after))
            words.append(f"{LABELS[name]} from {old} to {new}")
    return words


def differences(lead: Lead, typed: Mapping[str, Any], complaints: list[dict[str, Any]]) -> list[tuple[str, str, str]]:
    """Return where a stored lead and what somebody typed differ: label, stored, typed.

    Parameters
    ----------
    lead : as it is stored now.
    typed : field -> value, as `estimates.leads.LeadFields`; its complaints in JSON.
    complaints : those that are stored.
    """
    rows = []
    for name in (name for name in LABELS if name in typed):
        stored: Any = lead.may_be_called if name == "consent" else None
        stored = complaints if name == "complaints" else stored if name == "consent" else getattr(lead, name)
        old, new = (said_value(name, value, zone=lead.clock) for value in (stored, typed[name]))
        if old != new:
            rows.append((LABELS[name][:1].upper() + LABELS[name][1:], old, new))
    return rows
