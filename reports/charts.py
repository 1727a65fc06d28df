"""Charts: one question each. The answer in words and the same numbers in a table stand beside them on the page."""

from __future__ import annotations

import json
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
