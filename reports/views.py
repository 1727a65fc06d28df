"""Reports across houses."""

from __future__ import annotations

from csp.constants import UNSAFE_INLINE
from csp.decorators import csp_update
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from estimates import access
from reports.charts import MOST_BARS, margin_chart
from reports.frames import MARGIN_COLUMNS, csv_text, latest_revisions, margin_answer, margin_frame, shown_columns
from reports.pipeline import pipeline, pipeline_answer, pipeline_csv

chart_page = csp_update({"style-src": [UNSAFE_INLINE]})
"""The chart library writes styles into the page; only views that draw a chart may let it. A test lists them."""


@chart_page
@require_safe
@access.action("report.margin")
def show_margins(request: HttpRequest) -> HttpResponse:
    """Show which houses earn the target margin."""
    frame = margin_frame(latest_revisions(request.user))
    context = {
        "section": "reports",
        "answer": margin_answer(frame),
        "figure": margin_chart(frame) if len(frame) else None,
        "rows": frame.to_dict("records"),
        "left_off": max(0, len(frame) - MOST_BARS),
        "headings": [MARGIN_COLUMNS[name] for name in shown_columns(request.user)],
        "now": timezone.now(),
    }
    return render(request, "reports/margins.html", context)


@require_safe
@access.action("report.margin")
def download_margins(request: HttpRequest) -> HttpResponse:
    """Hand over the same numbers as a file for spreadsheets."""
    text = csv_text(margin_frame(latest_revisions(request.user)), shown_columns(request.user))
    return _csv_response(text, "margins")


@require_safe
@access.action("pipeline.read")
def show_pipeline(request: HttpRequest) -> HttpResponse:
    """Show the open leads by stage, money and age, what is expected of them, and who waits on whom."""
    now = timezone.now()
    found = pipeline(request.user, now=now)
    context = {"section": "pipeline", "found": found, "answer": pipeline_answer(found), "now": now}
    return render(request, "reports/pipeline.html", context)


@require_safe
@access.action("pipeline.read")
def download_pipeline(request: HttpRequest) -> HttpResponse:
    """Hand over the open leads as a file for spreadsheets."""
    return _csv_response(pipeline_csv(pipeline(request.user, now=timezone.now())), "pipeline")


def _csv_response(text: str, name: str) -> HttpResponse:
    # Spreadsheets take a file without this mark for another encoding.
    response = HttpResponse(text.encode("utf-8-sig"), content_type="text/csv; charset=utf-8")
    response.headers["Content-Disposition"] = f'attachment; filename="{name}-{timezone.localdate():%Y-%m-%d}.csv"'
    return response
