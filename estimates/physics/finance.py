"""Money over time: present values, net present value, rate of return, loan payments, payback."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estimates.physics.validity import OutOfRange, Values, finite, not_negative, positive, within

LOWEST_RATE, HIGHEST_RATE = -0.99, 10.0
"""Rates that make sense a period: loss of nearly all, gain of ten times. [-]"""


class NoRate(ValueError):
    """No rate of return, or more than one; the message says which and what to do."""


def spv(rate: ArrayLike, years: ArrayLike) -> Values:
    r"""Single present value: what 1 $ paid after some years is worth today.

    Parameters
    ----------
    rate : discount rate a year, -0.99 to 10, any shape. [-]
    years : 0 to 200, any shape. [year]

    Returns
    -------
    (1 + rate)^-years. [-]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: SPV = (1 + d)^{-n}

    References
    ----------
    .. [1] NIST Handbook 135, single present value factor.

    Examples
    --------
    >>> round(spv(0.03, 15), 3)
    0.642
    """
    return (1 + _rate("rate", rate)) ** -_years(years)


def upv(rate: ArrayLike, years: ArrayLike) -> Values:
    r"""Uniform present value: what 1 $ at the end of each year is worth today.

    Parameters
    ----------
    rate : discount rate a year, -0.99 to 10, any shape; 0 gives the years. [-]
    years : 0 to 200, any shape. [year]

    Returns
    -------
    Factor. [-]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: UPV = \frac{1 - (1 + d)^{-n}}{d}

    References
    ----------
    .. [1] NIST Handbook 135, uniform present value factor.

    Examples
    --------
    >>> round(upv(0.03, 15), 2), upv(0.0, 15)
    (11.94, 15.0)
    """
    return upv_star(rate, 0.0, years)


def upv_star(rate: ArrayLike, growth: ArrayLike, years: ArrayLike) -> Values:
    r"""Uniform present value of yearly sums that grow: 1 $ at today's prices, at the end of each year.

    Parameters
    ----------
    rate : discount rate a year, -0.99 to 10, any shape. [-]
    growth : price rise a year, -0.99 to 10, any shape; equal to `rate` gives the years. [-]
    years : 0 to 200, any shape. [year]

    Returns
    -------
    Factor. [-]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: UPV^* = \sum_{t=1}^{n} \left(\frac{1+e}{1+d}\right)^t
        = \frac{1+e}{d-e}\left[1 - \left(\frac{1+e}{1+d}\right)^n\right]

    References
    ----------
    .. [1] NIST Handbook 135, modified uniform present value factor.

    Examples
    --------
    >>> round(upv_star(0.03, 0.02, 15), 2)
    13.89
    """
    d, e, n = np.broadcast_arrays(_rate("rate", rate), _rate("growth", growth), _years(years))
    # log1p and expm1 keep the digits where d and e are nearly equal
    step = np.log1p(e) - np.log1p(d)
    near = np.abs(step) < 1e-12
    gap = np.where(near, 1.0, -np.expm1(-step))
    factor = np.where(near, n, np.expm1(n * step) / gap)
    return float(factor) if factor.ndim == 0 else factor


def npv(rate: ArrayLike, flows: ArrayLike) -> Values:
    r"""Net present value of a row of payments, the first of them today.

    Parameters
    ----------
    rate : discount rate a period, -0.99 to 10, any shape. [-]
    flows : payments at t = 0, 1, 2, ..., received above 0, paid below, shape (n,), n >= 1. [$]

    Returns
    -------
    Value today, shape of `rate`. [$]

    Raises
    ------
    OutOfRange : an argument outside its limits, no payments.

    Notes
    -----
    .. math:: NPV = \sum_t F_t (1 + d)^{-t}

    References
    ----------
    .. [1] Definition; checked against a public finance library.

    Examples
    --------
    >>> round(npv(0.08, [-40000, 5000, 8000, 12000, 30000]), 5)
    3065.22267
    """
    payments = _flows(flows)
    share = 1 / (1 + np.asarray(_rate("rate", rate)))
    value = np.polynomial.polynomial.polyval(share, payments)
    return float(value) if np.ndim(value) == 0 else np.asarray(value)


def irr(flows: ArrayLike) -> float:
    """Rate of return at which a row of payments is worth nothing today.

    Parameters
    ----------
    flows : payments at t = 0, 1, 2, ..., received above 0, paid below, shape (n,), n >= 2. [$]

    Returns
    -------
    Rate a period, from -0.99 to 10. [-]

    Raises
    ------
    OutOfRange : payments not finite or fewer than 2.
    NoRate : payments of one sign only, no rate within the limits, or several rates (payments that change sign more than
        once can have several; use `npv` at your own rate then).

    Notes
    -----
    Sign changes of the net present value are bracketed on a fine grid of discount factors and closed by bisection.

    References
    ----------
    .. [1] Definition; checked against a public finance library.

    Examples
    --------
    >>> round(irr([-100, 39, 59, 55, 20]), 5)
    0.28095
    """
    payments = _flows(flows)
    if payments.size < 2:
        raise OutOfRange("flows", f"{payments.size} payments", "at least 2")
    signs = np.sign(payments[payments != 0])
    if not (signs > 0).any() or not (signs < 0).any():
        raise NoRate("flows hold only payments of one sign; enter what is paid below 0 and what comes back above 0")
    # even steps in ln(1 + rate); a sign change of the payments is a sign change of the value, Descartes
    grid = np.linspace(math.log1p(LOWEST_RATE), math.log1p(HIGHEST_RATE), 4001)
    with np.errstate(over="ignore"):
        values = _value_at(grid, payments)
    roots = [float(grid[i]) for i in np.flatnonzero(values == 0)]
    roots += [
        _bisect(float(grid[i]), float(grid[i + 1]), payments) for i in np.flatnonzero(values[:-1] * values[1:] < 0)
    ]
    rates = sorted(math.expm1(root) for root in roots)
    if not rates:
        raise NoRate(f"flows have no rate of return from {LOWEST_RATE:.0%} to {HIGHEST_RATE:.0%}; use npv instead")
    if len(rates) > 1:
        shown = ", ".join(f"{rate:.4g}" for rate in rates)
        raise NoRate(f"flows have several rates of return ({shown}); use npv at your own rate instead")
    return rates[0]


def payment(principal: ArrayLike, rate: ArrayLike, periods: ArrayLike) -> Values:
    r"""Even payment at the end of each period that pays a loan off.

    Parameters
    ----------
    principal : sum lent, >= 0, any shape. [$]
    rate : interest a period (a yearly rate of 7.5 % paid monthly is 0.075/12), 0 to 10, any shape. [-]
    periods : number of payments, 1 to 1200, any shape. [-]

    Returns
    -------
    Payment. [$]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: P = L \frac{r}{1 - (1 + r)^{-n}}

    References
    ----------
    .. [1] Level payment of an annuity; checked against a public finance library.

    Examples
    --------
    >>> round(payment(200_000.0, 0.075 / 12, 180), 4)
    1854.0247
    """
    lent, r = not_negative("principal", principal), within("rate", rate, 0, HIGHEST_RATE)
    factor = _annuity(np.asarray(r), np.asarray(within("periods", periods, 1, 1200)))
    value = np.asarray(lent / factor)
    return float(value) if value.ndim == 0 else value


def payback_years(cost: ArrayLike, yearly_saving: ArrayLike) -> Values:
    """Simple payback: years until savings at today's prices have paid the cost, no interest.

    Parameters
    ----------
    cost : >= 0, any shape. [$]
    yearly_saving : > 0, any shape. [$/year]

    Returns
    -------
    Years. [year]

    Raises
    ------
    OutOfRange : an argument outside its limits; without savings there is no payback.

    Notes
    -----
    .. math:: n = C / S

    References
    ----------
    .. [1] Simple payback, NIST Handbook 135; says nothing of the years after.

    Examples
    --------
    >>> payback_years(6000.0, 400.0)
    15.0
    """
    return not_negative("cost", cost) / positive("yearly_saving", yearly_saving)


def _annuity(rate: NDArray[np.float64], periods: NDArray[np.float64]) -> NDArray[np.float64]:
    """Worth today of 1 $ at the end of each period. [-]"""
    safe = np.where(rate == 0, 1.0, rate)
    return np.where(rate == 0, periods, -np.expm1(-periods * np.log1p(rate)) / safe)


def _rate(name: str, value: ArrayLike) -> Values:
    return within(name, value, LOWEST_RATE, HIGHEST_RATE)


def _years(value: ArrayLike) -> Values:
    return within("years", value, 0, 200)


def _flows(flows: ArrayLike) -> NDArray[np.float64]:
    payments = np.atleast_1d(np.asarray(finite("flows", flows), dtype=np.float64))
    if payments.ndim != 1 or payments.size == 0:
        raise OutOfRange("flows", f"of shape {payments.shape}", "a row of payments")
    return payments


def _value_at(log_rate: NDArray[np.float64], payments: NDArray[np.float64]) -> NDArray[np.float64]:
    """Value in the middle of the row rather than today: same sign, no overflow at low rates."""
    times = np.arange(payments.size) - (payments.size - 1) / 2
    return np.asarray(np.exp(-np.outer(log_rate, times)) @ payments)


def _bisect(low: float, high: float, payments: NDArray[np.float64]) -> float:
    ends = _value_at(np.array([low, high]), payments)
    for _ in range(200):
        middle = (low + high) / 2
        value = float(_value_at(np.array([middle]), payments)[0])
        if value == 0 or not low < middle < high:
            break
        if (value > 0) == (ends[0] > 0):
            low = middle
        else:
            high = middle
    return (low + high) / 2
