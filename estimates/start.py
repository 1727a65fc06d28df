"""When a job may start: the day after the latest of its start gates, inside the window of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta


@dataclass(frozen=True, slots=True)
class StartGate:
    """Something a start waits for.

    `opens_on` the day it is met, None while that is not known; `expires_on` the last day a start may use it; `same_day`
    whether work may start on the day it is met (else on the day after); `rule` the text that asks for it.
    """

    name: str
    opens_on: date | None
    expires_on: date | None = None
    same_day: bool = False
    rule: str = ""

    @property
    def first_day(self) -> date | None:
        """First day on which work may start as far as this gate goes."""
        if self.opens_on is None or self.same_day:
            return self.opens_on
        return self.opens_on + timedelta(days=1)


@dataclass(frozen=True, slots=True)
class EarliestStart:
    """First day all gates allow. None: some are not met (`waiting`) or no day lies in every window (`expired`).

    `latest` names the gates that decide the day.
    """

    day: date | None
    latest: tuple[str, ...]
    waiting: tuple[str, ...]
    expired: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """What the page says."""
        if self.waiting:
            return "No start day yet: waiting for " + ", ".join(self.waiting) + "."
        if self.day is None:
            return "No start day: " + "; ".join(self.expired) + "."
        because = f", because of {', '.join(self.latest)}" if self.latest else ""
        return f"Earliest start {self.day.isoformat()}{because}."


def earliest_start(gates: Sequence[StartGate], *, not_before: date) -> EarliestStart:
    """The first day on which a job may start.

    Parameters
    ----------
    gates : every start gate of the job: end of the cancellation time, rescission, pamphlet, approval of a programme,
        permit, utility, electrician's release.
    not_before : today, or the first day anybody wants.

    Returns
    -------
    EarliestStart. A gate opens the day after it is met unless it is a same-day one; a gate that runs out before the
    others are met leaves no day, and is named.

    Examples
    --------
    >>> gates = [StartGate("cancellation time", date(2026, 3, 10)), StartGate("permit", date(2026, 3, 6))]
    >>> print(earliest_start(gates, not_before=date(2026, 3, 1)).sentence)
    Earliest start 2026-03-11, because of cancellation time.
    """
    waiting = tuple(gate.name for gate in gates if gate.opens_on is None)
    firsts = [(gate.first_day, gate.name) for gate in gates if gate.first_day is not None]
    day = max([not_before, *(first for first, _ in firsts)])
    latest = tuple(name for first, name in firsts if first == day and day > not_before)
    expired = tuple(
        f"{gate.name} ends on {gate.expires_on.isoformat()}, before {day.isoformat()}: renew it"
        for gate in gates
        if gate.expires_on is not None and gate.expires_on < day
    )
    return EarliestStart(None if waiting or expired else day, latest, waiting, expired)


def start_faults(gates: Sequence[StartGate], day: date) -> tuple[str, ...]:
    """Every gate that forbids a start on a day, with why; empty when the day lies inside all windows."""
    faults = []
    for gate in gates:
        if gate.first_day is None:
            faults.append(f"{gate.name}: not met yet")
        elif day < gate.first_day:
            faults.append(f"{gate.name}: not before {gate.first_day.isoformat()}")
        elif gate.expires_on is not None and day > gate.expires_on:
            faults.append(f"{gate.name}: ended on {gate.expires_on.isoformat()}")
    return tuple(faults)
