"""The letter of a month: its figures, what it says to look at, and the file."""

import io
from collections.abc import Callable
from datetime import date

import pytest
from django.test import Client
from docx import Document

from estimates.docx_paper import template_faults
from estimates.models import User
from jobs.models import Job
from reports.answers import dollars
from reports.asked import Asked
from reports.frames_margins import bridge_steps
from reports.frames_money import month_frame
from reports.month_letter import SHAPE, TEMPLATE, letter_content, month_asked, things_to_look_at

pytestmark = pytest.mark.django_db

TODAY, APRIL = date(2026, 5, 20), date(2026, 4, 1)


def test_the_template_uses_known_names_and_shows_what_matters() -> None:
    needed = [
        ("things.words", "what to look at"),
        ("rows.month", "the figures of the month"),
        ("sentence", "the answer"),
    ]
    assert template_faults(TEMPLATE, SHAPE, needed) == []


def test_the_letter_names_what_has_the_most_dollars_at_stake(
    firm_of: Callable[..., None], bookkeeper: User, salesperson: User, signed_in: Callable[[User], Client]
) -> None:
    firm_of(120, until=TODAY)
    things = things_to_look_at(APRIL, TODAY)
    assert [thing.cents for thing in things] == sorted((thing.cents for thing in things), reverse=True)
    assert len({thing.heading for thing in things}) == len(things) <= 5
    steps = dict(bridge_steps(month_asked(APRIL, TODAY))[0])
    margin = next(thing for thing in things if thing.heading == "Margin under the estimate")
    assert margin.cents == steps["Estimated margin"] - steps["Actual margin"] > 0
    name = min(("Labour", "Material", "Other direct cost", "Commission"), key=lambda step: steps[step])
    assert f"The largest part is {name.lower()}: {dollars(-steps[name])}." in margin.words
    content = letter_content(APRIL, TODAY)
    frame = month_frame(Asked(TODAY, date(2025, 5, 1), date(2026, 4, 30), "x", "x")).set_index("month")
    rows = {row["name"]: row for row in content["rows"]}
    assert rows["Revenue"]["month"] == dollars(int(frame.loc["2026-04", "revenue"]))
    assert rows["Revenue"]["before"] == dollars(int(frame.loc["2026-03", "revenue"]))
    assert rows["Margin"]["mean"] == dollars(round(frame["margin"].sum() / 12))
    response = signed_in(bookkeeper).get("/reports/letter/2026-4.docx")
    assert response.headers["Content-Disposition"] == 'attachment; filename="month-2026-04.docx"'
    document = Document(io.BytesIO(response.content))
    said = "\n".join(paragraph.text for paragraph in document.paragraphs)
    assert "The month of April 2026" in said
    assert margin.words in said
    assert rows["Cash in"]["month"] in [cell.text for row in document.tables[0].rows for cell in row.cells]
    for address in ("2026-13", "2031-1", "2026-0"):
        assert signed_in(bookkeeper).get(f"/reports/letter/{address}.docx").status_code == 404
    assert signed_in(salesperson).get("/reports/letter/2026-4.docx").status_code == 403


def test_a_month_without_anything_says_that_nothing_stands_out(db: None) -> None:
    assert Job.objects.count() == 0
    content = letter_content(APRIL, TODAY)
    assert content["things"] == [
        {"heading": "Beyond that", "words": "Nothing else stands out in the figures of this month."}
    ]
    assert {row["month"] for row in content["rows"]} == {"0", "$0"}
