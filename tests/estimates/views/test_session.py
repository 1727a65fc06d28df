from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.db import DatabaseError, connection
from django.test import Client
from django.urls import reverse

from estimates.activity import activity_record
from estimates.models import Role, User

pytestmark = pytest.mark.django_db
PASSWORD = "wet foam, slow pour"


@pytest.fixture
def member(person: Callable[..., User]) -> User:
    return person(Role.SCHEDULER, "Chesna Dray", password=PASSWORD)


def sign_in(client: Client, email: str, password: str, **more: str) -> tuple[int, str]:
    response = client.post("/sign-in/", {"username": email, "password": password, **more})
    return response.status_code, response.content.decode()


def test_somebody_signs_in_and_out(client: Client, member: User) -> None:
    assert sign_in(client, member.email.upper(), PASSWORD)[0] == 302
    assert "Chesna Dray" in client.get("/").content.decode()
    session = client.session.session_key
    assert client.post("/sign-out/").status_code == 302
    client.cookies["session"] = session
    assert client.get("/").status_code == 302


def test_sign_ins_and_failures_are_logged_without_passwords(
    client: Client, member: User, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("INFO", logger="cavitybook")
    sign_in(client, member.email, "not the password")
    sign_in(client, member.email, PASSWORD)
    lines = [record.getMessage() for record in caplog.records if record.name == "cavitybook.session"]
    assert lines == ["a sign-in from 127.0.0.1 failed", f"user {member.code} signed in from 127.0.0.1"]
    assert "password" not in caplog.text.lower()


def test_a_page_asked_for_is_where_one_lands(client: Client, member: User) -> None:
    assert client.get("/").headers["Location"] == "/sign-in/?next=/"
    response = client.post("/sign-in/", {"username": member.email, "password": PASSWORD, "next": "/health/"})
    assert response.headers["Location"] == "/health/"


def test_nobody_is_sent_to_another_site_after_signing_in(client: Client, member: User) -> None:
    body = {"username": member.email, "password": PASSWORD, "next": "https://elsewhere.example/"}
    assert client.post("/sign-in/", body).headers["Location"] == "/"


def test_every_failure_reads_the_same(client: Client, member: User, person: Callable[..., User]) -> None:
    left = person(Role.CREW, password=PASSWORD)
    left.is_active = False
    left.save()
    tries = [(member.email, "wrong"), ("nobody@cavitybook.test", PASSWORD), (left.email, PASSWORD)]
    pages = [sign_in(Client(), *given) for given in tries]
    for status, page in pages:
        assert status == 200
        assert "do not belong together" in page
        assert "<title>Error: Sign in" in page


def test_an_empty_form_says_what_to_enter(client: Client) -> None:
    _, page = sign_in(client, "", "")
    assert "Enter your e-mail address" in page
    assert "Enter your password" in page


def test_an_account_closes_for_a_while_after_ten_wrong_passwords(client: Client, member: User) -> None:
    for _ in range(9):
        assert sign_in(client, member.email, "wrong")[0] == 200
    status, page = sign_in(client, member.email.upper(), "wrong")
    assert status == 429
    assert "Wait 15 minutes" in page
    assert sign_in(client, member.email, PASSWORD)[0] == 429


def test_an_unknown_account_closes_in_the_same_words(client: Client, member: User) -> None:
    for _ in range(9):
        sign_in(client, "nobody@cavitybook.test", "wrong")
    assert sign_in(client, "nobody@cavitybook.test", "wrong")[0] == 429


def test_an_address_that_tries_many_accounts_is_closed_out(client: Client, member: User) -> None:
    for number in range(10):
        sign_in(client, f"guess{number}@cavitybook.test", "wrong")
    assert sign_in(client, member.email, PASSWORD)[0] == 429


def test_somebody_who_left_is_signed_out_at_once(client: Client, member: User) -> None:
    client.force_login(member)
    assert client.get("/").status_code == 200
    User.objects.filter(pk=member.pk).update(is_active=False)
    assert client.get("/").status_code == 302


def test_the_health_page_says_when_the_database_is_away(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    assert client.get("/health/").json() == {"status": "ok"}

    def away() -> None:
        raise DatabaseError("host db.internal is away")

    monkeypatch.setattr(connection, "cursor", away)
    response = client.get("/health/")
    assert response.status_code == 503
    assert response.json() == {"status": "no database"}


class TestDemoAccounts:
    """Accounts of the invented firm stand on the sign-in page where the demo was loaded, and nowhere else."""

    @pytest.fixture
    def loaded(self, person: Callable[..., User], tmp_path: Path, settings: Any) -> User:
        settings.VAR_DIR = tmp_path
        user = person("scheduler", "Chesna Dray", password="four-plain-words-here")
        (tmp_path / "demo").mkdir()
        line = f"{user.email}\tfour-plain-words-here\tscheduler\n"
        (tmp_path / "demo" / "accounts.txt").write_text(line, encoding="utf-8")
        return user

    def mark(self, user: User) -> None:
        activity_record(actor=None, action="demo.load", target=user, now=datetime(2026, 3, 2, tzinfo=UTC))

    def test_one_tap_signs_in(self, loaded: User, client: Client) -> None:
        self.mark(loaded)
        page = client.get(reverse("estimates-sign-in")).content.decode()
        assert "Chesna Dray, scheduler" in page
        answer = client.post(
            reverse("estimates-sign-in"), {"username": loaded.email, "password": "four-plain-words-here"}
        )
        assert answer.status_code == 302

    def test_none_where_the_demo_was_never_loaded(self, loaded: User, client: Client) -> None:
        assert "This is the demo" not in client.get(reverse("estimates-sign-in")).content.decode()

    def test_none_in_production(self, loaded: User, client: Client, settings: Any) -> None:
        self.mark(loaded)
        settings.PRODUCTION = True
        page = client.get(reverse("estimates-sign-in")).content.decode()
        assert "This is the demo" not in page
        assert "four-plain-words-here" not in page
