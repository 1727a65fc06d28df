"""The coming weeks of the demo: a forecast, and the plan that the solver finds at once."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from django.utils import timezone

from estimates.models import User
from jobs.models import DayWeather
from jobs.schedule_rows import read_board
from jobs.scheduling import solve
from jobs.visits import schedule_apply
from jobs.weather import weather_put
from reports.scenario import ORIGIN

FORECAST_DAYS = 12
"""So many days ahead a forecast says something."""


def weeks_planned(*, by: User, now: datetime) -> int:
    """Enter a forecast and take the first plan; does nothing where days ahead are planned already.

    Returns
    -------
    Phases that were booked.
    """
    first = timezone.localdate(now) + timedelta(days=1)
    if not DayWeather.objects.filter(day__gte=first).exists():
        for ahead in range(FORECAST_DAYS):
            # A cold night and a wet day among mild ones, so that both have something to say.
            low, rain = (Decimal(27), Decimal("0.1")) if ahead == 6 else (Decimal(41), Decimal("0.1"))
            if ahead == 3:
                rain = Decimal("0.7")
            weather_put(
                day=first + timedelta(days=ahead),
                low_f=low,
                high_f=low + 13,
                rain_chance=rain,
                wind_mph=Decimal(8),
                source="Invented forecast of the demo",
                now=now,
            )
    board = read_board(first)
    plan = solve(board.problem, time_limit_s=0.0, seed=1)
    taken = schedule_apply(placements=plan.placements, first=first, digest=board.digest, by=by, now=now, origin=ORIGIN)
    return len(taken.booked)
