"""`python3 manage.py export_journal PERIOD --out FILE.csv`: the entries of the books for the bookkeeper's program."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from estimates.records import BadRecord
from jobs.models import ExportKind
from reports.export_batches import export_look, period_named
from reports.exports.tables import table_csv
from reports.management.commands.house_hpxml import write_whole


class Command(BaseCommand):
    """Marks nothing as exported: that is for people, who do it on the page of the exports."""

    help = "Write the balanced journal entries of a period as CSV, under the bookkeeper's codes."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("period", metavar="PERIOD", help="a year, a quarter or a month: 2026, 2026-Q1, 2026-03")
        parser.add_argument("--out", metavar="FILE.csv", type=Path, required=True, help="the file to write")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            (sheet,) = export_look(ExportKind.JOURNAL, period_named(options["period"]))
        except BadRecord as bad:
            for one in bad.faults:
                self.stderr.write(str(one))
            raise CommandError("Nothing was written.", returncode=2) from None
        except ValueError as fault:
            raise CommandError(f"PERIOD: {fault}", returncode=2) from None
        write_whole(options["out"], table_csv(sheet.table))
        self.stdout.write(f"Written to {options['out']}: {len(sheet.items)} entries, {len(sheet.keys)} postings")
