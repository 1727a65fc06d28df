"""Rows that are written once."""

from __future__ import annotations

from typing import Any, NoReturn, TypeVar

from django.db import models

M = TypeVar("M", bound=models.Model)


class Frozen(Exception):
    """Somebody tried to change or delete a row that is written once."""


class FrozenQuerySet(models.QuerySet[M]):
    """Reads and inserts; refuses everything that would change rows that are there."""

    def update(self, **kwargs: Any) -> NoReturn:
        """Refuse."""
        raise Frozen(f"{self.model._meta.verbose_name} rows are written once and cannot be changed.")

    def delete(self) -> NoReturn:
        """Refuse."""
        raise Frozen(f"{self.model._meta.verbose_name} rows are kept and cannot be deleted.")

    def bulk_update(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Refuse."""
        raise Frozen(f"{self.model._meta.verbose_name} rows are written once and cannot be changed.")

    def bulk_create(self, *args: Any, **kwargs: Any) -> list[M]:
        """Insert rows; the variant that overwrites rows on conflict is refused."""
        if kwargs.get("update_conflicts"):
            raise Frozen(f"{self.model._meta.verbose_name} rows are written once and cannot be changed.")
        return super().bulk_create(*args, **kwargs)


class FrozenModel(models.Model):
    """A row that is inserted once and then neither changed nor deleted."""

    class Meta:
        abstract = True
        # Related objects and refreshes go through this manager too, so that no side door is left open.
        base_manager_name = "objects"

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Insert the row.

        Raises
        ------
        Frozen : the row is in the database already.
        """
        if not self._state.adding:
            raise Frozen(f"This {self._meta.verbose_name} is written once and cannot be changed.")
        kwargs["force_insert"] = True
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Refuse."""
        raise Frozen(f"This {self._meta.verbose_name} is kept and cannot be deleted.")
