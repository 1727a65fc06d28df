"""What heating takes in a year by the bills: the roof over all savings, and the measure of the model before the work.

The climate record holds no daily temperatures, so a year of bills is summed, not fitted to the weather; after the
work `estimates.physics.bills` compares meters day by day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from estimates.house import BillRecord, Fuel, HouseRecord
from estimates.physics.energy import FUELS

FEWEST_DAYS = 330
"""Days that bills must cover to stand for a year. Common practice, no source."""

YEAR_DAYS = 365

LONGEST_MONTH_DAYS = 45
"""A bill of more days is no monthly bill. Common practice, no source."""

SHORTEST_MONTH_DAYS = 15
"""A bill of fewer days (a move, a change of meter) is none of the lowest months. Common practice, no source."""

LOWEST_MONTHS = 3
"""Months of least use a day whose mean counts as base load. Common practice, no source."""

COOLING_MONTHS = (6, 7, 8, 9)
"""Months whose electricity over the base load counts as cooling, not heating. Common practice, no source."""

APART = 0.30
"""Share by which a typed figure may differ from the bills before somebody must look. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class BilledYear:
    """A year of bills, scaled to 365 days: use in all, base load, cooling and heating. [therm, gal or kWh]

    first, last : days the bills run from and to, ISO form; days : billed days between them; estimated : bills among
    `bills` that are a supplier's estimate; base_known : monthly bills told the base load, else it is 0.
    """

    fuel: Fuel
    unit: str
    first: str
    last: str
    days: int
    bills: int
    estimated: int
    base_known: bool
    total_units: float
    base_units: float
    cooling_units: float
    heating_units: float


@dataclass(frozen=True, slots=True)
class HeatingUse:
    """Heating in a year that no saving may exceed. [therm, gal or kWh] None: neither typed nor billed.

    basis : where the figure comes from, in a sentence.
    """

    units: float | None
    basis: str
    billed: BilledYear | None
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Period:
    bill: BillRecord
    days: int

    @property
    def per_day(self) -> float:
        return self.bill.units / self.days


def heating_use(house: HouseRecord) -> HeatingUse:
    """What heating takes in a year: as typed, else by the bills of the heating fuel.

    Parameters
    ----------
    house : its `heating.yearly_units` goes before its bills; both far apart is warned of.

    Returns
    -------
    HeatingUse.

    Notes
    -----
    Of the bills, the latest that come nearest to a year count, 330 days at least. Scaled to 365 days,
    heating = all - base load - cooling. Base load: mean use a day of the three lowest months, where every bill is of
    45 days at most; otherwise 0, so that all use counts as heating. Cooling: electricity of June to September over
    the base load. All of it common practice (CP), not corrected for the weather of the year.
    """
    billed, warnings = _billed_year(house)
    typed = house.heating.yearly_units
    warnings += _price_warnings(house, billed)
    if typed is not None:
        warnings += _apart(typed, billed)
        return HeatingUse(typed, "heating.yearly_units, as entered from the bills", billed, tuple(warnings))
    if billed is None:
        warnings.append(
            "savings are not held against bills: enter heating.yearly_units or a year of bills of the heating fuel"
        )
        return HeatingUse(None, "no figure for heating from bills", None, tuple(warnings))
    if billed.heating_units <= 0:
        warnings.append(f"bills of {_words(billed.fuel)} do not rise with the cold: heating cannot be read from them")
        return HeatingUse(None, "bills that do not rise with the cold", billed, tuple(warnings))
    return HeatingUse(billed.heating_units, _basis(billed), billed, tuple(warnings))


def _words(fuel: Fuel) -> str:
    return fuel.replace("_", " ")


def _basis(billed: BilledYear) -> str:
    spread = f"{billed.bills} bills over {billed.days} days, {billed.first} to {billed.last}, scaled to a year"
    if not billed.base_known:
        return f"{spread}; all use counts as heating, because no monthly bills tell the base load"
    base = f"less the base load of the {LOWEST_MONTHS} lowest months"
    return f"{spread}, {base}{' and cooling' if billed.cooling_units > 0 else ''}"


def _billed_year(house: HouseRecord) -> tuple[BilledYear | None, list[str]]:
    fuel = house.heating.fuel
    bills = sorted((bill for bill in house.bills if bill.fuel is fuel), key=lambda bill: (bill.first, bill.last))
    if not bills:
        return None, [f"bills are recorded, but none of {_words(fuel)}, which heats the house"] if house.bills else []
    periods: list[_Period] = []
    for bill in bills:
        before = periods[-1].bill.last if periods else None
        # Suppliers print the day of reading on both bills: one day in common is no overlap, and counts once.
        start = bill.first + timedelta(days=1) if bill.first == before else bill.first
        days = (bill.last - start).days + 1
        if days < 1 or (before is not None and start <= before):
            return None, [
                f"two bills of {_words(fuel)} cover the day {bill.first.isoformat()}: correct their days; not used"
            ]
        periods.append(_Period(bill, days))
    latest = [periods[start:] for start in range(len(periods))]
    long_enough = [run for run in latest if _days(run) >= FEWEST_DAYS]
    if not long_enough:
        return None, [
            f"bills of {_words(fuel)} cover {_days(periods)} days: enter {FEWEST_DAYS} days or more to hold savings "
            "against them"
        ]
    run = min(long_enough, key=lambda run: (abs(_days(run) - YEAR_DAYS), len(run)))
    return _summed(fuel, run), _run_warnings(fuel, run)


def _days(run: Sequence[_Period]) -> int:
    return sum(period.days for period in run)


def _summed(fuel: Fuel, run: Sequence[_Period]) -> BilledYear:
    scale = YEAR_DAYS / _days(run)
    monthly = all(period.days <= LONGEST_MONTH_DAYS for period in run)
    total = sum(period.bill.units for period in run)
    base_per_day = _base_per_day(run) if monthly else 0.0
    cooling = 0.0
    if monthly and fuel is Fuel.ELECTRICITY:
        for period in run:
            middle = period.bill.first + (period.bill.last - period.bill.first) / 2
            if middle.month in COOLING_MONTHS:
                cooling += max(0.0, period.bill.units - base_per_day * period.days)
    base = base_per_day * _days(run)
    left = total - base - cooling
    return BilledYear(
        fuel=fuel,
        unit=FUELS[fuel].unit,
        first=run[0].bill.first.isoformat(),
        last=run[-1].bill.last.isoformat(),
        days=_days(run),
        bills=len(run),
        estimated=sum(period.bill.estimated for period in run),
        base_known=monthly,
        total_units=total * scale,
        base_units=base * scale,
        cooling_units=cooling * scale,
        # Equal months differ in the last digit only; that is no heating.
        heating_units=left * scale if left > 1e-9 * total else 0.0,
    )


def _base_per_day(run: Sequence[_Period]) -> float:
    whole = [period for period in run if period.days >= SHORTEST_MONTH_DAYS] or run
    lowest = sorted(whole, key=lambda period: period.per_day)[:LOWEST_MONTHS]
    return sum(period.bill.units for period in lowest) / _days(lowest)


def _run_warnings(fuel: Fuel, run: Sequence[_Period]) -> list[str]:
    found = []
    estimated = sum(period.bill.estimated for period in run)
    if estimated:
        found.append(
            f"{estimated} of {len(run)} bills of {_words(fuel)} are the supplier's estimates: read the meter, or take "
            "the figure with care"
        )
    span = (run[-1].bill.last - run[0].bill.first).days + 1
    if span > _days(run):
        found.append(f"{span - _days(run)} days between the bills of {_words(fuel)} are not billed: look for the rest")
    if _days(run) > YEAR_DAYS + LONGEST_MONTH_DAYS:
        found.append(
            f"bills of {_words(fuel)} cover {_days(run)} days in pieces too long to cut to a year: a winter may count "
            "twice"
        )
    return found


def _apart(typed: float, billed: BilledYear | None) -> list[str]:
    """What to say of a typed figure beside the bills; without a base load bills are only an upper bound."""
    if billed is None or billed.heating_units <= 0:
        return []
    ratio = typed / billed.heating_units
    if ratio <= 1 + APART and (ratio >= 1 - APART or not billed.base_known):
        return []
    return [
        f"heating.yearly_units is {typed:,.0f} {billed.unit}, the bills come to {billed.heating_units:,.0f}: check both"
    ]


def _price_warnings(house: HouseRecord, billed: BilledYear | None) -> list[str]:
    """What to say where dollars over units on the bills lie far from the price that savings are worked out with."""
    if billed is None:
        return []
    paid = [
        (bill.dollars, bill.units)
        for bill in house.bills
        if bill.fuel is billed.fuel and bill.dollars is not None and billed.first <= bill.first.isoformat()
    ]
    units = sum(used for _, used in paid)
    if units <= 0:
        return []
    price = sum(dollars for dollars, _ in paid) / units
    if abs(house.heating.price_per_unit - price) <= APART * price:
        return []
    return [
        f"the bills come to ${price:,.2f} a {billed.unit}, heating.price_per_unit is "
        f"${house.heating.price_per_unit:,.2f}: check both"
    ]
