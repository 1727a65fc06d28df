"""What the office does with a proposal that is out: taking it or its link back, answering questions."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from estimates import access
from estimates.answers import RepliedMeanwhile, question_mail, question_reply
from estimates.forms.proposals import ReasonForm, ReplyForm
from estimates.issuing import proposal_link_again, proposal_link_close
from estimates.models import Proposal, Question, Reply
from estimates.models.proposal import PROPOSAL_MOVES, ProposalStatus
from estimates.proposals import proposal_withdraw
from estimates.views.proposal import proposal_or_404

either_way = require_http_methods(["GET", "HEAD", "POST"])


@either_way
@access.action("proposal.write")
def withdraw_proposal(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Take a proposal back, with a reason."""
    proposal = proposal_or_404(request, code, "proposal.write")
    if ProposalStatus.WITHDRAWN not in PROPOSAL_MOVES[ProposalStatus(proposal.status)]:
        messages.info(request, f"Proposal {proposal.number} is {proposal.get_status_display().lower()} already.")
        return redirect("estimates-show-proposal", code=proposal.code)
    form = ReasonForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        proposal_withdraw(
            proposal=proposal,
            reason=form.cleaned_data["reason"],
            by=access.signed_in(request),
            now=timezone.now(),
            origin=access.origin_of(request),
        )
        messages.success(request, f"Proposal {proposal.number} is withdrawn. Next: a new revision, or leave it so.")
        return redirect("estimates-show-proposal", code=proposal.code)
    said = "It can no longer be accepted. Its private link opens a page that says so. A number is not used again."
    return _ask(request, proposal, form, "Withdraw the proposal", said)


@require_POST
@access.action("proposal.write")
def renew_link(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Make a new private link in place of the one before, and send it where there is an address."""
    proposal = proposal_or_404(request, code, "proposal.write")
    proposal_link_again(
        proposal=proposal,
        by=access.signed_in(request),
        now=timezone.now(),
        origin=access.origin_of(request),
    )
    messages.success(request, "A new private link is made, and the one before opens nothing any more.")
    return redirect("estimates-show-proposal", code=proposal.code)


@either_way
@access.action("proposal.write")
def close_link(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Take the private link of a proposal back, with a reason."""
    proposal = proposal_or_404(request, code, "proposal.write")
    form = ReasonForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        proposal_link_close(
            proposal=proposal,
            reason=form.cleaned_data["reason"],
            by=access.signed_in(request),
            now=timezone.now(),
            origin=access.origin_of(request),
        )
        messages.success(request, "The private link opens nothing any more. Next: make a new one when it is wanted.")
        return redirect("estimates-show-proposal", code=proposal.code)
    said = "Whoever opens it then sees only the telephone number of the firm. The proposal itself stays open."
    return _ask(request, proposal, form, "Take the private link back", said)


def _ask(request: HttpRequest, proposal: Proposal, form: ReasonForm, title: str, said: str) -> HttpResponse:
    context = {
        "section": "proposals",
        "proposal": proposal,
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "title": title,
        "sentence": said,
    }
    return render(request, "estimates/proposal_reason.html", context)


@either_way
@access.action("proposal.write")
def answer_question(request: HttpRequest, code: uuid.UUID, question: uuid.UUID) -> HttpResponse:
    """Answer a question of the homeowner; who was overtaken reads the other answer and keeps what was typed."""
    proposal = proposal_or_404(request, code, "proposal.write")
    asked = Question.objects.filter(proposal=proposal, code=question).first()
    if asked is None:
        raise Http404
    replies = Reply.objects.filter(question=asked).select_related("by")
    first = {"key": uuid.uuid4(), "seen": len(replies)}
    form = ReplyForm(request.POST if request.method == "POST" else None, initial=first)
    status = 200
    if form.is_valid():
        try:
            reply = question_reply(
                question=asked,
                **form.cleaned_data,
                by=access.signed_in(request),
                now=timezone.now(),
                origin=access.origin_of(request),
            )
        except RepliedMeanwhile as refused:
            data = request.POST.copy()
            data["seen"] = str(replies.count())
            form, status = ReplyForm(data), 409
            form.add_error(None, f"{refused} What you typed still stands below; send it if it adds something.")
        except ValidationError as fault:
            form.add_error(None, fault.messages)
        else:
            said = f"The letter goes to {reply.mailed_to} with the next run of the mail." if reply.mailed_to else ""
            messages.success(request, f"Your answer stands on the homeowner's page. {said or 'Call them, too.'}")
            return redirect("estimates-show-proposal", code=proposal.code)
    context = {
        "section": "proposals",
        "proposal": proposal,
        "question": asked,
        "replies": replies.all(),
        "mail": question_mail(asked),
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
    }
    return render(request, "estimates/proposal_question.html", context, status=status)
