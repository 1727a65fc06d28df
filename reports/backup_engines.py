"""How each of the two databases is copied out and brought back."""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
import subprocess
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from django.apps import apps
from django.db import DatabaseError, connection, transaction

CLIENT_TIMEOUT_S = 3600
REVISIONS, PRICE = "estimates_estimaterevision", "price_cents"

Ask = Callable[[str], list[Any]]


class BackupError(Exception):
    """A backup or restore that was refused or failed; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Counts:
    """What a restore is compared by: rows of each table, and the sum of revision prices. [cents]"""

    rows: dict[str, int]
    price_cents: int


class Engine(Protocol):
    """One kind of database."""

    name: str

    def is_empty(self) -> bool:
        """Return whether none of the program's own tables holds a row."""
        ...

    def dump(self, folder: Path) -> tuple[Path, Counts, list[str]]:
        """Copy the database into `folder`; return the file, its counts and the migrations applied in it."""
        ...

    def prove(self, file: Path, counts: Counts) -> None:
        """Check a copy before anything living is touched."""
        ...

    def load(self, file: Path, counts: Counts) -> None:
        """Replace the living database by a copy, whole or not at all."""
        ...


def engine() -> Engine:
    """Return the engine of the configured database."""
    return Sqlite() if connection.vendor == "sqlite" else Postgresql()


def _own_tables() -> set[str]:
    models = (model for label in ("estimates", "jobs", "reports") for model in apps.get_app_config(label).get_models())
    return {model._meta.db_table for model in models}


def _any_rows() -> bool:
    with connection.cursor() as cursor:
        for table in _own_tables() & set(connection.introspection.table_names(cursor)):
            cursor.execute(f"SELECT 1 FROM {connection.ops.quote_name(table)} LIMIT 1")  # noqa: S608 - our own names
            if cursor.fetchone():
                return True
    return False


def _count(tables: list[str], ask: Ask) -> Counts:
    rows = {table: int(ask(f'SELECT COUNT(*) FROM "{table}"')[0][0]) for table in sorted(tables)}  # noqa: S608
    total = ask(f'SELECT COALESCE(SUM({PRICE}), 0) FROM "{REVISIONS}"')[0][0] if REVISIONS in rows else 0  # noqa: S608
    return Counts(rows=rows, price_cents=int(total))


def _migrations(tables: list[str], ask: Ask) -> list[str]:
    if "django_migrations" not in tables:
        return []
    return [f"{app}.{name}" for app, name in ask("SELECT app, name FROM django_migrations ORDER BY app, name")]


def _cause(said: str) -> str:
    """Return the line of a client tool that names the fault, without the place in the script where it happened."""
    lines = said.strip().splitlines() or ["no message"]
    faults = [line for line in lines if "error:" in line.lower()]
    return re.sub(r"^.*?error:\s*", "", (faults or lines)[-1], flags=re.IGNORECASE)


class Sqlite:
    """SQLite, through its online backup: consistent while others write."""

    name = "SQLite"

    def is_empty(self) -> bool:
        """Return whether none of the program's own tables holds a row."""
        return not _any_rows()

    def dump(self, folder: Path) -> tuple[Path, Counts, list[str]]:
        """Copy the database into ``database.sqlite3`` and count in the copy."""
        file = folder / "database.sqlite3"
        connection.ensure_connection()
        with closing(sqlite3.connect(file)) as copy:
            connection.connection.backup(copy)
            # The copy carries WAL mode in its header; as a lone file it must not need a second one beside it.
            copy.execute("PRAGMA journal_mode=DELETE")
            ask: Ask = lambda sql: copy.execute(sql).fetchall()  # noqa: E731
            tables = self._tables(copy)
            return file, _count(tables, ask), _migrations(tables, ask)

    def prove(self, file: Path, counts: Counts) -> None:
        """Check the pages, the foreign keys and the counts of a copy.

        Raises
        ------
        BackupError : one of them is wrong.
        """
        try:
            with closing(sqlite3.connect(file)) as copy:
                sound = copy.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
                orphans = copy.execute("PRAGMA foreign_key_check").fetchall()
                found = _count(self._tables(copy), lambda sql: copy.execute(sql).fetchall())
        except sqlite3.DatabaseError as fault:
            raise BackupError(f"The database in the backup cannot be read ({fault}). Use another backup.") from fault
        if not sound or orphans:
            raise BackupError("The database in the backup is damaged. Use another backup.")
        if found != counts:
            raise BackupError("The database in the backup does not hold the rows its manifest names. Use another one.")

    def load(self, file: Path, counts: Counts) -> None:
        """Copy a backup over the living database in one transaction of SQLite's own: others wait, none sees half."""
        connection.ensure_connection()
        try:
            with closing(sqlite3.connect(file)) as copy:
                copy.backup(connection.connection)
        except sqlite3.Error as fault:
            raise BackupError(
                f"The database could not be replaced ({fault}). Stop the program and restore again."
            ) from fault
        finally:
            connection.close()  # the next query opens it anew, with its settings

    @staticmethod
    def _tables(database: sqlite3.Connection) -> list[str]:
        found = database.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
        return [name for (name,) in found]


class Postgresql:
    """PostgreSQL, through its client tools."""

    name = "PostgreSQL"

    def is_empty(self) -> bool:
        """Return whether none of the program's own tables holds a row."""
        return not _any_rows()

    def dump(self, folder: Path) -> tuple[Path, Counts, list[str]]:
        """Dump into ``database.dump`` and count in the same snapshot, so that both show one moment."""
        file = folder / "database.dump"
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")

            def ask(sql: str) -> list[Any]:
                cursor.execute(sql)
                return list(cursor.fetchall())

            ((snapshot,),) = ask("SELECT pg_export_snapshot()")
            tables = connection.introspection.table_names(cursor)
            self._run("pg_dump", "--format=custom", "--no-owner", "--no-privileges", f"--snapshot={snapshot}",
                      f"--file={file}")  # fmt: skip
            return file, _count(tables, ask), _migrations(tables, ask)

    def prove(self, file: Path, counts: Counts) -> None:
        """Check that the tools can read the dump; its rows are counted inside the transaction of `load`."""
        self._run("pg_restore", "--list", str(file))

    def load(self, file: Path, counts: Counts) -> None:
        """Replace the tables in one transaction, which counts the new rows before it commits."""
        script = file.with_suffix(".sql")
        self._run("pg_restore", "--no-owner", "--no-privileges", f"--file={script}", str(file))
        before = file.with_suffix(".before.sql")
        after = file.with_suffix(".after.sql")
        try:
            with connection.cursor() as cursor:
                living = set(connection.introspection.table_names(cursor))
        except DatabaseError as fault:
            raise BackupError(f"The database does not answer ({type(fault).__name__}). Start it first.") from fault
        ours = sorted(living & (set(counts.rows) | set(connection.introspection.django_table_names())))
        before.write_text("SET lock_timeout = '30s';\n" + "".join(f'DROP TABLE "{table}" CASCADE;\n' for table in ours))
        after.write_text(self._count_check(counts))
        connection.close()  # an open connection of our own would hold what is to be dropped
        self._run("psql", "--no-psqlrc", "--quiet", "--set=ON_ERROR_STOP=1", "--single-transaction",
                  *(f"--file={part}" for part in (before, script, after)))  # fmt: skip

    @staticmethod
    def _count_check(counts: Counts) -> str:
        checks = [
            (f'SELECT COUNT(*) FROM public."{table}"', rows, table)  # noqa: S608 - names from the database itself
            for table, rows in counts.rows.items()
        ]
        if REVISIONS in counts.rows:
            checks.append(
                (f'SELECT COALESCE(SUM({PRICE}), 0) FROM public."{REVISIONS}"', counts.price_cents, "prices")  # noqa: S608
            )
        body = "".join(
            f"IF ({sql}) <> {want} THEN RAISE EXCEPTION 'the backup does not hold all of {name}'; END IF;\n"
            for sql, want, name in checks
        )
        return f"DO $check$ BEGIN\n{body}END $check$;\n"

    @staticmethod
    def _run(tool: str, *arguments: str) -> None:
        """Run a client tool; the password travels in its environment, where no list of processes shows it."""
        program = shutil.which(tool)
        if program is None:
            raise BackupError(f"{tool} is not installed. Install the client tools of PostgreSQL, then try again.")
        at = connection.settings_dict
        named = {"PGHOST": "HOST", "PGPORT": "PORT", "PGUSER": "USER", "PGPASSWORD": "PASSWORD", "PGDATABASE": "NAME"}
        given = {variable: str(at[key]) for variable, key in named.items() if at.get(key)}
        if mode := at.get("OPTIONS", {}).get("sslmode"):
            given["PGSSLMODE"] = str(mode)
        try:
            done = subprocess.run(  # noqa: S603 - our own argument list, no shell
                [program, *arguments],
                env={**os.environ, **given},
                stdin=subprocess.DEVNULL,
                capture_output=True,
                text=True,
                errors="replace",
                timeout=CLIENT_TIMEOUT_S,
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise BackupError(f"{tool} did not finish within an hour. Look at the database server.") from None
        if done.returncode != 0:
            raise BackupError(f"{tool} failed: {_cause(done.stderr)}")
