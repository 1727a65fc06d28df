"""README.md and DEVELOPERS.md stay true: what they show works, what they name exists."""

from __future__ import annotations

import re
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command, get_commands

from estimates.house import house_from_json
from estimates.physics.units import parse_quantity

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_house_shown_in_the_readme_gives_a_priced_paper(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("estimates.office.office_path", lambda: None)
    (shown,) = re.findall(r"```json\n(.*?)```", README, flags=re.DOTALL)
    house = house_from_json(shown, parse=parse_quantity)
    # 24 ft, and 8 ft 1 1/8 in: a precut stud of 92 5/8 in between three plates.
    assert house.walls[0].height_ft * 12 == pytest.approx(97.125)
    (tmp_path / "house.json").write_text(shown, encoding="utf-8")
    said = StringIO()
    call_command("estimate", str(tmp_path / "house.json"), out=tmp_path / "out", stdout=said)
    assert (tmp_path / "out" / "proposal.docx").exists()
    assert "$" in said.getvalue()


def test_every_command_that_the_manual_names_exists() -> None:
    known = set(get_commands()) | {"test"}
    named = set(re.findall(r"manage\.py (\w+)", README + DEVELOPERS))
    assert named - known == set()


def test_every_file_that_the_manual_names_exists() -> None:
    named = set(re.findall(r"`((?:[\w.-]+/)+[\w.-]+\.(?:py|json|toml|md|docx))`", README + DEVELOPERS))
    named |= set(re.findall(r"(fixtures/[\w./-]+\.json)", README))
    assert named
    assert [path for path in sorted(named) if not (ROOT / path).exists() and not path.startswith("var/")] == []


def test_every_module_of_the_map_exists() -> None:
    shown = DEVELOPERS.split("```")[1]
    names = set(re.findall(r"(\w+\.py)", shown))
    assert names
    present = {path.name for part in ("estimates", "jobs", "reports", "config") for path in (ROOT / part).rglob("*.py")}
    assert names - present - {"manage.py"} == set()


def test_every_setting_is_in_the_list_of_settings() -> None:
    sources = [*(ROOT / "config").glob("*.py"), ROOT / "manage.py", ROOT / "tests" / "conftest.py"]
    read = {
        name
        for path in sources
        for name in re.findall(r'"(CAVITYBOOK_\w+|DATABASE_URL)"', path.read_text(encoding="utf-8"))
    }
    listed = DEVELOPERS.split("## Settings")[1].split("\n## ")[0]
    short = set(re.findall(r"`(_[A-Z]+)`", listed))
    for name in sorted(read - {"CAVITYBOOK_ENTERED", "CAVITYBOOK_REQUEST_ID"}):
        assert name in listed or any(name.endswith(tail) for tail in short), name
