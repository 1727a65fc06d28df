"""Money as reports, all of it out of the books: cash and what is owed, and what each month brought."""

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
from jobs.models import Job, Posting
from jobs.payments import aging, open_bills
from reports.answers import Answer, Chart, counted, dollars, each, percent
from reports.asked import Asked, months_between
from reports.charts import VERMILLION, Bar, Line, bar_figure, time_figure
from reports.exports.tables import Column, Kind, Table
from reports.frames_jobs import share_of

if TYPE_CHECKING:
    import pandas as pd

COSTS = tuple(key for key in CHART if key.startswith("cost_"))
"""Accounts of the direct cost of jobs."""

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
