"""What changed between two revisions of a house, in words and in dollars."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from estimates.house import HouseRecord
from estimates.money import format_money
from estimates.pricebook import PriceBook
from estimates.records import Spec, read_record, specs

Form = Mapping[str, Any]

OF_PRICE = frozenset({"discount", "discount_reason"})
OF_COST = frozenset({"target_margin"})
"""Fields of the house that tell a price or a margin; who may not read those is not told of a change in them."""

MINUS = "\u2212"


@dataclass(frozen=True, slots=True)
class Change:
    """One field that changed. `where` is the part of the house ("" for the house itself), `what` the field.

    `before` or `after` is "" where the whole part was added or taken away.
    """

    where: str
    what: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of an option before and after; `change` is the difference in words, "" where there is none."""

    what: str
    before: str
    after: str
    change: str


@dataclass(frozen=True, slots=True)
class LineChange:
    """A priced line that was added, left out or changed, as `kind` says; costs are None for who may not read them."""

    kind: str
    name: str
    quantity: tuple[str, str]
    price_cents: tuple[int, int]
    cost_cents: tuple[int, int] | None

    @property
    def price_change(self) -> str:
        """How much the price of the line changed."""
        return money_change(*self.price_cents)

    @property
    def cost_change(self) -> str:
        """How much the direct cost of the line changed."""
        return "" if self.cost_cents is None else money_change(*self.cost_cents)


@dataclass(frozen=True, slots=True)
class OptionChange:
    """An option in both revisions, or in one of them: `kind` is "both", "added" or "left out"."""

    kind: str
    name: str
    figures: tuple[Figure, ...]
    lines: tuple[LineChange, ...]

    @property
    def same(self) -> bool:
        """Whether nothing about it changed."""
        return self.kind == "both" and not self.lines and not any(figure.change for figure in self.figures)


@dataclass(frozen=True, slots=True)
class Comparison:
    """What changed from one revision to another."""

    house: tuple[Change, ...]
    book: tuple[Change, ...]
    rules: tuple[str, ...]
    options: tuple[OptionChange, ...]

    @property
    def same(self) -> bool:
        """Whether nothing changed that this reader may know of."""
        return not (self.house or self.book or self.rules) and all(option.same for option in self.options)


def compare(before: Form, after: Form, *, prices: bool, costs: bool) -> Comparison:
    """What changed between two frozen forms.

    Parameters
    ----------
    before, after : the snapshots as `estimates.snapshot` freezes them, parsed.
    prices : whether the reader may know prices; else no amounts are in what is returned.
    costs : whether the reader may know costs and margins; needs `prices`.

    Raises
    ------
    BadRecord : one was frozen by records that can no longer be read.
    """
    hidden = (frozenset() if prices else OF_PRICE) | (frozenset() if costs else OF_COST)
    houses = [read_record(HouseRecord, form["house"]) for form in (before, after)]
    return Comparison(
        house=tuple(record_changes(houses[0], houses[1], hidden=hidden)),
        book=tuple(_book_changes(before, after, costs=costs)) if prices else (),
        rules=tuple(_rule_changes(before["rules"], after["rules"])),
        options=tuple(_options(before, after, prices=prices, costs=costs)),
    )


# --- fields of records -------------------------------------------------------------------------------------------


def _own_name(record: Any) -> str:
    """What people call a record of a list."""
    return str(getattr(record, "name", "") or getattr(record, "id", "") or "")


def record_changes(
    before: Any,
    after: Any,
    *,
    where: str = "",
    hidden: Collection[str] = (),
    name_of: Callable[[Any], str] = _own_name,
) -> Iterator[Change]:
    """Every field in which two records of a kind differ, down to the last list.

    Parameters
    ----------
    before, after : records of the same kind.
    where : what they are part of.
    hidden : names of fields that are passed over.
    name_of : what people call a record of a list; "" where it has no name: then it is counted.

    Notes
    -----
    Records of a list that carry an id are the same ones where the id is, whatever their place; others by place.

    Examples
    --------
    >>> from estimates.house import AtticRecord
    >>> from dataclasses import replace
    >>> one = AtticRecord(id="a", name="Attic", area_ft2=700.0)
    >>> [str(c.after) for c in record_changes(one, replace(one, area_ft2=720.5, vented=False))]
    ['720.5 ft2', 'no']
    """
    for name, (spec, _) in specs(type(before)).items():
        old, new = getattr(before, name), getattr(after, name)
        if name in hidden or old == new:
            continue
        what = _label(spec)
        if spec.kind == "many":
            yield from _list_changes(old, new, where, spec, hidden, name_of)
        elif spec.kind == "one" and old is not None and new is not None:
            yield from record_changes(old, new, where=_within(where, what), hidden=hidden, name_of=name_of)
        elif spec.kind == "one":
            yield Change(where, what, "" if old is None else "was there", "" if new is None else "added")
        else:
            tell = _told_share if name in OF_COST else told
            yield Change(where, what, tell(spec, old), tell(spec, new))


def _list_changes(
    before: Iterable[Any],
    after: Iterable[Any],
    where: str,
    spec: Spec,
    hidden: Collection[str],
    name_of: Callable[[Any], str],
) -> Iterator[Change]:
    def keyed(records: Iterable[Any]) -> dict[Any, tuple[str, Any]]:
        found: dict[Any, tuple[str, Any]] = {}
        for place, record in enumerate(records, 1):
            key = next((getattr(record, field) for field in ("id", "kind") if hasattr(record, field)), place)
            # Some lists may hold a kind twice; then their place tells them apart.
            found[key if key not in found else (key, place)] = (name_of(record) or f"{_label(spec)} {place}", record)
        return found

    old, new = keyed(before), keyed(after)
    for key, (name, record) in old.items():
        inner = _within(where, name)
        if key in new:
            yield from record_changes(record, new[key][1], where=inner, hidden=hidden, name_of=name_of)
        else:
            yield Change(inner, _label(spec), "was there", "")
    for key, (name, _) in new.items():
        if key not in old:
            yield Change(_within(where, name), _label(spec), "", "added")


def _within(where: str, name: str) -> str:
    return f"{where}, {name}" if where else name


def _label(spec: Spec) -> str:
    return spec.doc.partition(";")[0].partition(":")[0].strip()


def told(spec: Spec, value: Any) -> str:
    """A value of a field in words, with the unit it is written in.

    Examples
    --------
    >>> told(Spec("number", "Length", unit="ft"), 12.5), told(Spec("flag", "Vented"), None)
    ('12.5 ft', 'not known')
    """
    if value is None:
        return "not known" if spec.kind == "flag" else "left out"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float | int):
        return f"{_number(float(value))} {spec.unit}".strip()
    if isinstance(value, tuple):
        return ", ".join(map(str, value)) or "none"
    words = str(value).replace("_", " ") if spec.kind == "choice" else str(value)
    return words or "left out"


def _told_share(spec: Spec, value: Any) -> str:
    return told(spec, value) if value is None else _percent(value)


def _number(value: float) -> str:
    text = f"{Decimal(repr(round(value, 9))):,f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


# --- price book and rules ----------------------------------------------------------------------------------------


def _book_changes(before: Form, after: Form, *, costs: bool) -> Iterator[Change]:
    old, new = before["price_book"], after["price_book"]
    versions = [f"{book['name']}, version {book['version']}" for book in (old, new)]
    if versions[0] != versions[1]:
        yield Change("", "Price book", *versions)
    if costs and old != new:
        passed = ("version", "name", "effective_from")
        yield from record_changes(
            read_record(PriceBook, old), read_record(PriceBook, new), where="", hidden=passed, name_of=book_name
        )


def book_name(record: Any) -> str:
    """What people call a product, a rate or the work on a leak site."""
    return str(getattr(record, "name", "") or getattr(record, "id", "") or getattr(record, "kind", "")).replace(
        "_", " "
    )


def _rule_changes(before: Iterable[Form], after: Iterable[Form]) -> Iterator[str]:
    def keyed(rows: Iterable[Form]) -> dict[tuple[str, str, str], Form]:
        return {(row["jurisdiction"], row["topic"], row["valid_from"]): row for row in rows}

    old, new = keyed(before), keyed(after)
    for (place, topic, since), row in new.items():
        if (place, topic, since) not in old:
            yield f"New: {place}, {topic}, from {since}: {row['text']}"
        elif old[place, topic, since] != row:
            yield f"Changed: {place}, {topic}, from {since}: {row['text']}"
    for (place, topic, since), row in old.items():
        if (place, topic, since) not in new:
            yield f"No longer counted: {place}, {topic}, from {since}: {row['text']}"


# --- options -----------------------------------------------------------------------------------------------------


def _options(before: Form, after: Form, *, prices: bool, costs: bool) -> Iterator[OptionChange]:
    old, new = (_joined(form) for form in (before, after))
    for option_id, option in new.items():
        kind = "both" if option_id in old else "added"
        earlier = old.get(option_id)
        lines = _lines(earlier["lines"], option["lines"], costs=costs) if prices and earlier is not None else ()
        yield OptionChange(kind, option["name"], tuple(_figures(earlier, option, prices, costs)), tuple(lines))
    for option_id, option in old.items():
        if option_id not in new:
            yield OptionChange("left out", option["name"], tuple(_figures(option, None, prices, costs)), ())


def _joined(form: Form) -> dict[str, Form]:
    """Options by id, each with what it does beside what it costs."""
    pairs = zip(form["estimate"]["options"], form["performance"]["options"], strict=True)
    return {priced["id"]: priced | {"outcome": outcome} for priced, outcome in pairs}


_MONEY = (
    ("Price", "price_cents"),
    ("Price and sales tax", "total_cents"),
    ("After every incentive, estimated", "net_cents"),
    ("Discount", "discount_cents"),
)


def _figures(before: Form | None, after: Form | None, prices: bool, costs: bool) -> Iterator[Figure]:
    def both(take: Callable[[Form], Any], tell: Callable[[Any], str], differ: Callable[[Any, Any], str]) -> list[str]:
        values = [None if form is None else take(form) for form in (before, after)]
        shown = ["" if value is None else tell(value) for value in values]
        change = "" if None in values else differ(values[0], values[1])
        return [*shown, change]

    if prices:
        for what, name in _MONEY:
            yield Figure(what, *both(lambda form, n=name: form[n], format_money, money_change))  # type: ignore[misc]
    if costs:
        yield Figure("Direct cost", *both(lambda form: form["direct_cost_cents"], format_money, money_change))
        yield Figure("Margin", *both(lambda form: form["margin"], _percent, points_change))
        yield Figure("Markup on direct cost", *both(lambda form: form["markup"], _percent, points_change))
    yield Figure("Crew-days", *both(lambda form: form["crew_days"], _number, _number_change))
    yield Figure("Mixes", *both(lambda form: float(form["mixes_bought"]), _number, _number_change))
    yield Figure("Bags", *both(lambda form: float(form["bags_bought"]), _number, _number_change))
    saved = both(lambda form: form["outcome"]["saved_dollars"]["p50"], _whole_dollars, _whole_dollars_change)
    yield Figure("Saved on heating in a year, likely", *saved)


def _lines(before: Iterable[Form], after: Iterable[Form], *, costs: bool) -> Iterator[LineChange]:
    def keyed(lines: Iterable[Form]) -> dict[tuple[str, str], Form]:
        return {(line["code"], line["subject"]): line for line in lines}

    def change(kind: str, old: Form | None, new: Form | None) -> LineChange:
        either = new or old
        assert either is not None
        price, cost = (
            tuple(0 if line is None else int(line[name]) for line in (old, new))
            for name in ("price_cents", "direct_cost_cents")
        )
        quantity = tuple("" if line is None else _quantity(line) for line in (old, new))
        return LineChange(
            kind,
            either["name"],
            (quantity[0], quantity[1]),
            (price[0], price[1]),
            (cost[0], cost[1]) if costs else None,
        )

    olds, news = keyed(before), keyed(after)
    names = ("quantity", "price_cents", *(("direct_cost_cents",) if costs else ()))
    for key, new in news.items():
        if key not in olds:
            yield change("added", None, new)
        elif any(olds[key][name] != new[name] for name in names):
            yield change("changed", olds[key], new)
    for key, old in olds.items():
        if key not in news:
            yield change("left out", old, None)


def _quantity(line: Form) -> str:
    units = {"crew-day": "crew-days", "mix": "mixes", "each": "", "ft2": "ft²"}
    return f"{_number(round(line['quantity'], 2))} {units.get(line['unit'], line['unit'])}".strip()


# --- differences in words ----------------------------------------------------------------------------------------


def money_change(before: int, after: int) -> str:
    """How much an amount of cents changed.

    Examples
    --------
    >>> money_change(100, 350), money_change(350, 100), money_change(5, 5)
    ('$2.50 more', '$2.50 less', '')
    """
    if before == after:
        return ""
    return f"{format_money(abs(after - before))} {'more' if after > before else 'less'}"


def points_change(before: float, after: float) -> str:
    """How much a share changed, in points; changes that do not show are none.

    Examples
    --------
    >>> points_change(0.42, 0.401), points_change(0.42, 0.42001)
    ('1.9 points less', '')
    """
    points = round(abs(after - before) * 100, 1)
    if not points:
        return ""
    return f"{points:g} {'point' if points == 1 else 'points'} {'more' if after > before else 'less'}"


def _percent(value: float) -> str:
    return f"{value * 100:.1f} %".replace("-", MINUS)


def _number_change(before: float, after: float) -> str:
    return "" if before == after else f"{_number(abs(after - before))} {'more' if after > before else 'less'}"


def _whole_dollars(value: float) -> str:
    return f"${value:,.0f}"


def _whole_dollars_change(before: float, after: float) -> str:
    old, new = round(before), round(after)
    return "" if old == new else f"${abs(new - old):,} {'more' if new > old else 'less'}"
