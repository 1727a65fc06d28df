"""`python3 manage.py estimate HOUSE.json --out DIR`: a measured house in, its figures and its proposal out."""

from __future__ import annotations

import argparse
import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, OutputWrapper
from django.utils import timezone

from estimates.house import HouseRecord, house_from_json
from estimates.money import MoneyError, format_money
from estimates.physics.units import parse_quantity
from estimates.physics.validity import OutOfRange
from estimates.pricebook import book_names, load_book
from estimates.pricing import PriceRefused
from estimates.records import BadRecord, Fault
from estimates.rules import BadRule, RuleMissing
from estimates.snapshot import Snapshot, canonical_json, take_snapshot

FILES = ("takeoff", "performance", "estimate")

MOST_WALLS_PRINTED = 1000
"""The office takes minutes for the pages of more walls than these, and would be stopped before it is done."""


class Command(BaseCommand):
    """Needs no database: the file says everything."""

    help = "Write takeoff.json, performance.json, estimate.json and proposal.docx (and .pdf when LibreOffice is there)."
    requires_system_checks = ()

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("house", metavar="HOUSE.json", type=Path, help="the measured house; see house_schema")
        parser.add_argument(
            "--out", metavar="DIR", type=Path, required=True, help="folder for the files; made if missing"
        )
        parser.add_argument(
            "--price-book", metavar="NAME", default="standard", help=f"one of {', '.join(book_names())}"
        )
        parser.add_argument("--seed", metavar="N", type=_seed, default=1, help="seed of the ranges (default 1)")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            house, book = read_house(options["house"]), load_book(options["price_book"])
        except BadRecord as bad:
            for fault in bad.faults:
                self.stderr.write(str(fault))
            raise CommandError(_closing(len(bad.faults)), returncode=2) from None
        try:
            snapshot = take_snapshot(house, book, seed=options["seed"])
        except BadRecord as bad:
            for fault in bad.faults:
                self.stderr.write(str(fault))
            raise CommandError(_closing(len(bad.faults)), returncode=2) from None
        except RuleMissing as missing:
            raise CommandError(f"$.priced_on: {missing}. Nothing was written.", returncode=2) from None
        except PriceRefused as refused:
            raise CommandError(f"{refused.path}: {refused}. Nothing was written.", returncode=2) from None
        except (OutOfRange, MoneyError, BadRule) as beyond:
            # Every field was within its own limits, and yet a formula was asked for more than it holds for.
            raise CommandError(f"$: {beyond}. Nothing was written.", returncode=2) from None
        out: Path = options["out"]
        if out.exists() and not out.is_dir():
            raise CommandError(f"--out: {out} is a file; enter a folder. Nothing was written.", returncode=2)
        written = write_files(snapshot, out, self.stdout)
        if not snapshot.gates.complete:
            waiting = ", ".join(gate.hazard.id for gate in snapshot.gates.open)
            self.stdout.write(f"The assessment is not complete; hazard gates not yet answered: {waiting}")
        for option, offer in zip(snapshot.options, snapshot.offers, strict=True):
            price = format_money(option.price_cents)
            self.stdout.write(f"{option.option.name}: {price}, margin {option.margin:.1%}, markup {option.markup:.1%}")
            for given in offer.incentives.given:
                self.stdout.write(f"  {given.programme.terms.name}: {format_money(given.cents)}, estimated")
            for warning in (*option.warnings, *map(str, offer.faults)):
                self.stdout.write(f"  note: {warning}")
        self.stdout.write(f"Written to {out}: {', '.join(written)}")


def read_house(path: Path) -> HouseRecord:
    """Read a house file; quantities may carry their unit as text.

    Raises
    ------
    BadRecord : the file cannot be read, or holds faults.
    """
    try:
        source = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise BadRecord([Fault(str(path), "no such file; enter the path of a house file")]) from None
    except UnicodeDecodeError:
        raise BadRecord([Fault(str(path), "not UTF-8 text; save it as UTF-8")]) from None
    except OSError as error:
        raise BadRecord([Fault(str(path), f"cannot be read: {error.strerror}")]) from None
    return house_from_json(source, parse=parse_quantity)


def write_files(snapshot: Snapshot, out: Path, said: OutputWrapper) -> list[str]:
    """Write everything into a folder beside `out` first, then move file by file, so that no half file is ever seen."""
    from estimates.office import OfficeFailed, write_pdf
    from estimates.papers import write_house_proposal

    out.parent.mkdir(parents=True, exist_ok=True)
    workplace = Path(tempfile.mkdtemp(prefix=".estimate-", dir=out.parent))
    try:
        forms = snapshot.forms()
        for name in FILES:
            (workplace / f"{name}.json").write_text(canonical_json(forms[name]), encoding="utf-8")
        today = timezone.localdate()
        paper = write_house_proposal(snapshot, workplace / "proposal.docx", revision=1, issued_on=today)
        pdf = None
        if len(snapshot.takeoff.walls) > MOST_WALLS_PRINTED:
            said.write(f"note: no PDF: the paper tells of more than {MOST_WALLS_PRINTED} walls; print the .docx")
        else:
            try:
                pdf = write_pdf(paper)
            except OfficeFailed as failed:
                # The .docx is whole; a PDF can be made from it later.
                said.write(f"note: no PDF: {failed}")
        names = [f"{name}.json" for name in FILES] + [paper.name] + ([pdf.name] if pdf else [])
        out.mkdir(parents=True, exist_ok=True)
        for name in names:
            os.replace(workplace / name, out / name)
        if pdf is None:
            # A PDF of an earlier run would not belong to this proposal.
            (out / "proposal.pdf").unlink(missing_ok=True)
    finally:
        shutil.rmtree(workplace, ignore_errors=True)
    return names


def _closing(count: int) -> str:
    return f"{count} {'fault' if count == 1 else 'faults'}; nothing was written."


def _seed(text: str) -> int:
    if text.isdigit() and int(text) < 2**63:
        return int(text)
    raise argparse.ArgumentTypeError(f"{text!r} is not a seed; enter a whole number of 0 or more")
