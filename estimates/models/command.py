"""Commands that were carried out, so that a second arrival is answered and not carried out again."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models


class Command(models.Model):
    """A command of one person under the key that the sending device made for it."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    key = models.UUIDField(default=uuid.uuid4)
    body_sha256 = models.CharField(max_length=64)
    answer = models.JSONField(null=True, encoder=DjangoJSONEncoder)
    at = models.DateTimeField()

    class Meta:
        constraints = (models.UniqueConstraint(name="command_once_per_key", fields=["user", "key"]),)

    def __str__(self) -> str:
        return f"{self.key}"
