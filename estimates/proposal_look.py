"""What exactly a proposal would send out: document, letter and page content, and what keeps it from going."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from estimates.claims import paper_faults, savings_words
from estimates.drawing import elevation, to_svg
from estimates.firm import load_firm
from estimates.mail import LINK
from estimates.models.paper import PaperTemplate
from estimates.models.proposal import Proposal, ProposalStatus
from estimates.paper_templates import current_template, template_path
from estimates.papers import claim_faults, issue_faults, price_ends, write_house_proposal
from estimates.proposal import proposal_context
from estimates.proposal_money import incentive_rows, payment_rows
from estimates.proposal_words import long_date
from estimates.proposals import proposal_floor_faults
from estimates.records import Fault
from estimates.snapshot import Snapshot, SnapshotDiffers, snapshot_from_text

DRAWN_PX, DRAWN_FOR_PX = 544.0, 318.0
"""Width of an elevation where there is room, and the narrow one its labels are made for. [CSS px]"""

FACT_SHEET_WORDS = (
    "R means resistance to heat flow. The higher the R-value, the greater the insulating power. Compare insulation "
    "R-values before you buy.",
    "There are other factors to consider. The amount of insulation you need depends mainly on the climate you live in. "
    "Also, your fuel savings from insulation will depend upon the climate, the type and size of your house, the amount "
    "of insulation already in your house, and your fuel use patterns and family size. If you buy too much insulation, "
    "it will cost you more than what you'll save on fuel.",
    "To get the marked R-value, it is essential that this insulation be installed properly.",
)
"""What a fact sheet says under its table. Source: 16 CFR 460.13(e), wording from memory (M)."""


@dataclass(frozen=True, slots=True)
class Terms:
    """What the sender chooses. `mail_to` "" : the link is handed over by other means. `words` go into the letter."""

    valid_until: date
    mail_to: str = ""
    words: str = ""
    sold_in: str = "English"


@dataclass(frozen=True, slots=True)
class Look:
    """What exactly would go out on a day, and what keeps it from going.

    `document` is the .docx to the byte; `seen` is a hash of everything that would go out, so that what is sent is what
    was looked at. Without a document (`faults` say why) the other parts are empty.
    """

    faults: tuple[str, ...]
    notes: tuple[str, ...]
    document: bytes
    sha256: str
    content: dict[str, Any]
    template: PaperTemplate | None
    subject: str
    letter: str
    seen: str


def last_price_day(proposal: Proposal, *, on: date) -> date:
    """The last day that a price given on a day may hold, by the price book of the revision."""
    rates = json.loads(proposal.revision.snapshot)["price_book"]["rates"]
    return on + timedelta(days=next(int(rate["best"]) for rate in rates if rate["id"] == "price_valid"))


def proposal_look(proposal: Proposal, terms: Terms, *, on: date) -> Look:
    """What would go out on a day.

    Parameters
    ----------
    proposal : a draft, with its revision and house.
    terms : what the sender chooses.
    on : the day of issue.

    Returns
    -------
    Look; nothing is written.
    """
    template = current_template()
    try:
        snapshot = snapshot_from_text(proposal.revision.snapshot)
    except SnapshotDiffers:
        sentence = (
            "The program has changed since this revision was frozen, and would come to other figures. Freeze a new "
            "revision, then make its proposal."
        )
        return Look((sentence,), (), b"", "", {}, template, "", "", "")
    path = template_path(template)
    found = [*issue_faults(snapshot, template=path), *proposal_floor_faults(proposal)]
    faults = list(dict.fromkeys(_sentence(fault, snapshot) for fault in found))
    if not on <= terms.valid_until <= price_ends(snapshot, on):
        ends = long_date(price_ends(snapshot, on))
        faults.append(f"The price may hold from today until {ends} at the latest. Enter a day between.")
    document, claims = _document(proposal, snapshot, terms, path, on)
    subject, letter = letter_words(proposal, terms)
    faults += [_sentence(fault, snapshot) for fault in claims]
    faults += [f"The letter: {said}." for said in _letter_faults(letter, snapshot)]
    sha256 = hashlib.sha256(document).hexdigest()
    parts = (sha256, subject, letter, terms.mail_to, terms.sold_in, terms.valid_until.isoformat())
    return Look(
        tuple(faults),
        tuple(_notes(proposal, terms)),
        document,
        sha256,
        _content(proposal, snapshot, terms, on),
        template,
        subject,
        letter,
        hashlib.sha256("\0".join(parts).encode()).hexdigest(),
    )


def _document(
    proposal: Proposal, snapshot: Snapshot, terms: Terms, template: Path, on: date
) -> tuple[bytes, tuple[Fault, ...]]:
    with TemporaryDirectory() as folder:
        paper = write_house_proposal(
            snapshot,
            Path(folder) / "proposal.docx",
            revision=proposal.revision_number,
            issued_on=on,
            template=template,
            number=proposal.number,
            valid_until=max(on, terms.valid_until),
        )
        return paper.read_bytes(), claim_faults(snapshot, paper)


def _content(proposal: Proposal, snapshot: Snapshot, terms: Terms, on: date) -> dict[str, Any]:
    """What the page of the homeowner shows, as text and lists."""
    context = proposal_context(
        snapshot,
        number=proposal.number,
        revision=proposal.revision_number,
        issued_on=on,
        valid_until=max(on, terms.valid_until),
        firm=load_firm(),
    )
    pairs = zip(context["options"], snapshot.options, snapshot.offers, strict=True)
    options = [
        said
        | {
            "id": priced.option.id,
            "payments": payment_rows([priced], [offer]),
            "incentives": incentive_rows([priced], [offer]),
        }
        for said, priced, offer in pairs
    ]
    left_out = ("options", "payments", "incentives", "notices", "fact_sheet")
    return {name: value for name, value in context.items() if name not in left_out} | {
        "options": options,
        "valid_iso": terms.valid_until.isoformat(),
        "places": list(snapshot.under.places),
        "priced_on": snapshot.under.priced_on,
        "fact_sheet_line": context["fact_sheet"],
        "fact_sheets": list(_fact_sheets(snapshot, context)),
        "drawings": list(_drawings(snapshot)),
    }


def _fact_sheets(snapshot: Snapshot, context: Mapping[str, Any]) -> Iterable[dict[str, Any]]:
    foam, loose = snapshot.book.foam, snapshot.book.loose_fill
    if context["walls"]:
        yield {
            "name": foam.name,
            "kind": foam.kind,
            "head": ["Thickness", "R-value"],
            # Nobody is sold one inch, and no sheet may name its R-value then (16 CFR 460.20).
            "rows": [[f"{row.thickness_in:g} in", f"R-{row.r:g}"] for row in foam.facts if row.thickness_in != 1],
            "cautions": foam.cautions,
        }
    if context["attics"]:
        yield {
            "name": loose.name,
            "kind": loose.kind,
            "head": ["R-value", "As blown, at least", "Settled, at least", "Bags for 1,000 ft², at least"],
            "rows": [
                [f"R-{row.r:g}", f"{row.initial_in:g} in", f"{row.settled_in:g} in", f"{row.bags_per_1000_ft2:g}"]
                for row in loose.coverage
            ],
            "cautions": "",
        }


def _drawings(snapshot: Snapshot) -> Iterable[dict[str, str]]:
    for counted in snapshot.takeoff.priced_walls:
        if counted.layout.quick is None:
            drawing = elevation(counted.layout, counted.wall, shown_px=DRAWN_FOR_PX)
            title = f"{counted.wall.name}, seen from outside"
            svg = to_svg(drawing, title=title, width=DRAWN_PX, key=f"wall-{counted.wall.id}")
            yield {"id": counted.wall.id, "svg": svg}


def letter_words(proposal: Proposal, terms: Terms) -> tuple[str, str]:
    """Subject and text of the letter that brings the private link."""
    house, firm = proposal.house, load_firm()
    text = [
        f"Dear {house.customer_name},",
        f"here is our proposal {proposal.number} for {house.street}, {house.town}.",
        *([terms.words.strip()] if terms.words.strip() else []),
        f"Read it, ask us, and answer it here:\n{LINK}",
        "The link is for you alone: whoever has it can answer in your name. Opening it binds you to nothing.",
        f"The prices hold until {long_date(terms.valid_until)}.",
        f"{firm.name}\n{firm.street}, {firm.town}\n{firm.phone}\n{firm.licence}",
    ]
    return f"Proposal {proposal.number} for {house.name}, from {firm.name}", "\n\n".join(text)


def _letter_faults(letter: str, snapshot: Snapshot) -> Iterable[str]:
    said = savings_words(snapshot.rules, snapshot.under.places, on=snapshot.under.priced_on)
    for fault in paper_faults(letter, snapshot.book.foam, snapshot.book.loose_fill, savings_text=said):
        yield f"{fault}"


def _notes(proposal: Proposal, terms: Terms) -> Iterable[str]:
    """What does not stop a proposal but should be known first."""
    others = Proposal.objects.filter(house=proposal.house, status=ProposalStatus.ISSUED).exclude(pk=proposal.pk)
    for other in others:
        yield (
            f"Proposal {other.number} of revision {other.revision_number} is with the homeowner too, and can still be "
            "accepted. Withdraw it if this one takes its place."
        )
    if terms.sold_in.strip().casefold() != "english":
        yield (
            f"The sale was made in {terms.sold_in}, the notice of cancellation is in English: the time to cancel does "
            f"not begin before it is handed over in {terms.sold_in}."
        )
    if not terms.mail_to:
        yield "No letter goes out: there is no e-mail address. Hand the private link over yourself."


def _sentence(fault: Fault, snapshot: Snapshot) -> str:
    """A fault as a sentence, by the names on the page."""
    head, _, rest = fault.path.partition(".")
    if head == "options":
        name = rest.partition(".")[0]
        names = {priced.option.id: priced.option.name for priced in snapshot.options}
        where = names.get(name, name)
    elif head == "gates":
        return f"A question of the assessment is open. {fault.message[:1].upper()}{fault.message[1:]}"
    elif head in ("clauses", "rules"):
        where = f"The contract, {rest.rpartition('.')[2].replace('_', ' ')}"
    else:
        where = {"paper": "The paper", "template": "The template"}.get(head, head.capitalize())
    said = f"{where}: {fault.message}"
    return said if said.endswith((".", "!", "?")) else f"{said}."
