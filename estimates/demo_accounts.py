"""The accounts of the demo, offered on the sign-in page where the demo was loaded and nowhere else."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from django.conf import settings

from estimates.models import ActivityEntry, User

LOADED = "demo.load"
"""The act that marks a database as one into which the demo was loaded."""


@dataclass(frozen=True, slots=True)
class DemoAccount:
    """Somebody of the invented firm, with the password made on the first run."""

    user: User
    password: str


def offered_accounts() -> list[DemoAccount]:
    """Return the accounts to offer; none in production, and none where the demo was never loaded."""
    path: Path = settings.VAR_DIR / "demo" / "accounts.txt"
    if settings.PRODUCTION or not path.exists() or not ActivityEntry.objects.filter(action=LOADED).exists():
        return []
    passwords = read_accounts(path)
    users = User.objects.filter(email__in=passwords, is_active=True).order_by("id")
    return [DemoAccount(user, passwords[user.email]) for user in users]


def read_accounts(path: Path) -> dict[str, str]:
    """Return the passwords of an accounts file by e-mail address."""
    if not path.exists():
        return {}
    rows = (line.split("\t") for line in path.read_text(encoding="utf-8").splitlines())
    return {row[0]: row[1] for row in rows if len(row) >= 2}
