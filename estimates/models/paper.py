"""Papers as they went out, and the templates they are written from."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import Q
from django.db.models.functions import Length
from django.db.models.lookups import Exact

from estimates.models.frozen import FrozenModel, FrozenQuerySet
from estimates.models.proposal import Proposal
from estimates.models.user import Role, User


class PaperTemplateQuerySet(FrozenQuerySet["PaperTemplate"]):
    """Reads of templates."""

    def visible_to(self, user: User | AnonymousUser) -> PaperTemplateQuerySet:
        """Return the templates for the owner, none for others."""
        owner = isinstance(user, User) and user.is_active and user.role == Role.OWNER
        return self.all() if owner else self.none()


class PaperTemplate(FrozenModel):
    """A template that was taken into use: the newest row is the one that papers are written from.

    Taking an earlier one back is a new row with its sha256. `sha256` is "" for the template that comes with the
    program; others lie in the data folder under their sha256.
    """

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    number = models.PositiveIntegerField(unique=True)
    name = models.CharField(max_length=120)
    sha256 = models.CharField(max_length=64, blank=True)
    size = models.PositiveIntegerField()
    taken_at = models.DateTimeField()
    taken_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    restores = models.PositiveIntegerField(null=True, blank=True)
    """Number of the earlier row that this one brings back; 0 for the template that comes with the program."""

    objects = PaperTemplateQuerySet.as_manager()

    class Meta(FrozenModel.Meta):
        verbose_name = "template"
        ordering = ("-number",)
        constraints = (
            models.CheckConstraint(name="template_number_from_one", condition=Q(number__gte=1)),
            models.CheckConstraint(name="template_named", condition=~Q(name="")),
            models.CheckConstraint(
                name="template_sha256_whole", condition=Q(Exact(Length("sha256"), 64)) | Q(sha256="", restores=0)
            ),
        )

    def __str__(self) -> str:
        return f"template {self.number}"


class ProposalPaperQuerySet(FrozenQuerySet["ProposalPaper"]):
    """Reads of papers of proposals."""

    def visible_to(self, user: User | AnonymousUser) -> ProposalPaperQuerySet:
        """Return those of the proposals that somebody may know of."""
        return self.filter(proposal__in=Proposal.objects.visible_to(user))


class ProposalPaper(FrozenModel):
    """What a proposal said when it went out: the page shows it from here, whatever the program learns later.

    `content` is what `estimates.proposal_look` made: texts, options with their payments, fact sheets, drawings.
    """

    proposal = models.OneToOneField(Proposal, on_delete=models.PROTECT, related_name="paper")
    content = models.JSONField(encoder=DjangoJSONEncoder)
    template = models.ForeignKey(PaperTemplate, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    zone = models.CharField(max_length=40)
    """Time zone of the house."""
    sold_in = models.CharField(max_length=40)
    """Language in which the sale was made."""
    mail_to = models.EmailField(blank=True)
    site = models.CharField(max_length=200)
    """Address under which the program was reached, without a slash at its end; links are made of it."""

    class Meta(FrozenModel.Meta):
        verbose_name = "paper of a proposal"
        constraints = (
            models.CheckConstraint(name="paper_zone_named", condition=~Q(zone="")),
            models.CheckConstraint(name="paper_sold_in_a_language", condition=~Q(sold_in="")),
            models.CheckConstraint(name="paper_site_named", condition=~Q(site="")),
        )

    objects = ProposalPaperQuerySet.as_manager()

    def __str__(self) -> str:
        return f"paper of {self.proposal_id}"
