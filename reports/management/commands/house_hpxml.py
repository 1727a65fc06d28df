"""`python3 manage.py house_hpxml HOUSE.json --out FILE`: a measured house as HPXML."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from estimates.house import HouseRecord
from estimates.management.commands.estimate import read_house
from estimates.money import MoneyError
from estimates.physics.validity import OutOfRange
from estimates.pricebook import book_names, load_book
from estimates.pricing import PriceRefused
from estimates.records import BadRecord
from estimates.rules import BadRule, RuleMissing
from estimates.snapshot import take_snapshot


class Command(BaseCommand):
    """Needs no database: the file says everything."""

    help = "Write a measured house, its tests and its first option as HPXML 4.2, and say what that form does not hold."
    requires_system_checks = ()

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("house", metavar="HOUSE.json", type=Path, help="the measured house; see house_schema")
        parser.add_argument("--out", metavar="FILE.xml", type=Path, required=True, help="the file to write")
        parser.add_argument(
            "--price-book", metavar="NAME", help=f"price the first option by one of {', '.join(book_names())}"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        from reports.exports.hpxml import hpxml_left_out

        try:
            house = read_house(options["house"])
            written = _written(house, options["price_book"])
        except BadRecord as bad:
            for fault in bad.faults:
                self.stderr.write(str(fault))
            raise CommandError("Nothing was written.", returncode=2) from None
        except (RuleMissing, PriceRefused, OutOfRange, MoneyError, BadRule) as refused:
            raise CommandError(f"$: {refused}. Nothing was written.", returncode=2) from None
        for sentence in hpxml_left_out(house):
            self.stdout.write(f"not in the file: {sentence}")
        write_whole(options["out"], written)
        self.stdout.write(f"Written to {options['out']}: {len(written):,} bytes")


def _written(house: HouseRecord, book: str | None) -> bytes:
    """The file, with prices and the products' own figures where a price book is named."""
    from reports.exports.hpxml import hpxml_xml
    from reports.exports.hpxml_work import snapshot_hpxml

    if book is None:
        return hpxml_xml(house, written_at=timezone.now())
    return snapshot_hpxml(take_snapshot(house, load_book(book)), written_at=timezone.now())


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
