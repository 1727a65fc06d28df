"""Commands that may arrive twice: a double tap, a retry after a dead connection, a phone that was offline."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.core.serializers.json import DjangoJSONEncoder
from django.db import IntegrityError, transaction
from django.utils import timezone

from estimates.models.command import Command
from estimates.models.user import User


class Conflict(Exception):
    """What was asked for cannot stand beside what is already there; the text is a sentence for the reader.

    Answered with 409.
    """


def command_run(*, user: User, key: UUID, body: Any, work: Callable[[], Any]) -> Any:
    """Carry out a command once, however often it arrives.

    Parameters
    ----------
    user : who sent it; keys of different people never meet.
    key : identifier made by the sender, the same for each repetition.
    body : what was asked, as JSON; tells a repetition from another command under the same key.
    work : does it and returns the answer as JSON. Runs inside the transaction that stores the answer: both or neither.

    Returns
    -------
    The answer of `work`, in its JSON form, the first time and every later time.

    Raises
    ------
    Conflict : the key was used for something else.
    """
    digest = hashlib.sha256(
        json.dumps(body, sort_keys=True, separators=(",", ":"), cls=DjangoJSONEncoder).encode()
    ).hexdigest()
    with transaction.atomic():
        try:
            # Insert first: a second arrival waits here for the first one's commit, then fails and reads its answer.
            with transaction.atomic():
                row = Command.objects.create(user=user, key=key, body_sha256=digest, at=timezone.now())
        except IntegrityError:
            row = Command.objects.get(user=user, key=key)
            if row.body_sha256 != digest:
                raise Conflict("This form was already sent with other entries. Load the page again.") from None
            return row.answer
        row.answer = work()
        row.save(update_fields=["answer"])
        row.refresh_from_db(fields=["answer"])
        return row.answer
