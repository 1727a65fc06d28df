"""The rows of the jobs app, one module per noun."""

from jobs.models.bay import Bay, BayState, JobWall
from jobs.models.change_order import ChangeOrder, ChangeStatus
from jobs.models.installation import CrewEntry, EntryKind
from jobs.models.job import GateKind, Job, JobGate, JobStatus, Phase, PhaseKind, PhaseStatus
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
    "Bay",
    "BayState",
    "Certificate",
    "CertificateKind",
    "ChangeOrder",
    "ChangeStatus",
    "Crew",
    "CrewEntry",
    "CrewMember",
    "CrewRig",
    "DayWeather",
    "EntryKind",
    "Finding",
    "FindingKind",
    "GateKind",
    "HouseTest",
    "Job",
    "JobGate",
    "JobPaper",
    "JobStatus",
    "JobWall",
    "Phase",
    "PhaseKind",
    "PhaseStatus",
    "Resource",
    "Rig",
    "RigKind",
    "SignOff",
    "Skill",
    "Slot",
    "Verdict",
    "Verification",
    "Visit",
    "Worker",
    "WorkerSkill",
]
