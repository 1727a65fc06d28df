"""Invoices: what goes out, what keeps it back, what becomes of payments, and what the pages say."""

from __future__ import annotations

import json
import re
import uuid
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from estimates.cancelling import cancellation_receive
from estimates.issuing import current_link, document_path
from estimates.links import link_token
from estimates.models import ActivityEntry, Cancellation, OutboxMessage, User
from estimates.models.frozen import Frozen
from estimates.money import to_cents
from jobs.billing import contract_of, earned_of, final_faults, job_bills
from jobs.invoicing import (
    Asked,
    InvoiceChanged,
    certificate_record,
    credit_issue,
    invoice_issue,
    invoice_look,
)
from jobs.ledger import balances
from jobs.models import (
    Bay,
    BayState,
    ChangeOrder,
    ChangeStatus,
    Finding,
    FindingKind,
    Invoice,
    InvoiceKind,
    Job,
    JobPaper,
    JobStatus,
    PaymentMethod,
    Verdict,
    Verification,
)
from jobs.payments import (
    aging,
    cancellation_settle,
    credit_apply,
    credit_left,
    open_bills,
    payment_record,
    refund_pay,
    refunds_due,
    statement,
)

NOW = datetime(2026, 3, 9, 14, 0, tzinfo=UTC)
MONDAY = date(2026, 3, 9)
D, P, C, F = InvoiceKind.DEPOSIT, InvoiceKind.PROGRESS, InvoiceKind.CHANGE, InvoiceKind.FINAL


@pytest.fixture
def act(bookkeeper: User) -> dict[str, Any]:
    return {"by": bookkeeper, "now": NOW}


@pytest.fixture
def issue(act: dict[str, Any]) -> Callable[..., Invoice]:
    def out(job: Job, kind: InvoiceKind, on: date = MONDAY, days: int = 14, **more: Any) -> Invoice:
        job = Job.objects.get(pk=job.pk)
        asked = Asked(kind, on, on + timedelta(days=days), **more)
        look = invoice_look(job, asked)
        return invoice_issue(job=job, asked=asked, seen=look.seen, key=uuid.uuid4(), **act)

    return out


@pytest.fixture
def pay(act: dict[str, Any]) -> Callable[..., Any]:
    def came(job: Job, cents: int, on: date = MONDAY, **more: Any) -> Any:
        given = {"key": uuid.uuid4(), "method": PaymentMethod.CHECK, "today": date(2027, 1, 1), **more}
        return payment_record(job=job, amount=cents, received_on=on, **given, **act)

    return came


def fill(job: Job, share: float) -> None:
    """Fill about so much of the walls."""
    rows = list(
        Bay.objects.filter(wall__job=job, reachable=True).order_by("wall", "number").values_list("pk", flat=True)
    )
    Bay.objects.filter(pk__in=rows[: round(share * len(rows))]).update(state=BayState.FILLED)


def verify(job: Job, inspector: User) -> Verification:
    Job.objects.filter(pk=job.pk).update(status=JobStatus.VERIFIED)
    JobPaper.objects.create(job=job, kind="receipt", name="receipt", content={}, sha256="b" * 64, made_at=NOW)
    return Verification.objects.create(job=job, inspector=inspector, decided_at=NOW)


def change(job: Job, price: str, tax: str, status: ChangeStatus = ChangeStatus.SIGNED) -> ChangeOrder:
    signed = {"ended_at": NOW, "content_sha256": "a" * 64, "signed_sha256": "a" * 64, "signed_name": "Wren Halloran"}
    return ChangeOrder.objects.create(
        job=job,
        number=job.changes.count() + 1,
        status=status,
        reason="A block behind the siding",
        content={},
        price=Decimal(price),
        tax=Decimal(tax),
        created_at=NOW,
        created_by=job.booked_by,
        **(signed if status == ChangeStatus.SIGNED else {}),
    )


# --- Sums ------------------------------------------------------------------------------------------------------------


def test_all_invoices_of_a_job_come_to_contract_and_changes_to_the_cent(
    booked: Callable[..., Job], issue: Callable[..., Invoice], pay: Callable[..., Any], owner: User
) -> None:
    job = booked("quarry-split")
    # Added up apart from the program: the lines that were signed, and sales tax of 8 percent on what the estimate says.
    option = json.loads(job.revision.snapshot)["estimate"]["options"][0]
    price = sum(line["price_cents"] for line in option["lines"])
    taxed = price - sum(given["cents"] for given in option["incentives"]["given"] if given["lowers_taxable"])
    tax = (taxed * 8 + 50) // 100
    deposit = issue(job, D)
    assert to_cents(deposit.total) == (price + tax + 5) // 10 == option["payments"][0]["cents"]
    pay(job, to_cents(deposit.total))
    assert (balances(job=job)["deposits_held"], balances(job=job)["revenue"]) == (-to_cents(deposit.total), 0)
    fill(job, 1.0)
    progress = issue(job, P, amount=200_000, retained=20_000)
    assert (progress.total, progress.payable) == (Decimal("2000.00"), Decimal("1800.00"))
    extra = change(job, "412.50", "33.00")
    change(job, "-100.00", "-8.00")
    billed = issue(job, C, change=extra)
    verify(job, owner)
    final = issue(job, F)
    assert to_cents(deposit.total + progress.total + billed.total + final.total) == price + tax + 44_550 - 10_800
    assert to_cents(deposit.tax + progress.tax + billed.tax + final.tax) == tax + 3_300 - 800
    assert final.released == Decimal("200.00")
    pay(job, sum(bill.open for bill in job_bills(job)))
    books = balances(job=job)
    assert (books["receivable"], books["retainage"], books["deposits_held"], books["deposits_asked"]) == (0, 0, 0, 0)
    assert -books["revenue"] == price + 41_250 - 10_000
    assert books["bank"] == price + tax + 44_550 - 10_800
    assert books["commission"] == option["commission_cents"]
    with pytest.raises(Frozen):
        Invoice.objects.update(net=Decimal("1.00"))


def test_progress_is_held_to_work_done_and_material_where_the_state_says_so(
    booked: Callable[..., Job], issue: Callable[..., Invoice]
) -> None:
    job = booked("quarry-split")
    issue(job, D)
    look = invoice_look(job, Asked(P, MONDAY, MONDAY, amount=100))
    assert look.limit == 0
    assert "reasonable relationship to work done" in look.limit_why
    fill(job, 0.5)
    contract, earned = contract_of(job), earned_of(job, contract_of(job))
    walls = sum(int(line["price_cents"]) for line in contract.lines if line["code"] == "wall")
    own = sum(int(line["price_cents"]) for line in contract.lines if line["subject"])
    assert 0.3 * walls / own < earned.share < 0.7 * walls / own
    most = earned.cents - contract.step_cents("at signing")
    with pytest.raises(ValidationError, match=r"is too much\. Work done and material delivered come to"):
        issue(job, P, amount=most + 1)
    assert to_cents(issue(job, P, amount=most).total) == most
    assert invoice_look(job, Asked(P, MONDAY, MONDAY)).limit == 0


def test_a_certificate_is_on_file_or_the_tax_is_charged(
    booked: Callable[..., Job], issue: Callable[..., Invoice], owner: User, act: dict[str, Any]
) -> None:
    job = booked("mill-cape")
    signed = contract_of(job)
    assert (signed.tax.cents, signed.needs_certificate) == (0, True)
    verify(job, owner)
    with pytest.raises(ValidationError, match="certificate of capital improvement that is not on file"):
        issue(job, F)
    with pytest.raises(ValidationError, match="Enter the number of the certificate"):
        certificate_record(job=job, holds=True, number=" ", received_on=MONDAY, note="", **act)
    certificate_record(job=job, holds=False, number="", received_on=MONDAY, note="by telephone", **act)
    charged = contract_of(job)
    given = json.loads(job.revision.snapshot)["estimate"]["options"][0]["incentives"]["given"]
    lowered = sum(one["cents"] for one in given if one["lowers_taxable"])
    assert charged.tax.cents == ((charged.price_cents - lowered) * 8 + 50) // 100 > 0
    assert to_cents(issue(job, F).tax) == charged.tax.cents
    with pytest.raises(ValidationError, match="The final invoice is out"):
        certificate_record(job=job, holds=True, number="CC-7", received_on=MONDAY, note="", **act)


# --- What keeps it back ----------------------------------------------------------------------------------------------


def test_the_final_invoice_names_everything_that_keeps_it_back(
    booked: Callable[..., Job], issue: Callable[..., Invoice], owner: User
) -> None:
    job = booked("quarry-split")
    change(job, "50.00", "4.00", ChangeStatus.ISSUED)
    change(job, "50.00", "4.00", ChangeStatus.DRAFT)
    wall = job.walls.get(key="up-front")
    void = Finding.objects.create(
        job=job,
        wall=wall,
        kind=FindingKind.PROBE,
        verdict=Verdict.REDO,
        words="Two bays empty at the top",
        area_ft2=20.0,
        confirmed=True,
        found_at=NOW,
        found_by=owner,
    )
    faults = "\n".join(final_faults(job, contract_of(job)))
    for said in (
        "The job is booked. Finish and verify the work first.",
        "20.0 ft² of",
        "The receipt of what was installed is not made (rule B1)",
        "Change order 1 is not signed. Have it signed, or withdraw it (rule L2).",
        "Change order 2 is a draft.",
    ):
        assert said in faults
    with pytest.raises(ValidationError) as refused:
        issue(job, F)
    assert len(refused.value.messages) == 5
    word = verify(job, owner)
    job.changes.update(status=ChangeStatus.WITHDRAWN)
    job = Job.objects.get(pk=job.pk)
    assert [said[:8] for said in final_faults(job, contract_of(job))] == ["20.0 ft²"]
    # The owner lets it stand: what is not filled is not paid, at the price of its wall.
    word.void_released_by, word.void_release_reason = owner, "Behind the built-in cupboard; the homeowner agrees"
    word.save()
    line = next(one for one in contract_of(job).lines if one["subject"] == "up-front")
    final = issue(job, F)
    credit = final.lines.get(text__startswith="Credit for 20.0 ft² not filled")
    assert to_cents(credit.net) == -round(20.0 / line["quantity"] * line["price_cents"])
    assert balances(job=job)["discounts"] == -to_cents(credit.net)
    assert to_cents(final.total) == contract_of(job).total_cents + to_cents(credit.net + credit.tax)
    assert void.closed_at is None


def test_lead_safe_work_is_billed_in_the_end_only_with_its_records(booked: Callable[..., Job], owner: User) -> None:
    job = booked("tannery-gambrel")
    assert contract_of(job).lead_safe
    verify(job, owner)
    Job.objects.filter(pk=job.pk).update(started_at=NOW)
    faults = "\n".join(final_faults(Job.objects.get(pk=job.pk), contract_of(job)))
    assert "No lead-safe firm certificate was valid on 2026-03-09 (rule G4)" in faults
    assert "No lead-safe renovator certificate" in faults
    assert "lead pamphlet" in faults
    assert "records of the lead-safe work" in faults


def test_what_changed_since_it_was_looked_at_does_not_go_out(
    booked: Callable[..., Job], issue: Callable[..., Invoice], act: dict[str, Any]
) -> None:
    job = booked("quarry-split")
    fill(job, 1.0)
    asked = Asked(P, MONDAY, MONDAY, amount=50_000)
    seen = invoice_look(job, asked).seen
    issue(job, D)
    with pytest.raises(InvoiceChanged):
        invoice_issue(job=job, asked=asked, seen=seen, key=uuid.uuid4(), **act)
    assert Invoice.objects.count() == 1


# --- Papers and letters ----------------------------------------------------------------------------------------------


def test_an_issued_invoice_has_a_number_a_document_a_letter_and_no_second_self(
    booked: Callable[..., Job], act: dict[str, Any]
) -> None:
    from docx import Document

    job = booked("quarry-split")
    asked, key = Asked(D, MONDAY, MONDAY), uuid.uuid4()
    seen = invoice_look(job, asked).seen
    first = invoice_issue(job=job, asked=asked, seen=seen, key=key, **act)
    again = invoice_issue(job=job, asked=asked, seen=seen, key=key, **act)
    assert (first.pk, first.number) == (again.pk, "I-00001")
    with pytest.raises(ValidationError, match="The deposit is invoiced already: I-00001"):
        invoice_issue(job=job, asked=asked, seen=seen, key=uuid.uuid4(), **act)
    assert ActivityEntry.objects.filter(action="invoice.issue").count() == 1
    assert first.paper is not None
    document = Document(str(document_path(first.paper.sha256)))
    words = "\n".join(cell.text for table in document.tables for row in table.rows for cell in row.cells)
    for said in (job.house.customer_name, f"${first.total:,}", "To pay by 9 March 2026", "Contract, tax included"):
        assert said in words
    # Neither a cost nor a margin of the estimate is printed.
    option = json.loads(job.revision.snapshot)["estimate"]["options"][0]
    assert f"{option['direct_cost_cents'] / 100:,.2f}" not in words
    letter = OutboxMessage.objects.get(key=f"invoice-{first.code}")
    assert letter.payload["to"] == ["wren@example.org"]
    assert f"${first.total:,}" in letter.payload["text"]


# --- Payments --------------------------------------------------------------------------------------------------------


def test_payments_part_payments_and_what_is_too_much(
    booked: Callable[..., Job], issue: Callable[..., Invoice], pay: Callable[..., Any], act: dict[str, Any]
) -> None:
    job = booked("quarry-split")
    deposit = issue(job, D)
    asked = to_cents(deposit.total)
    pay(job, 10_000)
    assert [bill.open for bill in job_bills(job)] == [asked - 10_000]
    assert balances(job=job)["deposits_held"] == -10_000
    key = uuid.uuid4()
    one = pay(job, asked, key=key)
    assert pay(job, asked, key=key).pk == one.pk
    assert credit_left(job) == 10_000
    fill(job, 1.0)
    issue(job, P, amount=8_000)
    assert credit_apply(job=job, on=MONDAY, **act) == 8_000
    assert credit_apply(job=job, on=MONDAY, **act) == 0
    refund = {"job": job, "paid_on": MONDAY, "method": PaymentMethod.CHECK, "key": uuid.uuid4(), "reason": "Too much"}
    with pytest.raises(ValidationError, match=r"Enter an amount from \$0\.01 to \$20\.00"):
        refund_pay(amount=2_001, **refund, **act)
    back = refund_pay(amount=2_000, **refund, **act)
    assert refund_pay(amount=2_000, **refund, **act).pk == back.pk
    assert (credit_left(job), balances(job=job)["bank"]) == (0, asked + 8_000)
    with pytest.raises(ValidationError, match="cannot be in the future"):
        pay(job, 5, on=date(2027, 1, 2))


def test_a_credit_note_lowers_what_is_open_then_becomes_credit(
    booked: Callable[..., Job], issue: Callable[..., Invoice], pay: Callable[..., Any], act: dict[str, Any]
) -> None:
    job = booked("quarry-split")
    fill(job, 1.0)
    bill = issue(job, P, amount=100_000)
    pay(job, 60_000)
    note = {"invoice": bill, "issued_on": MONDAY, "reason": "Scratched a window"}
    first = credit_issue(amount=50_000, key=uuid.uuid4(), **note, **act)
    assert (first.number, first.applied, credit_left(job)) == ("C-00001", Decimal("400.00"), 10_000)
    assert first.tax == (bill.tax / 2).quantize(Decimal("0.01"))
    with pytest.raises(ValidationError, match=r"Enter an amount from \$0\.01 to \$500\.00"):
        credit_issue(amount=50_001, key=uuid.uuid4(), **note, **act)
    with pytest.raises(ValidationError, match="Enter why it is credited"):
        credit_issue(amount=5, key=uuid.uuid4(), **{**note, "reason": " "}, **act)
    rest = credit_issue(amount=None, key=uuid.uuid4(), **note, **act)
    assert (rest.total, credit_left(job)) == (Decimal("500.00"), 60_000)
    with pytest.raises(ValidationError, match="credited already"):
        credit_issue(amount=None, key=uuid.uuid4(), **note, **act)


def test_after_a_cancellation_the_money_goes_back_within_its_days(
    booked: Callable[..., Job],
    issue: Callable[..., Invoice],
    pay: Callable[..., Any],
    act: dict[str, Any],
    bookkeeper: User,
    signed_in: Callable[[User], Client],
) -> None:
    job = booked("quarry-split")
    deposit = issue(job, D)
    pay(job, to_cents(deposit.total) - 500)
    cancellation_receive(proposal=job.proposal, now=NOW)
    job = Job.objects.get(pk=job.pk)
    due = refunds_due()
    # Received on Monday 9 March 2026; Saturday counts (16 CFR 429.0): the tenth business day is Friday 20 March [D].
    assert [(one.job.pk, one.due_on, one.cents, one.settled) for one in due] == [
        (job.pk, date(2026, 3, 20), to_cents(deposit.total) - 500, False)
    ]
    assert Cancellation.objects.get().refund_due == date(2026, 3, 20)
    with time_machine.travel(datetime(2026, 3, 24, 15, 0, tzinfo=UTC)):
        page = signed_in(bookkeeper).get(reverse("jobs-show-money-desk")).content.decode()
    assert re.search(r"Refunds due.*20 Mar[a-z]* 2026: late", page, re.DOTALL)
    with pytest.raises(ValidationError, match="The contract was cancelled: only credit notes and refunds go out"):
        issue(job, P, amount=5)
    back = cancellation_settle(job=job, on=MONDAY, **act)
    assert back == cancellation_settle(job=job, on=MONDAY, **act) == to_cents(deposit.total) - 500
    refund_pay(
        job=job,
        amount=back,
        paid_on=MONDAY,
        method=PaymentMethod.CHECK,
        reason="The contract was cancelled",
        key=uuid.uuid4(),
        **act,
    )
    assert refunds_due() == ()
    assert set(balances(job=job).values()) == {0}


def test_aging_and_the_statement_tell_who_owes_what_since_when(
    booked: Callable[..., Job], issue: Callable[..., Invoice], pay: Callable[..., Any]
) -> None:
    job = booked("quarry-split")
    fill(job, 1.0)
    for days, cents in ((0, 100), (30, 200), (60, 400), (90, 800), (120, 1600)):
        issue(job, P, amount=cents, on=MONDAY, days=120 - days)
    pay(job, 300)
    today = MONDAY + timedelta(days=121)
    # Paid first is what was due first; days past due are then 1, 31, 61 and 91 for the rest.
    assert dict(aging(open_bills(today))) == {
        "Not due yet": 0,
        "1-30 days": 100,
        "31-60 days": 200,
        "61-90 days": 400,
        "Over 90 days": 800 + 1300,
    }
    lines = statement(job.house, until=today)
    assert [line.balance for line in lines] == [100, 300, 700, 1500, 3100, 2800]
    assert lines[-1].words == "Payment, check"


# --- Pages -----------------------------------------------------------------------------------------------------------


@pytest.fixture
def desk(bookkeeper: User, signed_in: Callable[[User], Client]) -> Client:
    return signed_in(bookkeeper)


def test_the_bookkeeper_checks_issues_and_is_paid_on_the_pages(booked: Callable[..., Job], desk: Client) -> None:
    job = booked("quarry-split")
    with time_machine.travel(NOW):
        page = desk.get(reverse("jobs-show-money-desk"))
        assert "Booked: the deposit" in page.content.decode()
        address = reverse("jobs-issue-invoice", args=[job.code, "deposit"])
        page = desk.get(address)
        total = contract_of(job).step_cents("at signing")
        assert f"{total / 100:,.2f}" in page.content.decode()
        sent = {"issued_on": "2026-03-09", "due_on": "2026-03-01", "key": str(uuid.uuid4()), "issue": "1"}
        sent["seen"] = page.context["look"].seen
        late = desk.post(address, sent)
        assert "Enter a day due on or after the day of issue" in late.content.decode()
        assert not Invoice.objects.exists()
        sent["due_on"] = "2026-03-25"
        moved = desk.post(address, sent)
        assert moved.status_code == 409
        assert "has changed since you looked at it" in moved.content.decode()
        sent["seen"] = moved.context["look"].seen
        done = desk.post(address, sent, follow=True)
        assert "Deposit invoice I-00001 is issued." in done.content.decode()
        desk.post(address, sent)
        assert Invoice.objects.count() == 1
        paying = reverse("jobs-record-payment", args=[job.code])
        wrong = desk.post(paying, {"amount": "ten", "received_on": "2026-03-09", "reference": "4711"})
        assert "in dollars and cents, such as 1,250.00" in wrong.content.decode()
        assert 'value="4711"' in wrong.content.decode()
        given = {"amount": f"{total / 100 + 1:.2f}", "received_on": "2026-03-09", "payer": "homeowner"}
        given |= {"method": "check", "key": str(uuid.uuid4()), "reference": "4711"}
        said = desk.post(paying, given, follow=True).content.decode()
        assert "$1.00 stands to the customer&#x27;s credit." in said
        desk.post(paying, given)
        assert job.payments.count() == 1
        invoice = Invoice.objects.get()
        got = desk.get(reverse("jobs-download-invoice", args=[invoice.code, "docx"]))
        assert b"".join(got.streaming_content)[:2] == b"PK"
        statement_page = desk.get(reverse("jobs-show-statement", args=[job.house.code])).content.decode()
        assert "We owe them $1.00." in statement_page


def test_the_desk_asks_as_often_for_many_jobs_as_for_one(
    booked: Callable[..., Job],
    issue: Callable[..., Invoice],
    pay: Callable[..., Any],
    desk: Client,
    django_assert_max_num_queries: Any,
) -> None:
    for name in ("quarry-split", "mill-cape", "alder-foursquare"):
        job = booked(name)
        issue(job, D)
        pay(job, 100)
    desk.get(reverse("jobs-show-money-desk"))
    with django_assert_max_num_queries(22):
        desk.get(reverse("jobs-show-money-desk"))


def test_the_homeowner_gets_the_invoices_of_the_link_and_no_others(
    booked: Callable[..., Job], issue: Callable[..., Invoice], client: Client
) -> None:
    ours, theirs = booked("quarry-split"), booked("mill-cape")
    mine, other = issue(ours, D), issue(theirs, D)
    link = current_link(ours.proposal, now=NOW)
    assert link is not None
    token = link_token(link)
    with time_machine.travel(NOW):
        got = client.get(reverse("jobs-download-your-invoice", args=[token, mine.code, "docx"]))
        assert b"".join(got.streaming_content)[:2] == b"PK"
        assert client.get(reverse("jobs-download-your-invoice", args=[token, other.code, "docx"])).status_code == 404
