"""Price books: published once, found by the day, and never changing what was sent (rule P3)."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from estimates.estimating import revision_create
from estimates.house import SCHEMA, house_from_json
from estimates.houses import house_put
from estimates.models import ActivityEntry, EstimateRevision, PriceBookVersion, User
from estimates.models.frozen import Frozen
from estimates.papers import proposal_file
from estimates.price_books import NoPriceBook, price_book_of, price_book_on, price_book_publish
from estimates.pricebook import PriceBook, load_book
from estimates.records import BadRecord
from estimates.snapshot import ENGINE_VERSION, take_snapshot

pytestmark = pytest.mark.django_db

HOUSES = Path(__file__).resolve().parents[2] / "fixtures" / "houses"
NOW = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)
Publish = Callable[..., PriceBookVersion]


@pytest.fixture
def book() -> PriceBook:
    return dataclasses.replace(load_book("standard"), version=1, effective_from=date(2026, 1, 5))


@pytest.fixture
def publish(book: PriceBook, owner: User) -> Publish:
    def published(**changes: Any) -> PriceBookVersion:
        return price_book_publish(book=dataclasses.replace(book, **changes), by=owner, now=NOW)

    return published


def dearer(book: PriceBook) -> PriceBook:
    """The next version: every product half as dear again."""
    foams = tuple(dataclasses.replace(foam, cost_per_mix=foam.cost_per_mix * 1.5) for foam in book.foams)
    loose = tuple(dataclasses.replace(fill, cost_per_bag=fill.cost_per_bag * 1.5) for fill in book.loose_fills)
    return dataclasses.replace(book, version=2, effective_from=date(2026, 6, 1), foams=foams, loose_fills=loose)


def test_a_published_book_comes_back_as_it_was(publish: Publish, book: PriceBook, owner: User) -> None:
    version = publish()
    assert price_book_of(version) == price_book_on("standard", date(2026, 1, 5)) == book
    assert version.sha256 == hashlib.sha256(version.content.encode()).hexdigest()
    entry = ActivityEntry.objects.get(action="price_book.publish")
    assert (entry.actor, entry.object_code, entry.before) == (owner, version.code, None)
    assert entry.after == {"version": 1, "effective_from": "2026-01-05", "sha256": version.sha256}


def test_the_same_book_again_writes_nothing_even_after_a_later_one(publish: Publish, book: PriceBook) -> None:
    first = publish()
    publish(**{name: getattr(dearer(book), name) for name in ("version", "effective_from", "foams")})
    assert publish() == first
    assert PriceBookVersion.objects.count() == ActivityEntry.objects.count() == 2


def test_the_latest_version_of_a_day_holds(publish: Publish) -> None:
    publish()
    publish(version=2, effective_from=date(2026, 6, 1))
    for day, version in ((date(2026, 1, 5), 1), (date(2026, 5, 31), 1), (date(2026, 6, 1), 2), (date(2030, 1, 1), 2)):
        assert price_book_on("standard", day).version == version


def test_a_day_without_a_book_is_refused_with_what_to_enter(publish: Publish) -> None:
    with pytest.raises(NoPriceBook, match="none yet"):
        price_book_on("standard", date(2026, 1, 5))
    publish()
    with pytest.raises(NoPriceBook, match="from 2026-01-05 on"):
        price_book_on("standard", date(2026, 1, 4))
    with pytest.raises(NoPriceBook, match="one of: standard"):
        price_book_on("summer", date(2026, 1, 5))


@pytest.mark.parametrize(
    ("change", "fields"),
    [
        ({"version": 1}, ["effective_from", "version"]),
        ({"version": 3, "effective_from": date(2026, 6, 1)}, ["version"]),
        ({"version": 2}, ["effective_from"]),
        ({"version": 2, "effective_from": date(2026, 1, 4)}, ["effective_from"]),
    ],
)
def test_a_version_that_does_not_follow_is_refused(publish: Publish, change: dict[str, Any], fields: list[str]) -> None:
    publish()
    with pytest.raises(ValidationError, match="Enter") as refused:
        publish(name="Another name", **change)
    assert sorted(refused.value.message_dict) == fields
    assert PriceBookVersion.objects.count() == 1


def test_the_first_version_is_one(publish: Publish) -> None:
    with pytest.raises(ValidationError, match="none is published yet"):
        publish(version=2)


def test_a_book_with_a_fault_or_without_a_rate_is_refused(publish: Publish, book: PriceBook) -> None:
    with pytest.raises(BadRecord, match="foams"):
        publish(foams=())
    with pytest.raises(BadRecord, match="is missing; add it"):
        publish(rates=book.rates[1:])
    assert not PriceBookVersion.objects.exists()


def test_two_books_count_for_themselves(publish: Publish) -> None:
    publish()
    assert publish(id="winter").version == 1


def test_a_published_version_can_be_neither_changed_nor_deleted(publish: Publish) -> None:
    version = publish()
    for act in (version.save, version.delete, PriceBookVersion.objects.all().delete):
        with pytest.raises(Frozen):
            act()
    with pytest.raises(Frozen):
        PriceBookVersion.objects.update(content="{}")


@pytest.mark.parametrize("change", [{}, {"version": 2}, {"effective_from": date(2026, 6, 1)}])
def test_the_database_refuses_a_second_version_of_one_number_or_day(publish: Publish, change: dict[str, Any]) -> None:
    row = PriceBookVersion.objects.get(pk=publish().pk)
    row.pk, row._state.adding = None, True
    row.code = PriceBookVersion._meta.get_field("code").get_default()
    for name, value in change.items():
        setattr(row, name, value)
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save()


def test_the_office_sees_the_books_and_the_crew_none(publish: Publish, scheduler: User, crew: User) -> None:
    publish()
    assert PriceBookVersion.objects.visible_to(scheduler).count() == 1
    assert not PriceBookVersion.objects.visible_to(crew).exists()


def test_a_sent_estimate_keeps_its_price_when_a_dearer_book_is_published(
    publish: Publish, book: PriceBook, owner: User, settings: Any, tmp_path: Path
) -> None:
    settings.DOCUMENTS_DIR, settings.VAR_DIR = tmp_path / "documents", tmp_path
    publish()
    record = house_from_json((HOUSES / "mill-cape.json").read_text(encoding="utf-8"))
    house = house_put(record=record, is_demo=False, created_by=owner, now=NOW)

    def estimate(day: date) -> EstimateRevision:
        snapshot = take_snapshot(record, price_book_on("standard", day), seed=1)
        first = snapshot.options[0]
        return revision_create(
            house=house,
            snapshot=snapshot.text(),
            price_book=f"{snapshot.book.id} {snapshot.book.version}",
            schema_version=SCHEMA,
            engine_version=ENGINE_VERSION,
            seed=snapshot.seed,
            price=Decimal(first.price_cents) / 100,
            cost=Decimal(first.cost_cents) / 100,
            created_by=owner,
            now=NOW,
        )

    def seen(sent: EstimateRevision) -> tuple[str, str, Decimal, Decimal, str]:
        row = EstimateRevision.objects.get(pk=sent.pk)
        return row.snapshot, row.sha256, row.price, row.cost, row.price_book

    sent = estimate(date(2026, 3, 2))
    before, paper = seen(sent), proposal_file(sent).read_bytes()

    price_book_publish(book=dearer(book), by=owner, now=NOW)

    assert seen(sent) == before
    assert proposal_file(sent).read_bytes() == paper
    proposal_file(sent).unlink()
    assert proposal_file(sent).read_bytes() == paper  # written anew, from what the revision froze
    # What the same house is offered from the new day on does follow the new book.
    again = estimate(date(2026, 6, 1))
    assert (again.number, again.price_book) == (2, "standard 2")
    assert again.price > sent.price
    assert again.cost > sent.cost


def test_tables_that_are_not_in_order_are_refused(publish: Publish, book: PriceBook) -> None:
    foam, fill = book.foams[0], book.loose_fills[0]
    mixed = {
        "foams": (dataclasses.replace(foam, facts=foam.facts[::-1]),),
        "loose_fills": (dataclasses.replace(fill, coverage=(*fill.coverage, fill.coverage[0])),),
    }
    with pytest.raises(BadRecord) as refused:
        publish(**mixed)
    paths = [fault.path for fault in refused.value.faults]
    assert paths == ["standard.foams[0].facts", "standard.loose_fills[0].coverage"]
