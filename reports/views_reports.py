"""Pages of the reports: the list of questions, and one page and one file for each."""

from __future__ import annotations

from datetime import date, timedelta

from csp.constants import UNSAFE_INLINE
from csp.decorators import csp_update
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from estimates import access
from reports.answers import Answer, Report, shown_table
from reports.asked import Asked, Choices, choices_for, read_asked
from reports.catalogue import REPORTS
from reports.exports.tables import table_csv

DOCX = "application/vnd.openxmlformats-officedocument.wordprocessingml.document"

chart_page = csp_update({"style-src": [UNSAFE_INLINE]})
"""The chart library writes styles into the page; only views that draw a chart may let it. A test lists them."""


@require_safe
@access.action("report.read")
def list_reports(request: HttpRequest) -> HttpResponse:
    """List the questions that somebody may read the answers of."""
    found = [report for report in REPORTS.values() if access.allowed(request.user, report.action)]
    today = timezone.localdate()
    last = today.replace(day=1) - timedelta(days=1)
    context = {"section": "reports", "reports": found, "months": [last, today]}
    return render(request, "reports/report_list.html", context)


@chart_page
@require_safe
@access.action("report.read")
def show_report(request: HttpRequest, name: str) -> HttpResponse:
    """Answer one question: in words, in a chart and in a table."""
    report = _report(request, name)
    asked, choices = _asked(request, report)
    answer = report.answer(asked)
    context = {
        "section": "reports",
        "report": report,
        "asked": asked,
        "selects": _selects(report, asked, choices),
        "chips": [(key, words, _without(request, key)) for key, words in asked.chips],
        "answer": answer,
        "table": shown_table(answer),
        "charts": [(f"figure-{at}", chart) for at, chart in enumerate(answer.charts, start=1)],
        "query": request.GET.urlencode(),
        "now": timezone.now(),
    }
    return render(request, "reports/report.html", context)


@require_safe
@access.action("report.read")
def download_report(request: HttpRequest, name: str) -> HttpResponse:
    """Hand over the numbers of a report as a file for spreadsheets."""
    report = _report(request, name)
    answer: Answer = report.answer(_asked(request, report)[0])
    # Spreadsheets take a file without the mark for another encoding.
    response = HttpResponse(table_csv(answer.table, bom=True), content_type="text/csv; charset=utf-8")
    file = f"{report.name}-{timezone.localdate():%Y-%m-%d}.csv"
    response.headers["Content-Disposition"] = f'attachment; filename="{file}"'
    return response


@require_safe
@access.action("report.margin")
def download_letter(request: HttpRequest, year: int, month: int) -> HttpResponse:
    """Hand over the letter of a month."""
    from reports.month_letter import month_letter

    today = timezone.localdate()
    if not (1 <= month <= 12 and year >= 1990) or (year, month) > (today.year, today.month):
        raise Http404
    response = HttpResponse(month_letter(date(year, month, 1), today), content_type=DOCX)
    response.headers["Content-Disposition"] = f'attachment; filename="month-{year}-{month:02d}.docx"'
    return response


def _report(request: HttpRequest, name: str) -> Report:
    if name not in REPORTS:
        raise Http404
    report = REPORTS[name]
    access.require(request.user, report.action)
    return report


def _asked(request: HttpRequest, report: Report) -> tuple[Asked, Choices]:
    today = timezone.localdate()
    choices = choices_for(report.filters, today)
    return read_asked(request.GET, report.filters, choices, today=today), choices


def _selects(report: Report, asked: Asked, choices: Choices) -> list[dict[str, object]]:
    """The boxes of the filter, each with what can be chosen and what is."""
    found = []
    for name in report.filters:
        options = list(choices.of(name))
        chosen = getattr(asked, name)
        if name == "period" and chosen not in dict(options):
            options.append((chosen, asked.words))
        empty = "" if name == "period" else f"Every {'wall type' if name == 'wall' else name}"
        label = "Wall type" if name == "wall" else name.capitalize()
        found.append({"name": name, "label": label, "options": options, "chosen": chosen, "empty": empty})
    return found


def _without(request: HttpRequest, name: str) -> str:
    left = request.GET.copy()
    left.pop(name, None)
    return left.urlencode()
