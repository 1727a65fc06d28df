"""Numbers, money and dates as people read them: one unit and one precision per kind of quantity, in one place."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal

from django import template
from django.utils import timezone

from estimates.money import format_money, round_half_up, to_cents

register = template.Library()

GAP = "\u00a0"
DASH = "–"
MINUS = "\u2212"
UNKNOWN = "not known"

KINDS: dict[str, tuple[int, str]] = {
    "ft2": (0, "ft²"),
    "ft3": (1, "ft³"),
    "ft": (0, "ft"),
    "in": (3, "in"),
    "lb": (0, "lb"),
    "h": (1, "h"),
    "crew-day": (1, "crew-days"),
    "mix": (2, "mixes"),
    "bags": (1, "bags"),
    "R": (0, ""),
    "fact R": (1, ""),
    "U": (3, "Btu/h ft² °F"),
    "UA": (0, "Btu/h °F"),
    "cfm50": (0, "CFM50"),
    "job": (1, "job"),
    "each": (1, ""),
}
"""Kind of quantity -> digits after the point, unit as printed."""

TRIMMED = {"in", "job", "each"}
"""Kinds whose last zeros say nothing: studs stand 16 in apart and are 3.625 in deep; three pieces are 3."""


def digits(value: float, places: int) -> str:
    """A number with thousands marked and halves rounded away from zero.

    Examples
    --------
    >>> digits(1234.5, 0), digits(2.675, 2), digits(-0.2, 0)
    ('1,235', '2.68', '0')
    """
    # The shortest decimal form of the number is what a person would have typed: 2.675 is rounded as 2.675.
    exact = Decimal(repr(value)).quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP)
    return f"{abs(exact):,}" if exact >= 0 or not exact else f"{MINUS}{-exact:,}"


@register.filter
def plain(value: float, places: int) -> str:
    """A number whose unit stands in the head of its column.

    Examples
    --------
    >>> plain(1234.56, 1), plain(-3.04, 1)
    ('1,234.6', '−3.0')
    """
    return digits(value, places)


@register.filter
def amount(value: float | None, kind: str) -> str:
    r"""A quantity with its unit.

    Raises
    ------
    KeyError : no such kind of quantity.

    Examples
    --------
    >>> amount(1234.4, "ft2"), amount(None, "cfm50"), amount(0.0891, "U"), amount(16.0, "in")
    ('1,234\xa0ft²', 'not known', '0.089\xa0Btu/h ft² °F', '16\xa0in')
    """
    places, unit = KINDS[kind]
    if value is None:
        return UNKNOWN
    shown = digits(value, places)
    if kind in TRIMMED and "." in shown:
        shown = shown.rstrip("0").rstrip(".")
    return shown + (f"{GAP}{unit}" if unit else "")


@register.filter
def between(spread: Mapping[str, float] | None, kind: str) -> str:
    r"""A range from p10 to p90 with its unit; one figure where both ends print alike.

    Examples
    --------
    >>> between({"p10": 1204.0, "p50": 1300.0, "p90": 1490.0}, "cfm50"), between(None, "cfm50")
    ('1,204–1,490\xa0CFM50', 'not known')
    """
    if spread is None:
        return UNKNOWN
    places, unit = KINDS[kind]
    low, high = digits(spread["p10"], places), digits(spread["p90"], places)
    return (low if low == high else f"{low}{DASH}{high}") + (f"{GAP}{unit}" if unit else "")


@register.filter
def dollars_between(spread: Mapping[str, float]) -> str:
    """A range of money in whole dollars, because a range deserves no cents.

    Examples
    --------
    >>> dollars_between({"p10": 212.4, "p50": 300.0, "p90": 1480.5})
    '$212–$1,481'
    """
    low, high = (_dollars(spread[end]) for end in ("p10", "p90"))
    return low if low == high else f"{low}{DASH}{high}"


@register.filter
def cents_between(spread: Mapping[str, float]) -> str:
    """A range of cents in whole dollars.

    Examples
    --------
    >>> cents_between({"p10": 21240.0, "p50": 30000.0, "p90": 148050.0})
    '$212–$1,481'
    """
    return dollars_between({end: value / 100 for end, value in spread.items()})


@register.filter
def share_between(spread: Mapping[str, float]) -> str:
    r"""A range of a fraction as percentages.

    Examples
    --------
    >>> share_between({"p10": 0.3312, "p50": 0.39, "p90": 0.4499})
    '33–45\xa0%'
    """
    low, high = (digits(spread[end] * 100, 0) for end in ("p10", "p90"))
    return f"{low if low == high else f'{low}{DASH}{high}'}{GAP}%"


def _dollars(value: float) -> str:
    shown = digits(value, 0)
    return f"{MINUS}${shown[1:]}" if shown.startswith(MINUS) else f"${shown}"


@register.filter
def money(value: int | Decimal) -> str:
    """Cents (int) or dollars (Decimal) to the cent.

    Examples
    --------
    >>> money(123450), money(Decimal("0.05"))
    ('$1,234.50', '$0.05')
    """
    return format_money(to_cents(value) if isinstance(value, Decimal) else value)


@register.filter
def whole_money(value: Decimal | None) -> str:
    """Dollars without cents, for lists; nothing where there is no amount yet.

    Examples
    --------
    >>> whole_money(Decimal("1234.50")), whole_money(Decimal("-0.50")), whole_money(None)
    ('$1,235', '−$1', '')
    """
    if value is None:
        return ""
    whole = round_half_up(to_cents(value), 100)
    return f"{MINUS if whole < 0 else ''}${abs(whole):,}"


@register.filter
def share(value: float, places: int = 1) -> str:
    r"""A fraction as a percentage.

    Examples
    --------
    >>> share(0.4205), share(0.2, 0)
    ('42.1\xa0%', '20\xa0%')
    """
    return f"{digits(float(Decimal(repr(value)).scaleb(2)), places)}{GAP}%"


@register.filter
def day(value: date | datetime) -> str:
    """A date on a page, in the firm's time zone.

    Examples
    --------
    >>> day(date(2027, 1, 4))
    'Mon 4 Jan 2027'
    """
    local = timezone.localtime(value) if isinstance(value, datetime) else value
    return f"{local:%a} {local.day} {local:%b %Y}"


@register.filter
def moment(value: datetime) -> str:
    """A date with its time, in the firm's time zone."""
    return f"{day(value)}, {timezone.localtime(value):%H:%M}"


@register.filter
def spoken(value: str | None) -> str:
    """A word of a record as people say it.

    Examples
    --------
    >>> spoken("fire_stopped"), spoken(None)
    ('fire stopped', 'not known')
    """
    return UNKNOWN if value is None else str(value).replace("_", " ")


@register.filter
def listed(items: list[str]) -> str:
    """Names in a row: with commas, and "and" before the last one.

    Examples
    --------
    >>> listed(["front", "back", "left"]), listed(["attic"]), listed([])
    ('front, back and left', 'attic', '')
    """
    return " and ".join([", ".join(items[:-1]), items[-1]] if len(items) > 1 else items)
