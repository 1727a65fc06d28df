"""Change orders on the office's side: drafting, pricing, issuing, taking back."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from estimates import access
from estimates.command import Conflict
from estimates.forms.proposals import ReasonForm
from estimates.physics.validity import OutOfRange
from jobs.changes import (
    ChangedMeanwhile,
    change_as_found,
    change_draft,
    change_issue,
    change_redraft,
    change_withdraw,
    effect_of,
    lines_of,
    may_be_worked,
    seen_of,
)
from jobs.forms.changes import LEAST_ROWS, ChangeForm, rows_for
from jobs.models import ChangeOrder, ChangeStatus, Job
from jobs.models.change_order import CHANGE_MOVES
from jobs.views.jobs import either_way, job_or_404


def _change(request: HttpRequest, code: uuid.UUID, change: uuid.UUID, action: str) -> tuple[Job, ChangeOrder]:
    job = job_or_404(request, code, action)
    row = ChangeOrder.objects.filter(job=job, code=change).select_related("created_by").first()
    if row is None:
        raise Http404
    row.job = job
    return job, row


def _to(change: ChangeOrder) -> HttpResponse:
    return redirect("jobs-show-change", code=change.job.code, change=change.code)


@require_safe
@access.action("job.read")
def show_change(request: HttpRequest, code: uuid.UUID, change: uuid.UUID) -> HttpResponse:
    """Show a change order; its money for those who may read a price."""
    job, row = _change(request, code, change, "job.read")
    return render(request, "jobs/change.html", _page(job, row))


def _page(job: Job, row: ChangeOrder, refused: str = "") -> dict[str, Any]:
    moves = CHANGE_MOVES[ChangeStatus(row.status)]
    return {
        "section": "jobs",
        "job": job,
        "change": row,
        "lines": lines_of(row),
        "unpriced": any(line.cents is None for line in lines_of(row)),
        "effect": effect_of(row),
        "seen": seen_of(row),
        "draft": row.status == ChangeStatus.DRAFT,
        "can_withdraw": ChangeStatus.WITHDRAWN in moves,
        "workable": may_be_worked(row),
        "refused": refused,
    }


@either_way
@access.action("change.write")
def draft_change(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Draft a change order; whoever may not set a price leaves it to those who may."""
    job = job_or_404(request, code, "change.write")
    prices = access.allowed(request.user, "change.issue")
    posted = request.POST if request.method == "POST" else None
    form = ChangeForm(posted, prices=prices, rows=_rows(request))
    status = 200
    if form.is_valid():
        try:
            row = change_draft(job=job, **form.given, **access.acts(request))
        except ValidationError as fault:
            form.blame(fault)
        except Conflict as fault:
            form.add_error(None, str(fault))
            status = 409
        else:
            messages.success(request, f"Change order {row.number} is drafted. Next: look at it, then issue it.")
            return _to(row)
    return _form(request, job, form, "Draft a change order", status=status)


def _rows(request: HttpRequest) -> int:
    """As many lines as were sent."""
    sent = [name for name in request.POST if name.startswith("text_")]
    return min(max(LEAST_ROWS, len(sent)), 40)


@require_POST
@access.action("change.issue")
def draft_found(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Draft a change order from the walls as found."""
    job = job_or_404(request, code, "change.issue")
    try:
        row = change_as_found(job=job, **access.acts(request))
    except OutOfRange as fault:
        messages.warning(request, f"What was found does not fit its wall: {fault} Mend it on the crew sheet.")
        return redirect("jobs-show-job", code=job.code)
    if row is None:
        messages.info(request, "The walls as found change no price. There is nothing to sign.")
        return redirect("jobs-show-job", code=job.code)
    messages.success(request, f"Change order {row.number} is drafted from the walls as found. Next: look at it.")
    return _to(row)


@either_way
@access.action("change.issue")
def redraft_change(request: HttpRequest, code: uuid.UUID, change: uuid.UUID) -> HttpResponse:
    """Change a draft; a second saver reads what the first one saved and keeps what was typed."""
    job, row = _change(request, code, change, "change.issue")
    if row.status != ChangeStatus.DRAFT:
        messages.info(request, f"Change order {row.number} is {row.get_status_display().lower()}; draft another one.")
        return _to(row)
    if request.method != "POST":
        form = ChangeForm.of(row, seen_of(row), prices=True)
        return _form(request, job, form, f"Change the draft of change order {row.number}", change=row)
    form = ChangeForm(request.POST, prices=True, rows=max(_rows(request), rows_for(lines_of(row))))
    status = 200
    if form.is_valid():
        try:
            row = change_redraft(change=row, seen=form.cleaned_data["seen"], **form.given, **access.acts(request))
        except ValidationError as fault:
            form.blame(fault)
        except ChangedMeanwhile as fault:
            row.refresh_from_db()
            data = request.POST.copy()
            data["seen"] = seen_of(row)
            form, status = ChangeForm(data, prices=True, rows=form.count), 409
            form.is_valid()
            form.add_error(None, f"{fault} What they saved stands below; saving again puts yours in its place.")
        else:
            messages.success(request, f"Change order {row.number} is saved. Next: look at it, then issue it.")
            return _to(row)
    title = f"Change the draft of change order {row.number}"
    return _form(request, job, form, title, change=row, status=status)


def _form(
    request: HttpRequest,
    job: Job,
    form: ChangeForm,
    title: str,
    *,
    change: ChangeOrder | None = None,
    status: int = 200,
) -> HttpResponse:
    context = {
        "section": "jobs",
        "job": job,
        "change": change,
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "title": title,
        "theirs": lines_of(change) if change is not None and status == 409 else (),
    }
    return render(request, "jobs/change_form.html", context, status=status)


@require_POST
@access.action("change.issue")
def issue_change(request: HttpRequest, code: uuid.UUID, change: uuid.UUID) -> HttpResponse:
    """Issue a draft as it was looked at."""
    job, row = _change(request, code, change, "change.issue")
    if row.status == ChangeStatus.ISSUED:
        return _to(row)
    try:
        change_issue(change=row, seen=request.POST.get("seen", ""), **access.acts(request))
    except (ValidationError, ChangedMeanwhile) as fault:
        row.refresh_from_db()
        said = " ".join(fault.messages) if isinstance(fault, ValidationError) else str(fault)
        return render(request, "jobs/change.html", _page(job, row, said), status=409)
    messages.success(
        request, f"Change order {row.number} is issued and stands on the homeowner’s page. Next: they sign it."
    )
    return _to(row)


@either_way
@access.action("change.write")
def withdraw_change(request: HttpRequest, code: uuid.UUID, change: uuid.UUID) -> HttpResponse:
    """Take a change order back, with a reason."""
    job, row = _change(request, code, change, "change.write")
    form = ReasonForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        change_withdraw(change=row, reason=form.cleaned_data["reason"], **access.acts(request))
        messages.success(request, f"Change order {row.number} is withdrawn.")
        return redirect("jobs-show-job", code=job.code)
    context = {
        "section": "jobs",
        "job": job,
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "title": f"Withdraw change order {row.number}",
        "button": "Withdraw it",
    }
    return render(request, "jobs/job_form.html", context)
