"""Bay balance: odds against closed forms and simulation, detection and false alarms on walls with known faults."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import exponnorm, norm

from estimates.house import BraceKind, BraceRecord, Closure, FloorLineRecord, Framing, WallRecord
from estimates.linework import BayState
from estimates.physics.framing import lay_out
from estimates.physics.validity import OutOfRange
from jobs.balance import (
    BalanceFinding,
    BayFill,
    Errors,
    MixRun,
    Priors,
    Source,
    balance,
    day_close_faults,
    depth_sd_share,
)
from jobs.balance_bays import bay_fills
from jobs.balance_odds import ESCAPE_BAYS, odds
from jobs.balance_trials import trial_rates


def bays(count: int = 9, wall: str = "north", **others: Any) -> list[BayFill]:
    given = {"fill_ft3": 2.7, "sd_ft3": 0.08, "state": BayState.FILLED, "top_in": 92.0, **others}
    return [BayFill(wall, number, **given) for number in range(1, count + 1)]


def run(found: list[BayFill], poured: float, name: str = "m1", **others: Any) -> MixRun:
    return MixRun(name, tuple(bay.key for bay in found), **{"mass_lb": 5.0 * poured, "wet_lb_ft3": 5.0, **others})


# --- odds -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("difference", [-3.0, -1.2, -0.2, 0.0, 0.6, 5.0])
def test_the_odds_of_one_bay_agree_with_closed_forms(difference: float) -> None:
    # D: uniform plus normal is a difference of normal distribution functions; exponential plus normal is in scipy.
    v, s, p, q, least, wrong = 2.7, 0.25, 0.03, 0.02, 0.1, 0.002
    void = (norm.cdf((difference + v) / s) - norm.cdf((difference + least * v) / s)) / (v - least * v)
    mean = ESCAPE_BAYS * v
    escape = exponnorm.pdf(difference, mean / s, scale=s)
    sound = norm.pdf(difference / s) / s
    gross = wrong / (3 * v)
    whole = gross + (1 - wrong) * ((1 - p - q) * sound + p * void + q * escape)
    found = odds(difference, s, [v], [p], [q], least_void_share=least, record_wrong=wrong)
    assert found.void[0] == pytest.approx((1 - wrong) * p * void / whole, abs=1e-7)
    assert found.escape[0] == pytest.approx((1 - wrong) * q * escape / whole, abs=1e-7)
    assert found.record_wrong == pytest.approx(gross / whole, rel=1e-6)
    assert found.any_void == pytest.approx(found.void[0], abs=1e-7)


def test_the_odds_of_many_bays_agree_with_simulated_walls() -> None:
    # D: of simulated walls whose sum lies near the one asked about, count those with a void, add up what lacks.
    rng = np.random.default_rng(5)
    n, volumes, p, q, s = 400_000, np.array([2.0, 3.0, 1.0, 2.5]), 0.15, 0.1, 0.4
    kind = rng.random((n, 4))
    lost = np.where(kind < p, rng.uniform(0.1, 1.0, (n, 4)) * volumes, 0.0)
    away = np.where((kind >= p) & (kind < p + q), rng.exponential(ESCAPE_BAYS * volumes, (n, 4)), 0.0)
    total = (away - lost).sum(axis=1) + s * rng.standard_normal(n)
    for asked in (-2.5, -1.0, 0.0, 3.0):
        near = np.abs(total - asked) < 0.05
        count = int(near.sum())
        found = odds(asked, s, volumes, [p] * 4, [q] * 4, record_wrong=0.0)
        tolerance = 4 * 0.5 / math.sqrt(count)
        assert found.any_void == pytest.approx((lost[near] > 0).any(axis=1).mean(), abs=tolerance)
        assert found.any_escape == pytest.approx((away[near] > 0).any(axis=1).mean(), abs=tolerance)
        assert found.void == pytest.approx((lost[near] > 0).mean(axis=0), abs=tolerance)
        assert sum(found.missing_ft3) == pytest.approx(lost[near].sum(axis=1).mean(), abs=4 * tolerance)


def test_a_difference_beyond_all_bays_makes_the_record_doubtful() -> None:
    assert odds(-60.0, 1.0, [2.7] * 9, [0.01] * 9, [0.005] * 9).record_wrong > 0.99
    assert odds(200.0, 1.0, [2.7] * 9, [0.01] * 9, [0.005] * 9).record_wrong > 0.99


def test_odds_far_out_take_no_longer_and_stay_chances() -> None:
    for difference in (-1e6, 1e6, -24.3, 90.0):
        found = odds(difference, 0.05, [2.7] * 9, [0.5] * 9, [0.5] * 9)
        for chance in (found.any_void, found.any_escape, found.record_wrong, *found.void, *found.escape):
            assert 0.0 <= chance <= 1.0
    with pytest.raises(OutOfRange, match="difference_ft3"):
        odds(-1e6, 0.5, [2.7] * 9, [0.01] * 9, [0.01] * 9, record_wrong=0.0)
    with pytest.raises(OutOfRange, match="a thousandth of the volumes"):
        odds(0.0, 1e-6, [2.7], [0.01], [0.01])
    with pytest.raises(OutOfRange, match="void_priors is '1 and 2'"):
        odds(0.0, 0.1, [2.7, 2.7], [0.01], [0.01] * 2)
    with pytest.raises(OutOfRange, match="a bay at least"):
        odds(0.0, 0.1, [], [], [])


def test_a_run_measured_without_any_error_is_still_judged() -> None:
    exact = Errors(mass=0, density=0, container=0, meter=0, flow=0, fill=0, waste=0, seconds=0)
    found = bays(3, sd_ft3=0.0)
    assert balance(found, [run(found, 8.1)], errors=exact).runs[0].finding is BalanceFinding.AGREES
    assert balance(found, [run(found, 7.0)], errors=exact).runs[0].finding is BalanceFinding.VOID


# --- runs and walls -------------------------------------------------------------------------------------------------


def test_poured_volume_and_its_error_follow_from_weight_density_and_waste_by_hand() -> None:
    # D: 130 / 5.2 - 1 = 24 ft3; the squares are (25 x hypot(.01, .02))^2, (.25 x 1)^2, 9 x .08^2, (.015 x 24)^2 and
    # (.02 x 24.3)^2.
    found = balance(
        bays(), [run(bays(), 25.0, mass_lb=130.0, wet_lb_ft3=5.2, wet_sd_lb_ft3=0.104, waste_ft3=1.0)]
    ).runs[0]
    assert (found.poured_ft3, found.fill_ft3) == (pytest.approx(24.0), pytest.approx(24.3))
    by_hand = math.sqrt(0.3125 + 0.0625 + 0.0576 + 0.1296 + 0.236196)
    assert found.se_ft3 == pytest.approx(by_hand, rel=1e-9)
    assert found.z == pytest.approx(-0.3 / by_hand, rel=1e-9)
    assert found.finding is BalanceFinding.AGREES


def test_a_run_that_is_short_names_the_last_bays_first_and_one_without_return_before_them() -> None:
    found = balance(bays(), [run(bays(), 24.3 - 4.0)])
    assert found.runs[0].finding is BalanceFinding.VOID
    assert [suspect.key[1] for suspect in found.suspects] == [9, 8, 7]
    holes = {"holes_in": (30.0, 60.0, 86.0), "return_at_in": 86.0}
    mixed = bays(**holes)
    mixed[3] = replace(mixed[3], return_at_in=60.0)
    first = balance(mixed, [run(mixed, 24.3 - 4.0)]).suspects[0]
    assert first.key == ("north", 4)
    assert "probe or drill from 5′ 0″ to 7′ 8″" in first.look


def test_a_run_that_took_too_much_says_where_foam_may_have_gone() -> None:
    walled = bays()
    walled[0] = replace(walled[0], ways_out=("sill",))
    found = balance(walled, [run(walled, 24.3 + 8.0)])
    assert found.runs[0].finding is BalanceFinding.ESCAPE
    assert found.suspects[0].key == ("north", 1)
    assert found.suspects[0].look.startswith("an open end was booked here: look at the sill first")


def test_runs_that_share_a_bay_are_compared_together() -> None:
    found = bays()
    runs = [run(found[:5], 12.0), run(found[4:], 12.3, name="m2")]
    result = balance(found, runs)
    assert [each.name for each in result.runs] == ["m1, m2"]
    assert result.runs[0].fill_ft3 == pytest.approx(24.3)
    apart = balance(found, [run(found[:5], 13.5), run(found[5:], 10.8, name="m2")])
    assert [each.name for each in apart.runs] == ["m1", "m2"]
    assert apart.walls[0].poured_ft3 == pytest.approx(24.3)


def test_walls_that_share_a_run_are_compared_together() -> None:
    north, east = bays(3), bays(3, wall="east")
    result = balance(north + east, [run(north + east[:1], 10.8), run(east[1:], 5.4, name="m2")])
    assert [wall.name for wall in result.walls] == ["east, north"]


def test_allotted_volumes_add_up_to_what_was_poured_and_say_so() -> None:
    found = bays()
    found[2] = replace(found[2], fill_ft3=1.2)
    result = balance(found, [run(found, 22.0)])
    assert math.fsum(bay.poured_ft3 for bay in result.bays) == pytest.approx(22.0)
    assert {bay.source for bay in result.bays} == {Source.ALLOTTED}
    assert all(bay.se_ft3 is None for bay in result.bays)


def test_a_reading_of_its_own_finds_the_bay_that_holds_a_void() -> None:
    found = bays()
    readings = {bay.key: 2.7 for bay in found} | {("north", 5): 1.4}
    result = balance(found, [run(found, 23.0, bay_meter_ft3=readings)])
    assert result.suspects[0].key == ("north", 5)
    assert result.suspects[0].chance > 0.9
    seconds = {bay.key: 67.5 for bay in found} | {("north", 5): 35.0}
    by_pump = balance(found, [run(found, 23.0, pump_s=seconds)])
    assert by_pump.suspects[0].key == ("north", 5)
    assert by_pump.bays[0].source is Source.PUMP
    assert by_pump.bays[4].poured_ft3 == pytest.approx(23.0 * 35.0 / (8 * 67.5 + 35.0))


def test_a_meter_alone_is_a_record_of_the_run() -> None:
    found = bays(3)
    alone = MixRun("m1", tuple(bay.key for bay in found), bay_meter_ft3={bay.key: 2.7 for bay in found})
    assert balance(found, [alone]).runs[0].poured_ft3 == pytest.approx(8.1)
    whole = MixRun("m1", tuple(bay.key for bay in found), meter_ft3=9.0, waste_ft3=0.9)
    assert balance(found, [whole]).runs[0].poured_ft3 == pytest.approx(8.1)


def test_a_refused_bay_counts_half_with_a_wide_error_and_is_never_a_suspect() -> None:
    found = bays(5)
    found[1] = replace(found[1], state=BayState.REFUSED)
    result = balance(found, [run(found, 10.8)])
    assert result.runs[0].fill_ft3 == pytest.approx(4 * 2.7 + 1.35)
    assert result.runs[0].se_ft3 > 2.7 / math.sqrt(12)
    assert all(suspect.key != ("north", 2) for suspect in result.suspects)


def test_filled_bays_without_a_mix_leave_the_wall_unjudged() -> None:
    found = bays()
    result = balance(found, [run(found[:7], 18.9)])
    assert result.walls[0].finding is BalanceFinding.NOT_JUDGED
    assert len(result.faults) == 2
    assert result.faults[0].startswith("bay 8 of wall north is filled without a mix")


@pytest.mark.parametrize(
    ("change", "run_change", "said"),
    [
        ({"state": BayState.LEFT}, {}, "bay 1 of wall north, left"),
        ({"reachable": False}, {}, "not reached"),
        ({"fill_ft3": float("nan")}, {}, r"bays\[0\].fill_ft3"),
        ({"fill_ft3": 0.0}, {}, "without room for foam"),
        ({}, {"wet_lb_ft3": None}, r"runs\[0\].wet_lb_ft3 is 'missing'"),
        ({}, {"wet_lb_ft3": 0.0}, r"runs\[0\].wet_lb_ft3 is 0"),
        ({}, {"waste_ft3": 99.0}, "less than the 2.7 ft3 that were mixed"),
        ({}, {"mass_lb": None, "wet_lb_ft3": None}, r"runs\[0\].mass_lb is 'missing'"),
        ({}, {"pump_s": {("south", 1): 3.0}}, "readings of its own bays"),
        ({}, {"bays": ()}, "each once"),
        ({}, {"bays": (("south", 4),)}, "bays that the walls have"),
    ],
)
def test_a_bad_record_is_named_with_what_to_enter(
    change: dict[str, Any], run_change: dict[str, Any], said: str
) -> None:
    found = [replace(bays(1)[0], **change)]
    with pytest.raises(OutOfRange, match=said):
        balance(found, [replace(run(bays(1), 2.7), **run_change)])


def test_other_bad_arguments_are_named_too() -> None:
    with pytest.raises(OutOfRange, match="ask is 1"):
        balance(bays(1), [], ask=1.0)
    with pytest.raises(OutOfRange, match="each bay once"):
        balance(bays(1) * 2, [])
    with pytest.raises(OutOfRange, match="each run once"):
        balance(bays(1), [run(bays(1), 2.7)] * 2)
    with pytest.raises(OutOfRange, match=r"errors\.fill"):
        Errors(fill=float("nan"))
    with pytest.raises(OutOfRange, match=r"priors\.void"):
        Priors(void=0.7)
    with pytest.raises(OutOfRange, match=r"bays\[0\]\.return_at_in"):
        balance(bays(1, return_at_in=float("nan")), [])
    with pytest.raises(OutOfRange, match="escapes is 40"):
        trial_rates(escapes={40: 1.0})


def test_the_error_of_a_depth_is_that_of_a_triangular_distribution() -> None:
    # D: symmetrical triangle, sd = half width / sqrt 6.
    assert depth_sd_share(3.0, 3.5, 4.0) == pytest.approx(0.5 / math.sqrt(6) / 3.5)
    draws = np.random.default_rng(3).triangular(3.2, 3.5, 4.1, 200_000)
    assert depth_sd_share(3.2, 3.5, 4.1) == pytest.approx(draws.std() / 3.5, rel=0.01)
    with pytest.raises(OutOfRange, match="rising order"):
        depth_sd_share(3.5, 3.2, 4.0)


def test_a_day_closes_only_when_every_planned_bay_is_accounted_for() -> None:
    said = day_close_faults(
        [
            (("north", 1), BayState.FILLED, ""),
            (("north", 2), BayState.LEFT, ""),
            (("north", 3), BayState.REFUSED, "knob-and-tube wiring"),
            (("north", 4), BayState.REFUSED, ""),
            (("north", 5), BayState.PLANNED, ""),
            (("north", 6), BayState.DRILLED, "rain"),
        ]
    )
    assert [fault.split(" of ")[0] for fault in said] == ["bay 4", "bay 5", "bay 6"]
    assert said[1].endswith("is still planned: mark it filled, refused with a reason, or left for tomorrow")


# --- bays from a wall as found ----------------------------------------------------------------------------------------


def test_bays_of_a_balloon_wall_know_their_room_their_brace_and_their_ways_out() -> None:
    wall = WallRecord(
        id="e",
        name="East",
        length_ft=12.0,
        height_ft=18.0,
        framing=Framing.BALLOON,
        sill=Closure.BLOCKED_BY_US,
        floor_lines=(FloorLineRecord(id="2", height_in=108.0, closure=Closure.OPEN),),
        braces=(BraceRecord(id="b", from_x_in=0, from_y_in=0, to_x_in=144, to_y_in=144, kind=BraceKind.LET_IN),),
    )
    layout = lay_out(wall)
    states = {bay.number: BayState.FILLED for bay in layout.bays if bay.reachable}
    found = bay_fills(wall, layout, states, room_share=0.8, depth_sd_share=0.05, returns_in={1: 60.0})
    assert [bay.number for bay in found] == [bay.number for bay in layout.bays]
    inner = next(bay for bay in found if bay.state is BayState.FILLED and bay.hidden_in)
    laid = next(bay for bay in layout.bays if bay.number == inner.number)
    assert inner.fill_ft3 == pytest.approx(0.8 * laid.volume_ft3)
    assert inner.sd_ft3 == pytest.approx(0.05 * inner.fill_ft3)
    assert inner.hidden_in[0] == pytest.approx((laid.left_in + laid.right_in) / 2)  # D: a brace at 45 degrees
    low = [bay for bay in found if bay.bottom_in < 3]
    assert all("sill (closed by us)" in bay.ways_out for bay in low)
    assert all(any(way == "floor line 2 (open)" for way in bay.ways_out) for bay in low if bay.top_in > 105)
    assert found[0].return_at_in == 60.0
    with pytest.raises(OutOfRange, match="returns_in is 'bay 999'"):
        bay_fills(wall, layout, states, returns_in={999: 4.0})
    with pytest.raises(OutOfRange, match="room_share is 0"):
        bay_fills(wall, layout, states, room_share=0.0)


# --- detection and false alarms ---------------------------------------------------------------------------------------

TRIALS = 30


def least(share: float) -> float:
    """What a rate of that share gives in TRIALS trials at least, four times in ten thousand less."""
    return share - 3.35 * math.sqrt(share * (1 - share) / TRIALS)


def test_sound_walls_are_rarely_suspected() -> None:
    # The benchmark finds about 5 % by weight alone and 1 % by pump seconds (D, simulation).
    for source in (Source.ALLOTTED, Source.PUMP):
        sound = trial_rates(bays=18, source=source, trials=TRIALS)
        assert sound.void <= 1 - least(0.90)
        assert sound.escape <= 1 - least(0.95)


def test_voids_and_escapes_are_found_at_the_stated_rates() -> None:
    # Stated sizes: half a bay by pump seconds, a whole bay and three bays' volume by weight of runs of nine bays.
    half = trial_rates(bays=18, voids={14: 0.5}, source=Source.PUMP, trials=TRIALS)
    assert min(half.void, half.named) >= least(0.95)
    whole = trial_rates(bays=18, voids={14: 1.0}, trials=TRIALS)
    assert whole.void >= least(0.60)
    away = trial_rates(bays=18, escapes={14: 8.1}, trials=TRIALS)
    assert away.escape >= least(0.95)


def test_a_stated_chance_comes_true_as_often_as_it_says() -> None:
    # D: faults drawn from the priors themselves; mean chance and rate of voids agree within four standard errors.
    rng = np.random.default_rng(11)
    chances, truths = [], []
    for _ in range(600):
        kind = rng.random(9)
        lost = np.where(kind < 0.05, rng.uniform(0.1, 1.0, 9) * 2.7, 0.0)
        away = np.where(kind > 0.98, rng.exponential(ESCAPE_BAYS * 2.7, 9), 0.0)
        difference = float((away - lost).sum() + 0.8 * rng.standard_normal())
        chances.append(odds(difference, 0.8, [2.7] * 9, [0.05] * 9, [0.02] * 9, record_wrong=0.0).any_void)
        truths.append(bool(lost.any()))
    likely = np.array(chances) >= 0.5
    for part in (likely, ~likely):
        expected, seen = np.array(chances)[part], np.array(truths)[part]
        tolerance = 4 * math.sqrt(float((expected * (1 - expected)).sum())) / part.sum()
        assert seen.mean() == pytest.approx(expected.mean(), abs=tolerance)
