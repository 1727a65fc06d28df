"""Price books: versions, one of them, what a change would do to everything that is offered, and publishing the next."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Max, Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from estimates import access
from estimates.book_effect import Effect, book_effects, frozen_options, scaled_book
from estimates.contract import stale_prices
from estimates.forms.price_book_words import RATE_GROUPS, RATE_WORDS
from estimates.forms.price_books import PriceBookForms, ScaleForm
from estimates.models import EstimateRevision, PriceBookVersion, Proposal
from estimates.models.assessment import AssessmentStatus
from estimates.models.proposal import ProposalStatus
from estimates.price_books import price_book_of, price_book_publish
from estimates.pricebook import PriceBook, book_names, load_book
from estimates.pricing import PriceRefused
from estimates.records import BadRecord
from estimates.revision_compare import book_name, record_changes

OPEN = (ProposalStatus.DRAFT, ProposalStatus.ISSUED)
NOT_PRICES = ("version", "name", "effective_from")


@require_safe
@access.action("book.read")
def list_price_books(request: HttpRequest) -> HttpResponse:
    """List every version of every price book, the newest first, with its days and who published it."""
    today = timezone.localdate()
    rows: list[Any] = list(
        PriceBookVersion.objects.visible_to(request.user)
        .defer("content")
        .select_related("published_by")
        .order_by("name", "-version")
    )
    state(rows, today)
    published = sorted({row.name for row in rows})
    context = {
        "section": "books",
        "versions": rows,
        "names": published or book_names(),
        "now": timezone.now(),
        "stale": [words for row in rows if row.holds for words in _stale(price_book_of(row), today)],
    }
    return render(request, "estimates/price_books.html", context)


def state(rows: list[Any], today: date) -> None:
    """Say of each version whether it holds today, and until when."""
    for row, later in zip(rows, [None, *rows[:-1]], strict=False):
        next_one = later if later is not None and later.name == row.name else None
        row.until = None if next_one is None else next_one.effective_from - timedelta(days=1)
        row.holds = row.effective_from <= today and (row.until is None or row.until >= today)
        row.to_come = row.effective_from > today


@require_safe
@access.action("book.read")
def show_price_book(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show one version: products with their tables, rates with their ranges, and what changed since the one before."""
    version = access.get_visible_or_404(request.user, PriceBookVersion, code, "book.read")
    book, today = price_book_of(version), timezone.localdate()
    others = PriceBookVersion.objects.visible_to(request.user).filter(name=version.name)
    earlier = others.filter(version=version.version - 1).first()
    latest = others.aggregate(latest=Max("version"))["latest"]
    changes = (
        [] if earlier is None else list(record_changes(price_book_of(earlier), book, hidden=NOT_PRICES, name_of=named))
    )
    context = {
        "section": "books",
        "version": version,
        "book": book,
        "groups": _rate_groups(book),
        "earlier": earlier,
        "changes": changes,
        "is_latest": version.version == latest,
        "stale": _stale(book, today) if version.version == latest else (),
        "scale": ScaleForm(),
    }
    return render(request, "estimates/price_book.html", context)


def _stale(book: PriceBook, today: date) -> tuple[str, ...]:
    if book.effective_from > today:
        return ()
    return stale_prices({book.name: book.effective_from}, on=today, days=int(book.best("price_stale")))


def named(record: Any) -> str:
    """What people call a part of a price book."""
    return RATE_WORDS.get(getattr(record, "id", ""), "") or book_name(record)


def _rate_groups(book: PriceBook) -> list[dict[str, Any]]:
    return [
        {"title": title, "rates": [{"words": words, "rate": book.rate(name)} for name, words in rates.items()]}
        for title, rates in RATE_GROUPS.items()
    ]


# --- what if ---------------------------------------------------------------------------------------------------------


@require_safe
@access.action("book.read")
def try_price_book(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show what one changed figure of a version would do to everything that is offered; no version is made."""
    version = access.get_visible_or_404(request.user, PriceBookVersion, code, "book.read")
    book = price_book_of(version)
    form = ScaleForm(request.GET if "what" in request.GET or "percent" in request.GET else None)
    context: dict[str, Any] = {"section": "books", "version": version, "book": book, "form": form, "forms": [form]}
    if form.is_bound and form.is_valid():
        what, percent = form.cleaned_data["what"], form.cleaned_data["percent"]
        try:
            context |= {
                "reach": reach_of(request.user, scaled_book(book, what, 1 + percent / 100)),
                "words": f"{form.words[what]}: {abs(percent):g} % {'more' if percent >= 0 else 'less'}",
            }
        except PriceRefused as fault:
            form.add_error("percent", f"{fault}"[:1].upper() + f"{fault}"[1:])
    return render(request, "estimates/price_book_try.html", context | {"faulty": form.faulty})


@dataclass(frozen=True, slots=True)
class Offered:
    """Where an option was offered: its revision, and the proposal made from it, if any."""

    revision: EstimateRevision
    proposal: Proposal | None


@dataclass(frozen=True, slots=True)
class Reach:
    """What a book would do to everything that is offered."""

    effects: tuple[Effect, ...]
    unread: int

    @property
    def houses(self) -> int:
        """How many houses."""
        return len({effect.key.revision.house_id for effect in self.effects})

    @property
    def old_cents(self) -> int:
        """All prices as offered. [cents]"""
        return sum(effect.option.price_cents for effect in self.effects)

    @property
    def new_cents(self) -> int:
        """All prices under the book. [cents]"""
        return sum(effect.new_price_cents for effect in self.effects)

    @property
    def share(self) -> float:
        """By how much all prices together change, as a share."""
        return self.new_cents / self.old_cents - 1 if self.old_cents else 0.0

    @property
    def falling(self) -> int:
        """How many options were above the floor and fall below it at the price that was offered."""
        return sum(effect.falls for effect in self.effects)


def reach_of(user: access.Person, book: PriceBook) -> Reach:
    """What a book would do to every open proposal, and to the latest revision of every house still being assessed.

    Parameters
    ----------
    user : who asks; only houses that the person may know of count.
    book : published or not.

    Raises
    ------
    PriceRefused : margin and price shares of the book leave nothing for the cost.
    """
    proposals = {
        proposal.revision_id: proposal
        for proposal in Proposal.objects.visible_to(user).filter(status__in=OPEN).order_by("pk")
    }
    revisions = EstimateRevision.objects.visible_to(user)
    assessed = (
        revisions.filter(house__assessments__status=AssessmentStatus.OPEN)
        .values("house")
        .annotate(latest=Max("pk"))
        .values_list("latest", flat=True)
    )
    found, unread = [], 0
    rows = revisions.filter(Q(pk__in=list(proposals)) | Q(pk__in=list(assessed))).select_related("house")
    for revision in rows.order_by("house__name", "number").iterator():
        try:
            options = frozen_options(revision.sha256, revision.snapshot)
        except (KeyError, BadRecord, ValueError):
            unread += 1
            continue
        found += [(Offered(revision, proposals.get(revision.pk)), option) for option in options]
    effects = sorted(book_effects(found, book), key=lambda effect: (not effect.falls, effect.margin_at_old_price))
    return Reach(tuple(effects), unread)


# --- the next version ------------------------------------------------------------------------------------------------


def _start(name: str) -> tuple[PriceBook, int]:
    """What the next version starts from: the latest one, or the book that comes with the program."""
    latest = PriceBookVersion.objects.filter(name=name).order_by("-version").first()
    if latest is not None:
        return price_book_of(latest), latest.version
    if name not in book_names():
        raise Http404
    return load_book(name), 0


def _forms(name: str, data: Any = None) -> PriceBookForms:
    book, base = _start(name)
    today = timezone.localdate()
    first = max(today, book.effective_from + timedelta(days=1)) if base else book.effective_from
    return PriceBookForms(book, base=base, first_day=first, data=data)


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("book.publish")
def new_price_book(request: HttpRequest, name: str) -> HttpResponse:
    """Edit the next version of a price book; posted, check it and show what it would do. Nothing is written."""
    if request.method != "POST":
        return _editor(request, name, _forms(name))
    forms = _forms(name, request.POST)
    if _base(request) != forms.base:
        return _overtaken(request, name, forms)
    if request.POST.get("do") == "change" or not forms.is_valid():
        return _editor(request, name, forms)
    return _check(request, name, forms)


def _base(request: HttpRequest) -> int | None:
    """The version that the form was made from."""
    text = request.POST.get("book-base", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else None


@require_POST
@access.action("book.publish")
def publish_price_book(request: HttpRequest, name: str) -> HttpResponse:
    """Publish the version that was checked; the same one again publishes nothing."""
    forms = _forms(name, request.POST)
    if _base(request) != forms.base:
        return _published_already(name, request) or _overtaken(request, name, forms)
    if not forms.is_valid():
        return _editor(request, name, forms)
    try:
        version = price_book_publish(
            book=forms.next_book(),
            by=access.signed_in(request),
            now=timezone.now(),
            origin=access.origin_of(request),
        )
    except ValidationError:
        return _overtaken(request, name, _forms(name, request.POST))
    messages.success(
        request,
        f"Version {version.version} is published and holds from {version.effective_from.isoformat()}. Estimates that "
        "were sent stay as they are. Next: price open houses again.",
    )
    return redirect("estimates-show-price-book", code=version.code)


def _published_already(name: str, request: HttpRequest) -> HttpResponse | None:
    """Where a second tap of the same form leads: to the version that the first one published."""
    base = _base(request)
    if base is None:
        return None
    versions = PriceBookVersion.objects.filter(name=name)
    there = versions.filter(version=base + 1, published_by=access.signed_in(request)).first()
    before = versions.filter(version=base).first()
    if there is None:
        return None
    started = load_book(name) if before is None else price_book_of(before)
    again = PriceBookForms(started, base=base, first_day=there.effective_from, data=request.POST)
    if not again.is_valid() or again.next_book() != price_book_of(there):
        return None
    messages.success(request, f"Version {there.version} is published already.")
    return redirect("estimates-show-price-book", code=there.code)


def _editor(request: HttpRequest, name: str, forms: PriceBookForms, *, overtaken: Any = None) -> HttpResponse:
    context = {
        "section": "books",
        "name": name,
        "parts": forms,
        "forms": list(forms.all_forms),
        "faulty": forms.faulty,
        "overtaken": overtaken,
        "stale": _stale(forms.book, timezone.localdate()) if forms.base else (),
    }
    return render(request, "estimates/price_book_new.html", context, status=409 if overtaken is not None else 200)


def _overtaken(request: HttpRequest, name: str, forms: PriceBookForms) -> HttpResponse:
    """The editor again for the second of two publishers: what stands in the new version beside what was typed."""
    data = request.POST.copy()
    data["book-base"] = str(forms.base)
    again = _forms(name, data)
    latest = PriceBookVersion.objects.filter(name=name).select_related("published_by").order_by("-version").first()
    theirs = (
        list(record_changes(forms.book, again.next_book(), hidden=NOT_PRICES, name_of=named))
        if again.is_valid()
        else []
    )
    return _editor(request, name, again, overtaken={"version": latest, "changes": theirs})


def _check(request: HttpRequest, name: str, forms: PriceBookForms) -> HttpResponse:
    """Exactly what would be published, and what it would do to everything that is offered."""
    book = forms.next_book()
    try:
        reach = reach_of(request.user, book)
    except PriceRefused as fault:
        forms.refused = (str(fault)[:1].upper() + str(fault)[1:],)
        return _editor(request, name, forms)
    context = {
        "section": "books",
        "name": name,
        "book": book,
        "base": forms.base,
        "changes": list(record_changes(forms.book, book, hidden=NOT_PRICES, name_of=named)),
        "reach": reach,
        "typed": [(key, value) for key, value in request.POST.items() if key not in ("csrfmiddlewaretoken", "do")],
    }
    return render(request, "estimates/price_book_check.html", context)
