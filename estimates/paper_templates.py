"""The template that papers are written from: taking a changed one into use, and an earlier one back."""

from __future__ import annotations

import hashlib
import zipfile
from collections.abc import Iterator
from datetime import date, datetime
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.counter import counter_next
from estimates.filing import write_whole
from estimates.house import house_from_json
from estimates.models.paper import PaperTemplate
from estimates.models.user import Role, User
from estimates.pricebook import load_book
from estimates.proposal import TEMPLATE, check_template
from estimates.snapshot import Snapshot, take_snapshot

LARGEST = 2 * 1024 * 1024
"""Largest template. [bytes]"""

LARGEST_UNPACKED = 40 * 1024 * 1024
"""A .docx is a zip; one that swells to more than this is no letter. [bytes]"""

SAMPLE = settings.BASE_DIR / "fixtures" / "houses" / "mill-cape.json"
"""The invented house a changed template is tried on."""

BUILT_IN = "The template that comes with the program"


def current_template() -> PaperTemplate | None:
    """The template in use; None for the one that comes with the program, which nobody has changed yet."""
    return PaperTemplate.objects.order_by("-number").first()


def template_path(row: PaperTemplate | None) -> Path:
    """Where the file of a template lies."""
    if row is None or not row.sha256:
        return TEMPLATE
    found: Path = settings.DOCUMENTS_DIR / "templates" / f"{row.sha256}.docx"
    return found


def template_trouble(content: bytes) -> list[str]:
    """What keeps a file from being used as the template of proposals; each a sentence that says what to do.

    Parameters
    ----------
    content : the whole file.

    Returns
    -------
    Sentences; none when every name in it is known, nothing needed is missing, and an invented house can be printed.
    """
    if len(content) > LARGEST:
        return [f"The file is larger than {LARGEST // 1024 // 1024} MB. Make its pictures smaller."]
    trouble = list(_package_trouble(content))
    if trouble:
        return trouble
    with TemporaryDirectory() as folder:
        path = Path(folder) / "changed.docx"
        path.write_bytes(content)
        trouble = check_template(path)
        return trouble or list(_trial_trouble(path, Path(folder) / "trial.docx"))


def _package_trouble(content: bytes) -> Iterator[str]:
    try:
        with zipfile.ZipFile(BytesIO(content)) as package:
            names, unpacked = set(package.namelist()), sum(part.file_size for part in package.infolist())
    except zipfile.BadZipFile:
        names, unpacked = set(), 0
    if "word/document.xml" not in names:
        yield "The file is not a Word document (.docx). Save it as .docx and try again."
    elif unpacked > LARGEST_UNPACKED:
        yield "The file unpacks to more than 40 MB. Make its pictures smaller."
    elif any(name.lower().endswith("vbaproject.bin") for name in names):
        yield "The file holds macros. Save it as .docx without them and try again."


@lru_cache(maxsize=1)
def _sample() -> Snapshot:
    return take_snapshot(house_from_json(SAMPLE.read_text(encoding="utf-8")), load_book("standard"))


def _trial_trouble(path: Path, trial: Path) -> Iterator[str]:
    """Print the invented house with it: a tag may be known and still stand where it cannot work."""
    from estimates.papers import claim_faults, write_house_proposal

    try:
        written = write_house_proposal(
            _sample(), trial, revision=1, issued_on=date(2026, 1, 2), template=path, number="P-TRIAL"
        )
    except Exception as fault:  # whatever a hand-made file brings the template engine to: it is the file's fault
        yield f"A trial with an invented house failed: {fault}. Look at the tags that were changed last."
        return
    for claim in claim_faults(_sample(), written):
        yield f"A trial with an invented house says what papers may not say: {claim.message}"


def template_take(*, content: bytes, name: str, by: User, now: datetime, origin: str = "") -> PaperTemplate:
    """Take a changed template into use; the one in use again writes nothing.

    Parameters
    ----------
    content, name : the file.
    by : the owner.
    now, origin : when, from where.

    Raises
    ------
    ValidationError : it is not the owner, or the file cannot be used; every reason.
    """
    _need_owner(by)
    trouble = template_trouble(content)
    if trouble:
        raise ValidationError({"file": trouble})
    digest = hashlib.sha256(content).hexdigest()
    write_whole(settings.DOCUMENTS_DIR / "templates" / f"{digest}.docx", content)
    return _put(name=name, sha256=digest, size=len(content), restores=None, by=by, now=now, origin=origin)


def template_restore(*, earlier: PaperTemplate | None, by: User, now: datetime, origin: str = "") -> PaperTemplate:
    """Take an earlier template back into use; None is the one that comes with the program.

    Raises
    ------
    ValidationError : it is not the owner, the file is gone, or the program no longer knows a name in it.
    """
    _need_owner(by)
    path = template_path(earlier)
    if not path.exists():
        raise ValidationError({"file": "The file of this template is gone. Upload it again."})
    content = path.read_bytes()
    trouble = template_trouble(content)
    if trouble:
        raise ValidationError({"file": trouble})
    return _put(
        name=BUILT_IN if earlier is None else earlier.name,
        sha256="" if earlier is None else earlier.sha256,
        size=len(content),
        restores=0 if earlier is None or not earlier.sha256 else earlier.number,
        by=by,
        now=now,
        origin=origin,
    )


def _need_owner(by: User) -> None:
    if by.role != Role.OWNER or not by.is_active:
        raise ValidationError({"by": "Only the owner may change the template. Ask the owner."})


def _put(
    *, name: str, sha256: str, size: int, restores: int | None, by: User, now: datetime, origin: str
) -> PaperTemplate:
    with transaction.atomic():
        # One writer at a time, at the lock of the counter that numbers the rows.
        number = counter_next(name="paper_template")
        before = current_template()
        if before is not None and before.sha256 == sha256:
            transaction.set_rollback(True)
            return before
        row = PaperTemplate(
            number=number, name=name[:120], sha256=sha256, size=size, restores=restores, taken_at=now, taken_by=by
        )
        row.full_clean()
        row.save()
        activity_record(
            actor=by,
            action="template.take" if restores is None else "template.restore",
            target=row,
            now=now,
            before=None if before is None else {"template": before.number, "sha256": before.sha256},
            after={"template": number, "sha256": sha256, "name": row.name},
            origin=origin,
        )
    return row
