"""Reading XML that somebody else made: safely, and with a note of whatever was not taken as it stands."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum

from lxml import etree

from estimates.records import BadRecord, Fault
from reports.exports.hpxml_words import NAMESPACE, READABLE

MOST_BYTES = 5_000_000
"""A file of a house is under a tenth of this; more would only keep the machine busy. [bytes]"""

MOST = 1e9
"""No figure of a house comes near this; far larger ones would run out of numbers when multiplied."""

# Python reads more as a number than the standard does, such as 1_000.
_DECIMAL = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
_N = {"h": NAMESPACE}


class NoteKind(StrEnum):
    """What became of a thing in a file: guessed in part, left out for want of a place, refused as wrong."""

    GUESSED = "guessed"
    LEFT_OUT = "left out"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Note:
    """What became of one thing in a file, in words for the person who goes through the imported house."""

    kind: NoteKind
    place: str
    words: str

    def __str__(self) -> str:
        return f"{self.kind.value}: {self.place}: {self.words}"


def hpxml_root(raw: bytes) -> etree._Element:
    """Parse a file and return its root.

    Parameters
    ----------
    raw : the bytes of the file.

    Raises
    ------
    BadRecord : larger than MOST_BYTES, no XML, with a document type (which entities hide in), or not HPXML 4.0 to 4.2.
    """
    if len(raw) > MOST_BYTES:
        raise _bad(f"{len(raw):,} bytes; a file of a house has at most {MOST_BYTES:,}. Enter a file of one house")
    # Before parsing, for a document type can make a small file huge; without zero bytes also in UTF-16.
    if b"<!doctype" in raw.replace(b"\0", b"").lower():
        raise _bad("has a document type; remove the line with <!DOCTYPE and what it declares")
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False, remove_comments=True, remove_pis=True
    )
    try:
        root = etree.fromstring(raw, parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        raise _bad(f"not XML: {error}. Enter an HPXML file") from None
    if root.getroottree().docinfo.internalDTD is not None:
        raise _bad("has a document type; remove it")
    version = str(root.get("schemaVersion", "none"))[:20]
    if etree.QName(root).localname != "HPXML":
        raise _bad(f"the outermost element is {etree.QName(root).localname[:40]}, not HPXML; enter an HPXML file")
    if etree.QName(root).namespace != NAMESPACE or version not in READABLE:
        raise _bad(f"HPXML of version {version}; enter one of version {', '.join(READABLE)}")
    return root


def _bad(words: str) -> BadRecord:
    return BadRecord([Fault("$", words)])


def find(element: etree._Element, path: str) -> etree._Element | None:
    """First element at a path of local names, None where there is none."""
    return element.find(_named(path), _N)


def every(element: etree._Element, path: str) -> list[etree._Element]:
    """Every element at a path of local names."""
    return list(element.findall(_named(path), _N))


def children(element: etree._Element | None) -> Iterator[tuple[str, etree._Element]]:
    """Local name and element of each child."""
    for child in () if element is None else element:
        if isinstance(child.tag, str):
            yield etree.QName(child).localname, child


def words_at(element: etree._Element | None, path: str) -> str:
    """Text at a path, without blanks around it; empty where there is none."""
    found = None if element is None else find(element, path)
    return "" if found is None else " ".join((found.text or "").split())


def finite(said: str) -> float:
    """Number as the standard writes it; NaN for anything else, infinity and NaN among it.

    Examples
    --------
    >>> finite("1.5e3"), finite("1_000"), finite("INF")
    (1500.0, nan, nan)
    """
    value = float(said) if _DECIMAL.fullmatch(said) else math.nan
    return value if math.isfinite(value) else math.nan


def _named(path: str) -> str:
    return "/".join(f"h:{part}" for part in path.split("/"))


def plain_id(raw: str, *kinds: str, default: str) -> str:
    """Make an id of ours out of an identifier of theirs: letters, digits, dot, dash, underscore, 40 at most.

    Examples
    --------
    >>> plain_id("wall-front", "wall", default="wall"), plain_id("Wall 1/2", "wall", default="wall")
    ('front', 'Wall-1-2')
    """
    for kind in kinds:
        raw = raw.removeprefix(f"{kind}-")
    made = re.sub(r"[^A-Za-z0-9_.-]+", "-", raw).lstrip("_.-")[:40]
    return made or default


@dataclass
class Reading:
    """Notes and used ids, as a file is gone through."""

    notes: list[Note] = field(default_factory=list)
    used: set[tuple[str, str]] = field(default_factory=set)

    def guessed(self, place: str, words: str) -> None:
        """Note what was filled in."""
        self.notes.append(Note(NoteKind.GUESSED, place, words))

    def left_out(self, place: str, words: str) -> None:
        """Note what has no place in a house of ours."""
        self.notes.append(Note(NoteKind.LEFT_OUT, place, words))

    def refused(self, place: str, words: str) -> None:
        """Note what cannot be right."""
        self.notes.append(Note(NoteKind.REFUSED, place, words))

    def number(self, element: etree._Element | None, path: str, place: str) -> float | None:
        """Number from 0 to MOST at a path; None where there is none, and with a note where it is no such number."""
        said = words_at(element, path)
        if not said:
            return None
        value = finite(said)
        if not 0 <= value <= MOST:  # also when it is NaN
            self.refused(place, f"{path} is {said[:40]!r}, no number from 0 to {MOST:,.0f}")
            return None
        return value

    def named(self, element: etree._Element, *kinds: str) -> tuple[str, str]:
        """Id, unique among its kind, and name of a part."""
        identifier = find(element, "SystemIdentifier")
        raw = "" if identifier is None else str(identifier.get("id", ""))
        first = made = plain_id(raw, *kinds, default=kinds[0])
        turn = 2
        while (kinds[0], made) in self.used:
            made, turn = f"{first[:36]}-{turn}", turn + 1
        self.used.add((kinds[0], made))
        called = words_at(identifier, "SendingSystemIdentifierType") == "name"
        name = words_at(identifier, "SendingSystemIdentifierValue") if called else ""
        return made, name[:80] or raw[:80] or made
