"""The schedule: crews by days, jobs ready to book, and a plan that is shown before it is taken."""

from __future__ import annotations

import json
import uuid
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from estimates import access
from estimates.command import Conflict
from jobs.models import Job, Phase, Visit
from jobs.schedule_page import (
    bound_words,
    left_words,
    monday_of,
    plan_lines,
    ready_jobs,
    removed_phases,
    term_words,
    weeks_of,
)
from jobs.schedule_problem import Placement, Schedule, ScheduleProblem, WorkPart
from jobs.schedule_rigs import own_rigs
from jobs.schedule_rows import Board, read_board
from jobs.scheduling import improve, solve
from jobs.visits import CHANGED, schedule_apply

SLICE_S = 3.0
"""Seconds of one slice of improvement. [s]"""

MOST_SLICES = 5

KEEP_FACTOR = 20.0
"""After a lost day a change to what is promised weighs so many times as much: as little as possible moves."""


def week_address(day: date) -> str:
    """Address of the schedule at the week of a day."""
    return f"{reverse('jobs-show-schedule')}?from={monday_of(day).isoformat()}&day={day.isoformat()}"


def _asked(request: HttpRequest, name: str) -> date | None:
    try:
        found = date.fromisoformat(request.GET.get(name, ""))
    except ValueError:
        return None
    return found if date(2000, 1, 1) <= found <= date(2100, 1, 1) else None


@require_safe
@access.action("schedule.read")
def show_schedule(request: HttpRequest, code: uuid.UUID | None = None) -> HttpResponse:
    """Show two weeks of every crew; a job by its code shows the week in which it begins."""
    today = timezone.localdate()
    job = None if code is None else access.get_visible_or_404(request.user, Job, code, "schedule.read")
    day = _asked(request, "day")
    if job is not None and day is None:
        day = Visit.objects.filter(phase__job=job).order_by("day").values_list("day", flat=True).first()
    monday = monday_of(_asked(request, "from") or day or today)
    board = read_board(today)
    weeks = weeks_of(board, monday, today=today)
    shown = [head.on for week in weeks for head in week.days]
    chosen = day if day in shown else today if today in shown else shown[0]
    place = shown.index(chosen)
    ready, held = ready_jobs(board)
    context = {
        "section": "schedule",
        "job": job,
        "weeks": weeks,
        "ready": ready,
        "held": held,
        "broken": _broken(board),
        "chosen": chosen,
        "before": monday - timedelta(days=7),
        "after": monday + timedelta(days=7),
        "day_before": shown[place - 1] if place else monday - timedelta(days=3),
        "day_after": shown[place + 1] if place + 1 < len(shown) else shown[-1] + timedelta(days=3),
        "today": today,
        "writes": access.allowed(request.user, "schedule.write"),
    }
    return render(request, "jobs/schedule.html", context)


def _broken(board: Board) -> list[tuple[Phase, date, str]]:
    """Visits that cannot stand as they are, each phase once, with why."""
    found: dict[int, tuple[Phase, date, str]] = {}
    for visits in board.loose.values():
        for visit in visits:
            if visit.pk in board.broken and visit.phase_id not in found:
                phase = board.phases.get(f"p{visit.phase_id}", visit.phase)
                found[visit.phase_id] = (phase, visit.day, board.broken[visit.pk])
    return sorted(found.values(), key=lambda row: row[1])


# --- a plan, shown before it is taken ---------------------------------------------------------------------------------


def plan_text(placements: Sequence[Placement]) -> str:
    """Placements as the page carries them from slice to slice."""
    rows = [
        [p.phase, p.crew, p.rig, [[w.on.isoformat(), w.start_hour, w.end_hour] for w in p.parts]] for p in placements
    ]
    return json.dumps(rows, separators=(",", ":"))


def plan_read(text: str) -> tuple[Placement, ...]:
    """Placements from the text that a page sent back; they are checked like any other before they are used.

    Raises
    ------
    Conflict : it is no such text.
    """
    try:
        return tuple(
            Placement(
                str(phase),
                str(crew),
                tuple(WorkPart(date.fromisoformat(on), int(first), int(last)) for on, first, last in parts),
                str(rig),
            )
            for phase, crew, rig, parts in json.loads(text)
            if parts
        )
    except (ValueError, TypeError):
        raise Conflict(CHANGED) from None


def _problem(board: Board, keep: bool) -> ScheduleProblem:
    """The problem, with promises weighing more where as little as possible is to move."""
    if not keep:
        return board.problem
    told = board.problem.weights
    weights = replace(
        told,
        moved_phase=told.moved_phase * KEEP_FACTOR,
        other_crew=told.other_crew * KEEP_FACTOR,
        unscheduled=told.unscheduled * KEEP_FACTOR,  # else it would be cheaper to drop a job than to move it
        idle_half_day=0.0,
    )
    return replace(board.problem, weights=weights)


def _rigged(board: Board, plan: Schedule) -> Schedule:
    """A plan with the rigs that usually go with its crews; that costs nothing."""
    return replace(plan, placements=own_rigs(board, plan.placements))


def _tomorrow() -> date:
    return timezone.localdate() + timedelta(days=1)


def _plan_context(board: Board, plan: Schedule, keep: bool, slices: int) -> dict[str, Any]:
    proven = plan.ratio is not None and plan.ratio <= 1 + 1e-6
    jobs = plan_lines(board, plan)
    lines = [line for _, rows in jobs for line in rows]
    return {
        "section": "schedule",
        "jobs": jobs,
        "new": sum(line.change == "new" for line in lines),
        "moved": sum(line.change == "moved" for line in lines),
        "told": [line for line in lines if line.told],
        "removed": removed_phases(board, plan),
        "left": left_words(board, plan),
        "held": board.blocked,
        "terms": term_words(plan),
        "points": f"{plan.cost:,.0f}",
        "bound": bound_words(plan),
        "keep": keep,
        "digest": board.digest,
        "plan": plan_text(plan.placements),
        "slices": slices,
        "most": MOST_SLICES,
        "goes_on": slices < MOST_SLICES and not proven and bool(board.problem.jobs),
        "crews": len(board.problem.crews),
    }


@require_safe
@access.action("schedule.write")
def show_plan(request: HttpRequest) -> HttpResponse:
    """Fill the weeks: a plan at once, not written."""
    keep = request.GET.get("keep") == "1"
    board = read_board(_tomorrow())
    plan = _rigged(board, solve(_problem(board, keep), time_limit_s=0))
    return render(request, "jobs/schedule_plan.html", _plan_context(board, plan, keep, 0))


@require_POST
@access.action("schedule.write")
def better_plan(request: HttpRequest) -> HttpResponse:
    """Better the plan that the page shows for a slice of seconds; nothing is written."""
    keep = request.POST.get("keep") == "1"
    number = request.POST.get("slices", "")
    slices = min(int(number) if number.isdecimal() else 0, MOST_SLICES) + 1
    placements = plan_read(request.POST.get("plan", ""))
    board = read_board(_tomorrow())
    htmx = request.headers.get("HX-Request") == "true"
    template = "jobs/schedule_plan_part.html" if htmx else "jobs/schedule_plan.html"
    if board.digest != request.POST.get("digest"):
        context = {"section": "schedule", "stale": CHANGED, "keep": keep}
        # htmx swaps answers of 200 only; the sentence has to be seen.
        return render(request, template, context, status=200 if htmx else 409)
    begun = Schedule(placements, (), (), ())
    plan = _rigged(board, improve(_problem(board, keep), begun, time_limit_s=SLICE_S, seed=slices))
    return render(request, template, _plan_context(board, plan, keep, slices))


@require_POST
@access.action("schedule.write")
def take_plan(request: HttpRequest) -> HttpResponse:
    """Write the plan that the page shows, whole or not at all."""
    try:
        placements = plan_read(request.POST.get("plan", ""))
        taken = schedule_apply(
            placements=placements, first=_tomorrow(), digest=request.POST.get("digest", ""), **access.acts(request)
        )
    except Conflict as fault:
        messages.warning(request, f"Nothing was written. {fault}")
        return redirect(f"{reverse('jobs-show-plan')}{'?keep=1' if request.POST.get('keep') == '1' else ''}")
    changes = [(taken.booked, "booked"), (taken.moved, "moved"), (taken.removed, "taken off")]
    words = [f"{len(rows)} {'phase' if len(rows) == 1 else 'phases'} {word}" for rows, word in changes if rows]
    messages.success(request, f"The plan is taken: {', '.join(words)}." if words else "The plan changes nothing.")
    if taken.told_wrong:
        names = ", ".join(sorted({phase.job.number for phase in taken.told_wrong}))
        messages.warning(request, f"Homeowners were promised other days. Tell them: {names}.")
    first = min((placement.first_day for placement in placements), default=timezone.localdate())
    return redirect(week_address(first))


def phase_or_404(request: HttpRequest, code: uuid.UUID) -> Phase:
    """A phase of a job that the reader may know of."""
    known = Job.objects.visible_to(request.user)
    found = Phase.objects.select_related("job__house").filter(code=code, job__in=known).first()
    if found is None:
        raise Http404
    return found
