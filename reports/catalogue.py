"""The questions that the reports answer, in the order in which they are listed."""

from __future__ import annotations

from reports.answers import Report
from reports.frames_margins import bridge, margins
from reports.frames_money import cash, months
from reports.frames_sales import marketing, pipeline_age, winning
from reports.frames_work import backlog, call_backs, leakage, production

SALES, MONEY = "report.read", "report.margin"
"""Rights: reports without costs, and those with costs or the firm's money."""

REPORTS: dict[str, Report] = {
    report.name: report
    for report in (
        Report("months", "How did the months go?", MONEY, ("period",), months),
        Report("pipeline-age", "How long have the open leads stood?", SALES, ("seller", "source"), pipeline_age),
        Report("winning", "How many leads do we win, and how soon?", SALES, ("period", "seller", "source"), winning),
        Report("marketing", "What does a signed dollar cost?", SALES, ("period", "seller", "source"), marketing),
        Report("margins", "Do jobs earn what was estimated?", MONEY, ("period", "seller", "crew", "wall"), margins),
        Report("bridge", "Where did the margin go?", MONEY, ("period", "seller", "crew", "wall"), bridge),
        Report("backlog", "How much sold work waits to be done?", SALES, ("crew",), backlog),
        Report("production", "How fast do walls fill?", SALES, ("period", "crew", "seller", "wall"), production),
        Report("cash", "How much came in, and what is owed?", MONEY, ("period",), cash),
        Report("leakage", "Do houses leak as was expected?", SALES, ("period", "crew", "seller", "wall"), leakage),
        Report("call-backs", "What brings us back?", SALES, ("period", "crew", "seller", "wall"), call_backs),
    )
}
