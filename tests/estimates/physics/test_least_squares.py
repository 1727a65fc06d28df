"""Behaviour of the least-squares fit at its door."""

from __future__ import annotations

import numpy as np
import pytest

from estimates.physics.least_squares import fit_linear, t_quantile
from estimates.physics.validity import OutOfRange


def test_dependent_columns_are_refused() -> None:
    x = np.arange(5.0)
    with pytest.raises(OutOfRange, match="dependent columns"):
        fit_linear(np.column_stack([np.ones(5), x, 2 * x + 1]), x)


@pytest.mark.parametrize(
    ("design", "observed", "weights"),
    [
        ([[1, 0], [1, 1]], [1, 2], None),
        ([[1, 0], [1, 1], [1, 2]], [1, 2], None),
        ([[1, 0], [1, 0], [1, 0]], [1, 2, 3], None),
        ([[1, 0], [1, 1], [1, 2]], [1, float("nan"), 3], None),
        ([[1, 0], [1, 1], [1, 2]], [1, 2, 3], [1, 1]),
        ([[1, 0], [1, 1], [1, 2]], [1, 2, 3], [1, 0, 1]),
    ],
)
def test_bad_tables_are_refused_by_name(design: object, observed: object, weights: object) -> None:
    with pytest.raises(OutOfRange, match=r"design|observed|weights"):
        fit_linear(design, observed, weights)  # type: ignore[arg-type]


def test_equal_weights_change_nothing() -> None:
    rng = np.random.default_rng(1)
    design, observed = np.column_stack([np.ones(9), np.arange(9)]), rng.normal(size=9)
    assert fit_linear(design, observed, np.full(9, 7.0)).covariance == pytest.approx(
        fit_linear(design, observed).covariance
    )


def test_a_quantile_at_an_end_is_refused() -> None:
    with pytest.raises(OutOfRange, match="probability"):
        t_quantile(1.0, 4)
