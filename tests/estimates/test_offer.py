"""What the homeowner pays: measures, payments under the caps of three states, incentives by day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from estimates.house import HouseholdRecord, HouseRecord, OptionRecord, house_from_json
from estimates.pricebook import PriceBook, load_book
from estimates.pricing import PriceRefused
from estimates.records import BadRecord
from estimates.snapshot import Snapshot, snapshot_from_text, take_snapshot

HOUSES = Path(__file__).resolve().parents[2] / "fixtures" / "houses"


@pytest.fixture(scope="module")
def book() -> PriceBook:
    return load_book("standard")


@pytest.fixture(scope="module")
def cape() -> HouseRecord:
    house = house_from_json((HOUSES / "mill-cape.json").read_text(encoding="utf-8"))
    return replace(house, county="", household=None, gate_answers=(), gate_releases=())


def run(house: HouseRecord, book: PriceBook, **changes: Any) -> Snapshot:
    return take_snapshot(replace(house, **changes), book)


def test_measures_add_up_to_the_price_and_material_is_a_part_of_it(cape: HouseRecord, book: PriceBook) -> None:
    snapshot = run(cape, book)
    (priced,), (offer,) = snapshot.options, snapshot.offers
    assert sum(cost.price_cents for cost in offer.measures) == priced.price_cents
    assert all(0 < cost.material_cents < cost.price_cents for cost in offer.measures)


@pytest.mark.parametrize("state", ["NY", "MD", "CA"])
def test_payments_add_up_and_keep_the_rules_of_the_state(state: str, cape: HouseRecord, book: PriceBook) -> None:
    (offer,) = run(cape, book, state=state, county="").offers
    assert offer.faults == ()
    assert sum(step.cents for step in offer.steps) == offer.total_cents
    assert [step.due for step in offer.steps] == ["at signing", "as work goes on", "on completion"]


def test_the_deposit_of_california_stops_at_a_thousand_dollars(cape: HouseRecord, book: PriceBook) -> None:
    # Business and Professions Code 7159 as cited by public guides (S): 10 percent or $1,000, whichever is less.
    rates = tuple(replace(rate, best=0.3) if rate.id == "deposit" else rate for rate in book.rates)
    (offer,) = run(cape, replace(book, rates=rates), state="CA").offers
    assert offer.total_cents > 10_000_00
    assert offer.deposit_cents == 1_000_00
    assert offer.cap.rule is not None
    assert "10 percent" in offer.cap.rule.quote
    (third,) = run(cape, replace(book, rates=rates), state="MD").offers
    assert third.deposit_cents == min(third.total_cents // 3, round(third.total_cents * 0.3))


def test_no_federal_credit_for_work_in_service_after_2025(cape: HouseRecord, book: PriceBook) -> None:
    # 26 USC 25C (S): none for property placed in service after 31 December 2025.
    last = {"priced_on": date(2025, 12, 1), "in_service_on": date(2025, 12, 31)}
    (before,) = run(cape, book, **last).offers
    assert [item.programme.id for item in before.incentives.given] == ["federal-insulation-credit"]
    assert before.incentives.total_cents <= 1_200_00
    (after,) = run(cape, book, **last | {"in_service_on": date(2026, 1, 1)}).offers
    assert after.incentives.given == ()


def test_what_stacks_never_passes_the_price_and_every_cap_is_listed(cape: HouseRecord, book: PriceBook) -> None:
    poor = HouseholdRecord(income_share=0.5, approved=("fernmoor-income",))
    (offer,) = run(cape, book, county="Fernmoor", priced_on=date(2026, 3, 2), household=poor).offers
    assert 0 < offer.incentives.total_cents <= offer.price_cents
    for item in offer.incentives.given:
        asked = sum(item.by_measure.values())
        assert asked == item.cents
    assert any("cap" in cap for item in offer.incentives.given for cap in item.caps)
    (unknown,) = run(cape, book, county="Fernmoor", priced_on=date(2026, 3, 2)).offers
    assert ("fernmoor-income", "household income is not recorded; ask for it") in unknown.incentives.refused


def test_a_discount_comes_before_margin_and_floor(cape: HouseRecord, book: PriceBook) -> None:
    plain = run(cape, book).options[0]
    lower = OptionRecord(id="all", name="All", discount=2500.0, discount_reason="two neighbours at once")
    priced = run(cape, book, options=(lower,)).options[0]
    assert priced.price_cents == plain.price_cents - 2500_00
    assert priced.discount_cents == 2500_00
    assert priced.cost_cents == plain.cost_cents
    assert priced.below_floor
    assert not plain.below_floor


def test_a_discount_beyond_the_price_is_refused(cape: HouseRecord, book: PriceBook) -> None:
    lower = OptionRecord(id="all", name="All", discount=1e6, discount_reason="mistyped")
    first = OptionRecord(id="first", name="First")
    with pytest.raises(PriceRefused, match=r"discount of \$1,000,000\.00 is more than the price") as refused:
        run(cape, book, options=(first, lower))
    assert refused.value.path == "$.options[1]"


def test_overhead_is_taken_from_the_margin_and_not_from_the_price(cape: HouseRecord, book: PriceBook) -> None:
    none = tuple(replace(rate, best=0.0) if rate.id == "overhead" else rate for rate in book.rates)
    with_it, without = run(cape, book).options[0], run(cape, replace(book, rates=none)).options[0]
    assert with_it.price_cents == without.price_cents
    assert without.net_margin == without.margin
    assert with_it.net_margin == pytest.approx(with_it.margin - 0.27, abs=1e-6)


def test_lender_and_card_fees_are_price_shares_like_the_commission(cape: HouseRecord, book: PriceBook) -> None:
    fees = {"lender_fee": 0.03, "card_fee": 0.02}
    rates = tuple(replace(rate, best=fees.get(rate.id, rate.best)) for rate in book.rates)
    priced = run(cape, replace(book, rates=rates)).options[0]
    assert priced.margin == pytest.approx(0.42, abs=2e-5)
    assert priced.margin_before_shares == pytest.approx(0.42 + 0.05 + 0.03 + 0.02, abs=2e-5)


def test_a_frozen_text_is_worked_out_again_under_the_rules_that_were_frozen(
    cape: HouseRecord, book: PriceBook, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = run(cape, book, county="Fernmoor", priced_on=date(2026, 3, 2)).text()
    monkeypatch.setattr("estimates.snapshot.load_rules", lambda: ())
    again = snapshot_from_text(text)
    assert again.text() == text
    given = [item.programme.id for item in again.offers[0].incentives.given]
    assert given == ["fernmoor-air-sealing", "fernmoor-walls"]


def test_an_old_price_book_warns(cape: HouseRecord, book: PriceBook) -> None:
    warned = run(cape, book, priced_on=date(2026, 9, 1)).forms()["estimate"]["warnings"]
    assert any("priced on 2026-01-01" in warning for warning in warned)
    assert run(cape, book, priced_on=date(2026, 3, 2)).forms()["estimate"]["warnings"] == ()


def test_a_house_may_ask_for_another_product_of_the_book(cape: HouseRecord, book: PriceBook) -> None:
    usual, glass = run(cape, book), run(cape, book, loose_fill="glass")
    assert glass.takeoff.attics[0].row in glass.book.loose_fill.coverage
    assert glass.book.loose_fill.id == "glass"
    assert glass.options[0].bags_bought < usual.options[0].bags_bought
    with pytest.raises(BadRecord, match=r"\$\.foam: no product 'x'.*enter one of mineral-foam"):
        run(cape, book, foam="x")
