import hashlib
from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from estimates.assessments import assessment_from_record, assessment_put, assessment_to_record
from estimates.estimating import estimate_make
from estimates.house import house_from_json
from estimates.houses import house_put
from estimates.models import ActivityEntry, Assessment, EstimateRevision, House, User
from estimates.price_books import NoPriceBook, price_book_publish
from estimates.pricebook import load_book
from estimates.records import BadRecord
from estimates.rules import load_rules
from estimates.rules_table import rule_put
from estimates.snapshot import snapshot_from_text, take_snapshot

pytestmark = pytest.mark.django_db
Freeze = Callable[..., EstimateRevision]


def test_a_snapshot_becomes_the_next_revision_of_its_house(freeze_revision: Freeze, owner: User) -> None:
    first, second = freeze_revision(), freeze_revision(snapshot='{"changed": true}', price=Decimal("99.99"))
    assert (first.number, second.number) == (1, 2)
    assert first.sha256 == hashlib.sha256(b'{"house": {"walls": []}}').hexdigest()
    entry = ActivityEntry.objects.latest("id")
    assert (entry.actor, entry.action, entry.object_code) == (owner, "revision.create", first.house.code)
    assert entry.before == {"revision": 1, "sha256": first.sha256}
    assert entry.after is not None
    assert entry.after["price"] == "99.99"


def test_the_same_snapshot_again_returns_the_latest_revision_and_writes_nothing(freeze_revision: Freeze) -> None:
    first = freeze_revision()
    assert freeze_revision() == first
    assert EstimateRevision.objects.count() == ActivityEntry.objects.count() == 1


def test_going_back_to_an_older_snapshot_is_a_new_revision(freeze_revision: Freeze) -> None:
    first, _, third = freeze_revision(), freeze_revision(snapshot='{"n": 2}'), freeze_revision()
    assert (third.number, third.sha256) == (3, first.sha256)


def test_each_house_counts_for_itself(freeze_revision: Freeze, house: House) -> None:
    freeze_revision()
    other = House.objects.get(pk=house.pk)
    other.pk, other.code, other.reference, other._state.adding = None, None, "birch-row", True
    other.code = House._meta.get_field("code").get_default()
    other.save()
    assert freeze_revision(house=other).number == 1


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"snapshot": "{"}, "snapshot"),
        ({"snapshot": "[1]"}, "snapshot"),
        ({"snapshot": '{"u": NaN}'}, "snapshot"),
        ({"snapshot": '{"u": 1, "u": 2}'}, "snapshot"),
        ({"snapshot": '{"a": {"u": -Infinity}}'}, "snapshot"),
        ({"price": Decimal("1.005")}, "price"),
        ({"price": 12.5}, "price"),
        ({"price": Decimal(-1)}, "__all__"),
        ({"cost": Decimal("-0.01")}, "__all__"),
        ({"price_book": ""}, "price_book"),
        ({"seed": -1}, "seed"),
    ],
)
def test_a_wrong_field_is_refused_and_nothing_is_written(
    freeze_revision: Freeze, change: dict[str, object], field: str
) -> None:
    with pytest.raises(ValidationError) as refused:
        freeze_revision(**change)
    assert list(refused.value.message_dict) == [field]
    assert not EstimateRevision.objects.exists()
    assert not ActivityEntry.objects.exists()


def test_the_database_refuses_a_second_revision_of_one_number(freeze_revision: Freeze) -> None:
    row = EstimateRevision.objects.get(pk=freeze_revision().pk)
    row.pk, row._state.adding = None, True
    row.code = EstimateRevision._meta.get_field("code").get_default()
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save()


class TestAssessment:
    """From the rows of an assessment to a frozen revision, by the price book and rules of the database."""

    NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)

    @pytest.fixture
    def assessment(self, owner: User) -> Assessment:
        source = Path(__file__).resolve().parents[2] / "fixtures" / "houses" / "quarry-split.json"
        record = house_from_json(source.read_text(encoding="utf-8"))
        house = house_put(record=record, is_demo=False, created_by=owner, now=self.NOW)
        return assessment_from_record(house=house, record=record, by=owner, now=self.NOW)

    @pytest.fixture
    def desk(self, owner: User) -> None:
        price_book_publish(book=load_book("standard"), by=owner, now=self.NOW)
        for row in load_rules():
            rule_put(**{**asdict(row), "by": owner, "now": self.NOW})

    def make(self, assessment: Assessment, owner: User) -> EstimateRevision:
        return estimate_make(assessment=assessment, book_name="standard", on=date(2026, 3, 2), by=owner, now=self.NOW)

    def test_rows_come_to_the_figures_of_the_file(self, assessment: Assessment, desk: None, owner: User) -> None:
        revision = self.make(assessment, owner)
        record = replace(assessment_to_record(assessment), priced_on=date(2026, 3, 2))
        straight = take_snapshot(record, load_book("standard"))
        assert revision.snapshot == straight.text()
        assert revision.price == Decimal(straight.options[0].price_cents) / 100
        assert snapshot_from_text(revision.snapshot).text() == revision.snapshot
        assert self.make(assessment, owner).pk == revision.pk

    def test_a_later_rule_or_price_changes_nothing_that_was_frozen(
        self, assessment: Assessment, desk: None, owner: User
    ) -> None:
        revision = self.make(assessment, owner)
        frozen = revision.snapshot
        dear = load_book("standard")
        rates = tuple(replace(rate, best=rate.best * 2) if rate.id == "labour" else rate for rate in dear.rates)
        price_book_publish(
            book=replace(dear, version=2, effective_from=date(2026, 3, 1), rates=rates), by=owner, now=self.NOW
        )
        rule_put(
            jurisdiction="US-NY",
            topic="contract.deposit_cap",
            valid_from=date(2026, 2, 1),
            valid_to=None,
            value={"share": "1/100"},
            text="A stricter cap.",
            source="this test",
            checked_on=date(2026, 2, 1),
            by=owner,
            now=self.NOW,
        )
        again = EstimateRevision.objects.get(pk=revision.pk)
        assert again.snapshot == frozen
        assert snapshot_from_text(again.snapshot).offers[0].cap.rule is None
        newer = self.make(assessment, owner)
        assert newer.number == revision.number + 1
        assert newer.cost > revision.cost
        offer = snapshot_from_text(newer.snapshot).offers[0]
        assert offer.deposit_cents == offer.total_cents // 100

    def test_an_assessment_that_does_not_fit_together_is_refused(
        self, assessment: Assessment, desk: None, owner: User
    ) -> None:
        record = assessment_to_record(assessment)
        bare = replace(record, walls=(), quick_walls=(), attics=(), leak_sites=(), options=(), gate_answers=())
        assessment_put(assessment=assessment, record=bare, expected_version=1, by=owner, now=self.NOW)
        with pytest.raises(BadRecord, match="nothing to work on"):
            self.make(assessment, owner)

    def test_no_book_no_price(self, assessment: Assessment, owner: User) -> None:
        with pytest.raises(NoPriceBook, match="none yet"):
            self.make(assessment, owner)
