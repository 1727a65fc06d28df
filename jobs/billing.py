"""What a job may be billed: its contract to the cent, what was billed, what is earned, what stands in the way."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from estimates.contract import SCHEDULE, WORK_AND_MATERIAL
from estimates.models.proposal import ProposalStatus
from estimates.money import format_money, round_half_up, to_cents
from estimates.pricing import PARTS
from estimates.rules import RuleRow, rule_from_form, rule_on
from estimates.tax import SalesTax, sales_tax
from jobs.booking import frozen_forms
from jobs.models import (
    Bay,
    BayState,
    Certificate,
    CertificateKind,
    ChangeOrder,
    ChangeStatus,
    CostItem,
    CostKind,
    GateKind,
    Invoice,
    InvoiceKind,
    Job,
    JobGate,
    JobPaper,
    JobStatus,
    Phase,
    PhaseKind,
    PhaseStatus,
    TaxCertificate,
    Verification,
)
from jobs.phase_plan import option_form
from jobs.verification import void_share

RECEIPT = "receipt"
"""Kind of the paper that tells the homeowner what was installed (16 CFR 460.17, rule B1)."""

LEAD_RECORDS = ("completion",)
"""Kinds of papers that hold the records of lead-safe work (40 CFR 745.86, rule G4): the completion packet."""

FILLED = (BayState.FILLED, BayState.PROVEN)

MEASURE_PHASES = {"attic": PhaseKind.ATTIC, "leak": PhaseKind.AIR_SEALING}
"""Code of a priced line -> the phase whose end says that its work is done; walls go bay by bay."""


# --- The contract ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Contract:
    """What was signed, with the sales tax that holds now. [cents]

    `signed_cents` is price and tax as signed; `needs_certificate` says that the estimate counted on a certificate that
    nobody has seen yet.
    """

    price_cents: int
    tax: SalesTax
    signed_cents: int
    discount_cents: int
    commission_cents: int
    lines: tuple[Mapping[str, Any], ...]
    steps: tuple[Mapping[str, Any], ...]
    given: tuple[Mapping[str, Any], ...]
    schedule_rule: RuleRow | None
    lead_safe: bool
    needs_certificate: bool
    may_exempt: bool
    certificate: TaxCertificate | None = field(default=None, compare=False)

    @property
    def total_cents(self) -> int:
        """Price and tax. [cents]"""
        return self.price_cents + self.tax.cents

    def step_cents(self, *due: str) -> int:
        """What the signed schedule asks for on these occasions. [cents]"""
        return sum(int(step["cents"]) for step in self.steps if step["due"] in due)


def contract_of(job: Job) -> Contract:
    """The contract of a job, read from the estimate that was frozen at its signature.

    The tax is worked out again by the frozen rules, because the certificate of the customer may come, or fail to come,
    after the signature.

    Raises
    ------
    KeyError : the estimate does not hold the option that was signed.
    """
    frozen = frozen_forms(job)
    option = option_form(frozen, job.option)
    rows = tuple(rule_from_form(form) for form in frozen["rules"])
    estimate = frozen["estimate"]
    places, on = tuple(estimate["places"]), date.fromisoformat(estimate["priced_on"])
    counted_on = bool(frozen["house"].get("capital_improvement"))
    certificate = TaxCertificate.objects.filter(job=job).order_by("at", "id").last()
    holds = counted_on if certificate is None else certificate.holds
    given = tuple(option["incentives"]["given"])

    def tax(with_certificate: bool) -> SalesTax:
        return sales_tax(
            rows,
            places,
            on=on,
            price_cents=int(option["price_cents"]),
            cost_cents={
                part: sum(int(line["direct_cost_parts_cents"][part]) for line in option["lines"]) for part in PARTS
            },
            lowered_cents=sum(int(one["cents"]) for one in given if one["lowers_taxable"]),
            certificate=with_certificate,
        )

    without, with_it = tax(False), tax(True)
    may_exempt = with_it.cents != without.cents
    schedule = rule_on(rows, places, SCHEDULE, on)
    return Contract(
        price_cents=int(option["price_cents"]),
        tax=with_it if holds else without,
        signed_cents=int(option["total_cents"]),
        discount_cents=int(option["discount_cents"]),
        commission_cents=int(option["commission_cents"]),
        lines=tuple(option["lines"]),
        steps=tuple(option["payments"]),
        given=given,
        schedule_rule=schedule if schedule is not None and schedule.value == WORK_AND_MATERIAL else None,
        lead_safe=bool(option["lead_rule"]["holds"]),
        needs_certificate=may_exempt and counted_on and certificate is None,
        may_exempt=may_exempt,
        certificate=certificate,
    )


# --- What was billed -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Bill:
    """An invoice with what became of it. [cents]

    `credited` by credit notes, of which `rebilled` take the bill back; `retained` is still held back; `open` is
    asked and not paid; `to_credit` may still be credited.
    """

    invoice: Invoice
    total: int
    net_left: int
    tax_left: int
    credited: int
    rebilled_net: int
    rebilled_tax: int
    retained: int
    paid: int
    open: int
    taken_back: bool

    @property
    def to_credit(self) -> int:
        """What a credit note may still take back. [cents]"""
        return self.net_left + self.tax_left

    @property
    def rebilled(self) -> int:
        """What is billed again, tax included. [cents]"""
        return self.rebilled_net + self.rebilled_tax

    @property
    def counts(self) -> int:
        """What it takes of the contract: all of it, less what is billed again. [cents]"""
        return self.total - self.rebilled

    @property
    def counts_tax(self) -> int:
        """The tax in that. [cents]"""
        return to_cents(self.invoice.tax) - self.rebilled_tax

    @property
    def live(self) -> bool:
        """Whether it was not taken back."""
        return not self.taken_back


def bills_of(jobs: Iterable[Job]) -> dict[int, tuple[Bill, ...]]:
    """Job id -> its invoices in order, with what became of each; three queries, however many there are."""
    rows = Invoice.objects.filter(job__in=list(jobs)).select_related("change", "job__house")
    invoices = list(rows.prefetch_related("allocations").order_by("issued_at", "id"))
    notes: dict[int, list[Invoice]] = {}
    for row in invoices:
        if row.credits_id is not None:
            notes.setdefault(row.credits_id, []).append(row)
    final = (row for row in invoices if row.kind == InvoiceKind.FINAL)
    released = {row.job_id for row in final if not any(note.rebill for note in notes.get(row.pk, ()))}
    found: dict[int, list[Bill]] = {}
    for row in invoices:
        if row.kind != InvoiceKind.CREDIT:
            found.setdefault(row.job_id, []).append(_bill(row, notes.get(row.pk, []), row.job_id in released))
    return {job: tuple(bills) for job, bills in found.items()}


def _bill(row: Invoice, notes: Sequence[Invoice], released: bool) -> Bill:
    paid = sum(to_cents(one.amount) for one in row.allocations.all())
    held = to_cents(row.retained) - sum(to_cents(note.retained) for note in notes)
    return Bill(
        invoice=row,
        total=to_cents(row.total),
        net_left=to_cents(row.net) - sum(to_cents(note.net) for note in notes),
        tax_left=to_cents(row.tax) - sum(to_cents(note.tax) for note in notes),
        credited=sum(to_cents(note.total) for note in notes),
        rebilled_net=sum(to_cents(note.net) for note in notes if note.rebill),
        rebilled_tax=sum(to_cents(note.tax) for note in notes if note.rebill),
        retained=0 if released else held,
        paid=paid,
        open=to_cents(row.payable) - paid - sum(to_cents(note.applied) for note in notes),
        taken_back=any(note.rebill for note in notes),
    )


def job_bills(job: Job) -> tuple[Bill, ...]:
    """The invoices of a job in order, with what became of each."""
    return bills_of([job]).get(job.pk, ())


def live_of(bills: Iterable[Bill], *kinds: InvoiceKind) -> tuple[Bill, ...]:
    """Bills of these kinds that were not taken back."""
    return tuple(bill for bill in bills if bill.live and bill.invoice.kind in kinds)


def contract_parts(bills: Iterable[Bill]) -> tuple[Bill, ...]:
    """Bills that take something of the contract itself: deposits and progress."""
    return tuple(bill for bill in bills if bill.invoice.kind in (InvoiceKind.DEPOSIT, InvoiceKind.PROGRESS))


def contract_billed(bills: Iterable[Bill]) -> int:
    """What deposit and progress invoices took of the contract. [cents]"""
    return sum(bill.counts for bill in contract_parts(bills))


# --- What is earned --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Earned:
    """Work done and material delivered, at contract prices with tax. [cents]

    `share` of the work is done; `material_cents` was delivered beyond what that work took.
    """

    share: float
    work_cents: int
    material_cents: int

    @property
    def cents(self) -> int:
        """All in all. [cents]"""
        return self.work_cents + self.material_cents


def earned_of(job: Job, contract: Contract) -> Earned:
    """How much of a contract is earned (state rules hold progress payments to it).

    Walls count by the filled part of the fill volume of their bays, attics and leak sites once their phase is done.
    Lines of the whole job (tests, travel, ...) are earned as the others are. Delivered material counts at its cost,
    less the material in the work that is done.
    """
    if job.status in (JobStatus.WORK_DONE, JobStatus.VERIFIED, JobStatus.CLOSED):
        return Earned(1.0, contract.total_cents, 0)
    walls = _filled_shares(job)
    ended = set(Phase.objects.filter(job=job, status=PhaseStatus.DONE).values_list("kind", flat=True))
    own = done = material = 0.0
    for line in contract.lines:
        if not line["subject"]:
            continue
        wall = walls.get(line["subject"], 0.0)
        share = wall if line["code"] == "wall" else float(MEASURE_PHASES.get(line["code"]) in ended)
        own += int(line["price_cents"])
        done += share * int(line["price_cents"])
        material += share * int(line["direct_cost_parts_cents"]["material"])
    share = done / own if own else 0.0
    work = int(share * contract.total_cents)
    delivered = sum(
        to_cents(item.amount) for item in CostItem.objects.filter(job=job, kind=CostKind.MATERIAL, call_back=False)
    )
    on_site = max(0, delivered - round(material))
    return Earned(share, work, min(on_site, contract.total_cents - work))


def _filled_shares(job: Job) -> dict[str, float]:
    """Wall -> filled part of what its reachable bays hold."""
    whole: dict[str, float] = {}
    full: dict[str, float] = {}
    bays = Bay.objects.filter(wall__job=job, retired=False, reachable=True)
    for key, volume, state in bays.values_list("wall__key", "fill_ft3", "state"):
        whole[key] = whole.get(key, 0.0) + volume
        full[key] = full.get(key, 0.0) + (volume if state in FILLED else 0.0)
    return {key: full[key] / volume if volume else 0.0 for key, volume in whole.items()}


def progress_limit(job: Job, contract: Contract, bills: Sequence[Bill]) -> tuple[int, str]:
    """The most that a progress invoice may ask for now, and why. [cents]"""
    billed = contract_billed(bills)
    left = contract.total_cents - billed
    if contract.schedule_rule is None:
        return max(0, left), f"{format_money(max(0, left))} of the contract is not billed yet."
    earned = earned_of(job, contract)
    most = max(0, min(left, earned.cents - billed))
    why = (
        f"Work done and material delivered come to {format_money(earned.cents)}, of which {format_money(billed)} is "
        f"billed: at most {format_money(most)} now. {contract.schedule_rule.quote}"
    )
    return most, why


# --- What stands in the way ------------------------------------------------------------------------------------------


def is_cancelled(job: Job) -> bool:
    """Whether the contract was cancelled."""
    return job.status == JobStatus.LOCKED or job.proposal.status == ProposalStatus.CANCELLED


def issue_faults(
    job: Job, kind: InvoiceKind, contract: Contract, bills: Sequence[Bill], *, change: ChangeOrder | None = None
) -> tuple[str, ...]:
    """Everything that keeps an invoice from going out, each with what to do."""
    if is_cancelled(job):
        return ("The contract was cancelled: only credit notes and refunds go out.",)
    final = live_of(bills, InvoiceKind.FINAL)
    if final:
        return (f"The final invoice {final[0].invoice.number} is out. Credit it first if it is wrong.",)
    if kind == InvoiceKind.DEPOSIT:
        return _deposit_faults(contract, bills)
    if kind == InvoiceKind.CHANGE:
        return _change_faults(change, bills)
    missing: tuple[str, ...] = ()
    if contract.needs_certificate:
        missing = (
            "The price counts on a certificate of capital improvement that is not on file. Record it, or record that "
            "none is given: then the tax is charged.",
        )
    if kind == InvoiceKind.FINAL:
        return (*missing, *final_faults(job, contract))
    return missing


def _deposit_faults(contract: Contract, bills: Sequence[Bill]) -> tuple[str, ...]:
    there = live_of(bills, InvoiceKind.DEPOSIT)
    if there:
        return (f"The deposit is invoiced already: {there[0].invoice.number}.",)
    if not contract.step_cents("at signing"):
        return ("The contract asks for no deposit.",)
    return ()


def _change_faults(change: ChangeOrder | None, bills: Sequence[Bill]) -> tuple[str, ...]:
    if change is None:
        return ("Choose the change order.",)
    there = [bill for bill in live_of(bills, InvoiceKind.CHANGE) if bill.invoice.change_id == change.pk]
    if there:
        return (f"Change order {change.number} is invoiced already: {there[0].invoice.number}.",)
    if change.status != ChangeStatus.SIGNED:
        return (f"Change order {change.number} is not signed; only signed work is billed (rule L2).",)
    if change.price + change.tax <= 0:
        return (f"Change order {change.number} is a credit; it comes off the final invoice.",)
    return ()


def final_faults(job: Job, contract: Contract) -> tuple[str, ...]:
    """Every reason why the final invoice of a job has to wait."""
    faults = []
    if job.status not in (JobStatus.VERIFIED, JobStatus.CLOSED):
        faults.append(f"The job is {job.get_status_display().lower()}. Finish and verify the work first.")
    void, word = void_share(job), Verification.objects.filter(job=job).first()
    if void.over and (word is None or word.void_released_by_id is None):
        faults.append(
            f"{void.void_ft2:.1f} ft² of {void.reachable_ft2:.0f} ft² reachable wall is a void ({void.share:.1%}, rule "
            "V1). Refill it and close the finding, or let the owner release it with a reason and credit."
        )
    papers = set(JobPaper.objects.filter(job=job).values_list("kind", flat=True))
    if RECEIPT not in papers:
        faults.append("The receipt of what was installed is not made (rule B1). Make it on the verification page.")
    if contract.lead_safe:
        faults += _lead_faults(job, papers)
    for change in job.changes.filter(status__in=[ChangeStatus.DRAFT, ChangeStatus.ISSUED]):
        if change.status == ChangeStatus.DRAFT:
            faults.append(f"Change order {change.number} is a draft. Issue and have it signed, or withdraw it.")
        elif change.emergency and change.sign_by is not None:
            faults.append(
                f"Change order {change.number} (emergency) is not signed. After {change.sign_by:%Y-%m-%d} it is not "
                "billable: have it signed by then, or withdraw it."
            )
        else:
            faults.append(f"Change order {change.number} is not signed. Have it signed, or withdraw it (rule L2).")
    return tuple(faults)


def _lead_faults(job: Job, papers: set[str]) -> list[str]:
    faults = []
    began = job.started_at.date() if job.started_at is not None else None
    for kind in (CertificateKind.LEAD_FIRM, CertificateKind.LEAD_RENOVATOR):
        rows = Certificate.objects.filter(kind=kind, worker__isnull=kind == CertificateKind.LEAD_FIRM)
        if began is not None and not any(row.holds_on(began) for row in rows):
            faults.append(f"No {kind.label.lower()} certificate was valid on {began:%Y-%m-%d} (rule G4). Record it.")
    if JobGate.objects.filter(job=job, kind=GateKind.PAMPHLET, met_on__isnull=True).exists():
        faults.append("That the lead pamphlet was handed over is not recorded (rule G4). Record it on the job.")
    if not papers & set(LEAD_RECORDS):
        faults.append("The records of the lead-safe work are not made (rule G4). Make them on the verification page.")
    return faults


def tax_part(contract: Contract, amount: int, billed: int, billed_tax: int) -> tuple[int, int]:
    """Tax in the next part of a contract, and the amount it is worked out on, so that all parts add up. [cents]

    Parameters
    ----------
    amount : of the part, tax included.
    billed, billed_tax : of the parts before it.

    Returns
    -------
    (tax, taxable), neither below 0 nor above the part.

    Examples
    --------
    A third of $108.00 at 8 percent, then the rest:

    >>> tax = SalesTax(None, 0.08, 10000, 800, "")
    >>> contract = Contract(10000, tax, 10800, 0, 0, (), (), (), None, False, False, False)
    >>> tax_part(contract, 3600, 0, 0), tax_part(contract, 7200, 3600, 267)
    ((267, 3333), (533, 6667))
    """
    total = contract.total_cents
    if not total:
        return 0, 0
    so_far = round_half_up(contract.tax.cents * (billed + amount), total)
    tax = max(0, min(so_far - billed_tax, amount))
    before = round_half_up(contract.tax.taxable_cents * billed, total)
    taxable = round_half_up(contract.tax.taxable_cents * (billed + amount), total) - before
    return tax, taxable
