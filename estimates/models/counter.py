"""Numbers without gaps."""

from __future__ import annotations

from django.db import models


class Counter(models.Model):
    """The last number given out under a name (see `estimates.counter`)."""

    name = models.CharField(max_length=60, unique=True)
    value = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.name} {self.value}"
