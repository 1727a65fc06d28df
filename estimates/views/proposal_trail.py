"""The trail of a proposal: issued, sent, opened, asked, answered, with times."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from estimates.activity import object_type
from estimates.activity_words import activity_words
from estimates.issuing import letter_key
from estimates.models import ActivityEntry, OutboxMessage, PrivateLink, Proposal

HOMEOWNER = "Homeowner"


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
        yield Step(entry.at, who, activity_words(entry))


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
