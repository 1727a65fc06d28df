"""Leads as reports: how long they stand, how many are won and how soon, what a dollar of signed work cost."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import F, OuterRef, Subquery
from django.utils import timezone

from estimates.models import EstimateRevision, Lead, LeadMove, LeadStage, Proposal, ProposalStatus
from estimates.models.lead import OPEN
from reports.answers import Answer, Chart, counted, dollars, each, percent
from reports.asked import Asked
from reports.charts import Bar, bar_figure
from reports.exports.tables import Column, Kind, Table
from reports.pipeline import ENDED, FEWEST_ENDED
from reports.signed import signed_options

if TYPE_CHECKING:
    import pandas as pd

AGES = ((7, "Up to 7 days"), (30, "8–30 days"), (90, "31–90 days"), (None, "Over 90 days"))
"""Upper end of each band of days in a stage, and its words."""

LONG = 30
"""Days in one stage after which a lead is looked at. Common practice, no source."""

FEW_BARS = 6
"""More bars than that are a table."""


# --- How old is what stands open -------------------------------------------------------------------------------------


def open_frame(asked: Asked) -> pd.DataFrame:
    """Open leads with the days they have stood in their stage and the price of their house [$]; one query.

    Of two open leads of one house only the one that has come further carries its price.
    """
    import pandas as pd

    newest = EstimateRevision.objects.filter(house=OuterRef("house")).order_by("-number").values("price")[:1]
    reached = LeadMove.objects.filter(lead=OuterRef("pk"), stage=OuterRef("stage")).values("at")[:1]
    rows = _leads(asked).filter(stage__in=OPEN).annotate(price=Subquery(newest), reached=Subquery(reached))
    # A move may be older than the first row of a database that was brought in, so the day it was taken stands in.
    columns = ["stage", "price", "reached", "taken_at", "house_id"]
    frame = pd.DataFrame(list(rows.values_list(*columns)), columns=columns)
    now = pd.Timestamp(timezone.now())
    since = pd.to_datetime(frame["reached"].where(frame["reached"].notna(), frame["taken_at"]), utc=True)
    frame["days"] = ((now - since).dt.days).clip(lower=0)
    frame["rank"] = frame["stage"].map({stage.value: at for at, stage in enumerate(OPEN)})
    frame = frame.sort_values("rank", ascending=False, kind="stable")
    second = frame["house_id"].notna() & frame.duplicated("house_id")
    frame["price"] = frame["price"].astype(float).where(~second, 0.0).fillna(0.0)
    return frame


def pipeline_age(asked: Asked) -> Answer:
    """How long the open leads have stood in their stage."""
    import pandas as pd

    frame = open_frame(asked)
    edges = [-1.0, *(float(end) for end, _ in AGES if end is not None), float("inf")]
    frame["age"] = pd.cut(frame["days"], edges, labels=[words for _, words in AGES])
    rows: list[list[Any]] = []
    bars = []
    for stage in OPEN:
        here = frame[frame["stage"] == stage.value]
        counts = here.groupby("age", observed=False).size()
        late = int((here["days"] > LONG).sum())
        value = here["price"].sum()
        oldest = None if here.empty else int(here["days"].max())
        rows.append([stage.label, len(here), *(int(counts[words]) for _, words in AGES), oldest, round(100 * value)])
        bars.append(Bar(stage.label, late, f"{late} of {len(here)}", look=late > 0))
    total, late = len(frame), int((frame["days"] > LONG).sum())
    if not total:
        title = "No lead is open."
    elif not late:
        title = f"None of {counted(total, 'open lead')} has stood in its stage for more than {LONG} days."
    else:
        worst = frame.sort_values("days", kind="stable").iloc[-1]
        title = (
            f"{late} of {counted(total, 'open lead')} {'has stood in its' if late == 1 else 'have stood in their'} "
            f"stage for more than {LONG} days; the longest, {int(worst['days'])} days, is "
            f"{LeadStage(worst['stage']).label.lower()}."
        )
    columns = (Column("Stage"), Column("Leads", Kind.NUMBER, 0), *(Column(words, Kind.NUMBER, 0) for _, words in AGES),
               Column("Longest, days", Kind.NUMBER, 0), Column("Price", Kind.MONEY))  # fmt: skip
    chart = Chart(
        bar_figure(bars, f"Leads over {LONG} days"),
        f"Bars: open leads that have stood for more than {LONG} days in each stage.",
    )
    return Answer(
        title, Table("Pipeline by age", columns, rows), "Open leads by stage and days in it", (chart,) if late else (),
        ("A price is that of the first option in the latest estimate of the house.",),
        missing="" if total else "As soon as somebody has asked us, stages and ages stand here.",
    )  # fmt: skip


def _leads(asked: Asked) -> Any:
    rows = Lead.objects.all()
    if asked.seller:
        rows = rows.filter(seller__code=asked.seller)
    if asked.source:
        rows = rows.filter(source__code=asked.source)
    return rows


# --- How many are won, and how soon ----------------------------------------------------------------------------------


def answer_frame(asked: Asked) -> pd.DataFrame:
    """Leads taken in the period with what became of them and the days from proposal to answer; one query.

    Columns: source, seller, ended, won (still won, not cancelled), days (NaN where there was no proposal or no answer).
    """
    import pandas as pd

    def moved(*stages: LeadStage) -> Subquery:
        return Subquery(LeadMove.objects.filter(lead=OuterRef("pk"), stage__in=stages).order_by("at").values("at")[:1])

    rows = _leads(asked).filter(**asked.during("taken_at", zone=timezone.get_current_timezone()))
    found = rows.annotate(
        source_name=F("source__name"),
        seller_name=F("seller__full_name"),
        proposed=moved(LeadStage.PROPOSED),
        answered=moved(LeadStage.WON, LeadStage.LOST),
    )
    columns = ["source_name", "seller_name", "stage", "proposed", "answered"]
    frame = pd.DataFrame(list(found.values_list(*columns)), columns=["source", "seller", *columns[2:]])
    for name in ("proposed", "answered"):
        frame[name] = pd.to_datetime(frame[name], utc=True)
    frame["ended"] = frame["stage"].isin([stage.value for stage in ENDED])
    frame["won"] = frame["stage"] == LeadStage.WON.value
    frame["days"] = (frame["answered"] - frame["proposed"]).dt.total_seconds() / 86_400
    return frame


def winning(asked: Asked) -> Answer:
    """How many leads are won, and how soon they answer."""
    frame = answer_frame(asked)
    rows, bars = [], {}
    for name, heading in (("source", "Source"), ("seller", "Seller")):
        groups = _rates(frame, name)
        rows += [[heading, group, *figures] for group, *figures in groups]
        bars[heading] = [
            Bar(group, 100 * rate, f"{percent(rate)}, {won} of {ended}")
            for group, _, ended, won, _, rate, _ in groups
            if rate is not None
        ]
    ended, won = int(frame["ended"].sum()), int(frame["won"].sum())
    days = frame["days"].median()
    if not ended:
        title = f"No lead of {asked.words} has ended yet, so nothing can be said of our odds."
    else:
        were = "was" if won == 1 else "were"
        title = f"{won} of {counted(ended, 'lead')} that ended {were} won and stayed ({percent(won / ended)})"
        title += f"; the middle answer came {_soon(days)}." if days == days else "."
    columns = (
        Column("By"), Column("Name"), Column("Leads", Kind.NUMBER, 0), Column("Ended", Kind.NUMBER, 0),
        Column("Won, not cancelled", Kind.NUMBER, 0), Column("Cancelled", Kind.NUMBER, 0),
        Column("Won of ended, %", Kind.PERCENT, 0), Column("Days to the answer, middle one", Kind.NUMBER, 1),
    )  # fmt: skip
    charts = tuple(
        Chart(
            _share_scale(bar_figure(some, "Won of ended leads, %")),
            f"Bars: share of ended leads that were won and stayed, by {heading.lower()}.",
            f"By {heading.lower()}",
        )
        for heading, some in bars.items()
        if 1 < len(some) <= FEW_BARS
    )
    return Answer(
        title, Table("Win rate", columns, rows), f"Leads taken in {asked.words}", charts,
        (f"A rate needs at least {FEWEST_ENDED} leads that have ended; with fewer it is left out.",
         "Days count from the proposal to the homeowner's yes or no."),
        missing="" if len(frame) else "As soon as leads have come in, their rates stand here.",
    )  # fmt: skip


def _soon(days: float) -> str:
    whole = round(days)
    return f"{counted(whole, 'day')} after the proposal" if whole else "within a day of the proposal"


def _share_scale(figure: dict[str, Any]) -> dict[str, Any]:
    # Small multiples share one scale.
    figure["layout"]["xaxis"]["range"] = [0, 155]
    figure["layout"]["xaxis"]["tickvals"] = [0, 25, 50, 75, 100]
    return figure


def _rates(frame: pd.DataFrame, by: str) -> list[tuple[str, int, int, int, int, float | None, float | None]]:
    found = []
    for name, group in frame.groupby(by, sort=True):
        ended, won = int(group["ended"].sum()), int(group["won"].sum())
        days = group["days"].median()
        found.append(
            (
                str(name), len(group), ended, won, int((group["stage"] == LeadStage.CANCELLED.value).sum()),
                won / ended if ended >= FEWEST_ENDED else None, None if days != days else float(days),
            )
        )  # fmt: skip
    return sorted(found, key=lambda row: (row[5] is None, -(row[5] or 0), -row[1], row[0]))


# --- What a dollar of signed work cost -------------------------------------------------------------------------------


def source_frame(asked: Asked) -> pd.DataFrame:
    """What each source cost and brought: leads, cost, won, cancelled, retained [cents].

    Retained is the price of the option that was signed, of leads that were won and not cancelled; where a lead was
    marked as won without a signature here, that of the latest estimate of its house. Three queries.
    """
    import pandas as pd

    newest = EstimateRevision.objects.filter(house=OuterRef("house")).order_by("-number").values("price")[:1]
    signed = Proposal.objects.filter(house=OuterRef("house"), status=ProposalStatus.ACCEPTED)
    rows = _leads(asked).filter(**asked.during("taken_at", zone=timezone.get_current_timezone()))
    found = list(
        rows.annotate(
            price=Subquery(newest),
            revision=Subquery(signed.values("revision")[:1]),
            option=Subquery(signed.values("accepted_option")[:1]),
            source_name=F("source__name"),
        ).values_list("source_name", "cost", "stage", "price", "revision", "option")
    )
    money = signed_options(Proposal.objects.filter(status=ProposalStatus.ACCEPTED), option="accepted_option")
    records = []
    for source, cost, stage, price, revision, option in found:
        known = money.get((revision, option))
        worth = known.price if known is not None else round(100 * price) if price is not None else None
        won = stage == LeadStage.WON.value
        records.append(
            {
                "source": source, "leads": 1, "cost": round(100 * cost), "won": int(won),
                "cancelled": int(stage == LeadStage.CANCELLED.value), "retained": (worth or 0) if won else 0,
                "unpriced": int(won and worth is None),
            }
        )  # fmt: skip
    columns = ["source", "leads", "cost", "won", "cancelled", "retained", "unpriced"]
    frame = pd.DataFrame(records, columns=columns).groupby("source", as_index=False).sum()
    frame["per_dollar"] = (frame["cost"] / frame["retained"].where(frame["retained"] > 0)).astype(float)
    return frame.sort_values(["per_dollar", "source"], kind="stable", na_position="last", ignore_index=True)


def marketing(asked: Asked) -> Answer:
    """What a dollar of work that was signed and stayed cost in marketing."""
    frame = source_frame(asked)
    cost, retained = int(frame["cost"].sum()), int(frame["retained"].sum())
    rows = [
        [row.source, row.leads, row.cost, row.won, row.cancelled, row.retained,
         None if row.per_dollar != row.per_dollar else 100 * row.per_dollar]
        for row in each(frame)
    ]  # fmt: skip
    if not len(frame):
        title = f"No lead came in {asked.words}."
    elif not retained:
        title = f"{dollars(cost)} was spent on leads of {asked.words}, and nothing that was signed has stayed yet."
    else:
        cents = 100 * cost / retained
        priced = frame[frame["per_dollar"].notna()]
        dearest = priced.iloc[-1]
        title = f"Each dollar that was signed and stayed cost {cents:.1f} cents in marketing"
        title += (
            f"; the dearest source is {dearest['source']} with {100 * dearest['per_dollar']:.1f} cents."
            if len(priced) > 1
            else "."
        )
    wasted = frame[(frame["retained"] == 0) & (frame["cost"] > 0)]
    notes = ["The cost of a lead is the one its source had on the day it came in."]
    if len(wasted):
        notes.append(
            f"{dollars(int(wasted['cost'].sum()))} went to {counted(len(wasted), 'source')} that brought nothing yet: "
            f"{', '.join(wasted['source'])}."
        )
    unpriced = int(frame["unpriced"].sum())
    if unpriced:
        notes.append(f"{counted(unpriced, 'won lead')} without a price {'is' if unpriced == 1 else 'are'} not counted.")
    bars = [
        Bar(row.source, 100 * row.per_dollar, f"{100 * row.per_dollar:.1f} cents")
        for row in each(frame)
        if row.per_dollar == row.per_dollar
    ]
    chart = Chart(
        bar_figure(bars[:FEW_BARS], "Cents per retained dollar"),
        "Bars: marketing cost per retained dollar of each source, the cheapest at the top.",
    )
    columns = (
        Column("Source"), Column("Leads", Kind.NUMBER, 0), Column("Cost", Kind.MONEY), Column("Won", Kind.NUMBER, 0),
        Column("Cancelled", Kind.NUMBER, 0), Column("Retained", Kind.MONEY),
        Column("Cost per retained dollar, cents", Kind.NUMBER, 2),
    )  # fmt: skip
    return Answer(
        title, Table("Marketing", columns, rows),
        f"Leads taken in {asked.words}; retained is signed and not cancelled, the cheapest dollar first",
        (chart,) if bars else (), tuple(notes),
        missing="" if len(frame) else "As soon as leads have come in, their sources stand here.",
    )  # fmt: skip
