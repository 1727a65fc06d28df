"""The files of an estimate that can be fetched from its page."""

from __future__ import annotations

import json
import logging
from io import BytesIO
from typing import IO, Any

from django.http import Http404

from estimates import access
from estimates.models import EstimateRevision
from estimates.office import OfficeFailed, office_path, write_pdf
from estimates.papers import proposal_file
from estimates.snapshot import SnapshotDiffers, canonical_json

log = logging.getLogger("cavitybook.papers")

JSON_TYPE = "application/json"
DOCX_TYPE = "application/vnd.openxmlformats-officedocument.wordprocessingml.document"

FILES = {
    "proposal.docx": ("document.download", "Proposal, for a word processor"),
    "proposal.pdf": ("document.download", "Proposal, to print or send"),
    "takeoff.json": ("document.download", "Takeoff: every bay and hole"),
    "performance.json": ("document.download", "Heat and air before and after"),
    "estimate.json": ("cost.read", "Estimate: lines with cost, price and margin"),
}
"""Name -> the action it takes to fetch it, what it is."""


class FileMissing(Exception):
    """A file that should be there cannot be had just now; the text says what to do instead."""


def file_names(user: access.Person) -> dict[str, str]:
    """Return name -> what it is, of the files that somebody may fetch and that this machine can make."""
    return {
        name: words
        for name, (action, words) in FILES.items()
        if access.allowed(user, "document.download")
        and access.allowed(user, action)
        and (name != "proposal.pdf" or office_path() is not None)
    }


def house_file(revision: EstimateRevision, name: str, user: access.Person) -> tuple[IO[bytes], str]:
    """Return the content of a file, and its media type.

    Raises
    ------
    Http404 : no such file.
    PermissionDenied : it is not for this person.
    FileMissing : it cannot be had just now.
    """
    if name not in FILES:
        raise Http404
    access.require(user, FILES[name][0])
    if name.endswith(".json"):
        form = json.loads(revision.snapshot)[name.removesuffix(".json")]
        shown = form if access.allowed(user, "cost.read") else _without_costs(form)
        return BytesIO(canonical_json(shown).encode()), JSON_TYPE
    try:
        paper = proposal_file(revision)
        if name == "proposal.docx":
            return paper.open("rb"), DOCX_TYPE
        pdf = paper.with_suffix(".pdf")
        found = pdf if pdf.exists() else write_pdf(paper)
    except SnapshotDiffers:
        log.exception("proposal of revision %s can no longer be written", revision.code)
        raise FileMissing(
            "The program has changed since this estimate was made, and its proposal was never written. "
            "Estimate the house again, then fetch the proposal."
        ) from None
    except OfficeFailed:
        log.exception("no PDF of revision %s", revision.code)
        raise FileMissing("The PDF could not be made just now. Fetch the proposal for a word processor.") from None
    if found is None:
        raise Http404
    return found.open("rb"), "application/pdf"


def _without_costs(form: dict[str, Any]) -> dict[str, Any]:
    """A takeoff says what the material of each leak site costs the firm."""
    if "leak_sites" not in form:
        return form
    leaks = [{key: value for key, value in leak.items() if key != "material_dollars"} for leak in form["leak_sites"]]
    return form | {"leak_sites": leaks}
