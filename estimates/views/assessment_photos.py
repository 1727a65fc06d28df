"""Photos of an assessment: adding one, taking one out, and showing its file to those who may see the house."""

from __future__ import annotations

import dataclasses
import uuid
from datetime import date
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from estimates import access
from estimates.forms.assessment_photo import PhotoForm, kept_mark
from estimates.house import HouseRecord, PhotoRecord
from estimates.models import House
from estimates.models import assessment as rows
from estimates.photos import MOST_PHOTOS, photo_path
from estimates.views.assessment_places import part_choices
from estimates.views.assessment_save import Opened, back_home, not_open, opened_or_none, save_change


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("assessment.write")
def add_photo(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show the photos of the open assessment, and add one."""
    house = access.get_visible_or_404(request.user, House, code, "assessment.write")
    opened = opened_or_none(house)
    if opened is None:
        return not_open(request, house)
    parts = part_choices(opened.record)["parts"]
    if request.method != "POST":
        form = PhotoForm(parts=parts, initial={"taken_on": timezone.localdate()})
        return _page(request, opened, form)
    form = PhotoForm(request.POST, request.FILES, parts=parts)
    if not form.is_valid():
        return _page(request, opened, form)
    if len(opened.record.photos) >= MOST_PHOTOS:
        form.add_error("file", f"This house has {MOST_PHOTOS} photos already. Take one out first")
        return _page(request, opened, form)
    said = form.cleaned_data
    try:
        save_change(
            request,
            opened,
            lambda now: with_photo(now.record, form.sha256, said["caption"], said["taken_on"], said["part"])[0],
        )
    except ValidationError as refused:
        return back_home(request, house, " ".join(refused.messages))
    messages.success(request, "The photo is kept, without place and time of the camera. Add the next one.")
    return redirect("estimates-add-photo", code=code)


def _page(request: HttpRequest, opened: Opened, form: PhotoForm) -> HttpResponse:
    context = {
        "section": "houses",
        "house": opened.house,
        "opened": opened,
        "form": form,
        "faulty": form.faulty,
        "forms": [form],
        "photos": opened.record.photos,
        "kept": kept_mark(form.sha256) if form.sha256 else "",
    }
    return render(request, "estimates/assessment_photos.html", context)


def with_photo(house: HouseRecord, sha256: str, caption: str, taken_on: date, part: str) -> tuple[HouseRecord, str]:
    """Return the house with a photo, and the photo's id; the same file of the same part is not added again."""
    for photo in house.photos:
        if photo.sha256 == sha256 and photo.part == part:
            return house, photo.id
    taken = {photo.id for photo in house.photos}
    number = next(number for number in range(1, len(taken) + 2) if f"photo-{number}" not in taken)
    record = PhotoRecord(id=f"photo-{number}", caption=caption, taken_on=taken_on, sha256=sha256, part=part)
    return dataclasses.replace(house, photos=(*house.photos, record)), record.id


@require_POST
@access.action("assessment.write")
def remove_photo(request: HttpRequest, code: uuid.UUID, key: str) -> HttpResponse:
    """Take a photo out of the assessment; gates that pointed to it lose it too. The file stays for earlier ones."""
    house = access.get_visible_or_404(request.user, House, code, "assessment.write")
    opened = opened_or_none(house)
    if opened is None:
        return not_open(request, house)
    try:
        save_change(request, opened, lambda now: _without(now.record, key))
    except ValidationError as refused:
        return back_home(request, house, " ".join(refused.messages))
    messages.success(request, "The photo is taken out. Gates that showed it may be open again.")
    return redirect("estimates-add-photo", code=code)


def _without(house: HouseRecord, key: str) -> HouseRecord:
    answers = tuple(
        dataclasses.replace(answer, photos=tuple(photo for photo in answer.photos if photo != key))
        for answer in house.gate_answers
    )
    photos = tuple(photo for photo in house.photos if photo.id != key)
    return dataclasses.replace(house, photos=photos, gate_answers=answers)


@require_safe
@access.action("assessment.read")
def show_photo(request: HttpRequest, code: uuid.UUID, sha256: str) -> HttpResponseBase:
    """Hand over a photo of this house: always a JPEG that we made ourselves."""
    house = access.get_visible_or_404(request.user, House, code, "assessment.read")
    photos: Any = rows.Photo.objects
    if not photos.filter(parent__house=house, sha256=sha256).exclude(sha256="").exists():
        raise Http404
    path = photo_path(sha256)
    if not path.exists():
        raise Http404
    response = FileResponse(path.open("rb"), content_type="image/jpeg", filename=f"photo-{sha256[:12]}.jpg")
    response.headers["X-Content-Type-Options"] = "nosniff"
    return response
