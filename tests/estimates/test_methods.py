"""The methods page: nothing public is left untold, and what it says of the checks is what they compared."""

from __future__ import annotations

import json
import subprocess
import sys
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from lxml import html

from estimates.methods import BESIDE, MARKS, BadDocstring, Method, entries, methods, methods_page, read_sections

ROOT = Path(__file__).resolve().parents[2]

PHYSICS = [method for method in methods() if method.module not in BESIDE]


@pytest.mark.parametrize("method", PHYSICS, ids=lambda method: f"{method.module}.{method.name}")
def test_every_public_function_tells_arguments_units_result_limits_equation_source_and_example(method: Method) -> None:
    assert method.faults() == []


def test_the_page_covers_every_module_of_the_physics_and_the_money_beside_it() -> None:
    files = {path.stem for path in (ROOT / "estimates" / "physics").glob("*.py") if path.stem != "__init__"}
    told = {method.module for method in methods()}
    assert files - told <= {"condensation"}  # holds records only
    assert {"takeoff.take_off", "cost_columns.price_cents", "money.line_cents", "money.share_cents"} <= {
        f"{method.module}.{method.name}" for method in methods()
    }


def test_what_a_docstring_lacks_is_named() -> None:
    bare = Method("engine", "f", ("x",), "Does it.", {"Returns": "A number.", "Notes": "", "References": "[1]"})
    assert bare.faults() == [
        "engine.f: no Parameters",
        "engine.f: no Raises",
        "engine.f: no Notes",
        "engine.f: no Examples",
        "engine.f: argument x not told",
    ]


def test_units_strangers_and_examples_that_do_not_run_are_named() -> None:
    sections = dict.fromkeys(("Returns", "Raises", "Notes", "References"), "told")
    method = Method(
        module="engine",
        name="f",
        arguments=("x", "y", "z"),
        summary="Does it.",
        sections={"Parameters": "x : wide.\ny : [-]\nz : a word.\nq : gone.", "Examples": "f(1)", **sections},
        numbers=("x", "y"),
    )
    assert method.faults() == [
        "engine.f: q is no argument",
        "engine.f: unit of x not told",
        "engine.f: Examples hold nothing that runs",
    ]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "is empty"),
        ("Does it.\n\nUsage\n-----\nf(1)", "'Usage' is no section"),
        ("Does it.\n\nNotes\n----\nwords", "4 dashes, not 5"),
        ("Does it.\n\nNotes\n-----\nwords\n\nReturns\n-------\nx", "Returns stands too late"),
        ("Does it.\n\nNotes\n-----\nwords\n\nNotes\n-----\nx", "Notes stands too late"),
        ("Does it.\n\nNotes\n-----\n", "Notes is empty"),
    ],
)
def test_a_docstring_out_of_form_is_refused_with_the_reason(text: str, why: str) -> None:
    with pytest.raises(BadDocstring, match=why):
        read_sections(text, "engine.f")


def test_entries_go_on_over_indented_lines_and_keep_sentences() -> None:
    body = "a, b : first\n    and more. [ft]\nNothing else : is told here."
    assert entries(body) == [(("a", "b"), "first and more. [ft]"), ((), "Nothing else : is told here.")]


def test_the_page_loads_and_runs_nothing_and_its_links_lead_somewhere() -> None:
    page = html.fromstring(methods_page(methods(), ()))
    assert not page.xpath("//script | //link | //img | //iframe | //@onclick | //@src")
    ids = page.xpath("//@id")
    assert len(ids) == len(set(ids))
    assert {link.removeprefix("#") for link in page.xpath("//@href")} <= set(ids)
    assert ".. math" not in page.text_content()
    assert "`" not in "".join(page.xpath("//p//text() | //dd//text()"))


def test_the_page_prints_equations_constants_and_records() -> None:
    page = html.fromstring(methods_page(methods(), ()))
    (ela,) = page.xpath("//article[@id='airtightness-ela_in2']")
    assert "A = Q50 (pr/50)n" in ela.xpath(".//*[@class='equation']")[0].text_content()
    chapter = page.xpath("//section[@id='airtightness']")[0].text_content()
    assert "TEST_PRESSURE_PA50.0Pressure at which leakage is quoted. [Pa]" in chapter
    assert "Leakage curve Q = C dP^n of a house" in chapter


def test_the_page_holds_every_function_and_every_check_with_its_worst_deviation(tmp_path: Path) -> None:
    checks = tmp_path / "checks.json"
    # A run of its own: what one file of checks compared, as a person would ask for it.
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "tests/reference/test_finance.py"]
    subprocess.run([*command, "--checks", checks], cwd=ROOT, check=True, capture_output=True, timeout=120)
    rows = json.loads(checks.read_text(encoding="utf-8"))
    said = StringIO()
    call_command("methods", out=tmp_path / "methods.html", checks=checks, stdout=said)
    assert f"{len(methods())} functions and {len(rows)} checks" in said.getvalue()
    page = html.fromstring((tmp_path / "methods.html").read_text(encoding="utf-8"))
    heads = [heading.text_content().partition("(")[0] for heading in page.findall(".//h3")]
    assert heads == [method.name for method in methods()]
    drawn = page.xpath("//h2[@id='checks']/following-sibling::table/tbody/tr")
    assert len(drawn) == len(rows)
    assert {row["mark"] for row in rows} <= set(MARKS)
    compared = [row for row in rows if row["values"]]
    assert compared
    assert all(row["worst"] <= row["allowed"] for row in compared)


def test_a_file_of_checks_that_cannot_be_read_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    (tmp_path / "checks.json").write_text("[{}]", encoding="utf-8")
    for name in ("checks.json", "missing.json"):
        with pytest.raises(CommandError, match="Make it with"):
            call_command("methods", out=tmp_path / "methods.html", checks=tmp_path / name)
    assert not (tmp_path / "methods.html").exists()
