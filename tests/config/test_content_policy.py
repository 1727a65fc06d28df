from collections.abc import Callable

import pytest
from django.test import Client

from estimates.models import User

WANTED = {
    "default-src 'self'",
    "script-src 'self'",
    "style-src 'self'",
    "object-src 'none'",
    "base-uri 'none'",
    "form-action 'self'",
    "frame-ancestors 'none'",
}

pytestmark = pytest.mark.django_db


def test_pages_run_nothing_but_our_own_files(owner: User, signed_in: Callable[[User], Client]) -> None:
    policy = signed_in(owner).get("/").headers["Content-Security-Policy"]
    assert {part.strip() for part in policy.split(";")} >= WANTED
    assert "unsafe" not in policy
    assert "http" not in policy


@pytest.mark.parametrize("address", ["/sign-in/", "/health/", "/none-such/"])
def test_pages_for_everybody_carry_the_same_headers(address: str) -> None:
    headers = Client().get(address).headers
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cross-Origin-Opener-Policy"] == "same-origin"


def test_pages_of_signed_in_people_are_kept_nowhere(owner: User, signed_in: Callable[[User], Client]) -> None:
    assert "no-store" in signed_in(owner).get("/").headers["Cache-Control"]


def test_cookies_are_out_of_reach_of_scripts(person: Callable[..., User]) -> None:
    user = person("owner", password="wet foam, slow pour")
    client = Client()
    assert client.post("/sign-in/", {"username": user.email, "password": "wet foam, slow pour"}).status_code == 302
    client.get("/")
    for name in ("session", "csrf"):
        assert client.cookies[name]["httponly"]
        assert client.cookies[name]["samesite"] == "Lax"
