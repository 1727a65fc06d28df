"""The lead rule: what counts, what is summed, what forces or releases it, and its papers."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.house import Access, Cladding, GateAnswerRecord, HouseRecord, Verdict, WallRecord, house_from_json
from estimates.lead import (
    OUTSIDE,
    Certificate,
    Holes,
    LeadFinding,
    PaintedWork,
    Pamphlet,
    Practice,
    RemovedPiece,
    lead_finding,
    lead_start_gates,
    records_due,
    wall_work,
)
from estimates.physics.validity import OutOfRange
from estimates.pricebook import load_book
from estimates.rules import RuleRow, load_rules, places_of
from estimates.snapshot import take_snapshot
from estimates.start import EarliestStart, earliest_start
from estimates.takeoff import WallTakeoff, wall_take_off

ROWS, PLACES = load_rules(), places_of("NY")
DAY = date(2026, 3, 2)


def found(
    *work: PaintedWork, year: int = 1926, assisted: bool = False, rows: tuple[RuleRow, ...] = ROWS
) -> LeadFinding:
    return lead_finding(rows, PLACES, work, year_built=year, on=DAY, federally_assisted=assisted)


def room(count: int, *, place: str = "hall", on: date = DAY, layers: int = 1) -> PaintedWork:
    return PaintedWork(place, on, (Holes(2.0, count, layers),))


def test_each_room_is_judged_alone_and_the_outside_together() -> None:
    assert not found(room(200), room(200, place="parlour")).holds
    assert found(room(200), room(200)).reasons == ("hall: 8.73 ft2 disturbed, more than 6 ft2",)
    outside = [PaintedWork(OUTSIDE, DAY, (Holes(2.0, 500),)) for _ in range(2)]
    assert found(*outside).holds
    assert not found(outside[0]).holds


def test_work_within_thirty_days_is_one_job_and_later_work_is_another() -> None:
    assert found(room(200), room(200, on=DAY + timedelta(days=29))).holds
    assert not found(room(200), room(200, on=DAY + timedelta(days=31))).holds
    # A window may begin with any work, not only with the first.
    days = (0, 25, 50)
    assert found(*(room(140, on=DAY + timedelta(days=n)) for n in days)).areas[0].first_on == DAY
    assert found(*(room(140, on=DAY + timedelta(days=n)) for n in days)).holds


def test_the_window_that_counts_is_named_by_its_first_and_last_day() -> None:
    later = [room(150, on=DAY + timedelta(days=n)) for n in (40, 50)]
    (area,) = found(room(200), *later).areas
    assert (area.first_on, area.last_on) == (DAY + timedelta(days=40), DAY + timedelta(days=50))


def test_every_painted_layer_drilled_counts() -> None:
    assert not found(room(137, layers=2)).holds
    assert found(room(138, layers=2)).holds


def test_loosened_neighbours_count_with_the_pieces_taken_off() -> None:
    course = RemovedPiece("course", 20.0, 6.0)
    assert not found(PaintedWork(OUTSIDE, DAY, removed=(replace(course, loosened=1),))).holds
    assert found(PaintedWork(OUTSIDE, DAY, removed=(replace(course, loosened=2),))).holds


@pytest.mark.parametrize(
    "change",
    [
        {"removed": (RemovedPiece("shingle", 0.5, 5.0, ruined=True),)},
        {"window_replaced": True},
        {"demolition": True},
        {"practices": (Practice.HEAT_GUN,)},
    ],
)
def test_ruin_windows_demolition_and_prohibited_practice_force_it_at_any_size(change: dict[str, object]) -> None:
    work = replace(room(1), **change)
    assert found(work).holds
    assert found(work).reasons[0].startswith("hall: ")
    assert not found(replace(work, lead_free_test="report 12")).holds


def test_a_lead_free_test_releases_its_own_components_only() -> None:
    result = found(replace(room(400), lead_free_test="report 12"), room(276, place="parlour"))
    assert result.reasons == ("parlour: 6.02 ft2 disturbed, more than 6 ft2",)
    assert result.released == ("hall: free of lead by report 12",)


def test_a_house_of_1978_or_later_is_outside() -> None:
    # S: 40 CFR 745 concerns housing built before 1978.
    assert found(room(999), year=1977).holds
    result = found(room(999), year=1978)
    assert (result.holds, result.built_outside, result.reasons) == (False, True, ("built in 1978, not before 1978",))


def test_federal_assistance_lowers_the_limits() -> None:
    # S: 24 CFR 35.1350(d): 2 ft2 in a room, 20 ft2 outside, 10 percent of a small component.
    assert not found(room(91), assisted=True).holds
    assert found(room(92), assisted=True).holds
    sill = RemovedPiece("window sills", 2.0, 6.0, kind_ft2=10.0)
    assert not found(PaintedWork("hall", DAY, removed=(sill,)), assisted=True).holds
    wide = replace(sill, kind_ft2=9.9)
    assert found(PaintedWork("hall", DAY, removed=(wide,)), assisted=True).reasons == (
        "hall: 10% of window sills disturbed, more than 10%",
    )
    assert not found(PaintedWork("hall", DAY, removed=(wide,))).holds


def test_a_state_row_takes_the_place_of_the_federal_limit() -> None:
    row = next(row for row in ROWS if row.topic == "lead.exempt_ft2_inside_room")
    strict = replace(row, jurisdiction="US-NY", value=3)
    assert found(room(138), rows=(*ROWS, strict)).holds
    assert not found(room(138)).holds
    assert found(room(138)).areas[0].rule == row


def test_bad_sizes_are_refused_by_name() -> None:
    for bad, name in (
        (Holes(0.0, 1), "diameter_in"),
        (Holes(2.0, -1), "count"),
        (Holes(float("nan"), 1), "diameter_in"),
        (RemovedPiece("x", -1.0, 6.0), "length_ft"),
        (RemovedPiece("x", 1.0, 0.0), "face_in"),
    ):
        with pytest.raises(OutOfRange, match=name):
            _ = bad.area_ft2


@given(st.lists(st.tuples(st.integers(0, 300), st.integers(0, 90)), min_size=1, max_size=8))
def test_the_sum_is_the_greatest_of_all_windows(parts: list[tuple[int, int]]) -> None:
    # Independent method: try every day as the first of a window.
    work = [room(count, on=DAY + timedelta(days=day)) for count, day in parts]
    best = max(sum(c for c, d in parts if first <= d <= first + 30) for first in range(91))
    (area,) = found(*work).areas
    assert area.area_ft2 == pytest.approx(best * 3.141592653589793 / 144, abs=1e-9)


def counted(**changes: object) -> WallTakeoff:
    wall = WallRecord(id="n", name="n", length_ft=24.0, height_ft=8.0, **changes)
    return wall_take_off(wall, load_book("standard"), year_built=1926)


def test_a_wall_gives_its_own_disturbed_area() -> None:
    wall = counted(cladding_exposure_in=5.0)
    lifted = wall_work(wall, on=DAY, hole_in=2.0, lap_in=1.0)
    assert lifted.place == OUTSIDE
    assert lifted.area_ft2 == pytest.approx(wall.cladding_lift_ft * 6.0 / 12)
    drilled = wall_work(counted(access=Access.DRILL_CLADDING), on=DAY, hole_in=2.0)
    assert drilled.area_ft2 == pytest.approx(wall.plugs * 3.141592653589793 / 144)
    inside = wall_work(counted(access=Access.DRILL_INSIDE), on=DAY, hole_in=2.0, room="hall", painted_layers=2)
    assert (inside.place, inside.area_ft2) == ("hall", pytest.approx(2 * drilled.area_ft2))
    with pytest.raises(OutOfRange, match="room"):
        wall_work(counted(access=Access.DRILL_INSIDE), on=DAY, hole_in=2.0)


def test_unpainted_cladding_disturbs_nothing_unless_the_assessor_says_so() -> None:
    vinyl = counted(cladding=Cladding.VINYL, access=Access.DRILL_CLADDING)
    assert wall_work(vinyl, on=DAY, hole_in=2.0).area_ft2 == 0
    assert wall_work(vinyl, on=DAY, hole_in=2.0, cladding_painted=True).area_ft2 > 0


class TestPapers:
    FIRM = Certificate("the firm", date(2024, 1, 1), date(2029, 1, 1))
    RENOVATOR = Certificate("the renovator", date(2023, 1, 1), date(2028, 1, 1))

    def start(self, pamphlet: Pamphlet, firm: Certificate = FIRM) -> EarliestStart:
        gates = lead_start_gates(ROWS, PLACES, firm=firm, renovator=self.RENOVATOR, pamphlet=pamphlet, on=DAY)
        return earliest_start(gates, not_before=DAY)

    def test_a_pamphlet_handed_over_lets_work_start_the_same_day_and_for_sixty_days(self) -> None:
        # S for the 7 days of mail (a government answer to a frequent question), M for the 60.
        assert self.start(Pamphlet(DAY, proof="signed")).day == DAY
        assert self.start(Pamphlet(DAY - timedelta(days=60), proof="signed")).day == DAY
        assert self.start(Pamphlet(DAY - timedelta(days=61), proof="signed")).day is None

    def test_a_mailed_one_needs_seven_days_and_any_needs_proof(self) -> None:
        mailed = self.start(Pamphlet(DAY, mailed=True, proof="certificate of mailing"))
        assert mailed.day == DAY + timedelta(days=7)
        assert self.start(Pamphlet(DAY)).waiting == ("lead pamphlet with proof",)

    def test_a_certificate_that_is_missing_or_has_run_out_is_named(self) -> None:
        given_out = Pamphlet(DAY, proof="signed")
        missing = self.start(given_out, Certificate("the firm", None, None))
        assert missing.waiting == ("certificate of the firm",)
        over = self.start(given_out, Certificate("the firm", date(2020, 1, 1), date(2026, 3, 1)))
        assert "certificate of the firm ends on 2026-03-01" in over.sentence

    def test_records_are_due_with_the_invoice_or_in_thirty_days_and_kept_three_years(self) -> None:
        # S: 40 CFR 745.86 as told on a public help page.
        late = records_due(ROWS, PLACES, completed_on=DAY, final_invoice_on=date(2026, 5, 1))
        assert (late.give_by, late.keep_until) == (date(2026, 4, 1), date(2029, 3, 2))
        assert records_due(ROWS, PLACES, completed_on=DAY, final_invoice_on=date(2026, 3, 9)).give_by == date(
            2026, 3, 9
        )


class TestOption:
    """Which walls of an option are worked lead-safe, and what that costs."""

    HOUSES = Path(__file__).resolve().parents[2] / "fixtures" / "houses"

    def house(self) -> HouseRecord:
        house = house_from_json((self.HOUSES / "mill-cape.json").read_text(encoding="utf-8"))
        lifted = {"access": Access.LIFT_CLADDING, "cladding": Cladding.WOOD_BEVEL, "painted": None}
        return replace(house, walls=tuple(replace(wall, **lifted) for wall in house.walls))

    def finding(self, **changes: Any) -> tuple[LeadFinding, tuple[str, ...], int]:
        bare = {"gate_answers": (), "gate_releases": ()}
        snapshot = take_snapshot(replace(self.house(), **bare | changes), load_book("standard"))
        return snapshot.lead[0], snapshot.options[0].lead_safe, snapshot.options[0].cost_cents

    def answer(self, verdict: Verdict, *parts: str) -> GateAnswerRecord:
        return GateAnswerRecord(
            hazard="lead_paint", verdict=verdict, note="test 7", answered_on=date(2026, 3, 2), parts=parts or None
        )

    def test_old_painted_walls_are_worked_lead_safe_and_cost_more(self) -> None:
        old, walls, cost = self.finding(year_built=1951)
        assert old.holds
        assert walls
        young, none, less = self.finding(year_built=1985)
        assert (young.holds, young.built_outside, none) == (False, True, ())
        assert cost > less

    def test_a_test_that_found_no_lead_releases_its_wall(self) -> None:
        _, walls, _ = self.finding(year_built=1951)
        _, left, _ = self.finding(year_built=1951, gate_answers=(self.answer(Verdict.CLEAR, walls[0]),))
        assert set(left) == set(walls) - {walls[0]}
        finding, none, _ = self.finding(year_built=1951, gate_answers=(self.answer(Verdict.CLEAR),))
        assert (finding.holds, none) == (False, ())

    def test_controls_ask_for_lead_safe_work_under_any_limit(self) -> None:
        first = self.house().walls[0].id
        bare = tuple(replace(wall, painted=False) for wall in self.house().walls)
        finding, walls, _ = self.finding(
            year_built=1951, walls=bare, gate_answers=(self.answer(Verdict.CONTROLS, first),)
        )
        assert (finding.holds, walls) == (False, (first,))
