from datetime import datetime, timedelta

import pytest
from django.test import override_settings

from config.logs import PRIVATE_LINK
from estimates.links import LinkClosed, link_issue, link_open, link_revoke, link_token
from estimates.models import ActivityEntry, House, LinkPurpose, PrivateLink, User

pytestmark = pytest.mark.django_db


@pytest.fixture
def link(house: House, owner: User, now: datetime) -> PrivateLink:
    return link_issue(
        purpose=LinkPurpose.PROPOSAL, target=house, expires_at=now + timedelta(days=30), created_by=owner, now=now
    )


def closed(token: str, now: datetime, purpose: LinkPurpose = LinkPurpose.PROPOSAL) -> str:
    with pytest.raises(LinkClosed) as refused:
        link_open(token=token, purpose=purpose, now=now)
    return refused.value.reason


def test_a_link_opens_its_object_until_its_end(link: PrivateLink, house: House, now: datetime) -> None:
    token = link_token(link)
    opened = link_open(token=token, purpose=LinkPurpose.PROPOSAL, now=now + timedelta(days=29))
    assert (opened.target_type, opened.target_code) == ("estimates.house", house.code)
    assert closed(token, now + timedelta(days=30)) == "expired"


def test_a_link_opens_for_its_own_purpose_only(link: PrivateLink, now: datetime) -> None:
    assert closed(link_token(link), now, LinkPurpose.CANCELLATION) == "unknown"


def test_a_changed_or_guessed_token_opens_nothing(link: PrivateLink, now: datetime) -> None:
    token = link_token(link)
    for wrong in (token[:-1], token + "A", link.code.hex, str(link.code), "", "x.y", token.replace(".", ":")):
        assert closed(wrong, now) == "unknown"


def test_another_key_makes_other_tokens(link: PrivateLink, now: datetime) -> None:
    with override_settings(SECRET_KEY="k" * 60):
        token = link_token(link)
    assert closed(token, now) == "unknown"


def test_a_link_that_was_taken_back_stays_closed(link: PrivateLink, owner: User, now: datetime) -> None:
    link_revoke(link=link, by=owner, now=now, reason="wrong address")
    link_revoke(link=link, by=owner, now=now + timedelta(days=1))
    assert closed(link_token(link), now) == "revoked"
    assert PrivateLink.objects.get().revoked_at == now
    assert list(ActivityEntry.objects.order_by("id").values_list("action", flat=True)) == ["link.issue", "link.revoke"]


def test_opening_a_link_writes_nothing(link: PrivateLink, now: datetime, django_assert_num_queries: object) -> None:
    before = PrivateLink.objects.values().get()
    with django_assert_num_queries(1):  # type: ignore[operator]
        link_open(token=link_token(link), purpose=LinkPurpose.PROPOSAL, now=now)
    assert PrivateLink.objects.values().get() == before


def test_an_end_that_is_past_is_refused(house: House, owner: User, now: datetime) -> None:
    with pytest.raises(ValueError, match="expires_at"):
        link_issue(purpose=LinkPurpose.PROPOSAL, target=house, expires_at=now, created_by=owner, now=now)


def test_no_log_line_would_show_a_token(link: PrivateLink) -> None:
    assert PRIVATE_LINK.fullmatch(link_token(link))
