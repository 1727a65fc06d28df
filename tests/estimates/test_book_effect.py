"""What another price book would do to what is offered, held against pricing each house anew."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import pytest

from estimates.book_effect import FrozenOption, book_effects, frozen_options, scaled_book
from estimates.house import house_from_json
from estimates.pricebook import PriceBook, load_book
from estimates.rules import load_rules
from estimates.snapshot import Snapshot, take_snapshot

HOUSES = sorted((Path(__file__).resolve().parents[2] / "fixtures" / "houses").glob("*.json"))
BOOK = load_book("standard")


@lru_cache(maxsize=64)
def run(path: Path, book: PriceBook = BOOK) -> Snapshot:
    return take_snapshot(house_from_json(path.read_text(encoding="utf-8")), book, rules=load_rules())


@lru_cache(maxsize=64)
def frozen(path: Path) -> tuple[FrozenOption, ...]:
    text = run(path).text()
    return frozen_options(hashlib.sha256(text.encode()).hexdigest(), text)


def dearer() -> PriceBook:
    """Labour, foam and bags cost more, crews are slower, the margin is lower: everything a price comes from moves."""
    book = scaled_book(scaled_book(scaled_book(BOOK, "labour", 1.15), "foam", 1.12), "loose_fill", 1.3)
    book = scaled_book(scaled_book(book, "wall_lift_cladding", 0.9), "leak_material", 2.0)
    rates = tuple(replace(rate, best=0.4) if rate.id == "target_margin" else rate for rate in book.rates)
    return replace(book, version=2, rates=rates)


# D: each house run through the whole chain again, wall by wall, against one call on columns of frozen figures. The
# frozen figures have nine digits, which may turn a thousandth of an hour and so some cents of a line.
@pytest.mark.parametrize("path", HOUSES, ids=lambda path: path.stem)
@pytest.mark.parametrize("book", [BOOK, dearer()], ids=["as it was", "dearer"])
def test_columns_of_frozen_figures_come_to_the_price_of_a_new_run(path: Path, book: PriceBook) -> None:
    effects = book_effects([(None, option) for option in frozen(path)], book)
    for effect, priced in zip(effects, run(path, book).options, strict=True):
        assert effect.new_price_cents == pytest.approx(priced.price_cents, abs=50)
        assert effect.new_cost_cents == pytest.approx(priced.cost_cents, abs=30)
        assert effect.new_margin == pytest.approx(priced.margin, abs=1e-4)


def test_many_houses_at_once_come_to_what_each_comes_to_alone() -> None:
    book = dearer()
    together = book_effects([(path, option) for path in HOUSES for option in frozen(path)], book)
    alone = [effect for path in HOUSES for effect in book_effects([(path, option) for option in frozen(path)], book)]
    assert list(together) == alone


def test_the_margin_at_the_old_price_is_what_the_new_cost_leaves_of_it() -> None:
    (option, *_) = frozen(HOUSES[0])
    (effect,) = book_effects([(None, option)], scaled_book(BOOK, "labour", 1.5))
    # D: by hand from the price offered, the new cost and 5 % commission.
    earned = option.price_cents * 0.95 - effect.new_cost_cents
    assert effect.margin_at_old_price == pytest.approx(earned / option.price_cents, abs=1e-6)
    assert effect.margin_at_old_price < option.margin
    assert effect.new_price_cents > option.price_cents


def test_only_what_was_above_the_floor_falls_below_it() -> None:
    options = [(path.stem, option) for path in HOUSES for option in frozen(path)]
    assert not any(effect.falls for effect in book_effects(options, BOOK))
    dear = book_effects(options, scaled_book(BOOK, "labour", 1.8))
    assert any(effect.falls for effect in dear)
    low = replace(options[0][1], below_floor=True)
    (effect,) = book_effects([(None, low)], scaled_book(BOOK, "labour", 1.8))
    assert effect.below_floor
    assert not effect.falls


def test_a_product_that_the_house_asks_for_is_priced_by_its_own_table() -> None:
    option = next(option for path in HOUSES for option in frozen(path) if option.attics)
    glass = replace(option, loose_fill="glass")
    plain, other = book_effects([(None, option), (None, glass)], BOOK)
    assert plain.new_price_cents != other.new_price_cents
    unknown = replace(option, loose_fill="none-such")
    assert book_effects([(None, unknown)], BOOK)[0].new_price_cents == plain.new_price_cents


def test_a_discount_above_the_new_price_does_not_refuse_the_others() -> None:
    (option, *_) = frozen(HOUSES[0])
    effects = book_effects([(None, replace(option, discount=1e6)), (None, option)], BOOK)
    assert effects[0].new_price_cents == 0
    assert effects[1].new_price_cents == pytest.approx(option.price_cents, abs=50)


def test_nothing_offered_gives_nothing() -> None:
    assert book_effects([], BOOK) == ()


def test_a_text_of_another_engine_is_refused_and_not_guessed() -> None:
    form = json.loads(run(HOUSES[0]).text())
    del form["estimate"]["options"][0]["lead_rule"]
    with pytest.raises(KeyError):
        frozen_options("old", json.dumps(form))


def test_only_known_figures_are_scaled() -> None:
    assert scaled_book(BOOK, "travel", 2.0).best("travel") == 2 * BOOK.best("travel")
    assert scaled_book(BOOK, "wall_drill_inside", 0.5).rate("wall_drill_inside").low == 150
    with pytest.raises(ValueError, match="no figure"):
        scaled_book(BOOK, "moonlight", 1.1)
    with pytest.raises(ValueError, match="above 0"):
        scaled_book(BOOK, "foam", 0.0)
