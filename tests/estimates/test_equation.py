"""Equations of the docstrings as text."""

from __future__ import annotations

import pytest

from estimates.equation import BadEquation, equation_html


@pytest.mark.parametrize(
    ("tex", "shown"),
    [
        (r"U = \sum_i f_i / R_i", "U = ∑<sub>i</sub> f<sub>i</sub> / R<sub>i</sub>"),
        (r"(1 + d)^{-n}", "(1 + d)<sup>−n</sup>"),
        (r"a, \quad b", "a,\u2003b"),
        (r"Q \, (50 / \Delta p)^n", "Q (50 / Δp)<sup>n</sup>"),
        (r"\sqrt{x}", "√x"),
        (r"\sqrt{x + y_1}", "√(x + y<sub>1</sub>)"),
        (r"\bar y + \hat y_i", "y\u0304 + y\u0302<sub>i</sub>"),
        (r"\mathrm{var}(S)", "var(S)"),
        (r"t < 0", "t &lt; 0"),
        (
            r"\left(\frac{1+e}{d}\right)^n",
            '(<span class="fraction"><span>1+e</span><span class="bar">/</span><span>d</span></span>)<sup>n</sup>',
        ),
    ],
)
def test_an_equation_reads_as_people_write_it(tex: str, shown: str) -> None:
    assert equation_html(tex) == shown


@pytest.mark.parametrize(
    ("tex", "why"),
    [
        (r"\wombat x", "not known"),
        (r"a^{2", "closing brace"),
        (r"a}", "too many"),
        (r"\frac{1}", "ends where"),
        (r"x_", "ends where"),
    ],
)
def test_an_equation_that_cannot_be_read_is_refused_with_the_reason(tex: str, why: str) -> None:
    with pytest.raises(BadEquation, match=why):
        equation_html(tex)
