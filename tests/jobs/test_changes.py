"""Change orders: what they come to, who may do what, what is frozen, and what the homeowner signs (rule L2)."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from lxml import html

from estimates.command import Conflict
from estimates.house import AsFoundRecord, BayDepthRecord, WallRecord
from estimates.models import OutboxMessage, User
from estimates.money import to_cents
from estimates.physics.asfound import as_found, found_record
from estimates.physics.framing import lay_out
from jobs.booking import frozen_forms
from jobs.change_effect import ChangeLine, change_effect, price_as_found
from jobs.changes import (
    ChangedMeanwhile,
    change_as_found,
    change_decline,
    change_draft,
    change_issue,
    change_sign,
    change_withdraw,
    may_be_worked,
    seen_of,
)
from jobs.found_walls import record_of
from jobs.models import ChangeOrder, ChangeStatus, Job
from jobs.phase_plan import option_form

NOW = datetime(2026, 3, 9, 14, 0, tzinfo=UTC)
Book = Callable[..., Job]
Browse = Callable[[User], Client]
LINES = (ChangeLine("Replace 12 ft of rotten clapboard", 186_00), ChangeLine("Cap a vent", 45_50))


@pytest.fixture(autouse=True)
def monday() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


def words(response: Any) -> str:
    return " ".join(html.fromstring(response.content.decode()).text_content().split())


def test_a_change_bears_the_tax_that_it_causes_and_is_signed_as_it_was_issued(booked: Book, salesperson: User) -> None:
    job = booked("mill-cape")
    act = {"by": salesperson, "now": NOW}
    option = option_form(frozen_forms(job), job.option)
    effect = change_effect(job, LINES)
    # D: by hand in decimals, the whole contract with and without the change, each rounded once.
    price, rate = 231_50, Decimal(str(option["tax"]["rate"]))
    share = Decimal(option["tax"]["taxable_cents"]) / Decimal(option["price_cents"])
    exact = rate * share * price
    assert effect.price_cents == price
    assert abs(Decimal(effect.tax_cents) - exact) <= 1
    assert effect.total_after - effect.total_before == price + effect.tax_cents

    draft = change_draft(job=job, reason="Rot behind the clapboards.", lines=LINES, **act)
    assert change_draft(job=job, reason="Rot behind the clapboards.", lines=LINES, **act) == draft
    assert not may_be_worked(draft)
    with pytest.raises(ChangedMeanwhile):
        change_issue(change=draft, seen="0" * 64, **act)
    out = change_issue(change=draft, seen=seen_of(draft), **act)
    letter = OutboxMessage.objects.get(key=f"change-{out.code}")
    assert "{private link}" in letter.payload["text"]
    sign = {"typed_name": "Wren Halloran", "electronic": True, "now": NOW}
    with pytest.raises(Conflict, match="not what stands here"):
        change_sign(change=out, content_sha256="0" * 64, **sign)
    signed = change_sign(change=out, content_sha256=out.content_sha256, **sign)
    assert change_sign(change=out, content_sha256=out.content_sha256, **sign).ended_at == signed.ended_at
    assert may_be_worked(signed)
    for refused in (
        lambda: change_decline(change=signed, now=NOW),
        lambda: change_withdraw(change=signed, reason="No.", **act),
    ):
        with pytest.raises(Conflict, match="is signed already"):
            refused()

    # The next change stands on the one that is signed, and a draft looked at before that is looked at again.
    second = change_draft(job=job, reason="A vent more.", lines=(ChangeLine("Another vent", 45_50),), **act)
    third = change_draft(job=job, reason="A credit.", lines=(ChangeLine("No baffles", -30_00),), **act)
    assert second.content["total_before_cents"] == effect.total_after
    second = change_issue(change=second, seen=seen_of(second), **act)
    change_sign(change=second, content_sha256=second.content_sha256, **sign)
    with pytest.raises(ChangedMeanwhile, match="totals are new"):
        change_issue(change=third, seen=seen_of(third), **act)
    third.refresh_from_db()
    assert third.content["total_before_cents"] == second.content["total_after_cents"]
    assert [row.number for row in job.changes.all()] == [1, 2, 3]

    # An emergency may begin at once; after its last day nobody signs it any more.
    early = {"emergency_note": "The wall stands open and it rains.", "sign_by": date(2026, 3, 10)}
    with pytest.raises(ValidationError, match="last day to sign"):
        change_draft(job=job, reason="Rain.", lines=LINES, **act, emergency_note="Rain.")
    storm = change_draft(job=job, reason="Rain.", lines=LINES, **act, **early)
    storm = change_issue(change=storm, seen=seen_of(storm), **act)
    assert may_be_worked(storm)
    late = sign | {"now": datetime(2026, 3, 12, 14, 0, tzinfo=UTC)}
    with pytest.raises(Conflict, match="last day to sign"):
        change_sign(change=storm, content_sha256=storm.content_sha256, **late)
    assert not may_be_worked(change_decline(change=storm, now=NOW))


def test_walls_as_found_round_the_whole_job_once_more_and_bill_the_difference(booked: Book, salesperson: User) -> None:
    job = booked("mill-cape")
    act = {"by": salesperson, "now": NOW}
    assert change_as_found(job=job, **act) is None
    forms = frozen_forms(job)
    option = option_form(forms, job.option)
    wall = job.walls.filter(drawn=True).order_by("-fill_ft3").first()
    assert wall is not None
    deeper = record_of(wall).depth_in * 1.25
    wall.found = {"depth_in": deeper}
    wall.save(update_fields=["found"])
    found = price_as_found(job)
    # D: whole mixes from the takeoff that was signed, the room of this wall scaled by its depth, rounded once (FIELD).
    walls = {one["id"]: one for one in forms["takeoff"]["walls"]}
    mine = [line["subject"] for line in option["lines"] if line["code"] == "wall"]
    mixes = sum(walls[key]["mixes"] * (1.25 if key == wall.key else 1.0) for key in mine)
    assert found.whole["mixes_bought"] == pytest.approx(math.ceil(mixes), abs=1)
    assert found.whole["mixes_bought"] > option["mixes_bought"]
    assert sum(line.cents or 0 for line in found.lines) == found.whole["price_cents"] - option["price_cents"] > 0

    change = change_as_found(job=job, **act)
    assert change is not None
    assert change_as_found(job=job, **act) == change
    assert to_cents(change.price) == found.whole["price_cents"] - option["price_cents"]
    out = change_issue(change=change, seen=seen_of(change), **act)
    change_sign(change=out, typed_name="Wren Halloran", content_sha256=out.content_sha256, electronic=True, now=NOW)
    # Once signed, the same walls bill nothing more.
    assert price_as_found(job).lines == ()
    assert json.loads(json.dumps(change.content)) == change.content


def test_depths_of_single_bays_become_one_depth_with_the_same_room() -> None:
    wall = WallRecord(id="w", name="North", length_ft=8.0, height_ft=8.0)
    found = AsFoundRecord(bay_depths=(BayDepthRecord(bay=2, depth_in=5.0),))
    room = sum(bay.volume_ft3 for bay in as_found(wall, found).layout.bays)
    # D: the layout of the record that is priced holds the room of the layout as found.
    assert sum(bay.volume_ft3 for bay in lay_out(found_record(wall, found)).bays) == pytest.approx(room, rel=1e-9)


def test_the_office_drafts_sales_prices_and_issues_and_a_second_saver_keeps_what_was_typed(
    booked: Book, scheduler: User, salesperson: User, owner: User, signed_in: Browse
) -> None:
    job = booked("mill-cape")
    plan, sales, boss = signed_in(scheduler), signed_in(salesperson), signed_in(owner)
    new = reverse("jobs-draft-change", kwargs={"code": job.code})
    assert "dollars_1" not in plan.get(new).content.decode()
    assert "Enter why the work changes" in words(plan.post(new, {"text_1": "Cap a vent"}))
    assert "Enter what is done" in words(plan.post(new, {"reason": "A vent was found."}))
    assert plan.post(new, {"reason": "A vent was found.", "text_1": "Cap a vent"}).status_code == 302
    change = ChangeOrder.objects.get()
    where = {"code": job.code, "change": change.code}
    show, draft, issue = (
        reverse(name, kwargs=where) for name in ("jobs-show-change", "jobs-redraft-change", "jobs-issue-change")
    )
    assert "$" not in words(plan.get(show))
    assert "not priced yet" in words(sales.get(show))
    assert plan.post(issue).status_code == plan.get(draft).status_code == 403

    seen = html.fromstring(sales.get(draft).content.decode()).xpath("//input[@name='seen']/@value")[0]
    typed = {"reason": "A vent was found.", "text_1": "Cap a vent", "seen": seen}
    assert "no words" not in words(sales.post(draft, typed | {"dollars_2": "4"}))
    assert sales.post(draft, typed | {"dollars_1": "45.50"}).status_code == 302
    late = boss.post(draft, typed | {"dollars_1": "50"})
    assert late.status_code == 409
    assert "$45.50" in words(late)
    assert html.fromstring(late.content.decode()).xpath("//input[@name='dollars_1']/@value") == ["50"]

    stale = sales.post(issue, {"seen": seen})
    assert stale.status_code == 409
    now = html.fromstring(stale.content.decode()).xpath("//input[@name='seen']/@value")[0]
    assert sales.post(issue, {"seen": now}).status_code == 302
    assert sales.post(issue, {"seen": now}).status_code == 302
    change.refresh_from_db()
    assert change.status == ChangeStatus.ISSUED
    expected = Decimal("45.50") + change.tax
    assert f"${expected.quantize(Decimal('0.01'), ROUND_HALF_UP)}" in words(sales.get(f"/jobs/{job.code}/"))
    away = reverse("jobs-withdraw-change", kwargs=where)
    assert plan.post(away, {"reason": "It was ours."}).status_code == 302
    assert plan.post(away, {"reason": "It was ours."}).status_code == 302
