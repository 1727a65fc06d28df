"""Tests of a house round the work: blower door and combustion, kept beside each other, never over each other."""

# ruff: noqa: RUF009 (fields are declared by functions of estimates.records, which make no value)

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.air import option_fresh_air
from estimates.gates import blower_door
from estimates.house import BlowerDoorRecord, CombustionRecord, HouseRecord, Round
from estimates.models.user import User
from estimates.physics.airtightness import EXPONENT, cfm50_single_point, fit_power_law
from estimates.physics.least_squares import t_quantile
from estimates.physics.uncertainty import Percentiles
from estimates.records import flag, one, read_record, text, write_record
from estimates.safety import HouseCombustion, house_combustion
from jobs.booking import frozen_forms
from jobs.models import HouseTest, Job
from jobs.phase_plan import option_form

REPEAT_SHARE = 0.03
"""Standard error of a blower-door test that the fit of one test cannot know: wind, doors, the gauge. [1]
Common practice, no source."""

WHEN = {"in": Round.TEST_IN, "day": Round.DAY_END, "out": Round.TEST_OUT}


@dataclass(frozen=True, slots=True, kw_only=True)
class HouseTestRecord:
    """One round of tests at a house."""

    blower_door: BlowerDoorRecord | None = one(BlowerDoorRecord, "Blower door; left out: not run", default=None)
    combustion: CombustionRecord | None = one(CombustionRecord, "Combustion tests; left out: none", default=None)
    fire_out: bool = flag("No fire was burning", default=False)
    ash_cold: bool = flag("Ash in hearth and stove was cold", default=False)
    appliances_disabled: bool = flag("Every combustion appliance was set so that it could not fire", default=False)
    note: str = text("What was seen", max_length=1000, default="")


@dataclass(frozen=True, slots=True)
class Leakage:
    """Leakage at 50 Pa with its standard error [cfm], exponent of the curve, what to know of the test."""

    cfm50: float
    se: float
    exponent: float
    warnings: tuple[str, ...]


def leakage_of(test: BlowerDoorRecord, *, altitude_ft: float) -> Leakage:
    """Leakage of a house from the readings of one test, as the estimate reads them, with its standard error.

    Parameters
    ----------
    test : three readings and more are fitted, else the one nearest to 50 Pa counts.
    altitude_ft : of the house.

    Notes
    -----
    se^2 = (cfm50 x REPEAT_SHARE)^2 + se_fit^2, where se_fit comes from the interval of the fitted line at 50 Pa, or
    from the range that an unknown exponent leaves to a single reading.

    Raises
    ------
    OutOfRange : readings that make no test.
    """
    if len(test.points) >= 3:
        fit = fit_power_law(
            [point.pressure_pa for point in test.points],
            [point.flow_cfm for point in test.points],
            # The record keeps the sign of the gauge: a house already sucked on reads negative.
            baseline_pa=-test.baseline_pa,
            indoor_f=test.indoor_f,
            outdoor_f=test.outdoor_f,
            altitude_ft=altitude_ft,
        )
        spread = fit.cfm50 * math.log(fit.cfm50_high / fit.cfm50) / t_quantile(0.975, fit.points - 2)
        return Leakage(fit.cfm50, math.hypot(spread, fit.cfm50 * REPEAT_SHARE), fit.exponent, fit.warnings)
    point = min(test.points, key=lambda point: abs(point.pressure_pa - 50.0))
    single = cfm50_single_point(point.flow_cfm, point.pressure_pa + test.baseline_pa)
    middle, low, high = float(single.cfm50), float(single.cfm50_low), float(single.cfm50_high)
    return Leakage(middle, math.hypot((high - low) / 2, middle * REPEAT_SHARE), EXPONENT, single.warnings)


def house_test_record(
    *, job: Job, when: str, form: Mapping[str, Any], by: User, now: datetime, origin: str = ""
) -> HouseTest:
    """Keep a round of tests.

    Parameters
    ----------
    job : where.
    when : "in" before the work, "day" at the end of a day, "out" after the work.
    form : the form of a `HouseTestRecord`.
    by, now, origin : who tested, when, from where.

    Raises
    ------
    BadRecord : faults in the form, each with its path.
    ValidationError : no test at all; a blower door where the fan may not run (rule G2), or whose questions of the day
        were not answered; combustion of another round.
    OutOfRange : readings that make no test.
    """
    record = read_record(HouseTestRecord, form)
    house = read_record(HouseRecord, frozen_forms(job)["house"])
    faults: dict[str, str] = {}
    if when not in WHEN:
        faults["when"] = "Choose when it was tested: before, at the end of a day, or after the work."
    if record.blower_door is None and record.combustion is None:
        faults["combustion"] = "Enter the readings of the blower door or of the combustion test."
    elif record.combustion is not None and when in WHEN and record.combustion.round is not WHEN[when]:
        faults["combustion"] = f"Enter a combustion round of kind {WHEN[when]}."
    leak = None
    if record.blower_door is not None:
        leave = blower_door(
            house.gate_answers,
            house.gate_releases,
            fire=not record.fire_out,
            hot_ash=not record.ash_cold,
            appliances_disabled=record.appliances_disabled,
        )
        if not leave.allowed:
            faults["blower_door"] = f"The fan may not run here: {'; '.join(leave.reasons)}."
        else:
            leak = leakage_of(record.blower_door, altitude_ft=house.climate.altitude_ft)
    if faults:
        raise ValidationError(faults)
    with transaction.atomic():
        row = HouseTest(
            job=job,
            when=when,
            data=json.loads(json.dumps(write_record(record), default=str)),
            cfm50=None if leak is None else leak.cfm50,
            cfm50_se=None if leak is None else leak.se,
            at=now,
            by=by,
        )
        row.full_clean()
        row.save()
        after = {"when": when, "cfm50": None if leak is None else round(leak.cfm50)}
        activity_record(actor=by, action="job.test", target=job, now=now, after=after, origin=origin)
    return row


def combustion_of(job: Job) -> HouseCombustion:
    """Combustion safety of the house by every round that was tested, those of the assessment first."""
    house = read_record(HouseRecord, frozen_forms(job)["house"])
    rounds = [record.combustion for record in records_of(job.tests.all()) if record.combustion is not None]
    return house_combustion(replace(house, combustion=(*house.combustion, *rounds)))


def records_of(tests: Iterable[HouseTest]) -> list[HouseTestRecord]:
    """The records of rounds of tests."""
    return [read_record(HouseTestRecord, test.data) for test in tests]


def shell_days_untested(job: Job, shell_days: Sequence[date], *, today: date) -> tuple[date, ...]:
    """Days on which the shell was altered and no combustion test followed (rule G5), where the house burns anything."""
    house = read_record(HouseRecord, frozen_forms(job)["house"])
    rounds = [record.combustion for record in records_of(job.tests.all()) if record.combustion is not None]
    appliances = any(record.appliances for record in (*house.combustion, *rounds))
    if not appliances:
        return ()
    tested = {record.on for record in rounds if record.round in (Round.DAY_END, Round.TEST_OUT)}
    return tuple(day for day in sorted(set(shell_days)) if day < today and day not in tested)


def ventilation_after(job: Job) -> str:
    """What fan the house needs by its latest test after the work (rule G6); what is missing where there is none."""
    test = job.tests.filter(when="out", cfm50__isnull=False).order_by("-at", "-id").first()
    if test is None or test.cfm50 is None:
        return "Not known yet: run the blower door after the work."
    forms = frozen_forms(job)
    house = read_record(HouseRecord, forms["house"])
    promised = promised_leakage(job, forms)
    width = test.cfm50_se or 0.0
    after = Percentiles(test.cfm50 - 1.2816 * width, test.cfm50, test.cfm50 + 1.2816 * width)
    found = option_fresh_air(house, promised["before"], after)
    return found if isinstance(found, str) else found.sentence


def promised_leakage(job: Job, forms: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """CFM50 before, and P10, P50, P90 of what was expected after the signed option. [cfm]"""
    known = frozen_forms(job) if forms is None else forms
    option_form(known, job.option)
    for outcome in known["performance"]["options"]:
        if outcome["option_id"] == job.option:
            return {"before": outcome["cfm50_before"], "after": outcome["cfm50_after"]}
    raise KeyError(f"the estimate holds no outcome of option {job.option!r}")
