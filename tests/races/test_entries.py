"""Phones that send at the same moment: an item is kept once, and two words about a bay are both kept."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest

from estimates.models import User
from jobs.entries import entries_receive
from jobs.models import Bay, CrewEntry, Job

pytestmark = pytest.mark.django_db(transaction=True)
Together = Callable[..., list[Any]]

NOW = datetime(2026, 3, 11, 13, 0, tzinfo=UTC)


def test_phones_that_send_at_once_lose_nothing_and_double_nothing(
    together: Together,
    measured_job: Callable[..., Job],
    crew_on: Callable[..., Any],
    crew: User,
    stranger: User,
) -> None:
    job = measured_job("mill-cape")
    crew_on(job, crew)
    crew_on(job, stranger, first_hour=9, hours=1)
    bay = Bay.objects.filter(wall__job=job, state="planned").select_related("wall")[0]
    envelope = {"job": str(job.code), "wall": bay.wall.key, "kind": "bay", "noted_at": NOW.isoformat()}

    # One item, four deliveries at once.
    code = str(uuid.uuid4())
    same = {**envelope, "code": code, "data": {"state": "drilled", "bays": [{"bay": bay.number}]}}
    answers = together(4, lambda number: entries_receive(user=crew, items=[same], now=NOW)[0])
    assert [answer["state"] for answer in answers] == ["received"] * 4, answers
    assert all(answer == answers[0] for answer in answers)
    assert CrewEntry.objects.count() == 1

    # Two people, two words, both knowing the same last one: whoever came second is told.
    def tell(number: int) -> dict[str, Any]:
        state = ("filled", "left")[number]
        item = {**envelope, "code": str(uuid.uuid4()), "knows": {str(bay.number): code}}
        item["data"] = {"state": state, "bays": [{"bay": bay.number}]}
        return entries_receive(user=(crew, stranger)[number], items=[item], now=NOW)[0]

    both = together(2, tell)
    assert [answer["state"] for answer in both] == ["received"] * 2, both
    assert sorted(len(answer["clashes"]) for answer in both) == [0, 1]
    bay.refresh_from_db()
    assert bay.state == "doubtful"
    assert CrewEntry.objects.count() == 3
