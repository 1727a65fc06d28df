"""What papers may say of insulation: R-values only as a fact sheet lists them, savings only with their words.

A checker of finished text: it refuses, it never rewrites.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from estimates.pricebook import FoamProduct, LooseProduct
from estimates.rules import BadRule, RuleRow, needed_rule

SAVINGS = "savings.text"
"""Topic of the rule table: words that go with any claim of savings. Source of the federal row: 16 CFR 460.19 (S)."""


def savings_words(rows: Iterable[RuleRow], places: Sequence[str], *, on: date) -> str:
    """Words that go with a claim of savings, by the rule of the place.

    Raises
    ------
    RuleMissing : no row holds on that day.
    BadRule : the row holds no text.
    """
    row = needed_rule(rows, places, SAVINGS, on)
    if not isinstance(row.value, str) or not row.value.strip():
        raise BadRule(f"{row.jurisdiction} {SAVINGS} holds {row.value!r}; enter the words as a text")
    return row.value


@dataclass(frozen=True, slots=True)
class PaperFault:
    """A passage that must not stand on a paper: the words found, why, and what to write instead."""

    excerpt: str
    why: str
    ask: str

    def __str__(self) -> str:
        return f"{self.excerpt!r}: {self.why}; {self.ask}"


_NUMBER = r"\d+(?:\.\d+)?"
_INCH = r"(?:in(?:ch(?:es)?)?\b|\"|″)"
_R = rf"\bR\s*(?:[-–‑=]|of|values?(?:\s+of)?)?\s*(?P<r>{_NUMBER})"
_TIMES = r"(?:×|\*|\bx\b|\btimes\b)"
_SAVE = r"\bsav(?:e|es|ed|ings?)\b"
_AMOUNT = rf"(?:\$\s*[\d,]*\d|{_NUMBER}\s*(?:%|percent\b|therms?\b|gallons?\b|kwh\b))"

_PER_INCH = re.compile(
    rf"\bR(?![A-Za-z]).{{0,40}}?(?:\bper\s+|/\s*|\bfor\s+(?:each|every|one|an?)\s+|\ban\s+|\ba\s+)(?:one\s+)?{_INCH}"
    rf"|{_NUMBER}\s*(?:\bper\s+|/\s*){_INCH}.{{0,20}}?\bR\b",
    re.IGNORECASE,
)
_PRODUCT = re.compile(
    rf"{_NUMBER}\s*{_INCH}\s*{_TIMES}\s*(?:R\b|{_NUMBER})"
    rf"|{_NUMBER}\s*{_TIMES}\s*(?:R\b|{_NUMBER}\s*(?:\bper\b|/))"
    rf"|\bR\s*[-–‑]?\s*{_NUMBER}\s*{_TIMES}\s*{_NUMBER}",
    re.IGNORECASE,
)
_SUM = re.compile(
    rf"\bR\s*[-–‑]?\s*{_NUMBER}.{{0,40}}?(?:\+|\bplus\b|\badded to\b).{{0,40}}?\bR\s*[-–‑]?\s*{_NUMBER}"
    r"|\b(?:total|combined|whole[\s-]wall|overall|sum of)\s+(?:an?\s+)?R\b",
    re.IGNORECASE,
)
_VALUE = re.compile(_R)
_SAVING = re.compile(rf"{_SAVE}.{{0,80}}?{_AMOUNT}|{_AMOUNT}.{{0,80}}?{_SAVE}", re.IGNORECASE)
_THICKNESS = re.compile(rf"(?P<t>{_NUMBER})\s*{_INCH}", re.IGNORECASE)
_FOUND_IN_PLACE = frozenset({"existing", "old", "has", "holds", "found", "already", "lies"})
_BREAK = re.compile(r"(?<=[.;!?])\s+|\n+")

_SHEET = "give the R-value and the thickness of one line of the fact sheet"


def paper_faults(text: str, *products: FoamProduct | LooseProduct, savings_text: str) -> tuple[PaperFault, ...]:
    """What a customer's paper may not say about insulation.

    Parameters
    ----------
    text : the whole paper as plain text.
    products : every product the paper speaks of; their fact sheets and coverage tables are what may be quoted.
    savings_text : words required where the paper claims savings, from `savings_words`.

    Returns
    -------
    Faults in the order they are looked for: R-value per inch, inches times R, sums, an R-value that no sheet lists, one
    listed at another thickness, savings without their words. Empty when the paper may go out. Insulation found in the
    house may be named with the word "estimated" ("the attic has 5 in of rock wool, estimated at about R-14").

    References
    ----------
    .. [1] 16 CFR 460.20 (S): no R-value for one inch and no R-value per inch; 460.19 (S): words beside savings.

    Examples
    --------
    >>> from estimates.pricebook import load_book
    >>> foam = load_book("standard").foam
    >>> paper_faults("Foam, 3.5 in, R-13.7.", foam, savings_text="Savings vary.")
    ()
    >>> [fault.why for fault in paper_faults("R-3.9 per inch.", foam, savings_text="Savings vary.")]
    ['gives an R-value per inch']
    """
    sentences = [part for part in _BREAK.split(text) if part.strip()]
    return (
        *_arithmetic(sentences),
        *_unlisted(sentences, products),
        *_savings(sentences, text, savings_text),
    )


def _arithmetic(sentences: list[str]) -> Iterator[PaperFault]:
    for pattern, why in (
        (_PER_INCH, "gives an R-value per inch"),
        (_PRODUCT, "multiplies inches and R-value"),
        (_SUM, "adds R-values"),
    ):
        for sentence in sentences:
            for found in pattern.finditer(sentence):
                yield PaperFault(found.group().strip(), why, _SHEET)


def _listed(products: tuple[FoamProduct | LooseProduct, ...]) -> dict[float, set[float]]:
    """R-value -> thicknesses it is listed at. [in] Loose fill: settled and as blown."""
    listed: dict[float, set[float]] = {}
    for product in products:
        if isinstance(product, FoamProduct):
            for fact in product.facts:
                listed.setdefault(fact.r, set()).add(fact.thickness_in)
        else:
            for row in product.coverage:
                listed.setdefault(row.r, set()).update((row.settled_in, row.initial_in))
    return listed


def _unlisted(sentences: list[str], products: tuple[FoamProduct | LooseProduct, ...]) -> Iterator[PaperFault]:
    listed = _listed(products)
    shown = ", ".join(f"R-{r:g}" for r in sorted(listed)) or "none"
    for sentence in sentences:
        words = set(re.findall(r"[a-z]+", sentence.casefold()))
        if "estimated" in words and words & _FOUND_IN_PLACE:
            continue
        if _PER_INCH.search(sentence) or _PRODUCT.search(sentence):
            continue  # named already, and its number claims no thickness
        values = list(_VALUE.finditer(sentence))
        for found in values:
            if float(found.group("r")) not in listed:
                yield PaperFault(found.group(), "is on no fact sheet named here", f"enter one of {shown}")
        if len(values) == 1:
            yield from _misplaced(sentence, listed.get(float(values[0].group("r")), set()))


def _misplaced(sentence: str, at: set[float]) -> Iterator[PaperFault]:
    """A listed R-value beside a thickness it is not listed at, or beside the one inch that no paper may name."""
    inches = {float(found.group("t")) for found in _THICKNESS.finditer(sentence)}
    if not at or not inches:
        return
    thick = ", ".join(f"{t:g}" for t in sorted(at))
    if not inches & at:
        yield PaperFault(sentence.strip(), "gives a listed R-value at another thickness", f"enter {thick} in")
    elif inches & at == {1.0}:
        yield PaperFault(sentence.strip(), "gives the R-value for one inch", "enter a line of another thickness")


def _plain(text: str) -> str:
    return " ".join(text.replace("’", "'").split()).casefold()


def _savings(sentences: list[str], text: str, needed: str) -> Iterator[PaperFault]:
    claims = [found for sentence in sentences if (found := _SAVING.search(sentence))]
    if claims and _plain(needed) not in _plain(text):
        excerpt = claims[0].group().strip()
        yield PaperFault(excerpt, "claims savings without the words that go with them", f"add {needed!r}")
