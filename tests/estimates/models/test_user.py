from collections.abc import Callable

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import IntegrityError, transaction

from estimates.models import Role, User

pytestmark = pytest.mark.django_db


def test_an_address_is_kept_and_found_whatever_its_capitals() -> None:
    user = User.objects.create_user(email=" Odile@Cavitybook.TEST ", full_name="Odile Marrow", role=Role.OWNER)
    assert user.email == "odile@cavitybook.test"
    assert User.objects.get_by_natural_key("ODILE@cavitybook.test") == user


def test_one_address_is_one_person() -> None:
    User.objects.create_user(email="odile@cavitybook.test", full_name="Odile Marrow", role=Role.OWNER)
    with pytest.raises(ValidationError, match="already exists"):
        User.objects.create_user(email="ODILE@cavitybook.test", full_name="Other", role=Role.CREW)


@pytest.mark.parametrize("field", [{"role": "visitor"}, {"email": "no address"}, {"full_name": " "}])
def test_a_wrong_field_is_refused_by_name(field: dict[str, str]) -> None:
    given = {"email": "a@cavitybook.test", "full_name": "A Name", "role": "crew", **field}
    with pytest.raises(ValidationError) as refused:
        User.objects.create_user(**given)
    assert list(refused.value.message_dict) == list(field)


@pytest.mark.parametrize("change", [{"role": "visitor"}, {"email": "Capital@cavitybook.test"}])
def test_the_database_refuses_what_went_round_the_check(owner: User, change: dict[str, str]) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        User.objects.filter(pk=owner.pk).update(**change)


def test_without_a_password_nobody_can_sign_in(person: Callable[..., User]) -> None:
    user = person(Role.CREW)
    assert not user.has_usable_password()
    assert not user.check_password("")


def test_the_first_user_of_a_new_place_is_an_owner(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DJANGO_SUPERUSER_PASSWORD", "wet foam, slow pour")
    call_command("createsuperuser", email="a@cavitybook.test", full_name="A Name", interactive=False, verbosity=0)
    user = User.objects.get()
    assert user.role == Role.OWNER
    assert user.check_password("wet foam, slow pour")
    assert user.password.startswith("argon2")
