"""Whether a wall may be injected and then covered: wet framing, drying, cold."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from estimates.conditions import (
    MIDDAY,
    START,
    THINGS,
    DryingHold,
    DryingRelease,
    FramingReading,
    TemperatureLimits,
    TemperatureReading,
    drying_hold,
    may_inject,
    missing_readings,
    product_limits,
    wet_walls,
)
from estimates.physics.validity import OutOfRange
from estimates.pricebook import load_book

FOAM = load_book("standard").foam
DAY = date(2026, 3, 2)


class TestFraming:
    @pytest.mark.parametrize(("content", "held"), [(0.18, False), (0.181, True), (0.12, False)])
    def test_framing_above_the_limit_keeps_a_wall_from_being_injected(self, content: float, held: bool) -> None:
        # S: 18 % by a federal programme's guide; the limit itself is allowed.
        assert ("n" in wet_walls([FramingReading("n", DAY, content)], ["n"])) is held

    def test_the_latest_day_and_of_it_the_wettest_reading_count(self) -> None:
        dried = [FramingReading("n", DAY, 0.25), FramingReading("n", DAY + timedelta(days=9), 0.15)]
        assert wet_walls(dried, ["n"]) == {}
        assert "n" in wet_walls([*dried, FramingReading("n", DAY + timedelta(days=9), 0.19)], ["n"])

    def test_a_wall_not_measured_is_held_and_another_walls_reading_does_not_help(self) -> None:
        assert "not measured" in wet_walls([FramingReading("s", DAY, 0.1)], ["n"])["n"]

    def test_a_limit_of_the_firm_replaces_the_default(self) -> None:
        assert wet_walls([FramingReading("n", DAY, 0.19)], ["n"], limit=0.20) == {}

    def test_percent_instead_of_a_share_is_refused(self) -> None:
        with pytest.raises(OutOfRange, match="content is 18; enter a number from 0 to 1"):
            wet_walls([FramingReading("n", DAY, 18.0)], ["n"])
        with pytest.raises(OutOfRange, match="limit"):
            wet_walls([], ["n"], limit=0.0)


class TestDrying:
    def hold(self, *readings: FramingReading, days: int = 10, release: DryingRelease | None = None) -> DryingHold:
        return drying_hold(
            filled_on=DAY,
            today=DAY + timedelta(days=days),
            product=FOAM,
            reference_bays=(3, 7),
            readings=readings,
            release=release,
        )

    def reading(self, bay: int, content: float, days: int = 9) -> FramingReading:
        return FramingReading("n", DAY + timedelta(days=days), content, bay)

    def test_tight_covers_and_the_certificate_wait_but_open_close_up_does_not(self) -> None:
        held = self.hold()
        assert held.held
        assert {"certificate", "low-permeance paint"} <= set(held.holds)
        assert held.allowed == ("weathertight vapour-open close-up on the same day",)
        assert held.until == DAY + timedelta(days=FOAM.drying_days)

    def test_every_marked_bay_read_dry_ends_it(self) -> None:
        assert not self.hold(self.reading(3, 0.18), self.reading(7, 0.15)).held
        assert "bays 7 not yet" in self.hold(self.reading(3, 0.15), self.reading(7, 0.19)).why
        assert "bays 7 not yet" in self.hold(self.reading(3, 0.15)).why

    def test_the_latest_reading_of_a_bay_counts_and_only_after_the_fill(self) -> None:
        dry = self.reading(7, 0.15)
        assert self.hold(dry, self.reading(3, 0.15, 5), self.reading(3, 0.2, 8)).held
        assert not self.hold(dry, self.reading(3, 0.2, 5), self.reading(3, 0.15, 8)).held
        assert self.hold(dry, self.reading(3, 0.15, 0)).held
        assert self.hold(dry, self.reading(3, 0.15, 11)).held
        assert self.hold(dry, FramingReading("n", DAY + timedelta(days=9), 0.1)).held

    def test_drying_days_alone_end_nothing_without_a_recorded_release(self) -> None:
        due = DAY + timedelta(days=FOAM.drying_days)
        good = DryingRelease("the owner", due, "28 days, heated")
        assert self.hold(days=FOAM.drying_days + 5).held
        assert not self.hold(days=FOAM.drying_days, release=good).held
        for bad in (replace(good, on=due - timedelta(days=1)), replace(good, by=""), replace(good, reason=" ")):
            assert self.hold(days=FOAM.drying_days + 5, release=bad).held

    def test_without_marked_bays_only_a_release_ends_it(self) -> None:
        found = drying_hold(filled_on=DAY, today=DAY, product=FOAM, reference_bays=())
        assert found.held
        assert "no bay marked" in found.why


class TestTemperature:
    GOOD = TemperatureReading("n", START, 45.0, 42.0, 65.0, 60.0, 34.0)
    PRODUCT = product_limits(FOAM)

    def test_readings_at_the_limit_are_within_it(self) -> None:
        # CP: 40 degF for water-based foams, no freezing until dry.
        assert may_inject(self.GOOD, self.PRODUCT).allowed
        edge = replace(self.GOOD, air_f=40.0, substrate_f=40.0, chemical_f=40.0, water_f=40.0, forecast_low_f=32.1)
        assert may_inject(edge, self.PRODUCT).allowed

    @pytest.mark.parametrize("thing", THINGS)
    def test_each_thing_below_its_limit_or_not_measured_stops_the_wall(self, thing: str) -> None:
        cold = may_inject(replace(self.GOOD, **{f"{thing}_f": 39.9}), self.PRODUCT)
        assert cold.reasons == (f"{thing} at 39.9 degF, at least 40 degF wanted: wait",)
        unknown = may_inject(replace(self.GOOD, **{f"{thing}_f": None}), self.PRODUCT)
        assert unknown.reasons == (f"{thing} temperature not measured: measure it",)

    @pytest.mark.parametrize(("low", "words"), [(32.0, "would freeze"), (20.0, "would freeze"), (None, "look it up")])
    def test_frost_before_it_is_dry_stops_it(self, low: float | None, words: str) -> None:
        assert words in may_inject(replace(self.GOOD, forecast_low_f=low), self.PRODUCT).reasons[0]

    def test_too_hot_stops_it_where_the_product_says_so(self) -> None:
        limits = TemperatureLimits(self.PRODUCT.least, {"chemical": 90.0})
        assert "at most 90" in may_inject(replace(self.GOOD, chemical_f=91.0), limits).reasons[0]

    def test_the_owner_releases_the_firms_limits_and_never_the_products(self) -> None:
        firm = TemperatureLimits({"air": 50.0}, {})
        soft = may_inject(self.GOOD, self.PRODUCT, firm=firm)
        assert (soft.allowed, soft.releasable) == (False, True)
        assert may_inject(self.GOOD, self.PRODUCT, firm=firm, released=True).allowed
        cold = may_inject(replace(self.GOOD, air_f=39.0), self.PRODUCT, firm=firm, released=True)
        assert (cold.allowed, cold.releasable) == (False, False)

    def test_a_temperature_that_is_no_number_is_refused_by_name(self) -> None:
        with pytest.raises(OutOfRange, match="water_f"):
            may_inject(replace(self.GOOD, water_f=float("nan")), self.PRODUCT)

    def test_a_day_needs_readings_at_start_midday_and_every_new_face(self) -> None:
        taken = [self.GOOD, replace(self.GOOD, slot="south")]
        assert missing_readings(taken, ["north", "south"], past_midday=False) == ()
        assert missing_readings(taken, ["north", "south", "east"], past_midday=True) == (
            "no temperatures at midday: measure now",
            "no temperatures at east: measure now",
        )
        assert missing_readings([replace(self.GOOD, slot=MIDDAY)], ["north"], past_midday=True) == (
            "no temperatures at start: measure now",
        )
