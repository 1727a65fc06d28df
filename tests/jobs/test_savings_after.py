"""Savings by bills after the job: against an open metering sample, a general library and a simulated house."""

from __future__ import annotations

import csv
import datetime as dt
import itertools
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm
from django.core.exceptions import ValidationError

from estimates.docx_paper import template_faults, text_of
from estimates.house import Fuel, HouseRecord, house_from_json
from estimates.models import ActivityEntry, User
from estimates.physics.validity import OutOfRange
from jobs.booking import frozen_forms
from jobs.models import HouseBills, Job, JobStatus
from jobs.savings_after import (
    ComparedBillsRecord,
    Kept,
    WeatherBillRecord,
    bills_keep,
    promised_units,
    savings_after,
    savings_of,
)
from jobs.savings_letter import SHAPE, TEMPLATE, savings_letter

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT / "tests" / "reference" / "data"
BASE = 60.0
NOW = dt.datetime(2026, 3, 11, 15, 0, tzinfo=dt.UTC)


@pytest.fixture(scope="module")
def house() -> HouseRecord:
    return house_from_json((ROOT / "fixtures" / "houses" / "alder-foursquare.json").read_text(encoding="utf-8"))


def sample() -> tuple[list[WeatherBillRecord], list[WeatherBillRecord]]:
    """The gas sample of the open metering library, cut where its heating load was changed; degree days to 60 degF."""
    with (DATA / "il_daily_mean_tempF.csv").open() as file:
        weather = {dt.date.fromisoformat(day): float(mean) for day, mean in list(csv.reader(file))[1:]}
    with (DATA / "il_gas_bills.csv").open() as file:
        read = [(dt.date.fromisoformat(start), use) for start, use in list(csv.reader(file))[1:]]
    found = []
    for (start, use), (end, _) in itertools.pairwise(read):
        days = [start + dt.timedelta(days=at) for at in range((end - start).days)]
        heat = sum(max(BASE - weather[day], 0.0) for day in days)
        found.append(WeatherBillRecord(first=start, last=days[-1], units=float(use), degree_days=heat))
    return found[:12], found[13:25]


def by_library(bills: list[WeatherBillRecord]) -> tuple[Any, np.ndarray]:
    days = np.array([(bill.last - bill.first).days + 1 for bill in bills], dtype=float)
    use = np.array([bill.units for bill in bills]) / days
    heat = np.array([bill.degree_days for bill in bills]) / days
    return sm.WLS(use, np.column_stack([np.ones(len(bills)), heat]), days).fit(), days


def test_savings_of_the_open_sample_equal_those_of_a_general_library(house: HouseRecord) -> None:
    # D: statsmodels with the same columns, the difference taken at the normal degree days of a year.
    before, after = sample()
    record = ComparedBillsRecord(base_f=BASE, before=tuple(before), after=tuple(after))
    found = savings_after(record, house, {"p10": 200.0, "p50": 300.0, "p90": 400.0})
    (first, _), (second, _) = by_library(before), by_library(after)
    row = np.array([365.0, house.climate.heating_degree_days])
    saved = float(row @ first.params - row @ second.params)
    variance = float(row @ first.cov_params() @ row + row @ second.cov_params() @ row)
    assert found.measured.saved == pytest.approx(saved, rel=1e-9)
    # The interval is symmetric; t of 80 % with ten degrees of freedom and more lies between 1.2816 and 1.3722 (M).
    half = (found.measured.high - found.measured.low) / 2
    assert 1.2815 * variance**0.5 < half < 1.3723 * variance**0.5
    # S: the sample's own description has 750 therms of heating before, 1,000 in all; less after by its second year.
    assert found.before.base_per_day * 365 == pytest.approx(250, rel=0.15)
    assert found.measured.saved > 0
    assert found.ratio == pytest.approx(saved / 300.0)
    assert found.dollars[1] == pytest.approx(saved * house.heating.price_per_unit)


def bills(heat: float, first: dt.date, *, base: float = 0.9, noise: float = 0.0) -> list[dict[str, Any]]:
    """A year of monthly bills of a house that was made up: base use a day and use a degree day."""
    rng, found, day = np.random.default_rng(5), [], first
    for _month in range(12):
        last = (day + dt.timedelta(days=32)).replace(day=1) - dt.timedelta(days=1)
        days = (last - day).days + 1
        degree_days = max(0.0, 15.0 + 17.0 * np.cos(2 * np.pi * (day.month - 0.5) / 12)) * days
        units = (base * days + heat * degree_days) * (1 + noise * rng.standard_normal())
        found.append({"first": day.isoformat(), "last": last.isoformat(), "units": round(units, 3),
                      "degree_days": round(degree_days, 3)})  # fmt: skip
        day = last + dt.timedelta(days=1)
    return found


def compared(before: list[dict[str, Any]], after: list[dict[str, Any]]) -> ComparedBillsRecord:
    sides = [
        tuple(WeatherBillRecord(**{**row, "first": dt.date.fromisoformat(row["first"]),
                                   "last": dt.date.fromisoformat(row["last"])}) for row in rows)
        for rows in (before, after)
    ]  # fmt: skip
    return ComparedBillsRecord(base_f=BASE, before=sides[0], after=sides[1])


BEFORE, AFTER = dt.date(2025, 3, 1), dt.date(2026, 4, 1)


def test_the_word_on_the_promise_follows_both_intervals(house: HouseRecord) -> None:
    normal = house.climate.heating_degree_days
    record = compared(bills(0.25, BEFORE, noise=0.01), bills(0.19, AFTER, noise=0.01))
    truth = 0.06 * normal

    def word(share: float) -> Kept:
        return savings_after(
            record, house, {"p10": 0.8 * share * truth, "p50": share * truth, "p90": 1.2 * share * truth}
        ).kept

    assert word(1.0) is Kept.AS_PROMISED
    assert word(2.0) is Kept.LESS
    assert word(0.5) is Kept.MORE
    exact = savings_after(compared(bills(0.25, BEFORE), bills(0.19, AFTER)), house, {"p10": 1, "p50": 2, "p90": 3})
    assert exact.measured.saved == pytest.approx(truth, rel=1e-5)
    noisy = savings_after(
        compared(bills(0.25, BEFORE, noise=0.5), bills(0.19, AFTER, noise=0.5)), house,
        {"p10": 0.8 * truth, "p50": truth, "p90": 1.2 * truth},
    )  # fmt: skip
    assert noisy.kept is Kept.UNSURE


def test_electric_heat_passes_over_the_months_of_cooling(house: HouseRecord) -> None:
    electric = replace(house, heating=replace(house.heating, fuel=Fuel.ELECTRICITY))
    found = savings_after(
        compared(bills(2.0, BEFORE), bills(1.5, AFTER)), electric, {"p10": 1.0, "p50": 2.0, "p90": 3.0}
    )
    assert (found.passed_over, found.before.periods, found.unit) == (8, 8, "kWh")


def test_bills_that_overlap_or_have_impossible_weather_are_refused(house: HouseRecord) -> None:
    rows = bills(0.25, BEFORE)
    promised = {"p10": 1.0, "p50": 2.0, "p90": 3.0}
    with pytest.raises(OutOfRange, match="two bills that cover 2025-04-15"):
        savings_after(compared([rows[0], {**rows[1], "first": "2025-04-15"}, {**rows[1], "first": "2025-04-15"},
                                *rows[3:]], bills(0.2, AFTER)), house, promised)  # fmt: skip
    with pytest.raises(OutOfRange, match="at most 100 a day"):
        savings_after(compared([{**rows[0], "degree_days": 3_200.0}, *rows[1:]], bills(0.2, AFTER)), house, promised)


def test_bills_are_kept_once_and_only_of_days_outside_the_work(measured_job: Callable[..., Job], owner: User) -> None:
    job = measured_job("alder-foursquare")
    form = {"before": bills(0.25, BEFORE), "after": bills(0.19, AFTER)}
    act: dict[str, Any] = {"job": job, "by": owner, "now": NOW + dt.timedelta(days=400)}
    with pytest.raises(ValidationError, match="not done yet"):
        bills_keep(form=form, **act)
    Job.objects.filter(pk=job.pk).update(
        status=JobStatus.CLOSED, started_at=NOW, done_at=NOW + dt.timedelta(days=5), closed_at=NOW
    )
    job.refresh_from_db()
    with pytest.raises(ValidationError) as caught:
        bills_keep(form={"before": bills(0.25, dt.date(2025, 4, 1)), "after": bills(0.2, dt.date(2026, 3, 1))}, **act)
    assert "The bill to 2026-03-31 covers days of the work" in str(caught.value.message_dict["before"])
    assert "The bill from 2026-03-01 covers days of the work" in str(caught.value.message_dict["after"])
    with pytest.raises(ValidationError, match="cannot be compared"):
        bills_keep(
            form={**form, "after": [{**row, "degree_days": 1000.0 - row["degree_days"]} for row in form["after"]]},
            **act,
        )
    assert not HouseBills.objects.exists()
    kept = bills_keep(form=form, **act)
    assert bills_keep(form=form, **act) == kept
    assert ActivityEntry.objects.filter(action="job.bills").count() == 1
    promised = promised_units(job, frozen_forms(job))
    assert 0 < promised["p10"] < promised["p50"] < promised["p90"]


def test_the_letter_tells_the_interval_and_that_savings_vary(
    measured_job: Callable[..., Job], owner: User, tmp_path: Path
) -> None:
    # 16 CFR 460.19 (S): a claim of savings carries its basis and that savings vary.
    job = measured_job("alder-foursquare")
    with pytest.raises(ValidationError, match="Enter bills after the work first"):
        savings_letter(job, on=dt.date(2027, 5, 3))
    Job.objects.filter(pk=job.pk).update(
        status=JobStatus.CLOSED, started_at=NOW, done_at=NOW + dt.timedelta(days=5), closed_at=NOW
    )
    job.refresh_from_db()
    form = {"before": bills(0.25, BEFORE), "after": bills(0.19, AFTER)}
    kept = bills_keep(job=job, form=form, by=owner, now=NOW + dt.timedelta(days=400))
    path = tmp_path / "letter.docx"
    path.write_bytes(savings_letter(job, on=dt.date(2027, 5, 3)))
    text = text_of(path)
    found = savings_of(kept)
    assert f"between {found.measured.low:,.0f} and {found.measured.high:,.0f} {found.unit}" in text
    assert "vary" in text
    assert template_faults(TEMPLATE, SHAPE, ()) == []
