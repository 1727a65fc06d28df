"""`python3 manage.py house_hpxml HOUSE.json --out FILE`: a measured house as HPXML."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from estimates.management.commands.estimate import read_house
from estimates.records import BadRecord


class Command(BaseCommand):
    """Needs no database: the file says everything."""

    help = "Write a measured house, its tests and its first option as HPXML 4.2, and say what that form does not hold."
    requires_system_checks = ()

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("house", metavar="HOUSE.json", type=Path, help="the measured house; see house_schema")
        parser.add_argument("--out", metavar="FILE.xml", type=Path, required=True, help="the file to write")

    def handle(self, *args: Any, **options: Any) -> None:
        from reports.exports.hpxml import hpxml_left_out, hpxml_xml

        try:
            house = read_house(options["house"])
            written = hpxml_xml(house, written_at=timezone.now())
        except BadRecord as bad:
            for fault in bad.faults:
                self.stderr.write(str(fault))
            raise CommandError("Nothing was written.", returncode=2) from None
        for sentence in hpxml_left_out(house):
            self.stdout.write(f"not in the file: {sentence}")
        write_whole(options["out"], written)
        self.stdout.write(f"Written to {options['out']}: {len(written):,} bytes")


def write_whole(out: Path, content: bytes) -> None:
    """Write a file beside its place and move it there, so that nobody ever sees half of it.

    Raises
    ------
    CommandError : the place cannot be written to.
    """
    half = out.with_name(f".{out.name}.half")
    try:
        half.write_bytes(content)
        half.replace(out)
    except OSError as error:
        half.unlink(missing_ok=True)
        raise CommandError(f"--out: {out} cannot be written: {error.strerror}", returncode=2) from None
