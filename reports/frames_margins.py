"""Margins as reports: what was estimated and what the books say, and the steps between the two."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from django.db.models import Sum

from jobs.models import ChangeOrder, ChangeStatus
from reports.answers import Answer, Chart, counted, dollars, each, percent
from reports.asked import Asked
from reports.charts import Bar, bar_figure
from reports.exports.tables import Column, Kind, Table
from reports.frames_jobs import finished_jobs, job_frame, share_of
from reports.frames_money import COSTS, job_balances
from reports.frames_sales import FEW_BARS
from reports.signed import SignedOption

if TYPE_CHECKING:
    import pandas as pd

OTHER_COSTS = tuple(key for key in COSTS if key not in ("cost_labour", "cost_material", "cost_call_back"))

GROUPS = {"service": "Service", "crew": "Crew", "seller": "Seller", "wall": "Wall type"}
"""What margins are taken together by -> heading."""

WORTH_NAMING = 0.005
"""A difference of less than half a point of margin is none. [1] Common practice, no source."""


# --- Margin: estimated and actual ------------------------------------------------------------------------------------


def margin_frame(asked: Asked) -> pd.DataFrame:
    """Finished jobs with what was estimated and what the books say; amounts in cents; six queries at most.

    Columns beside those of `frames_jobs.job_frame`: price, estimated (margin after commission), revenue (less discounts
    and credits given), cost, commission, actual (margin after commission), known (revenue and cost are both in the
    books).
    """
    import pandas as pd

    rows = finished_jobs(asked)
    frame = job_frame(rows, asked)
    frame = frame.loc[[money is not None for money in frame["signed"]]].reset_index(drop=True)
    books = job_balances(rows)
    moved = [books.get(job, {}) for job in frame["job"]]
    frame["price"] = [money.price for money in frame["signed"]]
    frame["estimated"] = [money.margin for money in frame["signed"]]
    frame["revenue"] = [revenue_of(one) for one in moved]
    frame["cost"] = [sum(one.get(key, 0) for key in COSTS) for one in moved]
    frame["commission"] = [one.get("commission", 0) for one in moved]
    frame["actual"] = frame["revenue"] - frame["cost"] - frame["commission"]
    frame["known"] = (frame["revenue"] != 0) & (frame["cost"] != 0)
    frame["moved"] = pd.Series(moved, index=frame.index, dtype=object)
    return frame


def revenue_of(moved: Mapping[str, int]) -> int:
    """Revenue less discounts and credits given, of the balances of a job. [cents]"""
    return -sum(moved.get(key, 0) for key in ("revenue", "discounts", "refunds"))


def margins(asked: Asked) -> Answer:
    """Estimated and actual margin: job by job, and taken together by service, crew, seller and kind of wall."""
    frame = margin_frame(asked)
    known = frame[frame["known"]]
    rows: list[list[Any]] = []
    charts = []
    for name, heading in GROUPS.items():
        groups = [_grouped(heading, str(key), some) for key, some in known.groupby(name, sort=True)]
        groups.sort(key=lambda row: (row[5] - row[4], row[1]))
        rows += groups
        if 1 < len(groups) <= FEW_BARS:
            charts.append(_margin_chart(heading, groups))
    jobs = [
        _grouped("Job", f"{row.number}, {row.house}", known.iloc[at : at + 1]) for at, row in enumerate(each(known))
    ]
    links = [*("" for _ in rows), *known["link"]]
    rows += jobs
    columns = (
        Column("By"), Column("Name"), Column("Jobs", Kind.NUMBER, 0), Column("Earned", Kind.MONEY),
        Column("Estimated margin, %", Kind.PERCENT), Column("Actual margin, %", Kind.PERCENT),
        Column("Margin, dollars over the estimate", Kind.MONEY),
    )  # fmt: skip
    waiting = len(frame) - len(known)
    notes = [
        "Margin is what is left of the price after direct cost and commission. Actual figures are those of the books."
    ]
    if waiting:
        notes.append(
            f"{counted(waiting, 'finished job')} {'is' if waiting == 1 else 'are'} left out: revenue or cost "
            f"{'is' if waiting == 1 else 'are'} not in the books yet."
        )
    return Answer(
        _margin_title(known, asked), Table("Margins", columns, rows),
        f"Jobs whose work was done in {asked.words}; furthest below the estimate first", tuple(charts), tuple(notes),
        links, "" if len(known) else _nothing(waiting),
    )  # fmt: skip


def _nothing(waiting: int) -> str:
    said = f"{counted(waiting, 'finished job')} wait for revenue or cost in the books. " if waiting else ""
    return f"{said}Margins stand here once a job is finished, billed, and its cost is posted."


def _margin_title(known: pd.DataFrame, asked: Asked) -> str:
    if not len(known):
        return f"No job finished in {asked.words} is in the books with revenue and cost."
    estimated = float(known["estimated"].sum() / known["price"].sum())
    actual = share_of(float(known["actual"].sum()), float(known["revenue"].sum())) or 0.0
    points = 100 * abs(actual - estimated)
    jobs = counted(len(known), "job")
    if points < 100 * WORTH_NAMING:
        return f"{jobs} earned {percent(actual, 1)} of what was billed, as estimated."
    way = "more" if actual > estimated else "less"
    return f"{jobs} earned {percent(actual, 1)} of what was billed, {points:.1f} points {way} than estimated."


def _grouped(heading: str, name: str, some: pd.DataFrame) -> list[Any]:
    price, revenue = int(some["price"].sum()), int(some["revenue"].sum())
    estimated, actual = int(some["estimated"].sum()), int(some["actual"].sum())
    return [
        heading, name, len(some), actual, share_of(estimated, price) or 0.0, share_of(actual, revenue) or 0.0,
        actual - estimated,
    ]  # fmt: skip


def _margin_chart(heading: str, groups: list[list[Any]]) -> Chart:
    bars = [
        Bar(str(name), 100 * actual, percent(actual, 1), look=actual < estimated - WORTH_NAMING)
        for _, name, _, _, estimated, actual, _ in groups
    ]
    marks = [100 * row[4] for row in groups]
    return Chart(
        bar_figure(bars, "Actual margin after commission, %", marks=marks, mark_word="estimated"),
        f"Bars: actual margin by {heading.lower()} with the estimated one marked on each.",
        f"By {heading.lower()}",
    )


# --- From the estimated margin to the actual one ---------------------------------------------------------------------


def bridge_steps(asked: Asked) -> tuple[list[tuple[str, int]], int]:
    """From the estimated margin to the actual one, step by step [cents], and of how many jobs; seven queries at most.

    Notes
    -----
    Each step is what it added to the margin: estimated cost less actual cost by kind, signed change orders, what was
    given off the price beyond the contract's own discount, call-backs, commission. What is left of the difference was
    not billed yet. The steps between the first and the last amount add up to their difference, to the cent.
    """
    frame = margin_frame(asked)
    known = frame[frame["known"]]
    signed: list[SignedOption] = list(known["signed"])
    moved: dict[str, int] = defaultdict(int)
    for one in known["moved"]:
        for key, cents in one.items():
            moved[key] += cents
    sums = ChangeOrder.objects.filter(status=ChangeStatus.SIGNED, job__in=finished_jobs(asked).order_by().values("pk"))
    changes_of = dict(sums.order_by().values_list("job").annotate(total=Sum("price")))
    changes = round(100 * sum(changes_of.get(job, 0) for job in known["job"]))
    parts = {part: sum(one.parts[part] for one in signed) for part in ("labour", "material")}
    other = sum(one.cost for one in signed) - parts["labour"] - parts["material"]
    given = moved["discounts"] - sum(one.discount for one in signed) + moved["refunds"]
    price = sum(one.price for one in signed)
    unbilled = revenue_of(moved) - (price + changes - given)
    steps = [
        ("Estimated margin", sum(one.margin for one in signed)),
        ("Labour", parts["labour"] - moved["cost_labour"]),
        ("Material", parts["material"] - moved["cost_material"]),
        ("Other direct cost", other - sum(moved[key] for key in OTHER_COSTS)),
        ("Change orders", changes),
        ("Discounts and credits", -given),
        ("Call-backs", -moved["cost_call_back"]),
        ("Commission", sum(one.commission for one in signed) - moved["commission"]),
        ("Not billed yet", unbilled),
        ("Actual margin", int(known["actual"].sum())),
    ]
    return steps, len(known)


def bridge(asked: Asked) -> Answer:
    """Where the margin went between estimate and books."""
    steps, jobs = bridge_steps(asked)
    first, last = steps[0][1], steps[-1][1]
    rows = [[name, cents, share_of(cents, first)] for name, cents in steps]
    worst = min(steps[1:-1], key=lambda step: step[1])
    best = max(steps[1:-1], key=lambda step: step[1])
    if not jobs:
        title = f"No job finished in {asked.words} is in the books with revenue and cost."
    elif first == last:
        title = f"{counted(jobs, 'job')} earned {dollars(last)}, exactly as estimated."
    else:
        way, most = ("more", best) if last > first else ("less", worst)
        title = (
            f"{counted(jobs, 'job')} earned {dollars(last)}, {dollars(abs(last - first))} {way} than estimated; most "
            f"of that is {most[0].lower()}, {dollars(abs(most[1]))}."
        )
    bars = [Bar(name, cents / 100, dollars(cents), look=cents < 0) for name, cents in steps[1:-1] if cents]
    bars.append(Bar("All together", (last - first) / 100, dollars(last - first), look=last < first))
    chart = Chart(
        bar_figure(bars, "Adds to the margin, dollars"),
        "Bars: what each step added to the margin or took from it, and all of them together.",
        f"From {dollars(first)} estimated to {dollars(last)} earned",
    )
    columns = (
        Column("Step"),
        Column("Adds to the margin", Kind.MONEY),
        Column("Of the estimated margin, %", Kind.PERCENT),
    )
    return Answer(
        title, Table("Margin bridge", columns, rows), f"Jobs whose work was done in {asked.words}, out of the books",
        (chart,) if jobs else (),
        ("A step below zero took from the margin. Change orders count with their price; what they cost is among labour "
         "and material. The estimate's contingency is among other direct cost.",),
        missing="" if jobs else _nothing(0),
    )  # fmt: skip
