"""`python3 manage.py draw HOUSE.json --out FILE.html`: every wall of a house file as an elevation on one page."""

from __future__ import annotations

import argparse
from html import escape
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from estimates.drawing import elevation, to_svg
from estimates.filing import write_whole
from estimates.house import HouseRecord
from estimates.management.commands.estimate import read_house
from estimates.pricebook import load_book
from estimates.records import BadRecord
from estimates.takeoff import WallTakeoff, take_off

WIDTH_PX = 720


class Command(BaseCommand):
    """For a look at what was measured, before anything is priced; fixtures/odd_walls.json is a gallery of odd walls."""

    help = "Draw every wall of a house file, with its bays, holes and counts, on one HTML page."
    requires_system_checks = ()

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("house", metavar="HOUSE.json", type=Path, help="the measured house; see house_schema")
        parser.add_argument("--out", metavar="FILE.html", type=Path, required=True, help="page to write")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            house = read_house(options["house"])
        except BadRecord as bad:
            for fault in bad.faults:
                self.stderr.write(str(fault))
            raise CommandError("Nothing was written.", returncode=2) from None
        write_whole(options["out"], drawn_page(house).encode())
        self.stdout.write(f"{len(house.walls)} walls drawn in {options['out']}")


def drawn_page(house: HouseRecord) -> str:
    """A page of its own with every wall of a house."""
    counted = take_off(house, load_book("standard")).walls
    walls = "\n".join(_wall(one) for one in counted)
    name = escape(house.name)
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{name}</title></head>'
        f"<body><h1>{name}</h1>\n{walls}\n</body></html>\n"
    )


def _wall(counted: WallTakeoff) -> str:
    layout = counted.layout
    facts = (
        f"{layout.gross_ft2:.1f} ft² in all, {layout.net_ft2:.1f} ft² net, framing {layout.framing_fraction:.1%}, "
        f"{len(layout.bays)} bays, {layout.hole_count} holes, {layout.volume_ft3:.2f} ft³ to fill"
    )
    notes = "".join(f"<li>{escape(note)}</li>" for note in (*counted.stops, *counted.warnings))
    title = escape(counted.wall.name)
    picture = to_svg(
        elevation(layout, counted.wall), title=counted.wall.name, width=WIDTH_PX, key=f"w-{counted.wall.id}"
    )
    return f"<h2>{title}</h2>\n<p>{facts}</p>\n{f'<ul>{notes}</ul>' if notes else ''}\n{picture}"
