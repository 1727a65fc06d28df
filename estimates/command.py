"""Commands that may arrive twice."""

from __future__ import annotations


class Conflict(Exception):
    """What was asked for cannot stand beside what is already there; the text is a sentence for the reader."""
