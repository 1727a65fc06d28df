"""The figures of one run of the chain as plain JSON forms; units stand in the names, money is in cents."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any

from estimates.contract import stale_prices
from estimates.gates import HouseGates
from estimates.lead import LeadFinding
from estimates.offer import Offer, RuledDay
from estimates.pricebook import PriceBook
from estimates.pricing import Line, PricedOption
from estimates.rules import NOT_ADVICE
from estimates.takeoff import AtticTakeoff, LeakTakeoff, Takeoff, WallTakeoff


def takeoff_form(takeoff: Takeoff) -> dict[str, Any]:
    """Takeoff as plain figures; units stand in the names."""
    return {
        "walls": [_wall_form(wall) for wall in takeoff.walls],
        "attics": [_attic_form(attic) for attic in takeoff.attics],
        "leak_sites": [_leak_form(leak) for leak in takeoff.leaks],
    }


def _wall_form(counted: WallTakeoff) -> dict[str, Any]:
    layout = counted.layout
    return {
        "id": counted.wall.id,
        "name": counted.wall.name,
        "gross_ft2": layout.gross_ft2,
        "opening_ft2": layout.opening_ft2,
        "net_ft2": layout.net_ft2,
        "framing_ft2": layout.framing_ft2,
        "cavity_ft2": layout.cavity_ft2,
        "no_fill_ft2": layout.no_fill_ft2,
        "framing_fraction": layout.framing_fraction,
        "placed": layout.quick is None,
        "bay_count": layout.bay_count,
        "reachable_bay_count": counted.reachable_bays,
        "hole_count": layout.hole_count,
        "holes_by_row": layout.holes_by_row(),
        "cavity_ft3": layout.volume_ft3,
        "fill_ft3": counted.fill_ft3,
        "required_ft3": counted.required_ft3,
        "mixes": counted.mixes,
        "water_lb": counted.water_lb,
        "foam_in": counted.foam_in,
        "fact_sheet": None if counted.fact is None else dataclasses.asdict(counted.fact),
        "plugs": counted.plugs,
        "cladding_lift_ft": counted.cladding_lift_ft,
        "ladder_share": counted.ladder_share,
        "staging_share": counted.staging_share,
        "braced_bays": counted.braced_bays,
        "closing_ft": counted.closing_ft,
        "priced": counted.priced,
        "stops": counted.stops,
        "warnings": counted.warnings,
        "bays": [
            {
                "number": bay.number,
                "stud_bay": bay.stud_bay,
                "place": bay.place,
                "left_in": bay.left_in,
                "right_in": bay.right_in,
                "bottom_in": bay.bottom_in,
                "top_in": bay.top_in,
                "clear_width_in": bay.clear_width_in,
                "area_ft2": bay.area_ft2,
                "volume_ft3": bay.volume_ft3,
                "reachable": bay.reachable,
                "reason": bay.reason,
                "outline_in": bay.outline,
                "holes": [dataclasses.asdict(hole) for hole in bay.holes],
            }
            for bay in layout.bays
        ],
    }


def _attic_form(counted: AtticTakeoff) -> dict[str, Any]:
    return {
        "id": counted.attic.id,
        "name": counted.attic.name,
        "area_ft2": counted.attic.area_ft2,
        "existing_r_estimated": counted.existing_r,
        "added": None if counted.row is None else dataclasses.asdict(counted.row),
        "bags": counted.bags,
        "baffles": counted.attic.soffit_bays,
        "dam_ft": counted.attic.dam_ft,
        "hatch_ft2": counted.attic.hatch_ft2,
        "net_free_150_in2": counted.free_150_in2,
        "net_free_300_in2": counted.free_300_in2,
        "priced": counted.priced,
        "stops": counted.stops,
        "warnings": counted.warnings,
    }


def _leak_form(counted: LeakTakeoff) -> dict[str, Any]:
    return {
        "id": counted.site.id,
        "name": counted.site.name,
        "kind": counted.site.kind,
        "quantity": counted.site.quantity,
        "hours": counted.hours,
        "minutes": counted.hours * 60.0,
        "material_dollars": counted.material_dollars,
        "priced": counted.priced,
        "stops": counted.stops,
    }


def estimate_form(
    book: PriceBook,
    under: RuledDay,
    gates: HouseGates,
    outcomes: Iterable[tuple[PricedOption, LeadFinding, Offer]],
) -> dict[str, Any]:
    """Priced options with tax, incentives and payments as plain figures, and the gates; money in cents."""
    stale = stale_prices(
        {f"price book {book.name}": book.effective_from}, on=under.priced_on, days=int(book.best("price_stale"))
    )
    return {
        "price_book": {"id": book.id, "version": book.version, "effective_from": book.effective_from.isoformat()},
        "places": under.places,
        "priced_on": under.priced_on.isoformat(),
        "in_service_on": under.in_service_on.isoformat(),
        "gates": _gates_form(gates),
        "options": [
            _option_form(priced) | {"lead_rule": _lead_form(lead, priced)} | _offer_form(offer)
            for priced, lead, offer in outcomes
        ],
        "warnings": stale,
        "caution": NOT_ADVICE,
    }


def _option_form(priced: PricedOption) -> dict[str, Any]:
    return {
        "id": priced.option.id,
        "name": priced.option.name,
        "direct_cost_cents": priced.cost_cents,
        "price_cents": priced.price_cents,
        "margin": priced.margin,
        "margin_before_shares": priced.margin_before_shares,
        "markup": priced.markup,
        "target_margin": priced.target_margin,
        "floor_margin": priced.floor_margin,
        "direct_cost_range_cents": dataclasses.asdict(priced.cost_range),
        "margin_range": dataclasses.asdict(priced.margin_range),
        "below_floor": priced.below_floor,
        "net_margin": priced.net_margin,
        "price_shares_cents": priced.shares_cents,
        "commission_cents": priced.commission_cents,
        "overhead_cents": priced.overhead_cents,
        "discount_cents": priced.discount_cents,
        "mixes_bought": priced.mixes_bought,
        "bags_bought": priced.bags_bought,
        "crew_days": priced.crew_days,
        "warnings": priced.warnings,
        "lines": [_line_form(line) for line in priced.lines],
    }


def _offer_form(offer: Offer) -> dict[str, Any]:
    given = offer.incentives
    return {
        "measures": [dataclasses.asdict(cost) for cost in offer.measures],
        "tax": {
            "rate": offer.tax.rate,
            "taxable_cents": offer.tax.taxable_cents,
            "cents": offer.tax.cents,
            "why": offer.tax.why,
        },
        "total_cents": offer.total_cents,
        "incentives": {
            "given": [
                {
                    "id": item.programme.id,
                    "name": item.programme.terms.name,
                    "cents": item.cents,
                    "by_measure_cents": {str(measure): cents for measure, cents in item.by_measure.items()},
                    "caps": item.caps,
                    "needs": item.needs,
                    "payee": item.programme.terms.payee,
                    "timing": item.programme.terms.timing,
                    "lowers_taxable": item.programme.terms.lowers_taxable,
                }
                for item in given.given
            ],
            "refused": [{"id": name, "why": why} for name, why in given.refused],
            "total_cents": given.total_cents,
            "on_invoice_cents": given.on_invoice_cents,
            "caution": given.caution,
        },
        "net_cents": offer.net_cents,
        "due_cents": offer.due_cents,
        "deposit_cents": offer.deposit_cents,
        "deposit_cap": None if offer.cap.rule is None else {"cents": offer.cap.cents, "rule": offer.cap.rule.quote},
        "payments": [
            {"name": step.name, "due": step.due, "cents": step.cents, "earned_cents": step.earned_cents}
            for step in offer.steps
        ],
        "payment_faults": [str(fault) for fault in offer.faults],
    }


def _lead_form(finding: LeadFinding, priced: PricedOption) -> dict[str, Any]:
    return {
        "holds": finding.holds,
        "reasons": finding.reasons,
        "areas": [
            {"place": area.place, "area_ft2": area.area_ft2, "limit_ft2": area.limit_ft2} for area in finding.areas
        ],
        "released": finding.released,
        "lead_safe_walls": priced.lead_safe,
    }


def _gates_form(gates: HouseGates) -> dict[str, Any]:
    return {
        "complete": gates.complete,
        "open": [
            {"hazard": gate.hazard.id, "question": gate.hazard.question, "parts": gate.parts} for gate in gates.open
        ],
        "held": [dataclasses.asdict(held) for held in gates.held],
        "clauses": gates.clauses,
    }


def _line_form(line: Line) -> dict[str, Any]:
    return {
        "code": line.code,
        "measure": line.measure,
        "subject": line.subject,
        "name": line.name,
        "quantity": line.quantity,
        "unit": line.unit,
        "hours": line.hours,
        "direct_cost_cents": line.cost_cents,
        "direct_cost_parts_cents": line.cost,
        "price_cents": line.price_cents,
    }
