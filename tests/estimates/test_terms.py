"""The legal words of a contract: what each place asks for, what is missing, the days that are filled in.

S: printed text seen in a public copy. M: from memory, unconfirmed. D: derived here by a second method.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from estimates.cancellation import COPIES, DAYS
from estimates.contract import CLAUSES, required_clauses
from estimates.rules import BadRule, RuleRow, load_rules, places_of
from estimates.terms import BLANK, BUILT_IN, NOTICE, NOTICE_USES, STATEMENT, Parties, Terms, plain, terms_of

ROWS = load_rules()
DAY = date(2026, 11, 25)
WHO = Parties("Nerissa {deadline} O'Fern", "Hollow & Co", "2 Hollow Mill Road, Hollow", "First {days} Bank")


def terms(state: str, rows: Any = ROWS, **changes: Any) -> Terms:
    given: dict[str, Any] = {"on": DAY, "parties": WHO, "products": "foam"}
    return terms_of(rows, places_of(state), **(given | changes))


def without(topic: str) -> list[RuleRow]:
    return [row for row in ROWS if row.topic != topic]


# S: 16 CFR 429.1(a), the statement as a public copy of the section prints it.
FEDERAL_STATEMENT = (
    "You, the buyer, may cancel this transaction at any time prior to midnight of the third business day after the "
    "date of this transaction. See the attached notice of cancellation form for an explanation of this right."
)

# S: Maryland Commercial Law 14-302.1, as the state's home improvement commission prints it.
MARYLAND_STATEMENT = (
    "You, the buyer, may cancel this transaction at any time prior to midnight of the fifth business day or seventh "
    "business day if the buyer is at least 65 years old, after the date of this transaction. See the attached notice "
    "of cancellation for an explanation of this right."
)


def test_the_statement_is_the_printed_one() -> None:
    assert terms("NY").statement == FEDERAL_STATEMENT
    assert terms("MD").statement == MARYLAND_STATEMENT


@pytest.mark.parametrize(
    ("state", "days"),
    [
        ("OH", "THREE BUSINESS DAYS from"),
        ("NY", "THREE BUSINESS DAYS from"),
        # S for five and seven in Maryland; M for five at 65 in California.
        ("MD", "FIVE BUSINESS DAYS, or SEVEN BUSINESS DAYS if you are at least 65 years old, from"),
        ("CA", "THREE BUSINESS DAYS, or FIVE BUSINESS DAYS if you are at least 65 years old, from"),
    ],
)
def test_the_notice_names_the_longest_right_of_the_place(state: str, days: str) -> None:
    # S: first line and refund of the form of 16 CFR 429.1(b).
    first, refund = terms(state).notice[:2]
    assert first == f"You may CANCEL this transaction, without any Penalty or Obligation, within {days} the above date."
    assert "returned within TEN BUSINESS DAYS following receipt by the seller" in refund


def test_the_notice_ends_with_the_words_of_the_form() -> None:
    # S: last lines of the form, in public copies of it.
    *_, how, last = terms("NY").notice
    assert how == (
        "To cancel this transaction, mail or deliver a signed and dated copy of this Cancellation Notice or any other "
        "written notice, or send a telegram, to Hollow & Co, at 2 Hollow Mill Road, Hollow, NOT LATER THAN MIDNIGHT OF "
        f"{BLANK}."
    )
    assert last == "I HEREBY CANCEL THIS TRANSACTION."
    assert len(NOTICE_USES) == COPIES


@pytest.mark.parametrize(
    ("signed", "deadline"),
    [
        # PRODUCT P7; D: counted by hand on the calendar, an observed holiday skipped for the later day.
        (date(2026, 3, 6), "10 March 2026"),
        (date(2026, 5, 22), "27 May 2026"),
        (date(2026, 7, 2), "8 July 2026"),
        (date(2026, 12, 23), "28 December 2026"),
        (date(2027, 12, 29), "4 January 2028"),
    ],
)
def test_the_deadline_is_filled_in_when_somebody_signs(signed: date, deadline: str) -> None:
    found = terms("NY", signed_on=signed)
    assert found.deadline == deadline
    assert found.notice[-2].endswith(f"MIDNIGHT OF {deadline}.")


def test_the_deadline_is_that_of_the_longest_right() -> None:
    # D: from Wed 25 Nov 2026, Thanksgiving and Sundays skipped: 27, 28, 30, 1, 2, 3, 4 December is the seventh.
    assert terms("MD", signed_on=DAY).deadline == "4 December 2026"
    # D: 27, 28, 30 November, 1 and 2 December: the fifth.
    assert terms("CA", signed_on=DAY).deadline == "2 December 2026"


def test_names_with_braces_stay_names() -> None:
    (oral,) = [clause for clause in terms("MD").clauses if clause.signed]
    assert oral.text.startswith("I, Nerissa {deadline} O'Fern, have been provided oral notice")
    (kept,) = [clause for clause in terms("NY").clauses if clause.name == "deposit_in_trust"]
    assert kept.text.endswith("Kept at: First {days} Bank.")


def test_a_bank_that_is_not_named_is_named_later() -> None:
    # S: within ten business days, New York Lien Law 71-a(4).
    parties = replace(WHO, depositary="")
    (kept,) = [clause for clause in terms("NY", parties=parties).clauses if clause.name == "deposit_in_trust"]
    assert kept.text.endswith("We tell you in writing, within ten business days, where they are kept.")


def test_the_lien_notice_of_new_york_is_the_printed_one() -> None:
    # S: New York General Business Law 771(1)(d), in bold face type.
    (lien,) = [clause for clause in terms("NY").clauses if clause.name == "lien_notice"]
    assert lien.text == (
        "Any contractor, subcontractor, or materialman who provides home improvement goods or services pursuant "
        "to your home improvement contract and who is not paid may have a valid legal claim against your property "
        "known as a mechanic’s lien. Any mechanic’s lien filed against your property may be discharged. Payment "
        "of the agreed-upon price under the home improvement contract prior to filing of a mechanic’s lien may "
        "invalidate such lien. The owner may contact an attorney to determine his rights to discharge a "
        "mechanic’s lien."
    )


@pytest.mark.parametrize("state", ["NY", "MD", "OH"])
def test_a_place_whose_words_are_all_there_has_no_fault(state: str) -> None:
    assert terms(state).faults == ()


def test_every_clause_that_is_asked_for_is_built_in_or_has_its_words_or_is_missed_by_name() -> None:
    for state in ("NY", "MD", "CA", "OH"):
        found = terms(state)
        missed = {fault.path.removeprefix("clauses.") for fault in found.faults}
        rights = {"right_to_cancel_statement", "notice_of_cancellation_two_copies"}
        given = BUILT_IN | rights | {clause.name for clause in found.clauses}
        assert set(required_clauses(ROWS, places_of(state), on=DAY)) - given == missed


def test_a_clause_without_words_is_named_with_the_rule_that_asks_for_it() -> None:
    (fault,) = terms("CA").faults
    assert fault.path == "clauses.lien_notice"
    assert "7159" in fault.message
    assert "enter" in str(terms("NY", rows=without(NOTICE)).faults[0])


@pytest.mark.parametrize("topic", [STATEMENT, NOTICE, DAYS])
def test_words_on_the_right_to_cancel_are_never_missed_in_silence(topic: str) -> None:
    paths = [fault.path for fault in terms("NY", rows=without(topic)).faults]
    assert f"rules.{NOTICE}" in paths or f"rules.{STATEMENT}" in paths


def test_without_any_rule_everything_is_missing_and_nothing_breaks() -> None:
    found = terms("NY", rows=(), signed_on=DAY)
    assert (found.statement, found.notice, found.clauses, found.deadline) == ("", (), (), BLANK)
    assert len(found.faults) == 3


@pytest.mark.parametrize(
    ("topic", "value", "message"),
    [
        (STATEMENT, "Until {last_dya}.", r"asks for \{last_dya\}; enter one of .*\{last_day\}"),
        (STATEMENT, 3, "enter a text, or a list of paragraphs"),
        (NOTICE, [], "enter a text, or a list of paragraphs"),
        (NOTICE, ["x", " "], "enter a text, or a list of paragraphs"),
        ("clause.lien_notice", {"title": "Lien"}, "holds no title or no text; enter both"),
        ("clause.lien_notice", {"title": "Lien", "text": "x", "sign": "yes"}, "enter true or false"),
        ("clause.lien_notice", {"title": "Lien", "text": "x", "big": 1}, "big is not known; enter one of title"),
        ("clause.lien_notice", "text", "enter a table"),
    ],
)
def test_rows_that_cannot_be_printed_are_refused_by_name(topic: str, value: Any, message: str) -> None:
    rows = [replace(row, value=value) if row.topic == topic else row for row in ROWS]
    with pytest.raises(BadRule, match=message):
        terms("NY", rows=rows)


def test_a_narrower_place_has_its_own_words() -> None:
    row = next(row for row in ROWS if row.topic == "clause.lien_notice")
    county = replace(row, jurisdiction="US-NY/Hollow", value={"title": "Lien", "text": "County words."})
    found = terms_of([*ROWS, county], places_of("NY", "Hollow"), on=DAY, parties=WHO, products="foam")
    assert [clause.text for clause in found.clauses if clause.name == "lien_notice"] == ["County words."]


def test_a_rule_is_quoted_to_a_customer_without_our_marks() -> None:
    row = next(row for row in ROWS if row.topic == CLAUSES and row.jurisdiction == "US")
    assert "[S]" not in plain(row)
    assert plain(row).endswith("(16 CFR 429.1(a) and (b))")


def test_long_rights_are_spelled() -> None:
    rows = [replace(row, value=20) if row.topic == DAYS and row.jurisdiction == "US" else row for row in ROWS]
    assert "the 20th business day" in terms("OH", rows=rows).statement
