"""Quantities as people write them: read at the edge into the units of the engine, and shown again.

Nothing inside the engine carries a unit object; text comes in here as a plain float and goes out here as text.
"""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from numpy.typing import ArrayLike

from estimates.physics.validity import OutOfRange, Values, finite, not_negative

if TYPE_CHECKING:
    import pint

THIN_SPACE = "\u2009"
"""Stands between a number and its unit."""


class UnitError(ValueError):
    """Text that is no quantity of the kind asked; the message says what was read and what to enter."""


@dataclass(frozen=True, slots=True)
class UnitRow:
    """One unit of the engine: its name for the library, what it measures, an example, sign shown, unit shown in SI."""

    expression: str
    kind: str
    example: str
    sign: str
    si: str


UNITS: Mapping[str, UnitRow] = MappingProxyType(
    {
        "ft": UnitRow("foot", "a length", "12' 6 1/2\" or 3.8 m", "ft", "m"),
        "in": UnitRow("inch", "a length", "6 1/2 in or 165 mm", "in", "mm"),
        "ft2": UnitRow("foot**2", "an area", "1,250 ft2 or 116 m2", "ft²", "m2"),
        "in2": UnitRow("inch**2", "an area", "720 in2 or 4,600 cm2", "in²", "cm2"),
        "ft3": UnitRow("foot**3", "a volume", "9,600 ft3 or 272 m3", "ft³", "m3"),
        "gal": UnitRow("gallon", "a volume", "5 gal or 19 L", "gal", "L"),
        "degF": UnitRow("degF", "a temperature", "70 F or 21 C", "°F", "degC"),
        "delta_degF": UnitRow("delta_degF", "a temperature difference", "18 F or 10 K", "°F", "K"),
        "R": UnitRow("r_value", "an R-value", "R-13 or RSI 2.3", "R", "RSI"),
        "U": UnitRow("1/r_value", "a U-factor", "0.35 or 2.0 W/m2K", "U", "W/m2K"),
        "cfm": UnitRow("foot**3/minute", "an air flow", "2,000 cfm or 944 L/s", "cfm", "L/s"),
        "Pa": UnitRow("pascal", "a pressure", "50 Pa", "Pa", "Pa"),
        "perm": UnitRow("us_perm", "a vapor permeance", "1 perm or 57 ng/(s m2 Pa)", "perm", "ng/(s m2 Pa)"),
        "lb": UnitRow("pound", "a mass", "25 lb or 11.3 kg", "lb", "kg"),
        "lb/ft3": UnitRow("pound/foot**3", "a density", "3.5 lb/ft3 or 56 kg/m3", "lb/ft³", "kg/m3"),
        "Btu/h": UnitRow("btu_it/hour", "a heat flow", "60,000 Btu/h or 17.6 kW", "Btu/h", "W"),
        "mph": UnitRow("mile/hour", "a speed", "15 mph or 6.7 m/s", "mph", "m/s"),
        "therm": UnitRow("heat_therm", "an amount of energy", "600 therm or 63 GJ", "therm", "MJ"),
        "kWh": UnitRow("kilowatt_hour", "an amount of energy", "9,000 kWh or 32 GJ", "kWh", "kWh"),
    }
)
"""Units of the engine. R: h ft2 degF/Btu; U: its inverse; degF: a point of the scale, delta_degF a difference."""

_WRITTEN: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("foot", ("ft", "feet", "foot", "'")),
    ("inch", ("in", "inch", "inches", '"')),
    ("yard", ("yd", "yard", "yards")),
    ("meter", ("m", "meter", "meters", "metre", "metres")),
    ("centimeter", ("cm",)),
    ("millimeter", ("mm",)),
    ("foot**2", ("ft2", "sqft", "sq ft", "sf", "square feet")),
    ("inch**2", ("in2", "sq in", "square inches")),
    ("meter**2", ("m2", "sq m")),
    ("centimeter**2", ("cm2",)),
    ("foot**3", ("ft3", "cuft", "cu ft", "cf", "cubic feet")),
    ("yard**3", ("yd3", "cu yd")),
    ("meter**3", ("m3",)),
    ("liter", ("l", "liter", "liters", "litre", "litres")),
    ("gallon", ("gal", "gallon", "gallons")),
    ("degF", ("f", "degf", "deg f")),
    ("degC", ("c", "degc", "deg c")),
    ("kelvin", ("k",)),
    ("r_value", ("r", "h ft2 f/btu", "h ft2 degf/btu")),
    ("meter**2*kelvin/watt", ("rsi", "m2k/w", "m2 k/w")),
    ("1/r_value", ("u", "btu/(h ft2 f)", "btu/(h ft2 degf)")),
    ("watt/meter**2/kelvin", ("usi", "w/m2k", "w/m2 k", "w/(m2k)", "w/(m2 k)")),
    ("foot**3/minute", ("cfm", "ft3/min")),
    ("liter/second", ("l/s",)),
    ("meter**3/hour", ("m3/h",)),
    ("pascal", ("pa",)),
    ("kilopascal", ("kpa",)),
    ("us_perm", ("perm", "perms")),
    ("nanogram/second/meter**2/pascal", ("ng/(s m2 pa)",)),
    ("pound", ("lb", "lbs", "pound", "pounds")),
    ("ounce", ("oz",)),
    ("kilogram", ("kg",)),
    ("gram", ("g",)),
    ("pound/foot**3", ("lb/ft3", "lbs/ft3", "pcf")),
    ("kilogram/meter**3", ("kg/m3",)),
    ("btu_it/hour", ("btu/h", "btu/hr", "btuh")),
    ("watt", ("w",)),
    ("kilowatt", ("kw",)),
    ("mile/hour", ("mph", "mi/h")),
    ("meter/second", ("m/s",)),
    ("kilometer/hour", ("km/h",)),
    ("heat_therm", ("therm", "therms")),
    ("btu_it", ("btu",)),
    ("kilowatt_hour", ("kwh",)),
    ("megajoule", ("mj",)),
    ("gigajoule", ("gj",)),
)
ALIASES: Mapping[str, str] = MappingProxyType({text: name for name, texts in _WRITTEN for text in texts})
"""Unit as written, in small letters, and its name for the library."""

_AS_DIFFERENCE = {"degF": "delta_degF", "degC": "delta_degC", "kelvin": "delta_degC"}
_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8", "⅓": "1/3", "⅔": "2/3"}
_SIGNS = str.maketrans(
    {"′": "'", "’": "'", "″": '"', "”": '"', "−": "-", "²": "2", "³": "3", "·": " ", "^": "", "°": ""}
)

_MIXED = r"(?:\d+(?: |-)\d+/\d+|\d+/\d+|\d+\.\d+|\.\d+|\d+)"
_FEET_INCHES = re.compile(
    rf"(?P<sign>[+-]?) ?(?:(?P<ft>{_MIXED}) ?(?:'|ft\.?|feet|foot)(?![a-z]) ?)?"
    rf"(?:(?P<in>{_MIXED}) ?(?P<mark>\"|in\.?|inch|inches)?)?"
)
_NUMBER = re.compile(r"[+-]?(?:(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?|\.\d+)(?:e[+-]?\d+)?(?![\d,.])")
_PREFIXED = re.compile(r"(?P<unit>rsi|usi|r|u)(?: ?[-=] ?| )?(?P<number>[\d.].*)")

_cache_folder: list[Path] = []


def use_cache_folder(folder: Path) -> None:
    """Keep the built registry in a folder that only this program can write; call before the first conversion.

    Parameters
    ----------
    folder : made by the caller. [-]

    Returns
    -------
    Nothing.

    Raises
    ------
    Nothing.

    Notes
    -----
    Housekeeping, no equation.

    References
    ----------
    .. [1] Documentation of pint, cache_folder.

    Examples
    --------
    >>> from pathlib import Path
    >>> use_cache_folder(Path("units"))  # doctest: +SKIP
    """
    _cache_folder[:] = [folder]


@functools.cache
def registry() -> pint.UnitRegistry[Any]:
    """The one unit registry, built on first use (0.4 s; 0.03 s from a cache folder). For the edge, never in loops."""
    import pint

    units: pint.UnitRegistry[Any] = pint.UnitRegistry(cache_folder=_cache_folder[0] if _cache_folder else None)
    # heat by the International Table calorie, so that 1 kWh is 3412.14 Btu
    units.define("btu_it = 1055.05585262 * joule")
    units.define("heat_therm = 100000 * btu_it")
    units.define("r_value = hour * foot**2 * delta_degF / btu_it")
    # a grain of water an hour through a square foot for an inch of mercury at 0 degC
    units.define("us_perm = 64.79891 * milligram / (hour * foot**2 * 3386.389 * pascal)")
    return units


def parse_quantity(text: str, unit: str) -> float:
    r"""A quantity as people write it, in a unit of the engine.

    Parameters
    ----------
    text : a number, alone (then in `unit`) or with a unit of the same kind; commas part thousands; lengths also as feet
        and inches with fractions; R and U also with the letter before the number.
    unit : a name of `UNITS`.

    Returns
    -------
    The number in `unit`.

    Raises
    ------
    UnitError : empty or ambiguous text, no number, not finite, an unknown unit, a unit of another kind.
    OutOfRange : `unit` is none of `UNITS`.

    Notes
    -----
    .. math:: x = v \cdot (u_{text} / u)

    feet and inches as 12 f + i, fractions exact.

    References
    ----------
    .. [1] Conversions by pint from exact definitions; perm as in `registry`.

    Examples
    --------
    >>> parse_quantity("12' 6 1/2\"", "ft"), parse_quantity("6-1/2 in", "in"), parse_quantity("8ft 3in", "ft")
    (12.541666666666666, 6.5, 8.25)
    >>> parse_quantity("R-13", "R"), parse_quantity("1,250.5 ft2", "ft2"), round(parse_quantity("2.54 m", "ft"), 4)
    (13.0, 1250.5, 8.3333)
    >>> parse_quantity("12 6", "ft")
    Traceback (most recent call last):
    ...
    estimates.physics.units.UnitError: '12 6' is ambiguous; enter a length such as 12' 6 1/2" or 3.8 m
    """
    row = unit_row(unit)
    if not isinstance(text, str):
        raise _refusal(text, row, "is no text")
    clean = _cleaned(text)
    if not clean:
        raise _refusal(text, row, "is empty")
    if unit in ("ft", "in"):
        length = _feet_and_inches(text, clean, unit, row)
        if length is not None:
            return length
    prefixed = _PREFIXED.fullmatch(clean) if unit in ("R", "U") else None
    written = ""
    if prefixed is not None:
        written, clean = prefixed["unit"], prefixed["number"]
    number = _NUMBER.match(clean)
    if number is None:
        raise _refusal(text, row, "is ambiguous" if re.search(r"\d", clean) else "holds no number")
    rest = clean[number.end() :].strip()
    if re.match(r"[\d.,/+-]", rest) or (written and rest):
        raise _refusal(text, row, "is ambiguous")
    value = float(number.group().replace(",", ""))
    if not math.isfinite(value):
        raise _refusal(text, row, "is no finite number")
    return _converted(text, value, written or rest, row)


def unit_row(unit: str) -> UnitRow:
    """The row of a unit of the engine, OutOfRange with the list of names otherwise.

    Parameters
    ----------
    unit : a name of `UNITS`.

    Returns
    -------
    UnitRow.

    Raises
    ------
    OutOfRange : `unit` is none of `UNITS`.

    Notes
    -----
    A look-up by name, no equation.

    References
    ----------
    .. [1] Exact definitions of the units, by pint.

    Examples
    --------
    >>> unit_row("ft") is UNITS["ft"]
    True
    """
    if unit not in UNITS:
        raise OutOfRange("unit", unit, f"one of {', '.join(UNITS)}")
    return UNITS[unit]


def _refusal(text: object, row: UnitRow, why: str) -> UnitError:
    return UnitError(f"{text!r} {why}; enter {row.kind} such as {row.example}")


def _cleaned(text: str) -> str:
    for sign, plain in _VULGAR.items():
        text = text.replace(sign, f" {plain}")
    return " ".join(text.translate(_SIGNS).replace("''", '"').lower().split())


def _feet_and_inches(text: str, clean: str, unit: str, row: UnitRow) -> float | None:
    """A length in feet, inches or both; None where the text is of another form."""
    found = _FEET_INCHES.fullmatch(clean)
    if found is None or (found["ft"] is None and found["in"] is None):
        return None
    try:
        feet, inches = (Fraction(0) if found[part] is None else _mixed(found[part]) for part in ("ft", "in"))
    except ZeroDivisionError:
        raise _refusal(text, row, "divides by 0") from None
    if found["ft"] is not None and found["in"] is not None and (feet.denominator != 1 or inches >= 12):
        raise _refusal(text, row, "is ambiguous: whole feet and less than 12 inches belong together")
    if found["ft"] is None and found["mark"] is None and unit == "ft":
        feet, inches = inches, Fraction(0)
    total = (feet * 12 + inches) * (-1 if found["sign"] == "-" else 1)
    return float(total / 12 if unit == "ft" else total)


def _mixed(text: str) -> Fraction:
    return sum((Fraction(part) for part in re.split(r"[ -]", text)), start=Fraction(0))


def _converted(text: str, value: float, written: str, row: UnitRow) -> float:
    if not written:
        return value
    name = ALIASES.get(written)
    if name is None:
        raise _refusal(text, row, f"has the unknown unit {written!r}")
    if row.expression == "delta_degF":
        name = _AS_DIFFERENCE.get(name, name)
    if name == row.expression:
        return value
    units = registry()
    given, asked = units.Quantity(value, name), units.Quantity(1.0, row.expression)
    if given.dimensionality != asked.dimensionality:
        kinds = [each.kind for each in UNITS.values() if units.Unit(each.expression).is_compatible_with(given.units)]
        raise _refusal(text, row, f"reads as {kinds[0]}" if kinds else "is of another kind")
    return float(given.to(row.expression).magnitude)


def format_length_ft(value_ft: float, parts: int = 16) -> str:
    """A length in feet, inches and a fraction.

    Parameters
    ----------
    value_ft : any finite number. [ft]
    parts : parts of an inch to round to, half up: 1, 2, 4, 8, 16, 32 or 64. [-]

    Returns
    -------
    Text that `parse_quantity` reads again.

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    Rounded to the nearest part of an inch, then split into feet, inches and a reduced fraction.

    References
    ----------
    .. [1] Exact definitions of the units, by pint.

    Examples
    --------
    >>> format_length_ft(12.541667), format_length_ft(0.5), format_length_ft(8.0)
    ('12 ft 6 1/2 in', '6 in', '8 ft')
    """
    if parts not in (1, 2, 4, 8, 16, 32, 64):
        raise OutOfRange("parts", parts, "1, 2, 4, 8, 16, 32 or 64")
    value = float(finite("value_ft", float(value_ft)))
    steps = math.floor(abs(value) * 12 * parts + 0.5)
    feet, rest = divmod(steps, 12 * parts)
    inches, over = divmod(rest, parts)
    words = [f"{feet} ft"] if feet else []
    if inches or over or not feet:
        fraction = str(Fraction(over, parts)) if over else ""
        words.append(" ".join(word for word in (str(inches) if inches or not over else "", fraction, "in") if word))
    return ("-" if value < 0 and steps else "") + " ".join(words)


def format_quantity(value: float, unit: str, digits: int = 0) -> str:
    """A quantity with its unit, half rounded up.

    Parameters
    ----------
    value : finite; not below 0 for R and U. [`unit`]
    unit : a name of `UNITS`.
    digits : digits after the point, 0 to 9. [-]

    Returns
    -------
    Text that `parse_quantity` reads again.

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    Rounded half up in decimal, thousands parted by commas.

    References
    ----------
    .. [1] Exact definitions of the units, by pint.

    Examples
    --------
    >>> format_quantity(1250.25, "ft2", 1).replace(THIN_SPACE, " ")
    '1,250.3 ft²'
    >>> format_quantity(13, "R"), format_quantity(0.0887, "U", 3)
    ('R-13', 'U 0.089')
    """
    row = unit_row(unit)
    if digits not in range(10):
        raise OutOfRange("digits", digits, "a whole number from 0 to 9")
    number = float((not_negative if unit in ("R", "U") else finite)("value", float(value)))
    rounded = Decimal(repr(number)).quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP)
    shown = f"{rounded if rounded else abs(rounded):,}"
    if unit == "R":
        return f"R-{shown}"
    return f"U {shown}" if unit == "U" else f"{shown}{THIN_SPACE}{row.sign}"


@dataclass(frozen=True, slots=True)
class SiValue:
    """A quantity for readers of SI: number and unit."""

    value: Values
    unit: str


def to_si(value: ArrayLike, unit: str) -> SiValue:
    """A quantity in the SI unit of its kind; for display, the engine stays in its own units.

    Parameters
    ----------
    value : finite, any shape. [`unit`]
    unit : a name of `UNITS`.

    Returns
    -------
    SiValue of the same shape.

    Raises
    ------
    OutOfRange : an argument outside its limits.

    Notes
    -----
    .. math:: y = a x + b

    References
    ----------
    .. [1] Exact definitions of the units, by pint.

    Examples
    --------
    >>> metric = to_si(13.0, "R")
    >>> round(metric.value, 2), metric.unit
    (2.29, 'RSI')
    """
    scale, offset = _si_line(unit)
    return SiValue(finite("value", value) * scale + offset, unit_row(unit).si)


@functools.cache
def _si_line(unit: str) -> tuple[float, float]:
    """Scale and offset from a unit to its SI unit, so that arrays never meet the library."""
    row, units = unit_row(unit), registry()
    target = ALIASES[row.si.lower()]
    if row.expression == "delta_degF":
        target = _AS_DIFFERENCE[target]
    zero, hundred = (float(units.Quantity(at, row.expression).to(target).magnitude) for at in (0.0, 100.0))
    return (hundred - zero) / 100, zero
