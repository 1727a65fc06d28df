"""The proposal: everything a homeowner reads before signing, made from the same figures that are priced."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from estimates import proposal_words as words
from estimates.docx_paper import Picture, Shape, fill_in, template_faults
from estimates.filing import write_whole
from estimates.firm import FirmRecord
from estimates.house import HouseRecord
from estimates.money import format_money
from estimates.offer import Offer
from estimates.pricebook import PriceBook
from estimates.pricing import PricedOption
from estimates.takeoff import AtticTakeoff, Takeoff, WallTakeoff, whole_units

if TYPE_CHECKING:
    from estimates.performance import OptionPerformance, Performance, SurfaceHeat

TEMPLATE = Path(__file__).resolve().parent.parent / "templates" / "documents" / "proposal.docx"

PICTURE_MM = 112.0
"""Width of an elevation on the paper. [mm]"""

PICTURE_PX = PICTURE_MM / 25.4 * 96.0
"""The same for `estimates.drawing.elevation`, so that its labels read well on paper. [CSS px]"""

HIGHEST_PICTURE_MM = 118.0
"""A higher picture is made narrower, so that two walls fit a page. [mm]"""

MATTERS = 4
"""So many of the things that move the range of savings most are named."""

TEXTS = {
    "savings_vary": "Savings vary. Find out why in the seller’s fact sheet on R-values. Higher R-values mean greater "
    "insulating power.",
    "cancellation": "Your right to cancel: a notice that says how and until when you may cancel will be attached, in "
    "two copies, before you sign.",
    "not_advice": "Estimate, not legal or tax advice; local code officials and licensed trades decide.",
}
"""Texts that rules may replace, by topic. The first is required beside a claim of savings (16 CFR 460.19)."""

SHAPE: Shape = {
    "number": "",
    "revision": "",
    "issued_on": "",
    "valid_until": "",
    "firm": dict.fromkeys(("name", "street", "town", "phone", "email", "licence"), ""),
    "house": dict.fromkeys(("name", "customer", "street", "town", "facts"), ""),
    "complaints": [{"room": "", "words": ""}],
    "cause": [""],
    "cure": [""],
    "options": [
        dict.fromkeys(("name", "price", "deposit", "balance", "heat", "air", "saving", "fuel"), "") | {"scope": [""]}
    ],
    "choose": "",
    "walls": [dict.fromkeys(("id", "name", "size", "count", "foam", "picture"), "") | {"notes": [""]}],
    "attics": [dict.fromkeys(("name", "found", "product", "added", "thickness", "bags"), "")],
    "leaks": [dict.fromkeys(("name", "what", "quantity"), "")],
    "heat": [dict.fromkeys(("name", "area", "before", "after", "less"), "")],
    "air_before": "",
    "savings_basis": "",
    "matters": [""],
    "not_in_price": [{"name": "", "reason": ""}],
    "not_seen": [""],
    "not_fixed": [""],
    "cautions": [""],
    "prepare": [""],
    "aftercare": [""],
    "warranty": "",
    "savings_vary": "",
    "cancellation": "",
    "not_advice": "",
}
"""Every name a template may use. Costs, hours, margins and commissions are not among them and never will be."""

NEEDED = (
    ("number", "the number of the document"),
    ("revision", "the revision of the document"),
    ("issued_on", "the date of the document"),
    ("valid_until", "until when the price holds"),
    ("firm.name", "the name of the firm"),
    ("firm.licence", "the licence number"),
    ("house.customer", "the name of the homeowner"),
    ("options.name", "the name of each option"),
    ("options.price", "the price of each option"),
    ("options.deposit", "the deposit of each option"),
    ("walls.foam", "thickness and R-value of the foam, from the fact sheet"),
    ("not_in_price.reason", "why something is not in the price"),
    ("not_seen", "what could not be seen"),
    ("not_fixed", "what the work will not fix"),
    ("cautions", "what the homeowner must know first"),
    ("prepare", "what the homeowner must prepare"),
    ("aftercare", "what to expect afterwards"),
    ("warranty", "the warranty"),
    ("savings_vary", "the sentence that must stand beside savings"),
    ("cancellation", "the line on the right to cancel"),
    ("not_advice", "the line that this is an estimate"),
)
"""What a template must show, and what that is."""


def proposal_context(
    house: HouseRecord,
    takeoff: Takeoff,
    performance: Performance,
    priced_options: Sequence[PricedOption],
    book: PriceBook,
    *,
    offers: Sequence[Offer],
    number: str,
    revision: int,
    issued_on: date,
    valid_until: date,
    firm: FirmRecord,
    rules: Mapping[str, str] | None = None,
) -> dict[str, Any]:
    """What the proposal says, as text and lists by the names of SHAPE.

    Parameters
    ----------
    house, takeoff, performance, priced_options, book, offers : one run of the chain.
    number, revision : of the document; revision counts from 1.
    issued_on, valid_until : first and last day of the price.
    firm : who writes it.
    rules : texts by topic that replace those of TEXTS.

    Returns
    -------
    dict of str, list and dict; money by `format_money`. No cost, hour, margin or commission is in it.

    Raises
    ------
    ValueError : the price ends before it begins, a revision below 1, an unknown topic, or an option without figures.

    Notes
    -----
    R-values are printed as the fact sheet or the coverage table lists them, per product and thickness; they are never
    worked out from inches nor added up. Whole walls are told by U, framing included, estimated.
    """
    texts = _texts(rules or {})
    if valid_until < issued_on:
        raise ValueError(f"valid_until {valid_until} is before issued_on {issued_on}; enter a later day")
    if revision < 1:
        raise ValueError(f"revision is {revision}; enter 1 or more")
    by_option = {found.option_id: found for found in performance.options}
    missing = [priced.option.id for priced in priced_options if priced.option.id not in by_option]
    if missing or not priced_options:
        raise ValueError(f"no figures for the options {', '.join(missing) or '(none)'}; run performance for them")
    first = by_option[priced_options[0].option.id]
    offered = _offered(takeoff, priced_options)
    done = offered.priced_attics
    filled = offered.priced_walls
    return {
        "number": number,
        "revision": str(revision),
        "issued_on": words.long_date(issued_on),
        "valid_until": words.long_date(valid_until),
        "firm": {name: getattr(firm, name) for name in SHAPE["firm"]},
        "house": _house(house),
        "complaints": [{"room": said.room, "words": said.words} for said in house.complaints],
        "cause": list(words.causes(house, takeoff, first.cfm50_before)),
        "cure": list(words.cures(offered, book)),
        "options": [
            _option(priced, offer, takeoff, by_option[priced.option.id])
            for priced, offer in zip(priced_options, offers, strict=True)
        ],
        "choose": "Each option is priced on its own; choose one." if len(priced_options) > 1 else "",
        "walls": [_wall(wall, book) for wall in filled],
        "attics": [_attic(attic, book) for attic in done],
        "leaks": [
            {
                "name": leak.site.name,
                "what": words.LEAKS[leak.site.kind],
                "quantity": _quantity(leak.site.quantity, book.leak(leak.site.kind).unit),
            }
            for leak in offered.priced_leaks
        ],
        "heat": [_heat(surface) for surface in _treated(performance)],
        "air_before": "" if first.cfm50_before is None else f"{words.about(first.cfm50_before)} CFM50",
        "savings_basis": words.savings_basis(house, first, performance.draws),
        "matters": list(dict.fromkeys(matter for found in performance.options for matter in found.matters))[:MATTERS],
        "not_in_price": _not_in_price(takeoff, offered),
        "not_seen": list(words.not_seen(house, offered)),
        "not_fixed": list(words.not_fixed(house, offered)),
        "cautions": list(words.cautions(house, offered, book)),
        "prepare": list(words.preparations([wall.wall for wall in filled], len(done))),
        "aftercare": list(words.aftercare(bool(filled), book)),
        "warranty": firm.warranty,
        **texts,
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


def _texts(rules: Mapping[str, str]) -> dict[str, str]:
    unknown = sorted(set(rules) - set(TEXTS))
    if unknown:
        raise ValueError(f"no topic {unknown[0]!r} on a proposal; enter one of {', '.join(TEXTS)}")
    return TEXTS | dict(rules)


def _offered(takeoff: Takeoff, priced_options: Sequence[PricedOption]) -> Takeoff:
    """What at least one option holds."""
    chosen = [takeoff.chosen(priced.option) for priced in priced_options]
    return Takeoff(
        tuple(wall for wall in takeoff.walls if any(wall in part.walls for part in chosen)),
        tuple(attic for attic in takeoff.attics if any(attic in part.attics for part in chosen)),
        tuple(leak for leak in takeoff.leaks if any(leak in part.leaks for part in chosen)),
    )


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
    deposit = offer.deposit_cents
    less = (1 - found.ua_after / found.ua_before) if found.ua_before > 0 else 0.0
    air = found.cfm50_after
    return {
        "name": priced.option.name,
        "scope": list(_scope(takeoff.chosen(priced.option))) or ["Nothing of it can be done as the house stands."],
        "price": format_money(priced.price_cents),
        "deposit": format_money(deposit),
        "balance": format_money(offer.total_cents - deposit),
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
    left = [
        {"name": wall.wall.name, "reason": " ".join(words.stop_reason(stop) for stop in wall.stops)}
        for wall in takeoff.walls
        if wall.stops
    ]
    left += [
        {"name": attic.attic.name, "reason": f"Already about R-{attic.existing_r:.0f}, estimated; nothing to add."}
        for attic in takeoff.attics
        if attic.row is None
    ]
    unchosen = [wall.wall.name for wall in takeoff.walls if wall not in offered.walls and not wall.stops]
    unchosen += [attic.attic.name for attic in takeoff.attics if attic not in offered.attics and attic.row is not None]
    unchosen += [leak.site.name for leak in takeoff.leaks if leak not in offered.leaks]
    return left + [{"name": name, "reason": "Measured, but in none of the options."} for name in unchosen]
