"""Revisions of the estimate of a house: the list, one of them, what changed between two, and the release of a price."""

from __future__ import annotations

import json
import uuid
from decimal import ROUND_FLOOR, Decimal
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Prefetch
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from estimates import access
from estimates.forms.estimate import ReleaseForm
from estimates.models import EstimateRevision, House, Proposal
from estimates.models.proposal import ProposalStatus
from estimates.proposals import proposal_draft, proposal_release_floor
from estimates.records import BadRecord
from estimates.revision_compare import compare
from estimates.views.house_chapters import house_chapters
from estimates.views.house_files import file_names


@require_safe
@access.action("house.read")
def list_revisions(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """List the revisions of a house, the newest first, with the proposals made from each."""
    house = access.get_visible_or_404(request.user, House, code, "house.read")
    rows = list(
        EstimateRevision.objects.visible_to(request.user)
        .filter(house=house)
        .defer("snapshot")
        .select_related("created_by")
        .prefetch_related(Prefetch("proposals", Proposal.objects.visible_to(request.user).order_by("number")))
        .order_by("-number")
    )
    for row, earlier in zip(rows, [*rows[1:], None], strict=False):
        row.before = earlier.number if earlier is not None else None  # type: ignore[attr-defined]
    context = {"section": "houses", "house": house, "revisions": rows, "now": timezone.now()}
    return render(request, "estimates/estimate_revisions.html", context)


@require_safe
@access.action("house.read")
def show_revision(request: HttpRequest, code: uuid.UUID, number: int) -> HttpResponse:
    """Show a house as one revision froze it."""
    house = access.get_visible_or_404(request.user, House, code, "house.read")
    revision = _revision(request.user, house, number)
    latest = EstimateRevision.objects.filter(house=house).order_by("-number").values_list("number", flat=True)[0]
    context: dict[str, Any] = {"section": "houses", "house": house, "revision": revision, "latest_number": latest}
    context |= house_chapters(revision, request.user)
    if number == latest:
        context["files"] = file_names(request.user)
    return render(request, "estimates/house.html", context)


@require_safe
@access.action("house.read")
def compare_revisions(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show what changed from one revision to another, in words and dollars."""
    house = access.get_visible_or_404(request.user, House, code, "house.read")
    numbers = list(
        EstimateRevision.objects.visible_to(request.user)
        .filter(house=house)
        .order_by("number")
        .values_list("number", flat=True)
    )
    if len(numbers) < 2:
        context = {"section": "houses", "house": house, "numbers": numbers}
        return render(request, "estimates/estimate_compare.html", context)
    before = _chosen(request, "from", numbers, numbers[-2])
    after = _chosen(request, "to", numbers, numbers[-1])
    pair = [_revision(request.user, house, number) for number in (before, after)]
    prices, costs = (access.allowed(request.user, name) for name in ("price.read", "cost.read"))
    try:
        comparison = compare(json.loads(pair[0].snapshot), json.loads(pair[1].snapshot), prices=prices, costs=costs)
    except (BadRecord, KeyError):
        comparison = None
    context = {
        "section": "houses",
        "house": house,
        "numbers": numbers,
        "before": pair[0],
        "after": pair[1],
        "comparison": comparison,
        "hidden_figures": not costs,
    }
    return render(request, "estimates/estimate_compare.html", context)


def _chosen(request: HttpRequest, name: str, numbers: list[int], usual: int) -> int:
    """A number from the address; one that does not exist gives the usual one."""
    text = request.GET.get(name, "")
    wanted = int(text) if text.isascii() and text.isdigit() and len(text) < 9 else usual
    return wanted if wanted in numbers else usual


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("estimate.release")
def release_floor(request: HttpRequest, code: uuid.UUID, number: int) -> HttpResponse:
    """Let the owner release a revision whose margin is below the floor, with a reason, on the draft of its proposal."""
    house = access.get_visible_or_404(request.user, House, code, "estimate.release")
    revision = _revision(request.user, house, number)
    options = json.loads(revision.snapshot)["estimate"]["options"]
    below = [option for option in options if option["below_floor"]]
    proposal = Proposal.objects.visible_to(request.user).filter(
        revision=revision, status__in=[ProposalStatus.DRAFT, ProposalStatus.ISSUED]
    )
    draft = proposal.select_related("floor_released_by").first()
    least = min((option["margin"] for option in below), default=0.0)
    # Down to the basis point under the margin itself, so that the release holds for the option it is given for.
    usual = float(Decimal(repr(least)).quantize(Decimal("0.0001"), ROUND_FLOOR))
    form = ReleaseForm(request.POST or None, initial={"least_margin": usual})
    if request.method == "POST" and below and form.is_valid():
        if float(form.cleaned_data["least_margin"]) > least:
            form.add_error("least_margin", f"Enter at most {usual * 100:.2f} %, or the lowest option stays held back")
        else:
            return _release(request, house, revision, form)
    context = {
        "section": "houses",
        "house": house,
        "revision": revision,
        "below": below,
        "draft": draft,
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
    }
    return render(request, "estimates/estimate_release.html", context)


def _release(request: HttpRequest, house: House, revision: EstimateRevision, form: ReleaseForm) -> HttpResponse:
    by, now, origin = access.signed_in(request), timezone.now(), access.origin_of(request)
    least, reason = form.cleaned_data["least_margin"], form.cleaned_data["reason"]
    proposal = proposal_draft(revision=revision, by=by, now=now, origin=origin)
    given = (proposal.floor_released_by_id, proposal.floor_reason, proposal.floor_least_margin)
    if given != (by.pk, reason, least):
        try:
            proposal_release_floor(proposal=proposal, least_margin=least, reason=reason, by=by, now=now, origin=origin)
        except ValidationError as refused:
            messages.warning(request, " ".join(refused.messages))
            return redirect("estimates-release-floor", code=house.code, number=revision.number)
    messages.success(
        request,
        f"Released: proposal {proposal.number} may go out at a margin of {float(least) * 100:.4g} % or more. Next: "
        "check and issue it.",
    )
    return redirect("estimates-show-revision", code=house.code, number=revision.number)


def _revision(user: access.Person, house: House, number: int) -> EstimateRevision:
    found = EstimateRevision.objects.visible_to(user).filter(house=house, number=number).first()
    if found is None:
        raise Http404
    return found
