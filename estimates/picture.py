"""A drawing as PNG for papers, kept by the hash of what it shows."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

from estimates.filing import write_whole
from estimates.linework import LOOKS, PAPER, TEXT_FONT, Area, Dot, Drawing, Label, Look, Mark, Stroke, hatch_of

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

POINTS_PER_IN = 72.0

STYLE = 1
"""Counted up when pictures look different from before, so that no old one is taken from the store."""


def png_bytes(drawing: Drawing, *, width_in: float, dpi: int = 200) -> bytes:
    """Draw a PNG.

    Parameters
    ----------
    drawing : what to draw.
    width_in : width on paper. [in], > 0 and at most 20
    dpi : dots per inch, 50 to 600.

    Returns
    -------
    The PNG; the same bytes for the same arguments with the same libraries.

    Raises
    ------
    ValueError : width or dpi out of range.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    _check(width_in, dpi)
    # A figure of its own, unknown to the global list of figures: nothing to close, and safe in threads.
    figure = Figure(figsize=(width_in, width_in * drawing.height / drawing.width), dpi=dpi, facecolor="#ffffff")
    canvas = FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_xlim(drawing.left, drawing.right)
    axes.set_ylim(drawing.bottom, drawing.top)
    brush = _Brush(axes, drawing.text_in, width_in * POINTS_PER_IN / drawing.width)
    for order, mark in enumerate(drawing.marks):
        brush.draw(mark, order)
    kept = io.BytesIO()
    canvas.print_png(kept, metadata={"Software": None})  # type: ignore[no-untyped-call]
    return kept.getvalue()


def keep_png(drawing: Drawing, folder: Path, *, width_in: float, dpi: int = 200) -> Path:
    """Path of the PNG of a drawing in `folder`, drawn unless it is there already.

    Parameters
    ----------
    drawing, width_in, dpi : as for `png_bytes`.
    folder : made when missing.

    Returns
    -------
    Path of the file, named by the hash of drawing, size and style.

    Raises
    ------
    ValueError : width or dpi out of range.
    """
    _check(width_in, dpi)
    name = hashlib.sha256(repr((STYLE, drawing, float(width_in), dpi)).encode()).hexdigest()[:32]
    path = folder / f"{name}.png"
    if not path.exists():
        write_whole(path, png_bytes(drawing, width_in=width_in, dpi=dpi))
    return path


def _check(width_in: float, dpi: int) -> None:
    if not 0 < width_in <= 20:
        raise ValueError(f"width_in is {width_in!r}; enter a width above 0, at most 20 in")
    if not 50 <= dpi <= 600:
        raise ValueError(f"dpi is {dpi!r}; enter a number from 50 to 600")


class _Brush:
    """Puts marks on axes; `scale` is points of paper per inch of wall."""

    def __init__(self, axes: Axes, text_in: float, scale: float) -> None:
        self.axes, self.text, self.scale = axes, text_in * scale, scale

    def add(self, artist: Artist) -> None:
        """Put it on the page. Not add_patch: that works out data limits, half the time of a picture, for fixed axes."""
        self.axes.add_artist(artist)

    def pen(self, look: Look) -> dict[str, Any]:
        dash = "solid" if look.dash is None else (0, tuple(part / look.width for part in look.dash))
        return {"linewidth": look.width * self.text if look.stroke else 0.0, "linestyle": dash}

    def draw(self, mark: Mark, order: int) -> None:
        look = LOOKS[mark.kind]
        if isinstance(mark, Area):
            self.area(mark, look, order)
        elif isinstance(mark, Stroke):
            from matplotlib.lines import Line2D

            (x0, y0), (x1, y1) = mark.start, mark.end
            self.add(Line2D([x0, x1], [y0, y1], color=look.stroke, zorder=order, clip_on=False, **self.pen(look)))
        elif isinstance(mark, Dot):
            from matplotlib.patches import Circle

            colours = {"facecolor": look.fill or "none", "edgecolor": look.stroke or "none"}
            self.add(Circle(mark.centre, mark.radius, zorder=order, **colours, **self.pen(look)))
        else:
            self.label(mark, look, order)

    def area(self, mark: Area, look: Look, order: int) -> None:
        from matplotlib.patches import Polygon

        fill, edge = look.fill or "none", look.stroke or "none"
        if mark.hatch:
            # The pattern takes the colour of an edge, so it lies under the outline as an area of its own.
            hatch = hatch_of(mark.hatch)
            under = Polygon(mark.points, facecolor=hatch.ground, edgecolor=hatch.line, linewidth=0, zorder=order)
            under.set_hatch(hatch.mark)
            under.set_hatch_linewidth(0.07 * self.text)
            self.add(under)
        shape = Polygon(mark.points, facecolor=fill, edgecolor=edge, zorder=order, joinstyle="round", **self.pen(look))
        self.add(shape)

    def label(self, mark: Label, look: Look, order: int) -> None:
        from matplotlib.patheffects import withStroke

        size = mark.size * self.scale
        turned: dict[str, Any] = {"rotation": 90} if mark.turned else {}
        text = self.axes.text(
            *mark.at,
            # A dollar sign would start a formula.
            mark.text.replace("$", r"\$"),
            fontsize=size,
            fontfamily=TEXT_FONT,
            fontweight=look.weight,
            color=look.fill,
            zorder=order,
            horizontalalignment="center"
            if mark.turned
            else {"start": "left", "middle": "center", "end": "right"}[mark.anchor],
            verticalalignment="center" if mark.turned else "center_baseline",
            **turned,
        )
        text.set_path_effects([withStroke(linewidth=0.28 * size, foreground=PAPER)])
