"""Which rig goes with whom: the solvers know kinds of rigs only, crews know which one is theirs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from jobs.schedule_check import placement_faults
from jobs.schedule_problem import Placement
from jobs.schedule_rows import Board

Moment = tuple[date, int]


def own_rigs(board: Board, placements: Sequence[Placement]) -> tuple[Placement, ...]:
    """The same plan with the rig that each phase had, else one that usually goes with its crew, where that is free.

    What the check does not allow is left as it was.
    """
    told = {placement.phase: placement.rig for placement in board.placed}
    busy: dict[str, list[tuple[Moment, Moment]]] = {}
    given: list[Placement] = []
    # What has a rig already chooses first, then those whose crew has a rig of its own, each by its beginning.
    order = sorted(
        (one for one in placements if one.rig),
        key=lambda one: (one.phase not in told, not _usual(board, one), _span(one)[0]),
    )
    for one in order:
        begins, ends = _span(one)
        kinds = next(rig.kinds for rig in board.problem.rigs if rig.id == one.rig)
        alike = [rig.id for rig in board.problem.rigs if rig.kinds == kinds]
        wanted = [told.get(one.phase, ""), *_usual(board, one), one.rig, *alike]
        free = [
            rig
            for rig in wanted
            if rig in alike and all(ends <= first or last <= begins for first, last in busy.get(rig, ()))
        ]
        if not free:
            return tuple(placements)
        busy.setdefault(free[0], []).append((begins, ends))
        given.append(replace(one, rig=free[0]))
    by_phase = {one.phase: one for one in given}
    found = tuple(by_phase.get(one.phase, one) for one in placements)
    return tuple(placements) if any(placement_faults(board.problem, found)) else found


def own_rig(board: Board, placement: Placement) -> Placement:
    """A phase moved by hand with a rig that usually goes with its crew, where that breaks nothing."""
    others = [one for one in board.placed if one.phase != placement.phase]
    before = set(placement_faults(board.problem, [*others, placement]))
    for rig in _usual(board, placement) if placement.rig else ():
        tried = replace(placement, rig=rig)
        if set(placement_faults(board.problem, [*others, tried])) <= before:
            return tried
    return placement


def _usual(board: Board, placement: Placement) -> list[str]:
    crew = board.crews[placement.crew]
    kind = board.rigs[placement.rig].kind
    return [f"r{row.rig_id}" for row in crew.rigs.all() if row.rig.kind == kind and row.rig.is_active]


def _span(placement: Placement) -> tuple[Moment, Moment]:
    """From the first hour to the end of the last one: a rig stays where it is in between."""
    first, last = placement.parts[0], placement.parts[-1]
    return (first.on, first.start_hour), (last.on, last.end_hour)
