"""Whether two entries are of the same person or house: telephone numbers and streets, written in any way."""

from __future__ import annotations

import re
import unicodedata

PHONE_DIGITS = 10
"""Digits of a number with its area code; a country code before them says nothing new."""

SHORTEST_PHONE = 7
"""Fewer digits than that are an extension or a slip, and mean nothing."""

_WORDS = {
    "st": "street", "str": "street", "rd": "road", "ave": "avenue", "av": "avenue", "ln": "lane", "dr": "drive",
    "ct": "court", "pl": "place", "blvd": "boulevard", "hwy": "highway", "ter": "terrace", "terr": "terrace",
    "cir": "circle", "sq": "square", "pkwy": "parkway", "tpke": "turnpike", "trl": "trail", "rte": "route",
    "n": "north", "s": "south", "e": "east", "w": "west", "ne": "northeast", "nw": "northwest", "se": "southeast",
    "sw": "southwest", "apt": "unit", "apartment": "unit", "ste": "unit", "suite": "unit", "no": "", "number": "",
}  # fmt: skip
"""How a word of an address is often shortened -> how it is compared."""


def phone_key(phone: str) -> str:
    """Return a telephone number as it is compared: its digits, without country code and extension.

    Examples
    --------
    >>> phone_key("+1 (607) 555-0142"), phone_key("607.555.0142 x12"), phone_key("none")
    ('6075550142', '6075550142', '')
    """
    digits = "".join(re.findall(r"[0-9]", re.split(r"[xX]", phone)[0]))
    if len(digits) == PHONE_DIGITS + 1 and digits.startswith("1"):
        digits = digits[1:]
    return digits if len(digits) >= SHORTEST_PHONE else ""


def place_key(street: str, town: str, state: str) -> str:
    """Return an address as it is compared: small letters, no marks, short forms written out; "" without a street.

    Examples
    --------
    >>> place_key("14 N. Kiln St.", "Fernhollow", "NY") == place_key("14 North Kiln Street", "FERNHOLLOW ", "NY")
    True
    >>> place_key("", "Fernhollow", "NY")
    ''
    """
    words = _words(street)
    return f"{' '.join(words)}|{' '.join(_words(town))}|{''.join(_words(state))}"[:300] if words else ""


def _words(text: str) -> list[str]:
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower().replace("'", "")
    words = (_WORDS.get(word, word) for word in re.split(r"[^a-z0-9]+", plain))
    return [word for word in words if word]
