import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.test import Client

ROOT = Path(__file__).resolve().parents[2]


def django(tmp_path: Path, *arguments: str, **variables: str) -> subprocess.CompletedProcess[str]:
    environment = {
        "PATH": os.environ.get("PATH", ""),
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "CAVITYBOOK_VAR": str(tmp_path / "var"),
        **variables,
    }
    return subprocess.run(
        [sys.executable, "-m", "django", *arguments],
        cwd=ROOT, env=environment, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


def test_the_deployment_check_finds_nothing_in_production(tmp_path: Path) -> None:
    done = django(tmp_path, "check", "--deploy", "--fail-level", "WARNING", CAVITYBOOK_PRODUCTION="1")
    assert done.returncode == 0, done.stdout + done.stderr


def test_debug_is_off_unless_asked_for(tmp_path: Path) -> None:
    code = "from django.conf import settings; print(settings.DEBUG)"
    assert django(tmp_path, "shell", "--no-imports", "-c", code).stdout.strip() == "False"
    assert django(tmp_path, "shell", "--no-imports", "-c", code, CAVITYBOOK_DEBUG="1").stdout.strip() == "True"


@pytest.mark.parametrize(
    ("variables", "sentence"),
    [
        ({"CAVITYBOOK_DEBUG": "maybe"}, 'CAVITYBOOK_DEBUG is "maybe"'),
        ({"CAVITYBOOK_DEBUG": "1", "CAVITYBOOK_PRODUCTION": "1"}, "Turn CAVITYBOOK_DEBUG off"),
        ({"CAVITYBOOK_TIME_ZONE": "Mars/North"}, "for example America/Chicago"),
        ({"CAVITYBOOK_TIME_ZONE": "../etc/passwd"}, "for example America/Chicago"),
        ({"CAVITYBOOK_LOG_LEVEL": "loud"}, "Enter DEBUG, INFO, WARNING or ERROR"),
        ({"DATABASE_URL": "books"}, "DATABASE_URL is not a database address"),
    ],
)
def test_nonsense_stops_the_start_with_a_sentence(tmp_path: Path, variables: dict[str, str], sentence: str) -> None:
    done = django(tmp_path, "check", **variables)
    assert done.returncode != 0
    assert sentence in done.stderr


def test_production_cookies_are_bound_to_the_host(tmp_path: Path) -> None:
    code = (
        "from django.conf import settings as s; "
        "print(s.SESSION_COOKIE_NAME, s.CSRF_COOKIE_NAME, s.SESSION_COOKIE_SECURE, s.CSRF_COOKIE_SECURE, "
        "s.SESSION_COOKIE_PATH)"
    )
    done = django(tmp_path, "shell", "--no-imports", "-c", code, CAVITYBOOK_PRODUCTION="1")
    assert done.stdout.split() == ["__Host-session", "__Host-csrf", "True", "True", "/"]


def test_static_files_are_served_with_debug_off_and_nothing_collected() -> None:
    assert settings.DEBUG is False
    response = Client().get("/static/django_htmx/htmx-2.min.js", follow=True)
    assert response.status_code == 200
    assert b"htmx" in b"".join(response)


@pytest.mark.parametrize(
    ("password", "accepted"),
    [("eleven-char", False), ("1q2w3e4r5t6y", False), ("wet foam, slow pour", True)],
)
def test_passwords_are_long_and_not_common(password: str, accepted: bool) -> None:
    if accepted:
        validate_password(password)
    else:
        with pytest.raises(ValidationError):
            validate_password(password)


def test_passwords_are_hashed_with_argon2_first() -> None:
    assert settings.PASSWORD_HASHERS[0].endswith("Argon2PasswordHasher")
