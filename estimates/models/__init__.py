"""The rows of the estimates app, one module per noun."""

from estimates.models.activity import ActivityEntry
from estimates.models.answer import Cancellation, CancellationDecision, Disclosure, DisclosureKind, Question, Reply
from estimates.models.assessment import Assessment, AssessmentStatus
from estimates.models.call import CallEntry, CallOutcome, CallPurpose
from estimates.models.command import Command
from estimates.models.counter import Counter
from estimates.models.estimate import EstimateRevision
from estimates.models.house import House
from estimates.models.lead import Lead, LeadMove, LeadSource, LeadStage, LostReason
from estimates.models.link import LinkPurpose, PrivateLink
from estimates.models.outbox import OutboxMessage
from estimates.models.paper import PaperTemplate, ProposalPaper
from estimates.models.pricebook import PriceBookVersion
from estimates.models.proposal import Proposal, ProposalStatus
from estimates.models.rule import Rule
from estimates.models.user import Role, User

__all__ = [
    "ActivityEntry",
    "Assessment",
    "AssessmentStatus",
    "CallEntry",
    "CallOutcome",
    "CallPurpose",
    "Cancellation",
    "CancellationDecision",
    "Command",
    "Counter",
    "Disclosure",
    "DisclosureKind",
    "EstimateRevision",
    "House",
    "Lead",
    "LeadMove",
    "LeadSource",
    "LeadStage",
    "LinkPurpose",
    "LostReason",
    "OutboxMessage",
    "PaperTemplate",
    "PriceBookVersion",
    "PrivateLink",
    "Proposal",
    "ProposalPaper",
    "ProposalStatus",
    "Question",
    "Reply",
    "Role",
    "Rule",
    "User",
]
