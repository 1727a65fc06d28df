"""Checks at the door of every physics function: a bad argument is named, with what to enter; never a silent NaN."""

from __future__ import annotations

import math
import sys
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = float | NDArray[np.float64]
"""One number or an array of them: what the functions of this package take and give."""

MOST = sys.float_info.max
"""The largest finite number; what is not below it and above its negative is infinite or NaN."""

LEAST_ABOVE_0 = math.nextafter(0.0, 1.0)
"""The smallest number above 0, so that a limit that is left out is one that is kept."""


class OutOfRange(ValueError):
    """An argument outside the limits of a formula.

    Parameters
    ----------
    name : the argument, with its unit as the last part of its name (`depth_in`).
    value : what was given.
    ask : what to enter instead, as the end of the sentence "enter ...".
    where : index of the first bad element of an array; None for a single number.

    Examples
    --------
    >>> raise OutOfRange("depth_in", -1.0, "a number above 0")
    Traceback (most recent call last):
    ...
    estimates.physics.validity.OutOfRange: depth_in is -1; enter a number above 0
    """

    def __init__(self, name: str, value: object, ask: str, where: tuple[int, ...] | None = None) -> None:
        self.name = name
        self.value = value
        self.ask = ask
        self.where = where
        at = "" if where is None else "[" + ", ".join(map(str, where)) + "]"
        shown = f"{value:g}" if isinstance(value, float) else repr(value)
        super().__init__(f"{name}{at} is {shown}; enter {ask}")


def finite(name: str, value: ArrayLike) -> Values:
    """The value as float or float64 array, when every element is a finite number.

    Parameters
    ----------
    name : the argument, for the message.
    value : a number or an array of numbers, any shape.

    Returns
    -------
    float for a single number, else a float64 array of the same shape.

    Raises
    ------
    OutOfRange : not numbers, NaN or infinite.

    Notes
    -----
    A check, no equation.

    References
    ----------
    .. [1] Rule of this project: never a silent NaN.

    Examples
    --------
    >>> finite("delta_f", 3)
    3.0
    >>> finite("delta_f", [1, 2])
    array([1., 2.])
    >>> finite("delta_f", float("nan"))
    Traceback (most recent call last):
    ...
    estimates.physics.validity.OutOfRange: delta_f is nan; enter a finite number
    """
    given: Any = value
    if type(given) is float and -MOST <= given <= MOST:  # the common case, at a fifth of the time
        return given
    return _checked(name, value, -MOST, MOST, "a finite number")


def positive(name: str, value: ArrayLike) -> Values:
    """The value, when every element is a finite number above 0.

    Parameters
    ----------
    name : the argument, for the message.
    value : a number or an array of numbers, any shape.

    Returns
    -------
    float for a single number, else a float64 array of the same shape.

    Raises
    ------
    OutOfRange : an element is not finite or outside the limit.

    Notes
    -----
    A check, no equation.

    References
    ----------
    .. [1] Rule of this project: never a silent NaN.

    Examples
    --------
    >>> positive("area_ft2", [10.0, 0.0])
    Traceback (most recent call last):
    ...
    estimates.physics.validity.OutOfRange: area_ft2[1] is 0; enter a number above 0
    """
    given: Any = value
    if type(given) is float and 0.0 < given <= MOST:
        return given
    return _checked(name, value, LEAST_ABOVE_0, MOST, "a number above 0")


def not_negative(name: str, value: ArrayLike) -> Values:
    """The value, when every element is a finite number of 0 or more.

    Parameters
    ----------
    name : the argument, for the message.
    value : a number or an array of numbers, any shape.

    Returns
    -------
    float for a single number, else a float64 array of the same shape.

    Raises
    ------
    OutOfRange : an element is not finite or outside the limit.

    Notes
    -----
    A check, no equation.

    References
    ----------
    .. [1] Rule of this project: never a silent NaN.

    Examples
    --------
    >>> not_negative("bags", 0)
    0.0
    """
    given: Any = value
    if type(given) is float and 0.0 <= given <= MOST:
        return given
    return _checked(name, value, 0.0, MOST, "a number of 0 or more")


def within(name: str, value: ArrayLike, low: float, high: float) -> Values:
    """The value, when every element lies between two limits, both included.

    Parameters
    ----------
    name : the argument, for the message.
    value : a number or an array of numbers, any shape.
    low, high : finite limits, both included; `LEAST_ABOVE_0` for a low limit of 0 that is left out itself.

    Returns
    -------
    float for a single number, else a float64 array of the same shape.

    Raises
    ------
    OutOfRange : an element is not finite or outside the limit.

    Notes
    -----
    A check, no equation.

    References
    ----------
    .. [1] Rule of this project: never a silent NaN.

    Examples
    --------
    >>> within("share", 1.2, 0, 1)
    Traceback (most recent call last):
    ...
    estimates.physics.validity.OutOfRange: share is 1.2; enter a number from 0 to 1
    """
    given: Any = value
    if type(given) is float and low <= given <= high:
        return given
    return _checked(name, value, low, high, (low, high))


def _checked(name: str, value: Any, low: float, high: float, ask: str | tuple[float, float]) -> Values:
    """What is no plain float, or refused: `ask` in words, or as limits, put into words for a refusal only."""
    if isinstance(value, int | float):
        try:
            number = float(value)
        except OverflowError:  # a whole number beyond every float
            raise OutOfRange(name, value, _words(ask)) from None
        if not low <= number <= high:  # NaN lies nowhere
            raise OutOfRange(name, number, _words(ask))
        return number
    try:
        array = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        raise OutOfRange(name, value, _words(ask)) from None
    # Two passes without a column of answers; NaN comes through both and lies nowhere.
    if array.size and not (low <= np.minimum.reduce(array, None) and np.maximum.reduce(array, None) <= high):
        where = tuple(int(i) for i in np.argwhere(~((array >= low) & (array <= high)))[0])
        raise OutOfRange(name, float(array[where]), _words(ask), where or None)
    return array if array.ndim else float(array)


def _words(ask: str | tuple[float, float]) -> str:
    if isinstance(ask, str):
        return ask
    low, high = ask
    return f"a number above 0, at most {high:g}" if low == LEAST_ABOVE_0 else f"a number from {low:g} to {high:g}"
