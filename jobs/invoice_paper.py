"""The paper of an invoice or credit note: what it says, and the document it is kept as."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.http import Http404

from estimates.docx_paper import Shape, fill_in
from estimates.filing import write_whole
from estimates.firm import load_firm
from estimates.issuing import PaperLost, document_path
from estimates.models.user import User
from estimates.money import format_money, to_cents
from estimates.office import write_pdf
from estimates.proposal_words import long_date
from jobs.models import ChangeStatus, Invoice, InvoiceKind, Job, JobPaper

if TYPE_CHECKING:
    from jobs.billing import Bill, Contract
    from jobs.invoicing import InvoiceLook

TEMPLATE = Path(__file__).resolve().parent.parent / "templates" / "documents" / "invoice.docx"

PAPER_KIND = "invoice"
"""Kind of the papers of a job that are invoices and credit notes."""

SHAPE: Shape = {
    "kind": "",
    "number": "",
    "job": "",
    "proposal": "",
    "issued_on": "",
    "due_on": "",
    "firm": dict.fromkeys(("name", "street", "town", "phone", "email", "licence"), ""),
    "house": dict.fromkeys(("name", "customer", "street", "town"), ""),
    "credits": "",
    "lines": [dict.fromkeys(("text", "quantity", "net", "tax"), "")],
    "net": "",
    "tax": "",
    "tax_why": "",
    "total": "",
    "retained": "",
    "released": "",
    "payable": "",
    "account": [dict.fromkeys(("name", "amount"), "")],
    "notes": [""],
}
"""Every name that the template may use; costs and margins are not among them."""


def paper_content(
    job: Job, look: InvoiceLook, bills: Sequence[Bill], contract: Contract, *, credited: Invoice | None = None
) -> dict[str, Any]:
    """Everything that the paper says, as text; the number is put in when it is issued."""
    firm, house, asked = load_firm(), job.house, look.asked
    return {
        "kind": asked.kind.label,
        "number": "",
        "job": job.number,
        "proposal": job.proposal.number,
        "issued_on": long_date(asked.issued_on),
        "due_on": "" if credited is not None else long_date(asked.due_on),
        "firm": {name: getattr(firm, name) for name in ("name", "street", "town", "phone", "email", "licence")},
        "house": {
            "name": house.name,
            "customer": house.customer_name,
            "street": house.street,
            "town": ", ".join(part for part in (house.town, f"{house.state} {house.postal_code}".strip()) if part),
        },
        "credits": "" if credited is None else f"{credited.number} of {long_date(credited.issued_on)}",
        "lines": [
            {
                "text": line.text,
                "quantity": f"{line.quantity.normalize():f} {line.unit}",
                "net": format_money(line.net),
                "tax": format_money(line.tax),
            }
            for line in look.lines
        ],
        "net": format_money(look.net),
        "tax": format_money(look.tax),
        "tax_why": look.tax_why,
        "total": format_money(look.total),
        "retained": format_money(asked.retained) if asked.retained else "",
        "released": format_money(look.released) if look.released else "",
        "payable": "" if credited is not None else format_money(look.payable),
        "account": _account(job, look, bills, contract, credited),
        "notes": _notes(contract, asked.kind, credited),
    }


def _account(
    job: Job, look: InvoiceLook, bills: Sequence[Bill], contract: Contract, credited: Invoice | None
) -> list[dict[str, str]]:
    """Where the whole contract stands with this paper."""
    signed = job.changes.filter(status=ChangeStatus.SIGNED)
    changes = sum(to_cents(change.price) + to_cents(change.tax) for change in signed)
    before = sum(bill.total - bill.credited for bill in bills)
    paid = sum(bill.paid for bill in bills)
    this = -look.total if credited is not None else look.total
    rows = [("Contract, tax included", contract.total_cents)]
    rows += [("Signed changes", changes)] if changes else []
    rows += [("Invoiced before, credits taken off", before), ("This paper", this), ("Paid so far", paid)]
    return [{"name": name, "amount": format_money(cents)} for name, cents in rows]


def _notes(contract: Contract, kind: InvoiceKind, credited: Invoice | None) -> list[str]:
    if credited is not None:
        return ["What you already paid of it stays to your credit: it is set against what is open, or goes back."]
    notes = []
    if kind == InvoiceKind.DEPOSIT:
        notes.append("Your deposit stays yours until the work is done: it is taken off the final invoice.")
    notes += [
        f"{one['name']} is expected to pay {format_money(int(one['cents']))} of the contract to us (estimate)."
        for one in contract.given
        if one["payee"] == "firm"
    ]
    return notes


def keep_paper(job: Job, content: Mapping[str, Any], *, number: str, by: User, now: datetime) -> JobPaper:
    """Write the document and keep it under its sha256; call it inside the transaction that issues it."""
    issued_on = now.date()
    document = fill_in(TEMPLATE, content, issued_on=issued_on, author=content["firm"]["name"])
    sha256 = hashlib.sha256(document).hexdigest()
    write_whole(document_path(sha256), document)
    paper = JobPaper(
        job=job,
        kind=PAPER_KIND,
        name=f"{number}.docx",
        content=dict(content),
        sha256=sha256,
        made_at=now,
        made_by=by,
    )
    paper.full_clean()
    paper.save()
    return paper


def paper_bytes(paper: JobPaper, *, pdf: bool) -> bytes:
    """The document as it went out; its PDF is made the first time somebody asks for it.

    Raises
    ------
    PaperLost : the document is gone or changed.
    OfficeFailed : the PDF cannot be made.
    Http404 : a PDF, where no office is installed.
    """
    path = document_path(paper.sha256)
    content = path.read_bytes() if path.is_file() else b""
    if hashlib.sha256(content).hexdigest() != paper.sha256:
        raise PaperLost(f"The document {paper.name} is not the one that went out.")
    if not pdf:
        return content
    made = path.with_suffix(".pdf")
    found = made if made.exists() else write_pdf(path)
    if found is None:
        raise Http404
    return found.read_bytes()
