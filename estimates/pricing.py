"""From quantities to an honest price: direct cost, price, margin and markup of each option, to the cent.

direct cost = material + burdened labour + equipment + travel + disposal + contingency
price       = direct cost / (1 - gross margin - price shares), rounded once per line; totals are sums of lines.

The arithmetic stands in `estimates.cost_columns`, which prices one option or a hundred thousand.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from estimates.cost_columns import (
    BASIS,
    SHARES,
    Costed,
    PricedColumns,
    PriceRefused,
    best_rates,
    parts,
    price_cents,
    price_columns,
    share_roughly,
)
from estimates.house import WHOLE_SCOPE, HouseRecord, Measure, OptionRecord
from estimates.money import round_half_up
from estimates.physics.uncertainty import Percentiles, RangeInput, Sampler, percentiles
from estimates.pricebook import PriceBook
from estimates.quantities import Quantities, quantities
from estimates.takeoff import QUICK_SIZE, Takeoff

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["PARTS", "Line", "PriceRefused", "PricedOption", "price", "price_cents", "price_option"]

PARTS = ("material", "labour", "equipment", "travel", "disposal", "contingency")
"""What a direct cost is made of."""

DRAWS = 2000
"""Draws of a range of cost."""

ROWS_AT_ONCE = 500_000
"""Rows of walls priced at once when costs are drawn: about 200 MB of columns."""

_JOBS = {
    "tests": ("Tests before and after the work", "job"),
    "half day": ("Rest of the last half-day", "crew-day"),
    "travel": ("Travel", "crew-day"),
    "disposal": ("Waste and disposal", "job"),
    "rigs": ("Rigs", "crew-day"),
    "purge": ("Hose purge and day-end loss", "mix"),
}
"""Name and unit of the lines that belong to a whole job."""


@dataclass(frozen=True, slots=True)
class Line:
    """A priced line. Money in cents, `cost` split by PARTS; `subject` is the id of a wall, attic or site, or ""."""

    code: str
    measure: Measure | None
    subject: str
    name: str
    quantity: float
    unit: str
    hours: float
    cost: dict[str, int]
    price_cents: int

    @property
    def cost_cents(self) -> int:
        """Direct cost. [cents]"""
        return sum(self.cost.values())


@dataclass(frozen=True, slots=True)
class PricedOption:
    """A scope with its lines and what it earns. Money in cents, shares of the price as fractions.

    `shares_cents` are commission, lender's and card fee; `overhead_cents` is what the firm's overhead takes of the
    price; `lead_safe` names the walls worked lead-safe; `cost_range` is of the direct cost [cents], `margin_range` of
    the margin that the quoted price then leaves [1].
    """

    option: OptionRecord
    lines: tuple[Line, ...]
    mixes_bought: int
    bags_bought: int
    crew_days: float
    shares_cents: dict[str, int]
    overhead_cents: int
    lead_safe: tuple[str, ...]
    target_margin: float
    floor_margin: float
    cost_range: Percentiles
    margin_range: Percentiles
    warnings: tuple[str, ...]

    @property
    def cost_cents(self) -> int:
        """Direct cost of all lines. [cents]"""
        return sum(line.cost_cents for line in self.lines)

    @property
    def price_cents(self) -> int:
        """Price: the sum of the lines. [cents]"""
        return sum(line.price_cents for line in self.lines)

    @property
    def commission_cents(self) -> int:
        """The seller's commission. [cents]"""
        return self.shares_cents["commission"]

    @property
    def discount_cents(self) -> int:
        """What was taken off. [cents]"""
        return -sum(line.price_cents for line in self.lines if line.code == "discount")

    @property
    def margin_before_shares(self) -> float:
        """(price - direct cost) / price."""
        return (self.price_cents - self.cost_cents) / self.price_cents if self.price_cents else 0.0

    @property
    def margin(self) -> float:
        """Gross margin after price shares such as the commission: what the floor is held against."""
        earned = self.price_cents - self.cost_cents - sum(self.shares_cents.values())
        return earned / self.price_cents if self.price_cents else 0.0

    @property
    def net_margin(self) -> float:
        """Gross margin less what overhead takes: overhead is recovered from the gross margin, never charged twice."""
        earned = self.price_cents - self.cost_cents - sum(self.shares_cents.values()) - self.overhead_cents
        return earned / self.price_cents if self.price_cents else 0.0

    @property
    def markup(self) -> float:
        """(price - direct cost) / direct cost."""
        return (self.price_cents - self.cost_cents) / self.cost_cents if self.cost_cents else 0.0

    @property
    def below_floor(self) -> bool:
        """Whether the owner must release it."""
        return self.price_cents > 0 and self.margin < self.floor_margin - 1e-12


def price(
    house: HouseRecord,
    takeoff: Takeoff,
    book: PriceBook,
    *,
    lead_safe: Mapping[str, Collection[str]] | None = None,
    seed: int = 1,
) -> tuple[PricedOption, ...]:
    """Price every option of a house, each alone: whole mixes and bags are rounded per option, so prices do not add.

    Parameters
    ----------
    house, takeoff, book : the measured house, what was counted on it, products and rates.
    lead_safe : option id -> ids of the walls it works lead-safe; None: none.
    seed : of the draws behind the range of cost, >= 0.

    Raises
    ------
    PriceRefused : margin and price shares leave nothing for the cost, or a discount is more than its price.
    """
    careful = lead_safe or {}
    found = []
    for index, option in enumerate(house.options or (WHOLE_SCOPE,)):
        try:
            found.append(price_option(takeoff, option, book, lead_safe=careful.get(option.id, ()), seed=seed))
        except PriceRefused as refused:
            raise PriceRefused(str(refused), f"$.options[{index}]" if house.options else "$") from None
    return tuple(found)


def price_option(
    takeoff: Takeoff, option: OptionRecord, book: PriceBook, *, lead_safe: Collection[str] = (), seed: int = 1
) -> PricedOption:
    """Price one scope of a house: see `price` and `estimates.cost_columns.price_columns`."""
    chosen = takeoff.chosen(option)
    rows = quantities([(takeoff, option)], [lead_safe])
    columns = price_columns(rows, best_rates(book))
    lines = tuple(_lines(chosen, option, columns, book))
    total = int(columns.price[0])
    shares = {name: round_half_up(total * _basis(book, name), BASIS) for name in SHARES}
    costs = _cost_draws(rows, chosen, book, seed) if lines else np.zeros(2)
    margins = (total - costs - sum(shares.values())) / total if total else np.zeros(2)
    return PricedOption(
        option=option,
        lines=lines,
        mixes_bought=int(columns.mixes[0]),
        bags_bought=int(columns.bags[0]),
        crew_days=float(columns.crew_days[0]),
        shares_cents=shares,
        overhead_cents=round_half_up(total * _basis(book, "overhead"), BASIS),
        lead_safe=tuple(wall.wall.id for wall in chosen.priced_walls if wall.wall.id in lead_safe),
        target_margin=book.best("target_margin") if option.target_margin is None else option.target_margin,
        floor_margin=book.best("floor_margin"),
        cost_range=percentiles(costs),
        margin_range=percentiles(margins),
        warnings=(
            *(f"{wall.wall.name}: {stop}" for wall in chosen.walls for stop in wall.stops),
            *(f"{attic.attic.name}: {stop}" for attic in chosen.attics for stop in attic.stops),
            *(f"{leak.site.name}: {stop}" for leak in chosen.leaks for stop in leak.stops),
            *(note for attic in chosen.attics for note in attic.warnings),
        ),
    )


def _basis(book: PriceBook, name: str) -> int:
    return int(parts(book.best(name), BASIS))


def _lines(chosen: Takeoff, option: OptionRecord, columns: PricedColumns, book: PriceBook) -> Iterable[Line]:
    for row, wall in enumerate(chosen.priced_walls):
        subject = (Measure.WALL_INJECTION, wall.wall.id, wall.wall.name, wall.layout.net_ft2, "ft2")
        yield _line("wall", *subject, columns.walls, row)
    for row, attic in enumerate(chosen.priced_attics):
        subject = (Measure.ATTIC_TOP_UP, attic.attic.id, attic.attic.name, attic.attic.area_ft2, "ft2")
        yield _line("attic", *subject, columns.attics, row)
    for row, leak in enumerate(chosen.priced_leaks):
        unit = book.leak(leak.site.kind).unit
        subject = (Measure.AIR_SEALING, leak.site.id, leak.site.name, leak.site.quantity, unit)
        yield _line("leak", *subject, columns.leaks, row)
    amounts = {
        "tests": 1.0,
        "half day": float(columns.rest_days[0]),
        "travel": float(columns.crew_days[0]),
        "disposal": 1.0,
        "rigs": float(columns.crew_days[0]),
        "purge": book.best("purge") * float(np.ceil(_crew_days(columns.walls, book) - 1e-9)),
    }
    for code, job in columns.jobs.items():
        if job.cost[0]:
            name, unit = _JOBS[code]
            yield _line(code, None, "", name, amounts[code], unit, job, 0)
    if columns.minimum[0]:
        nothing = dict.fromkeys(PARTS, 0)
        yield Line("minimum", None, "", "Up to the minimum charge", 1.0, "job", 0.0, nothing, int(columns.minimum[0]))
    if columns.discount[0]:
        nothing = dict.fromkeys(PARTS, 0)
        reason = f"Discount: {option.discount_reason}"
        yield Line("discount", None, "", reason, 1.0, "job", 0.0, nothing, -int(columns.discount[0]))


def _crew_days(part: Costed, book: PriceBook) -> float:
    return float(part.hours.sum()) / (book.best("crew_size") * book.best("day_hours"))


def _line(
    code: str, measure: Measure | None, subject: str, name: str, quantity: float, unit: str, part: Costed, row: int
) -> Line:
    cost = {kind: int(getattr(part, kind)[row]) for kind in PARTS}
    return Line(code, measure, subject, name, quantity, unit, float(part.hours[row]), cost, int(part.price[row]))


# --- range of cost -----------------------------------------------------------------------------------------------


def _cost_draws(rows: Quantities, chosen: Takeoff, book: PriceBook, seed: int) -> NDArray[np.float64]:
    """Direct cost of an option, draw by draw, through the same columns as its price. [cents]"""
    sampler = Sampler(seed, DRAWS)
    drawn: dict[str, float | NDArray[np.float64]] = dict(best_rates(book))
    for name, low, best, high in _ranges(book):
        if low < high:
            drawn[name] = sampler.draw(RangeInput(name, low, best, high))
    quick = np.array([wall.layout.quick is not None for wall in chosen.priced_walls], dtype=bool)
    size = sampler.draw(QUICK_SIZE) if quick.any() else None
    found = np.empty(DRAWS)
    # A house of thousands of walls is drawn in pieces, so that its columns fit the memory.
    step = max(1, min(DRAWS, ROWS_AT_ONCE // max(1, len(quick))))
    for first in range(0, DRAWS, step):
        piece = slice(first, min(first + step, DRAWS))
        count = piece.stop - first
        many = rows.repeated(count)
        if size is not None:
            many = many.scaled_walls(np.where(np.tile(quick, count), size[piece][many.wall_option], 1.0))
        rates = {name: rate if np.ndim(rate) == 0 else np.asarray(rate)[piece] for name, rate in drawn.items()}
        found[piece] = price_columns(many, rates, share=share_roughly).cost
    return found


def _ranges(book: PriceBook) -> Iterable[tuple[str, float, float, float]]:
    for rate in book.rates:
        low = rate.best if rate.low is None else rate.low
        yield rate.id, low, rate.best, rate.best if rate.high is None else rate.high
    foam = book.foam
    yield "yield", foam.yield_low_ft3, foam.yield_ft3, foam.yield_high_ft3
    for work in book.leak_work:
        yield f"leak_hours_{work.kind}", work.low_h, work.hours, work.high_h
