"""Utility bills against the weather: how much of them is heating, and what the work saved, with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estimates.physics.least_squares import LinearFit, fit_linear, t_quantile
from estimates.physics.validity import OutOfRange, finite, not_negative, positive, within

HEATING_BASES_F = tuple(float(base) for base in range(45, 71))
"""Balance points tried for heating. [degF] Common practice, no source."""

COOLING_BASES_F = tuple(float(base) for base in range(60, 81))
"""Balance points tried for cooling. [degF] Common practice, no source."""

CV_RMSE_LIMIT, NMBE_LIMIT = 0.15, 0.05
"""Scatter and bias of monthly models accepted as calibrated. [-] ASHRAE Guideline 14, from memory."""

WEAK_CV_RMSE = 0.30
"""Scatter above which bills say nothing useful. [-] Common practice, no source."""


class Pattern(StrEnum):
    """What in the house follows the weather on this meter."""

    HEATING = "heating"
    COOLING = "cooling"
    BOTH = "both"


class Verdict(StrEnum):
    """How far a fit can be used."""

    GOOD = "good"
    USABLE = "usable with care"
    WEAK = "too weak to use"


@dataclass(frozen=True, slots=True)
class BillFit:
    """Use of a meter by day and weather.

    Use a day = `base_per_day` + `heating_slope` x heating degree days a day to `heating_base_f` + `cooling_slope` x
    cooling degree days a day to `cooling_base_f`. Slopes [unit/(degF day)] of what the pattern leaves out are 0, their
    bases None. `fit` holds covariance and scatter in the order base, heating, cooling.
    """

    pattern: Pattern
    base_per_day: float
    heating_slope: float
    cooling_slope: float
    heating_base_f: float | None
    cooling_base_f: float | None
    r2: float
    cv_rmse: float
    nmbe: float
    periods: int
    days: float
    verdict: Verdict
    warnings: tuple[str, ...]
    fit: LinearFit


@dataclass(frozen=True, slots=True)
class YearlyUse:
    """Use in a typical year in all and by purpose [unit/year]; `standard_error` is that of the modelled total."""

    total: float
    base: float
    heating: float
    cooling: float
    standard_error: float


@dataclass(frozen=True, slots=True)
class MeasuredSavings:
    """Use of a typical year before less after [unit/year], with the ends of its interval at `level`."""

    saved: float
    low: float
    high: float
    level: float
    share: float
    warnings: tuple[str, ...]


def cv_rmse(observed: ArrayLike, predicted: ArrayLike, parameters: int = 0) -> float:
    r"""Scatter of a model as a share of the mean.

    Parameters
    ----------
    observed, predicted : shape (n,), same unit.
    parameters : parameters of the model taken off n, 0 to n - 1. [-]

    Returns
    -------
    float [-]

    Raises
    ------
    OutOfRange : shapes that differ, parameters outside limits, mean not above 0.

    Notes
    -----
    .. math:: \frac{1}{\bar y}\sqrt{\frac{\sum (\hat y_i - y_i)^2}{n - p}}

    References
    ----------
    .. [1] ASHRAE Guideline 14.

    Examples
    --------
    >>> round(cv_rmse([1, 3, 4, 1, 6], [2, 3, 3, 2, 4]), 3)
    0.394
    """
    seen, errors = _errors(observed, predicted, parameters)
    return math.sqrt(float(errors @ errors) / (seen.size - parameters)) / float(seen.mean())


def nmbe(observed: ArrayLike, predicted: ArrayLike, parameters: int = 0) -> float:
    r"""Bias of a model as a share of the mean, predicted less observed.

    Parameters, Raises and References are those of `cv_rmse`.

    Parameters
    ----------
    observed : use of each period, shape (n,). [unit of the meter]
    predicted : of the model, same shape. [unit of the meter]
    parameters : of the model, >= 0. [-]

    Returns
    -------
    float [-] Above 0 where the model predicts too much.

    Raises
    ------
    OutOfRange : shapes that differ, too few periods, a mean of 0, a number that is not finite.

    Notes
    -----
    .. math:: \frac{\sum (\hat y_i - y_i)}{(n - p) \bar y}

    References
    ----------
    .. [1] ASHRAE Guideline 14, normalised mean bias error; sign as predicted less observed.

    Examples
    --------
    >>> round(nmbe([1, 3, 4, 1, 6], [2, 3, 3, 2, 4]), 3)
    -0.067
    """
    seen, errors = _errors(observed, predicted, parameters)
    return float(errors.sum()) / ((seen.size - parameters) * float(seen.mean()))


def _errors(
    observed: ArrayLike, predicted: ArrayLike, parameters: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    seen = np.atleast_1d(np.asarray(finite("observed", observed), dtype=np.float64))
    model = np.atleast_1d(np.asarray(finite("predicted", predicted), dtype=np.float64))
    if seen.shape != model.shape or seen.ndim != 1:
        raise OutOfRange("predicted", f"{model.size} values", f"{seen.size}, as many as observed")
    if not 0 <= parameters < seen.size:
        raise OutOfRange("parameters", parameters, f"a number from 0 to {seen.size - 1}")
    positive("mean of observed", float(seen.mean()))
    return seen, model - seen


def fit_bills(
    use: ArrayLike,
    days: Sequence[int],
    daily_f: ArrayLike,
    pattern: Pattern,
    *,
    heating_base_f: float | None = None,
    cooling_base_f: float | None = None,
) -> BillFit:
    r"""Variable-base degree-day regression of a meter's bills.

    Parameters
    ----------
    use : use in each billing period, >= 0, shape (periods,). [unit of the meter]
    days : days in each period, >= 1, shape (periods,). [day]
    daily_f : daily mean outdoor temperature of all days, period after period, shape (sum of days,). [degF]
    pattern : what follows the weather on this meter.
    heating_base_f, cooling_base_f : balance points, 30 to 90. [degF] None searches `HEATING_BASES_F` and
        `COOLING_BASES_F`.

    Returns
    -------
    BillFit with the balance points that leave the least scatter, among those with no negative slope.

    Raises
    ------
    OutOfRange : an argument outside its limits, too few periods, bills that do not follow the weather that way.

    Notes
    -----
    .. math:: u_i = \beta_0 + \beta_h \overline{HDD}_i(b_h) + \beta_c \overline{CDD}_i(b_c)

    u is use a day, degree days are means of the period's days, each period weighs as many as it has days. Good when
    CV(RMSE) <= 15 % and the bias <= 5 %; weak above 30 % or when the model explains less than half.

    References
    ----------
    .. [1] ASHRAE Guideline 14; degree-day regression of the open methods for metered savings (checked in the tests).

    Examples
    --------
    >>> cold = [20.0] * 30 + [35.0] * 30 + [50.0] * 30 + [70.0] * 30
    >>> fit = fit_bills([130, 85, 40, 10], [30] * 4, cold, Pattern.HEATING, heating_base_f=60)
    >>> round(fit.base_per_day, 3), round(fit.heating_slope, 3), fit.verdict.value
    (0.333, 0.1, 'good')
    """
    per_day, weights, daily = _bill_table(use, days, daily_f)
    heats, cools = pattern is not Pattern.COOLING, pattern is not Pattern.HEATING
    columns = 1 + heats + cools
    if per_day.size <= columns:
        raise OutOfRange("use", f"{per_day.size} bills", f"more than {columns} billing periods, 12 or more are best")
    starts = np.concatenate([[0], np.cumsum(weights)[:-1]]).astype(int)
    heating = _candidates("heating_base_f", heating_base_f, HEATING_BASES_F, heats)
    cooling = _candidates("cooling_base_f", cooling_base_f, COOLING_BASES_F, cools)
    hdd = {b: np.add.reduceat(np.maximum(b - daily, 0), starts) / weights for b in heating if b is not None}
    cdd = {b: np.add.reduceat(np.maximum(daily - b, 0), starts) / weights for b in cooling if b is not None}
    best: tuple[float, float | None, float | None, LinearFit] | None = None
    for h in heating:
        for c in cooling:
            if h is not None and c is not None and c < h:
                continue
            parts = [np.ones(per_day.size)] + ([hdd[h]] if h is not None else []) + ([cdd[c]] if c is not None else [])
            fit = _try_fit(parts, per_day, weights)
            if fit is not None and (best is None or fit.residual_sd < best[0] * (1 - 1e-9)):
                best = (fit.residual_sd, h, c, fit)
    if best is None:
        raise OutOfRange(
            "use", f"not following {pattern.value} weather", "bills of a meter that does, or another pattern"
        )
    return _described(pattern, best[1], best[2], best[3], hdd, cdd, per_day, weights)


def _bill_table(
    use: ArrayLike, days: Sequence[int], daily_f: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    amounts = np.atleast_1d(np.asarray(not_negative("use", use), dtype=np.float64))
    lengths = np.atleast_1d(np.asarray(within("days", days, 1, 400), dtype=np.float64))
    daily = np.atleast_1d(np.asarray(within("daily_f", daily_f, -150, 150), dtype=np.float64))
    if (lengths != np.floor(lengths)).any():
        raise OutOfRange("days", float(lengths[lengths != np.floor(lengths)][0]), "whole days")
    if amounts.ndim != 1 or amounts.shape != lengths.shape:
        raise OutOfRange("days", f"{lengths.size} periods", f"{amounts.size}, one for each bill")
    if daily.shape != (int(lengths.sum()),):
        raise OutOfRange("daily_f", f"{daily.size} days", f"{int(lengths.sum())}, one for each day billed")
    return amounts / lengths, lengths, daily


def _candidates(
    name: str, base_f: float | None, tried: tuple[float, ...], wanted: bool
) -> tuple[float, ...] | tuple[None]:
    if not wanted:
        return (None,)
    return tried if base_f is None else (float(within(name, float(base_f), 30, 90)),)


def _try_fit(
    parts: list[NDArray[np.float64]], per_day: NDArray[np.float64], weights: NDArray[np.float64]
) -> LinearFit | None:
    """The fit, or None where a column does not vary or a slope is negative."""
    try:
        fit = fit_linear(np.column_stack(parts), per_day, weights)
    except OutOfRange:
        return None
    return fit if (fit.coefficients[1:] >= 0).all() else None


def _described(
    pattern: Pattern,
    heating_base_f: float | None,
    cooling_base_f: float | None,
    fit: LinearFit,
    hdd: dict[float, NDArray[np.float64]],
    cdd: dict[float, NDArray[np.float64]],
    per_day: NDArray[np.float64],
    weights: NDArray[np.float64],
) -> BillFit:
    slopes = list(fit.coefficients[1:])
    heating_slope = float(slopes.pop(0)) if heating_base_f is not None else 0.0
    cooling_slope = float(slopes.pop(0)) if cooling_base_f is not None else 0.0
    predicted = np.full(per_day.size, float(fit.coefficients[0]))
    if heating_base_f is not None:
        predicted = predicted + heating_slope * hdd[heating_base_f]
    if cooling_base_f is not None:
        predicted = predicted + cooling_slope * cdd[cooling_base_f]
    parameters = int(fit.coefficients.size)
    scatter, bias = cv_rmse(per_day, predicted, parameters), nmbe(per_day, predicted, parameters)
    warnings = []
    days = float(weights.sum())
    if days < 330:
        warnings.append(f"bills cover {days:.0f} days; a full year makes the split firm")
    if fit.coefficients[0] < 0:
        warnings.append("base use comes out below 0: a balance point or a meter reading is wrong")
    for base, tried, purpose in (
        (heating_base_f, HEATING_BASES_F, "heating"),
        (cooling_base_f, COOLING_BASES_F, "cooling"),
    ):
        if base in (tried[0], tried[-1]):
            warnings.append(f"{purpose} balance point {base:g} degF lies at the end of those tried: doubtful")
    verdict = Verdict.USABLE
    if scatter > WEAK_CV_RMSE or fit.r2 < 0.5:
        verdict = Verdict.WEAK
    elif scatter <= CV_RMSE_LIMIT and abs(bias) <= NMBE_LIMIT:
        verdict = Verdict.GOOD
    return BillFit(
        pattern=pattern,
        base_per_day=float(fit.coefficients[0]),
        heating_slope=heating_slope,
        cooling_slope=cooling_slope,
        heating_base_f=heating_base_f,
        cooling_base_f=cooling_base_f,
        r2=fit.r2,
        cv_rmse=scatter,
        nmbe=bias,
        periods=int(per_day.size),
        days=days,
        verdict=verdict,
        warnings=tuple(warnings),
        fit=fit,
    )


def normalised_use(fit: BillFit, typical_daily_f: ArrayLike) -> YearlyUse:
    r"""Use of a meter in a typical year.

    Parameters
    ----------
    fit : from `fit_bills`.
    typical_daily_f : daily mean temperatures of a typical year, shape (days,). [degF]

    Returns
    -------
    YearlyUse over the days given; its heating and cooling parts cap what work on the house can save.

    Raises
    ------
    OutOfRange : temperatures outside -150 to 150 or none.

    Notes
    -----
    .. math:: U = 365.25 \, \overline{(\beta_0 + \beta_h (b_h - T)^+ + \beta_c (T - b_c)^+)}

    References
    ----------
    .. [1] ASHRAE Guideline 14, weather-normalised yearly use.

    Examples
    --------
    >>> cold = [20.0] * 30 + [35.0] * 30 + [50.0] * 30 + [70.0] * 30
    >>> fit = fit_bills([130, 85, 40, 10], [30] * 4, cold, Pattern.HEATING, heating_base_f=60)
    >>> year = normalised_use(fit, [40.0] * 180 + [75.0] * 185)
    >>> round(year.total, 1), round(year.heating, 1)
    (481.7, 360.0)
    """
    row = _year_row(fit, typical_daily_f)
    parts = list(row * fit.fit.coefficients)
    base = float(parts.pop(0))
    heating = float(parts.pop(0)) if fit.heating_base_f is not None else 0.0
    cooling = float(parts.pop(0)) if fit.cooling_base_f is not None else 0.0
    error = math.sqrt(float(row @ fit.fit.covariance @ row))
    return YearlyUse(base + heating + cooling, base, heating, cooling, error)


def _year_row(fit: BillFit, typical_daily_f: ArrayLike) -> NDArray[np.float64]:
    daily = np.atleast_1d(np.asarray(within("typical_daily_f", typical_daily_f, -150, 150), dtype=np.float64))
    if daily.ndim != 1 or daily.size == 0:
        raise OutOfRange("typical_daily_f", f"of shape {daily.shape}", "a row of daily temperatures")
    row = [float(daily.size)]
    if fit.heating_base_f is not None:
        row.append(float(np.maximum(fit.heating_base_f - daily, 0).sum()))
    if fit.cooling_base_f is not None:
        row.append(float(np.maximum(daily - fit.cooling_base_f, 0).sum()))
    return np.array(row)


def measured_savings(
    before: BillFit, after: BillFit, typical_daily_f: ArrayLike, *, level: float = 0.8
) -> MeasuredSavings:
    r"""What the work saved by the meter, both sides brought to the same typical year.

    Parameters
    ----------
    before, after : fits of the bills before and after the work.
    typical_daily_f : daily mean temperatures of a typical year, shape (days,). [degF]
    level : probability that the interval holds, inside (0, 1). [-]

    Returns
    -------
    MeasuredSavings, with a warning where 0 lies inside the interval or a fit is weak.

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: \mathrm{var}(S) = x_b^T \Sigma_b x_b + x_a^T \Sigma_a x_a

    with Student's t and Welch's degrees of freedom. The interval takes balance points as found, so it is a little
    narrow.

    References
    ----------
    .. [1] ASHRAE Guideline 14, savings of a whole facility and their uncertainty.

    Examples
    --------
    >>> cold = [20.0] * 30 + [35.0] * 30 + [50.0] * 30 + [70.0] * 30
    >>> fits = [fit_bills(use, [30] * 4, cold, Pattern.HEATING, heating_base_f=60)
    ...     for use in ([131, 84, 41, 10], [98, 65, 31, 10])]
    >>> result = measured_savings(*fits, [40.0] * 180 + [75.0] * 185)
    >>> round(result.saved), result.low < result.saved < result.high
    (102, True)
    """
    if not 0 < level < 1:
        raise OutOfRange("level", level, "a number between 0 and 1, ends left out")
    first, second = normalised_use(before, typical_daily_f), normalised_use(after, typical_daily_f)
    variances = [first.standard_error**2, second.standard_error**2]
    saved, variance = first.total - second.total, sum(variances)
    reach = 0.0
    if variance > 0:
        spread = sum(v**2 / each.fit.dof for v, each in zip(variances, (before, after), strict=True))
        reach = t_quantile(0.5 + level / 2, variance**2 / spread) * math.sqrt(variance)
    warnings = [
        f"bills {when} the work are too weak to use"
        for when, each in (("before", before), ("after", after))
        if each.verdict is Verdict.WEAK
    ]
    if abs(saved) <= reach:
        warnings.append("the change is smaller than its uncertainty")
    share = saved / first.total if first.total > 0 else 0.0
    return MeasuredSavings(saved, saved - reach, saved + reach, level, share, tuple(warnings))
