"""The enclosure of a house in HPXML: as found, and as it is meant to be after the work."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from lxml import etree

from estimates.air import Leakage
from estimates.house import (
    IN_PER_FT,
    AtticRecord,
    Construction,
    CornerEnd,
    FillMaterial,
    HouseRecord,
    Measure,
    OpeningKind,
    QuickWallRecord,
    SurfaceKind,
    TopLine,
    WallRecord,
)
from estimates.physics.materials import material
from reports.exports.hpxml_words import FRAMING, INSIDE, INSULATION, SEALED, SIDING, stud_size
from reports.exports.hpxml_xml import put, put_id, put_truth

IN2_PER_FT2 = IN_PER_FT**2
INJECTED = "injected foam"
"""Foam injected into closed cavities is none of the sprayed ones that the standard names."""

GLAZED = (OpeningKind.WINDOW, OpeningKind.DOUBLE_HUNG)
DOORS = (OpeningKind.DOOR, OpeningKind.GARAGE_DOOR)


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """What is done to one part of a house.

    `material`, `thickness_in` and `added_r` are the product's own, from its data sheet and the takeoff; where they are
    left out, the file says what follows from the house alone.
    """

    part: str
    """Id of the wall, attic or leak site."""
    measure: Measure
    quantity: float
    unit: str
    cost_cents: int | None = None
    material: FillMaterial | None = None
    thickness_in: float | None = None
    added_r: float | None = None


@dataclass(frozen=True, slots=True)
class Stage:
    """One of the two buildings of a file: before the work (`prefix` empty), or after it."""

    prefix: str = ""
    work: tuple[Work, ...] = ()

    def id(self, kind: str, name: str) -> str:
        """Id of a part, unique in the file."""
        return f"{self.prefix}{kind}-{name}"

    def put_id(self, parent: etree._Element, kind: str, name: str, called: str = "") -> None:
        """Append the identifier of a part; after the work it says which one it was before."""
        put_id(
            parent,
            "SystemIdentifier",
            self.id(kind, name),
            name=called,
            sameas=f"{kind}-{name}" if self.prefix else "",
        )

    def at(self, measure: Measure, part: str) -> Work | None:
        """The work on a part, if there is any."""
        return next((work for work in self.work if work.measure is measure and work.part == part), None)


AnyWall = WallRecord | QuickWallRecord
"""A wall measured one by one, or walls known by a few figures."""


def walls_of(house: HouseRecord) -> list[AnyWall]:
    """Every wall of a house, however it is known."""
    return [*house.walls, *house.quick_walls]


def gross_area_ft2(wall: AnyWall) -> float:
    r"""Area of a wall, corner to corner, openings included, up to the insulated ceiling line. [ft2]

    Parameters
    ----------
    wall : a wall measured one by one, or walls known by a few figures.

    Notes
    -----
    .. math:: A = \int_0^L \min(h(x), h_{fill}) \, dx

    exactly, for the top is a line of straight pieces.

    Examples
    --------
    >>> gross_area_ft2(WallRecord(id="a", name="A", length_ft=20.0, height_ft=8.0, peak_height_ft=14.0))
    220.0
    """
    if isinstance(wall, QuickWallRecord):
        return wall.perimeter_ft * wall.storeys * wall.storey_height_ft
    whole = TopLine.of(replace(wall, left_end=CornerEnd.THROUGH, right_end=CornerEnd.THROUGH))
    most = float("inf") if wall.fill_to_ft is None else wall.fill_to_ft * IN_PER_FT
    return sum(_under(a, b, most) for a, b in itertools.pairwise(whole.points)) / IN2_PER_FT2


def _under(a: tuple[float, float], b: tuple[float, float], most: float) -> float:
    """Area under a straight piece of the top, cut at a level. [in2]"""
    (x0, y0), (x1, y1) = sorted((a, b), key=lambda point: point[1])
    width = abs(x1 - x0)
    if y0 >= most:
        return width * most
    if y1 <= most:
        return width * (y0 + y1) / 2
    below = width * (most - y0) / (y1 - y0)
    return below * (y0 + most) / 2 + (width - below) * most


def put_enclosure(
    parent: etree._Element, house: HouseRecord, stage: Stage, *, cfm50: float | None, estimated: bool
) -> None:
    """Append the enclosure of a house.

    Parameters
    ----------
    parent : ``BuildingDetails``.
    house : the measured house.
    stage : before or after the work.
    cfm50 : leakage at 50 Pa, None where it is not known. [cfm]
    estimated : the leakage is an estimate, not a test.
    """
    enclosure = put(parent, "Enclosure")
    _put_air(enclosure, house, stage, cfm50, estimated)
    kinds: dict[str, list[AnyWall]] = {"Roofs": [], "RimJoists": [], "Walls": [], "Floors": []}
    for wall in walls_of(house):
        kinds[_group(wall)].append(wall)
    if house.attics:
        group = put(enclosure, "Attics")
        for attic in house.attics:
            _put_attic(group, attic, stage)
    for name in ("Roofs", "RimJoists", "Walls"):
        if kinds[name]:
            group = put(enclosure, name)
            for wall in kinds[name]:
                {"Roofs": _put_roof, "RimJoists": _put_rim, "Walls": _put_wall}[name](group, wall, stage)
    if kinds["Floors"] or house.attics:
        group = put(enclosure, "Floors")
        for wall in kinds["Floors"]:
            assert isinstance(wall, WallRecord)
            _put_floor(group, wall, stage)
        for attic in house.attics:
            _put_attic_floor(group, attic, stage)
    _put_openings(enclosure, house, stage)


def _group(wall: AnyWall) -> str:
    if isinstance(wall, QuickWallRecord):
        return "Walls"
    return {
        SurfaceKind.RAFTER_SLOPE: "Roofs",
        SurfaceKind.RIM: "RimJoists",
        SurfaceKind.FLOOR: "Floors",
        SurfaceKind.OVERHANG: "Floors",
    }.get(wall.kind, "Walls")


def _put_air(enclosure: etree._Element, house: HouseRecord, stage: Stage, cfm50: float | None, estimated: bool) -> None:
    sealed = [site for site in house.leak_sites if stage.at(Measure.AIR_SEALING, site.id)]
    if cfm50 is None and not sealed:
        return
    air = put(enclosure, "AirInfiltration")
    if cfm50 is not None:
        measured = put(air, "AirInfiltrationMeasurement")
        stage.put_id(measured, "air", "cfm50")
        if not estimated and house.blower_door is not None:
            put(measured, "OutsideTemperature", house.blower_door.outdoor_f)
        put(measured, "TypeOfInfiltrationMeasurement", "estimate" if estimated else "blower door")
        if not estimated:
            put(measured, "TypeOfBlowerDoorTest", "depressurization")
        put(measured, "TypeOfInfiltrationLeakage", "building total")
        put(measured, "HousePressure", 50.0)
        leakage = put(measured, "BuildingAirLeakage")
        put(leakage, "UnitofMeasure", "CFM")
        put(leakage, "AirLeakage", cfm50)
        put(measured, "InfiltrationVolume", house.volume_ft3)
        if house.ceiling_height_ft is not None:
            put(measured, "InfiltrationHeight", house.ceiling_height_ft)
    if sealed:
        sealing = put(air, "AirSealing")
        stage.put_id(sealing, "sealing", "sites")
        places = put(sealing, "ComponentsAirSealed")
        named = {SEALED[site.kind] for site in sealed}
        for place in ("Attic", "BasementCrawlspace", "LivingSpace"):
            for where, word in sorted(named):
                if where == place:
                    put(places, place, word)


def cfm50_of(house: HouseRecord) -> float | None:
    """Leakage at 50 Pa as tested; None without a test. [cfm]"""
    leak = Leakage.of(house)
    return None if leak is None else leak.cfm50


def _put_attic(group: etree._Element, attic: AtticRecord, stage: Stage) -> None:
    element = put(group, "Attic")
    stage.put_id(element, "attic", attic.id, attic.name)
    kind = put(put(element, "AtticType"), "Attic")
    put_truth(kind, "Vented", attic.vented)
    put(element, "AttachedToFloor", idref=stage.id("ceiling", attic.id))


def _put_attic_floor(group: etree._Element, attic: AtticRecord, stage: Stage) -> None:
    element = put(group, "Floor")
    stage.put_id(element, "ceiling", attic.id, attic.name)
    put(element, "ExteriorAdjacentTo", "attic - vented" if attic.vented else "attic - unvented")
    put(element, "InteriorAdjacentTo", "conditioned space")
    put(element, "FloorOrCeiling", "ceiling")
    put(put(element, "FloorType"), "WoodFrame")
    put(element, "Area", attic.area_ft2)
    insulation = _put_insulation(element, stage, attic.id, "cover")
    old = attic.existing_material
    work = stage.at(Measure.ATTIC_TOP_UP, attic.id)
    _put_layer(insulation, old, attic.existing_depth_in)
    if work is not None:
        resistance = 0.0 if old is None else float(material(old).resistance(attic.existing_depth_in))
        added = max(attic.target_r - resistance, 0.0) if work.added_r is None else work.added_r
        _put_new(insulation, work, added, "LooseFill", "unknown")


def _put_roof(group: etree._Element, wall: AnyWall, stage: Stage) -> None:
    element = put(group, "Roof")
    stage.put_id(element, "wall", wall.id, wall.name)
    put(element, "InteriorAdjacentTo", "conditioned space")
    put(element, "Area", gross_area_ft2(wall))
    _put_studs(element, "Rafters", wall)
    _put_cavity(element, wall, stage)


def _put_rim(group: etree._Element, wall: AnyWall, stage: Stage) -> None:
    assert isinstance(wall, WallRecord)
    element = put(group, "RimJoist")
    stage.put_id(element, "wall", wall.id, wall.name)
    put(element, "ExteriorAdjacentTo", "outside")
    put(element, "InteriorAdjacentTo", "conditioned space")
    put(element, "Area", gross_area_ft2(wall))
    put(element, "Perimeter", wall.length_ft)
    put(element, "Siding", _siding(wall))
    _put_cavity(element, wall, stage)
    joists = put(element, "FloorJoists")
    put(joists, "Size", stud_size(wall.height_ft * IN_PER_FT))
    put(joists, "Spacing", wall.spacing_in)


def _put_wall(group: etree._Element, wall: AnyWall, stage: Stage) -> None:
    element = put(group, "Wall")
    stage.put_id(element, "wall", wall.id, wall.name)
    knee = isinstance(wall, WallRecord) and wall.kind is SurfaceKind.KNEE_WALL
    put(element, "ExteriorAdjacentTo", "attic" if knee else "outside")
    put(element, "InteriorAdjacentTo", "conditioned space")
    if knee:
        put(element, "AtticWallType", "knee wall")
    kind = put(element, "WallType")
    if isinstance(wall, WallRecord) and wall.construction in (Construction.SOLID_BRICK, Construction.BLOCK):
        brick = wall.construction is Construction.SOLID_BRICK
        put(kind, "StructuralBrick" if brick else "ConcreteMasonryUnit")
    else:
        wood = put(kind, "WoodStud")
        if isinstance(wall, WallRecord):
            put(wood, "FramingType", FRAMING[wall.framing])
    put(element, "Area", gross_area_ft2(wall))
    _put_studs(element, "Studs", wall)
    put(element, "Siding", _siding(wall))
    put(put(element, "InteriorFinish"), "Type", INSIDE[wall.inside])
    _put_cavity(element, wall, stage)


def _put_floor(group: etree._Element, wall: WallRecord, stage: Stage) -> None:
    element = put(group, "Floor")
    stage.put_id(element, "wall", wall.id, wall.name)
    over = wall.kind is SurfaceKind.OVERHANG
    put(element, "ExteriorAdjacentTo", "outside" if over else "unconditioned space")
    put(element, "InteriorAdjacentTo", "conditioned space")
    put(element, "FloorOrCeiling", "floor")
    put(put(element, "FloorType"), "WoodFrame")
    _put_studs(element, "FloorJoists", wall)
    put(element, "Area", gross_area_ft2(wall))
    _put_cavity(element, wall, stage)


def _siding(wall: AnyWall) -> str:
    veneer = isinstance(wall, WallRecord) and wall.construction is Construction.FRAME_BRICK_VENEER
    return "brick veneer" if veneer else SIDING[wall.cladding]


def _put_studs(element: etree._Element, name: str, wall: AnyWall) -> None:
    studs = put(element, name)
    put(studs, "Size", stud_size(wall.depth_in))
    put(studs, "Spacing", wall.spacing_in)
    if isinstance(wall, QuickWallRecord):
        put(studs, "FramingFactor", wall.framing_share)
    put(studs, "Material", "wood")


def _put_insulation(element: etree._Element, stage: Stage, part: str, of: str, condition: str = "") -> etree._Element:
    insulation = put(element, "Insulation")
    stage.put_id(insulation, of, part)
    if condition:
        put(insulation, "InsulationCondition", condition)
    return insulation


def _put_cavity(element: etree._Element, wall: AnyWall, stage: Stage) -> None:
    """What lies in the cavities: what was found, squeezed once the foam is in, and the foam."""
    old, work = wall.existing_fill, stage.at(Measure.WALL_INJECTION, wall.id)
    insulation = _put_insulation(element, stage, wall.id, "fill", "" if old is None else old.condition.value)
    if work is None:
        _put_layer(insulation, *(None, 0.0) if old is None else (old.material, old.in_place_in))
        return
    if old is not None:
        _put_layer(insulation, old.material, old.compressed_in)
    room = wall.depth_in - (0.0 if old is None else old.compressed_in)
    thick = room if work.thickness_in is None else work.thickness_in
    _put_new(insulation, replace(work, thickness_in=thick), work.added_r, "Other", INJECTED)


def _put_layer(insulation: etree._Element, found: FillMaterial | None, thickness_in: float) -> None:
    layer = put(insulation, "Layer")
    put(layer, "InstallationType", "cavity")
    kind = put(layer, "InsulationMaterial")
    if thickness_in == 0:
        put(kind, "None")
        put(layer, "NominalRValue", 0.0)
    elif found is None:
        put(kind, "Unknown")
    else:
        put(kind, *INSULATION[found])
        put(layer, "NominalRValue", float(material(found).resistance(thickness_in)))
    if thickness_in > 0:
        put(layer, "Thickness", thickness_in)


def _put_new(insulation: etree._Element, work: Work, added_r: float | None, kind: str, word: str) -> None:
    layer = put(insulation, "Layer")
    put(layer, "InstallationType", "cavity")
    if work.material is not None:
        kind, word = INSULATION[work.material]
    put(put(layer, "InsulationMaterial"), kind, word)
    if added_r is not None:
        put(layer, "NominalRValue", added_r)
    if work.thickness_in is not None:
        put(layer, "Thickness", work.thickness_in)


def _put_openings(enclosure: etree._Element, house: HouseRecord, stage: Stage) -> None:
    """Windows, then doors; walls known by a few figures have one window that stands for them all."""
    windows = list(_openings(house.walls, GLAZED))
    windows += [
        (quick.id, "Windows and doors", quick.window_share * gross_area_ft2(quick))
        for quick in house.quick_walls
        if quick.window_share > 0
    ]
    for group, name, of in (
        ("Windows", "Window", windows),
        ("Doors", "Door", list(_openings(house.walls, DOORS))),
    ):
        if not of:
            continue
        outer = put(enclosure, group)
        for at, (wall, called, area) in enumerate(of, start=1):
            element = put(outer, name)
            stage.put_id(element, name.lower(), str(at), called)
            if name == "Door":
                put(element, "AttachedToWall", idref=stage.id("wall", wall))
            put(element, "Area", area)
            if name == "Window":
                put(element, "AttachedToWall", idref=stage.id("wall", wall))


def _openings(walls: Sequence[WallRecord], kinds: Iterable[OpeningKind]) -> Iterable[tuple[str, str, float]]:
    wanted = tuple(kinds)
    for wall in walls:
        for opening in wall.openings:
            if opening.kind in wanted:
                yield wall.id, opening.id, opening.width_in * opening.height_in / IN2_PER_FT2
