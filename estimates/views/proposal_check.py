"""Before a proposal goes out: drafting it, and the page that shows exactly what will go."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from estimates import access
from estimates.command import Conflict
from estimates.forms.proposals import IssueForm
from estimates.issuing import LookChanged, proposal_send
from estimates.mail import LINK
from estimates.models import EstimateRevision, House, Lead, Proposal, ProposalStatus
from estimates.office import office_path
from estimates.proposal_look import Look, Terms, last_price_day, proposal_look
from estimates.proposals import NotAllowed, proposal_draft, proposal_floor_faults
from estimates.views.proposal import proposal_or_404


@require_POST
@access.action("proposal.write")
def draft_proposal(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Draft a proposal of the latest revision of a house; one that is open already is shown."""
    house = access.get_visible_or_404(request.user, House, code, "proposal.write")
    revision = EstimateRevision.objects.visible_to(request.user).filter(house=house).order_by("-number").first()
    if revision is None:
        messages.warning(request, "There is no revision yet. Freeze the live estimate, then make the proposal.")
        return redirect("estimates-show-house", code=house.code)
    return propose(request, revision)


def propose(request: HttpRequest, revision: EstimateRevision) -> HttpResponse:
    """Draft the proposal of a revision and go to its check page; one that is out already is shown."""
    house = revision.house
    try:
        proposal = proposal_draft(
            revision=revision,
            by=access.signed_in(request),
            now=timezone.now(),
            origin=access.origin_of(request),
        )
    except Conflict as refused:
        messages.warning(request, str(refused))
        return redirect("estimates-show-house", code=house.code)
    if proposal.status == ProposalStatus.ISSUED:
        messages.info(request, f"Proposal {proposal.number} of revision {revision.number} is out already.")
        return redirect("estimates-show-proposal", code=proposal.code)
    return redirect("estimates-check-proposal", code=proposal.code)


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("proposal.write")
def check_proposal(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show exactly what would go out, and issue it once that was seen."""
    proposal = proposal_or_404(request, code, "proposal.write")
    if proposal.status != ProposalStatus.DRAFT:
        if request.method == "POST":
            messages.info(request, f"Proposal {proposal.number} is {proposal.get_status_display().lower()} already.")
        return redirect("estimates-show-proposal", code=proposal.code)
    on = timezone.localdate()
    if request.method != "POST":
        terms = Terms(last_price_day(proposal, on=on), _mail_of(proposal))
        return _page(request, proposal, _form(terms), proposal_look(proposal, terms, on=on))
    form = IssueForm(request.POST)
    if not form.is_valid():
        terms = Terms(form.cleaned_data.get("valid_until") or last_price_day(proposal, on=on))
        return _page(request, proposal, form, proposal_look(proposal, terms, on=on))
    if "look" in request.POST:
        look = proposal_look(proposal, form.terms, on=on)
        return _page(request, proposal, _form(form.terms), look)
    return _issue(request, proposal, form)


def _issue(request: HttpRequest, proposal: Proposal, form: IssueForm) -> HttpResponse:
    now = timezone.now()
    on = timezone.localdate(now)
    try:
        proposal_send(
            proposal=proposal,
            terms=form.terms,
            seen=form.cleaned_data["seen"],
            site=request.build_absolute_uri("/").rstrip("/"),
            by=access.signed_in(request),
            now=now,
            on=on,
            origin=access.origin_of(request),
        )
    except LookChanged as changed:
        return _page(request, proposal, _form(form.terms), changed.look, changed=True, status=409)
    except ValidationError:
        return _page(request, proposal, form, proposal_look(proposal, form.terms, on=on), status=422)
    except NotAllowed as refused:
        messages.info(request, str(refused))
        return redirect("estimates-show-proposal", code=proposal.code)
    to = form.terms.mail_to
    said = f"The letter goes to {to} with the next run of the mail." if to else "Next: hand over the private link."
    messages.success(request, f"Proposal {proposal.number} is issued. {said}")
    return redirect("estimates-show-proposal", code=proposal.code)


def _form(terms: Terms) -> IssueForm:
    return IssueForm(
        initial={
            "mail_to": terms.mail_to,
            "valid_until": terms.valid_until,
            "words": terms.words,
            "sold_in": terms.sold_in,
        }
    )


def _mail_of(proposal: Proposal) -> str:
    lead = Lead.objects.filter(house=proposal.house).exclude(email="").order_by("-taken_at").first()
    return lead.email if lead is not None else ""


def _page(
    request: HttpRequest,
    proposal: Proposal,
    form: IssueForm,
    look: Look,
    *,
    changed: bool = False,
    status: int = 200,
) -> HttpResponse:
    latest = EstimateRevision.objects.filter(house=proposal.house).order_by("-number").only("number").first()
    context: dict[str, Any] = {
        "section": "proposals",
        "newer": latest.number if latest is not None and latest.number > proposal.revision_number else None,
        "proposal": proposal,
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "look": look,
        "letter": look.letter.replace(LINK, "[the private link]"),
        "changed": changed,
        "below_floor": bool(look.faults and proposal_floor_faults(proposal)),
        "valid_until": form["valid_until"].value(),
        "has_pdf": office_path() is not None,
    }
    return render(request, "estimates/proposal_check.html", context, status=status)
