"""Equations of the docstrings, written in TeX, as text that any browser and any printer shows."""

from __future__ import annotations

import re
from html import escape

_SIGNS = {
    "alpha": "α", "beta": "β", "gamma": "γ", "delta": "δ", "eta": "η", "theta": "θ", "lambda": "λ", "mu": "μ",
    "nu": "ν", "rho": "ρ", "sigma": "σ", "tau": "τ", "varphi": "φ", "Gamma": "Γ", "Delta": "Δ", "Sigma": "Σ",
    "sum": "∑", "prod": "∏", "nabla": "∇", "partial": "∂", "infty": "∞", "cdot": "·", "times": "×", "pm": "±",
    "sim": "∼", "ge": "≥", "le": "≤", "approx": "≈", "ldots": "…", "lceil": "⌈", "rceil": "⌉", "lfloor": "⌊",
    "rfloor": "⌋", "min": "min", "max": "max", "exp": "exp", "ln": "ln", "log": "log", "left": "", "right": "",
    ",": " ", ";": " ", " ": " ", "quad": "\u2003", "qquad": "\u2003\u2003",
}  # fmt: skip
"""Commands without arguments and how they are shown."""

_ACCENTS = {"bar": "\u0304", "hat": "\u0302"}
"""Commands that set a sign over one letter, and the sign, which follows its letter."""

_PIECE = re.compile(r"\\([A-Za-z]+|[^A-Za-z])|([{}^_])|\s+|([^\\{}^_\s])")


class BadEquation(ValueError):
    """An equation with a command that is not known here, or with braces that do not close."""


def equation_html(tex: str) -> str:
    r"""An equation as HTML text with subscripts and superscripts.

    Parameters
    ----------
    tex : the equation, in the part of TeX that the docstrings use.

    Returns
    -------
    HTML. A fraction is a `span` of class "fraction" whose slash, of class "bar", a style may draw as a line.

    Raises
    ------
    BadEquation : an unknown command, a brace or an argument that is missing.

    Examples
    --------
    >>> equation_html(r"Q_{50} = C \, \Delta p^n")
    'Q<sub>50</sub> = C Δp<sup>n</sup>'
    >>> equation_html(r"x = \frac{1}{2}")
    'x = <span class="fraction"><span>1</span><span class="bar">/</span><span>2</span></span>'
    """
    reader = _Reader(tex)
    shown = reader.group(until=None)
    return re.sub(r" *(\u2003+) *| +", lambda gap: gap[1] or " ", shown).strip()


class _Reader:
    """Reads an equation from left to right."""

    def __init__(self, tex: str) -> None:
        self.tex = tex
        self.pieces = list(_PIECE.finditer(tex))
        self.at = 0

    def group(self, until: str | None) -> str:
        """Everything up to a closing brace, or to the end."""
        shown: list[str] = []
        while self.at < len(self.pieces):
            piece = self.pieces[self.at][0]
            if piece == "}" and until == "}":
                self.at += 1
                return "".join(shown)
            shown.append(self.one())
        if until is not None:
            raise BadEquation(f"{self.tex!r} lacks a closing brace")
        return "".join(shown)

    def one(self) -> str:
        """The next letter, sign, group or command with its arguments."""
        if self.at >= len(self.pieces):
            raise BadEquation(f"{self.tex!r} ends where an argument should stand")
        found = self.pieces[self.at]
        self.at += 1
        command, structure = found[1], found[2]
        if command is not None:
            return self.command(command)
        if structure == "{":
            return self.group(until="}")
        if structure == "}":
            raise BadEquation(f"{self.tex!r} has a closing brace too many")
        if structure is not None:
            tag = "sub" if structure == "_" else "sup"
            return f"<{tag}>{self.argument()}</{tag}>"
        return " " if found[0].isspace() else escape("−" if found[0] == "-" else found[0])

    def argument(self) -> str:
        """What a command or a subscript applies to: the next piece that is not a space."""
        while self.at < len(self.pieces) and self.pieces[self.at][0].isspace():
            self.at += 1
        return self.one()

    def command(self, name: str) -> str:
        if name in ("frac", "tfrac"):
            over, under = self.argument(), self.argument()
            bar = '<span class="bar">/</span>'
            return f'<span class="fraction"><span>{over}</span>{bar}<span>{under}</span></span>'
        if name == "sqrt":
            return f"√{_bracketed(self.argument())}"
        if name in ("mathrm", "text"):
            return self.argument()
        if name == "overline":
            return f'<span class="over">{self.argument()}</span>'
        if name in _ACCENTS:
            return self.argument() + _ACCENTS[name]
        if name not in _SIGNS:
            raise BadEquation(f"{self.tex!r} holds \\{name}, which is not known; add it to the signs")
        if name == "Delta" and self.at < len(self.pieces) and self.pieces[self.at][0].isspace():
            self.at += 1  # a difference and what differs are one word
        return _SIGNS[name]


def _bracketed(shown: str) -> str:
    """With brackets, unless it is one thing already."""
    plain = re.sub(r"<su[bp]>.*?</su[bp]>", "", shown)
    return shown if re.fullmatch(r"[\w.\u0302\u0304]+", plain) else f"({shown})"
