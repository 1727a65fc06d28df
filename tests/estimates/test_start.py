"""Earliest start of a job: the day after the latest gate, inside every window."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.start import StartGate, earliest_start, start_faults

TODAY = date(2026, 3, 2)


def test_the_day_after_the_latest_gate_and_its_name() -> None:
    gates = [StartGate("cancellation time", date(2026, 3, 10)), StartGate("permit", date(2026, 3, 12))]
    found = earliest_start(gates, not_before=TODAY)
    assert (found.day, found.latest) == (date(2026, 3, 13), ("permit",))
    assert found.sentence == "Earliest start 2026-03-13, because of permit."


def test_two_gates_of_the_same_day_are_both_named() -> None:
    gates = [StartGate("a", date(2026, 3, 10)), StartGate("b", date(2026, 3, 11), same_day=True)]
    assert earliest_start(gates, not_before=TODAY).latest == ("a", "b")


def test_without_gates_or_with_old_ones_work_may_start_when_wanted() -> None:
    assert earliest_start([], not_before=TODAY).day == TODAY
    old = earliest_start([StartGate("a", date(2026, 2, 1))], not_before=TODAY)
    assert (old.day, old.latest, old.sentence) == (TODAY, (), "Earliest start 2026-03-02.")


def test_a_gate_that_opens_on_the_wanted_day_delays_nothing_and_is_not_named() -> None:
    found = earliest_start([StartGate("permit", TODAY, same_day=True)], not_before=TODAY)
    assert (found.day, found.latest) == (TODAY, ())


def test_a_gate_not_met_is_named_and_leaves_no_day() -> None:
    found = earliest_start([StartGate("permit", None), StartGate("a", TODAY)], not_before=TODAY)
    assert (found.day, found.waiting) == (None, ("permit",))
    assert found.sentence == "No start day yet: waiting for permit."


def test_a_gate_that_runs_out_before_the_others_are_met_is_named() -> None:
    gates = [StartGate("pamphlet", TODAY, date(2026, 5, 1), same_day=True), StartGate("permit", date(2026, 5, 1))]
    found = earliest_start(gates, not_before=TODAY)
    assert found.day is None
    assert found.sentence == "No start day: pamphlet ends on 2026-05-01, before 2026-05-02: renew it."


@pytest.mark.parametrize(
    ("day", "fault"),
    [
        (date(2026, 3, 4), "a: not before 2026-03-05"),
        (date(2026, 3, 5), None),
        (date(2026, 3, 9), None),
        (date(2026, 3, 10), "a: ended on 2026-03-09"),
    ],
)
def test_a_start_must_lie_inside_the_window(day: date, fault: str | None) -> None:
    gate = StartGate("a", date(2026, 3, 4), date(2026, 3, 9))
    assert start_faults([gate], day) == (() if fault is None else (fault,))
    assert start_faults([StartGate("b", None)], day) == ("b: not met yet",)


GATES = st.builds(
    StartGate,
    name=st.sampled_from("abcd"),
    opens_on=st.none() | st.dates(date(2026, 1, 1), date(2026, 12, 31)),
    expires_on=st.none() | st.dates(date(2026, 1, 1), date(2027, 12, 31)),
    same_day=st.booleans(),
)


@given(st.lists(GATES, max_size=6))
def test_the_earliest_day_is_allowed_and_the_day_before_is_not(gates: list[StartGate]) -> None:
    found = earliest_start(gates, not_before=TODAY)
    if found.day is None:
        # Independent method: no day of the coming years passes every gate.
        assert all(start_faults(gates, TODAY + timedelta(days=n)) for n in range(1000))
    else:
        assert start_faults(gates, found.day) == ()
        assert found.day == TODAY or start_faults(gates, found.day - timedelta(days=1)) != ()
