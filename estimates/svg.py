"""A drawing as SVG: elements, attributes and classes only, so that it lives under a strict content policy."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from html import escape

from estimates.linework import (
    LOOKS,
    PAPER,
    TEXT_FONT,
    Area,
    BayState,
    Dot,
    Drawing,
    Hatch,
    Label,
    Look,
    Mark,
    Stroke,
    hatch_of,
)
from estimates.physics.sweep import Point

PATTERN = 0.8
"""Side of the square in which a pattern repeats. [text sizes]"""


def to_svg(drawing: Drawing, *, title: str, width: float, key: str = "") -> str:
    """Write a drawing as an `svg` element.

    Parameters
    ----------
    drawing : what to draw.
    title : name of the picture for people who cannot see it; the drawing's own words follow as description.
    width : width at which it is shown when there is room for it. [CSS px], > 0
    key : begins every id; left out, it follows from the drawing and the title. Give one where the same drawing stands
        twice on a page.

    Returns
    -------
    SVG text that can stand in a page or in a file of its own. Colours are attributes, which a style sheet overrides by
    class: `elevation` on the whole, `area`, `stroke`, `dot` or `label` with the kind on each mark, `bay-filled` and the
    like on bays, which also carry their number as `data-bay`.

    Raises
    ------
    ValueError : the width is not above 0.

    Examples
    --------
    >>> square = Drawing(0, 0, 10, 10, 1, (Area("face", ((0, 0), (10, 0), (10, 10), (0, 10))),), "A square.")
    >>> to_svg(square, title="Square", width=100).count("<polygon")
    1
    """
    if not 0 < width < float("inf"):
        raise ValueError(f"width is {width!r}; enter a width above 0 px")
    name = key or "d" + hashlib.sha256(repr((drawing, title, width)).encode()).hexdigest()[:10]
    high = width * drawing.height / drawing.width
    head = _element(
        "svg",
        xmlns="http://www.w3.org/2000/svg",
        class_="elevation",
        id=name,
        width=_n(width),
        height=_n(high),
        viewBox=f"0 0 {_n(drawing.width)} {_n(drawing.height)}",
        role="img",
        aria_labelledby=f"{name}-title {name}-desc",
        font_family=f"'{TEXT_FONT}', sans-serif",
    )
    used = sorted({mark.hatch for mark in drawing.marks if isinstance(mark, Area) and mark.hatch})
    pen = _Pen(drawing, name)
    lines = [
        f"{head}>",
        f'<title id="{name}-title">{_text(title)}</title>',
        f'<desc id="{name}-desc">{_text(drawing.says)}</desc>',
        "<defs>",
        *(pen.pattern(hatch) for hatch in used),
        "</defs>",
        *(pen.draw(mark) for mark in drawing.marks),
        "</svg>",
    ]
    return "\n".join(lines)


class _Pen:
    """Writes marks of one drawing; turns y, which grows upward on a wall, downward."""

    def __init__(self, drawing: Drawing, name: str) -> None:
        self.drawing, self.name = drawing, name

    def at(self, point: Point) -> tuple[str, str]:
        return _n(point[0] - self.drawing.left), _n(self.drawing.top - point[1])

    def line(self, look: Look) -> dict[str, str]:
        text = self.drawing.text_in
        found = {"stroke": look.stroke or "none"}
        if look.stroke:
            found["stroke_width"] = _n(look.width * text)
        if look.dash:
            found["stroke_dasharray"] = " ".join(_n(part * text) for part in look.dash)
        return found

    def draw(self, mark: Mark) -> str:
        look = LOOKS[mark.kind]
        if isinstance(mark, Area):
            return self.area(mark, look)
        if isinstance(mark, Stroke):
            (x1, y1), (x2, y2) = self.at(mark.start), self.at(mark.end)
            return _element("line", class_=f"stroke {mark.kind}", x1=x1, y1=y1, x2=x2, y2=y2, **self.line(look)) + "/>"
        if isinstance(mark, Dot):
            x, y = self.at(mark.centre)
            circle = {"cx": x, "cy": y, "r": _n(mark.radius), "fill": look.fill or "none"}
            return _element("circle", class_=f"dot {mark.kind}", **circle, **self.line(look)) + "/>"
        return self.label(mark, look)

    def area(self, mark: Area, look: Look) -> str:
        kinds, fill = f"area {mark.kind}", look.fill or "none"
        if mark.hatch:
            fill = f"url(#{self.name}-{_slug(mark.hatch)})"
            kinds += f" {BayState(mark.hatch).css}" if mark.kind == "bay" else ""
        head = _element(
            "polygon",
            class_=kinds,
            points=" ".join(",".join(self.at(point)) for point in mark.points),
            fill=fill,
            stroke_linejoin="round",
            **self.line(look),
            **({} if mark.bay is None else {"data_bay": str(mark.bay)}),
        )
        return f"{head}><title>{_text(mark.says)}</title></polygon>" if mark.says else f"{head}/>"

    def label(self, mark: Label, look: Look) -> str:
        x, y = self.at(mark.at)
        head = _element(
            "text",
            class_=f"label {mark.kind}",
            x=x,
            y=y,
            dy="0.36em",
            font_size=_n(mark.size),
            font_weight=look.weight,
            text_anchor=mark.anchor,
            fill=look.fill or "none",
            # A rim of paper under the letters keeps them apart from the lines they cross.
            stroke=PAPER,
            stroke_width=_n(0.28 * mark.size),
            stroke_linejoin="round",
            paint_order="stroke",
            **({"transform": f"rotate(-90 {x} {y})"} if mark.turned else {}),
        )
        return f"{head}>{_text(mark.text)}</text>"

    def pattern(self, hatch: str) -> str:
        side = PATTERN * self.drawing.text_in
        found = hatch_of(hatch)
        head = _element(
            "pattern",
            id=f"{self.name}-{_slug(hatch)}",
            width=_n(side),
            height=_n(side),
            patternUnits="userSpaceOnUse",
        )
        return f"{head}>{''.join(self.tile(found, side))}</pattern>"

    def tile(self, hatch: Hatch, side: float) -> Iterable[str]:
        yield _element("rect", width=_n(side), height=_n(side), fill=hatch.ground) + "/>"
        for x0, y0, x1, y1 in hatch.strokes:
            ends = {"x1": _n(x0 * side), "y1": _n((1 - y0) * side), "x2": _n(x1 * side), "y2": _n((1 - y1) * side)}
            yield _element("line", **ends, stroke=hatch.line, stroke_width=_n(0.08 * self.drawing.text_in)) + "/>"
        for x, y, radius in hatch.dots:
            circle = {"cx": _n(x * side), "cy": _n((1 - y) * side), "r": _n(radius * side)}
            yield _element("circle", **circle, fill=hatch.line) + "/>"


def _element(name: str, **attributes: str) -> str:
    """The open start of an element; an underscore stands for a dash, one at the end is dropped."""
    written = "".join(
        f' {attribute.rstrip("_").replace("_", "-")}="{_text(value)}"' for attribute, value in attributes.items()
    )
    return f"<{name}{written}"


def _text(value: str) -> str:
    """Escaped, without the few characters that XML cannot hold."""
    kept = "".join(
        c for c in value if (c >= " " or c in "\n\t") and c not in "\ufffe\uffff" and not "\ud800" <= c <= "\udfff"
    )
    return escape(kept)


def _slug(words: str) -> str:
    return words.replace(" ", "-")


def _n(value: float) -> str:
    """A number in as few characters as a thousandth of an inch needs."""
    return f"{round(value, 3) + 0.0:.3f}".rstrip("0").rstrip(".")
