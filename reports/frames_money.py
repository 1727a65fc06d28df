"""Money as reports, all of it out of the books: margins, where they went, cash and what is owed, month by month."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

from django.db.models import Case, CharField, Count, Sum, When
from django.db.models.functions import Cast, Substr
from django.db.models.lookups import Exact, GreaterThanOrEqual
from django.urls import reverse
from django.utils import timezone

from jobs.ledger import CHART
from jobs.models import ChangeOrder, ChangeStatus, Job, Posting
from jobs.payments import aging, open_bills
from reports.answers import Answer, Chart, counted, dollars, each, percent
from reports.asked import Asked, months_between
from reports.charts import VERMILLION, Bar, Line, bar_figure, time_figure
from reports.exports.tables import Column, Kind, Table
from reports.frames_jobs import finished_jobs, job_frame, share_of
from reports.frames_sales import FEW_BARS
from reports.signed import SignedOption

if TYPE_CHECKING:
    import pandas as pd

COSTS = tuple(key for key in CHART if key.startswith("cost_"))
"""Accounts of the direct cost of jobs."""

OTHER_COSTS = tuple(key for key in COSTS if key not in ("cost_labour", "cost_material", "cost_call_back"))

GROUPS = {"service": "Service", "crew": "Crew", "seller": "Seller", "wall": "Wall type"}
"""What margins are taken together by -> heading."""

WORTH_NAMING = 0.005
"""A difference of less than half a point of margin is none. [1] Common practice, no source."""


# --- Out of the books ------------------------------------------------------------------------------------------------


def job_balances(rows: Any) -> dict[int, dict[str, int]]:
    """What the books say of each job: id -> account -> cents, debits above 0; one query.

    Parameters
    ----------
    rows : jobs, as a query.
    """
    inside = Posting.objects.filter(entry__job__in=rows.order_by().values("pk")).order_by()
    sums = inside.values_list("entry__job", "account__key").annotate(debits=Sum("debit"), credits=Sum("credit"))
    found: dict[int, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for job, key, debit, credit in sums:
        found[job][key] = round((debit - credit) * 100)
    return found


def month_sums(*, first: date | None = None, last: date | None = None) -> dict[tuple[str, str], tuple[int, int]]:
    """What moved on each account in each month: (month as 2026-03, account) -> debits and credits [cents]; one query.

    Notes
    -----
    The month is cut out of the day as text: taking it from the day as a date is a call into Python for each row on
    SQLite.
    """
    rows = Posting.objects.order_by()
    if first is not None:
        rows = rows.filter(entry__on__gte=first)
    if last is not None:
        rows = rows.filter(entry__on__lte=last)
    month = Substr(Cast("entry__on", CharField()), 1, 7)
    sums = rows.annotate(month=month).values_list("month", "account__key")
    return {
        (name, key): (round(debit * 100), round(credit * 100))
        for name, key, debit, credit in sums.annotate(debits=Sum("debit"), credits=Sum("credit"))
    }


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


# --- Cash, deposits, what is owed ------------------------------------------------------------------------------------


def cash(asked: Asked) -> Answer:
    """Cash in and out by month, deposits held, and what is open by age."""
    sums = month_sums(first=asked.first, last=asked.last)
    months = _months(sums, asked)
    came = [sums.get((name, "bank"), (0, 0)) for name in months]
    standing = _standing_deposits(asked.last)
    at_end: list[int] = []
    start = sum(cents for name, cents in standing.items() if months and name < months[0])
    for name in months:
        start += standing.get(name, 0)
        at_end.append(start)
    owed = aging(open_bills(asked.today))
    total, late = sum(cents for _, cents in owed), sum(cents for _, cents in owed[1:])
    rows: list[list[Any]] = [
        ["Month", _month_words(name), into, out, into - out, kept]
        for name, (into, out), kept in zip(months, came, at_end)
    ]
    rows += [["Open today", words, cents, None, None, None] for words, cents in owed]
    received, paid = sum(into for into, _ in came), sum(out for _, out in came)
    title = f"{dollars(received)} came in and {dollars(paid)} went back in {asked.words}; "
    title += f"{dollars(total)} is open, of it {dollars(late)} past its day" if total else "nothing is open"
    title += f", and {dollars(at_end[-1] if at_end else 0)} of deposits is held."
    columns = (
        Column("What"), Column("Month, or days past due"), Column("Came in, or open", Kind.MONEY),
        Column("Went back", Kind.MONEY), Column("Left", Kind.MONEY), Column("Deposits held at the end", Kind.MONEY),
    )  # fmt: skip
    names = [_month_words(name, short=True) for name in months]
    deposits = [Line("deposits held", [cents / 100 for cents in at_end], VERMILLION, "dash")] if any(at_end) else []
    flow = Chart(
        time_figure(names, "Dollars", columns=[into / 100 for into, _ in came], lines=deposits, column_word="cash in"),
        "Columns: cash that came in by month, with deposits held at its end as a line.",
        "Cash in, and deposits held at the end of the month",
    )
    ages = [Bar(words, cents / 100, dollars(cents), look=at > 0) for at, (words, cents) in enumerate(owed)]
    aged = Chart(
        bar_figure(ages, "Open today, dollars"), "Bars: what is open today, by days past the day it was due.",
        "Open today, by days past the day it was due",
    )  # fmt: skip
    there = bool(months or total)
    return Answer(
        title, Table("Cash", columns, rows), f"Bank account and deposits of the books, {asked.words}; open bills today",
        ((flow,) if months else ()) + ((aged,) if total else ()),
        ("A deposit is the customer's until the final invoice earns it.",),
        missing="" if there else "As soon as a payment is recorded or an invoice issued, it stands here.",
    )  # fmt: skip


def _standing_deposits(last: date | None) -> dict[str, int]:
    """What was added to deposits held in each month, up to a day. [cents]"""
    rows = Posting.objects.filter(account__key="deposits_held").order_by()
    if last is not None:
        rows = rows.filter(entry__on__lte=last)
    month = Substr(Cast("entry__on", CharField()), 1, 7)
    sums = rows.annotate(month=month).values_list("month").annotate(debits=Sum("debit"), credits=Sum("credit"))
    return {name: round((credit - debit) * 100) for name, debit, credit in sums}


def _months(sums: Mapping[tuple[str, str], Any], asked: Asked) -> list[str]:
    """Every month of the period from the first one with a posting to its end, also those without one."""
    names = sorted({name for name, _ in sums})
    if not names:
        return []
    first = date.fromisoformat(f"{names[0]}-01")
    last = max(date.fromisoformat(f"{names[-1]}-01"), min(asked.last or asked.today, asked.today))
    return [f"{month:%Y-%m}" for month in months_between(first, last)]


def _month_words(name: str, *, short: bool = False) -> str:
    month = date.fromisoformat(f"{name}-01")
    return f"{month:%b %y}" if short else f"{month:%B %Y}"


# --- Month by month --------------------------------------------------------------------------------------------------


def month_frame(asked: Asked) -> pd.DataFrame:
    """Each month with jobs booked and finished, revenue, direct cost, commission, margin and cash in [cents].

    Three queries, whatever the number of jobs and postings.
    """
    import pandas as pd

    sums = month_sums(first=asked.first, last=asked.last)
    months = _months(sums, asked)
    counts = {name: _job_months(name, asked) for name in ("booked_at", "done_at")}
    known = sorted({*months, *counts["booked_at"], *counts["done_at"]})
    if known:
        span = date.fromisoformat(f"{known[0]}-01"), date.fromisoformat(f"{known[-1]}-01")
        months = [f"{month:%Y-%m}" for month in months_between(*span)]

    def net(name: str, *keys: str) -> int:
        pairs = [sums.get((name, key), (0, 0)) for key in keys]
        return sum(debit - credit for debit, credit in pairs)

    rows = []
    for name in months:
        revenue = -net(name, "revenue", "discounts", "refunds")
        cost, commission = net(name, *COSTS), net(name, "commission")
        rows.append(
            {
                "month": name, "booked": counts["booked_at"].get(name, 0), "finished": counts["done_at"].get(name, 0),
                "revenue": revenue, "cost": cost, "commission": commission, "margin": revenue - cost - commission,
                "cash": sums.get((name, "bank"), (0, 0))[0],
            }
        )  # fmt: skip
    columns = ["month", "booked", "finished", "revenue", "cost", "commission", "margin", "cash"]
    return pd.DataFrame(rows, columns=columns)


def _job_months(name: str, asked: Asked) -> dict[str, int]:
    """Jobs by the month in which they were booked or finished, by the clock of the firm; one query.

    Moments are kept by the clock of Greenwich, so those near the turn of a month are counted by the hour.
    """
    zone = timezone.get_current_timezone()
    rows = Job.objects.filter(**{f"{name}__isnull": False}, **asked.during(name, zone=zone)).order_by()
    text = Cast(name, CharField())
    near = When(
        Exact(Substr(text, 9, 2), "01") | GreaterThanOrEqual(Substr(text, 9, 2), "28"), then=Substr(text, 1, 13)
    )
    found: dict[str, int] = defaultdict(int)
    grouped = rows.annotate(turn=Case(near, default=Substr(text, 1, 7))).values_list("turn")
    for turn, count in grouped.annotate(count=Count("pk")):
        if len(turn) == len("2026-03"):
            found[turn] += count
        else:
            hour = datetime.fromisoformat(f"{turn}:00").replace(tzinfo=UTC)
            found[f"{hour.astimezone(zone):%Y-%m}"] += count
    return found


def months(asked: Asked) -> Answer:
    """What each month brought: work, revenue, margin, cash."""
    frame = month_frame(asked)
    revenue, margin = int(frame["revenue"].sum()), int(frame["margin"].sum())
    if not len(frame):
        title = f"Nothing was booked, finished or posted in {asked.words}."
    elif not revenue:
        title = f"{counted(int(frame['booked'].sum()), 'job')} booked in {asked.words}; no revenue is in the books yet."
    else:
        title = f"{dollars(revenue)} of revenue left {dollars(margin)} ({percent(margin / revenue)}) in {asked.words}"
        best = frame.sort_values("margin", kind="stable").iloc[-1]
        named = f"; the best month was {_month_words(str(best['month']))} with {dollars(int(best['margin']))}"
        title += f"{named if len(frame) > 1 else ''}."
    rows = [
        [_month_words(row.month), row.booked, row.finished, row.revenue, row.cost, row.commission, row.margin,
         share_of(row.margin, row.revenue) if row.revenue > 0 else None, row.cash]
        for row in each(frame)
    ]  # fmt: skip
    columns = (
        Column("Month"), Column("Jobs booked", Kind.NUMBER, 0), Column("Jobs finished", Kind.NUMBER, 0),
        Column("Revenue", Kind.MONEY), Column("Direct cost", Kind.MONEY), Column("Commission", Kind.MONEY),
        Column("Margin", Kind.MONEY), Column("Margin, %", Kind.PERCENT), Column("Cash in", Kind.MONEY),
    )  # fmt: skip
    names = [_month_words(str(name), short=True) for name in frame["month"]]
    line = Line("margin", [cents / 100 for cents in frame["margin"]], VERMILLION, "dash")
    chart = Chart(
        time_figure(
            names, "Dollars", columns=[cents / 100 for cents in frame["revenue"]], lines=[line], column_word="revenue"
        ),
        "Columns: revenue by month, with the margin that is left of it as a line.",
    )
    links = [
        reverse("reports-download-letter", kwargs={"year": int(str(name)[:4]), "month": int(str(name)[5:])})
        for name in frame["month"]
    ]
    return Answer(
        title, Table("Months", columns, rows), f"Out of the books, {asked.words}", (chart,) if revenue else (),
        ("Revenue is less discounts and credits given; a month's cost is what was posted in it.",
         "Each month leads to its letter (Word)."),
        links,
        missing="" if len(frame) else "As soon as a job is booked, its month stands here.",
    )  # fmt: skip
