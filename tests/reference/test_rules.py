"""Dates and areas of the trade's rules against published rules and calendars.

S: printed number seen. M: from memory, unconfirmed. D: derived here by two methods. CP: common practice, no source.
"""

from __future__ import annotations

from datetime import date

import pytest

from estimates.cancellation import business_day_after, is_business_day
from estimates.lead import OUTSIDE, Holes, PaintedWork, RemovedPiece, lead_finding
from estimates.rules import load_rules


class TestCancellation:
    # S for the definition: 16 CFR 429.0, "any calendar day except Sunday or any federal holiday", as cited by a state's
    # division of banks; S that 3 July 2026 as an observed day is disputed: a bankers' journal on 12 CFR 1026.2(a)(6).
    # D for the dates: counted by hand on the calendar. Where two are given, the second skips the observed day too.
    @pytest.mark.parametrize(
        ("signed", "last", "safe"),
        [
            (date(2026, 3, 6), date(2026, 3, 10), None),
            (date(2026, 5, 22), date(2026, 5, 27), None),
            (date(2026, 7, 2), date(2026, 7, 7), date(2026, 7, 8)),
            (date(2026, 11, 25), date(2026, 11, 30), None),
            (date(2026, 12, 23), date(2026, 12, 28), None),
            (date(2027, 6, 17), date(2027, 6, 22), date(2027, 6, 23)),
            (date(2027, 12, 29), date(2028, 1, 3), date(2028, 1, 4)),
        ],
    )
    def test_third_business_day(self, signed: date, last: date, safe: date | None) -> None:
        assert business_day_after(signed, 3, observed=False) == last
        assert business_day_after(signed, 3) == (safe or last)

    @pytest.mark.parametrize(
        ("day", "business"),
        [
            (date(2026, 3, 7), True),  # a Saturday
            (date(2026, 3, 8), False),  # a Sunday
            (date(2026, 1, 19), False),  # S: third Monday of January, 5 USC 6103(a)
            (date(2026, 2, 16), False),  # third Monday of February
            (date(2026, 5, 25), False),  # last Monday of May
            (date(2026, 6, 19), False),  # Juneteenth, since 2021
            (date(2026, 9, 7), False),  # first Monday of September
            (date(2026, 10, 12), False),  # second Monday of October
            (date(2026, 11, 11), False),  # Veterans Day
            (date(2026, 11, 26), False),  # fourth Thursday of November
            (date(2026, 11, 27), True),  # the day after Thanksgiving is none of the law
            (date(2026, 12, 25), False),
            (date(2026, 12, 24), True),
        ],
    )
    def test_holidays_of_the_federal_law(self, day: date, business: bool) -> None:
        assert is_business_day(day) is business


class TestLeadAreas:
    # S for the limits: 40 CFR 745.83 (6 ft2 a room, 20 ft2 outside) as quoted by the federal agency's answer.
    # D for the counts: area of one hole is pi/144 ft2, so 6 ft2 hold 864/pi = 275.02 and 20 ft2 hold 2880/pi = 916.73.
    def test_one_hole_of_two_inches(self) -> None:
        # D, printed to five decimals.
        assert Holes(2.0, 1).area_ft2 == pytest.approx(0.02182, abs=5e-6)

    @pytest.mark.parametrize(
        ("place", "holes", "holds"),
        [("hall", 275, False), ("hall", 276, True), (OUTSIDE, 916, False), (OUTSIDE, 917, True)],
    )
    def test_two_inch_holes(self, place: str, holes: int, holds: bool) -> None:
        # S for the limits, D for the counts.
        work = PaintedWork(place, date(2026, 3, 2), (Holes(2.0, holes),))
        assert self.holds(work) is holds

    @pytest.mark.parametrize(("length_ft", "holds"), [(40.0, False), (40.1, True)])
    def test_one_course_of_six_inches_full_painted_face(self, length_ft: float, holds: bool) -> None:
        # S: "the entire surface area removed is the amount of painted surface disturbed"; D: 40 ft x 0.5 ft = 20 ft2.
        work = PaintedWork(OUTSIDE, date(2026, 3, 2), removed=(RemovedPiece("course", length_ft, 6.0),))
        assert self.holds(work) is holds

    def test_a_strip_cut_off_a_door(self) -> None:
        # S: the federal agency's answer: 1 in off a door 36 in wide disturbs 36 square inches.
        assert RemovedPiece("strip", 3.0, 1.0).area_ft2 * 144 == pytest.approx(36, abs=1e-9)

    def holds(self, work: PaintedWork) -> bool:
        return lead_finding(load_rules(), ("US",), [work], year_built=1926, on=work.on).holds
