"""A chapter of a house: how far it is, what is next, and who owes it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class ChapterState(StrEnum):
    """How far a chapter is; each has a word and a mark of its own."""

    DONE = "done"
    NOW = "now"
    BLOCKED = "blocked"
    NOT_YET = "not yet"


@dataclass(frozen=True, slots=True)
class Chapter:
    """One chapter of a house: what can be said of it, what is next, and who owes that ("" where nobody does)."""

    name: str
    state: ChapterState
    said: str
    next_step: str = ""
    owes: str = ""
    door: str = ""
    """Name of the page where the next step is taken: of the house, or a word such as "lead", "proposal", "job"."""
