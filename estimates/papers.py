"""Papers of a house: written from one run of the chain, and kept as they were written."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

from django.conf import settings
from django.utils import timezone

from estimates.drawing import elevation
from estimates.firm import load_firm
from estimates.models.estimate import EstimateRevision
from estimates.picture import keep_png
from estimates.proposal import PICTURE_MM, PICTURE_PX, proposal_context, write_proposal
from estimates.snapshot import Snapshot, snapshot_from_text

MM_PER_IN = 25.4


def write_house_proposal(snapshot: Snapshot, path: Path, *, revision: int, issued_on: date) -> Path:
    """Write the proposal of a house with the elevations of its walls.

    Parameters
    ----------
    snapshot : one run of the chain.
    path : where to; written whole or not at all.
    revision : of the estimate, from 1.
    issued_on : first day of the price; the price book says for how many days it holds.

    Returns
    -------
    `path`.
    """
    context = proposal_context(
        snapshot.house,
        snapshot.takeoff,
        snapshot.performance,
        snapshot.options,
        snapshot.book,
        offers=snapshot.offers,
        number=f"P-{snapshot.house.id}",
        revision=revision,
        issued_on=issued_on,
        valid_until=issued_on + timedelta(days=int(snapshot.book.best("price_valid"))),
        firm=load_firm(),
    )
    elevations = {
        counted.wall.id: keep_png(
            elevation(counted.layout, counted.wall, shown_px=PICTURE_PX),
            settings.VAR_DIR / "pictures",
            width_in=PICTURE_MM / MM_PER_IN,
        )
        for counted in snapshot.takeoff.priced_walls
        if counted.layout.quick is None
    }
    return write_proposal(path, context, elevations, issued_on=issued_on)


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
        write_house_proposal(snapshot, path, revision=revision.number, issued_on=issued_on)
    return path
