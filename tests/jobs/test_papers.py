"""Papers of a job: what the receipt tells, what papers may not say, and that each is kept as it was made."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from estimates.docx_paper import template_faults, text_of
from estimates.issuing import document_path
from estimates.models import User
from estimates.pricebook import load_book
from jobs.booking import frozen_forms
from jobs.entries import entries_receive
from jobs.models import Bay, Job, JobPaper
from jobs.paper_words import SHAPE
from jobs.papers import NAMES, TEMPLATES, paper_make
from jobs.phase_plan import option_form
from jobs.receipt import reached_row, receipt_parts

NOW = datetime(2026, 4, 14, 15, 0, tzinfo=UTC)
DAY = date(2026, 4, 20)


def _tell(job: Job, user: User, kind: str, data: dict[str, Any], wall: str = "") -> None:
    item = {"code": str(uuid.uuid4()), "job": str(job.code), "kind": kind, "data": data, "noted_at": NOW.isoformat()}
    answer = entries_receive(user=user, items=[item | ({"wall": wall} if wall else {})], now=NOW)[0]
    assert answer["state"] == "received", answer


@pytest.fixture
def job(booked: Callable[..., Job], owner: User) -> Job:
    """A job with one wall filled but for its last bay, and bags emptied in the attic."""
    job = booked("mill-cape")
    wall = job.walls.all()[0]
    bays = list(Bay.objects.filter(wall=wall, reachable=True))
    filled = [{"bay": bay.number} for bay in bays[:-1]]
    _tell(job, owner, "bay", {"state": "filled", "bays": filled, "returned": "top hole"}, wall.key)
    refused = {"state": "refused", "bays": [{"bay": bays[-1].number}], "reason": "Duct found in the bay"}
    _tell(job, owner, "bay", refused, wall.key)
    _tell(job, owner, "bags", {"bags": 40})
    _tell(job, owner, "leak", {"site": frozen_forms(job)["takeoff"]["leak_sites"][0]["id"], "closed": True})
    return job


def test_the_receipt_tells_filled_area_thickness_and_the_listed_r(job: Job) -> None:
    # B1, 16 CFR 460.17: per part of the house, data of the maker; D: area added up here from the bays.
    found = receipt_parts(job, frozen_forms(job))
    wall = job.walls.all()[0]
    bays = list(Bay.objects.filter(wall=wall, reachable=True))
    assert [part.name for part in found.walls] == [wall.name]
    part = found.walls[0]
    assert part.area_ft2 == pytest.approx(sum(bay.area_ft2 for bay in bays[:-1]))
    assert (part.filled, part.not_filled) == (len(bays) - 1, 1)
    listed = {row.thickness_in: row.r for row in load_book("standard").foam.facts}
    assert part.listed_in is not None
    assert part.listed_in <= part.thickness_in + 1e-9
    assert listed[part.listed_in] == part.r


def test_the_attic_gets_the_row_that_its_bags_reach(job: Job) -> None:
    # 16 CFR 460.17: bags, initial and settled thickness as the bag's own table lists them.
    attic = receipt_parts(job, frozen_forms(job)).attics[0]
    assert attic.bags == 40
    rows = load_book("standard").loose_fill.coverage
    enough = [row for row in rows if row.bags_per_1000_ft2 * attic.area_ft2 / 1000 <= 40]
    assert attic.row == (enough[-1] if enough else None)


def test_too_few_bags_reach_no_row() -> None:
    assert reached_row(load_book("standard").loose_fill, 1000.0, 16.0) is None
    # First row of the table: 16.3 bags for 1,000 ft2, so 17 whole ones.
    row = reached_row(load_book("standard").loose_fill, 1000.0, 17.0)
    assert row is not None
    assert row.r == 11.0


@pytest.mark.parametrize("kind", sorted(NAMES))
def test_a_template_uses_known_names_only(kind: str) -> None:
    assert template_faults(TEMPLATES / f"{kind}.docx", SHAPE, ()) == []


def test_a_receipt_is_kept_as_it_was_made_and_made_again_when_more_is_installed(job: Job, owner: User) -> None:
    first = paper_make(job=job, kind="receipt", by=owner, now=NOW, on=DAY)
    again = paper_make(job=job, kind="receipt", by=owner, now=NOW, on=date(2026, 4, 21))
    assert again == first
    text = text_of(document_path(first.sha256))
    assert "Receipt for insulation installed" in text
    assert "R-" in text
    _tell(job, owner, "bags", {"bags": 5})
    later = paper_make(job=job, kind="receipt", by=owner, now=NOW, on=DAY)
    assert later != first
    assert JobPaper.objects.filter(job=job, kind="receipt").count() == 2
    assert text_of(document_path(first.sha256)) == text


def test_the_crew_sheet_holds_hazards_kit_and_walls_and_no_price(job: Job, owner: User) -> None:
    paper = paper_make(job=job, kind="crew_sheet", by=owner, now=NOW, on=DAY)
    text = text_of(document_path(paper.sha256))
    option = option_form(frozen_forms(job), job.option)
    assert "Respirator" in text
    assert f"{option['mixes_bought']} mixes" in text
    assert all(wall.name in text for wall in job.walls.all())
    assert "$" not in text


def test_papers_that_say_the_job_is_good_follow_its_verification(job: Job, owner: User) -> None:
    for kind in ("certificate", "completion"):
        with pytest.raises(ValidationError, match="follows the verification"):
            paper_make(job=job, kind=kind, by=owner, now=NOW, on=DAY)
    assert not JobPaper.objects.exists()


def test_nothing_installed_makes_no_receipt(booked: Callable[..., Job], owner: User) -> None:
    job = booked("mill-cape")
    with pytest.raises(ValidationError, match="Nothing was installed yet"):
        paper_make(job=job, kind="receipt", by=owner, now=NOW, on=DAY)
    with pytest.raises(ValidationError, match="No paper 'bill'"):
        paper_make(job=job, kind="bill", by=owner, now=NOW, on=DAY)


@pytest.mark.libreoffice
def test_the_word_processor_opens_the_receipt(job: Job, owner: User, libreoffice: str) -> None:
    from pypdf import PdfReader

    from estimates.office import write_pdf

    paper = paper_make(job=job, kind="receipt", by=owner, now=NOW, on=DAY)
    pdf = write_pdf(document_path(paper.sha256))
    assert pdf is not None
    assert "Receipt for insulation installed" in PdfReader(pdf).pages[0].extract_text()
