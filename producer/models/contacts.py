"""Suppliers, from whom we have it, and consignees, who has it now."""

from __future__ import annotations

import secrets

from django.db import models


def new_seal() -> str:
    """Return a new secret that personal data are sealed with in the journal."""
    return secrets.token_hex(32)


class Supplier(models.Model):
    """One step back: where a raw lot came from."""

    name = models.CharField(max_length=120, unique=True)
    address = models.TextField(blank=True)
    phone = models.CharField(max_length=60, blank=True)
    email = models.EmailField("e-mail", blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class Consignee(models.Model):
    """One step forward: a reseller or a private person who holds bottles."""

    class Kind(models.TextChoices):
        """Resellers must be reachable; a private person need not be named in full."""

        RESELLER = "reseller", "reseller"
        PRIVATE = "private", "private person"
        OWN_USE = "own_use", "own use on the premises"

    kind = models.CharField(max_length=20, choices=Kind.choices)
    name = models.CharField(max_length=120, unique=True)
    address = models.TextField(blank=True)
    phone = models.CharField(max_length=60, blank=True)
    email = models.EmailField("e-mail", blank=True)
    keep_until = models.DateField(
        "keep these contact data until",
        null=True,
        blank=True,
        help_text="A private person’s are kept for a recall only; then erase them.",
    )
    erased_at = models.DateTimeField(
        "contact data erased", null=True, blank=True, editable=False
    )
    seal = models.CharField(max_length=64, default=new_seal, editable=False)

    # What the journal keeps only sealed: see producer/written.py.
    personal = ("name", "address", "phone", "email")

    class Meta:
        ordering = ("name",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(kind__in=["reseller", "private", "own_use"]),
                name="consignee_kind_known",
            ),
            models.CheckConstraint(
                condition=~models.Q(kind="reseller")
                | ~models.Q(phone="")
                | ~models.Q(email="")
                | models.Q(erased_at__isnull=False),
                name="reseller_can_be_reached",
                violation_error_message=(
                    "A reseller must be reachable in a recall: give a telephone"
                    " number or an e-mail address."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def reference(self) -> str:
        """What the journal calls them: no name, so that one can be erased."""
        return f"consignee {self.pk}"
