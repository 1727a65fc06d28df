"""What another price book would do to everything that is offered: all open proposals and estimates at once, as columns.

Sent estimates never change: nothing is written here. Quantities come from the frozen takeoffs, so that no wall is laid
out again, and one call prices them all.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from estimates.cost_columns import BASIS, best_rates, parts, price_columns, shares_basis
from estimates.house import Access, AtticRecord, LeakKind, QuickWallRecord, WallRecord
from estimates.money import round_half_up
from estimates.pricebook import FoamProduct, LooseProduct, PriceBook
from estimates.quantities import ACCESSES, LEAK_KINDS, Numbers, Quantities, Whole
from estimates.records import read_record
from estimates.takeoff import attic_take_off
from estimates.what_if import scaled_rate

Form = Mapping[str, Any]

KEPT = 2000
"""Frozen revisions whose rows are kept in memory; each is a few kilobytes."""


@dataclass(frozen=True, slots=True)
class WallRow:
    """What of a frozen wall its price comes from; see `estimates.quantities.Quantities`."""

    net_ft2: float
    fill_ft3: float
    holes: float
    closing_ft: float
    access: int
    ladder: float
    staging: float
    steep: float
    obstructed: float
    openings: float
    braced: float
    lead: float


@dataclass(frozen=True, slots=True)
class FrozenOption:
    """An option of a frozen revision: what it was offered at, and the rows that price it again. Money in cents."""

    id: str
    name: str
    foam: str
    loose_fill: str
    price_cents: int
    margin: float
    below_floor: bool
    target_margin: float
    discount: float
    walls: tuple[WallRow, ...]
    attics: tuple[AtticRecord, ...]
    leaks: tuple[tuple[float, int], ...]


@dataclass(frozen=True, slots=True)
class Effect:
    """An option under another book. Money in cents, margins after price shares.

    `margin_at_old_price` is what the price that was offered leaves under the new costs; `below_floor` says whether that
    is under the new floor, `new_margin` what a new estimate would earn.
    """

    key: Any
    option: FrozenOption
    new_price_cents: int
    new_cost_cents: int
    new_margin: float
    margin_at_old_price: float
    floor_margin: float

    @property
    def change_cents(self) -> int:
        """New price less the one that was offered. [cents]"""
        return self.new_price_cents - self.option.price_cents

    @property
    def below_floor(self) -> bool:
        """Whether the price that was offered falls below the new floor."""
        return self.option.price_cents > 0 and self.margin_at_old_price < self.floor_margin - 1e-12

    @property
    def falls(self) -> bool:
        """Whether it was above the floor and falls below it."""
        return self.below_floor and not self.option.below_floor


@lru_cache(maxsize=KEPT)
def _kept(sha256: str, snapshot: _Text) -> tuple[FrozenOption, ...]:
    return tuple(_options(json.loads(snapshot.text)))


class _Text:
    """A text that is told apart by its hash alone, so that the cache does not hold it."""

    __slots__ = ("text",)

    def __init__(self, text: str) -> None:
        self.text = text

    def __hash__(self) -> int:
        return 0

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Text)


def frozen_options(sha256: str, snapshot: str) -> tuple[FrozenOption, ...]:
    """The options of a frozen revision with the rows of their price, kept by the hash of the text.

    Parameters
    ----------
    sha256 : of the snapshot.
    snapshot : its text.

    Raises
    ------
    KeyError, BadRecord : an old engine froze other fields, or records that can no longer be read.
    """
    return _kept(sha256, _Text(snapshot))


def _options(frozen: Form) -> Iterable[FrozenOption]:
    # The house is not read as a record: its fields were checked when it was frozen, and hundreds are read at once.
    house = frozen["house"]
    walls = {form["id"]: (WallRecord, form) for form in house.get("walls", ())}
    walls |= {form["id"]: (QuickWallRecord, form) for form in house.get("quick_walls", ())}
    attics = {form["id"]: read_record(AtticRecord, form) for form in house.get("attics", ())}
    scopes = {form["id"]: form for form in house.get("options", ())}
    takeoff = frozen["takeoff"]
    for form in frozen["estimate"]["options"]:
        scope = scopes.get(form["id"], {})
        careful = set(form["lead_rule"]["lead_safe_walls"])
        yield FrozenOption(
            id=form["id"],
            name=form["name"],
            foam=house.get("foam", ""),
            loose_fill=house.get("loose_fill", ""),
            price_cents=form["price_cents"],
            margin=form["margin"],
            below_floor=form["below_floor"],
            target_margin=scope.get("target_margin", -1.0),
            discount=scope.get("discount", 0.0),
            walls=tuple(
                _wall_row(item, *walls[item["id"]], lead=item["id"] in careful)
                for item in _held(takeoff["walls"], scope.get("wall_ids"))
            ),
            attics=tuple(attics[item["id"]] for item in _held(takeoff["attics"], scope.get("attic_ids"))),
            leaks=tuple(
                (item["quantity"], LEAK_KINDS.index(LeakKind(item["kind"])))
                for item in _held(takeoff["leak_sites"], scope.get("leak_ids"))
            ),
        )


def _held(counted: Iterable[Form], ids: Sequence[str] | None) -> list[Form]:
    """The priced parts of a house that an option holds."""
    return [item for item in counted if item["priced"] and (ids is None or item["id"] in ids)]


def _wall_row(counted: Form, kind: type, form: Form, *, lead: bool) -> WallRow:
    def given(name: str) -> Any:
        """A field as written; one that was left out has the value that its record gives it."""
        field = kind.__dataclass_fields__.get(name)  # type: ignore[attr-defined]
        return form.get(name, None if field is None else field.default)

    access = Access(given("access"))
    return WallRow(
        net_ft2=counted["net_ft2"],
        fill_ft3=counted["fill_ft3"],
        holes=counted["plugs"],
        closing_ft=counted["closing_ft"],
        access=ACCESSES.index(access),
        ladder=counted["ladder_share"],
        staging=counted["staging_share"],
        # Walls known by a few figures have no grade, obstruction or opening of their own.
        steep=float(bool(given("steep_grade")) and access is not Access.DRILL_INSIDE),
        obstructed=given("obstructed_share") or 0.0,
        openings=len(form.get("openings", ())),
        braced=counted["braced_bays"],
        lead=float(lead),
    )


def book_effects(options: Sequence[tuple[Any, FrozenOption]], book: PriceBook) -> tuple[Effect, ...]:
    """What a book would do to options that were offered.

    Parameters
    ----------
    options : something to tell each by (a row of the page), and the option.
    book : the book; options whose house asks for a product that it does not hold are priced with its first.

    Returns
    -------
    An effect for each option, in their order.

    Raises
    ------
    PriceRefused : margin and price shares of the book leave nothing for the cost.

    Notes
    -----
    .. math:: m = (P_{old} - C_{new} - s P_{old}) / P_{old}

    with the price offered, the new direct cost and the new price shares, rounded to the cent. Walls that were stopped
    stay stopped, the others are filled, even where the new foam asks for a thicker layer. A discount is taken off as it
    was given. Quantities are those of the frozen text, nine digits, so that a price may differ by some cents.
    """
    if not options:
        return ()
    rows = _quantities([option for _, option in options], book)
    columns = price_columns(rows, _rates([option for _, option in options], book))
    discounts = parts(np.array([option.discount for _, option in options]), 100)
    shares = shares_basis(best_rates(book))
    floor = book.best("floor_margin")
    found = []
    for place, (key, option) in enumerate(options):
        # Discounts come off here, so that one that is more than a new price does not refuse all the others.
        price, cost = max(0, int(columns.price[place] - discounts[place])), int(columns.cost[place])
        found.append(
            Effect(
                key=key,
                option=option,
                new_price_cents=price,
                new_cost_cents=cost,
                new_margin=_margin(price, cost, shares),
                margin_at_old_price=_margin(option.price_cents, cost, shares),
                floor_margin=floor,
            )
        )
    return tuple(found)


def _margin(price: int, cost: int, shares: int) -> float:
    return (price - cost - round_half_up(price * shares, BASIS)) / price if price else 0.0


def _foam(book: PriceBook, wanted: str) -> FoamProduct:
    return next((product for product in book.foams if product.id == wanted), book.foam)


def _loose_fill(book: PriceBook, wanted: str) -> LooseProduct:
    return next((product for product in book.loose_fills if product.id == wanted), book.loose_fill)


def _rates(options: Sequence[FrozenOption], book: PriceBook) -> dict[str, float | Numbers]:
    """The rates of the book, with the product that each option asks for."""
    foams = [_foam(book, option.foam) for option in options]
    fills = [_loose_fill(book, option.loose_fill) for option in options]
    return best_rates(book) | {
        "mix": _numbers(foam.cost_per_mix for foam in foams),
        "yield": _numbers(foam.yield_ft3 for foam in foams),
        "waste": _numbers(foam.waste for foam in foams),
        "bag": _numbers(fill.cost_per_bag for fill in fills),
    }


def _quantities(options: Sequence[FrozenOption], book: PriceBook) -> Quantities:
    walls = [(place, wall) for place, option in enumerate(options) for wall in option.walls]
    attics = [(place, attic) for place, option in enumerate(options) for attic in option.attics]
    leaks = [(place, leak) for place, option in enumerate(options) for leak in option.leaks]
    bags = [attic_take_off(attic, _loose_fill(book, options[place].loose_fill)).bags for place, attic in attics]
    of_wall = {
        f"wall_{name}": _numbers(getattr(wall, name) for _, wall in walls)
        for name in WallRow.__slots__
        if name != "access"
    }
    return Quantities(
        options=len(options),
        option_margin=_numbers(option.target_margin for option in options),
        option_discount=np.zeros(len(options)),
        wall_option=_whole(place for place, _ in walls),
        wall_access=_whole(wall.access for _, wall in walls),
        **of_wall,
        attic_option=_whole(place for place, _ in attics),
        attic_bags=_numbers(bags),
        attic_baffles=_numbers(attic.soffit_bays for _, attic in attics),
        attic_dam_ft=_numbers(attic.dam_ft for _, attic in attics),
        attic_hatches=_numbers(float(attic.hatch_ft2 > 0) for _, attic in attics),
        leak_option=_whole(place for place, _ in leaks),
        leak_quantity=_numbers(quantity for _, (quantity, _) in leaks),
        leak_kind=_whole(kind for _, (_, kind) in leaks),
    )


def _numbers(values: Iterable[float]) -> Numbers:
    return np.array(list(values), dtype=np.float64)


def _whole(values: Iterable[int]) -> Whole:
    return np.array(list(values), dtype=np.int64)


# --- one figure of a book, scaled ------------------------------------------------------------------------------------


def scaled_book(book: PriceBook, what: str, by: float) -> PriceBook:
    """The book with one cost or rate times a factor, its range with it.

    Parameters
    ----------
    book : products and rates.
    what : ``foam``, ``loose_fill`` or ``leak_material`` for what these cost, or the id of a rate.
    by : the factor, above 0; 1.12 is 12 % more.

    Raises
    ------
    ValueError : no such figure, or a factor that is not above 0.

    Examples
    --------
    >>> from estimates.pricebook import load_book
    >>> round(scaled_book(load_book("standard"), "foam", 1.12).foam.cost_per_mix, 2)
    107.52
    """
    if not by > 0:
        raise ValueError(f"a factor of {by:g}; enter one above 0")
    if what == "foam":
        return replace(book, foams=tuple(replace(p, cost_per_mix=p.cost_per_mix * by) for p in book.foams))
    if what == "loose_fill":
        return replace(book, loose_fills=tuple(replace(p, cost_per_bag=p.cost_per_bag * by) for p in book.loose_fills))
    if what == "leak_material":
        return replace(book, leak_work=tuple(replace(work, material=work.material * by) for work in book.leak_work))
    if what not in {rate.id for rate in book.rates}:
        raise ValueError(f"no figure {what!r} in the price book")
    return replace(book, rates=tuple(scaled_rate(rate, by) if rate.id == what else rate for rate in book.rates))
