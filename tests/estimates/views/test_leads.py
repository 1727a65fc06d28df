"""Pages of leads: taking one, the list and its filters, changing, moving, calls, the house, and the desk of the day."""

from __future__ import annotations

import html
import re
import uuid
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.test import Client

from estimates.forms.leads import MomentField
from estimates.house import ComplaintRecord
from estimates.leads import lead_change, lead_complaints, lead_move, lead_source_put, lead_take
from estimates.models import CallEntry, EstimateRevision, House, Lead, LeadSource, LeadStage, Role, User
from estimates.proposals import proposal_draft, proposal_issue
from estimates.rules_table import rule_put

pytestmark = pytest.mark.django_db

Browse = Callable[[User], Client]
EAST = ZoneInfo("America/New_York")
NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)  # Monday, 9:30 in the east
EMPTY_ROOMS = {
    "rooms-TOTAL_FORMS": "2",
    "rooms-INITIAL_FORMS": "0",
    "rooms-0-room": "",
    "rooms-0-words": "",
    "rooms-1-room": "",
    "rooms-1-words": "",
}


@pytest.fixture(autouse=True)
def monday() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def source(owner: User) -> LeadSource:
    return lead_source_put(name="Yard signs", cost_per_lead=Decimal("12.50"), by=owner, now=NOW)


@pytest.fixture
def take(source: LeadSource, salesperson: User) -> Callable[..., Lead]:
    def taken(**changes: Any) -> Lead:
        given = {"person": "Wren Halloran", "phone": "607-555-0142", "state": "NY", "source": source}
        return lead_take(**{**given, "seller": salesperson, "by": salesperson, "now": NOW, **changes})

    return taken


@pytest.fixture
def typed(source: LeadSource, salesperson: User) -> dict[str, str]:
    """A form that is filled in well."""
    return {
        **EMPTY_ROOMS,
        "key": str(uuid.uuid4()),
        "person": "Wren Halloran",
        "phone": "607-555-0142",
        "email": "wren@example.test",
        "consent": "on",
        "street": "14 Kiln Row",
        "town": "Fernhollow",
        "state": "ny",
        "source": str(source.code),
        "seller": str(salesperson.code),
        "next_step": "Call back",
        "next_step_on": "2026-03-05",
        "rooms-0-room": "North bedroom",
        "rooms-0-words": "Cold and drafty.",
    }


@pytest.fixture
def hours(owner: User) -> None:
    rule_put(
        jurisdiction="US",
        topic="calls.solicitation_hours",
        valid_from=date(2020, 1, 1),
        valid_to=None,
        value={"from": "08:00", "to": "21:00"},
        text="No sales call before 8 in the morning or after 9 in the evening.",
        source="16 CFR 310.4(c)",
        checked_on=date(2026, 1, 1),
        by=owner,
        now=NOW,
    )


def words(response: Any) -> str:
    text = re.sub(r"<(script|style).*?</\1>", " ", response.content.decode(), flags=re.S)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", text))).replace("\u00a0", " ")


def title(response: Any) -> str:
    found = re.search(r"<title>(.*?)</title>", response.content.decode(), re.S)
    assert found is not None
    return html.unescape(found.group(1))


def hidden(response: Any, name: str) -> str:
    (box,) = re.findall(rf'<input type="hidden" name="{name}"[^>]*>', response.content.decode())
    return re.findall(r'value="([^"]*)"', box)[0]


def at(lead: Lead, rest: str = "") -> str:
    return f"/leads/{lead.code}/{rest}"


# --- Taking ----------------------------------------------------------------------------------------------------------


def test_a_lead_is_taken_and_the_next_step_is_named(
    salesperson: User, signed_in: Browse, typed: dict[str, str], source: LeadSource
) -> None:
    response = signed_in(salesperson).post("/leads/take/", typed, follow=True)
    lead = Lead.objects.get()
    assert response.redirect_chain == [(at(lead), 302)]
    assert "Wren Halloran is taken. Set the visit, or log a call." in words(response)
    assert (lead.state, lead.seller, lead.source, lead.taken_at) == ("NY", salesperson, source, NOW)
    assert (lead.next_step, lead.next_step_on, lead.may_be_called) == ("Call back", date(2026, 3, 5), True)
    assert lead_complaints(lead) == (ComplaintRecord(room="North bedroom", words="Cold and drafty."),)


def test_the_form_knows_the_seller_and_the_state_already(
    salesperson: User, signed_in: Browse, take: Callable[..., Lead]
) -> None:
    take(state="MD")
    text = signed_in(salesperson).get("/leads/take/").content.decode()
    assert f'<option value="{salesperson.code}" selected>' in text
    assert re.search(r'name="state" value="MD"', text)


def test_the_same_form_twice_takes_one_lead(salesperson: User, signed_in: Browse, typed: dict[str, str]) -> None:
    client = signed_in(salesperson)
    assert (
        client.post("/leads/take/", typed).headers["Location"] == client.post("/leads/take/", typed).headers["Location"]
    )
    assert Lead.objects.count() == 1


def test_a_form_that_was_sent_and_then_changed_keeps_its_words_and_can_be_sent_again(
    salesperson: User, signed_in: Browse, typed: dict[str, str]
) -> None:
    client = signed_in(salesperson)
    client.post("/leads/take/", typed)
    response = client.post("/leads/take/", {**typed, "person": "Bram Ashdown"})
    assert response.status_code == 409
    assert title(response).startswith("Error: Take a lead")
    assert 'value="Bram Ashdown"' in response.content.decode()
    again = {**typed, "person": "Bram Ashdown", "key": hidden(response, "key")}
    assert client.post("/leads/take/", again).status_code == 302
    assert set(Lead.objects.values_list("person", flat=True)) == {"Wren Halloran", "Bram Ashdown"}


def test_every_fault_is_named_at_once_and_nothing_that_was_typed_is_lost(
    salesperson: User, signed_in: Browse, typed: dict[str, str]
) -> None:
    bad = {**typed, "person": "", "phone": "", "email": "", "state": "ZZ", "next_step_on": "", "rooms-1-words": "Damp."}
    response = signed_in(salesperson).post("/leads/take/", bad)
    text, page = words(response), response.content.decode()
    assert response.status_code == 200
    assert title(response).startswith("Error: ")
    for sentence in (
        "Enter the name",
        "Enter a telephone number or an e-mail address",
        "Enter the two letters of the state, such as NY",
        "Enter the day of the next step",
        "Enter the room, or “whole house”",
    ):
        assert text.count(sentence) == 2, sentence  # in the summary and beside the field
    for kept in ("14 Kiln Row", "Cold and drafty.", "Damp.", "Call back"):
        assert f'value="{kept}"' in page
    assert 'href="#id_rooms-1-room"' in page
    assert not Lead.objects.exists()


@pytest.mark.parametrize(
    ("name", "value", "sentence"),
    [
        ("phone", "call me", "Enter a telephone number: digits"),
        ("email", "nobody", "Enter the e-mail address, such as name@example.com"),
        ("postal_code", "1234", "Enter five digits"),
        ("next_step_on", "soon", "Enter a day, such as 2026-03-05"),
        ("source", "", "Choose the source"),
        ("seller", "00000000-0000-4000-8000-000000000000", "Choose the seller from the list"),
        ("zone", "Europe/Berlin", "Choose the clock of the house from the list"),
        ("person", "x" * 81, "at most 80 characters"),
    ],
)
def test_a_wrong_field_says_what_to_enter(
    salesperson: User, signed_in: Browse, typed: dict[str, str], name: str, value: str, sentence: str
) -> None:
    response = signed_in(salesperson).post("/leads/take/", {**typed, name: value})
    assert sentence in words(response)
    assert not Lead.objects.exists()


def test_a_room_can_be_added_without_a_script(salesperson: User, signed_in: Browse, typed: dict[str, str]) -> None:
    response = signed_in(salesperson).post("/leads/take/", {**typed, "rooms-1-room": "Cellar", "add_room": "1"})
    page = response.content.decode()
    assert page.count('role="group" aria-label="Room') == 3
    for kept in ("Wren Halloran", "North bedroom", "Cellar", typed["key"]):
        assert f'value="{kept}"' in page
    assert re.search(r'<input type="checkbox" name="consent"[^>]*checked', page)
    assert not Lead.objects.exists()


def test_somebody_alike_is_a_hint_with_a_link_and_no_stop(
    salesperson: User, signed_in: Browse, typed: dict[str, str], take: Callable[..., Lead]
) -> None:
    known, client = take(person="Wren H.", phone="(607) 555 0142"), signed_in(salesperson)
    asked = {"phone": "607.555.0142", "street": "", "town": "", "state": "ny"}
    hint = client.post("/leads/alike/", asked)
    assert "Maybe this is somebody we know" in words(hint)
    assert at(known) in hint.content.decode()
    assert client.post("/leads/alike/", {**asked, "phone": "607.555.0143"}).content.decode().strip() == ""
    assert at(known) in client.post("/leads/take/", {**typed, "person": ""}).content.decode()
    client.post("/leads/take/", typed)
    taken = Lead.objects.get(person="Wren Halloran")
    assert at(known) in client.get(at(taken)).content.decode()


def test_without_sources_the_page_says_where_to_enter_one(salesperson: User, signed_in: Browse) -> None:
    assert "No sources yet" in words(signed_in(salesperson).get("/leads/take/"))


# --- The list --------------------------------------------------------------------------------------------------------


@pytest.fixture
def crowd(take: Callable[..., Lead], owner: User, salesperson: User) -> dict[str, Lead]:
    neighbour = lead_source_put(name="Neighbour", cost_per_lead=Decimal("0.00"), by=owner, now=NOW)
    late, soon = NOW.date() - timedelta(days=3), NOW.date() + timedelta(days=3)
    people = {
        "late": take(person="Late Lorne", next_step="Call", next_step_on=late),
        "soon": take(person="Soon Sorrel", next_step="Call", next_step_on=soon, seller=owner, source=neighbour),
        "none": take(person="None Nettle", phone="607-555-0177", town="Fernhollow"),
        "lost": take(person="Lost Larch", next_step="Call", next_step_on=late),
    }
    people["lost"] = lead_move(
        lead=people["lost"], to=LeadStage.LOST, lost_reason="price", by=salesperson, now=NOW + timedelta(hours=1)
    )
    return people


def names(response: Any) -> list[str]:
    return re.findall(r'<a href="/leads/[0-9a-f-]{36}/">([^<]+)</a>', response.content.decode())


def test_the_list_shows_what_is_due_first_and_leads_without_a_next_step_last(
    salesperson: User, signed_in: Browse, crowd: dict[str, Lead]
) -> None:
    client = signed_in(salesperson)
    assert names(client.get("/leads/")) == ["Lost Larch", "Late Lorne", "Soon Sorrel", "None Nettle"]
    assert names(client.get("/leads/?sort=-next_step_on")) == ["Soon Sorrel", "Lost Larch", "Late Lorne", "None Nettle"]
    text = words(client.get("/leads/"))
    assert "overdue 3 days" in text
    assert text.count("overdue 3 days") == 1  # of the lost one nothing is due any more
    assert "4 leads" in text


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("stage=open", {"late", "soon", "none"}),
        ("stage=lost", {"lost"}),
        ("overdue=1", {"late"}),
        ("find=0177", {"none"}),
        ("find=(607)+555+0177", {"none"}),
        ("find=fern+nettle", {"none"}),
        ("stage=nonsense&seller=nonsense&source=7", {"late", "soon", "none", "lost"}),
    ],
)
def test_filters_in_the_address_choose_the_leads(
    salesperson: User, signed_in: Browse, crowd: dict[str, Lead], query: str, found: set[str]
) -> None:
    shown = names(signed_in(salesperson).get(f"/leads/?{query}"))
    assert set(shown) == {crowd[name].person for name in found}


def test_seller_and_source_are_filters_too_and_each_is_a_chip_that_can_be_removed(
    owner: User, signed_in: Browse, crowd: dict[str, Lead]
) -> None:
    source = crowd["soon"].source
    response = signed_in(owner).get(f"/leads/?seller={owner.code}&source={source.code}&sort=person")
    page = response.content.decode()
    assert names(response) == ["Soon Sorrel"]
    assert f"Seller: {owner.full_name}" in words(response)
    assert f'href="?source={source.code}&amp;sort=person"' in page
    assert f'href="?seller={owner.code}&amp;sort=person"' in page


def test_a_filter_without_a_match_offers_to_clear_it_and_an_empty_firm_to_begin(
    salesperson: User, signed_in: Browse, take: Callable[..., Lead]
) -> None:
    client = signed_in(salesperson)
    assert "Take the first lead" in words(client.get("/leads/"))
    take()
    assert "No lead matches" in words(client.get("/leads/?find=nobody"))


def test_a_list_of_sixty_takes_as_many_questions_as_one_of_two(
    salesperson: User, signed_in: Browse, take: Callable[..., Lead], django_assert_num_queries: Any
) -> None:
    client = signed_in(salesperson)
    for number in range(2):
        take(person=f"Person {number}")
    with django_assert_num_queries(6):  # session, user, sellers, sources, count, rows
        client.get("/leads/")
    for number in range(2, 60):
        take(person=f"Person {number:02}")
    with django_assert_num_queries(6):
        response = client.get("/leads/?page=2&sort=person")
    assert "60 leads, here 26–50" in words(response)


# --- One lead --------------------------------------------------------------------------------------------------------


def test_the_page_of_a_lead_tells_facts_stages_and_what_was_done(
    salesperson: User, signed_in: Browse, take: Callable[..., Lead], hours: None
) -> None:
    lead = take(consent=True, complaints=[ComplaintRecord(room="Attic", words="Hot in July.")], town="Fernhollow")
    lead_move(
        lead=lead,
        to=LeadStage.VISIT_SET,
        visit_at=datetime(2026, 3, 4, 9, tzinfo=EAST),
        by=salesperson,
        now=NOW + timedelta(days=1),
        note="Dog in the yard.",
    )
    text = words(signed_in(salesperson).get(at(lead)))
    for said in (
        "Hot in July.",
        "Wed 4 Mar 2026, 09:00, Eastern time",
        "09:30, Eastern time",
        "agreed to on Mon 2 Mar 2026",
        "A sales call is allowed now",
        "Yard signs, $12.50 for this lead",
        "Selwyn Tarn moved the lead from new to visit set, the visit Wed 4 Mar 2026, 09:00 – Dog in the yard.",
        "Selwyn Tarn took the lead",
    ):
        assert said in text, said
    assert re.search(r"New Mon 2 Mar 2026, 09:30 Selwyn Tarn 1 Visit set", text)


def test_only_moves_that_may_follow_are_offered(
    salesperson: User, signed_in: Browse, take: Callable[..., Lead], house: House
) -> None:
    client = signed_in(salesperson)
    offered = [("Set the visit", True), ("Mark as assessed", False), ("Mark as won", False), ("Mark as lost", True)]
    text = words(client.get(at(take())))
    assert [(button, button in text) for button, _ in offered] == offered
    assert "Mark as assessed" in words(client.get(at(take(house=house))))


def test_the_scheduler_reads_a_lead_without_buttons_and_costs(
    scheduler: User, signed_in: Browse, take: Callable[..., Lead]
) -> None:
    response = signed_in(scheduler).get(at(take()))
    text = words(response)
    assert response.status_code == 200
    for left_out in ("Log a call", "Change the lead", "Mark as lost", "12.50"):
        assert left_out not in text


def test_nobody_outside_the_office_learns_whether_a_lead_exists(
    crew: User, signed_in: Browse, take: Callable[..., Lead], salesperson: User
) -> None:
    assert signed_in(crew).get(at(take())).status_code == 403
    assert signed_in(salesperson).get(f"/leads/{uuid.uuid4()}/").status_code == 404
    assert signed_in(salesperson).post(f"/leads/{uuid.uuid4()}/house/").status_code == 404


def test_a_state_with_two_clocks_asks_for_a_second_look(
    salesperson: User, signed_in: Browse, take: Callable[..., Lead]
) -> None:
    client = signed_in(salesperson)
    assert "parts of TX keep another clock" in words(client.get(at(take(state="TX"))))
    assert "keep another clock" not in words(client.get(at(take(state="TX", zone="America/Denver"))))


# --- Changing --------------------------------------------------------------------------------------------------------


def test_a_change_is_saved_and_said(salesperson: User, signed_in: Browse, take: Callable[..., Lead]) -> None:
    lead, client = take(complaints=[ComplaintRecord(room="Attic", words="Hot.")]), signed_in(salesperson)
    page = client.get(at(lead, "change/"))
    assert 'value="Attic"' in page.content.decode()
    form = {
        **EMPTY_ROOMS,
        "version": hidden(page, "version"),
        "person": "Wren Halloran-Pike",
        "phone": lead.phone,
        "state": "NY",
        "source": str(lead.source.code),
        "seller": str(salesperson.code),
        "rooms-0-room": "Attic",
        "rooms-0-words": "Hot in July.",
    }
    response = client.post(at(lead, "change/"), form, follow=True)
    assert "The changes are saved: Wren Halloran-Pike" in words(response)
    assert "changed name from Wren Halloran to Wren Halloran-Pike and complaints" in words(response)
    lead.refresh_from_db()
    assert (lead.person, lead.version, lead_complaints(lead)[0].words) == ("Wren Halloran-Pike", 2, "Hot in July.")


def test_a_second_saver_sees_both_versions_and_loses_nothing(
    owner: User, salesperson: User, signed_in: Browse, take: Callable[..., Lead]
) -> None:
    lead, client = take(), signed_in(salesperson)
    form = {
        **EMPTY_ROOMS,
        "version": hidden(client.get(at(lead, "change/")), "version"),
        "person": "Wren Halloran",
        "phone": "607-555-0142",
        "state": "NY",
        "town": "Pellmark",
        "source": str(lead.source.code),
        "seller": str(salesperson.code),
        "rooms-0-room": "Attic",
        "rooms-0-words": "Hot.",
    }
    lead_change(lead=lead, expected_version=1, town="Fernhollow", email="wren@example.test", by=owner, now=NOW)
    response = client.post(at(lead, "change/"), form)
    text, page = words(response), response.content.decode()
    assert response.status_code == 409
    assert title(response).startswith("Error: ")
    assert "Odile Marrow saved first" in text
    assert "Town Fernhollow Pellmark" in text
    assert "E-mail address wren@example.test nothing" in text
    assert "Complaints nothing Attic: Hot." in text
    assert 'value="Pellmark"' in page
    lead.refresh_from_db()
    assert lead.town == "Fernhollow"
    assert client.post(at(lead, "change/"), {**form, "version": hidden(response, "version")}).status_code == 302
    lead.refresh_from_db()
    assert (lead.town, lead.version) == ("Pellmark", 3)


# --- Moving ----------------------------------------------------------------------------------------------------------


def test_a_visit_is_set_by_the_clock_of_the_house(
    salesperson: User, signed_in: Browse, take: Callable[..., Lead]
) -> None:
    lead, client = take(state="CA"), signed_in(salesperson)
    response = client.post(at(lead, "move/visit_set/"), {"visit_at": "2026-03-04T09:00"}, follow=True)
    lead.refresh_from_db()
    assert (lead.stage, lead.visit_at) == ("visit_set", datetime(2026, 3, 4, 17, tzinfo=UTC))
    assert "is now visit set. The visit stands on the desk of that day." in words(response)
    again = client.post(at(lead, "move/visit_set/"), {"visit_at": "2026-03-04T09:00"}, follow=True)
    assert "is already visit set" in words(again)
    assert lead.moves.count() == 2


@pytest.mark.parametrize(
    ("stage", "given", "sentence"),
    [
        ("visit_set", {}, "Enter the day and time of the visit"),
        ("visit_set", {"visit_at": "tomorrow"}, "Enter a day and a time, such as 2026-03-05 14:30"),
        ("visit_set", {"visit_at": "2026-03-08T02:30"}, "the clocks were put forward"),
        ("lost", {"note": "No money this year."}, "Choose the reason"),
        ("lost", {"lost_reason": "bored"}, "Choose the reason from the list"),
    ],
)
def test_a_move_that_lacks_something_says_what(
    salesperson: User,
    signed_in: Browse,
    take: Callable[..., Lead],
    stage: str,
    given: dict[str, str],
    sentence: str,
) -> None:
    lead = take()
    response = signed_in(salesperson).post(at(lead, f"move/{stage}/"), given)
    assert sentence in words(response)
    assert title(response).startswith("Error: ")
    for value in given.values():
        assert value in response.content.decode() or value == "bored"
    lead.refresh_from_db()
    assert lead.stage == "new"


def test_a_lost_lead_tells_why_and_offers_no_move(
    salesperson: User, signed_in: Browse, take: Callable[..., Lead]
) -> None:
    lead = take()
    response = signed_in(salesperson).post(
        at(lead, "move/lost/"), {"lost_reason": "later", "note": "Next spring."}, follow=True
    )
    text = words(response)
    assert "Lost: wants to wait." in text
    assert "moved the lead from new to lost (wants to wait) – Next spring." in text
    assert "Set the visit" not in text


def test_a_move_that_may_not_follow_changes_nothing_and_says_so(
    salesperson: User, signed_in: Browse, take: Callable[..., Lead]
) -> None:
    lead, client = take(), signed_in(salesperson)
    assert "is new and cannot become won" in words(client.post(at(lead, "move/won/"), follow=True))
    assert "Make the house first" in words(client.post(at(lead, "move/assessed/"), follow=True))
    assert client.get(at(lead, "move/new/")).status_code == 404
    assert client.get(at(lead, "move/elsewhere/")).status_code == 404
    lead.refresh_from_db()
    assert lead.stage == "new"


# --- Calls -----------------------------------------------------------------------------------------------------------


def call_form(response: Any, **changes: str) -> dict[str, str]:
    given = {"purpose": "sales", "outcome": "talked", "at": "2026-03-02T09:20", "note": "Wants a price."}
    step = {"next_step": "", "next_step_on": ""}
    return {"version": hidden(response, "version"), "key": hidden(response, "key"), **given, **step, **changes}


def test_a_call_is_logged_with_its_next_step_and_twice_is_once(
    salesperson: User, signed_in: Browse, take: Callable[..., Lead], hours: None
) -> None:
    lead, client = take(consent=True, now=NOW - timedelta(days=2)), signed_in(salesperson)
    form = call_form(client.get(at(lead, "call/")), next_step="Send the papers", next_step_on="2026-03-09")
    for _ in range(2):
        response = client.post(at(lead, "call/"), form, follow=True)
    text = words(response)
    assert "Send the papers" in text
    assert "logged a call (sales call): we talked – Wants a price." in text
    entry = CallEntry.objects.get()
    assert entry.at == datetime(2026, 3, 2, 9, 20, tzinfo=EAST)
    lead.refresh_from_db()
    assert (lead.next_step_on, lead.version) == (date(2026, 3, 9), 2)


def test_a_sales_call_against_the_rule_is_refused_with_the_rule_and_keeps_the_words(
    salesperson: User, signed_in: Browse, take: Callable[..., Lead], hours: None
) -> None:
    lead, client = take(consent=True, now=NOW - timedelta(days=2)), signed_in(salesperson)
    form = call_form(client.get(at(lead, "call/")), at="2026-03-01T21:30")
    response = client.post(at(lead, "call/"), form)
    text = words(response)
    assert response.status_code == 409
    assert title(response).startswith("Error: ")
    assert "No sales call before 8 in the morning or after 9 in the evening. (US: 16 CFR 310.4(c)" in text
    assert "Wants a price." in text
    assert not CallEntry.objects.exists()
    warned = client.post(at(lead, "call/"), {**form, "purpose": "appointment"}, follow=True)
    assert "The call is logged." in words(warned)
    assert "Mind the hours: Sun 21:30 where they live is outside" in words(warned)


def test_a_lead_that_did_not_agree_shows_why_no_sales_call_may_be_made(
    salesperson: User, signed_in: Browse, take: Callable[..., Lead], hours: None
) -> None:
    text = words(signed_in(salesperson).get(at(take())))
    assert "No sales call now" in text
    assert "no consent to sales calls is recorded" in text


def test_a_call_whose_next_step_meets_another_shows_both_and_is_not_logged_yet(
    owner: User, salesperson: User, signed_in: Browse, take: Callable[..., Lead], hours: None
) -> None:
    lead, client = take(consent=True, now=NOW - timedelta(days=2)), signed_in(salesperson)
    form = call_form(client.get(at(lead, "call/")), next_step="Send the papers", next_step_on="2026-03-09")
    lead_change(lead=lead, expected_version=1, next_step="Visit", next_step_on=date(2026, 3, 6), by=owner, now=NOW)
    response = client.post(at(lead, "call/"), form)
    text = words(response)
    assert response.status_code == 409
    assert "Next step saved now: Visit; you typed: Send the papers." in text
    assert not CallEntry.objects.exists()
    again = {**form, "version": hidden(response, "version")}
    assert client.post(at(lead, "call/"), again).status_code == 302
    lead.refresh_from_db()
    assert lead.next_step == "Send the papers"


def test_a_call_to_come_is_refused(salesperson: User, signed_in: Browse, take: Callable[..., Lead]) -> None:
    lead, client = take(), signed_in(salesperson)
    form = call_form(client.get(at(lead, "call/")), at="2026-03-02T23:00", purpose="safety")
    assert "Enter the time of the call: now or earlier" in words(client.post(at(lead, "call/"), form))


def test_the_time_of_a_call_is_read_by_the_clock_of_the_house() -> None:
    west = MomentField(label="Time", zone=ZoneInfo("America/Los_Angeles"))
    assert west.clean("2026-07-01 14:30") == datetime(2026, 7, 1, 21, 30, tzinfo=UTC)
    assert west.prepare_value(datetime(2026, 7, 1, 21, 30, tzinfo=UTC)) == "2026-07-01T14:30"


# --- The house -------------------------------------------------------------------------------------------------------


def test_the_house_is_made_from_the_lead_and_linked(
    salesperson: User, signed_in: Browse, take: Callable[..., Lead]
) -> None:
    lead, client = take(street="14 Kiln Row", town="Fernhollow"), signed_in(salesperson)
    assert "Make the house" in words(client.get(at(lead)))
    for _ in range(2):
        response = client.post(at(lead, "house/"), follow=True)
    house = House.objects.get()
    assert response.redirect_chain[-1][0] == f"/houses/{house.code}/assessment/quick/"
    assert f'href="{at(lead)}"' in response.content.decode()
    assert "Mark as assessed" in words(client.get(at(lead)))
    # The lead and the house both keep the act; the history of the house tells it once.
    page = words(client.get(f"/houses/{house.code}/"))
    assert page.count("entered the house") + page.count("made the house") == 1


def test_a_lead_is_taken_and_its_house_made_in_one_step(
    salesperson: User, signed_in: Browse, typed: dict[str, str]
) -> None:
    client = signed_in(salesperson)
    form = typed | {"street": "14 Kiln Row", "town": "Fernhollow", "measure": "1"}
    for _ in range(2):
        response = client.post("/leads/take/", form, follow=True)
        assert response.redirect_chain[-1][0].endswith("/assessment/quick/")
    assert (Lead.objects.count(), House.objects.count()) == (1, 1)
    again = form | {"key": str(uuid.uuid4())}
    assert "A house is here at this address already" in words(client.post("/leads/take/", again, follow=True))
    lost = client.post("/leads/take/", form | {"street": "", "key": str(uuid.uuid4())}, follow=True)
    assert "Change the lead, then make the house." in words(lost)
    assert (Lead.objects.count(), House.objects.count()) == (3, 1)


def test_a_house_at_the_same_address_is_offered_first(
    salesperson: User, signed_in: Browse, take: Callable[..., Lead], house: House
) -> None:
    lead, client = take(street=house.street.upper(), town=house.town), signed_in(salesperson)
    page = client.get(at(lead))
    assert "A house is here at this address already" in words(page)
    client.post(at(lead, "house/"), {"house": str(house.code)})
    lead.refresh_from_db()
    assert lead.house == house
    other = take(street="99 Elsewhere Street", town="Fernhollow")
    assert "not at this address" in words(client.post(at(other, "house/"), {"house": str(house.code)}, follow=True))


def test_without_an_address_the_page_says_what_to_enter(
    salesperson: User, signed_in: Browse, take: Callable[..., Lead]
) -> None:
    response = signed_in(salesperson).post(at(take(), "house/"), follow=True)
    assert "Enter the street of the house first. Enter the town of the house first." in words(response)
    assert not House.objects.exists()


# --- Sources ---------------------------------------------------------------------------------------------------------


def test_a_source_is_entered_with_its_cost(owner: User, signed_in: Browse) -> None:
    client = signed_in(owner)
    response = client.post("/leads/sources/", {"name": "Home show", "cost_per_lead": "$1,048"}, follow=True)
    assert "Home show costs $1,048.00 a lead from now on" in words(response)
    assert LeadSource.objects.get().cost_per_lead == Decimal("1048.00")
    bad = client.post("/leads/sources/", {"name": "Mailing", "cost_per_lead": "a lot"})
    assert "Enter the cost of one lead in dollars and cents" in words(bad)
    assert 'value="a lot"' in bad.content.decode()


# --- The desk --------------------------------------------------------------------------------------------------------


def test_the_desk_shows_todays_visits_due_steps_and_open_proposals(
    owner: User,
    salesperson: User,
    signed_in: Browse,
    take: Callable[..., Lead],
    house: House,
    freeze_revision: Callable[..., EstimateRevision],
) -> None:
    def visit(person: str, when: datetime, **more: Any) -> Lead:
        return lead_move(lead=take(person=person, **more), to=LeadStage.VISIT_SET, visit_at=when, by=owner, now=NOW)

    visit("Today Tansy", datetime(2026, 3, 2, 15, tzinfo=EAST))
    visit("Past Plum", datetime(2026, 2, 27, 9, tzinfo=EAST))
    visit("Morrow Maple", datetime(2026, 3, 3, 9, tzinfo=EAST))
    visit("Other Oak", datetime(2026, 3, 2, 9, tzinfo=EAST), seller=owner)
    take(person="Due Dill", next_step="Call", next_step_on=date(2026, 3, 2), house=house)
    take(person="Late Lark", next_step="Write", next_step_on=date(2026, 2, 27))
    take(person="Later Linden", next_step="Write", next_step_on=date(2026, 3, 3))
    undated = lead_move(lead=take(person="Undated Usher"), to=LeadStage.VISIT_SET, by=owner, now=NOW)
    options = '{"estimate":{"options":[{"id":"a","margin":0.4,"floor_margin":0.3,"below_floor":false}]}}'
    proposal = proposal_draft(revision=freeze_revision(snapshot=options), by=owner, now=NOW)
    proposal_issue(
        proposal=proposal,
        document_sha256="a" * 64,
        document_name="proposal.docx",
        valid_until=date(2026, 4, 1),
        by=owner,
        now=NOW,
    )
    text = words(signed_in(salesperson).get("/"))
    for said in ("Today Tansy 15:00", "Past Plum 09:00 on Fri 27 Feb 2026 – what came of it?", "Due Dill Call",
                 "Late Lark Write overdue", f"{house.customer_name} {proposal.number}, $1,235"):  # fmt: skip
        assert said in text, said
    for left_out in ("Morrow Maple", "Other Oak", "Later Linden"):
        assert left_out not in text, left_out
    # The past visit and the one without a time have no next step either; the one to come is planned.
    assert undated.next_step == ""
    assert re.search(r"2 open leads without a next step", text)
    assert "Other Oak" in words(signed_in(owner).get("/"))


def test_a_quiet_desk_says_so_and_others_have_none(
    salesperson: User, scheduler: User, crew: User, signed_in: Browse
) -> None:
    assert "Nothing is due today" in words(signed_in(salesperson).get("/"))
    for role in (scheduler, crew):
        assert "Visits today" not in words(signed_in(role).get("/"))


def test_the_desk_takes_as_many_questions_for_many_leads(
    person: Callable[..., User], signed_in: Browse, take: Callable[..., Lead], django_assert_num_queries: Any
) -> None:
    seller = person(Role.SALESPERSON)
    client = signed_in(seller)
    for number in range(30):
        take(person=f"Person {number}", seller=seller, next_step="Call", next_step_on=date(2026, 3, 1))
    with django_assert_num_queries(6):  # session, user, visits, due, proposals, without a plan
        response = client.get("/")
    assert "All that are overdue" in words(response)
