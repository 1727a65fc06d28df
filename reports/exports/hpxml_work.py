"""The work of a priced option as an HPXML file tells it: quantities, prices, and what the products' own papers list."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime

from estimates.house import Measure
from estimates.snapshot import Snapshot
from reports.exports.hpxml import hpxml_xml
from reports.exports.hpxml_enclosure import Work


def snapshot_work(snapshot: Snapshot, place: int = 0) -> Iterator[Work]:
    """What a priced option does to each part.

    Parameters
    ----------
    snapshot : the whole chain, worked out.
    place : which option, from 0.

    Returns
    -------
    One `Work` for each part that is priced; what a gate or a wall itself stops is not among them. The cost is the
    part's own price to the homeowner: lines of the whole job, such as travel, belong to no part and are in none.
    Thickness and resistance are those of the data sheet's line that applies, never a value between two lines.

    Raises
    ------
    IndexError : there is no such option.
    """
    foam = {wall.wall.id: wall for wall in snapshot.takeoff.walls}
    attics = {attic.attic.id: attic for attic in snapshot.takeoff.attics}
    for line in snapshot.options[place].lines:
        if line.measure is None or not line.subject:
            continue
        work = Work(
            part=line.subject,
            measure=line.measure,
            quantity=line.quantity,
            unit=line.unit,
            cost_cents=line.price_cents,
        )
        if line.measure is Measure.WALL_INJECTION:
            wall = foam[line.subject]
            yield replace(work, thickness_in=wall.foam_in, added_r=None if wall.fact is None else wall.fact.r)
        elif line.measure is Measure.ATTIC_TOP_UP:
            row = attics[line.subject].row
            assert row is not None  # an attic without a row has no line
            kind = snapshot.book.loose_fill.material
            yield replace(work, material=kind, thickness_in=row.settled_in, added_r=row.r)
        else:
            yield work


def snapshot_hpxml(snapshot: Snapshot, *, written_at: datetime, place: int = 0, done_on: date | None = None) -> bytes:
    """Write a priced option of a house as HPXML 4.2: see `hpxml.hpxml_xml` and `snapshot_work`.

    Parameters
    ----------
    snapshot : the whole chain, worked out.
    written_at : when the file is made, with its time zone.
    place : which option, from 0.
    done_on : the day the work was complete; None: it is still planned.

    Returns
    -------
    UTF-8 XML; the leakage after the work is the best estimate of the option, None without a test before.

    Raises
    ------
    IndexError : there is no such option.
    BadRecord : see `hpxml.hpxml_xml`.
    """
    after = snapshot.performance.options[place].cfm50_after
    return hpxml_xml(
        snapshot.house,
        written_at=written_at,
        work=tuple(snapshot_work(snapshot, place)),
        title=snapshot.options[place].option.name,
        cfm50_after=None if after is None else after.p50,
        done_on=done_on,
    )
