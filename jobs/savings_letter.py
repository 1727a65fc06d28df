"""The letter that tells a homeowner what the bills say of the work, beside what was promised."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.core.exceptions import ValidationError

from estimates.cancelling import contract_rules
from estimates.claims import paper_faults, savings_words
from estimates.docx_paper import Shape, fill_in, text_of
from estimates.firm import load_firm
from estimates.pricebook import PriceBook
from estimates.proposal_words import long_date
from estimates.records import read_record
from estimates.rules import places_of
from jobs.booking import frozen_forms
from jobs.models import HouseBills, Job
from jobs.savings_after import SavingsAfter, savings_of

TEMPLATE = Path(__file__).resolve().parent.parent / "templates" / "documents" / "savings_letter.docx"

SHAPE: Shape = {
    "number": "",
    "made_on": "",
    "firm": dict.fromkeys(("name", "street", "town", "phone", "email", "licence"), ""),
    "house": dict.fromkeys(("name", "customer", "street", "town"), ""),
    "said": [""],
    "method": [""],
    "savings_vary": "",
}
"""Every name that the template may use; no price and no cost is among them."""


def savings_letter(job: Job, *, on: date) -> bytes:
    """Write the letter from the bills that were kept last.

    Parameters
    ----------
    job : one with bills after the work.
    on : the day it carries.

    Raises
    ------
    ValidationError : no bills were kept, or the letter would claim what papers may not (16 CFR 460).
    OutOfRange : the bills that were kept cannot be compared any more.
    """
    kept = HouseBills.objects.filter(job=job).select_related("job__revision").order_by("-at", "-id").first()
    if kept is None:
        raise ValidationError({"bills": "Enter bills after the work first; the letter is written from them."})
    forms = frozen_forms(job)
    content = letter_content(job, savings_of(kept, forms), on=on)
    paper = fill_in(TEMPLATE, content, issued_on=on, author=load_firm().name)
    book = read_record(PriceBook, forms["price_book"])
    with TemporaryDirectory() as folder:
        path = Path(folder) / "letter.docx"
        path.write_bytes(paper)
        faults = paper_faults(text_of(path), book.foam, book.loose_fill, savings_text=content["savings_vary"])
    if faults:
        raise ValidationError({"bills": [str(fault) for fault in faults]})
    return paper


def letter_content(job: Job, found: SavingsAfter, *, on: date) -> dict[str, Any]:
    """Everything that the letter says."""
    firm, house, measured = load_firm(), job.house, found.measured
    places = places_of(house.state, *([house.county] if house.county.strip() else []))
    signed = job.proposal.accepted_at
    rules = contract_rules(job.proposal, places)
    return {
        "number": job.number,
        "made_on": long_date(on),
        "firm": {name: getattr(firm, name) for name in ("name", "street", "town", "phone", "email", "licence")},
        "house": {
            "name": house.name,
            "customer": house.customer_name,
            "street": house.street,
            "town": ", ".join(part for part in (house.town, f"{house.state} {house.postal_code}".strip()) if part),
        },
        "said": [
            f"In a year of normal weather the house uses {measured.saved:,.0f} {found.unit} less than before, "
            f"{measured.share * 100:.0f} % of what the meter counted.",
            f"We are four in five sure that it lies between {measured.low:,.0f} and {measured.high:,.0f} {found.unit}.",
            f"Before the work we expected {found.promised['p50']:,.0f} {found.unit}, between "
            f"{found.promised['p10']:,.0f} and {found.promised['p90']:,.0f}: this is {found.kept.value}.",
        ],
        "method": [
            "Your own bills before and after the work, each brought to the same normal weather by its degree days.",
            "Other changes count as well: people, the thermostat, a new appliance. The bills cannot tell them apart.",
        ],
        "savings_vary": savings_words(rules, places, on=on if signed is None else signed.date()),
    }
