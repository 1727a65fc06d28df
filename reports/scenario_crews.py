"""The crews of the demo scenario: people, rigs, certificates and days away, brought in by the services of the pages."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from typing import Any

from estimates.models import User
from jobs.crews import absence_add, certificate_add, crew_save, rig_save, worker_save
from jobs.models import Absence, Certificate, CertificateKind, Crew, Resource, Rig, Worker
from reports.scenario import FIXTURES, ORIGIN
from reports.scenario_story import EARLIEST, Calendar


def crews_load(days: Calendar, *, by: User) -> dict[str, Crew]:
    """Bring crews and everything they need; what is there already is left as it is.

    Returns the crews by their names.
    """
    table = tomllib.loads((FIXTURES / "demo" / "crews.toml").read_text(encoding="utf-8"))
    now = days.time(EARLIEST)
    acts: dict[str, Any] = {"by": by, "now": now, "origin": ORIGIN}
    for row in table["rigs"]:
        if not Rig.objects.filter(name=row["name"]).exists():
            rig_save(rig=None, version=0, **row, **acts)
    for row in table["workers"]:
        if not Worker.objects.filter(name=row["name"]).exists():
            user = User.objects.get(email=row["account"]) if "account" in row else None
            cost = Decimal(row["hourly_cost"])
            worker_save(
                worker=None, version=0, skills=row["skills"], name=row["name"], user=user, hourly_cost=cost, **acts
            )
    for row in table["crews"]:
        if not Crew.objects.filter(name=row["name"]).exists():
            people = list(Worker.objects.filter(name__in=row["members"]))
            crew_save(
                crew=None,
                version=0,
                members=people,
                rigs=Rig.objects.filter(name__in=row["rigs"]),
                today=days.day(EARLIEST),
                name=row["name"],
                lead=next(person for person in people if person.name == row["lead"]),
                works_on=row["works_on"],
                first_hour=row["first_hour"],
                last_hour=row["last_hour"],
                home_latitude=Decimal(row["latitude"]),
                home_longitude=Decimal(row["longitude"]),
                **acts,
            )
    _papers(table, days, acts)
    return {crew.name: crew for crew in Crew.objects.all()}


def _papers(table: dict[str, Any], days: Calendar, acts: dict[str, Any]) -> None:
    if not Certificate.objects.exists():
        for row in table["certificates"]:
            certificate_add(
                worker=Worker.objects.get(name=row["worker"]) if "worker" in row else None,
                kind=CertificateKind(row["kind"]),
                number=row["number"],
                valid_from=days.day(row["from"]),
                valid_until=days.day(row["until"]),
                **acts,
            )
    if not Absence.objects.exists():
        for row in table["absences"]:
            absence_add(
                resource=Resource.objects.get(name=row["of"]),
                first_day=days.day(row["first"]),
                last_day=days.day(row["last"]),
                reason=row["reason"],
                **acts,
            )
