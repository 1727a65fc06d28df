"""Depths of loose fill that the crew read, held against the row of the coverage table that was sold."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import UTC, datetime

from estimates.models import User
from jobs.booking import frozen_forms
from jobs.depths import attic_depths
from jobs.entries import entries_receive
from jobs.models import Job

NOW = datetime(2026, 4, 14, 15, 0, tzinfo=UTC)


def _read(job: Job, user: User, inches: float, place: str) -> None:
    data = {"depth_in": inches, "place": place}
    item = {"code": str(uuid.uuid4()), "job": str(job.code), "kind": "depth", "data": data}
    assert entries_receive(user=user, items=[item], now=NOW)[0]["state"] == "received"


def test_readings_are_held_against_the_fresh_thickness_that_was_sold(
    measured_job: Callable[..., Job], owner: User
) -> None:
    job = measured_job("alder-foursquare")
    forms = frozen_forms(job)
    attic = attic_depths(job, forms)[0]
    assert attic.judged is None
    # The bag's own table is what counts: 16 CFR 460.12.
    sold = forms["takeoff"]["attics"][0]["added"]["initial_in"]
    assert attic.wanted_in == sold
    for place in ("hatch", "north eave", "south eave", "stair"):
        _read(job, owner, sold + 0.5, place)
    judged = attic_depths(job, forms)[0].judged
    assert judged is not None
    assert judged.judged == "good"
    for place in ("east", "west", "middle", "chimney", "bath"):
        _read(job, owner, sold - 3.0, place)
    judged = attic_depths(job, forms)[0].judged
    assert judged is not None
    assert judged.judged == "redo" or "mean falls short" in judged.words
