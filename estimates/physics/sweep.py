"""Exact areas of overlapping flat shapes: a sweep that cuts the plane into trapezoids.

A wall is many shapes on one face: studs, plates, openings, zones, braces. Each has a kind, and where shapes overlap the
stronger kind wins. The sweep cuts everything at every corner and crossing into upright strips and each strip into
trapezoids of one kind, so that areas add up to the whole by construction of the plane, not by bookkeeping.
"""

from __future__ import annotations

import bisect
import itertools
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import NamedTuple

Point = tuple[float, float]
Polygon = tuple[Point, ...]

NEAR = 1e-9
"""Lengths closer than this are the same place. [same unit as the shapes]"""

HAIR = 1e-6
"""Corners on one upright line closer than this are drawn as one. [same unit as the shapes]"""

DIGITS = 10
"""Decimals to which corners and crossings are kept, one more than NEAR."""


class Shape(NamedTuple):
    """A simple polygon and the kind of thing it is."""

    kind: str
    polygon: Polygon


class Trapezoid(NamedTuple):
    """A piece of one kind between two upright lines; lower and upper edge are straight.

    `kinds` holds every kind whose shape covers it, `kind` the strongest. A wall has hundreds: a tuple is made three
    times as fast as a record.
    """

    strip: int
    x0: float
    x1: float
    low0: float
    low1: float
    high0: float
    high1: float
    kind: str
    kinds: frozenset[str]

    @property
    def area(self) -> float:
        """Area. [square of the unit of the shapes]"""
        return 0.5 * (self.x1 - self.x0) * (self.high0 - self.low0 + self.high1 - self.low1)

    @property
    def polygon(self) -> Polygon:
        """Its corners, counter-clockwise from the lower left."""
        return ((self.x0, self.low0), (self.x1, self.low1), (self.x1, self.high1), (self.x0, self.high0))


def rectangle(kind: str, x0: float, y0: float, x1: float, y1: float) -> Shape:
    """An upright rectangle.

    Parameters
    ----------
    kind : what it is.
    x0, y0, x1, y1 : lower left and upper right corner. [any unit of length]

    Returns
    -------
    Shape, counter-clockwise.

    Raises
    ------
    Nothing.

    Notes
    -----
    Four corners, no equation.

    References
    ----------
    .. [1] Plane geometry; areas checked against an independent geometry library.

    Examples
    --------
    >>> rectangle("stud", 0, 0, 1.5, 90).polygon
    ((0, 0), (1.5, 0), (1.5, 90), (0, 90))
    """
    return Shape(kind, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)))


def polygon_area(polygon: Polygon) -> float:
    r"""Area of a simple polygon, whichever way it turns.

    Parameters
    ----------
    polygon : corners in order round it. [any unit of length]

    Returns
    -------
    Area. [square of that unit]

    Raises
    ------
    Nothing.

    Notes
    -----
    .. math:: A = \tfrac12 \left| \sum_i (x_i y_{i+1} - x_{i+1} y_i) \right|

    References
    ----------
    .. [1] Plane geometry; areas checked against an independent geometry library.

    Examples
    --------
    >>> polygon_area(((0, 0), (4, 0), (4, 3)))
    6.0
    """
    turns = zip(polygon, polygon[1:] + polygon[:1], strict=True)
    return abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in turns)) / 2.0


def clip_below(polygon: Polygon, y: float) -> Polygon:
    """The part of a polygon under a level line.

    Parameters
    ----------
    polygon : corners in order round it. [any unit of length]
    y : height of the line. [same unit]

    Returns
    -------
    Corners of what lies under it.

    Raises
    ------
    Nothing.

    Notes
    -----
    Each edge that crosses the line is cut there.

    References
    ----------
    .. [1] Plane geometry; areas checked against an independent geometry library.

    Examples
    --------
    >>> clip_below(((0, 0), (4, 0), (4, 4), (0, 4)), 1.0)
    ((0, 0), (4, 0), (4.0, 1.0), (0.0, 1.0))
    """
    kept: list[Point] = []
    for (x0, y0), (x1, y1) in zip(polygon, polygon[1:] + polygon[:1], strict=True):
        if y0 <= y:
            kept.append((x0, y0))
        if (y0 - y) * (y1 - y) < 0:
            kept.append((x0 + (x1 - x0) * (y - y0) / (y1 - y0), y))
    return tuple(kept)


_Edge = tuple[float, float, float, float]


def _kept(x: float) -> float:
    """Rounded far below anything measured, so that corners meant to be one place are one place."""
    # Whole 1024ths have no more than ten decimals, and most sizes are such.
    return x if (x * 1024.0).is_integer() else round(x, DIGITS)


def _edges(polygon: Polygon) -> list[_Edge]:
    """Edges that are not upright, each from left to right."""
    if len(polygon) == 4:
        (x0, y0), (x1, y1), (x2, y2), (x3, y3) = polygon
        if x0 == x3 and x1 == x2 and y0 == y1 and y2 == y3:  # upright, as most lumber is
            left, right, low, high = _kept(min(x0, x1)), _kept(max(x0, x1)), _kept(y0), _kept(y2)
            return [(left, low, right, low), (left, high, right, high)] if right - left > NEAR else []
    found = []
    ring = [(_kept(x), _kept(y)) for x, y in polygon]
    for (x0, y0), (x1, y1) in zip(ring, ring[1:] + ring[:1], strict=True):
        if abs(x1 - x0) > NEAR:
            found.append((x0, y0, x1, y1) if x0 < x1 else (x1, y1, x0, y0))
    return found


def _at(edge: _Edge, x: float) -> float:
    x0, y0, x1, y1 = edge
    if y0 == y1 or x <= x0:
        return y0
    return y1 if x >= x1 else round(y0 + (y1 - y0) * (x - x0) / (x1 - x0), DIGITS)


def _crossings(edges: Sequence[_Edge]) -> list[float]:
    """Where a sloping edge crosses another edge. Level edges never cross each other, so most walls have none."""
    sloping = [edge for edge in edges if edge[1] != edge[3]]
    found = []
    for one in sloping:
        x0, y0, x1, y1 = one
        low, high = (y0, y1) if y0 < y1 else (y1, y0)
        for other in edges:
            u0, v0, u1, v1 = other
            if (v0 >= high and v1 >= high) or (v0 <= low and v1 <= low):
                continue  # one lies over the other all along: the usual case, told without a division
            left, right = (x0 if x0 > u0 else u0), (x1 if x1 < u1 else u1)
            if one is other or right - left <= NEAR:
                continue
            gap_left, gap_right = _at(one, left) - _at(other, left), _at(one, right) - _at(other, right)
            if gap_left * gap_right < 0:
                found.append(round(left + (right - left) * gap_left / (gap_left - gap_right), DIGITS))
    return found


def cut(domain: Polygon, shapes: Iterable[Shape], strength: Sequence[str]) -> list[Trapezoid]:
    """Cut `domain` into trapezoids, each with the strongest kind that covers it.

    Parameters
    ----------
    domain : simple polygon; nothing outside it counts. [any unit of length]
    shapes : simple polygons, which may overlap each other and reach beyond the domain.
    strength : kinds from strongest to weakest; a kind not listed marks its trapezoids (`kinds`) but never wins. What
        no listed kind covers has kind "".

    Returns
    -------
    Trapezoids from left to right and from bottom to top. Their areas sum to the area of the domain.

    Raises
    ------
    Nothing of its own; shapes are simple polygons.

    Notes
    -----
    Upright lines through every corner and every crossing make strips in which edges keep their order; the sweep counts,
    from bottom to top, which shapes are open. Equations of edges are evaluated the same way on both sides of an
    upright line, so neighbouring trapezoids share their corners to the last bit.

    References
    ----------
    .. [1] Plane sweep, any textbook of computational geometry; areas checked against an independent library.

    Examples
    --------
    >>> parts = cut(((0, 0), (4, 0), (4, 2), (0, 2)), [rectangle("stud", 1, 0, 2, 2)], ["stud"])
    >>> [(part.kind, part.area) for part in parts]
    [('', 2.0), ('stud', 2.0), ('', 4.0)]
    """
    covering = list(shapes)
    outlines = [_edges(domain), *(_edges(shape.polygon) for shape in covering)]
    kinds = ["", *(shape.kind for shape in covering)]
    every = [edge for edges in outlines for edge in edges]
    left, right = min(x for x, _ in domain), max(x for x, _ in domain)
    places = sorted({x for edge in every for x in (edge[0], edge[2])}.union(_crossings(every)))
    lines: list[float] = []
    for x in places:
        if left - NEAR <= x <= right + NEAR and (not lines or x - lines[-1] > NEAR):
            lines.append(x)
    palette = _Palette(kinds[1:], strength)
    level: dict[tuple[int, ...], list[_Layer]] = {}
    parts: list[Trapezoid] = []
    for strip, found in enumerate(_strips(outlines, kinds, lines, palette)):
        # Between plates and beside studs one strip is like another: the layers of level edges are worked out once.
        layers = None if found.sloping else level.get(key := tuple(found.pattern))
        if layers is None:
            layers = _layers(found.events, palette)
            if not found.sloping:
                level[key] = layers
        x0, x1 = lines[strip], lines[strip + 1]
        parts += [Trapezoid(strip, x0, x1, *layer) for layer in layers]
    return parts


_Event = tuple[float, bool, float, float, int, int]
"""Sum of the heights at both ends, whether a shape is entered there, both heights, number of shape, place of kind."""

_Layer = tuple[float, float, float, float, str, frozenset[str]]
"""What a trapezoid is but for its strip and its upright lines."""


class _Palette:
    """Kinds by number, and what a set of open kinds amounts to: which is strongest, and all of them."""

    def __init__(self, kinds: Iterable[str], strength: Sequence[str]) -> None:
        self.names = list(dict.fromkeys(kinds))
        self.place = {name: place for place, name in enumerate(self.names)}
        self.strength = strength
        self._known: dict[int, tuple[str, frozenset[str]]] = {}

    def of(self, mask: int) -> tuple[str, frozenset[str]]:
        if mask not in self._known:
            kinds = frozenset(name for place, name in enumerate(self.names) if mask >> place & 1)
            self._known[mask] = next((name for name in self.strength if name in kinds), ""), kinds
        return self._known[mask]


class _Strip:
    """What crosses one strip: where shapes are entered and left, and a pattern alike for strips cut alike."""

    __slots__ = ("events", "pattern", "sloping")

    def __init__(self) -> None:
        self.events: list[_Event] = []
        self.pattern: list[int] = []
        self.sloping = False


def _strips(
    outlines: Sequence[list[_Edge]], kinds: Sequence[str], lines: Sequence[float], palette: _Palette
) -> list[_Strip]:
    strips = [_Strip() for _ in lines[1:]]
    labels: dict[tuple[float, float, int], int] = {}
    for index, edges in enumerate(outlines):
        place = palette.place[kinds[index]] if index else -1
        if _upright(edges):
            # A rectangle, as most lumber is: the same in every strip it crosses.
            low, high = sorted((edges[0][1], edges[1][1]))
            pair = (low + low, True, low, low, index, place), (high + high, False, high, high, index, place)
            label = labels.setdefault((low, high, place), len(labels))
            for strip in _crossed(edges[0], lines, strips):
                strip.events += pair
                strip.pattern.append(label)
        else:
            _cross(index, place, edges, lines, strips)
    return strips


def _upright(edges: Sequence[_Edge]) -> bool:
    """Whether a shape is a rectangle: two level edges, one over the other."""
    if len(edges) != 2:
        return False
    (a0, low0, a1, low1), (b0, high0, b1, high1) = edges
    return low0 == low1 and high0 == high1 and a0 == b0 and a1 == b1


def _crossed(edge: _Edge, lines: Sequence[float], strips: list[_Strip]) -> list[_Strip]:
    return strips[bisect.bisect_left(lines, edge[0] - NEAR) : bisect.bisect_left(lines, edge[2] - NEAR)]


def _cross(index: int, place: int, edges: Sequence[_Edge], lines: Sequence[float], strips: list[_Strip]) -> None:
    """Enter and leave a shape of any outline."""
    found: dict[int, list[tuple[float, float, float]]] = defaultdict(list)
    for edge in edges:
        first = bisect.bisect_left(lines, edge[0] - NEAR)
        last = min(bisect.bisect_left(lines, edge[2] - NEAR), len(strips))
        heights = [_at(edge, x) for x in lines[first : last + 1]]
        for number, (y0, y1) in enumerate(itertools.pairwise(heights), first):
            found[number].append((y0 + y1, y0, y1))
    for number, crossing in found.items():
        # Edges of a simple polygon alternate: enter, leave, enter, leave.
        crossing.sort(key=lambda heights: heights[0])
        strip = strips[number]
        strip.sloping = True
        strip.events += [(both, turn % 2 == 0, y0, y1, index, place) for turn, (both, y0, y1) in enumerate(crossing)]


def _layers(events: list[_Event], palette: _Palette) -> list[_Layer]:
    """Pieces of a strip from bottom to top."""
    open_kinds = [0] * len(palette.names)
    mask = 0
    inside = False
    below: tuple[float, float] | None = None
    found: list[_Layer] = []
    for _, entering, y0, y1, index, place in sorted(events):  # leaving sorts first at one height
        if not inside or below is None:
            below = (y0, y1)
        elif y0 - below[0] > NEAR or y1 - below[1] > NEAR:
            found.append((*below, y0, y1, *palette.of(mask)))
            below = (y0, y1)
        if index == 0:
            inside, below = entering, (y0, y1)
        else:
            open_kinds[place] += 1 if entering else -1
            mask = mask | 1 << place if open_kinds[place] else mask & ~(1 << place)
    return found
