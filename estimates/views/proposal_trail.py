"""The trail of a proposal: issued, sent, opened, asked, answered, with times."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from estimates.activity import object_type
from estimates.issuing import letter_key
from estimates.models import ActivityEntry, OutboxMessage, PrivateLink, Proposal
from estimates.models.answer import DisclosureKind

HOMEOWNER = "Homeowner"

DISCLOSED = {
    DisclosureKind.FACT_SHEET: "read the fact sheets",
    DisclosureKind.ELECTRONIC_RECORDS: "agreed to electronic records",
    DisclosureKind.ACKNOWLEDGEMENTS: "ticked the clauses that are signed apart",
    DisclosureKind.CANCELLATION_NOTICE: "was handed both copies of the notice of cancellation",
}

ACTS = {
    "proposal.draft": "drafted the proposal",
    "proposal.release_floor": "released the price below the floor",
    "proposal.issue": "issued the proposal",
    "proposal.open": "opened the proposal",
    "proposal.question": "asked a question",
    "proposal.accept": "accepted the proposal",
    "proposal.decline": "declined the proposal",
    "proposal.withdraw": "took the proposal back",
    "proposal.cancel": "cancelled the contract",
    "proposal.expire": "closed the proposal, its last day is over",
    "proposal.cancel_notice": "gave notice to cancel",
    "proposal.cancel_decide": "decided on the late notice",
    "proposal.link_close": "took a private link back",
    "link.issue": "made a private link",
}
"""Action -> its words."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the trail."""

    at: datetime
    who: str
    what: str
    note: str = ""


def trail(proposal: Proposal) -> list[Step]:
    """Everything that happened to a proposal, the first thing first."""
    steps = [*_acts(proposal), *_letters(proposal)]
    return sorted(steps, key=lambda step: step.at)


def _acts(proposal: Proposal) -> Iterable[Step]:
    entries = ActivityEntry.objects.of(object_type(proposal), proposal.code).select_related("actor")
    for entry in entries.order_by("at", "id"):
        who = entry.actor.full_name if entry.actor is not None else HOMEOWNER
        if entry.action == "proposal.expire" and entry.actor is None:
            who = "The program"
        yield Step(entry.at, who, _what(entry.action, entry.after or {}), entry.reason)


def _what(action: str, after: dict[str, Any]) -> str:
    if action == "proposal.disclose":
        return DISCLOSED[DisclosureKind(after["kind"])]
    return ACTS.get(action, action.replace("_", " ").replace(".", ": "))


def _letters(proposal: Proposal) -> Iterable[Step]:
    """Letters that bring a private link: waiting, sent, or not to be delivered."""
    links = PrivateLink.objects.filter(target_type=object_type(proposal), target_code=proposal.code)
    keys = [letter_key(link) for link in links]
    for letter in OutboxMessage.objects.filter(key__in=keys):
        to = ", ".join(letter.payload["to"])
        if letter.sent_at is not None:
            yield Step(letter.sent_at, "Letter", f"sent to {to}")
        elif letter.given_up_at is not None:
            yield Step(letter.given_up_at, "Letter", f"not delivered to {to}", letter.last_error)
        else:
            yield Step(letter.created_at, "Letter", f"waits to be sent to {to}", letter.last_error)
