"""Pages of what closed jobs teach, and of bills after the work."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from estimates.models import PriceBookVersion, User
from estimates.price_books import price_book_of, price_book_publish
from estimates.pricebook import load_book
from estimates.proposals import proposal_draft
from jobs import learning_choices
from jobs.learned import _Heard, _lesson
from jobs.learning import ClosedJob
from jobs.models import HouseBills, Job, JobStatus, LearnedChoice

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 11, 15, 0, tzinfo=UTC)


def taught(start: Any, book: Any) -> tuple[Any, ...]:
    """Three jobs that were a quarter slower in every way: hours, mixes, leaks and savings."""
    found = []
    figures = ("wall_drill_inside", "attic_blowing", "leak_work", "test_in", "yield:mineral-foam", "leakage", "savings")
    for figure in figures:
        now = _lesson(figure, start, book, _Heard()).found.current
        factor = 0.75 if figure in ("yield:mineral-foam", "leakage", "savings") else 1.25
        heard = _Heard(
            [ClosedJob(f"J-0000{n}", 100.0, 100.0 * factor * now * wide) for n, wide in enumerate((0.98, 1.0, 1.02), 1)]
        )
        heard.left_out.append(("J-00009", "no hours were reported on it"))
        found.append(_lesson(figure, start, book, heard))
    return tuple(found)


@pytest.fixture
def lessons(owner: User, monkeypatch: pytest.MonkeyPatch, estimated: Callable[..., Any]) -> PriceBookVersion:
    """A published book, an open proposal, and jobs that contradict it; what rows say is tested in `test_learned`."""
    monkeypatch.setattr(learning_choices, "lessons", taught)
    version = price_book_publish(book=load_book("standard"), by=owner, now=NOW)
    proposal_draft(revision=estimated("alder-foursquare"), by=owner, now=NOW)
    return version


def test_the_owner_looks_checks_and_decides_and_only_then_something_changes(
    lessons: PriceBookVersion, owner: User, signed_in: Callable[[User], Client]
) -> None:
    client = signed_in(owner)
    page = client.get(reverse("reports-show-learning"))
    text = page.content.decode()
    assert "Walls drilled from inside" in text
    walls = page.context["proposed"][0]
    assert 400 < walls.jobs_say < 415, "500 a day, a quarter slower, drawn back a little by the first price book"
    assert walls.low < walls.jobs_say < walls.high < 500
    assert f"{walls.jobs_said} ft²/day" in text
    assert "which weigh" in text
    assert "1 option in 1 house" in text or "options in 1 house" in text
    assert "priced again +$" in text
    form = page.context["form"]
    seen, book = page.context["standing"].seen, "standard"
    figures = [lesson.figure for lesson in form.proposed]
    assert figures == ["wall_drill_inside", "attic_blowing", "leak_work", "test_in", "yield:mineral-foam"]
    day = form.first.isoformat()
    base = {"book": book, "seen": seen, "effective_from": day}

    # Faults keep what was typed and name what to enter.
    again = client.post(
        reverse("reports-check-learning"), {**base, "word-test_in": "refuse", "word-leak_work": "accept"}
    )
    assert "Enter why you refuse it" in again.content.decode()
    assert "<title>Error: " in again.content.decode()
    assert again.context["form"]["word-leak_work"].value() == "accept"
    nothing = client.post(reverse("reports-check-learning"), base).content.decode()
    assert "Accept or refuse at least one figure" in nothing
    early = client.post(
        reverse("reports-check-learning"), {**base, "word-leak_work": "accept", "effective_from": "2020-01-01"}
    )
    assert "or a later day" in early.content.decode()

    words = {"word-wall_drill_inside": "accept", "word-yield:mineral-foam": "accept", "word-test_in": "refuse"}
    words |= {"why-test_in": "A new blower door."}
    checked = client.post(reverse("reports-check-learning"), {**base, **words})
    text = checked.content.decode()
    assert "What it would do to everything offered" in text
    assert "A new blower door." in text
    assert PriceBookVersion.objects.count() == 1
    assert not LearnedChoice.objects.exists()
    back = client.post(reverse("reports-check-learning"), {**base, **words, "do": "change"})
    assert back.context["form"]["why-test_in"].value() == "A new blower door."

    done = client.post(reverse("reports-decide-learning"), {**base, **words}, follow=True)
    assert "2 figures taken into version 2" in done.content.decode()
    made = price_book_of(PriceBookVersion.objects.get(version=2))
    old = load_book("standard")
    assert made.best("wall_drill_inside") < old.best("wall_drill_inside")
    assert made.foam.yield_ft3 < old.foam.yield_ft3
    assert made.best("test_in") == old.best("test_in")
    assert replace(made, rates=old.rates, foams=old.foams, version=1, effective_from=old.effective_from) == old
    # A second tap leads to the same place; somebody who looked earlier is told.
    twice = client.post(reverse("reports-decide-learning"), {**base, **words})
    assert twice.status_code == 302
    assert (PriceBookVersion.objects.count(), LearnedChoice.objects.count()) == (2, 3)
    late = client.post(reverse("reports-decide-learning"), {**base, "word-leak_work": "accept"})
    assert late.status_code == 409
    assert "changed since you looked" in late.content.decode()
    assert PriceBookVersion.objects.count() == 2


def test_without_a_price_book_the_page_says_what_to_do(owner: User, signed_in: Callable[[User], Client]) -> None:
    assert "No price book is published yet" in signed_in(owner).get(reverse("reports-show-learning")).content.decode()


def lines(heat: float, first: date, *, weather: bool = True) -> str:
    day, rows = first, []
    for month in range(12):
        last = (day + timedelta(days=32)).replace(day=1) - timedelta(days=1)
        days = (last - day).days + 1
        degree_days = [990, 800, 640, 330, 120, 20, 0, 0, 70, 310, 610, 900][day.month - 1]
        units = 0.9 * days + heat * degree_days + (month % 3) * 0.7
        rows.append(f"{day}, {last}, {units:.2f}, 100.00" + (f", {degree_days}" if weather else ""))
        day = last + timedelta(days=1)
    return "\n".join(rows)


def test_bills_are_taken_line_by_line_and_set_beside_the_promise(
    measured_job: Callable[..., Job], owner: User, signed_in: Callable[[User], Client]
) -> None:
    job = measured_job("alder-foursquare")
    Job.objects.filter(pk=job.pk).update(
        status=JobStatus.CLOSED, started_at=NOW, done_at=NOW + timedelta(days=5), closed_at=NOW
    )
    address, client = reverse("jobs-compare-bills", kwargs={"code": job.code}), signed_in(owner)
    first = client.get(address).content.decode()
    assert "2025-01-18, 2025-02-17, 299, 451.04, " in first, "bills of the assessment wait for their degree days"
    before, after = lines(0.25, date(2025, 3, 1)), lines(0.19, date(2026, 4, 1))

    bad = client.post(address, {"before": lines(0.25, date(2025, 3, 1), weather=False), "after": "tea, today, 3, 4, 5"})
    text = bad.content.decode()
    assert "Line 1: no degree days; enter them as the fifth column" in text
    assert "Line 1: first day: &#x27;tea&#x27; is no day" in text
    assert bad.context["form"]["after"].value() == "tea, today, 3, 4, 5"
    few = client.post(address, {"before": before, "after": "\n".join(after.splitlines()[:3])}).content.decode()
    assert "6" in few
    assert not HouseBills.objects.exists()

    file = SimpleUploadedFile("after.csv", b"from,to,therms,dollars,degree days\n" + after.encode())
    kept = client.post(address, {"before": before, "after_file": file}, follow=True)
    text = kept.content.decode()
    assert HouseBills.objects.count() == 1
    assert "in a year of normal weather" in text
    assert "normal year at Tamarack County station" in text
    # D: 0.06 therm a degree day at 5,450 degree days a year.
    assert kept.context["found"].measured.saved == pytest.approx(0.06 * 5450, rel=0.02)


def test_degree_days_that_are_missing_come_from_daily_temperatures(
    measured_job: Callable[..., Job], owner: User, signed_in: Callable[[User], Client]
) -> None:
    from estimates.house import Fuel
    from jobs.forms.bills_after import BillsAfterForm

    weather = "\n".join(f"{date(2025, 1, 1) + timedelta(days=n)}, {30 + n % 2}" for n in range(62))
    data = {"before": "2025-01-01, 2025-01-31, 100\n2025-01-31, 2025-03-01, 90", "after": "2025-03-02, 2025-03-31, 80"}
    form = BillsAfterForm({**data, "weather": weather}, fuel=Fuel.NATURAL_GAS, base_f=60.0)
    assert not form.is_valid()
    # By hand: 16 days of 30 and 15 of 31 degF; the day of reading counts once.
    assert form.bills["before"][0]["degree_days"] == 16 * 30 + 15 * 29
    assert form.bills["before"][1]["degree_days"] == pytest.approx(sum(60 - (30 + n % 2) for n in range(31, 60)))
    assert form.errors["after"] == [
        "Line 1: no degree days; enter them as the fifth column, or the temperatures of 28 days from 2025-03-04 on"
    ]
