"""What a drawing is made of: areas, lines, dots and labels to scale, and how each kind looks on screen and on paper.

A drawing knows nothing of SVG or PNG; `estimates.drawing` and `estimates.picture` turn the same list into either. Sizes
are inches on the wall; y points up. Widths of lines are parts of the text size, so that they survive any scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from estimates.physics.sweep import Point, Polygon

TEXT_FONT = "DejaVu Sans"
"""Font of labels in pictures; it comes with the drawing library, so that a picture is the same on every machine."""

CHARACTER_WIDTH = 0.62
"""Mean width of a character over its size, on the safe side, to tell whether a label fits. [1] Digits of TEXT_FONT
are 0.636 wide, small letters less."""

INK = "#2b2621"
PAPER = "#fdfbf6"
COPPER = "#a5562a"
TIMBER = "#ead9bd"
QUIET = "#8b8177"


class BayState(StrEnum):
    """What has become of a bay; the same words on crew sheets, proposals and verification."""

    PLANNED = "planned"
    DRILLED = "drilled"
    FILLED = "filled"
    DOUBTFUL = "doubtful"
    PROVEN = "proven"
    LEFT = "left"
    LEFT_OUT = "left out"
    REFUSED = "refused"

    @property
    def css(self) -> str:
        """Class of a bay in this state."""
        return f"bay-{self.value.replace(' ', '-')}"


@dataclass(frozen=True, slots=True)
class Hatch:
    """A pattern that tells a state without colour.

    `strokes` are lines and `dots` circles within a unit square that repeats; `mark` is the nearest pattern of the
    picture library.
    """

    ground: str
    line: str
    strokes: tuple[tuple[float, float, float, float], ...] = ()
    dots: tuple[tuple[float, float, float], ...] = ()
    mark: str = ""


_RISING = ((0.0, 0.0, 1.0, 1.0),)
_FALLING = ((0.0, 1.0, 1.0, 0.0),)

HATCHES = {
    BayState.PLANNED: Hatch("#ffffff", INK),
    BayState.DRILLED: Hatch("#f6ece2", COPPER, dots=((0.5, 0.5, 0.12),), mark=".."),
    BayState.FILLED: Hatch("#f0d6c2", COPPER, _RISING, mark="///"),
    BayState.DOUBTFUL: Hatch("#f7e9b8", INK, ((0.0, 0.5, 0.25, 0.75), (0.25, 0.75, 0.75, 0.25), (0.75, 0.25, 1.0, 0.5)),
                             mark="oo"),
    BayState.PROVEN: Hatch("#d5e2d0", INK, _RISING + _FALLING, mark="xxx"),
    BayState.LEFT: Hatch("#e3e8ee", INK, ((0.0, 0.5, 1.0, 0.5),), mark="---"),
    BayState.LEFT_OUT: Hatch("#eeebe5", QUIET, ((0.5, 0.0, 0.5, 1.0),), mark="|||"),
    BayState.REFUSED: Hatch("#eed3d0", INK, ((0.5, 0.0, 0.5, 1.0), (0.0, 0.5, 1.0, 0.5)), mark="+++"),
}  # fmt: skip
"""Ground, line and pattern of each state."""

NO_FILL_HATCH = Hatch("#f1ede6", QUIET, _FALLING, mark="\\\\\\")
"""A part that is never filled."""


@dataclass(frozen=True, slots=True)
class Look:
    """How a kind is drawn: fill and stroke (None for none), width and dash as parts of the text size."""

    fill: str | None
    stroke: str | None
    width: float = 0.07
    dash: tuple[float, float] | None = None
    weight: str = "normal"


LOOKS = {
    "face": Look(TIMBER, INK, 0.14),
    "edge": Look(None, INK, 0.14),
    "corner": Look(None, QUIET, 0.06, (0.3, 0.25)),
    "beyond": Look(None, QUIET, 0.06, (0.3, 0.25)),
    "stud": Look(TIMBER, INK, 0.05),
    "plate": Look(TIMBER, INK, 0.05),
    "header": Look(TIMBER, INK, 0.05),
    "block": Look(TIMBER, INK, 0.05),
    "brace": Look(TIMBER, INK, 0.05),
    "brace-mark": Look(None, INK, 0.08, (0.45, 0.25)),
    "floor-line": Look(None, INK, 0.09, (0.6, 0.3)),
    "escape": Look(None, COPPER, 0.2, (0.6, 0.3)),
    "bay": Look(None, INK, 0.06),
    "no-fill": Look(None, QUIET, 0.06),
    "opening": Look("#f4f6f6", INK, 0.09),
    "pane": Look(None, QUIET, 0.05),
    "hole": Look(COPPER, COPPER, 0.05),
    "witness": Look("#ffffff", COPPER, 0.1),
    "dimension": Look(None, INK, 0.06),
    "tick": Look(None, INK, 0.12),
    "datum": Look(COPPER, None),
    "size": Look(INK, None),
    "number": Look(INK, None),
    "name": Look(INK, None, weight="bold"),
    "key": Look(INK, None),
}
"""Every kind of thing in a drawing. Colours are of our own: warm white, ink, timber and one copper accent."""


@dataclass(frozen=True, slots=True)
class Area:
    """A closed polygon. `hatch` is set for bays and parts never filled, `says` is what a reader of the page is told."""

    kind: str
    points: Polygon
    hatch: str = ""
    says: str = ""
    bay: int | None = None


@dataclass(frozen=True, slots=True)
class Stroke:
    """A straight line."""

    kind: str
    start: Point
    end: Point


@dataclass(frozen=True, slots=True)
class Dot:
    """A circle."""

    kind: str
    centre: Point
    radius: float


@dataclass(frozen=True, slots=True)
class Label:
    """A line of text about its `at` point; `turned` reads upward. `anchor` is start, middle or end."""

    kind: str
    at: Point
    text: str
    size: float
    anchor: str = "middle"
    turned: bool = False

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top of the room it takes. [in]"""
        long, high = label_width(self.text, self.size), self.size
        shift = {"start": 0.0, "middle": long / 2, "end": long}[self.anchor]
        x, y = self.at
        if self.turned:
            return x - high / 2, y - shift, x + high / 2, y - shift + long
        return x - shift, y - high / 2, x - shift + long, y + high / 2


Mark = Area | Stroke | Dot | Label


@dataclass(frozen=True, slots=True)
class Drawing:
    """Marks from the lowest to the uppermost, within left..right and bottom..top. [in] `says` describes it in words."""

    left: float
    bottom: float
    right: float
    top: float
    text_in: float
    marks: tuple[Mark, ...]
    says: str

    @property
    def width(self) -> float:
        """Width. [in on the wall]"""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Height. [in on the wall]"""
        return self.top - self.bottom


def hatch_of(word: str) -> Hatch:
    """Pattern of a bay state or of "no fill"."""
    return NO_FILL_HATCH if word == "no fill" else HATCHES[BayState(word)]


def label_width(text: str, size: float) -> float:
    """Room a label needs, on the safe side. [as size]"""
    return CHARACTER_WIDTH * size * len(text)


def clip_convex(polygon: Polygon, window: Polygon) -> Polygon:
    """The part of a polygon inside a convex window whose corners run counter-clockwise.

    Notes
    -----
    Sutherland-Hodgman: cut by each edge of the window in turn.

    Examples
    --------
    >>> clip_convex(((0, 0), (2, 0), (2, 9), (0, 9)), ((0, 0), (4, 0), (4, 4), (0, 4)))
    ((0, 0), (2, 0), (2.0, 4.0), (0.0, 4.0))
    """
    kept: list[Point] = list(polygon)
    for (ax, ay), (bx, by) in zip(window, window[1:] + window[:1], strict=True):

        def inward(point: Point, ax: float = ax, ay: float = ay, bx: float = bx, by: float = by) -> float:
            return (bx - ax) * (point[1] - ay) - (by - ay) * (point[0] - ax)

        found: list[Point] = []
        for here, there in zip(kept, kept[1:] + kept[:1], strict=True):
            side, other = inward(here), inward(there)
            if side >= 0:
                found.append(here)
            if side * other < 0:
                share = side / (side - other)
                found.append((here[0] + (there[0] - here[0]) * share, here[1] + (there[1] - here[1]) * share))
        kept = found
    return tuple(kept)


def feet_and_inches(inches: float) -> str:
    """A length as a carpenter reads it off a tape, to the nearest eighth of an inch.

    Raises
    ------
    ValueError : below 0 or not finite.

    Examples
    --------
    >>> feet_and_inches(97.125), feet_and_inches(96), feet_and_inches(11.97), feet_and_inches(0)
    ('8′ 1 1/8″', '8′ 0″', '1′ 0″', '0″')
    """
    if not 0 <= inches < float("inf"):
        raise ValueError(f"inches is {inches!r}; enter a length of at least 0")
    eighths = int(inches * 8 + 0.5)
    whole, part = divmod(eighths, 8)
    feet, rest = divmod(whole, 12)
    fraction = {0: "", 2: " 1/4", 4: " 1/2", 6: " 3/4"}.get(part, f" {part}/8")
    return (f"{feet}′ " if feet else "") + f"{rest}{fraction}″"


def bounds(points: Sequence[Point]) -> tuple[float, float, float, float]:
    """Left, bottom, right and top of some points."""
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)
