"""What a house would cost with another margin, discount, attic or crew: worked out in memory, nothing is written."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from estimates.house import WHOLE_SCOPE, HouseRecord, OptionRecord, house_faults
from estimates.pricebook import PriceBook, Rate
from estimates.records import BadRecord
from estimates.rules import RuleRow
from estimates.snapshot import Snapshot, take_snapshot

CREW_SPEEDS = ("wall_lift_cladding", "wall_drill_cladding", "wall_drill_inside")
"""Rates that are for one day of the crew as it is in the price book."""


@dataclass(frozen=True, slots=True)
class OptionWish:
    """What is wanted of an option. `target_margin` None: that of the price book; `discount` in dollars."""

    target_margin: float | None = None
    discount: float = 0.0
    discount_reason: str = ""

    @classmethod
    def of(cls, option: OptionRecord) -> OptionWish:
        """As the option stands."""
        return cls(option.target_margin, option.discount, option.discount_reason)


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What somebody tries: by option id, by attic id the R-value wanted, and people of the crew (None: as the book)."""

    options: Mapping[str, OptionWish] = field(default_factory=dict)
    attic_r: Mapping[str, float] = field(default_factory=dict)
    crew: float | None = None

    @classmethod
    def of(cls, house: HouseRecord) -> WhatIf:
        """As the house stands: trying this changes nothing."""
        return cls(
            {option.id: OptionWish.of(option) for option in options_of(house)},
            {attic.id: attic.target_r for attic in house.attics},
        )


def options_of(house: HouseRecord) -> tuple[OptionRecord, ...]:
    """The scopes of a house; one with everything where it lists none."""
    return house.options or (WHOLE_SCOPE,)


def wished(house: HouseRecord, what: WhatIf) -> HouseRecord:
    """The house with what is wanted of its options and attics; ids that it does not have are passed over.

    Examples
    --------
    >>> from pathlib import Path
    >>> from estimates.house import house_from_json
    >>> house = house_from_json(Path("fixtures/houses/mill-cape.json").read_text(encoding="utf-8"))
    >>> wished(house, WhatIf.of(house)) == house
    True
    >>> wished(house, WhatIf({"all": OptionWish(0.38)})).options[0].target_margin
    0.38
    """
    options = tuple(_wished_option(option, what.options.get(option.id)) for option in options_of(house))
    return replace(
        house,
        options=house.options if options == (WHOLE_SCOPE,) else options,
        attics=tuple(replace(attic, target_r=what.attic_r.get(attic.id, attic.target_r)) for attic in house.attics),
    )


def _wished_option(option: OptionRecord, wish: OptionWish | None) -> OptionRecord:
    if wish is None:
        return option
    reason = wish.discount_reason.strip() if wish.discount > 0 else ""
    return replace(option, target_margin=wish.target_margin, discount=wish.discount, discount_reason=reason)


def crewed(book: PriceBook, people: float) -> PriceBook:
    r"""The book with a crew of another size that works as fast a head.

    Parameters
    ----------
    book : products and rates.
    people : of the crew, above 0. [people]

    Notes
    -----
    .. math:: v' = v \cdot n' / n

    for the speeds that are a crew's day; labour hours of the work stay, while days, travel, rigs, tests and the rest of
    the last half-day follow the size of the crew.

    Raises
    ------
    ValueError : no people.

    Examples
    --------
    >>> from estimates.pricebook import load_book
    >>> two = crewed(load_book("standard"), 2)
    >>> two.best("crew_size"), round(two.best("wall_lift_cladding"), 3)
    (2, 533.333)
    """
    if people <= 0:
        raise ValueError(f"a crew of {people:g}; enter a number of people above 0")
    ratio = people / book.best("crew_size")
    if ratio == 1:
        return book
    return replace(book, rates=tuple(_crew_rate(rate, people, ratio) for rate in book.rates))


def _crew_rate(rate: Rate, people: float, ratio: float) -> Rate:
    if rate.id == "crew_size":
        return replace(rate, low=None, best=people, high=None)
    return scaled_rate(rate, ratio) if rate.id in CREW_SPEEDS else rate


def scaled_rate(rate: Rate, by: float) -> Rate:
    """A rate with its whole range times a factor."""
    low, high = rate.low, rate.high
    return replace(
        rate,
        low=None if low is None else low * by,
        best=rate.best * by,
        high=None if high is None else high * by,
    )


def try_out(house: HouseRecord, book: PriceBook, what: WhatIf, *, rules: Iterable[RuleRow], seed: int = 1) -> Snapshot:
    """Run the chain for a house as it would be.

    Parameters
    ----------
    house : as it was measured so far, with the day of its price.
    book : products and rates.
    what : what is tried.
    rules : the rule table.
    seed : of the ranges, >= 0.

    Raises
    ------
    BadRecord : something in the house does not fit together; every fault with its path.
    RuleMissing, BadRule, OutOfRange, PriceRefused : the chain cannot be run; the text names what to mend.
    """
    changed = wished(house, what)
    faults = list(house_faults(changed))
    if faults:
        raise BadRecord(faults)
    return take_snapshot(changed, book if what.crew is None else crewed(book, what.crew), rules=rules, seed=seed)
