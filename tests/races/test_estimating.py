from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError

from estimates.estimating import revision_create
from estimates.models import ActivityEntry, EstimateRevision, House, User

pytestmark = pytest.mark.django_db(transaction=True)

FIXED: dict[str, Any] = {
    "price_book": "spring 2026",
    "schema_version": "1",
    "engine_version": "1",
    "seed": 7,
    "price": Decimal("10.00"),
    "cost": Decimal("5.00"),
}
NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)


def test_without_the_lock_one_of_two_revisions_is_lost_and_only_the_constraint_notices(
    together: Callable[..., list[Any]], meet: Callable[[], None], house: House, owner: User
) -> None:
    def careless(number: int) -> int:
        count = EstimateRevision.objects.filter(house=house).count()
        meet()
        row = EstimateRevision(
            house=house, number=count + 1, snapshot=f'{{"n": {number}}}', sha256=f"{number:064x}", created_by=owner,
            created_at=NOW, **FIXED,
        )  # fmt: skip
        row.save()
        return row.number

    outcomes = together(2, careless)
    assert outcomes.count(1) == 1
    assert sum(isinstance(outcome, IntegrityError) for outcome in outcomes) == 1


def test_with_the_lock_every_snapshot_gets_its_own_number(
    together: Callable[..., list[Any]], house: House, owner: User
) -> None:
    def freeze(number: int) -> int:
        snapshot = f'{{"n": {number}}}'
        return revision_create(house=house, snapshot=snapshot, created_by=owner, now=NOW, **FIXED).number

    assert sorted(together(6, freeze)) == [1, 2, 3, 4, 5, 6]
    assert ActivityEntry.objects.count() == 6


def test_one_snapshot_sent_six_times_at_once_is_one_revision(
    together: Callable[..., list[Any]], house: House, owner: User
) -> None:
    def freeze(_: int) -> int:
        return revision_create(house=house, snapshot='{"n": 1}', created_by=owner, now=NOW, **FIXED).number

    assert together(6, freeze) == [1] * 6
    assert EstimateRevision.objects.count() == ActivityEntry.objects.count() == 1
