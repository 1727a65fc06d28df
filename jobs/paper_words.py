"""What the papers of a job say, as text: names that their templates may use."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from estimates.docx_paper import Shape
from estimates.firm import load_firm
from estimates.gates import house_gates
from estimates.house import HouseRecord
from estimates.pricebook import PriceBook
from estimates.proposal_words import aftercare, long_date
from estimates.records import read_record
from jobs.balance_rows import standing
from jobs.entry_records import CheckRecord
from jobs.house_tests import combustion_of, ventilation_after
from jobs.models import Certificate, CertificateKind, EntryKind, GateKind, HouseTest, Job, PhaseStatus, Verification
from jobs.phase_plan import kit_list
from jobs.receipt import Receipt, receipt_parts
from jobs.start_gates import wall_gates

SHAPE: Shape = {
    "title": "",
    "number": "",
    "made_on": "",
    "firm": dict.fromkeys(("name", "street", "town", "phone", "email", "licence"), ""),
    "house": dict.fromkeys(("name", "customer", "street", "town"), ""),
    "installed_on": "",
    "walls": [dict.fromkeys(("name", "type", "area", "thickness", "r", "note"), "")],
    "attics": [dict.fromkeys(("name", "type", "area", "bags", "initial", "settled", "r"), "")],
    "leaks": [""],
    "tests": [""],
    "ventilation": "",
    "inspector": "",
    "inspected_on": "",
    "open_points": [""],
    "lead_safe": [""],
    "aftercare": [""],
    "warranty": "",
    "hazards": [""],
    "cautions": [""],
    "kit": [dict.fromkeys(("name", "amount"), "")],
    "steps": [dict.fromkeys(("name", "hours", "note"), "")],
    "sheet_walls": [dict.fromkeys(("name", "bays", "holes", "fill", "mixes", "held"), "")],
    "access": "",
}
"""Every name that a template of these papers may use. No price, cost or margin is among them."""

CREW_CAUTIONS = (
    "Respirator, eye and skin protection while mixing and injecting; read the maker's sheet.",
    "Dust of masonry and old mortar holds silica: wet drilling or a vacuum at the drill.",
    "Painted surfaces of houses built before 1978: lead-safe steps, plastic sheeting, no dry sanding.",
    "Wiring may lie in any cavity: stop depth on the drill, no metal probe into an unknown bay.",
    "Ladders on firm ground, tied off above 10 ft; nobody works under the overhead service drop.",
    "Attics are hot and floors are weak: walk on joists, drink, leave together.",
    "Smell of gas or an alarm: everybody out, then call from outside.",
)
"""The usual cautions of the trade; local codes and the maker's sheet decide. Common practice."""


def paper_content(job: Job, kind: str, forms: Mapping[str, Any], *, on: date) -> dict[str, Any]:
    """Everything that a paper of a job says.

    Parameters
    ----------
    job, kind : which paper.
    forms : forms of the estimate that was signed.
    on : the day the paper carries.
    """
    firm, house = load_firm(), job.house
    book = read_record(PriceBook, forms["price_book"])
    found = receipt_parts(job, forms)
    content: dict[str, Any] = {
        "title": TITLES[kind],
        "number": job.number,
        "made_on": long_date(on),
        "firm": {name: getattr(firm, name) for name in ("name", "street", "town", "phone", "email", "licence")},
        "house": {
            "name": house.name,
            "customer": house.customer_name,
            "street": house.street,
            "town": ", ".join(part for part in (house.town, f"{house.state} {house.postal_code}".strip()) if part),
        },
        "installed_on": _installed(job),
        "warranty": firm.warranty,
    }
    return content | _parts(found) | _proof(job) | _lead_safe(job) | _care(book, found) | _crew(job, forms, book)


TITLES = {
    "receipt": "Receipt for insulation installed",
    "certificate": "Insulation certificate",
    "completion": "Your house after the work",
    "crew_sheet": "Crew sheet",
}


def _installed(job: Job) -> str:
    days = sorted(set(job.entries.filter(kind__in=(EntryKind.BAY, EntryKind.BAGS)).values_list("day", flat=True)))
    if not days:
        return ""
    return long_date(days[0]) if days[0] == days[-1] else f"{long_date(days[0])} to {long_date(days[-1])}"


def _parts(found: Receipt) -> dict[str, Any]:
    walls = [
        {
            "name": wall.name,
            "type": f"{wall.kind} ({wall.product})",
            "area": f"{wall.area_ft2:,.0f} ft²",
            "thickness": f"{wall.thickness_in:.2f}".rstrip("0").rstrip(".") + " in",
            "r": "not listed" if wall.r is None else f"R-{wall.r:g} at {wall.listed_in:g} in",
            "note": f"{wall.filled} bays filled"
            + (f", {wall.not_filled} not filled" if wall.not_filled else "")
            + ("; the sheet lists nothing as thin" if wall.r is None else ""),
        }
        for wall in found.walls
    ]
    attics = [
        {
            "name": attic.name,
            "type": f"{attic.kind} ({attic.product})",
            "area": f"{attic.area_ft2:,.0f} ft²",
            "bags": f"{attic.bags}",
            "initial": "" if attic.row is None else f"{attic.row.initial_in:g} in",
            "settled": "" if attic.row is None else f"{attic.row.settled_in:g} in",
            "r": "below the table of the bag" if attic.row is None else f"R-{attic.row.r:g}",
        }
        for attic in found.attics
    ]
    return {"walls": walls, "attics": attics, "leaks": list(found.leaks)}


def _proof(job: Job) -> dict[str, Any]:
    tests = [_test(test) for test in job.tests.all() if test.cfm50 is not None]
    tests += [finding.text[:1].upper() + finding.text[1:] + "." for finding in combustion_of(job).standing]
    row = Verification.objects.filter(job=job).select_related("inspector").first()
    open_findings = job.findings.filter(closed_at__isnull=True).exclude(verdict="good")
    points = [finding.words for finding in open_findings]
    if row is not None and row.infrared_due is not None:
        points.append(f"Infrared was not judged; we come back by {long_date(row.infrared_due)}.")
    return {
        "tests": tests,
        "ventilation": ventilation_after(job),
        "inspector": "" if row is None else row.inspector.full_name,
        "inspected_on": "" if row is None else long_date(row.decided_at.date()),
        "open_points": points,
    }


def _test(test: HouseTest) -> str:
    when = {"in": "before the work", "day": "at the end of a day", "out": "after the work"}[test.when]
    return f"Air leakage at 50 Pa {when}: {test.cfm50:,.0f} cfm."


def _lead_safe(job: Job) -> dict[str, Any]:
    """Records of lead-safe work for owner and occupant (40 CFR 745.86): who, with which papers, what was checked."""
    walls = [wall.name for wall in job.walls.all() if wall.lead_safe]
    if not walls:
        return {"lead_safe": []}
    on = job.started_at.date() if job.started_at is not None else job.booked_at.date()
    rows = Certificate.objects.filter(kind__in=(CertificateKind.LEAD_FIRM, CertificateKind.LEAD_RENOVATOR))
    held = [row for row in rows.select_related("worker") if row.holds_on(on)]
    lines = [f"Worked lead-safe: {', '.join(walls)}."]
    lines += [f"{row}, {'of the firm' if row.worker is None else row.worker.name}." for row in held]
    lines += [f"{gate.name}: {gate.note}" for gate in job.gates.filter(kind=GateKind.PAMPHLET) if gate.note]
    checks = [entry for entry in standing(job) if entry.kind == EntryKind.CHECK]
    for entry in checks:
        record = read_record(CheckRecord, entry.data)
        good = "as it should be" if record.good else "not as it should be"
        lines.append(f"{long_date(entry.day)}: {record.what} {good}{': ' + record.note if record.note else ''}.")
    return {"lead_safe": lines}


def _care(book: PriceBook, found: Receipt) -> dict[str, Any]:
    return {"aftercare": list(aftercare(bool(found.walls), book))}


def _crew(job: Job, forms: Mapping[str, Any], book: PriceBook) -> dict[str, Any]:
    held = wall_gates(job)
    gates = house_gates(read_record(HouseRecord, forms["house"]))
    rows = []
    for wall in job.walls.all():
        bays = [bay for bay in wall.bays.all() if bay.reachable and not bay.retired]
        rows.append(
            {
                "name": wall.name + (", lead-safe" if wall.lead_safe else ""),
                "bays": f"{len(bays)}",
                "holes": f"{sum(bay.holes for bay in bays)}",
                "fill": f"{wall.fill_ft3:.1f} ft³",
                "mixes": f"{wall.mixes:.1f}",
                "held": "; ".join(f"wait: {gate.name}" for gate in held.get(wall.key, ())),
            }
        )
    names = {row["id"]: row["name"] for kind in ("walls", "attics", "leak_sites") for row in forms["takeoff"][kind]}
    hazards: dict[str, list[str]] = {}
    for part in (*gates.controls, *gates.held):
        hazards.setdefault(part.text, []).append(names.get(part.part, part.part))
    foam = forms["price_book"]["foams"][0]
    loose = forms["price_book"]["loose_fills"][0]
    kit = kit_list(forms, job.option, foam=foam, loose=loose)
    return {
        "hazards": [
            words if set(where) >= set(names.values()) else f"{words} ({', '.join(dict.fromkeys(where))})"
            for words, where in hazards.items()
        ],
        "cautions": [*CREW_CAUTIONS, f"From the maker's sheet: {book.foam.cautions}"],
        "kit": [{"name": name, "amount": f"{amount:,.0f} {unit}"} for name, amount, unit in kit],
        "steps": [
            {
                "name": phase.get_kind_display(),
                "hours": f"{phase.hours:.1f} h, {phase.least_people} or more",
                "note": phase.note,
            }
            for phase in job.phases.all()
            if phase.status != PhaseStatus.DROPPED
        ],
        "sheet_walls": rows,
        "access": job.access_note,
    }
