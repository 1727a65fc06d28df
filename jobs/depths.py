"""Depth of loose fill as the crew read it, held against the thickness that was sold."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from estimates.records import read_record
from jobs.balance_rows import standing
from jobs.entry_records import DepthRecord
from jobs.models import EntryKind, Job
from jobs.phase_plan import option_form
from jobs.verification_rules import DepthJudged, judge_depth


@dataclass(frozen=True, slots=True)
class AtticDepth:
    """An attic of the job; `judged` is None while nobody has read a depth there. `wanted_in` is that of fresh fill."""

    name: str
    wanted_in: float
    judged: DepthJudged | None


def attic_depths(job: Job, forms: Mapping[str, Any]) -> list[AtticDepth]:
    """Every attic of the signed option with what its rulers say.

    Parameters
    ----------
    job : which.
    forms : forms of the estimate that was signed: the row of the coverage table that was sold.
    """
    wanted = {line["subject"] for line in option_form(forms, job.option)["lines"] if line["code"] == "attic"}
    attics = [attic for attic in forms["takeoff"]["attics"] if attic["id"] in wanted]
    readings: dict[str, list[float]] = {attic["id"]: [] for attic in attics}
    for entry in standing(job):
        if entry.kind != EntryKind.DEPTH:
            continue
        record = read_record(DepthRecord, entry.data)
        named = [a["id"] for a in attics if record.attic.strip() in (a["id"], a["name"])]
        # With one attic nobody has to say which; with more, what names none belongs to the first.
        place = named[0] if named else next(iter(readings), "")
        if place:
            readings[place].append(record.depth_in)
    return [
        AtticDepth(
            attic["name"],
            attic["added"]["initial_in"],
            judge_depth(readings[attic["id"]], wanted_in=attic["added"]["initial_in"], area_ft2=attic["area_ft2"])
            if readings[attic["id"]]
            else None,
        )
        for attic in attics
    ]
