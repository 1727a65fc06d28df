"""From quantities to an honest price: direct cost, price, margin and markup, each to the cent.

direct cost = material + burdened labour + equipment + travel + disposal + contingency
price       = direct cost / (1 - gross margin - price shares), rounded once per line; totals are sums of lines.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from estimates.house import WHOLE_SCOPE, Access, HouseRecord, Measure, OptionRecord
from estimates.money import line_cents, round_half_up, share_cents
from estimates.pricebook import PriceBook
from estimates.takeoff import AtticTakeoff, Takeoff, WallTakeoff, whole_units

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

PARTS = ("material", "labour", "equipment", "travel", "disposal", "contingency")
"""What a direct cost is made of."""

BASIS = 10_000
"""Shares are whole ten-thousandths, so that prices come from integers alone."""

_WALL_RATE = {
    Access.LIFT_CLADDING: "wall_lift_cladding",
    Access.DRILL_CLADDING: "wall_drill_cladding",
    Access.DRILL_INSIDE: "wall_drill_inside",
}


class PriceRefused(ValueError):
    """The shares leave nothing for the cost; names the shares."""


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
    """A scope with its lines and what it earns. Money in cents, shares of the price as fractions."""

    option: OptionRecord
    lines: tuple[Line, ...]
    mixes_bought: int
    bags_bought: int
    crew_days: float
    commission_cents: int
    deposit_cents: int
    target_margin: float
    floor_margin: float
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
    def margin_before_shares(self) -> float:
        """(price - direct cost) / price."""
        return (self.price_cents - self.cost_cents) / self.price_cents if self.price_cents else 0.0

    @property
    def margin(self) -> float:
        """Gross margin after price shares such as the commission: what the floor is held against."""
        earned = self.price_cents - self.cost_cents - self.commission_cents
        return earned / self.price_cents if self.price_cents else 0.0

    @property
    def markup(self) -> float:
        """(price - direct cost) / direct cost."""
        return (self.price_cents - self.cost_cents) / self.cost_cents if self.cost_cents else 0.0

    @property
    def below_floor(self) -> bool:
        """Whether the owner must release it."""
        return self.price_cents > 0 and self.margin < self.floor_margin - 1e-12


def price_cents(
    cost_cents: int | NDArray[np.int64], margin_basis: int, shares_basis: int = 0
) -> int | NDArray[np.int64]:
    """Price of a direct cost at a gross margin and price shares.

    Parameters
    ----------
    cost_cents : direct cost, scalar or array, >= 0. [cents]
    margin_basis : gross margin wanted. [1/10,000]
    shares_basis : commission and other shares of the price. [1/10,000]

    Returns
    -------
    Price, half a cent rounded up. [cents]

    Raises
    ------
    PriceRefused : margin and shares together leave nothing for the cost, or one is negative.

    Notes
    -----
    .. math:: P = C / (1 - m - s)

    in whole numbers: 10,000 C / (10,000 - m - s), rounded half up.

    References
    ----------
    .. [1] Rule P1: 35/40/45/50 % margin = 53.85/66.67/81.82/100 % markup (arithmetic identity m / (1 - m)).

    Examples
    --------
    >>> price_cents(100_00, 3500), price_cents(100_00, 5000)
    (15385, 20000)
    """
    rest = BASIS - margin_basis - shares_basis
    if margin_basis < 0 or shares_basis < 0 or rest <= 0:
        raise PriceRefused(
            f"a margin of {margin_basis / 100:g} % and shares of {shares_basis / 100:g} % leave nothing for the cost; "
            "enter shares of at least 0 that sum to less than 100 %"
        )
    return round_half_up(cost_cents * BASIS, rest)


def price(house: HouseRecord, takeoff: Takeoff, book: PriceBook) -> tuple[PricedOption, ...]:
    """Price every option of a house, each alone: whole mixes and bags are rounded per option, so prices do not add."""
    return tuple(price_option(takeoff.chosen(option), option, book) for option in house.options or (WHOLE_SCOPE,))


@dataclass(slots=True)
class _Draft:
    """A line being costed. Dollars per part enter through exact rounding only."""

    code: str
    measure: Measure | None
    subject: str
    name: str
    quantity: float
    unit: str
    hours: float = 0.0
    cost: dict[str, int] = field(default_factory=lambda: dict.fromkeys(PARTS, 0))

    def add(self, part: str, quantity: float, rate: float) -> None:
        self.cost[part] += cents(quantity, rate)

    def work(self, hours: float, book: PriceBook) -> None:
        self.hours += hours
        self.add("labour", hours, book.best("labour"))


def cents(quantity: float, rate_dollars: float) -> int:
    """quantity x rate, the quantity taken to 1/1000, the rate to 1/10,000 dollar, half a cent rounded up. [cents]"""
    return int(line_cents(_scaled(quantity, 1_000), _scaled(rate_dollars, 10_000)))


def _scaled(value: float, by: int) -> int:
    """Nearest whole number of value x by; the decimal form is used so that 4.25 means 4.25."""
    from decimal import ROUND_HALF_UP, Decimal

    return int((Decimal(repr(float(value))) * by).quantize(Decimal(1), ROUND_HALF_UP))


def price_option(takeoff: Takeoff, option: OptionRecord, book: PriceBook) -> PricedOption:
    """Price one scope: see the module's first lines and `price_cents`."""
    walls = takeoff.priced_walls
    attics = tuple(attic for attic in takeoff.attics if attic.row is not None)
    mixes, bags = whole_units(sum(w.mixes for w in walls)), whole_units(sum(a.bags for a in attics))
    drafts = [*_wall_drafts(walls, mixes, book), *_attic_drafts(attics, bags, book), *_leak_drafts(takeoff, book)]
    warnings = [f"{w.wall.name}: {stop}" for w in takeoff.walls for stop in w.stops]
    warnings += [note for attic in takeoff.attics for note in attic.warnings]
    crew_days = 0.0
    if drafts:
        job, crew_days = _job_drafts(drafts, book)
        drafts += job
    return _finish(option, drafts, mixes, bags, crew_days, book, warnings)


def _wall_drafts(walls: Sequence[WallTakeoff], mixes: int, book: PriceBook) -> Iterable[_Draft]:
    bought = share_cents(cents(mixes, book.foam.cost_per_mix), [wall.mixes for wall in walls]) if walls else []
    day = book.best("crew_size") * book.best("day_hours")
    for counted, foam_cents in zip(walls, bought, strict=True):
        net = counted.layout.net_ft2
        draft = _Draft("wall", Measure.WALL_INJECTION, counted.wall.id, counted.wall.name, net, "ft2")
        draft.cost["material"] += int(foam_cents)
        draft.add("material", counted.plugs, book.best("plug"))
        draft.work(net / book.best(_WALL_RATE[counted.wall.access]) * day + book.best("face_set_up"), book)
        if counted.closing_ft:
            draft.add("material", counted.closing_ft, book.best("closing_material"))
            draft.work(counted.closing_ft * book.best("escape_closing"), book)
        yield draft


def _attic_drafts(attics: Sequence[AtticTakeoff], bags: int, book: PriceBook) -> Iterable[_Draft]:
    bought = share_cents(cents(bags, book.loose_fill.cost_per_bag), [attic.bags for attic in attics]) if attics else []
    for counted, bag_cents in zip(attics, bought, strict=True):
        attic = counted.attic
        draft = _Draft("attic", Measure.ATTIC_TOP_UP, attic.id, attic.name, attic.area_ft2, "ft2")
        draft.cost["material"] += int(bag_cents)
        # Two people work the blower and the hose.
        draft.work(2 * counted.bags / book.best("attic_blowing") + book.best("attic_set_up"), book)
        draft.add("material", attic.soffit_bays, book.best("baffle_material"))
        draft.add("material", attic.dam_ft, book.best("dam_material"))
        draft.work(attic.soffit_bays * book.best("baffle") + attic.dam_ft * book.best("dam"), book)
        if attic.hatch_ft2 > 0:
            draft.add("material", 1, book.best("hatch_material"))
            draft.work(book.best("hatch"), book)
        yield draft


def _leak_drafts(takeoff: Takeoff, book: PriceBook) -> Iterable[_Draft]:
    for counted in takeoff.leaks:
        site = counted.site
        draft = _Draft("leak", Measure.AIR_SEALING, site.id, site.name, site.quantity, book.leak(site.kind).unit)
        draft.add("material", site.quantity, book.leak(site.kind).material)
        draft.work(counted.hours, book)
        yield draft


def _job_drafts(drafts: Sequence[_Draft], book: PriceBook) -> tuple[list[_Draft], float]:
    """What belongs to the whole job: tests, rigs, travel, waste, and the rest of the last half-day."""
    tests = _Draft("tests", None, "", "Tests before and after the work", 1, "job")
    tests.work(book.best("test_in") + book.best("test_out"), book)
    tests.add("equipment", 1, book.best("blower_door"))
    day = book.best("crew_size") * book.best("day_hours")
    worked = (sum(draft.hours for draft in drafts) + tests.hours) / day
    crew_days = whole_units(worked * 2) / 2
    rest = _Draft("half day", None, "", "Rest of the last half-day", crew_days - worked, "crew-day")
    rest.work((crew_days - worked) * day, book)
    travel = _Draft("travel", None, "", "Travel", crew_days, "crew-day")
    travel.add("travel", crew_days, book.best("travel"))
    waste = _Draft("disposal", None, "", "Waste and disposal", 1, "job")
    waste.add("disposal", 1, book.best("disposal"))
    rigs = _Draft("rigs", None, "", "Rigs", crew_days, "crew-day")
    injecting = sum(draft.hours for draft in drafts if draft.measure is Measure.WALL_INJECTION) / day
    blowing = sum(draft.hours for draft in drafts if draft.measure is Measure.ATTIC_TOP_UP) / day
    rigs.add("equipment", whole_units(injecting * 2) / 2, book.best("foam_rig"))
    rigs.add("equipment", whole_units(blowing * 2) / 2, book.best("blowing_machine"))
    job = [tests, rest, travel, waste, rigs]
    if injecting:
        days = whole_units(injecting)
        purge = _Draft("purge", None, "", "Hose purge and day-end loss", days * book.best("purge"), "mix")
        purge.add("material", days * book.best("purge"), book.foam.cost_per_mix)
        job.append(purge)
    return [draft for draft in job if any(draft.cost.values())], crew_days


def _finish(
    option: OptionRecord,
    drafts: Sequence[_Draft],
    mixes: int,
    bags: int,
    crew_days: float,
    book: PriceBook,
    warnings: list[str],
) -> PricedOption:
    margin, commission = _scaled(book.best("target_margin"), BASIS), _scaled(book.best("commission"), BASIS)
    lines = []
    for draft in drafts:
        direct = sum(draft.cost.values())
        draft.cost["contingency"] = _share_of(direct, _scaled(book.best("contingency"), BASIS))
        total = int(price_cents(direct + draft.cost["contingency"], margin, commission))
        lines.append(
            Line(
                draft.code, draft.measure, draft.subject, draft.name, draft.quantity, draft.unit, draft.hours,
                dict(draft.cost), total,
            )
        )  # fmt: skip
    total = sum(line.price_cents for line in lines)
    least = cents(1, book.best("minimum_charge"))
    if lines and total < least:
        nothing = dict.fromkeys(PARTS, 0)
        lines.append(Line("minimum", None, "", "Up to the minimum charge", 1, "job", 0.0, nothing, least - total))
        total = least
    return PricedOption(
        option=option,
        lines=tuple(lines),
        mixes_bought=mixes,
        bags_bought=bags,
        crew_days=crew_days,
        commission_cents=_share_of(total, commission),
        deposit_cents=_share_of(total, _scaled(book.best("deposit"), BASIS)),
        target_margin=book.best("target_margin"),
        floor_margin=book.best("floor_margin"),
        warnings=tuple(warnings),
    )


def _share_of(amount_cents: int, share_basis: int) -> int:
    """A share of an amount, half a cent rounded up. [cents]"""
    return round_half_up(amount_cents * share_basis, BASIS)
