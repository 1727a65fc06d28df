"""Rows of the books as what leaves the house: tables, journal entries, billing documents."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from django.db.models import Prefetch, QuerySet

from estimates.firm import FirmRecord, load_firm
from estimates.models import House
from estimates.money import round_half_up, to_cents
from jobs.models import Allocation, Invoice, InvoiceKind, InvoiceLine, Payment, Posting, Refund
from jobs.models import Entry as EntryRow
from jobs.payments import BANDS, band_of
from reports.exports.billing import (
    UNIT_CODES,
    Allowance,
    BillingDocument,
    BillingLine,
    DocumentKind,
    DocumentReference,
    Party,
    Tax,
    TaxCategory,
    TaxPart,
    TaxSubtotal,
)
from reports.exports.journal import Entry
from reports.exports.journal import Posting as Side
from reports.exports.tables import Cell, Column, Kind, Table


@dataclass(frozen=True, slots=True)
class Period:
    """Days from `since` to `until`, both included."""

    since: date
    until: date


@dataclass(frozen=True, slots=True)
class Part:
    """A table, and the name of the thing behind each of its rows: what tells a row that went out from a new one."""

    table: Table
    keys: tuple[str, ...]


# --- Lists -----------------------------------------------------------------------------------------------------------


def customers(period: Period) -> Part:
    """Customers that had an invoice, a payment or a refund in the period, and what they owe at its end.

    What is held back until the final invoice counts as owed: it is invoiced.
    """
    papers = Invoice.objects.filter(issued_on__lte=period.until).select_related(None)
    sums: dict[int, list[int]] = {}
    moved: set[int] = set()

    def add(house: int, at: int, cents: int, on: date) -> None:
        sums.setdefault(house, [0, 0, 0, 0])[at] += cents
        if on >= period.since:
            moved.add(house)

    for house, kind, net, tax, on in papers.values_list("job__house_id", "kind", "net", "tax", "issued_on"):
        add(house, int(kind == InvoiceKind.CREDIT), to_cents(net + tax), on)
    paid = Payment.objects.filter(received_on__lte=period.until)
    for house, amount, on in paid.values_list("job__house_id", "amount", "received_on"):
        add(house, 2, to_cents(amount), on)
    returned = Refund.objects.filter(paid_on__lte=period.until)
    for house, amount, on in returned.values_list("job__house_id", "amount", "paid_on"):
        add(house, 3, to_cents(amount), on)
    columns = (
        Column("Customer number"), Column("Customer"), Column("Street"), Column("Town"), Column("State"), Column("ZIP"),
        Column("Invoiced", Kind.MONEY), Column("Credited", Kind.MONEY), Column("Paid", Kind.MONEY),
        Column("Refunded", Kind.MONEY), Column("Owed", Kind.MONEY),
    )  # fmt: skip
    found = list(House.objects.filter(pk__in=moved).order_by("reference"))
    rows: list[Sequence[Cell]] = []
    for row in found:
        invoiced, credited, came, went = sums[row.pk]
        owed = invoiced - credited - came + went
        address = (row.street, row.town, row.state, row.postal_code)
        rows.append((row.reference, row.customer_name, *address, invoiced, credited, came, went, owed))
    return Part(Table("Customers", columns, rows), tuple(row.reference for row in found))


def aging(period: Period) -> Part:
    """Invoices that are open at the end of the period, with how long; later payments and credits do not count."""
    until = period.until
    paid_by_then = Prefetch("allocations", queryset=Allocation.objects.filter(on__lte=until))
    noted_by_then = Prefetch("credit_notes", queryset=Invoice.objects.filter(issued_on__lte=until))
    rest = Invoice.objects.filter(issued_on__lte=until).exclude(kind=InvoiceKind.CREDIT).select_related("job__house")
    papers = rest.prefetch_related(paid_by_then).prefetch_related(noted_by_then).order_by("due_on", "number")
    columns = (
        Column("Invoice"), Column("Customer number"), Column("Customer"), Column("Job"), Column("Issued", Kind.DAY),
        Column("Due", Kind.DAY), Column("Age"), Column("Open", Kind.MONEY),
    )  # fmt: skip
    rows: list[Sequence[Cell]] = []
    keys = []
    for paper in papers:
        paid = sum(to_cents(one.amount) for one in paper.allocations.all())
        credited = sum(to_cents(note.applied) for note in paper.credit_notes.all())
        left = to_cents(paper.payable) - paid - credited
        if left > 0:
            house = paper.job.house
            band = BANDS[band_of(paper.due_on, until)]
            who = (house.reference, house.customer_name, paper.job.number)
            rows.append((paper.number, *who, paper.issued_on, paper.due_on, band, left))
            keys.append(paper.number)
    return Part(Table("Open by age", columns, rows), tuple(keys))


def invoices(period: Period) -> Part:
    """Invoices and credit notes issued in the period; the amounts of a credit note bear a minus, so that all add up."""
    columns = (
        Column("Number"), Column("Kind"), Column("Issued", Kind.DAY), Column("Due", Kind.DAY),
        Column("Customer number"), Column("Customer"), Column("Job"), Column("Credits invoice"),
        Column("Net", Kind.MONEY), Column("Tax", Kind.MONEY), Column("Total", Kind.MONEY),
        Column("Held back", Kind.MONEY), Column("Held back before", Kind.MONEY), Column("Asked", Kind.MONEY),
    )  # fmt: skip
    rows: list[Sequence[Cell]] = []
    found = list(_papers(period))
    for paper in found:
        credit = paper.kind == InvoiceKind.CREDIT
        sign, house = -1 if credit else 1, paper.job.house
        about = "" if paper.credits is None else paper.credits.number
        amounts = (paper.net, paper.tax, paper.total, paper.retained, paper.released)
        rows.append(
            (
                paper.number,
                paper.get_kind_display(),
                paper.issued_on,
                None if credit else paper.due_on,
                house.reference,
                house.customer_name,
                paper.job.number,
                about,
                *(sign * to_cents(amount) for amount in amounts),
                -to_cents(paper.applied) if credit else to_cents(paper.payable),
            )
        )
    return Part(Table("Invoices", columns, rows), tuple(paper.number for paper in found))


def payments(period: Period) -> Part:
    """Payments that came in and refunds that went out in the period; refunds bear a minus."""
    came = (
        Payment.objects.filter(received_on__range=(period.since, period.until))
        .select_related("job__house")
        .prefetch_related(Prefetch("allocations", queryset=Allocation.objects.select_related("invoice")))
    )
    went = Refund.objects.filter(paid_on__range=(period.since, period.until)).select_related("job__house")
    columns = (
        Column("Number"), Column("What"), Column("Day", Kind.DAY), Column("Customer number"), Column("Customer"),
        Column("Job"), Column("From"), Column("How"), Column("Reference"), Column("Set against"),
        Column("Amount", Kind.MONEY),
    )  # fmt: skip
    rows: list[Sequence[Cell]] = []
    for paid in came:
        house, against = paid.job.house, sorted({one.invoice.number for one in paid.allocations.all()})
        rows.append(
            (paid.number, "Payment", paid.received_on, house.reference, house.customer_name, paid.job.number,
             paid.get_payer_display(), paid.get_method_display(), paid.reference, ", ".join(against),
             to_cents(paid.amount))
        )  # fmt: skip
    for back in went:
        house = back.job.house
        rows.append(
            (back.number, "Refund", back.paid_on, house.reference, house.customer_name, back.job.number, "",
             back.get_method_display(), back.reference, "", -to_cents(back.amount))
        )  # fmt: skip
    rows.sort(key=lambda row: (row[2], row[0]))
    return Part(Table("Payments", columns, rows), tuple(str(row[0]) for row in rows))


def _papers(period: Period) -> QuerySet[Invoice]:
    rows = Invoice.objects.filter(issued_on__range=(period.since, period.until))
    lines = Prefetch("lines", queryset=InvoiceLine.objects.order_by("position"))
    joined = rows.select_related("job__house", "credits").prefetch_related(lines)
    return joined.order_by("issued_on", "number")


# --- Journal ---------------------------------------------------------------------------------------------------------


def entries(period: Period) -> tuple[Entry, ...]:
    """The entries of the books in the period, in the order of their numbers."""
    rows = EntryRow.objects.filter(on__range=(period.since, period.until)).select_related("job")
    sides = Prefetch("postings", queryset=Posting.objects.select_related("account").order_by("id"))
    return tuple(
        Entry(
            number=str(row.number),
            on=row.on,
            document=row.document,
            memo=row.memo,
            job="" if row.job is None else row.job.number,
            postings=tuple(
                Side(account=one.account.key, debit_cents=to_cents(one.debit), credit_cents=to_cents(one.credit))
                for one in row.postings.all()
            ),
        )
        for row in rows.prefetch_related(sides).order_by("number")
    )


# --- Billing documents -----------------------------------------------------------------------------------------------

HELD_BACK = "Held back until the final invoice"
ASKED_NOW = "Held back before, asked for now"

TAX_SLACK = Fraction(3, 2)
"""How far the tax of a line may lie from rate x its taxed part before the part is worked out from the tax: a part of a
contract bears what the parts before it left, so both carry the rounding of two amounts. [cents]"""

_KINDS = {InvoiceKind.DEPOSIT: DocumentKind.DEPOSIT_INVOICE, InvoiceKind.CREDIT: DocumentKind.CREDIT_NOTE}
_RETAINAGE = Tax(category=TaxCategory.OUTSIDE, why="Time of payment only, the price stays")


def billing_documents(period: Period) -> tuple[BillingDocument, ...]:
    """Invoices and credit notes issued in the period, as other programs want to read them."""
    firm = load_firm()
    return tuple(billing_document(paper, firm) for paper in _papers(period))


def billing_document(paper: Invoice, firm: FirmRecord) -> BillingDocument:
    """An issued invoice or credit note with its sums to the cent.

    Parameters
    ----------
    paper : the invoice, with its lines, job, house and the invoice it credits.
    firm : who sends it.

    Notes
    -----
    Lines, tax and what is payable are those of the invoice. What is held back is taken off as an allowance outside tax
    and put on again by the final invoice as a charge: so the totals of all documents of a job add up to its contract.
    """
    credit = paper.kind == InvoiceKind.CREDIT
    lines = tuple(_line(paper, line) for line in paper.lines.all())
    held, asked = to_cents(paper.retained), to_cents(paper.released)
    changes = tuple(
        Allowance(reason=reason, cents=cents, charge=charge, taxes=(TaxPart(tax=_RETAINAGE, cents=cents),))
        for reason, cents, charge in ((HELD_BACK, held, False), (ASKED_NOW, asked, True))
        if cents
    )
    total = to_cents(paper.total) - held + asked
    return BillingDocument(
        number=paper.number,
        kind=_KINDS.get(InvoiceKind(paper.kind), DocumentKind.INVOICE),
        issued_on=paper.issued_on,
        due_on=None if credit else paper.due_on,
        supplier=Party(name=firm.name, street=firm.street, town=firm.town, phone=firm.phone, email=firm.email),
        customer=_customer(paper.job.house),
        lines=lines,
        allowances=changes,
        subtotals=_subtotals(lines, changes, to_cents(paper.tax)),
        lines_cents=to_cents(paper.net),
        tax_cents=to_cents(paper.tax),
        total_cents=total,
        payable_cents=total,
        credited=None
        if paper.credits is None
        else DocumentReference(number=paper.credits.number, issued_on=paper.credits.issued_on),
        job=paper.job.number,
        note=paper.reason,
    )


def _customer(house: House) -> Party:
    return Party(
        name=house.customer_name,
        street=house.street,
        town=house.town,
        state=house.state,
        postal_code=house.postal_code,
        number=house.reference,
    )


def _line(paper: Invoice, line: InvoiceLine) -> BillingLine:
    net = to_cents(line.net)
    quantity = abs(line.quantity) or Decimal(1)
    code = UNIT_CODES.get(line.unit, UNIT_CODES["lump sum"]) if line.quantity else UNIT_CODES["lump sum"]
    return BillingLine(
        text=line.text,
        quantity=(-quantity if net < 0 else quantity).normalize(),
        unit=code,
        net_cents=net,
        taxes=_taxes(paper, line, net),
    )


def _taxes(paper: Invoice, line: InvoiceLine, net: int) -> tuple[TaxPart, ...]:
    """What of a line is taxed and what is not."""
    rate, tax, taxed = Fraction(paper.tax_rate), to_cents(line.tax), to_cents(line.taxable)
    if rate and abs(rate * taxed - tax) > TAX_SLACK:
        # A signed change says what tax it bears, not on which part of it.
        exact = tax / rate
        taxed = round_half_up(exact.numerator, exact.denominator)
    taxed = max(min(net, 0), min(max(net, 0), taxed)) if rate and tax else 0
    percent = (paper.tax_rate * 100).normalize()
    parts = []
    if taxed:
        parts.append(TaxPart(tax=Tax(percent=percent), cents=taxed))
    if taxed != net or not parts:
        parts.append(TaxPart(tax=_untaxed(paper), cents=net - taxed))
    return tuple(parts)


def _untaxed(paper: Invoice) -> Tax:
    """Why the rest is not taxed, in the words of the invoice."""
    freed = not paper.tax and "certificate" in paper.tax_why
    why = paper.tax_why or "The place taxes no part of it"
    return Tax(category=TaxCategory.EXEMPT if freed else TaxCategory.OUTSIDE, why=why)


def _subtotals(
    lines: tuple[BillingLine, ...], changes: tuple[Allowance, ...], tax_cents: int
) -> tuple[TaxSubtotal, ...]:
    """What each rate comes to; the one rate that taxes bears all of the tax."""
    bases: dict[Tax, int] = {}
    for line in lines:
        for part in line.taxes:
            bases[part.tax] = bases.get(part.tax, 0) + part.cents
    for some in changes:
        for part in some.taxes:
            bases[part.tax] = bases.get(part.tax, 0) + (part.cents if some.charge else -part.cents)
    return tuple(
        TaxSubtotal(
            tax=tax,
            taxable_cents=base,
            tax_cents=tax_cents if tax.category is TaxCategory.STANDARD else 0,
            roundings=2 if tax.category is TaxCategory.STANDARD else 0,
        )
        for tax, base in bases.items()
    )


LISTS: dict[str, Callable[[Period], Part]] = {
    "customers": customers,
    "aging": aging,
    "invoices": invoices,
    "payments": payments,
}
"""Part -> the function that reads it."""
