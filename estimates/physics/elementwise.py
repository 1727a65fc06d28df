"""What formulas need besides + - * / and reads the same for a number and for a column of numbers.

A formula is written once. Given floats it runs in plain Python, given arrays in numpy, at the speed of each; the
arguments come from `estimates.physics.validity`, which gives plain floats or float64 arrays and nothing else.
"""

from __future__ import annotations

import math

import numpy as np

from estimates.physics.validity import Values


def lesser(one: Values, other: Values) -> Values:
    r"""The smaller of two, element by element.

    Parameters
    ----------
    one, other : finite numbers or arrays that broadcast. [any one unit]

    Returns
    -------
    float for two numbers, else an array of the broadcast shape. [same unit]

    Raises
    ------
    Nothing; the arguments are checked already.

    Notes
    -----
    .. math:: \min(a, b)

    References
    ----------
    .. [1] A comparison.

    Examples
    --------
    >>> lesser(2.0, 3.0), lesser(np.array([1.0, 4.0]), 3.0)
    (2.0, array([1., 3.]))
    """
    if type(one) is float and type(other) is float:
        return one if one <= other else other
    return plain(np.minimum(one, other))


def greater(one: Values, other: Values) -> Values:
    r"""The larger of two, element by element.

    Parameters
    ----------
    one, other : finite numbers or arrays that broadcast. [any one unit]

    Returns
    -------
    float for two numbers, else an array of the broadcast shape. [same unit]

    Raises
    ------
    Nothing; the arguments are checked already.

    Notes
    -----
    .. math:: \max(a, b)

    References
    ----------
    .. [1] A comparison.

    Examples
    --------
    >>> greater(2.0, 3.0), greater(np.array([1.0, 4.0]), 3.0)
    (3.0, array([3., 4.]))
    """
    if type(one) is float and type(other) is float:
        return one if one >= other else other
    return plain(np.maximum(one, other))


def root(value: Values) -> Values:
    r"""Square root, element by element.

    Parameters
    ----------
    value : finite number or array, >= 0. [any unit]

    Returns
    -------
    float for a number, else an array of the same shape. [root of the unit]

    Raises
    ------
    Nothing; the argument is checked already.

    Notes
    -----
    .. math:: \sqrt{a}

    References
    ----------
    .. [1] Square root of the IEEE standard for floating-point numbers, exact to the last bit in both.

    Examples
    --------
    >>> root(9.0), root(np.array([4.0, 16.0]))
    (3.0, array([2., 4.]))
    """
    return math.sqrt(value) if type(value) is float else plain(np.sqrt(value))


def any_over(value: Values, limit: float) -> bool:
    """Whether an element is over a limit.

    Parameters
    ----------
    value : finite number or array. [any unit]
    limit : finite number. [same unit]

    Returns
    -------
    bool; False for an array without elements.

    Raises
    ------
    Nothing; the arguments are checked already.

    Notes
    -----
    A comparison, no equation.

    References
    ----------
    .. [1] A comparison.

    Examples
    --------
    >>> any_over(0.2, 0.3), any_over(np.array([0.2, 0.4]), 0.3)
    (False, True)
    """
    return value > limit if type(value) is float else bool(np.any(value > limit))


def left_out(share: Values, beside: Values = 0.0) -> bool:
    """Whether a part of a formula falls away: its share is the number 0, and nothing in it widens the answer.

    Parameters
    ----------
    share : share of the part, finite number or array. [1]
    beside : what else stands in the part and nowhere else. [any unit]

    Returns
    -------
    True when `share` is the number 0 and `beside` is a number; arrays of zeros are worked out like any array.

    Raises
    ------
    Nothing; the arguments are checked already.

    Notes
    -----
    For finite a and b, 0 a + (1 - 0) b is b to the last bit, so leaving the part out changes no figure; for a column it
    saves the passes over memory.

    References
    ----------
    .. [1] Arithmetic of the IEEE standard for floating-point numbers.

    Examples
    --------
    >>> left_out(0.0, 1.5), left_out(0.1, 1.5), left_out(0.0, np.array([1.0, 2.0]))
    (True, False, False)
    """
    return type(share) is float and share == 0.0 and type(beside) is float


def plain(value: Values) -> Values:
    """A float for what holds one number, else the array itself.

    Parameters
    ----------
    value : a number, a numpy scalar, or an array. [any unit]

    Returns
    -------
    float where there is no dimension, else `value`. [same unit]

    Raises
    ------
    Nothing.

    Notes
    -----
    Keeps numpy's own scalars out of answers: they print their type and are slow in plain arithmetic.

    References
    ----------
    .. [1] Rule of this project: a number in, a number out.

    Examples
    --------
    >>> plain(np.float64(1.5)), plain(np.array([1.5]))
    (1.5, array([1.5]))
    """
    return value if np.ndim(value) else float(value)
