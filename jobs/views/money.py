"""Money of jobs: the bookkeeper's desk, a job's account, statements, closed months, and what a job cost."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from io import BytesIO

from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from estimates import access
from estimates.issuing import PaperLost
from estimates.models import House
from estimates.money import to_cents
from estimates.office import OfficeFailed, office_path
from estimates.views.house_files import DOCX_TYPE
from jobs.billing import bills_of, contract_of, is_cancelled, issue_faults, job_bills
from jobs.costing import job_costs
from jobs.forms.money import MonthForm
from jobs.invoice_paper import paper_bytes
from jobs.ledger import closed_until, months_open, trial_balance
from jobs.models import ChangeStatus, CostItem, Invoice, InvoiceKind, Job, JobStatus, Payment, Period, Refund
from jobs.payments import aging, credit_left, deposits_held, open_bills, refunds_due, statement

OPEN = (JobStatus.BOOKED, JobStatus.STARTED, JobStatus.WORK_DONE, JobStatus.VERIFIED)


def job_or_404(request: HttpRequest, code: uuid.UUID, action: str) -> Job:
    """Return a job that the reader may know of, with its house, proposal and frozen estimate."""
    found = access.get_visible_or_404(request.user, Job, code, action)
    return Job.objects.select_related("house", "proposal", "revision").get(pk=found.pk)


# --- The desk --------------------------------------------------------------------------------------------------------


@require_safe
@access.action("money.read")
def show_desk(request: HttpRequest) -> HttpResponse:
    """Show what waits for the bookkeeper: what to invoice, who owes since when, deposits held, refunds due."""
    today = timezone.localdate()
    bills = open_bills(today)
    held = deposits_held()
    context = {
        "section": "money",
        "today": today,
        "to_invoice": _to_invoice(),
        "bills": bills,
        "bands": aging(bills),
        "open_cents": sum(one.bill.open for one in bills),
        "held": held,
        "held_cents": sum(cents for _, cents in held),
        "refunds": refunds_due(),
        "months": months_open(today),
    }
    return render(request, "jobs/money.html", context)


def _to_invoice() -> list[tuple[Job, str, InvoiceKind]]:
    """Jobs with an invoice that their state asks for now; two queries, and one for the signed changes."""
    jobs = list(Job.objects.filter(status__in=OPEN).select_related("house", "proposal").order_by("booked_at", "id"))
    bills = bills_of(jobs)
    found = []
    for job in jobs:
        if is_cancelled(job):
            continue
        live = {bill.invoice.kind for bill in bills.get(job.pk, ()) if bill.live}
        if InvoiceKind.FINAL in live:
            continue
        if job.status == JobStatus.VERIFIED:
            found.append((job, "Verified: the final invoice", InvoiceKind.FINAL))
        elif job.status == JobStatus.STARTED and InvoiceKind.PROGRESS not in live:
            found.append((job, "Under way: a progress invoice, as far as work is done", InvoiceKind.PROGRESS))
        elif job.status == JobStatus.BOOKED and InvoiceKind.DEPOSIT not in live:
            found.append((job, "Booked: the deposit", InvoiceKind.DEPOSIT))
    return found


# --- A job -----------------------------------------------------------------------------------------------------------


@require_safe
@access.action("money.read")
def show_job(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show contract, invoices, payments and credit of a job, what may be issued now and what keeps the rest back."""
    job = job_or_404(request, code, "money.read")
    contract, bills = contract_of(job), job_bills(job)
    changes = list(job.changes.exclude(status=ChangeStatus.WITHDRAWN).order_by("number"))
    signed = [change for change in changes if change.status == ChangeStatus.SIGNED]
    papers = list(Invoice.objects.filter(job=job).select_related("credits", "paper").order_by("issued_at", "id"))
    by_invoice = {bill.invoice.pk: bill for bill in bills}
    kinds: Iterable[InvoiceKind] = (InvoiceKind.DEPOSIT, InvoiceKind.PROGRESS, InvoiceKind.FINAL)
    context = {
        "section": "money",
        "job": job,
        "today": timezone.localdate(),
        "contract": contract,
        "changes": changes,
        "changes_cents": sum(to_cents(change.price) + to_cents(change.tax) for change in signed),
        "papers": [(paper, by_invoice.get(paper.pk)) for paper in papers],
        "payments": Payment.objects.filter(job=job),
        "refunds": Refund.objects.filter(job=job),
        "credit": credit_left(job),
        "open_cents": sum(bill.open for bill in bills),
        "retained": sum(bill.retained for bill in bills),
        "held": sum(cents for one, cents in deposits_held() if one.pk == job.pk),
        "next": [(kind, kind.label, issue_faults(job, kind, contract, bills)) for kind in kinds],
        "next_changes": [
            (change, issue_faults(job, InvoiceKind.CHANGE, contract, bills, change=change)) for change in signed
        ],
        "cancelled": is_cancelled(job),
        "to_settle": [bill for bill in bills if not bill.taken_back],
        "has_pdf": office_path() is not None,
    }
    return render(request, "jobs/money_job.html", context)


@require_safe
@access.action("job_cost.read")
def show_costs(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show what a job cost beside what was estimated, and where the money went."""
    job = job_or_404(request, code, "job_cost.read")
    context = {
        "section": "money",
        "job": job,
        "costs": job_costs(job),
        "items": CostItem.objects.filter(job=job).select_related("wall", "by"),
    }
    return render(request, "jobs/money_costs.html", context)


@require_safe
@access.action("money.read")
def show_statement(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show everything between the firm and a customer, with what is owed after each line."""
    house = access.get_visible_or_404(request.user, House, code, "money.read")
    today = timezone.localdate()
    lines = statement(house, until=today)
    owed = lines[-1].balance if lines else 0
    context = {
        "section": "money",
        "house": house,
        "today": today,
        "lines": lines,
        "owed": owed,
        "owed_back": -owed,
    }
    return render(request, "jobs/money_statement.html", context)


@require_safe
@access.action("money.read")
def download_invoice(request: HttpRequest, code: uuid.UUID, kind: str) -> HttpResponseBase:
    """Hand over the document of an invoice or credit note as it went out."""
    invoice = access.get_visible_or_404(request.user, Invoice, code, "money.read")
    return invoice_response(invoice, kind)


def invoice_response(invoice: Invoice, kind: str) -> HttpResponseBase:
    """The document of an invoice as a file to save.

    Raises
    ------
    Http404 : no such document, or a PDF where no office is installed.
    """
    if kind not in ("docx", "pdf") or invoice.paper is None:
        raise Http404
    try:
        content = paper_bytes(invoice.paper, pdf=kind == "pdf")
    except (PaperLost, OfficeFailed) as fault:
        return HttpResponse(f"{fault}\n", status=503, content_type="text/plain; charset=utf-8")
    content_type = DOCX_TYPE if kind == "docx" else "application/pdf"
    return FileResponse(
        BytesIO(content), as_attachment=True, filename=f"{invoice.number}.{kind}", content_type=content_type
    )


# --- Months ----------------------------------------------------------------------------------------------------------


@require_safe
@access.action("money.read")
def show_months(request: HttpRequest) -> HttpResponse:
    """Show months that can be closed with their balances, and those that are."""
    months = months_open(timezone.localdate())
    context = {
        "section": "money",
        "open": [(month, trial_balance(month), MonthForm(initial={"month": month})) for month in months[:1]],
        "waiting": months[1:],
        "closed": Period.objects.select_related("closed_by"),
        "closed_until": closed_until(),
    }
    return render(request, "jobs/money_months.html", context)
