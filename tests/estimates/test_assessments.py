"""Site assessments as rows: nothing is lost, nothing a record cannot hold gets in, and two people do not overwrite each
other."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, models, transaction
from django.test.utils import CaptureQueriesContext, isolate_apps
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from estimates.assessments import (
    AssessmentChanged,
    assessment_complete,
    assessment_from_record,
    assessment_put,
    assessment_to_record,
    record_sha256,
)
from estimates.gates import load_hazards
from estimates.house import (
    GateAnswerRecord,
    HouseholdRecord,
    HouseRecord,
    NoFillRecord,
    OptionRecord,
    PhotoRecord,
    PointRecord,
    Verdict,
    house_from_json,
    house_to_json,
)
from estimates.houses import house_put
from estimates.models import ActivityEntry, Assessment, AssessmentStatus, House, User
from estimates.models.assessment import Attic, GateAnswer, Opening, Wall, ZoneCorner
from estimates.models.record_rows import RecordRow, keeps, need_tables
from estimates.records import CODE_PATTERN, BadRecord, Spec, read_record, specs

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
    answers = [
        GateAnswerRecord(hazard=hazard.id, verdict=Verdict.CLEAR, note="Looked at it.", answered_on=date(2026, 3, 2))
        for hazard in load_hazards().hazards
    ]
    return dataclasses.replace(record, gate_answers=tuple(answers))


def with_walls(record: HouseRecord, count: int) -> HouseRecord:
    """The record with so many copies of its first wall."""
    wall = record.walls[0]
    return dataclasses.replace(
        record, options=(), walls=tuple(dataclasses.replace(wall, id=f"wall-{number}") for number in range(count))
    )


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


def test_a_household_of_which_nothing_is_known_is_still_there(record: HouseRecord, owner: User) -> None:
    assert assessment_to_record(begin(dataclasses.replace(record, household=None), owner)).household is None
    record = dataclasses.replace(record, id="other", household=HouseholdRecord())
    assert assessment_to_record(begin(record, owner)).household == HouseholdRecord()


def test_every_wall_and_every_list_entry_is_a_row_of_its_own(record: HouseRecord, owner: User) -> None:
    begin(record, owner)
    assert Wall.objects.count() == len(record.walls)
    assert Opening.objects.count() == sum(len(wall.openings) for wall in record.walls)
    tall = Wall.objects.filter(height_ft__gt=0, cladding="asbestos_cement").count()
    assert tall == sum(wall.cladding == "asbestos_cement" for wall in record.walls)


def test_name_and_address_stand_in_the_house_alone(record: HouseRecord, owner: User) -> None:
    assessment = begin(record, owner)
    columns = {field.name for field in Assessment._meta.get_fields()}
    assert not columns & {"name", "customer", "street", "town", "state", "county", "postal_code", "reference"}
    moved = dataclasses.replace(record, county="Fernmoor", customer="Wren Halloran")
    assessment_put(assessment=assessment, record=moved, expected_version=1, by=owner, now=NOW)
    house = House.objects.get(reference=record.id)
    assert (house.county, house.customer_name) == ("Fernmoor", "Wren Halloran")
    assert assessment_to_record(assessment) == moved


def test_reading_asks_once_a_table_however_many_walls_there_are(record: HouseRecord, owner: User) -> None:
    counts = []
    for number, walls in enumerate((1, 40)):
        assessment = begin(with_walls(dataclasses.replace(record, id=f"house-{number}"), walls), owner)
        with CaptureQueriesContext(
            connection,
        ) as asked:
            assert len(assessment_to_record(assessment).walls) == walls
        counts.append(len(asked))
    tables = len(_tables(Assessment))
    # One a table of lists, the assessment with its house, and its version once more.
    assert counts == [tables + 2, tables + 2]


def _tables(model: Any) -> list[type[RecordRow]]:
    return [found for table in model.kept.tables.values() for found in (table, *_tables(table))]


def test_writing_inserts_by_the_table_and_not_by_the_row(record: HouseRecord, owner: User) -> None:
    counts = []
    for number, walls in enumerate((2, 10)):
        copy = with_walls(dataclasses.replace(record, id=f"house-{number}"), walls)
        house = house_put(record=copy, is_demo=False, created_by=owner, now=NOW)
        with CaptureQueriesContext(connection) as asked:
            assessment_from_record(house=house, record=copy, by=owner, now=NOW)
        counts.append(len(asked))
    assert counts[0] == counts[1]


# --- What a record cannot hold, a row does not -----------------------------------------------------------------------


def test_a_field_out_of_its_limits_is_refused_before_anything_is_written(record: HouseRecord, owner: User) -> None:
    house = house_put(record=record, is_demo=False, created_by=owner, now=NOW)
    wall = dataclasses.replace(record.walls[0], length_ft=-1.0, spacing_in=float("nan"))
    bad = dataclasses.replace(record, walls=(wall, *record.walls[1:]), year_built=9999)
    with pytest.raises(BadRecord) as refused:
        assessment_from_record(house=house, record=bad, by=owner, now=NOW)
    assert {fault.path for fault in refused.value.faults} == {
        "$.year_built", "$.walls[0].length_ft", "$.walls[0].spacing_in"
    }  # fmt: skip
    assert not Assessment.objects.exists()


def test_two_walls_of_one_id_are_refused(record: HouseRecord, owner: User) -> None:
    with pytest.raises(BadRecord, match="already used"):
        begin(dataclasses.replace(record, walls=(record.walls[0], record.walls[0])), owner)


def test_an_id_that_no_database_can_hold_is_refused_by_its_path(record: HouseRecord, owner: User) -> None:
    option = OptionRecord(id="a", name="A", wall_ids=("front", "no\0thing"))
    with pytest.raises(BadRecord) as refused:
        begin(dataclasses.replace(record, options=(option,)), owner)
    assert [fault.path for fault in refused.value.faults] == ["$.options[0].wall_ids[1]"]


@pytest.mark.parametrize(
    ("table", "change"),
    [
        (Wall, {"length_ft": 0}),
        (Wall, {"length_ft": 501}),
        (Wall, {"cladding": "straw"}),
        (Wall, {"name": ""}),
        (Wall, {"jacks": 5}),
        (Wall, {"existing_fill_material": "glass_batt"}),
        (Opening, {"width_in": 0}),
        (Assessment, {"storeys": 4}),
        (Assessment, {"heating_efficiency": 0}),
        (Assessment, {"climate_place": None}),
        (Assessment, {"number": 0}),
        (Assessment, {"status": "lost"}),
        (Assessment, {"status": "completed"}),
        (Assessment, {"sha256": "ab"}),
    ],
)
def test_the_database_itself_refuses_what_a_record_cannot_hold(
    table: type[Any], change: dict[str, Any], record: HouseRecord, owner: User
) -> None:
    bare = tuple(dataclasses.replace(wall, existing_fill=None) for wall in record.walls)
    begin(dataclasses.replace(record, walls=bare), owner)
    with pytest.raises(IntegrityError), transaction.atomic():
        table.objects.update(**change)


def test_the_database_refuses_a_second_row_of_one_id_or_place(record: HouseRecord, owner: User) -> None:
    begin(record, owner)
    first, second = Wall.objects.order_by("position")[:2]
    for change in ({"key": first.key}, {"position": first.position}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Wall.objects.filter(pk=second.pk).update(**change)


@isolate_apps("estimates")
def test_a_model_that_has_a_field_of_that_name_cannot_keep_the_record() -> None:
    class Clash(models.Model):
        x_in = models.FloatField()

        class Meta:
            app_label = "estimates"

        def __str__(self) -> str:
            return f"{self.x_in}"

    with pytest.raises(TypeError, match=r"Clash\.x_in is there already; PointRecord needs that name"):
        keeps(PointRecord)(Clash)


@isolate_apps("estimates")
def test_a_list_without_a_table_is_named_at_the_start() -> None:
    @keeps(NoFillRecord)
    class Zone(models.Model):
        class Meta:
            app_label = "estimates"

        def __str__(self) -> str:
            return f"{self.pk}"

    with pytest.raises(TypeError, match=r"Zone has no table for corners \(PointRecord\)"):
        need_tables(Zone)


# --- One after the other ---------------------------------------------------------------------------------------------


def test_the_same_record_again_writes_nothing(record: HouseRecord, owner: User) -> None:
    first = begin(record, owner)
    entries = ActivityEntry.objects.count()
    assert begin(record, owner) == first
    assert assessment_put(assessment=first, record=record, expected_version=1, by=owner, now=NOW).version == 1
    assert ActivityEntry.objects.count() == entries


def test_a_second_assessment_waits_until_the_first_is_completed(record: HouseRecord, owner: User) -> None:
    first = begin(answered(record), owner)
    changed = dataclasses.replace(answered(record), bedrooms=record.bedrooms + 1)
    with pytest.raises(ValidationError, match="Assessment 1 of mill-cape is open"):
        begin(changed, owner)
    assessment_complete(assessment=first, expected_version=1, by=owner, now=NOW)
    second = begin(changed, owner)
    assert (second.number, second.status, second.version) == (2, AssessmentStatus.OPEN, 1)
    assert assessment_to_record(first) == answered(record)
    assert assessment_to_record(second) == changed


def test_a_record_of_another_house_is_refused(record: HouseRecord, owner: User, house: House) -> None:
    with pytest.raises(ValidationError, match="enter alder-lane"):
        begin(record, owner, house=house)


def test_a_change_is_written_with_a_new_version_and_recorded_by_its_hash(
    record: HouseRecord, owner: User, salesperson: User
) -> None:
    assessment = begin(record, owner)
    changed = dataclasses.replace(record, walls=record.walls[:1], options=())
    later = NOW + timedelta(hours=1)
    put = assessment_put(assessment=assessment, record=changed, expected_version=1, by=salesperson, now=later)
    assert (put.version, put.updated_by, put.updated_at, put.created_by) == (2, salesperson, later, owner)
    assert assessment_to_record(assessment) == changed
    assert Wall.objects.count() == 1
    entry = ActivityEntry.objects.latest("id")
    assert (entry.action, entry.actor, entry.object_code) == ("assessment.put", salesperson, assessment.code)
    assert entry.before is not None
    assert entry.after is not None
    assert (entry.before["version"], entry.before["sha256"]) == (1, record_sha256(record))
    assert (entry.after["version"], entry.after["sha256"]) == (2, record_sha256(changed))


def test_whoever_saves_on_an_old_version_is_shown_what_is_there_now(
    record: HouseRecord, owner: User, salesperson: User
) -> None:
    assessment = begin(record, owner)
    theirs = dataclasses.replace(record, bedrooms=7)
    assessment_put(assessment=assessment, record=theirs, expected_version=1, by=salesperson, now=NOW)
    mine = dataclasses.replace(record, bedrooms=8)
    with pytest.raises(AssessmentChanged, match="Selwyn Tarn has changed") as refused:
        assessment_put(assessment=assessment, record=mine, expected_version=1, by=owner, now=NOW)
    assert (refused.value.stored, refused.value.version) == (theirs, 2)
    assert assessment_to_record(assessment) == theirs
    with pytest.raises(AssessmentChanged):
        assessment_complete(assessment=assessment, expected_version=1, by=owner, now=NOW)


# --- Rule G1 ---------------------------------------------------------------------------------------------------------


def test_an_assessment_with_an_open_gate_is_not_completed_and_the_gate_is_named(
    record: HouseRecord, owner: User
) -> None:
    record = answered(record)
    (lead,) = [answer for answer in record.gate_answers if answer.hazard == "lead_paint"]
    assessment = begin(
        dataclasses.replace(record, gate_answers=tuple(a for a in record.gate_answers if a is not lead)), owner
    )
    with pytest.raises(ValidationError) as refused:
        assessment_complete(assessment=assessment, expected_version=1, by=owner, now=NOW)
    (sentence,) = refused.value.message_dict["gate_answers"]
    assert sentence.startswith("Answer the gate lead_paint: ")
    assert Assessment.objects.get().status == AssessmentStatus.OPEN
    put = assessment_put(assessment=assessment, record=record, expected_version=1, by=owner, now=NOW)
    done = assessment_complete(assessment=put, expected_version=2, by=owner, now=NOW)
    assert (done.status, done.completed_by, done.completed_at) == (AssessmentStatus.COMPLETED, owner, NOW)
    assert ActivityEntry.objects.latest("id").action == "assessment.complete"


def test_not_yet_known_is_an_answer(record: HouseRecord, owner: User) -> None:
    record = answered(record)
    unknown = dataclasses.replace(
        record.gate_answers[0], verdict=Verdict.UNKNOWN, verifier="Odile", how="a sample", before_phase="preparing"
    )
    assessment = begin(dataclasses.replace(record, gate_answers=(unknown, *record.gate_answers[1:])), owner)
    assert assessment_complete(assessment=assessment, expected_version=1, by=owner, now=NOW).completed_at == NOW
    assert GateAnswer.objects.filter(verdict="not_yet_known", verifier="Odile").count() == 1


def test_what_is_unfinished_or_does_not_fit_may_be_saved_but_not_completed(record: HouseRecord, owner: User) -> None:
    wide = dataclasses.replace(record.walls[0].openings[0], left_in=5000.0)
    wall = dataclasses.replace(record.walls[0], openings=(wide,))
    assessment = begin(dataclasses.replace(answered(record), walls=(wall,), options=()), owner)
    with pytest.raises(ValidationError, match=r"\$.walls\[0\].openings\[0\]"):
        assessment_complete(assessment=assessment, expected_version=1, by=owner, now=NOW)
    nothing = dataclasses.replace(
        answered(record), walls=(), quick_walls=(), attics=(), leak_sites=(), options=(), id="bare"
    )
    with pytest.raises(ValidationError, match="nothing to work on"):
        assessment_complete(assessment=begin(nothing, owner), expected_version=1, by=owner, now=NOW)


def test_an_answer_about_a_part_that_does_not_exist_keeps_it_open(record: HouseRecord, owner: User) -> None:
    record = answered(record)
    lost = dataclasses.replace(record.gate_answers[0], parts=("moon",))
    assessment = begin(dataclasses.replace(record, gate_answers=(lost, *record.gate_answers[1:])), owner)
    with pytest.raises(ValidationError, match="moon"):
        assessment_complete(assessment=assessment, expected_version=1, by=owner, now=NOW)


def test_a_completed_assessment_is_not_changed(record: HouseRecord, owner: User) -> None:
    record = answered(record)
    done = assessment_complete(assessment=begin(record, owner), expected_version=1, by=owner, now=NOW)
    photo = PhotoRecord(id="late", caption="Too late", taken_on=date(2026, 3, 3))
    changed = dataclasses.replace(record, photos=(*record.photos, photo))
    with pytest.raises(ValidationError, match="stays as it is"):
        assessment_put(assessment=done, record=changed, expected_version=2, by=owner, now=NOW)
    with pytest.raises(ValidationError, match="stays as it is"):
        assessment_complete(assessment=done, expected_version=2, by=owner, now=NOW)
    assert assessment_to_record(done) == record
    assert Assessment.objects.get().sha256 == record_sha256(record)


# --- Access ----------------------------------------------------------------------------------------------------------


def test_the_office_sees_assessments_and_their_rows_and_the_crew_none(
    record: HouseRecord, owner: User, scheduler: User, crew: User
) -> None:
    begin(dataclasses.replace(record, attics=record.attics or ()), owner)
    for table in (Assessment, Wall, Opening, ZoneCorner, Attic):
        assert table.objects.visible_to(scheduler).count() == table.objects.count()
        assert not table.objects.visible_to(crew).exists()
    assert Wall.objects.exists()
