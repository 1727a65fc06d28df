"""The letter of a month for the owner: what it brought, and the five things with the most dollars at stake."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from estimates.docx_paper import Shape, fill_in
from estimates.firm import load_firm
from estimates.models.lead import OPEN
from estimates.proposal_words import long_date
from jobs.payments import aging, open_bills
from reports.answers import counted, dollars, percent
from reports.asked import Asked, next_month
from reports.frames_jobs import share_of
from reports.frames_margins import bridge_steps, margin_frame
from reports.frames_money import month_frame, months
from reports.frames_sales import LONG, open_frame, source_frame
from reports.pipeline import ODDS

TEMPLATE = Path(__file__).resolve().parent.parent / "templates" / "documents" / "month_letter.docx"

MOST_THINGS = 5

SHAPE: Shape = {
    "firm": dict.fromkeys(("name", "street", "town", "phone", "email", "licence"), ""),
    "month": "",
    "before": "",
    "as_of": "",
    "sentence": "",
    "things": [dict.fromkeys(("heading", "words"), "")],
    "rows": [dict.fromkeys(("name", "month", "before", "mean"), "")],
    "notes": [""],
}
"""Every name that the template may use."""


@dataclass(frozen=True, slots=True)
class Thing:
    """Something to look at: how much is at stake [cents], and what it is."""

    cents: int
    heading: str
    words: str


def month_asked(month: date, today: date) -> Asked:
    """The filter of one month, given by its first day."""
    last = next_month(month) - timedelta(days=1)
    return Asked(today, month, last, f"{month:%Y-%m}", f"{month:%B %Y}")


def _year_before(month: date) -> date:
    """First day of the twelve months that end with a month."""
    return next_month(date(month.year - 1, month.month, 1))


def things_to_look_at(month: date, today: date) -> list[Thing]:
    """The five things with the most dollars at stake, the largest first; fewer where nothing else stands out.

    What is open, and which leads stand, is as of today: of an earlier day nothing is kept.
    """
    asked = month_asked(month, today)
    year = replace(asked, first=_year_before(month), words="the year up to then")
    looks: tuple[Callable[[], Iterator[Thing]], ...] = (
        lambda: _margin(asked),
        lambda: _worst_job(asked),
        lambda: _past_due(today),
        lambda: _old_leads(asked),
        lambda: _sources(year),
        lambda: _not_in_books(asked),
    )
    found = [thing for look in looks for thing in look() if thing.cents > 0]
    return sorted(found, key=lambda thing: (-thing.cents, thing.heading))[:MOST_THINGS]


def _margin(asked: Asked) -> Iterator[Thing]:
    steps, jobs = bridge_steps(asked)
    first, last = steps[0][1], steps[-1][1]
    inner = dict(steps[1:-1])
    back = -inner.pop("Call-backs")
    if back > 0:
        words = f"Going back cost {dollars(back)} on jobs that were finished in {asked.words}."
        yield Thing(back, "Call-backs", words)
    name, worst = min(inner.items(), key=lambda step: step[1])
    if jobs and last < first and worst < 0:
        yield Thing(
            first - last,
            "Margin under the estimate",
            f"{counted(jobs, 'job')} finished in {asked.words} earned {dollars(last)}, {dollars(first - last)} less "
            f"than estimated. The largest part is {name.lower()}: {dollars(-worst)}.",
        )


def _worst_job(asked: Asked) -> Iterator[Thing]:
    frame = margin_frame(asked)
    known = frame[frame["known"]]
    if len(known) < 2:
        return
    gap = known["actual"] - known["estimated"]
    row = known.iloc[int(gap.argmin())]
    missing = -int(gap.min())
    share = share_of(float(row["actual"]), float(row["revenue"])) or 0.0
    words = (
        f"{row['house']} ({row['number']}) earned {percent(share, 1)} of what was billed, {dollars(missing)} less than "
    )
    yield Thing(missing, "The job furthest below its estimate", f"{words}estimated.")


def _past_due(today: date) -> Iterator[Thing]:
    owed = aging(open_bills(today))
    late, very = sum(cents for _, cents in owed[1:]), sum(cents for _, cents in owed[3:])
    words = f"{dollars(late)} is open past the day it was due"
    words += f", of it {dollars(very)} for more than 60 days." if very else "."
    yield Thing(late, "Money past its day", words)


def _old_leads(asked: Asked) -> Iterator[Thing]:
    frame = open_frame(asked)
    old = frame[frame["days"] > LONG]
    odds = {stage.value: ODDS[stage] for stage in OPEN}
    expected = round(sum(100 * price * odds[stage] / 100 for stage, price in zip(old["stage"], old["price"])))
    words = f"{counted(len(old), 'open lead')} {'has' if len(old) == 1 else 'have'} stood for more than {LONG} days; "
    yield Thing(expected, "Leads that stand", f"{words}at the usual odds {dollars(expected)} can be expected of them.")


def _sources(asked: Asked) -> Iterator[Thing]:
    frame = source_frame(asked)
    empty = frame[(frame["retained"] == 0) & (frame["cost"] > 0)]
    cost = int(empty["cost"].sum())
    words = f"{dollars(cost)} went in {asked.words} to sources of which nothing was signed and stayed: "
    yield Thing(cost, "Marketing without a job", f"{words}{', '.join(empty['source'])}.")


def _not_in_books(asked: Asked) -> Iterator[Thing]:
    frame = margin_frame(asked)
    missing = frame[frame["revenue"] == 0]
    cents = int(missing["price"].sum())
    verb = "has" if len(missing) == 1 else "have"
    words = (
        f"{counted(len(missing), 'job')} finished in {asked.words} {verb} no revenue in the books: {dollars(cents)} of "
    )
    yield Thing(cents, "Finished and not billed", f"{words}contract price waits for its final invoice.")


def letter_content(month: date, today: date) -> dict[str, Any]:
    """Everything that the letter says, as text."""
    firm, asked = load_firm(), month_asked(month, today)
    before = (month - timedelta(days=1)).replace(day=1)
    things = [{"heading": thing.heading, "words": thing.words} for thing in things_to_look_at(month, today)]
    if len(things) < MOST_THINGS:
        things.append({"heading": "Beyond that", "words": "Nothing else stands out in the figures of this month."})
    return {
        "firm": {name: getattr(firm, name) for name in ("name", "street", "town", "phone", "email", "licence")},
        "month": f"{month:%B %Y}",
        "before": f"{before:%B %Y}",
        "as_of": long_date(today),
        "sentence": months(asked).title,
        "things": things,
        "rows": _rows(month, before, today),
        "notes": [
            "Figures are those of the books. What is open, and which leads stand, is as of the day of this letter.",
            "The five things are those with the most dollars at stake. The mean is that of the twelve months up to the "
            "month of this letter.",
        ],
    }


def _rows(month: date, before: date, today: date) -> list[dict[str, str]]:
    year = replace(month_asked(month, today), first=_year_before(month))
    frame = month_frame(year).set_index("month")
    names = {"booked": "Jobs booked", "finished": "Jobs finished", "revenue": "Revenue", "cost": "Direct cost",
             "commission": "Commission", "margin": "Margin", "cash": "Cash in"}  # fmt: skip

    def said(column: str, value: float) -> str:
        if column in ("booked", "finished"):
            return f"{value:,.1f}".removesuffix(".0")
        return dollars(round(value))

    def at(column: str, name: date) -> float:
        key = f"{name:%Y-%m}"
        return float(frame[column].get(key, 0.0))

    return [
        {"name": name, "month": said(column, at(column, month)), "before": said(column, at(column, before)),
         "mean": said(column, float(frame[column].sum()) / 12)}
        for column, name in names.items()
    ]  # fmt: skip


def month_letter(month: date, today: date) -> bytes:
    """The letter of a month as a .docx.

    Parameters
    ----------
    month : its first day.
    today : the day of the letter.
    """
    content = letter_content(month, today)
    return fill_in(TEMPLATE, content, issued_on=today, author=content["firm"]["name"])
