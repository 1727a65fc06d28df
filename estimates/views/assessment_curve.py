"""The leakage curve of a blower-door test, drawn by the server: readings and fitted line, both axes in logarithms."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from html import escape

from django.utils.safestring import SafeString, mark_safe

from estimates.air import Leakage
from estimates.house import BlowerDoorRecord, HouseRecord
from estimates.linework import COPPER, INK, QUIET
from estimates.physics.airtightness import PowerLaw, fit_power_law

WIDE, HIGH = 320.0, 250.0
"""Size of the picture. [CSS px]"""

LEFT, RIGHT, TOP, BOTTOM = 56.0, 12.0, 12.0, 46.0
"""Room round the plot. [CSS px]"""

STEPS = (1, 2, 5)
"""Ticks of a decade."""


@dataclass(frozen=True, slots=True)
class Curve:
    """What a test says: CFM50 with the ends of its 95 % interval where there is a curve, and the picture."""

    cfm50: float
    fit: PowerLaw | None
    warnings: tuple[str, ...]
    svg: SafeString | None


def curve_of(house: HouseRecord, test: BlowerDoorRecord, leak: Leakage) -> Curve:
    """Fit and draw a test; with fewer than three readings there is no curve to draw.

    Raises
    ------
    OutOfRange : the readings cannot be fitted; names why.
    """
    if len(test.points) < 3:
        return Curve(leak.cfm50, None, leak.warnings, None)
    fit = fit_power_law(
        [point.pressure_pa for point in test.points],
        [point.flow_cfm for point in test.points],
        baseline_pa=-test.baseline_pa,
        indoor_f=test.indoor_f,
        outdoor_f=test.outdoor_f,
        altitude_ft=house.climate.altitude_ft,
    )
    # Readings are shown as the fit saw them: against the baseline, and as flow of standard air through the leaks.
    scale = fit.density_factor * fit.standard_factor
    points = [(point.pressure_pa + test.baseline_pa, point.flow_cfm * scale) for point in test.points]
    return Curve(fit.cfm50, fit, fit.warnings, curve_svg(fit, points))


def curve_svg(fit: PowerLaw, points: list[tuple[float, float]]) -> SafeString:
    """Draw readings [Pa, cfm] and the fitted line; attributes only, so that it lives under a strict content policy."""
    low = min(10.0, *(pressure for pressure, _ in points)) * 0.9
    high = max(60.0, *(pressure for pressure, _ in points)) * 1.1
    ends = [(pressure, float(fit.flow_cfm(pressure))) for pressure in (low, high)]
    flows = [flow for _, flow in (*points, *ends)]
    across, up = (low, high), (min(flows) * 0.9, max(flows) * 1.1)

    def at(pressure: float, flow: float) -> tuple[float, float]:
        return (
            LEFT + (WIDE - LEFT - RIGHT) * _share(pressure, across),
            HIGH - BOTTOM - (HIGH - TOP - BOTTOM) * _share(flow, up),
        )

    says = (
        f"{len(points)} readings and the line through them: {fit.cfm50:,.0f} CFM50, exponent {fit.exponent:.2f}. "
        "Both axes run in logarithms."
    )
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="curve" viewBox="0 0 {WIDE:g} {HIGH:g}" width="{WIDE:g}" '
        f'height="{HIGH:g}" role="img" aria-label="{escape(says)}">',
        *_ticks(across, up, at),
        _line(*at(*ends[0]), *at(*ends[1]), INK, 1.75),
        *_fifty(fit, up, at),
        *(f'<circle cx="{_n(x)}" cy="{_n(y)}" r="4" fill="{COPPER}"/>' for x, y in (at(*point) for point in points)),
        _words(LEFT + (WIDE - LEFT - RIGHT) / 2, HIGH - 8, "pressure, Pa"),
        f'<text x="12" y="{_n((HIGH - BOTTOM) / 2 + 6)}" font-size="13" fill="{INK}" text-anchor="middle" '
        f'transform="rotate(-90 12 {_n((HIGH - BOTTOM) / 2 + 6)})">flow, cfm</text>',
        "</svg>",
    ]
    # Every text in it is made of numbers and of our own words.
    return mark_safe("".join(parts))  # noqa: S308


def _fifty(fit: PowerLaw, up: tuple[float, float], at: object) -> Iterable[str]:
    assert callable(at)
    x, y = at(50.0, fit.cfm50)
    foot = at(50.0, up[0])[1]
    yield _line(x, foot, x, y, COPPER, 1, dash=True)
    yield _line(LEFT, y, x, y, COPPER, 1, dash=True)


def _ticks(across: tuple[float, float], up: tuple[float, float], at: object) -> Iterable[str]:
    assert callable(at)
    for pressure in (*_steps(across), *((50.0,) if 50.0 not in _steps(across) else ())):
        x, foot = at(pressure, up[0])
        yield _line(x, TOP, x, foot, QUIET, 0.4)
        yield _words(x, foot + 16, f"{pressure:g}")
    for flow in _steps(up):
        x, y = at(across[0], flow)
        yield _line(x, y, WIDE - RIGHT, y, QUIET, 0.4)
        yield _words(x - 6, y + 4, f"{flow:,.0f}", anchor="end")


def _steps(ends: tuple[float, float]) -> list[float]:
    """Round numbers between two ends: 1, 2, 5 of each decade, all whole steps where these are fewer than three."""
    low, high = ends
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    found = [step * 10.0**decade for decade in decades for step in STEPS if low <= step * 10.0**decade <= high]
    if len(found) >= 3:
        return found
    step = 10.0 ** math.floor(math.log10(high - low))
    return [number * step for number in range(math.ceil(low / step), math.floor(high / step) + 1)][:8]


def _share(value: float, ends: tuple[float, float]) -> float:
    return math.log(value / ends[0]) / math.log(ends[1] / ends[0])


def _line(x1: float, y1: float, x2: float, y2: float, colour: str, width: float, *, dash: bool = False) -> str:
    dashed = ' stroke-dasharray="4 3"' if dash else ""
    return (
        f'<line x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}" stroke="{colour}" stroke-width="{width:g}"'
        f"{dashed}/>"
    )


def _words(x: float, y: float, text: str, anchor: str = "middle") -> str:
    return f'<text x="{_n(x)}" y="{_n(y)}" font-size="13" fill="{INK}" text-anchor="{anchor}">{escape(text)}</text>'


def _n(value: float) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".")
