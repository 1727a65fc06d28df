"""Money as whole cents: one rounding rule, for one line or a million.

The rule is half up in magnitude: a half cent goes away from zero (2.665 becomes 2.67, -2.665 becomes -2.67). Quantities
come in thousandths of their unit and rates in ten-thousandths of a dollar, so a line is a product of whole numbers and
no binary fraction is ever rounded. Each line is rounded once; totals are sums of rounded lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

Whole = NDArray[np.int64]
Weight = int | float | Decimal | Fraction

LARGEST = 2**63 - 1
"""Largest amount that both databases and an int64 column hold. [cents]"""

THOUSANDTHS = 1_000
"""Parts of a unit in which quantities are given."""

TEN_THOUSANDTHS = 10_000
"""Parts of a dollar in which rates are given."""

BLOCK = 4_096
"""Groups that are shared at one time, so that their table stays in the processor's own memory."""

WIDE = 12
"""Rows of a group from which sorting is faster than comparing each pair."""

LINE_PARTS_PER_CENT = THOUSANDTHS * TEN_THOUSANDTHS // 100


class MoneyError(ValueError):
    """An amount, rate or quantity that cannot be turned into cents; the text says what to enter."""


def _whole(name: str, value: Any) -> int | Whole:
    """Return `value` as int or int64 array; floats, truth values and numbers beyond int64 are refused by name."""
    if isinstance(value, np.ndarray):
        return _column(name, value)[0]
    if isinstance(value, bool | np.bool_) or not isinstance(value, int | np.integer):
        raise MoneyError(f"{name} is {value!r}. Enter a whole number.")
    if abs(int(value)) > LARGEST:
        raise MoneyError(f"{name} is {value}, beyond {LARGEST}. Enter a smaller number.")
    return int(value)


def _column(name: str, values: NDArray[Any]) -> tuple[Whole, int, int]:
    """An integer array as int64, uncopied where it is that already, with its least and most (0 where it is empty)."""
    if values.dtype.kind not in "iu":
        raise MoneyError(f"{name} holds {values.dtype} values. Enter whole numbers (an integer array).")
    least, most = (int(values.min()), int(values.max())) if values.size else (0, 0)
    if most > LARGEST or least < -LARGEST:
        raise MoneyError(f"{name} holds a number beyond {LARGEST}. Enter smaller numbers.")
    return values.astype(np.int64, copy=False), least, most


@overload
def round_half_up(numerator: int, denominator: int) -> int: ...
@overload
def round_half_up(numerator: Whole, denominator: int) -> Whole: ...
def round_half_up(numerator: int | Whole, denominator: int) -> int | Whole:
    """Return numerator / denominator as the nearest whole number, halves away from zero.

    Parameters
    ----------
    numerator : int or integer array of any shape.
    denominator : int > 0.

    Returns
    -------
    int, or an int64 array of the same shape.

    Raises
    ------
    MoneyError : a value is not whole, the denominator is not positive, or the number is beyond int64.

    Notes
    -----
    sign(n) * floor((|n| + floor(d / 2)) / d), in integers throughout. For an odd d no exact half exists, and the
    dropped half of d changes nothing.

    Examples
    --------
    >>> round_half_up(2665, 10), round_half_up(-2665, 10), round_half_up(2664, 10)
    (267, -267, 266)
    >>> round_half_up(np.array([5, 15, -5]), 10)
    array([ 1,  2, -1])
    """
    if type(numerator) is int and type(denominator) is int and -LARGEST <= numerator <= LARGEST >= denominator > 0:
        return _half_up(numerator, denominator)  # the common case
    below = _whole("denominator", denominator)
    if not isinstance(below, int) or below <= 0:
        raise MoneyError(f"denominator is {denominator!r}. Enter a whole number above 0.")
    if isinstance(numerator, np.ndarray):
        return _column_half_up(*_column("numerator", numerator), below)
    return _half_up(int(_whole("numerator", numerator)), below)


def _half_up(top: int, below: int) -> int:
    half = below // 2
    return (top + half) // below if top >= 0 else -((half - top) // below)


def _column_half_up(top: Whole, least: int, most: int, below: int, out: Whole | None = None) -> Whole:
    """Each of `top`, which lie from `least` to `most`, over `below`; `out` may be `top` itself."""
    half = below // 2
    if most > LARGEST - half:
        # n + d/2 passes the end of int64 although the quotient fits: divide first, then look at the remainder.
        quotient, remainder = np.divmod(np.abs(top), below)
        return np.asarray(np.sign(top) * (quotient + (remainder >= below - half)), dtype=np.int64)
    # Division goes down, so an exact half below 0 needs one part less to go away from 0; only an even d has halves.
    shift = half + (top >> 63) if least < 0 and below % 2 == 0 else half
    rounded: Whole = np.asarray(np.add(top, shift, out=out))
    return np.floor_divide(rounded, below, out=rounded)


@overload
def line_cents(quantity_thousandths: int, rate_ten_thousandths: int) -> int: ...
@overload
def line_cents(quantity_thousandths: Whole, rate_ten_thousandths: int | Whole) -> Whole: ...
@overload
def line_cents(quantity_thousandths: int, rate_ten_thousandths: Whole) -> Whole: ...
def line_cents(quantity_thousandths: int | Whole, rate_ten_thousandths: int | Whole) -> int | Whole:
    """Return what a line costs. [cents]

    Parameters
    ----------
    quantity_thousandths : int or integer array; quantity in thousandths of its unit.
    rate_ten_thousandths : int or integer array that broadcasts against it; rate in 1/10,000 dollar per unit.

    Returns
    -------
    int, or an int64 array of the broadcast shape. [cents]

    Raises
    ------
    MoneyError : a value is not whole, or quantity times rate is beyond int64 (92 thousand million dollars).

    Examples
    --------
    10.5 ft2 at $4.25 is 44.625, a tie on purpose:

    >>> line_cents(10_500, 42_500)
    4463
    >>> line_cents(np.array([10_500, -10_500, 0]), 42_500)
    array([ 4463, -4463,     0])
    """
    if type(quantity_thousandths) is int and type(rate_ten_thousandths) is int:
        product = quantity_thousandths * rate_ten_thousandths
        if product and -LARGEST <= product <= LARGEST:  # the common case; then both are in range too
            return _half_up(product, LINE_PARTS_PER_CENT)
    quantity, *of_quantity = _measured("quantity_thousandths", quantity_thousandths)
    rate, *of_rate = _measured("rate_ten_thousandths", rate_ten_thousandths)
    corners = [a * b for a in of_quantity for b in of_rate]
    least, most = min(corners), max(corners)
    if most > LARGEST or least < -LARGEST:
        # The largest quantity may not meet the largest rate: look at each pair.
        sizes = np.abs(np.asarray(rate, dtype=np.int64))
        room = np.where(sizes > 0, LARGEST // np.maximum(sizes, 1), LARGEST)
        if bool(np.any(np.abs(np.asarray(quantity, dtype=np.int64)) > room)):
            raise _too_large()
        least, most = -LARGEST, LARGEST
    if isinstance(quantity, int) and isinstance(rate, int):
        return _half_up(quantity * rate, LINE_PARTS_PER_CENT)
    products: Whole = np.asarray(np.multiply(quantity, rate, dtype=np.int64))
    return _column_half_up(products, least, most, LINE_PARTS_PER_CENT, out=products)


def _measured(name: str, value: int | Whole) -> tuple[int | Whole, int, int]:
    """A whole number or a column of them, with its least and most."""
    if isinstance(value, np.ndarray):
        return _column(name, value)
    whole = int(_whole(name, value))
    return whole, whole, whole


def _too_large() -> MoneyError:
    return MoneyError(
        f"quantity_thousandths times rate_ten_thousandths is beyond {LARGEST}. Enter a smaller quantity or rate."
    )


def share_cents(total_cents: int, weights: Sequence[Weight]) -> list[int]:
    """Share an amount by weight so that the shares sum to it exactly (largest remainder).

    Parameters
    ----------
    total_cents : the amount; may be negative. [cents]
    weights : one weight per share, each finite and >= 0, not all 0 unless the amount is 0. Floats are taken at their
        exact binary value.

    Returns
    -------
    list of int, one per weight. [cents] Each share differs from its exact value by less than one cent. Equal remainders
    are served from the first on, so the result depends on nothing but the input.

    Raises
    ------
    MoneyError : the amount is not whole, a weight is negative or not a number, or there is nothing to share by.

    Examples
    --------
    >>> share_cents(100, [1, 1, 1])
    [34, 33, 33]
    >>> share_cents(-100, [1, 2])
    [-33, -67]
    """
    total = _whole("total_cents", total_cents)
    if not isinstance(total, int):
        raise MoneyError("total_cents is an array. Enter one whole number.")
    exact = [_weight(index, weight) for index, weight in enumerate(weights)]
    whole = sum(exact, Fraction(0))
    if whole == 0:
        if total == 0:
            return [0] * len(exact)
        raise MoneyError("weights sum to 0. Enter at least one weight above 0.")
    parts = [abs(total) * weight / whole for weight in exact]
    shares = [int(part) for part in parts]
    left = abs(total) - sum(shares)
    order = sorted(range(len(parts)), key=lambda index: (shares[index] - parts[index], index))
    for index in order[:left]:
        shares[index] += 1
    return [-share for share in shares] if total < 0 else shares


def _weight(index: int, weight: Weight) -> Fraction:
    try:
        exact = Fraction(weight)
    except (TypeError, ValueError, OverflowError):  # text, NaN, infinity
        raise MoneyError(f"weights[{index}] is {weight!r}. Enter a number of 0 or more.") from None
    if exact < 0:
        raise MoneyError(f"weights[{index}] is {weight!r}. Enter a number of 0 or more.")
    return exact


def share_columns(totals: Whole, weights: NDArray[Any], group: Whole) -> Whole:
    """Share the amount of each group by weight: `share_cents` for many groups at once, to the same cent.

    Parameters
    ----------
    totals : integer array of shape (groups,); amounts, may be negative. [cents]
    weights : array of shape (rows,), each finite and >= 0; not all 0 in a group unless its amount is 0. Numbers are
        taken as float64 at their exact binary value.
    group : integer array of shape (rows,); whose a row is, from 0 to groups - 1, never going down.

    Returns
    -------
    int64 array of shape (rows,). [cents] The shares of a group sum to its amount; equal remainders are served from the
    first row on.

    Raises
    ------
    MoneyError : an amount is not whole, a weight is negative or not a number, a group has nothing to share by, or rows
        are not in the order of their groups.

    Notes
    -----
    Groups of one size are shared together in floats. Where floats cannot tell which remainder is larger, or an amount
    passes what they hold, the group is shared again in exact fractions.

    Examples
    --------
    >>> share_columns(np.array([100, -7]), np.array([1.0, 1.0, 1.0, 2.0, 1.5]), np.array([0, 0, 0, 1, 1]))
    array([34, 33, 33, -4, -3])
    """
    amounts, *_ = _column("totals", totals)
    parts, counts = _weights_by_row(weights), _rows_of_groups(group, len(amounts))
    if len(parts) != len(group):
        raise MoneyError(f"weights has {len(parts)} rows and group {len(group)}. Enter one weight for each row.")
    sizes, firsts = np.abs(amounts), np.cumsum(counts) - counts
    _refuse_nothing((counts == 0) & (sizes > 0))
    shares = np.zeros(len(parts), dtype=np.int64)
    for width in np.flatnonzero(np.bincount(counts)[1:]) + 1:
        alike = np.flatnonzero(counts == width)
        for start in range(0, len(alike), BLOCK):
            of = alike[start : start + BLOCK]
            together = firsts[of[-1]] - firsts[of[0]] == (len(of) - 1) * width  # nothing stands between them
            rows = np.s_[firsts[of[0]] : firsts[of[-1]] + width] if together else firsts[of, None] + np.arange(width)
            table = np.ascontiguousarray(parts[rows].reshape(len(of), width).T)
            _refuse_nothing((table.sum(axis=0) == 0) & (sizes[of] > 0), of)
            shares[rows] = _shared(sizes[of], table).T.reshape(shares[rows].shape)
    return shares if int(amounts.min(initial=0)) >= 0 else shares * np.repeat(np.sign(amounts), counts)


def _weights_by_row(weights: NDArray[Any]) -> NDArray[np.float64]:
    parts = np.asarray(weights, dtype=np.float64)
    if parts.size and not (parts.min() >= 0 and parts.max() < np.inf):
        row = int(np.argmin((parts >= 0) & (parts < np.inf)))
        raise MoneyError(f"weights[{row}] is {parts[row]:g}. Enter a number of 0 or more.")
    return parts


def _rows_of_groups(group: Whole, groups: int) -> Whole:
    owners, least, most = _column("group", group)
    if least < 0 or most >= max(groups, 1) or bool(np.any(owners[1:] < owners[:-1])):
        raise MoneyError(f"group does not run from 0 to {groups - 1} without going down. Enter rows in that order.")
    return np.bincount(owners, minlength=groups)


def _refuse_nothing(bad: NDArray[np.bool_], of: Whole | None = None) -> None:
    if bad.any():
        first = int(np.argmax(bad))
        group = first if of is None else int(of[first])
        raise MoneyError(f"weights of group {group} sum to 0. Enter at least one weight above 0.")


def _shared(sizes: Whole, weights: NDArray[np.float64]) -> Whole:
    """Shares of amounts >= 0, shape (groups,), by weights of shape (width, groups)."""
    width = len(weights)
    sums = weights.sum(axis=0)
    with np.errstate(over="ignore"):  # weights next to nothing: not clear
        ratio = sizes / np.where(sums > 0, sums, 1.0)
    # Rounding blurs the difference of two shares by no more than this.
    blur = (width + 4) * 2.0**-52 * sizes
    clear = (ratio > 1e-280) & (ratio < 1e280) & (blur < 0.25)
    exact = weights * np.where(clear, ratio, 0.0)
    floor = np.floor(exact)
    rest = exact - floor
    left = sizes - floor.sum(axis=0)
    clear &= left < width
    served = _rank(rest) < left
    worst, best = np.where(served, rest, 2.0).min(axis=0), np.where(served, -1.0, rest).max(axis=0)
    # What is served may only be told from what is not by more than the blur, or stand before it and weigh the same.
    close = np.flatnonzero(clear & (worst - best <= blur))
    near, heavy = np.abs(rest[:, close] - worst[close]) <= blur[close], weights[:, close]
    clear[close] = np.where(near, heavy, -1.0).max(axis=0) == np.where(near, heavy, np.inf).min(axis=0)
    shares: Whole = (floor + served).astype(np.int64)
    known: dict[tuple[float, ...], list[int]] = {}
    for column in np.flatnonzero(~clear & (sizes > 0)):
        key = int(sizes[column]), *weights[:, column].tolist()
        if key not in known:
            known[key] = share_cents(key[0], key[1:])
        shares[:, column] = known[key]
    return shares


def _rank(rest: NDArray[np.float64]) -> NDArray[np.signedinteger[Any]]:
    """Place of each remainder in its column from 0, largest first, equal ones from the first row on."""
    width = len(rest)
    if width > WIDE:
        return np.argsort(np.argsort(-rest, axis=0, kind="stable"), axis=0, kind="stable")
    rank = np.repeat(np.arange(width - 1, -1, -1), rest.shape[1]).reshape(rest.shape).astype(np.int8)
    for i in range(width):
        for j in range(i + 1, width):
            before = (rest[i] >= rest[j]).view(np.int8)
            rank[i] -= before
            rank[j] += before
    return rank


def to_cents(amount: Decimal) -> int:
    """Return a dollar amount as cents; nothing is rounded here.

    Raises
    ------
    MoneyError : the amount is no Decimal, is not finite, has more than two decimals, or is beyond int64 cents.

    Examples
    --------
    >>> to_cents(Decimal("44.63")), to_cents(Decimal("-5"))
    (4463, -500)
    """
    if not isinstance(amount, Decimal):
        raise MoneyError(f'The amount is {amount!r}. Enter a Decimal made from text, such as Decimal("44.63").')
    if not amount.is_finite():
        raise MoneyError(f"The amount is {amount}. Enter dollars and cents, such as 44.63.")
    exact = Fraction(amount) * 100
    if exact.denominator != 1:
        raise MoneyError(f"The amount {amount} has parts of a cent. Enter at most two decimals.")
    if abs(exact.numerator) > LARGEST:
        raise MoneyError(f"The amount {amount} is too large. Enter less than {LARGEST // 100:,} dollars.")
    return exact.numerator


def from_cents(cents: int) -> Decimal:
    """Return cents as dollars with exactly two decimals.

    Examples
    --------
    >>> from_cents(4463)
    Decimal('44.63')
    """
    whole = _whole("cents", cents)
    if not isinstance(whole, int):
        raise MoneyError("cents is an array. Enter one whole number.")
    digits = tuple(int(digit) for digit in str(abs(whole)))
    return Decimal((int(whole < 0), digits, -2))


def format_money(cents: int) -> str:
    """Return an amount as people read it; the same on page, paper, mail and export.

    Examples
    --------
    >>> format_money(123450), format_money(-5), format_money(0)
    ('$1,234.50', '-$0.05', '$0.00')
    """
    whole = _whole("cents", cents)
    if not isinstance(whole, int):
        raise MoneyError("cents is an array. Enter one whole number.")
    dollars, rest = divmod(abs(whole), 100)
    return f"{'-' if whole < 0 else ''}${dollars:,}.{rest:02d}"
