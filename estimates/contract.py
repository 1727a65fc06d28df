"""What must hold before a proposal or contract goes out: floor margin, age of prices, deposit, schedule, clauses."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import pairwise
from math import floor

from estimates.money import format_money
from estimates.pricing import PricedOption
from estimates.records import Fault
from estimates.rules import BadRule, RuleRow, exact, rule_on, rules_on, table_of

DEPOSIT_CAP, SCHEDULE, CLAUSES = "contract.deposit_cap", "contract.schedule", "contract.clauses"
"""Topics of the rule table."""

WORK_AND_MATERIAL = "work_and_material"
"""Value of a schedule row: payments never exceed work done plus delivered material."""


# --- price: floor and age --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FloorRelease:
    """The owner's word that an option may go out below the floor margin, at no less than the margin named."""

    option_id: str
    by_owner: bool
    by: str
    reason: str
    least_margin: float


def floor_faults(options: Iterable[PricedOption], releases: Iterable[FloorRelease]) -> tuple[Fault, ...]:
    """Options below the floor margin that nobody has released.

    Parameters
    ----------
    options : what is to be sent.
    releases : with a reason, by the owner; a release holds for its option down to its margin, so that a later discount
        needs another one.

    Returns
    -------
    A fault for each option that cannot be sent; empty when the proposal can.
    """
    given = list(releases)
    faults = []
    for option in options:
        if not option.below_floor:
            continue
        about = [release for release in given if release.option_id == option.option.id]
        if any(
            release.by_owner and release.reason.strip() and release.by.strip() and option.margin >= release.least_margin
            for release in about
        ):
            continue
        faults.append(
            Fault(
                f"options.{option.option.id}",
                f"margin {option.margin:.1%} is below the floor of {option.floor_margin:.1%}; raise the price, or let "
                "the owner release it with a reason",
            )
        )
    return tuple(faults)


def stale_prices(dated: Mapping[str, date], *, on: date, days: int) -> tuple[str, ...]:
    """Warnings for prices that are older than so many days, and for those that do not hold yet.

    Parameters
    ----------
    dated : name of a price or book -> the day from which it holds.
    on : the day of the estimate.
    days : greatest age without a warning, >= 0. [day]

    Returns
    -------
    A sentence for each, oldest first. Nothing is refused: a sent estimate keeps the prices it was made with.

    Raises
    ------
    BadRule : days is below 0.

    Examples
    --------
    >>> stale_prices({"foam": date(2026, 1, 1)}, on=date(2026, 4, 2), days=90)
    ('foam: priced on 2026-01-01, 91 days ago, more than 90; check it',)
    """
    if days < 0:
        raise BadRule(f"days is {days}; enter a number of days of 0 or more")
    warnings = []
    for name, since in sorted(dated.items(), key=lambda item: (item[1], item[0])):
        age = (on - since).days
        if age < 0:
            warnings.append(f"{name}: holds only from {since.isoformat()}; use the price of {on.isoformat()}")
        elif age > days:
            warnings.append(f"{name}: priced on {since.isoformat()}, {age} days ago, more than {days}; check it")
    return tuple(warnings)


# --- deposit and schedule --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class DepositCap:
    """The most that may be taken at signing. [cents] None: no row of these places sets one."""

    cents: int | None
    rule: RuleRow | None


def deposit_cap(rows: Iterable[RuleRow], places: Sequence[str], *, price_cents: int, on: date) -> DepositCap:
    """The most that may be taken before work begins, by the strictest row of the places.

    Parameters
    ----------
    rows, places : the rule table and the jurisdictions of the house. A row holds `share` of the price, `most_cents`, or
        both (the lesser counts), and `from_price_cents` where it holds only for greater contracts.
    price_cents : price of the contract, >= 0. [cents]
    on : day of signature.

    Returns
    -------
    DepositCap; a share is rounded down to whole cents.

    Raises
    ------
    BadRule : a price below 0, or a row that holds neither a share nor an amount.

    Examples
    --------
    >>> row = RuleRow("US-XX", DEPOSIT_CAP, date(2026, 1, 1), None, {"share": "1/3"}, "A third.", "M", date(2026, 1, 1))
    >>> deposit_cap([row], ("US", "US-XX"), price_cents=1_000_000, on=date(2026, 3, 2)).cents
    333333
    """
    if price_cents < 0:
        raise BadRule(f"price_cents is {price_cents}; enter a price of 0 or more")
    caps = []
    for row in rules_on(rows, places, DEPOSIT_CAP, on):
        table = table_of(row, "share", "most_cents", "from_price_cents")
        if price_cents < exact(table.get("from_price_cents", 0), f"{row.jurisdiction} {row.topic}.from_price_cents"):
            continue
        found = []
        if "share" in table:
            found.append(floor(exact(table["share"], f"{row.jurisdiction} {row.topic}.share") * price_cents))
        if "most_cents" in table:
            found.append(floor(exact(table["most_cents"], f"{row.jurisdiction} {row.topic}.most_cents")))
        if not found:
            raise BadRule(f"{row.jurisdiction} {row.topic} holds neither share nor most_cents; enter one of them")
        caps.append((min(found), row))
    if not caps:
        return DepositCap(None, None)
    cents, rule = min(caps, key=lambda cap: cap[0])
    return DepositCap(min(cents, price_cents), rule)


class Due(StrEnum):
    """When a payment is due."""

    SIGNING = "at signing"
    START = "when work starts"
    PROGRESS = "as work goes on"
    COMPLETION = "on completion"


@dataclass(frozen=True, slots=True)
class PaymentStep:
    """One payment of a schedule. `earned_cents`: work done and material delivered by then, all in all. [cents]"""

    name: str
    due: Due
    cents: int
    earned_cents: int = 0


def schedule_faults(
    rows: Iterable[RuleRow], places: Sequence[str], steps: Sequence[PaymentStep], *, price_cents: int, on: date
) -> tuple[Fault, ...]:
    """What is wrong with a schedule of payments; each refusal quotes its rule.

    Parameters
    ----------
    rows, places, price_cents, on : as in `deposit_cap`.
    steps : payments in the order they fall due.

    Returns
    -------
    Faults: steps that do not add up to the price or are not above 0, a deposit over the cap, and, where a row says so,
    payments beyond work done plus delivered material, the deposit counted among what is paid. What is taken at signing
    is held against the cap, not against the work; the last payment, on completion, finds all of it done.
    """
    table = list(rows)
    faults = [
        Fault(f"steps[{index}].cents", f"{step.name}: {step.cents} cents; enter an amount above 0")
        for index, step in enumerate(steps)
        if step.cents <= 0
    ]
    total = sum(step.cents for step in steps)
    if total != price_cents:
        faults.append(
            Fault("steps", f"add up to {format_money(total)}, not to {format_money(price_cents)}; change a step")
        )
    order = list(Due)
    if any(order.index(b.due) < order.index(a.due) for a, b in pairwise(steps)):
        faults.append(Fault("steps", "are not in the order they fall due; put signing first and completion last"))
    upfront = sum(step.cents for step in steps if step.due is Due.SIGNING)
    cap = deposit_cap(table, places, price_cents=price_cents, on=on)
    if cap.cents is not None and cap.rule is not None and upfront > cap.cents:
        faults.append(
            Fault(
                "steps.deposit",
                f"{format_money(upfront)} at signing is more than {format_money(cap.cents)}; enter at most that. "
                f"{cap.rule.quote}",
            )
        )
    rule = rule_on(table, places, SCHEDULE, on)
    if rule is not None:
        if rule.value != WORK_AND_MATERIAL:
            raise BadRule(f"{rule.jurisdiction} {SCHEDULE} holds {rule.value!r}; enter {WORK_AND_MATERIAL!r}")
        faults += _ahead_of_work(steps, upfront, rule)
    return tuple(faults)


def _ahead_of_work(steps: Sequence[PaymentStep], upfront: int, rule: RuleRow) -> Iterable[Fault]:
    paid = 0
    for index, step in enumerate(steps):
        paid += step.cents
        if step.due in (Due.SIGNING, Due.COMPLETION):
            continue
        allowed = max(upfront, step.earned_cents)
        if paid > allowed:
            yield Fault(
                f"steps[{index}].cents",
                f"{step.name}: {format_money(paid)} paid by then, {format_money(step.earned_cents)} earned; enter at "
                f"most {format_money(max(0, step.cents - (paid - allowed)))}. {rule.quote}",
            )


# --- clauses ---------------------------------------------------------------------------------------------------------


def required_clauses(rows: Iterable[RuleRow], places: Sequence[str], *, on: date) -> dict[str, RuleRow]:
    """Clause -> the row that asks for it, of every place: a state adds to the federal ones, it takes none away.

    Raises
    ------
    BadRule : a row whose value is no list of names.
    """
    wanted: dict[str, RuleRow] = {}
    for row in rules_on(rows, places, CLAUSES, on):
        if not isinstance(row.value, list) or not all(isinstance(name, str) and name for name in row.value):
            raise BadRule(f"{row.jurisdiction} {CLAUSES} holds {row.value!r}; enter a list of clauses")
        for name in row.value:
            wanted.setdefault(name, row)
    return wanted


def clause_faults(
    rows: Iterable[RuleRow], places: Sequence[str], given: Collection[str], *, on: date
) -> tuple[Fault, ...]:
    """Required clauses that a contract lacks; with any of them missing it cannot be issued."""
    return tuple(
        Fault(f"clauses.{name}", f"missing; add it. {row.quote}")
        for name, row in required_clauses(rows, places, on=on).items()
        if name not in given
    )
