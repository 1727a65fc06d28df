"""Backups: the whole database and every document in one file, and the way back.

A backup is a ZIP archive: ``manifest.json``, the database as ``database.sqlite3`` or ``database.dump``, and the files
below ``documents/``. The manifest holds the rows of each table, the sum of revision prices and the SHA-256 of each
file, so that a restore can prove that nothing is missing. The signing key is not in it: after a restore on another
machine people sign in again and private links have to be sent anew.
"""

from __future__ import annotations

import hashlib
import json
import logging
import os
import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path, PurePosixPath

from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from estimates.outbox import outbox_hold
from reports.backup_engines import BackupError, Counts, Engine, engine

log = logging.getLogger("cavitybook.backup")

FORMAT = 1
MANIFEST = "manifest.json"


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup holds."""

    format: int
    engine: str
    made_at: str
    migrations: list[str]
    counts: Counts
    files: dict[str, str]
    """Name in the archive -> SHA-256."""

    @property
    def rows(self) -> int:
        """Rows in all tables together."""
        return sum(self.counts.rows.values())

    @property
    def documents(self) -> int:
        """Files besides the database."""
        return sum(name.startswith("documents/") for name in self.files)


def backup_write(*, target: Path, now: datetime) -> Manifest:
    """Write a backup of the database and the documents to `target`, whole or not at all.

    The database may be in use meanwhile: the copy shows one moment.

    Raises
    ------
    BackupError : `target` exists already or cannot be written, or the database cannot be copied.
    """
    if target.exists():
        raise BackupError(f"{target} exists already. Enter the name of a new file.")
    if not target.parent.is_dir():
        raise BackupError(f"The folder {target.parent} does not exist. Make it first, or enter another one.")
    source = engine()
    with _workshop(target.parent) as folder:
        database, counts, migrations = source.dump(folder)
        members = {database.name: database, **_documents()}
        manifest = Manifest(
            format=FORMAT,
            engine=source.name,
            made_at=now.isoformat(),
            migrations=migrations,
            counts=counts,
            files={name: _sha256(path) for name, path in members.items()},
        )
        draft = folder / "draft.zip"
        with zipfile.ZipFile(draft, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(MANIFEST, json.dumps(asdict(manifest), indent=1, sort_keys=True))
            for name, path in members.items():
                archive.write(path, name)
        draft.chmod(0o600)
        os.replace(draft, target)
    log.info("backup written: %d rows, %d documents", manifest.rows, manifest.documents)
    return manifest


def backup_restore(*, source: Path, replace: bool, now: datetime) -> Manifest:
    """Bring back the database and the documents of a backup.

    Everything is unpacked and proved beside the living data first; these are exchanged in one step each, and a failure
    leaves them as they were. Afterwards everybody has to sign in again (sessions that were ended must not come back),
    and messages that wait in the outbox are held back (they may have gone out since the backup was written).

    Parameters
    ----------
    source : a file that `backup_write` made.
    replace : allow a database that holds rows to be replaced.
    now : the time of the restore.

    Raises
    ------
    BackupError : the file is no whole backup, fits another database or a newer program, or would replace data.
    """
    place = engine()
    if not replace and not place.is_empty():
        raise BackupError("The database holds data. Write a backup of it, then restore with --yes-replace.")
    with _workshop(settings.VAR_DIR) as folder:
        manifest = _unpack(source, folder)
        if manifest.engine != place.name:
            raise BackupError(
                f"The backup is of a {manifest.engine} database and this one is {place.name}. "
                f"Set DATABASE_URL to a {manifest.engine} database and restore there."
            )
        _refuse_newer(manifest)
        _exchange(place, manifest, folder)
    if _waiting_migrations():
        call_command("migrate", verbosity=0, interactive=False)
    Session.objects.all().delete()
    outbox_hold(now=now, reason="Held back by a restore: it may have gone out after the backup was written.")
    log.info("backup restored: %d rows, %d documents", manifest.rows, manifest.documents)
    return manifest


@contextmanager
def _workshop(parent: Path) -> Iterator[Path]:
    """Give a private folder on the same disk as `parent`, gone afterwards whatever happens."""
    try:
        name = tempfile.mkdtemp(dir=parent, prefix=".backup-")  # mkdtemp makes it 0700
    except OSError as fault:
        raise BackupError(f"The folder {parent} cannot be written ({fault.strerror}). Enter another one.") from fault
    try:
        yield Path(name)
    finally:
        shutil.rmtree(name, ignore_errors=True)


def _documents() -> dict[str, Path]:
    root = settings.DOCUMENTS_DIR
    files = sorted(path for path in root.rglob("*") if path.is_file() and not path.is_symlink())
    return {f"documents/{path.relative_to(root).as_posix()}": path for path in files}


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _unpack(source: Path, folder: Path) -> Manifest:
    """Unpack a backup into `folder` and prove every file against the manifest."""
    try:
        with zipfile.ZipFile(source) as archive:
            manifest = _read_manifest(archive)
            if set(archive.namelist()) != {MANIFEST, *manifest.files}:
                raise BackupError(f"{source} does not hold the files that its manifest names. Use another backup.")
            for name in manifest.files:
                archive.extract(_safe(name), folder)
    except (OSError, zipfile.BadZipFile, KeyError, TypeError, ValueError) as fault:
        raise BackupError(f"{source} is no readable backup ({fault}). Use another file.") from fault
    for name, digest in manifest.files.items():
        if _sha256(folder / name) != digest:
            raise BackupError(f"{name} in {source} is damaged. Use another backup.")
    return manifest


def _read_manifest(archive: zipfile.ZipFile) -> Manifest:
    value = json.loads(archive.read(MANIFEST))
    if value["format"] != FORMAT:
        raise BackupError(f"The backup has format {value['format']}; this program reads format {FORMAT}.")
    return Manifest(**{**value, "counts": Counts(**value["counts"])})


def _safe(name: str) -> str:
    path = PurePosixPath(name)
    if path.is_absolute() or ".." in path.parts or "\\" in name:
        raise BackupError(f'The backup holds a file "{name}" outside of its folder. Do not use it.')
    return name


def _refuse_newer(manifest: Manifest) -> None:
    known = {f"{app}.{name}" for app, name in MigrationExecutor(connection).loader.disk_migrations}
    unknown = sorted(set(manifest.migrations) - known)
    if unknown:
        raise BackupError(
            f"The backup was made by a newer program (it knows {unknown[0]}). Install that version and restore there."
        )


def _waiting_migrations() -> bool:
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def _exchange(place: Engine, manifest: Manifest, folder: Path) -> None:
    """Put the unpacked documents and database in place of the living ones, or leave both as they were."""
    (database,) = (folder / name for name in manifest.files if not name.startswith("documents/"))
    place.prove(database, manifest.counts)
    new, living, old = folder / "documents", settings.DOCUMENTS_DIR, folder / "documents-before"
    new.mkdir(mode=0o700, exist_ok=True)
    if living.exists():
        os.rename(living, old)
    try:
        os.rename(new, living)
        place.load(database, manifest.counts)
    except BaseException:
        if living.exists():
            os.rename(living, new)
        if old.exists():
            os.rename(old, living)
        raise
