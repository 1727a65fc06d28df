"""Least squares against certified reference data sets.

S: printed number seen. M: from memory. D: derived here by two methods.
"""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from estimates.physics.least_squares import fit_linear, t_quantile

# S: NIST StRD "Norris" (ozone monitors), 36 observations, y on x, certified to 15 digits.
NORRIS_X = [
    *(0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5),
    *(11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1),
    *(448.9, 0.5),
]
NORRIS_Y = [
    *(0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9),
    *(10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4),
    *(449.2, 0.2),
]


def test_norris_gives_the_certified_line_and_standard_errors() -> None:
    fit = fit_linear(np.column_stack([np.ones(36), NORRIS_X]), NORRIS_Y)
    assert fit.coefficients == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-11)
    assert fit.standard_errors == pytest.approx([0.232818234301152, 0.429796848199937e-3], rel=1e-11)
    assert fit.residual_sd == pytest.approx(0.884796396144373, rel=1e-12)
    assert fit.r2 == pytest.approx(0.999993745883712, rel=1e-14)
    assert fit.dof == 34


def test_longley_gives_the_certified_coefficients_though_its_columns_almost_repeat_each_other() -> None:
    # S: NIST StRD "Longley", certified intercept and coefficient of the year; data ship with a general library.
    data = sm.datasets.longley.load_pandas()
    fit = fit_linear(np.column_stack([np.ones(16), data.exog.to_numpy()]), data.endog.to_numpy())
    assert fit.coefficients[0] == pytest.approx(-3482258.63459582, rel=1e-9)
    assert fit.coefficients[-1] == pytest.approx(1829.15146461355, rel=1e-9)


def test_weighted_fit_equals_that_of_a_general_library() -> None:
    # D: statsmodels WLS.
    rng = np.random.default_rng(3)
    design = np.column_stack([np.ones(40), rng.normal(size=(40, 2)) * [1.0, 1e4]])
    observed = design @ [2.0, 0.5, 1e-4] + rng.normal(size=40)
    weights = rng.uniform(0.5, 3.0, 40)
    ours, theirs = fit_linear(design, observed, weights), sm.WLS(observed, design, weights).fit()
    assert ours.coefficients == pytest.approx(theirs.params, rel=1e-9)
    assert ours.covariance == pytest.approx(theirs.cov_params(), rel=1e-8)
    assert ours.r2 == pytest.approx(theirs.rsquared, rel=1e-9)


@pytest.mark.parametrize(("dof", "expected"), [(1, 12.706), (5, 2.571), (8, 2.306), (30, 2.042)])
def test_t_quantiles_are_those_of_the_handbook_table(dof: int, expected: float) -> None:
    # M: two-sided 95 % table of Student's t, printed to three digits.
    assert t_quantile(0.975, dof) == pytest.approx(expected, abs=5e-4)
