"""Fresh air a dwelling needs by edition of the ventilation standard, and what its leakage counts towards it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from estimates.house import LocalRoom
from estimates.physics.elementwise import greater, lesser, plain
from estimates.physics.validity import OutOfRange, Values, not_negative, positive, within

HEIGHT_FT = 8.2
"""Reference height of the infiltration formula. [ft] ASHRAE 62.2, normalized leakage."""

WEATHER_DIVISOR = 7.3
"""From normalized leakage to air flow for each ft2 of floor. [ft2/cfm] ASHRAE 62.2."""

KITCHEN_EXHAUST_CFM, BATH_EXHAUST_CFM = 100.0, 50.0
"""Demand-controlled local exhaust wanted. [cfm] ASHRAE 62.2; printed in public explanations of it. Half baths: none."""


class CreditRule(StrEnum):
    """How leakage counts towards the fresh air."""

    HALF_EXCESS = "half of the excess over the default"
    FULL = "all"
    SUPERPOSITION = "all for balanced fans, by superposition for others"


@dataclass(frozen=True, slots=True)
class Edition:
    """One edition's rules. Values marked M are from memory: check them against the edition in force where you work."""

    name: str
    floor_coefficient: float
    occupant_cfm: float
    credit: CreditRule
    default_infiltration_per_ft2: float
    new_dwelling_credit_limit: float | None
    shortfall_share: float
    window_credit_cfm: float
    small_fan_cfm: float
    source: str


EDITIONS: Mapping[str, Edition] = MappingProxyType(
    {
        row.name: row
        for row in (
            Edition(
                *("62.2-2010", 0.01, 7.5, CreditRule.HALF_EXCESS, 0.02, None, 0.25, 20.0, 0.0),
                source="ASHRAE 62.2-2010; .01 M, half of the excess over 2 cfm per 100 ft2 and a quarter of the local "
                "deficit S, 20 cfm for an openable window M",
            ),
            Edition(
                *("62.2-2013", 0.03, 7.5, CreditRule.FULL, 0.0, 2 / 3, 0.25, 20.0, 0.0),
                source="ASHRAE 62.2-2013; .03 S, full credit and a quarter of the local deficit S (government page), "
                "limit 2/3 in new dwellings M, window M",
            ),
            Edition(
                *("62.2-2016", 0.03, 7.5, CreditRule.SUPERPOSITION, 0.0, 2 / 3, 0.25, 20.0, 15.0),
                source="ASHRAE 62.2-2016; .03 S, superposition M, limit M, no fan needed under 15 cfm M",
            ),
            Edition(
                *("62.2-2019", 0.03, 7.5, CreditRule.SUPERPOSITION, 0.0, 2 / 3, 0.25, 20.0, 10.0),
                source="ASHRAE 62.2-2019; .03 S, superposition M, limit M, no fan needed under 10 cfm M",
            ),
        )
    }
)
"""Editions by name. S: printed number seen; M: from memory, unconfirmed."""

DEFAULT_EDITION = "62.2-2016"


def edition_named(name: str) -> Edition:
    """The edition of that name, OutOfRange with the list of names otherwise.

    Parameters
    ----------
    name : of the edition.

    Returns
    -------
    The edition's row.

    Raises
    ------
    OutOfRange : no such edition.

    Notes
    -----
    A look-up by name, no equation.

    References
    ----------
    .. [1] Each row names its source.

    Examples
    --------
    >>> edition_named("62.2-2013").name
    '62.2-2013'
    """
    if name not in EDITIONS:
        raise OutOfRange("edition", name, f"one of {', '.join(EDITIONS)}")
    return EDITIONS[name]


def whole_house_rate(floor_ft2: ArrayLike, bedrooms: ArrayLike, edition: str = DEFAULT_EDITION) -> Values:
    r"""Fresh air for the whole dwelling.

    Parameters
    ----------
    floor_ft2 : conditioned floor area, > 0, any shape. [ft2]
    bedrooms : number of bedrooms, 0 to 20 (a studio counts as 1), any shape. [-]
    edition : a name of `EDITIONS`.

    Returns
    -------
    Air flow. [cfm]

    Raises
    ------
    OutOfRange : an argument outside its limits, an unknown edition.

    Notes
    -----
    .. math:: Q = a A + 7.5 (N_{br} + 1)

    References
    ----------
    .. [1] ASHRAE 62.2, equation 4.1a.

    Examples
    --------
    >>> whole_house_rate(2400.0, 3), whole_house_rate(2400.0, 3, "62.2-2010")
    (102.0, 54.0)
    """
    row = edition_named(edition)
    people = greater(within("bedrooms", bedrooms, 0, 20), 1.0) + 1
    return row.floor_coefficient * positive("floor_ft2", floor_ft2) + row.occupant_cfm * people


def table_rate(floor_ft2: ArrayLike, bedrooms: ArrayLike) -> Values:
    r"""Fresh air by the table: the formula at the upper end of the 500 ft2 band, half rounded up.

    Parameters
    ----------
    floor_ft2 : conditioned floor area, above 0 to 5000, any shape. [ft2]
    bedrooms : number of bedrooms, 0 to 20, any shape. [-]

    Returns
    -------
    Air flow, whole cfm, never under that of the formula by more than the rounding. [cfm]

    Raises
    ------
    OutOfRange : an argument outside its limits; above 5000 ft2 use `whole_house_rate`.

    Notes
    -----
    The rate formula at the upper end of each 500 ft2 band, half rounded up.

    References
    ----------
    .. [1] ASHRAE 62.2, Table 4.1a, as reprinted in mechanical codes.

    Examples
    --------
    >>> table_rate(2400.0, 3)
    105.0
    """
    area = positive("floor_ft2", within("floor_ft2", floor_ft2, 0, 5000))
    rate = np.floor(whole_house_rate(np.ceil(np.asarray(area) / 500) * 500, bedrooms, "62.2-2013") + 0.5)
    return plain(rate)


def effective_infiltration(ela: ArrayLike, height_ft: ArrayLike, weather_factor: ArrayLike) -> Values:
    r"""Yearly effective leakage that counts as ventilation.

    Parameters
    ----------
    ela : effective leakage area at 4 Pa, >= 0, any shape. [in2]
    height_ft : from the lowest floor above grade to the highest ceiling, 5 to 60, any shape. [ft]
    weather_factor : weather and shielding factor of the place, 0.1 to 2, any shape. [-]

    Returns
    -------
    Air flow. [cfm]

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: NL = 1000 \frac{ELA}{A} \left(\frac{H}{8.2}\right)^{0.4}, \quad Q = \frac{NL \cdot wsf \cdot A}{7.3}

    The floor area A cancels. With the 4 Pa area at exponent 0.65 this is 0.0522 wsf (H/8.2)^0.4 cfm50.

    References
    ----------
    .. [1] ASHRAE 62.2, normalized leakage and effective annual infiltration rate.

    Examples
    --------
    >>> round(effective_infiltration(100.0, 16.4, 0.6), 1)
    75.3
    """
    area_ft2 = not_negative("ela", ela) / 144
    rise = (within("height_ft", height_ft, 5, 60) / HEIGHT_FT) ** 0.4
    return 1000 * area_ft2 * rise * within("weather_factor", weather_factor, 0.1, 2) / WEATHER_DIVISOR


def infiltration_credit(
    total_cfm: ArrayLike,
    infiltration_cfm: ArrayLike,
    floor_ft2: ArrayLike,
    *,
    edition: str = DEFAULT_EDITION,
    existing: bool = True,
    balanced: bool = False,
) -> Values:
    r"""How much of the fresh air the dwelling's own leakage supplies.

    Parameters
    ----------
    total_cfm : whole-house rate, > 0, any shape. [cfm]
    infiltration_cfm : effective infiltration, >= 0, any shape. [cfm]
    floor_ft2 : conditioned floor area, > 0, any shape. [ft2]
    edition : a name of `EDITIONS`.
    existing : an existing dwelling; new ones have their credit limited.
    balanced : the fan system supplies as much as it exhausts.

    Returns
    -------
    Credit, from 0 to total_cfm. [cfm]

    Raises
    ------
    OutOfRange : an argument outside its limits, an unknown edition.

    Notes
    -----
    Half of the excess: (Q_inf - 0.02 A)/2. Superposition: phi Q_inf with phi = 1 for balanced fans and
    phi = Q_inf/Q_tot, not above 1, for others.

    References
    ----------
    .. [1] ASHRAE 62.2; the rule of each edition and its source stand in `EDITIONS`.

    Examples
    --------
    >>> infiltration_credit(100.0, 60.0, 2000.0), infiltration_credit(100.0, 60.0, 2000.0, balanced=True)
    (36.0, 60.0)
    """
    row = edition_named(edition)
    total, leak = positive("total_cfm", total_cfm), not_negative("infiltration_cfm", infiltration_cfm)
    floor = positive("floor_ft2", floor_ft2)
    if row.credit is CreditRule.HALF_EXCESS:
        credit = greater(leak - row.default_infiltration_per_ft2 * floor, 0.0) / 2
    elif row.credit is CreditRule.FULL or balanced:
        credit = leak + 0 * total
    else:
        credit = leak * lesser(leak / total, 1.0)
    limit = total if existing or row.new_dwelling_credit_limit is None else row.new_dwelling_credit_limit * total
    return lesser(credit, limit)


@dataclass(frozen=True, slots=True)
class LocalExhaust:
    """Measured exhaust of a kitchen or a bath with tub or shower. [cfm]"""

    room: LocalRoom
    measured_cfm: float
    openable_window: bool


@dataclass(frozen=True, slots=True)
class Term:
    """One line of the sum as printed: what it is and its air flow. [cfm]"""

    name: str
    cfm: float


@dataclass(frozen=True, slots=True)
class FanRequirement:
    """Fan flow a dwelling needs, with every term and the edition that ruled it. [cfm]"""

    edition: str
    total_cfm: float
    shortfall_cfm: float
    credit_cfm: float
    fan_cfm: float
    fan_needed: bool
    terms: tuple[Term, ...]
    warnings: tuple[str, ...]


def local_shortfall(rooms: tuple[LocalExhaust, ...], edition: str = DEFAULT_EDITION) -> float:
    r"""What missing kitchen and bath exhaust adds to the whole-house fan of an existing dwelling.

    Parameters
    ----------
    rooms : every kitchen and every bath with tub or shower, measured exhaust >= 0.
    edition : a name of `EDITIONS`.

    Returns
    -------
    A quarter of the summed deficits; an openable window lowers its room's deficit. [cfm]

    Raises
    ------
    OutOfRange : a measured flow below 0, an unknown edition.

    Notes
    -----
    .. math:: Q = \tfrac14 \sum_i (Q_{i,required} - Q_{i,measured})^+

    References
    ----------
    .. [1] ASHRAE 62.2, alternative compliance for existing dwellings.

    Examples
    --------
    >>> local_shortfall((LocalExhaust(LocalRoom.KITCHEN, 0.0, True), LocalExhaust(LocalRoom.BATH, 50.0, False)))
    20.0
    """
    row = edition_named(edition)
    deficit = 0.0
    for index, room in enumerate(rooms):
        wanted = KITCHEN_EXHAUST_CFM if room.room is LocalRoom.KITCHEN else BATH_EXHAUST_CFM
        have = float(not_negative(f"rooms[{index}].measured_cfm", float(room.measured_cfm)))
        deficit += max(0.0, wanted - have - (row.window_credit_cfm if room.openable_window else 0.0))
    return row.shortfall_share * deficit


def required_fan(
    floor_ft2: float,
    bedrooms: int,
    infiltration_cfm: float,
    *,
    rooms: tuple[LocalExhaust, ...] = (),
    edition: str = DEFAULT_EDITION,
    existing: bool = True,
    balanced: bool = False,
) -> FanRequirement:
    """Whole-house fan a dwelling needs, term by term.

    Parameters
    ----------
    floor_ft2 : conditioned floor area, > 0. [ft2]
    bedrooms : number of bedrooms, 0 to 20. [-]
    infiltration_cfm : effective infiltration (`effective_infiltration`), >= 0. [cfm]
    rooms : kitchens and baths, counted in existing dwellings only.
    edition, existing, balanced : as in `infiltration_credit`.

    Returns
    -------
    FanRequirement: whole-house rate + shortfall - credit, not below 0; a fan under the small-fan limit is not needed.

    Raises
    ------
    OutOfRange : an argument outside its limits, an unknown edition.

    Notes
    -----
    Whole-house rate plus shortfall, less the credit the edition allows; each term is in the result.

    References
    ----------
    .. [1] ASHRAE 62.2; the rule of each edition and its source stand in `EDITIONS`.

    Examples
    --------
    >>> fan = required_fan(1800.0, 3, 55.0, edition="62.2-2013")
    >>> fan.fan_cfm, fan.fan_needed, [term.name for term in fan.terms]
    (29.0, True, ['whole-house rate', 'local exhaust shortfall', 'infiltration credit'])
    """
    row = edition_named(edition)
    total = float(whole_house_rate(float(floor_ft2), float(bedrooms), edition))
    shortfall = local_shortfall(rooms, edition) if existing else 0.0
    credit = float(
        infiltration_credit(
            *(total, float(infiltration_cfm), float(floor_ft2)), edition=edition, existing=existing, balanced=balanced
        )
    )
    fan = max(0.0, total + shortfall - credit)
    warnings = []
    if existing and not rooms:
        warnings.append("no kitchen or bath exhaust recorded: a shortfall is not counted")
    if 0 < fan < row.small_fan_cfm:
        warnings.append(f"under {row.small_fan_cfm:g} cfm edition {edition} asks for no fan")
    return FanRequirement(
        edition=edition,
        total_cfm=total,
        shortfall_cfm=shortfall,
        credit_cfm=credit,
        fan_cfm=fan,
        fan_needed=fan > 0 and fan >= row.small_fan_cfm,
        terms=(
            Term("whole-house rate", total),
            Term("local exhaust shortfall", shortfall),
            Term("infiltration credit", -credit),
        ),
        warnings=tuple(warnings),
    )
