"""What people call the rates of a price book, in groups as they are edited and read."""

from __future__ import annotations

RATE_GROUPS: dict[str, dict[str, str]] = {
    "People and days": {
        "labour": "labour, with everything on top of the wage",
        "crew_size": "people of a crew",
        "day_hours": "hours of a working day",
        "travel": "travel",
        "disposal": "waste and disposal",
    },
    "Walls": {
        "wall_lift_cladding": "walls filled a day, cladding lifted",
        "wall_drill_cladding": "walls filled a day, drilled through the cladding",
        "wall_drill_inside": "walls filled a day, drilled from inside",
        "face_set_up": "set-up of a wall",
        "small_wall": "least time of a wall",
        "opening": "more time for an opening",
        "brace": "more time for a braced bay",
        "over_10_ft": "more time above 10 ft",
        "over_20_ft": "more time above 20 ft",
        "steep_grade": "more time on a steep grade",
        "obstructed": "more time where a wall is obstructed",
        "lead_set_up": "lead-safe set-up of a wall",
        "lead_material": "lead-safe material for a wall",
        "escape_closing": "time to close an escape",
        "closing_material": "material to close an escape",
        "plug": "a plug",
        "purge": "foam lost in the hose a day",
    },
    "Attics": {
        "attic_blowing": "bags blown an hour",
        "attic_set_up": "set-up of an attic",
        "baffle": "time for a baffle",
        "baffle_material": "a baffle",
        "dam": "time for a dam",
        "dam_material": "a dam",
        "hatch": "time for a hatch cover",
        "hatch_material": "a hatch cover",
    },
    "Tests and rigs": {
        "test_in": "tests before the work",
        "test_out": "tests after the work",
        "blower_door": "fan and gauges",
        "foam_rig": "the foam rig",
        "blowing_machine": "the blower",
        "staging": "staging",
    },
    "Price and margin": {
        "target_margin": "margin wanted",
        "floor_margin": "floor under the margin",
        "contingency": "contingency on direct cost",
        "commission": "seller’s commission",
        "lender_fee": "lender’s fee",
        "card_fee": "card fee",
        "overhead": "overhead",
        "minimum_charge": "minimum charge",
    },
    "Payments and dates": {
        "deposit": "deposit at signing",
        "progress": "payment when the walls are filled",
        "price_valid": "days a price is valid",
        "price_stale": "days until prices count as old",
    },
}
"""Group -> rate -> words; every rate of `estimates.pricebook.RATES` stands in one group."""

RATE_WORDS: dict[str, str] = {name: words for rates in RATE_GROUPS.values() for name, words in rates.items()}

SHARES_OF_ONE = frozenset(
    {
        "target_margin",
        "floor_margin",
        "contingency",
        "commission",
        "lender_fee",
        "card_fee",
        "overhead",
        "deposit",
        "progress",
    }
)
"""Shares that stay below the whole; extra time may be more than that."""
