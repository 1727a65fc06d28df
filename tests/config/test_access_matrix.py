"""Every URL x every role x the expected answer.

To add a page: add one row to `PAGES`. A URL that is missing here fails `test_every_url_of_the_program_has_a_row`.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from estimates import access
from estimates.estimating import revision_create
from estimates.leads import lead_take
from estimates.models import House, LeadSource, Role, User
from estimates.proposals import proposal_draft

SIGN_IN = 302
"""What somebody who is not signed in gets on a protected page: sent to the sign-in page."""

OWNER, SALES, PLAN, CREW, BOOKS = Role.OWNER, Role.SALESPERSON, Role.SCHEDULER, Role.CREW, Role.BOOKKEEPER
EVERYBODY = (OWNER, SALES, PLAN, CREW, BOOKS)
OFFICE = (OWNER, SALES, PLAN, BOOKS)


def lead_of(house: House) -> dict[str, Any]:
    """Arguments of the pages of a lead: one of the house of the test."""
    seller = User.objects.create_user(email="seller@cavitybook.test", full_name="Selwyn Tarn", role=Role.SALESPERSON)
    source = LeadSource.objects.create(name="Yard signs", cost_per_lead=Decimal("12.50"))
    lead = lead_take(
        person="Wren Halloran",
        phone="607-555-0142",
        state="NY",
        source=source,
        seller=seller,
        by=seller,
        now=timezone.now(),
        house=house,
    )
    return {"code": lead.code}


def proposal_of(house: House) -> dict[str, Any]:
    """Arguments of the pages of a proposal: a draft of the house of the test."""
    owner = User.objects.create_user(email="drafter@cavitybook.test", full_name="Odile Marrow", role=Role.OWNER)
    frozen = {
        "estimate": {"engine": "none", "house": house.reference, "options": []},
        "price_book": {"rates": [{"id": "price_valid", "best": 30}]},
    }
    revision = revision_create(
        house=house,
        snapshot=json.dumps(frozen),
        price_book="standard 1",
        schema_version="1",
        engine_version="none",
        seed=1,
        price=Decimal("100.00"),
        cost=Decimal("50.00"),
        created_by=owner,
        now=timezone.now(),
    )
    return {"code": proposal_draft(revision=revision, by=owner, now=timezone.now()).code}


def no_link(house: House) -> dict[str, Any]:
    """Arguments of the pages of a private link: a token that opens nothing."""
    return {"token": f"{'0' * 32}.{'x' * 43}"}


Arguments = Callable[[House], dict[str, Any]]
"""Makes the arguments of a URL from the house of the test, for example ``lambda house: {"code": house.code}``."""


@dataclass(frozen=True)
class Page:
    """One URL: its name, who is let in, and what they get."""

    name: str
    let_in: tuple[Role, ...]
    method: str = "get"
    code: int = 200
    anonymous: int = SIGN_IN
    refused: int = 403
    arguments: Arguments = field(default=lambda house: {})
    wrong_method: bool = False
    """The page refuses GET with 405 (it changes something)."""
    stranger: int | None = None
    """What a crew member gets who may not know of the object, where that differs from `let_in` (404, mostly)."""


PAGES = [
    Page("estimates-show-home", EVERYBODY),
    Page("estimates-sign-in", EVERYBODY, anonymous=200, code=302),
    Page("estimates-sign-out", EVERYBODY, method="post", code=302, wrong_method=True),
    Page("estimates-show-health", EVERYBODY, anonymous=200),
    Page("estimates-list-houses", OFFICE),
    Page("estimates-show-house", OFFICE, arguments=lambda house: {"code": house.code}),
    # The house of this test has no estimate, so those who may fetch its files are told there is none.
    Page(
        "estimates-download-file",
        (OWNER, SALES, BOOKS),
        code=404,
        arguments=lambda house: {"code": house.code, "name": "takeoff.json"},
    ),
    Page("estimates-list-leads", OFFICE),
    Page("estimates-take-lead", (OWNER, SALES)),
    Page("estimates-show-leads-alike", (OWNER, SALES), method="post", wrong_method=True),
    Page("estimates-change-lead-sources", (OWNER, SALES)),
    Page("estimates-show-lead", OFFICE, arguments=lead_of),
    Page("estimates-change-lead", (OWNER, SALES), arguments=lead_of),
    Page("estimates-move-lead", (OWNER, SALES), arguments=lambda house: {**lead_of(house), "stage": "visit_set"}),
    Page("estimates-log-call", (OWNER, SALES), arguments=lead_of),
    Page("estimates-make-house", (OWNER, SALES), method="post", code=302, wrong_method=True, arguments=lead_of),
    Page("reports-show-pipeline", (OWNER, SALES)),
    Page("reports-download-pipeline", (OWNER, SALES)),
    Page("estimates-list-proposals", (OWNER, SALES, BOOKS)),
    Page("estimates-show-proposal", (OWNER, SALES, BOOKS), arguments=proposal_of),
    # The revision of this test was made by no engine of ours, so its document cannot be written.
    Page(
        "estimates-download-paper",
        (OWNER, SALES, BOOKS),
        code=503,
        arguments=lambda house: {**proposal_of(house), "name": "proposal.docx"},
    ),
    Page("estimates-check-proposal", (OWNER, SALES), arguments=proposal_of),
    Page("estimates-withdraw-proposal", (OWNER, SALES), arguments=proposal_of),
    # Nothing has gone out, so there is no link to renew.
    Page("estimates-renew-link", (OWNER, SALES), method="post", code=409, wrong_method=True, arguments=proposal_of),
    Page("estimates-close-link", (OWNER, SALES), arguments=proposal_of),
    Page(
        "estimates-answer-question",
        (OWNER, SALES),
        code=404,
        arguments=lambda house: {**proposal_of(house), "question": uuid.UUID(int=0)},
    ),
    Page("jobs-record-cancellation", (OWNER, SALES), code=302, arguments=proposal_of),
    Page("jobs-decide-cancellation", (OWNER,), code=404, arguments=proposal_of),
    Page(
        "estimates-draft-proposal",
        (OWNER, SALES),
        method="post",
        code=302,
        wrong_method=True,
        arguments=lambda house: {"code": house.code},
    ),
    Page("estimates-list-templates", (OWNER,)),
    Page("estimates-restore-template", (OWNER,), method="post", code=404, wrong_method=True),
    Page("estimates-download-template", (OWNER,), arguments=lambda house: {"number": 0}),
    # Private links are for people without an account; one that opens nothing tells everybody the same.
    *(
        Page(name, EVERYBODY, code=404, anonymous=404, arguments=no_link)
        for name in (
            "jobs-show-proposal",
            "jobs-read-fact-sheets",
            "jobs-ask-question",
            "jobs-accept-proposal",
            "jobs-decline-proposal",
            "jobs-cancel-contract",
            "jobs-sign-off-job",
        )
    ),
    Page(
        "jobs-answer-change",
        EVERYBODY,
        code=404,
        anonymous=404,
        arguments=lambda house: {**no_link(house), "change": house.code},
    ),
    Page(
        "jobs-download-homeowner-paper",
        EVERYBODY,
        code=404,
        anonymous=404,
        arguments=lambda house: {**no_link(house), "paper": house.code, "kind": "docx"},
    ),
    Page(
        "jobs-download-paper",
        EVERYBODY,
        code=404,
        anonymous=404,
        arguments=lambda house: {**no_link(house), "name": "proposal.docx"},
    ),
    Page(
        "jobs-note-opening",
        EVERYBODY,
        method="post",
        code=404,
        anonymous=404,
        wrong_method=True,
        arguments=no_link,
    ),
    # Crews, people, rigs.
    *(
        Page(name, (OWNER, PLAN))
        for name in (
            "jobs-list-crews",
            "jobs-add-crew",
            "jobs-add-worker",
            "jobs-add-rig",
            "jobs-add-certificate",
            "jobs-add-absence",
        )
    ),
    Page("jobs-change-crew", (OWNER, PLAN), code=404, arguments=lambda house: {"code": house.code}),
    Page("jobs-change-worker", (OWNER, PLAN), code=404, arguments=lambda house: {"code": house.code}),
    Page("jobs-change-rig", (OWNER, PLAN), code=404, arguments=lambda house: {"code": house.code}),
    Page(
        "jobs-remove-absence",
        (OWNER, PLAN),
        method="post",
        code=302,
        wrong_method=True,
        arguments=lambda house: {"code": house.code},
    ),
    # Jobs. The house of this test has none, so whoever may look is told so.
    Page("jobs-list-jobs", OFFICE),
    Page("jobs-show-job", OFFICE, code=404, arguments=lambda house: {"code": house.code}),
    Page(
        "jobs-book-job",
        (OWNER, PLAN),
        method="post",
        code=404,
        wrong_method=True,
        arguments=lambda house: {"code": house.code},
    ),
    Page("jobs-change-job", (OWNER, PLAN), code=404, arguments=lambda house: {"code": house.code}),
    Page("jobs-move-job", (OWNER, PLAN), code=404, arguments=lambda house: {"code": house.code, "to": "started"}),
    Page("jobs-add-gate", (OWNER, PLAN), code=404, arguments=lambda house: {"code": house.code}),
    Page("jobs-meet-gate", (OWNER, PLAN), code=404, arguments=lambda house: {"code": house.code, "gate": house.code}),
    Page("jobs-draft-change", (OWNER, SALES, PLAN), code=404, arguments=lambda house: {"code": house.code}),
    Page("jobs-show-change", OFFICE, code=404, arguments=lambda house: {"code": house.code, "change": house.code}),
    Page(
        "jobs-redraft-change",
        (OWNER, SALES),
        code=404,
        arguments=lambda house: {"code": house.code, "change": house.code},
    ),
    Page(
        "jobs-withdraw-change",
        (OWNER, SALES, PLAN),
        code=404,
        arguments=lambda house: {"code": house.code, "change": house.code},
    ),
    *(
        Page(name, (OWNER, SALES), method="post", code=404, wrong_method=True, arguments=arguments)
        for name, arguments in (
            ("jobs-draft-found", lambda house: {"code": house.code}),
            ("jobs-issue-change", lambda house: {"code": house.code, "change": house.code}),
        )
    ),
    # Verification. The house of this test has no job, so whoever may look is told there is none.
    Page("jobs-show-verification", (OWNER, PLAN, CREW), code=404, arguments=lambda house: {"code": house.code}),
    Page(
        "jobs-record-test",
        (OWNER, PLAN, CREW),
        code=404,
        arguments=lambda house: {"code": house.code, "when": "out"},
    ),
    Page("jobs-add-finding", (OWNER, PLAN, CREW), code=404, arguments=lambda house: {"code": house.code}),
    Page(
        "jobs-close-finding",
        (OWNER, PLAN, CREW),
        code=404,
        arguments=lambda house: {"code": house.code, "finding": house.code},
    ),
    Page(
        "jobs-show-infrared",
        (OWNER, PLAN, CREW),
        code=404,
        arguments=lambda house: {"code": house.code, "key": "north"},
    ),
    Page(
        "jobs-verify-job",
        (OWNER, PLAN, CREW),
        method="post",
        code=404,
        wrong_method=True,
        arguments=lambda house: {"code": house.code},
    ),
    Page(
        "jobs-release-void",
        (OWNER,),
        method="post",
        code=404,
        wrong_method=True,
        arguments=lambda house: {"code": house.code},
    ),
    # What closed jobs teach; nothing is proposed here, so there is nothing to decide.
    Page("reports-show-learning", (OWNER,)),
    Page("reports-check-learning", (OWNER,), method="post", code=409, wrong_method=True),
    Page("reports-decide-learning", (OWNER,), method="post", code=409, wrong_method=True),
    Page("jobs-compare-bills", (OWNER,), code=404, arguments=lambda house: {"code": house.code}),
    Page("jobs-write-letter", (OWNER,), code=404, arguments=lambda house: {"code": house.code}),
    Page("reports-download-letter", (OWNER, BOOKS), arguments=lambda house: {"year": 2026, "month": 3}),
    Page("reports-list-reports", (OWNER, SALES, BOOKS)),
    Page("reports-show-report", (OWNER, SALES, BOOKS), arguments=lambda house: {"name": "winning"}),
    Page("reports-download-report", (OWNER, SALES, BOOKS), arguments=lambda house: {"name": "winning"}),
    # The schedule; nothing of this test is a phase, and its house is no crew.
    Page("jobs-show-schedule", OFFICE),
    Page("jobs-show-plan", (OWNER, PLAN)),
    Page("jobs-lose-day", (OWNER, PLAN)),
    Page("jobs-enter-weather", (OWNER, PLAN)),
    Page("jobs-list-calendars", (OWNER, PLAN)),
    # A form without a plan is told to look again.
    Page("jobs-better-plan", (OWNER, PLAN), method="post", code=409, wrong_method=True),
    Page("jobs-take-plan", (OWNER, PLAN), method="post", code=302, wrong_method=True),
    Page("jobs-place-phase", (OWNER, PLAN), code=404, arguments=lambda house: {"code": house.code}),
    *(
        Page(
            name,
            (OWNER, PLAN),
            method="post",
            code=404,
            wrong_method=True,
            arguments=lambda house: {"code": house.code},
        )
        for name in (
            "jobs-pin-phase",
            "jobs-promise-phase",
            "jobs-remove-phase",
            "jobs-renew-calendar",
            "jobs-revoke-calendar",
        )
    ),
    Page("jobs-show-calendar", EVERYBODY, code=404, anonymous=404, arguments=no_link),
    # Pages of the crew. The house of this test has no job; whoever may look is told there is none.
    Page("jobs-show-today", (OWNER, PLAN, CREW)),
    Page("jobs-show-queue", (OWNER, CREW)),
    Page("jobs-tell-session", (OWNER, CREW)),
    Page("jobs-receive-entries", (OWNER, CREW), method="post", code=400, wrong_method=True),
    Page("jobs-give-worker", EVERYBODY, anonymous=200),
    Page("jobs-show-crew-sheet", (OWNER, PLAN, CREW), code=404, arguments=lambda house: {"code": house.code}),
    Page(
        "jobs-show-crew-wall",
        (OWNER, PLAN, CREW),
        code=404,
        arguments=lambda house: {"code": house.code, "key": "north"},
    ),
    Page("jobs-report-entry", (OWNER, CREW), code=404, arguments=lambda house: {"code": house.code, "name": "note"}),
    Page(
        "jobs-show-crew-photo",
        (OWNER, PLAN, CREW),
        code=404,
        arguments=lambda house: {"code": house.code, "entry": house.code},
    ),
    Page(
        "jobs-make-paper",
        (OWNER, PLAN, CREW),
        method="post",
        code=404,
        wrong_method=True,
        arguments=lambda house: {"code": house.code, "kind": "receipt"},
    ),
    Page(
        "jobs-download-job-paper",
        (OWNER, PLAN, CREW),
        code=404,
        arguments=lambda house: {"code": house.code, "paper": house.code, "kind": "docx"},
    ),
    Page("jobs-show-money-desk", (OWNER, BOOKS)),
    Page("jobs-show-months", (OWNER, BOOKS)),
    Page("jobs-close-month", (OWNER, BOOKS), method="post", code=302, wrong_method=True),
    Page("jobs-show-statement", (OWNER, BOOKS), arguments=lambda house: {"code": house.code}),
    *(
        Page(name, (OWNER, BOOKS), code=404, arguments=lambda house: {"code": house.code})
        for name in (
            "jobs-credit-invoice",
            "jobs-show-money",
            "jobs-add-cost",
            "jobs-record-payment",
            "jobs-pay-refund",
            "jobs-record-tax-certificate",
        )
    ),
    Page(
        "jobs-download-invoice",
        (OWNER, BOOKS),
        code=404,
        arguments=lambda house: {"code": house.code, "kind": "docx"},
    ),
    Page(
        "jobs-issue-invoice", (OWNER, BOOKS), code=404, arguments=lambda house: {"code": house.code, "kind": "deposit"}
    ),
    Page("jobs-show-costs", (OWNER,), code=404, arguments=lambda house: {"code": house.code}),
    *(
        Page(
            name,
            (OWNER, BOOKS),
            method="post",
            code=404,
            wrong_method=True,
            arguments=lambda house: {"code": house.code},
        )
        for name in ("jobs-post-costs", "jobs-apply-credit", "jobs-settle-cancellation")
    ),
    Page(
        "jobs-download-your-invoice",
        EVERYBODY,
        code=404,
        anonymous=404,
        arguments=lambda house: {**no_link(house), "invoice": house.code, "kind": "docx"},
    ),
    Page("reports-download-hpxml", OFFICE, code=302, arguments=lambda house: {"code": house.code}),
    Page("reports-bring-hpxml", (OWNER, SALES), arguments=lambda house: {"code": house.code}),
    Page("reports-show-exports", (OWNER, BOOKS)),
    Page("reports-make-export", (OWNER, BOOKS), code=302, method="post", wrong_method=True),
    Page("reports-change-accounts", (OWNER, BOOKS)),
    Page("reports-show-export", (OWNER, BOOKS), code=404, arguments=lambda house: {"code": uuid.uuid4()}),
    Page("reports-download-export", (OWNER, BOOKS), code=404, arguments=lambda house: {"code": uuid.uuid4()}),
    Page("reports-show-margins", (OWNER, BOOKS)),
    Page("reports-download-margins", (OWNER, BOOKS)),
    # Live estimate, revisions, price books. The house of this test has neither assessment nor revision.
    Page("estimates-show-estimate", (OWNER, SALES, BOOKS), arguments=lambda house: {"code": house.code}),
    Page(
        "estimates-try-estimate",
        (OWNER, SALES),
        method="post",
        wrong_method=True,
        arguments=lambda house: {"code": house.code},
    ),
    Page(
        "estimates-keep-estimate",
        (OWNER, SALES),
        method="post",
        wrong_method=True,
        arguments=lambda house: {"code": house.code},
    ),
    Page(
        "estimates-freeze-estimate",
        (OWNER, SALES),
        method="post",
        code=302,
        wrong_method=True,
        arguments=lambda house: {"code": house.code},
    ),
    Page("estimates-list-revisions", OFFICE, arguments=lambda house: {"code": house.code}),
    Page("estimates-compare-revisions", OFFICE, arguments=lambda house: {"code": house.code}),
    Page("estimates-show-revision", OFFICE, code=404, arguments=lambda house: {"code": house.code, "number": 1}),
    Page("estimates-release-floor", (OWNER,), code=404, arguments=lambda house: {"code": house.code, "number": 1}),
    Page("estimates-list-price-books", (OWNER, SALES)),
    Page("estimates-show-price-book", (OWNER, SALES), code=404, arguments=lambda house: {"code": house.code}),
    Page("estimates-try-price-book", (OWNER, SALES), code=404, arguments=lambda house: {"code": house.code}),
    Page("estimates-new-price-book", (OWNER,), arguments=lambda house: {"name": "standard"}),
    Page(
        "estimates-publish-price-book",
        (OWNER,),
        method="post",
        # A form without a version: the editor is shown again, with what to do.
        code=409,
        wrong_method=True,
        arguments=lambda house: {"name": "standard"},
    ),
    # The house of this test has no assessment: who may change one is sent to its page to begin it.
    Page("estimates-show-assessment", OFFICE, arguments=lambda house: {"code": house.code}),
    *(
        Page(name, (OWNER, SALES), method="post", code=302, wrong_method=True, arguments=arguments)
        for name, arguments in (
            ("estimates-begin-assessment", lambda house: {"code": house.code}),
            ("estimates-complete-assessment", lambda house: {"code": house.code}),
            ("estimates-remove-answer", lambda house: {"code": house.code, "hazard": "asbestos", "key": "1"}),
            ("estimates-remove-photo", lambda house: {"code": house.code, "key": "photo-1"}),
        )
    ),
    Page(
        "estimates-preview-wall",
        (OWNER, SALES),
        method="post",
        code=204,
        wrong_method=True,
        arguments=lambda house: {"code": house.code},
    ),
    Page("estimates-enter-assessment", (OWNER, SALES), arguments=lambda house: {"code": house.code}),
    *(
        Page(name, (OWNER, SALES), code=302, arguments=arguments)
        for name, arguments in (
            ("estimates-edit-topic", lambda house: {"code": house.code, "topic": "house"}),
            ("estimates-add-part", lambda house: {"code": house.code, "kind": "walls"}),
            ("estimates-edit-part", lambda house: {"code": house.code, "kind": "walls", "key": "front"}),
            ("estimates-remove-part", lambda house: {"code": house.code, "kind": "walls", "key": "front"}),
            ("estimates-import-bills", lambda house: {"code": house.code}),
            ("estimates-add-photo", lambda house: {"code": house.code}),
            ("estimates-answer-gates", lambda house: {"code": house.code}),
            ("estimates-answer-gate", lambda house: {"code": house.code, "hazard": "asbestos"}),
            ("estimates-change-answer", lambda house: {"code": house.code, "hazard": "asbestos", "key": "1"}),
        )
    ),
    Page("estimates-list-gates", OFFICE, code=302, arguments=lambda house: {"code": house.code}),
    Page(
        "estimates-release-gate",
        (OWNER,),
        code=302,
        arguments=lambda house: {"code": house.code, "hazard": "asbestos"},
    ),
    Page(
        "estimates-show-photo",
        OFFICE,
        code=404,
        arguments=lambda house: {"code": house.code, "sha256": "0" * 64},
    ),
]

RELAXED = {"reports-show-margins", "reports-show-report"}
"""Names of the chart pages whose style-src is relaxed; nothing else ever is."""

CASES = [(page, role) for page in PAGES for role in (None, *EVERYBODY)]


def url_patterns(patterns: list[Any] | None = None) -> Iterator[URLPattern]:
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        if isinstance(pattern, URLResolver):
            yield from url_patterns(pattern.url_patterns)
        else:
            yield pattern


def case_id(value: Any) -> str:
    return value.name if isinstance(value, Page) else (value or "nobody")


@pytest.mark.django_db
@pytest.mark.parametrize(("row", "role"), CASES, ids=case_id)
def test_each_page_answers_each_role_as_the_table_says(
    row: Page, role: Role | None, person: Callable[..., User], house: House
) -> None:
    client = Client()
    if role is not None:
        client.force_login(person(role))
    response = getattr(client, row.method)(reverse(row.name, kwargs=row.arguments(house)))
    inside = row.code if role in row.let_in else row.refused
    expected = row.anonymous if role is None else inside
    assert response.status_code == expected
    if role is None and expected == SIGN_IN:
        assert response.headers["Location"].startswith(reverse("estimates-sign-in"))


@pytest.mark.django_db
@pytest.mark.parametrize("row", PAGES, ids=case_id)
def test_a_stranger_gets_what_the_table_says(row: Page, stranger: User, house: House) -> None:
    client = Client()
    client.force_login(stranger)
    response = getattr(client, row.method)(reverse(row.name, kwargs=row.arguments(house)))
    as_crew = row.code if CREW in row.let_in else row.refused
    assert response.status_code == (as_crew if row.stranger is None else row.stranger)


@pytest.mark.django_db
@pytest.mark.parametrize("row", [page for page in PAGES if page.method == "get"], ids=case_id)
def test_only_listed_pages_relax_the_content_policy(row: Page, owner: User, house: House) -> None:
    client = Client()
    client.force_login(owner)
    policy = client.get(reverse(row.name, kwargs=row.arguments(house))).headers["Content-Security-Policy"]
    assert ("unsafe-inline" in policy) == (row.name in RELAXED)
    assert "unsafe-eval" not in policy
    script = next(part for part in policy.split(";") if part.strip().startswith("script-src"))
    assert script.strip() == "script-src 'self'"


@pytest.mark.django_db
@pytest.mark.parametrize("row", [page for page in PAGES if page.wrong_method], ids=case_id)
def test_a_page_that_changes_something_refuses_get(row: Page, owner: User, house: House) -> None:
    client = Client()
    client.force_login(owner)
    assert client.get(reverse(row.name, kwargs=row.arguments(house))).status_code == 405


@pytest.mark.parametrize("row", [page for page in PAGES if page.method == "post"], ids=case_id)
def test_a_page_that_is_posted_to_is_marked_as_refusing_get(row: Page) -> None:
    assert row.wrong_method


def test_every_url_of_the_program_has_a_row() -> None:
    assert {pattern.name for pattern in url_patterns()} == {page.name for page in PAGES}


def test_every_view_declares_who_may_use_it() -> None:
    undeclared = [str(pattern.pattern) for pattern in url_patterns() if access.policy_of(pattern.callback) is None]
    assert undeclared == []


def test_only_views_declared_public_can_be_opened_without_signing_in() -> None:
    opened = {pattern.name for pattern in url_patterns() if not getattr(pattern.callback, "login_required", True)}
    declared = {pattern.name for pattern in url_patterns() if access.policy_of(pattern.callback) == access.PUBLIC}
    assert opened == declared
    assert declared == {page.name for page in PAGES if page.anonymous != SIGN_IN}


def test_the_table_lets_in_whom_the_actions_let_in() -> None:
    for pattern in url_patterns():
        policy = access.policy_of(pattern.callback)
        rows = [page for page in PAGES if page.name == pattern.name]
        wanted = frozenset(EVERYBODY) if policy == access.PUBLIC else access.ACTIONS[str(policy)]
        assert all(set(row.let_in) == wanted for row in rows), pattern.name
