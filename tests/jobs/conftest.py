"""A proposal that is out on a Friday evening."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine


@pytest.fixture
def friday() -> Iterator[Any]:
    """The clock of the test stands still; it is Friday 6 March 2026, half past six in the evening in New York."""
    with time_machine.travel(datetime(2026, 3, 6, 23, 30, tzinfo=UTC), tick=False) as clock:
        yield clock


@pytest.fixture
def out(friday: Any, send: Callable[..., Any]) -> Any:
    return send()
