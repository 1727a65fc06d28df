"""Jobs as a frame: a row each with seller, crew, kind of wall and what was signed; reports on jobs begin here."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Sum
from django.urls import reverse
from django.utils import timezone

from jobs.models import Job, JobStatus, PhaseKind, Visit
from reports.asked import WALL_TYPES, Asked
from reports.signed import SignedOption, signed_options

if TYPE_CHECKING:
    import pandas as pd
    from django.db.models import QuerySet

NOT_MAKING = (PhaseKind.TEST_IN, PhaseKind.TEST_OUT, PhaseKind.INFRARED, PhaseKind.RETURN)
"""Phases that say nothing of who made the job: tests, pictures, and going back."""

NO_CREW, NO_WALL = "no crew", "no wall"

FINISHED = (JobStatus.WORK_DONE, JobStatus.VERIFIED, JobStatus.CLOSED)
"""Statuses of a job whose work is done."""

MEASURES = {"wall_injection": "walls", "attic_top_up": "attic", "air_sealing": "air sealing"}
"""Measure -> how it is called among the services of a job."""

COLUMNS = (
    "job", "code", "number", "house", "seller", "seller_code", "done_at", "crew", "crew_code", "wall", "service",
    "signed", "link",
)  # fmt: skip


def finished_jobs(asked: Asked) -> QuerySet[Job]:
    """Jobs whose work was done in the period, and is done."""
    zone = timezone.get_current_timezone()
    rows = Job.objects.filter(status__in=FINISHED, done_at__isnull=False, **asked.during("done_at", zone=zone))
    return rows.filter(proposal__created_by__code=asked.seller) if asked.seller else rows


def job_frame(rows: QuerySet[Job], asked: Asked) -> pd.DataFrame:
    """A row a job with the columns COLUMNS, the first that was done first; four queries at most.

    Parameters
    ----------
    rows : the jobs; those of another crew or kind of wall than asked for are left out.
    asked : the filters.

    Notes
    -----
    The crew of a job is the one with the most hours planned for making it, the wall the kind with the most area that
    was signed, the service everything that was signed together.
    """
    import pandas as pd

    crews = _crews(rows)
    signed = signed_options(rows, option="option")
    columns = ("pk", "code", "number", "house__name", "proposal__created_by__full_name",
               "proposal__created_by__code", "done_at", "revision_id", "option")  # fmt: skip
    records = []
    ordered = rows.order_by("done_at", "pk").values_list(*columns)
    for job, code, number, house, seller, seller_code, done_at, revision, option in ordered:
        money = signed.get((revision, option))
        crew, crew_code = crews.get(job, (NO_CREW, ""))
        wall = largest_wall(money)
        if (asked.crew and crew_code != asked.crew) or (asked.wall and wall != asked.wall):
            continue
        link = reverse("jobs-show-job", kwargs={"code": code})
        records.append(
            (job, code, number, house, seller, str(seller_code), done_at, crew, crew_code,
             WALL_TYPES.get(wall, wall), services(money), money, link)
        )  # fmt: skip
    return pd.DataFrame(records, columns=list(COLUMNS))


def _crews(rows: QuerySet[Job]) -> dict[int, tuple[str, str]]:
    """Job -> name and code of the crew with the most hours at it."""
    visits = Visit.objects.filter(phase__job__in=rows.order_by().values("pk")).exclude(phase__kind__in=NOT_MAKING)
    sums = visits.order_by().values_list("phase__job", "crew__name", "crew__code").annotate(total=Sum("hours"))
    found: dict[int, tuple[str, str]] = {}
    for job, name, code, _ in sorted(sums, key=lambda row: (row[3], row[1])):
        found[job] = (name, str(code))
    return found


def largest_wall(money: SignedOption | None) -> str:
    """The kind of wall with the most area."""
    if money is None or not money.walls:
        return NO_WALL
    return max(sorted(money.walls), key=lambda kind: money.walls[kind])


def services(money: SignedOption | None) -> str:
    """What was signed together: "walls and attic"."""
    if money is None or not money.measures:
        return "not known"
    return " and ".join(sorted((MEASURES.get(one, one.replace("_", " ")) for one in money.measures), reverse=True))


def share_of(part: float, whole: float) -> float | None:
    """A part of a whole; None where there is no whole."""
    return part / whole if whole else None
