from datetime import datetime, timedelta
from io import StringIO
from typing import Any

import pytest
from django.core import mail
from django.core.management import CommandError, call_command

from estimates import outbox
from estimates.command import Conflict
from estimates.models import OutboxMessage

pytestmark = pytest.mark.django_db

LETTER = {
    "to": ["wren@cavitybook.test"],
    "subject": "Your proposal",
    "text": "It is ready.",
    "html": "<p>It is ready.</p>",
}


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(payload: Any, key: str) -> None:
        raise ConnectionRefusedError("no route")

    kind = outbox.Kind("carrier", lambda payload: None, fails)
    monkeypatch.setitem(outbox.KINDS, "carrier", kind)


def test_a_letter_goes_out_once_with_both_bodies(now: datetime) -> None:
    outbox.outbox_add(kind="email", payload=LETTER, key="proposal-1", now=now)
    assert outbox.outbox_send(now=now) == outbox.Sent(sent=1)
    assert outbox.outbox_send(now=now + timedelta(days=1)) == outbox.Sent()
    (letter,) = mail.outbox
    assert (letter.to, letter.subject, letter.body) == (LETTER["to"], LETTER["subject"], LETTER["text"])
    assert letter.alternatives[0].content == LETTER["html"]
    assert letter.extra_headers == {"X-Cavitybook-Key": "proposal-1"}
    assert OutboxMessage.objects.get().sent_at == now


def test_a_letter_waits_for_its_time(now: datetime) -> None:
    outbox.outbox_add(kind="email", payload=LETTER, key="reminder-1", now=now, due=now + timedelta(hours=1))
    assert outbox.outbox_send(now=now).sent == 0
    assert outbox.outbox_send(now=now + timedelta(hours=1)).sent == 1


def test_the_same_key_is_the_same_letter(now: datetime) -> None:
    first = outbox.outbox_add(kind="email", payload=LETTER, key="proposal-1", now=now)
    assert outbox.outbox_add(kind="email", payload=LETTER, key="proposal-1", now=now) == first
    with pytest.raises(Conflict, match="proposal-1"):
        outbox.outbox_add(kind="email", payload={**LETTER, "text": "Another."}, key="proposal-1", now=now)


def test_a_failed_delivery_is_tried_again_later_and_given_up_in_the_end(now: datetime, failing: None) -> None:
    outbox.outbox_add(kind="carrier", payload={}, key="c-1", now=now)
    assert outbox.outbox_send(now=now).waiting == 1
    message = OutboxMessage.objects.get()
    assert (message.attempts, message.due_at, message.claim) == (1, now + timedelta(minutes=1), None)
    assert message.last_error == "ConnectionRefusedError: no route"
    assert outbox.outbox_send(now=now).waiting == 0
    moment = now
    for _ in range(outbox.MOST_ATTEMPTS - 1):
        moment = OutboxMessage.objects.get().due_at
        outbox.outbox_send(now=moment)
    message.refresh_from_db()
    assert (message.attempts, message.given_up_at) == (outbox.MOST_ATTEMPTS, moment)
    assert outbox.outbox_send(now=moment + timedelta(days=9)) == outbox.Sent()


def test_one_failure_does_not_hold_up_the_others(now: datetime, failing: None) -> None:
    outbox.outbox_add(kind="carrier", payload={}, key="c-1", now=now)
    outbox.outbox_add(kind="email", payload=LETTER, key="proposal-1", now=now)
    assert outbox.outbox_send(now=now) == outbox.Sent(sent=1, waiting=1)


def test_a_message_in_somebody_elses_hands_is_left_alone_until_the_claim_ends(now: datetime) -> None:
    message = outbox.outbox_add(kind="email", payload=LETTER, key="proposal-1", now=now)
    assert message.take(now=now, until=now + outbox.LEASE)
    assert outbox.outbox_send(now=now + timedelta(minutes=4)).sent == 0
    assert outbox.outbox_send(now=now + outbox.LEASE).sent == 1


def test_a_long_run_leases_each_message_from_its_own_start(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    """With one clock reading for the run, the second lease would be over before its delivery begins."""
    for number in (1, 2):
        outbox.outbox_add(kind="email", payload=LETTER, key=f"letter-{number}", now=now)
    readings = iter([now, now, now + 2 * outbox.LEASE])
    monkeypatch.setattr(outbox.timezone, "now", lambda: next(readings))
    leases: list[datetime] = []
    real = OutboxMessage.take

    def take(message: OutboxMessage, *, now: datetime, until: datetime) -> bool:
        leases.append(until)
        return real(message, now=now, until=until)

    monkeypatch.setattr(OutboxMessage, "take", take)
    assert outbox.outbox_send().sent == 2
    assert leases == [now + outbox.LEASE, now + 3 * outbox.LEASE]


def test_what_was_held_back_goes_out_only_when_told_to(now: datetime) -> None:
    outbox.outbox_add(kind="email", payload=LETTER, key="proposal-1", now=now)
    assert outbox.outbox_hold(now=now, reason="restored") == 1
    assert outbox.outbox_send(now=now + timedelta(days=1)) == outbox.Sent()
    said = StringIO()
    call_command("send_due", "--again", "proposal-1", stdout=said)
    assert said.getvalue().startswith("1 sent")
    with pytest.raises(CommandError, match="Enter the key of one that was"):
        call_command("send_due", "--again", "proposal-1")


@pytest.mark.parametrize(
    ("payload", "field"),
    [({"to": []}, "to"), ({"to": ["nobody"]}, "to"), ({"subject": " "}, "subject"), ({"subject": "a\nb"}, "subject"),
     ({"text": None}, "text")],
)  # fmt: skip
def test_a_letter_that_could_never_be_sent_is_refused_at_once(payload: dict[str, Any], field: str) -> None:
    with pytest.raises(ValueError, match=f'"{field}"'):
        outbox.outbox_add(kind="email", payload={**LETTER, **payload}, key="k")


def test_an_unknown_kind_is_refused_with_the_known_ones() -> None:
    with pytest.raises(ValueError, match=r'"pigeon" is no kind of message\. Use one of: .*email'):
        outbox.outbox_add(kind="pigeon", payload={}, key="k")


def test_a_kind_is_registered_once() -> None:
    with pytest.raises(ValueError, match="registered twice"):
        outbox.outbox_kind(outbox.EMAIL)


@pytest.mark.django_db(transaction=True)
def test_a_message_outside_of_a_transaction_is_refused() -> None:
    with pytest.raises(RuntimeError, match="outside of a transaction"):
        outbox.outbox_add(kind="email", payload=LETTER, key="k")


def test_the_command_says_what_it_did(now: datetime) -> None:
    outbox.outbox_add(kind="email", payload=LETTER, key="proposal-1", now=now)
    said = StringIO()
    call_command("send_due", stdout=said)
    assert said.getvalue() == "1 sent, 0 to be tried again, 0 given up\n"
