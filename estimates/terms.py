"""The legal words of a contract, by the rule rows of its place: clauses, right to cancel, notice, deposit.

Words come from rows; what no row holds is named as a fault, and a paper with a fault is no contract.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from estimates.cancellation import DAYS, DAYS_AGE_65, REFUND_DAYS, NoticeDelivery, cancellation_right
from estimates.contract import clause_faults
from estimates.proposal_words import long_date
from estimates.records import Fault
from estimates.rules import BadRule, RuleRow, rule_on, rules_on, table_of, whole_of

STATEMENT, NOTICE, FACT_SHEET, CLAUSE = (
    "cancellation.statement",
    "cancellation.notice",
    "fact_sheet.line",
    "clause.",
)
"""Topics of the rule table; the text of a clause stands in the topic that `CLAUSE` and its name make."""

BUILT_IN = frozenset(
    (
        "seller_name_and_address",
        "date_of_sale",
        "licence_number",
        "start_and_completion_dates",
        "work_and_materials",
        "payment_schedule",
    )
)
"""Clauses that the paper fulfils by its own parts; `estimates.proposal.NEEDED` holds templates to them."""

BLANK = "____________________"
"""To be filled in by hand at signing."""

NOTICE_USES = (
    "This page is a form of its own and no part of the contract: keep it.",
    "This page is a form of its own and no part of the contract: send or hand it to us if you cancel.",
)
"""What each copy of the notice of cancellation is for; there are `estimates.cancellation.COPIES` of them."""

CHANGES = (
    "Nothing beyond this paper is done or charged before you have signed for it. Only what makes the house safe in an "
    "emergency is done at once; we show it to you by photo."
)
"""How work beyond the paper comes about. Common practice of the trade (CP)."""

DATES = (
    "What may move these dates: weather below the least temperature of the foam, damp framing, what shows only when a "
    "wall is opened, approvals and work of others named in this paper."
)
"""What would change the dates of a contract; asked for by New York General Business Law 771(1)(b) (S)."""

_ORDINALS = (
    "", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth", "eleventh",
    "twelfth", "thirteenth", "fourteenth", "fifteenth",
)  # fmt: skip
_NUMBERS = (
    "", "ONE", "TWO", "THREE", "FOUR", "FIVE", "SIX", "SEVEN", "EIGHT", "NINE", "TEN", "ELEVEN", "TWELVE", "THIRTEEN",
    "FOURTEEN", "FIFTEEN",
)  # fmt: skip

_MARKS = re.compile(r"\s*\[[^\]]{1,40}\]")


@dataclass(frozen=True, slots=True)
class Clause:
    """A clause that a row gives the words of; `signed`: it bears a signature of its own."""

    name: str
    title: str
    text: str
    signed: bool


@dataclass(frozen=True, slots=True)
class Terms:
    """What a contract of a place says. `transaction_on` and `deadline` are days, or `BLANK` until somebody signs.

    `faults` name what is missing; with any of them the paper is no contract.
    """

    clauses: tuple[Clause, ...]
    statement: str
    notice: tuple[str, ...]
    transaction_on: str
    deadline: str
    fact_sheet: str
    faults: tuple[Fault, ...]


@dataclass(frozen=True, slots=True)
class Parties:
    """Who signs: names as printed, the seller's address in a line, bank of advance payments ("" : named later)."""

    customer: str
    seller: str
    address: str
    depositary: str = ""


def plain(row: RuleRow) -> str:
    """The text of a row as a customer reads it: source, but no mark of ours.

    Examples
    --------
    >>> day = date(2026, 1, 1)
    >>> plain(RuleRow("US", "x", day, None, 1, "A third at most. [S]", "1 CFR 2", day))
    'A third at most. (1 CFR 2)'
    """
    return f"{_MARKS.sub('', row.text).strip()} ({row.source})"


def terms_of(
    rows: Iterable[RuleRow],
    places: Sequence[str],
    *,
    on: date,
    parties: Parties,
    products: str,
    signed_on: date | None = None,
) -> Terms:
    """The legal words of a contract.

    Parameters
    ----------
    rows, places, on : the rule table, the jurisdictions of the house, the day of looking up.
    parties : who signs.
    products : the products whose fact sheets are shown, in a sentence.
    signed_on : day of signature; None: not yet, and the days stay blank.

    Returns
    -------
    Terms. The right to cancel is the longest of the places; a longer one for buyers of 65 is named beside it, and
    counts for the deadline, because their age is asked at signing.

    Raises
    ------
    BadRule : a row whose text cannot be filled in; names it and what to enter.

    References
    ----------
    .. [1] 16 CFR 429.1 (S): statement beside the signature, notice in duplicate. 460.15 (S): fact sheets shown.
    """
    table = list(rows)
    days = _CancelDays.of(table, places, on)
    deadline = BLANK if signed_on is None or days is None else long_date(_last_day(table, places, signed_on))
    blanks = {
        "customer": parties.customer,
        "seller": parties.seller,
        "address": parties.address,
        "depositary": _depositary(parties.depositary),
        "products": products,
        "deadline": deadline,
        **({} if days is None else days.words()),
    }
    statement = _texts(rule_on(table, places, STATEMENT, on), blanks) if days else ()
    notice = _texts(rule_on(table, places, NOTICE, on), blanks) if days else ()
    fact_sheet = _texts(rule_on(table, places, FACT_SHEET, on), blanks)
    clauses = tuple(_clauses(table, places, on, blanks))
    return Terms(
        clauses=clauses,
        statement=" ".join(statement),
        notice=notice,
        transaction_on=BLANK if signed_on is None else long_date(signed_on),
        deadline=deadline,
        fact_sheet=" ".join(fact_sheet),
        faults=tuple(
            _faults(table, places, on, clauses, {STATEMENT: statement, NOTICE: notice, FACT_SHEET: fact_sheet})
        ),
    )


def _depositary(name: str) -> str:
    return f"Kept at: {name}." if name else "We tell you in writing, within ten business days, where they are kept."


@dataclass(frozen=True, slots=True)
class _CancelDays:
    """Business days to cancel, for buyers of 65 where they have more, and to give money back."""

    days: int
    older: int
    refund: int

    @classmethod
    def of(cls, rows: Sequence[RuleRow], places: Sequence[str], on: date) -> _CancelDays | None:
        known = {
            topic: [whole_of(row, low=1) for row in rules_on(rows, places, topic, on)]
            for topic in (DAYS, DAYS_AGE_65, REFUND_DAYS)
        }
        if not known[DAYS] or not known[REFUND_DAYS]:
            return None
        days = max(known[DAYS])
        return cls(days, max([days, *known[DAYS_AGE_65]]), min(known[REFUND_DAYS]))

    def words(self) -> dict[str, str]:
        last, days = f"{_spelled(self.days, _ORDINALS)} business day", f"{_spelled(self.days, _NUMBERS)} BUSINESS DAYS"
        if self.older > self.days:
            last += f", or of the {_spelled(self.older, _ORDINALS)} business day if a buyer is at least 65 years old,"
            days += f", or {_spelled(self.older, _NUMBERS)} BUSINESS DAYS if you are at least 65 years old,"
        return {"last_day": last, "days": days, "refund_days": f"{_spelled(self.refund, _NUMBERS)} BUSINESS DAYS"}


def _spelled(number: int, words: Sequence[str]) -> str:
    return words[number] if number < len(words) else f"{number}{'th' if words is _ORDINALS else ''}"


def _last_day(rows: Sequence[RuleRow], places: Sequence[str], signed_on: date) -> date:
    """Only the day counts here: it is the same in every zone when the clock starts at noon."""
    noon = datetime.combine(signed_on, time(12), UTC)
    right = cancellation_right(
        rows, places, signed_at=noon, notice=NoticeDelivery(noon, 2, "English", "English"), zone=ZoneInfo("UTC")
    )
    assert right.last_day is not None  # both copies are delivered with the paper
    return right.last_day


def _texts(row: RuleRow | None, blanks: Mapping[str, str]) -> tuple[str, ...]:
    """The paragraphs of a row with its blanks filled in; () without a row."""
    if row is None:
        return ()
    value = [row.value] if isinstance(row.value, str) else row.value
    if not isinstance(value, list) or not value or not all(isinstance(line, str) and line.strip() for line in value):
        raise BadRule(f"{row.jurisdiction} {row.topic} holds {row.value!r}; enter a text, or a list of paragraphs")
    return tuple(_filled(line, row, blanks) for line in value)


def _filled(line: str, row: RuleRow, blanks: Mapping[str, str]) -> str:
    def put(found: re.Match[str]) -> str:
        if found[1] not in blanks:
            raise BadRule(
                f"{row.jurisdiction} {row.topic} asks for {{{found[1]}}}; enter one of "
                f"{', '.join(f'{{{name}}}' for name in sorted(blanks))}"
            )
        return blanks[found[1]]

    # Not str.format: a name of people or firm may hold braces, and a brace that stands alone is a brace.
    return re.sub(r"\{(\w+)\}", put, line.replace("'", "’"))


def _clauses(rows: Sequence[RuleRow], places: Sequence[str], on: date, blanks: Mapping[str, str]) -> Iterable[Clause]:
    """Every clause of the places, the narrower place's words where two have one of the same name."""
    for topic in dict.fromkeys(row.topic for row in rows if row.topic.startswith(CLAUSE)):
        row = rule_on(rows, places, topic, on)
        if row is None:
            continue
        table: Mapping[str, Any] = table_of(row, "title", "text", "sign")
        title, text, sign = table.get("title"), table.get("text"), table.get("sign", False)
        if not (isinstance(title, str) and title.strip() and isinstance(text, str) and text.strip()):
            raise BadRule(f"{row.jurisdiction} {topic} holds no title or no text; enter both")
        if not isinstance(sign, bool):
            raise BadRule(f"{row.jurisdiction} {topic}.sign holds {sign!r}; enter true or false")
        name = topic.removeprefix(CLAUSE)
        yield Clause(name, title.replace("'", "’"), _filled(text, row, blanks), sign)


def _faults(
    rows: Sequence[RuleRow],
    places: Sequence[str],
    on: date,
    clauses: Sequence[Clause],
    texts: Mapping[str, tuple[str, ...]],
) -> Iterable[Fault]:
    for topic, found in texts.items():
        if not found:
            yield Fault(f"rules.{topic}", f"no text for {', '.join(places)} on {on}; enter a row with its source")
    given = set(BUILT_IN) | {clause.name for clause in clauses}
    # Named above already where they lack their text.
    given |= {"right_to_cancel_statement", "notice_of_cancellation_two_copies"}
    yield from clause_faults(rows, places, given, on=on)
