"""The balance of a job from what its crew reported."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from estimates.models import User
from jobs.balance_records import JobBalance
from jobs.balance_rows import job_balance, standing
from jobs.booking import frozen_forms
from jobs.entries import entries_receive
from jobs.entry_records import FT3_PER_GAL
from jobs.models import Bay, Job, JobWall

NOW = datetime(2026, 4, 14, 15, 0, tzinfo=UTC)
WET = 5.0  # lb/ft3, the product's own


def _tell(job: Job, user: User, kind: str, data: dict[str, Any], wall: JobWall | None = None, **more: Any) -> str:
    code = str(uuid.uuid4())
    item = {"code": code, "job": str(job.code), "kind": kind, "data": data, "noted_at": NOW.isoformat(), **more}
    if wall is not None:
        item["wall"] = wall.key
    answer = entries_receive(user=user, items=[item], now=NOW)[0]
    assert answer["state"] == "received", answer
    return code


def _pour(job: Job, user: User, wall: JobWall, bays: list[Bay], poured_ft3: float, **more: Any) -> str:
    """Fill bays with a volume: its weight at the product's density, no water booked apart."""
    numbers = [{"bay": bay.number} for bay in bays]
    _tell(job, user, "bay", {"state": "filled", "bays": numbers, "returned": "top hole"}, wall)
    sample = {"container_gal": 1.0, "sample_lb": WET * FT3_PER_GAL}
    data = {"lot": "A7", "ingredients_lb": poured_ft3 * WET, "water_gal": 0.0, "bays": numbers, **sample}
    return _tell(job, user, "mix", data, wall, **more)


def _balance(job: Job) -> JobBalance:
    found = job_balance(job, frozen_forms(job))
    assert isinstance(found, JobBalance), found
    return found


@pytest.fixture
def wall(booked: Callable[..., Job]) -> JobWall:
    return booked("mill-cape").walls.all()[0]


def test_what_was_poured_is_weight_over_wet_density_less_waste(wall: JobWall, owner: User) -> None:
    # D: 10 ft3 x 5 lb/ft3 = 50 lb -> 10 ft3, less 1 ft3 of waste = 9 ft3. FIELD, Fill.
    bays = list(Bay.objects.filter(wall=wall, reachable=True)[:4])
    _pour(wall.job, owner, wall, bays, 10.0)
    _tell(wall.job, owner, "waste", {"waste_ft3": 1.0, "what": "hose"})
    run = _balance(wall.job).runs[0]
    assert run.poured_ft3 == pytest.approx(9.0, rel=1e-6)
    assert run.fill_ft3 == pytest.approx(sum(bay.fill_ft3 for bay in bays), rel=1e-6)


def test_a_run_that_lacks_a_whole_bay_is_suspected_and_says_where_to_look(wall: JobWall, owner: User) -> None:
    bays = list(Bay.objects.filter(wall=wall, reachable=True)[:4])
    _pour(wall.job, owner, wall, bays, sum(bay.fill_ft3 for bay in bays[1:]))
    found = _balance(wall.job)
    assert found.runs[0].chance_void > 0.5
    assert {key[1] for key in (suspect.key for suspect in found.suspects)} <= {bay.number for bay in bays}
    assert found.suspects
    # By its name, not by its key.
    assert [row.name for row in found.walls] == [wall.name]


def test_a_run_that_took_what_its_bays_hold_agrees(wall: JobWall, owner: User) -> None:
    bays = list(Bay.objects.filter(wall=wall, reachable=True)[:4])
    _pour(wall.job, owner, wall, bays, sum(bay.fill_ft3 for bay in bays))
    assert _balance(wall.job).suspects == ()


def test_a_corrected_mix_counts_once(wall: JobWall, owner: User) -> None:
    bays = list(Bay.objects.filter(wall=wall, reachable=True)[:4])
    full = sum(bay.fill_ft3 for bay in bays)
    first = _pour(wall.job, owner, wall, bays, 3 * full)
    numbers = [{"bay": bay.number} for bay in bays]
    data = {"lot": "A7", "ingredients_lb": full * WET, "water_gal": 0.0, "bays": numbers}
    later = (NOW + timedelta(minutes=5)).isoformat()
    _tell(wall.job, owner, "mix", data, wall, replaces=first, noted_at=later)
    assert [entry.kind for entry in standing(wall.job)] == ["bay", "mix"]
    assert _balance(wall.job).runs[0].poured_ft3 == pytest.approx(full, rel=1e-6)


def test_without_a_mix_there_is_nothing_to_compare(wall: JobWall) -> None:
    assert job_balance(wall.job, frozen_forms(wall.job)) == "No mix is booked on a wall with a drawing yet."
