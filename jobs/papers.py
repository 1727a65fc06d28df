"""Papers of a job: crew sheet, insulation receipt (16 CFR 460.17), certificate, completion packet - made once, kept."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.cancelling import contract_rules
from estimates.claims import paper_faults, savings_words
from estimates.docx_paper import fill_in, text_of
from estimates.filing import write_whole
from estimates.firm import load_firm
from estimates.issuing import document_path
from estimates.models.user import User
from estimates.pricebook import PriceBook
from estimates.records import read_record
from estimates.rules import places_of
from jobs.booking import frozen_forms
from jobs.models import Job, JobPaper
from jobs.paper_words import paper_content

TEMPLATES = Path(__file__).resolve().parent.parent / "templates" / "documents"

NAMES = {
    "receipt": "Insulation receipt",
    "certificate": "Insulation certificate",
    "completion": "Completion packet",
    "crew_sheet": "Crew sheet",
}
"""Kind of a paper -> its name; the template of each is `templates/documents/<kind>.docx`."""

AFTER_VERIFICATION = frozenset({"certificate", "completion"})
"""Papers that say a job is what it should be."""


def paper_make(*, job: Job, kind: str, by: User | None, now: datetime, on: date, origin: str = "") -> JobPaper:
    """Make a paper of a job and keep it; the same content again returns the paper that is there.

    Parameters
    ----------
    job : of which.
    kind : one of `NAMES`.
    by, now, origin : who, when, from where.
    on : the day that it carries.

    Raises
    ------
    ValidationError : no such paper, the job is not far enough, nothing was installed, or the text says of insulation
        what papers may not say (16 CFR 460).
    """
    if kind not in NAMES:
        raise ValidationError({"kind": f"No paper {kind!r}. Choose one of {', '.join(NAMES)}."})
    forms = frozen_forms(job)
    content = paper_content(job, kind, forms, on=on)
    if kind in AFTER_VERIFICATION and not hasattr(job, "verification"):
        raise ValidationError(
            {"kind": f"The {NAMES[kind].lower()} follows the verification of the job. Verify it first."}
        )
    if kind != "crew_sheet" and not (content["walls"] or content["attics"] or content["leaks"]):
        raise ValidationError({"kind": "Nothing was installed yet; there is nothing to receipt."})
    there = JobPaper.objects.filter(job=job, kind=kind).order_by("-made_at", "-id").first()
    if there is not None and _same(there.content, content):
        return there
    paper = fill_in(TEMPLATES / f"{kind}.docx", content, issued_on=on, author=load_firm().name)
    faults = _claims(job, forms, paper, on)
    if faults:
        raise ValidationError({"kind": faults})
    digest = hashlib.sha256(paper).hexdigest()
    path = document_path(digest)
    if not path.exists():
        write_whole(path, paper)
    with transaction.atomic():
        row = JobPaper(
            job=job,
            kind=kind,
            name=f"{job.number}-{kind}.docx",
            content=content,
            sha256=digest,
            made_at=now,
            made_by=by,
        )
        row.full_clean()
        row.save()
        activity_record(
            actor=by, action="job.paper", target=job, now=now, after={"kind": kind, "sha256": digest}, origin=origin
        )
    return row


def _same(old: Mapping[str, Any], new: Mapping[str, Any]) -> bool:
    return {name: value for name, value in old.items() if name != "made_on"} == {
        name: value for name, value in new.items() if name != "made_on"
    }


def _claims(job: Job, forms: Mapping[str, Any], paper: bytes, on: date) -> list[str]:
    """What the text of a paper may not say (rule P5)."""
    book = read_record(PriceBook, forms["price_book"])
    house = job.house
    places = places_of(house.state, *([house.county] if house.county.strip() else []))
    said = savings_words(contract_rules(job.proposal, places), places, on=on)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "paper.docx"
        path.write_bytes(paper)
        return [str(fault) for fault in paper_faults(text_of(path), book.foam, book.loose_fill, savings_text=said)]
