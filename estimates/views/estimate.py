"""The live estimate of a house: its assessment priced as it stands, tried out in memory, kept or frozen."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from estimates import access
from estimates.assessments import AssessmentChanged, assessment_from_record, assessment_put
from estimates.estimating import estimate_make
from estimates.forms.estimate import WhatIfForm
from estimates.models import House
from estimates.models.assessment import AssessmentStatus
from estimates.views.estimate_desk import TROUBLE, Desk, desk_of, sentences
from estimates.views.estimate_figures import outcome_context
from estimates.views.proposal_check import propose
from estimates.what_if import WhatIf, wished


@require_safe
@access.action("price.read")
def show_estimate(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show the options of a house side by side, priced from its assessment as it stands."""
    house = access.get_visible_or_404(request.user, House, code, "price.read")
    desk = desk_of(request.user, house, request.GET.get("book", ""), timezone.localdate())
    return _page(request, desk, desk.form(), WhatIf())


@require_POST
@access.action("estimate.write")
def try_estimate(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Work out what was typed; nothing is written. A part of the page for htmx, else the whole page."""
    house = access.get_visible_or_404(request.user, House, code, "estimate.write")
    desk = desk_of(request.user, house, request.POST.get("book", ""), timezone.localdate())
    form = desk.form(request.POST)
    wish = form.wish() if form is not None and form.is_valid() else None
    if request.headers.get("HX-Request"):
        return _part(request, desk, form, wish)
    return _page(request, desk, form, wish)


@require_POST
@access.action("estimate.write")
def keep_estimate(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Write margin, discount and attic target into the assessment; one that is completed is followed by a new one."""
    house = access.get_visible_or_404(request.user, House, code, "estimate.write")
    now = timezone.now()
    desk = desk_of(request.user, house, request.POST.get("book", ""), timezone.localdate(now))
    form = desk.form(request.POST)
    if form is None or not form.is_valid():
        return _page(request, desk, form, None)
    if not desk.is_at(form.cleaned_data["assessment"], form.cleaned_data["version"]):
        return _changed(request, desk, request.POST)
    try:
        said = _keep(desk, form.wish(), request, now)
    except AssessmentChanged:
        return _changed(request, desk_of(request.user, house, desk.book_name, desk.on), request.POST)
    messages.success(request, said)
    return redirect("estimates-show-estimate", code=house.code)


def _keep(desk: Desk, wish: WhatIf, request: HttpRequest, now: datetime) -> str:
    assessment, record = desk.assessment, desk.record
    assert assessment is not None
    assert record is not None
    changed = wished(record, wish)
    if changed == record:
        return "Nothing to keep: these are the figures of the assessment already."
    by, origin = access.signed_in(request), access.origin_of(request)
    if assessment.status == AssessmentStatus.OPEN:
        assessment_put(
            assessment=assessment, record=changed, expected_version=assessment.version, by=by, now=now, origin=origin
        )
        return f"Kept in assessment {assessment.number}. Next: freeze it as a revision."
    begun = assessment_from_record(house=desk.house, record=changed, by=by, now=now, origin=origin)
    return (
        f"Assessment {assessment.number} is completed and stays as it is, so this began assessment {begun.number} with "
        "all that was measured. Next: complete it, then freeze it as a revision."
    )


@require_POST
@access.action("estimate.write")
def freeze_estimate(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Freeze the assessment as it stands, priced, as the next revision of the house."""
    house = access.get_visible_or_404(request.user, House, code, "estimate.write")
    now = timezone.now()
    desk = desk_of(request.user, house, request.POST.get("book", ""), timezone.localdate(now))
    if desk.assessment is None or not desk.is_at(_whole(request, "assessment"), _whole(request, "version")):
        messages.warning(request, "The assessment was changed in the meantime. Look at its figures, then freeze them.")
        return redirect("estimates-show-estimate", code=house.code)
    earlier, goes_on = desk.latest, request.POST.get("then") == "propose"
    try:
        revision = estimate_make(
            assessment=desk.assessment,
            book_name=desk.book_name,
            on=desk.on,
            by=access.signed_in(request),
            now=now,
            origin=access.origin_of(request),
        )
    except TROUBLE as fault:
        messages.warning(request, " ".join(["It cannot be priced yet.", *sentences(fault)]))
        return redirect("estimates-show-estimate", code=house.code)
    if earlier is not None and earlier.pk == revision.pk:
        messages.success(request, f"Nothing has changed since revision {revision.number}; it stands as it is.")
    else:
        following = "Look at what goes out, then issue it." if goes_on else "Next: make the proposal from it."
        messages.success(request, f"Frozen as revision {revision.number}. {following}")
    if goes_on:
        access.require(request.user, "proposal.write")
        return propose(request, revision)
    return redirect("estimates-show-revision", code=house.code, number=revision.number)


def _part(request: HttpRequest, desk: Desk, form: WhatIfForm | None, wish: WhatIf | None) -> HttpResponse:
    """The figures alone; faults go beside the fields, and then the figures stay as they were."""
    if wish is not None:
        context = {"house": desk.house, "desk": desk, "form": form, **outcome_context(desk, wish, request.user)}
        return render(request, "estimates/estimate_outcome.html", context)
    response = render(request, "estimates/estimate_faults.html", {"form": form})
    response.headers["HX-Retarget"], response.headers["HX-Reswap"] = "#try-faults", "innerHTML"
    return response


def _whole(request: HttpRequest, name: str) -> int | None:
    text = request.POST.get(name, "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None


def _changed(request: HttpRequest, desk: Desk, typed: QueryDict) -> HttpResponse:
    """The page again for the second of two savers: what is stored now beside what was typed, nothing lost."""
    data = typed.copy()
    if desk.assessment is not None:
        data["assessment"], data["version"] = str(desk.assessment.number), str(desk.assessment.version)
    form = desk.form(data)
    wish = form.wish() if form is not None and form.is_valid() else None
    return _page(request, desk, form, wish, conflict=_both(desk, form))


def _both(desk: Desk, form: WhatIfForm | None) -> list[dict[str, str]]:
    """Fields in which what is stored and what was typed differ."""
    stored = desk.form()
    if form is None or stored is None:
        return []
    rows = []
    for mine, theirs in zip(form.visible_fields(), stored.visible_fields(), strict=True):
        typed, kept = (str(field.value() if field.value() is not None else "").strip() for field in (mine, theirs))
        if typed != kept:
            rows.append({"label": str(mine.label), "stored": kept or "left empty", "typed": typed or "left empty"})
    return rows


def _page(
    request: HttpRequest,
    desk: Desk,
    form: WhatIfForm | None,
    wish: WhatIf | None,
    *,
    conflict: list[dict[str, str]] | None = None,
) -> HttpResponse:
    """The whole page; without a wish that can be worked out the figures are those of the assessment."""
    may_try = access.allowed(request.user, "estimate.write")
    context: dict[str, Any] = {
        "section": "houses",
        "house": desk.house,
        "desk": desk,
        "form": form if may_try else None,
        "forms": [form] if form is not None else [],
        "faulty": form is not None and form.faulty,
        "conflict": conflict,
        **outcome_context(desk, wish or WhatIf(), request.user),
    }
    return render(request, "estimates/estimate.html", context, status=409 if conflict is not None else 200)
