"""The questions that the reports answer, in the order in which they are listed."""

from __future__ import annotations

from reports.answers import Report
from reports.frames_sales import marketing, pipeline_age, winning

SALES, MONEY = "report.read", "report.margin"
"""Rights: reports without costs, and those with costs or the firm's money."""

REPORTS: dict[str, Report] = {
    report.name: report
    for report in (
        Report("pipeline-age", "How long have the open leads stood?", SALES, ("seller", "source"), pipeline_age),
        Report("winning", "How many leads do we win, and how soon?", SALES, ("period", "seller", "source"), winning),
        Report("marketing", "What does a signed dollar cost?", SALES, ("period", "seller", "source"), marketing),
    )
}
