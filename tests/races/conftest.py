from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection

PATIENCE_S = 30


@pytest.fixture
def together() -> Callable[..., list[Any]]:
    """Run one piece of work in several threads that start at the same moment, each with its own connection.

    Returns what each returned, or the exception it raised.
    """

    def run(count: int, work: Callable[[int], Any]) -> list[Any]:
        gate = threading.Barrier(count)

        def one(number: int) -> Any:
            try:
                connection.ensure_connection()
                gate.wait(PATIENCE_S)
                return work(number)
            except Exception as fault:
                return fault
            finally:
                connection.close()

        with ThreadPoolExecutor(count) as pool:
            return list(pool.map(one, range(count)))

    return run


@pytest.fixture
def meet() -> Callable[[], None]:
    """A point in the middle of the work where two threads wait for each other: the unlucky moment, made certain."""
    point = threading.Barrier(2)

    def wait() -> None:
        point.wait(PATIENCE_S)

    return wait
