"""Jobs: the list with what is still to book, the page of one, and changing what is known of it."""

from __future__ import annotations

import uuid
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, resolve, reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from estimates import access
from estimates.command import Conflict
from estimates.models import Proposal, User
from estimates.start import start_faults
from estimates.tables import LONGEST_SEARCH
from jobs.booking import job_book, job_move, to_book
from jobs.changes import effect_of
from jobs.forms.jobs import JobForm
from jobs.job_facts import job_change
from jobs.job_page import job_picture
from jobs.models import ChangeOrder, Job, JobStatus
from jobs.models.job import JOB_MOVES
from jobs.start_gates import start_gates
from jobs.tables import WAITING, job_rows, job_table

either_way = require_http_methods(["GET", "HEAD", "POST"])

DOORS = (
    ("jobs-show-schedule", "Schedule"),
    ("jobs-show-crew-sheet", "Crew sheet"),
    ("jobs-show-verification", "Verification"),
    ("jobs-show-money", "Money"),
    ("jobs-compare-bills", "Bills after the work"),
)
"""Pages of a job beside its own, by name; each stands there for those who may open it."""

BUTTONS = {
    JobStatus.STARTED: "Work has started",
    JobStatus.WORK_DONE: "The work is done",
    JobStatus.CLOSED: "Close the job",
}
"""Status -> what the button says that brings a job there; the others come from elsewhere."""


def job_or_404(request: HttpRequest, code: uuid.UUID, action: str) -> Job:
    """Return a job that the reader may know of, with its house, proposal and revision."""
    found = access.get_visible_or_404(request.user, Job, code, action)
    return Job.objects.select_related("house", "proposal__created_by", "revision").get(pk=found.pk)


@require_safe
@access.action("job.read")
def list_jobs(request: HttpRequest) -> HttpResponse:
    """List the jobs, and the accepted proposals that are still to be booked."""
    given = request.GET
    words = given.get("find", "").replace("\0", "").strip()[:LONGEST_SEARCH]
    sellers = {
        str(pk): name
        for pk, name in User.objects.filter(
            Exists(Proposal.objects.filter(created_by=OuterRef("pk"), job__isnull=False))
        ).values_list("pk", "full_name")
    }
    chosen = {
        "status": _known(given.get("status", ""), dict(JobStatus.choices)),
        "seller": _known(given.get("seller", ""), sellers),
        "waiting": _known(given.get("waiting", ""), dict(WAITING)),
    }
    rows = job_rows(request.user, today=timezone.localdate(), words=words, **chosen)
    filters = (
        ("status", "Stands at", JobStatus.choices),
        ("seller", "Seller", sorted(sellers.items(), key=lambda item: item[1])),
        ("waiting", "Waits for", WAITING),
    )
    context = {
        "section": "jobs",
        "table": job_table(rows, sort=given.getlist("sort"), page=given.get("page", "1")),
        "words": words,
        "filters": [(name, label, options, chosen[name]) for name, label, options in filters],
        "chips": [(name, dict(options)[chosen[name]]) for name, _, options in filters if chosen[name]],
        "sort": given.get("sort", ""),
        "to_book": list(to_book()),
        "now": timezone.now(),
    }
    return render(request, "jobs/job_list.html", context)


def _known(value: str, options: dict[str, str]) -> str:
    return value if value in options else ""


@require_POST
@access.action("job.write")
def book_job(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Book an accepted proposal; a second tap finds the job that is there."""
    proposal = Proposal.objects.visible_to(access.signed_in(request)).filter(code=code).first()
    if proposal is None:
        raise Http404
    job = job_book(proposal=proposal, **access.acts(request))
    messages.success(request, f"Job {job.number} is booked. Next: meet its start gates, then plan its days.")
    return redirect("jobs-show-job", code=job.code)


@require_safe
@access.action("job.read")
def show_job(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show a job: what it waits for, its phases, walls and kit, and what changed since it was signed."""
    job = job_or_404(request, code, "job.read")
    picture = job_picture(job, today=timezone.localdate(timezone=ZoneInfo(job.zone)))
    moves = [(to, words) for to, words in BUTTONS.items() if to in JOB_MOVES[JobStatus(job.status)]]
    context = {
        "section": "jobs",
        "job": job,
        "picture": picture,
        "may_start": job.started_at is not None or picture.start.day == timezone.localdate(timezone=ZoneInfo(job.zone)),
        "changes": [(change, effect_of(change)) for change in ChangeOrder.objects.filter(job=job)],
        "differs": job.walls.exclude(found={}).exists(),
        "doors": job_doors(request.user, job),
        "moves": moves if access.allowed(request.user, "job.write") else [],
        "locked": job.status == JobStatus.LOCKED,
    }
    return render(request, "jobs/job.html", context)


def job_doors(user: access.Person, job: Job) -> list[tuple[str, str]]:
    """Addresses and words of the pages of a job beside its own that somebody may open."""
    doors = []
    for name, words in DOORS:
        try:
            address = reverse(name, kwargs={"code": job.code})
        except NoReverseMatch:
            continue
        policy = access.policy_of(resolve(address).func)
        if policy is not None and (policy == access.PUBLIC or access.allowed(user, policy)):
            doors.append((address, words))
    return doors


@either_way
@access.action("job.write")
def change_job(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Change what is known of a job; a second saver sees what the first one saved, and keeps what was typed."""
    job = job_or_404(request, code, "job.write")
    form = JobForm(request.POST if request.method == "POST" else None, initial=JobForm.of(job))
    status = 200
    if form.is_valid():
        version = form.seen_version
        try:
            job_change(job=job, version=version, **form.cleaned_data, **access.acts(request))
        except ValidationError as fault:
            form.blame(fault)
        except Conflict as fault:
            fresh = job_or_404(request, code, "job.write")
            data = request.POST.copy()
            data["version"] = str(fresh.version)
            form, status = JobForm(data), 409
            form.is_valid()
            form.add_error(None, f"{fault} What they saved stands below; saving again puts yours in its place.")
            job = fresh
        else:
            messages.success(request, f"Job {job.number} is saved.")
            return redirect("jobs-show-job", code=job.code)
    context = {
        "section": "jobs",
        "job": job,
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "title": f"Change job {job.number}",
        "button": "Save the job",
        "theirs": theirs(form, JobForm.of(job)) if status == 409 else [],
    }
    return render(request, "jobs/job_form.html", context, status=status)


def theirs(form: Any, saved: dict[str, Any]) -> list[tuple[str, str]]:
    """What is saved now in the fields of a form, by their labels, for somebody who was overtaken."""
    rows = [(field.label, saved.get(field.name)) for field in form.visible_fields() if field.name in saved]
    return [(str(label), "nothing" if value in (None, "", []) else str(value)) for label, value in rows]


@either_way
@access.action("job.write")
def move_job(request: HttpRequest, code: uuid.UUID, to: str) -> HttpResponse:
    """Say that work has started, is done, or that the job is closed."""
    job = job_or_404(request, code, "job.write")
    if to not in BUTTONS:
        raise Http404
    wanted = JobStatus(to)
    faults = _faults(job, wanted)
    if request.method == "POST" and not faults:
        moved = job_move(job=job, to=wanted, **access.acts(request))
        messages.success(request, f"Job {moved.number} is {moved.get_status_display().lower()}.")
        return redirect("jobs-show-job", code=job.code)
    context = {"section": "jobs", "job": job, "title": BUTTONS[wanted], "refusals": faults}
    return render(request, "jobs/job_move.html", context, status=409 if faults and request.method == "POST" else 200)


def _faults(job: Job, to: JobStatus) -> tuple[str, ...]:
    """What keeps a job from another status: for a first start, every gate whose window does not hold today."""
    if to not in JOB_MOVES[JobStatus(job.status)]:
        return (f"It is {job.get_status_display().lower()} and cannot become {to.label.lower()}.",)
    if to != JobStatus.STARTED or job.started_at is not None:
        return ()
    lead_safe = job.walls.filter(lead_safe=True).exists()
    today = timezone.localdate(timezone=ZoneInfo(job.zone))
    return start_faults(start_gates(job, lead_safe=lead_safe), today)
