"""Words of papers about insulation: what passes, what is refused and why.

S: 16 CFR 460.20 and 460.19 as seen in public copies. The figures are those of the demo price book.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from estimates.claims import SAVINGS, paper_faults, savings_words
from estimates.pricebook import FactRow, load_book
from estimates.rules import BadRule, RuleMissing, load_rules

BOOK = load_book("standard")
# A maker's sheet may list one inch; papers may not print it.
FOAM = replace(BOOK.foam, facts=(FactRow(thickness_in=1.0, r=3.9), *BOOK.foam.facts))
PRODUCTS = (FOAM, BOOK.loose_fill)
DAY = date(2026, 11, 25)
SAVINGS_TEXT = savings_words(load_rules(), ("US",), on=DAY)


def whys(text: str) -> list[str]:
    return [fault.why for fault in paper_faults(text, *PRODUCTS, savings_text=SAVINGS_TEXT)]


@pytest.mark.parametrize(
    "text",
    [
        "Cementitious foam, injected, 3.5 in, R-13.7",
        "3.625 inches of foam: R-value 14.1.",
        "Add R-30 on 1,040 ft²: Main attic. Settled thickness 8.4 in, as blown 9.6 in.",
        "The attic holds existing rock wool, estimated at about R-11.",
        "Main attic: 860 ft² of attic floor has 5 in of loose glass fibre, estimated at about R-11.",
        "Two holes in each bay, 16 in apart, 54 plugs.",
        "Our crew saves your plaster.",
        "",
    ],
)
def test_words_of_the_fact_sheet_pass(text: str) -> None:
    assert whys(text) == []


@pytest.mark.parametrize(
    "text",
    [
        "R-3.9 per inch.",
        "An R value of 3.9 per inch of foam.",
        "R3.9/in",
        "R/inch: 3.9",
        "3.9 per inch R",
        "R-3.9 an inch",
        "R-3.9 for each inch of wall",
        "The R-value for one inch is 3.9",
    ],
)
def test_r_per_inch_is_refused(text: str) -> None:
    assert "gives an R-value per inch" in whys(text)


@pytest.mark.parametrize("text", ["3.5 in x 3.9 = R-13.7", "3.5 × R-3.9", "3.5 inches times 3.9", "R-3.9 x 3.5"])
def test_inches_times_r_is_refused(text: str) -> None:
    assert "multiplies inches and R-value" in whys(text)


@pytest.mark.parametrize(
    "text", ["R-13.7 + R-30", "R-13.7 in the wall plus R-30 above", "Total R of 44", "a combined R-value"]
)
def test_sums_of_r_are_refused(text: str) -> None:
    assert "adds R-values" in whys(text)


def test_an_r_value_of_no_sheet_is_refused_with_what_may_stand() -> None:
    (fault,) = paper_faults("Foam at R-14 in every wall.", BOOK.foam, savings_text=SAVINGS_TEXT)
    assert (fault.excerpt, fault.why) == ("R-14", "is on no fact sheet named here")
    assert "R-13.7, R-14.1" in fault.ask
    assert str(fault).startswith("'R-14': is on no fact sheet")


def test_a_listed_r_value_at_another_thickness_is_refused() -> None:
    assert whys("Foam, 3.0 in, R-13.7") == ["gives a listed R-value at another thickness"]
    assert whys("Loose fill 9.6 in as blown, R-38") == ["gives a listed R-value at another thickness"]


def test_the_line_of_one_inch_may_not_be_printed() -> None:
    # S: 16 CFR 460.20, "do not give the R-value for one inch".
    assert whys("Foam, 1 in, R-3.9") == ["gives the R-value for one inch"]
    assert whys("Foam, 2 in, R-7.8") == []


def test_new_insulation_cannot_hide_behind_the_word_estimated() -> None:
    assert whys("Foam, estimated R-14.") == ["is on no fact sheet named here"]


@pytest.mark.parametrize(
    "text",
    [
        "You save $420 a year.",
        "Savings of 15 to 25 % of your heating.",
        "About 30 percent of the bill is saved.",
        "It saves 120 therms a year",
    ],
)
def test_savings_need_their_words(text: str) -> None:
    assert whys(text) == ["claims savings without the words that go with them"]
    curly = SAVINGS_TEXT.replace("'", "’").replace("R-values. Higher", "R-values.\nHigher")
    assert whys(f"{text}\n{curly}") == []


def test_the_words_may_come_from_a_rule_row() -> None:
    assert paper_faults("You save $4. Other words.", BOOK.foam, savings_text="Other words.") == ()


def test_the_words_beside_savings_are_those_of_the_regulation() -> None:
    # S: 16 CFR 460.19, by the row that was compared with a public copy.
    assert SAVINGS_TEXT == (
        "Savings vary. Find out why in the seller's fact sheet on R-values. Higher R-values mean greater insulating "
        "power."
    )


def test_without_a_rule_there_are_no_words_beside_savings() -> None:
    with pytest.raises(RuleMissing, match=r"no rule on savings\.text for US"):
        savings_words((), ("US",), on=DAY)
    row = next(row for row in load_rules() if row.topic == SAVINGS)
    with pytest.raises(BadRule, match="enter the words as a text"):
        savings_words([replace(row, value=" ")], ("US",), on=DAY)
