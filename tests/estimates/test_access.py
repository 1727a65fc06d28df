import uuid
from collections.abc import Callable

import pytest
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.http import Http404

from estimates import access
from estimates.models import EstimateRevision, House, Role, User

pytestmark = pytest.mark.django_db

MONEY = [name for name in access.ACTIONS if name.split(".")[0] in {"price", "cost", "report", "document"}]


@pytest.mark.parametrize("action", MONEY)
def test_crew_never_hold_an_action_that_shows_money(action: str) -> None:
    assert Role.CREW not in access.ACTIONS[action]


@pytest.mark.parametrize(
    ("role", "actions"),
    [
        (Role.OWNER, set(access.ACTIONS)),
        (Role.SALESPERSON, {"house.list", "house.read", "price.read", "cost.read", "document.download"}),
        (Role.SCHEDULER, {"house.list", "house.read"}),
        (Role.CREW, set()),
        (Role.BOOKKEEPER, {"house.list", "house.read", "price.read", "report.margin", "document.download"}),
    ],
)
def test_each_role_may_do_its_own_work(person: Callable[..., User], role: Role, actions: set[str]) -> None:
    user = person(role)
    everybody = {name for name, roles in access.ACTIONS.items() if roles == access.EVERYBODY}
    known = {"home.read", "session.end", "house.list", "house.read", "price.read", "cost.read", "report.margin",
             "document.download", "rule.read"}  # fmt: skip
    assert {name for name in known if access.allowed(user, name)} == (actions | everybody) & known


def test_nobody_signed_in_and_nobody_who_left_may_do_anything(owner: User) -> None:
    owner.is_active = False
    for name in access.ACTIONS:
        assert not access.allowed(AnonymousUser(), name)
        assert not access.allowed(owner, name)


def test_an_action_that_is_not_in_the_table_is_a_programming_error(owner: User) -> None:
    with pytest.raises(KeyError):
        access.allowed(owner, "house.paint")
    with pytest.raises(KeyError):
        access.action("house.paint")


def test_the_office_finds_a_house(house: House, scheduler: User) -> None:
    assert access.get_visible_or_404(scheduler, House, house.code, "house.read") == house


def test_a_stranger_cannot_tell_a_house_from_none(house: House, stranger: User) -> None:
    for code in (house.code, uuid.uuid4()):
        with pytest.raises(Http404):
            access.get_visible_or_404(stranger, House, code, "house.read")


def test_an_insider_without_the_right_is_refused(house: House, scheduler: User) -> None:
    with pytest.raises(PermissionDenied):
        access.get_visible_or_404(scheduler, House, house.code, "price.read")
    with pytest.raises(Http404):
        access.get_visible_or_404(scheduler, House, uuid.uuid4(), "price.read")


def test_revisions_are_as_visible_as_their_house(
    freeze_revision: Callable[..., EstimateRevision], bookkeeper: User, crew: User
) -> None:
    code = freeze_revision().code
    assert access.get_visible_or_404(bookkeeper, EstimateRevision, code, "price.read").code == code
    with pytest.raises(Http404):
        access.get_visible_or_404(crew, EstimateRevision, code, "price.read")
    assert not EstimateRevision.objects.visible_to(AnonymousUser()).exists()
