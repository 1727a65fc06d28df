import hashlib
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from estimates.models import ActivityEntry, EstimateRevision, House, User

pytestmark = pytest.mark.django_db
Freeze = Callable[..., EstimateRevision]


def test_a_snapshot_becomes_the_next_revision_of_its_house(freeze_revision: Freeze, owner: User) -> None:
    first, second = freeze_revision(), freeze_revision(snapshot='{"changed": true}', price=Decimal("99.99"))
    assert (first.number, second.number) == (1, 2)
    assert first.sha256 == hashlib.sha256(b'{"house": {"walls": []}}').hexdigest()
    entry = ActivityEntry.objects.latest("id")
    assert (entry.actor, entry.action, entry.object_code) == (owner, "revision.create", first.house.code)
    assert entry.before == {"revision": 1, "sha256": first.sha256}
    assert entry.after is not None
    assert entry.after["price"] == "99.99"


def test_the_same_snapshot_again_returns_the_latest_revision_and_writes_nothing(freeze_revision: Freeze) -> None:
    first = freeze_revision()
    assert freeze_revision() == first
    assert EstimateRevision.objects.count() == ActivityEntry.objects.count() == 1


def test_going_back_to_an_older_snapshot_is_a_new_revision(freeze_revision: Freeze) -> None:
    first, _, third = freeze_revision(), freeze_revision(snapshot='{"n": 2}'), freeze_revision()
    assert (third.number, third.sha256) == (3, first.sha256)


def test_each_house_counts_for_itself(freeze_revision: Freeze, house: House) -> None:
    freeze_revision()
    other = House.objects.get(pk=house.pk)
    other.pk, other.code, other.reference, other._state.adding = None, None, "birch-row", True
    other.code = House._meta.get_field("code").get_default()
    other.save()
    assert freeze_revision(house=other).number == 1


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"snapshot": "{"}, "snapshot"),
        ({"snapshot": "[1]"}, "snapshot"),
        ({"snapshot": '{"u": NaN}'}, "snapshot"),
        ({"snapshot": '{"u": 1, "u": 2}'}, "snapshot"),
        ({"snapshot": '{"a": {"u": -Infinity}}'}, "snapshot"),
        ({"price": Decimal("1.005")}, "price"),
        ({"price": 12.5}, "price"),
        ({"price": Decimal(-1)}, "__all__"),
        ({"cost": Decimal("-0.01")}, "__all__"),
        ({"price_book": ""}, "price_book"),
        ({"seed": -1}, "seed"),
    ],
)
def test_a_wrong_field_is_refused_and_nothing_is_written(
    freeze_revision: Freeze, change: dict[str, object], field: str
) -> None:
    with pytest.raises(ValidationError) as refused:
        freeze_revision(**change)
    assert list(refused.value.message_dict) == [field]
    assert not EstimateRevision.objects.exists()
    assert not ActivityEntry.objects.exists()


def test_the_database_refuses_a_second_revision_of_one_number(freeze_revision: Freeze) -> None:
    row = EstimateRevision.objects.get(pk=freeze_revision().pk)
    row.pk, row._state.adding = None, True
    row.code = EstimateRevision._meta.get_field("code").get_default()
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save()
