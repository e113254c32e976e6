"""Limits: what a result is held against, as versions."""

from __future__ import annotations

from django.db import models

from batches.models import FormulaVersion
from producer.models import Record


class Characteristic(models.TextChoices):
    """What is judged."""

    PH = "ph", "pH"
    CLARITY = "clarity", "clarity"
    YIELD_VARIANCE = "yield_variance", "yield variance (%)"


class Limit(Record):
    """A version of the limit for one characteristic of one formula version.

    A pH limit means nothing without its method, so the method is part of it.
    """

    formula_version = models.ForeignKey(
        FormulaVersion, on_delete=models.PROTECT, related_name="limits"
    )
    characteristic = models.CharField(max_length=20, choices=Characteristic.choices)
    version = models.PositiveSmallIntegerField()
    lower = models.DecimalField(max_digits=8, decimal_places=3, null=True, blank=True)
    upper = models.DecimalField(max_digits=8, decimal_places=3, null=True, blank=True)
    method = models.CharField(max_length=120, blank=True)
    reason = models.TextField("why this limit")

    class Meta:
        ordering = ("formula_version", "characteristic", "-version")
        constraints = [
            models.UniqueConstraint(
                fields=["formula_version", "characteristic", "version"],
                name="limit_version_once",
            ),
            models.CheckConstraint(
                condition=models.Q(characteristic="clarity")
                | models.Q(lower__isnull=False)
                | models.Q(upper__isnull=False),
                name="limit_has_a_side",
                violation_error_message="Give a lower limit, an upper limit or both.",
            ),
            models.CheckConstraint(
                condition=models.Q(lower__isnull=True)
                | models.Q(upper__isnull=True)
                | models.Q(lower__lt=models.F("upper")),
                name="limit_lower_below_upper",
                violation_error_message="The lower limit must be below the upper one.",
            ),
            models.CheckConstraint(
                condition=~models.Q(characteristic="ph") | ~models.Q(method=""),
                name="ph_limit_has_method",
                violation_error_message=(
                    "A pH limit needs its method: strength and temperature of the"
                    " solution."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.characteristic} limit version {self.version}"
