"""Private links: issued, opened, taken back.

A link is a row (purpose, object, end, taken back or not) and a token: the row's code under a signature whose salt is
the purpose. Neither the database nor the key alone makes a token, and a token for one purpose opens no other. Opening
is reading: it changes nothing.
"""

from __future__ import annotations

import logging
from datetime import datetime
from uuid import UUID

from django.core import signing
from django.db import transaction

from estimates.activity import Coded, activity_record, object_type
from estimates.models.link import LinkPurpose, PrivateLink
from estimates.models.user import User

log = logging.getLogger("cavitybook.links")


class LinkClosed(Exception):
    """The link opens nothing. `reason` is "unknown", "revoked" or "expired"; strangers are told nothing more."""

    def __init__(self, reason: str) -> None:
        super().__init__(f"The link is {reason}.")
        self.reason = reason


def _signer(purpose: str) -> signing.Signer:
    # "." and not ":": the token then stands in a path as it is, and log lines can recognise it.
    return signing.Signer(salt=f"cavitybook.link.{purpose}", sep=".")


def link_issue(
    *, purpose: LinkPurpose, target: Coded, expires_at: datetime, created_by: User, now: datetime, origin: str = ""
) -> PrivateLink:
    """Make a link to `target` for one purpose.

    Raises
    ------
    ValueError : the end is not after `now`.
    """
    if expires_at <= now:
        raise ValueError(f"expires_at is {expires_at.isoformat()}. Enter a time after {now.isoformat()}.")
    with transaction.atomic():
        link = PrivateLink(
            purpose=purpose,
            target_type=object_type(target),
            target_code=target.code,
            created_at=now,
            created_by=created_by,
            expires_at=expires_at,
        )
        link.full_clean()
        link.save()
        activity_record(
            actor=created_by,
            action="link.issue",
            target=target,
            now=now,
            after={"link": link.code, "purpose": purpose.value, "expires_at": expires_at},
            origin=origin,
        )
    return link


def link_token(link: PrivateLink) -> str:
    """Return the text that opens the link; it stands in the address and is stored nowhere."""
    return _signer(link.purpose).sign(link.code.hex)


def link_open(*, token: str, purpose: LinkPurpose, now: datetime) -> PrivateLink:
    """Return the link that a token opens for a purpose; nothing is written.

    Raises
    ------
    LinkClosed : the token is not ours or serves another purpose, or the link ended or was taken back.
    """
    try:
        code = UUID(_signer(purpose).unsign(token))
    except (signing.BadSignature, ValueError):
        raise LinkClosed("unknown") from None
    link = PrivateLink.objects.filter(code=code, purpose=purpose).first()
    if link is None:
        raise LinkClosed("unknown")
    if link.revoked_at is not None:
        raise LinkClosed("revoked")
    if now >= link.expires_at:
        raise LinkClosed("expired")
    log.info("private link %s opened (%s)", link.pk, purpose.value)
    return link


def link_revoke(*, link: PrivateLink, by: User, now: datetime, reason: str = "", origin: str = "") -> PrivateLink:
    """Take a link back; doing it again changes nothing."""
    with transaction.atomic():
        row = PrivateLink.objects.select_for_update().get(pk=link.pk)
        if row.revoked_at is None:
            row.revoked_at = now
            row.save(update_fields=["revoked_at"])
            activity_record(
                actor=by,
                action="link.revoke",
                target=row,
                now=now,
                before={"revoked_at": None},
                after={"revoked_at": now},
                reason=reason,
                origin=origin,
            )
    return row
