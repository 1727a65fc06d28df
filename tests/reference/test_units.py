"""Conversions against exact definitions and printed factors.

S: printed number seen. M: from memory, unconfirmed. D: derived from exact definitions.
"""

from __future__ import annotations

import pytest

from estimates.physics.units import parse_quantity, to_si

FOOT, INCH, POUND, BTU = 0.3048, 0.0254, 0.45359237, 1055.05585262


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("1 m", "ft", 1 / FOOT),
        ("25.4 mm", "in", 1.0),
        ("1 m2", "ft2", FOOT**-2),
        ("1 m3", "ft3", FOOT**-3),
        ("1 L/s", "cfm", 60 / (1000 * FOOT**3)),
        ("1 m3/h", "cfm", 1 / (60 * FOOT**3)),
        ("1 kg/m3", "lb/ft3", FOOT**3 / POUND),
        ("1 kW", "Btu/h", 3600 * 1000 / BTU),
        ("20 C", "degF", 68.0),
        ("300 K", "degF", 80.33),
        ("10 K", "delta_degF", 18.0),
        ("10 C", "delta_degF", 18.0),
        ("1 GJ", "therm", 1e9 / (1e5 * BTU)),
        ("100,000 Btu", "kWh", 1e5 * BTU / 3.6e6),
        ("1 m/s", "mph", 3600 / 1609.344),
        ("231 in2", "ft2", 231 / 144),
    ],
)
def test_units_convert_by_their_exact_definitions(text: str, unit: str, expected: float) -> None:
    # D: international foot and pound, International Table Btu.
    assert parse_quantity(text, unit) == pytest.approx(expected, rel=1e-12)


def test_one_rsi_is_5_678263_r() -> None:
    # S: printed to seven digits in handbooks.
    assert parse_quantity("RSI 1", "R") == pytest.approx(5.678263, abs=5e-7)
    assert parse_quantity("1 W/m2K", "U") == pytest.approx(1 / 5.678263, abs=5e-8)


def test_one_kwh_is_3412_14_btu() -> None:
    # S: printed in energy tables.
    assert 1e5 * parse_quantity("1 kWh", "therm") == pytest.approx(3412.14, abs=0.005)


def test_one_perm_is_57_2_nanogram() -> None:
    # M: 57.2 ng/(s m2 Pa). D: grain 64.79891 mg, mercury at 0 degC 3386.389 Pa an inch.
    assert to_si(1.0, "perm").value == pytest.approx(57.2, abs=0.05)
    assert to_si(1.0, "perm").value == pytest.approx(64.79891e6 / (3600 * FOOT**2 * 3386.389), rel=1e-12)


@pytest.mark.parametrize(
    ("value", "unit", "expected", "si"),
    [
        (1.0, "ft", FOOT, "m"),
        (6.5, "in", 165.1, "mm"),
        (68.0, "degF", 20.0, "degC"),
        (-40.0, "degF", -40.0, "degC"),
        (18.0, "delta_degF", 10.0, "K"),
        (1.0, "R", 1 / 5.678263, "RSI"),
        (50.0, "Pa", 50.0, "Pa"),
        (1.0, "cfm", 1000 * FOOT**3 / 60, "L/s"),
        (1.0, "lb", POUND, "kg"),
        (1.0, "gal", 3.785411784, "L"),
    ],
)
def test_si_readers_get_their_units(value: float, unit: str, expected: float, si: str) -> None:
    # D: exact definitions; R to the seven digits printed.
    shown = to_si(value, unit)
    assert shown.value == pytest.approx(expected, rel=1e-7)
    assert shown.unit == si
