"""Costs that no raw lot carries: bottles, labels, energy, hours."""

from __future__ import annotations

from django.db import models

from batches.models.batches import Batch
from producer.models import Correctable
from producer.models.records import CorrectableQuerySet


class Cost(Correctable):
    """What a batch cost besides its raw lots, in hundredths of the currency."""

    class Kind(models.TextChoices):
        """What it was spent on."""

        BOTTLES = "bottles", "bottles and caps"
        LABELS = "labels", "labels"
        ENERGY = "energy", "energy"
        HOURS = "hours", "hours of work"
        OTHER = "other", "other"

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="costs")
    kind = models.CharField(max_length=20, choices=Kind.choices)
    amount_hundredths = models.BigIntegerField("amount (hundredths)")
    note = models.CharField(max_length=200, blank=True)

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("pk",)
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(is_void=True, amount_hundredths=0)
                | models.Q(is_void=False, amount_hundredths__gt=0),
                name="cost_above_zero",
                violation_error_message="A cost is above zero.",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=["bottles", "labels", "energy", "hours", "other"]
                ),
                name="cost_kind_known",
            ),
        ]

    def __str__(self) -> str:
        return f"cost {self.pk}"
