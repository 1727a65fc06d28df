"""The record of what was done on jobs, in sentences; what was done before the signature is said by the estimates."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from estimates.activity_words import activity_words
from estimates.models.activity import ActivityEntry
from estimates.templatetags.figures import listed, spoken

SENTENCES = {
    "job.book": "booked job {number}",
    "job.change": "changed what is known of the job",
    "job.started": "started the work",
    "job.work_done": "finished the work",
    "job.verified": "verified the job",
    "job.closed": "closed the job",
    "job.locked": "locked the job",
    "job.release_days": "took the coming days of the job off the schedule",
    "job.gate_add": "added the start gate “{gate}”",
    "job.gate_meet": "recorded the start gate “{gate}”",
    "job.sign_off": "signed the work off",
    "change.draft": "drafted change order {change}",
    "change.redraft": "changed the draft of change order {change}",
    "change.issue": "issued change order {change}",
    "change.sign": "signed change order {change}",
    "change.decline": "declined change order {change}",
    "change.withdraw": "withdrew change order {change}",
}
"""Action -> its words, with what was written after the act in braces."""


class _Kept(dict[str, Any]):
    """What an act kept; a word that an older one does not hold is left out."""

    def __missing__(self, key: str) -> str:
        return ""


def act_words(entry: ActivityEntry, *, zone: ZoneInfo | None = None) -> str:
    """Return what somebody did on either side of the signature, to stand behind the name.

    Parameters
    ----------
    entry : one act.
    zone : time zone of the house, for moments at the house.
    """
    words = SENTENCES.get(entry.action)
    if words is None:
        return activity_words(entry, zone=zone)
    said = words.format_map(_Kept(entry.after or {}))
    if entry.action == "job.change" and entry.after:
        said = f"changed {listed([spoken(name) for name in entry.after])} of the job"
    return f"{said} – {entry.reason}" if entry.reason else said
