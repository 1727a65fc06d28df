from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from estimates.models import EstimateRevision, House, User


@pytest.fixture
def now() -> datetime:
    return datetime(2026, 3, 2, 14, 30, tzinfo=UTC)


@pytest.fixture
def freeze_revision(house: House, owner: User, now: datetime) -> Callable[..., EstimateRevision]:
    """Freeze a snapshot of the house of the test; any argument of the service can be replaced."""
    from estimates.estimating import revision_create

    def freeze(**changes: Any) -> EstimateRevision:
        given = {
            "house": house,
            "snapshot": '{"house": {"walls": []}}',
            "price_book": "spring 2026",
            "schema_version": "1",
            "engine_version": "1",
            "seed": 7,
            "price": Decimal("1234.50"),
            "cost": Decimal("800.25"),
            "created_by": owner,
            "now": now,
        }
        return revision_create(**{**given, **changes})

    return freeze
