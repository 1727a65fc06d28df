"""The pages that change a part of an assessment: topics of the house, walls, attics, tests, options."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from estimates import access
from estimates.models import House
from estimates.views.assessment_places import ITEMS, ItemPlace, Items, TopicPlace, topic_of
from estimates.views.assessment_save import Opened, Page, edit_part, not_open, opened_or_none, save_change
from estimates.views.assessment_sides import item_side, topic_side, wall_preview

change = require_http_methods(["GET", "HEAD", "POST"])


def _opened(request: HttpRequest, code: uuid.UUID) -> tuple[House, Opened | None]:
    house = access.get_visible_or_404(request.user, House, code, "assessment.write")
    return house, opened_or_none(house)


@change
@access.action("assessment.write")
def edit_topic(request: HttpRequest, code: uuid.UUID, topic: str) -> HttpResponse:
    """Change some facts of the house."""
    found = topic_of(topic)
    if found is None:
        raise Http404
    house, opened = _opened(request, code)
    if opened is None:
        return not_open(request, house)
    context: dict[str, Any] = {"asks": found.asks, "topic": topic, **topic_side(topic, opened.record)}
    return edit_part(request, opened, TopicPlace(found), Page("estimates/assessment_edit.html", found.title, context))


@change
@access.action("assessment.write")
def add_part(request: HttpRequest, code: uuid.UUID, kind: str) -> HttpResponse:
    """Add a wall, an attic, a round of tests, an option."""
    return _item(request, code, kind, "")


@change
@access.action("assessment.write")
def edit_part_of(request: HttpRequest, code: uuid.UUID, kind: str, key: str) -> HttpResponse:
    """Change a wall, an attic, a round of tests, an option."""
    return _item(request, code, kind, key)


def _item(request: HttpRequest, code: uuid.UUID, kind: str, key: str) -> HttpResponse:
    items = ITEMS.get(kind)
    if items is None:
        raise Http404
    house, opened = _opened(request, code)
    if opened is None:
        return not_open(request, house)
    place = ItemPlace(items, key, opened.record)
    # Something that somebody took out while it was being changed is not lost: what was typed is shown again.
    if key and not place.number and request.method != "POST":
        raise Http404
    context = {"kind": kind, "items": items, "key": key, **item_side(kind, opened.record, place, request.POST)}
    template = "estimates/assessment_wall.html" if kind == "walls" else "estimates/assessment_edit.html"
    return edit_part(request, opened, place, Page(template, place.label, context))


@change
@access.action("assessment.write")
def remove_part(request: HttpRequest, code: uuid.UUID, kind: str, key: str) -> HttpResponse:
    """Ask whether something is to be taken out, and take it out."""
    items = ITEMS.get(kind)
    if items is None:
        raise Http404
    house, opened = _opened(request, code)
    if opened is None:
        return not_open(request, house)
    place = ItemPlace(items, key, opened.record)
    if request.method != "POST":
        if not place.number:
            raise Http404
        context = {"section": "houses", "house": house, "items": items, "place": place, "opened": opened, "kind": kind}
        return render(request, "estimates/assessment_remove.html", context)
    return _removed(request, opened, place, items)


def _removed(request: HttpRequest, opened: Opened, place: ItemPlace, items: Items) -> HttpResponse:
    # Items without an id are told apart by their number, which others may have changed: then nothing is taken out.
    if not place.has_id and request.POST.get("version") != str(opened.row.version):
        messages.warning(request, "The list was changed in the meantime, and nothing was taken out. Look at it again.")
        return redirect("estimates-show-assessment", code=opened.house.code)
    if place.number:
        try:
            save_change(request, opened, lambda now: place.write(now.record, None))
        except ValidationError as refused:
            messages.warning(request, " ".join(refused.messages))
            return redirect("estimates-show-assessment", code=opened.house.code)
    messages.success(request, f"“{place.label}” is taken out. Add another {items.one} when you are ready.")
    return redirect("estimates-show-assessment", code=opened.house.code)


@require_POST
@access.action("assessment.write")
def preview_wall(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Draw the wall that is being typed; nothing is kept."""
    _, opened = _opened(request, code)
    if opened is None:
        return HttpResponse(status=204)
    return render(request, "estimates/assessment_elevation.html", {"drawn": wall_preview(opened.record, request.POST)})
