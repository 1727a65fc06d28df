"""Dated rules of a place as plain rows: which one holds on a day, and how it is quoted.

The rows come in as arguments; nothing here knows where they are kept. A house stands under the rules of its country and
of its state: a state's row on a topic takes the place of the federal one unless a function says that the stricter or
the longer one wins.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from estimates.records import BadRecord, Fault

NOT_ADVICE = "Not legal or tax advice; check with your counsel and local code official."
"""Stands beside every text of a rule."""

FEDERAL = "US"

FOLDER = Path(__file__).resolve().parent.parent / "fixtures" / "rules"


class RuleMissing(LookupError):
    """No row on a topic holds on the day; names the topic, the places and what to enter."""


class BadRule(ValueError):
    """A row whose value cannot be used; names the row and what to enter."""


@dataclass(frozen=True, slots=True)
class RuleRow:
    """One rule of a place between two days, both included; without a last day it holds until further notice.

    `jurisdiction` "US" or "US-" and a state, or deeper ("US-NY/county"); `value` as the topic needs it: a number, a
    text, a list or a table.
    """

    jurisdiction: str
    topic: str
    valid_from: date
    valid_to: date | None
    value: Any
    text: str
    source: str
    checked_on: date

    def holds(self, on: date) -> bool:
        """Whether the row is in force on a day."""
        return self.valid_from <= on and (self.valid_to is None or on <= self.valid_to)

    @property
    def quote(self) -> str:
        """The rule as papers and pages quote it, with place, source, the day it was checked, and `NOT_ADVICE`."""
        return f"{self.text} ({self.jurisdiction}: {self.source}; checked {self.checked_on.isoformat()}.) {NOT_ADVICE}"

    def form(self) -> dict[str, Any]:
        """The JSON form of the row; `rule_from_form` gives the same row back."""
        return {
            "jurisdiction": self.jurisdiction,
            "topic": self.topic,
            "valid_from": self.valid_from.isoformat(),
            "valid_to": None if self.valid_to is None else self.valid_to.isoformat(),
            "value": self.value,
            "text": self.text,
            "source": self.source,
            "checked_on": self.checked_on.isoformat(),
        }


def rule_from_form(form: Mapping[str, Any]) -> RuleRow:
    """The row of a JSON form that `RuleRow.form` made."""
    days = {name: date.fromisoformat(form[name]) for name in ("valid_from", "checked_on")}
    last = form["valid_to"]
    return RuleRow(**{**form, **days, "valid_to": None if last is None else date.fromisoformat(last)})


def places_of(state: str, *deeper: str) -> tuple[str, ...]:
    """Jurisdictions a house stands under, wide to narrow.

    Parameters
    ----------
    state : two capital letters.
    deeper : county, town or programme area within it, wide to narrow.

    Raises
    ------
    BadRule : not a state's two letters.

    Examples
    --------
    >>> places_of("NY"), places_of("NY", "Fernmoor")
    (('US', 'US-NY'), ('US', 'US-NY', 'US-NY/Fernmoor'))
    """
    if len(state) != 2 or not state.isalpha() or not state.isascii() or not state.isupper():
        raise BadRule(f"state is {state!r}; enter the two capital letters of a state")
    places = [FEDERAL, f"{FEDERAL}-{state}"]
    for name in deeper:
        places.append(f"{places[-1]}/{name}")
    return tuple(places)


def rules_on(rows: Iterable[RuleRow], places: Sequence[str], topic: str, on: date) -> tuple[RuleRow, ...]:
    """Rows on a topic that hold on a day in any of the places, in the order of `places`.

    Raises
    ------
    BadRule : two rows of one place hold on the same day.
    """
    found = [row for row in rows if row.topic == topic and row.jurisdiction in places and row.holds(on)]
    found.sort(key=lambda row: places.index(row.jurisdiction))
    for first, second in pairwise(found):
        if first.jurisdiction == second.jurisdiction:
            raise BadRule(
                f"{topic}: two rows of {first.jurisdiction} hold on {on}, from {first.valid_from} and from "
                f"{second.valid_from}; end one of them first"
            )
    return tuple(found)


def rule_on(rows: Iterable[RuleRow], places: Sequence[str], topic: str, on: date) -> RuleRow | None:
    """The narrowest place's row on a topic: a state's rule in place of the federal one. None: no row holds."""
    found = rules_on(rows, places, topic, on)
    return found[-1] if found else None


def needed_rule(rows: Iterable[RuleRow], places: Sequence[str], topic: str, on: date) -> RuleRow:
    """As `rule_on`, for a topic that must have a row.

    Raises
    ------
    RuleMissing : no row holds on that day.

    Examples
    --------
    >>> needed_rule((), ("US", "US-NY"), "cancellation.business_days", date(2026, 3, 6))
    Traceback (most recent call last):
    ...
    estimates.rules.RuleMissing: no rule on cancellation.business_days for US, US-NY on 2026-03-06; enter a row with \
its source
    """
    row = rule_on(rows, places, topic, on)
    if row is None:
        raise RuleMissing(f"no rule on {topic} for {', '.join(places)} on {on}; enter a row with its source")
    return row


def whole_of(row: RuleRow, *, low: int = 0) -> int:
    """The value of a row that is a whole number of at least `low`.

    Raises
    ------
    BadRule : it is none.
    """
    value = row.value
    if isinstance(value, bool) or not isinstance(value, int) or value < low:
        raise BadRule(f"{row.jurisdiction} {row.topic} holds {value!r}; enter a whole number of at least {low}")
    return value


def exact(value: Any, name: str) -> Fraction:
    """A number or a written fraction ("1/3", "0.1", 0.1) as the decimal that was written, without binary dust.

    Raises
    ------
    BadRule : it is neither, or below 0.

    Examples
    --------
    >>> exact("1/3", "share"), exact(0.1, "share"), exact(20, "share")
    (Fraction(1, 3), Fraction(1, 10), Fraction(20, 1))
    """
    try:
        if isinstance(value, bool):
            raise ValueError
        number = Fraction(repr(value) if isinstance(value, float) else value)
    except (TypeError, ValueError, ZeroDivisionError):
        raise BadRule(f"{name} holds {value!r}; enter a number or a fraction such as 1/3") from None
    if number < 0:
        raise BadRule(f"{name} holds {value!r}; enter a number of 0 or more")
    return number


def number_of(row: RuleRow) -> float:
    """The value of a row that is a number of 0 or more; BadRule where it is none."""
    return float(exact(row.value, f"{row.jurisdiction} {row.topic}"))


def table_of(row: RuleRow, *known: str) -> Mapping[str, Any]:
    """The value of a row that is a table with no other names than `known`.

    Raises
    ------
    BadRule : it is no table, or has a name that is not known.
    """
    if not isinstance(row.value, Mapping):
        raise BadRule(f"{row.jurisdiction} {row.topic} holds {row.value!r}; enter a table with {', '.join(known)}")
    for name in row.value:
        if name not in known:
            raise BadRule(f"{row.jurisdiction} {row.topic}.{name} is not known; enter one of {', '.join(known)}")
    return row.value


# --- from files ----------------------------------------------------------------------------------------------------

_NEEDED = {
    "jurisdiction": str,
    "topic": str,
    "valid_from": date,
    "value": object,
    "text": str,
    "source": str,
    "checked_on": date,
}
_OPTIONAL = {"valid_to": date}


@lru_cache(maxsize=4)
def load_rules(folder: Path = FOLDER) -> tuple[RuleRow, ...]:
    """Read the rows of every rule file in a folder.

    Raises
    ------
    BadRecord : a file is not TOML, or rows have faults; each with its place and what to enter.
    """
    rows: list[RuleRow] = []
    faults: list[Fault] = []
    for path in sorted(folder.glob("*.toml")):
        try:
            raw = tomllib.loads(path.read_text(encoding="utf-8"))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise BadRecord([Fault(path.name, f"not valid TOML: {error}")]) from None
        for index, entry in enumerate(raw.get("rules", ())):
            where = f"{path.name}.rules[{index}]"
            wrong = _row_faults(entry, where)
            faults += wrong
            if not wrong:
                rows.append(RuleRow(**({"valid_to": None} | entry)))
    if faults:
        raise BadRecord(faults)
    return tuple(rows)


def _row_faults(entry: Mapping[str, Any], where: str) -> list[Fault]:
    known = _NEEDED | _OPTIONAL
    faults = [Fault(f"{where}.{name}", "missing; enter it") for name in _NEEDED if name not in entry]
    for name, value in entry.items():
        if name not in known:
            faults.append(Fault(f"{where}.{name}", f"unknown field; enter one of {', '.join(known)}"))
        elif not isinstance(value, known[name]) or isinstance(value, datetime):
            kind = "a day, YYYY-MM-DD" if known[name] is date else "text"
            faults.append(Fault(f"{where}.{name}", f"holds {value!r}; enter {kind}"))
        elif isinstance(value, str) and name != "value" and not value.strip():
            faults.append(Fault(f"{where}.{name}", "is empty; enter text"))
    if not faults and "valid_to" in entry and entry["valid_to"] < entry["valid_from"]:
        faults.append(Fault(f"{where}.valid_to", "before valid_from; enter the last day on which the rule holds"))
    return faults
