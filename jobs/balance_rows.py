"""The bay balance of a job from what its crew reported: entries and bays in, suspected voids and escapes out."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from estimates.physics.validity import OutOfRange
from estimates.records import read_record
from jobs.balance import balance
from jobs.balance_bays import bay_fills
from jobs.balance_records import BayFill, BayKey, JobBalance, MixRun
from jobs.entry_records import BaysRecord, DensityRecord, MixRecord, WasteRecord
from jobs.found_walls import layout_of, record_of, states_of
from jobs.models import CrewEntry, EntryKind, Job, JobWall

DENSITY_SD_SHARE = 0.03
"""Standard error of a wet density taken from the product, where nobody weighed a sample, as a share of it. [1]
Common practice, no source."""


def job_balance(job: Job, forms: Mapping[str, Any]) -> JobBalance | str:
    """Compare what was poured with what the bays hold, walls that have a drawing and mixes that were booked.

    Parameters
    ----------
    job : where.
    forms : the forms of the estimate that was signed.

    Returns
    -------
    JobBalance; a sentence where there is nothing to compare, or where the entries contradict each other.

    Notes
    -----
    Waste is taken off the last mix booked before it on that day.
    """
    walls = [wall for wall in job.walls.all() if wall.drawn]
    entries = standing(job)
    runs = list(_runs(entries, {wall.key for wall in walls}, forms))
    if not runs:
        return "No mix is booked on a wall with a drawing yet."
    year = forms["house"]["year_built"]
    bays: list[BayFill] = []
    returns = _returns(entries)
    try:
        for wall in walls:
            bays += _fills(wall, year, returns.get(wall.key, {}))
        return _with_names(balance(bays, runs), {wall.key: wall.name for wall in walls})
    except OutOfRange as fault:
        return f"The entries contradict each other: {fault}."


def _with_names(found: JobBalance, names: Mapping[str, str]) -> JobBalance:
    """The same with walls called by their names, as the crew knows them."""
    key = "|".join(re.escape(one) for one in sorted(names, key=len, reverse=True))
    # A key may be part of another one, or of a word: "front" in "up-front".
    known = re.compile(rf"(?:wall )?(?<![\w-])({key})(?![\w-])")

    def said(words: str) -> str:
        return known.sub(lambda match: names[match[1]], words)

    return replace(
        found,
        walls=tuple(replace(row, name=said(row.name)) for row in found.walls),
        suspects=tuple(replace(one, look=said(one.look)) for one in found.suspects),
        faults=tuple(said(words) for words in found.faults),
    )


def standing(job: Job) -> list[CrewEntry]:
    """Entries of a job that no later entry replaced, in the order in which they were noted."""
    rows = list(CrewEntry.objects.filter(job=job).select_related("wall").order_by("noted_at", "id"))
    replaced = {row.replaces for row in rows if row.replaces is not None}
    return [row for row in rows if row.code not in replaced]


def _fills(wall: JobWall, year: int, returns: Mapping[int, float]) -> tuple[BayFill, ...]:
    layout = layout_of(wall, year_built=year)
    known = {bay.number for bay in layout.bays}
    states = {number: state for number, state in states_of(wall).items() if number in known}
    seen = {number: height for number, height in returns.items() if number in known}
    share = min(1.0, max(1e-6, wall.room_share))
    return bay_fills(record_of(wall), layout, states, room_share=share, returns_in=seen)


def _returns(entries: list[CrewEntry]) -> dict[str, dict[int, float]]:
    found: dict[str, dict[int, float]] = {}
    for entry in entries:
        if entry.kind != EntryKind.BAY or entry.wall is None:
            continue
        for bay in read_record(BaysRecord, entry.data).bays:
            if bay.return_at_in is not None:
                found.setdefault(bay.wall or entry.wall.key, {})[bay.bay] = bay.return_at_in
    return found


def _runs(entries: list[CrewEntry], drawn: set[str], forms: Mapping[str, Any]) -> Iterator[MixRun]:
    wet = float(forms["price_book"]["foams"][0]["wet_lb_ft3"])
    samples: dict[str, float] = {}
    waste: dict[int, float] = {}
    last: int | None = None
    mixes: list[tuple[CrewEntry, MixRecord]] = []
    for entry in entries:
        if entry.kind == EntryKind.DENSITY:
            sample = read_record(DensityRecord, entry.data)
            samples[sample.lot] = sample.wet_lb_ft3
        elif entry.kind == EntryKind.MIX and entry.wall is not None:
            record = read_record(MixRecord, entry.data)
            mixes.append((entry, record))
            last = entry.pk
        elif entry.kind == EntryKind.WASTE and last is not None:
            waste[last] = waste.get(last, 0.0) + read_record(WasteRecord, entry.data).waste_ft3
    for entry, record in mixes:
        assert entry.wall is not None
        keys: list[BayKey] = [(bay.wall or entry.wall.key, bay.bay) for bay in record.bays]
        if not {wall for wall, _ in keys} <= drawn:
            continue
        measured = record.wet_lb_ft3 or samples.get(record.lot) or samples.get("")
        yield MixRun(
            id=f"{entry.wall.name}, {entry.day:%d %b}, lot {record.lot}, no. {entry.pk}",
            bays=tuple(dict.fromkeys(keys)),
            mass_lb=record.mass_lb,
            wet_lb_ft3=measured or wet,
            wet_sd_lb_ft3=None if measured else wet * DENSITY_SD_SHARE,
            meter_ft3=record.meter_ft3,
            waste_ft3=waste.get(entry.pk, 0.0),
            bay_meter_ft3={key: bay.meter_ft3 for key, bay in zip(keys, record.bays) if bay.meter_ft3 is not None},
            pump_s={key: bay.pump_s for key, bay in zip(keys, record.bays) if bay.pump_s is not None},
        )
