"""People who sign in."""

from __future__ import annotations

import uuid
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone


class Role(models.TextChoices):
    """What somebody does in the firm; `estimates.access` says what each role may do."""

    OWNER = "owner", "Owner"
    SALESPERSON = "salesperson", "Salesperson"
    SCHEDULER = "scheduler", "Scheduler"
    CREW = "crew", "Crew"
    BOOKKEEPER = "bookkeeper", "Bookkeeper"


OFFICE = frozenset({Role.OWNER, Role.SALESPERSON, Role.SCHEDULER, Role.BOOKKEEPER})
"""Roles that work in the office and may know of every house."""


class UserManager(BaseUserManager["User"]):
    """Makes and finds users by their e-mail address, whatever its capitals."""

    use_in_migrations = True

    def create_user(self, *, email: str, full_name: str, role: str, password: str | None = None, **fields: Any) -> User:
        """Return a new, saved user; without a password nobody can sign in as that user.

        Raises
        ------
        ValidationError : the address, name or role is missing or wrong.
        """
        user = self.model(email=email.strip().lower(), full_name=full_name.strip(), role=role, **fields)
        user.set_password(password)
        user.full_clean()
        user.save(using=self._db)
        return user

    def create_superuser(self, *, email: str, full_name: str, password: str | None = None, **fields: Any) -> User:
        """Return a new owner (the name is the one that Django's ``createsuperuser`` command calls)."""
        return self.create_user(email=email, full_name=full_name, role=Role.OWNER, password=password, **fields)

    def get_by_natural_key(self, username: str | None) -> User:
        """Return the user with that e-mail address."""
        return self.get(email=(username or "").strip().lower())


class User(AbstractBaseUser):
    """Somebody who signs in with an e-mail address, in one role."""

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    email = models.EmailField("e-mail address", unique=True)
    full_name = models.CharField("full name", max_length=120)
    role = models.CharField(max_length=20, choices=Role)
    is_active = models.BooleanField(default=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    objects: ClassVar[UserManager] = UserManager()

    EMAIL_FIELD = "email"
    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["full_name"]

    class Meta:
        ordering = ("full_name", "id")
        constraints = (
            models.CheckConstraint(name="user_role_known", condition=models.Q(role__in=Role.values)),
            models.CheckConstraint(name="user_email_small_letters", condition=models.Q(email=Lower("email"))),
        )

    def __str__(self) -> str:
        return self.full_name

    def clean(self) -> None:
        """Bring the e-mail address to small letters, so that one person is one row."""
        super().clean()
        self.email = self.email.strip().lower()
