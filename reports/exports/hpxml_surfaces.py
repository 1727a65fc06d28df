"""Walls, floors, slopes, rims and attics of an HPXML file as the parts of a house of ours."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from lxml import etree

from estimates.era import EraRecord
from estimates.house import (
    IN_PER_FT,
    Access,
    AtticRecord,
    Cladding,
    Condition,
    InsideFinish,
    QuickWallRecord,
    SurfaceKind,
    WallRecord,
    wall_faults,
)
from estimates.physics.materials import material
from estimates.records import BadRecord, Fault, read_record
from reports.exports.hpxml_reading import Reading, children, every, find, words_at
from reports.exports.hpxml_words import INSIDE, INSULATION, SIDING, STUD_DEPTHS

Form = dict[str, Any]

CLADDING = {word: cladding for cladding, word in reversed(SIDING.items())}
"""Siding -> cladding; of several that share a word, the first."""

INSIDES = {word: inside for inside, word in INSIDE.items()}
MATERIALS = {words: found for found, words in INSULATION.items()}

HEATED = (
    "attic - conditioned",
    "basement - conditioned",
    "conditioned space",
    "crawlspace - conditioned",
    "garage - conditioned",
    "living space",
    "other heated space",
    "other housing unit",
    "other housing unit above",
    "other housing unit below",
)
"""Spaces to which no heat is lost."""

WITHIN = ("", "conditioned space", "living space", "basement - conditioned", "attic - conditioned")
"""What may lie on the inner side of a surface that keeps the heat in."""

KNEE_FT, SLOPE_FT, JOIST_FT, RIM_IN, CAVITY_IN, SPACING_IN = 4.0, 8.0, 12.0, 9.25, 3.5, 16.0
"""Guessed where a file is silent: height of a knee wall, rafter and joist run, rim, cavity, spacing [CP]."""

SQUEEZED, COVERED = 0.5, 1.0
"""Guessed of old insulation: what the foam squeezes it to, and how much of the cavity it covers [CP]. [1]"""

MOST_PARTS = 2_000
"""A house has a hundred surfaces and openings at most; a file with far more would only keep the machine busy."""

TRUE = ("true", "1")

IN_A_CAVITY = ("", "cavity")
ON_A_CEILING = ("", "cavity", "continuous", "continuous - interior", "continuous - exterior")
"""Where insulation may lie to be taken."""

MOST_OPENINGS = 0.7
"""More of a wall cannot be windows and doors in a house of ours. [1]"""


def read_surfaces(
    enclosure: etree._Element, reading: Reading, *, era: EraRecord, storey_ft: float, storeys: int
) -> Form:
    """Read what keeps the heat in.

    Parameters
    ----------
    enclosure : ``Enclosure`` of the file.
    reading : gets the notes.
    era : what was usual when the house was built, for what the file does not say.
    storey_ft : height of a storey. [ft]
    storeys : number of storeys, for walls whose studs run through.

    Returns
    -------
    The lists ``walls``, ``quick_walls`` and ``attics`` of the JSON form of a house. Upright outside walls become walls
    known by a few figures, for the file tells their area and not their length; areas are kept exactly.

    Raises
    ------
    BadRecord : more than MOST_PARTS surfaces and openings.
    """
    count = sum(sum(1 for _ in children(group)) for _, group in children(enclosure))
    if count > MOST_PARTS:
        raise BadRecord([Fault("$", f"{count:,} walls, windows and other parts; enter a file of one house")])
    surfaces = _Surfaces(enclosure, reading, era, storey_ft, storeys)
    for element in every(enclosure, "Walls/Wall"):
        surfaces.wall(element)
    for element in every(enclosure, "RimJoists/RimJoist"):
        surfaces.rim(element)
    for element in every(enclosure, "Roofs/Roof"):
        surfaces.roof(element)
    for element in every(enclosure, "Floors/Floor"):
        surfaces.floor(element)
    surfaces.spread_openings()
    form = {"walls": surfaces.walls, "quick_walls": surfaces.quick, "attics": surfaces.attics}
    return {name: parts for name, parts in form.items() if parts}


class _Surfaces:
    def __init__(
        self, enclosure: etree._Element, reading: Reading, era: EraRecord, storey_ft: float, storeys: int
    ) -> None:
        self.reading, self.era, self.storey_ft, self.storeys = reading, era, storey_ft, storeys
        self.walls: list[Form] = []
        self.quick: list[Form] = []
        self.attics: list[Form] = []
        self.openings, self.loose_ft2 = self.opening_areas(enclosure)
        self.vented = {
            floor.get("idref"): words_at(attic, "AtticType/Attic/Vented")
            for attic in every(enclosure, "Attics/Attic")
            for floor in every(attic, "AttachedToFloor")
        }
        self.over_heat = {
            floor.get("idref")
            for foundation in every(enclosure, "Foundations/Foundation")
            if words_at(foundation, "FoundationType/Basement/Conditioned") in TRUE
            for floor in every(foundation, "AttachedToFloor")
        }

    def opening_areas(self, enclosure: etree._Element) -> tuple[dict[str, float], float]:
        """Area of windows and doors by the wall they are in, and of those that are in none. [ft2]"""
        of: dict[str, float] = {}
        loose = 0.0
        for element in [*every(enclosure, "Windows/Window"), *every(enclosure, "Doors/Door")]:
            area = self.reading.number(element, "Area", f"{_label(element)}") or 0.0
            wall = find(element, "AttachedToWall")
            if wall is None:
                loose += area
            else:
                of[str(wall.get("idref"))] = of.get(str(wall.get("idref")), 0.0) + area
        return of, loose

    # --- one surface each ------------------------------------------------------------------------------------------

    def wall(self, element: etree._Element) -> None:
        place, area = _label(element), self.area(element)
        if area is None or self.inner(element, place):
            return
        kind = next((name for name, _ in children(find(element, "WallType"))), "")
        if kind not in ("", "WoodStud"):
            self.reading.left_out(place, f"{kind}: only walls of wooden studs are taken; measure it and enter it")
            return
        knee = words_at(element, "AtticWallType") == "knee wall" or _outside(element).startswith("attic")
        id_, name = self.reading.named(element, "wall")
        guesses: list[str] = []
        form = {"id": id_, "name": name, **self.framing(element, "Studs", guesses), **self.faces(element, guesses)}
        self.fill(form, element, place)
        if knee:
            form["kind"] = SurfaceKind.KNEE_WALL.value
            self.add_wall(form, area, KNEE_FT, place, guesses)
            return
        balloon = words_at(element, "WallType/WoodStud/FramingType") == "balloon"
        form["storeys"] = self.storeys if balloon else 1
        form["storey_height_ft"] = self.storey_ft
        form["perimeter_ft"] = area / (form["storeys"] * self.storey_ft)
        guesses.insert(0, f"{self.storey_ft:.3g} ft high a storey, so {form['perimeter_ft']:.4g} ft long")
        share = self.reading.number(element, "Studs/FramingFactor", place)
        if share is None:
            guesses.append("share of framing")
        else:
            form["framing_share"] = share
        form["window_share"] = self.openings.get(_xml_id(element), 0.0) / area
        if form["window_share"] > MOST_OPENINGS:
            words = f"its openings are {form['window_share']:.0%} of the wall; {MOST_OPENINGS:.0%} is taken"
            self.reading.refused(place, words)
            form["window_share"] = MOST_OPENINGS
        if self.fits(QuickWallRecord, form, place):
            self.quick.append(form)
            self.reading.guessed(place, "; ".join(guesses))

    def rim(self, element: etree._Element) -> None:
        place, area = _label(element), self.area(element, wanted=False)
        if self.inner(element, place):
            return
        perimeter = self.reading.number(element, "Perimeter", place)
        joist = STUD_DEPTHS.get(words_at(element, "FloorJoists/Size"), RIM_IN) / IN_PER_FT
        guesses = ["depth of the cavity"]
        if not area and not perimeter:
            self.reading.left_out(place, "has neither area nor perimeter; measure it and enter it")
            return
        if area is not None and perimeter:
            joist = area / perimeter
        elif area is not None:
            guesses.append(f"{joist * IN_PER_FT:.4g} in high, so {area / joist:.4g} ft long")
        id_, name = self.reading.named(element, "wall")
        form = {"id": id_, "name": name, "kind": SurfaceKind.RIM.value, "depth_in": CAVITY_IN}
        form |= self.faces(element, guesses) | {"inside": InsideFinish.NONE.value}
        spacing = self.reading.number(element, "FloorJoists/Spacing", place)
        form["spacing_in"] = SPACING_IN if spacing is None else spacing
        self.fill(form, element, place)
        self.add_wall(form, (perimeter or 0.0) * joist if area is None else area, joist, place, guesses)

    def roof(self, element: etree._Element) -> None:
        place, area = _label(element), self.area(element)
        if words_at(element, "InteriorAdjacentTo") not in WITHIN[1:]:
            self.reading.left_out(place, "lies over no heated room")
            return
        if area is not None:
            self.level(element, area, "Rafters", SurfaceKind.RAFTER_SLOPE, SLOPE_FT)

    def floor(self, element: etree._Element) -> None:
        place, area, out = _label(element), self.area(element), _outside(element)
        if area is None or self.inner(element, place):
            return
        if _xml_id(element) in self.over_heat:
            self.reading.left_out(place, "lies over a heated basement")
            return
        under_attic = out.startswith("attic") or _xml_id(element) in self.vented
        if under_attic or words_at(element, "FloorOrCeiling") == "ceiling":
            self.attic(element, area, place)
            return
        kind = SurfaceKind.OVERHANG if out == "outside" else SurfaceKind.FLOOR
        self.level(element, area, "FloorJoists", kind, JOIST_FT)

    def level(self, element: etree._Element, area: float, studs: str, kind: SurfaceKind, run_ft: float) -> None:
        """A slope or a floor: `run_ft` along its rafters or joists, unless it is smaller than a square of that."""
        id_, name = self.reading.named(element, "wall")
        guesses: list[str] = []
        form = {"id": id_, "name": name, "kind": kind.value, **self.framing(element, studs, guesses)}
        form |= self.faces(element, guesses)
        self.fill(form, element, _label(element))
        self.add_wall(form, area, min(run_ft, math.sqrt(area)), _label(element), guesses)

    def attic(self, element: etree._Element, area: float, place: str) -> None:
        id_, name = self.reading.named(element, "attic", "ceiling")
        vented = self.vented.get(_xml_id(element), "") or ("false" if "unvented" in _outside(element) else "true")
        form: Form = {"id": id_, "name": name, "area_ft2": area, "vented": vented in TRUE}
        layers = self.layers(element, place, ON_A_CEILING)
        if layers:
            form["existing_material"] = layers[0][0]
            form["existing_depth_in"] = sum(thick or 0.0 for _, thick in layers)
            if len({found for found, _ in layers}) > 1:
                self.reading.guessed(place, f"all of its insulation is taken for {layers[0][0]}")
            if any(thick is None for _, thick in layers):
                self.reading.guessed(place, "insulation of no known thickness is taken for none")
        if self.fits(AtticRecord, form, place):
            self.attics.append(form)

    # --- parts of a surface ----------------------------------------------------------------------------------------

    def area(self, element: etree._Element, *, wanted: bool = True) -> float | None:
        area = self.reading.number(element, "Area", _label(element))
        if wanted and not area:
            self.reading.left_out(_label(element), "has no area; measure it and enter it")
        return area or None

    def inner(self, element: etree._Element, place: str) -> bool:
        """Whether it keeps no heat in: heated on both sides, or not heated inside."""
        out, within = _outside(element), words_at(element, "InteriorAdjacentTo")
        if out in (*HEATED, "ground") or within not in WITHIN:
            self.reading.left_out(place, f"lies between {within or 'a room'} and {out or 'outside'}")
            return True
        return False

    def framing(self, element: etree._Element, name: str, guesses: list[str]) -> Form:
        size = words_at(element, f"{name}/Size")
        spacing = self.reading.number(element, f"{name}/Spacing", _label(element))
        if size not in STUD_DEPTHS:
            guesses.append(f"cavity {CAVITY_IN} in deep")
        if spacing is None:
            guesses.append(f"studs {SPACING_IN:g} in on centre")
        return {
            "depth_in": STUD_DEPTHS.get(size, CAVITY_IN),
            "spacing_in": SPACING_IN if spacing is None else spacing,
        }

    def faces(self, element: etree._Element, guesses: list[str]) -> Form:
        siding, inside = words_at(element, "Siding"), words_at(element, "InteriorFinish/Type")
        if siding not in CLADDING or siding == SIDING[Cladding.WOOD_BEVEL]:
            guesses.append(f"cladding {(CLADDING.get(siding) or self.era.cladding).value}")
        if inside not in INSIDES and etree.QName(element).localname != "RimJoist":
            guesses.append(f"inside {self.era.inside.value}")
        cladding = CLADDING.get(siding, self.era.cladding)
        veneer = cladding is Cladding.BRICK_VENEER
        access = Access.DRILL_INSIDE if veneer else self.era.access
        guesses.append(f"sheathing {self.era.sheathing.value}, access {access.value}")
        return {
            "cladding": cladding.value,
            "sheathing": self.era.sheathing.value,
            "inside": INSIDES.get(inside, self.era.inside).value,
            "access": access.value,
        }

    def fill(self, form: Form, element: etree._Element, place: str) -> None:
        """Old insulation in the cavities; the first layer that is understood."""
        layers = self.layers(element, place, IN_A_CAVITY)
        if not layers:
            return
        found, thick = layers[0]
        if len(layers) > 1:
            self.reading.left_out(place, f"{len(layers) - 1} more layers in the cavity; check what is in it")
        if thick is None or thick > form["depth_in"]:
            self.reading.guessed(place, f"old insulation as thick as the cavity, {form['depth_in']:g} in")
            thick = form["depth_in"]
        condition = words_at(element, "Insulation/InsulationCondition")
        known = condition in set(Condition)
        form["existing_fill"] = {
            "material": found,
            "in_place_in": thick,
            "compressed_in": thick * SQUEEZED,
            "covered_share": COVERED,
            "condition": condition if known else Condition.FAIR.value,
        }
        words = f"old insulation: covers all of the cavity, squeezed to {SQUEEZED:.0%}"
        self.reading.guessed(place, words if known else f"{words}, in fair condition")

    def layers(self, element: etree._Element, place: str, taken: tuple[str, ...]) -> list[tuple[str, float | None]]:
        """Material and thickness of each layer that is understood, where it lies in one of the places taken. [in]"""
        found: list[tuple[str, float | None]] = []
        for layer in every(element, "Insulation/Layer"):
            kind, child = next(children(find(layer, "InsulationMaterial")), ("", None))
            word = " ".join((child.text or "").split()) if child is not None else ""
            r = self.reading.number(layer, "NominalRValue", place)
            thick = self.reading.number(layer, "Thickness", place)
            where = words_at(layer, "InstallationType")
            if kind == "None" or (not kind and not r and not thick):
                continue
            old = MATERIALS.get((kind, word))
            if where not in taken:
                self.reading.left_out(place, f"{where} insulation {kind} {word}".strip())
            elif word == "vermiculite":
                self.reading.left_out(place, "vermiculite, which may hold asbestos: answer the hazard gate before work")
            elif old is None:
                words = f"insulation of {kind or 'no kind'} {word}".strip()
                self.reading.left_out(place, f"{words}, {r or 0:g} R; look what is there and enter it")
            elif thick or not r:
                found.append((old.value, thick or None))
            else:
                made = r / float(material(old).resistance(1.0))
                self.reading.guessed(place, f"old insulation {made:.3g} in thick, from its R-value of {r:g}")
                found.append((old.value, made))
        return found

    def add_wall(self, form: Form, area: float, height_ft: float, place: str, guesses: Iterable[str]) -> None:
        form["height_ft"], form["length_ft"] = height_ft, area / height_ft
        if form["kind"] != SurfaceKind.RIM.value:
            guesses = [f"{height_ft:.3g} ft high, so {form['length_ft']:.4g} ft long", *guesses]
        if self.fits(WallRecord, form, place):
            self.walls.append(form)
            self.reading.guessed(place, "; ".join(guesses))

    def fits(self, record: type, form: Form, place: str) -> bool:
        """Whether a part is within the limits of the record; what is not goes into the notes."""
        try:
            made: object = read_record(record, form)
        except BadRecord as bad:
            for fault in bad.faults:
                self.reading.refused(place, f"{fault.path.removeprefix('$.')}: {fault.message}")
            return False
        faults = list(wall_faults(made, "$")) if isinstance(made, WallRecord) else []
        for fault in faults:
            self.reading.refused(place, f"{fault.path.removeprefix('$.')}: {fault.message}")
        return not faults

    def spread_openings(self) -> None:
        """Windows and doors of which the file does not say where they are: over all walls alike."""
        whole = sum(form["perimeter_ft"] * form["storeys"] * form["storey_height_ft"] for form in self.quick)
        if not self.loose_ft2 or not whole:
            return
        words = f"{self.loose_ft2:.4g} ft2 of them are spread over all walls"
        self.reading.guessed("Windows and doors in no wall", words)
        for form in self.quick:
            form["window_share"] = min(form["window_share"] + self.loose_ft2 / whole, MOST_OPENINGS)


def _xml_id(element: etree._Element) -> str:
    identifier = find(element, "SystemIdentifier")
    return "" if identifier is None else str(identifier.get("id", ""))


def _label(element: etree._Element) -> str:
    return f"{etree.QName(element).localname} {_xml_id(element)[:60]}".strip()


def _outside(element: etree._Element) -> str:
    return words_at(element, "ExteriorAdjacentTo")
