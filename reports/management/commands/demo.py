"""`python3 manage.py demo`: set up, load the scenario, write proposals, show a summary, serve on this machine."""

from __future__ import annotations

import argparse
import errno
import json
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

if TYPE_CHECKING:
    from estimates.models import EstimateRevision, User
    from estimates.pricebook import PriceBook
    from reports.scenario import Scenario

MOST_PAPERS = 3
"""Proposals written at the start; those of the other houses are written when somebody asks for them."""

SEED = 1


class Command(BaseCommand):
    """Everything a newcomer needs to see the program at work."""

    help = "Set up the database, load the invented firm and its houses, write their proposals and serve the pages."
    requires_system_checks = ()

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="end after the summary")
        parser.add_argument("--port", type=_port, default=8000, help="port on this machine (default 8000)")
        parser.add_argument("--houses", type=_count, default=None, metavar="N", help="only the first N houses")
        parser.add_argument("--fresh", action="store_true", help="empty the demo database first")

    def handle(self, *args: Any, **options: Any) -> None:
        # Loading settings and apps must come first, so these come here.
        from estimates.pricebook import load_book
        from reports import scenario

        started = time.monotonic()
        now = timezone.now()
        folder = settings.VAR_DIR / "demo"
        self._prepare(fresh=options["fresh"])
        accounts = scenario.people_load(now=now, accounts_file=folder / "accounts.txt")
        scenario.rules_load(now=now)
        book = load_book("standard")
        story = scenario.load_scenario(scenario.calendar(now=now), options["houses"])
        revisions = self._houses(story, book)
        proposed = [revision for house, revision in zip(story.houses, revisions, strict=True) if house.has_proposal]
        for revision in proposed[:MOST_PAPERS]:
            self._paper(revision, folder)
        rows = [summary_row(json.loads(revision.snapshot)) for revision in revisions]
        self.stdout.write("")
        for line in summary_table(rows):
            self.stdout.write(line)
        self.stdout.write(f"\nProposals: {_shown(folder)}")
        self.stdout.write("Sign in with (demo only, kept in var/demo/accounts.txt):")
        for account in accounts:
            self.stdout.write(f"  {account.role:<12} {account.email:<34} {account.password}")
        self.stdout.write(f"Ready in {time.monotonic() - started:.1f} s.")
        if not options["no_serve"]:
            self._serve(options["port"])

    def _prepare(self, *, fresh: bool) -> None:
        from django.db import connection
        from django.db.migrations.executor import MigrationExecutor

        from reports import scenario

        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            self.stdout.write("Setting up the database ...")
            call_command("migrate", verbosity=0, interactive=False)
        if fresh and not scenario.is_empty_database():
            if not scenario.is_demo_database():
                raise CommandError(
                    "This database is not a demo: it holds houses or people of somebody's work. Nothing was changed. "
                    "Set CAVITYBOOK_VAR to another folder (or DATABASE_URL to another database) and start again."
                )
            self.stdout.write("Emptying the demo database ...")
            call_command("flush", verbosity=0, interactive=False)
        elif not scenario.is_empty_database() and not scenario.is_demo_database():
            raise CommandError(
                "This database holds somebody's work, so the demo stays out of it. Nothing was changed. "
                "Set CAVITYBOOK_VAR to another folder (or DATABASE_URL to another database) and start again."
            )

    def _houses(self, story: Scenario, book: PriceBook) -> list[EstimateRevision]:
        """The newest estimate of each house; what is not there yet is brought."""
        from django.db import transaction

        from estimates.models import Role, User
        from estimates.price_books import price_book_publish
        from estimates.snapshot import take_snapshot
        from reports import scenario
        from reports.scenario_proposals import proposal_load
        from reports.scenario_story import EARLIEST

        owner = User.objects.filter(role=Role.OWNER).order_by("id")[0]
        price_book_publish(book=book, by=owner, now=story.days.time(EARLIEST), origin=scenario.ORIGIN)
        sources = scenario.sources_load(story, by=owner)
        revisions = []
        for number, house in enumerate(story.houses, 1):
            loaded = scenario.loaded_revision(house.record, book, seed=SEED)
            if loaded is None:
                self.stdout.write(f"House {number} of {len(story.houses)}: {house.record.name} ...")
                snapshot = take_snapshot(house.record, book, seed=SEED)
                with transaction.atomic():
                    lead = scenario.lead_load(house, story.days, sources=sources, owner=owner)
                    scenario.assessment_load(house, story.days, lead=lead)
                    at = house.priced_at(story.days)
                    loaded = scenario.estimate_load(snapshot=snapshot, by=lead.seller, now=at)
                    proposal_load(house, story.days, lead=lead, revision=loaded, owner=owner)
            revisions.append(loaded)
        self._jobs(story, owner)
        return revisions

    def _jobs(self, story: Scenario, owner: User) -> None:
        """Crews, and the jobs of the houses that were signed."""
        from reports.scenario_crews import crews_load
        from reports.scenario_plan import weeks_planned
        from reports.scenario_work import jobs_load

        crews = crews_load(story.days, by=owner)
        self.stdout.write("Jobs, invoices and payments ...")
        if jobs_load(story, crews=crews, owner=owner):
            weeks_planned(by=owner, now=timezone.now())

    def _paper(self, revision: EstimateRevision, folder: Path) -> None:
        from estimates.papers import proposal_file

        copy = folder / f"{revision.house.reference}.docx"
        known = copy.exists()
        if not known:
            self.stdout.write(f"Proposal of {revision.house.name} ...")
        paper = proposal_file(revision).read_bytes()
        if not known or copy.read_bytes() != paper:
            folder.mkdir(parents=True, exist_ok=True)
            copy.write_bytes(paper)

    def _serve(self, port: int) -> None:
        from django.core.servers.basehttp import WSGIServer, get_internal_wsgi_application, run

        self.stdout.write(f"\nServing on http://127.0.0.1:{port}/ - stop with Ctrl-C.")
        try:
            run("127.0.0.1", port, get_internal_wsgi_application(), ipv6=False, threading=True, server_cls=WSGIServer)
        except KeyboardInterrupt:
            self.stdout.write("\nStopped.")
        except OSError as error:
            if error.errno != errno.EADDRINUSE:
                raise
            raise CommandError(f"Port {port} is taken on this machine. Start with --port {port + 1}.") from None


def _port(text: str) -> int:
    if text.isdigit() and 1 <= int(text) <= 65535:
        return int(text)
    raise argparse.ArgumentTypeError(f"{text!r} is not a port; enter a number from 1 to 65535")


def _count(text: str) -> int:
    if text.isdigit() and int(text) >= 1:
        return int(text)
    raise argparse.ArgumentTypeError(f"{text!r} is not a number of houses; enter 1 or more")


def _shown(folder: Path) -> str:
    """A path as short as it can be said from here."""
    try:
        return f"{folder.relative_to(Path.cwd())}"
    except ValueError:
        return f"{folder}"


def summary_row(forms: dict[str, dict[str, Any]]) -> dict[str, Any]:
    """What one house comes to, from the forms of its snapshot; its first option counts."""
    walls = [wall for wall in forms["takeoff"]["walls"] if wall["priced"]]
    outcome, priced = forms["performance"]["options"][0], forms["estimate"]["options"][0]
    surfaces = [s for s in outcome["surfaces"] if s["id"] in {wall["id"] for wall in walls}]
    area = sum(surface["area_ft2"] for surface in surfaces)

    def mean(key: str) -> float | None:
        return sum(s[key] * s["area_ft2"] for s in surfaces) / area if area else None

    return {
        "name": forms["house"]["name"],
        "net_ft2": sum(wall["net_ft2"] for wall in walls),
        "bays": sum(wall["reachable_bay_count"] for wall in walls),
        "cavity_ft3": sum(wall["cavity_ft3"] for wall in walls),
        "mixes": priced["mixes_bought"],
        "u_before": mean("u_before"),
        "u_after": mean("u_after"),
        "cfm50_before": outcome["cfm50_before"],
        "cfm50_after": outcome["cfm50_after"],
        "saved": outcome["saved_dollars"],
        "price_cents": priced["price_cents"],
        "margin": priced["margin"],
    }


def summary_table(rows: list[dict[str, Any]]) -> list[str]:
    """The summary as lines of text that fit one screen of 118 columns."""
    heads = [
        "House",
        "net ft2",
        "bays",
        "ft3",
        "mixes",
        "U now",
        "U after",
        "CFM50",
        "after",
        "saves $/yr",
        "price",
        "margin",
    ]
    widths = [27, 8, 5, 6, 6, 6, 8, 6, 6, 16, 9, 7]
    lines = ["".join(head.ljust(w) if i == 0 else head.rjust(w) for i, (head, w) in enumerate(zip(heads, widths)))]
    for row in rows:
        after = row["cfm50_after"]
        cells = [
            row["name"] if len(row["name"]) < widths[0] else row["name"][: widths[0] - 2] + "…",
            f"{row['net_ft2']:.0f}",
            f"{row['bays']}",
            f"{row['cavity_ft3']:.0f}",
            f"{row['mixes']}",
            "-" if row["u_before"] is None else f"{row['u_before']:.3f}",
            "-" if row["u_after"] is None else f"{row['u_after']:.3f}",
            "-" if row["cfm50_before"] is None else f"{row['cfm50_before']:.0f}",
            "-" if after is None else f"{after['p50']:.0f}",
            f"{row['saved']['p10']:.0f}-{row['saved']['p50']:.0f}-{row['saved']['p90']:.0f}",
            f"${row['price_cents'] / 100:,.0f}",
            f"{row['margin'] * 100:.1f}%",
        ]
        lines.append("".join(c.ljust(w) if i == 0 else c.rjust(w) for i, (c, w) in enumerate(zip(cells, widths))))
    lines.append("Walls to be injected only; savings are P10-P50-P90 a year, estimated; figures of the first option.")
    return lines
