"""Attic figures against printed ones and hand arithmetic. S number seen, M memory, D derived, CP common practice."""

import math
from dataclasses import dataclass

import pytest

from estimates.physics.attic import (
    SETTLEMENT,
    area_weighted_u,
    bags,
    bags_per_1000_ft2,
    coverage_row,
    coverage_row_for_r,
    initial_thickness_in,
    net_free_area_in2,
    settled_thickness_in,
    weight_lb_ft2,
)


@dataclass(frozen=True)
class Line:
    r: float
    settled_in: float
    initial_in: float
    bags_per_1000_ft2: float
    lb_ft2: float = 1.0


# S: one line each of a stabilised and of a loose cellulose coverage chart, printed side by side in a trade article;
# it prints no weights and nothing here uses them.
STABILISED_19 = Line(19, 5.26, 5.38, 17.2)
LOOSE_19 = Line(19, 5.4, 6.1, 20.7)


def test_r_49_of_cellulose():
    # D: 3.6 per in, 1.6 lb/ft3 settled, 25 lb bag; by hand 49/3.6, x 1.6/12, x 1000/25, / 0.87.
    settled = settled_thickness_in(49, 3.6)
    weight = weight_lb_ft2(settled, 1.6)
    assert settled == pytest.approx(13.61, abs=0.005)
    assert weight == pytest.approx(1.815, abs=0.0005)
    assert bags_per_1000_ft2(weight, 25) == pytest.approx(72.6, abs=0.05)
    assert initial_thickness_in(settled, 0.13) == pytest.approx(15.64, abs=0.005)
    assert bags(1000, bags_per_1000_ft2(weight, 25)) == 73


@pytest.mark.parametrize(
    ("area", "ratio", "printed"),
    [
        pytest.param(1500, 150, 1440, id="IRC R806.2, S"),
        pytest.param(1500, 300, 720, id="IRC R806.2 with its conditions, S"),
        pytest.param(300, 150, 2 * 144, id="1 ft2 in and 1 ft2 out for every 300 ft2, an old code with its reading, S"),
    ],
)
def test_net_free_vent_area(area, ratio, printed):
    assert net_free_area_in2(area, ratio) == pytest.approx(printed, abs=0.5)


def test_a_bare_hatch_takes_a_fifth_off_an_attic():
    # D: 1,000 ft2 of R-49 of which a 10 ft2 hatch has R-2; by hand 1000 / (990/49 + 10/2).
    assert 1 / area_weighted_u([990, 10], [49, 2]) == pytest.approx(39.7, abs=0.05)


def test_dense_packed_cellulose_weighs_what_the_guide_says():
    # S: 3.5 lb/ft3 in 3.5 in is about 1.0 lb/ft2 (state guide); 25 lb bag covers 24.5 ft2.
    weight = weight_lb_ft2(3.5, 3.5)
    assert weight == pytest.approx(1.02, abs=0.005)
    assert 1000 / bags_per_1000_ft2(weight, 25) == pytest.approx(24.5, abs=0.05)


@pytest.mark.parametrize(
    ("material", "printed"), [("loose_cellulose", 0.20), ("loose_glass", 0.04), ("loose_rock_wool", 0.02)]
)
def test_settlement_on_open_attic_floors(material, printed):
    assert SETTLEMENT[material].best == printed  # S: public guide


@pytest.mark.parametrize(
    ("line", "printed_settlement"),
    [
        pytest.param(STABILISED_19, 0.05, id="stabilised, within 5 % of settled density, S"),
        pytest.param(LOOSE_19, 0.115, id="loose, 5.4 in of 6.1 in, S"),
    ],
)
def test_printed_charts_settle_by_less_than_the_open_attic_default(line, printed_settlement):
    settlement = 1 - line.settled_in / line.initial_in
    assert settlement <= printed_settlement + 0.005
    assert initial_thickness_in(line.settled_in, settlement) == pytest.approx(line.initial_in, abs=0.005)
    assert settlement < SETTLEMENT["loose_cellulose"].best


def test_rows_are_taken_from_the_chart_and_never_between_its_lines():
    table = [STABILISED_19, Line(30, 8.3, 8.5, 27.2)]
    assert coverage_row(table, 5.26) is STABILISED_19  # exactly reached
    assert coverage_row(table, 8.29) is STABILISED_19  # not quite the next line
    assert coverage_row_for_r(table, 19.1).r == 30
    assert bags(58.2, STABILISED_19.bags_per_1000_ft2) == math.ceil(58.2 * 17.2 / 1000)  # 58.2 ft2 a bag is printed, S
