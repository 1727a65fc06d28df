"""Papers of a house: written from one run of the chain, and kept as they were written."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from django.conf import settings
from django.utils import timezone

from estimates.claims import paper_faults, savings_words
from estimates.docx_paper import text_of
from estimates.drawing import elevation
from estimates.filing import write_whole
from estimates.firm import load_firm
from estimates.models.estimate import EstimateRevision
from estimates.paper_templates import current_template, template_path
from estimates.picture import keep_png
from estimates.proposal import (
    PICTURE_MM,
    PICTURE_PX,
    TEMPLATE,
    check_template,
    paper_terms,
    proposal_context,
    write_proposal,
)
from estimates.records import Fault
from estimates.snapshot import Snapshot, snapshot_from_text

MM_PER_IN = 25.4

PICTURED = 60
"""So many walls have their elevation drawn on a paper: nobody reads one of hundreds of drawings, each takes time."""


class PaperRefused(ValueError):
    """A paper that must not go out; `faults` name every reason and what to enter."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = faults


def write_house_proposal(
    snapshot: Snapshot,
    path: Path,
    *,
    revision: int,
    issued_on: date,
    signed_on: date | None = None,
    template: Path = TEMPLATE,
    number: str = "",
    valid_until: date | None = None,
) -> Path:
    """Write the proposal of a house with the elevations of its walls.

    Parameters
    ----------
    snapshot : one run of the chain.
    path : where to; written whole or not at all.
    revision : of the estimate, from 1.
    issued_on : first day of the price.
    signed_on : day of signature, from which the right to cancel counts; None: blanks to fill in at signing.
    template : the firm's own .docx, which `check_template` has nothing against.
    number : of the document; left out, it is made from the house.
    valid_until : last day of the price; left out, the price book says for how many days it holds.

    Returns
    -------
    `path`. While anything keeps it from being a contract, the paper says so and has no lines to sign on.
    """
    context = proposal_context(
        snapshot,
        number=number or f"P-{snapshot.house.id}",
        revision=revision,
        issued_on=issued_on,
        valid_until=valid_until or price_ends(snapshot, issued_on),
        firm=load_firm(),
        signed_on=signed_on,
    )
    elevations = {
        counted.wall.id: keep_png(
            elevation(counted.layout, counted.wall, shown_px=PICTURE_PX),
            settings.VAR_DIR / "pictures",
            width_in=PICTURE_MM / MM_PER_IN,
        )
        for counted in snapshot.takeoff.priced_walls[:PICTURED]
        if counted.layout.quick is None
    }
    return write_proposal(path, context, elevations, template, issued_on=issued_on)


def price_ends(snapshot: Snapshot, issued_on: date) -> date:
    """The last day of a price that is given on a day, by the price book."""
    return issued_on + timedelta(days=int(snapshot.book.best("price_valid")))


def issue_faults(snapshot: Snapshot, *, template: Path = TEMPLATE) -> tuple[Fault, ...]:
    """Why a proposal cannot be issued: open questions, required clauses without text, payments beyond their caps.

    Also a template that lacks a part. Empty when it can; `issue_house_proposal` reads the finished paper besides.
    """
    faults = [Fault("template", said) for said in check_template(template)]
    faults += paper_terms(snapshot, load_firm()).faults
    faults += [Fault(f"gates.{gate.hazard.id}", f"not answered; answer it: {gate}") for gate in snapshot.gates.open]
    for priced, offer in zip(snapshot.options, snapshot.offers, strict=True):
        where = f"options.{priced.option.id}"
        faults += [Fault(f"{where}.{fault.path}", fault.message) for fault in offer.faults]
        if not offer.total_cents:
            faults.append(Fault(where, "nothing of it can be priced; take the option out"))
    return tuple(faults)


def issue_house_proposal(
    snapshot: Snapshot,
    path: Path,
    *,
    revision: int,
    issued_on: date,
    signed_on: date | None = None,
    template: Path = TEMPLATE,
) -> Path:
    """Write a proposal that may be signed; parameters as for `write_house_proposal`.

    Raises
    ------
    PaperRefused : something keeps it from being a contract, or its text says of insulation what papers may not say
        (rule P5); names each. Nothing is left at `path` then.
    """
    faults = issue_faults(snapshot, template=template)
    if faults:
        raise PaperRefused(faults)
    with TemporaryDirectory() as folder:
        paper = write_house_proposal(
            snapshot,
            Path(folder) / "proposal.docx",
            revision=revision,
            issued_on=issued_on,
            signed_on=signed_on,
            template=template,
        )
        faults = claim_faults(snapshot, paper)
        if faults:
            raise PaperRefused(faults)
        write_whole(path, paper.read_bytes())
    return path


def claim_faults(snapshot: Snapshot, paper: Path) -> tuple[Fault, ...]:
    """What the text of a written paper may not say of insulation and savings."""
    said = savings_words(snapshot.rules, snapshot.under.places, on=snapshot.under.priced_on)
    found = paper_faults(text_of(paper), snapshot.book.foam, snapshot.book.loose_fill, savings_text=said)
    return tuple(Fault("paper", str(fault)) for fault in found)


def proposal_file(revision: EstimateRevision) -> Path:
    """The proposal of a revision: as it was first written, else written now from what the revision froze.

    Raises
    ------
    SnapshotDiffers : it was never written, and this engine no longer comes to the frozen figures.
    """
    path: Path = settings.DOCUMENTS_DIR / "proposals" / f"{revision.code}.docx"
    if not path.exists():
        issued_on = timezone.localtime(revision.created_at).date()
        snapshot = snapshot_from_text(revision.snapshot)
        template = template_path(current_template())
        write_house_proposal(snapshot, path, revision=revision.number, issued_on=issued_on, template=template)
    return path
