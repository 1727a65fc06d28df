"""The office side of proposals: drafting, the check page, issuing, and what is done with one that is out."""

from __future__ import annotations

import hashlib
import re
import zipfile
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from io import BytesIO
from typing import Any

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.test import Client
from docx import Document

from estimates.command import Conflict
from estimates.estimating import revision_create
from estimates.house import OptionRecord
from estimates.issuing import LookChanged, PaperLost, document_path, kept_document, proposal_link_again, proposal_send
from estimates.mail import LINK
from estimates.models import (
    ActivityEntry,
    EstimateRevision,
    House,
    OutboxMessage,
    PaperTemplate,
    PrivateLink,
    Proposal,
    ProposalPaper,
    User,
)
from estimates.paper_templates import LARGEST, current_template, template_restore, template_take, template_trouble
from estimates.proposal import TEMPLATE
from estimates.proposal_look import Terms, proposal_look
from estimates.proposals import proposal_draft, proposal_release_floor, proposal_withdraw

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("papers_folder")]

NOW = datetime(2026, 3, 6, 15, 0, tzinfo=UTC)
TODAY = date(2026, 3, 6)
Estimated = Callable[..., EstimateRevision]
SignedIn = Callable[[User], Client]


@pytest.fixture(autouse=True)
def clock() -> Iterator[Any]:
    with time_machine.travel(NOW, tick=False) as moved:
        yield moved


@pytest.fixture
def desk(salesperson: User, signed_in: SignedIn) -> Client:
    return signed_in(salesperson)


@pytest.fixture
def draft(estimated: Estimated, salesperson: User) -> Proposal:
    return proposal_draft(revision=estimated("mill-cape"), by=salesperson, now=NOW)


def check_address(proposal: Proposal) -> str:
    return f"/proposals/{proposal.code}/check/"


def seen_of(page: str) -> str:
    found = re.search(r'name="seen" value="([0-9a-f]{64})"', page)
    assert found is not None
    return found[1]


def entries(page: str, **changes: str) -> dict[str, str]:
    """What the form of the check page sends back."""
    given = {
        "seen": seen_of(page),
        "mail_to": "wren@example.org",
        "valid_until": "2026-03-20",
        "words": "",
        "sold_in": "English",
    }
    return given | changes


def look(desk: Client, proposal: Proposal, **changes: str) -> str:
    """The check page after the sender has filled it in and looked again."""
    first = desk.get(check_address(proposal)).content.decode()
    return desk.post(check_address(proposal), entries(first, **changes) | {"look": "1"}).content.decode()


# --- Drafting and checking -------------------------------------------------------------------------------------------


def test_a_draft_is_made_from_the_latest_revision_once_however_often_the_button_is_tapped(
    desk: Client, estimated: Estimated
) -> None:
    house = estimated("mill-cape").house
    for _ in range(2):
        answer = desk.post(f"/houses/{house.code}/proposal/")
        assert answer.headers["Location"] == check_address(Proposal.objects.get())


def test_a_house_without_a_revision_says_what_to_do_first(desk: Client, house: House) -> None:
    answer = desk.post(f"/houses/{house.code}/proposal/", follow=True)
    assert "Freeze the live estimate" in answer.content.decode()
    assert not Proposal.objects.exists()


def test_looking_writes_nothing(desk: Client, draft: Proposal, settings: Any) -> None:
    before = ActivityEntry.objects.count(), OutboxMessage.objects.count(), PrivateLink.objects.count()
    page = look(desk, draft)
    assert "Nothing has gone out yet" in page
    assert (ActivityEntry.objects.count(), OutboxMessage.objects.count(), PrivateLink.objects.count()) == before
    assert not (settings.DOCUMENTS_DIR / "issued").exists()
    assert not ProposalPaper.objects.exists()


def test_the_check_page_shows_the_letter_and_the_very_document(desk: Client, draft: Proposal) -> None:
    page = look(desk, draft, words="It was good to meet you.")
    assert "It was good to meet you." in page
    assert "[the private link]" in page
    fetched = desk.get(f"/proposals/{draft.code}/papers/proposal.docx?valid_until=2026-03-20")
    content = b"".join(fetched.streaming_content)  # type: ignore[attr-defined]
    assert hashlib.sha256(content).hexdigest() in page


def test_issuing_keeps_the_document_makes_the_link_and_puts_one_letter_out(desk: Client, draft: Proposal) -> None:
    page = look(desk, draft)
    sent = entries(page)
    for _ in range(2):  # the second tap of a slow finger
        answer = desk.post(check_address(draft), sent | {"issue": "1"})
        assert answer.headers["Location"] == f"/proposals/{draft.code}/"
    draft.refresh_from_db()
    assert draft.status == "issued"
    assert hashlib.sha256(kept_document(draft).read_bytes()).hexdigest() == draft.document_sha256
    assert draft.document_sha256 in page
    assert draft.valid_until == date(2026, 3, 20)
    letter = OutboxMessage.objects.get()
    assert letter.payload["to"] == ["wren@example.org"]
    link = PrivateLink.objects.get()
    # The token itself is stored nowhere.
    assert LINK in letter.payload["text"]
    assert letter.payload["link"] == str(link.code)
    text = "\n".join(paragraph.text for paragraph in Document(str(kept_document(draft))).paragraphs)
    assert "margin" not in text.casefold()


def test_what_changed_since_it_was_looked_at_does_not_go_out(desk: Client, draft: Proposal) -> None:
    page = look(desk, draft)
    answer = desk.post(check_address(draft), entries(page, words="One more thing.") | {"issue": "1"})
    assert answer.status_code == 409
    shown = answer.content.decode()
    assert "What would go out has changed since you looked" in shown
    assert "One more thing." in shown
    draft.refresh_from_db()
    assert draft.status == "draft"
    again = desk.post(check_address(draft), entries(shown, words="One more thing.") | {"issue": "1"})
    assert again.status_code == 302


def test_midnight_between_looking_and_issuing_counts_as_a_change(
    desk: Client, draft: Proposal, salesperson: User, clock: Any
) -> None:
    page = look(desk, draft)
    clock.shift(timedelta(days=1))
    desk.force_login(salesperson)  # the session of yesterday is over
    assert desk.post(check_address(draft), entries(page) | {"issue": "1"}).status_code == 409


def test_a_price_may_hold_only_as_long_as_the_price_book_says(desk: Client, draft: Proposal) -> None:
    page = look(desk, draft, valid_until="2027-03-20")
    assert "The price may hold from today until" in page
    assert 'name="issue"' not in page
    assert 'value="2027-03-20"' in page


def test_bad_entries_are_named_and_kept(desk: Client, draft: Proposal) -> None:
    page = desk.get(check_address(draft)).content.decode()
    answer = desk.post(check_address(draft), entries(page, mail_to="wren", words="Hello.") | {"issue": "1"})
    shown = answer.content.decode()
    assert "<title>Error: " in shown
    assert "Enter an e-mail address" in shown
    assert "Hello." in shown


def test_own_words_may_not_say_what_papers_may_not_say(desk: Client, draft: Proposal) -> None:
    page = look(desk, draft, words="This foam has R-4 per inch.")
    assert "gives an R-value per inch" in page
    assert 'name="issue"' not in page


def test_an_open_question_of_the_assessment_keeps_it_from_going_out(
    desk: Client, estimated: Estimated, salesperson: User
) -> None:
    revision = estimated("quarry-split", gate_answers=())
    proposal = proposal_draft(revision=revision, by=salesperson, now=NOW)
    page = desk.get(check_address(proposal)).content.decode()
    assert "A question of the assessment is open" in page
    assert 'name="issue"' not in page
    terms = Terms(date(2026, 3, 20))
    seen = proposal_look(proposal, terms, on=TODAY).seen
    with pytest.raises(ValidationError):
        proposal_send(proposal=proposal, terms=terms, seen=seen, site="http://x", by=salesperson, now=NOW, on=TODAY)


def test_a_price_below_the_floor_waits_for_the_owner(
    estimated: Estimated, salesperson: User, owner: User, desk: Client
) -> None:
    low = OptionRecord(id="all", name="Everything", target_margin=0.20)
    proposal = proposal_draft(revision=estimated("mill-cape", options=(low,)), by=salesperson, now=NOW)
    page = desk.get(check_address(proposal)).content.decode()
    assert "Everything: margin 20.0% is below the floor" in page
    assert "Ask the owner to release it" in page
    proposal_release_floor(proposal=proposal, least_margin=Decimal("0.19"), reason="A neighbour.", by=owner, now=NOW)
    assert "below the floor" not in desk.get(check_address(proposal)).content.decode()


def test_a_sale_in_another_language_is_warned_of(desk: Client, draft: Proposal) -> None:
    assert "does not begin before it is handed over in Spanish" in look(desk, draft, sold_in="Spanish")


def test_a_draft_of_an_older_revision_says_that_a_newer_one_is_there(
    desk: Client, estimated: Estimated, draft: Proposal
) -> None:
    assert "was frozen since" not in desk.get(check_address(draft)).content.decode()
    estimated("mill-cape", year_built=1949)
    page = desk.get(check_address(draft)).content.decode()
    assert "Revision 2 was frozen since" in page
    assert "This proposal is made from revision 1" in page
    answer = desk.post(f"/houses/{draft.house.code}/proposal/")
    newer = Proposal.objects.get(revision_number=2)
    assert answer.headers["Location"] == check_address(newer)
    assert "was frozen since" not in desk.get(check_address(newer)).content.decode()


def test_a_proposal_of_another_program_version_asks_for_a_new_revision(
    desk: Client, freeze_stale: Callable[[], Proposal]
) -> None:
    page = desk.get(check_address(freeze_stale())).content.decode()
    assert "Freeze a new revision" in page
    assert 'name="issue"' not in page


@pytest.fixture
def freeze_stale(estimated: Estimated, salesperson: User) -> Callable[[], Proposal]:
    def make() -> Proposal:
        fresh = estimated("mill-cape")
        old = revision_create(
            house=fresh.house,
            snapshot=fresh.snapshot.replace('"engine": "', '"engine": "0'),
            price_book=fresh.price_book,
            schema_version=fresh.schema_version,
            engine_version="0",
            seed=1,
            price=fresh.price,
            cost=fresh.cost,
            created_by=salesperson,
            now=NOW,
        )
        return proposal_draft(revision=old, by=salesperson, now=NOW)

    return make


def test_another_looks_hash_is_refused_by_the_service(draft: Proposal, salesperson: User) -> None:
    with pytest.raises(LookChanged):
        proposal_send(
            proposal=draft,
            terms=Terms(date(2026, 3, 20)),
            seen="0" * 64,
            site="http://x",
            by=salesperson,
            now=NOW,
            on=TODAY,
        )


# --- One that is out -------------------------------------------------------------------------------------------------


def test_the_page_shows_the_trail_the_link_and_the_options(send: Callable[..., Any], desk: Client) -> None:
    out = send(at=NOW)
    page = desk.get(f"/proposals/{out.proposal.code}/").content.decode()
    assert f"http://testserver{out.address}" in page
    assert "waits to be sent to wren@example.org" in page
    assert "issued the proposal" in page
    assert out.proposal.paper.content["options"][0]["total"] in page


def test_who_may_not_send_does_not_see_the_private_link(
    send: Callable[..., Any], bookkeeper: User, signed_in: SignedIn
) -> None:
    out = send(at=NOW)
    page = signed_in(bookkeeper).get(f"/proposals/{out.proposal.code}/").content.decode()
    assert "issued the proposal" in page
    assert out.token not in page
    assert "Make a new link" not in page


def test_taking_the_link_back_closes_the_page_of_the_homeowner(
    send: Callable[..., Any], desk: Client, client: Client
) -> None:
    out = send(at=NOW)
    assert client.get(out.address).status_code == 200
    asked = desk.post(f"/proposals/{out.proposal.code}/link/close/", {"reason": ""})
    assert "Enter the reason" in asked.content.decode()
    desk.post(f"/proposals/{out.proposal.code}/link/close/", {"reason": "Wrong address."})
    closed = client.get(out.address)
    assert closed.status_code == 404
    assert "This link opens nothing" in closed.content.decode()
    assert "took the private link of the proposal back" in desk.get(f"/proposals/{out.proposal.code}/").content.decode()


def test_a_new_link_takes_the_place_of_the_one_before(send: Callable[..., Any], desk: Client, client: Client) -> None:
    out = send(at=NOW)
    desk.post(f"/proposals/{out.proposal.code}/link/renew/")
    assert client.get(out.address).status_code == 404
    page = desk.get(f"/proposals/{out.proposal.code}/").content.decode()
    found = re.search(r'value="http://testserver(/yours/[^"]+)"', page)
    assert found is not None
    assert client.get(found[1]).status_code == 200
    assert OutboxMessage.objects.count() == 2


def test_withdrawing_asks_for_a_reason_and_closes_the_answer(
    send: Callable[..., Any], desk: Client, client: Client
) -> None:
    out = send(at=NOW)
    address = f"/proposals/{out.proposal.code}/withdraw/"
    assert "Enter the reason" in desk.post(address, {"reason": " "}).content.decode()
    desk.post(address, {"reason": "A better scope."})
    assert desk.post(address, {"reason": "A better scope."}).status_code == 302
    page = client.get(out.address).content.decode()
    assert "We took this proposal back" in page
    assert "Choose " not in page


def test_a_document_that_was_changed_on_the_disk_is_not_handed_out(send: Callable[..., Any], desk: Client) -> None:
    out = send(at=NOW)
    document_path(out.proposal.document_sha256).write_bytes(b"something else")
    with pytest.raises(PaperLost):
        kept_document(out.proposal)
    assert desk.get(f"/proposals/{out.proposal.code}/papers/proposal.docx").status_code == 503


def test_the_list_asks_the_database_as_often_for_many_as_for_few(
    send: Callable[..., Any], desk: Client, django_assert_num_queries: Any
) -> None:
    out = send(at=NOW)
    with django_assert_num_queries(3):  # session, person, proposals with their houses
        desk.get("/proposals/")
    send("quarry-split", at=NOW)
    with django_assert_num_queries(3):
        page = desk.get("/proposals/").content.decode()
    assert "2 proposals" in page
    found = desk.get("/proposals/", {"find": out.proposal.number, "status": "issued"}).content.decode()
    assert "1 proposal" in found
    assert "No proposal matches" in desk.get("/proposals/", {"status": "declined"}).content.decode()


# --- The template ----------------------------------------------------------------------------------------------------


@pytest.fixture
def boss(owner: User, signed_in: SignedIn) -> Client:
    return signed_in(owner)


def upload(boss: Client, content: bytes, name: str = "ours.docx") -> Any:
    file = BytesIO(content)
    file.name = name
    return boss.post("/templates/", {"file": file}, follow=True)


def with_a_line(words: str) -> bytes:
    document = Document(str(TEMPLATE))
    document.add_paragraph(words)
    raw = BytesIO()
    document.save(raw)
    return raw.getvalue()


def test_a_changed_template_is_tried_and_then_used_for_the_next_proposal(
    boss: Client, draft: Proposal, settings: Any
) -> None:
    page = upload(boss, with_a_line("We have been here since the mill closed.")).content.decode()
    assert "“ours.docx” is in use as template number 1" in page
    found = proposal_look(draft, Terms(date(2026, 3, 20)), on=TODAY)
    assert found.template == PaperTemplate.objects.get()
    text = [paragraph.text for paragraph in Document(BytesIO(found.document)).paragraphs]
    assert "We have been here since the mill closed." in text


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"not a document", "not a Word document"),
        (with_a_line("{{ option.margin }}"), "{{ option }} is not known"),
        (with_a_line("This foam has R-4 per inch."), "gives an R-value per inch"),
        (b"x" * (LARGEST + 1), "larger than 2 MB"),
    ],
    ids=["no docx", "unknown name", "forbidden claim", "too large"],
)
def test_a_template_that_cannot_be_used_leaves_the_one_in_use(boss: Client, content: bytes, said: str) -> None:
    page = upload(boss, content).content.decode()
    assert "<title>Error: " in page
    assert said in page.replace("&#x27;", "'")
    assert current_template() is None


def test_earlier_templates_are_kept_and_taken_back(boss: Client, owner: User) -> None:
    first, second = with_a_line("One."), with_a_line("Two.")
    upload(boss, first, "one.docx")
    upload(boss, second, "two.docx")
    boss.post("/templates/restore/", {"number": "1"})
    current = current_template()
    assert current is not None
    assert (current.number, current.name, current.restores) == (3, "one.docx", 1)
    assert current.sha256 == hashlib.sha256(first).hexdigest()
    page = boss.post("/templates/restore/", {"number": "0"}, follow=True).content.decode()
    assert "in use again, as template number 4" in page
    fetched = boss.get("/templates/2/proposal.docx")
    assert b"".join(fetched.streaming_content) == second  # type: ignore[attr-defined]


def test_the_template_in_use_again_writes_nothing(owner: User) -> None:
    content = with_a_line("One.")
    first = template_take(content=content, name="one.docx", by=owner, now=NOW)
    assert template_take(content=content, name="one.docx", by=owner, now=NOW) == first
    assert template_restore(earlier=first, by=owner, now=NOW) == first
    assert PaperTemplate.objects.count() == 1


def test_only_the_owner_changes_the_template(salesperson: User) -> None:
    with pytest.raises(ValidationError, match="Only the owner"):
        template_take(content=with_a_line("One."), name="one.docx", by=salesperson, now=NOW)


def test_a_template_with_macros_is_refused() -> None:
    raw = BytesIO(TEMPLATE.read_bytes())
    with zipfile.ZipFile(raw, "a") as package:
        package.writestr("word/vbaProject.bin", b"x")
    assert template_trouble(raw.getvalue()) == ["The file holds macros. Save it as .docx without them and try again."]


def test_a_withdrawn_proposal_gets_no_new_link(send: Callable[..., Any], salesperson: User) -> None:
    out = send(at=NOW)
    proposal_withdraw(proposal=out.proposal, reason="A slip.", by=salesperson, now=NOW)
    with pytest.raises(Conflict):
        proposal_link_again(proposal=out.proposal, by=salesperson, now=NOW)
