"""Loose fill on attic floors: what a coverage table gives, bags, settling, ventilation and ceilings of uneven depth.

What is sold and receipted is always a row of the product's own coverage table, never inches times an R per inch.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from estimates.physics.elementwise import plain
from estimates.physics.validity import OutOfRange, Values, not_negative, positive, within


class CoverageLine(Protocol):
    """A line of a coverage table as the bag prints it, with what 16 CFR 460.12 asks for."""

    @property
    def r(self) -> float:
        """R-value. [h ft2 degF/Btu]"""

    @property
    def settled_in(self) -> float:
        """Least settled thickness. [in]"""

    @property
    def initial_in(self) -> float:
        """Least thickness as blown. [in]"""

    @property
    def bags_per_1000_ft2(self) -> float:
        """Least number of bags per 1,000 ft2. [1]"""

    @property
    def lb_ft2(self) -> float:
        """Least weight. [lb/ft2]"""


Line = TypeVar("Line", bound=CoverageLine)


@dataclass(frozen=True, slots=True)
class Settlement:
    """How much a loose fill settles on an open attic floor, as share of the thickness as blown. [1]"""

    material: str
    low: float
    best: float
    high: float
    mark: str


SETTLEMENT: Mapping[str, Settlement] = MappingProxyType(
    {
        row.material: row
        for row in (
            Settlement("loose_cellulose", 0.13, 0.20, 0.25, "S"),
            Settlement("loose_glass", 0.01, 0.04, 0.08, "S"),
            Settlement("loose_rock_wool", 0.0, 0.02, 0.05, "S"),
        )
    }
)
"""Best: 20, 4 and 2 %, seen in a public guide (S); low and high: common practice (CP). A product's table overrides."""


def coverage_row(table: Sequence[Line], settled_in: float) -> Line:
    r"""Line of a coverage table that an installed thickness reaches: the thickest listed one not above it.

    Parameters
    ----------
    table : lines of the product, any order.
    settled_in : installed settled thickness, > 0. [in]

    Returns
    -------
    The line; its R is the one to print. Nothing is interpolated.

    Raises
    ------
    OutOfRange : an empty table; a thickness that is not positive or under the thinnest listed.

    Notes
    -----
    The row r with the largest settled thickness :math:`L_r \le L`; no interpolation between rows.

    References
    ----------
    .. [1] 16 CFR 460.12 and 460.13: coverage chart and fact sheet.

    Examples
    --------
    >>> from types import SimpleNamespace as Line
    >>> table = [Line(r=30, settled_in=8.4), Line(r=38, settled_in=10.6), Line(r=49, settled_in=13.7)]
    >>> coverage_row(table, 13.0).r
    38
    """
    thickness = float(positive("settled_in", settled_in))
    reached = [line for line in table if line.settled_in <= thickness]
    if not reached:
        thinnest = min((line.settled_in for line in table), default=None)
        raise OutOfRange("settled_in", thickness, _listed(thinnest, "or more, the thinnest listed"))
    return max(reached, key=lambda line: line.settled_in)


def coverage_row_for_r(table: Sequence[Line], r: float) -> Line:
    r"""Line of a coverage table to buy for a wanted R: the lowest listed R that is not under it.

    Parameters
    ----------
    table : lines of the product, any order.
    r : R to add, > 0. [h ft2 degF/Btu]

    Returns
    -------
    The line.

    Raises
    ------
    OutOfRange : an empty table; an R that is not positive or above the highest listed.

    Notes
    -----
    The row with the smallest :math:`R_r \ge R`; no interpolation between rows.

    References
    ----------
    .. [1] 16 CFR 460.12 and 460.13: papers give R at the thicknesses and coverages of the maker's chart.

    Examples
    --------
    >>> from types import SimpleNamespace as Line
    >>> coverage_row_for_r([Line(r=30, settled_in=8.4), Line(r=38, settled_in=10.6)], 31).r
    38
    """
    wanted = float(positive("r", r))
    enough = [line for line in table if line.r >= wanted]
    if not enough:
        highest = max((line.r for line in table), default=None)
        raise OutOfRange("r", wanted, _listed(highest, "or less, the highest listed"))
    return min(enough, key=lambda line: line.r)


def bags(area_ft2: ArrayLike, bags_per_1000_ft2: ArrayLike) -> Values:
    r"""Whole bags for an area, rounded up.

    Parameters
    ----------
    area_ft2 : floor to cover, >= 0. [ft2]
    bags_per_1000_ft2 : of the line bought, > 0. [1]

    Returns
    -------
    Bags, whole numbers, broadcast. [1]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: n = \lceil A b / 1000 \rceil

    A product less than 1e-9 above a whole number is that number: binary fractions must not cost a bag.

    References
    ----------
    .. [1] 16 CFR 460.12: the chart gives the least number of bags for 1,000 ft2.

    Examples
    --------
    >>> bags(1000, 72.6)
    73.0
    """
    exact = not_negative("area_ft2", area_ft2) * positive("bags_per_1000_ft2", bags_per_1000_ft2) / 1000.0
    return plain(np.ceil(exact - 1e-9))


def settled_thickness_in(r: ArrayLike, r_per_in: ArrayLike) -> Values:
    """Settled thickness of a resistance, to make or check a coverage table; not for papers.

    Parameters
    ----------
    r : resistance, > 0. [h ft2 degF/Btu]
    r_per_in : resistance per inch at settled density, > 0. [h ft2 degF/(Btu in)]

    Returns
    -------
    Thickness, broadcast. [in]

    Raises
    ------
    OutOfRange : an argument that is not positive.

    Notes
    -----
    .. math:: L = R / r

    References
    ----------
    .. [1] Definition; nothing to look up.

    Examples
    --------
    >>> round(settled_thickness_in(49, 3.6), 2)
    13.61
    """
    return positive("r", r) / positive("r_per_in", r_per_in)


def initial_thickness_in(settled_in: ArrayLike, settlement: ArrayLike) -> Values:
    r"""Thickness to blow so that a settled thickness remains.

    Parameters
    ----------
    settled_in : thickness that must remain, > 0. [in]
    settlement : share of the blown thickness that settles, 0 to 0.5. [1]

    Returns
    -------
    Thickness as blown, broadcast. [in]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: t_0 = t_s / (1 - s)

    References
    ----------
    .. [1] Definition of settlement; usual shares as in `SETTLEMENT`.

    Examples
    --------
    >>> round(initial_thickness_in(13.61, 0.13), 2)
    15.64
    """
    return positive("settled_in", settled_in) / (1.0 - within("settlement", settlement, 0.0, 0.5))


def weight_lb_ft2(settled_in: ArrayLike, settled_lb_ft3: ArrayLike) -> Values:
    r"""Weight on the ceiling below.

    Parameters
    ----------
    settled_in : settled thickness, > 0. [in]
    settled_lb_ft3 : settled density, > 0. [lb/ft3]

    Returns
    -------
    Weight, broadcast. [lb/ft2]

    Raises
    ------
    OutOfRange : an argument that is not positive.

    Notes
    -----
    .. math:: w = L \rho / 12

    References
    ----------
    .. [1] Definition; nothing to look up.

    Examples
    --------
    >>> round(weight_lb_ft2(13.61, 1.6), 3)
    1.815
    """
    return positive("settled_in", settled_in) / 12.0 * positive("settled_lb_ft3", settled_lb_ft3)


def bags_per_1000_ft2(lb_ft2: ArrayLike, bag_lb: ArrayLike) -> Values:
    r"""Bags per 1,000 ft2 that a weight takes, not rounded.

    Parameters
    ----------
    lb_ft2 : weight on the floor, > 0. [lb/ft2]
    bag_lb : weight of a bag, > 0. [lb]

    Returns
    -------
    Bags, broadcast. [1]

    Raises
    ------
    OutOfRange : an argument that is not positive.

    Notes
    -----
    .. math:: n = 1000 \, w / m

    References
    ----------
    .. [1] 16 CFR 460.12, least weight and bags for 1,000 ft2.

    Examples
    --------
    >>> round(bags_per_1000_ft2(1.815, 25), 1)
    72.6
    """
    return 1000.0 * positive("lb_ft2", lb_ft2) / positive("bag_lb", bag_lb)


def net_free_area_in2(area_ft2: ArrayLike, ratio: int = 150) -> Values:
    r"""Net free ventilating area that an attic needs.

    Parameters
    ----------
    area_ft2 : area of the vented space, >= 0. [ft2]
    ratio : floor area to one of vent, 150, or 300 where the code's conditions are met: 40 to 50 % of the vents high,
        and in cold climates a retarder of 1 perm or less on the warm side of the ceiling. [-]

    Returns
    -------
    Area. [in2]

    Raises
    ------
    OutOfRange : a negative area, another ratio.

    Notes
    -----
    .. math:: A_{free} = 144 \, A / ratio

    References
    ----------
    .. [1] IRC R806.2.

    Examples
    --------
    >>> net_free_area_in2(1500), net_free_area_in2(1500, 300)
    (1440.0, 720.0)
    """
    if ratio not in (150, 300):
        raise OutOfRange("ratio", ratio, "150, or 300 where the conditions are met")
    return not_negative("area_ft2", area_ft2) * 144.0 / ratio


def area_weighted_u(areas_ft2: Sequence[ArrayLike], rs: Sequence[ArrayLike]) -> Values:
    r"""U-factor of a ceiling of parts: hatches, thin spots, eaves.

    Parameters
    ----------
    areas_ft2 : area of each part, >= 0, not all 0; numbers or arrays that broadcast. [ft2]
    rs : resistance of each part, air to air, > 0. [h ft2 degF/Btu]

    Returns
    -------
    U of the whole, broadcast; its inverse is the average R. [Btu/(h ft2 degF)]

    Raises
    ------
    OutOfRange : no parts or lists of different length, an argument outside its limits, no area at all.

    Notes
    -----
    .. math:: U = \sum A_i / R_i \, / \, \sum A_i

    The average of the R-values themselves is no average of the heat loss and is never used.

    References
    ----------
    .. [1] Parallel paths, ASHRAE Fundamentals ch. 27: areas weigh U, never R.

    Examples
    --------
    >>> round(1 / area_weighted_u([990, 10], [49, 2]), 1)
    39.7
    """
    if not len(areas_ft2) or len(areas_ft2) != len(rs):
        raise OutOfRange("number of rs", len(rs), f"one for each of {len(areas_ft2)} areas, and a part at least")
    total: Values = 0.0
    heat: Values = 0.0
    for i, (area, r) in enumerate(zip(areas_ft2, rs)):
        part = not_negative(f"areas_ft2[{i}]", area)
        total = total + part
        heat = heat + part / positive(f"rs[{i}]", r)
    return plain(heat / positive("sum of areas_ft2", total))


def uneven_u(depths_in: Sequence[float], r_per_in: float, other_r: float) -> float:
    r"""U-factor of old fill of uneven depth, from depth readings of equal weight: an estimate of what lies there.

    Parameters
    ----------
    depths_in : readings, >= 0, one at least. [in]
    r_per_in : resistance per inch of the old fill, > 0. [h ft2 degF/(Btu in)]
    other_r : ceiling board and films, > 0. [h ft2 degF/Btu]

    Returns
    -------
    U. [Btu/(h ft2 degF)]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: U = \frac{1}{n} \sum 1 / (R_o + d_i r)

    Never better than the U of the mean depth: thin spots lose more than thick spots save.

    References
    ----------
    .. [1] Parallel paths, ASHRAE Fundamentals ch. 27.

    Examples
    --------
    >>> round(uneven_u([6, 6], 3.0, 1.6), 4), round(uneven_u([2, 10], 3.0, 1.6), 4)
    (0.051, 0.0816)
    """
    depths = np.atleast_1d(np.asarray(not_negative("depths_in", list(depths_in)), dtype=np.float64))
    if not depths.size:
        raise OutOfRange("number of depths_in", 0, "a reading at least")
    resistances = positive("other_r", other_r) + depths * positive("r_per_in", r_per_in)
    return float(np.mean(1.0 / resistances))


def _listed(limit: float | None, words: str) -> str:
    return "a coverage table with a line at least" if limit is None else f"{limit:g} {words}"
