"""What is done with a lead: taking, changing and moving it, logging a call, and making its house."""

from __future__ import annotations

import uuid
from typing import Any, cast

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.http import require_http_methods, require_POST

from estimates import access
from estimates.activity import object_type
from estimates.call_log import CallRefused, NextStep, call_log
from estimates.command import Conflict, command_run
from estimates.forms.leads import FEWEST_ROWS, CallForm, Complaints, LeadForm, MoveForm
from estimates.houses import house_from_lead, houses_alike
from estimates.lead_words import differences
from estimates.leads import LeadChanged, lead_change, lead_complaints, lead_move, lead_take, leads_alike
from estimates.models import (
    ActivityEntry,
    Assessment,
    CallOutcome,
    CallPurpose,
    EstimateRevision,
    House,
    Lead,
    LeadStage,
)
from estimates.models.lead import LEAD_MOVES, SELLERS, WITH_HOUSE
from estimates.records import write_record
from estimates.views.leads import MOST_ALIKE, MOVE_WORDS, typed_place

ROOMS = "rooms"
"""Prefix of the rows of complaints."""

either_way = require_http_methods(["GET", "HEAD", "POST"])


def lead_link(lead: Lead) -> str:
    """Return the address of the page of a lead."""
    return reverse("estimates-show-lead", kwargs={"code": lead.code})


# --- Taking and changing ---------------------------------------------------------------------------------------------


@either_way
@access.action("lead.write")
def take_lead(request: HttpRequest) -> HttpResponse:
    """Take a new lead; the same form sent twice takes one."""
    user, now = access.signed_in(request), timezone.now()
    if request.method != "POST":
        last = Lead.objects.visible_to(user).only("state").first()
        initial: dict[str, Any] = {"key": uuid.uuid4(), "state": last.state if last else ""}
        if user.role in SELLERS:
            initial["seller"] = user.code
        return _lead_page(request, LeadForm(initial=initial), Complaints(prefix=ROOMS), lead=None)
    form, rooms = LeadForm(request.POST), Complaints(request.POST, prefix=ROOMS)
    if "add_room" in request.POST:
        return _lead_page(request, *_another_room(request, lead=None), lead=None)
    if not _whole(form, rooms):
        return _lead_page(request, form, rooms, lead=None)
    fields: dict[str, Any] = {**form.typed, "complaints": rooms.records}
    try:
        answer = command_run(
            user=user,
            key=form.cleaned_data["key"] or uuid.uuid4(),
            body={name: value for name, value in request.POST.items() if name != "csrfmiddlewaretoken"},
            work=lambda: _taken(lead_take(by=user, now=now, origin=access.origin_of(request), **fields)),
        )
    except ValidationError as fault:
        form.blame(fault)
        return _lead_page(request, form, rooms, lead=None)
    except Conflict:
        _retype(form, "key", str(uuid.uuid4()))
        form.add_error(
            None,
            "This form was already sent with other words, and that lead was taken. Save again only if this is another "
            "person; otherwise change the one in the list.",
        )
        return _lead_page(request, form, rooms, lead=None, status=409)
    lead = Lead.objects.get(code=answer["lead"])
    if "measure" in request.POST:
        messages.success(request, f"{lead.person} is taken.")
        return _to_house(request, lead, None)
    step = "Set the visit, or log a call." if lead.phone else "Set the visit next."
    messages.success(request, f"{lead.person} is taken. {step}")
    return redirect(lead_link(lead))


def _taken(lead: Lead) -> dict[str, str]:
    return {"lead": str(lead.code)}


@either_way
@access.action("lead.write")
def change_lead(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Change a lead; a second saver sees both versions and loses nothing."""
    lead = access.get_visible_or_404(request.user, Lead, code, "lead.write")
    zone = None if lead.stage == LeadStage.NEW else lead.clock
    if request.method != "POST":
        rows = [write_record(complaint) for complaint in lead_complaints(lead)]
        rooms = Complaints(initial=rows, prefix=ROOMS)
        rooms.extra = 0 if len(rows) < FEWEST_ROWS else 1
        return _lead_page(request, LeadForm(initial=LeadForm.initial_of(lead), zone=zone), rooms, lead=lead)
    if "add_room" in request.POST:
        return _lead_page(request, *_another_room(request, lead=lead), lead=lead)
    form, rooms = LeadForm(request.POST, zone=zone), Complaints(request.POST, prefix=ROOMS)
    if not _whole(form, rooms):
        return _lead_page(request, form, rooms, lead=lead)
    fields: dict[str, Any] = {**form.typed, "complaints": rooms.records}
    try:
        changed = lead_change(
            lead=lead,
            expected_version=form.cleaned_data["version"] or 0,
            by=access.signed_in(request),
            now=timezone.now(),
            origin=access.origin_of(request),
            **fields,
        )
    except ValidationError as fault:
        form.blame(fault)
        return _lead_page(request, form, rooms, lead=lead)
    except LeadChanged as fault:
        return _lead_page(request, form, rooms, lead=fault.stored, status=409, both=_both(form, fault.stored, fields))
    said = "Nothing was changed" if changed.version == form.cleaned_data["version"] else "The changes are saved"
    messages.success(request, f"{said}: {changed.person}.")
    return redirect(lead_link(changed))


def _both(form: LeadForm | CallForm, stored: Lead, fields: dict[str, Any]) -> dict[str, Any]:
    """What differs between the stored lead and what was typed; the next save is on the stored version."""
    _retype(form, "version", str(stored.version))
    typed = dict(fields)
    if "complaints" in typed:
        typed["complaints"] = [write_record(complaint) for complaint in fields["complaints"]]
    complaints = [write_record(complaint) for complaint in lead_complaints(stored)]
    last = ActivityEntry.objects.of(object_type(stored), stored.code).select_related("actor").first()
    return {"rows": differences(stored, typed, complaints), "last": last}


def _retype(form: LeadForm | CallForm, name: str, value: str) -> None:
    """Change what a hidden box holds on a page that is shown again with everything that was typed."""
    data = cast("Any", form.data).copy()
    data[name] = value
    form.data = data


def _whole(form: LeadForm, rooms: Any) -> bool:
    """Whether both parts of the page are filled in well; both are always looked at, so that every fault is shown."""
    return all([form.is_valid(), rooms.is_valid()])


def _another_room(request: HttpRequest, *, lead: Lead | None) -> tuple[LeadForm, Any]:
    """The page as typed, unchecked, with one row for a room more."""
    form = LeadForm(initial=request.POST.dict(), zone=lead.clock if lead and lead.stage != LeadStage.NEW else None)
    typed = Complaints(request.POST, prefix=ROOMS)
    rows = [{name: part[name].value() or "" for name in ("room", "words")} for part in typed.forms]
    rooms = Complaints(initial=[row for row in rows if any(row.values())], prefix=ROOMS)
    rooms.extra = 1
    return form, rooms


def _lead_page(
    request: HttpRequest,
    form: LeadForm,
    rooms: Any,
    *,
    lead: Lead | None,
    status: int = 200,
    both: dict[str, Any] | None = None,
) -> HttpResponse:
    alike = []
    if form.is_bound and lead is None:
        alike = list(leads_alike(user=access.signed_in(request), **typed_place(form.data))[:MOST_ALIKE])
    faulty = form.faulty or (rooms.is_bound and not rooms.is_valid())
    context = {
        "section": "leads",
        "form": form,
        "rooms": rooms,
        "all_forms": [form, *rooms.forms],
        "faulty": faulty,
        "lead": lead,
        "alike": alike,
        "both": both,
    }
    return render(request, "estimates/lead_form.html", context, status=status)


# --- Moving ----------------------------------------------------------------------------------------------------------


@either_way
@access.action("lead.write")
def move_lead(request: HttpRequest, code: uuid.UUID, stage: str) -> HttpResponse:
    """Ask what has to be known for a stage, and move the lead there; a second tap finds it moved and says so."""
    lead = access.get_visible_or_404(request.user, Lead, code, "lead.write")
    if stage not in LeadStage.values or stage == LeadStage.NEW:
        raise Http404
    to = LeadStage(stage)
    if lead.stage == to:
        messages.info(request, f"{lead.person} is already {to.label.lower()}.")
        return redirect(lead_link(lead))
    if to not in LEAD_MOVES[LeadStage(lead.stage)] or (to in WITH_HOUSE and lead.house_id is None):
        return _cannot_move(request, lead, to)
    form = MoveForm(request.POST if request.method == "POST" else None, stage=to, zone=lead.clock)
    if request.method == "POST" and form.is_valid():
        try:
            moved = lead_move(
                lead=lead,
                to=to,
                by=access.signed_in(request),
                now=timezone.now(),
                origin=access.origin_of(request),
                **form.cleaned_data,
            )
        except ValidationError as fault:
            form.blame(fault)
        else:
            messages.success(request, _moved_words(moved))
            return redirect(lead_link(moved))
    context = {
        "section": "leads",
        "lead": lead,
        "form": form,
        "all_forms": [form],
        "title": MOVE_WORDS[to],
        "zone": lead.clock,
    }
    return render(request, "estimates/lead_move.html", context)


def _cannot_move(request: HttpRequest, lead: Lead, to: LeadStage) -> HttpResponse:
    if to in WITH_HOUSE and lead.house_id is None and to in LEAD_MOVES[LeadStage(lead.stage)]:
        words = f"A lead that is {to.label.lower()} has a house. Make the house first."
    else:
        now = lead.get_stage_display().lower()
        words = f"{lead.person} is {now} and cannot become {to.label.lower()}. Nothing was changed."
    messages.warning(request, words)
    return redirect(lead_link(lead))


def _moved_words(lead: Lead) -> str:
    following = {
        LeadStage.VISIT_SET: "The visit stands on the desk of that day.",
        LeadStage.ASSESSED: "The house can be priced next.",
        LeadStage.PROPOSED: "Plan the day to ask for the answer.",
        LeadStage.WON: "The job can be planned.",
        LeadStage.LOST: "Nothing more is due.",
        LeadStage.CANCELLED: "Nothing more is due.",
    }
    return f"{lead.person} is now {lead.get_stage_display().lower()}. {following[LeadStage(lead.stage)]}"


# --- Calls -----------------------------------------------------------------------------------------------------------


@either_way
@access.action("lead.write")
def log_call(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Log a call; a sales call that the rules forbid is refused with the rule, and what was typed stays."""
    lead = access.get_visible_or_404(request.user, Lead, code, "lead.write")
    now = timezone.now()
    if request.method != "POST":
        initial = {
            "at": now,
            "next_step": lead.next_step,
            "next_step_on": lead.next_step_on,
            "version": lead.version,
            "key": uuid.uuid4(),
        }
        return _call_page(request, lead, CallForm(initial=initial, zone=lead.clock))
    form = CallForm(request.POST, zone=lead.clock)
    if not form.is_valid():
        return _call_page(request, lead, form)
    given = form.cleaned_data
    step = NextStep(given["next_step"], given["next_step_on"], given["version"])
    same = (step.words, step.on) == (lead.next_step, lead.next_step_on)

    def work() -> dict[str, Any]:
        entry = call_log(
            lead=lead,
            purpose=CallPurpose(given["purpose"]),
            outcome=CallOutcome(given["outcome"]),
            at=given["at"],
            by=access.signed_in(request),
            now=now,
            note=given["note"],
            next_step=None if same else step,
            origin=access.origin_of(request),
        )
        return {"warnings": entry.warnings}

    try:
        body = {name: value for name, value in request.POST.items() if name != "csrfmiddlewaretoken"}
        answer = command_run(user=access.signed_in(request), key=given["key"], body=body, work=work)
    except ValidationError as fault:
        form.blame(fault)
        return _call_page(request, lead, form)
    except CallRefused as fault:
        form.add_error(None, "This sales call may not be logged.")
        return _call_page(request, lead, form, refused=fault.reasons, status=409)
    except LeadChanged as fault:
        fields = {"next_step": step.words, "next_step_on": step.on}
        return _call_page(request, fault.stored, form, both=_both(form, fault.stored, fields), status=409)
    except Conflict:
        form.add_error(None, "This call was already logged, with other words. It stands below the lead.")
        return _call_page(request, lead, form, status=409)
    messages.success(request, "The call is logged.")
    for warning in answer["warnings"]:
        messages.warning(request, f"Mind the hours: {warning}")
    return redirect(lead_link(lead))


def _call_page(
    request: HttpRequest,
    lead: Lead,
    form: CallForm,
    *,
    status: int = 200,
    refused: tuple[str, ...] = (),
    both: dict[str, Any] | None = None,
) -> HttpResponse:
    context = {
        "section": "leads",
        "lead": lead,
        "form": form,
        "all_forms": [form],
        "refused": refused,
        "both": both,
        "zone": lead.clock,
        "now": timezone.now(),
    }
    return render(request, "estimates/lead_call.html", context, status=status)


# --- The house -------------------------------------------------------------------------------------------------------


@require_POST
@access.action("lead.write")
def make_house(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Make the house of a lead, or link the lead to the one at its address that was chosen."""
    lead = access.get_visible_or_404(request.user, Lead, code, "lead.write")
    user = access.signed_in(request)
    chosen = request.POST.get("house", "")
    there = houses_alike(user=user, street=lead.street, town=lead.town, state=lead.state)
    house = next((house for house in there if str(house.code) == chosen), None)
    if chosen and house is None:
        messages.warning(request, "That house is not at this address any more. Nothing was changed; choose again.")
        return redirect(lead_link(lead))
    return _to_house(request, lead, house)


def _to_house(request: HttpRequest, lead: Lead, house: House | None) -> HttpResponse:
    """Give a lead its house and go on there: to the first figures where nothing is measured, else to what is."""
    user = access.signed_in(request)
    if house is None and lead.house_id is None and "measure" in request.POST:
        there = houses_alike(user=user, street=lead.street, town=lead.town, state=lead.state)
        if there:
            messages.info(request, "A house is here at this address already. Choose whether this lead is about it.")
            return redirect(lead_link(lead))
    try:
        made = house_from_lead(lead=lead, house=house, by=user, now=timezone.now(), origin=access.origin_of(request))
    except ValidationError as fault:
        messages.warning(request, f"{' '.join(fault.messages)} Change the lead, then make the house.")
        return redirect(lead_link(lead))
    link = format_html('<a href="{}">{}</a>', lead_link(lead), lead.person)
    messages.success(request, format_html("{} has a house: {}. Measure it next.", link, made.name))
    known = Assessment.objects.filter(house=made).exists() or EstimateRevision.objects.filter(house=made).exists()
    return redirect("estimates-show-assessment" if known else "estimates-enter-assessment", code=made.code)
