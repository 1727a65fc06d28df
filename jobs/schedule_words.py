"""Sentences of the solvers as people read them: names instead of ids, days as the pages write them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date

from jobs.models.resource import Skill

_ID = re.compile(r"\b[crp]\d+\b")
_DAY = re.compile(r"\b(\d{4})-(\d{2})-(\d{2})\b")
_SKILLS = {skill.value: skill.label.lower() for skill in Skill} | {"test_kit": "a blower door of its own"}
_LACKS = re.compile(r"(?<= lacks )[a-z_, ]+")


def in_words(words: str, names: Mapping[str, str]) -> str:
    """A sentence with the ids of `names` and ISO days replaced.

    Examples
    --------
    >>> in_words("c1 lacks lead_safe, testing", {"c1": "North crew"})
    'North crew lacks lead-safe renovation, blower door and combustion tests'
    >>> in_words("c1 is with p2 on 2026-03-11 at 8:00", {"c1": "North crew", "p2": "inject of J-00002"})
    'North crew is with inject of J-00002 on Wed 11 Mar at 8:00'
    """
    named = _ID.sub(lambda found: names.get(found[0], found[0]), words)
    skilled = _LACKS.sub(
        lambda found: ", ".join(_SKILLS.get(word.strip(), word.strip()) for word in found[0].split(",")), named
    )
    return _DAY.sub(lambda found: short_day(date(int(found[1]), int(found[2]), int(found[3]))), skilled)


def short_day(on: date) -> str:
    """A day without its year.

    Examples
    --------
    >>> short_day(date(2026, 3, 9))
    'Mon 9 Mar'
    """
    return f"{on:%a} {on.day} {on:%b}"
