"""The mechanism of the Glaser method: a wall as points over vapour resistance, and the string under saturation.

`estimates.physics.moisture` is the door to it; units are SI.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimates.physics.validity import OutOfRange, not_negative, positive, within
from estimates.physics.vapour import AIR_PERMEABILITY, iso_saturation_pa

Array = NDArray[np.float64]

THICKEST_STEP_R = 0.25
"""Layers of more resistance are cut, so that condensate inside them is found. [m2 K/W] Source: ISO 13788 (M)."""


@dataclass(frozen=True, slots=True)
class VapourLayer:
    """A layer of a wall: thermal resistance >= 0 [m2 K/W] and vapour resistance as air thickness s_d >= 0 [m]."""

    name: str
    r: float
    sd: float


@dataclass(frozen=True, slots=True)
class AirState:
    """Air on both sides. Temperatures [degC], vapour pressures [Pa]."""

    t_out: float
    t_in: float
    p_out: float
    p_in: float

    @classmethod
    def of(cls, t_out_c: float, rh_out: float, t_in_c: float, rh_in: float) -> AirState:
        """From temperatures [degC] and relative humidities [1]; OutOfRange names what is outside its limits."""
        t_out, t_in = (float(within(n, t, -60.0, 80.0)) for n, t in (("t_out_c", t_out_c), ("t_in_c", t_in_c)))
        rh = [float(within(n, h, 0.0, 1.0)) for n, h in (("rh_out", rh_out), ("rh_in", rh_in))]
        return cls(t_out, t_in, rh[0] * float(iso_saturation_pa(t_out)), rh[1] * float(iso_saturation_pa(t_in)))


@dataclass(frozen=True, slots=True)
class Hull:
    """The string: its corners over s_d [m] with their pressures [Pa], and gain at each plane [kg/(m2 s)] by number."""

    sd: Array
    pressure: Array
    rates: tuple[tuple[int, float], ...]


@dataclass(frozen=True, slots=True)
class Section:
    """A wall as points from its outer to its inner face.

    sd [m], r : from outside air [m2 K/W] (points,); faces : points that are layer faces; places : names of air, faces
    and air; planes : points that no vapour resistance parts, strictly inside the wall; words : names of the planes.
    """

    sd: Array
    r: Array
    r_out: float
    r_in: float
    faces: NDArray[np.intp]
    places: tuple[str, ...]
    planes: tuple[NDArray[np.intp], ...]
    words: tuple[str, ...]

    @property
    def total_r(self) -> float:
        """Air to air. [m2 K/W]"""
        return float(self.r[-1]) + self.r_in

    @classmethod
    def of(cls, layers: Sequence[VapourLayer], r_out: float, r_in: float) -> Section:
        """From layers, outside to inside; thick ones are cut."""
        if not layers:
            raise OutOfRange("number of layers", 0, "a layer at least")
        outer, inner = float(not_negative("r_out", r_out)), float(not_negative("r_in", r_in))
        sd, r, words, faces = [0.0], [outer], ["outer face"], [0]
        for i, layer in enumerate(layers):
            layer_r = float(not_negative(f"layers[{i}].r", layer.r))
            layer_sd = float(not_negative(f"layers[{i}].sd", layer.sd))
            cuts = max(1, int(np.ceil(layer_r / THICKEST_STEP_R)))
            start_sd, start_r = sd[-1], r[-1]
            for cut in range(1, cuts + 1):
                sd.append(start_sd + layer_sd * cut / cuts)
                r.append(start_r + layer_r * cut / cuts)
                words.append(f"in {layer.name}")
            follower = layers[i + 1].name if i + 1 < len(layers) else None
            words[-1] = f"between {layer.name} and {follower}" if follower else "inner face"
            faces.append(len(sd) - 1)
        positive("sum of layers' sd", sd[-1])
        positive("sum of resistances", r[-1] + inner)
        planes = _planes(np.array(sd))
        return cls(
            sd=np.array(sd),
            r=np.array(r),
            r_out=outer,
            r_in=inner,
            faces=np.array(faces, dtype=np.intp),
            places=("outside air", *(words[i] for i in faces), "inside air"),
            planes=planes,
            words=tuple(words[plane[0]] for plane in planes),
        )

    def temperature(self, state: AirState) -> Array:
        """Of each point, (points,). [degC]"""
        return state.t_out + (state.t_in - state.t_out) * self.r / self.total_r

    def saturation(self, state: AirState) -> Array:
        """Of each point, (points,). [Pa]"""
        return np.asarray(iso_saturation_pa(self.temperature(state)), dtype=np.float64)

    def string(self, state: AirState, wet: Collection[int] = ()) -> Hull:
        """Vapour pressure that nowhere exceeds saturation, held at saturation on wet planes."""
        saturation = self.saturation(state)
        points = [(0.0, state.p_out, -1)]
        points += [(float(self.sd[p[0]]), float(saturation[p].min()), g) for g, p in enumerate(self.planes)]
        points.append((float(self.sd[-1]), state.p_in, -1))
        straight = 1e-10 * points[-1][0] * max(p for _, p, _ in points)
        corners: list[tuple[float, float, int]] = []
        fixed = 0
        for point in points:
            while len(corners) > fixed + 1 and _turn(corners[-2], corners[-1], point) <= straight:
                corners.pop()
            corners.append(point)
            if point[2] in wet:
                fixed = len(corners) - 1
        sd, pressure = np.array([c[0] for c in corners]), np.array([c[1] for c in corners])
        gain = AIR_PERMEABILITY * np.diff(np.diff(pressure) / np.diff(sd))
        return Hull(sd, pressure, tuple((c[2], float(g)) for c, g in zip(corners[1:-1], gain)))

    def after(self, state: AirState, seconds: float, amounts: Array) -> Array:
        """Water on each plane after a time in steady conditions, (planes,). [kg/m2]"""
        water, left = amounts.copy(), seconds
        for _ in range(len(self.planes) + 1):  # each pass ends the time or dries a plane that then stays dry
            wet = {int(g) for g in np.flatnonzero(water > 0.0)}
            rates = dict(self.string(state, wet).rates)
            dry_in = {g: water[g] / -rates[g] for g in wet if rates[g] < 0.0}
            step = min([left, *dry_in.values()])
            for plane, rate in rates.items():
                water[plane] = max(0.0, water[plane] + rate * step)
            for plane, time in dry_in.items():
                if time <= step:
                    water[plane] = 0.0
            left -= step
            if left <= 0.0:
                break
        return water


def _planes(sd: Array) -> tuple[NDArray[np.intp], ...]:
    """Points strictly inside, gathered where no vapour resistance parts them."""
    near = 1e-12 * sd[-1]
    inside = np.flatnonzero((sd > near) & (sd < sd[-1] - near))
    if not inside.size:
        return ()
    return tuple(np.split(inside, np.flatnonzero(np.diff(sd[inside]) > near) + 1))


def _turn(a: tuple[float, float, int], b: tuple[float, float, int], c: tuple[float, float, int]) -> float:
    """Above 0 where the way from a over b to c turns upward."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
