"""What every page of a private link does: find its proposal by the token, and keep the answer to itself."""

from __future__ import annotations

import functools
import logging
from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_cache_control
from django.views.decorators.csrf import csrf_exempt

from estimates import access
from estimates.firm import load_firm
from estimates.links import LinkClosed, link_open
from estimates.models import LinkPurpose, Proposal, ProposalStatus

log = logging.getLogger("cavitybook.homeowner")

Page = Callable[..., HttpResponseBase]


def private(view: Page) -> Page:
    """Open a page of a private link: finds its proposal, and keeps the answer to itself.

    The token in the address is the whole authority and no cookie has any part in it, so there is nothing that a form
    forged elsewhere could borrow: the check for that is left out, because browsers send no origin under "no-referrer".
    """

    @csrf_exempt
    @access.public
    @functools.wraps(view)
    def opened(request: HttpRequest, token: str, **kwargs: Any) -> HttpResponseBase:
        response: HttpResponseBase
        try:
            response = view(request, _proposal(token), token, **kwargs)
        except LinkClosed as closed:
            log.info("a private link was %s", closed.reason)
            response = render(request, "jobs/homeowner_closed.html", {"firm": load_firm()}, status=404)
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["X-Robots-Tag"] = "noindex, nofollow, noarchive"
        patch_cache_control(response, no_store=True, private=True)
        return response

    return opened


def _proposal(token: str) -> Proposal:
    link = link_open(token=token, purpose=LinkPurpose.PROPOSAL, now=timezone.now())
    rows = Proposal.objects.select_related("house", "revision", "paper", "issued_by")
    found = rows.filter(code=link.target_code, paper__isnull=False).defer("revision__snapshot").first()
    if found is None or link.target_type != Proposal._meta.label_lower:
        raise LinkClosed("unknown")
    return found


def to_page(name: str, token: str, **query: str) -> HttpResponse:
    """Send the reader to a page of the link, with a word in the address for what was done."""
    address = reverse(name, kwargs={"token": token})
    return redirect(f"{address}?{urlencode(query)}" if query else address)


def basics(proposal: Proposal, token: str) -> dict[str, Any]:
    """What every page of a private link shows."""
    over = proposal.valid_until is not None and timezone.localdate() > proposal.valid_until
    issued = proposal.status == ProposalStatus.ISSUED
    return {
        "proposal": proposal,
        "token": token,
        "firm": load_firm(),
        "can_answer": issued and not over,
        "ended": (issued and over) or proposal.status == ProposalStatus.EXPIRED,
    }
