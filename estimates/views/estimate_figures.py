"""The figures of a live estimate as its page shows them, less what the reader's role may not see."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from estimates import access
from estimates.cost_columns import BASIS, best_rates, parts, price_cents, shares_basis
from estimates.pricing import PricedOption, PriceRefused
from estimates.records import BadRecord
from estimates.revision_compare import compare
from estimates.snapshot import Snapshot
from estimates.views.estimate_desk import TROUBLE, Desk, sentences
from estimates.views.estimate_lines import line_trails, share_words
from estimates.views.house_chapters import option_chapter
from estimates.what_if import WhatIf, wished

Form = dict[str, Any]


def outcome_context(desk: Desk, wish: WhatIf, user: access.Person) -> Form:
    """What the page shows of a house as it would be.

    Parameters
    ----------
    desk : the house, its assessment and its price book.
    wish : what is tried; an empty one leaves the assessment as it stands.
    user : who looks; without ``cost.read`` no cost or margin is in what is returned.
    """
    if desk.record is None or desk.book is None:
        return {"options": [], "trouble": desk.trouble}
    try:
        snapshot = desk.tried(wish)
    except TROUBLE as fault:
        return {"options": [], "trouble": sentences(fault)}
    costs = access.allowed(user, "cost.read")
    options = option_columns(snapshot, user)
    kept = wish.crew is None and wished(desk.record, wish) == desk.record
    text = snapshot.text()
    return {
        "options": options,
        "trouble": (),
        "tried": not kept,
        "crew_tried": wish.crew,
        "below": [option for option in options if option.get("below_floor")] if costs else [],
        "said": _said(snapshot, costs=costs),
        "formula_shares": share_words(snapshot.book) if costs else "",
        "gates_open": len(snapshot.gates.open),
        **_since_latest(desk, text, user),
    }


def option_columns(snapshot: Snapshot, user: access.Person) -> list[Form]:
    """Options side by side, each with its lines; lines open down to their inputs for those who may read costs."""
    frozen = snapshot.forms()
    columns = []
    for priced, form, outcome in zip(
        snapshot.options, frozen["estimate"]["options"], frozen["performance"]["options"], strict=True
    ):
        column = option_chapter(form, outcome, snapshot.house, frozen, user)
        if access.allowed(user, "cost.read"):
            column["trails"] = line_trails(snapshot, priced)
            column["floor_price_cents"] = floor_price(priced, snapshot)
        columns.append(column)
    return columns


def floor_price(priced: PricedOption, snapshot: Snapshot) -> int | None:
    """The least price at which the option keeps the floor margin, to the cent above; None where none can. [cents]

    Notes
    -----
    .. math:: P = C / (1 - f - s)

    with cost C, floor f and price shares s. Shares are rounded to the cent each, so one cent a share is added.
    """
    shares = shares_basis(best_rates(snapshot.book))
    try:
        return int(price_cents(priced.cost_cents, int(parts(priced.floor_margin, BASIS)), shares)) + 3
    except PriceRefused:
        return None


def _said(snapshot: Snapshot, *, costs: bool) -> str:
    """The outcome in a sentence, for those who hear the page."""
    pieces = []
    for priced in snapshot.options:
        words = f"{priced.option.name}: ${priced.price_cents / 100:,.2f}"
        if costs:
            words += f", margin {priced.margin:.1%}"
            words += ", below the floor" if priced.below_floor else ""
        pieces.append(words)
    return "; ".join(pieces)


def _since_latest(desk: Desk, text: str, user: access.Person) -> Form:
    """Whether these figures are frozen already, and else what changed since the last revision."""
    latest = desk.latest
    if latest is None:
        return {"frozen": False, "since": None}
    if latest.sha256 == hashlib.sha256(text.encode()).hexdigest():
        return {"frozen": True, "since": None}
    try:
        since = compare(
            json.loads(latest.snapshot),
            json.loads(text),
            prices=access.allowed(user, "price.read"),
            costs=access.allowed(user, "cost.read"),
        )
    except (BadRecord, KeyError):
        # An old engine froze other fields: then there is nothing to compare line by line.
        return {"frozen": False, "since": None}
    return {"frozen": False, "since": since}
