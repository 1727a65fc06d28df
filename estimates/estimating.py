"""Pricing an assessment, and freezing what was calculated and priced."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.assessments import assessment_to_record
from estimates.house import SCHEMA, house_faults
from estimates.models.assessment import Assessment
from estimates.models.estimate import EstimateRevision
from estimates.models.house import House
from estimates.models.user import User
from estimates.money import from_cents
from estimates.price_books import price_book_on
from estimates.records import BadRecord, load_json
from estimates.rules_table import rule_rows
from estimates.snapshot import ENGINE_VERSION, Snapshot, take_snapshot


def estimate_make(
    *, assessment: Assessment, book_name: str, on: date, by: User, now: datetime, seed: int = 1, origin: str = ""
) -> EstimateRevision:
    """Price an assessment as it stands and freeze the outcome as the next revision of its house.

    Parameters
    ----------
    assessment : open or completed; hazard gates that are still open are frozen with it.
    book_name : which price book; the version that holds on the day counts.
    on : the day whose prices and rules hold, where the assessment names none.
    by, now, origin : who, when, from where.
    seed : of the ranges, >= 0.

    Returns
    -------
    The revision; the same figures again return the latest one and write nothing.

    Raises
    ------
    BadRecord : something in the assessment does not fit together; every fault with its path.
    NoPriceBook : no version of the book holds on the day.
    RuleMissing, BadRule, OutOfRange, PriceRefused : the chain cannot be run; the text names what to mend.
    """
    record = assessment_to_record(assessment)
    if record.priced_on is None:
        record = replace(record, priced_on=on)
    faults = list(house_faults(record))
    if faults:
        raise BadRecord(faults)
    assert record.priced_on is not None
    book = price_book_on(book_name, record.priced_on)
    snapshot = take_snapshot(record, book, rules=rule_rows(), seed=seed)
    return estimate_freeze(house=assessment.house, snapshot=snapshot, by=by, now=now, origin=origin)


def estimate_freeze(*, house: House, snapshot: Snapshot, by: User, now: datetime, origin: str = "") -> EstimateRevision:
    """Freeze one run of the chain as the next revision of a house; price and cost beside it are the first option's."""
    first, book = snapshot.options[0], snapshot.book
    return revision_create(
        house=house,
        snapshot=snapshot.text(),
        price_book=f"{book.id} {book.version}",
        schema_version=SCHEMA,
        engine_version=ENGINE_VERSION,
        seed=snapshot.seed,
        price=from_cents(first.price_cents),
        cost=from_cents(first.cost_cents),
        created_by=by,
        now=now,
        origin=origin,
    )


def revision_create(
    *,
    house: House,
    snapshot: str,
    price_book: str,
    schema_version: str,
    engine_version: str,
    seed: int,
    price: Decimal,
    cost: Decimal,
    created_by: User,
    now: datetime,
    origin: str = "",
) -> EstimateRevision:
    """Freeze a snapshot as the next revision of a house.

    The same snapshot again returns the latest revision and writes nothing.

    Parameters
    ----------
    house : the house; its row is locked while the number is chosen.
    snapshot : text of the canonical JSON object: house record, takeoff, performance, estimate.
    price_book : name and version of the price book used.
    schema_version, engine_version : of the records and of the calculation.
    seed : of the ranges; >= 0.
    price, cost : at most two decimals, >= 0. [$]
    created_by : who asked for it.
    now : the time of the whole act.
    origin : network address or command.

    Raises
    ------
    ValidationError : the snapshot is no strict JSON object, or a field is missing or wrong.
    """
    _check_snapshot(snapshot)
    digest = hashlib.sha256(snapshot.encode()).hexdigest()
    with transaction.atomic():
        locked = House.objects.select_for_update().get(pk=house.pk)
        latest = EstimateRevision.objects.filter(house=locked).order_by("-number").first()
        if latest is not None and latest.sha256 == digest:
            return latest
        revision = EstimateRevision(
            house=locked,
            number=1 if latest is None else latest.number + 1,
            created_at=now,
            created_by=created_by,
            price_book=price_book,
            schema_version=schema_version,
            engine_version=engine_version,
            seed=seed,
            snapshot=snapshot,
            sha256=digest,
            price=price,
            cost=cost,
        )
        revision.full_clean()
        revision.save()
        activity_record(
            actor=created_by,
            action="revision.create",
            target=locked,
            now=now,
            before=None if latest is None else {"revision": latest.number, "sha256": latest.sha256},
            after={"revision": revision.number, "sha256": digest, "price": revision.price, "cost": revision.cost},
            origin=origin,
        )
    return revision


def _check_snapshot(snapshot: str) -> None:
    try:
        value = load_json(snapshot)
    except BadRecord as bad:
        raise ValidationError({"snapshot": f"The snapshot is no strict JSON text: {bad.faults[0].message}."}) from None
    if not isinstance(value, dict):
        raise ValidationError({"snapshot": "The snapshot is not a JSON object. Enter the whole set of records."})
