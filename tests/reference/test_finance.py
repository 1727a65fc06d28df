"""Money over time against a government handbook and a general finance library.

S: printed number seen. M: from memory, unconfirmed. D: derived here by two methods.
"""

from __future__ import annotations

import math

import numpy as np
import numpy_financial
import pytest

from estimates.physics.finance import NoRate, irr, npv, payment, spv, upv, upv_star


class TestHandbook135:
    def test_factors_at_3_percent_for_15_years(self) -> None:
        # S: NIST Handbook 135: SPV .642, UPV 11.94, UPV* with prices rising 2 % 13.89.
        assert spv(0.03, 15) == pytest.approx(0.642, abs=0.0005)
        assert upv(0.03, 15) == pytest.approx(11.94, abs=0.005)
        assert upv_star(0.03, 0.02, 15) == pytest.approx(13.89, abs=0.005)

    @pytest.mark.parametrize(("years", "factor"), [(20, 14.88), (25, 17.41)])
    def test_uniform_factors_of_longer_terms(self, years: int, factor: float) -> None:
        # M: same tables.
        assert upv(0.03, years) == pytest.approx(factor, abs=0.005)

    @pytest.mark.parametrize("growth", [-0.03, 0.0, 0.02, 0.03, 0.030000000001, 0.09])
    def test_growing_sums_equal_their_plain_sum(self, growth: float) -> None:
        # D: term by term.
        plain = math.fsum(((1 + growth) / 1.03) ** t for t in range(1, 16))
        assert upv_star(0.03, growth, 15) == pytest.approx(plain, rel=1e-9)


class TestLibraryExamples:
    def test_net_present_value(self) -> None:
        # S: documentation of numpy-financial.
        flows = [-40000, 5000, 8000, 12000, 30000]
        assert npv(0.08, flows) == pytest.approx(3065.22267, abs=5e-6)

    def test_rate_of_return(self) -> None:
        # S: documentation of numpy-financial, two examples.
        assert irr([-100, 39, 59, 55, 20]) == pytest.approx(0.28095, abs=5e-6)
        assert irr([-250000, 100000, 150000, 200000, 250000, 300000]) == pytest.approx(0.5672303344358536, rel=1e-12)

    def test_payment(self) -> None:
        # S: documentation of numpy-financial.
        assert payment(200_000.0, 0.075 / 12, 180) == pytest.approx(1854.0247, abs=5e-5)

    def test_random_rows_agree_with_the_library(self) -> None:
        # D: numpy_financial on 200 random loans and rows.
        rng = np.random.default_rng(12)
        for _ in range(200):
            flows = np.concatenate([[-rng.uniform(500, 900)], rng.uniform(20, 150, rng.integers(4, 25))])
            rate = rng.uniform(-0.05, 0.3)
            assert npv(rate, flows) == pytest.approx(numpy_financial.npv(rate, flows), rel=1e-9, abs=1e-9)
            assert irr(flows) == pytest.approx(float(numpy_financial.irr(flows)), abs=1e-9)
            loan = -numpy_financial.pmt(abs(rate), flows.size, 1000.0)
            assert payment(1000.0, abs(rate), float(flows.size)) == pytest.approx(float(loan), rel=1e-9)


def test_a_row_with_two_rates_names_both() -> None:
    # D: -(x - 1.1)(x - 1.3) multiplied out: 10 % and 30 %.
    with pytest.raises(NoRate, match=r"several rates of return \(0.1, 0.3\)"):
        irr([-1.0, 2.4, -1.43])
