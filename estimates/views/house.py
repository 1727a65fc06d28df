"""Houses: the list, the page of one house, and the files of its latest estimate."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from estimates import access
from estimates.activity_words import activity_words
from estimates.house_state import house_acts, house_state
from estimates.models import EstimateRevision, House, User
from estimates.tables import LONGEST_SEARCH, house_table
from estimates.views.house_chapters import house_chapters
from estimates.views.house_files import FileMissing, file_names, house_file


@require_safe
@access.action("house.list")
def list_houses(request: HttpRequest) -> HttpResponse:
    """List the houses that somebody may know of."""
    words = request.GET.get("find", "").replace("\0", "").strip()[:LONGEST_SEARCH]
    table = house_table(request.user, words=words, sort=request.GET.getlist("sort"), page=request.GET.get("page", "1"))
    context = {"table": table, "words": words, "sort": request.GET.get("sort", ""), "now": timezone.now()}
    return render(request, "estimates/house_list.html", {"section": "houses", **context})


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


@require_safe
@access.action("document.download")
def download_file(request: HttpRequest, code: uuid.UUID, name: str) -> HttpResponseBase:
    """Hand over a file of the latest estimate of a house."""
    house = access.get_visible_or_404(request.user, House, code, "document.download")
    revision = latest_revision(request.user, house)
    if revision is None:
        raise Http404
    try:
        content, content_type = house_file(revision, name, request.user)
    except FileMissing as fault:
        return render(request, "estimates/file_missing.html", {"house": house, "sentence": str(fault)}, status=503)
    filename = f"{house.reference}-revision-{revision.number}-{name}"
    return FileResponse(content, as_attachment=True, filename=filename, content_type=content_type)


def state_context(request: HttpRequest, house: House) -> dict[str, Any]:
    """Return where a house stands: chapters, what is next, and what was done, in words."""
    assert isinstance(request.user, User)
    return {
        "state": house_state(house, request.user),
        "acts": [(act, activity_words(act)) for act in house_acts(house, request.user)],
    }


def latest_revision(user: access.Person, house: House) -> EstimateRevision | None:
    """Return the newest estimate of a house, None when there is none yet."""
    return EstimateRevision.objects.visible_to(user).filter(house=house).order_by("-number").first()
