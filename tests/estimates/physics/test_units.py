"""Reading and showing quantities."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.physics import units
from estimates.physics.units import (
    UNITS,
    UnitError,
    format_length_ft,
    format_quantity,
    parse_quantity,
    to_si,
    use_cache_folder,
)
from estimates.physics.validity import OutOfRange


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("12' 6 1/2\"", "ft", 12 + 6.5 / 12),
        ("12′ 6½″", "ft", 12 + 6.5 / 12),
        ("12'6", "ft", 12.5),
        ("12 ft. 6 in.", "ft", 12.5),
        ("8ft 3in", "ft", 8.25),
        ("8ft3in", "ft", 8.25),
        ("8 feet 3 inches", "ft", 8.25),
        ("6-1/2 in", "in", 6.5),
        ("6 1/2", "in", 6.5),
        ("6 1/2", "ft", 6.5),
        ("3/4", "in", 0.75),
        ("½ in", "in", 0.5),
        ("14.5", "in", 14.5),
        ("14.5''", "in", 14.5),
        ("1'", "in", 12.0),
        (".5 ft", "ft", 0.5),
        ("-2' 6\"", "ft", -2.5),
        ("1,250.5 ft", "ft", 1250.5),
        (" 1,250.5 ft² ", "ft2", 1250.5),
        ("1,250.5\u202fft^2", "ft2", 1250.5),
        ("900 sq ft", "ft2", 900.0),
        ("1e3", "ft3", 1000.0),
        ("R-13", "R", 13.0),
        ("r13", "R", 13.0),
        ("R 13.5", "R", 13.5),
        ("13", "R", 13.0),
        ("13 R", "R", 13.0),
        ("U-0.35", "U", 0.35),
        ("U = .35", "U", 0.35),
        ("2,000 CFM", "cfm", 2000.0),
        ("-40 °C", "degF", -40.0),
        ("70 °F", "degF", 70.0),
        ("70", "degF", 70.0),
        ("3.5 pcf", "lb/ft3", 3.5),
        ("-2.5 Pa", "Pa", -2.5),
        ("−2.5", "Pa", -2.5),
    ],
)
def test_what_people_write_is_read(text: str, unit: str, expected: float) -> None:
    assert parse_quantity(text, unit) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit", "why"),
    [
        ("", "ft", "is empty"),
        ("  \u2009", "ft", "is empty"),
        ("nan", "ft", "no number"),
        ("inf", "ft2", "no number"),
        ("1e999", "ft2", "no finite number"),
        ("ten", "ft2", "no number"),
        ("12 6", "ft", "ambiguous"),
        ("6-6", "in", "ambiguous"),
        ("12.5' 6\"", "ft", "ambiguous"),
        ("5' 12\"", "ft", "ambiguous"),
        ("5' 14\"", "ft", "ambiguous"),
        ("1,25", "ft2", "ambiguous"),
        ("1.250,5", "ft2", "ambiguous"),
        ("12,50,000", "ft2", "ambiguous"),
        ("3/4", "lb", "ambiguous"),
        ("1/0", "in", "divides by 0"),
        ("5 x 8", "ft", "unknown unit 'x 8'"),
        ("$5", "ft", "ambiguous"),
        ("3 lb", "ft", "reads as a mass"),
        ("3 m", "ft2", "reads as a length"),
        ("R-13", "U", "reads as an R-value"),
        ("R-13", "in", "ambiguous"),
        ("R-3.5 per inch", "R", "ambiguous"),
        ("70 F", "ft", "reads as a temperature"),
        ("5 furlong", "ft", "unknown unit 'furlong'"),
    ],
)
def test_what_cannot_be_read_says_why_and_what_to_enter(text: str, unit: str, why: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_quantity(text, unit)
    message = str(caught.value)
    assert why in message
    assert repr(text) in message
    assert message.endswith(f"enter {UNITS[unit].kind} such as {UNITS[unit].example}")


def test_what_is_no_text_or_no_unit_of_ours_is_refused() -> None:
    with pytest.raises(UnitError, match="no text"):
        parse_quantity(None, "ft")  # type: ignore[arg-type]
    with pytest.raises(OutOfRange, match="unit is 'furlong'"):
        parse_quantity("1", "furlong")


@pytest.mark.parametrize("unit", list(UNITS))
def test_examples_in_messages_can_be_entered_and_mean_about_the_same(unit: str) -> None:
    readings = [parse_quantity(text, unit) for text in UNITS[unit].example.split(" or ")]
    assert readings == pytest.approx([readings[0]] * len(readings), rel=0.02)


@given(st.floats(-5000, 5000), st.sampled_from([1, 2, 4, 8, 16, 32, 64]))
def test_a_length_shown_is_read_again_within_half_a_part(value: float, parts: int) -> None:
    again = parse_quantity(format_length_ft(value, parts), "ft")
    assert abs(again - value) <= (0.5 / parts + 1e-9) / 12
    assert format_length_ft(again, parts) == format_length_ft(value, parts)


@given(st.floats(0, 1e6), st.sampled_from(list(UNITS)), st.integers(0, 6))
def test_a_quantity_shown_is_read_again_within_half_its_last_digit(value: float, unit: str, digits: int) -> None:
    again = parse_quantity(format_quantity(value, unit, digits), unit)
    assert again == pytest.approx(value, abs=0.5 * 10.0**-digits * (1 + 1e-6), rel=1e-12)


@given(st.floats(-1000, 1000), st.sampled_from(list(UNITS)))
def test_one_number_equals_that_of_an_array_in_si(value: float, unit: str) -> None:
    one, many = to_si(value, unit), to_si([0.0, value], unit)
    assert np.asarray(many.value)[1] == pytest.approx(one.value, rel=1e-12, abs=1e-12)
    assert many.unit == one.unit


@given(st.floats(0.01, 1e5), st.sampled_from([name for name in UNITS if name != "delta_degF"]))
def test_si_shown_is_read_back(value: float, unit: str) -> None:
    metric = to_si(value, unit)
    assert parse_quantity(f"{float(np.asarray(metric.value))!r} {metric.unit}", unit) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize(
    ("value", "unit", "digits", "expected"),
    [
        (2.5, "ft2", 0, "3 ft²"),
        (2.675, "lb", 2, "2.68 lb"),
        (-0.001, "Pa", 1, "0.0 Pa"),
        (1234567.0, "Btu/h", 0, "1,234,567 Btu/h"),
    ],
)
def test_halves_round_up_and_there_is_no_minus_zero(value: float, unit: str, digits: int, expected: str) -> None:
    assert format_quantity(value, unit, digits).replace(units.THIN_SPACE, " ") == expected


@pytest.mark.parametrize(
    ("value", "expected"),
    [(0.0, "0 in"), (-0.0001, "0 in"), (0.5 / 12, "1/2 in"), (-1.0, "-1 ft"), (11.9999, "12 ft"), (1 / 12, "1 in")],
)
def test_lengths_are_shown_as_they_are_spoken(value: float, expected: str) -> None:
    assert format_length_ft(value) == expected


def test_bad_numbers_are_refused_by_name() -> None:
    with pytest.raises(OutOfRange, match="value_ft"):
        format_length_ft(float("nan"))
    with pytest.raises(OutOfRange, match="parts"):
        format_length_ft(1.0, 3)
    with pytest.raises(OutOfRange, match="digits"):
        format_quantity(1.0, "ft", 12)
    with pytest.raises(OutOfRange, match="value"):
        format_quantity(-1.0, "R")
    with pytest.raises(OutOfRange, match="value"):
        to_si(float("inf"), "ft")


def test_the_registry_can_be_kept_in_a_folder(tmp_path: Path) -> None:
    units.registry.cache_clear()
    use_cache_folder(tmp_path)
    try:
        assert parse_quantity("1 m", "ft") == pytest.approx(1 / 0.3048)
        assert any(tmp_path.iterdir())
    finally:
        units._cache_folder.clear()
        units.registry.cache_clear()
