"""Pieces of a cut wall put together again: which trapezoids touch, and the outline of those that form one piece."""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Sequence

from estimates.physics.sweep import HAIR, NEAR, Point, Polygon, Trapezoid, polygon_area


def touching(parts: Sequence[Trapezoid], join: Callable[[Trapezoid, Trapezoid], bool]) -> list[list[Trapezoid]]:
    """Groups of trapezoids that touch along more than a point where `join(lower or left, upper or right)` allows it

    Parameters
    ----------
    parts : trapezoids from `cut`.
    join : whether a lower or left piece belongs to an upper or right one that it touches.

    Returns
    -------
    Groups, each a list of trapezoids.

    Raises
    ------
    Nothing.

    Notes
    -----
    Union and find over neighbours in a strip and across its upright lines.

    References
    ----------
    .. [1] Plane geometry; areas checked against an independent geometry library.

    Examples
    --------
    >>> from estimates.physics.sweep import cut, rectangle
    >>> parts = cut(((0, 0), (4, 0), (4, 2), (0, 2)), [rectangle("stud", 1, 0, 2, 2)], ["stud"])
    >>> free = [part for part in parts if part.kind == ""]
    >>> len(touching(free, lambda one, other: True))
    2
    """
    parent = list(range(len(parts)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    by_strip: dict[int, list[int]] = defaultdict(list)
    for i, part in enumerate(parts):
        by_strip[part.strip].append(i)
    for strip, members in by_strip.items():
        for i, j in itertools.pairwise(members):
            a, b = parts[i], parts[j]
            touches = abs(a.high0 - b.low0) <= NEAR and abs(a.high1 - b.low1) <= NEAR
            if touches and join(a, b):
                parent[root(i)] = root(j)
        for i in members:
            for j in by_strip.get(strip + 1, ()):
                a, b = parts[i], parts[j]
                shared = min(a.high1, b.high0) - max(a.low1, b.low0)
                if abs(a.x1 - b.x0) <= NEAR and shared > NEAR and join(a, b):
                    parent[root(i)] = root(j)
    groups: dict[Hashable, list[Trapezoid]] = defaultdict(list)
    for i, part in enumerate(parts):
        groups[root(i)].append(part)
    return list(groups.values())


def outline(parts: Sequence[Trapezoid]) -> Polygon:
    """The outer boundary of trapezoids that form one piece, counter-clockwise.

    Parameters
    ----------
    parts : trapezoids that form one piece, from `touching`.

    Returns
    -------
    Corners, counter-clockwise.

    Raises
    ------
    Nothing.

    Notes
    -----
    Each trapezoid gives its four directed edges; upright edges are cut at every corner on their line, and an edge that
    stands in both directions is inside the piece and drops out. What is left is followed round; the ring of the largest
    area wins (a piece with a hole in it has a second, inner ring).

    References
    ----------
    .. [1] Plane geometry; areas checked against an independent geometry library.

    Examples
    --------
    >>> from estimates.physics.sweep import cut
    >>> parts = cut(((0, 0), (4, 0), (4, 2), (0, 2)), [], ())
    >>> outline(parts)
    ((0, 0), (4, 0), (4, 2), (0, 2))
    """
    one = parts[0]
    if len(parts) == 1 and one.high0 - one.low0 > HAIR and one.high1 - one.low1 > HAIR:
        # As most bays of most walls: a rectangle, or one under a rake.
        level = one.low0 == one.low1 and one.high0 == one.high1
        return one.polygon if level else _without_straight_corners(one.polygon)
    corners = _corners_by_line(parts)
    edges: dict[tuple[Point, Point], int] = defaultdict(int)
    for part in parts:
        ring = tuple((x, corners[x][y]) for x, y in part.polygon)
        for (xa, ya), (xb, yb) in zip(ring, ring[1:] + ring[:1], strict=True):
            stops = [ya, yb]
            if xa == xb and len(corners[xa]) > 2:
                between = sorted({y for y in corners[xa].values() if min(ya, yb) < y < max(ya, yb)})
                stops = [ya, *(between if ya < yb else reversed(between)), yb]
            for y0, y1 in itertools.pairwise(stops):
                start, end = (xa, y0), (xb, y1)
                if start == end:
                    continue
                if edges.get((end, start)):
                    edges[(end, start)] -= 1
                else:
                    edges[(start, end)] += 1
    following: dict[Point, list[Point]] = defaultdict(list)
    for (start, end), count in edges.items():
        following[start].extend([end] * count)
    rings: list[Polygon] = []
    for start in list(following):
        while following[start]:
            ring_points = [start]
            place = following[start].pop()
            while place != start and following[place]:
                ring_points.append(place)
                place = following[place].pop()
            rings.append(tuple(ring_points))
    ring = _without_straight_corners(max(rings, key=polygon_area)) if rings else ()
    whole = math.fsum(part.area for part in parts)
    # Edges all but upright (a brace that leans by a hair) may not close to the last digit; their hull does.
    return ring if polygon_area(ring) >= whole - HAIR * max(1.0, whole) else _hull(parts)


def _hull(parts: Sequence[Trapezoid]) -> Polygon:
    """Convex hull, counter-clockwise."""
    corners = sorted({corner for part in parts for corner in part.polygon})

    def chain(points: Iterable[Point]) -> list[Point]:
        kept: list[Point] = []
        for x, y in points:
            while len(kept) > 1 and (kept[-1][0] - kept[-2][0]) * (y - kept[-2][1]) <= (kept[-1][1] - kept[-2][1]) * (
                x - kept[-2][0]
            ):
                kept.pop()
            kept.append((x, y))
        return kept

    return (*chain(corners)[:-1], *chain(reversed(corners))[:-1])


def _corners_by_line(parts: Sequence[Trapezoid]) -> dict[float, dict[float, float]]:
    """For each upright line: height -> height with those a hair apart made one (a steep edge magnifies rounding)."""
    heights: dict[float, set[float]] = defaultdict(set)
    for part in parts:
        for x, y in part.polygon:
            heights[x].add(y)
    merged: dict[float, dict[float, float]] = {}
    for x, found in heights.items():
        merged[x] = {}
        last = -float("inf")
        for y in sorted(found):
            last = last if y - last <= HAIR else y
            merged[x][y] = last
    return merged


def _without_straight_corners(ring: Polygon) -> Polygon:
    kept = []
    for before, here, after in zip(ring[-1:] + ring[:-1], ring, ring[1:] + ring[:1], strict=True):
        turn = (here[0] - before[0]) * (after[1] - here[1]) - (here[1] - before[1]) * (after[0] - here[0])
        if abs(turn) > NEAR:
            kept.append(here)
    return tuple(kept)
