"""The demo scenario: an invented firm's people, rules and houses, brought in by the services that people use."""

from __future__ import annotations

import secrets
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from pathlib import Path

from django.conf import settings
from django.db import connection

from estimates.activity import activity_record
from estimates.estimating import revision_create
from estimates.house import SCHEMA, HouseRecord, house_from_json
from estimates.houses import house_put
from estimates.models import ActivityEntry, EstimateRevision, House, Role, User
from estimates.pricebook import PriceBook
from estimates.rules_table import rule_put
from estimates.snapshot import ENGINE_VERSION, Snapshot

FIXTURES: Path = settings.BASE_DIR / "fixtures"
ORIGIN = "manage.py demo"
LOADED = "demo.load"
"""The act that marks a database as a demo: only such a one may be emptied."""


@dataclass(frozen=True, slots=True)
class Account:
    """A demo person and the password made on the first run."""

    email: str
    full_name: str
    role: str
    password: str


def is_demo_database() -> bool:
    """Whether the demo was loaded here and no house of anybody else has come since."""
    if "estimates_activityentry" not in connection.introspection.table_names():
        return False
    return ActivityEntry.objects.filter(action=LOADED).exists() and not House.objects.filter(is_demo=False).exists()


def is_empty_database() -> bool:
    """Whether nobody has ever worked here."""
    return not User.objects.exists() and not House.objects.exists()


def people_load(*, now: datetime, accounts_file: Path) -> list[Account]:
    """Bring the demo people, each with a password of their own, kept in `accounts_file` for the next start."""
    rows = tomllib.loads((FIXTURES / "demo" / "people.toml").read_text(encoding="utf-8"))["people"]
    known = _read_accounts(accounts_file)
    accounts = []
    for row in rows:
        user = User.objects.filter(email=row["email"]).first()
        password = known.get(row["email"]) if user is not None else None
        if password is None:
            password = "-".join(secrets.choice(_WORDS) for _ in range(4))
            if user is None:
                user = User.objects.create_user(
                    email=row["email"], full_name=row["full_name"], role=Role(row["role"]), password=password
                )
            else:
                user.set_password(password)
                user.save(update_fields=["password"])
        accounts.append(Account(row["email"], row["full_name"], row["role"], password))
    if any(known.get(account.email) != account.password for account in accounts):
        _write_accounts(accounts_file, accounts)
    owner = User.objects.get(email=rows[0]["email"])
    if not ActivityEntry.objects.filter(action=LOADED).exists():
        activity_record(actor=None, action=LOADED, target=owner, now=now, origin=ORIGIN)
    return accounts


_WORDS = (
    "alder", "ash", "aspen", "beam", "birch", "brace", "cedar", "chalk", "cleat", "dowel", "elm", "fir", "gable",
    "hazel", "hinge", "hopper", "jamb", "joist", "kettle", "larch", "ledger", "linden", "lintel", "maple", "mortar",
    "oak", "plank", "plumb", "poplar", "purlin", "quill", "rafter", "ridge", "rowan", "saddle", "sash", "shingle",
    "sill", "slate", "spruce", "stud", "tamarack", "tenon", "thatch", "timber", "trowel", "truss", "walnut",
    "willow",
)  # fmt: skip


def _read_accounts(path: Path) -> dict[str, str]:
    if not path.exists():
        return {}
    rows = (line.split("\t") for line in path.read_text(encoding="utf-8").splitlines())
    return {row[0]: row[1] for row in rows if len(row) >= 2}


def _write_accounts(path: Path, accounts: list[Account]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.touch(mode=0o600)
    text = "".join(f"{a.email}\t{a.password}\t{a.role}\n" for a in accounts)
    path.write_text(text, encoding="utf-8")


def rules_load(*, now: datetime) -> int:
    """Bring the dated rules of fixtures/rules; returns how many there are."""
    count = 0
    for path in sorted((FIXTURES / "rules").glob("*.toml")):
        for row in tomllib.loads(path.read_text(encoding="utf-8"))["rules"]:
            rule_put(
                jurisdiction=row["jurisdiction"],
                topic=row["topic"],
                valid_from=row["valid_from"],
                valid_to=row.get("valid_to"),
                value=row["value"],
                text=row["text"],
                source=row["source"],
                checked_on=row["checked_on"],
                by=None,
                now=now,
                origin=ORIGIN,
            )
            count += 1
    return count


def house_records(limit: int | None = None) -> Iterator[HouseRecord]:
    """The measured houses of the scenario, in order of their file names."""
    for path in sorted((FIXTURES / "houses").glob("*.json"))[:limit]:
        yield house_from_json(path.read_text(encoding="utf-8"))


def estimate_load(*, snapshot: Snapshot, by: User, now: datetime) -> EstimateRevision:
    """Bring a house and freeze its estimate as a revision; the same figures again write nothing."""
    house = house_put(record=snapshot.house, is_demo=True, created_by=by, now=now, origin=ORIGIN)
    first = snapshot.options[0]
    return revision_create(
        house=house,
        snapshot=snapshot.text(),
        price_book=_book_name(snapshot.book),
        schema_version=SCHEMA,
        engine_version=ENGINE_VERSION,
        seed=snapshot.seed,
        price=Decimal(first.price_cents) / 100,
        cost=Decimal(first.cost_cents) / 100,
        created_by=by,
        now=now,
        origin=ORIGIN,
    )


def _book_name(book: PriceBook) -> str:
    return f"{book.id} {book.version}"
