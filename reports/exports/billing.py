"""An invoice or credit note as other programs want to read it, and whether its sums agree to the cent."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Any

from estimates.money import LARGEST, format_money
from estimates.records import Fault

UNIT_CODES = {
    "ft2": "FTK",
    "ft": "FOT",
    "ft3": "FTQ",
    "h": "HUR",
    "day": "DAY",
    "lb": "LBR",
    "each": "C62",
    "lump sum": "LS",
}
"""Units of our lines -> UN/ECE Recommendation 20 common codes [S; FTK and LS from memory, unconfirmed: M]."""

UNIT_CODE = r"[A-Z0-9]{2,3}"
"""What a common code looks like: two or three capital letters or digits."""

# What XML 1.0 cannot hold.
_NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


class DocumentKind(StrEnum):
    """What a document is, by its code of UN/EDIFACT 1001: invoice, invoice for a deposit, credit note [S]."""

    INVOICE = "380"
    DEPOSIT_INVOICE = "386"
    CREDIT_NOTE = "381"


class TaxCategory(StrEnum):
    """How an amount is taxed, by its code of UN/EDIFACT 5305 [S]; all but the first bear a rate of 0."""

    STANDARD = "S"
    ZERO_RATED = "Z"
    EXEMPT = "E"
    OUTSIDE = "O"


@dataclass(frozen=True, slots=True, kw_only=True)
class Party:
    """Who sends a document or gets it; a field left empty is left out of the file."""

    name: str
    street: str = ""
    town: str = ""
    state: str = ""
    """Two letters of the state."""
    postal_code: str = ""
    country: str = "US"
    """Two letters of ISO 3166-1."""
    number: str = ""
    """Number under which the other side keeps it, such as a customer number."""
    phone: str = ""
    email: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tax:
    """A rate of sales tax. `why` says why nothing is taxed, where the category is not STANDARD."""

    category: TaxCategory = TaxCategory.STANDARD
    percent: Decimal = Decimal(0)
    """Rate in percent: 8 for 8 %."""
    name: str = "Sales tax"
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TaxPart:
    """How much of a line or an allowance is taxed at one rate. [cents]"""

    tax: Tax
    cents: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BillingLine:
    """A line: `quantity` of `unit` for `net_cents` before tax.

    A line of which only a share is taxed (material, but not labour) has several `taxes`; their amounts sum to the net
    amount. Quantity and amount bear the same sign; what an invoice takes back has both below 0.
    """

    text: str
    quantity: Decimal
    unit: str
    """UN/ECE Recommendation 20 common code; see UNIT_CODES."""
    net_cents: int
    taxes: tuple[TaxPart, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """A discount on the document as a whole (`charge` False), or an amount on top of its lines. `cents` > 0."""

    reason: str
    cents: int
    taxes: tuple[TaxPart, ...]
    charge: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TaxSubtotal:
    """What one rate comes to over the whole document. [cents]"""

    tax: Tax
    taxable_cents: int
    tax_cents: int
    roundings: int = 0
    """Amounts in it that were rounded besides those of the document, such as the parts of a contract billed before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentReference:
    """Another document by number and day."""

    number: str
    issued_on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BillingDocument:
    """An invoice or a credit note with the sums as they were issued; amounts of a credit note are what is given back.

    `lines_cents` = sum of lines; `total_cents` = lines - discounts + charges + tax; `payable_cents` = total - prepaid.
    """

    number: str
    kind: DocumentKind
    issued_on: date
    supplier: Party
    customer: Party
    lines: tuple[BillingLine, ...]
    subtotals: tuple[TaxSubtotal, ...]
    lines_cents: int
    tax_cents: int
    total_cents: int
    payable_cents: int
    prepaid_cents: int = 0
    """Deposits and payments that this document takes into account."""
    allowances: tuple[Allowance, ...] = ()
    due_on: date | None = None
    """Last day to pay; a credit note has none."""
    credited: DocumentReference | None = None
    """The invoice that a credit note is about."""
    job: str = ""
    """Number of the order behind the document."""
    note: str = ""
    currency: str = "USD"


def billing_faults(document: BillingDocument) -> Iterator[Fault]:
    r"""What keeps a document from going out: empty names, days out of order, sums that do not agree.

    Parameters
    ----------
    document : see `BillingDocument`.

    Returns
    -------
    One fault for each thing wrong, with the field and what to enter; none for a good document.

    Notes
    -----
    With lines :math:`n`, discounts :math:`d`, charges :math:`c`, tax :math:`t`, each in whole cents:

    .. math:: total = \sum n - \sum d + \sum c + \sum t, \qquad payable = total - prepaid

    The taxable amount of a rate is what lines and charges leave to it less discounts; its tax may differ from rate x
    taxable amount by half a cent for each amount that was rounded on its own, among them `TaxSubtotal.roundings`.
    """
    typed = list(_type_faults(document, ""))
    yield from typed
    if typed:
        return
    yield from _name_faults(document)
    yield from _line_faults(document)
    yield from _tax_faults(document)
    yield from _sum_faults(document)


def _type_faults(record: Any, path: str) -> Iterator[Fault]:
    """Amounts that are not whole cents, quantities that are no decimals, text that no file can hold."""
    for field in fields(record):
        value, where = getattr(record, field.name), f"{path}{field.name}"
        if is_dataclass(value):
            yield from _type_faults(value, f"{where}.")
        elif isinstance(value, tuple):
            for at, item in enumerate(value):
                yield from _type_faults(item, f"{where}[{at}].")
        elif field.name.endswith("cents"):
            if isinstance(value, bool) or not isinstance(value, int) or abs(value) > LARGEST:
                yield Fault(where, f"{value!r} is no amount; enter whole cents")
        elif field.name in ("quantity", "percent"):
            if not isinstance(value, Decimal) or not value.is_finite():
                yield Fault(where, f"{value!r} is no finite Decimal; enter one made from text")
        elif isinstance(value, str) and _NOT_XML.search(value):
            yield Fault(where, "holds a control character or a broken one; enter plain text")
        elif isinstance(value, datetime):
            yield Fault(where, f"{value} has a time; enter a day")


def _name_faults(document: BillingDocument) -> Iterator[Fault]:
    wanted = {
        "number": document.number,
        "supplier.name": document.supplier.name,
        "customer.name": document.customer.name,
    }
    for path, value in wanted.items():
        if not value.strip():
            yield Fault(path, "is empty; enter it")
    for role in ("supplier", "customer"):
        if not re.fullmatch("[A-Z]{2}", getattr(document, role).country):
            yield Fault(f"{role}.country", "is no country code; enter two capital letters, such as US")
    if not re.fullmatch("[A-Z]{3}", document.currency):
        yield Fault("currency", "is no currency code; enter three capital letters, such as USD")
    if document.kind is DocumentKind.CREDIT_NOTE:
        if document.credited is None or not document.credited.number.strip():
            yield Fault("credited", "missing; enter the number of the invoice that is credited")
        if document.due_on is not None:
            yield Fault("due_on", "a credit note is not due; leave it out")
    elif document.credited is not None:
        yield Fault("credited", "an invoice credits nothing; leave it out, or make it a credit note")
    if document.due_on is not None and document.due_on < document.issued_on:
        yield Fault("due_on", f"before the day of issue {document.issued_on}; enter that day or a later one")


def _line_faults(document: BillingDocument) -> Iterator[Fault]:
    if not document.lines:
        yield Fault("lines", "none; enter at least one")
    for at, line in enumerate(document.lines):
        where = f"lines[{at}]"
        if not line.text.strip():
            yield Fault(f"{where}.text", "is empty; enter what was done or delivered")
        if not re.fullmatch(UNIT_CODE, line.unit):
            yield Fault(f"{where}.unit", f"{line.unit!r} is no unit code; enter one of Recommendation 20, such as FTK")
        if line.quantity == 0 or line.net_cents * line.quantity < 0:
            words = f"{line.quantity} for {format_money(line.net_cents)}; enter a quantity of the sign of its amount"
            yield Fault(f"{where}.quantity", words)
        yield from _part_faults(line.taxes, line.net_cents, where)
    for at, allowance in enumerate(document.allowances):
        where = f"allowances[{at}]"
        if not allowance.reason.strip():
            yield Fault(f"{where}.reason", "is empty; enter why the amount is changed")
        if allowance.cents <= 0:
            yield Fault(f"{where}.cents", f"{allowance.cents}; enter an amount above 0")
        yield from _part_faults(allowance.taxes, allowance.cents, where)


def _part_faults(parts: tuple[TaxPart, ...], cents: int, where: str) -> Iterator[Fault]:
    if not parts:
        yield Fault(f"{where}.taxes", "none; enter how it is taxed, also where it is not")
    elif sum(part.cents for part in parts) != cents:
        said, is_ = format_money(sum(part.cents for part in parts)), format_money(cents)
        yield Fault(f"{where}.taxes", f"sum to {said}, the amount is {is_}; enter parts that sum to it")
    if len({part.tax for part in parts}) < len(parts):
        yield Fault(f"{where}.taxes", "one rate stands twice; enter it once")


def _tax_faults(document: BillingDocument) -> Iterator[Fault]:
    bases: dict[Tax, int] = {}
    rounded: dict[Tax, int] = {}
    signed = [(part, 1) for line in document.lines for part in line.taxes]
    signed += [(part, 1 if some.charge else -1) for some in document.allowances for part in some.taxes]
    for part, sign in signed:
        bases[part.tax] = bases.get(part.tax, 0) + sign * part.cents
        rounded[part.tax] = rounded.get(part.tax, 0) + 1
    listed = [subtotal.tax for subtotal in document.subtotals]
    for tax in bases:
        if listed.count(tax) != 1:
            words = f"{_named(tax)} stands {listed.count(tax)} times; enter it once"
            yield Fault("subtotals", words)
    for at, subtotal in enumerate(document.subtotals):
        tax, where = subtotal.tax, f"subtotals[{at}]"
        if tax not in bases:
            yield Fault(where, f"no line is taxed by {_named(tax)}; leave it out")
            continue
        if tax.category is TaxCategory.STANDARD and tax.percent <= 0:
            yield Fault(f"{where}.tax.percent", f"{tax.percent}; enter a rate above 0, or another category")
        if tax.category is not TaxCategory.STANDARD and tax.percent != 0:
            yield Fault(f"{where}.tax.percent", f"{tax.percent} where nothing is taxed; enter 0")
        if tax.category in (TaxCategory.EXEMPT, TaxCategory.OUTSIDE) and not tax.why.strip():
            yield Fault(f"{where}.tax.why", "is empty; enter why nothing is taxed")
        if subtotal.taxable_cents != bases[tax]:
            words = f"{format_money(subtotal.taxable_cents)}, lines and allowances give {format_money(bases[tax])}"
            yield Fault(f"{where}.taxable_cents", f"{words}; enter amounts that agree")
        due = Fraction(tax.percent) * subtotal.taxable_cents / 100
        if abs(subtotal.tax_cents - due) > Fraction(rounded[tax] + subtotal.roundings, 2):
            words = f"{format_money(subtotal.tax_cents)}, {tax.percent} % of {format_money(subtotal.taxable_cents)}"
            yield Fault(f"{where}.tax_cents", f"{words} is {float(due) / 100:.2f}; enter amounts that agree")


def _sum_faults(document: BillingDocument) -> Iterator[Fault]:
    lines = sum(line.net_cents for line in document.lines)
    changed = sum(some.cents if some.charge else -some.cents for some in document.allowances)
    tax = sum(subtotal.tax_cents for subtotal in document.subtotals)
    wanted = {
        "lines_cents": (lines, "the lines"),
        "tax_cents": (tax, "the subtotals of tax"),
        "total_cents": (
            document.lines_cents + changed + document.tax_cents,
            "lines less discounts plus charges plus tax",
        ),
        "payable_cents": (document.total_cents - document.prepaid_cents, "total less prepaid"),
    }
    for name, (due, what) in wanted.items():
        said = getattr(document, name)
        if said != due:
            yield Fault(name, f"{format_money(said)}, {what} give {format_money(due)}; enter amounts that agree")
    if document.prepaid_cents < 0:
        yield Fault("prepaid_cents", f"{format_money(document.prepaid_cents)}; enter an amount of 0 or more")


def _named(tax: Tax) -> str:
    return f"{tax.name} {tax.category.value} {tax.percent} %"
