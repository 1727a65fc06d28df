"""Bills before and after a job, brought to the same weather: what the work saved, beside what was promised."""

# ruff: noqa: RUF009 (fields are declared by functions of estimates.records, which make no value)

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.heating_bills import COOLING_MONTHS
from estimates.house import Fuel, HouseRecord
from estimates.models.user import User
from estimates.physics.bills import BillFit, MeasuredSavings, Pattern, Verdict, fit_bills, measured_savings
from estimates.physics.energy import FUELS
from estimates.physics.validity import OutOfRange
from estimates.records import day, flag, many, number, read_record, write_record
from jobs.booking import frozen_forms
from jobs.models import HouseBills, Job

FEWEST_BILLS = 6
"""Bills on each side of the work. Common practice, no source: fewer leave no measure of their own scatter."""

MOST_A_DAY = 100.0
"""Degree days that no day of a house has. [degF day] Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherBillRecord:
    """A bill of the heating fuel with the weather of its days."""

    first: date = day("First day")
    last: date = day("Last day, included")
    units: float = number("", "Therms, gallons or kWh", low=0, high=1_000_000)
    dollars: float | None = number("$", "Amount of the bill; left out: not known", low=0, high=1_000_000, default=None)
    degree_days: float = number("degF day", "Heating degree days of its days", low=0, high=40_000)
    estimated: bool = flag("The meter was not read: the figure is the supplier's estimate", default=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedBillsRecord:
    """Bills of one house before and after the work; degree days to `base_f`."""

    base_f: float = number("degF", "Base of the degree days: that of the house's climate", low=30, high=75)
    before: tuple[WeatherBillRecord, ...] = many(WeatherBillRecord, "Bills before the work", min_items=FEWEST_BILLS)
    after: tuple[WeatherBillRecord, ...] = many(WeatherBillRecord, "Bills after the work", min_items=FEWEST_BILLS)


class Kept(StrEnum):
    """How what was measured stands to what was promised."""

    AS_PROMISED = "as promised"
    LESS = "less than promised"
    MORE = "more than promised"
    UNSURE = "too uncertain to tell"


@dataclass(frozen=True, slots=True)
class SavingsAfter:
    """What the work saved in a typical year, beside what was promised.

    before, after : the fits of both sides. measured : in a typical year, 80 % interval. [unit/year] promised : P10,
    P50, P90 of the signed option. [unit/year] price : of a unit, as in the estimate. [$] passed_over : bills of months
    in which electricity also cools.
    """

    unit: str
    before: BillFit
    after: BillFit
    measured: MeasuredSavings
    promised: Mapping[str, float]
    price: float
    kept: Kept
    sentence: str
    passed_over: int
    warnings: tuple[str, ...]

    @property
    def ratio(self) -> float | None:
        """Saved over the promised middle; None where nothing was promised."""
        return self.measured.saved / self.promised["p50"] if self.promised["p50"] > 0 else None

    @property
    def dollars(self) -> tuple[float, float, float]:
        """Saved a year at the price of the estimate: low, middle, high. [$]"""
        found = self.measured
        return (found.low * self.price, found.saved * self.price, found.high * self.price)


def savings_after(record: ComparedBillsRecord, house: HouseRecord, promised: Mapping[str, float]) -> SavingsAfter:
    r"""Weather-normalised savings of a meter from its bills.

    Parameters
    ----------
    record : bills of the heating fuel with the degree days of their days.
    house : as frozen with the estimate: fuel, price, climate normals.
    promised : P10, P50 and P90 of the units saved in a year.

    Raises
    ------
    OutOfRange : bills that overlap, that do not rise with the cold, or with more than `MOST_A_DAY` degree days a day.

    Notes
    -----
    .. math:: u_i = \beta_0 + \beta_h \, \mathrm{HDD}_i / d_i

    is fitted before and after; the difference is taken at the normal degree days of a year. Degree days are to one
    base, so a day of the period is given the temperature `base - HDD / d`, which has that mean exactly. Bills of the
    months in which electricity cools too are passed over.

    References
    ----------
    .. [1] As `estimates.physics.bills.fit_bills` and `measured_savings`.
    """
    fuel = house.heating.fuel
    sides, over, warnings = [], 0, []
    for name, bills in (("before", record.before), ("after", record.after)):
        kept, passed = _heating_season(bills, fuel)
        over += passed
        fit = _fit(name, kept, record.base_f)
        estimated = sum(bill.estimated for bill in kept)
        if estimated:
            warnings.append(f"{estimated} of {len(kept)} bills {name} the work are the supplier's estimates")
        # The base is that of the climate, not one that was searched for.
        warnings += [f"{name} the work: {words}" for words in fit.warnings if "those tried" not in words]
        sides.append(fit)
    normal = house.climate.heating_degree_days
    typical = np.full(365, record.base_f - normal / 365.0)
    measured = measured_savings(sides[0], sides[1], typical)
    kept_word = _kept(sides, measured, promised)
    unit = FUELS[fuel].unit
    return SavingsAfter(
        unit=unit,
        before=sides[0],
        after=sides[1],
        measured=measured,
        promised=promised,
        price=house.heating.price_per_unit,
        kept=kept_word,
        sentence=_sentence(measured, promised, unit, kept_word),
        passed_over=over,
        warnings=tuple(dict.fromkeys((*warnings, *measured.warnings))),
    )


def _heating_season(bills: Sequence[WeatherBillRecord], fuel: Fuel) -> tuple[list[WeatherBillRecord], int]:
    if fuel is not Fuel.ELECTRICITY:
        return list(bills), 0
    kept = [bill for bill in bills if (bill.first + (bill.last - bill.first) / 2).month not in COOLING_MONTHS]
    return kept, len(bills) - len(kept)


def _fit(side: str, bills: Sequence[WeatherBillRecord], base_f: float) -> BillFit:
    if len(bills) < 3:
        raise OutOfRange(side, f"{len(bills)} bills outside the months of cooling", "3 or more")
    days, daily, last = [], [], None
    for bill in sorted(bills, key=lambda bill: (bill.first, bill.last)):
        # Suppliers print the day of reading on both bills: one day in common counts once.
        first = bill.first + timedelta(days=1) if bill.first == last else bill.first
        if last is not None and first <= last:
            raise OutOfRange(side, f"two bills that cover {bill.first.isoformat()}", "bills that do not overlap")
        days.append((bill.last - first).days + 1)
        if days[-1] < 1:
            raise OutOfRange(side, f"a bill of no days on {bill.first.isoformat()}", "last day on or after the first")
        if bill.degree_days > MOST_A_DAY * days[-1]:
            raise OutOfRange(
                side,
                f"{bill.degree_days:,.0f} degree days in {days[-1]} days from {bill.first.isoformat()}",
                f"at most {MOST_A_DAY:g} a day",
            )
        daily += [base_f - bill.degree_days / days[-1]] * days[-1]
        last = bill.last
    use = [bill.units for bill in sorted(bills, key=lambda bill: (bill.first, bill.last))]
    return fit_bills(use, days, daily, Pattern.HEATING, heating_base_f=base_f)


def _kept(sides: Sequence[BillFit], measured: MeasuredSavings, promised: Mapping[str, float]) -> Kept:
    weak = any(fit.verdict is Verdict.WEAK for fit in sides)
    if measured.high < promised["p10"]:
        return Kept.UNSURE if weak else Kept.LESS
    if measured.low > promised["p90"]:
        return Kept.UNSURE if weak else Kept.MORE
    # An interval wider than what was promised in all holds every answer, so it is none.
    wide = measured.high - measured.low > 2.0 * max(promised["p50"], promised["p90"] - promised["p10"])
    return Kept.UNSURE if weak or wide else Kept.AS_PROMISED


def _sentence(measured: MeasuredSavings, promised: Mapping[str, float], unit: str, kept: Kept) -> str:
    low, high = f"{measured.low:,.0f}", f"{measured.high:,.0f}"
    return (
        f"Saved {measured.saved:,.0f} {unit} in a year of normal weather (80 %: {low} to {high}), "
        f"{measured.share * 100:.0f} % of what this meter used; promised {promised['p50']:,.0f} "
        f"({promised['p10']:,.0f} to {promised['p90']:,.0f}): {kept.value}."
    )


# --- What is kept of a job -------------------------------------------------------------------------------------------


def promised_units(job: Job, forms: Mapping[str, Any]) -> dict[str, float]:
    """P10, P50, P90 of the units saved in a year by the signed option, as the estimate gave them.

    Raises
    ------
    KeyError : the estimate holds no outcome of it.
    """
    for outcome in forms["performance"]["options"]:
        if outcome["option_id"] == job.option:
            return {name: float(outcome["saved_units"][name]) for name in ("p10", "p50", "p90")}
    raise KeyError(f"the estimate holds no outcome of option {job.option!r}")


def work_days(job: Job) -> tuple[date, date] | None:
    """First and last day of the work by the clock of the house; None while it is not done."""
    if job.started_at is None or job.done_at is None:
        return None
    zone = ZoneInfo(job.zone)
    return job.started_at.astimezone(zone).date(), job.done_at.astimezone(zone).date()


def savings_of(bills: HouseBills, forms: Mapping[str, Any] | None = None) -> SavingsAfter:
    """What a set of bills says.

    Raises
    ------
    OutOfRange : they cannot be compared any more.
    """
    known = frozen_forms(bills.job) if forms is None else forms
    house = read_record(HouseRecord, known["house"])
    return savings_after(read_record(ComparedBillsRecord, bills.data), house, promised_units(bills.job, known))


def bills_keep(*, job: Job, form: Mapping[str, Any], by: User, now: datetime, origin: str = "") -> HouseBills:
    """Keep the bills before and after a job; the same set again writes nothing.

    Parameters
    ----------
    job : one whose work is done.
    form : the form of a `ComparedBillsRecord` without its base, which is that of the house.
    by, now, origin : who, when, from where.

    Raises
    ------
    BadRecord : faults in the form, each with its path.
    ValidationError : the work is not done; bills that cover days of the work; bills that cannot be compared.
    """
    done = work_days(job)
    if done is None:
        raise ValidationError({"after": "The work is not done yet: enter bills once it is."})
    forms = frozen_forms(job)
    house = read_record(HouseRecord, forms["house"])
    record = read_record(ComparedBillsRecord, {**form, "base_f": house.climate.base_f})
    faults: dict[str, list[str]] = {"before": [], "after": []}
    for bill in record.before:
        if bill.last >= done[0]:
            faults["before"].append(f"The bill to {bill.last.isoformat()} covers days of the work; leave it out.")
    for bill in record.after:
        if bill.first <= done[1]:
            faults["after"].append(f"The bill from {bill.first.isoformat()} covers days of the work; leave it out.")
    if not any(faults.values()):
        try:
            savings_after(record, house, promised_units(job, forms))
        except OutOfRange as fault:
            faults["before" if fault.name == "before" else "after"].append(f"These bills cannot be compared: {fault}.")
    if any(faults.values()):
        raise ValidationError({name: words for name, words in faults.items() if words})
    data = json.loads(json.dumps(write_record(record), default=str))
    with transaction.atomic():
        locked = Job.objects.select_for_update().get(pk=job.pk)
        last = HouseBills.objects.filter(job=locked).order_by("-at", "-id").first()
        if last is not None and last.data == data:
            return last
        row = HouseBills(job=locked, data=data, at=now, by=by)
        row.full_clean()
        row.save()
        after = {"before": len(record.before), "after": len(record.after)}
        activity_record(actor=by, action="job.bills", target=locked, now=now, after=after, origin=origin)
    return row
