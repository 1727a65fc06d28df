"""The page of a house: where it stands from the lead to the last invoice, its latest estimate, and what was done.

It shows both sides of the signature, so it stands downstream of it.
"""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from estimates import access
from estimates.models import House
from estimates.views.house import latest_revision
from estimates.views.house_chapters import house_chapters
from estimates.views.house_files import file_names
from jobs.act_words import act_words
from jobs.house_state import house_acts, house_state


@require_safe
@access.action("house.read")
def show_house(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show a house with its latest estimate."""
    house = access.get_visible_or_404(request.user, House, code, "house.read")
    revision = latest_revision(request.user, house)
    context = {"section": "houses", "house": house, "revision": revision} | state_context(request, house)
    if revision is not None:
        context |= house_chapters(revision, request.user) | {"files": file_names(request.user)}
    return render(request, "estimates/house.html", context)


def state_context(request: HttpRequest, house: House) -> dict[str, Any]:
    """Return where a house stands: chapters, what is next, and what was done, in words."""
    user = access.signed_in(request)
    return {
        "state": house_state(house, user),
        "acts": [(act, act_words(act)) for act in house_acts(house, user)],
    }
