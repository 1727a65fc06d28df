"""Heating read from bills: by hand, and against a degree-day regression of a published sample.

D: derived here by a second method. CP: common practice, no source.
"""

from __future__ import annotations

import csv
import datetime as dt
import itertools
from dataclasses import replace
from pathlib import Path

import pytest

from estimates.heating_bills import HeatingUse, heating_use
from estimates.house import BillRecord, Fuel, HouseRecord, house_from_json
from estimates.physics.bills import Pattern, fit_bills, normalised_use

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "tests" / "reference" / "data"


@pytest.fixture(scope="module")
def house() -> HouseRecord:
    cape = house_from_json((ROOT / "fixtures" / "houses" / "mill-cape.json").read_text(encoding="utf-8"))
    heating = replace(cape.heating, fuel=Fuel.NATURAL_GAS, yearly_units=None, price_per_unit=1.5)
    return replace(cape, heating=heating, bills=())


MONTHS = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]

HEATING = [150, 120, 90, 50, 10, 0, 0, 0, 10, 50, 100, 140]


def year(
    base_per_day: float = 1.0, fuel: Fuel = Fuel.NATURAL_GAS, first: int = 2025, years: int = 1
) -> list[BillRecord]:
    """Monthly bills of whole years: base load and `HEATING`."""
    day, bills = dt.date(first, 1, 1), []
    for days, heat in zip(MONTHS * years, HEATING * years, strict=True):
        last = day + dt.timedelta(days=days - 1)
        bills.append(BillRecord(fuel=fuel, first=day, last=last, units=base_per_day * days + heat))
        day = last + dt.timedelta(days=1)
    return bills


def use(house: HouseRecord, bills: list[BillRecord], **heating: object) -> HeatingUse:
    return heating_use(replace(house, bills=tuple(bills), heating=replace(house.heating, **heating)))  # type: ignore[arg-type]


def test_heating_is_what_stands_over_the_lowest_months_by_hand(house: HouseRecord) -> None:
    # D: three summer months of base load alone: all over 365 x 1 is heating, 720 in sum.
    found = use(house, year())
    assert found.units == pytest.approx(720.0)
    assert found.billed is not None
    assert found.billed.base_units == pytest.approx(365.0)
    assert found.billed.total_units == pytest.approx(1085.0)
    assert (found.billed.days, found.billed.bills) == (365, 12)
    assert found.warnings == ()
    assert "lowest months" in found.basis


def test_eleven_months_are_scaled_to_a_year(house: HouseRecord) -> None:
    # D: without the December bill 580 of heating over 334 days.
    found = use(house, year()[:11])
    assert found.units == pytest.approx(580 * 365 / 334)


def test_less_than_330_days_hold_nothing(house: HouseRecord) -> None:
    found = use(house, year()[:10])
    assert found.units is None
    assert any("cover 304 days: enter 330 days or more" in words for words in found.warnings)


def test_of_two_years_the_latest_counts(house: HouseRecord) -> None:
    old, new = year(first=2024), year(base_per_day=2.0)
    old = [bill for bill in old if bill.last < dt.date(2025, 1, 1) - dt.timedelta(days=2)]
    found = use(house, [*new, *old])
    assert found.billed is not None
    assert found.billed.first == "2025-01-01"
    assert found.billed.base_units == pytest.approx(730.0)


def test_a_yearly_bill_counts_whole_because_nothing_tells_the_base_load(house: HouseRecord) -> None:
    bill = BillRecord(fuel=Fuel.NATURAL_GAS, first=dt.date(2025, 1, 1), last=dt.date(2025, 12, 31), units=900.0)
    found = use(house, [bill])
    assert found.units == 900.0
    assert "all use counts as heating" in found.basis


def test_lowest_months_agree_with_a_degree_day_regression_of_a_published_sample(house: HouseRecord) -> None:
    # D: gas bills of the open metering sample, a year of them by the lowest months and by variable-base regression on
    # daily temperatures; the two ways need not agree closer than about a tenth.
    weather = {day: float(mean) for day, mean in _rows("il_daily_mean_tempF.csv")}
    read = [(dt.date.fromisoformat(start), amount) for start, amount in _rows("il_gas_bills.csv")]
    bills, amounts, days, daily = [], [], [], []
    for (start, amount), (end, _) in list(itertools.pairwise(read))[0:12]:
        span = [start + dt.timedelta(days=k) for k in range((end - start).days)]
        bills.append(BillRecord(fuel=Fuel.NATURAL_GAS, first=start, last=span[-1], units=float(amount)))
        amounts.append(float(amount))
        days.append(len(span))
        daily += [weather[day.isoformat()] for day in span]
    theirs = normalised_use(fit_bills(amounts, days, daily, Pattern.HEATING), daily)
    found = use(house, bills)
    assert found.billed is not None
    scale = 365 / sum(days)
    assert found.billed.total_units == pytest.approx(sum(amounts) * scale)
    assert found.units == pytest.approx(theirs.heating * scale, rel=0.1)


def _rows(name: str) -> list[list[str]]:
    with (SAMPLE / name).open() as file:
        return list(csv.reader(file))[1:]


def test_summer_electricity_over_the_base_load_is_cooling(house: HouseRecord) -> None:
    bills = year(base_per_day=10.0, fuel=Fuel.ELECTRICITY)
    # Cooling in July and August; the lowest months are then May, June and September, with 10, 0 and 10 of heating.
    hot = [replace(bill, units=bill.units + (400 if bill.first.month in (7, 8) else 0)) for bill in bills]
    found = use(house, hot, fuel=Fuel.ELECTRICITY, price_per_unit=0.2)
    base = (10 * 91 + 20) / 91
    assert found.billed is not None
    assert found.billed.base_units == pytest.approx(base * 365)
    # D: July and August over the base load, and nothing of June and September, which lie under it or at it.
    cooling = sum(max(0.0, units - base * days) for units, days in ((300, 30), (710, 31), (710, 31), (310, 30)))
    assert found.billed.cooling_units == pytest.approx(cooling)
    assert found.units == pytest.approx(10 * 365 + 720 + 800 - base * 365 - cooling)
    assert "and cooling" in found.basis


def test_the_suppliers_estimates_are_counted_and_named(house: HouseRecord) -> None:
    bills = year()
    bills[3] = replace(bills[3], estimated=True)
    found = use(house, bills)
    assert found.billed is not None
    assert found.billed.estimated == 1
    assert any("1 of 12 bills" in words for words in found.warnings)


def test_a_day_of_reading_on_both_bills_counts_once_and_more_is_no_overlap_that_counts(house: HouseRecord) -> None:
    bills = year()
    shared = [replace(bill, last=bill.last + dt.timedelta(days=1)) for bill in bills]
    found = use(house, shared)
    assert found.billed is not None
    assert found.billed.days == 366
    doubled = [replace(bill, last=bill.last + dt.timedelta(days=2)) for bill in bills]
    refused = use(house, doubled)
    assert refused.units is None
    assert any("two bills of natural gas cover the day 2025-02-01" in words for words in refused.warnings)
    assert use(house, [*bills, bills[4]]).units is None


def test_a_gap_between_bills_is_named(house: HouseRecord) -> None:
    found = use(house, [bill for bill in year() if bill.first.month != 6])
    assert any("30 days between the bills" in words for words in found.warnings)


def test_bills_of_another_fuel_or_that_do_not_rise_with_the_cold_hold_nothing(house: HouseRecord) -> None:
    other = use(house, year(fuel=Fuel.ELECTRICITY))
    assert other.units is None
    assert any("none of natural gas" in words for words in other.warnings)
    flat = use(house, [replace(bill, units=(bill.last - bill.first).days + 1.0) for bill in year()])
    assert flat.units is None
    assert any("do not rise with the cold" in words for words in flat.warnings)
    assert use(house, [replace(bill, units=0.0) for bill in year()]).units is None
    assert any("enter heating.yearly_units" in words for words in use(house, []).warnings)


@pytest.mark.parametrize(("typed", "warned"), [(720.0, False), (930.0, False), (940.0, True), (500.0, True)])
def test_a_typed_figure_goes_first_and_is_held_against_the_bills(
    house: HouseRecord, typed: float, warned: bool
) -> None:
    # The bills come to 720; 30 % of them are 216.
    found = use(house, year(), yearly_units=typed)
    assert found.units == typed
    assert any("check both" in words for words in found.warnings) is warned


def test_a_typed_figure_under_a_bill_of_all_use_is_as_it_should_be(house: HouseRecord) -> None:
    bill = BillRecord(fuel=Fuel.NATURAL_GAS, first=dt.date(2025, 1, 1), last=dt.date(2025, 12, 31), units=900.0)
    assert use(house, [bill], yearly_units=500.0).warnings == ()
    assert use(house, [bill], yearly_units=1200.0).warnings != ()


def test_a_price_far_from_what_was_paid_is_named(house: HouseRecord) -> None:
    paid = [replace(bill, dollars=2.0 * bill.units) for bill in year()]
    assert any("$2.00 a therm" in words for words in use(house, paid, price_per_unit=1.2).warnings)
    assert use(house, paid, price_per_unit=1.6).warnings == ()
