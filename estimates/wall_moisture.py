"""Moisture in each wall before and after it is filled: where vapour may condense, and the water the foam brings.

An estimate for steady cold by vapour diffusion alone. It compares a wall with itself; it never says that a wall is
safe.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from estimates.draws import old_batts
from estimates.heat import foam_r
from estimates.house import (
    Access,
    Cladding,
    Construction,
    HouseRecord,
    InsideCover,
    InsideFinish,
    Sheathing,
    SurfaceKind,
    WallRecord,
    WeatherBarrier,
)
from estimates.physics.materials import (
    AIR_FILMS,
    EMPTY_CAVITY_R,
    R_PER_SI,
    STILL_AIR_PERM_IN,
    material,
)
from estimates.physics.moisture import Glaser, glaser, layer_from_us
from estimates.pricebook import FoamProduct
from estimates.takeoff import Takeoff, WallTakeoff

OUTDOOR_RH, INDOOR_RH = 0.80, 0.40
"""Relative humidity on the design day. [1] Common practice, no source."""

TIGHT_PERM = 1.0
"""Permeance of a face below which a wall hardly dries through it. [perm] Residential code, class II retarder (S)."""

LB_FT2_DAY = 86_400 * 2.20462262 * 0.09290304
"""Condensation in lb/(ft2 day) of one in kg/(m2 s). Exact definitions of day, pound and foot."""

FULL_AIR_SPACE_IN = 0.75
"""Depth from which an air space resists heat like an empty bay. [in] Handbook tables of air spaces, from memory (M)."""

NO_RISK = "none found"

JUDGED = (SurfaceKind.WALL, SurfaceKind.KNEE_WALL, SurfaceKind.RIM)
"""Surfaces whose record holds every layer from outside to inside."""


@dataclass(frozen=True, slots=True)
class MoistureLayer:
    """A layer of a wall from outside to inside: R [h ft2 degF/Btu], permeance [perm] and the source mark of that."""

    name: str
    r: float
    perm: float
    perm_mark: str


@dataclass(frozen=True, slots=True)
class RiskPlane:
    """A place where vapour may condense, and how fast on the design day. [lb/(ft2 day)]"""

    place: str
    lb_ft2_day: float


@dataclass(frozen=True, slots=True)
class CondensationRisk:
    """What the estimate says of a wall: "none found", or where condensation is possible."""

    words: str
    planes: tuple[RiskPlane, ...]

    @property
    def possible(self) -> bool:
        """Whether condensation is possible anywhere."""
        return self.words != NO_RISK


@dataclass(frozen=True, slots=True)
class WallMoisture:
    """A wall before and after filling.

    before, after : None where not judged, `not_judged` says why; layers : after filling where the wall is to be filled,
    else before; outside_perm, inside_perm : of all layers on each side of the cavity [perm]; water_lb, water_lb_ft2 :
    that wet foam adds, in all and for each ft2 of bay face, 0 where it is not filled; drying_days : that the product
    asks for before anything tight covers the wall [day].
    """

    id: str
    name: str
    before: CondensationRisk | None
    after: CondensationRisk | None
    not_judged: str
    layers: tuple[MoistureLayer, ...]
    outside_perm: float | None
    inside_perm: float | None
    water_lb: float
    water_lb_ft2: float
    drying_days: int
    basis: str
    cautions: tuple[str, ...]


# --- layers ----------------------------------------------------------------------------------------------------------


def _row(key: str, thickness_in: float | None = None) -> MoistureLayer:
    row = material(key)
    name = row.name.split(",")[0]
    return MoistureLayer(
        name[0].lower() + name[1:], row.resistance(thickness_in), row.permeance(thickness_in), row.perm_mark
    )


_BRICK = MoistureLayer("brick with its drained gap", material("brick_veneer").resistance(), 10.0, "CP")
"""Air in the gap behind a veneer carries vapour past the brick; 0.8 perm of the brick alone would mislead."""

_PAPER = MoistureLayer("paper wallpaper", 0.0, 5.0, "CP")

_COVERS = {
    InsideCover.PAINT: "latex_paint",
    InsideCover.OIL_PAINT: "oil_paint",
    InsideCover.VINYL_PAPER: "vinyl_paper",
    InsideCover.FOIL: "foil",
    InsideCover.MEMBRANE: "polyethylene",
}

_BARRIERS = {
    WeatherBarrier.FELT: _row("felt"),
    WeatherBarrier.BUILDING_PAPER: MoistureLayer("building paper", 0.0, 5.0, "M"),
    WeatherBarrier.HOUSEWRAP: MoistureLayer("housewrap", 0.0, 20.0, "CP"),
    WeatherBarrier.FOIL_BOARD: MoistureLayer("foil-faced board", 0.0, 0.02, "CP"),
}
"""Old foil-faced boards are thin: their R is left out, which is the careful side."""


def outside_layers(wall: WallRecord) -> tuple[MoistureLayer, ...]:
    """Layers outside of the cavities, from outside to inside; a weather barrier not seen counts as none."""
    layers = [_BRICK if wall.cladding is Cladding.BRICK_VENEER else _row(wall.cladding)]
    if wall.weather_barrier in _BARRIERS:
        layers.append(_BARRIERS[wall.weather_barrier])
    if wall.sheathing is not Sheathing.NONE:
        layers.append(_row(wall.sheathing))
    if wall.kind is SurfaceKind.RIM:
        rim = _row("softwood", wall.stud_in)
        layers.append(MoistureLayer("rim joist", rim.r, rim.perm, rim.perm_mark))
    return tuple(layers)


def inside_layers(wall: WallRecord) -> tuple[MoistureLayer, ...]:
    """Layers inside of the cavities, from outside to inside; a bay open to the room has foil or membrane at most."""
    cover = _PAPER if wall.inside_cover is InsideCover.WALLPAPER else _row(_COVERS[wall.inside_cover])
    if wall.inside is InsideFinish.NONE:
        return (cover,) if wall.inside_cover in (InsideCover.FOIL, InsideCover.MEMBRANE) else ()
    return (_row(wall.inside), cover)


def cavity_paths(wall: WallRecord, foam: FoamProduct | None) -> tuple[tuple[MoistureLayer, ...], ...]:
    """What stands in the bays from outside to inside: beside old insulation, and where it is.

    Parameters
    ----------
    wall : its depth and old insulation are read.
    foam : the product that fills the room left; None: as found.

    Notes
    -----
    Foam comes from the side that is drilled and squeezes old batts to the other one; as found they hang on that side
    too, with air before them. Common practice (CP).
    """

    def room(depth_in: float) -> MoistureLayer:
        if foam is not None:
            return MoistureLayer(
                "foam", float(foam_r(foam, depth_in, 0.0)), foam.permeance_perm_in / depth_in, foam.mark
            )
        r_air = EMPTY_CAVITY_R * min(1.0, depth_in / FULL_AIR_SPACE_IN)
        return MoistureLayer("empty cavity", r_air, STILL_AIR_PERM_IN / depth_in, "M")

    old = wall.existing_fill
    paths: list[tuple[MoistureLayer, ...]] = []
    if old is None or old.covered_share < 1.0:
        paths.append((room(wall.depth_in),))
    if old is not None and old.covered_share > 0.0:
        thick = old.in_place_in if foam is None else old.compressed_in
        row = material(old.material)
        layers = []
        if thick > 0.0:
            r = old_batts(wall).best * thick if foam is None else row.resistance(thick)
            layers.append(MoistureLayer("old insulation", r, row.permeance(thick), row.perm_mark))
        if wall.depth_in - thick > 0.0:
            layers.insert(len(layers) if wall.access is Access.DRILL_INSIDE else 0, room(wall.depth_in - thick))
        paths.append(tuple(layers))
    return tuple(paths)


def face_perm(layers: Sequence[MoistureLayer]) -> float | None:
    """Permeance of layers one behind the other; None where there is none. [perm]

    Examples
    --------
    >>> round(face_perm((MoistureLayer("a", 0, 2.0, "M"), MoistureLayer("b", 0, 2.0, "M"))), 2)
    1.0
    """
    return 1.0 / sum(1.0 / layer.perm for layer in layers) if layers else None


# --- judgement -------------------------------------------------------------------------------------------------------


def house_moisture(house: HouseRecord, takeoff: Takeoff, foam: FoamProduct) -> tuple[WallMoisture, ...]:
    """Moisture of every wall of a house, before and after filling (rule G7).

    Parameters
    ----------
    house : design temperature and indoor temperature are read.
    takeoff : walls and the water of their foam; a wall that something stops is judged as it stands.
    foam : the product.

    Returns
    -------
    One row for each wall, in the order of the takeoff.

    Raises
    ------
    OutOfRange : a value of the house outside the limits of the method; names it.

    Notes
    -----
    Steady diffusion through each path between the studs, by the tangent construction of
    `estimates.physics.moisture.glaser`; the worse path counts. Outdoors 80 %, indoors 40 % (CP). Framing, rain, air
    leakage, storage and drying are left out.
    """
    return tuple(_wall_moisture(house, counted, foam) for counted in takeoff.walls)


def _wall_moisture(house: HouseRecord, counted: WallTakeoff, foam: FoamProduct) -> WallMoisture:
    wall = counted.wall
    why_not = _not_judged(house, wall)
    outside, inside = outside_layers(wall), inside_layers(wall)
    before = after = None
    if not why_not:
        before = _risk(house, outside, cavity_paths(wall, None), inside)
        after = _risk(house, outside, cavity_paths(wall, foam), inside) if counted.priced else None
    masonry = _masonry(wall)
    outside_perm = None if masonry or wall.kind not in JUDGED else face_perm(outside)
    inside_perm = face_perm(inside)
    face_ft2 = counted.layout.volume_ft3 * 12.0 / wall.depth_in
    filled = counted.priced and face_ft2 > 0
    cavity = cavity_paths(wall, foam if counted.priced else None)[0]
    return WallMoisture(
        id=wall.id,
        name=wall.name,
        before=before,
        after=after,
        not_judged=why_not or ("" if counted.priced else "not filled: judged as it stands"),
        layers=() if masonry else (*outside, *cavity, *inside),
        outside_perm=outside_perm,
        inside_perm=inside_perm,
        water_lb=counted.water_lb if filled else 0.0,
        water_lb_ft2=counted.water_lb / face_ft2 if filled else 0.0,
        drying_days=foam.drying_days,
        basis=_basis(house) if before is not None else "",
        cautions=tuple(_cautions(wall, before, after, outside_perm, inside_perm, foam)) if counted.priced else (),
    )


def _masonry(wall: WallRecord) -> bool:
    return wall.construction in (Construction.SOLID_BRICK, Construction.BLOCK)


def _not_judged(house: HouseRecord, wall: WallRecord) -> str:
    if house.climate.design_f is None:
        return "condensation not worked out: enter climate.design_f"
    if _masonry(wall):
        return "condensation not worked out: masonry needs a designer"
    if wall.kind not in JUDGED:
        return f"condensation not worked out: a {wall.kind.replace('_', ' ')} has layers that are not recorded"
    return ""


def _risk(
    house: HouseRecord,
    outside: tuple[MoistureLayer, ...],
    paths: tuple[tuple[MoistureLayer, ...], ...],
    inside: tuple[MoistureLayer, ...],
) -> CondensationRisk:
    """The worst of all paths, place by place."""
    rates: dict[str, float] = {}
    faces: list[str] = []
    for cavity in paths:
        found = _glaser(house.climate.design_f, house.indoor_f, (*outside, *cavity, *inside))
        for plane in found.planes:
            rates[plane.place] = max(rates.get(plane.place, 0.0), plane.rate * LB_FT2_DAY)
        faces += [warning.removeprefix("water condenses ") for warning in found.warnings]
    places = [*rates, *dict.fromkeys(faces)]
    words = f"condensation possible {', '.join(places)}" if places else NO_RISK
    return CondensationRisk(words, tuple(RiskPlane(place, rate) for place, rate in rates.items()))


@lru_cache(maxsize=1024)
def _glaser(design_f: float | None, indoor_f: float, layers: tuple[MoistureLayer, ...]) -> Glaser:
    """One path on the design day, kept: walls of a house are mostly built alike."""
    assert design_f is not None
    return glaser(
        [layer_from_us(layer.name, layer.r, layer.perm) for layer in layers],
        t_out_c=_celsius(design_f),
        rh_out=OUTDOOR_RH,
        t_in_c=_celsius(indoor_f),
        rh_in=INDOOR_RH,
        r_out=AIR_FILMS["outside_winter"].r / R_PER_SI,
        r_in=AIR_FILMS["inside_vertical"].r / R_PER_SI,
    )


def _celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def _basis(house: HouseRecord) -> str:
    return (
        f"Estimate for steady cold of {house.climate.design_f:g} degF and {OUTDOOR_RH:.0%} outdoors, "
        f"{house.indoor_f:g} degF and {INDOOR_RH:.0%} indoors (common practice), by vapour diffusion alone. Rain, air "
        "leakage, what wood stores and what dries out again are left out: it compares the wall with itself and "
        "promises nothing."
    )


def _cautions(
    wall: WallRecord,
    before: CondensationRisk | None,
    after: CondensationRisk | None,
    outside_perm: float | None,
    inside_perm: float | None,
    foam: FoamProduct,
) -> list[str]:
    found = []
    if before is not None and after is not None and after.possible:
        if not before.possible:
            found.append(
                f"filling keeps the outer layers colder: {after.words} on the coldest days, none found as it stands "
                "(estimate); keep rain out and indoor air dry, and seal inside leaks"
            )
        else:
            found.append(f"{after.words} on the coldest days; as it stands: {before.words} (estimate)")
    outer = outside_perm is not None and outside_perm < TIGHT_PERM
    inner = inside_perm is not None and inside_perm < TIGHT_PERM
    if outer and inner:
        found.append(
            f"both faces are tight (outside about {outside_perm:.2g} perm, inside {inside_perm:.2g}): the water of the "
            "foam can hardly leave; ask a designer"
        )
    elif outer:
        found.append(f"outside face is tight (about {outside_perm:.2g} perm): the foam dries inward only")
    elif inner:
        found.append(
            f"inside face is tight (about {inside_perm:.2g} perm): the foam dries outward only, "
            f"{foam.drying_days} days or more"
        )
    if wall.weather_barrier is None:
        found.append("weather barrier behind the cladding not seen: counted as none")
    return found
