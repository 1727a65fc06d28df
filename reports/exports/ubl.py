"""An invoice or credit note as UBL 2.1 (OASIS; ISO/IEC 19845), a form that other books read."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from lxml import etree

from estimates.money import from_cents
from estimates.records import BadRecord
from reports.exports.billing import (
    Allowance,
    BillingDocument,
    BillingLine,
    DocumentKind,
    Party,
    Tax,
    TaxCategory,
    billing_faults,
)

UBL = "urn:oasis:names:specification:ubl:schema:xsd:"
CAC = f"{UBL}CommonAggregateComponents-2"
CBC = f"{UBL}CommonBasicComponents-2"
PREFIXES = {"cac": CAC, "cbc": CBC}

TAX_SCHEME = "STT"
"""State or provincial sales tax in UN/EDIFACT 5153 [S]."""


def ubl_xml(document: BillingDocument) -> bytes:
    """Write a document as UBL 2.1.

    Parameters
    ----------
    document : see `BillingDocument`.

    Returns
    -------
    UTF-8 XML with the root ``Invoice`` or ``CreditNote``. Amounts in dollars with two decimals. The price of a line is
    its whole amount for its whole quantity (``BaseQuantity``), so that no price per unit has to be rounded.

    Raises
    ------
    BadRecord : something is missing, or sums do not agree to the cent; each fault names its field. See
        `billing_faults`.

    References
    ----------
    .. [1] OASIS, Universal Business Language Version 2.1, 4 November 2013; schemas UBL-Invoice-2.1, UBL-CreditNote-2.1.
    """
    faults = list(billing_faults(document))
    if faults:
        raise BadRecord(faults)
    credit = document.kind is DocumentKind.CREDIT_NOTE
    name = "CreditNote" if credit else "Invoice"
    names: dict[str | None, str] = {None: f"{UBL}{name}-2", "cac": CAC, "cbc": CBC}
    root = etree.Element(f"{{{UBL}{name}-2}}{name}", nsmap=names)
    _put(root, "cbc:UBLVersionID", "2.1")
    _put(root, "cbc:ID", document.number)
    _put(root, "cbc:IssueDate", document.issued_on.isoformat())
    if not credit:
        _day(root, "cbc:DueDate", document.due_on)
    _put(root, f"cbc:{name}TypeCode", document.kind.value)
    _put(root, "cbc:Note", document.note)
    _put(root, "cbc:DocumentCurrencyCode", document.currency)
    _put(root, "cbc:LineCountNumeric", str(len(document.lines)))
    if document.job.strip():
        _put(_put(root, "cac:OrderReference"), "cbc:ID", document.job)
    if document.credited is not None:
        reference = _put(_put(root, "cac:BillingReference"), "cac:InvoiceDocumentReference")
        _put(reference, "cbc:ID", document.credited.number)
        _day(reference, "cbc:IssueDate", document.credited.issued_on)
    _party(root, "cac:AccountingSupplierParty", document.supplier)
    _party(root, "cac:AccountingCustomerParty", document.customer)
    for allowance in document.allowances:
        _allowances(root, allowance, document.currency)
    _tax_total(root, document)
    _totals(root, document)
    for at, line in enumerate(document.lines, start=1):
        _line(root, at, line, credit, document.currency)
    return bytes(etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True))


def _put(parent: etree._Element, name: str, text: str | None = None, **attributes: str) -> etree._Element:
    """Append an element; one whose text is empty is left out, for the standard allows no empty elements."""
    prefix, local = name.split(":")
    element = etree.Element(f"{{{PREFIXES[prefix]}}}{local}", attributes)
    if text is not None:
        if not text.strip():
            return element
        element.text = text
    parent.append(element)
    return element


def _day(parent: etree._Element, name: str, on: date | None) -> None:
    if on is not None:
        _put(parent, name, on.isoformat())


def _amount(parent: etree._Element, name: str, cents: int, currency: str) -> None:
    _put(parent, name, str(from_cents(cents)), currencyID=currency)


def _party(root: etree._Element, role: str, party: Party) -> None:
    outer = _put(root, role)
    if role == "cac:AccountingCustomerParty":
        _put(outer, "cbc:SupplierAssignedAccountID", party.number)
    else:
        _put(outer, "cbc:CustomerAssignedAccountID", party.number)
    inner = _put(outer, "cac:Party")
    _put(_put(inner, "cac:PartyName"), "cbc:Name", party.name)
    address = _put(inner, "cac:PostalAddress")
    _put(address, "cbc:StreetName", party.street)
    _put(address, "cbc:CityName", party.town)
    _put(address, "cbc:PostalZone", party.postal_code)
    _put(address, "cbc:CountrySubentityCode", party.state)
    _put(_put(address, "cac:Country"), "cbc:IdentificationCode", party.country)
    if party.phone.strip() or party.email.strip():
        contact = _put(inner, "cac:Contact")
        _put(contact, "cbc:Telephone", party.phone)
        _put(contact, "cbc:ElectronicMail", party.email)


def _category(parent: etree._Element, name: str, tax: Tax) -> None:
    category = _put(parent, name)
    _put(category, "cbc:ID", tax.category.value)
    _put(category, "cbc:Percent", _plain(tax.percent))
    if tax.category is not TaxCategory.STANDARD:
        _put(category, "cbc:TaxExemptionReason", tax.why)
    scheme = _put(category, "cac:TaxScheme")
    _put(scheme, "cbc:ID", TAX_SCHEME)
    _put(scheme, "cbc:Name", tax.name)


def _allowances(root: etree._Element, allowance: Allowance, currency: str) -> None:
    """One element for each rate: readers take an allowance to lie in one category."""
    for part in allowance.taxes:
        element = _put(root, "cac:AllowanceCharge")
        _put(element, "cbc:ChargeIndicator", "true" if allowance.charge else "false")
        _put(element, "cbc:AllowanceChargeReason", allowance.reason)
        _amount(element, "cbc:Amount", part.cents, currency)
        _category(element, "cac:TaxCategory", part.tax)


def _tax_total(root: etree._Element, document: BillingDocument) -> None:
    total = _put(root, "cac:TaxTotal")
    _amount(total, "cbc:TaxAmount", document.tax_cents, document.currency)
    for subtotal in document.subtotals:
        element = _put(total, "cac:TaxSubtotal")
        _amount(element, "cbc:TaxableAmount", subtotal.taxable_cents, document.currency)
        _amount(element, "cbc:TaxAmount", subtotal.tax_cents, document.currency)
        _category(element, "cac:TaxCategory", subtotal.tax)


def _totals(root: etree._Element, document: BillingDocument) -> None:
    off = sum(some.cents for some in document.allowances if not some.charge)
    on_top = sum(some.cents for some in document.allowances if some.charge)
    totals = _put(root, "cac:LegalMonetaryTotal")
    amounts = {
        "cbc:LineExtensionAmount": document.lines_cents,
        "cbc:TaxExclusiveAmount": document.total_cents - document.tax_cents,
        "cbc:TaxInclusiveAmount": document.total_cents,
        "cbc:AllowanceTotalAmount": off,
        "cbc:ChargeTotalAmount": on_top,
        "cbc:PrepaidAmount": document.prepaid_cents,
        "cbc:PayableAmount": document.payable_cents,
    }
    for name, cents in amounts.items():
        _amount(totals, name, cents, document.currency)


def _line(root: etree._Element, at: int, line: BillingLine, credit: bool, currency: str) -> None:
    element = _put(root, "cac:CreditNoteLine" if credit else "cac:InvoiceLine")
    _put(element, "cbc:ID", str(at))
    if len(line.taxes) > 1:
        # The form has no place for the share of a line that is taxed, only for the rates that it bears.
        shares = (f"{from_cents(p.cents)} {p.tax.category.value} {_plain(p.tax.percent)} %" for p in line.taxes)
        _put(element, "cbc:Note", f"Taxed in parts: {', '.join(shares)}")
    quantity = "cbc:CreditedQuantity" if credit else "cbc:InvoicedQuantity"
    _put(element, quantity, _plain(line.quantity), unitCode=line.unit)
    _amount(element, "cbc:LineExtensionAmount", line.net_cents, currency)
    item = _put(element, "cac:Item")
    _put(item, "cbc:Name", line.text)
    for part in line.taxes:
        _category(item, "cac:ClassifiedTaxCategory", part.tax)
    price = _put(element, "cac:Price")
    _amount(price, "cbc:PriceAmount", abs(line.net_cents), currency)
    _put(price, "cbc:BaseQuantity", _plain(abs(line.quantity)), unitCode=line.unit)


def _plain(number: Decimal) -> str:
    """Without exponent: 1E+2 is 100."""
    return f"{number:f}"
