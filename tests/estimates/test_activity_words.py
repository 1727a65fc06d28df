"""The record of acts in sentences."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

import pytest

from estimates.activity_words import activity_words
from estimates.models import ActivityEntry


@pytest.mark.parametrize(
    ("action", "before", "after", "reason", "said"),
    [
        ("lead.take", None, {"person": "Wren"}, "", "took the lead"),
        ("lead.change", {"town": ""}, {"town": "Pellmark"}, "", "changed town from nothing to Pellmark"),
        (
            "lead.change",
            {"next_step_on": None, "consent": False, "zone": ""},
            {"next_step_on": "2026-03-05", "consent": True, "zone": "America/Denver"},
            "",
            "changed clock from that of the state to Mountain, consent to sales calls from not given to given and "
            "day of the next step from nothing to Thu 5 Mar 2026",
        ),
        ("lead.move", {"stage": "new"}, {"stage": "lost", "lost_reason": "price"}, "Too dear.",
         "moved the lead from new to lost (the price) – Too dear."),
        ("lead.move", {"stage": "new"}, {"stage": "visit_set", "visit_at": "2026-03-04T17:00:00Z"}, "",
         "moved the lead from new to visit set, the visit Wed 4 Mar 2026, 09:00"),
        ("lead.call", None, {"purpose": "crew arrival", "outcome": "message", "warnings": ["late"]}, "",
         "logged a call (arrival of the crew): left a message, with a warning"),
        ("lead.house", {"house": None}, {"house": "14 Kiln Row", "made": False}, "",
         "linked the lead to the house 14 Kiln Row"),
        ("proposal.issue", {"status": "draft"}, {"status": "issued"}, "", "issued the proposal"),
        ("rig.wash_out", None, None, "", "rig: wash out"),
    ],
)  # fmt: skip
def test_an_act_is_said_in_plain_words(
    action: str, before: dict[str, Any] | None, after: dict[str, Any] | None, reason: str, said: str
) -> None:
    entry = ActivityEntry(action=action, before=before, after=after, reason=reason)
    assert activity_words(entry, zone=ZoneInfo("America/Los_Angeles")) == said
