"""What was installed, part by part: the facts of the insulation receipt (rule B1, 16 CFR 460.17).

Walls by the bays that were filled, as found; attics by the bags that were emptied, at the row of the bag's own coverage
table that they reach. R-values are those that the product lists, never worked out, never added up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from estimates.house import AsFoundRecord, WallRecord
from estimates.pricebook import CoverageRow, LooseProduct, PriceBook
from estimates.records import read_record
from estimates.takeoff import fact_row
from jobs.balance_rows import standing
from jobs.entry_records import BagsRecord, LeakRecord
from jobs.models import Bay, BayState, EntryKind, Job, JobWall
from jobs.phase_plan import option_form

HOLDS_FOAM = (BayState.FILLED, BayState.DOUBTFUL, BayState.PROVEN)
"""States of a bay with foam in it."""


@dataclass(frozen=True, slots=True)
class WallReceipt:
    """Foam in one wall: area of the filled bays [ft2], thickness as found [in], the listed thickness and R beside it.

    `listed_in` and `r` are None where the sheet lists nothing as thin as this.
    """

    name: str
    kind: str
    product: str
    area_ft2: float
    thickness_in: float
    listed_in: float | None
    r: float | None
    filled: int
    not_filled: int


@dataclass(frozen=True, slots=True)
class AtticReceipt:
    """Loose fill on one attic floor: area [ft2], bags, and the row of the coverage table that the bags reach."""

    name: str
    kind: str
    product: str
    area_ft2: float
    bags: int
    row: CoverageRow | None


@dataclass(frozen=True, slots=True)
class Receipt:
    """Everything installed, each part by itself; `leaks` are the sites that were closed."""

    walls: tuple[WallReceipt, ...]
    attics: tuple[AtticReceipt, ...]
    leaks: tuple[str, ...]


def receipt_parts(job: Job, forms: Mapping[str, Any]) -> Receipt:
    """What was installed at a job by what its crew reported.

    Parameters
    ----------
    job : which.
    forms : forms of the estimate that was signed: its products hold.
    """
    book = read_record(PriceBook, forms["price_book"])
    walls = [_wall(wall, book) for wall in job.walls.all()]
    return Receipt(
        tuple(wall for wall in walls if wall.filled), tuple(_attics(job, forms, book)), tuple(_leaks(job, forms))
    )


def _wall(wall: JobWall, book: PriceBook) -> WallReceipt:
    bays = list(Bay.objects.filter(wall=wall, retired=False, reachable=True))
    filled = [bay for bay in bays if bay.state in HOLDS_FOAM]
    thickness = foam_thickness(wall)
    listed = fact_row(book.foam, thickness)
    return WallReceipt(
        name=wall.name,
        kind=book.foam.kind,
        product=book.foam.name,
        area_ft2=sum(bay.area_ft2 for bay in filled),
        thickness_in=thickness,
        listed_in=None if listed is None else listed.thickness_in,
        r=None if listed is None else listed.r,
        filled=len(filled),
        not_filled=len(bays) - len(filled),
    )


def foam_thickness(wall: JobWall) -> float:
    """Thickness of the foam in a wall as found: what its depth leaves beside the old insulation. [in]"""
    record = read_record(WallRecord, wall.wall)
    depth = read_record(AsFoundRecord, wall.found).depth_in if wall.found else None
    if depth is None:
        return wall.foam_in
    return max(0.0, depth - (record.depth_in - wall.foam_in))


def reached_row(product: LooseProduct, area_ft2: float, bags: float) -> CoverageRow | None:
    """The row with the largest R whose bags were really used; None where even the first asks for more.

    Examples
    --------
    >>> from estimates.pricebook import load_book
    >>> product = load_book("standard").loose_fill
    >>> row = reached_row(product, 1000.0, 66)
    >>> (row.r, row.bags_per_1000_ft2) if row else None
    (44.0, 65.2)
    """
    reached = [row for row in product.coverage if row.bags_per_1000_ft2 * area_ft2 / 1000.0 <= bags + 1e-9]
    return max(reached, key=lambda row: row.r, default=None)


def _attics(job: Job, forms: Mapping[str, Any], book: PriceBook) -> list[AtticReceipt]:
    wanted = {line["subject"] for line in option_form(forms, job.option)["lines"] if line["code"] == "attic"}
    attics = [attic for attic in forms["takeoff"]["attics"] if attic["id"] in wanted]
    used = dict.fromkeys((attic["id"] for attic in attics), 0)
    for entry in standing(job):
        if entry.kind != EntryKind.BAGS:
            continue
        record = read_record(BagsRecord, entry.data)
        named = [a["id"] for a in attics if record.attic.strip() in (a["id"], a["name"])]
        # With one attic nobody has to say which; with more, what names none belongs to the first.
        place = named[0] if named else next(iter(used), "")
        if place:
            used[place] += record.bags
    product = book.loose_fill
    return [
        AtticReceipt(
            name=attic["name"],
            kind=product.kind,
            product=product.name,
            area_ft2=attic["area_ft2"],
            bags=used[attic["id"]],
            row=reached_row(product, attic["area_ft2"], used[attic["id"]]),
        )
        for attic in attics
        if used[attic["id"]]
    ]


def _leaks(job: Job, forms: Mapping[str, Any]) -> list[str]:
    names = {site["id"]: site["name"] for site in forms["takeoff"]["leak_sites"]}
    closed: dict[str, bool] = {}
    for entry in standing(job):
        if entry.kind == EntryKind.LEAK:
            record = read_record(LeakRecord, entry.data)
            closed[names.get(record.site, record.site)] = record.closed
    return [name for name, done in closed.items() if done]
