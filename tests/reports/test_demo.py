"""The demo: loads once, changes nothing the second time, stays out of somebody's work."""

from __future__ import annotations

from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command

from estimates.models import ActivityEntry, EstimateRevision, House, Rule, User
from reports.management.commands.demo import summary_table


@pytest.fixture
def var(tmp_path: Path, settings: Any) -> Path:
    settings.VAR_DIR = tmp_path
    settings.DOCUMENTS_DIR = tmp_path / "documents"
    return tmp_path


def demo(**options: Any) -> str:
    said = StringIO()
    call_command("demo", no_serve=True, stdout=said, **options)
    return said.getvalue()


def row_counts() -> dict[str, int]:
    return {model._meta.label: model.objects.count() for model in apps.get_app_config("estimates").get_models()}


def files(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*.docx")}


@pytest.mark.django_db
def test_first_run_loads_people_rules_and_houses_and_writes_a_proposal_each(var: Path) -> None:
    said = demo()
    assert House.objects.filter(is_demo=True).count() == EstimateRevision.objects.count() == 3
    assert {user.role for user in User.objects.all()} == {"owner", "salesperson", "scheduler", "crew", "bookkeeper"}
    assert Rule.objects.exists()
    papers = sorted(path.name for path in (var / "demo").glob("*.docx"))
    assert papers == ["alder-foursquare.docx", "mill-cape.docx", "quarry-split.docx"]
    for house in House.objects.all():
        assert house.name[:20] in said
    accounts = (var / "demo" / "accounts.txt").read_text(encoding="utf-8").splitlines()
    for line in accounts:
        email, password, _ = line.split("\t")
        assert User.objects.get(email=email).check_password(password)
        assert password in said
    assert (var / "demo" / "accounts.txt").stat().st_mode & 0o077 == 0


@pytest.mark.django_db
def test_second_run_writes_no_row_and_no_other_paper(var: Path) -> None:
    demo(houses=1)
    rows, papers = row_counts(), files(var)
    said = demo(houses=1)
    assert row_counts() == rows
    assert files(var) == papers
    assert "Setting up" not in said


@pytest.mark.django_db
def test_it_stays_out_of_a_database_with_somebodys_work(var: Path, house: House) -> None:
    rows = row_counts()
    for options in ({}, {"fresh": True}):
        with pytest.raises(CommandError, match="Nothing was changed"):
            demo(**options)
    assert row_counts() == rows
    assert not (var / "demo").exists()


@pytest.mark.django_db(transaction=True)
def test_fresh_empties_the_demo_and_loads_it_again(var: Path) -> None:
    demo(houses=1)
    User.objects.create_user(email="more@tamarack-hollow.example", full_name="One More", role="crew")
    demo(houses=1, fresh=True)
    assert House.objects.count() == 1
    assert not User.objects.filter(full_name="One More").exists()
    assert ActivityEntry.objects.filter(action="demo.load").count() == 1


def test_the_summary_fits_one_screen() -> None:
    row = {
        "name": "A house with a name that is far too long for its column",
        "net_ft2": 12345.6, "bays": 400, "cavity_ft3": 1234.5, "mixes": 99, "u_before": 0.2712, "u_after": 0.0833,
        "cfm50_before": 4200.0, "cfm50_after": {"p10": 2000.0, "p50": 2100.0, "p90": 2300.0},
        "saved": {"p10": 812.0, "p50": 1400.0, "p90": 2100.0}, "price_cents": 12_345_678, "margin": 0.4213,
    }  # fmt: skip
    without = row | {"u_before": None, "u_after": None, "cfm50_before": None, "cfm50_after": None}
    lines = summary_table([row, without])
    assert all(len(line) <= 120 for line in lines)
    assert "812-1400-2100" in lines[1]
    assert "$123,457" in lines[1]
