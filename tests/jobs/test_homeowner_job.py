"""The homeowner's page after the signature: changes, days, papers and the sign-off, all behind the private link."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.test import Client

from estimates.filing import write_whole
from estimates.issuing import current_link, document_path
from estimates.links import link_token
from estimates.models import User
from jobs.change_effect import ChangeLine
from jobs.changes import change_draft, change_issue, seen_of
from jobs.crews import crew_save
from jobs.models import ChangeStatus, Job, JobPaper, JobStatus, SignOff, Visit

NOW = datetime(2026, 3, 9, 14, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def monday() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


def test_a_homeowner_signs_a_change_reads_their_days_fetches_papers_and_signs_the_work_off(
    booked: Callable[..., Job], salesperson: User, scheduler: User, client: Client
) -> None:
    job = booked("mill-cape")
    link = current_link(job.proposal, now=NOW)
    assert link is not None
    page = f"/yours/{link_token(link)}/"

    # Changes: a draft is ours; what is issued is read and signed as it stands.
    lines = (ChangeLine("Replace 12 ft of clapboard", 186_00),)
    rot, vent = (
        change_draft(job=job, reason=reason, lines=lines, by=salesperson, now=NOW) for reason in ("Rot.", "A vent.")
    )
    address = f"{page}changes/{rot.code}/"
    assert client.get(address).status_code == 404
    assert "Rot." not in client.get(page).content.decode()
    rot, vent = (change_issue(change=one, seen=seen_of(one), by=salesperson, now=NOW) for one in (rot, vent))
    assert "please read and sign" in client.get(page).content.decode()
    given = {"typed_name": "Wren Halloran", "electronic": "on", "content_sha256": rot.content_sha256}
    assert "Enter your full name" in client.post(address, given | {"typed_name": ""}).content.decode()
    assert client.post(address, given | {"content_sha256": "0" * 64}).status_code == 409
    assert client.post(address, given)["Location"].endswith("said=signed")
    assert client.post(address, given).status_code == 302
    no = client.post(f"{page}changes/{vent.code}/", {"answer": "decline", "reason": "Too dear."})
    assert no["Location"].endswith("said=declined-change")
    assert {one.number: one.status for one in job.changes.all()} == {
        1: ChangeStatus.SIGNED,
        2: ChangeStatus.DECLINED,
    }
    assert client.post(f"{page}changes/{vent.code}/", given).status_code == 409

    # Days: those that were promised, and no others.
    home = {"home_latitude": Decimal("42.45"), "home_longitude": Decimal("-76.5")}
    crew = crew_save(
        crew=None, version=0, name="North crew", members=[], rigs=[], today=NOW.date(), by=scheduler, now=NOW, **home
    )
    phase = job.phases.get(position=1)
    for day, promised in ((date(2026, 3, 16), True), (date(2026, 3, 17), False)):
        row = {"first_hour": 8, "hours": 2, "made_at": NOW, "made_by": scheduler}
        Visit.objects.create(phase=phase, crew=crew, day=day, promised=promised, **row)
    said = client.get(page).content.decode()
    assert "Mon 16 Mar 2026" in said
    assert "Tue 17 Mar 2026" not in said

    # Papers: as they were made; what stays with the firm is not there.
    made = []
    for kind in ("receipt", "crew_sheet"):
        text = f"the {kind}".encode()
        digest = hashlib.sha256(text).hexdigest()
        write_whole(document_path(digest), text)
        name = f"{job.number}-{kind}.docx"
        made.append(JobPaper.objects.create(job=job, kind=kind, name=name, content={}, sha256=digest, made_at=NOW))
    receipt, sheet = made
    fetched = client.get(f"{page}job-papers/{receipt.code}.docx")
    assert b"".join(fetched.streaming_content) == b"the receipt"
    assert client.get(f"{page}job-papers/{sheet.code}.docx").status_code == 404
    document_path(receipt.sha256).write_bytes(b"something else")
    assert client.get(f"{page}job-papers/{receipt.code}.docx").status_code == 503
    assert str(settings.DOCUMENTS_DIR) not in client.get(page).content.decode()

    # The sign-off: once the work is done, once.
    off = f"{page}sign-off/"
    assert client.post(off, {"typed_name": "Wren Halloran"}).status_code == 409
    Job.objects.filter(pk=job.pk).update(status=JobStatus.WORK_DONE, done_at=NOW)
    assert "Sign the work off" in client.get(page).content.decode()
    for _ in range(2):
        assert client.post(off, {"typed_name": "Wren Halloran", "words": "A plug is loose."}).status_code == 302
    assert SignOff.objects.get().words == "A plug is loose."
    assert "A plug is loose." in client.get(page).content.decode()
