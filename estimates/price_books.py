"""Publishing of price books, and the one that holds on a day."""

from __future__ import annotations

import hashlib
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.counter import counter_next
from estimates.models.pricebook import PriceBookVersion
from estimates.models.user import User
from estimates.pricebook import PriceBook, book_faults
from estimates.records import BadRecord, load_json, read_record, write_record
from estimates.snapshot import canonical_json


class NoPriceBook(LookupError):
    """No version of a price book holds on a day; the text says from when on one does."""


def price_book_publish(*, book: PriceBook, by: User, now: datetime, origin: str = "") -> PriceBookVersion:
    """Publish a version of a price book: from now on it never changes; the same version again writes nothing.

    Parameters
    ----------
    book : products and rates; its id is the name of the book. The version counts up by one, the first day is after
        that of the version before.
    by : who publishes it.
    now : the time of the whole act.
    origin : network address or command.

    Raises
    ------
    BadRecord : a field of the book holds what it may not; every fault with its path.
    ValidationError : the version or the first day does not follow the one published last.
    """
    checked = read_record(PriceBook, write_record(book))
    faults = book_faults(checked, checked.id)
    if faults:
        raise BadRecord(faults)
    content = canonical_json(write_record(checked))
    digest = hashlib.sha256(content.encode()).hexdigest()
    published = PriceBookVersion.objects.filter(name=checked.id)
    if (there := published.filter(sha256=digest).first()) is not None:
        return there
    with transaction.atomic():
        # Rows that are not there yet cannot be locked, so two people who publish take turns at a counter.
        counter_next(name="price_book.publish")
        if (there := published.filter(sha256=digest).first()) is not None:
            return there
        last = published.order_by("-version").first()
        _check_follows(checked, last)
        version = PriceBookVersion(
            name=checked.id,
            version=checked.version,
            effective_from=checked.effective_from,
            content=content,
            sha256=digest,
            published_at=now,
            published_by=by,
        )
        version.full_clean()
        version.save()
        activity_record(
            actor=by,
            action="price_book.publish",
            target=version,
            now=now,
            before=None if last is None else _mark(last),
            after=_mark(version),
            origin=origin,
        )
    return version


def price_book_on(name: str, day: date) -> PriceBook:
    """Return the price book that holds on a day: the latest version whose first day is not after it.

    Raises
    ------
    NoPriceBook : there is no such book, or its first version begins later.
    """
    versions = PriceBookVersion.objects.filter(name=name)
    row = versions.filter(effective_from__lte=day).order_by("-effective_from").first()
    if row is not None:
        return price_book_of(row)
    first = versions.order_by("effective_from").first()
    if first is None:
        known = sorted(set(PriceBookVersion.objects.values_list("name", flat=True)))
        raise NoPriceBook(f"No price book {name!r} is published. Enter one of: {', '.join(known) or 'none yet'}.")
    raise NoPriceBook(
        f"No version of the price book {name!r} holds on {day.isoformat()}. Enter a day from "
        f"{first.effective_from.isoformat()} on."
    )


def price_book_of(version: PriceBookVersion) -> PriceBook:
    """Return the record of a published version."""
    return read_record(PriceBook, load_json(version.content))


def _check_follows(book: PriceBook, last: PriceBookVersion | None) -> None:
    wanted = 1 if last is None else last.version + 1
    faults = {}
    if book.version != wanted:
        published = "none is published yet" if last is None else f"version {last.version} was published last"
        faults["version"] = f"{book.id}: version {book.version}, but {published}. Enter version {wanted}."
    if last is not None and book.effective_from <= last.effective_from:
        faults["effective_from"] = (
            f"{book.id}: version {last.version} holds from {last.effective_from.isoformat()}. Enter a later day."
        )
    if faults:
        raise ValidationError(faults)


def _mark(version: PriceBookVersion) -> dict[str, object]:
    return {"version": version.version, "effective_from": version.effective_from, "sha256": version.sha256}
