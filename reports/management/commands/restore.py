"""``manage.py restore FILE``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from reports.backup import backup_restore
from reports.backup_engines import BackupError


class Command(BaseCommand):
    help = "Bring back the database and all documents of a backup."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="a file that the backup command wrote")
        parser.add_argument("--yes-replace", action="store_true", help="replace a database that holds data")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            manifest = backup_restore(
                source=options["file"].absolute(), replace=options["yes_replace"], now=timezone.now()
            )
        except BackupError as fault:
            raise CommandError(str(fault)) from fault
        self.stdout.write(
            f"Restored the backup of {manifest.made_at}: {manifest.rows} rows, {manifest.documents} documents"
        )
