"""Giving out numbers without gaps."""

from __future__ import annotations

from django.db import transaction

from estimates.models.counter import Counter


def counter_next(*, name: str) -> int:
    """Return the next number under `name`, starting with 1.

    The number belongs to the caller's transaction: when that fails the number is given out again, so none is missing.
    The row stays locked until then; take the number late.

    Raises
    ------
    RuntimeError : no transaction is open.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError(f'The next "{name}" number was asked for outside of a transaction. Open one around it.')
    Counter.objects.get_or_create(name=name)
    counter = Counter.objects.select_for_update().get(name=name)
    counter.value += 1
    counter.save(update_fields=["value"])
    return counter.value
