"""The record of who did what, in sentences; the rows keep dotted actions, so that the words can change."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

from estimates.lead_words import said_changes, said_value
from estimates.models.activity import ActivityEntry
from estimates.models.call import CallOutcome, CallPurpose
from estimates.models.lead import LostReason
from estimates.templatetags.figures import listed, spoken

Words = Callable[[dict[str, Any], dict[str, Any], ZoneInfo | None], str]


def _moved(before: dict[str, Any], after: dict[str, Any], zone: ZoneInfo | None) -> str:
    words = f"moved the lead from {said_value('stage', before['stage'])} to {said_value('stage', after['stage'])}"
    if after.get("lost_reason"):
        words += f" ({LostReason(after['lost_reason']).label.lower()})"
    if after.get("visit_at"):
        words += f", the visit {said_value('visit_at', after['visit_at'], zone=zone)}"
    return words


def _called(before: dict[str, Any], after: dict[str, Any], zone: ZoneInfo | None) -> str:
    purpose, outcome = CallPurpose(after["purpose"]).label.lower(), CallOutcome(after["outcome"]).label.lower()
    words = f"logged a call ({purpose}): {outcome}"
    return f"{words}, with a warning" if after.get("warnings") else words


def _changed(before: dict[str, Any], after: dict[str, Any], zone: ZoneInfo | None) -> str:
    return f"changed {listed(said_changes(before, after, zone=zone))}"


_DISCLOSED = {
    "fact_sheet": "read the fact sheets",
    "electronic_records": "agreed to electronic records",
    "acknowledgements": "ticked the clauses that are signed apart",
    "cancellation_notice": "was handed both copies of the notice of cancellation",
}
"""Kind of disclosure -> its words."""

SENTENCES: dict[str, Words] = {
    "lead.take": lambda before, after, zone: "took the lead",
    "lead.change": _changed,
    "lead.move": _moved,
    "lead.call": _called,
    "lead.house": lambda before, after, zone: (
        f"{'made' if after.get('made') else 'linked the lead to'} the house {after.get('house', '')}"
    ),
    "house.put": lambda before, after, zone: "changed the address of the house" if before else "entered the house",
    "revision.create": lambda before, after, zone: f"froze revision {after.get('number', '')} of the estimate",
    "proposal.draft": lambda before, after, zone: f"drafted proposal {after.get('number', '')}",
    "proposal.issue": lambda before, after, zone: "issued the proposal",
    "proposal.accept": lambda before, after, zone: "accepted the proposal",
    "proposal.decline": lambda before, after, zone: "declined the proposal",
    "proposal.withdraw": lambda before, after, zone: "took the proposal back",
    "proposal.cancel": lambda before, after, zone: "cancelled the proposal",
    "proposal.release_floor": lambda before, after, zone: "released the price below the floor",
    "proposal.open": lambda before, after, zone: "opened the proposal",
    "proposal.question": lambda before, after, zone: "asked a question about the proposal",
    "proposal.reply": lambda before, after, zone: "answered a question about the proposal",
    "proposal.disclose": lambda before, after, zone: _DISCLOSED.get(after.get("kind", ""), "was shown a paper"),
    "proposal.cancel_notice": lambda before, after, zone: "gave notice to cancel",
    "proposal.cancel_decide": lambda before, after, zone: (
        "cancelled the contract after a late notice" if after.get("granted") else "let the contract stand"
    ),
    "proposal.link_close": lambda before, after, zone: "took the private link of the proposal back",
    "link.issue": lambda before, after, zone: "made a private link",
    "proposal.expire": lambda before, after, zone: "closed the proposal, its last day is over",
}
"""Action -> its words, from what was before and after; one that is missing is said by its own name."""


def activity_words(entry: ActivityEntry, *, zone: ZoneInfo | None = None) -> str:
    """Return what somebody did, to stand behind the name.

    Parameters
    ----------
    entry : one act.
    zone : time zone of the house, for moments at the house.
    """
    words = SENTENCES.get(entry.action)
    said = (
        spoken(entry.action.replace(".", ": ")) if words is None else words(entry.before or {}, entry.after or {}, zone)
    )
    return f"{said} – {entry.reason}" if entry.reason else said
