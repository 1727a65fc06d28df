"""Incentives: what dated programme rows give a job, one after the other, and never more than it costs.

A programme is a rule row whose topic begins with "incentive."; its value is a table that `ProgrammeRecord` describes.
Results are estimates, not tax advice, and say every cap and every condition that was applied.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from fractions import Fraction
from math import floor

from estimates.house import Measure
from estimates.money import format_money, share_cents
from estimates.records import BadRecord, Fault, choice, flag, number, read_record, text, whole
from estimates.rules import NOT_ADVICE, BadRule, RuleRow, exact

PREFIX = "incentive."
"""How the topic of a programme begins; the rest is its id."""


class Basis(StrEnum):
    """What an incentive is a share of, or an amount for."""

    SHARE_OF_PRICE = "share_of_price"
    SHARE_OF_MATERIAL = "share_of_material"
    PER_UNIT = "per_unit"
    FLAT_MEASURE = "flat_measure"
    FLAT_JOB = "flat_job"


class Payee(StrEnum):
    """Who gets the money."""

    HOMEOWNER = "homeowner"
    FIRM = "firm"


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgrammeRecord:
    """The table of a programme row. Money in cents."""

    name: str = text("Name on papers", min_length=1, max_length=80)
    basis: Basis = choice(Basis, "What it is worked out from")  # noqa: RUF009 (declares the field, makes no value)
    share: float | None = number("", "Share of price or material", above=0, high=1, default=None)
    cents_per_unit: int | None = whole("Amount for a unit: ft2 of wall or attic, or a leak site", low=1, default=None)
    flat_cents: int | None = whole("Amount for a measure or a job", low=1, default=None)
    after_earlier: bool = flag("A share is taken of what earlier incentives leave", default=False)
    cap_measure_cents: int | None = whole("Most for a measure", low=0, default=None)
    cap_job_cents: int | None = whole("Most for a job", low=0, default=None)
    cap_household_cents: int | None = whole("Most for a household, earlier jobs included", low=0, default=None)
    cap_share: float | None = number("", "Most as a share of the price of its measures", low=0, high=1, default=None)
    income_low: float | None = number("", "Least household income, share of the area's median", low=0, default=None)
    income_high: float | None = number("", "Greatest household income, share of the median", low=0, default=None)
    order: int = whole("Place in the order: the lowest is worked out first", low=0)
    exclusive_group: str = text("Only one programme of a group is given", max_length=40, default="")
    payee: Payee = choice(Payee, "Who gets it")  # noqa: RUF009 (declares the field, makes no value)
    timing: str = text("When it is paid", min_length=1)
    pre_approval: bool = flag("Approval is needed before work begins", default=False)
    lowers_taxable: bool = flag("It lowers the amount that sales tax is taken of", default=False)


@dataclass(frozen=True, slots=True)
class Programme:
    """A programme with its id, the rule row it stands in, the measures it pays for and the documents it asks for."""

    id: str
    row: RuleRow
    terms: ProgrammeRecord
    measures: frozenset[Measure]
    documents: tuple[str, ...]


_NEEDS = {
    Basis.SHARE_OF_PRICE: "share",
    Basis.SHARE_OF_MATERIAL: "share",
    Basis.PER_UNIT: "cents_per_unit",
    Basis.FLAT_MEASURE: "flat_cents",
    Basis.FLAT_JOB: "flat_cents",
}


def programmes(rows: Iterable[RuleRow], places: Sequence[str], on: date) -> tuple[Programme, ...]:
    """Programmes in force in any of the places on the day the work is placed in service, in their order.

    Raises
    ------
    BadRecord : a row whose table has faults, each with its place and what to enter.

    Examples
    --------
    >>> from estimates.rules import load_rules
    >>> [programme.id for programme in programmes(load_rules(), ("US",), date(2025, 12, 31))]
    ['federal-insulation-credit']
    >>> programmes(load_rules(), ("US",), date(2026, 1, 1))
    ()
    """
    found = [
        _programme(row) for row in rows if row.topic.startswith(PREFIX) and row.jurisdiction in places and row.holds(on)
    ]
    return tuple(sorted(found, key=lambda programme: (programme.terms.order, programme.id)))


def _programme(row: RuleRow) -> Programme:
    path = f"{row.jurisdiction} {row.topic}"
    if not isinstance(row.value, Mapping):
        raise BadRecord([Fault(path, f"holds {row.value!r}; enter a table")])
    raw = dict(row.value)
    measures, documents = raw.pop("measures", None), raw.pop("documents", [])
    terms = read_record(ProgrammeRecord, raw, path=path)
    faults = []
    known = ", ".join(Measure)
    if not isinstance(measures, list) or not measures or any(name not in set(Measure) for name in measures):
        faults.append(Fault(f"{path}.measures", f"holds {measures!r}; enter a list of {known}"))
    if not isinstance(documents, list) or not all(isinstance(name, str) and name.strip() for name in documents):
        faults.append(Fault(f"{path}.documents", f"holds {documents!r}; enter a list of names"))
    wanted = _NEEDS[terms.basis]
    for name in sorted(set(_NEEDS.values())):
        if (getattr(terms, name) is not None) is not (name == wanted):
            ask = "enter it" if name == wanted else "leave it out"
            faults.append(Fault(f"{path}.{name}", f"does not fit the basis {terms.basis}; {ask}"))
    if terms.income_low is not None and terms.income_high is not None and terms.income_low > terms.income_high:
        faults.append(Fault(f"{path}.income_high", "below income_low; enter the greater share"))
    if faults:
        raise BadRecord(faults)
    chosen = frozenset(Measure(name) for name in measures)
    return Programme(row.topic.removeprefix(PREFIX), row, terms, chosen, tuple(documents))


@dataclass(frozen=True, slots=True)
class MeasureCost:
    """What one measure of a job costs the homeowner. [cents] `quantity` in the unit programmes pay for."""

    measure: Measure
    price_cents: int
    material_cents: int
    quantity: float


@dataclass(frozen=True, slots=True)
class Household:
    """What a programme asks of a household. None: not recorded.

    `income_share` of the area's median; `used_cents` what it had before by programme id; `approved` ids of programmes
    that approved this job; `documents` names of what is in hand.
    """

    income_share: float | None = None
    used_cents: Mapping[str, int] = field(default_factory=dict)
    approved: frozenset[str] = frozenset()
    documents: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Given:
    """What one programme gives. `by_measure` adds up to `cents`; `caps` are those that lowered it; `needs` is open."""

    programme: Programme
    cents: int
    by_measure: Mapping[Measure, int]
    caps: tuple[str, ...]
    needs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Incentives:
    """All that is given and all that is not, with why. Money in cents."""

    given: tuple[Given, ...]
    refused: tuple[tuple[str, str], ...]
    cost_cents: int
    caution: str = f"Estimate. {NOT_ADVICE}"

    @property
    def total_cents(self) -> int:
        """All incentives. [cents]"""
        return sum(item.cents for item in self.given)

    @property
    def net_cents(self) -> int:
        """What the job costs the homeowner in the end, should every condition be met. [cents]"""
        return self.cost_cents - self.total_cents

    @property
    def on_invoice_cents(self) -> int:
        """Incentives paid to the firm, which come off the invoice. [cents]"""
        return sum(item.cents for item in self.given if item.programme.terms.payee is Payee.FIRM)

    @property
    def taxable_cents(self) -> int:
        """Price less the incentives that lower the amount taxed. [cents]"""
        return self.cost_cents - sum(item.cents for item in self.given if item.programme.terms.lowers_taxable)


def incentives(
    rows: Iterable[RuleRow],
    places: Sequence[str],
    costs: Sequence[MeasureCost],
    *,
    placed_in_service: date,
    household: Household | None = None,
) -> Incentives:
    """What the programmes in force give a job, in their order, each held to what is left of the price of its measures.

    Parameters
    ----------
    rows, places : the rule table and the jurisdictions of the house, with its county or town.
    costs : one entry for each measure of the job.
    placed_in_service : day on which the work will be complete: the day that decides which rows hold.
    household : what is recorded of the people; None: nothing.

    Returns
    -------
    Incentives. Missing documents and approvals do not lower an amount; they stand in `needs`. Amounts are rounded down
    to whole cents.

    Raises
    ------
    BadRule : a cost that is negative or no number, or a measure that stands twice.
    BadRecord : a programme row with faults.
    """
    people = household or Household()
    _check_people(people)
    left = _checked(costs)
    by_measure = {cost.measure: cost for cost in costs}
    given: list[Given] = []
    refused: list[tuple[str, str]] = []
    groups: dict[str, str] = {}
    for programme in programmes(rows, places, placed_in_service):
        why = _why_not(programme, by_measure, people, groups)
        if not why:
            item = _give(programme, by_measure, left, people)
            why = "" if item.cents else "nothing is left to pay for" + _said(item.caps)
        if why:
            refused.append((programme.id, why))
            continue
        given.append(item)
        if programme.terms.exclusive_group:
            groups[programme.terms.exclusive_group] = programme.id
        for measure, cents in item.by_measure.items():
            left[measure] -= cents
    return Incentives(tuple(given), tuple(refused), sum(cost.price_cents for cost in costs))


def _said(caps: tuple[str, ...]) -> str:
    return f" ({'; '.join(caps)})" if caps else ""


def _checked(costs: Sequence[MeasureCost]) -> dict[Measure, int]:
    left: dict[Measure, int] = {}
    for cost in costs:
        if cost.measure in left:
            raise BadRule(f"costs holds {cost.measure} twice; enter one entry for each measure")
        if not 0 <= cost.material_cents <= cost.price_cents:
            raise BadRule(
                f"{cost.measure}: material of {cost.material_cents} cents in a price of {cost.price_cents}; enter a "
                "material of 0 or more, not above the price"
            )
        exact(cost.quantity, f"{cost.measure} quantity")
        left[cost.measure] = cost.price_cents
    return left


def _check_people(people: Household) -> None:
    if people.income_share is not None:
        exact(people.income_share, "income_share")
    for programme, cents in people.used_cents.items():
        if cents < 0:
            raise BadRule(f"used_cents of {programme} is {cents}; enter an amount of 0 or more")


def _why_not(
    programme: Programme, costs: Mapping[Measure, MeasureCost], people: Household, groups: Mapping[str, str]
) -> str:
    terms = programme.terms
    if not programme.measures & set(costs):
        return "none of its measures is in the job"
    if terms.exclusive_group in groups:
        return f"not together with {groups[terms.exclusive_group]}"
    if terms.income_low is not None or terms.income_high is not None:
        share = people.income_share
        if share is None:
            return "household income is not recorded; ask for it"
        if (terms.income_low is not None and share < terms.income_low) or (
            terms.income_high is not None and share > terms.income_high
        ):
            return f"household income of {share:.0%} of the median is outside its band"
    return ""


def _give(
    programme: Programme, costs: Mapping[Measure, MeasureCost], left: Mapping[Measure, int], people: Household
) -> Given:
    terms = programme.terms
    mine = [measure for measure in Measure if measure in programme.measures and measure in costs]
    caps: list[str] = []
    raw = _asked(programme, mine, costs, left)
    for place, measure in enumerate(mine):
        raw[place] = _capped(raw[place], terms.cap_measure_cents, f"cap for {measure}", caps)
        raw[place] = _capped(raw[place], left[measure], f"price left of {measure}", caps)
    total = sum(raw)
    if terms.cap_share is not None:
        price = sum(costs[measure].price_cents for measure in mine)
        most = floor(exact(terms.cap_share, "cap_share") * price)
        total = _capped(total, most, f"cap of {terms.cap_share:.0%} of the price", caps)
    total = _capped(total, terms.cap_job_cents, "cap for a job", caps)
    if terms.cap_household_cents is not None:
        rest = max(0, terms.cap_household_cents - people.used_cents.get(programme.id, 0))
        total = _capped(total, rest, "cap for a household", caps)
    # Shared by largest remainder: no part passes its own raw amount, because the total never passes their sum.
    shares = share_cents(total, raw)
    needs = [f"document: {name}" for name in programme.documents if name not in people.documents]
    if terms.pre_approval and programme.id not in people.approved:
        needs.insert(0, "approval before work begins")
    return Given(programme, total, dict(zip(mine, shares, strict=True)), tuple(caps), tuple(needs))


def _asked(
    programme: Programme,
    mine: Sequence[Measure],
    costs: Mapping[Measure, MeasureCost],
    left: Mapping[Measure, int],
) -> list[int]:
    """What the programme would give for each measure before any cap. [cents]"""
    terms = programme.terms
    if terms.basis is Basis.FLAT_JOB:
        flat = terms.flat_cents or 0
        weights = [left[measure] for measure in mine]
        # Spread by what is left; a flat amount beyond all of it is cut by the price left of each measure.
        return share_cents(flat, weights if any(weights) else [1] * len(mine))
    asked: list[int] = []
    for measure in mine:
        cost = costs[measure]
        if terms.basis is Basis.FLAT_MEASURE:
            asked.append(terms.flat_cents or 0)
        elif terms.basis is Basis.PER_UNIT:
            asked.append(floor(exact(cost.quantity, f"{measure} quantity") * (terms.cents_per_unit or 0)))
        else:
            whole_cost = cost.price_cents if terms.basis is Basis.SHARE_OF_PRICE else cost.material_cents
            base = Fraction(whole_cost)
            if terms.after_earlier and cost.price_cents:
                base = base * left[measure] / cost.price_cents
            asked.append(floor(exact(terms.share or 0, "share") * base))
    return asked


def _capped(amount: int, most: int | None, name: str, caps: list[str]) -> int:
    if most is None or amount <= most:
        return amount
    caps.append(f"{name}: {format_money(amount)} lowered to {format_money(most)}")
    return most
