"""Dates and areas of the trade's rules against published rules and calendars.

S: printed number seen. M: from memory, unconfirmed. D: derived here by two methods. CP: common practice, no source.
"""

from __future__ import annotations

from datetime import date

import pytest

from estimates.cancellation import business_day_after, is_business_day


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
