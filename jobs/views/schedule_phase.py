"""One phase on the schedule: booked, moved, pinned, promised, taken off."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from estimates import access
from estimates.command import Conflict
from jobs.forms.schedule import PlaceForm
from jobs.models import Crew, Phase, Skill, Visit
from jobs.schedule_page import when_words
from jobs.schedule_problem import Placement
from jobs.schedule_words import short_day
from jobs.views.schedule import phase_or_404, week_address
from jobs.visits import MoveBreaks, phase_pin, phase_promise, visit_book, visit_move, visit_remove


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("schedule.write")
def place_phase(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Book a phase or move it: crew, day, hour. What cannot be is told, with the nearest place that can."""
    phase = phase_or_404(request, code)
    visits = list(phase.visits.select_related("crew").filter(day__gte=timezone.localdate()))
    begin = {"version": phase.version} | (
        {"crew": visits[0].crew_id, "day": visits[0].day, "hour": visits[0].first_hour} if visits else {}
    )
    form = PlaceForm(request.POST if request.method == "POST" else None, initial=begin)
    broken: MoveBreaks | None = None
    status = 200
    if form.is_valid():
        # A form without the version is one that was never shown; it is refused like an old one.
        version = form.seen_version
        put = visit_move if visits else visit_book
        try:
            rows = put(phase=phase, version=version, **form.cleaned_data, **access.acts(request))
        except MoveBreaks as fault:
            broken, status = fault, 409
        except ValidationError as fault:
            form.blame(fault)
        except Conflict as fault:
            form.add_error(None, str(fault))
            status = 409
        else:
            return _placed(request, phase, rows, moved=bool(visits))
    context = _context(phase, visits, form) | _breaks(broken)
    return render(request, "jobs/schedule_phase.html", context, status=status)


def _placed(request: HttpRequest, phase: Phase, rows: list[Visit], *, moved: bool) -> HttpResponse:
    days = f"{short_day(rows[0].day)}, {rows[0].first_hour}:00"
    more = f", {len(rows)} days" if len(rows) > 1 else ""
    word = "moved to" if moved else "booked for"
    messages.success(
        request, f"{phase.get_kind_display()} of {phase.job.number} is {word} {days}{more}, {rows[0].crew}."
    )
    return redirect(week_address(rows[0].day))


def _context(phase: Phase, visits: list[Visit], form: PlaceForm) -> dict[str, Any]:
    return {
        "section": "schedule",
        "phase": phase,
        "job": phase.job,
        "visits": visits,
        "promised": any(visit.promised for visit in visits),
        "skills": ", ".join(Skill(skill).label.lower() for skill in phase.skills),
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "back": week_address(visits[0].day) if visits else reverse("jobs-show-schedule"),
    }


def _breaks(broken: MoveBreaks | None) -> dict[str, Any]:
    if broken is None:
        return {"breaks": ()}
    nearest: Placement | None = broken.nearest
    found: dict[str, Any] = {"breaks": broken.words, "nearest": None}
    if nearest is not None:
        crew = Crew.objects.get(pk=nearest.crew[1:])
        found["nearest"] = {
            "crew": crew,
            "day": nearest.first_day.isoformat(),
            "hour": nearest.parts[0].start_hour,
            "words": f"{crew}, {when_words(nearest)}",
        }
    return found


def _version(request: HttpRequest) -> int:
    given = request.POST.get("version", "")
    return int(given) if given.isdecimal() else 0


def _back(phase: Phase) -> HttpResponse:
    return redirect("jobs-place-phase", code=phase.code)


@require_POST
@access.action("schedule.write")
def pin_phase(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Pin a phase to its place, or release it."""
    phase = phase_or_404(request, code)
    pinned = request.POST.get("pinned") == "1"
    phase_pin(phase=phase, pinned=pinned, version=_version(request), **access.acts(request))
    said = "is pinned: plans leave it where it is." if pinned else "is released: plans may move it."
    messages.success(request, f"{phase.get_kind_display()} of {phase.job.number} {said}")
    return _back(phase)


@require_POST
@access.action("schedule.write")
def promise_phase(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Promise the days of a phase to the homeowner."""
    phase = phase_or_404(request, code)
    written = phase_promise(phase=phase, version=_version(request), **access.acts(request))
    how = "A letter is on its way." if written else "There is no e-mail address: call them."
    messages.success(request, f"The days are marked as promised. {how}")
    return _back(phase)


@require_POST
@access.action("schedule.write")
def remove_phase(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Take a phase off the schedule."""
    phase = phase_or_404(request, code)
    told = phase.visits.filter(day__gte=timezone.localdate(), promised=True).exists()
    visit_remove(phase=phase, version=_version(request), **access.acts(request))
    messages.success(request, f"{phase.get_kind_display()} of {phase.job.number} is taken off the schedule.")
    if told:
        messages.warning(request, f"Its days were promised. Tell the homeowner of {phase.job.number}.")
    return redirect("jobs-show-schedule")
