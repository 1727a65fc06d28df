"""What the phone of a crew asks for by itself: whose session it is, what was received, its service worker."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any, BinaryIO, cast

from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.datastructures import MultiValueDict
from django.views.decorators.http import require_POST, require_safe

from estimates import access
from estimates.photos import BadPhoto, photo_keep
from jobs.entries import MOST_ITEMS, NOT_TAKEN, entries_receive
from jobs.forms.crew import ALL_PAGES, entry_data, knows_of
from jobs.models import EntryKind

SHELL = ("css/cavitybook.css", "js/forms.js", "js/crew-store.js", "js/crew-hold.js", "js/crew.js", "favicon.svg")
WORKER = "js/crew-worker.js"
FONTS = ("fonts/source-sans-3-latin-wght-normal.woff2", "fonts/source-sans-3-latin-ext-wght-normal.woff2")


@require_safe
@access.action("crew.report")
def tell_session(request: HttpRequest) -> JsonResponse:
    """Whose session it is, and the word that forms of this browser carry."""
    user = access.signed_in(request)
    return JsonResponse({"user": str(user.code), "name": user.full_name, "csrf": get_token(request)})


@require_safe
@access.action("crew.report")
def show_queue(request: HttpRequest) -> HttpResponse:
    """Show what waits on this phone; the phone fills it in."""
    answer = render(request, "jobs/crew_queue.html", {"section": "queue"})
    answer["X-Crew-User"] = str(access.signed_in(request).code)
    return answer


@require_POST
@access.action("crew.report")
def receive_entries(request: HttpRequest) -> JsonResponse:
    """Take what waited on a phone: items as JSON, photos beside them, and answer each item."""
    try:
        items = json.loads(request.POST.get("items", ""))
        assert isinstance(items, list)
    except (ValueError, AssertionError):
        return JsonResponse({"fault": "items is no list; send a JSON list of items"}, status=400)
    if len(items) > MOST_ITEMS:
        return JsonResponse({"fault": f"{len(items)} items; send at most {MOST_ITEMS} at once"}, status=413)
    user, now = access.signed_in(request), timezone.now()
    answers: list[dict[str, Any]] = []
    for raw in items:
        try:
            item = _item(request, raw)
        except BadPhoto as bad:
            fault = {"field": "$.sha256", "say": str(bad)}
            code = str(raw.get("code", ""))
            answers.append(
                {"code": code, "state": NOT_TAKEN, "faults": [fault], "stops": [], "looks": [], "clashes": []}
            )
            continue
        answers += entries_receive(
            user=user,
            items=[item],
            now=now,
            device=str(request.POST.get("device", "")),
            origin=access.origin_of(request),
        )
    return JsonResponse({"user": str(user.code), "at": timezone.localtime(now).isoformat(), "answers": answers})


def _item(request: HttpRequest, raw: Any) -> Any:
    """An item as the service takes it; what was typed into a form becomes the data of its kind."""
    if not isinstance(raw, dict) or "form" not in raw:
        return raw
    page, fields = ALL_PAGES.get(str(raw["form"])), raw.get("fields")
    if page is None or not isinstance(fields, dict):
        return {name: value for name, value in raw.items() if name not in ("form", "fields")}
    typed = MultiValueDict({str(k): [str(v) for v in vs] for k, vs in fields.items() if isinstance(vs, list)})
    code = str(raw.get("code", ""))
    item = {name: raw[name] for name in ("code", "job", "noted_at") if name in raw}
    item |= {"kind": page.kind.value, "wall": typed.get("wall") or "", "data": entry_data(page, typed, code)}
    if knows := knows_of(typed):
        item["knows"] = knows
    photo = request.FILES.get(f"photo-{code}")
    if page.kind == EntryKind.PHOTO and photo is not None:
        item["data"]["sha256"] = photo_keep(cast(BinaryIO, photo.file), photo.size or 0)
    return item


@require_safe
@access.public
def give_worker(request: HttpRequest) -> HttpResponse:
    """Give the service worker: from under the crew's pages, since its reach ends at its own folder."""
    shell = [staticfiles_storage.url(name) for name in (*SHELL, *FONTS)]
    begin = {"shell": shell, "today": reverse("jobs-show-today")}
    begin |= {"never": [reverse("jobs-tell-session"), reverse("jobs-give-worker")]}
    mark = hashlib.sha256(json.dumps(begin).encode()).hexdigest()[:12]
    script = Path(str(finders.find(WORKER))).read_text(encoding="utf-8")
    words = f"const begin = {json.dumps(begin | {'mark': mark})};\n{script}"
    answer = HttpResponse(words, content_type="text/javascript")
    answer["Service-Worker-Allowed"] = reverse("jobs-show-today")
    answer["Cache-Control"] = "no-cache"
    return answer
