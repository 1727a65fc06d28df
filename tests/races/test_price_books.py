import dataclasses
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from estimates.models import PriceBookVersion, User
from estimates.price_books import price_book_publish
from estimates.pricebook import PriceBook, load_book

pytestmark = pytest.mark.django_db(transaction=True)
Together = Callable[..., list[Any]]

NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)


@pytest.fixture
def book() -> PriceBook:
    return dataclasses.replace(load_book("standard"), version=1, effective_from=date(2026, 1, 5))


def test_of_six_first_versions_published_at_once_one_is_and_the_others_are_told(
    together: Together, book: PriceBook, owner: User
) -> None:
    def publish(number: int) -> str:
        mine = dataclasses.replace(book, name=f"Book {number}")
        return price_book_publish(book=mine, by=owner, now=NOW).content

    outcomes = together(6, publish)
    assert sum(isinstance(outcome, ValidationError) for outcome in outcomes) == 5
    assert [row.content for row in PriceBookVersion.objects.all()] == [o for o in outcomes if isinstance(o, str)]


def test_one_book_published_six_times_at_once_is_one_version(together: Together, book: PriceBook, owner: User) -> None:
    assert together(6, lambda _: price_book_publish(book=book, by=owner, now=NOW).version) == [1] * 6
    assert PriceBookVersion.objects.count() == 1
