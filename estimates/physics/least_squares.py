"""Weighted linear least squares with standard errors: one place for every fit of the physics."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estimates.physics.validity import OutOfRange, finite, positive

SINGULAR = 1e-13
"""Smallest pivot, relative to the largest, at which columns still count as independent. [-] Near double rounding."""


@dataclass(frozen=True, slots=True)
class LinearFit:
    """Coefficients of a linear model with how far they can be trusted.

    `covariance` is theirs, `residual_sd` the standard deviation of one observation of weight 1, `r2` the share of the
    weighted variance explained, `dof` observations less coefficients.
    """

    coefficients: NDArray[np.float64]
    standard_errors: NDArray[np.float64]
    covariance: NDArray[np.float64]
    residual_sd: float
    r2: float
    dof: int


def fit_linear(design: ArrayLike, observed: ArrayLike, weights: ArrayLike | None = None) -> LinearFit:
    r"""Linear least squares.

    Parameters
    ----------
    design : model matrix, one row for each observation, shape (n, k), k < n; a column of ones is the constant. [any]
    observed : shape (n,). [any]
    weights : weight of each observation, > 0, shape (n,); None for equal weights. [-]

    Returns
    -------
    LinearFit

    Raises
    ------
    OutOfRange : shapes that do not match, not more rows than columns, values not finite, dependent columns.

    Notes
    -----
    .. math:: \min_\beta \sum_i w_i (y_i - x_i^T \beta)^2, \quad
        \mathrm{cov}(\beta) = s^2 (X^T W X)^{-1}, \quad s^2 = \sum_i w_i e_i^2 / (n - k)

    Solved by QR of the columns scaled to length 1, so that columns of very different size lose no digits. `r2` is
    about the weighted mean and supposes a constant among the columns; it is 1 where observations do not vary.

    References
    ----------
    .. [1] NIST Statistical Reference Datasets, linear regression: certified values are in the tests.

    Examples
    --------
    >>> fit = fit_linear([[1, 0], [1, 1], [1, 2], [1, 3]], [0, 1, 1, 2])
    >>> fit.coefficients.round(3), fit.standard_errors.round(4)
    (array([0.1, 0.6]), array([0.2646, 0.1414]))
    """
    x = np.asarray(finite("design", design), dtype=np.float64)
    y = np.asarray(finite("observed", observed), dtype=np.float64)
    if x.ndim != 2 or y.shape != x.shape[:1]:
        raise OutOfRange("observed", f"of shape {y.shape}", f"one value for each row of the design {x.shape}")
    rows, columns = x.shape
    if rows <= columns:
        raise OutOfRange("observed", f"{rows} values", f"more than {columns} of them")
    w = np.ones(rows) if weights is None else np.asarray(positive("weights", weights), dtype=np.float64)
    if w.shape != y.shape:
        raise OutOfRange("weights", f"of shape {w.shape}", f"one weight for each of the {rows} observations")
    root = np.sqrt(w)
    length = np.linalg.norm(x * root[:, None], axis=0)
    if not length.all():
        raise OutOfRange("design", "a column of zeros", "columns that vary")
    q, r = np.linalg.qr(x * root[:, None] / length)
    pivots = np.abs(np.diag(r))
    if pivots.min() <= SINGULAR * pivots.max():
        raise OutOfRange("design", "made of dependent columns", "columns that are not multiples or sums of others")
    inverse = np.linalg.solve(r, np.eye(columns)) / length[:, None]
    beta = inverse @ (q.T @ (y * root))
    residuals = y - x @ beta
    beta = beta + inverse @ (q.T @ (residuals * root))  # one step of refinement wins back the last digits
    residuals = y - x @ beta
    rss = float(np.sum(w * residuals**2))
    tss = float(np.sum(w * (y - np.average(y, weights=w)) ** 2))
    dof = rows - columns
    covariance = inverse @ inverse.T * (rss / dof)
    return LinearFit(
        coefficients=beta,
        standard_errors=np.sqrt(np.diag(covariance)),
        covariance=covariance,
        residual_sd=float(np.sqrt(rss / dof)),
        r2=1.0 - rss / tss if tss > 0 else 1.0,
        dof=dof,
    )


def t_quantile(probability: float, dof: float) -> float:
    """Quantile of Student's t distribution.

    Parameters
    ----------
    probability : from 0 to 1, ends left out. [-]
    dof : degrees of freedom, > 0. [-]

    Returns
    -------
    float

    Raises
    ------
    OutOfRange : probability not inside (0, 1), dof not positive.

    Notes
    -----
    Inverse of Student's distribution function.

    References
    ----------
    .. [1] Checked against scipy.stats in the tests.

    Examples
    --------
    >>> round(t_quantile(0.975, 8), 3)
    2.306
    """
    from scipy.special import stdtrit  # lazily: slow to import

    if not 0 < probability < 1:
        raise OutOfRange("probability", probability, "a number between 0 and 1, ends left out")
    return float(stdtrit(positive("dof", dof), probability))
