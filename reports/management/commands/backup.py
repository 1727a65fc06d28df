"""``manage.py backup FILE``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from reports.backup import backup_write
from reports.backup_engines import BackupError


class Command(BaseCommand):
    help = "Write the database and all documents into one file."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="the new file, for example monday.zip")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            manifest = backup_write(target=options["file"].absolute(), now=timezone.now())
        except BackupError as fault:
            raise CommandError(str(fault)) from fault
        self.stdout.write(f"{options['file']}: {manifest.rows} rows, {manifest.documents} documents")
