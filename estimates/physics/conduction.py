"""Steady heat conduction in a plane section: temperatures and heat flow where parallel paths are only a guess.

Finite volumes round the crossings of a rectangular grid, each cell of one conductivity, so that temperatures stand on
faces and corners, where they are measured. Any consistent units will do; `infrared` uses in, Btu in/(h ft2 degF), R in
h ft2 degF/Btu and degF, which gives heat flow in Btu in/(h ft2): divide by 12 for Btu/h per ft of wall height.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estimates.physics.materials import EMPTY_CAVITY_R, framing_r
from estimates.physics.validity import OutOfRange, finite, not_negative, positive

Array = NDArray[np.float64]


class Side(StrEnum):
    """Side of the section: LEFT and RIGHT at the ends of x, LOW and HIGH at the ends of y."""

    LEFT = "left"
    RIGHT = "right"
    LOW = "low"
    HIGH = "high"


@dataclass(frozen=True, slots=True)
class Boundary:
    """A stretch of a side that is held at a temperature or faces air; what no boundary covers is adiabatic.

    Parameters
    ----------
    side : which side.
    temperature : of the surface (film_r 0) or of the air beyond the film.
    film_r : resistance of the film, >= 0; 0 holds the surface itself at the temperature.
    start, end : ends of the stretch along the side; left out: its whole length.
    """

    side: Side
    temperature: float
    film_r: float = 0.0
    start: float | None = None
    end: float | None = None


@dataclass(frozen=True, slots=True)
class Field:
    """The solution.

    x (nx,), y (ny,) : grid lines; temperature (ny, nx) : at their crossings;
    heat_in : heat flowing into the section through each boundary, in the order given, per unit of depth.
    """

    x: Array
    y: Array
    temperature: Array
    heat_in: tuple[float, ...]

    def at(self, x: float, y: float) -> float:
        """Temperature of a point, between grid lines by bilinear interpolation.

        Parameters
        ----------
        x, y : the point, within the section.

        Raises
        ------
        OutOfRange : outside the section.
        """
        for name, value, lines in (("x", x, self.x), ("y", y, self.y)):
            if not lines[0] <= value <= lines[-1]:
                raise OutOfRange(name, float(value), f"a number from {lines[0]:g} to {lines[-1]:g}")
        rows = [float(np.interp(x, self.x, row)) for row in self.temperature]
        return float(np.interp(y, self.y, rows))

    def surface(self, side: Side) -> Array:
        """Temperatures along a side, on its grid lines."""
        t = self.temperature
        picked: dict[Side, Array] = {Side.LEFT: t[:, 0], Side.RIGHT: t[:, -1], Side.LOW: t[0], Side.HIGH: t[-1]}
        return picked[Side(side)]


def grid_lines(stops: Iterable[float], step: float) -> Array:
    """Grid lines through given places, evenly spaced between them.

    Parameters
    ----------
    stops : places that need a line (material edges), any order. [in]
    step : widest cell, > 0. [in]

    Returns
    -------
    Lines, rising, (n,).

    Raises
    ------
    OutOfRange : fewer than two different stops; a step that is not positive.

    Notes
    -----
    Lines at every stop, and equal steps between two stops no wider than the widest allowed.

    References
    ----------
    .. [1] Common practice of finite volumes, no source.

    Examples
    --------
    >>> grid_lines([0, 1, 3], 1).tolist()
    [0.0, 1.0, 2.0, 3.0]
    """
    places = np.unique(np.asarray(finite("stops", list(stops)), dtype=np.float64))
    widest = float(positive("step", step))
    if places.size < 2:
        raise OutOfRange("number of stops", int(places.size), "two different places at least")
    parts = [np.linspace(a, b, max(1, int(np.ceil((b - a) / widest - 1e-9))) + 1)[:-1] for a, b in pairwise(places)]
    return np.concatenate([*parts, places[-1:]])


def solve(x: ArrayLike, y: ArrayLike, k: ArrayLike, boundaries: Sequence[Boundary]) -> Field:
    r"""Steady temperatures and heat flow of a section.

    Parameters
    ----------
    x : grid lines, rising, (nx,). [length]
    y : grid lines, rising, (ny,). [length]
    k : conductivity of each cell, > 0, (ny - 1, nx - 1). [heat / (length temperature)]
    boundaries : held surfaces and air films; the rest is adiabatic.

    Returns
    -------
    Field.

    Raises
    ------
    OutOfRange : lines that do not rise, a conductivity that is not positive or of another shape, no boundary, a stretch
        outside its side or over another one.

    Notes
    -----
    .. math:: \nabla \cdot (k \nabla T) = 0, \qquad -k \, \partial T / \partial n = (T - T_{air}) / R_{film}

    Balance of each quarter-cell volume round a crossing; the matrix is symmetric and positive. Where two held surfaces
    of different temperature meet, the corner takes the mean. Constant properties, no radiation or moving air inside:
    an air space is given the conductivity that its resistance makes up.

    References
    ----------
    .. [1] ISO 10211:2007, annex A: this function meets cases 1 and 2 (0.1 K, 0.1 W/m).
    .. [2] Finite volumes for steady conduction: any textbook of numerical heat transfer.

    Examples
    --------
    >>> held = (Boundary(Side.LOW, 0.0, film_r=0.5), Boundary(Side.HIGH, 10.0, film_r=0.5))
    >>> field = solve([0, 1], [0, 1, 2], [[1.0], [1.0]], held)
    >>> round(field.at(0.5, 1.0), 9), [round(q, 9) for q in field.heat_in]
    (5.0, [-3.333333333, 3.333333333])
    """
    from scipy.sparse import coo_array
    from scipy.sparse.linalg import spsolve

    xs, ys = _lines("x", x), _lines("y", y)
    cells = np.asarray(positive("k", k), dtype=np.float64)
    if cells.shape != (ys.size - 1, xs.size - 1):
        raise OutOfRange("shape of k", cells.shape, f"one conductivity for each cell: {(ys.size - 1, xs.size - 1)}")
    links_x, links_y = _links(xs, ys, cells)
    number = np.arange(xs.size * ys.size).reshape(ys.size, xs.size)
    a = np.concatenate([number[:, :-1].ravel(), number[:-1].ravel()])
    b = np.concatenate([number[:, 1:].ravel(), number[1:].ravel()])
    g = np.concatenate([links_x.ravel(), links_y.ravel()])

    held, film, load, reach = _boundary_terms(xs, ys, number, boundaries)
    fixed = ~np.isnan(held)
    n = number.size
    off = coo_array((np.concatenate([g, g]), (np.concatenate([a, b]), np.concatenate([b, a]))), shape=(n, n)).tocsr()
    diagonal = np.asarray(off.sum(axis=1)).ravel() + film
    temperature = np.where(fixed, held, 0.0)
    free = ~fixed
    if free.any():
        matrix = (-off[free][:, free]).tolil()
        matrix.setdiag(diagonal[free])
        right = load[free] + off[free][:, fixed] @ temperature[fixed]
        temperature[free] = spsolve(matrix.tocsc(), right)
    left_over = diagonal * temperature - off @ temperature - load  # what a held node must be given
    heat = tuple(
        _heat_in(boundary, nodes, weight, temperature, left_over, shared) for boundary, nodes, weight, shared in reach
    )
    return Field(xs, ys, temperature.reshape(number.shape), heat)


_Reach = tuple[Boundary, NDArray[np.intp], Array, Array]


def _lines(name: str, lines: ArrayLike) -> Array:
    places = np.asarray(finite(name, lines), dtype=np.float64)
    if places.ndim != 1 or places.size < 2 or not (np.diff(places) > 0).all():
        raise OutOfRange(
            name, places.tolist() if places.size < 9 else "a list that does not rise", "rising grid lines, two at least"
        )
    return places


def _links(xs: Array, ys: Array, k: Array) -> tuple[Array, Array]:
    """Conductances between neighbours along x (ny, nx-1) and y (ny-1, nx): half of the cell on each side."""
    dx, dy = np.diff(xs), np.diff(ys)
    half_rows = k * (dy[:, None] / 2)
    along_x = np.zeros((ys.size, xs.size - 1))
    along_x[:-1] += half_rows
    along_x[1:] += half_rows
    half_columns = k * (dx[None, :] / 2)
    along_y = np.zeros((ys.size - 1, xs.size))
    along_y[:, :-1] += half_columns
    along_y[:, 1:] += half_columns
    return along_x / dx[None, :], along_y / dy[:, None]


def _boundary_terms(
    xs: Array, ys: Array, number: NDArray[np.intp], boundaries: Sequence[Boundary]
) -> tuple[Array, Array, Array, list[_Reach]]:
    """Held temperatures (NaN: free), film conductances and loads of all nodes, and what each boundary touches."""
    if not boundaries:
        raise OutOfRange("boundaries", "none", "a held surface or an air film at least")
    nodes_of = {Side.LEFT: number[:, 0], Side.RIGHT: number[:, -1], Side.LOW: number[0], Side.HIGH: number[-1]}
    held_sum, held_count = np.zeros(number.size), np.zeros(number.size)
    film, load = np.zeros(number.size), np.zeros(number.size)
    taken: dict[Side, list[tuple[float, float]]] = {}
    touched: list[tuple[Boundary, NDArray[np.intp], Array]] = []
    for i, boundary in enumerate(boundaries):
        side = Side(boundary.side)
        along = ys if side in (Side.LEFT, Side.RIGHT) else xs
        start, end = _stretch(i, boundary, along, taken.setdefault(side, []))
        temperature = float(finite(f"boundaries[{i}].temperature", boundary.temperature))
        film_r = float(not_negative(f"boundaries[{i}].film_r", boundary.film_r))
        nodes = nodes_of[side]
        if film_r == 0.0:
            near = 1e-9 * (along[-1] - along[0])
            nodes = nodes[(along >= start - near) & (along <= end + near)]
            if not nodes.size:
                raise OutOfRange(f"boundaries[{i}]", f"{start:g} to {end:g}", "a held stretch that reaches a grid line")
            np.add.at(held_sum, nodes, temperature)
            np.add.at(held_count, nodes, 1.0)
            touched.append((boundary, nodes, np.zeros(nodes.size)))
        else:
            conductance = _lengths(along, start, end) / film_r
            film[nodes] += conductance
            load[nodes] += conductance * temperature
            touched.append((boundary, nodes, conductance))
    held = np.divide(held_sum, held_count, out=np.full(number.size, np.nan), where=held_count > 0)
    reach = [(boundary, nodes, weight, held_count[nodes]) for boundary, nodes, weight in touched]
    return held, film, load, reach


def _stretch(i: int, boundary: Boundary, along: Array, taken: list[tuple[float, float]]) -> tuple[float, float]:
    low, high = float(along[0]), float(along[-1])
    start = low if boundary.start is None else float(finite(f"boundaries[{i}].start", boundary.start))
    end = high if boundary.end is None else float(finite(f"boundaries[{i}].end", boundary.end))
    if not low <= start < end <= high:
        raise OutOfRange(f"boundaries[{i}]", f"{start:g} to {end:g}", f"a stretch within {low:g} to {high:g}")
    if any(start < other_end and other_start < end for other_start, other_end in taken):
        raise OutOfRange(f"boundaries[{i}]", f"{start:g} to {end:g}", "a stretch that no other boundary covers")
    taken.append((start, end))
    return start, end


def _lengths(along: Array, start: float, end: float) -> Array:
    """Length of a stretch that belongs to each grid line: up to half-way to its neighbours."""
    edges: Array = np.concatenate([along[:1], (along[:-1] + along[1:]) / 2, along[-1:]])
    lengths: Array = np.clip(np.minimum(edges[1:], end) - np.maximum(edges[:-1], start), 0.0, None)
    return lengths


def _heat_in(
    boundary: Boundary, nodes: NDArray[np.intp], film: Array, temperature: Array, left_over: Array, shared: Array
) -> float:
    if boundary.film_r == 0.0:
        return float((left_over[nodes] / shared).sum())
    return float((film * (boundary.temperature - temperature[nodes])).sum())


# --- what an infrared camera should see ---------------------------------------------------------------------------


class StripKind(StrEnum):
    """What a strip of the framed layer is."""

    STUD = "stud"
    EMPTY = "empty"
    BATT = "batt"
    FILLED = "filled"
    VOID = "void"


@dataclass(frozen=True, slots=True)
class Strip:
    """A strip of the framed layer, from `x_in`, `width_in` wide. [in]"""

    x_in: float
    width_in: float
    kind: StripKind


@dataclass(frozen=True, slots=True)
class FaceLayer:
    """A layer across the whole wall: thickness [in], R through it [h ft2 degF/Btu]."""

    thickness_in: float
    r: float


@dataclass(frozen=True, slots=True)
class StripSeen:
    """A strip as the camera should see it: inside-surface temperatures over its width. [degF]"""

    strip: Strip
    mean_f: float
    lowest_f: float
    highest_f: float


@dataclass(frozen=True, slots=True)
class Infrared:
    """Expected inside surface. x_in (n,) [in], surface_f (n,) [degF], u of the section [Btu/(h ft2 degF)]."""

    x_in: Array
    surface_f: Array
    strips: tuple[StripSeen, ...]
    u: float
    warnings: tuple[str, ...]


LEAST_INFRARED_DELTA_F = 18.0
"""Inside less outside air below which a camera judges nothing. [degF] Common practice (CP)."""


def infrared(
    strips: Sequence[Strip],
    *,
    depth_in: float,
    outside: Sequence[FaceLayer],
    inside: Sequence[FaceLayer],
    cavity_r: Mapping[StripKind, float],
    t_in_f: float,
    t_out_f: float,
    outside_film_r: float = 0.17,
    inside_film_r: float = 0.68,
    step_in: float = 0.25,
) -> Infrared:
    """Inside-surface temperatures that a sound wall should show, strip by strip.

    Parameters
    ----------
    strips : the framed layer from left to right without gaps.
    depth_in : its depth, > 0. [in]
    outside, inside : layers over the whole wall, from the framing outward and from the framing inward.
    cavity_r : resistance within the framed layer by kind, > 0 [h ft2 degF/Btu]; studs (1.25 per in) and empty or void
        strips (0.91) may be left out.
    t_in_f, t_out_f : air temperatures. [degF]
    outside_film_r, inside_film_r : films, > 0. [h ft2 degF/Btu]
    step_in : widest cell along the wall, > 0. [in]

    Returns
    -------
    Infrared; with a warning where the air temperatures differ by less than 18 degF.

    Raises
    ------
    OutOfRange : an argument outside its limits, equal temperatures, strips with gaps or overlaps, a kind without
        resistance.

    Notes
    -----
    Two-dimensional conduction (`solve`); ends of the section are adiabatic, so begin and end in mid-bay or at a corner.
    Steady state: after sun or a fast change of weather the wall looks otherwise. An air space conducts sideways as it
    does through, which blurs an empty bay's edge a little more than in truth.

    References
    ----------
    .. [1] Difference of 18 degF, no sun for 4 h: common practice (CP).

    Examples
    --------
    >>> bays = [Strip(0, 7.25, StripKind.FILLED), Strip(7.25, 1.5, StripKind.STUD), Strip(8.75, 7.25, StripKind.EMPTY)]
    >>> face = [FaceLayer(0.5, 0.45)]
    >>> seen = infrared(
    ...     bays, depth_in=3.5, outside=face, inside=face, cavity_r={StripKind.FILLED: 13.7}, t_in_f=70, t_out_f=20
    ... )
    >>> [round(s.mean_f) for s in seen.strips]
    [67, 63, 58]
    """
    depth = float(positive("depth_in", depth_in))
    warm, cold = float(finite("t_in_f", t_in_f)), float(finite("t_out_f", t_out_f))
    if warm == cold:
        raise OutOfRange("t_in_f", warm, "a temperature other than t_out_f: without a difference nothing shows")
    strip_k = _strip_k(strips, depth, cavity_r)
    edges = [strips[0].x_in, *(s.x_in + s.width_in for s in strips)]
    xs = grid_lines(edges, float(positive("step_in", step_in)))
    depths, layer_k = _layers(depth, outside, inside)
    ys = grid_lines(depths, depth / 14.0)
    across = strip_k[_between(edges, xs)]
    k = np.array([across if layer is None else np.full(across.size, layer) for layer in layer_k])
    k = k[_between(depths, ys)]
    field = solve(
        xs,
        ys,
        k,
        (
            Boundary(Side.LOW, cold, film_r=float(positive("outside_film_r", outside_film_r))),
            Boundary(Side.HIGH, warm, film_r=float(positive("inside_film_r", inside_film_r))),
        ),
    )
    surface = field.surface(Side.HIGH)
    seen = tuple(_seen(strip, xs, surface) for strip in strips)
    warnings: tuple[str, ...] = ()
    if abs(warm - cold) < LEAST_INFRARED_DELTA_F:
        warnings = (f"inside and outside differ by less than {LEAST_INFRARED_DELTA_F:g} degF: not judged, come again",)
    return Infrared(xs, surface, seen, field.heat_in[1] / (warm - cold) / float(xs[-1] - xs[0]), warnings)


_KNOWN_R = {StripKind.EMPTY: EMPTY_CAVITY_R, StripKind.VOID: EMPTY_CAVITY_R}


def _strip_k(strips: Sequence[Strip], depth: float, cavity_r: Mapping[StripKind, float]) -> Array:
    """Conductivity of each strip that makes up its resistance over the depth."""
    if not strips:
        raise OutOfRange("strips", "none", "a strip at least")
    known = {StripKind.STUD: float(framing_r(depth)), **_KNOWN_R, **cavity_r}
    ks = []
    for i, strip in enumerate(strips):
        width = float(positive(f"strips[{i}].width_in", strip.width_in))
        left = float(finite(f"strips[{i}].x_in", strip.x_in))
        if i and abs(left - (strips[i - 1].x_in + strips[i - 1].width_in)) > 1e-6 * width:
            raise OutOfRange(f"strips[{i}].x_in", left, "the right edge of the strip before it")
        kind = StripKind(strip.kind)
        if kind not in known:
            raise OutOfRange("cavity_r", f"without {kind.value}", f"the resistance of {kind.value} strips")
        ks.append(depth / float(positive(f"cavity_r[{kind.value}]", known[kind])))
    return np.array(ks)


def _layers(
    depth: float, outside: Sequence[FaceLayer], inside: Sequence[FaceLayer]
) -> tuple[list[float], list[float | None]]:
    """Depths of the layer edges from the outermost face inward, and conductivities; None is the framed layer."""
    depths, ks = [0.0], list[float | None]()
    named = [*(("outside", layer) for layer in reversed(outside)), None, *(("inside", layer) for layer in inside)]
    for entry in named:
        if entry is None:
            depths.append(depths[-1] + depth)
            ks.append(None)
        else:
            name, layer = entry
            thickness = float(positive(f"{name} thickness_in", layer.thickness_in))
            depths.append(depths[-1] + thickness)
            ks.append(thickness / float(positive(f"{name} r", layer.r)))
    return depths, ks


def _between(edges: Sequence[float], lines: Array) -> NDArray[np.intp]:
    """Which piece between edges each cell between lines lies in."""
    return np.clip(np.searchsorted(edges, (lines[:-1] + lines[1:]) / 2) - 1, 0, len(edges) - 2)


def _seen(strip: Strip, xs: Array, surface: Array) -> StripSeen:
    near = 1e-9 * max(1.0, abs(strip.x_in))
    own = (xs >= strip.x_in - near) & (xs <= strip.x_in + strip.width_in + near)
    temperatures = surface[own]
    mean = float(np.trapezoid(temperatures, xs[own])) / float(xs[own][-1] - xs[own][0])
    return StripSeen(strip, mean, float(temperatures.min()), float(temperatures.max()))
