"""Notices to cancel, on the office's side: recording one that came by other means, deciding on a late one.

They stand here and not with the proposal, because a cancelled contract locks its job.
"""

from __future__ import annotations

import uuid
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from estimates import access
from estimates.forms.proposals import DecisionForm, NoticeForm
from estimates.issuing import house_zone
from estimates.models import Proposal, ProposalPaper
from estimates.models.answer import Cancellation
from estimates.views.proposal import proposal_or_404
from jobs.cancellation import contract_cancel, contract_decide
from jobs.models import Job, JobStatus

either_way = require_http_methods(["GET", "HEAD", "POST"])


def _locked_words(proposal: Proposal) -> str:
    job = Job.objects.filter(proposal=proposal, status=JobStatus.LOCKED).first()
    return "" if job is None else f" Job {job.number} is locked and its coming days are free."


@either_way
@access.action("proposal.write")
def record_cancellation(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Record a notice to cancel that came by other means than the private link."""
    proposal = proposal_or_404(request, code, "proposal.write")
    if Cancellation.objects.filter(proposal=proposal).exists() or proposal.accepted_at is None:
        there = "a notice to cancel already" if proposal.accepted_at is not None else "not been accepted"
        messages.info(request, f"Proposal {proposal.number} has {there}.")
        return redirect("estimates-show-proposal", code=proposal.code)
    now = timezone.now()
    paper = ProposalPaper.objects.filter(proposal=proposal).only("zone").first()
    zone = ZoneInfo(paper.zone if paper is not None else house_zone(proposal.house))
    form = NoticeForm(request.POST if request.method == "POST" else None, zone=zone, now=now)
    if form.is_valid():
        try:
            row = contract_cancel(
                proposal=proposal,
                now=now,
                by=access.signed_in(request),
                received_at=form.received,
                postmarked_on=form.cleaned_data["postmarked_on"],
                reason=form.cleaned_data["reason"],
                origin=access.origin_of(request),
            )
        except ValidationError as fault:
            form.add_error(None, fault.messages)
        else:
            messages.success(request, f"The notice to cancel is recorded: {row.words}.{_locked_words(proposal)}")
            return redirect("estimates-show-proposal", code=proposal.code)
    context = {
        "section": "proposals",
        "proposal": proposal,
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "title": "Record a notice to cancel",
        "sentence": "A notice is never refused. The day it was sent decides whether it is in time.",
    }
    return render(request, "estimates/proposal_reason.html", context)


@either_way
@access.action("cancellation.decide")
def decide_cancellation(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Let the owner decide on a notice that came late."""
    proposal = proposal_or_404(request, code, "cancellation.decide")
    cancellation = Cancellation.objects.filter(proposal=proposal).first()
    if cancellation is None or cancellation.in_time:
        raise Http404
    form = DecisionForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        row = contract_decide(
            cancellation=cancellation,
            granted=form.cleaned_data["granted"],
            reason=form.cleaned_data["reason"],
            by=access.signed_in(request),
            now=timezone.now(),
            origin=access.origin_of(request),
        )
        said = "The contract is cancelled." if row.granted else "The contract stands."
        said = f"{said}{_locked_words(proposal)} Next: write to {proposal.house.customer_name}."
        messages.success(request, said)
        return redirect("estimates-show-proposal", code=proposal.code)
    context = {
        "section": "proposals",
        "proposal": proposal,
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "title": "Decide on the late notice",
        "sentence": f"{cancellation.rule}",
    }
    return render(request, "estimates/proposal_reason.html", context)
