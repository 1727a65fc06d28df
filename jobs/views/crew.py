"""Pages of the crew: today's houses, a house, a wall, and the forms of what is reported."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any, BinaryIO, cast

from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.datastructures import MultiValueDict
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_http_methods, require_safe

from estimates import access
from estimates.drawing import elevation, to_svg
from estimates.photos import BadPhoto, photo_keep, photo_path
from jobs.booking import frozen_forms
from jobs.crew_sheet import STEPS, crew_visits, open_bays, other_jobs, reported, sheet_of, told_of
from jobs.entries import NOT_TAKEN, RECEIVED, entries_receive
from jobs.forms.crew import ALL_PAGES, EDITS, PAGES, EntryForm, EntryPage, entry_data, knows_of
from jobs.found_walls import layout_of, record_of, states_of
from jobs.models import Bay, BayState, CrewEntry, EntryKind, Job, JobWall, PhaseKind

ROOM_PX = 48.0
"""Room that a bay gets on the drawing, so that a finger finds it. [px]"""


@require_safe
@access.action("crew.sheet")
def show_today(request: HttpRequest) -> HttpResponse:
    """Show today's and tomorrow's visits, and other houses of the crew."""
    user, today = access.signed_in(request), timezone.localdate()
    visits = crew_visits(user, today, today + timedelta(days=1))
    jobs = {visit.phase.job_id: visit.phase.job for visit in visits}
    others = other_jobs(user, jobs.values())
    keep = list(jobs.values()) or others[:2]
    context = {
        "section": "today",
        "days": [(name, day, [v for v in visits if v.day == day]) for name, day in _days(today)],
        "others": others,
        "keep": [address for job in keep for address in _addresses(job)],
    }
    return _crew_page(request, "jobs/crew_today.html", context)


def _days(today: Any) -> list[tuple[str, Any]]:
    return [("Today", today), ("Tomorrow", today + timedelta(days=1))]


def _addresses(job: Job) -> list[str]:
    """Pages of a job that a phone keeps for a place without signal."""
    walls = job.walls.values_list("key", flat=True)
    return [
        reverse("jobs-show-crew-sheet", args=[job.code]),
        *(reverse("jobs-show-crew-wall", args=[job.code, key]) for key in walls),
        *(reverse("jobs-report-entry", args=[job.code, name]) for name in PAGES),
    ]


def _crew_page(request: HttpRequest, template: str, context: dict[str, Any], status: int = 200) -> HttpResponse:
    """A page that tells the service worker whose it is: pages of one person are never shown to another."""
    answer = render(request, template, context, status=status)
    answer["X-Crew-User"] = str(access.signed_in(request).code)
    return answer


@require_safe
@access.action("crew.sheet")
def show_sheet(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show a house: dangers first, then kit, steps and walls."""
    job, today = access.get_visible_or_404(request.user, Job, code, "crew.sheet"), timezone.localdate()
    walls = list(job.walls.prefetch_related("bays"))
    sheet = sheet_of(job, today=today)
    entries = reported(job, today=today)
    visits = crew_visits(access.signed_in(request), today, today + timedelta(days=14))
    context = {
        "section": "today",
        "job": job,
        "sheet": sheet,
        "walls": [(wall, _counts(wall)) for wall in walls],
        "steps": [(phase, STEPS[PhaseKind(phase.kind)]) for phase in job.phases.all()],
        "visits": [visit for visit in visits if visit.phase.job_id == job.pk],
        "doubtful": Bay.objects.filter(wall__job=job, retired=False, state=BayState.DOUBTFUL).select_related("wall"),
        "reported": [(entry, told_of(entry)) for entry in entries],
        "pages": PAGES,
    }
    return _crew_page(request, "jobs/crew_house.html", context)


def _counts(wall: JobWall) -> str:
    """How many bays are in which state: "3 filled, 1 refused, 8 planned"."""
    there: dict[str, int] = {}
    for bay in wall.bays.all():
        if not bay.retired:
            there[bay.state] = there.get(bay.state, 0) + 1
    return ", ".join(f"{there[state]} {state}" for state in BayState.values if state in there)


@require_safe
@access.action("crew.sheet")
def show_wall(request: HttpRequest, code: uuid.UUID, key: str) -> HttpResponse:
    """Show a wall as an elevation, its bays to tap, and what may be found otherwise."""
    job = access.get_visible_or_404(request.user, Job, code, "crew.sheet")
    wall = job.walls.filter(key=key).first()
    if wall is None:
        raise Http404
    return _crew_page(request, "jobs/crew_wall.html", _wall_page(job, wall))


def _wall_page(
    job: Job, wall: JobWall, name: str = "", form: EntryForm | None = None, typed: QueryDict | None = None
) -> dict[str, Any]:
    """What the page of a wall shows; a form that was refused stands in it with everything that was typed."""
    bays = list(wall.bays.filter(retired=False))
    edits = [(one, EntryForm(page, job, {}, auto_id=f"{one}-%s"), uuid.uuid4()) for one, page in EDITS.items()]
    if form is not None:
        form.auto_id = f"{name}-%s"
        edits = [(one, form if one == name else plain, code) for one, plain, code in edits]
    chosen = typed if typed is not None and name == "bay" else QueryDict()
    return {
        "section": "today",
        "job": job,
        "wall": wall,
        "bays": bays,
        "left": open_bays(wall),
        "svg": _drawing(job, wall, len(bays)),
        "form_code": uuid.uuid4(),
        "left_code": uuid.uuid4(),
        "edits": edits if wall.drawn else [],
        "pages": {one: page for one, page in PAGES.items() if page.at_wall},
        "open": name,
        "forms": [] if form is None else [form],
        "faulty": form is not None,
        "chosen": chosen.getlist("bays"),
        "reason": chosen.get("reason", ""),
    }


def _drawing(job: Job, wall: JobWall, bays: int) -> str:
    if not wall.drawn:
        return ""
    year = int(frozen_forms(job)["house"]["year_built"])
    layout, width = layout_of(wall, year_built=year), max(340.0, ROOM_PX * bays)
    # Words on it are sized for half of that width, so that they are read at arm's length.
    drawn = elevation(layout, record_of(wall), states_of(wall), shown_px=width / 2)
    # Every name in it is escaped by the writer of the drawing.
    return mark_safe(to_svg(drawn, title=f"{wall.name} from outside", width=width))  # noqa: S308


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("crew.report")
def report_entry(request: HttpRequest, code: uuid.UUID, name: str) -> HttpResponse:
    """Show a form of the crew, or take what was typed into it."""
    job = access.get_visible_or_404(request.user, Job, code, "crew.report")
    page = ALL_PAGES.get(name)
    if page is None:
        raise Http404
    places = _places(job)
    if request.method != "POST":
        if name not in PAGES:
            return redirect("jobs-show-crew-sheet", code=job.code)
        form = EntryForm(page, job, places, initial={"wall": request.GET.get("wall", "")})
        return _crew_page(request, "jobs/crew_report.html", _form_page(job, name, page, form, uuid.uuid4()))
    form = EntryForm(page, job, places, request.POST, request.FILES)
    item, photo_fault = _posted(request, job, page)
    answer: dict[str, Any] = {"state": NOT_TAKEN, "faults": [{"field": "$.sha256", "say": photo_fault}]}
    if not photo_fault:
        who, now = access.signed_in(request), timezone.now()
        answer = entries_receive(user=who, items=[item], now=now, origin=access.origin_of(request))[0]
    if answer["state"] == RECEIVED:
        _say(request, page, answer)
        if item["wall"]:
            return redirect("jobs-show-crew-wall", code=job.code, key=item["wall"])
        return redirect("jobs-show-crew-sheet", code=job.code)
    # What was refused left no trace, so it may come again, mended, under the same code.
    form.blame(answer["faults"])
    wall = job.walls.filter(key=item["wall"]).first()
    if name not in PAGES and wall is not None:
        return _crew_page(request, "jobs/crew_wall.html", _wall_page(job, wall, name, form, request.POST))
    return _crew_page(request, "jobs/crew_report.html", _form_page(job, name, page, form, item["code"]))


def _posted(request: HttpRequest, job: Job, page: EntryPage) -> tuple[dict[str, Any], str]:
    code = str(request.POST.get("code") or uuid.uuid4())
    item = item_of(job, page, code, request.POST)
    if page.kind != EntryKind.PHOTO:
        return item, ""
    photo = request.FILES.get("photo")
    if photo is None:
        return item, "Photo: take one"
    try:
        item["data"]["sha256"] = photo_keep(cast(BinaryIO, photo.file), photo.size or 0)
    except BadPhoto as bad:
        return item, str(bad)
    return item, ""


def item_of(job: Job, page: EntryPage, code: str, typed: MultiValueDict[str, str]) -> dict[str, Any]:
    """The item that `entries_receive` takes, from what was typed into a form."""
    item: dict[str, Any] = {"code": code, "job": str(job.code), "kind": page.kind.value}
    item |= {"wall": typed.get("wall") or "", "data": entry_data(page, typed, code)}
    knows = knows_of(typed)
    return item | ({"knows": knows} if knows else {})


def _places(job: Job) -> dict[str, list[tuple[str, str]]]:
    forms = frozen_forms(job)
    signed = next(option for option in forms["estimate"]["options"] if option["id"] == job.option)
    parts = {line["subject"] for line in signed["lines"]}
    found = {"wall": [(wall.key, wall.name) for wall in job.walls.all()]}
    for name, kind in (("site", "leak_sites"), ("attic", "attics")):
        rows = [(row["name"], row["name"]) for row in forms["takeoff"][kind] if row["id"] in parts]
        if rows:
            found[name] = rows
    return found


def _form_page(job: Job, name: str, page: EntryPage, form: EntryForm, code: Any) -> dict[str, Any]:
    return {
        "section": "today",
        "job": job,
        "name": name,
        "page": page,
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "form_code": code,
    }


def _say(request: HttpRequest, page: EntryPage, answer: dict[str, Any]) -> None:
    messages.success(request, f"{page.title}: received by office.")
    for sentence in (*answer["stops"], *answer["looks"], *(clash["says"] for clash in answer["clashes"])):
        messages.warning(request, sentence)


@require_safe
@access.action("crew.sheet")
def show_photo(request: HttpRequest, code: uuid.UUID, entry: uuid.UUID) -> HttpResponseBase:
    """Give a photo of the crew."""
    job = access.get_visible_or_404(request.user, Job, code, "crew.sheet")
    row = CrewEntry.objects.filter(job=job, code=entry, kind=EntryKind.PHOTO).first()
    if row is None or not photo_path(row.data["sha256"]).exists():
        raise Http404
    return FileResponse(photo_path(row.data["sha256"]).open("rb"), content_type="image/jpeg")
