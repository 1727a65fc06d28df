"""`python3 manage.py hpxml_house FILE.xml --out HOUSE.json`: an HPXML file as a house to go on with."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from estimates.management.commands.estimate import read_house
from estimates.records import BadRecord, Fault
from reports.management.commands.house_hpxml import write_whole


class Command(BaseCommand):
    """Needs no database: the file says everything."""

    help = "Read walls, attics and the blower-door test of an HPXML file into a house file, and say what was not taken."
    requires_system_checks = ()

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE.xml", type=Path, help="the HPXML file, version 4.0 to 4.2")
        parser.add_argument("--out", metavar="HOUSE.json", type=Path, required=True, help="the house file to write")
        parser.add_argument(
            "--like", metavar="HOUSE.json", type=Path, help="a house nearby, for the climate and the price of fuel"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        from reports.exports.hpxml_import import house_from_hpxml

        try:
            like = None if options["like"] is None else read_house(options["like"])
            read = house_from_hpxml(_bytes_of(options["file"]), like=like)
        except BadRecord as bad:
            for fault in bad.faults:
                self.stderr.write(str(fault))
            raise CommandError("Nothing was written.", returncode=2) from None
        for note in read.notes:
            self.stdout.write(str(note))
        for fault in read.missing:
            self.stdout.write(f"to enter: {fault}")
        write_whole(options["out"], (json.dumps(read.form, indent=1, ensure_ascii=False) + "\n").encode())
        count = len(read.missing)
        left = f"; {count} {'fact' if count == 1 else 'facts'} to enter before it can be estimated" if count else ""
        self.stdout.write(f"Written to {options['out']}{left}")


def _bytes_of(path: Path) -> bytes:
    """The file; one byte more than is allowed is enough to refuse a large one."""
    from reports.exports.hpxml_reading import MOST_BYTES

    try:
        with path.open("rb") as file:
            return file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise BadRecord([Fault(str(path), "no such file; enter the path of an HPXML file")]) from None
    except OSError as error:
        raise BadRecord([Fault(str(path), f"cannot be read: {error.strerror}")]) from None
