"""The rows of the estimates app, one module per noun."""

from estimates.models.activity import ActivityEntry
from estimates.models.command import Command
from estimates.models.counter import Counter
from estimates.models.estimate import EstimateRevision
from estimates.models.house import House
from estimates.models.link import LinkPurpose, PrivateLink
from estimates.models.outbox import OutboxMessage
from estimates.models.rule import Rule
from estimates.models.user import Role, User

__all__ = [
    "ActivityEntry",
    "Command",
    "Counter",
    "EstimateRevision",
    "House",
    "LinkPurpose",
    "OutboxMessage",
    "PrivateLink",
    "Role",
    "Rule",
    "User",
]
