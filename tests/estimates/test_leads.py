"""Leads: what must be there, which stage follows which, and what is on record of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from estimates.house import ComplaintRecord
from estimates.leads import LeadChanged, lead_change, lead_complaints, lead_move, lead_source_put, lead_take
from estimates.models import ActivityEntry, House, Lead, LeadMove, LeadSource, LeadStage, LostReason, User
from estimates.models.frozen import Frozen
from estimates.models.lead import LEAD_MOVES, WITH_HOUSE, LeadComplaint

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)
COLD = ComplaintRecord(room="North bedroom", words="Cold and drafty.")


@pytest.fixture
def source(owner: User) -> LeadSource:
    return lead_source_put(name="Yard signs", cost_per_lead=Decimal("12.50"), by=owner, now=NOW)


@pytest.fixture
def take(source: LeadSource, salesperson: User) -> Callable[..., Lead]:
    def taken(**changes: Any) -> Lead:
        given = {
            "person": "Wren Halloran",
            "phone": "(555) 555-0142",
            "state": "NY",
            "source": source,
            "seller": salesperson,
            "by": salesperson,
            "now": NOW,
        }
        return lead_take(**{**given, **changes})

    return taken


@pytest.fixture
def brought(take: Callable[..., Lead], house: House, salesperson: User) -> Callable[[LeadStage], Lead]:
    """A lead at a stage, brought there by the shortest way."""
    ways: dict[LeadStage, list[LeadStage]] = {LeadStage.NEW: []}
    for stage in LeadStage:
        for following in sorted(LEAD_MOVES[stage]):
            ways.setdefault(following, [*ways[stage], following])

    def bring(stage: LeadStage) -> Lead:
        lead = take(house=house)
        for step in ways[stage]:
            reason = LostReason.PRICE if step == LeadStage.LOST else ""
            lead = lead_move(lead=lead, to=step, lost_reason=reason, by=salesperson, now=NOW)
        return lead

    return bring


# --- Taking ----------------------------------------------------------------------------------------------------------


def test_a_lead_is_taken_with_its_complaints_its_cost_and_its_first_stage(
    take: Callable[..., Lead], salesperson: User
) -> None:
    damp = ComplaintRecord(room="Cellar", words="Damp.")
    lead = take(complaints=[COLD, damp], consent=True, next_step="Call back", next_step_on=date(2026, 3, 4))
    lead.refresh_from_db()
    assert (lead.stage, lead.cost, lead.version, lead.taken_at) == ("new", Decimal("12.50"), 1, NOW)
    assert lead_complaints(lead) == (COLD, damp)
    assert lead.may_be_called
    assert lead.consent_given_at == NOW
    (move,) = LeadMove.objects.all()
    assert (move.stage, move.at, move.by) == ("new", NOW, salesperson)
    entry = ActivityEntry.objects.get(action="lead.take")
    assert entry.after is not None
    assert entry.after["complaints"] == [{"room": "North bedroom", "words": "Cold and drafty."},
                                         {"room": "Cellar", "words": "Damp."}]  # fmt: skip


def test_a_later_price_of_the_source_does_not_change_what_a_lead_cost(
    take: Callable[..., Lead], source: LeadSource, owner: User
) -> None:
    lead = take()
    lead_source_put(name="Yard signs", cost_per_lead=Decimal("99.00"), by=owner, now=NOW)
    lead.refresh_from_db()
    assert (lead.cost, lead.source.cost_per_lead) == (Decimal("12.50"), Decimal("99.00"))
    assert take().cost == Decimal("99.00")


@pytest.mark.parametrize(
    ("change", "field", "wanted"),
    [
        ({"person": ""}, "person", "Enter the name"),
        ({"phone": ""}, "phone", "a telephone number or an e-mail address"),
        ({"phone": "call me"}, "phone", "digits"),
        ({"email": "nobody"}, "email", "valid email"),
        ({"state": ""}, "state", "two capital letters"),
        ({"state": "ny"}, "state", "two capital letters"),
        ({"postal_code": "1234"}, "postal_code", "five digits"),
        ({"next_step": "Call back"}, "next_step_on", "Enter the day"),
        ({"next_step_on": date(2026, 3, 4)}, "next_step", "Enter the next step"),
        ({"complaints": [ComplaintRecord(room="", words="Cold.")]}, "complaints", r"complaints\[0\].room: is empty"),
        ({"wishes": "many"}, "wishes", "no such field"),
    ],
)
def test_a_wrong_field_is_named_with_what_to_enter_and_nothing_is_written(
    take: Callable[..., Lead], change: dict[str, Any], field: str, wanted: str
) -> None:
    with pytest.raises(ValidationError, match=wanted) as refused:
        take(**change)
    assert list(refused.value.message_dict) == [field]
    assert not Lead.objects.exists()
    assert not LeadComplaint.objects.exists()
    assert not ActivityEntry.objects.filter(action="lead.take").exists()


def test_a_lead_without_source_or_seller_says_so(salesperson: User) -> None:
    with pytest.raises(ValidationError) as refused:
        lead_take(person="Wren Halloran", email="wren@house.example", state="NY", by=salesperson, now=NOW)
    assert refused.value.message_dict == {
        "source": ["Enter where the lead came from."],
        "seller": ["Enter who looks after the lead."],
    }


def test_crew_and_people_who_left_do_not_look_after_leads(
    take: Callable[..., Lead], crew: User, salesperson: User
) -> None:
    with pytest.raises(ValidationError, match="Enter an owner or a salesperson"):
        take(seller=crew)
    salesperson.is_active = False
    salesperson.save()
    with pytest.raises(ValidationError, match="who is with the firm"):
        take()


# --- Changing --------------------------------------------------------------------------------------------------------


def test_a_change_is_recorded_by_the_fields_that_changed(take: Callable[..., Lead], owner: User) -> None:
    lead = take(complaints=[COLD])
    changed = lead_change(
        lead=lead, expected_version=1, person="Wren Halloran", town="Fernhollow", complaints=[], by=owner, now=NOW
    )
    assert (changed.version, changed.town, lead_complaints(changed)) == (2, "Fernhollow", ())
    entry = ActivityEntry.objects.latest("id")
    assert (entry.action, entry.before) == (
        "lead.change",
        {"town": "", "complaints": [{"room": "North bedroom", "words": "Cold and drafty."}]},
    )
    assert entry.after == {"town": "Fernhollow", "complaints": []}


def test_the_same_values_again_write_nothing(take: Callable[..., Lead], owner: User) -> None:
    lead = take(complaints=[COLD], consent=True)
    before = ActivityEntry.objects.count()
    same = lead_change(
        lead=lead, expected_version=1, person=lead.person, complaints=[COLD], consent=True, by=owner, now=NOW
    )
    assert same.version == 1
    assert ActivityEntry.objects.count() == before


def test_consent_is_given_and_withdrawn_with_its_time(take: Callable[..., Lead], owner: User) -> None:
    lead = take(consent=False)
    assert not lead.may_be_called
    assert lead.consent_withdrawn_at is None  # what was never given is not withdrawn
    given, gone = NOW + timedelta(days=1), NOW + timedelta(days=2)
    lead = lead_change(lead=lead, expected_version=1, consent=True, by=owner, now=given)
    assert (lead.may_be_called, lead.consent_given_at) == (True, given)
    lead = lead_change(lead=lead, expected_version=2, consent=False, by=owner, now=gone)
    assert (lead.may_be_called, lead.consent_given_at, lead.consent_withdrawn_at) == (False, given, gone)
    again = lead_change(lead=lead, expected_version=3, consent=True, by=owner, now=gone)
    assert (again.may_be_called, again.consent_given_at, again.consent_withdrawn_at) == (True, gone, None)


def test_whoever_saves_on_an_old_version_is_shown_what_is_there_now(take: Callable[..., Lead], owner: User) -> None:
    lead = take()
    lead_change(lead=lead, expected_version=1, town="Fernhollow", by=owner, now=NOW)
    with pytest.raises(LeadChanged, match="save again on version 2") as refused:
        lead_change(lead=lead, expected_version=1, town="Oxbow", by=owner, now=NOW)
    assert refused.value.stored.town == "Fernhollow"


# --- Moving ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("stage", LeadStage)
@pytest.mark.parametrize("to", LeadStage)
def test_a_lead_moves_as_the_table_says_and_no_other_way(
    brought: Callable[[LeadStage], Lead], owner: User, stage: LeadStage, to: LeadStage
) -> None:
    lead = brought(stage)
    moves = LeadMove.objects.filter(lead=lead).count()
    reason = LostReason.LATER if to == LeadStage.LOST else ""
    later = NOW + timedelta(days=1)
    if to in LEAD_MOVES[stage]:
        moved = lead_move(lead=lead, to=to, lost_reason=reason, by=owner, now=later, note="As said.")
        moved.refresh_from_db()
        assert (moved.stage, moved.lost_reason) == (to, reason)
        last = LeadMove.objects.filter(lead=lead).latest("at")
        assert (last.stage, last.at, last.by, last.note) == (to, later, owner, "As said.")
        entry = ActivityEntry.objects.latest("id")
        assert (entry.action, entry.before) == ("lead.move", {"stage": stage})
    else:
        with pytest.raises(ValidationError, match=f"A lead that is {stage} cannot become {to}"):
            lead_move(lead=lead, to=to, lost_reason=reason, by=owner, now=later)
        assert LeadMove.objects.filter(lead=lead).count() == moves


def test_a_lost_lead_needs_one_of_the_reasons_and_no_other_lead_has_one(
    brought: Callable[[LeadStage], Lead], owner: User
) -> None:
    lead = brought(LeadStage.PROPOSED)
    for reason, to in (("", LeadStage.LOST), ("weather", LeadStage.LOST), (LostReason.PRICE, LeadStage.WON)):
        with pytest.raises(ValidationError) as refused:
            lead_move(lead=lead, to=to, lost_reason=reason, by=owner, now=NOW)
        assert list(refused.value.message_dict) == ["lost_reason"]
    lead.refresh_from_db()
    assert lead.stage == LeadStage.PROPOSED


def test_an_assessed_lead_needs_its_house(take: Callable[..., Lead], house: House, owner: User) -> None:
    lead = take()
    with pytest.raises(ValidationError, match="Enter the house"):
        lead_move(lead=lead, to=LeadStage.ASSESSED, by=owner, now=NOW)
    assert lead_move(lead=lead, to=LeadStage.ASSESSED, house=house, by=owner, now=NOW).house == house


def test_a_lead_does_not_move_before_its_last_move(take: Callable[..., Lead], owner: User) -> None:
    with pytest.raises(ValidationError, match="Enter a later time"):
        lead_move(lead=take(), to=LeadStage.VISIT_SET, by=owner, now=NOW - timedelta(seconds=1))


def test_a_move_is_written_once(brought: Callable[[LeadStage], Lead]) -> None:
    move = LeadMove.objects.get(lead=brought(LeadStage.NEW))
    with pytest.raises(Frozen):
        move.save()
    with pytest.raises(Frozen):
        LeadMove.objects.all().update(note="later")


@pytest.mark.parametrize(
    "change",
    [
        {"stage": "sleeping"},
        {"stage": "lost"},
        {"lost_reason": "price"},
        {"lost_reason": "weather", "stage": "lost"},
        {"phone": "", "email": ""},
        {"next_step": "Call"},
        {"consent_withdrawn_at": NOW},
        {"consent_given_at": NOW, "consent_withdrawn_at": NOW - timedelta(days=1)},
        {"cost": Decimal("-0.01")},
        {"version": 0},
        *({"stage": stage, "house": None} for stage in WITH_HOUSE),
    ],
)
def test_the_database_itself_refuses_what_must_never_be(take: Callable[..., Lead], change: dict[str, Any]) -> None:
    lead = take()
    with pytest.raises(IntegrityError), transaction.atomic():
        Lead.objects.filter(pk=lead.pk).update(**change)


# --- Sources and access ----------------------------------------------------------------------------------------------


def test_a_source_with_a_cost_below_nothing_or_without_a_name_is_refused(owner: User) -> None:
    with pytest.raises(ValidationError, match="0 or more"):
        lead_source_put(name="Fair", cost_per_lead=Decimal(-1), by=owner, now=NOW)
    with pytest.raises(ValidationError, match="Enter the name of the source"):
        lead_source_put(name="", cost_per_lead=Decimal(1), by=owner, now=NOW)


def test_the_same_source_again_writes_nothing(source: LeadSource, owner: User) -> None:
    assert lead_source_put(name="Yard signs", cost_per_lead=Decimal("12.50"), by=owner, now=NOW) == source
    assert ActivityEntry.objects.filter(action="lead_source.put").count() == 1


def test_the_office_sees_every_lead_and_the_crew_none(
    take: Callable[..., Lead], owner: User, scheduler: User, bookkeeper: User, salesperson: User, crew: User
) -> None:
    take(complaints=[COLD])
    take(seller=owner)
    for table, count in ((Lead, 2), (LeadMove, 2), (LeadComplaint, 1), (LeadSource, 1)):
        for user in (owner, scheduler, bookkeeper, salesperson):
            assert table.objects.visible_to(user).count() == count
        assert not table.objects.visible_to(crew).exists()
    salesperson.is_active = False
    assert not Lead.objects.visible_to(salesperson).exists()
