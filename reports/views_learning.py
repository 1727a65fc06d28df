"""What closed jobs teach: figures beside the price book's, and the owner's word on each. Nothing changes by itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from estimates import access
from estimates.command import Conflict
from estimates.forms.plain import DayField, PlainForm
from estimates.models import PriceBookVersion
from estimates.pricebook import PriceBook
from estimates.pricing import PriceRefused
from estimates.templatetags.price_book import shown_number
from estimates.views.price_books import Reach, reach_of
from jobs.learned import Lesson, figure_name
from jobs.learning import LEAST_JOBS, Advice
from jobs.learning_choices import (
    Standing,
    Word,
    book_rate,
    book_unit,
    book_value,
    choices_take,
    first_day,
    next_book,
    standing_of,
)
from jobs.models import HouseBills, Job, JobStatus

ACCEPT, REFUSE = "accept", "refuse"


@dataclass(frozen=True, slots=True)
class Moved:
    """What a next book would do to everything that is offered, beside the latest one. Money in cents."""

    options: int
    houses: int
    cents: int
    falling: tuple[str, ...]
    refused: str = ""


@dataclass(frozen=True, slots=True)
class Shown:
    """A figure on the page: in the unit of the book, with what it would do and how it is answered."""

    lesson: Lesson
    name: str
    unit: str
    book: float
    jobs_say: float
    low: float
    high: float
    change: float
    moved: Moved | None
    answer: Any
    last: Any

    @property
    def book_said(self) -> str:
        """The book's figure as people read it; all digits that it has."""
        return shown_number(float(f"{self.book:.6g}"))

    @property
    def jobs_said(self) -> str:
        """What our jobs say; as it would stand in the book."""
        return shown_number(self.jobs_say)

    @property
    def low_said(self) -> str:
        """Low end of the interval, three digits."""
        return shown_number(float(f"{self.low:.3g}"))

    @property
    def high_said(self) -> str:
        """High end of the interval, three digits."""
        return shown_number(float(f"{self.high:.3g}"))

    @property
    def waits_for(self) -> int:
        """How many more jobs it takes until something is proposed."""
        return max(0, LEAST_JOBS - self.lesson.found.jobs)

    @property
    def proposed(self) -> bool:
        """Whether the jobs would change it."""
        return self.lesson.found.advice is Advice.CHANGE


class DecisionForm(PlainForm):
    """The owner's word on every figure that is proposed; a figure may be left open."""

    effective_from = DayField(label="First day of the next price book")

    def __init__(self, *args: Any, standing: Standing, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.proposed: Sequence[Lesson] = standing.proposed
        for lesson in self.proposed:
            name = figure_name(lesson.figure, standing.book)
            self.fields[f"word-{lesson.figure}"] = forms.ChoiceField(
                label=name,
                required=False,
                choices=[(ACCEPT, "Take it into the next price book"), (REFUSE, "Refuse it"), ("", "Decide later")],
                widget=forms.RadioSelect,
            )
            self.fields[f"why-{lesson.figure}"] = forms.CharField(
                label=f"Why, for {name[:1].lower()}{name[1:]}",
                required=False,
                max_length=500,
                help_text="Needed where you refuse it.",
            )
        self.first = first_day(standing, today)
        self.initial.setdefault("effective_from", self.first)

    def clean_effective_from(self) -> date:
        """A day on which the next version may begin."""
        chosen: date = self.cleaned_data["effective_from"]
        if chosen < self.first:
            raise ValidationError(f"Enter {self.first.isoformat()} or a later day")
        return chosen

    def clean(self) -> dict[str, Any]:
        """Ask for the reason of a refusal, and for one word at least."""
        found = super().clean() or {}
        for lesson in self.proposed:
            if found.get(f"word-{lesson.figure}") == REFUSE and not found.get(f"why-{lesson.figure}", "").strip():
                self.add_error(f"why-{lesson.figure}", "Enter why you refuse it")
        if not self.errors and not self.words:
            first = self.proposed[0].figure if self.proposed else ""
            self.add_error(f"word-{first}" if first else None, "Accept or refuse at least one figure")
        return found

    @property
    def words(self) -> dict[str, Word]:
        """Figure -> what was said of it."""
        return {
            lesson.figure: Word(
                self.cleaned_data[f"word-{lesson.figure}"] == ACCEPT, self.cleaned_data.get(f"why-{lesson.figure}", "")
            )
            for lesson in self.proposed
            if self.cleaned_data.get(f"word-{lesson.figure}")
        }


def _name(data: Mapping[str, Any]) -> tuple[str, list[str]]:
    names = sorted(set(PriceBookVersion.objects.values_list("name", flat=True)))
    asked = str(data.get("book", ""))
    return (asked if asked in names else (names[0] if names else "")), names


@require_safe
@access.action("learning.decide")
def show_learning(request: HttpRequest) -> HttpResponse:
    """Show every figure that closed jobs say something of, and ask for the owner's word on those they would change."""
    name, names = _name(request.GET)
    standing = standing_of(name) if name else None
    form = None if standing is None else DecisionForm(standing=standing, today=timezone.localdate())
    return _page(request, names, standing, form)


@require_POST
@access.action("learning.decide")
def check_learning(request: HttpRequest) -> HttpResponse:
    """Show what the chosen words would do to everything that is offered; nothing is written."""
    name, names = _name(request.POST)
    standing = standing_of(name) if name else None
    if standing is None or standing.seen != request.POST.get("seen"):
        return _changed(request, names, standing)
    form = DecisionForm(request.POST, standing=standing, today=timezone.localdate())
    if request.POST.get("do") == "change" or not form.is_valid():
        return _page(request, names, standing, form)
    taken = [lesson for lesson in standing.proposed if (word := form.words.get(lesson.figure)) and word.accepted]
    context: dict[str, Any] = {
        "section": "reports",
        "standing": standing,
        "day": form.cleaned_data["effective_from"],
        "taken": [_shown(lesson, standing, None, None) for lesson in taken],
        "refused": [
            (figure_name(figure, standing.book), word.reason)
            for figure, word in form.words.items()
            if not word.accepted
        ],
        "typed": [(key, value) for key, value in request.POST.items() if key not in ("csrfmiddlewaretoken", "do")],
    }
    if taken:
        book = next_book(standing.book, taken, effective_from=form.cleaned_data["effective_from"])
        try:
            context |= {
                "reach": reach_of(request.user, book),
                "moved": _moved(request.user, standing, taken, _reach_now(request.user, standing)),
            }
        except PriceRefused as fault:
            form.add_error(None, f"{fault}"[:1].upper() + f"{fault}"[1:])
            return _page(request, names, standing, form)
    return render(request, "reports/learning_check.html", context)


@require_POST
@access.action("learning.decide")
def decide_learning(request: HttpRequest) -> HttpResponse:
    """Keep the words, and publish the next price book with what was accepted."""
    name, names = _name(request.POST)
    standing = standing_of(name) if name else None
    if standing is None:
        return _changed(request, names, standing)
    form = DecisionForm(request.POST, standing=standing, today=timezone.localdate())
    words, day = _sent(request.POST), form.first
    if standing.seen == request.POST.get("seen"):
        if not form.is_valid():
            return _page(request, names, standing, form)
        words, day = form.words, form.cleaned_data["effective_from"]
    try:
        rows, made = choices_take(
            name=name,
            seen=request.POST.get("seen", ""),
            words=words,
            effective_from=day,
            by=access.signed_in(request),
            now=timezone.now(),
            origin=access.origin_of(request),
        )
    except (Conflict, ValidationError):
        return _changed(request, names, standing_of(name))
    taken = sum(row.accepted for row in rows)
    if made is None:
        messages.success(request, f"{_counted(len(rows))} refused. The price book stays as it is.")
        return redirect("reports-show-learning")
    messages.success(
        request,
        f"{_counted(taken)} taken into version {made.version}, which holds from {made.effective_from.isoformat()}. "
        "Estimates that were sent stay as they are. Next: price open houses again.",
    )
    return redirect("estimates-show-price-book", code=made.code)


def _counted(figures: int) -> str:
    return f"{figures} figure{'' if figures == 1 else 's'}"


def _sent(data: Mapping[str, Any]) -> dict[str, Word]:
    """Words of a form whose figures are proposed no more: the same form sent twice, or another owner was quicker."""
    return {
        key.removeprefix("word-"): Word(value == ACCEPT, str(data.get(f"why-{key.removeprefix('word-')}", "")))
        for key, value in data.items()
        if key.startswith("word-") and value
    }


def _changed(request: HttpRequest, names: Sequence[str], standing: Standing | None) -> HttpResponse:
    form = None if standing is None else DecisionForm(standing=standing, today=timezone.localdate())
    response = _page(request, names, standing, form, changed=True)
    response.status_code = 409
    return response


def _page(
    request: HttpRequest,
    names: Sequence[str],
    standing: Standing | None,
    form: DecisionForm | None,
    *,
    changed: bool = False,
) -> HttpResponse:
    context: dict[str, Any] = {"section": "reports", "names": names, "standing": standing, "changed": changed}
    context |= {"form": form, "forms": [form] if form else [], "faulty": form is not None and form.faulty}
    if standing is not None and form is not None:
        proposed = {lesson.figure for lesson in standing.proposed}
        reach = _reach_now(request.user, standing) if proposed else None
        rows = [
            _shown(
                lesson,
                standing,
                _moved(request.user, standing, [lesson], reach) if lesson.figure in proposed else None,
                form,
            )
            for lesson in standing.lessons
        ]
        context |= {
            "proposed": [row for row in rows if row.lesson.figure in proposed],
            "others": [row for row in rows if row.lesson.in_book and row.lesson.figure not in proposed],
            "beside": [row for row in rows if not row.lesson.in_book],
            "without_bills": _without_bills(),
        }
    return render(request, "reports/learning.html", context)


def _shown(lesson: Lesson, standing: Standing, moved: Moved | None, form: DecisionForm | None) -> Shown:
    found, answer = lesson.found, None
    if form is not None and f"word-{lesson.figure}" in form.fields:
        answer = (form[f"word-{lesson.figure}"], form[f"why-{lesson.figure}"])
    unit, value = book_unit(lesson, standing.book), book_value(lesson, standing.book)
    jobs_say, low, high = found.mean, found.low, found.high
    if unit != found.unit and lesson.in_book and not unit.startswith("times"):
        # A rate in units a day is the book's figure over what was learned in hours a unit.
        top = value * found.current
        jobs_say, low, high = top / found.mean, top / found.high, top / found.low
    return Shown(
        lesson=lesson,
        name=figure_name(lesson.figure, standing.book),
        unit=unit,
        book=value,
        jobs_say=book_rate(lesson, standing.book).best if lesson.in_book else jobs_say,
        low=low,
        high=high,
        change=jobs_say / value - 1 if value else 0.0,
        moved=moved,
        answer=answer,
        last=standing.last.get(lesson.figure),
    )


def _reach_now(user: access.Person, standing: Standing) -> Reach | None:
    """Everything offered under the latest book; None where that book leaves nothing for the cost."""
    try:
        return reach_of(user, standing.book)
    except PriceRefused:
        return None


def _moved(user: access.Person, standing: Standing, taken: Sequence[Lesson], now: Reach | None) -> Moved:
    """What figures would do to everything offered: prices worked out with the next book and with the latest one."""
    book: PriceBook = next_book(standing.book, taken, effective_from=first_day(standing, timezone.localdate()))
    if now is None:
        return Moved(0, 0, 0, (), "The latest price book leaves nothing for the cost: mend its margins first.")
    try:
        then = reach_of(user, book)
    except PriceRefused as fault:
        return Moved(0, 0, 0, (), f"{fault}")
    below = {_of(effect) for effect in now.effects if effect.below_floor}
    fall = tuple(_of(effect) for effect in then.effects if effect.below_floor and _of(effect) not in below)
    return Moved(len(then.effects), then.houses, then.new_cents - now.new_cents, fall)


def _of(effect: Any) -> str:
    return f"{effect.key.revision.house.name}, {effect.option.name}"


def _without_bills() -> list[Job]:
    """Closed jobs whose bills nobody entered yet, the oldest first: they had most time to burn."""
    known = HouseBills.objects.values("job")
    closed = Job.objects.filter(status=JobStatus.CLOSED).exclude(pk__in=known)
    return list(closed.select_related("house").order_by("closed_at", "id")[:12])
