"""The proposal: everything a homeowner reads before signing, made from the same figures that are priced."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from estimates import proposal_money as money
from estimates import proposal_safety as safety
from estimates import proposal_words as words
from estimates.claims import savings_words
from estimates.docx_paper import Picture, fill_in, template_faults
from estimates.filing import write_whole
from estimates.firm import FirmRecord
from estimates.house import HouseRecord
from estimates.offer import Offer
from estimates.pricebook import PriceBook
from estimates.pricing import PricedOption
from estimates.proposal_shape import NEEDED, SHAPE
from estimates.rules import NOT_ADVICE
from estimates.takeoff import AtticTakeoff, Takeoff, WallTakeoff, whole_units
from estimates.terms import CHANGES, DATES, NOTICE_USES, Parties, Terms, terms_of

if TYPE_CHECKING:
    from estimates.performance import OptionPerformance, Performance, SurfaceHeat
    from estimates.snapshot import Snapshot

TEMPLATE = Path(__file__).resolve().parent.parent / "templates" / "documents" / "proposal.docx"

PICTURE_MM = 112.0
"""Width of an elevation on the paper. [mm]"""

PICTURE_PX = PICTURE_MM / 25.4 * 96.0
"""The same for `estimates.drawing.elevation`, so that its labels read well on paper. [CSS px]"""

HIGHEST_PICTURE_MM = 118.0
"""A higher picture is made narrower, so that two walls fit a page. [mm]"""

MATTERS = 4
"""So many of the things that move the range of savings most are named."""


def proposal_context(
    snapshot: Snapshot,
    *,
    number: str,
    revision: int,
    issued_on: date,
    valid_until: date,
    firm: FirmRecord,
    signed_on: date | None = None,
) -> dict[str, Any]:
    """What the proposal says, as text and lists by the names of SHAPE.

    Parameters
    ----------
    snapshot : one run of the chain, with the gates and the rules it stands under.
    number, revision : of the document; revision counts from 1.
    issued_on, valid_until : first and last day of the price.
    firm : who writes it.
    signed_on : day of signature, from which the right to cancel counts; None: blanks to fill in at signing.

    Returns
    -------
    dict of str, list and dict; money by `format_money`. No cost, hour, margin or commission is in it. With anything in
    `preliminary` the paper is no contract: `contract` is empty, and so are `notices` and `acknowledgements`.

    Raises
    ------
    ValueError : the price ends before it begins, a revision below 1, or an option without figures.
    RuleMissing : no rule gives the words that stand beside savings.

    Notes
    -----
    R-values are printed as the fact sheet or the coverage table lists them, per product and thickness; they are never
    worked out from inches nor added up. Whole walls are told by U, framing included, estimated.
    """
    if valid_until < issued_on:
        raise ValueError(f"valid_until {valid_until} is before issued_on {issued_on}; enter a later day")
    if revision < 1:
        raise ValueError(f"revision is {revision}; enter 1 or more")
    by_option = {found.option_id: found for found in snapshot.performance.options}
    missing = [priced.option.id for priced in snapshot.options if priced.option.id not in by_option]
    if missing or not snapshot.options:
        raise ValueError(f"no figures for the options {', '.join(missing) or '(none)'}; run performance for them")
    offered = _offered(snapshot.takeoff, snapshot.options)
    legal = paper_terms(snapshot, firm, signed_on=signed_on)
    reasons = open_points(snapshot, legal)
    context = {
        "kind": "Preliminary proposal" if reasons else "Proposal",
        "number": number,
        "revision": str(revision),
        "issued_on": words.long_date(issued_on),
        "valid_until": words.long_date(valid_until),
        "firm": {name: getattr(firm, name) for name in SHAPE["firm"]},
        "house": _house(snapshot.house),
        "complaints": [{"room": said.room, "words": said.words} for said in snapshot.house.complaints],
        "preliminary": reasons,
        "contract": "" if reasons else "yes",
        "hidden_damage": words.hidden_damage(firm),
        "warranty": firm.warranty,
    }
    context |= _scope_of(snapshot, offered) | _money(snapshot) | _care(snapshot, offered)
    return context | _legal(snapshot, legal, contract=not reasons)


def paper_terms(snapshot: Snapshot, firm: FirmRecord, *, signed_on: date | None = None) -> Terms:
    """The legal words of a proposal, by the rules that its estimate froze."""
    offered = _offered(snapshot.takeoff, snapshot.options)
    products = [snapshot.book.foam.kind] if offered.priced_walls else []
    products += [snapshot.book.loose_fill.kind] if offered.priced_attics else []
    return terms_of(
        snapshot.rules,
        snapshot.under.places,
        on=snapshot.under.priced_on,
        parties=Parties(snapshot.house.customer, firm.name, firm.address, firm.depositary),
        products=words.listed([kind[:1].lower() + kind[1:] for kind in products]) if products else "none is installed",
        signed_on=signed_on,
    )


def open_points(snapshot: Snapshot, legal: Terms) -> list[str]:
    """What keeps a proposal from being a contract: open questions of the assessment, missing words, bad payments."""
    points = safety.open_questions(snapshot.gates, snapshot.takeoff)
    points += [f"Missing: {fault.path.rpartition('.')[2].replace('_', ' ')}." for fault in legal.faults]
    for priced, offer in zip(snapshot.options, snapshot.offers, strict=True):
        points += [f"{priced.option.name}: {fault.message}." for fault in offer.faults]
        if not offer.total_cents:
            points.append(f"{priced.option.name}: nothing of it can be priced yet.")
    return points


def _scope_of(snapshot: Snapshot, offered: Takeoff) -> dict[str, Any]:
    """Cause, cure and what is done, before and after."""
    house, takeoff, book, found = snapshot.house, snapshot.takeoff, snapshot.book, snapshot.performance
    first = found.options[0]
    return {
        "cause": list(words.causes(house, takeoff, first.cfm50_before)),
        "cure": list(words.cures(offered, book)),
        "walls": [_wall(wall, book) for wall in offered.priced_walls],
        "attics": [_attic(attic, book) for attic in offered.priced_attics],
        "leaks": [
            {
                "name": leak.site.name,
                "what": words.LEAKS[leak.site.kind],
                "quantity": _quantity(leak.site.quantity, book.leak(leak.site.kind).unit),
            }
            for leak in offered.priced_leaks
        ],
        "heat": [_heat(surface) for surface in _treated(found)],
        "air_before": "" if first.cfm50_before is None else f"{words.about(first.cfm50_before)} CFM50",
        "fresh_air": safety.fresh_air_words(snapshot.options, found),
        "savings_basis": words.savings_basis(house, first, found.draws),
        "matters": list(dict.fromkeys(matter for option in found.options for matter in option.matters))[:MATTERS],
        "not_in_price": _not_in_price(takeoff, offered),
        "not_seen": [*words.not_seen(house, offered), *safety.unseen_barriers(found, offered)],
        "not_fixed": list(words.not_fixed(house, offered)),
    }


def _money(snapshot: Snapshot) -> dict[str, Any]:
    options, offers, by_option = snapshot.options, snapshot.offers, snapshot.performance.options
    incentives = money.incentive_rows(options, offers)
    return {
        "options": [
            _option(priced, offer, snapshot.takeoff, found)
            for priced, offer, found in zip(options, offers, by_option, strict=True)
        ],
        "choose": "Each option is priced on its own; choose one." if len(options) > 1 else "",
        "discounted": "yes" if any(priced.discount_cents for priced in options) else "",
        "payments": money.payment_rows(options, offers),
        "incentives": incentives,
        "incentives_note": money.INCENTIVES_NOTE if incentives else "",
        "conditions": safety.conditions(snapshot.gates, _done(_offered(snapshot.takeoff, options))),
        "deposit": money.deposit_words(offers, options),
    }


def _care(snapshot: Snapshot, offered: Takeoff) -> dict[str, Any]:
    """What to know before, and what to do before and after."""
    filled, done = offered.priced_walls, _done(offered)
    return {
        "cautions": [
            *words.foam_cautions(offered, snapshot.book),
            *safety.lead_cautions(snapshot.house, done, snapshot.options, snapshot.lead),
            *safety.control_cautions(snapshot.gates, done),
            *safety.combustion_cautions(snapshot.performance),
            *safety.moisture_cautions(snapshot.performance, done),
        ],
        "prepare": list(words.preparations([wall.wall for wall in filled], len(offered.priced_attics))),
        "aftercare": list(words.aftercare(bool(filled), snapshot.book)),
    }


def _legal(snapshot: Snapshot, legal: Terms, contract: bool) -> dict[str, Any]:
    savings = savings_words(snapshot.rules, snapshot.under.places, on=snapshot.under.priced_on)
    signed = [clause for clause in legal.clauses if clause.signed] if contract else []
    return {
        "savings_vary": savings.replace("'", "’"),
        "dates": DATES,
        "terms": [{"title": one.title, "text": one.text} for one in legal.clauses if not one.signed],
        "changes": CHANGES,
        "not_advice": f"Estimate. {NOT_ADVICE} Local code officials and licensed trades decide.",
        "acknowledgements": [{"title": one.title, "text": one.text} for one in signed],
        "fact_sheet": legal.fact_sheet,
        "cancellation": legal.statement,
        "notices": [
            {
                "which": f"Copy {copy} of {len(NOTICE_USES)}. {use}",
                "date": f"Date of transaction: {legal.transaction_on}",
                "lines": list(legal.notice),
            }
            for copy, use in enumerate(NOTICE_USES if contract else (), 1)
        ],
    }


def write_proposal(
    path: Path,
    context: Mapping[str, Any],
    elevations: Mapping[str, Path],
    template: Path = TEMPLATE,
    *,
    issued_on: date | None = None,
) -> Path:
    """Write the proposal as .docx, whole or not at all.

    Parameters
    ----------
    path : where to.
    context : from `proposal_context`.
    elevations : wall id -> PNG of its elevation; a wall without one has no picture.
    template : the firm's own .docx, which `check_template` has nothing against.
    issued_on : date in the properties of the document; left out, 1 January 2000, so that no clock gets in.

    Returns
    -------
    `path`. The same context, pictures and template give the same bytes.

    Raises
    ------
    jinja2.TemplateError : the template has a tag that cannot be read or asks for an unknown name; see `check_template`.
    """
    walls = [{**wall, "picture": _picture(wall, elevations.get(wall["id"]))} for wall in context["walls"]]
    content = fill_in(
        template,
        {**context, "walls": walls},
        issued_on=issued_on or date(2000, 1, 1),
        author=context["firm"]["name"],
    )
    write_whole(path, content)
    return path


def check_template(path: Path) -> list[str]:
    """What is wrong with a changed template: unknown names, missing parts, tags that cannot be read.

    Returns
    -------
    Sentences that name the variable; none for a template that can be used.
    """
    return template_faults(path, SHAPE, NEEDED)


def _picture(wall: Mapping[str, str], path: Path | None) -> Picture | str:
    if path is None:
        return ""
    from PIL import Image

    with Image.open(path) as image:
        wide, high = image.size
    width = min(PICTURE_MM, HIGHEST_PICTURE_MM * wide / high)
    return Picture(path, width, f"Elevation of {wall['name']}, {wall['size']}. {wall['count']}.")


def _offered(takeoff: Takeoff, priced_options: Sequence[PricedOption]) -> Takeoff:
    """What at least one option holds."""
    chosen = [takeoff.chosen(priced.option) for priced in priced_options]
    walls = {wall.wall.id for part in chosen for wall in part.walls}
    attics = {attic.attic.id for part in chosen for attic in part.attics}
    leaks = {leak.site.id for part in chosen for leak in part.leaks}
    return Takeoff(
        tuple(wall for wall in takeoff.walls if wall.wall.id in walls),
        tuple(attic for attic in takeoff.attics if attic.attic.id in attics),
        tuple(leak for leak in takeoff.leaks if leak.site.id in leaks),
    )


def _done(offered: Takeoff) -> Takeoff:
    """What is really done of it: nothing stops it."""
    return Takeoff(offered.priced_walls, offered.priced_attics, offered.priced_leaks)


def _house(house: HouseRecord) -> dict[str, str]:
    return {
        "name": house.name,
        "customer": house.customer,
        "street": house.street,
        "town": f"{house.town}, {house.state} {house.postal_code}".strip(),
        "facts": f"Built {house.year_built}, {words.count(house.storeys, 'storey')}, "
        f"{words.count(house.bedrooms, 'bedroom')}, {house.floor_area_ft2:,.0f} ft² heated",
    }


def _option(priced: PricedOption, offer: Offer, takeoff: Takeoff, found: OptionPerformance) -> dict[str, Any]:
    less = (1 - found.ua_after / found.ua_before) if found.ua_before > 0 else 0.0
    air = found.cfm50_after
    return {
        "name": priced.option.name,
        "scope": list(_scope(takeoff.chosen(priced.option))) or ["Nothing of it can be done as the house stands."],
        **money.option_money(priced, offer),
        "heat": f"{less:.0%} less",
        "air": "not measured yet" if air is None else f"{words.span(air)} CFM50",
        "saving": words.dollars_a_year(found.saved_dollars),
        "fuel": f"{words.span(found.saved_units)} {words.units(found.fuel_unit)} a year",
    }


def _scope(chosen: Takeoff) -> list[str]:
    lines = []
    walls = chosen.priced_walls
    if walls:
        bays, holes = sum(wall.reachable_bays for wall in walls), sum(wall.plugs for wall in walls)
        names = words.listed([wall.wall.name for wall in walls])
        lines.append(f"Fill {words.count(bays, 'bay')} through {words.count(holes, 'hole')}: {names}")
    lines += [
        f"Add R-{attic.row.r:g} on {attic.attic.area_ft2:,.0f} ft²: {attic.attic.name}"
        for attic in chosen.priced_attics
        if attic.row is not None
    ]
    if chosen.priced_leaks:
        lines.append(f"Seal air leaks: {words.listed([leak.site.name for leak in chosen.priced_leaks])}")
    if lines:
        lines.append("Tests before and after the work")
    return lines


def _wall(counted: WallTakeoff, book: PriceBook) -> dict[str, Any]:
    missed = counted.layout.bay_count - counted.reachable_bays
    notes = [words.ACCESSES[counted.wall.access][3:].capitalize() + "."]
    if counted.wall.existing_fill is not None:
        notes.append("The old insulation stays; the foam fills the room beside it.")
    if counted.closing_ft:
        notes.append(f"{words.about(counted.closing_ft)} ft of open edge is closed first.")
    if missed:
        notes.append(
            f"{words.count(missed, 'pocket')} cannot be reached and {'is' if missed == 1 else 'are'} left out."
        )
    kind, fact = book.foam.kind, counted.fact
    return {
        "id": counted.wall.id,
        "name": counted.wall.name,
        "size": words.wall_size(counted.wall),
        "count": f"{words.count(counted.reachable_bays, 'bay')}, {words.count(counted.plugs, 'hole')}",
        "foam": f"{kind}, {fact.thickness_in:g} in, R-{fact.r:g}" if fact else f"{kind}; no R-value listed so thin",
        "picture": "",
        "notes": notes,
    }


def _attic(counted: AtticTakeoff, book: PriceBook) -> dict[str, str]:
    row, product = counted.row, book.loose_fill
    if row is None:
        raise ValueError(f"{counted.attic.name} has nothing to add")
    return {
        "name": counted.attic.name,
        "found": words.attic_found(counted),
        "product": product.kind,
        "added": f"R-{row.r:g}",
        "thickness": f"{row.initial_in:g} in as blown, {row.settled_in:g} in when settled",
        "bags": f"{words.count(whole_units(counted.bags), 'bag')} of {product.bag_lb:g} lb at least",
    }


def _quantity(quantity: float, unit: str) -> str:
    return f"{quantity:,.4g} ft" if unit == "ft" else f"{quantity:,.4g}"


def _treated(performance: Performance) -> list[SurfaceHeat]:
    """Each surface once, from the first option that changes it."""
    found: dict[str, SurfaceHeat] = {}
    for option in performance.options:
        for surface in option.surfaces:
            if surface.u_after < surface.u_before and surface.id not in found:
                found[surface.id] = surface
    return list(found.values())


def _heat(surface: SurfaceHeat) -> dict[str, str]:
    return {
        "name": surface.name,
        "area": f"{surface.area_ft2:,.0f}",
        "before": words.about(surface.u_before),
        "after": words.about(surface.u_after),
        "less": f"{1 - surface.u_after / surface.u_before:.0%}",
    }


def _not_in_price(takeoff: Takeoff, offered: Takeoff) -> list[dict[str, str]]:
    walls = {wall.wall.id for wall in offered.walls}
    attics = {attic.attic.id for attic in offered.attics}
    leaks = {leak.site.id for leak in offered.leaks}
    parts = [
        *((wall.wall.name, wall.stops, wall.wall.id in walls) for wall in takeoff.walls),
        *((attic.attic.name, _attic_stops(attic), attic.attic.id in attics) for attic in takeoff.attics),
        *((leak.site.name, leak.stops, leak.site.id in leaks) for leak in takeoff.leaks),
    ]
    left = [
        {"name": name, "reason": " ".join(words.stop_reason(stop) for stop in stops)}
        for name, stops, _ in parts
        if stops
    ]
    unchosen = [name for name, stops, there in parts if not stops and not there]
    return left + [{"name": name, "reason": "Measured, but in none of the options."} for name in unchosen]


def _attic_stops(attic: AtticTakeoff) -> tuple[str, ...]:
    if attic.row is None and not attic.stops:
        return (f"already about R-{attic.existing_r:.0f}, estimated; nothing to add",)
    return attic.stops
