import uuid
from decimal import Decimal

import pytest

from estimates.command import Conflict, command_run
from estimates.models import Command, House, User

pytestmark = pytest.mark.django_db


class Work:
    def __init__(self) -> None:
        self.done = 0

    def __call__(self) -> dict[str, object]:
        self.done += 1
        return {"number": self.done, "price": Decimal("1.50")}


def test_a_repeated_command_is_answered_and_not_carried_out_again(crew: User) -> None:
    work, key = Work(), uuid.uuid4()
    first = command_run(user=crew, key=key, body={"a": 1, "b": 2}, work=work)
    second = command_run(user=crew, key=key, body={"b": 2, "a": 1}, work=work)
    assert first == second == {"number": 1, "price": "1.50"}
    assert work.done == 1


def test_another_command_under_a_used_key_is_refused(crew: User) -> None:
    work, key = Work(), uuid.uuid4()
    command_run(user=crew, key=key, body={"a": 1}, work=work)
    with pytest.raises(Conflict, match="already sent with other entries"):
        command_run(user=crew, key=key, body={"a": 2}, work=work)
    assert work.done == 1


def test_keys_of_different_people_never_meet(crew: User, owner: User) -> None:
    work, key = Work(), uuid.uuid4()
    command_run(user=crew, key=key, body={}, work=work)
    command_run(user=owner, key=key, body={"other": True}, work=work)
    assert work.done == 2


@pytest.mark.django_db(transaction=True)
def test_work_that_fails_leaves_nothing_and_the_key_unused(crew: User, house: House) -> None:
    key = uuid.uuid4()

    def fails() -> None:
        House.objects.filter(pk=house.pk).update(name="Half done")
        raise ValueError("out of foam")

    with pytest.raises(ValueError, match="out of foam"):
        command_run(user=crew, key=key, body={}, work=fails)
    house.refresh_from_db()
    assert house.name == "Alder Lane 12"
    assert not Command.objects.exists()
    assert command_run(user=crew, key=key, body={}, work=lambda: "done") == "done"
