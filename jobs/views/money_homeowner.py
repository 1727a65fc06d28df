"""Invoices on the homeowner's page behind the private link."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.views.decorators.http import require_safe

from estimates.models import Proposal
from estimates.office import office_path
from jobs.billing import job_bills
from jobs.models import Invoice, Job
from jobs.payments import credit_left
from jobs.views.homeowner_link import private
from jobs.views.money import invoice_response


def homeowner_invoices(proposal: Proposal) -> dict[str, Any]:
    """What `jobs/homeowner_invoices.html` shows: invoices with what is open of each, and credit."""
    job = Job.objects.filter(proposal=proposal).first()
    if job is None:
        return {"invoices": []}
    bills = {bill.invoice.pk: bill for bill in job_bills(job)}
    papers = Invoice.objects.filter(job=job).select_related("credits").order_by("issued_at", "id")
    return {
        "invoices": [(paper, bills.get(paper.pk)) for paper in papers],
        "owed": sum(bill.open for bill in bills.values()),
        "credit": credit_left(job),
        "has_pdf": office_path() is not None,
    }


@require_safe
@private
def download_yours(
    request: HttpRequest, proposal: Proposal, token: str, invoice: uuid.UUID, kind: str
) -> HttpResponseBase:
    """Hand an invoice to the homeowner; only those of the proposal that the link is for."""
    found = Invoice.objects.filter(job__proposal=proposal, code=invoice).select_related("paper").first()
    if found is None:
        raise Http404
    return invoice_response(found, kind)
