"""Houses: the list, and the files of the latest estimate of one; its page stands in `jobs.views.house`."""

from __future__ import annotations

import uuid

from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from estimates import access
from estimates.models import EstimateRevision, House
from estimates.tables import LONGEST_SEARCH, house_table
from estimates.views.house_files import FileMissing, house_file


@require_safe
@access.action("house.list")
def list_houses(request: HttpRequest) -> HttpResponse:
    """List the houses that somebody may know of."""
    words = request.GET.get("find", "").replace("\0", "").strip()[:LONGEST_SEARCH]
    table = house_table(request.user, words=words, sort=request.GET.getlist("sort"), page=request.GET.get("page", "1"))
    context = {"table": table, "words": words, "sort": request.GET.get("sort", ""), "now": timezone.now()}
    return render(request, "estimates/house_list.html", {"section": "houses", **context})


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


def latest_revision(user: access.Person, house: House) -> EstimateRevision | None:
    """Return the newest estimate of a house, None when there is none yet."""
    return EstimateRevision.objects.visible_to(user).filter(house=house).order_by("-number").first()
