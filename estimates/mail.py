"""Letters to homeowners and to the office; the private link is put in when a letter leaves, and is stored nowhere."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from urllib.parse import urlsplit
from uuid import UUID

from django.urls import reverse
from django.utils import timezone

from estimates.links import LinkClosed, link_token
from estimates.models.link import PrivateLink
from estimates.models.outbox import OutboxMessage
from estimates.outbox import EMAIL, Kind, Payload, outbox_add, outbox_kind

LINK = "{private link}"
"""Where the link stands in the text of a letter."""


def link_address(link: PrivateLink, site: str) -> str:
    """The whole address of a private link.

    Parameters
    ----------
    link : of a proposal.
    site : address under which the program is reached, without a slash at its end.
    """
    return site + reverse("jobs-show-proposal", kwargs={"token": link_token(link)})


def letter_add(
    *,
    to: Sequence[str],
    subject: str,
    text: str,
    key: str,
    now: datetime,
    link: PrivateLink | None = None,
    site: str = "",
) -> OutboxMessage:
    """Put a letter into the outbox, in the transaction of the change that causes it.

    Parameters
    ----------
    to : addresses, at least one.
    subject, text : plain text; `LINK` stands where the private link goes.
    key : the same key again is the same letter.
    now : time of the change.
    link, site : the link and the address it is made under, where the text names it.
    """
    if link is None:
        # Somebody's own words may hold the very mark; no link may come of that.
        text = text.replace(LINK, "(private link)")
    payload = {"to": list(to), "subject": " ".join(subject.split()), "text": text}
    if link is not None:
        payload |= {"link": str(link.code), "site": site}
    return outbox_add(kind=LETTER.name, payload=payload, key=key, now=now)


def _check(payload: Payload) -> None:
    EMAIL.check(payload)
    if (LINK in payload["text"]) != ("link" in payload):
        raise ValueError(f'A letter whose text holds "{LINK}" needs "link" and "site", and only such a one.')
    if "link" in payload:
        UUID(payload["link"])
        site = urlsplit(payload["site"])
        if site.scheme not in ("http", "https") or not site.netloc:
            raise ValueError(
                f'The "site" of a letter is {payload["site"]!r}. Enter an address such as https://example.com'
            )


def _deliver(payload: Payload, key: str) -> None:
    text = payload["text"]
    if "link" in payload:
        link = PrivateLink.objects.get(code=payload["link"])
        if link.revoked_at is not None or link.expires_at <= timezone.now():
            # Nobody is helped by a letter whose link opens nothing.
            raise LinkClosed("revoked" if link.revoked_at is not None else "expired")
        text = text.replace(LINK, link_address(link, payload["site"]))
    EMAIL.deliver({"to": payload["to"], "subject": payload["subject"], "text": text}, key)


LETTER = outbox_kind(Kind("letter", _check, _deliver))
