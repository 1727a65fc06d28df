"""List pages and reports at 1,000, 10,000 and 100,000 jobs, against floors of the same run.

Floors: a hand-written page of the same 25 rows, and the bare SQL of the months. Targets stand beside what is printed;
asserted are only what no load of the machine can change: the number of queries, and that the sums agree.
"""

from __future__ import annotations

import statistics
import sys
import types
from collections.abc import Callable
from datetime import date
from importlib import import_module
from time import perf_counter
from typing import Any

import pytest
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import path
from django.utils.html import escape

from estimates.models import User
from jobs.models import Job
from reports.asked import Asked
from reports.frames_money import COSTS, month_frame, month_sums

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db]

SIZES = (1_000, 10_000, 100_000)
ROUNDS = 7
UNTIL = date(2026, 5, 20)
MONTHS = 48
ALL = Asked(UNTIL, None, None, "all", "all years")

BY_MONTH = """
SELECT substr(CAST(e."on" AS varchar(10)), 1, 7), a.key, sum(p.debit_cents), sum(p.credit_cents)
FROM jobs_posting p JOIN jobs_entry e ON e.id = p.entry_id JOIN jobs_account a ON a.id = p.account_id
GROUP BY 1, 2
"""


def timed(work: Callable[[], Any], rounds: int = ROUNDS) -> float:
    """Median time of a piece of work after one round to warm up. [s]"""
    work()
    times = []
    for _ in range(rounds):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return statistics.median(times)


def by_hand(request: HttpRequest) -> HttpResponse:
    """A page of the same rows that no library helps with; it goes through the same middleware."""
    rows = Job.objects.order_by("-booked_at", "-id").values_list("code", "number", "house__name", "status")[:25]
    cells = "".join(
        f'<tr><td><a href="/jobs/{code}/">{escape(house)}</a></td><td>{escape(number)}</td><td>{status}</td></tr>'
        for code, number, house, status in rows
    )
    return HttpResponse(f"<!doctype html><title>Jobs</title><table>{cells}</table>")


@pytest.fixture
def floor_page(settings: Any) -> str:
    """Address of the page by hand, beside all the others."""
    urls = types.ModuleType("by_hand_urls")
    urls.urlpatterns = [*import_module("config.urls").urlpatterns, path("by-hand/", by_hand)]  # type: ignore[attr-defined]
    sys.modules[urls.__name__] = urls
    settings.ROOT_URLCONF = urls.__name__
    return "/by-hand/"


def months_by_hand() -> dict[tuple[str, str], tuple[int, int]]:
    with connection.cursor() as cursor:
        cursor.execute(BY_MONTH)
        return {(month, key): (int(debit), int(credit)) for month, key, debit, credit in cursor.fetchall()}


def test_pages_and_months_as_jobs_grow(
    firm_of: Callable[..., None], owner: User, signed_in: Callable[[User], Client], floor_page: str
) -> None:
    client = signed_in(owner)
    lists = {"jobs": "/jobs/", "leads": "/leads/", "proposals": "/proposals/", "houses": "/houses/"}
    first: dict[str, float] = {}
    counts: dict[str, int] = {}
    print(f"\n{'':24}{'time':>10}{'x floor':>10}{'x 1,000 jobs':>14}{'queries':>9}   target")
    for size in SIZES:
        firm_of(size - Job.objects.count(), until=UNTIL, months=MONTHS)
        if connection.vendor == "sqlite":
            with connection.cursor() as cursor:
                cursor.execute("ANALYZE")
        assert client.get(floor_page).status_code == 200
        floor = timed(lambda: client.get(floor_page), 3 * ROUNDS)
        print(f"{size:,} jobs\n  {'page by hand':22}{1e3 * floor:8.1f}ms")
        for name, address in lists.items():
            with CaptureQueriesContext(connection) as asked:
                assert client.get(address).status_code == 200
                # Counted here: what was asked is forgotten with the next request.
                queries = len(asked)
            assert counts.setdefault(name, queries) == queries, "a list asks as often for many rows as for few"
            took = timed(lambda address=address: client.get(address))
            grown = took / first.setdefault(name, took)
            print(f"  {name:22}{1e3 * took:8.1f}ms{took / floor:10.1f}{grown:14.2f}{queries:9}   6.5 x, 1.3 x")
        raw = timed(months_by_hand)
        dashboard = timed(month_sums)
        whole = timed(lambda: month_frame(ALL), 3)
        print(f"  {'months, bare SQL':22}{1e3 * raw:8.1f}ms")
        print(f"  {'months':22}{1e3 * dashboard:8.1f}ms{dashboard / raw:10.2f}{'':14}{1:9}   1.2 x")
        print(f"  {'months with jobs':22}{1e3 * whole:8.1f}ms{whole / raw:10.2f}{'':14}{3:9}")
        assert month_sums() == months_by_hand()
        frame = month_frame(ALL)
        assert int(frame["cost"].sum()) == sum(
            debit - credit for (_, key), (debit, credit) in months_by_hand().items() if key in COSTS
        )
