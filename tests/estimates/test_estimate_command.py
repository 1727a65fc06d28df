"""`python3 manage.py estimate` and `house_schema`: the outside contract."""

from __future__ import annotations

import hashlib
import json
from io import StringIO
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from django.core.management import CommandError, call_command

HOUSES = Path(__file__).resolve().parents[2] / "fixtures" / "houses"


def run(house: Path, out: Path, **options: Any) -> str:
    said = StringIO()
    call_command("estimate", str(house), out=out, stdout=said, **options)
    return said.getvalue()


def refused(house: Path, out: Path, **options: Any) -> list[str]:
    """The lines of a refusal, which must have code 2 and leave nothing behind."""
    said = StringIO()
    with pytest.raises(CommandError) as caught:
        call_command("estimate", str(house), out=out, stdout=StringIO(), stderr=said, **options)
    assert caught.value.returncode == 2
    assert not out.exists()
    assert [path.name for path in out.parent.iterdir() if path.name.startswith(".estimate")] == []
    return [*said.getvalue().splitlines(), str(caught.value)]


@pytest.fixture(autouse=True)
def _no_office(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Starting LibreOffice takes seconds; only the test that asks for it waits."""
    if "libreoffice" not in request.fixturenames:
        monkeypatch.setattr("estimates.office.office_path", lambda: None)


@pytest.mark.libreoffice
def test_a_pdf_stands_beside_the_paper_where_libreoffice_is_there(tmp_path: Path, libreoffice: str) -> None:
    run(HOUSES / "mill-cape.json", tmp_path / "out")
    assert (tmp_path / "out" / "proposal.pdf").read_bytes().startswith(b"%PDF-")


def test_a_pdf_of_an_earlier_run_does_not_outlive_its_proposal(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "proposal.pdf").write_bytes(b"old")
    run(HOUSES / "mill-cape.json", tmp_path / "out")
    assert not (tmp_path / "out" / "proposal.pdf").exists()


def digests(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.glob("*.json"))}


@pytest.fixture
def altered(tmp_path: Path) -> Any:
    """A demo house with a change made to its JSON form."""

    def alter(change: Any, name: str = "mill-cape") -> Path:
        raw = json.loads((HOUSES / f"{name}.json").read_text(encoding="utf-8"))
        change(raw)
        path = tmp_path / "house.json"
        path.write_text(json.dumps(raw), encoding="utf-8")
        return path

    return alter


def test_it_writes_the_three_files_and_the_paper(tmp_path: Path) -> None:
    said = run(HOUSES / "mill-cape.json", tmp_path / "out")
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"takeoff.json", "performance.json", "estimate.json", "proposal.docx"} <= names
    estimate = json.loads((tmp_path / "out" / "estimate.json").read_text(encoding="utf-8"))
    (option,) = estimate["options"]
    assert option["price_cents"] == sum(line["price_cents"] for line in option["lines"])
    assert f"${option['price_cents'] / 100:,.2f}" in said


def test_the_same_input_and_seed_give_the_same_bytes_and_another_seed_does_not(tmp_path: Path) -> None:
    for name, seed in (("a", 7), ("b", 7), ("c", 8)):
        run(HOUSES / "alder-foursquare.json", tmp_path / name, seed=seed)
    assert digests(tmp_path / "a") == digests(tmp_path / "b")
    assert digests(tmp_path / "a")["performance.json"] != digests(tmp_path / "c")["performance.json"]
    assert digests(tmp_path / "a")["takeoff.json"] == digests(tmp_path / "c")["takeoff.json"]


def test_quantities_with_their_unit_mean_the_same_as_numbers(tmp_path: Path, altered: Any) -> None:
    def spell(raw: dict[str, Any]) -> None:
        raw["walls"][0]["length_ft"] = "32' 0\""
        raw["walls"][0]["height_ft"] = "8 ft 1 1/8 in"
        raw["walls"][1]["depth_in"] = "8.89 cm"
        raw["attics"][0]["target_r"] = "R-49"

    run(HOUSES / "mill-cape.json", tmp_path / "plain")
    run(altered(spell), tmp_path / "spelled")
    assert digests(tmp_path / "plain") == digests(tmp_path / "spelled")


def test_every_fault_is_a_line_with_its_path_and_nothing_is_written(tmp_path: Path, altered: Any) -> None:
    def break_it(raw: dict[str, Any]) -> None:
        raw["walls"][0]["length_ft"] = "eight feet"
        raw["walls"][0]["openings"][0]["width_in"] = -3
        raw["colour"] = "blue"

    lines = refused(altered(break_it), tmp_path / "out")
    assert [line.split(":")[0] for line in lines[:3]] == [
        "$.colour",
        "$.walls[0].length_ft",
        "$.walls[0].openings[0].width_in",
    ]
    assert lines[-1] == "3 faults; nothing was written."


def test_a_file_that_is_not_there_and_a_book_that_is_not_there_are_named(tmp_path: Path) -> None:
    assert "no such file" in refused(tmp_path / "none.json", tmp_path / "out")[0]
    assert "enter one of" in refused(HOUSES / "mill-cape.json", tmp_path / "out", price_book="gold")[0]


def test_text_that_is_not_utf_8_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "house.json"
    path.write_bytes(b"\xff\xfe{}")
    assert "UTF-8" in refused(path, tmp_path / "out")[0]


def test_an_out_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("here", encoding="utf-8")
    with pytest.raises(CommandError, match="is a file"):
        run(HOUSES / "mill-cape.json", tmp_path / "out")
    assert (tmp_path / "out").read_text(encoding="utf-8") == "here"


def test_house_schema_prints_a_schema_that_takes_the_demo_houses() -> None:
    said = StringIO()
    call_command("house_schema", stdout=said)
    schema = json.loads(said.getvalue())
    for path in HOUSES.glob("*.json"):
        jsonschema.Draft202012Validator(schema).validate(json.loads(path.read_text(encoding="utf-8")))


def test_a_paper_of_very_many_walls_is_not_printed_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("estimates.management.commands.estimate.MOST_WALLS_PRINTED", 1)
    monkeypatch.setattr("estimates.office.office_path", lambda: "/never/called")
    said = run(HOUSES / "mill-cape.json", tmp_path / "out")
    assert "no PDF: the paper tells of more than 1 walls" in said
    assert (tmp_path / "out" / "proposal.docx").exists()
