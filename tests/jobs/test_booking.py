"""An accepted proposal becomes a job: the same hours, bays and gates as were signed."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest

from estimates.command import Conflict
from estimates.models import ActivityEntry, Proposal, User
from jobs.booking import frozen_forms, job_book, job_move, to_book
from jobs.models import Bay, Job, JobStatus, PhaseKind
from jobs.phase_plan import kit_list, option_form
from jobs.start_gates import gate_meet, job_start, pamphlet_record, start_gates

NOW = datetime(2026, 3, 9, 14, 0, tzinfo=UTC)


def test_hours_of_the_phases_are_those_of_the_lines(booked: Callable[..., Job]) -> None:
    # D: sums of the same lines, added up here without the plan.
    job = booked("alder-foursquare")
    option = option_form(frozen_forms(job), job.option)
    lines = {code: sum(line["hours"] for line in option["lines"] if line["code"] == code) for code in ("wall", "tests")}
    phases = {phase.kind: float(phase.hours) for phase in job.phases.all()}
    walls = phases["prepare"] + phases["inject"] + phases["close_up"]
    assert walls == pytest.approx(lines["wall"], abs=0.02)
    assert phases["test_in"] + phases["test_out"] == pytest.approx(lines["tests"], abs=0.02)


def test_phases_stand_in_the_order_of_work(booked: Callable[..., Job]) -> None:
    # FIELD, order of work.
    kinds = [phase.kind for phase in booked("alder-foursquare").phases.all()]
    order = [kind for kind in PhaseKind if kind in kinds]
    assert kinds == order


def test_bays_of_the_job_are_those_of_the_takeoff_that_was_signed(booked: Callable[..., Job]) -> None:
    job = booked("alder-foursquare")
    takeoff = {wall["id"]: wall for wall in frozen_forms(job)["takeoff"]["walls"]}
    for wall in job.walls.all():
        bays = Bay.objects.filter(wall=wall)
        assert bays.count() == takeoff[wall.key]["bay_count"]
        assert sum(bay.fill_ft3 for bay in bays) == pytest.approx(takeoff[wall.key]["fill_ft3"], rel=1e-6)
        assert {bay.state for bay in bays if not bay.reachable} <= {"left out"}


def test_a_proposal_is_booked_once(booked: Callable[..., Job], scheduler: User) -> None:
    job = booked("mill-cape")
    again = job_book(proposal=job.proposal, by=scheduler, now=NOW)
    assert again == job
    assert Job.objects.count() == 1
    assert not to_book().exists()
    assert ActivityEntry.objects.filter(action="job.book").count() == 1


def test_an_unsigned_proposal_is_not_booked(send: Callable[..., Any], scheduler: User) -> None:
    out = send("mill-cape")
    with pytest.raises(Conflict, match="only a signed one is booked"):
        job_book(proposal=out.proposal, by=scheduler, now=NOW)
    assert not Job.objects.exists()


def test_the_start_waits_for_the_end_of_the_time_to_cancel(booked: Callable[..., Job]) -> None:
    # P7, S: signed Fri 2026-03-06 -> midnight of Tue 03-10; work may start the day after.
    job = booked("mill-cape")
    start = job_start(job, lead_safe=False, not_before=date(2026, 3, 7))
    gates = {gate.name for gate in start_gates(job, lead_safe=False)}
    assert "End of the time to cancel" in gates
    if not start.waiting:
        assert start.day == date(2026, 3, 11)
        assert start.latest == ("End of the time to cancel",)


def test_the_pamphlet_opens_and_closes_a_window(booked: Callable[..., Job], scheduler: User) -> None:
    # 40 CFR 745.84, S for 7 days, M for 60: mailed on the 1st opens on the 8th and ends 60 days after the 1st.
    from jobs.models import GateKind
    from jobs.start_gates import gate_add

    job = booked("mill-cape")
    gate = job.gates.filter(kind=GateKind.PAMPHLET).first() or gate_add(
        job=job, kind=GateKind.PAMPHLET, name="Lead pamphlet handed over", by=scheduler, now=NOW
    )
    met = pamphlet_record(
        gate=gate,
        given_on=date(2026, 3, 1),
        mailed=True,
        proof="certificate of mailing 12",
        by=scheduler,
        now=NOW,
        version=gate.version,
    )
    assert (met.met_on, met.expires_on) == (date(2026, 3, 8), date(2026, 4, 30))


def test_a_second_saver_of_a_gate_is_told(booked: Callable[..., Job], scheduler: User, owner: User) -> None:
    gate = booked("mill-cape").gates.first()
    assert gate is not None
    gate_meet(gate=gate, met_on=date(2026, 3, 10), note="seen", by=owner, now=NOW, version=gate.version)
    with pytest.raises(Conflict, match="changed by somebody else"):
        gate_meet(gate=gate, met_on=None, note="", by=scheduler, now=NOW, version=gate.version)


def test_a_job_moves_only_where_its_status_allows(booked: Callable[..., Job], owner: User) -> None:
    job = booked("mill-cape")
    with pytest.raises(Conflict, match="cannot become closed"):
        job_move(job=job, to=JobStatus.CLOSED, by=owner, now=NOW)
    assert job_move(job=job, to=JobStatus.STARTED, by=owner, now=NOW).status == JobStatus.STARTED


def test_the_kit_holds_the_mixes_and_bags_that_were_priced(booked: Callable[..., Job]) -> None:
    job = booked("alder-foursquare")
    forms = frozen_forms(job)
    option = option_form(forms, job.option)
    book = forms["price_book"]
    kit = {
        name: amount
        for name, amount, _ in kit_list(forms, job.option, foam=book["foams"][0], loose=book["loose_fills"][0])
    }
    assert option["mixes_bought"] in kit.values()
    assert "price" not in json.dumps(list(kit)).lower()


def test_every_measured_house_of_the_demo_can_be_booked(booked: Callable[..., Job]) -> None:
    for name in ("alder-foursquare", "mill-cape"):
        assert Proposal.objects.filter(job=booked(name)).exists()


def test_bays_are_kept_in_the_words_in_which_they_are_drawn() -> None:
    from estimates.linework import BayState as Drawn
    from jobs.models import BayState

    assert {state.value for state in BayState} == {state.value for state in Drawn}
