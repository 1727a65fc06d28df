from collections.abc import Callable
from typing import Any

import pytest
from django.db import transaction

from estimates.counter import counter_next
from estimates.models import Counter

pytestmark = pytest.mark.django_db(transaction=True)
Together = Callable[..., list[Any]]


def test_without_the_lock_two_people_get_the_same_number(together: Together, meet: Callable[[], None]) -> None:
    Counter.objects.create(name="invoice")

    def careless(_: int) -> int:
        counter = Counter.objects.get(name="invoice")
        meet()
        counter.value += 1
        counter.save()
        return counter.value

    assert together(2, careless) == [1, 1]


def test_with_the_lock_every_number_is_given_once_and_none_is_missing(together: Together) -> None:
    def draw(_: int) -> list[int]:
        numbers = []
        for _round in range(10):
            with transaction.atomic():
                numbers.append(counter_next(name="invoice"))
        return numbers

    drawn = together(6, draw)
    assert sorted(number for numbers in drawn for number in numbers) == list(range(1, 61))


def test_transactions_that_fail_leave_no_gap(together: Together) -> None:
    def draw(number: int) -> int | None:
        try:
            with transaction.atomic():
                drawn = counter_next(name="invoice")
                if number % 2:
                    raise ValueError("no paper")
                return drawn
        except ValueError:
            return None

    drawn = together(8, draw)
    assert sorted(number for number in drawn if number is not None) == [1, 2, 3, 4]
