"""Sending things after the change that causes them is safe: written in its transaction, delivered by ``send_due``."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.core.mail import EmailMultiAlternatives
from django.db import IntegrityError, transaction
from django.utils import timezone

from estimates.command import Conflict
from estimates.models.outbox import OutboxMessage

log = logging.getLogger("cavitybook.outbox")

LEASE = timedelta(minutes=5)
"""How long a sender may hold a message. Longer than any delivery takes (time-outs are 10 s), so a message in somebody's
hands is never taken by another; when a sender dies, its message is free again after this time."""

MOST_ATTEMPTS = 8
FIRST_WAIT = timedelta(minutes=1)
"""Wait after the first failure; each later one doubles it, so the last of the attempts is made two hours in."""

Payload = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of message: `check` raises ValueError on a payload that could never be sent, `deliver` sends it."""

    name: str
    check: Callable[[Payload], None]
    deliver: Callable[[Payload, str], None]


KINDS: dict[str, Kind] = {}


def outbox_kind(kind: Kind) -> Kind:
    """Register a kind of message; one line per kind, beside its two functions.

    Raises
    ------
    ValueError : the name is taken.
    """
    if kind.name in KINDS:
        raise ValueError(f'The outbox kind "{kind.name}" is registered twice.')
    KINDS[kind.name] = kind
    return kind


@dataclass(frozen=True, slots=True)
class Sent:
    """What one run of `outbox_send` did, in messages."""

    sent: int = 0
    waiting: int = 0
    given_up: int = 0


def outbox_add(
    *, kind: str, payload: Payload, key: str, now: datetime | None = None, due: datetime | None = None
) -> OutboxMessage:
    """Put a message into the outbox, in the transaction of the change that causes it.

    Parameters
    ----------
    kind : a name in `KINDS`.
    payload : what the kind needs, as JSON.
    key : says what the message is about; the same key again is the same message, and is not sent twice.
    now : time of the change; the present when left out.
    due : when to send it; at once when left out.

    Raises
    ------
    RuntimeError : no transaction is open.
    ValueError : the kind is unknown, or its payload could never be sent.
    Conflict : the key stands for another message.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("A message was put into the outbox outside of a transaction. Open one around it.")
    if kind not in KINDS:
        raise ValueError(f'"{kind}" is no kind of message. Use one of: {", ".join(sorted(KINDS))}.')
    KINDS[kind].check(payload)
    moment = now or timezone.now()
    try:
        with transaction.atomic():
            return OutboxMessage.objects.create(
                kind=kind, payload=dict(payload), key=key, created_at=moment, due_at=due or moment
            )
    except IntegrityError:
        there = OutboxMessage.objects.get(key=key)
        if (there.kind, there.payload) != (kind, dict(payload)):
            raise Conflict(f'Another message is already kept under "{key}".') from None
        return there


def outbox_send(*, now: datetime | None = None, most: int = 100) -> Sent:
    """Deliver what is due; any number of senders may run at once and no message goes out twice.

    Parameters
    ----------
    now : the time; the present when left out.
    most : how many messages to take at most.
    """
    counts = {"sent": 0, "waiting": 0, "given_up": 0}
    for message in OutboxMessage.objects.ready(now or timezone.now())[:most]:
        # The clock is read anew: a lease counted from the start of a long run could be over before its delivery.
        moment = now or timezone.now()
        if message.take(now=moment, until=moment + LEASE):
            counts[_deliver(message, moment)] += 1
    return Sent(**counts)


def outbox_hold(*, now: datetime, reason: str) -> int:
    """Hold back everything that is not sent yet, and return how many messages that is.

    For the time after a restore: what was waiting in the backup may have gone out since.
    """
    waiting = OutboxMessage.objects.filter(sent_at__isnull=True, given_up_at__isnull=True)
    return waiting.update(given_up_at=now, claim=None, claimed_until=None, last_error=reason)


def outbox_again(*, key: str, now: datetime) -> OutboxMessage:
    """Let a message that was given up or held back be tried again from the start.

    Raises
    ------
    ValueError : no message with this key is given up.
    """
    changed = OutboxMessage.objects.filter(key=key, given_up_at__isnull=False).update(
        given_up_at=None, due_at=now, attempts=0, claim=None, claimed_until=None
    )
    if not changed:
        raise ValueError(f'No message with the key "{key}" was given up. Enter the key of one that was.')
    return OutboxMessage.objects.get(key=key)


def _deliver(message: OutboxMessage, now: datetime) -> str:
    """Send one claimed message outside of any transaction, then note what became of it."""
    changes: dict[str, Any]
    try:
        KINDS[message.kind].deliver(message.payload, message.key)
    except Exception as fault:  # whatever a mail server or a later kind throws: note it and try again
        log.warning("outbox message %s was not sent: %s", message.pk, type(fault).__name__)
        error = f"{type(fault).__name__}: {fault}"[:500]
        if message.attempts >= MOST_ATTEMPTS:
            outcome, changes = "given_up", {"given_up_at": now, "last_error": error}
        else:
            wait = FIRST_WAIT * 2 ** (message.attempts - 1)
            outcome, changes = "waiting", {"due_at": now + wait, "last_error": error}
    else:
        outcome, changes = "sent", {"sent_at": now, "last_error": ""}
    # Only the holder of the claim may note the outcome: a sender that slept past its lease must not.
    OutboxMessage.objects.filter(pk=message.pk, claim=message.claim).update(claim=None, claimed_until=None, **changes)
    return outcome


def _check_email(payload: Payload) -> None:
    if not payload.get("to") or not all(isinstance(address, str) and "@" in address for address in payload["to"]):
        raise ValueError('An e-mail message needs "to": a list of at least one address.')
    for name in ("subject", "text"):
        if not isinstance(payload.get(name), str) or not payload[name].strip():
            raise ValueError(f'An e-mail message needs "{name}": a text.')
    if "\n" in payload["subject"] or "\r" in payload["subject"]:
        raise ValueError('The "subject" of an e-mail message has more than one line. Enter one line.')


def _deliver_email(payload: Payload, key: str) -> None:
    message = EmailMultiAlternatives(
        subject=payload["subject"],
        body=payload["text"],
        to=payload["to"],
        # A sender that died between sending and noting it sends again: the key lets the reader's side see that.
        headers={"X-Cavitybook-Key": key},
    )
    if payload.get("html"):
        message.attach_alternative(payload["html"], "text/html")
    message.send()


EMAIL = outbox_kind(Kind("email", _check_email, _deliver_email))
