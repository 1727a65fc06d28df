"""Acts on the money of a job: issuing, crediting, payments, refunds, certificates, costs."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from estimates import access
from estimates.command import Conflict
from estimates.money import format_money, from_cents, to_cents
from jobs.billing import contract_of, job_bills
from jobs.costing import cost_add, costs_post
from jobs.forms.crews import BlamedForm
from jobs.forms.money import (
    CostForm,
    CreditForm,
    InvoiceForm,
    MonthForm,
    PaymentForm,
    RefundForm,
    TaxCertificateForm,
)
from jobs.invoicing import (
    TERM,
    Asked,
    InvoiceChanged,
    certificate_record,
    credit_issue,
    invoice_issue,
    invoice_look,
)
from jobs.ledger import period_close
from jobs.models import ChangeOrder, Invoice, InvoiceKind, Job
from jobs.payments import cancellation_settle, credit_apply, credit_left, payment_record, refund_pay
from jobs.views.money import job_or_404

either_way = require_http_methods(["GET", "HEAD", "POST"])

ISSUED = (InvoiceKind.DEPOSIT, InvoiceKind.PROGRESS, InvoiceKind.CHANGE, InvoiceKind.FINAL)


@either_way
@access.action("money.write")
def issue_invoice(request: HttpRequest, code: uuid.UUID, kind: str) -> HttpResponse:
    """Show exactly what would go out, and issue it once it was looked at."""
    job = job_or_404(request, code, "money.write")
    if kind not in ISSUED:
        raise Http404
    wanted, change = InvoiceKind(kind), None
    if wanted == InvoiceKind.CHANGE:
        change = _change(request, job)
    today = timezone.localdate()
    begin: dict[str, Any] = {"key": uuid.uuid4(), "issued_on": today, "due_on": today + TERM}
    form = InvoiceForm(request.POST or None, kind=wanted, initial=begin)
    status = 200
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        asked = _asked(wanted, change, given)
        look = invoice_look(job, asked)
        if "issue" in request.POST:
            try:
                invoice = invoice_issue(
                    job=job, asked=asked, seen=request.POST.get("seen", ""), key=given["key"], **access.acts(request)
                )
            except InvoiceChanged as changed:
                form.add_error(None, str(changed))
                look, status = changed.look, 409
            except ValidationError as fault:
                form.blame(fault)
            else:
                messages.success(request, f"{invoice.get_kind_display()} {invoice.number} is issued. {_sent(invoice)}")
                return redirect("jobs-show-money", code=job.code)
    elif request.method == "POST":
        look = invoice_look(job, Asked(wanted, today, today + TERM, change=change))
    else:
        look = invoice_look(job, Asked(wanted, today, today + TERM, change=change))
        begin["amount"] = from_cents(max(0, look.total))
        form = InvoiceForm(kind=wanted, initial=begin)
    context = {
        "section": "money",
        "job": job,
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "look": look,
        "kind": wanted,
        "change": change,
        "contract": contract_of(job),
    }
    return render(request, "jobs/money_issue.html", context, status=status)


def _asked(kind: InvoiceKind, change: ChangeOrder | None, given: dict[str, Any]) -> Asked:
    amount, retained = given.get("amount"), given.get("retained")
    return Asked(
        kind,
        given["issued_on"],
        given["due_on"],
        amount=None if amount is None else to_cents(amount),
        retained=0 if retained is None else to_cents(retained),
        change=change,
    )


def _change(request: HttpRequest, job: Job) -> ChangeOrder:
    try:
        wanted = uuid.UUID(request.GET.get("change", ""))
    except ValueError:
        raise Http404 from None
    found = ChangeOrder.objects.filter(job=job, code=wanted).first()
    if found is None:
        raise Http404
    return found


def _sent(invoice: Invoice) -> str:
    paper = getattr(invoice.job.proposal, "paper", None)
    if paper is not None and paper.mail_to:
        return f"The letter to {paper.mail_to} is on its way."
    return "No e-mail address is known: print it and send it by post."


def _answer(
    request: HttpRequest,
    job: Job,
    form: BlamedForm,
    save: Callable[[], str],
    *,
    title: str,
    button: str,
    words: str = "",
    back: str = "jobs-show-money",
) -> HttpResponse:
    """Show a form about a job; once it is right, carry it out and go back to the page of its money."""
    status = 200
    if request.method == "POST" and form.is_valid():
        try:
            said = save()
        except ValidationError as fault:
            form.blame(fault)
        except Conflict as fault:
            form.add_error(None, str(fault))
            status = 409
        else:
            messages.success(request, said)
            return redirect(back, code=job.code)
    context = {
        "section": "money",
        "job": job,
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "title": title,
        "button": button,
        "words": words,
        "back": back,
    }
    return render(request, "jobs/money_form.html", context, status=status)


@either_way
@access.action("money.write")
def record_payment(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Record money that came in."""
    job = job_or_404(request, code, "money.write")
    owed = sum(bill.open for bill in job_bills(job))
    begin = {"key": uuid.uuid4(), "received_on": timezone.localdate(), "amount": from_cents(owed) if owed else ""}
    form = PaymentForm(request.POST or None, initial=begin)

    def save() -> str:
        given = dict(form.cleaned_data)
        given.pop("version", None)
        given["amount"] = to_cents(given["amount"])
        payment = payment_record(job=job, today=timezone.localdate(), **given, **access.acts(request))
        left = credit_left(job)
        rest = f" {format_money(left)} stands to the customer's credit." if left else ""
        return f"Payment {payment.number} of {format_money(to_cents(payment.amount))} is recorded.{rest}"

    words = f"{format_money(owed)} is open. What is more is kept as the customer's credit."
    return _answer(request, job, form, save, title="Record a payment", button="Record the payment", words=words)


@either_way
@access.action("money.write")
def credit_invoice(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Issue a credit note against an invoice."""
    invoice = access.get_visible_or_404(request.user, Invoice, code, "money.write")
    job = job_or_404(request, invoice.job.code, "money.write")
    bill = next((one for one in job_bills(job) if one.invoice.pk == invoice.pk), None)
    if bill is None:
        raise Http404
    form = CreditForm(request.POST or None, initial={"key": uuid.uuid4(), "issued_on": timezone.localdate()})

    def save() -> str:
        given = form.cleaned_data
        note = credit_issue(
            invoice=invoice,
            amount=to_cents(given["amount"]) if given["what"] == "amount" else None,
            reason=given["reason"],
            issued_on=given["issued_on"],
            key=given["key"],
            **access.acts(request),
        )
        left = credit_left(job)
        rest = f" {format_money(left)} stands to the customer's credit: set it against an invoice or refund it."
        return f"Credit note {note.number} is issued.{rest if left else ''}"

    words = (
        f"{invoice.get_kind_display()} {invoice.number} of {format_money(bill.total)}: {format_money(bill.paid)} paid, "
        f"{format_money(bill.open)} open, at most {format_money(bill.to_credit)} can be credited."
    )
    title = f"Credit {invoice.number}"
    return _answer(request, job, form, save, title=title, button="Issue the credit note", words=words)


@either_way
@access.action("money.write")
def pay_refund(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Record that credit was paid back."""
    job = job_or_404(request, code, "money.write")
    left = credit_left(job)
    begin = {"key": uuid.uuid4(), "paid_on": timezone.localdate(), "amount": from_cents(left) if left else ""}
    form = RefundForm(request.POST or None, initial=begin)

    def save() -> str:
        given = dict(form.cleaned_data)
        given.pop("version", None)
        given["amount"] = to_cents(given["amount"])
        refund = refund_pay(job=job, today=timezone.localdate(), **given, **access.acts(request))
        return f"Refund {refund.number} of {format_money(to_cents(refund.amount))} is recorded."

    words = f"The customer has {format_money(left)} to their credit."
    return _answer(request, job, form, save, title="Record a refund", button="Record the refund", words=words)


@require_POST
@access.action("money.write")
def apply_credit(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Set the customer's credit against open invoices."""
    job = job_or_404(request, code, "money.write")
    try:
        used = credit_apply(job=job, on=timezone.localdate(), **access.acts(request))
    except ValidationError as fault:
        messages.warning(request, fault.messages[0])
    else:
        said = f"{format_money(used)} of the credit is set against open invoices."
        messages.success(request, said if used else "Nothing is open that the credit could be set against.")
    return redirect("jobs-show-money", code=job.code)


@require_POST
@access.action("money.write")
def settle_cancellation(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Take every invoice of a cancelled contract back."""
    job = job_or_404(request, code, "money.write")
    try:
        back = cancellation_settle(job=job, on=timezone.localdate(), **access.acts(request))
    except (ValidationError, Conflict) as fault:
        messages.warning(request, fault.messages[0] if isinstance(fault, ValidationError) else str(fault))
    else:
        done = "Every invoice is credited."
        messages.success(request, f"{done} Next: refund {format_money(back)}." if back else f"{done} Nothing was paid.")
    return redirect("jobs-show-money", code=job.code)


@either_way
@access.action("money.write")
def record_certificate(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Record the certificate that frees a job from sales tax, or that there is none."""
    job = job_or_404(request, code, "money.write")
    form = TaxCertificateForm(request.POST or None, initial={"received_on": timezone.localdate()})

    def save() -> str:
        given = dict(form.cleaned_data)
        given.pop("version", None)
        row = certificate_record(job=job, today=timezone.localdate(), **given, **access.acts(request))
        return "The certificate is recorded: no sales tax." if row.holds else "Recorded: the sales tax is charged."

    contract = contract_of(job)
    words = f"Sales tax of this job now: {format_money(contract.tax.cents)}. {contract.tax.why}"
    return _answer(request, job, form, save, title="Tax certificate", button="Record it", words=words)


@either_way
@access.action("money.write")
def add_cost(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Enter a bill for a job."""
    job = job_or_404(request, code, "money.write")
    form = CostForm(request.POST or None, job=job, initial={"key": uuid.uuid4(), "on": timezone.localdate()})

    def save() -> str:
        given = dict(form.cleaned_data)
        given.pop("version", None)
        given["amount"] = to_cents(given["amount"])
        item = cost_add(job=job, **given, **access.acts(request))
        return f"{item.words}, {format_money(to_cents(item.amount))}, is booked to job {job.number}."

    words = "Bills of other firms, hired machines, material delivered. Hours, mixes and bags come from the crew."
    return _answer(request, job, form, save, title="Enter a cost", button="Book the cost", words=words)


@require_POST
@access.action("money.write")
def post_costs(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Bring the books to what the crew reported."""
    job = job_or_404(request, code, "money.write")
    try:
        moved = costs_post(job=job, on=timezone.localdate(), **access.acts(request))
    except ValidationError as fault:
        messages.warning(request, fault.messages[0])
    else:
        said = f"{format_money(moved)} of labour and material is posted."
        messages.success(request, said if moved else "The books hold all that the crew reported.")
    return redirect("jobs-show-money", code=job.code)


@require_POST
@access.action("money.write")
def close_month(request: HttpRequest) -> HttpResponse:
    """Close a month; from then on nothing is written into it."""
    form = MonthForm(request.POST)
    if form.is_valid():
        given = form.cleaned_data
        try:
            period = period_close(month=given["month"], today=timezone.localdate(), **access.acts(request))
        except (ValidationError, Conflict) as fault:
            said = fault.messages[0] if isinstance(fault, ValidationError) else str(fault)
            messages.warning(request, said)
        else:
            messages.success(request, f"{period} is closed. Nothing more is written into it.")
    else:
        messages.warning(request, "Choose the month on the page.")
    return redirect("jobs-show-months")
