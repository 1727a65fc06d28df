"""Fresh air against printed tables and formulas of the ventilation standard.

S: printed number seen. M: from memory, unconfirmed. D: derived here by two methods.
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Decimal

import pytest

from estimates.physics.airtightness import ela_in2
from estimates.physics.ventilation import (
    LocalExhaust,
    LocalRoom,
    effective_infiltration,
    infiltration_credit,
    local_shortfall,
    required_fan,
    table_rate,
    whole_house_rate,
)


@pytest.mark.parametrize(
    ("band_top", "printed"),
    [
        (500, (30, 38, 45, 53, 60)),
        (2000, (75, 83, 90, 98, 105)),
        (2500, (90, 98, 105, 113, 120)),
        (5000, (165, 173, 180, 188, 195)),
    ],
)
def test_table_rows_for_one_to_five_bedrooms(band_top: int, printed: tuple[int, ...]) -> None:
    # S: ASHRAE 62.2 Table 4.1a as reprinted in a mechanical code appendix. Halves round up, unlike Python's round.
    for bedrooms, rate in enumerate(printed, start=1):
        assert table_rate(float(band_top), bedrooms) == rate
        assert table_rate(band_top - 499.0, bedrooms) == rate


def test_every_band_of_the_table_is_the_formula_half_rounded_up() -> None:
    # D: decimal arithmetic of the standard library.
    for band in range(1, 11):
        for bedrooms in range(1, 6):
            exact = Decimal("0.03") * 500 * band + Decimal("7.5") * (bedrooms + 1)
            assert table_rate(500.0 * band, bedrooms) == int(exact.quantize(Decimal(1), ROUND_HALF_UP))


@pytest.mark.parametrize(("floor", "rate"), [(2400.0, 102.0), (1800.0, 84.0)])
def test_formula_for_three_bedrooms(floor: float, rate: float) -> None:
    # S: worked values printed with the formula.
    assert whole_house_rate(floor, 3) == pytest.approx(rate, abs=1e-9)


class TestInfiltration:
    @pytest.mark.parametrize(("storeys", "factor"), [(1, 1.00), (1.5, 1.18), (2, 1.32), (2.5, 1.44), (3, 1.55)])
    def test_height_factors_of_a_government_page(self, storeys: float, factor: float) -> None:
        # S: table of S-factors by storeys, printed to 0.01; storeys of 8.2 ft.
        ratio = effective_infiltration(100.0, 8.2 * storeys, 0.6) / effective_infiltration(100.0, 8.2, 0.6)
        assert ratio == pytest.approx(factor, abs=0.005)

    def test_short_formula_of_a_government_page(self) -> None:
        # S: Q = 0.052 wsf S Q50, printed to 0.001; the long way gives 0.0522.
        per_cfm50 = effective_infiltration(ela_in2(1000.0), 8.2, 1.0) / 1000
        assert per_cfm50 == pytest.approx(0.052, abs=0.0005)

    def test_equals_normalized_leakage_written_out(self) -> None:
        # D: NL = 1000 ELA/A (H/8.2)^0.4, Q = NL wsf A / 7.3, with an area that cancels.
        area = 1731.0
        leakage = 1000 * (93.0 / 144 / area) * (17.0 / 8.2) ** 0.4
        assert effective_infiltration(93.0, 17.0, 0.55) == pytest.approx(leakage * 0.55 * area / 7.3, rel=1e-12)


class TestCredit:
    def test_2010_gives_half_of_the_excess_over_2_cfm_per_100_ft2(self) -> None:
        # S: rule printed in public explanations; by hand (90 - 40)/2.
        assert infiltration_credit(60.0, 90.0, 2000.0, edition="62.2-2010") == pytest.approx(25.0)

    def test_2013_gives_all_of_it_in_existing_dwellings(self) -> None:
        # S: government page.
        assert infiltration_credit(100.0, 55.0, 2000.0, edition="62.2-2013") == pytest.approx(55.0)

    def test_2013_limits_new_dwellings_to_two_thirds(self) -> None:
        # M: two thirds of the total rate.
        credit = infiltration_credit(90.0, 85.0, 2000.0, edition="62.2-2013", existing=False)
        assert credit == pytest.approx(60.0)

    def test_2016_adds_unbalanced_fans_by_superposition(self) -> None:
        # M: phi = Q_inf/Q_tot; by hand 55 x 55/100.
        assert infiltration_credit(100.0, 55.0, 2000.0) == pytest.approx(30.25)
        assert infiltration_credit(100.0, 55.0, 2000.0, balanced=True) == pytest.approx(55.0)


def test_shortfall_is_a_quarter_of_the_missing_local_exhaust() -> None:
    # S: kitchen 100, bath 50, a quarter of the deficit; M: 20 cfm for an openable window.
    # By hand: kitchen 100 - 60 = 40, bath 50 - 0 - 20 = 30, bath with 80 cfm none; (40 + 30)/4.
    rooms = (
        LocalExhaust(LocalRoom.KITCHEN, 60.0, False),
        LocalExhaust(LocalRoom.BATH, 0.0, True),
        LocalExhaust(LocalRoom.BATH, 80.0, True),
    )
    assert local_shortfall(rooms, "62.2-2013") == pytest.approx(17.5)


def test_terms_add_to_the_fan() -> None:
    # D: by hand: 84 + 25 - 55.
    fan = required_fan(*(1800.0, 3, 55.0), rooms=(LocalExhaust(LocalRoom.KITCHEN, 0.0, False),), edition="62.2-2013")
    assert fan.fan_cfm == pytest.approx(54.0)
    assert math.fsum(term.cfm for term in fan.terms) == pytest.approx(fan.fan_cfm)


@pytest.mark.parametrize(("edition", "needed"), [("62.2-2013", True), ("62.2-2016", False), ("62.2-2019", True)])
def test_small_fans_are_excused_by_edition(edition: str, needed: bool) -> None:
    # M: under 15 cfm in the 2016 edition, under 10 cfm in that of 2019; here 12 cfm remain.
    fan = required_fan(1800.0, 3, 72.0, edition=edition, balanced=True)
    assert fan.fan_cfm == pytest.approx(12.0)
    assert fan.fan_needed is needed
