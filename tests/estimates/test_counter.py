import pytest
from django.db import transaction

from estimates.counter import counter_next


@pytest.mark.django_db
def test_numbers_start_at_one_and_each_name_counts_for_itself() -> None:
    assert [counter_next(name="invoice") for _ in range(3)] == [1, 2, 3]
    assert counter_next(name="credit") == 1


@pytest.mark.django_db(transaction=True)
def test_a_number_of_a_failed_transaction_is_given_out_again() -> None:
    with transaction.atomic():
        assert counter_next(name="invoice") == 1

    def fails() -> None:
        with transaction.atomic():
            assert counter_next(name="invoice") == 2
            raise ValueError("no paper")

    with pytest.raises(ValueError, match="no paper"):
        fails()
    with transaction.atomic():
        assert counter_next(name="invoice") == 2


@pytest.mark.django_db(transaction=True)
def test_a_number_outside_of_a_transaction_is_refused() -> None:
    with pytest.raises(RuntimeError, match="outside of a transaction"):
        counter_next(name="invoice")
