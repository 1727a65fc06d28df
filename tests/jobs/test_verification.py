"""Tests of a house, findings, the inspector's word, and what holds the final invoice."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from estimates.house import BlowerDoorRecord, PressurePointRecord
from estimates.models import User
from jobs.booking import frozen_forms, job_move
from jobs.house_tests import (
    REPEAT_SHARE,
    combustion_of,
    house_test_record,
    leakage_of,
    promised_leakage,
    shell_days_untested,
    ventilation_after,
)
from jobs.models import Bay, Finding, FindingKind, Job, JobStatus, Phase, PhaseKind, Verdict, Verification
from jobs.verification import (
    final_invoice_faults,
    finding_add,
    finding_close,
    job_verify,
    verify_faults,
    void_release,
    void_share,
)

NOW = datetime(2026, 4, 20, 18, 0, tzinfo=UTC)

# S: ten-point test of ENGINE 4: cfm50 1919.58, n .651867, three regressions agree (D).
TEN = [58.3, 52.1, 47.6, 41.9, 36.4, 30.8, 25.2, 20.5, 15.1, 12.4]
FLOWS = [2118, 1958, 1869, 1703, 1572, 1397, 1240, 1068, 883, 769]
READY = {"fire_out": True, "ash_cold": True, "appliances_disabled": True}


def _door(scale: float = 1.0) -> dict[str, Any]:
    return {"points": [{"pressure_pa": p, "flow_cfm": q * scale} for p, q in zip(TEN, FLOWS, strict=True)]}


def _round(kind: str, on: str, appliance_ok: bool = True) -> dict[str, Any]:
    return {"round": kind, "on": on, "gas_leak_found": False, "ambient_co_ppm": 2 if appliance_ok else 80}


def test_leakage_is_that_of_the_worked_regression_with_what_one_fit_cannot_know() -> None:
    points = tuple(PressurePointRecord(pressure_pa=p, flow_cfm=q) for p, q in zip(TEN, FLOWS, strict=True))
    leak = leakage_of(BlowerDoorRecord(points=points), altitude_ft=0.0)
    # The record's own temperatures correct the printed figure, worked out without any, by less than half a thousandth.
    assert leak.cfm50 == pytest.approx(1919.58, rel=5e-4)
    # D: the standard error of the mean line at 50 Pa, worked out here with the textbook formula.
    import numpy as np

    x, y = np.log(TEN), np.log(FLOWS)
    b, a = np.polyfit(x, y, 1)
    s2 = ((y - a - b * x) ** 2).sum() / (len(x) - 2)
    fit = leak.cfm50 * np.sqrt(s2 * (1 / len(x) + (np.log(50) - x.mean()) ** 2 / ((x - x.mean()) ** 2).sum()))
    assert leak.se == pytest.approx(np.hypot(fit, REPEAT_SHARE * leak.cfm50), rel=1e-6)


def test_one_reading_is_less_sure_than_ten() -> None:
    points = tuple(PressurePointRecord(pressure_pa=p, flow_cfm=q) for p, q in zip(TEN, FLOWS, strict=True))
    many = leakage_of(BlowerDoorRecord(points=points), altitude_ft=0.0)
    one = leakage_of(BlowerDoorRecord(points=(PressurePointRecord(pressure_pa=30.8, flow_cfm=1397),)), altitude_ft=0.0)
    assert one.se > many.se
    assert "assumed" in one.warnings[0]


def test_the_fan_does_not_run_before_the_questions_of_the_day_are_answered(
    booked: Callable[..., Job], crew: User
) -> None:
    # G2 and FIELD, Air.
    job = booked("mill-cape")
    with pytest.raises(ValidationError, match="The fan may not run here"):
        house_test_record(job=job, when="out", form={"blower_door": _door(), "fire_out": True}, by=crew, now=NOW)
    assert not job.tests.exists()


def test_a_round_without_any_test_is_refused(booked: Callable[..., Job], crew: User) -> None:
    with pytest.raises(ValidationError, match="Enter the readings"):
        house_test_record(job=booked("mill-cape"), when="out", form=READY, by=crew, now=NOW)


def test_a_later_round_stands_beside_the_earlier_one(booked: Callable[..., Job], crew: User) -> None:
    job = booked("mill-cape")
    for scale in (1.0, 0.7):
        house_test_record(job=job, when="out", form={"blower_door": _door(scale), **READY}, by=crew, now=NOW)
    first, second = (test.cfm50 or 0.0 for test in job.tests.all())
    assert second / first == pytest.approx(0.7, rel=1e-6)
    assert "edition" in ventilation_after(job)
    assert promised_leakage(job)["before"] > promised_leakage(job)["after"]["p50"]


def test_high_carbon_monoxide_keeps_a_job_from_being_verified(booked: Callable[..., Job], crew: User) -> None:
    # G5: ambient 70 ppm evacuates (M).
    job = booked("mill-cape")
    form = {"combustion": _round("test_out", "2026-04-20", appliance_ok=False)}
    house_test_record(job=job, when="out", form=form, by=crew, now=NOW)
    assert any(finding.action == "evacuate" for finding in combustion_of(job).standing)
    assert any("Combustion" in fault for fault in verify_faults(job))


def test_days_that_altered_the_shell_want_a_combustion_test(booked: Callable[..., Job], crew: User) -> None:
    job = booked("alder-foursquare")
    days = [date(2026, 4, 14), date(2026, 4, 15)]
    assert shell_days_untested(job, days, today=date(2026, 4, 16)) == tuple(days)
    form = {"combustion": _round("end_of_day", "2026-04-14")}
    house_test_record(job=job, when="day", form=form, by=crew, now=NOW)
    assert shell_days_untested(job, days, today=date(2026, 4, 16)) == (days[1],)


def _done(job: Job, owner: User) -> Job:
    Bay.objects.filter(wall__job=job, reachable=True).update(state="filled")
    for to in (JobStatus.STARTED, JobStatus.WORK_DONE):
        job = job_move(job=job, to=to, by=owner, now=NOW)
    return job


def _void(job: Job, by: User, *, share: float, confirmed: bool) -> Finding:
    """Find a void of a share of the reachable wall, bay after bay."""
    left = share * void_share(job).reachable_ft2
    finding = None
    for bay in Bay.objects.filter(wall__job=job, reachable=True).select_related("wall"):
        area = min(left, bay.area_ft2)
        finding = finding_add(
            job=job,
            kind=FindingKind.PROBE if confirmed else FindingKind.INFRARED,
            verdict=Verdict.REDO if confirmed else Verdict.LOOK_AGAIN,
            words="Void under the window",
            wall=bay.wall,
            bay=bay.number,
            area_ft2=area,
            confirmed=confirmed,
            by=by,
            now=NOW,
        )
        left -= area
        if left <= 1e-9:
            break
    assert finding is not None
    return finding


def test_a_void_over_the_limit_opens_a_refill_and_holds_the_final_invoice(
    booked: Callable[..., Job], owner: User, crew: User
) -> None:
    # V1: over 1 % of the reachable wall.
    job = _done(booked("mill-cape"), owner)
    _void(job, crew, share=0.009, confirmed=True)
    assert not Phase.objects.filter(job=job, kind=PhaseKind.RETURN).exists()
    _void(job, crew, share=0.009, confirmed=True)
    assert Phase.objects.filter(job=job, kind=PhaseKind.RETURN).count() == 1
    assert void_share(job).over
    assert any("for their redo" in fault for fault in verify_faults(job))
    for finding in Finding.objects.all():
        finding_close(finding=finding, how="Drilled, filled, material at the witness hole", by=crew, now=NOW, version=1)
    assert not void_share(job).over


def test_infrared_alone_confirms_nothing(booked: Callable[..., Job], owner: User, crew: User) -> None:
    # V1 and FIELD: infrared is indicative; a probe or drill confirms before a refill task.
    job = _done(booked("mill-cape"), owner)
    _void(job, crew, share=0.05, confirmed=False)
    assert not void_share(job).over
    assert not Phase.objects.filter(job=job, kind=PhaseKind.RETURN).exists()
    with pytest.raises(ValidationError, match="Only a probe"):
        finding_add(
            job=job, kind=FindingKind.INFRARED, verdict=Verdict.REDO, words="x", confirmed=True, by=crew, now=NOW
        )


def test_a_finding_names_a_bay_that_is_there_and_no_more_than_its_area(booked: Callable[..., Job], crew: User) -> None:
    job = booked("mill-cape")
    wall = job.walls.all()[0]
    given: dict[str, Any] = {"job": job, "kind": FindingKind.PROBE, "verdict": Verdict.REDO, "words": "Void"}
    with pytest.raises(ValidationError, match="has no bay 999"):
        finding_add(**given, wall=wall, bay=999, by=crew, now=NOW)
    with pytest.raises(ValidationError, match="Enter at most that"):
        finding_add(**given, wall=wall, bay=1, area_ft2=5000, by=crew, now=NOW)


def test_the_assessor_verifies_only_with_a_reason(
    booked: Callable[..., Job], owner: User, salesperson: User, crew: User
) -> None:
    # V2: the inspector differs from the assessor, or an exception is recorded.
    from estimates.assessments import assessment_from_record
    from estimates.house import HouseRecord
    from estimates.records import read_record

    job = booked("mill-cape")
    record = read_record(HouseRecord, frozen_forms(job)["house"])
    assessment_from_record(house=job.house, record=record, by=salesperson, now=NOW)
    job = _done(job, owner)
    house_test_record(job=job, when="out", form={"combustion": _round("test_out", "2026-04-20")}, by=crew, now=NOW)
    given: dict[str, Any] = {"job": job, "now": NOW, "infrared_judged": False, "today": date(2026, 4, 20)}
    faults = verify_faults(job)
    if faults:
        pytest.fail(f"nothing should be open: {faults}")
    with pytest.raises(ValidationError, match="measured this house"):
        job_verify(inspector=salesperson, **given)
    row = job_verify(inspector=crew, **given)
    assert row.same_person_reason == ""
    assert row.infrared_due == date(2026, 6, 19)
    assert job_verify(inspector=owner, **given) == row
    assert Verification.objects.count() == 1
    assert final_invoice_faults(Job.objects.get(pk=job.pk)) == ()


def test_only_the_owner_releases_a_void(booked: Callable[..., Job], owner: User, crew: User) -> None:
    job = _done(booked("mill-cape"), owner)
    house_test_record(job=job, when="out", form={"combustion": _round("test_out", "2026-04-20")}, by=crew, now=NOW)
    job_verify(job=job, inspector=crew, now=NOW, infrared_judged=True, today=date(2026, 4, 20))
    _void(job, crew, share=0.02, confirmed=True)
    assert "void" in final_invoice_faults(job)[0]
    with pytest.raises(ValidationError, match="Only the owner"):
        void_release(job=job, reason="Bay behind the tiled tub", by=crew, now=NOW)
    void_release(job=job, reason="Bay behind the tiled tub, credited", by=owner, now=NOW)
    assert final_invoice_faults(job) == ()
