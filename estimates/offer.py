"""What an option comes to for the homeowner: price, sales tax, incentives, and payments under the caps of the place."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from estimates.contract import SCHEDULE, DepositCap, Due, PaymentStep, deposit_cap, schedule_faults
from estimates.cost_columns import BASIS, parts
from estimates.house import HouseRecord, Measure
from estimates.incentives import Household, Incentives, MeasureCost, incentives
from estimates.money import round_half_up, share_cents
from estimates.pricebook import PriceBook
from estimates.pricing import PARTS, PricedOption
from estimates.records import Fault
from estimates.rules import RuleRow, places_of, rule_on
from estimates.takeoff import Takeoff
from estimates.tax import SalesTax, sales_tax


@dataclass(frozen=True, slots=True)
class RuledDay:
    """Under which rules a house stands: places from wide to narrow, day of the price, day the work is complete."""

    places: tuple[str, ...]
    priced_on: date
    in_service_on: date

    @classmethod
    def of(cls, house: HouseRecord, book: PriceBook) -> RuledDay:
        """As the house says; without days, the first day of the price book."""
        priced_on = house.priced_on or book.effective_from
        deeper = (house.county,) if house.county.strip() else ()
        return cls(places_of(house.state, *deeper), priced_on, house.in_service_on or priced_on)

    def rows(self, table: Iterable[RuleRow]) -> tuple[RuleRow, ...]:
        """The rows of these places that hold on either day, in one order: all that an estimate looks at."""
        found = [
            row
            for row in table
            if row.jurisdiction in self.places and (row.holds(self.priced_on) or row.holds(self.in_service_on))
        ]
        return tuple(sorted(found, key=lambda row: (row.jurisdiction, row.topic, row.valid_from)))


@dataclass(frozen=True, slots=True)
class Offer:
    """An option as the homeowner would pay for it. Money in cents.

    `total_cents` price and tax: what the contract is about, and what the payments add up to; `net_cents` what is left
    of it once every incentive has come; `due_cents` total less the incentives that are paid to the firm.
    """

    option_id: str
    price_cents: int
    measures: tuple[MeasureCost, ...]
    tax: SalesTax
    incentives: Incentives
    cap: DepositCap
    steps: tuple[PaymentStep, ...]
    faults: tuple[Fault, ...]

    @property
    def total_cents(self) -> int:
        """Price and sales tax. [cents]"""
        return self.price_cents + self.tax.cents

    @property
    def net_cents(self) -> int:
        """Total less every incentive. [cents]"""
        return self.total_cents - self.incentives.total_cents

    @property
    def due_cents(self) -> int:
        """Total less the incentives that the firm receives for the homeowner. [cents]"""
        return self.total_cents - self.incentives.on_invoice_cents

    @property
    def deposit_cents(self) -> int:
        """What is paid at signing. [cents]"""
        return sum(step.cents for step in self.steps if step.due is Due.SIGNING)


def offers(
    house: HouseRecord,
    takeoff: Takeoff,
    options: Sequence[PricedOption],
    book: PriceBook,
    *,
    rows: Iterable[RuleRow],
    under: RuledDay,
) -> tuple[Offer, ...]:
    """Tax, incentives and payments of every priced option.

    Parameters
    ----------
    house, takeoff, options, book : one run of the chain.
    rows : the rule table.
    under : places and days that decide which rows hold.

    Raises
    ------
    BadRule, BadRecord : a row that cannot be used; names it and what to enter.
    """
    table = under.rows(rows)
    return tuple(_offer(house, takeoff.chosen(priced.option), priced, book, table, under) for priced in options)


def _offer(
    house: HouseRecord,
    chosen: Takeoff,
    priced: PricedOption,
    book: PriceBook,
    table: Sequence[RuleRow],
    under: RuledDay,
) -> Offer:
    measures = measure_costs(priced, chosen)
    given = incentives(
        table, under.places, measures, placed_in_service=under.in_service_on, household=_household(house)
    )
    tax = sales_tax(
        table,
        under.places,
        on=under.priced_on,
        price_cents=priced.price_cents,
        cost_cents={part: sum(line.cost[part] for line in priced.lines) for part in PARTS},
        lowered_cents=given.cost_cents - given.taxable_cents,
        certificate=house.capital_improvement,
    )
    total = priced.price_cents + tax.cents
    cap = deposit_cap(table, under.places, price_cents=total, on=under.priced_on)
    steps = tuple(_steps(total, measures, book, cap, table, under))
    faults = schedule_faults(table, under.places, steps, price_cents=total, on=under.priced_on) if total else ()
    return Offer(priced.option.id, priced.price_cents, measures, tax, given, cap, steps, faults)


def measure_costs(priced: PricedOption, chosen: Takeoff) -> tuple[MeasureCost, ...]:
    """The price of an option by measure, to the cent.

    Lines of the whole job (tests, travel, rest of a half-day, minimum charge, discount) are shared to the measures by
    the price of their own lines, largest remainder first. Material is the part of a measure's own lines' price that
    their material has in their direct cost. Quantity: ft2 of wall filled, ft2 of attic, number of leak sites.
    """
    own: dict[Measure, int] = {}
    material: dict[Measure, int] = {}
    for line in priced.lines:
        if line.measure is not None:
            own[line.measure] = own.get(line.measure, 0) + line.price_cents
            part = round_half_up(line.price_cents * line.cost["material"], line.cost_cents) if line.cost_cents else 0
            material[line.measure] = material.get(line.measure, 0) + part
    if not any(own.values()):
        return ()
    shares = dict(zip(own, share_cents(priced.price_cents, list(own.values())), strict=True))
    amounts = {
        Measure.WALL_INJECTION: sum(wall.layout.net_ft2 for wall in chosen.priced_walls),
        Measure.ATTIC_TOP_UP: sum(attic.attic.area_ft2 for attic in chosen.priced_attics),
        Measure.AIR_SEALING: float(len(chosen.priced_leaks)),
    }
    return tuple(
        MeasureCost(measure, cents, min(material[measure], cents), amounts[measure])
        for measure, cents in shares.items()
    )


def _household(house: HouseRecord) -> Household | None:
    people = house.household
    if people is None:
        return None
    used: dict[str, int] = {}
    for earlier in people.earlier:
        used[earlier.programme] = used.get(earlier.programme, 0) + int(parts(earlier.dollars, 100))
    return Household(people.income_share, used, frozenset(people.approved), frozenset(people.documents))


def _steps(
    total: int,
    measures: Sequence[MeasureCost],
    book: PriceBook,
    cap: DepositCap,
    table: Sequence[RuleRow],
    under: RuledDay,
) -> Iterable[PaymentStep]:
    """Deposit at signing, a payment once the walls are filled where other work follows, the rest at the end."""
    if total <= 0:
        return
    deposit = round_half_up(total * int(parts(book.best("deposit"), BASIS)), BASIS)
    if cap.cents is not None:
        deposit = min(deposit, cap.cents)
    filled = sum(cost.price_cents for cost in measures if cost.measure is Measure.WALL_INJECTION)
    progress = round_half_up(total * int(parts(book.best("progress"), BASIS)), BASIS)
    if len(measures) < 2:
        progress = 0
    if rule_on(table, under.places, SCHEDULE, under.priced_on) is not None:
        progress = min(progress, filled - deposit)
    progress = max(0, min(progress, total - deposit)) if filled else 0
    if deposit:
        yield PaymentStep("Deposit", Due.SIGNING, deposit, 0)
    if progress:
        yield PaymentStep("When the walls are filled", Due.PROGRESS, progress, filled)
    if total - deposit - progress:
        yield PaymentStep("When the work is done and tested", Due.COMPLETION, total - deposit - progress, total)
