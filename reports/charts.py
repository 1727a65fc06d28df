"""Charts: one question each. The answer in words and the same numbers in a table stand beside them on the page."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

INK, COPPER, QUIET, PAPER = "#2b2621", "#97491f", "#665c50", "#fdfbf6"
FONT = "'Source Sans 3', 'DejaVu Sans', sans-serif"

MOST_BARS = 25
"""More bars than that are no longer read one by one."""

ROW_PX = 58
NAME_SHIFT_PX = 21
TARGET_SHIFT_PX = 26


def margin_chart(frame: pd.DataFrame) -> dict[str, Any]:
    """Draw margins as bars from zero with the target marked on each; the lowest stand at the top.

    Parameters
    ----------
    frame : see `reports.frames.margin_frame`; only the first MOST_BARS rows are drawn.

    Returns
    -------
    Figure as plain JSON values, for the chart library in the browser.
    """
    import plotly.graph_objects as go
    from plotly.io import to_json

    rows = frame.head(MOST_BARS)
    places = list(range(len(rows)))
    says = [
        f"{margin:.1f} %" + ("" if meets else ", below target") for margin, meets in zip(rows["margin"], rows["meets"])
    ]
    bars = go.Bar(
        x=rows["margin"].tolist(), y=places, orientation="h", width=0.34, text=says, textposition="outside",
        cliponaxis=False, hoverinfo="skip", marker_color=[QUIET if meets else COPPER for meets in rows["meets"]],
    )  # fmt: skip
    targets = go.Scatter(
        x=rows["target"].tolist(), y=places, mode="markers", hoverinfo="skip",
        marker={"symbol": "line-ns-open", "size": 26, "color": INK, "line": {"width": 3}},
    )  # fmt: skip
    figure = go.Figure([bars, targets], _layout(rows))
    found: dict[str, Any] = json.loads(to_json(figure, remove_uids=True))
    found["layout"].pop("template", None)
    return found


def _layout(rows: pd.DataFrame) -> dict[str, Any]:
    low = min(0.0, *rows["margin"]) if len(rows) else 0.0
    high = max([*rows["margin"], *rows["target"], 10.0])
    names = [
        {
            "text": escape(name, quote=False), "x": 0, "y": place, "yshift": NAME_SHIFT_PX, "xanchor": "left",
            "align": "left", "showarrow": False,
        }
        for place, name in enumerate(rows["house"])
    ]  # fmt: skip
    mark = [
        {"text": "target", "x": target, "y": 0, "yshift": TARGET_SHIFT_PX, "showarrow": False, "font": {"color": INK}}
        for target in rows["target"][:1]
    ]
    return {
        "annotations": [*names, *mark],
        "showlegend": False,
        "paper_bgcolor": PAPER,
        "plot_bgcolor": PAPER,
        "font": {"family": FONT, "size": 15, "color": INK},
        "height": 90 + ROW_PX * max(1, len(rows)),
        "margin": {"l": 8, "r": 8, "t": 16, "b": 56},
        "dragmode": False,
        # Room on the right for the words at the end of the bars.
        "xaxis": {
            "title": {"text": "Margin after commission, % of price"}, "range": [1.3 * low, 1.55 * high],
            "zeroline": True, "zerolinecolor": INK, "gridcolor": "#e4dac8", "fixedrange": True, "tick0": 0, "dtick": 10,
        },
        "yaxis": {"visible": False, "range": [len(rows) - 0.4, -0.75], "fixedrange": True},
    }  # fmt: skip


# --- Figures of the reports, written as the plain values that the browser's library reads -----------------------------

BLUE, VERMILLION, GREEN, PURPLE, GREY = "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#595959"
"""A published set of colours that people who see colours differently can tell apart; every mark has a second cue."""

MOST_COLUMNS = 31
"""More columns than that are drawn as a line."""

GRID = "#e4dac8"
LETTER_PX = 8
"""Width that a letter at the end of a bar or line is given."""

SHORT_NAME = 6
"""Letters of a name of which four stand side by side on a phone."""

Figure = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar: name, length, what is written at its end, and whether it is one to look at."""

    name: str
    value: float
    says: str
    look: bool = False


def bar_figure(bars: Sequence[Bar], axis: str, *, marks: Sequence[float] = (), mark_word: str = "") -> Figure:
    """Bars from zero, their names above them; `marks` puts a tick on each, named once.

    Parameters
    ----------
    bars : the first stands at the top.
    axis : what the length is, with its unit.
    marks : a value for each bar, to compare with.
    mark_word : what the mark is.
    """
    places = list(range(len(bars)))
    values = [bar.value for bar in bars]
    data: list[dict[str, Any]] = [
        {
            "type": "bar", "orientation": "h", "x": values, "y": places, "width": 0.34, "hoverinfo": "skip",
            "marker": {
                "color": [VERMILLION if bar.look else BLUE for bar in bars],
                "pattern": {"shape": ["/" if bar.look else "" for bar in bars], "fgcolor": PAPER, "size": 6},
            },
        }
    ]  # fmt: skip
    ends = [max(value, 0.0, *([marks[place]] if marks else [])) for place, value in enumerate(values)]
    notes = [_name_note(bar.name, place) for place, bar in enumerate(bars)]
    notes += [_at_end(bar.says, end, place) for bar, end, place in zip(bars, ends, places)]
    if marks:
        data.append(
            {
                "type": "scatter", "mode": "markers", "x": list(marks), "y": places, "hoverinfo": "skip",
                "marker": {"symbol": "line-ns-open", "size": 26, "color": INK, "line": {"width": 3}},
            }
        )  # fmt: skip
        notes.append(
            {"text": mark_word, "x": marks[0], "y": 0, "yshift": TARGET_SHIFT_PX, "showarrow": False, "xanchor": "left"}
        )
    layout = _plain_layout(90 + ROW_PX * max(1, len(bars)))
    every = [*values, *marks, 0.0]
    low, high = min(every), max(every)
    reach = (high - low) or 1.0
    layout["annotations"] = notes
    layout["margin"]["r"] = _room([bar.says for bar in bars])
    layout["xaxis"] |= {
        "title": {"text": axis}, "zeroline": True, "zerolinecolor": INK, "nticks": 5, "tickangle": 0,
        "range": [low - (0.05 * reach if low < 0 else 0.0), high + 0.02 * reach],
    }  # fmt: skip
    layout["yaxis"] = {"visible": False, "range": [len(bars) - 0.4, -0.75], "fixedrange": True}
    return {"data": data, "layout": layout}


def _name_note(name: str, place: int) -> dict[str, Any]:
    return {
        "text": escape(name, quote=False), "x": 0, "xref": "paper", "y": place, "yshift": NAME_SHIFT_PX,
        "xanchor": "left", "align": "left", "showarrow": False,
    }  # fmt: skip


def _room(words: Sequence[str]) -> float:
    """Room on the right for words at the end of a bar or line. [px]"""
    return 16 + LETTER_PX * max((len(text) for text in words), default=0)


@dataclass(frozen=True, slots=True)
class Line:
    """A line over time: its name stands at its end. `dash` tells it apart without its colour."""

    name: str
    values: Sequence[float | None]
    colour: str = BLUE
    dash: str = "solid"


def time_figure(
    when: Sequence[str], axis: str, *, columns: Sequence[float] = (), lines: Sequence[Line] = (), column_word: str = ""
) -> Figure:
    """Columns and lines over time, from zero; more than MOST_COLUMNS columns become a line.

    Parameters
    ----------
    when : names of the months or weeks, in order.
    axis : what the height is, with its unit.
    columns : a height for each.
    lines : drawn over them.
    column_word : what the columns are, where lines stand beside them.
    """
    places = list(range(len(when)))
    data: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    drawn = list(lines)
    if len(columns) > MOST_COLUMNS:
        drawn = [Line(column_word, list(columns)), *drawn]
    elif columns:
        bars = {"type": "bar", "x": places, "y": list(columns), "width": 0.6, "hoverinfo": "skip"}
        data.append({**bars, "marker": {"color": BLUE}})
        if column_word and lines:
            notes.append(_above(column_word, max(places, key=lambda at: columns[at]), max(columns)))
    for line in drawn:
        data.append(
            {
                "type": "scatter", "mode": "lines+markers" if len(when) <= MOST_COLUMNS else "lines", "x": places,
                "y": list(line.values), "hoverinfo": "skip", "line": {"color": line.colour, "dash": line.dash,
                "width": 2.5}, "marker": {"size": 7},
            }
        )  # fmt: skip
        last = next((at for at in reversed(places) if line.values[at] is not None), None)
        if last is not None and line.name:
            notes.append(_at_end(line.name, None, line.values[last]))
    layout = _plain_layout(360)
    layout["annotations"] = [_axis_note(axis), *notes]
    layout["margin"] |= {"t": 44, "r": _room([line.name for line in drawn])}
    # Few names, so that they stand side by side on a phone and none is slanted.
    most = 4 if max((len(name) for name in when), default=0) <= SHORT_NAME else 3
    ticks = places[:: max(1, -(-len(when) // most))]
    layout["xaxis"] |= {
        "tickvals": ticks, "ticktext": [when[at] for at in ticks], "tickangle": 0, "gridcolor": PAPER,
        "range": [-0.6, len(when) - 0.4],
    }  # fmt: skip
    layout["yaxis"] = {
        "rangemode": "tozero", "gridcolor": GRID, "zeroline": True, "zerolinecolor": INK, "fixedrange": True,
        "automargin": True, "nticks": 6, "tickformat": ",~g",
    }  # fmt: skip
    return {"data": data, "layout": layout}


def _axis_note(axis: str) -> dict[str, Any]:
    """What the height is, written level above it: on a phone a line on its side is cut."""
    return {
        "text": escape(axis, quote=False), "x": 0, "y": 1, "xref": "paper", "yref": "paper", "xanchor": "left",
        "yanchor": "bottom", "yshift": 14, "align": "left", "showarrow": False, "font": {"color": QUIET},
    }  # fmt: skip


def _above(text: str, x: float, y: float) -> dict[str, Any]:
    return {"text": escape(text, quote=False), "x": x, "y": y, "yshift": 12, "showarrow": False}


def _at_end(text: str, x: float | None, y: float | None) -> dict[str, Any]:
    """Words right of a place; without a place, right of the drawing."""
    where = {"x": 1, "xref": "paper"} if x is None else {"x": x}
    return {
        "text": escape(text, quote=False), **where, "y": y, "xshift": 8, "xanchor": "left", "align": "left",
        "showarrow": False,
    }  # fmt: skip


def control_figure(
    when: Sequence[str], values: Sequence[float], axis: str, limits: tuple[float, float, float]
) -> Figure:
    """Single values in their order with their mean and limits; values outside are marked by shape and colour.

    Parameters
    ----------
    limits : lower limit, mean, upper limit.
    """
    low, mean, high = limits
    outside = [not low <= value <= high for value in values]
    places = list(range(len(values)))
    figure = time_figure(when, axis, lines=[Line("", list(values))])
    figure["data"][0]["mode"] = "lines+markers"
    figure["data"][0]["marker"] = {
        "color": [VERMILLION if out else BLUE for out in outside],
        "symbol": ["diamond" if out else "circle" for out in outside],
        "size": [13 if out else 7 for out in outside],
    }
    last = places[-1] if places else 0
    for level, name, dash in ((high, "upper limit", "dash"), (mean, "mean", "solid"), (low, "lower limit", "dash")):
        figure["data"].append(
            {
                "type": "scatter", "mode": "lines", "x": [-0.5, last + 0.5], "y": [level, level], "hoverinfo": "skip",
                "line": {"color": GREY, "dash": dash, "width": 1.5},
            }
        )  # fmt: skip
        figure["layout"]["annotations"].append(_at_end(name, None, level))
    figure["layout"]["margin"]["r"] = _room(["upper limit"])
    # A trend is read by its height over the mean, not from zero.
    every = [*values, low, high]
    room = 0.08 * ((max(every) - min(every)) or 1.0)
    figure["layout"]["yaxis"] |= {"rangemode": "normal", "range": [min(every) - room, max(every) + room]}
    return figure


@dataclass(frozen=True, slots=True)
class Point:
    """What was expected with its range, and what was found."""

    expected: float
    low: float
    high: float
    found: float
    look: bool = False


def square_figure(points: Sequence[Point], across: str, up: str) -> Figure:
    """Found over expected, one scale for both, with the line on which they agree."""
    every = [value for point in points for value in (point.low, point.high, point.found)]
    least, most = (min(every), max(every)) if every else (0.0, 1.0)
    room = 0.06 * ((most - least) or 1.0)
    span = [least - room, most + room]
    data = [
        {
            "type": "scatter", "mode": "lines", "x": span, "y": span, "hoverinfo": "skip",
            "line": {"color": INK, "width": 1.5, "dash": "dash"},
        },
        {
            "type": "scatter", "mode": "markers", "x": [point.expected for point in points],
            "y": [point.found for point in points], "hoverinfo": "skip",
            "error_x": {
                "type": "data", "symmetric": False, "array": [point.high - point.expected for point in points],
                "arrayminus": [point.expected - point.low for point in points], "color": GREY, "thickness": 1.2,
            },
            "marker": {
                "size": 11, "color": [VERMILLION if point.look else BLUE for point in points],
                "symbol": ["diamond" if point.look else "circle" for point in points],
            },
        },
    ]  # fmt: skip
    layout = _plain_layout(460)
    layout["annotations"] = [
        {"text": "as expected", "x": span[1], "y": span[1], "xanchor": "right", "xshift": -12, "yshift": -2,
         "showarrow": False},
    ]  # fmt: skip
    layout["annotations"].append(_axis_note(up))
    layout["margin"]["t"] = 44
    # One scale for both, so that the line of agreement rises at 45 degrees on any screen.
    layout["xaxis"] |= {
        "title": {"text": across}, "range": span, "nticks": 5, "tickangle": 0, "constrain": "domain",
        "tickformat": ",~g",
    }  # fmt: skip
    layout["yaxis"] = {
        "range": span, "gridcolor": GRID, "fixedrange": True, "automargin": True, "nticks": 5, "scaleanchor": "x",
        "constrain": "domain", "tickformat": ",~g",
    }  # fmt: skip
    return {"data": data, "layout": layout}


def _plain_layout(height: int) -> dict[str, Any]:
    return {
        "showlegend": False, "paper_bgcolor": PAPER, "plot_bgcolor": PAPER, "dragmode": False, "height": height,
        "font": {"family": FONT, "size": 15, "color": INK}, "margin": {"l": 8, "r": 8, "t": 16, "b": 56},
        "xaxis": {"gridcolor": GRID, "fixedrange": True, "tickformat": ",~g"},
    }  # fmt: skip
