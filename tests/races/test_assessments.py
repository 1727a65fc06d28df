import dataclasses
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from estimates.assessments import AssessmentChanged, assessment_from_record, assessment_put, assessment_to_record
from estimates.house import HouseRecord, house_from_json
from estimates.houses import house_put
from estimates.models import ActivityEntry, Assessment, User

pytestmark = pytest.mark.django_db(transaction=True)
Together = Callable[..., list[Any]]

HOUSES = Path(__file__).resolve().parents[2] / "fixtures" / "houses"
NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)


@pytest.fixture
def record() -> HouseRecord:
    return house_from_json((HOUSES / "mill-cape.json").read_text(encoding="utf-8"))


@pytest.fixture
def assessment(record: HouseRecord, owner: User) -> Assessment:
    house = house_put(record=record, is_demo=False, created_by=owner, now=NOW)
    return assessment_from_record(house=house, record=record, by=owner, now=NOW)


def test_without_the_version_the_second_of_two_savers_overwrites_the_first(
    together: Together, meet: Callable[[], None], assessment: Assessment
) -> None:
    def careless(number: int) -> int:
        row = Assessment.objects.get(pk=assessment.pk)
        meet()
        row.bedrooms = 10 + number
        row.version += 1
        row.save()
        return row.version

    assert together(2, careless) == [2, 2]


def test_of_six_who_save_on_one_version_one_succeeds_and_the_others_are_shown_what_is_there(
    together: Together, record: HouseRecord, assessment: Assessment, owner: User
) -> None:
    def save(number: int) -> HouseRecord:
        mine = dataclasses.replace(record, bedrooms=10 + number)
        assessment_put(assessment=assessment, record=mine, expected_version=1, by=owner, now=NOW)
        return mine

    outcomes = together(6, save)
    (saved,) = [outcome for outcome in outcomes if isinstance(outcome, HouseRecord)]
    refused = [outcome for outcome in outcomes if isinstance(outcome, AssessmentChanged)]
    assert [fault.stored for fault in refused] == [saved] * 5
    assert assessment_to_record(assessment) == saved
    assert ActivityEntry.objects.filter(action="assessment.put").count() == 1


def test_a_reader_never_sees_half_of_a_change(
    together: Together, record: HouseRecord, assessment: Assessment, owner: User
) -> None:
    other = dataclasses.replace(record, bedrooms=17, walls=record.walls[:1], leak_sites=(), options=())

    def work(number: int) -> list[HouseRecord]:
        if number:
            return [assessment_to_record(assessment) for _ in range(15)]
        for turn in range(10):
            wanted = other if turn % 2 == 0 else record
            assessment_put(assessment=assessment, record=wanted, expected_version=1 + turn, by=owner, now=NOW)
        return []

    for outcome in together(3, work):
        assert isinstance(outcome, list), outcome
        assert all(seen in (record, other) for seen in outcome)


def test_one_record_brought_six_times_at_once_is_one_assessment(
    together: Together, record: HouseRecord, owner: User
) -> None:
    house = house_put(record=record, is_demo=False, created_by=owner, now=NOW)
    begun = together(6, lambda _: assessment_from_record(house=house, record=record, by=owner, now=NOW).number)
    assert begun == [1] * 6
    assert Assessment.objects.count() == 1
