"""Walls and bays of a job, copied from the takeoff that was signed; from then on they are the crew's."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from estimates.house import QuickWallRecord
from estimates.records import read_record, write_record
from estimates.takeoff import quick_wall
from jobs.models import Bay, Job, JobWall


def copy_walls(job: Job, forms: Mapping[str, Any], option: Mapping[str, Any]) -> list[JobWall]:
    """Write the walls that the signed option injects, with every bay of their layout.

    Parameters
    ----------
    job : a saved job without walls.
    forms : forms of the frozen estimate.
    option : the signed option among them.

    Notes
    -----
    Old insulation takes the same share of every bay, as in the takeoff. Walls known by a few figures have no drawing;
    their bays share the fill evenly until the crew has measured them.
    """
    records = dict(_records(forms))
    wanted = [line["subject"] for line in option["lines"] if line["code"] == "wall"]
    counted = {wall["id"]: wall for wall in forms["takeoff"]["walls"]}
    careful = set(option["lead_rule"]["lead_safe_walls"])
    rows = []
    for position, key in enumerate(wanted, start=1):
        wall = counted[key]
        share = wall["fill_ft3"] / wall["cavity_ft3"] if wall["cavity_ft3"] else 0.0
        row = JobWall(
            job=job,
            key=key,
            name=wall["name"],
            position=position,
            wall=records[key],
            # A quotient of rounded figures may lie a hair outside.
            room_share=min(1.0, max(0.0, share)),
            foam_in=wall["foam_in"],
            fill_ft3=wall["fill_ft3"],
            mixes=wall["mixes"],
            lead_safe=key in careful,
            drawn=bool(wall["bays"]),
        )
        row.full_clean()
        row.save()
        Bay.objects.bulk_create(_bays(row, wall))
        rows.append(row)
    return rows


def _records(forms: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    for form in forms["house"].get("walls", []):
        yield form["id"], form
    for form in forms["house"].get("quick_walls", []):
        yield form["id"], write_record(quick_wall(read_record(QuickWallRecord, form)))


def _bays(row: JobWall, wall: Mapping[str, Any]) -> Iterator[Bay]:
    if not wall["bays"]:
        count = wall["reachable_bay_count"]
        for number in range(1, count + 1):
            yield Bay(wall=row, number=number, area_ft2=wall["cavity_ft2"] / count, fill_ft3=row.fill_ft3 / count)
        return
    for bay in wall["bays"]:
        reachable = bay["reachable"]
        yield Bay(
            wall=row,
            number=bay["number"],
            area_ft2=bay["area_ft2"],
            fill_ft3=bay["volume_ft3"] * row.room_share if reachable else 0.0,
            holes=len(bay["holes"]),
            reachable=reachable,
            why_not=bay["reason"][:200],
            state=Bay.state.field.default if reachable else "left out",
        )
