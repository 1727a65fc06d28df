"""Invoices: what would go out, exactly as it was looked at, and issuing it with number, postings, paper and letter."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.counter import counter_next
from estimates.issuing import current_link
from estimates.mail import LINK, letter_add
from estimates.models.paper import ProposalPaper
from estimates.models.user import User
from estimates.money import format_money, from_cents, round_half_up, share_cents, to_cents
from estimates.proposal_words import long_date
from estimates.snapshot import canonical_json
from jobs.billing import (
    Bill,
    Contract,
    contract_billed,
    contract_of,
    contract_parts,
    is_cancelled,
    issue_faults,
    job_bills,
    progress_limit,
    tax_part,
)
from jobs.invoice_paper import keep_paper, paper_content
from jobs.ledger import balances, entry_post
from jobs.models import (
    ChangeOrder,
    ChangeStatus,
    Finding,
    Invoice,
    InvoiceKind,
    InvoiceLine,
    Job,
    TaxCertificate,
    Verification,
)

TERM = timedelta(days=14)
"""From issue to the day an invoice is due, unless another day is entered. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class BillLine:
    """A line before it is issued; `taxable` is the part of `net` that bears tax. [cents]"""

    text: str
    quantity: Decimal
    unit: str
    net: int
    tax: int = 0
    taxable: int = 0


@dataclass(frozen=True, slots=True)
class Asked:
    """What somebody chose for an invoice. `amount` of a progress invoice and `retained` in cents, tax included."""

    kind: InvoiceKind
    issued_on: date
    due_on: date
    amount: int | None = None
    retained: int = 0
    change: ChangeOrder | None = None


@dataclass(frozen=True, slots=True)
class InvoiceLook:
    """What would go out: lines and sums [cents], the content of its paper, and what keeps it back.

    `seen` is the hash of all of it: it goes through the check page and back, so that what goes out is what was seen.
    """

    asked: Asked
    lines: tuple[BillLine, ...]
    discounts: int
    released: int
    tax_rate: float
    tax_why: str
    content: Mapping[str, Any]
    faults: tuple[str, ...]
    limit: int | None = None
    limit_why: str = ""

    @property
    def net(self) -> int:
        """Sum of the lines before tax. [cents]"""
        return sum(line.net for line in self.lines)

    @property
    def tax(self) -> int:
        """Sales tax. [cents]"""
        return sum(line.tax for line in self.lines)

    @property
    def total(self) -> int:
        """Net and tax. [cents]"""
        return self.net + self.tax

    @property
    def payable(self) -> int:
        """What it asks for. [cents]"""
        return self.total - self.asked.retained + self.released

    @property
    def seen(self) -> str:
        """Hash of everything that would go out."""
        return hashlib.sha256(canonical_json(dict(self.content)).encode()).hexdigest()


class InvoiceChanged(Conflict):
    """What would go out is no longer what was looked at; `look` is what it is now."""

    def __init__(self, look: InvoiceLook) -> None:
        super().__init__("What would go out has changed since you looked at it. Look again, then issue it.")
        self.look = look


# --- Looking ---------------------------------------------------------------------------------------------------------


def invoice_look(job: Job, asked: Asked) -> InvoiceLook:
    """Make up an invoice without writing anything.

    Parameters
    ----------
    job : the job that is billed.
    asked : kind, days, and where the kind has them amount, retainage and change order.

    Returns
    -------
    The lines with their sums; `faults` names everything that keeps it from going out.
    """
    contract, bills = contract_of(job), job_bills(job)
    faults = list(issue_faults(job, asked.kind, contract, bills, change=asked.change))
    limit, why = (None, "")
    if asked.kind == InvoiceKind.PROGRESS:
        limit, why = progress_limit(job, contract, bills)
    discounts = released = 0
    if asked.kind == InvoiceKind.FINAL:
        lines = _final_lines(job, contract, bills)
        discounts = contract.discount_cents - sum(line.net for line in _void_lines(job, contract))
        released = sum(bill.retained for bill in bills)
    elif asked.kind == InvoiceKind.CHANGE:
        lines = tuple(_change_line(asked.change) for _ in range(1) if asked.change is not None)
    else:
        lines = _part_lines(job, contract, bills, asked, limit)
    draft = InvoiceLook(
        asked, lines, discounts, released, contract.tax.rate, contract.tax.why[:800], {}, (), limit, why
    )
    faults += _amount_faults(draft)
    content = paper_content(job, draft, bills, contract)
    return InvoiceLook(
        asked, lines, discounts, released, draft.tax_rate, draft.tax_why, content, tuple(faults), limit, why
    )


def _amount_faults(look: InvoiceLook) -> list[str]:
    asked, faults = look.asked, []
    if asked.due_on < asked.issued_on:
        faults.append("Enter a day due on or after the day of issue.")
    if asked.retained and asked.kind != InvoiceKind.PROGRESS:
        faults.append("Only a progress invoice may hold something back.")
    elif not 0 <= asked.retained <= max(0, look.total):
        faults.append(f"Enter a retainage from $0.00 to {format_money(max(0, look.total))}.")
    if asked.kind == InvoiceKind.PROGRESS:
        if look.limit is not None and look.total > look.limit:
            faults.append(f"{format_money(look.total)} is too much. {look.limit_why}")
        if look.total <= 0:
            faults.append("There is nothing to bill yet. Enter an amount above $0.00 once work is done.")
    if asked.kind == InvoiceKind.FINAL and look.total < 0:
        faults.append(
            f"Earlier invoices come to {format_money(-look.total)} more than contract and changes. Credit one of them."
        )
    return faults


def _part_lines(
    job: Job, contract: Contract, bills: Sequence[Bill], asked: Asked, limit: int | None
) -> tuple[BillLine, ...]:
    """A deposit or progress invoice: a part of the contract, with its part of the tax."""
    if asked.kind == InvoiceKind.DEPOSIT:
        amount, name = contract.step_cents("at signing"), "Deposit"
    else:
        usual = contract.step_cents("at signing", "when work starts", "as work goes on") - contract_billed(bills)
        amount = max(0, min(usual, limit or 0)) if asked.amount is None else asked.amount
        name = "Progress payment"
    billed_tax = sum(bill.counts_tax for bill in contract_parts(bills))
    tax, taxable = tax_part(contract, amount, contract_billed(bills), billed_tax)
    text = f"{name} on the contract of proposal {job.proposal.number}, total {format_money(contract.total_cents)}"
    return (BillLine(text, Decimal(1), "job", amount - tax, tax, taxable),)


def _change_line(change: ChangeOrder) -> BillLine:
    net, tax = to_cents(change.price), to_cents(change.tax)
    text = f"Change order {change.number}: {change.reason}"[:300]
    return BillLine(text, Decimal(1), "job", net, tax, net if tax else 0)


def _final_lines(job: Job, contract: Contract, bills: Sequence[Bill]) -> tuple[BillLine, ...]:
    """Every line of the contract, every signed change, less what was invoiced before."""
    weights = [max(0, int(line["price_cents"])) for line in contract.lines]
    some = any(weights)
    taxes = share_cents(contract.tax.cents, weights) if some else [0] * len(weights)
    taxables = share_cents(contract.tax.taxable_cents, weights) if some else [0] * len(weights)
    found = [
        BillLine(
            str(line["name"]), _three_places(line["quantity"]), line["unit"], int(line["price_cents"]), tax, taxable
        )
        for line, tax, taxable in zip(contract.lines, taxes, taxables, strict=True)
    ]
    found += [_change_line(change) for change in job.changes.filter(status=ChangeStatus.SIGNED).order_by("number")]
    found += _void_lines(job, contract)
    for bill in bills:
        if bill.counts and bill.invoice.kind != InvoiceKind.FINAL:
            paper, tax = bill.invoice, bill.counts_tax
            part = tax if not paper.tax else round_half_up(to_cents(paper.taxable) * tax, to_cents(paper.tax))
            text = f"Less {paper.get_kind_display().lower()} {paper.number} of {paper.issued_on:%Y-%m-%d}"
            found.append(BillLine(text, Decimal(1), "job", tax - bill.counts, -tax, -part))
    return tuple(found)


def _void_lines(job: Job, contract: Contract) -> list[BillLine]:
    """Credit for void area that the owner let stand: its part of the price of its wall."""
    word = Verification.objects.filter(job=job, void_released_by__isnull=False).first()
    if word is None:
        return []
    prices = {line["subject"]: line for line in contract.lines if line["code"] == "wall"}
    found = []
    voids = Finding.objects.filter(job=job, closed_at__isnull=True, confirmed=True, area_ft2__gt=0, wall__isnull=False)
    for finding in voids.select_related("wall").order_by("found_at", "id"):
        line = prices.get(finding.wall.key) if finding.wall is not None else None
        if line is None:
            continue
        share = min(1.0, finding.area_ft2 / float(line["quantity"]))
        net = round(share * int(line["price_cents"]))
        tax = round_half_up(net * contract.tax.cents, contract.price_cents) if contract.price_cents else 0
        part = round_half_up(net * contract.tax.taxable_cents, contract.price_cents) if contract.price_cents else 0
        text = f"Credit for {finding.area_ft2:.1f} ft² not filled, {line['name']}"
        found.append(BillLine(text, _three_places(finding.area_ft2), "ft2", -net, -tax, -part))
    return found


def _three_places(quantity: float) -> Decimal:
    return Decimal(repr(float(quantity))).quantize(Decimal("0.001"))


def certificate_record(
    *,
    job: Job,
    holds: bool,
    number: str,
    received_on: date,
    note: str,
    by: User,
    now: datetime,
    today: date | None = None,
    origin: str = "",
) -> TaxCertificate:
    """Record a certificate that frees a job from sales tax, or that the customer gives none; the latest word holds.

    Raises
    ------
    ValidationError : a certificate without a number, a day in the future, a place whose tax no certificate lowers, or
        the final invoice is out.
    """
    faults = {}
    if holds and not number.strip():
        faults["number"] = "Enter the number of the certificate, or its date and who signed it."
    if received_on > (today or now.date()):
        faults["received_on"] = "Enter the day it came; it cannot be in the future."
    if faults:
        raise ValidationError(faults)
    with transaction.atomic():
        locked = Job.objects.select_for_update().get(pk=job.pk)
        contract = contract_of(locked)
        if not contract.may_exempt:
            raise ValidationError({"holds": "No certificate changes the sales tax of this job."})
        if any(bill.live and bill.invoice.kind == InvoiceKind.FINAL for bill in job_bills(locked)):
            raise ValidationError({"holds": "The final invoice is out. Credit it first, then record the certificate."})
        there = contract.certificate
        if there is not None and (there.holds, there.number, there.received_on) == (holds, number, received_on):
            return there
        row = TaxCertificate(
            job=locked, holds=holds, number=number.strip(), received_on=received_on, note=note.strip(), at=now, by=by
        )
        row.full_clean()
        row.save()
        after = {"holds": holds, "number": row.number}
        activity_record(actor=by, action="invoice.certificate", target=locked, now=now, after=after, origin=origin)
    return row


# --- Issuing ---------------------------------------------------------------------------------------------------------


def invoice_issue(
    *, job: Job, asked: Asked, seen: str, key: UUID, by: User, now: datetime, origin: str = ""
) -> Invoice:
    """Issue an invoice exactly as it was looked at; the same key again returns the first one and writes nothing.

    Parameters
    ----------
    job, asked : as for `invoice_look`.
    seen : `InvoiceLook.seen` of what was looked at.
    key : made with the form.
    by, now, origin : who, when, from where.

    Raises
    ------
    ValidationError : something keeps it back; every reason. Also a day in a closed month.
    InvoiceChanged : it is not what was looked at.
    """
    with transaction.atomic():
        locked = Job.objects.select_for_update().get(pk=job.pk)
        there = Invoice.objects.filter(key=key).first()
        if there is not None:
            return there
        look = invoice_look(locked, asked)
        if look.faults:
            raise ValidationError(list(look.faults))
        if look.seen != seen:
            raise InvoiceChanged(look)
        # The last thing that can fail by what was typed is behind us: a number that is taken is used.
        number = f"I-{counter_next(name='invoice'):05d}"
        entry = entry_post(
            on=asked.issued_on,
            memo=f"{asked.kind.label} {number}, job {locked.number}",
            amounts=_amounts(locked, look),
            document=number,
            job=locked,
            now=now,
            by=by,
        )
        paper = keep_paper(locked, {**look.content, "number": number}, number=number, by=by, now=now)
        invoice = Invoice(
            key=key,
            number=number,
            kind=asked.kind,
            job=locked,
            change=asked.change if asked.kind == InvoiceKind.CHANGE else None,
            issued_on=asked.issued_on,
            due_on=asked.due_on,
            net=from_cents(look.net),
            tax=from_cents(look.tax),
            taxable=from_cents(sum(line.taxable for line in look.lines)),
            tax_rate=Decimal(str(look.tax_rate)),
            tax_why=look.tax_why,
            discounts=from_cents(look.discounts),
            retained=from_cents(asked.retained),
            released=from_cents(look.released),
            entry=entry,
            paper=paper,
            issued_at=now,
            issued_by=by,
        )
        write_invoice(invoice, look.lines)
        after = {"number": number, "kind": asked.kind, "total": str(invoice.total)}
        activity_record(actor=by, action="invoice.issue", target=locked, now=now, after=after, origin=origin)
        send_invoice(invoice, now=now)
    return invoice


def write_invoice(invoice: Invoice, lines: Sequence[BillLine]) -> None:
    """Save an invoice with its lines."""
    invoice.full_clean()
    invoice.save()
    for position, line in enumerate(lines, start=1):
        row = InvoiceLine(
            invoice=invoice,
            position=position,
            text=line.text,
            quantity=line.quantity,
            unit=line.unit,
            net=from_cents(line.net),
            tax=from_cents(line.tax),
            taxable=from_cents(line.taxable),
        )
        row.full_clean()
        row.save()


def _amounts(job: Job, look: InvoiceLook) -> dict[str, int]:
    """What an invoice does to the books: a deposit is owed back until the final invoice earns it (rule B2)."""
    standing = balances(job=job)
    found = {"receivable": look.payable, "retainage": look.asked.retained - look.released}
    if look.asked.kind == InvoiceKind.DEPOSIT:
        found["deposits_asked"] = -look.total
    else:
        found |= {
            "revenue": -(look.net + look.discounts),
            "discounts": look.discounts,
            "tax_payable": -look.tax,
        }
    if look.asked.kind == InvoiceKind.FINAL:
        asked, held = -standing["deposits_asked"], -standing["deposits_held"]
        if asked + held:
            tax = sum(bill.tax_left for bill in job_bills(job) if bill.invoice.kind == InvoiceKind.DEPOSIT)
            found |= {"deposits_asked": asked, "deposits_held": held}
            found["revenue"] -= asked + held - tax
            found["tax_payable"] -= tax
    if not standing["commission"] and look.asked.kind != InvoiceKind.CHANGE:
        commission = contract_of(job).commission_cents
        found |= {"commission": commission, "commission_payable": -commission}
    return found


def send_invoice(invoice: Invoice, *, now: datetime) -> None:
    """Put the letter of an invoice or credit note out, where the homeowner has an address and an open link."""
    job = invoice.job
    paper = ProposalPaper.objects.filter(proposal_id=job.proposal_id).only("mail_to", "site").first()
    if paper is None or not paper.mail_to:
        return
    link = current_link(job.proposal, now=now)
    asks = format_money(to_cents(invoice.payable))
    what = (
        f"it takes {format_money(to_cents(invoice.total))} off invoice {invoice.credits.number}."
        if invoice.credits is not None
        else f"it asks for {asks} by {long_date(invoice.due_on)}."
    )
    said = [
        f"Dear {job.house.customer_name},",
        f"here is {invoice.get_kind_display().lower()} {invoice.number} for {job.house.street}: {what}",
        *([f"You can read and download it here:\n{LINK}"] if link is not None else []),
        f"{_firm_name()}",
    ]
    letter_add(
        to=[paper.mail_to],
        subject=f"{invoice.get_kind_display()} {invoice.number}, {job.house.street}",
        text="\n\n".join(said),
        key=f"invoice-{invoice.code}",
        now=now,
        link=link,
        site=paper.site if link is not None else "",
    )


def _firm_name() -> str:
    from estimates.firm import load_firm

    firm = load_firm()
    return f"{firm.name}\n{firm.phone}"


# --- Crediting -------------------------------------------------------------------------------------------------------


def credit_issue(
    *,
    invoice: Invoice,
    amount: int | None,
    reason: str,
    issued_on: date,
    key: UUID,
    by: User,
    now: datetime,
    origin: str = "",
) -> Invoice:
    """Issue a credit note against an invoice; the same key again returns the first one and writes nothing.

    Parameters
    ----------
    invoice : not a credit note.
    amount : what the customer pays less in the end, tax included; None takes all that is left of the invoice back, and
        its work may be billed again. [cents]
    reason : why; printed on the note.
    issued_on : day of the note, not before that of the invoice.
    key, by, now, origin : made with the form; who, when, from where.

    Raises
    ------
    ValidationError : no reason, an amount that is not above 0 or more than is left, a day out of order.
    """
    if not reason.strip():
        raise ValidationError({"reason": "Enter why it is credited."})
    with transaction.atomic():
        job = Job.objects.select_for_update().get(pk=invoice.job_id)
        there = Invoice.objects.filter(key=key).first()
        if there is not None:
            return there
        bill = next((one for one in job_bills(job) if one.invoice.pk == invoice.pk), None)
        if bill is None:
            raise ValidationError({"invoice": "Choose an invoice; a credit note is not credited."})
        faults: dict[str, str] = {}
        cents = bill.to_credit if amount is None else amount
        if bill.taken_back or (not bill.to_credit and not (amount is None and to_cents(invoice.released))):
            faults["amount"] = f"{invoice.number} is credited already; nothing is left of it."
        elif amount is not None and not 0 < cents <= bill.to_credit:
            faults["amount"] = f"Enter an amount from $0.01 to {format_money(bill.to_credit)}."
        if issued_on < invoice.issued_on:
            faults["issued_on"] = f"Enter {invoice.issued_on:%Y-%m-%d} or a later day."
        if amount is None and invoice.kind not in (InvoiceKind.FINAL,) and not is_cancelled(job) and _has_final(job):
            faults["amount"] = "The final invoice counts on this one. Credit the final invoice first, or an amount."
        if faults:
            raise ValidationError(faults)
        return _credit(job, bill, cents, amount is None, reason.strip(), issued_on, key, by, now, origin)


def _has_final(job: Job) -> bool:
    return any(bill.live and bill.invoice.kind == InvoiceKind.FINAL for bill in job_bills(job))


def _credit(
    job: Job,
    bill: Bill,
    cents: int,
    whole: bool,
    reason: str,
    issued_on: date,
    key: UUID,
    by: User,
    now: datetime,
    origin: str,
) -> Invoice:
    paper = bill.invoice
    tax = bill.tax_left if whole else round_half_up(bill.tax_left * cents, bill.to_credit)
    taxable = round_half_up(to_cents(paper.taxable) * tax, to_cents(paper.tax)) if paper.tax else 0
    net, back = cents - tax, to_cents(paper.released) if whole else 0
    applied = min(bill.open, cents + back)
    retained = min(bill.retained, cents + back - applied)
    number = f"C-{counter_next(name='credit_note'):05d}"
    amounts = {
        "receivable": -applied,
        "retainage": back - retained,
        "credits": -(cents + back - applied - retained),
        **_credited_side(job, bill, net, tax, applied, whole),
    }
    standing = balances(job=job)
    if is_cancelled(job) and standing["commission"]:
        # Nothing is owed to the seller for a contract that was cancelled (rule P7).
        amounts |= {"commission": -standing["commission"], "commission_payable": standing["commission"]}
    entry = entry_post(
        on=issued_on,
        memo=f"Credit note {number} on {paper.number}: {reason}",
        amounts=amounts,
        document=number,
        job=job,
        now=now,
        by=by,
    )
    line = BillLine(f"Credit on {paper.number}: {reason}"[:300], Decimal(1), "job", net, tax, taxable)
    asked = Asked(InvoiceKind.CREDIT, issued_on, issued_on)
    look = InvoiceLook(asked, (line,), 0, 0, float(paper.tax_rate), paper.tax_why, {}, ())
    content = paper_content(job, look, job_bills(job), contract_of(job), credited=paper)
    note = Invoice(
        key=key,
        number=number,
        kind=InvoiceKind.CREDIT,
        job=job,
        credits=paper,
        issued_on=issued_on,
        due_on=issued_on,
        net=from_cents(net),
        tax=from_cents(tax),
        taxable=from_cents(taxable),
        tax_rate=paper.tax_rate,
        tax_why=paper.tax_why,
        retained=from_cents(retained),
        released=from_cents(back),
        applied=from_cents(applied),
        rebill=whole,
        reason=reason,
        entry=entry,
        paper=keep_paper(job, {**content, "number": number}, number=number, by=by, now=now),
        issued_at=now,
        issued_by=by,
    )
    write_invoice(note, (line,))
    after = {"number": number, "invoice": paper.number, "total": str(note.total)}
    activity_record(actor=by, action="invoice.credit", target=job, now=now, after=after, reason=reason, origin=origin)
    send_invoice(note, now=now)
    return note


def _credited_side(job: Job, bill: Bill, net: int, tax: int, applied: int, whole: bool) -> dict[str, int]:
    """Where a credit is taken from: a deposit that is not earned, the revenue that was a mistake, or a concession."""
    standing = balances(job=job)
    if bill.invoice.kind == InvoiceKind.DEPOSIT and standing["deposits_asked"] + standing["deposits_held"]:
        return {"deposits_asked": applied, "deposits_held": net + tax - applied}
    if not whole:
        return {"refunds": net, "tax_payable": tax}
    discounts = to_cents(bill.invoice.discounts)
    return {"revenue": net + discounts, "discounts": -discounts, "tax_payable": tax}
