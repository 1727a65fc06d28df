"""The picture that an infrared camera should show of a wall, to scale, as SVG without a style of its own."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape

from estimates.linework import INK, PAPER, QUIET, TEXT_FONT, bounds, clip_convex, label_width
from estimates.physics.conduction import StripKind
from estimates.physics.framing import WallLayout
from estimates.physics.sweep import Polygon, rectangle
from estimates.physics.validity import OutOfRange, positive
from jobs.infrared import Expected

COLOURS = (
    ("#2b364b", PAPER),
    ("#465570", PAPER),
    ("#6f7f92", PAPER),
    ("#a9b4b6", INK),
    ("#d8d3c0", INK),
    ("#eac9a0", INK),
    ("#d9966a", INK),
)
"""Fill and letters of the steps, cold to warm: slate to copper."""

WORDS: Mapping[StripKind, str] = {
    StripKind.STUD: "studs and plates",
    StripKind.EMPTY: "unfilled bay",
    StripKind.BATT: "old insulation only",
    StripKind.FILLED: "sound foam",
    StripKind.VOID: "what a void would show",
}
"""Words of the key."""

TEXT_SHARE = 0.026
"""Size of letters over the width of the picture: 11 px where it is shown 420 px wide. [1]"""

LEAST_WIDTH_IN = 144.0
"""A shorter wall keeps the scale of one of this length. [in]"""


@dataclass(frozen=True, slots=True)
class VoidPart:
    """A part of a bay drawn as a void: between two heights. [in]"""

    bay: int
    low_in: float
    high_in: float


@dataclass(frozen=True, slots=True)
class _Patch:
    polygon: Polygon
    kind: StripKind
    seen_f: float
    says: str
    labelled: bool = True


def picture(
    layout: WallLayout,
    seen: Expected,
    *,
    title: str,
    width: float = 640.0,
    parts: Sequence[VoidPart] = (),
    from_inside: bool = True,
    key: str = "infrared",
) -> str:
    """Draw the expected picture of a wall.

    Parameters
    ----------
    layout : the wall as found. [in]
    seen : its temperatures, from `jobs.infrared.expected`.
    title : name of the picture for people who cannot see it.
    width : width at which it is shown, > 0. [CSS px]
    parts : parts of bays to draw as voids, where the balance suspects them. [in]
    from_inside : whether it is seen from the room, left and right exchanged against the elevation.
    key : begins every id; give one where several stand on a page.

    Returns
    -------
    SVG text. Classes: `infrared` on the whole, `step-1` (coldest) to `step-7` on patches, `void` on voids.

    Raises
    ------
    OutOfRange : a width that is not above 0, a part of a bay that the wall does not have or outside it.

    Notes
    -----
    Seven equal steps from the coldest to the warmest patch; the key gives each in degrees and in words, and every bay
    that has room for it shows its degrees.

    Examples
    --------
    >>> from estimates.house import WallRecord
    >>> from estimates.physics.framing import lay_out
    >>> from jobs.infrared import Air, Makeup, expected
    >>> wall = WallRecord(id="w", name="North", length_ft=8.0, height_ft=8.0)
    >>> found = lay_out(wall)
    >>> seen = expected(found, {}, Makeup.of(wall, filled_r=13.7), Air(68.0, 30.0))
    >>> picture(found, seen, title="North").count("unfilled, about")
    6
    """
    positive("width", float(width))
    crossed = {part.bay for part in parts}
    patches = [*_framing(layout, seen), *_bays(layout, seen, crossed), *_voids(layout, seen, parts)]
    return _Sheet(layout, seen, patches, from_inside, key).svg(title, width)


def _framing(layout: WallLayout, seen: Expected) -> Iterable[_Patch]:
    for member in layout.members:
        inside = clip_convex(member.polygon, layout.face)
        if len(inside) >= 3:
            yield _Patch(inside, StripKind.STUD, seen.stud_f, f"{member.kind}, about {seen.stud_f:.1f} degF", False)
    for zone in layout.no_fill:
        inside = clip_convex(zone, layout.face)
        if len(inside) >= 3:
            yield _Patch(inside, StripKind.EMPTY, seen.empty_f, f"never filled, about {seen.empty_f:.1f} degF", False)


_SAID = {StripKind.FILLED: "filled", StripKind.VOID: "doubtful, shown as a void", StripKind.BATT: "old insulation only"}


def _bays(layout: WallLayout, seen: Expected, crossed: Collection[int]) -> Iterable[_Patch]:
    bays = {bay.number: bay for bay in layout.bays}
    for each in seen.bays:
        bay = bays[each.number]
        says = f"Bay {bay.number}, {_SAID.get(each.kind, 'unfilled')}, about {each.mean_f:.1f} degF"
        yield _Patch(bay.outline, each.kind, each.mean_f, says, bay.number not in crossed)


def _voids(layout: WallLayout, seen: Expected, parts: Sequence[VoidPart]) -> Iterable[_Patch]:
    bays = {bay.number: bay for bay in layout.bays}
    for i, part in enumerate(parts):
        if part.bay not in bays:
            raise OutOfRange(f"parts[{i}].bay", part.bay, "a bay that the wall has")
        bay = bays[part.bay]
        low, high = max(part.low_in, bay.bottom_in), min(part.high_in, bay.top_in)
        if not low < high:
            asked = f"heights within {bay.bottom_in:g} to {bay.top_in:g} in"
            raise OutOfRange(f"parts[{i}].low_in", f"{part.low_in:g} to {part.high_in:g}", asked)
        inside = clip_convex(bay.outline, rectangle("", bay.left_in - 1, low, bay.right_in + 1, high).polygon)
        says = f"Bay {bay.number} from {low:.0f} to {high:.0f} in, shown as a void, about {seen.void_f:.1f} degF"
        yield _Patch(inside, StripKind.VOID, seen.void_f, says)


class _Sheet:
    """Scale, steps and key of one picture."""

    def __init__(
        self, layout: WallLayout, seen: Expected, patches: Sequence[_Patch], from_inside: bool, key: str
    ) -> None:
        self.layout, self.seen, self.patches, self.name = layout, seen, patches, key
        self.left, self.low, self.right, self.high = bounds(layout.face)
        self.from_inside = from_inside
        self.wide = max(self.right - self.left, LEAST_WIDTH_IN)
        self.text = TEXT_SHARE * self.wide
        degrees = [patch.seen_f for patch in patches]
        self.least, self.most = min(degrees), max(degrees)

    def step(self, seen_f: float) -> int:
        """Step of a temperature, 0 the coldest."""
        if self.most - self.least < 0.05:
            return len(COLOURS) - 1
        return min(int((seen_f - self.least) / (self.most - self.least) * len(COLOURS)), len(COLOURS) - 1)

    def x(self, at: float) -> float:
        return self.right - at if self.from_inside else at - self.left

    def y(self, at: float) -> float:
        return self.high - at + 0.5 * self.text

    def svg(self, title: str, width: float) -> str:
        rows = list(self.key())
        foot = self.y(self.low) + self.text
        tall = foot + 1.6 * self.text * len(rows) + 0.4 * self.text
        says = " ".join(f"{words}." for words in [*(row[1] for row in rows), self.seen.words])
        lines = [
            f'<svg xmlns="http://www.w3.org/2000/svg" class="infrared" id="{escape(self.name)}" width="{_n(width)}"'
            f' height="{_n(width * tall / self.wide)}" viewBox="0 0 {_n(self.wide)} {_n(tall)}" role="img"'
            f' aria-labelledby="{escape(self.name)}-title {escape(self.name)}-desc"'
            f" font-family=\"'{TEXT_FONT}', sans-serif\">",
            f'<title id="{escape(self.name)}-title">{escape(title)}</title>',
            f'<desc id="{escape(self.name)}-desc">{escape(says)}</desc>',
            *(self.patch(each) for each in self.patches),
            *(self.polygon(hole, "opening", PAPER, "Opening, not judged") for hole in self.layout.openings),
            *(label for each in self.patches for label in self.degrees(each)),
        ]
        for number, (step, words) in enumerate(rows):
            y = foot + (1.6 * number + 0.8) * self.text
            if step is not None:
                lines.append(
                    f'<rect class="step-{step + 1}" x="0" y="{_n(y - 0.6 * self.text)}" width="{_n(1.8 * self.text)}"'
                    f' height="{_n(1.2 * self.text)}" fill="{COLOURS[step][0]}" stroke="{INK}"'
                    f' stroke-width="{_n(0.06 * self.text)}"/>'
                )
            x = 0.0 if step is None else 2.4 * self.text
            lines.append(self.words(x, y, words, INK, anchor="start", kind="key"))
        return "\n".join([*lines, "</svg>"])

    def where(self) -> tuple[str, str]:
        side = "Seen from the room: left and right exchanged" if self.from_inside else "Drawn as seen from outside"
        return side, f"{self.seen.air.t_in_f:g} degF inside, {self.seen.air.t_out_f:g} degF outside"

    def key(self) -> Iterable[tuple[int | None, str]]:
        """Step and words of each row of the key; steps that nothing falls into are left out."""
        yield from ((None, words) for words in self.where())
        span = (self.most - self.least) / len(COLOURS)
        for step in range(len(COLOURS)):
            kinds = {patch.kind for patch in self.patches if self.step(patch.seen_f) == step}
            if kinds:
                named = ", ".join(WORDS[kind] for kind in StripKind if kind in kinds)
                low = self.least + step * span if span >= 0.01 else self.least
                yield step, f"{low:.1f} to {low + span:.1f} degF: {named}"

    def patch(self, each: _Patch) -> str:
        step = self.step(each.seen_f)
        kind = f"step-{step + 1}" + (" void" if each.kind is StripKind.VOID else "")
        return self.polygon(each.polygon, kind, COLOURS[step][0], each.says, void=each.kind is StripKind.VOID)

    def polygon(self, corners: Polygon, kind: str, fill: str, says: str, *, void: bool = False) -> str:
        points = " ".join(f"{_n(self.x(x))},{_n(self.y(y))}" for x, y in corners)
        # A void has a heavy broken rim, so that it does not hang on colour alone.
        dash = f' stroke-dasharray="{_n(0.5 * self.text)} {_n(0.3 * self.text)}"' if void else ""
        pen = f'stroke="{INK if void else QUIET}" stroke-width="{_n((0.2 if void else 0.05) * self.text)}"{dash}'
        return f'<polygon class="{kind}" points="{points}" fill="{fill}" {pen}><title>{escape(says)}</title></polygon>'

    def degrees(self, each: _Patch) -> Iterable[str]:
        """Its temperature in the middle of a patch that has room for it, across or upright."""
        words = f"{each.seen_f:.0f}°"
        left, low, right, high = bounds(each.polygon)
        long, tall = 1.1 * label_width(words, self.text), 1.3 * self.text
        across = right - left >= long and high - low >= tall
        if not each.labelled or not (across or (high - low >= long and right - left >= tall)):
            return
        at = self.x((left + right) / 2), self.y((low + high) / 2)
        fill = COLOURS[self.step(each.seen_f)][1]
        yield self.words(*at, words, fill, anchor="middle", kind="degrees", turned=not across)

    def words(self, x: float, y: float, said: str, fill: str, *, anchor: str, kind: str, turned: bool = False) -> str:
        turn = f' transform="rotate(-90 {_n(x)} {_n(y)})"' if turned else ""
        return (
            f'<text class="{kind}" x="{_n(x)}" y="{_n(y)}" dy="0.36em" font-size="{_n(self.text)}"'
            f' text-anchor="{anchor}" fill="{fill}"{turn}>{escape(said)}</text>'
        )


def _n(value: float) -> str:
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")
