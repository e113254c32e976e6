"""People, their accounts, and the rights an account holds."""

from __future__ import annotations

import enum
from typing import ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.hashers import check_password
from django.core.validators import RegexValidator
from django.db import models


class Right(enum.StrEnum):
    """What an account may do beyond reading, which every signed-in person may."""

    OWNER = "owner"
    MAKER = "maker"
    REVIEWER = "reviewer"
    AUDITOR = "auditor"

    @property
    def label(self) -> str:
        """The word shown on screens and prints."""
        return self.value.capitalize()


class Person(models.Model):
    """A human being. Two accounts of one person are still one person.

    Independence of review compares people, never accounts.
    """

    name = models.CharField(max_length=120)
    deactivated_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class UserManager(BaseUserManager["User"]):
    """Accounts are made by ``producer.services.people`` and looked up here."""

    def get_by_natural_key(self, username: str | None) -> User:
        """Find an account whatever the case its name is typed in."""
        return self.get(username=(username or "").lower())


class User(AbstractBaseUser):
    """An account: a name, a password and rights. Deactivated, never deleted."""

    person = models.ForeignKey(
        Person, on_delete=models.PROTECT, related_name="accounts"
    )
    username = models.CharField(
        max_length=60,
        unique=True,
        error_messages={
            "unique": (
                "This name belongs to an account already, perhaps a closed one. Names"
                " are never used twice; choose another."
            )
        },
        validators=[
            RegexValidator(
                r"^[a-z0-9][a-z0-9._-]*$",
                "Use small letters, digits, dot, hyphen and underscore, starting"
                " with a letter or digit.",
            )
        ],
    )
    is_active = models.BooleanField(default=True)
    is_owner = models.BooleanField(default=False)
    is_maker = models.BooleanField(default=False)
    is_reviewer = models.BooleanField(default=False)
    is_auditor = models.BooleanField(default=False)
    created_at = models.DateTimeField(auto_now_add=True)

    objects: ClassVar[UserManager] = UserManager()

    USERNAME_FIELD = "username"

    class Meta:
        ordering = ("username",)

    def __str__(self) -> str:
        return self.username

    def check_password(self, raw_password: str | None) -> bool:
        """Say whether this is the password, and leave it as it is kept.

        Django would keep it in a stronger way here after an update, and no act would
        say so; that waits until somebody changes it.
        """
        return check_password(raw_password, self.password)

    @property
    def rights(self) -> frozenset[Right]:
        """The rights this account holds now."""
        return frozenset(right for right in Right if getattr(self, f"is_{right}"))

    def may(self, right: str) -> bool:
        """Say whether this account is in use and holds ``right``."""
        return self.is_active and Right(right) in self.rights
