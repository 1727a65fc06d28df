"""Why a wall may not be injected now: open gates, wet framing, cold. Facts are taken all the same, and told to stop."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Any

from estimates.conditions import (
    FramingReading,
    TemperatureLimits,
    TemperatureReading,
    may_inject,
    product_limits,
    wet_walls,
)
from estimates.pricebook import FoamProduct, PriceBook
from estimates.records import read_record
from jobs.booking import frozen_forms
from jobs.entry_records import MixRecord, TemperatureRecord
from jobs.models import CrewEntry, DayWeather, EntryKind, Job, JobWall
from jobs.start_gates import job_start, wall_gates

WET_BAND = 0.10
"""Part by which a wet density may differ from the product's. [1] Common practice, no source."""


@lru_cache(maxsize=64)
def _foam(job: int, revision: int) -> FoamProduct:
    forms = frozen_forms(Job.objects.get(pk=job))
    return read_record(PriceBook, forms["price_book"]).foam


def foam_of(job: Job) -> FoamProduct:
    """The foam of the price book that priced the job."""
    return _foam(job.pk, job.revision_id)


def injection_stops(job: Job, wall: JobWall, *, at: datetime, day: date) -> list[str]:
    """Every reason against injecting a wall at a time, in words; none where it may be injected.

    Parameters
    ----------
    job, wall : the job and its wall.
    at, day : when foam goes in: the moment, and the day in the zone of the house.
    """
    found = [f"{gate.name} is not met; {gate.owes or 'the office'} owes it" for gate in _gates(job, wall)]
    start = job_start(job, lead_safe=job.walls.filter(lead_safe=True).exists(), not_before=day)
    if job.locked_at is not None:
        found.append(f"the job is locked: {job.lock_reason}")
    elif start.day != day:
        found.append(start.sentence)
    return [*found, *_wet(job, wall, day), *_cold(job, wall, at=at, day=day)]


def _gates(job: Job, wall: JobWall) -> Any:
    return wall_gates(job).get(wall.key, ())


def _wet(job: Job, wall: JobWall, day: date) -> list[str]:
    rows = CrewEntry.objects.filter(wall=wall, kind=EntryKind.MOISTURE, day__lte=day)
    readings = [
        FramingReading(wall.key, entry.day, entry.data["content_pct"] / 100.0, entry.data.get("bay")) for entry in rows
    ]
    return list(wet_walls(readings, [wall.key]).values())


def _cold(job: Job, wall: JobWall, *, at: datetime, day: date) -> list[str]:
    entry = (
        CrewEntry.objects.filter(wall=wall, kind=EntryKind.TEMPERATURE, day=day, noted_at__lte=at)
        .order_by("-noted_at", "-id")
        .first()
    )
    if entry is None:
        return ["no temperatures at this wall today: measure air, surface, chemicals and water"]
    return temperature_stops(job, wall, read_record(TemperatureRecord, entry.data), day=day)


def temperature_stops(job: Job, wall: JobWall, read: TemperatureRecord, *, day: date) -> list[str]:
    """What temperatures at a wall say against injecting it."""
    foam = foam_of(job)
    low = read.forecast_low_f
    if low is None:
        lows = DayWeather.objects.filter(day__gte=day, day__lte=day + timedelta(days=foam.drying_days))
        low = min((float(row) for row in lows.values_list("low_f", flat=True)), default=None)
    limits: TemperatureLimits = product_limits(foam)
    reading = TemperatureReading(
        wall.key, read.slot.value, read.air_f, read.substrate_f, read.chemical_f, read.water_f, low
    )
    return list(may_inject(reading, limits).reasons)


def density_look(job: Job, wet_lb_ft3: float | None) -> list[str]:
    """What a wet density says about a mix [lb/ft3]; nothing within the band of the product, or where none is known."""
    if wet_lb_ft3 is None:
        return []
    want = foam_of(job).wet_lb_ft3
    low, high = want * (1 - WET_BAND), want * (1 + WET_BAND)
    if low <= wet_lb_ft3 <= high:
        return []
    side = "heavier" if wet_lb_ft3 > high else "lighter"
    return [
        f"wet density {wet_lb_ft3:.2f} lb/ft3 is {side} than {low:.2f} to {high:.2f} lb/ft3: "
        "stop, set the mix right and weigh again"
    ]


def mix_stops(job: Job, mix: MixRecord) -> list[str]:
    """What a mix by itself says against going on: its weight, its own temperatures."""
    least = foam_of(job).least_temp_f
    cold = [
        f"{name} at {value:g} degF, at least {least:g} degF wanted: wait"
        for name, value in (("water", mix.water_f), ("chemical", mix.chemical_f))
        if value is not None and value < least
    ]
    return [*density_look(job, mix.wet_lb_ft3), *cold]
