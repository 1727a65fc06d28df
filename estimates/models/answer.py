"""What came back from the homeowner: what was shown and agreed to, questions, and the notice to cancel."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import F, Q

from estimates.models.frozen import FrozenModel, FrozenQuerySet
from estimates.models.proposal import Proposal
from estimates.models.user import User


class DisclosureKind(models.TextChoices):
    """What was shown to a homeowner, or agreed to."""

    FACT_SHEET = "fact_sheet", "Fact sheets shown before signing"
    ELECTRONIC_RECORDS = "electronic_records", "Agreed to electronic records"
    ACKNOWLEDGEMENTS = "acknowledgements", "Clauses signed apart"
    CANCELLATION_NOTICE = "cancellation_notice", "Notice of cancellation handed over, two copies"


class DisclosureQuerySet(FrozenQuerySet["Disclosure"]):
    """Reads of disclosures."""

    def visible_to(self, user: User | AnonymousUser) -> DisclosureQuerySet:
        """Return those of the proposals that somebody may know of."""
        return self.filter(proposal__in=Proposal.objects.visible_to(user))


class Disclosure(FrozenModel):
    """Something that was shown to the homeowner or agreed to, with its very words, once for a proposal."""

    proposal = models.ForeignKey(Proposal, on_delete=models.PROTECT, related_name="disclosures")
    kind = models.CharField(max_length=30, choices=DisclosureKind)
    at = models.DateTimeField()
    words = models.TextField()
    language = models.CharField(max_length=40, default="English")
    copies = models.PositiveSmallIntegerField(default=1)
    origin = models.CharField(max_length=100, blank=True)

    objects = DisclosureQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "disclosure"
        ordering = ("proposal", "at", "id")
        constraints = (
            models.UniqueConstraint(name="disclosure_once_per_proposal", fields=["proposal", "kind"]),
            models.CheckConstraint(name="disclosure_kind_known", condition=Q(kind__in=DisclosureKind.values)),
            models.CheckConstraint(name="disclosure_has_words", condition=~Q(words="")),
        )

    def __str__(self) -> str:
        return f"{self.kind} {self.proposal_id}"


class QuestionQuerySet(FrozenQuerySet["Question"]):
    """Reads of questions."""

    def visible_to(self, user: User | AnonymousUser) -> QuestionQuerySet:
        """Return those of the proposals that somebody may know of."""
        return self.filter(proposal__in=Proposal.objects.visible_to(user))


class Question(FrozenModel):
    """A question that the homeowner asked on the page of a proposal."""

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    proposal = models.ForeignKey(Proposal, on_delete=models.PROTECT, related_name="questions")
    key = models.UUIDField()
    """Made with the form: the same form sent twice is one question."""
    at = models.DateTimeField()
    words = models.CharField(max_length=2000)
    reach = models.CharField(max_length=120, blank=True)
    """Where the homeowner wants the answer."""
    origin = models.CharField(max_length=100, blank=True)

    objects = QuestionQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "question"
        ordering = ("proposal", "at", "id")
        constraints = (
            models.UniqueConstraint(name="question_once_per_form", fields=["proposal", "key"]),
            models.CheckConstraint(name="question_has_words", condition=~Q(words="")),
        )

    def __str__(self) -> str:
        return f"question {self.code}"


class ReplyQuerySet(FrozenQuerySet["Reply"]):
    """Reads of replies."""

    def visible_to(self, user: User | AnonymousUser) -> ReplyQuerySet:
        """Return those to questions about proposals that somebody may know of."""
        return self.filter(question__proposal__in=Proposal.objects.visible_to(user))


class Reply(FrozenModel):
    """What the office answered to a question; a second reply adds to the first, and none is changed."""

    question = models.ForeignKey(Question, on_delete=models.PROTECT, related_name="replies")
    key = models.UUIDField()
    """Made with the form: the same form sent twice is one reply."""
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    words = models.CharField(max_length=4000)
    mailed_to = models.CharField(max_length=254, blank=True)
    """Where the letter went; nobody where no address was known."""

    objects = ReplyQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "reply"
        verbose_name_plural = "replies"
        ordering = ("question", "at", "id")
        constraints = (
            models.UniqueConstraint(name="reply_once_per_form", fields=["question", "key"]),
            models.CheckConstraint(name="reply_has_words", condition=~Q(words="")),
        )

    def __str__(self) -> str:
        return f"reply to {self.question_id}"


class CancellationQuerySet(FrozenQuerySet["Cancellation"]):
    """Reads of cancellations."""

    def visible_to(self, user: User | AnonymousUser) -> CancellationQuerySet:
        """Return those of the proposals that somebody may know of."""
        return self.filter(proposal__in=Proposal.objects.visible_to(user))


class Cancellation(FrozenModel):
    """A notice to cancel, as it came in: never refused, never changed.

    `in_time` is what the rules of the place say of it; None where the contract states that no right exists.
    `last_day` is None while the clock of the right had not started.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    proposal = models.OneToOneField(Proposal, on_delete=models.PROTECT, related_name="cancellation")
    received_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)
    postmarked_on = models.DateField(null=True, blank=True)
    by_link = models.BooleanField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    """Nobody where the homeowner sent it through the private link."""
    recorded_at = models.DateTimeField()
    reason = models.CharField(max_length=500, blank=True)
    zone = models.CharField(max_length=40)
    signed_at = models.DateTimeField()
    notice_delivered_at = models.DateTimeField(null=True, blank=True)
    notice_language = models.CharField(max_length=40, blank=True)
    notice_copies = models.PositiveSmallIntegerField(default=0)
    sold_in = models.CharField(max_length=40)
    coverage = models.CharField(max_length=20)
    last_day = models.DateField(null=True, blank=True)
    in_time = models.BooleanField(null=True)
    refund_due = models.DateField()
    rule = models.CharField(max_length=1000)
    """The rule that decides, quoted, or why its clock had not started."""
    origin = models.CharField(max_length=100, blank=True)

    objects = CancellationQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "cancellation"
        ordering = ("received_at", "id")
        constraints = (
            models.CheckConstraint(
                name="cancellation_sent_before_received",
                condition=Q(sent_at__isnull=True) | Q(sent_at__lte=F("received_at")),
            ),
            models.CheckConstraint(
                name="cancellation_by_link_or_person",
                condition=Q(by_link=True, recorded_by__isnull=True) | Q(by_link=False, recorded_by__isnull=False),
            ),
        )

    def __str__(self) -> str:
        return f"cancellation {self.code}"

    @property
    def words(self) -> str:
        """In time, or late and for the owner to decide."""
        if self.in_time is None:
            return f"stated as {self.coverage} – owner decides"
        return "in time" if self.in_time else "late – owner decides"


class CancellationDecisionQuerySet(FrozenQuerySet["CancellationDecision"]):
    """Reads of decisions on cancellations."""

    def visible_to(self, user: User | AnonymousUser) -> CancellationDecisionQuerySet:
        """Return those of the proposals that somebody may know of."""
        return self.filter(cancellation__proposal__in=Proposal.objects.visible_to(user))


class CancellationDecision(FrozenModel):
    """What the owner made of a notice that came late."""

    cancellation = models.OneToOneField(Cancellation, on_delete=models.PROTECT, related_name="decision")
    granted = models.BooleanField()
    reason = models.CharField(max_length=500)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = CancellationDecisionQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "decision on a cancellation"
        constraints = (models.CheckConstraint(name="cancellation_decision_has_a_reason", condition=~Q(reason="")),)

    def __str__(self) -> str:
        return f"decision on {self.cancellation_id}"
