"""The buyer's right to cancel: until when, whether a notice came in time, and when money goes back.

A notice is never refused. The program says "in time" or "late - owner to decide" and keeps the stamps.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from functools import lru_cache
from zoneinfo import ZoneInfo

from estimates.rules import NOT_ADVICE, RuleRow, needed_rule, rules_on, whole_of
from estimates.start import StartGate

DAYS, DAYS_AGE_65, REFUND_DAYS, RESCISSION_DAYS = (
    "cancellation.business_days",
    "cancellation.business_days_age_65",
    "cancellation.refund_business_days",
    "rescission.business_days",
)
"""Topics of the rule table."""

COPIES = 2
"""Copies of the notice a buyer gets. Source: 16 CFR 429.1(b), "in duplicate" (S)."""


class Coverage(StrEnum):
    """What the contract states about the right to cancel; covered unless somebody states otherwise."""

    COVERED = "covered"
    EXEMPT = "exempt"
    EMERGENCY = "emergency"


class BadDeadline(ValueError):
    """Dates from which no deadline follows; names the field and what to enter."""


@lru_cache(maxsize=64)
def _holidays(year: int, observed: bool) -> frozenset[date]:
    import holidays

    # The first of January of the next year may be observed on the last of December.
    return frozenset(holidays.country_holidays("US", years=[year, year + 1], observed=observed))


def is_business_day(day: date, *, observed: bool = True) -> bool:
    """Whether a day counts: Saturdays do, Sundays and federal holidays do not.

    Parameters
    ----------
    day : the day.
    observed : leave out also the weekday on which a weekend's holiday is observed (the date itself never counts).

    References
    ----------
    .. [1] 16 CFR 429.0: "any calendar day except Sunday or any federal holiday". Whether an observed day is one, the
        rule does not say; 12 CFR 1026.2(a)(6), comment 2, says no for the right of rescission.

    Examples
    --------
    >>> is_business_day(date(2026, 7, 3)), is_business_day(date(2026, 7, 3), observed=False)
    (False, True)
    """
    return day.weekday() != 6 and day not in _holidays(day.year, observed)


def business_day_after(start: date, count: int, *, observed: bool = True) -> date:
    """The count-th business day after a day.

    Parameters
    ----------
    start : the day from which is counted; it is not counted itself.
    count : business days, >= 1. [day]
    observed : see `is_business_day`. Left on, the day is the later one.

    Raises
    ------
    BadDeadline : count is not a whole number above 0.

    Examples
    --------
    >>> business_day_after(date(2026, 5, 22), 3)
    datetime.date(2026, 5, 27)
    """
    if count < 1:
        raise BadDeadline(f"count is {count!r}; enter a whole number of business days above 0")
    day, left = start, count
    while left:
        day += timedelta(days=1)
        left -= is_business_day(day, observed=observed)
    return day


@dataclass(frozen=True, slots=True)
class NoticeDelivery:
    """How the notice of cancellation reached the buyer. `spoken_language` is the one the sale was made in."""

    delivered_at: datetime | None
    copies: int
    language: str
    spoken_language: str

    @property
    def faults(self) -> tuple[str, ...]:
        """Why this delivery does not start the clock; empty when it does."""
        faults = []
        if self.delivered_at is None:
            faults.append("the notice of cancellation is not yet delivered: hand it over and record when")
        if self.copies < COPIES:
            faults.append(f"{self.copies} of {COPIES} copies of the notice delivered: deliver both and record it")
        if self.language.strip().casefold() != self.spoken_language.strip().casefold():
            faults.append(
                f"the notice is in {self.language or 'no named language'}, the sale was made in "
                f"{self.spoken_language or 'no named language'}: deliver it in that language"
            )
        return tuple(faults)


@dataclass(frozen=True, slots=True)
class CancellationRight:
    """Until when a buyer may cancel.

    `last_day` and `deadline` (its midnight, in the zone of the house) are None while the clock has not started
    (`waiting` says why) and where no right is stated to exist. `rules` are the rows that were compared, the winning
    one first.
    """

    coverage: Coverage
    started_on: date | None
    last_day: date | None
    deadline: datetime | None
    rules: tuple[RuleRow, ...]
    waiting: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def running_out(self) -> bool:
        """Whether there is a right and its clock has started."""
        return self.deadline is not None

    @property
    def start_gate(self) -> StartGate | None:
        """What a start waits for: the end of the last day. None where no right is stated to exist."""
        if self.coverage is not Coverage.COVERED:
            return None
        return StartGate("end of the cancellation time", self.last_day, rule=self.rules[0].quote)


def cancellation_right(
    rows: Iterable[RuleRow],
    places: Sequence[str],
    *,
    signed_at: datetime,
    notice: NoticeDelivery,
    zone: ZoneInfo,
    coverage: Coverage = Coverage.COVERED,
    buyer_65: bool | None = None,
    observed: bool = True,
) -> CancellationRight:
    """Until when the buyer may cancel: midnight of the last business day of the longest right.

    Parameters
    ----------
    rows, places : the rule table and the jurisdictions of the house (`estimates.rules.places_of`).
    signed_at : when the buyer signed, with its time zone.
    notice : how the notice was delivered; the clock starts at the later of signature and delivered notice.
    zone : time zone of the house.
    coverage : what the contract states.
    buyer_65 : whether a buyer is 65 or older; not known (None) counts as yes, which is the later day.
    observed : see `is_business_day`; left on for the later day.

    Returns
    -------
    CancellationRight.

    Raises
    ------
    BadDeadline : a time without a zone.
    RuleMissing : no rule holds on the day of signature.

    References
    ----------
    .. [1] 16 CFR 429.0 and 429.1; longer rights of states by their rows.

    Examples
    --------
    >>> row = RuleRow("US", DAYS, date(2020, 1, 1), None, 3, "Third business day.", "16 CFR 429.1", date(2026, 11, 25))
    >>> friday = datetime(2026, 3, 6, 19, 30, tzinfo=ZoneInfo("America/New_York"))
    >>> right = cancellation_right([row], ("US",), signed_at=friday, zone=ZoneInfo("America/New_York"),
    ...     notice=NoticeDelivery(friday, 2, "English", "English"))
    >>> right.last_day, str(right.deadline)
    (datetime.date(2026, 3, 10), '2026-03-11 00:00:00-04:00')
    """
    signed_on = _local_day("signed_at", signed_at, zone)
    if coverage is not Coverage.COVERED:
        note = f"stated as {coverage}: no right to cancel under the rule; a notice is still accepted and stamped"
        return CancellationRight(coverage, None, None, None, (), (), (note, NOT_ADVICE))
    rules = list(rows)
    needed_rule(rules, places, DAYS, signed_on)
    compared = list(rules_on(rules, places, DAYS, signed_on))
    if buyer_65 is not False:
        compared += rules_on(rules, places, DAYS_AGE_65, signed_on)
    # The longest first; among equals the narrower place, whose wording the notice must use.
    compared.sort(key=lambda row: (-whole_of(row, low=1), -len(row.jurisdiction)))
    notes = [compared[0].quote]
    if buyer_65 is None and compared[0].topic == DAYS_AGE_65:
        notes.append("whether a buyer is 65 or older is not recorded: the longer time is used")
    if notice.delivered_at is None or notice.faults:
        return CancellationRight(coverage, None, None, None, tuple(compared), notice.faults, tuple(notes))
    started = max(signed_on, _local_day("delivered_at", notice.delivered_at, zone))
    last = business_day_after(started, whole_of(compared[0], low=1), observed=observed)
    return CancellationRight(coverage, started, last, _midnight(last, zone), tuple(compared), (), tuple(notes))


def _local_day(name: str, moment: datetime, zone: ZoneInfo) -> date:
    if moment.tzinfo is None:
        raise BadDeadline(f"{name} is {moment}, without a time zone; enter the moment with its zone")
    return moment.astimezone(zone).date()


def _midnight(last_day: date, zone: ZoneInfo) -> datetime:
    """The end of a day on the wall clock of the house, whatever that day's clock change."""
    return datetime.combine(last_day + timedelta(days=1), time(), tzinfo=zone)


def rescission_gate(
    rows: Iterable[RuleRow],
    places: Sequence[str],
    *,
    signed_on: date,
    notice_on: date | None,
    disclosures_on: date | None,
    observed: bool = True,
) -> StartGate:
    """Start gate of a job whose credit the home secures: the end of the buyer's right to rescind.

    Parameters
    ----------
    rows, places : the rule table and the jurisdictions of the house.
    signed_on, notice_on, disclosures_on : days of signing the credit, of the notice of the right, and of the lender's
        disclosures; the last one starts the clock, None: not yet.
    observed : see `is_business_day`; left on for the later day.

    References
    ----------
    .. [1] 12 CFR 1026.23(a)(3) and 1026.2(a)(6) (S).

    Examples
    --------
    >>> row = RuleRow("US", RESCISSION_DAYS, date(2020, 1, 1), None, 3, "Three.", "12 CFR 1026.23", date(2026, 11, 25))
    >>> day = date(2026, 3, 6)
    >>> rescission_gate([row], ("US",), signed_on=day, notice_on=day, disclosures_on=day).opens_on
    datetime.date(2026, 3, 10)
    """
    row = needed_rule(rows, places, RESCISSION_DAYS, signed_on)
    last = None
    if notice_on is not None and disclosures_on is not None:
        started = max(signed_on, notice_on, disclosures_on)
        last = business_day_after(started, whole_of(row, low=1), observed=observed)
    return StartGate("end of the right to rescind", last, rule=row.quote)


@dataclass(frozen=True, slots=True)
class CancellationNotice:
    """A buyer's notice: when it came, and when it was sent, by the moment or by the day of the postmark if known."""

    received_at: datetime
    sent_at: datetime | None = None
    postmarked_on: date | None = None


@dataclass(frozen=True, slots=True)
class CancellationAnswer:
    """What a notice means. `in_time` None: the right was stated not to exist. `refund_due` is the last day to pay."""

    in_time: bool | None
    words: str
    refund_due: date
    refund_rule: RuleRow


def judge_notice(
    right: CancellationRight,
    notice: CancellationNotice,
    rows: Iterable[RuleRow],
    places: Sequence[str],
    *,
    zone: ZoneInfo,
) -> CancellationAnswer:
    """Whether a notice came in time, and until when money must go back. Never a refusal.

    Parameters
    ----------
    right : from `cancellation_right`.
    notice : when it was sent, posted and received; the day of sending decides where it is known.
    rows, places, zone : as in `cancellation_right`.

    Returns
    -------
    CancellationAnswer. A right whose clock has not started cannot be late. The refund's days run from receipt and skip
    only the holidays themselves, not observed days: the earlier day is the safe one for the firm.

    Raises
    ------
    BadDeadline : a time without a zone, or a notice sent after it was received.
    RuleMissing : no rule on the refund.
    """
    received_on = _local_day("received_at", notice.received_at, zone)
    known = list(rows)
    refunds = rules_on(known, places, REFUND_DAYS, received_on)
    refund = min(refunds, key=lambda row: whole_of(row, low=1), default=None)
    if refund is None:
        refund = needed_rule(known, places, REFUND_DAYS, received_on)
    due = business_day_after(received_on, whole_of(refund, low=1), observed=False)
    sent_on = received_on
    if notice.sent_at is not None:
        sent_on = _local_day("sent_at", notice.sent_at, zone)
    elif notice.postmarked_on is not None:
        sent_on = notice.postmarked_on
    if sent_on > received_on:
        raise BadDeadline(f"the notice is sent on {sent_on} and received on {received_on}; correct one of them")
    if right.coverage is not Coverage.COVERED:
        return CancellationAnswer(None, f"stated as {right.coverage} - owner to decide", due, refund)
    in_time = right.last_day is None or sent_on <= right.last_day
    return CancellationAnswer(in_time, "in time" if in_time else "late - owner to decide", due, refund)
