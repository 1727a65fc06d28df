"""Leads: the list, the page of one lead, those alike, and the sources they come from."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from itertools import pairwise
from typing import Any, TypedDict

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from estimates import access
from estimates.activity import object_type
from estimates.activity_words import activity_words
from estimates.call_log import call_outlook, call_rules
from estimates.forms.leads import SourceForm
from estimates.houses import houses_alike
from estimates.lead_tables import STAGES, choices, lead_rows, lead_table, read_filter
from estimates.leads import lead_complaints, lead_source_put, leads_alike
from estimates.models import ActivityEntry, CallEntry, CallPurpose, Lead, LeadMove, LeadSource, LeadStage
from estimates.models.lead import LEAD_MOVES, WITH_HOUSE
from estimates.zones import SPLIT_STATES, ZONES

MOST_ALIKE = 5
MOST_ACTS = 100

MOVE_WORDS: dict[LeadStage, str] = {
    LeadStage.VISIT_SET: "Set the visit",
    LeadStage.ASSESSED: "Mark as assessed",
    LeadStage.PROPOSED: "Mark as proposed",
    LeadStage.WON: "Mark as won",
    LeadStage.LOST: "Mark as lost",
    LeadStage.CANCELLED: "Mark as cancelled",
}
"""Stage -> the words of the button that leads there."""


@require_safe
@access.action("lead.read")
def list_leads(request: HttpRequest) -> HttpResponse:
    """List the leads that the filter in the address asks for."""
    sellers, sources = choices(request.user)
    asked = {name: request.GET.get(name, "") for name in ("find", "stage", "seller", "source", "overdue")}
    wanted = read_filter(asked, sellers, sources)
    today = timezone.localdate()
    rows = lead_rows(request.user, wanted, today=today)
    table = lead_table(rows, today=today, sort=request.GET.getlist("sort"), page=request.GET.get("page", "1"))
    context = {
        "section": "leads",
        "table": table,
        "wanted": wanted,
        "chips": wanted.chips,
        "stages": STAGES.items(),
        "sellers": sellers,
        "sources": sources,
        "sort": request.GET.get("sort", ""),
        "now": timezone.now(),
    }
    return render(request, "estimates/lead_list.html", context)


@require_safe
@access.action("lead.read")
def show_lead(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show a lead: the facts, what is next, what may be done, and what was."""
    lead = access.get_visible_or_404(request.user, Lead, code, "lead.read")
    user, now = access.signed_in(request), timezone.now()
    alike = leads_alike(user=user, phone=lead.phone, street=lead.street, town=lead.town, state=lead.state, besides=lead)
    acts = ActivityEntry.objects.of(object_type(lead), lead.code).select_related("actor")[:MOST_ACTS]
    stage = LeadStage(lead.stage)
    offered = [to for to in LeadStage if to in LEAD_MOVES[stage]]
    outlook = call_outlook(lead, purpose=CallPurpose.SALES, at=now, rows=call_rules(lead)) if lead.phone else None
    context = {
        "section": "leads",
        "lead": lead,
        "complaints": lead_complaints(lead),
        "alike": alike[:MOST_ALIKE],
        "moves": [(to.value, MOVE_WORDS[to]) for to in offered if lead.house_id or to not in WITH_HOUSE],
        "house_wanted": lead.house_id is None and any(to in WITH_HOUSE for to in offered),
        "houses": houses_alike(user=user, street=lead.street, town=lead.town, state=lead.state)
        if lead.house_id is None
        else [],
        "history": stage_history(lead),
        "calls": CallEntry.objects.filter(lead=lead).select_related("logged_by"),
        "acts": [(act, activity_words(act, zone=lead.clock)) for act in acts],
        "zone": lead.clock,
        "zone_name": ZONES[lead.clock.key],
        "split": lead.state in SPLIT_STATES and not lead.zone,
        "outlook": outlook,
        "today": timezone.localdate(),
        "now": now,
    }
    return render(request, "estimates/lead.html", context)


def stage_history(lead: Lead) -> list[dict[str, Any]]:
    """Return the stages a lead has come through, each with its time and the days it stayed there."""
    moves = list(LeadMove.objects.filter(lead=lead).select_related("by").order_by("at", "id"))
    rows: list[dict[str, Any]] = [{"move": move, "days": None} for move in moves]
    for row, (move, following) in zip(rows, pairwise(moves)):
        row["days"] = (following.at - move.at).days
    return rows


class TypedPlace(TypedDict):
    """Telephone number and address as somebody typed them."""

    phone: str
    street: str
    town: str
    state: str


def typed_place(typed: Mapping[str, Any]) -> TypedPlace:
    """Return what is compared of a form; too long words are cut."""
    phone, street, town, state = (str(typed.get(name, ""))[:200] for name in ("phone", "street", "town", "state"))
    return {"phone": phone, "street": street, "town": town, "state": state}


@require_POST
@access.action("lead.write")
def show_leads_alike(request: HttpRequest) -> HttpResponse:
    """Show the leads of the same number or address while one is being taken; changes nothing."""
    alike = leads_alike(user=access.signed_in(request), **typed_place(request.POST))
    return render(request, "estimates/lead_alike.html", {"alike": alike[:MOST_ALIKE]})


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("lead.write")
def change_sources(request: HttpRequest) -> HttpResponse:
    """Show the sources of leads with their costs; add one, or change what one costs from now on."""
    form = SourceForm(request.POST or None, initial={"name": request.GET.get("name", "")})
    if request.method == "POST" and form.is_valid():
        try:
            source = lead_source_put(
                name=form.cleaned_data["name"],
                cost_per_lead=form.cleaned_data["cost_per_lead"],
                by=access.signed_in(request),
                now=timezone.now(),
                origin=access.origin_of(request),
            )
        except ValidationError as fault:
            form.blame(fault)
        else:
            messages.success(request, f"{source.name} costs ${source.cost_per_lead:,} a lead from now on.")
            return redirect("estimates-change-lead-sources")
    sources = LeadSource.objects.visible_to(request.user)
    context = {"section": "leads", "form": form, "all_forms": [form], "sources": sources, "now": timezone.now()}
    return render(request, "estimates/lead_sources.html", context)
