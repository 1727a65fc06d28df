"""`python3 manage.py methods --out FILE.html`: how every figure is worked out, and what it was checked against."""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from estimates.filing import write_whole
from estimates.methods import Check, methods, methods_page, read_checks


class Command(BaseCommand):
    """The page is made from the docstrings, so it cannot fall behind the code."""

    help = "Write the methods page: every public function of the engine, and every check against the outside."
    requires_system_checks = ()

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("--out", metavar="FILE.html", type=Path, required=True, help="page to write")
        parser.add_argument(
            "--checks",
            metavar="FILE.json",
            type=Path,
            help="checks measured before by: manage.py test tests/reference --checks FILE.json; "
            "left out: they are measured now, in half a minute",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["checks"] is None:
            with tempfile.TemporaryDirectory() as folder:
                checks = measured_checks(Path(folder) / "checks.json")
        else:
            try:
                checks = read_checks(options["checks"])
            except (OSError, ValueError, TypeError) as fault:
                raise CommandError(
                    f"--checks {options['checks']} cannot be read ({fault}). Make it with: "
                    "python3 manage.py test tests/reference --checks FILE.json"
                ) from None
        found = methods()
        write_whole(options["out"], methods_page(found, checks).encode())
        self.stdout.write(f"{len(found)} functions and {len(checks)} checks in {options['out']}")


def measured_checks(path: Path) -> tuple[Check, ...]:
    """Run the checks against the outside and read what they compared."""
    command = [sys.executable, "manage.py", "test", "tests/reference", "-q", "-p", "no:cacheprovider"]
    run = subprocess.run(  # noqa: S603 - our own program
        [*command, "--checks", str(path)], cwd=settings.BASE_DIR, capture_output=True, text=True, check=False
    )
    if run.returncode:
        raise CommandError(f"A check against the outside fails; nothing was written.\n{run.stdout[-2000:]}{run.stderr}")
    return read_checks(path)
