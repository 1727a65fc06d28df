"""Site assessments as rows: nothing is lost, nothing a record cannot hold gets in, and two people do not overwrite each
other."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from estimates.assessments import (
    assessment_from_record,
    assessment_to_record,
)
from estimates.gates import load_hazards
from estimates.house import (
    GateAnswerRecord,
    HouseRecord,
    Verdict,
    house_from_json,
    house_to_json,
)
from estimates.houses import house_put
from estimates.models import Assessment, User
from estimates.records import CODE_PATTERN, Spec, read_record, specs

pytestmark = pytest.mark.django_db

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
FILES = [*sorted((FIXTURES / "houses").glob("*.json")), FIXTURES / "odd_walls.json"]
NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)


def read(path: Path) -> HouseRecord:
    return house_from_json(path.read_text(encoding="utf-8"))


@pytest.fixture
def record() -> HouseRecord:
    return read(FIXTURES / "houses" / "mill-cape.json")


def begin(record: HouseRecord, by: User, **changes: Any) -> Assessment:
    house = house_put(record=record, is_demo=False, created_by=by, now=NOW)
    return assessment_from_record(**{"house": house, "record": record, "by": by, "now": NOW, **changes})


def answered(record: HouseRecord) -> HouseRecord:
    """The record with every gate answered as clear."""
    hazards = [hazard.id for hazard in load_hazards().hazards]
    answers = [
        GateAnswerRecord(hazard=hazard, verdict=Verdict.CLEAR, note="Looked at it.", answered_on=date(2026, 3, 2))
        for hazard in hazards
    ]
    return dataclasses.replace(record, gate_answers=tuple(answers))


# --- Nothing is lost -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_house_file_comes_back_from_its_rows_as_it_was(path: Path, owner: User) -> None:
    record = read(path)
    kept = assessment_to_record(begin(record, owner))
    assert kept == record
    assert house_to_json(kept) == house_to_json(record)
    assert house_from_json(json.dumps(house_to_json(kept))) == record


# Strategies made from the declarations themselves, so that a field that is added tomorrow is tried tomorrow.
# A text is anything but control characters and halves of a surrogate pair, as the reader has it.

LETTERS = st.characters(exclude_categories=("Cs", "Cc"), include_characters="\n\t")
MOST = 2


def numbers(spec: Spec) -> st.SearchStrategy[float]:
    low = spec.low if spec.low is not None else spec.above
    return st.floats(
        low, spec.high, exclude_min=spec.low is None and spec.above is not None, allow_nan=False, allow_infinity=False
    )


def texts_of(spec: Spec) -> st.SearchStrategy[str]:
    if spec.pattern:
        return st.from_regex(spec.pattern, fullmatch=True)
    least = int(spec.low or 0)
    return st.text(LETTERS, min_size=least, max_size=spec.max_length).filter(lambda text: len(text.strip()) >= least)


def value_of(spec: Spec) -> st.SearchStrategy[Any]:
    codes = st.from_regex(CODE_PATTERN, fullmatch=True)
    if spec.kind == "many":
        assert spec.record is not None
        unique = (lambda item: item.id) if "id" in specs(spec.record) else None
        return st.lists(records(spec.record), min_size=spec.min_items, max_size=spec.min_items + MOST, unique_by=unique)
    if spec.kind == "one":
        assert spec.record is not None
        return records(spec.record)
    if spec.kind == "choice":
        assert spec.enum is not None
        return st.sampled_from(list(spec.enum))
    if spec.kind == "whole":
        assert spec.low is not None
        assert spec.high is not None
        return st.integers(int(spec.low), int(spec.high))
    simple: dict[str, Callable[[], st.SearchStrategy[Any]]] = {
        "number": lambda: numbers(spec),
        "text": lambda: texts_of(spec),
        "flag": st.booleans,
        "day": st.dates,
        "codes": lambda: st.lists(codes, max_size=MOST, unique=True),
        "texts": lambda: st.lists(texts_of(spec), max_size=MOST),
    }
    return simple[spec.kind]()


def records(record: type) -> st.SearchStrategy[Any]:
    fields: dict[str, st.SearchStrategy[Any]] = {}
    for name, (spec, _) in specs(record).items():
        value = value_of(spec)
        if spec.kind in ("many", "codes", "texts"):
            value = value.map(tuple)
        fields[name] = st.none() | value if spec.optional else value
    return st.builds(record, **fields)


@settings(
    max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow,
                                            HealthCheck.data_too_large, HealthCheck.large_base_example]
)  # fmt: skip
@given(record=records(HouseRecord))
def test_any_record_comes_back_from_its_rows_as_it_was(record: HouseRecord, owner: User) -> None:
    assert read_record(HouseRecord, house_to_json(record)) == record
    with transaction.atomic():
        kept = assessment_to_record(begin(record, owner))
        transaction.set_rollback(True)
    assert kept == record
    assert house_to_json(kept) == house_to_json(record)
