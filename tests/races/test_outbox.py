import threading
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import transaction

from estimates import outbox
from estimates.models import OutboxMessage

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)


@pytest.fixture
def delivered(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Keys that reached the far side, in order."""
    keys: list[str] = []
    guard = threading.Lock()

    def deliver(payload: Any, key: str) -> None:
        time.sleep(0.002)
        with guard:
            keys.append(key)

    monkeypatch.setitem(outbox.KINDS, "carrier", outbox.Kind("carrier", lambda payload: None, deliver))
    return keys


def fill(count: int) -> None:
    with transaction.atomic():
        for number in range(count):
            outbox.outbox_add(kind="carrier", payload={}, key=f"letter-{number}", now=NOW)


def test_without_the_claim_two_senders_send_one_letter_twice(
    together: Callable[..., list[Any]], meet: Callable[[], None], delivered: list[str]
) -> None:
    fill(1)

    def careless(_: int) -> None:
        (message,) = OutboxMessage.objects.ready(NOW)
        meet()
        outbox.KINDS[message.kind].deliver(message.payload, message.key)
        OutboxMessage.objects.filter(pk=message.pk).update(sent_at=NOW)

    assert together(2, careless) == [None, None]
    assert delivered == ["letter-0", "letter-0"]


def test_with_the_claim_many_senders_send_every_letter_once(
    together: Callable[..., list[Any]], delivered: list[str]
) -> None:
    fill(20)
    counts = together(5, lambda _: outbox.outbox_send(now=NOW))
    assert Counter(delivered) == Counter(f"letter-{number}" for number in range(20))
    assert sum(done.sent for done in counts) == 20
    assert OutboxMessage.objects.filter(sent_at=NOW, attempts=1, claim=None).count() == 20
