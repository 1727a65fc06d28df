"""Conductivity, R-value and vapour permeance of what walls and attics are made of, with the source of each row.

Source marks, here and in the tests: S the printed number was seen; M from memory, unconfirmed; D derived by two
methods; CP common practice of the trade, no source. Heat and vapour of a row have a mark each.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TypeVar

from numpy.typing import ArrayLike

from estimates.physics.elementwise import lesser
from estimates.physics.validity import OutOfRange, Values, not_negative, positive

R_PER_SI = 5.678263
"""R in h ft2 degF/Btu of a resistance of 1 m2 K/W. Source: exact definitions of foot, Btu (IT) and degF."""

K_PER_SI = 1 / 0.0254 / R_PER_SI
"""Conductivity in Btu in/(h ft2 degF) of 1 W/(m K), 6.933: 39.37 in per m over 5.678263. Source: as `R_PER_SI`."""

STILL_AIR_PERM_IN = 120.0
"""Vapour permeability of still air. [perm in] Source: ASHRAE Fundamentals, permeance table (M)."""


_Entry = TypeVar("_Entry")


class Group(StrEnum):
    """Where in the building a material stands."""

    CLADDING = "cladding"
    SHEATHING = "sheathing"
    INSIDE = "inside"
    FRAMING = "framing"
    INSULATION = "insulation"
    MEMBRANE = "membrane"


@dataclass(frozen=True, slots=True)
class Material:
    """A row of the table.

    Parameters
    ----------
    group : where it stands.
    key : what programs call it.
    name : what people call it.
    thickness_in : usual thickness; the one of `r`. [in]
    r : resistance at that thickness; None where a conductivity is given. [h ft2 degF/Btu]
    k : conductivity; None for a thing of one thickness only (lapped siding, films). [Btu in/(h ft2 degF)]
    perm : vapour permeance at `thickness_in`; None where unknown. [perm]
    mark, perm_mark : source marks of heat and vapour.
    source : where the heat figure was printed.
    """

    group: Group
    key: str
    name: str
    thickness_in: float
    r: float | None
    k: float | None
    mark: str
    source: str
    perm: float | None
    perm_mark: str

    def resistance(self, thickness_in: float | None = None) -> float:
        """Resistance at a thickness, the usual one when left out.

        Parameters
        ----------
        thickness_in : > 0. [in]

        Returns
        -------
        R. [h ft2 degF/Btu]

        Raises
        ------
        OutOfRange : not positive; or another thickness of a thing that is made in one only.

        Examples
        --------
        >>> round(material("gypsum").resistance(), 2), round(material("gypsum").resistance(0.625), 2)
        (0.45, 0.56)
        """
        thickness = float(positive("thickness_in", self.thickness_in if thickness_in is None else thickness_in))
        if self.k is not None:
            return thickness / self.k
        if self.r is None or thickness != self.thickness_in:
            raise OutOfRange("thickness_in", thickness, f"{self.thickness_in:g}, the only one listed for {self.name}")
        return self.r

    def permeance(self, thickness_in: float | None = None) -> float:
        """Vapour permeance at a thickness, the usual one when left out; in proportion to 1 / thickness.

        Parameters
        ----------
        thickness_in : > 0. [in]

        Returns
        -------
        Permeance. [perm]

        Raises
        ------
        OutOfRange : not positive; or no permeance is known.

        Examples
        --------
        >>> material("plaster_lath").permeance()
        11.0
        """
        thickness = float(positive("thickness_in", self.thickness_in if thickness_in is None else thickness_in))
        if self.perm is None:
            raise OutOfRange("material", self.key, "one with a known vapour permeance, or give the permeance itself")
        return self.perm * self.thickness_in / thickness


def _si_k(watt_per_m_kelvin: float) -> float:
    return watt_per_m_kelvin * K_PER_SI


def _si_r(m2_kelvin_per_watt: float) -> float:
    return m2_kelvin_per_watt * R_PER_SI


# Sources. The handbook's current tables print SI: the printed number stands in the row and is converted once.
_A = "ASHRAE Fundamentals, building material tables (SI), as in the data of a public heat transfer library"
_A97 = "ASHRAE Fundamentals 1997 ch. 24, as reprinted in a public table of wall materials"
_A75 = "ASHRAE Fundamentals, as reprinted in a masonry trade magazine, June 1975"
_LIST = "public R-value lists after ASHRAE"
_HAND = "an insulation handbook"
_INSP = "an inspection reference table"
_MEM = "ASHRAE Fundamentals, from memory"
_CP = "common practice"

_Row = tuple[str, str, float, float | None, float | None, str, str, float | None, str]

# Key, name, usual thickness, R there or None, k or None, mark, source, permeance at that thickness, its mark.
# Permeances come from the handbook's table and building-science lists, from memory; those marked S were seen in public
# lists. Lapped and hollow-backed claddings get what air behind them makes up for, common practice.
_ROWS: dict[Group, tuple[_Row, ...]] = {
    Group.CLADDING: (
        ("wood_bevel", "Wood bevel siding, 1/2 x 8 in, lapped", 0.5, _si_r(0.14), None, "S", _A, 10.0, "CP"),
        ("wood_bevel_wide", "Wood bevel siding, 3/4 x 10 in, lapped", 0.75, _si_r(0.18), None, "S", _A, 10.0, "CP"),
        ("wood_shingle", "Wood shingles, 16 in, 7 1/2 in exposure", 0.25, _si_r(0.15), None, "S", _A, 10.0, "CP"),
        ("asbestos_cement", "Asbestos-cement shingles", 0.25, _si_r(0.037), None, "S", _A, 6.0, "M"),
        ("plywood_siding", "Plywood siding, 3/8 in, lapped", 0.375, _si_r(0.10), None, "S", _A, 0.7, "M"),
        ("vinyl", "Vinyl siding, hollow-backed", 0.5, _si_r(0.11), None, "S", _A, 40.0, "CP"),
        ("aluminium", "Aluminium or steel siding, hollow-backed", 0.5, _si_r(0.11), None, "S", _A, 40.0, "CP"),
        ("stucco", "Cement stucco, 120 lb/ft3", 0.875, None, _si_k(1.4), "S", _A, 4.0, "M"),
        ("brick_veneer", "Clay brick, 120 lb/ft3; gap not counted", 3.625, None, _si_k(0.895), "S", _A, 0.8, "M"),
    ),
    Group.SHEATHING: (
        ("board", "Softwood board sheathing", 0.75, None, _si_k(0.12), "S", _A, 5.0, "CP"),
        ("plywood", "Plywood sheathing (Douglas fir), 1/2 in", 0.5, None, 0.5 / _si_r(0.14), "S", _A, 0.7, "M"),
        ("osb", "Oriented strand board, 1/2 in", 0.5, None, 0.5 / _si_r(0.12), "S", _A, 0.7, "M"),
        ("fiberboard", "Fiberboard sheathing, regular density", 0.5, None, 0.5 / 1.32, "S", _A97, 25.0, "M"),
    ),
    Group.INSIDE: (
        ("gypsum", "Gypsum board", 0.5, None, _si_k(0.16), "S", _A, 37.5, "M"),
        ("plaster_lath", "Plaster on wood lath, 3/4 in", 0.75, 0.40, None, "M", _MEM, 11.0, "M"),
        ("wood_panel", "Plywood panelling, 1/4 in", 0.25, 0.31, None, "S", _LIST, 1.9, "M"),
    ),
    Group.FRAMING: (
        ("softwood", "Softwood framing", 3.5, None, 0.80, "S", _A75, 0.9, "M"),
        ("spruce_pine_fir", "Spruce, pine or fir framing", 3.5, None, _si_k(0.12), "S", _A, 0.9, "M"),
        ("hardwood", "Hardwood framing", 3.5, None, 1.10, "S", _A75, 0.9, "M"),
    ),
    Group.INSULATION: (
        ("glass_batt", "Glass-fiber batt, 0.75 lb/ft3", 3.5, None, _si_k(0.043), "S", _A, 33.0, "M"),
        ("rock_wool_batt", "Mineral-fiber batt", 5.5, None, _si_k(0.036), "S", _A, 21.0, "M"),
        ("loose_cellulose", "Cellulose, loose fill", 3.5, None, _si_k(0.042), "S", _A, 21.0, "M"),
        ("loose_glass", "Glass fiber, loose fill, settled at 0.7 lb/ft3", 3.5, None, 1 / 2.2, "S", _HAND, 33.0, "M"),
        ("loose_rock_wool", "Rock wool, loose fill", 3.5, None, 1 / 2.8, "M", _MEM, 33.0, "M"),
        ("mineral_foam", "Cementitious injected foam, 2.07 lb/ft3", 3.5, None, 1 / 3.9, "S", _INSP, 5.1, "CP"),
    ),
    Group.MEMBRANE: (
        ("kraft", "Asphalt-kraft facing", 0.01, 0.0, None, "CP", _CP, 1.0, "M"),
        ("polyethylene", "Polyethylene sheet, 6 mil", 0.006, 0.0, None, "CP", _CP, 0.06, "M"),
        ("foil", "Aluminium foil facing", 0.001, 0.0, None, "CP", _CP, 0.02, "CP"),
        ("felt", "Asphalt-saturated felt, 15 lb", 0.03, 0.0, None, "CP", _CP, 6.0, "S"),
        ("latex_paint", "Latex paint on the inside", 0.005, 0.0, None, "CP", _CP, 5.0, "S"),
        ("oil_paint", "Old oil paint, three coats", 0.01, 0.0, None, "CP", _CP, 1.0, "M"),
        ("vinyl_paper", "Vinyl wall covering", 0.02, 0.0, None, "CP", _CP, 0.5, "CP"),
    ),
}  # fmt: skip

MATERIALS: Mapping[str, Material] = MappingProxyType(
    {row[0]: Material(group, *row) for group, rows in _ROWS.items() for row in rows}
)
"""Every row by its key."""


@dataclass(frozen=True, slots=True)
class AirFilm:
    """Resistance of the air at a surface. [h ft2 degF/Btu]"""

    key: str
    name: str
    r: float
    mark: str
    source: str


_CH26 = "ASHRAE Fundamentals ch. 26, surface conductances"

AIR_FILMS: Mapping[str, AirFilm] = MappingProxyType(
    {
        film.key: film
        for film in (
            AirFilm("outside_winter", "Outside, 15 mph wind", 0.17, "S", _CH26),
            AirFilm("outside_summer", "Outside, 7.5 mph wind", 0.25, "S", _CH26),
            AirFilm("inside_up", "Inside, level surface, heat flowing up", 0.61, "S", _CH26),
            AirFilm("inside_vertical", "Inside, upright surface", 0.68, "S", _CH26),
            AirFilm("inside_down", "Inside, level surface, heat flowing down", 0.92, "S", _CH26),
        )
    }
)
"""Air films by direction of heat."""

EMPTY_CAVITY_R = 0.91
"""Resistance of an empty stud bay. [h ft2 degF/Btu]

Source: solved back from the U-factor of an uninsulated wood-framed wall of ANSI/ASHRAE/IES 90.1 Appendix A (M); the
same figure is printed for an air space in ASHRAE 1989 construction codes (S); a textbook prints 1.01 for 3.5 in (S).
"""


@dataclass(frozen=True, slots=True)
class FieldR:
    """What old batts still do in a leaky wall, per inch, with its range. [h ft2 degF/(Btu in)]"""

    condition: str
    low: float
    best: float
    high: float
    mark: str = "M"


FIELD_BATT_R_PER_IN: Mapping[str, FieldR] = MappingProxyType(
    {
        row.condition: row
        for row in (
            FieldR("good", 2.1, 2.5, 3.2),
            FieldR("fair", 1.2, 1.8, 2.5),
            FieldR("poor", 0.3, 0.7, 1.2),
        )
    }
)
"""Air-washed or slumped batts by condition. Best: from memory, no document (M); low and high: common practice (CP)."""


GREATEST_GLASS_R_PER_IN = 4.3
"""What glass-fiber batts reach at their densest. [h ft2 degF/(Btu in)] Source: an insulation handbook, 3.04-4.3 (S)."""


@dataclass(frozen=True, slots=True)
class SqueezedBatt:
    """A glass-fiber batt in a cavity shallower than its label thickness. [h ft2 degF/Btu, in]"""

    label_r: int
    label_in: float
    cavity_in: float
    r: int


# S: makers' charts as reprinted in a builders' magazine and a civil engineering handbook; where two charts differ
# (R-19 in 3.5 in: 13 and 14) the lower stands.
SQUEEZED_BATTS = tuple(
    SqueezedBatt(*row)
    for row in (
        (19, 6.25, 5.5, 18),
        (19, 6.25, 3.5, 13),
        (21, 5.5, 3.5, 15),
        (22, 6.5, 5.5, 20),
        (25, 8.0, 7.25, 24),
        (25, 8.0, 5.5, 20),
        (30, 10.0, 7.25, 26),
        (30, 10.0, 5.5, 21),
    )
)
"""Glass-fiber batts squeezed into framing depths."""


def squeezed_batt_r(label_r: ArrayLike, label_in: ArrayLike, thickness_in: ArrayLike) -> Values:
    r"""Resistance of a glass-fiber batt that is squeezed thinner than its label says.

    Parameters
    ----------
    label_r : R on the label, > 0. [h ft2 degF/Btu]
    label_in : thickness on the label, > 0. [in]
    thickness_in : thickness it is squeezed to, >= 0; from `label_in` on, the label holds. [in]

    Returns
    -------
    R, broadcast. [h ft2 degF/Btu]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: R = \min(R_0 [1 - (1 - t / t_0) / 2], 4.3 t)

    Squeezing by x % loses about x/2 % of the resistance, down to half the thickness; below that the rule gives too
    much, so the densest glass fiber's 4.3 per inch caps it. For the depths of lumber, `SQUEEZED_BATTS` is the source.

    References
    ----------
    .. [1] A batt maker's technical answer in a builders' magazine (S); range of R per inch: an insulation handbook (S).

    Examples
    --------
    >>> round(squeezed_batt_r(19, 6.25, 5.5), 1)
    17.9
    """
    full = positive("label_in", label_in)
    thickness = lesser(not_negative("thickness_in", thickness_in), full)
    rule = positive("label_r", label_r) * (1.0 - 0.5 * (1.0 - thickness / full))
    return lesser(rule, GREATEST_GLASS_R_PER_IN * thickness)


def material(key: str) -> Material:
    """Row of the table.

    Parameters
    ----------
    key : name of the material, as in `MATERIALS`.

    Returns
    -------
    Material.

    Raises
    ------
    OutOfRange : no such material; the message offers near names.

    Notes
    -----
    A look-up by key, no equation.

    References
    ----------
    .. [1] Each row names its own source.

    Examples
    --------
    >>> material("wood_bevel").name
    'Wood bevel siding, 1/2 x 8 in, lapped'
    >>> material("plywod")
    Traceback (most recent call last):
    ...
    estimates.physics.validity.OutOfRange: material is 'plywod'; enter a listed one, perhaps plywood, plywood_siding
    """
    return _look_up("material", key, MATERIALS)


def air_film(key: str) -> float:
    """Resistance of an air film.

    Parameters
    ----------
    key : `outside_winter`, `outside_summer`, `inside_up`, `inside_vertical` or `inside_down`.

    Returns
    -------
    R. [h ft2 degF/Btu]

    Raises
    ------
    OutOfRange : no such film.

    Notes
    -----
    A look-up by key, no equation.

    References
    ----------
    .. [1] ASHRAE Fundamentals ch. 26, surface conductances.

    Examples
    --------
    >>> air_film("inside_up")
    0.61
    """
    return _look_up("air_film", key, AIR_FILMS).r


def framing_r(depth_in: float, kind: str = "softwood") -> Values:
    """Resistance of framing through its depth.

    Parameters
    ----------
    depth_in : depth of the lumber, > 0, number or array. [in]
    kind : a framing material.

    Returns
    -------
    R, shape of `depth_in`. [h ft2 degF/Btu]

    Raises
    ------
    OutOfRange : depth not positive, or no such framing material.

    Notes
    -----
    .. math:: R = d / k

    References
    ----------
    .. [1] Conductivities: rows of `MATERIALS`, each with its source.

    Examples
    --------
    >>> framing_r(3.5)
    4.375
    """
    row = material(kind)
    if row.group is not Group.FRAMING or row.k is None:
        raise OutOfRange("kind", kind, "a framing material: softwood, spruce_pine_fir or hardwood")
    return positive("depth_in", depth_in) / row.k


def _look_up(name: str, key: str, table: Mapping[str, _Entry]) -> _Entry:
    try:
        return table[key]
    except (KeyError, TypeError):
        near = difflib.get_close_matches(str(key), table, n=3, cutoff=0.5)
        ask = f"a listed one, perhaps {', '.join(near)}" if near else f"one of {', '.join(table)}"
        raise OutOfRange(name, key, ask) from None
