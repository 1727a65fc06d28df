"""Freezing what was calculated and priced."""

from __future__ import annotations

import hashlib
from datetime import datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.models.estimate import EstimateRevision
from estimates.models.house import House
from estimates.models.user import User
from estimates.records import BadRecord, load_json


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
