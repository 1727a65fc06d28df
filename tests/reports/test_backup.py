"""The restore drill, for real: written in this database, brought back in an empty place by the command."""

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.test import Client
from pytest_django import Settings

from estimates.estimating import revision_create
from estimates.models import ActivityEntry, EstimateRevision, House, OutboxMessage, User
from estimates.outbox import outbox_add, outbox_send
from reports.backup import backup_restore, backup_write
from reports.backup_engines import BackupError, engine

pytestmark = pytest.mark.django_db(transaction=True)
ROOT = Path(__file__).resolve().parents[2]
NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)

# What the drill asks the restored place: rows, prices, acts, and one document.
QUESTIONS = """
import json
from django.conf import settings
from django.db.models import Sum
from estimates.models import ActivityEntry, EstimateRevision, House
print(json.dumps({
    "houses": House.objects.count(),
    "prices": str(EstimateRevision.objects.aggregate(total=Sum("price"))["total"]),
    "acts": ActivityEntry.objects.count(),
    "document": (settings.DOCUMENTS_DIR / "alder" / "proposal.docx").read_text(),
}))
"""


@pytest.fixture(autouse=True)
def books(settings: Settings, tmp_path: Path, house: House, owner: User) -> None:
    """A place with a house, three revisions and a document."""
    settings.VAR_DIR = tmp_path / "var"
    settings.DOCUMENTS_DIR = settings.VAR_DIR / "documents"
    (settings.DOCUMENTS_DIR / "alder").mkdir(parents=True)
    (settings.DOCUMENTS_DIR / "alder" / "proposal.docx").write_text("a proposal")
    for number, price in enumerate(["0.10", "1234.55", "99.99"]):
        revision_create(
            house=house, snapshot=f'{{"n": {number}}}', price_book="spring 2026", schema_version="1",
            engine_version="1", seed=1, price=Decimal(price), cost=Decimal(price), created_by=owner, now=NOW,
        )  # fmt: skip


@pytest.fixture
def elsewhere(tmp_path: Path) -> Iterator[Callable[..., subprocess.CompletedProcess[str]]]:
    """Run a command of the program in an empty place of its own: another data folder and another database."""
    variables = {
        "PATH": os.environ.get("PATH", ""),
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "CAVITYBOOK_VAR": str(tmp_path / "elsewhere"),
    }
    drill = f"drill_{os.getpid()}"
    if connection.vendor == "postgresql":
        at = connection.settings_dict
        with connection.cursor() as cursor:
            cursor.execute(f"CREATE DATABASE {drill}")
        host = f"{at['HOST'] or 'localhost'}:{at['PORT'] or 5432}"
        variables["DATABASE_URL"] = f"postgres://{at['USER']}:{at['PASSWORD']}@{host}/{drill}"

    def run(*arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "django", *arguments],
            cwd=ROOT, env=variables, capture_output=True, text=True, timeout=120, check=False,
        )  # fmt: skip

    yield run
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(f"DROP DATABASE IF EXISTS {drill} WITH (FORCE)")


@pytest.fixture
def backup(tmp_path: Path) -> Path:
    target = tmp_path / "monday.zip"
    backup_write(target=target, now=NOW)
    return target


def test_a_backup_brought_back_in_an_empty_place_misses_nothing(
    backup: Path, elsewhere: Callable[..., subprocess.CompletedProcess[str]]
) -> None:
    done = elsewhere("restore", str(backup))
    assert done.returncode == 0, done.stderr
    answer = json.loads(elsewhere("shell", "--no-imports", "-c", QUESTIONS).stdout)
    assert answer == {"houses": 1, "prices": "1334.64", "acts": 3, "document": "a proposal"}
    assert elsewhere("migrate", "--check").returncode == 0


def test_a_place_with_data_is_replaced_only_when_told_to(backup: Path) -> None:
    House.objects.update(name="Changed since")
    with pytest.raises(CommandError, match="restore with --yes-replace"):
        call_command("restore", str(backup))
    assert House.objects.get().name == "Changed since"
    call_command("restore", str(backup), "--yes-replace")
    assert House.objects.get().name == "Alder Lane 12"
    assert EstimateRevision.objects.count() == ActivityEntry.objects.count() == 3


def test_what_was_written_after_the_backup_is_gone_after_the_restore(
    backup: Path, settings: Settings, person: Callable[..., User]
) -> None:
    late = person("crew")
    (settings.DOCUMENTS_DIR / "late.docx").write_text("late")
    backup_restore(source=backup, replace=True, now=NOW)
    assert not User.objects.filter(pk=late.pk).exists()
    assert [path.name for path in settings.DOCUMENTS_DIR.rglob("*.docx")] == ["proposal.docx"]
    assert person("crew").pk is not None  # the next row gets a free number


def test_after_a_restore_everybody_signs_in_again_and_waiting_letters_are_held(
    tmp_path: Path, owner: User, signed_in: Callable[[User], Client]
) -> None:
    client = signed_in(owner)
    with transaction.atomic():
        outbox_add(kind="email", payload={"to": ["a@b.example"], "subject": "s", "text": "t"}, key="letter", now=NOW)
    backup_write(target=tmp_path / "b.zip", now=NOW)
    backup_restore(source=tmp_path / "b.zip", replace=True, now=NOW)
    assert client.get("/").status_code == 302
    assert outbox_send().sent == 0
    assert OutboxMessage.objects.get().last_error.startswith("Held back by a restore")


def test_a_backup_is_private_and_overwrites_nothing(backup: Path, tmp_path: Path) -> None:
    assert backup.stat().st_mode & 0o777 == 0o600
    with pytest.raises(CommandError, match="exists already"):
        call_command("backup", str(backup))
    with pytest.raises(CommandError, match="does not exist"):
        call_command("backup", str(tmp_path / "nowhere" / "b.zip"))
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".backup")] == []


def rewrite(backup: Path, change: Callable[[dict[str, bytes]], None]) -> None:
    """Write the archive anew with changed members."""
    with zipfile.ZipFile(backup) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    change(members)
    with zipfile.ZipFile(backup, "w") as archive:
        for name, content in members.items():
            archive.writestr(name, content)


def edit_manifest(members: dict[str, bytes], edit: Callable[[dict[str, object]], None]) -> None:
    manifest = json.loads(members["manifest.json"])
    edit(manifest)
    members["manifest.json"] = json.dumps(manifest).encode()


def damage(members: dict[str, bytes]) -> None:
    members["documents/alder/proposal.docx"] = b"another proposal"


def add_file(members: dict[str, bytes]) -> None:
    members["documents/extra"] = b"not in the manifest"


def newer(members: dict[str, bytes]) -> None:
    edit_manifest(members, lambda manifest: manifest.update(migrations=["estimates.9999_later"]))


def other_engine(members: dict[str, bytes]) -> None:
    edit_manifest(members, lambda manifest: manifest.update(engine="Stone tablets"))


def other_format(members: dict[str, bytes]) -> None:
    edit_manifest(members, lambda manifest: manifest.update(format=2))


def climb_out(members: dict[str, bytes]) -> None:
    import hashlib

    members["documents/../../evil"] = b"x"
    digest = hashlib.sha256(b"x").hexdigest()
    edit_manifest(members, lambda manifest: manifest["files"].update({"documents/../../evil": digest}))  # type: ignore[attr-defined]


def fewer_rows(members: dict[str, bytes]) -> None:
    edit_manifest(members, lambda manifest: manifest["counts"]["rows"].update(estimates_house=2))  # type: ignore[index]


def other_prices(members: dict[str, bytes]) -> None:
    edit_manifest(members, lambda manifest: manifest["counts"].update(price_cents=1))  # type: ignore[attr-defined]


def no_manifest(members: dict[str, bytes]) -> None:
    del members["manifest.json"]


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (damage, "documents/alder/proposal.docx in .* is damaged"),
        (add_file, "does not hold the files that its manifest names"),
        (newer, "made by a newer program"),
        (other_engine, "backup is of a Stone tablets database"),
        (other_format, "has format 2"),
        (climb_out, "outside of its folder"),
        (fewer_rows, "does not hold"),
        (other_prices, "does not hold"),
        (no_manifest, "is no readable backup"),
    ],
)
def test_a_backup_that_is_not_whole_is_refused_and_everything_stays(
    backup: Path, settings: Settings, change: Callable[[dict[str, bytes]], None], sentence: str
) -> None:
    rewrite(backup, change)
    House.objects.update(name="Living")
    with pytest.raises(BackupError, match=sentence):
        backup_restore(source=backup, replace=True, now=NOW)
    assert House.objects.get().name == "Living"
    assert EstimateRevision.objects.count() == 3
    assert (settings.DOCUMENTS_DIR / "alder" / "proposal.docx").read_text() == "a proposal"
    assert sorted(path.name for path in settings.VAR_DIR.iterdir()) == ["documents"]


def test_a_file_that_is_no_backup_is_refused(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("dear all")
    for name in ("letter.txt", "absent.zip"):
        with pytest.raises(CommandError, match="is no readable backup"):
            call_command("restore", str(tmp_path / name), "--yes-replace")


def test_a_sqlite_copy_with_orphans_is_refused(backup: Path, tmp_path: Path) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL checks foreign keys itself while it restores")
    with zipfile.ZipFile(backup) as archive:
        file = Path(archive.extract("database.sqlite3", tmp_path))
        counts = json.loads(archive.read("manifest.json"))["counts"]
    with closing(sqlite3.connect(file)) as copy:
        copy.execute("UPDATE estimates_estimaterevision SET house_id = 999")
        copy.commit()
    from reports.backup_engines import Counts

    with pytest.raises(BackupError, match="is damaged"):
        engine().prove(file, Counts(**counts))


def test_missing_client_tools_of_postgresql_are_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("SQLite needs no client tools")
    monkeypatch.setattr(shutil, "which", lambda tool: None)
    with pytest.raises(CommandError, match=r"pg_dump is not installed\. Install the client tools of PostgreSQL"):
        call_command("backup", str(tmp_path / "b.zip"))


def test_a_backup_taken_while_others_write_shows_one_moment(tmp_path: Path, house: House, owner: User) -> None:
    """A row that another connection has not committed is in neither the copy nor its counts."""
    if connection.vendor == "sqlite":
        other = sqlite3.connect(connection.settings_dict["NAME"], isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        other.execute("INSERT INTO estimates_counter (name, value) VALUES ('open', 1)")
    else:
        other = psycopg.connect(**connection.get_connection_params())
        other.execute("INSERT INTO estimates_counter (name, value) VALUES ('open', 1)")
    with closing(other):
        manifest = backup_write(target=tmp_path / "busy.zip", now=NOW)
    assert manifest.counts.rows["estimates_counter"] == 0
    assert manifest.counts.rows["estimates_house"] == 1
