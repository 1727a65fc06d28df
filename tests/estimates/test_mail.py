"""Letters with a private link, through a real mail server on this machine."""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

import pytest
import time_machine
from aiosmtpd.controller import Controller
from django.db import transaction

from estimates.links import link_revoke
from estimates.mail import LINK, letter_add
from estimates.models import OutboxMessage, User
from estimates.outbox import outbox_send

NOW = datetime(2026, 3, 6, 23, 30, tzinfo=UTC)


class Postbox:
    """Takes every letter it is handed."""

    def __init__(self) -> None:
        self.letters: list[tuple[list[str], EmailMessage]] = []

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        letter = message_from_bytes(envelope.content, policy=policy.default)
        assert isinstance(letter, EmailMessage)
        self.letters.append((envelope.rcpt_tos, letter))
        return "250 taken"


@pytest.fixture
def postbox(settings: Any) -> Iterator[Postbox]:
    """A mail server on a free port, and the program told to use it."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    box = Postbox()
    server = Controller(box, hostname="127.0.0.1", port=port)
    server.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_USE_TLS = "127.0.0.1", port, False
    settings.EMAIL_HOST_USER = settings.EMAIL_HOST_PASSWORD = ""
    yield box
    server.stop()


@pytest.mark.django_db
def test_the_letter_of_a_proposal_arrives_once_with_a_link_that_opens_it(
    send: Callable[..., Any], postbox: Postbox, client: Any
) -> None:
    with time_machine.travel(NOW, tick=False):
        out = send(words="Good to meet you.")
        assert outbox_send(now=NOW).sent == 1
        assert outbox_send(now=NOW).sent == 0
        ((to, letter),) = postbox.letters
        assert to == ["wren@example.org"]
        text = letter.get_body().get_content()  # type: ignore[union-attr]
        assert LINK not in text
        assert "Good to meet you." in text
        address = next(line for line in text.splitlines() if line.startswith("http://testserver/yours/"))
        assert client.get(address.removeprefix("http://testserver")).status_code == 200
    assert out.proposal.number in letter["Subject"]


@pytest.mark.django_db
def test_a_letter_whose_link_was_taken_back_is_not_sent(
    send: Callable[..., Any], postbox: Postbox, salesperson: User
) -> None:
    out = send()
    link_revoke(link=out.link, by=salesperson, now=NOW, reason="Wrong address.")
    assert outbox_send(now=NOW).sent == 0
    assert postbox.letters == []
    assert "revoked" in OutboxMessage.objects.get().last_error


@pytest.mark.django_db
def test_words_of_somebody_cannot_bring_a_link_into_a_letter() -> None:
    with transaction.atomic():
        letter = letter_add(to=["a@example.org"], subject="x", text=f"I typed {LINK}", key="x", now=NOW)
    assert letter.payload["text"] == "I typed (private link)"
    assert "link" not in letter.payload


@pytest.mark.django_db
def test_a_letter_and_its_link_go_together(send: Callable[..., Any]) -> None:
    link = send().link
    with transaction.atomic(), pytest.raises(ValueError, match="private link"):
        letter_add(to=["a@example.org"], subject="x", text="No mark.", key="x", now=NOW, link=link, site="http://x")
    with transaction.atomic(), pytest.raises(ValueError, match="site"):
        letter_add(to=["a@example.org"], subject="x", text=f"Here: {LINK}", key="x", now=NOW, link=link, site="x")
