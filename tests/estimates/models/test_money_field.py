from collections.abc import Callable
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.db.models import Sum

from estimates.models import EstimateRevision
from estimates.models.money_field import MoneyField
from estimates.money import MoneyError

pytestmark = pytest.mark.django_db


def test_the_database_holds_cents_and_python_holds_dollars(freeze_revision: Callable[..., EstimateRevision]) -> None:
    revision = freeze_revision(price=Decimal("2.67"))
    with connection.cursor() as cursor:
        cursor.execute("SELECT price_cents FROM estimates_estimaterevision")
        assert cursor.fetchone() == (267,)
    assert EstimateRevision.objects.get(pk=revision.pk).price == Decimal("2.67")


def test_a_sum_of_many_amounts_is_exact(freeze_revision: Callable[..., EstimateRevision]) -> None:
    for number in range(10):
        freeze_revision(snapshot=f'{{"n": {number}}}', price=Decimal("0.10"))
    total = EstimateRevision.objects.aggregate(total=Sum("price"))["total"]
    assert total == Decimal("1.00")
    assert isinstance(total, Decimal)
    assert EstimateRevision.objects.filter(price=Decimal("0.1")).count() == 10
    assert EstimateRevision.objects.filter(price__gt=Decimal("0.10")).count() == 0


@pytest.mark.parametrize("amount", [2.5, 3, True, Decimal("2.665")])
def test_a_float_a_bare_number_or_part_of_a_cent_is_refused(amount: object) -> None:
    field = MoneyField(name="price")
    with pytest.raises(MoneyError, match=r"^price: .*Enter"):
        field.get_prep_value(amount)
    with pytest.raises(ValidationError, match="Enter"):
        field.clean(amount, None)


def test_text_from_a_form_becomes_an_amount() -> None:
    assert MoneyField().clean("44.6", None) == Decimal("44.60")
    with pytest.raises(ValidationError, match="Enter dollars and cents"):
        MoneyField().clean("a lot", None)


def test_an_amount_survives_serialisation(freeze_revision: Callable[..., EstimateRevision]) -> None:
    field = EstimateRevision._meta.get_field("price")
    text = field.value_to_string(freeze_revision())
    assert field.to_python(text) == Decimal("1234.50")
