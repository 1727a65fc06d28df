import uuid
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest

from estimates.command import Conflict, command_run
from estimates.models import Command, House, User

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)


def build(name: str) -> str:
    house = House.objects.create(
        reference=f"house-{uuid.uuid4().hex}", name=name, street="1 Alder Lane", town="Fernhollow", state="NY",
        postal_code="12345", customer_name="Wren Halloran",
    )  # fmt: skip
    return house.reference


def test_looking_first_and_writing_then_does_the_work_twice(
    together: Callable[..., list[Any]], meet: Callable[[], None], crew: User
) -> None:
    key = uuid.uuid4()

    def careless(_: int) -> None:
        seen = Command.objects.filter(user=crew, key=key).exists()
        meet()
        if not seen:
            build("Twice")

    assert together(2, careless) == [None, None]
    assert House.objects.count() == 2


def test_a_command_that_arrives_six_times_at_once_is_carried_out_once(
    together: Callable[..., list[Any]], crew: User
) -> None:
    key = uuid.uuid4()
    answers = together(6, lambda _: command_run(user=crew, key=key, body={"n": 1}, work=lambda: build("Once")))
    assert answers == [House.objects.get().reference] * 6


def test_of_two_commands_under_one_key_one_is_refused(together: Callable[..., list[Any]], crew: User) -> None:
    key = uuid.uuid4()
    answers = together(2, lambda n: command_run(user=crew, key=key, body={"n": n}, work=lambda: build("Once")))
    assert sorted(type(answer).__name__ for answer in answers) == [Conflict.__name__, "str"]
    assert House.objects.count() == 1
