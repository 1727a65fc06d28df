"""What the owner makes of figures that closed jobs teach: each accepted or refused, and a new price book made of it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.counter import counter_next
from estimates.models.pricebook import PriceBookVersion
from estimates.models.user import User
from estimates.price_books import price_book_of, price_book_publish
from estimates.pricebook import PriceBook, Rate
from jobs.learned import ATTIC_PEOPLE, LEAK_WORK, WALL_RATES, YIELD, Lesson, lessons
from jobs.learning import Advice, BookRate, per_day
from jobs.models import LearnedChoice

DIGITS = 4
"""Significant digits of a figure in a book: more says nothing that the jobs know."""


@dataclass(frozen=True, slots=True)
class Word:
    """What the owner says of one figure; refusing needs a reason."""

    accepted: bool
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Standing:
    """A price book, what closed jobs say of it, and the last word on each figure."""

    base: PriceBookVersion
    book: PriceBook
    lessons: tuple[Lesson, ...]
    last: Mapping[str, LearnedChoice]

    @property
    def proposed(self) -> tuple[Lesson, ...]:
        """Figures of the book that the jobs would change, and that were not refused on the same jobs."""
        return tuple(one for one in self.lessons if one.in_book and self._open(one))

    def _open(self, lesson: Lesson) -> bool:
        if lesson.found.advice is not Advice.CHANGE:
            return False
        last = self.last.get(lesson.figure)
        return last is None or last.accepted or sorted(last.evidence) != sorted(lesson.used)

    @property
    def seen(self) -> str:
        """Hash of what is proposed, so that nothing else is accepted than what was looked at."""
        said = [f"{self.base.pk}"]
        said += [f"{one.figure} {one.found.mean!r} {one.found.low!r} {one.found.high!r}" for one in self.proposed]
        return hashlib.sha256("\n".join(said).encode()).hexdigest()


def standing_of(name: str) -> Standing | None:
    """What closed jobs say of a price book; None where no version of it is published."""
    versions = PriceBookVersion.objects.filter(name=name)
    base, first = versions.order_by("-version").first(), versions.order_by("version").first()
    if base is None or first is None:
        return None
    book = price_book_of(base)
    start = book if first.pk == base.pk else price_book_of(first)
    last = {choice.figure: choice for choice in LearnedChoice.objects.filter(base__name=name).order_by("at", "id")}
    return Standing(base, book, lessons(start, book), last)


def first_day(standing: Standing, today: date) -> date:
    """First day that a next version may hold."""
    return max(today, standing.book.effective_from + timedelta(days=1))


def book_rate(lesson: Lesson, book: PriceBook) -> BookRate:
    """A learned figure as the book keeps it.

    Examples
    --------
    >>> from estimates.pricebook import load_book
    >>> from jobs.learned import _lesson, _Heard
    >>> book = load_book("standard")
    >>> rate = book_rate(_lesson("wall_lift_cladding", book, book, _Heard()), book)
    >>> rate.best
    800.0
    """
    found = lesson.found
    if lesson.figure in WALL_RATES:
        rate = per_day(found, people=book.best("crew_size"), hours=book.best("day_hours"))
    elif lesson.figure == "attic_blowing":
        rate = per_day(found, people=ATTIC_PEOPLE, hours=1.0)
    else:
        rate = BookRate(found.next_low, found.mean, found.next_high)
    return BookRate(*(float(f"{value:.{DIGITS}g}") for value in (rate.low, rate.best, rate.high)))


def book_unit(lesson: Lesson, book: PriceBook) -> str:
    """Unit that the book keeps a figure in."""
    if lesson.figure == LEAK_WORK or not lesson.in_book:
        return "times the hours" if lesson.figure == LEAK_WORK else lesson.found.unit
    return lesson.found.unit if lesson.figure.startswith(YIELD) else book.rate(lesson.figure).unit


def book_value(lesson: Lesson, book: PriceBook) -> float:
    """The book's own value of a figure, in `book_unit`."""
    if lesson.figure == LEAK_WORK or not lesson.in_book or lesson.figure.startswith(YIELD):
        return lesson.found.current
    return book.best(lesson.figure)


def next_book(book: PriceBook, accepted: Iterable[Lesson], *, effective_from: date) -> PriceBook:
    """The next version of a book, with learned figures in the place of its own.

    Parameters
    ----------
    book : the latest version.
    accepted : figures of the book that are taken up; all others stay.
    effective_from : first day of the next version.
    """
    found = replace(book, version=book.version + 1, effective_from=effective_from)
    for lesson in accepted:
        found = _with(found, lesson)
    return found


def _with(book: PriceBook, lesson: Lesson) -> PriceBook:
    rate = book_rate(lesson, book)
    if lesson.figure.startswith(YIELD):
        of = lesson.figure.removeprefix(YIELD)
        foams = (
            replace(foam, yield_low_ft3=rate.low, yield_ft3=rate.best, yield_high_ft3=rate.high)
            if foam.id == of
            else foam
            for foam in book.foams
        )
        return replace(book, foams=tuple(foams))
    if lesson.figure == LEAK_WORK:
        by = lesson.found.mean / lesson.found.current
        return replace(
            book,
            leak_work=tuple(
                replace(
                    work, hours=_short(work.hours * by), low_h=_short(work.low_h * by), high_h=_short(work.high_h * by)
                )
                for work in book.leak_work
            ),
        )
    rates = (
        Rate(id=one.id, low=rate.low, best=rate.best, high=rate.high, unit=one.unit, mark=one.mark)
        if one.id == lesson.figure
        else one
        for one in book.rates
    )
    return replace(book, rates=tuple(rates))


def _short(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def word_faults(proposed: Sequence[Lesson], words: Mapping[str, Word]) -> dict[str, str]:
    """What is missing in the owner's words; nobody has to say something of every figure."""
    known = {lesson.figure for lesson in proposed}
    faults = {}
    for figure, word in words.items():
        if figure not in known:
            faults[figure] = "Nothing is proposed for it any more: look at the page again."
        elif not word.accepted and not word.reason.strip():
            faults[figure] = "Enter why you refuse it."
    if not words:
        faults[""] = "Accept or refuse at least one figure."
    return faults


def choices_take(
    *,
    name: str,
    seen: str,
    words: Mapping[str, Word],
    effective_from: date,
    by: User,
    now: datetime,
    origin: str = "",
) -> tuple[tuple[LearnedChoice, ...], PriceBookVersion | None]:
    """Keep the owner's word on figures, and publish the next version of the book with those that were accepted.

    Parameters
    ----------
    name : of the price book.
    seen : `Standing.seen` of what was looked at.
    words : figure -> word; figures left out stay proposed.
    effective_from : first day of the next version.
    by, now, origin : who, when, from where.

    Returns
    -------
    The words as kept, and the version made; None where nothing was accepted. The same form again writes nothing.

    Raises
    ------
    Conflict : jobs, book or an earlier word changed what is proposed.
    ValidationError : a refusal without a reason, a first day not after that of the latest version.
    BadRecord : the next version would hold what a price book may not.
    """
    with transaction.atomic():
        # Two owners who decide take turns at a counter, as those who publish do.
        counter_next(name="learned.choice")
        standing = standing_of(name)
        if standing is not None and standing.seen != seen and (again := _again(standing, words, by)):
            return again, next((row.made for row in again if row.made is not None), None)
        if standing is None or standing.seen != seen:
            raise Conflict("What is proposed changed since you looked. Nothing was written; look at it again.")
        proposed = standing.proposed
        faults = word_faults(proposed, words)
        if faults:
            raise ValidationError(faults)
        accepted = [one for one in proposed if one.figure in words and words[one.figure].accepted]
        made = None
        if accepted:
            book = next_book(standing.book, accepted, effective_from=effective_from)
            made = price_book_publish(book=book, by=by, now=now, origin=origin)
        rows = [_row(standing, one, words[one.figure], made, by, now) for one in proposed if one.figure in words]
        for row in rows:
            row.full_clean()
            row.save()
            activity_record(
                actor=by,
                action="price_book.learn",
                target=row.made or standing.base,
                now=now,
                before={row.figure: row.book_value},
                after={row.figure: row.value if row.accepted else row.book_value, "accepted": row.accepted},
                reason=row.reason,
                origin=origin,
            )
    return tuple(rows), made


def _again(standing: Standing, words: Mapping[str, Word], by: User) -> tuple[LearnedChoice, ...]:
    """The words as they were kept a moment ago, where the same form arrives a second time; else none."""
    kept = tuple(standing.last[figure] for figure in words if figure in standing.last)
    latest = max((row.at for row in standing.last.values()), default=None)
    same = len(kept) == len(words) and all(
        row.by_id == by.pk
        and row.at == latest
        and (row.accepted, row.reason) == (words[row.figure].accepted, words[row.figure].reason.strip())
        for row in kept
    )
    return kept if same else ()


def _row(
    standing: Standing, lesson: Lesson, word: Word, made: PriceBookVersion | None, by: User, now: datetime
) -> LearnedChoice:
    found = lesson.found
    return LearnedChoice(
        base=standing.base,
        figure=lesson.figure,
        name=found.name,
        accepted=word.accepted,
        reason=word.reason.strip(),
        unit=found.unit,
        book_value=found.current,
        value=found.mean,
        low=found.low,
        high=found.high,
        weight=found.weight,
        jobs=found.jobs,
        evidence=list(lesson.used),
        made=made if word.accepted else None,
        at=now,
        by=by,
    )
