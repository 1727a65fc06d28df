"""The homeowner's page behind the private link."""

from __future__ import annotations

import hashlib
import io
import json
import re
import uuid
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from estimates.answers import MOST_QUESTIONS, fact_sheets_read, proposal_answer_yes, question_ask
from estimates.cancelling import cancellation_decide, cancellation_receive, cancellation_standing
from estimates.command import Conflict
from estimates.leads import lead_move, lead_take
from estimates.models import (
    ActivityEntry,
    Cancellation,
    Disclosure,
    DisclosureKind,
    EstimateRevision,
    Lead,
    LeadSource,
    LeadStage,
    OutboxMessage,
    Proposal,
    Question,
    Reply,
    User,
)
from estimates.proposal_words import long_date
from estimates.proposals import proposal_withdraw

pytestmark = pytest.mark.django_db

NAME = "Wren Halloran"


def shown(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


def accept(client: Client, out: Any, **changes: str) -> Any:
    """Read the fact sheets, then sign."""
    client.post(f"{out.address}fact-sheets/", {"read": "on"})
    given = {
        "option": "all",
        "document_sha256": out.proposal.document_sha256,
        "electronic": "on",
        "typed_name": NAME,
    }
    return client.post(f"{out.address}accept/", {**given, **changes})


def state(out: Any) -> Proposal:
    return Proposal.objects.get(pk=out.proposal.pk)


# --- Reading ---------------------------------------------------------------------------------------------------------


def test_the_page_says_everything_that_was_frozen_when_it_went_out(client: Client, out: Any) -> None:
    page = shown(client, out.address)
    content = out.proposal.paper.content
    option = content["options"][0]
    for words in (
        content["cause"][0],
        content["cure"][0],
        option["total"],
        option["payments"][0]["amount"],
        content["savings_vary"],
        content["cautions"][0],
        content["not_seen"][0],
        content["not_fixed"][0],
        content["prepare"][0],
        content["cancellation"],
        content["firm"]["licence"],
        content["valid_until"],
    ):
        assert words in page.replace("&#x27;", "'").replace("&quot;", '"').replace("&amp;", "&"), words
    assert page.count("<svg") == len(content["drawings"]) > 0


def test_no_cost_margin_or_commission_is_kept_for_the_page(out: Any) -> None:
    kept = json.dumps(out.proposal.paper.content).casefold()
    for word in ("margin", "markup", "direct_cost", "commission", "overhead"):
        assert word not in kept


def test_opening_writes_nothing_and_is_kept_out_of_caches_engines_and_other_sites(client: Client, out: Any) -> None:
    with CaptureQueriesContext(
        connection,
    ) as queries:
        answer = client.get(out.address)
    assert not [q["sql"] for q in queries if q["sql"].lstrip().upper().startswith(("INSERT", "UPDATE", "DELETE"))]
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert "noindex" in answer.headers["X-Robots-Tag"]
    assert "no-store" in answer.headers["Cache-Control"]
    assert not answer.cookies
    policy = answer.headers["Content-Security-Policy"]
    assert "unsafe" not in policy


def test_a_look_is_noted_by_the_page_itself_and_once_an_hour(client: Client, out: Any, friday: Any) -> None:
    for _ in range(3):
        assert client.post(f"{out.address}opened/").status_code == 204
    looks = ActivityEntry.objects.filter(action="proposal.open", object_code=out.proposal.code)
    assert looks.count() == 1
    friday.shift(timedelta(hours=2))
    client.post(f"{out.address}opened/")
    assert looks.count() == 2


def test_a_look_of_the_office_is_no_look_of_the_homeowner(
    out: Any, owner: User, signed_in: Callable[[User], Client]
) -> None:
    office = signed_in(owner)
    assert "data-opened" not in shown(office, out.address)
    office.post(f"{out.address}opened/")
    assert not ActivityEntry.objects.filter(action="proposal.open").exists()


def test_forms_work_from_a_browser_that_sends_no_origin(out: Any) -> None:
    strict = Client(enforce_csrf_checks=True)
    answer = strict.post(f"{out.address}fact-sheets/", {"read": "on"}, headers={"Origin": "null"})
    assert answer.status_code == 302


@pytest.mark.parametrize("days", [366, 800])
def test_a_link_that_ended_shows_the_telephone_number_of_the_firm(
    client: Client, out: Any, friday: Any, days: int
) -> None:
    friday.shift(timedelta(days=days))
    answer = client.get(out.address)
    assert answer.status_code == 404
    assert "555-0142" in answer.content.decode()
    assert out.proposal.number not in answer.content.decode()


def test_every_closed_link_tells_a_stranger_the_same(client: Client, out: Any) -> None:
    wrong = client.get(f"/yours/{'0' * 32}.{'x' * 43}/")
    assert wrong.status_code == 404
    assert "This link opens nothing" in wrong.content.decode()
    assert "no-store" in wrong.headers["Cache-Control"]


def test_the_document_is_the_one_that_went_out(client: Client, out: Any) -> None:
    fetched = client.get(f"{out.address}papers/proposal.docx")
    content = b"".join(fetched.streaming_content)  # type: ignore[attr-defined]
    assert hashlib.sha256(content).hexdigest() == out.proposal.document_sha256
    assert client.get(f"{out.address}papers/other.docx").status_code == 404


def test_a_later_price_book_or_name_changes_nothing_on_the_page(client: Client, out: Any) -> None:
    before = out.proposal.paper.content["house"]["customer"]
    house = out.proposal.house
    house.customer_name = "Somebody Else"
    house.save()
    assert before in shown(client, out.address)


# --- Asking ----------------------------------------------------------------------------------------------------------


def test_a_question_is_kept_and_sent_to_the_salesperson_once(client: Client, out: Any, salesperson: User) -> None:
    key = str(uuid.uuid4())
    for _ in range(2):
        answer = client.post(f"{out.address}ask/", {"key": key, "words": "Is the cat safe?", "reach": "607-555-0142"})
        assert answer.headers["Location"].endswith("?said=asked")
    assert Question.objects.get().words == "Is the cat safe?"
    letter = OutboxMessage.objects.get(key__startswith="question-")
    assert letter.payload["to"] == [salesperson.email]
    assert "Is the cat safe?" in letter.payload["text"]
    assert "Is the cat safe?" in shown(client, out.address)


def test_an_empty_question_is_asked_for_and_typed_words_stay(client: Client, out: Any) -> None:
    answer = client.post(f"{out.address}ask/", {"key": str(uuid.uuid4()), "words": "", "reach": "Kitchen phone"})
    page = answer.content.decode()
    assert "Enter your question" in page
    assert "<title>Error: " in page
    assert 'value="Kitchen phone"' in page


def test_nobody_can_fill_the_office_with_questions(out: Any, friday: Any) -> None:
    now = datetime(2026, 3, 6, 23, 30, tzinfo=UTC)
    for number in range(MOST_QUESTIONS):
        question_ask(proposal=out.proposal, key=uuid.uuid4(), words=f"Question {number}", now=now)
    with pytest.raises(Conflict, match="Call us"):
        question_ask(proposal=out.proposal, key=uuid.uuid4(), words="One more", now=now)


def test_the_office_answers_a_question_by_letter_and_on_the_page(
    client: Client, out: Any, friday: Any, salesperson: User, signed_in: Callable[[User], Client]
) -> None:
    client.post(f"{out.address}ask/", {"key": str(uuid.uuid4()), "words": "Is the cat safe? {private link}"})
    desk, question = signed_in(salesperson), Question.objects.get()
    page = f"/proposals/{out.proposal.code}/questions/{question.code}/"
    assert page in desk.get(f"/proposals/{out.proposal.code}/").content.decode()
    assert "It goes to wren@example.org" in desk.get(page).content.decode()
    assert "Enter the answer" in desk.post(page, {"key": str(uuid.uuid4()), "seen": "0", "words": " "}).content.decode()
    given = {"key": str(uuid.uuid4()), "seen": "0", "words": "Keep it out of the room\nfor an hour."}
    for _ in range(2):
        said = desk.post(page, given, follow=True).content.decode()
        assert "The letter goes to wren@example.org" in said
    letter = OutboxMessage.objects.get(key__startswith="reply-")
    assert letter.payload["to"] == ["wren@example.org"]
    assert "Keep it out of the room" in letter.payload["text"]
    assert letter.payload["text"].count("{private link}") == 1
    assert "Keep it out of the room<br>for an hour." in shown(client, out.address)
    assert "answered a question" in said
    # Somebody who was overtaken reads the answer that stands, and keeps what was typed.
    late = desk.post(page, given | {"key": str(uuid.uuid4()), "words": "One hour."})
    assert late.status_code == 409
    text = late.content.decode()
    assert "Somebody else has answered this question meanwhile" in text
    assert "Keep it out of the room" in text
    assert ">\nOne hour.</textarea>" in text
    assert Reply.objects.count() == 1


def test_an_answer_to_another_address_brings_no_link(
    client: Client, out: Any, salesperson: User, signed_in: Callable[[User], Client], owner: User
) -> None:
    asked = {"key": str(uuid.uuid4()), "words": "When?", "reach": "son@example.org"}
    client.post(f"{out.address}ask/", asked)
    page = f"/proposals/{out.proposal.code}/questions/{Question.objects.get().code}/"
    signed_in(owner).post(page, {"key": str(uuid.uuid4()), "seen": "0", "words": "In April."})
    letter = OutboxMessage.objects.get(key__startswith="reply-")
    assert (letter.payload["to"], "link" in letter.payload) == (["son@example.org"], False)
    other = f"/proposals/{out.proposal.code}/questions/{uuid.uuid4()}/"
    assert signed_in(owner).get(other).status_code == 404


def test_a_proposal_past_its_last_day_is_closed_by_the_clock_and_says_so(
    client: Client, out: Any, friday: Any, salesperson: User, signed_in: Callable[[User], Client]
) -> None:
    said = io.StringIO()
    call_command("send_due", stdout=said)
    assert "closed" not in said.getvalue()
    friday.shift(timedelta(days=21))
    assert "It can no longer be accepted" in shown(client, out.address)
    for closed in ("1 proposal past the last day closed", ""):
        said = io.StringIO()
        call_command("send_due", stdout=said)
        assert closed in said.getvalue()
    assert state(out).status == "expired"
    assert ActivityEntry.objects.filter(action="proposal.expire").count() == 1
    assert "It can no longer be accepted" in shown(client, out.address)
    assert "Choose" not in shown(client, out.address)
    answer = accept(client, out)
    assert answer.status_code == 409
    assert state(out).accepted_at is None
    page = signed_in(salesperson).get(f"/proposals/{out.proposal.code}/").content.decode()
    assert "Expired: its last day was" in page


# --- Accepting -------------------------------------------------------------------------------------------------------


def test_the_fact_sheets_come_before_the_signature_and_are_recorded_with_their_words(client: Client, out: Any) -> None:
    sheets = f"{out.address}fact-sheets/"
    assert client.get(f"{out.address}accept/?option=all").headers["Location"] == f"{sheets}?option=all"
    page = shown(client, f"{sheets}?option=all")
    foam = out.proposal.paper.content["fact_sheets"][0]
    assert foam["rows"][0][1] in page
    assert "Tick that you have read" in client.post(sheets, {"option": "all"}).content.decode()
    answer = client.post(sheets, {"read": "on", "option": "all"})
    assert answer.headers["Location"] == f"{out.address}accept/?option=all"
    record = Disclosure.objects.get(kind=DisclosureKind.FACT_SHEET)
    assert foam["rows"][0][1] in record.words
    assert record.at == datetime(2026, 3, 6, 23, 30, tzinfo=UTC)
    # Read a second time, it stays recorded with its first time.
    client.post(sheets, {"read": "on"})
    assert Disclosure.objects.get(kind=DisclosureKind.FACT_SHEET) == record


def test_the_service_refuses_a_signature_without_sheets_or_consent(out: Any) -> None:
    given: dict[str, Any] = {
        "proposal": out.proposal,
        "option": "all",
        "typed_name": NAME,
        "document_sha256": out.proposal.document_sha256,
        "acknowledged": (),
        "now": datetime(2026, 3, 6, 23, 30, tzinfo=UTC),
    }
    with pytest.raises(ValidationError) as refused:
        proposal_answer_yes(**given, electronic=False)
    assert set(refused.value.message_dict) == {"fact_sheet", "electronic"}
    assert state(out).status == "issued"
    fact_sheets_read(proposal=out.proposal, now=given["now"])
    assert proposal_answer_yes(**given, electronic=True).status == "accepted"


def test_accepting_records_name_time_hash_consent_and_hands_over_two_notices(client: Client, out: Any) -> None:
    assert accept(client, out).headers["Location"] == f"{out.address}?said=accepted"
    proposal = state(out)
    assert (proposal.status, proposal.accepted_option, proposal.accepted_name) == ("accepted", "all", NAME)
    assert proposal.accepted_sha256 == proposal.document_sha256
    kinds = set(Disclosure.objects.filter(proposal=proposal).values_list("kind", flat=True))
    assert kinds == {"fact_sheet", "electronic_records", "cancellation_notice"}
    notice = Disclosure.objects.get(kind=DisclosureKind.CANCELLATION_NOTICE)
    assert (notice.copies, notice.language) == (2, "English")
    # 16 CFR 429.1, worked example of rule P7 (S): signed on Friday 6 March 2026, the last day is Tuesday 10 March.
    assert long_date(date(2026, 3, 10)) in notice.words
    page = shown(client, out.address)
    assert "Tue 10 Mar 2026" in page
    assert "Copy 2 of 2" in page
    assert "Choose " not in page
    letter = OutboxMessage.objects.get(key__endswith="-homeowner")
    assert letter.payload["text"].count("Date of transaction") == 2


def test_what_is_missing_is_named_and_the_typed_name_stays(client: Client, out: Any) -> None:
    page = accept(client, out, electronic="").content.decode()
    assert "Tick that you agree to an electronic record" in page
    assert f'value="{NAME}"' in page
    assert "Enter your full name" in accept(client, out, typed_name=" ").content.decode()
    assert state(out).status == "issued"


def test_the_same_signature_twice_is_one_and_another_option_is_refused(client: Client, send: Any, friday: Any) -> None:
    out = send("quarry-split")
    first, second = (one["id"] for one in out.proposal.paper.content["options"])
    assert accept(client, out, option=first).status_code == 302
    letters = OutboxMessage.objects.count()
    assert accept(client, out, option=first).status_code == 302
    assert OutboxMessage.objects.count() == letters
    refused = accept(client, out, option=second)
    assert refused.status_code == 409
    assert "This was not recorded" in refused.content.decode()
    assert state(out).accepted_option == first


def test_of_two_proposals_of_a_house_only_one_can_be_accepted(client: Client, send: Any, friday: Any) -> None:
    old, new = send("mill-cape"), send("mill-cape", house={"bedrooms": 4})
    assert old.proposal.house == new.proposal.house
    assert accept(client, old).status_code == 302
    refused = accept(client, new)
    assert refused.status_code == 409
    assert "accepted already" in refused.content.decode()
    assert (state(old).status, state(new).status) == ("accepted", "issued")


def test_another_document_than_the_one_that_went_out_is_refused(client: Client, out: Any) -> None:
    refused = accept(client, out, document_sha256="0" * 64)
    assert refused.status_code == 409
    assert "not the one that we sent" in refused.content.decode()


def test_after_the_last_day_of_the_price_nothing_can_be_chosen(client: Client, out: Any, friday: Any) -> None:
    friday.shift(timedelta(days=21))
    page = shown(client, out.address)
    assert "It can no longer be accepted" in page
    assert "Choose " not in page
    assert accept(client, out).status_code == 409
    assert state(out).status == "issued"


def test_an_acceptance_wins_the_lead_and_a_cancellation_in_time_marks_it(
    client: Client, send: Any, friday: Any, salesperson: User, estimated: Callable[..., EstimateRevision]
) -> None:
    at = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
    house = estimated("mill-cape").house
    source = LeadSource.objects.create(name="Yard signs", cost_per_lead=Decimal("12.50"))
    lead = lead_take(
        person=NAME,
        phone="607-555-0142",
        state="NY",
        source=source,
        seller=salesperson,
        by=salesperson,
        now=at,
        house=house,
    )
    lead_move(lead=lead, to=LeadStage.ASSESSED, by=salesperson, now=at, house=house)
    out = send()
    assert Lead.objects.get().stage == "proposed"
    accept(client, out)
    assert Lead.objects.get().stage == "won"
    client.post(f"{out.address}cancel/", {})
    assert Lead.objects.get().stage == "cancelled"


# --- Declining -------------------------------------------------------------------------------------------------------


def test_declining_keeps_the_reason_and_tells_the_office(client: Client, out: Any, salesperson: User) -> None:
    for _ in range(2):
        answer = client.post(f"{out.address}decline/", {"reason": "We wait a year."})
        assert answer.headers["Location"].endswith("?said=declined")
    assert (state(out).status, state(out).decline_reason) == ("declined", "We wait a year.")
    assert OutboxMessage.objects.get(key__startswith="declined-").payload["to"] == [salesperson.email]
    assert "You declined this proposal" in shown(client, out.address)


def test_a_withdrawn_proposal_can_neither_be_accepted_nor_declined(client: Client, out: Any, salesperson: User) -> None:
    proposal_withdraw(proposal=out.proposal, reason="A slip.", by=salesperson, now=datetime.now(UTC))
    assert accept(client, out).status_code == 409
    assert client.post(f"{out.address}decline/", {}).status_code == 409
    assert client.get(f"{out.address}accept/?option=all").status_code == 302


# --- Cancelling ------------------------------------------------------------------------------------------------------
# The last days are the worked examples of rule P7: 16 CFR 429 (S).


def test_a_notice_in_time_cancels_at_once_and_is_confirmed_with_its_time(client: Client, out: Any, friday: Any) -> None:
    accept(client, out)
    friday.move_to(datetime(2026, 3, 11, 3, 59, 59, tzinfo=UTC))  # one second before midnight in New York (UTC-4)
    answer = client.post(f"{out.address}cancel/", {"reason": "We changed our mind."})
    assert answer.headers["Location"] == f"{out.address}cancel/"
    row = Cancellation.objects.get()
    assert (row.in_time, row.last_day, row.words) == (True, date(2026, 3, 10), "in time")
    assert (row.notice_copies, row.by_link) == (2, True)
    # Ten days after Tuesday 10 March, Sunday 15 March left out.
    assert row.refund_due == date(2026, 3, 21)
    assert state(out).status == "cancelled"
    page = shown(client, f"{out.address}cancel/")
    assert "Tue 10 Mar 2026, 23:59:59" in page
    assert "in time" in page
    assert "Cancelled" in shown(client, out.address)


def test_a_late_notice_is_recorded_and_waits_for_the_owner(
    client: Client, out: Any, friday: Any, owner: User, salesperson: User, signed_in: Callable[[User], Client]
) -> None:
    accept(client, out)
    friday.move_to(datetime(2026, 3, 11, 4, 0, 1, tzinfo=UTC))
    for _ in range(2):
        assert client.post(f"{out.address}cancel/", {}).status_code == 302
    row = Cancellation.objects.get()
    assert row.words == "late – owner decides"
    assert state(out).status == "accepted"
    assert "late – owner decides" in shown(client, f"{out.address}cancel/")
    address = f"/proposals/{out.proposal.code}/cancellation/decide/"
    assert signed_in(salesperson).get(address).status_code == 403
    boss = signed_in(owner)
    assert "Choose what becomes of the contract" in boss.post(address, {}).content.decode()
    boss.post(address, {"granted": "yes", "reason": "Illness in the family."})
    assert state(out).status == "cancelled"
    assert "cancelled all the same" in shown(boss, f"/proposals/{out.proposal.code}/")
    with pytest.raises(Conflict, match="decided already"):
        cancellation_decide(cancellation=row, granted=False, reason="No.", by=owner, now=datetime.now(UTC))


def test_a_letter_with_a_postmark_in_time_counts_though_it_came_late(
    client: Client, out: Any, friday: Any, salesperson: User, signed_in: Callable[[User], Client]
) -> None:
    accept(client, out)
    friday.move_to(datetime(2026, 3, 12, 16, 0, tzinfo=UTC))
    office = signed_in(salesperson)
    address = f"/proposals/{out.proposal.code}/cancellation/"
    given = {"received_on": "2026-03-12", "received_at": "11:30", "postmarked_on": "2026-03-10", "reason": "By post."}
    wrong = office.post(address, given | {"postmarked_on": "2026-03-13", "received_on": "2026-03-14"})
    assert "cannot be in the future" in wrong.content.decode()
    assert 'value="2026-03-13"' in wrong.content.decode()
    assert office.post(address, given).status_code == 302
    row = Cancellation.objects.get()
    assert (row.in_time, row.postmarked_on, row.by_link, row.recorded_by) == (
        True,
        date(2026, 3, 10),
        False,
        salesperson,
    )
    assert row.received_at == datetime(2026, 3, 12, 15, 30, tzinfo=UTC)
    assert state(out).status == "cancelled"


def test_the_clock_does_not_start_where_the_notice_is_in_another_language_than_the_sale(
    client: Client, send: Any, friday: Any
) -> None:
    out = send(sold_in="Spanish")
    accept(client, out)
    assert cancellation_standing(state(out)).right.last_day is None
    friday.shift(timedelta(days=90))
    client.post(f"{out.address}cancel/", {})
    row = Cancellation.objects.get()
    assert (row.in_time, row.last_day) == (True, None)
    assert "deliver it in that language" in row.rule


def test_what_was_not_accepted_cannot_be_cancelled(client: Client, out: Any) -> None:
    assert client.get(f"{out.address}cancel/").headers["Location"] == out.address
    with pytest.raises(Conflict):
        cancellation_receive(proposal=out.proposal, now=datetime.now(UTC))
    assert not Cancellation.objects.exists()


def test_no_address_of_a_private_link_is_written_into_the_record(client: Client, out: Any) -> None:
    client.post(f"{out.address}opened/")
    accept(client, out)
    client.post(f"{out.address}cancel/", {})
    kept = [
        *ActivityEntry.objects.values_list("before", "after", "reason"),
        *OutboxMessage.objects.values_list("payload"),
    ]
    assert not re.search(re.escape(out.token), json.dumps(kept, default=str))
