"""Leakage cut against the promise, depth of loose fill against what was sold."""

from __future__ import annotations

import math

import numpy as np
import pytest

from estimates.physics.airtightness import fit_power_law
from estimates.physics.least_squares import t_quantile
from estimates.physics.uncertainty import Percentiles
from estimates.physics.validity import OutOfRange
from jobs.verification_rules import Judged, LeakageJudged, Measured, judge_depth, judge_leakage, reduction

PROMISE = Percentiles(1600.0, 1750.0, 1900.0)


def judged(after: float, se: float = 50.0, warnings: tuple[str, ...] = ()) -> LeakageJudged:
    return judge_leakage(
        Measured(2400.0, 60.0), Measured(after, se, warnings), promised_before_cfm50=2400.0, promised_after=PROMISE
    )


def test_the_error_of_a_cut_agrees_with_drawn_tests() -> None:
    # D: standard deviation and P10, P90 of 1 - Q1 / Q0 over normal draws; a ratio is not quite normal, hence 2 %.
    rng = np.random.default_rng(2)
    cut = reduction(Measured(2400.0, 72.0), Measured(1800.0, 54.0))
    drawn = 1 - rng.normal(1800.0, 54.0, 400_000) / rng.normal(2400.0, 72.0, 400_000)
    assert cut.share == pytest.approx(0.25)
    assert cut.se == pytest.approx(drawn.std(), rel=0.02)
    low, high = np.percentile(drawn, [10, 90])
    assert (cut.low, cut.high) == (pytest.approx(low, abs=0.002), pytest.approx(high, abs=0.002))


def test_the_interval_of_a_cut_covers_the_truth_of_simulated_tests() -> None:
    # D: fans of eight readings with 2 % scatter before and after; 80 % within 3.5 binomial standard errors and two
    # points, since each fit's standard error is an estimate with six degrees of freedom.
    rng = np.random.default_rng(6)
    pressures = np.linspace(15.0, 60.0, 8)

    def tested(cfm50: float) -> Measured:
        flows = cfm50 * (pressures / 50.0) ** 0.65 * np.exp(0.02 * rng.standard_normal(8))
        fit = fit_power_law(pressures, flows)
        return Measured(fit.cfm50, fit.cfm50 * math.log(fit.cfm50_high / fit.cfm50) / t_quantile(0.975, 6))

    trials = 600
    found = [reduction(tested(2400.0), tested(1700.0)) for _ in range(trials)]
    held = sum(cut.low <= 1 - 1700 / 2400 <= cut.high for cut in found) / trials
    assert held == pytest.approx(0.8, abs=3.5 * math.sqrt(0.8 * 0.2 / trials) + 0.02)


@pytest.mark.parametrize(
    ("after", "expected", "said"),
    [
        (1750.0, Judged.GOOD, "27 % "),
        (1899.0, Judged.GOOD, "promised"),
        (1950.0, Judged.LOOK_AGAIN, "within what the tests can tell"),
        (2300.0, Judged.REDO, "beyond doubt"),
        (2600.0, Judged.REDO, "cut by -8 %"),
        (1200.0, Judged.LOOK_AGAIN, "more than promised"),
    ],
)
def test_a_cut_is_judged_against_the_promise(after: float, expected: Judged, said: str) -> None:
    found = judged(after)
    assert found.judged is expected
    assert said in found.words


def test_a_doubtful_test_is_repeated_before_anything_is_redone() -> None:
    found = judged(2300.0, warnings=("readings scatter",))
    assert found.judged is Judged.LOOK_AGAIN
    assert "repeat the test first: readings scatter" in found.words
    assert judged(1750.0, warnings=("readings scatter",)).judged is Judged.GOOD


def test_a_test_of_another_day_than_the_estimates_is_compared_by_share() -> None:
    found = judge_leakage(
        Measured(2000.0, 40.0), Measured(1500.0, 30.0), promised_before_cfm50=2400.0, promised_after=PROMISE
    )
    assert found.cut.share == pytest.approx(0.25)
    assert found.promised.p10 == pytest.approx(1 - 1900 / 2400)
    assert found.judged is Judged.GOOD


def test_bad_leakage_is_named() -> None:
    with pytest.raises(OutOfRange, match=r"after\.cfm50 is 0"):
        judged(0.0)
    with pytest.raises(OutOfRange, match="repeat the test"):
        judged(1800.0, se=1000.0)
    with pytest.raises(OutOfRange, match="rising order"):
        judge_leakage(
            Measured(2400.0, 60.0),
            Measured(1800.0, 50.0),
            promised_before_cfm50=2400.0,
            promised_after=Percentiles(1900.0, 1750.0, 1600.0),
        )


# --- depth ------------------------------------------------------------------------------------------------------------


def test_an_attic_that_reaches_its_depth_is_good() -> None:
    found = judge_depth([16.0, 15.8, 15.7, 16.4], wanted_in=15.7, area_ft2=1200.0)
    assert (found.judged, found.reaching, found.missing_ft3) == (Judged.GOOD, 1.0, 0.0)


def test_what_lacks_is_a_volume_by_hand() -> None:
    # D: 1,200 ft2, wanted 15 in, short by 0, 3, 0, 1 in: mean 1 in x 1,200 / 12 = 100 ft3.
    found = judge_depth([15.0, 12.0, 16.0, 14.0], wanted_in=15.0, area_ft2=1200.0)
    assert found.missing_ft3 == pytest.approx(100.0)
    assert (found.mean_in, found.least_in, found.reaching) == (14.25, 12.0, 0.5)


@pytest.mark.parametrize(
    ("readings", "area", "expected", "said"),
    [
        ([16.0, 16.0, 16.0], 800.0, Judged.LOOK_AGAIN, "take 1 more"),
        ([16.0] * 6, 2000.0, Judged.LOOK_AGAIN, "7 readings wanted"),
        ([16.0, 17.0, 17.0, 12.0], 800.0, Judged.LOOK_AGAIN, "rake it level"),
        ([15.0, 16.0, 14.5, 16.0], 800.0, Judged.LOOK_AGAIN, "less than these readings can tell"),
        ([12.0, 12.5, 12.2, 11.9], 800.0, Judged.REDO, "blow more"),
        ([15.0, 15.0, 15.0, 15.0], 800.0, Judged.REDO, "blow more"),
    ],
)
def test_depths_are_judged(readings: list[float], area: float, expected: Judged, said: str) -> None:
    found = judge_depth(readings, wanted_in=15.5, area_ft2=area)
    assert found.judged is expected
    assert said in found.words


def test_bad_depths_are_named() -> None:
    with pytest.raises(OutOfRange, match="readings_in is 'none'"):
        judge_depth([], wanted_in=15.0, area_ft2=900.0)
    with pytest.raises(OutOfRange, match=r"readings_in\[1\] is -2"):
        judge_depth([15.0, -2.0], wanted_in=15.0, area_ft2=900.0)
    with pytest.raises(OutOfRange, match="wanted_in"):
        judge_depth([15.0], wanted_in=float("nan"), area_ft2=900.0)
    with pytest.raises(OutOfRange, match=r"least_share is 1\.2"):
        judge_depth([15.0], wanted_in=15.0, area_ft2=900.0, least_share=1.2)


def test_verdicts_are_those_of_the_rows() -> None:
    from jobs.models import Verdict

    assert [each.value for each in Judged] == list(Verdict.values)
