"""The rows of the jobs app, one module per noun."""

from jobs.models.bay import Bay, BayState, JobWall
from jobs.models.change_order import ChangeOrder, ChangeStatus
from jobs.models.cost import CostItem, CostKind
from jobs.models.export import AccountMap, ExportBatch, ExportForm, ExportKind
from jobs.models.installation import CrewEntry, EntryKind
from jobs.models.invoice import Invoice, InvoiceKind, InvoiceLine, TaxCertificate
from jobs.models.job import GateKind, Job, JobGate, JobStatus, Phase, PhaseKind, PhaseStatus
from jobs.models.learning import HouseBills, LearnedChoice
from jobs.models.ledger import Account, AccountKind, Entry, Period, Posting
from jobs.models.payment import Allocation, Payer, Payment, PaymentMethod, Refund
from jobs.models.resource import (
    Absence,
    Certificate,
    CertificateKind,
    Crew,
    CrewMember,
    CrewRig,
    Resource,
    Rig,
    RigKind,
    Skill,
    Worker,
    WorkerSkill,
)
from jobs.models.slot import DayWeather, Slot, Visit
from jobs.models.verification import Finding, FindingKind, HouseTest, JobPaper, SignOff, Verdict, Verification

__all__ = [
    "Absence",
    "Account",
    "AccountKind",
    "AccountMap",
    "Allocation",
    "Bay",
    "BayState",
    "Certificate",
    "CertificateKind",
    "ChangeOrder",
    "ChangeStatus",
    "CostItem",
    "CostKind",
    "Crew",
    "CrewEntry",
    "CrewMember",
    "CrewRig",
    "DayWeather",
    "Entry",
    "EntryKind",
    "ExportBatch",
    "ExportForm",
    "ExportKind",
    "Finding",
    "FindingKind",
    "GateKind",
    "HouseBills",
    "HouseTest",
    "Invoice",
    "InvoiceKind",
    "InvoiceLine",
    "Job",
    "JobGate",
    "JobPaper",
    "JobStatus",
    "JobWall",
    "LearnedChoice",
    "Payer",
    "Payment",
    "PaymentMethod",
    "Period",
    "Phase",
    "PhaseKind",
    "PhaseStatus",
    "Posting",
    "Refund",
    "Resource",
    "Rig",
    "RigKind",
    "SignOff",
    "Skill",
    "Slot",
    "TaxCertificate",
    "Verdict",
    "Verification",
    "Visit",
    "Worker",
    "WorkerSkill",
]
