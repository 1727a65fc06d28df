"""What HPXML 4.2 calls the things of a house, both ways. [S: enumerations of its schema]"""

from __future__ import annotations

from estimates.house import Cladding, FillMaterial, Framing, Fuel, InsideFinish, LeakKind

NAMESPACE = "http://hpxmlonline.com/2023/09"
"""Names of HPXML 4.0 to 4.2."""

VERSION = "4.2"

READABLE = ("4.0", "4.1", "4.2")
"""Versions that share these names."""

SIDING = {
    Cladding.WOOD_BEVEL: "wood siding",
    Cladding.WOOD_SHINGLE: "wood siding",
    Cladding.PLYWOOD_SIDING: "wood siding",
    Cladding.ASBESTOS_CEMENT: "asbestos siding",
    Cladding.VINYL: "vinyl siding",
    Cladding.ALUMINIUM: "aluminum siding",
    Cladding.STUCCO: "stucco",
    Cladding.BRICK_VENEER: "brick veneer",
}

INSIDE = {
    InsideFinish.PLASTER_LATH: "plaster",
    InsideFinish.GYPSUM: "gypsum board",
    InsideFinish.WOOD_PANEL: "wood",
    InsideFinish.NONE: "none",
}

INSULATION = {
    FillMaterial.GLASS_BATT: ("Batt", "fiberglass"),
    FillMaterial.ROCK_WOOL_BATT: ("Batt", "rockwool"),
    FillMaterial.LOOSE_CELLULOSE: ("LooseFill", "cellulose"),
    FillMaterial.LOOSE_GLASS: ("LooseFill", "fiberglass"),
    FillMaterial.LOOSE_ROCK_WOOL: ("LooseFill", "rockwool"),
}

FUEL = {
    Fuel.NATURAL_GAS: "natural gas",
    Fuel.PROPANE: "propane",
    Fuel.HEATING_OIL: "fuel oil",
    Fuel.ELECTRICITY: "electricity",
}

FRAMING = {Framing.PLATFORM: "platform", Framing.BALLOON: "balloon"}

SHELTER = {1: "exposed", 2: "exposed", 3: "normal", 4: "well-shielded", 5: "well-shielded"}
"""Our five classes of shelter in its three (our reading) [CP]."""

SEALED = {
    LeakKind.TOP_PLATE: ("Attic", "top plates"),
    LeakKind.CHIMNEY_CHASE: ("Attic", "chimney/flue chases"),
    LeakKind.PLUMBING_STACK: ("Attic", "plumbing wet walls"),
    LeakKind.RECESSED_LIGHT: ("Attic", "recessed lights"),
    LeakKind.ATTIC_HATCH: ("Attic", "attic access"),
    LeakKind.RIM_JOIST: ("BasementCrawlspace", "rim joists"),
    LeakKind.SILL_PLATE: ("BasementCrawlspace", "other"),
    LeakKind.WINDOW_TRIM: ("LivingSpace", "windows and door"),
    LeakKind.DUCT_BOOT: ("LivingSpace", "hvac registers"),
}
"""Where a sealed leak lies, and what it is called there."""

STUD_DEPTHS = {
    "2x2": 1.5,
    "2x3": 2.5,
    "2x4": 3.5,
    "2x6": 5.5,
    "2x8": 7.25,
    "2x10": 9.25,
    "2x12": 11.25,
    "2x14": 13.25,
    "2x16": 15.25,
}
"""Nominal size -> dressed depth (American Softwood Lumber Standard PS 20; from memory) [M]. [in]"""

NEAR_SIZE_IN = 0.5
"""Old studs were sawn fuller than dressed ones: up to so much more depth is still that size [CP]. [in]"""


def stud_size(depth_in: float) -> str:
    """Return the nominal size of a stud of a depth; "other" where none is near.

    Parameters
    ----------
    depth_in : depth of the stud as measured, > 0. [in]

    Examples
    --------
    >>> stud_size(3.5), stud_size(3.875), stud_size(4.5)
    ('2x4', '2x4', 'other')
    """
    near = min(STUD_DEPTHS, key=lambda size: abs(STUD_DEPTHS[size] - depth_in))
    return near if abs(STUD_DEPTHS[near] - depth_in) <= NEAR_SIZE_IN else "other"
