"""Losses: where mass went that did not come out as product."""

from __future__ import annotations

from django.db import models

from batches.models.batches import Batch
from batches.models.transcriptions import Transcription
from producer.models import Correctable
from producer.models.records import CorrectableQuerySet


class Loss(Correctable):
    """A mass that left a batch, and how; with ± where it was only estimated."""

    class Kind(models.TextChoices):
        """Where it went."""

        EVAPORATION = "evaporation", "evaporated, by weighing the pot before and after"
        SPILL = "spill", "spilled"
        RETAINED = "retained", "stayed on pot and tools"
        SAMPLE = "sample", "taken as a sample"

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="losses")
    kind = models.CharField(max_length=20, choices=Kind.choices)
    mass_mg = models.BigIntegerField("mass (mg)")
    half_width_mg = models.BigIntegerField("may be wrong by up to ± (mg)", default=0)
    note = models.CharField(max_length=200, blank=True)
    transcription = models.ForeignKey(
        Transcription,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="losses",
    )

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("pk",)
        verbose_name_plural = "losses"
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(is_void=True, mass_mg=0)
                | models.Q(is_void=False, mass_mg__gt=0),
                name="loss_has_a_mass",
                violation_error_message="A loss has a mass above zero.",
            ),
            models.CheckConstraint(
                condition=models.Q(half_width_mg__gte=0),
                name="loss_half_width_not_negative",
                violation_error_message="Write the ± without a sign.",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=["evaporation", "spill", "retained", "sample"]
                ),
                name="loss_kind_known",
            ),
        ]

    def __str__(self) -> str:
        return f"loss {self.pk}"
