"""Money on a proposal: price, tax, payments and incentives of each option, as text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from estimates.house import Measure
from estimates.incentives import Given, Payee
from estimates.money import format_money
from estimates.offer import Offer
from estimates.pricing import PricedOption
from estimates.rules import NOT_ADVICE
from estimates.tax import EVERYTHING, SalesTax
from estimates.terms import plain

MEASURES = {
    Measure.WALL_INJECTION: "filling the walls",
    Measure.ATTIC_TOP_UP: "the attic",
    Measure.AIR_SEALING: "air sealing",
}

INCENTIVES_NOTE = (
    "Estimated by the programmes’ rules of today, not promised: a programme decides when it has your papers. "
    f"{NOT_ADVICE}"
)


def option_money(priced: PricedOption, offer: Offer) -> dict[str, str]:
    """Price before tax, discount, tax with its reason, total, and what is left of it after incentives."""
    discount = ""
    if priced.discount_cents:
        reason = f" ({priced.option.discount_reason})" if priced.option.discount_reason else ""
        discount = f"{format_money(-priced.discount_cents)}{reason}, taken off already"
    return {
        "price": format_money(offer.price_cents),
        "discount": discount,
        "tax": format_money(offer.tax.cents),
        "tax_why": tax_words(offer.tax, offer.price_cents),
        "total": format_money(offer.total_cents),
        "net": format_money(offer.net_cents),
    }


def tax_words(tax: SalesTax, price_cents: int) -> str:
    """Why the tax is what it is, in a few words."""
    if tax.rule is None:
        return "no rule of this place at hand; none is charged"
    if tax.why.startswith("certificate"):
        return "none: certificate of capital improvement"
    if not tax.rate or tax.rule.value["taxed"] == []:
        return "none is charged on this work here"
    base = "of the price"
    if tax.rule.value["taxed"] != EVERYTHING:
        base = f"of {format_money(tax.taxable_cents)}, the taxed part of the price"
    elif tax.taxable_cents < price_cents:
        base = f"of {format_money(tax.taxable_cents)}, the price less incentives that lower it"
    return f"{100 * tax.rate:.6g}% {base}"


def payment_rows(options: Sequence[PricedOption], offers: Sequence[Offer]) -> list[dict[str, str]]:
    """Every payment: option (only in the first row of each), name, when it is due, amount."""
    return [
        {
            "option": priced.option.name if place == 0 else "",
            "name": step.name,
            "when": str(step.due),
            "amount": format_money(step.cents),
        }
        for priced, offer in zip(options, offers, strict=True)
        for place, step in enumerate(offer.steps)
    ]


def incentive_rows(options: Sequence[PricedOption], offers: Sequence[Offer]) -> list[dict[str, Any]]:
    """Every incentive: option (only in its first row), name, amount, who gets it, caps applied, what is open."""
    return [
        {
            "option": priced.option.name if place == 0 else "",
            "name": given.programme.terms.name,
            "amount": format_money(given.cents),
            "payee": _payee(given),
            "notes": list(_notes(given)),
        }
        for priced, offer in zip(options, offers, strict=True)
        for place, given in enumerate(offer.incentives.given)
    ]


def _payee(given: Given) -> str:
    terms = given.programme.terms
    if terms.payee is Payee.FIRM:
        return f"us, {terms.timing}; it comes off what you owe once it is granted"
    return f"you, {terms.timing}"


def _notes(given: Given) -> Iterable[str]:
    for cap in given.caps:
        yield f"{_in_words(cap)}.".replace("cap ", "Cap ", 1).replace("price left", "Price left", 1)
    if given.needs:
        yield f"Still needed: {', '.join(need.removeprefix('document: ') for need in given.needs)}."


def _in_words(said: str) -> str:
    for measure, words in MEASURES.items():
        said = said.replace(str(measure), words)
    return said


def deposit_words(offers: Sequence[Offer], options: Sequence[PricedOption]) -> list[str]:
    """The most that may be taken at signing, option by option, and the rules that say so."""
    capped = [
        (priced.option.name, offer.cap)
        for priced, offer in zip(options, offers, strict=True)
        if offer.cap.cents is not None and offer.cap.rule is not None
    ]
    if not capped:
        return []
    amounts = "; ".join(f"{name}: {format_money(cap.cents or 0)}" for name, cap in capped)
    rules = dict.fromkeys(plain(cap.rule) for _, cap in capped if cap.rule is not None)
    return [f"Most that may be taken at signing: {amounts}.", *rules]
