"""Checks at the door of every physics function: a bad argument is named, with what to enter; never a silent NaN."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = float | NDArray[np.float64]
"""One number or an array of them: what the functions of this package take and give."""


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
    if isinstance(given, float) and math.isfinite(given):  # the common case, at a fifth of the time
        return float(given)
    return _checked(name, value, -math.inf, math.inf, True, "a finite number")


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
    if isinstance(given, float) and 0.0 < given < math.inf:
        return float(given)
    return _checked(name, value, 0.0, math.inf, False, "a number above 0")


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
    if isinstance(given, float) and 0.0 <= given < math.inf:
        return float(given)
    return _checked(name, value, 0.0, math.inf, True, "a number of 0 or more")


def within(name: str, value: ArrayLike, low: float, high: float) -> Values:
    """The value, when every element lies between two limits, both included.

    Parameters
    ----------
    name : the argument, for the message.
    value : a number or an array of numbers, any shape.
    low, high : limits, both included.

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
    if isinstance(given, float) and low <= given <= high:  # words are made for a refusal only
        return float(given)
    return _checked(name, value, low, high, True, f"a number from {low:g} to {high:g}")


def _checked(name: str, value: Any, low: float, high: float, low_allowed: bool, ask: str) -> Values:
    if isinstance(value, float):  # the common case, 20 times faster than through an array
        good = math.isfinite(value) and (low <= value <= high if low_allowed else low < value <= high)
        if not good:
            raise OutOfRange(name, float(value), ask)
        return float(value)
    try:
        array = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise OutOfRange(name, value, ask) from None
    fits = np.isfinite(array) & ((array >= low) if low_allowed else (array > low)) & (array <= high)
    if not fits.all():
        where = tuple(int(i) for i in np.argwhere(~fits)[0])
        raise OutOfRange(name, float(array[where]), ask, where or None)
    return array if array.ndim else float(array)
