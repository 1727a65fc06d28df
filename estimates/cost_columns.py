"""Direct cost and price of many options at once, as columns: one house or a hundred thousand run the same lines.

The rows stand in `estimates.quantities`. Rates are numbers, or arrays with one value for each option, so that the range
of a cost is nothing but the same functions over drawn rates.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from estimates.money import format_money, line_cents, round_half_up, share_columns
from estimates.pricebook import PriceBook
from estimates.quantities import ACCESSES, LEAK_KINDS, Numbers, Quantities, Whole
from estimates.takeoff import whole_units

Rates = Mapping[str, float | Numbers]

BASIS = 10_000
"""Shares are whole ten-thousandths, so that prices come from integers alone."""

HAIR = 1e-6
"""Half a part less this still counts as half: 1.0005 is not quite that in binary. [parts]"""


class PriceRefused(ValueError):
    """Shares leave nothing for the cost, or a discount is more than the price; `path` names the option."""

    def __init__(self, message: str, path: str = "$") -> None:
        super().__init__(message)
        self.path = path


def best_rates(book: PriceBook) -> dict[str, float | Numbers]:
    """Every rate a cost needs at its best value, by the names of the price book and of its products."""
    rates: dict[str, float | Numbers] = {rate.id: rate.best for rate in book.rates}
    rates |= {"mix": book.foam.cost_per_mix, "yield": book.foam.yield_ft3, "waste": book.foam.waste}
    rates |= {"bag": book.loose_fill.cost_per_bag}
    for work in book.leak_work:
        rates[f"leak_hours_{work.kind}"] = work.hours
        rates[f"leak_material_{work.kind}"] = work.material
    return rates


def price_cents(cost_cents: int | Whole, margin_basis: int, shares_basis: int = 0) -> int | Whole:
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


# --- exact parts -------------------------------------------------------------------------------------------------


def parts(value: float | Numbers, by: int) -> Whole:
    """Nearest whole number of value x by, half up; a hair under half counts as half, so that 1.0005 means 1.0005.

    Examples
    --------
    >>> parts(np.array([1.0005, 4.25, 0.1]), 1000)
    array([1001, 4250,  100])
    """
    scaled = np.asarray(np.multiply(value, float(by)))
    scaled += 0.5 + HAIR
    return np.asarray(np.floor(scaled, out=scaled), dtype=np.int64)


def amount(quantity: float | Numbers, rate_dollars: float | Numbers) -> Whole:
    """Quantity x rate, taken to 1/1000 and 1/10,000 dollar, half a cent rounded up. [cents]"""
    return np.asarray(line_cents(_exact(quantity, 1_000), _exact(rate_dollars, 10_000)), dtype=np.int64)


def _exact(value: float | Numbers, by: int) -> int | Whole:
    """`parts`, as a plain number for a number: a rate is not a column that has to be looked through."""
    return parts(value, by) if np.ndim(value) else math.floor(value * by + (0.5 + HAIR))


Share = Callable[[Whole, Numbers, Whole], Whole]
"""Amounts of groups, weights of rows, groups of rows -> shares of rows. [cents]"""


def share_roughly(totals: Whole, weights: Numbers, group: Whole) -> Whole:
    """Share by weight, each share rounded for itself: sums may be cents off, which a range of cost does not see.

    Exact shares of thousands of walls, thousands of times, would take minutes.
    """
    whole = np.bincount(group, weights=weights, minlength=len(totals))
    return parts((totals / np.where(whole > 0, whole, 1.0))[group] * weights, 1)


# --- costs -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Costed:
    """Lines of one kind: whose they are, hours of labour, and cents by part; `price` is filled by `price_columns`."""

    option: Whole
    hours: Numbers
    material: Whole
    labour: Whole
    equipment: Whole
    travel: Whole
    disposal: Whole
    contingency: Whole
    cost: Whole
    price: Whole


@dataclass(frozen=True, slots=True)
class PricedColumns:
    """Many options priced: lines by kind, and totals of each option. Money in cents."""

    walls: Costed
    attics: Costed
    leaks: Costed
    jobs: Mapping[str, Costed]
    rest_days: Numbers
    mixes: Whole
    bags: Whole
    crew_days: Numbers
    cost: Whole
    minimum: Whole
    discount: Whole
    price: Whole


def price_columns(q: Quantities, rates: Rates, *, share: Share = share_columns) -> PricedColumns:
    """Direct cost, price and quantities bought of many options.

    Parameters
    ----------
    q : rows of the options.
    rates : from `best_rates`, or with drawn arrays of shape (options,) in place of numbers.
    share : how whole mixes and bags are shared to lines: exactly, or by `share_roughly` where only sums count.

    Returns
    -------
    PricedColumns; each line is rounded once, totals are sums of lines.

    Raises
    ------
    MoneyError : an amount beyond what an integer of cents holds.
    PriceRefused : margin and price shares leave nothing for the cost, or a discount is more than its price.

    Notes
    -----
    cost = material + labour + equipment + travel + disposal + contingency; price = cost / (1 - margin - shares), raised
    to the minimum charge, less the discount. Hours of a wall: net area / speed x crew-day x (1 + ladder + staging) x (1
    + steep) x (1 + obstructed) + openings + braces, at least the small-wall time; then set-up and closing.
    The rest of a crew's last half-day is paid; whole mixes and bags are bought once per option and shared by quantity.

    Examples
    --------
    >>> from estimates.house import WHOLE_SCOPE, WallRecord
    >>> from estimates.pricebook import load_book
    >>> from estimates.quantities import quantities
    >>> from estimates.takeoff import Takeoff, wall_take_off
    >>> book = load_book("standard")
    >>> wall = WallRecord(id="w", name="W", length_ft=24.0, height_ft=8.0)
    >>> one = Takeoff((wall_take_off(wall, book, year_built=1960),), (), ())
    >>> priced = price_columns(quantities([(one, WHOLE_SCOPE)] * 3), best_rates(book))
    >>> int(priced.mixes[0]), bool((priced.price == priced.price[0]).all())
    (3, True)
    """
    walls, mixes = _walls(q, rates, share)
    attics, bags = _attics(q, rates, share)
    leaks = _leaks(q, rates)
    jobs, crew_days, rest_days = _jobs(q, rates, (walls, attics, leaks))
    margin = int(parts(float(rates["target_margin"]), BASIS))
    margins = np.where(q.option_margin < 0, margin, parts(q.option_margin, BASIS))
    known, taken = np.unique(margins).tolist(), shares_basis(rates)
    kinds = [_priced(part, rates, margins, known, taken) for part in (walls, attics, leaks, *jobs.values())]
    cost = sum((_per_option(part.option, part.cost, q) for part in kinds), np.zeros(q.options, dtype=np.int64))
    lines = sum((_per_option(part.option, part.price, q) for part in kinds), np.zeros(q.options, dtype=np.int64))
    least = np.broadcast_to(amount(1.0, rates["minimum_charge"]), q.options)
    minimum = np.where(lines > 0, np.maximum(least - lines, 0), 0)
    discount = parts(q.option_discount, 100)
    price = lines + minimum - discount
    if (price < 0).any():
        worst = int(np.argmin(price))
        raise PriceRefused(
            f"a discount of {format_money(int(discount[worst]))} is more than the price of "
            f"{format_money(int((lines + minimum)[worst]))}; enter a smaller one"
        )
    return PricedColumns(
        walls=kinds[0],
        attics=kinds[1],
        leaks=kinds[2],
        jobs=dict(zip(jobs, kinds[3:], strict=True)),
        rest_days=rest_days,
        mixes=mixes,
        bags=bags,
        crew_days=crew_days,
        cost=cost,
        minimum=minimum,
        discount=discount,
        price=price,
    )


SHARES = ("commission", "lender_fee", "card_fee")
"""Rates that are a share of the price and come off it before margin."""


def shares_basis(rates: Rates) -> int:
    """All price shares together. [1/10,000]"""
    return sum(int(parts(float(rates[name]), BASIS)) for name in SHARES)


def _at(rates: Rates, name: str, option: Whole) -> float | Numbers:
    """A rate for each row."""
    rate = rates[name]
    return rate if np.ndim(rate) == 0 else np.asarray(rate)[option]


def _chosen(which: Whole, rates: Sequence[float | Numbers]) -> Numbers:
    """The rate of each row by its kind; rates are numbers, or arrays with one value for each row."""
    if all(np.ndim(rate) == 0 for rate in rates):
        return np.asarray(rates, dtype=np.float64)[which]
    return np.asarray(np.stack(np.broadcast_arrays(*rates))[which, np.arange(len(which))])


def _costed(option: Whole, hours: Numbers, labour_rate: float | Numbers, **cents: Whole) -> Costed:
    nothing = np.zeros(len(option), dtype=np.int64)
    labour = amount(hours, labour_rate) if hours.any() else nothing
    known = dict.fromkeys(("material", "equipment", "travel", "disposal", "contingency", "price"), nothing) | cents
    return Costed(option=option, hours=hours, labour=labour, cost=sum(cents.values(), labour), **known)


def _per_option(option: Whole, values: Whole, q: Quantities) -> Whole:
    """Sums of each option; exact, as cents of one option stay far below 2**53."""
    if len(values) == q.options == np.count_nonzero(option == np.arange(q.options)):
        return values  # a line for each option
    return _sums(option, values, q).astype(np.int64)


def _sums(option: Whole, values: Numbers | Whole, q: Quantities) -> Numbers:
    return np.asarray(np.bincount(option, weights=values, minlength=q.options), dtype=np.float64)


def _walls(q: Quantities, rates: Rates, share: Share) -> tuple[Costed, Whole]:
    of = q.wall_option
    unrounded = q.wall_fill_ft3 * (1.0 + _at(rates, "waste", of)) / _at(rates, "yield", of)
    mixes = whole_units(_sums(of, unrounded, q))
    foam = share(amount(mixes.astype(np.float64), rates["mix"]), unrounded, of)
    speed = _chosen(q.wall_access, [_at(rates, f"wall_{access}", of) for access in ACCESSES])
    crew_day = _at(rates, "crew_size", of) * _at(rates, "day_hours", of)
    high = 1.0 + q.wall_ladder * _at(rates, "over_10_ft", of) + q.wall_staging * _at(rates, "over_20_ft", of)
    steep = 1.0 + q.wall_steep * _at(rates, "steep_grade", of)
    obstructed = 1.0 + q.wall_obstructed * _at(rates, "obstructed", of)
    filling = q.wall_net_ft2 / speed * crew_day * high * steep * obstructed
    filling = filling + q.wall_openings * _at(rates, "opening", of) + q.wall_braced * _at(rates, "brace", of)
    hours = (
        np.maximum(filling, _at(rates, "small_wall", of))
        + _at(rates, "face_set_up", of)
        + q.wall_lead * _at(rates, "lead_set_up", of)
        + q.wall_closing_ft * _at(rates, "escape_closing", of)
    )
    material = foam + amount(q.wall_holes, _at(rates, "plug", of))
    material = material + amount(q.wall_closing_ft, _at(rates, "closing_material", of))
    material = material + amount(q.wall_lead, _at(rates, "lead_material", of))
    return _costed(of, np.asarray(hours), _at(rates, "labour", of), material=material), mixes


def _attics(q: Quantities, rates: Rates, share: Share) -> tuple[Costed, Whole]:
    of = q.attic_option
    if not len(of):
        return _costed(of, np.zeros(0), 0.0), np.zeros(q.options, dtype=np.int64)
    bags = whole_units(_sums(of, q.attic_bags, q))
    # Two people work the blower and the hose.
    hours = (
        2.0 * q.attic_bags / _at(rates, "attic_blowing", of)
        + _at(rates, "attic_set_up", of)
        + q.attic_baffles * _at(rates, "baffle", of)
        + q.attic_dam_ft * _at(rates, "dam", of)
        + q.attic_hatches * _at(rates, "hatch", of)
    )
    material = share(amount(bags.astype(np.float64), rates["bag"]), q.attic_bags, of)
    material = material + amount(q.attic_baffles, _at(rates, "baffle_material", of))
    material = material + amount(q.attic_dam_ft, _at(rates, "dam_material", of))
    material = material + amount(q.attic_hatches, _at(rates, "hatch_material", of))
    return _costed(of, np.asarray(hours), _at(rates, "labour", of), material=material), bags


def _leaks(q: Quantities, rates: Rates) -> Costed:
    of = q.leak_option
    if not len(of):
        return _costed(of, np.zeros(0), 0.0)
    hours = q.leak_quantity * _chosen(q.leak_kind, [_at(rates, f"leak_hours_{kind}", of) for kind in LEAK_KINDS])
    each = _chosen(q.leak_kind, [_at(rates, f"leak_material_{kind}", of) for kind in LEAK_KINDS])
    return _costed(of, hours, _at(rates, "labour", of), material=amount(q.leak_quantity, each))


def _jobs(
    q: Quantities, rates: Rates, lines: tuple[Costed, Costed, Costed]
) -> tuple[dict[str, Costed], Numbers, Numbers]:
    """What belongs to a whole job: tests, rest of the last half-day, travel, waste, rigs, hose purge."""
    option = np.arange(q.options)
    crew_day = np.broadcast_to(np.asarray(rates["crew_size"]) * np.asarray(rates["day_hours"]), q.options)
    injected, blown, sealed = (_sums(part.option, part.hours, q) for part in lines)
    done = injected + blown + sealed
    busy = (done > 0).astype(np.float64)
    testing = busy * (np.asarray(rates["test_in"]) + np.asarray(rates["test_out"]))
    worked = (done + testing) / crew_day
    crew_days = whole_units(worked * 2.0) / 2.0
    injecting, blowing = injected / crew_day, blown / crew_day
    labour, idle = rates["labour"], np.zeros(q.options)
    rigs = amount(whole_units(injecting * 2.0) / 2.0, rates["foam_rig"])
    rigs = rigs + amount(whole_units(blowing * 2.0) / 2.0, rates["blowing_machine"])
    staged = (_sums(q.wall_option, q.wall_staging, q) > 0).astype(np.float64)
    rigs = rigs + amount(whole_units(injecting * 2.0) / 2.0 * staged, rates["staging"])
    purged = whole_units(injecting) * np.asarray(rates["purge"])
    jobs = {
        "tests": _costed(option, testing, labour, equipment=amount(busy, rates["blower_door"])),
        "half day": _costed(option, (crew_days - worked) * crew_day, labour),
        "travel": _costed(option, idle, labour, travel=amount(crew_days, rates["travel"])),
        "disposal": _costed(option, idle, labour, disposal=amount(busy, rates["disposal"])),
        "rigs": _costed(option, idle, labour, equipment=rigs),
        "purge": _costed(option, idle, labour, material=amount(purged, rates["mix"])),
    }
    return jobs, crew_days, crew_days - worked


def _priced(part: Costed, rates: Rates, margins: Whole, known: list[int], shares: int) -> Costed:
    """Contingency and price of each line, at the margin of its option."""
    if not len(part.option):
        return part
    share = _exact(_at(rates, "contingency", part.option), BASIS)
    contingency = round_half_up(np.asarray(part.cost * share, dtype=np.int64), BASIS)
    cost = part.cost + contingency
    # Few margins stand in many options, mostly one; each is one column.
    if len(known) == 1:
        return replace(part, contingency=contingency, cost=cost, price=np.asarray(price_cents(cost, known[0], shares)))
    wanted, price = margins[part.option], np.zeros(len(cost), dtype=np.int64)
    for margin in known:
        mine = wanted == margin
        price[mine] = price_cents(cost[mine], margin, shares)
    return replace(part, contingency=contingency, cost=cost, price=price)
