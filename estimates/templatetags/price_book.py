"""Figures of a price book as they stand in its tables."""

from __future__ import annotations

from decimal import Decimal

from django import template

from estimates.money import round_half_up
from estimates.templatetags.figures import MINUS, share

register = template.Library()


def shown_number(value: float | None) -> str:
    """A number as it stands in a field: as many digits as it has, no exponent, nothing where there is none.

    Examples
    --------
    >>> shown_number(0.407), shown_number(1200.0), shown_number(None)
    ('0.407', '1200', '')
    """
    if value is None:
        return ""
    text = f"{Decimal(repr(float(value))):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def shown_percent(value: float | None) -> str:
    """A share as a percentage without its sign.

    Examples
    --------
    >>> shown_percent(0.07), shown_percent(0.4205), shown_percent(None)
    ('7', '42.05', '')
    """
    return "" if value is None else shown_number(float(Decimal(repr(float(value))).scaleb(2)))


@register.filter
def shown_unit(unit: str) -> str:
    """A unit of the price book as people see it.

    Examples
    --------
    >>> shown_unit("ft2/day"), shown_unit("degF"), shown_unit("share"), shown_unit("day")
    ('ft²/day', '°F', '%', 'days')
    """
    if unit in ("share", "day"):
        return {"share": "%", "day": "days"}[unit]
    return unit.replace("ft2", "ft²").replace("ft3", "ft³").replace("degF", "°F")


@register.filter
def rate_figure(value: float | None, unit: str) -> str:
    """A figure of a rate without its unit; shares as percentages, nothing where there is no range.

    Examples
    --------
    >>> rate_figure(0.04, "share"), rate_figure(58.0, "$/h"), rate_figure(None, "h")
    ('4', '58', '')
    """
    return shown_percent(value) if unit == "share" else shown_number(value)


@register.filter
def signed_dollars(cents: int) -> str:
    """A change in whole dollars with its sign, because some cents come from rounding alone.

    Examples
    --------
    >>> signed_dollars(12345), signed_dollars(-9960), signed_dollars(12)
    ('+$123', '−$100', '$0')
    """
    dollars = round_half_up(abs(cents), 100)
    return "$0" if not dollars else f"{'+' if cents > 0 else MINUS}${dollars:,}"


@register.filter
def signed_share(value: float) -> str:
    r"""A change of a whole in words.

    Examples
    --------
    >>> signed_share(0.0213), signed_share(-0.004), signed_share(0.00001)
    ('2.1\xa0% more', '0.4\xa0% less', 'the same')
    """
    shown = share(abs(value))
    if not round(abs(value), 3):
        return "the same"
    return f"{shown} {'more' if value > 0 else 'less'}"
