"""Sales tax on an option, by the dated rule of its place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from math import floor

from estimates.pricing import PARTS
from estimates.rules import NOT_ADVICE, BadRule, RuleRow, exact, rule_on, table_of

TOPIC = "tax.sales"

EVERYTHING = "everything"
"""A rule that taxes the whole price; others list parts of the direct cost, and tax their share of the price."""


@dataclass(frozen=True, slots=True)
class SalesTax:
    """Sales tax of an option. [cents] `rule` None: no row of these places holds on the day."""

    rule: RuleRow | None
    rate: float
    taxable_cents: int
    cents: int
    why: str


def sales_tax(
    rows: Iterable[RuleRow],
    places: Sequence[str],
    *,
    on: date,
    price_cents: int,
    cost_cents: Mapping[str, int],
    lowered_cents: int = 0,
    certificate: bool = False,
) -> SalesTax:
    r"""What sales tax an option bears.

    Parameters
    ----------
    rows, places, on : the rule table, the jurisdictions of the house, the day of looking up. The narrowest place's row
        holds; its value is a table: `rate`, `taxed` ("everything" or parts of the direct cost), `certificate_exempts`.
    price_cents : price before tax, >= 0. [cents]
    cost_cents : direct cost by its parts. [cents]
    lowered_cents : incentives that lower the amount taxed, >= 0. [cents]
    certificate : whether a certificate of capital improvement is in hand.

    Returns
    -------
    SalesTax; the taxable amount and the tax are each rounded once, half a cent up.

    Raises
    ------
    BadRule : a row without a rate or with an unknown part, or an amount below 0.

    Notes
    -----
    .. math:: T = r \left( P \frac{\sum_{taxed} c}{\sum c} - I \right)^+

    The share of a part in the direct cost is its share in the price, because lines carry one margin.

    Examples
    --------
    >>> row = RuleRow("US-XX", TOPIC, date(2026, 1, 1), None, {"rate": "0.08", "taxed": ["material"]}, "8 percent on "
    ...     "material.", "M", date(2026, 1, 1))
    >>> sales_tax([row], ("US", "US-XX"), on=date(2026, 3, 2), price_cents=100_00,
    ...     cost_cents={"material": 30_00, "labour": 30_00}).cents
    400
    """
    if price_cents < 0 or lowered_cents < 0:
        raise BadRule(f"price_cents is {price_cents}, lowered_cents {lowered_cents}; enter amounts of 0 or more")
    rule = rule_on(rows, places, TOPIC, on)
    if rule is None:
        return SalesTax(
            None, 0.0, 0, 0, f"no sales-tax rule for {', '.join(places)} on {on}: none is charged; check it"
        )
    table = table_of(rule, "rate", "taxed", "certificate_exempts")
    name = f"{rule.jurisdiction} {rule.topic}"
    if "rate" not in table or "taxed" not in table:
        raise BadRule(f"{name} holds no rate or no taxed; enter both")
    rate = exact(table["rate"], f"{name}.rate")
    if rate >= 1:
        raise BadRule(f"{name}.rate holds {table['rate']!r}; enter a share such as 0.08")
    if certificate and table.get("certificate_exempts"):
        return SalesTax(rule, float(rate), 0, 0, f"certificate of capital improvement: not taxed. {NOT_ADVICE}")
    taxable = max(0, _half_up(price_cents * _taxed_share(table["taxed"], cost_cents, name)) - lowered_cents)
    return SalesTax(rule, float(rate), taxable, _half_up(taxable * rate), rule.quote)


def _taxed_share(taxed: object, cost_cents: Mapping[str, int], name: str) -> Fraction:
    if taxed == EVERYTHING:
        return Fraction(1)
    if not isinstance(taxed, list) or any(part not in PARTS for part in taxed):
        raise BadRule(f"{name}.taxed holds {taxed!r}; enter {EVERYTHING!r} or a list of {', '.join(PARTS)}")
    whole = sum(cost_cents.values())
    return Fraction(sum(cost_cents.get(part, 0) for part in set(taxed)), whole) if whole else Fraction(0)


def _half_up(amount: Fraction) -> int:
    return floor(amount + Fraction(1, 2))
