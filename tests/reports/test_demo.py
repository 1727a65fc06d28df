"""The demo: loads once, changes nothing the second time, stays out of somebody's work."""

from __future__ import annotations

from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from django.utils import timezone

from estimates.models import ActivityEntry, EstimateRevision, House, Rule, User
from estimates.models.lead import Lead, LeadMove, LeadStage
from estimates.models.pricebook import PriceBookVersion
from reports.management.commands.demo import summary_table

PAPERS = 2
"""How many proposals a start writes here; each takes a second or more."""


@pytest.fixture
def var(tmp_path: Path, settings: Any, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr("reports.management.commands.demo.MOST_PAPERS", PAPERS)
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
def test_first_run_loads_people_rules_houses_and_leads_and_writes_a_few_proposals(var: Path) -> None:
    said = demo()
    assert House.objects.filter(is_demo=True).count() == EstimateRevision.objects.count() == 60
    assert Lead.objects.filter(is_demo=True).count() == 60
    assert set(Lead.objects.values_list("stage", flat=True)) == set(LeadStage.values)
    assert {user.role for user in User.objects.all()} == {"owner", "salesperson", "scheduler", "crew", "bookkeeper"}
    assert Rule.objects.exists()
    assert PriceBookVersion.objects.count() == 1
    papers = sorted(path.stem for path in (var / "demo").glob("*.docx"))
    assert len(papers) == PAPERS
    # Only of houses that were offered something.
    assert set(papers) <= set(
        LeadMove.objects.filter(stage=LeadStage.PROPOSED).values_list("lead__house__reference", flat=True)
    )
    for house in House.objects.all():
        assert house.name[:20] in said
    accounts = (var / "demo" / "accounts.txt").read_text(encoding="utf-8").splitlines()
    for line in accounts:
        email, password, _ = line.split("\t")
        assert User.objects.get(email=email).check_password(password)
        assert password in said
    assert (var / "demo" / "accounts.txt").stat().st_mode & 0o077 == 0


@pytest.mark.django_db
def test_second_run_writes_no_row_and_no_other_paper_even_in_another_month(
    var: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    demo(houses=3)
    rows, papers = row_counts(), files(var)
    later = timezone.now() + timedelta(days=40)
    monkeypatch.setattr("reports.management.commands.demo.timezone.now", lambda: later)
    said = demo(houses=3)
    assert row_counts() == rows
    assert files(var) == papers
    assert "Setting up" not in said
    assert "House 1 of" not in said


@pytest.mark.django_db
def test_a_longer_run_brings_only_the_houses_that_are_missing(var: Path) -> None:
    demo(houses=1)
    said = demo(houses=2)
    assert "House 1 of" not in said
    assert "House 2 of 2" in said
    assert House.objects.count() == Lead.objects.count() == 2


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
