"""Writing to the record of who did what."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, ClassVar, Protocol
from uuid import UUID

from django.db import models

from estimates.models.activity import ActivityEntry
from estimates.models.user import User


class Coded(Protocol):
    """A row with a public identifier."""

    code: UUID
    _meta: ClassVar[Any]


def object_type(target: Coded | type[models.Model]) -> str:
    """Return the name under which records and links refer to a kind of row, for example ``estimates.house``."""
    label: str = target._meta.label_lower
    return label


def activity_record(
    *,
    actor: User | None,
    action: str,
    target: Coded,
    now: datetime,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
    reason: str = "",
    origin: str = "",
) -> ActivityEntry:
    """Write one act into the record; call it inside the transaction that makes the change.

    Parameters
    ----------
    actor : who acted; None when the program acted by itself.
    action : dotted action, such as ``revision.create``.
    target : the row acted upon.
    now : the time of the whole act, taken once by the caller.
    before, after : the changed fields, as JSON.
    reason : why, where the act needs one.
    origin : network address or command.

    Raises
    ------
    ValidationError : the action is not dotted, or a text is too long.
    """
    entry = ActivityEntry(
        actor=actor,
        at=now,
        origin=origin,
        action=action,
        object_type=object_type(target),
        object_code=target.code,
        before=None if before is None else dict(before),
        after=None if after is None else dict(after),
        reason=reason,
    )
    entry.full_clean(exclude=["before", "after"])
    entry.save()
    return entry
