"""Readings while cooking and after: temperature, pH, clarity."""

from __future__ import annotations

from django.db import models

from batches.models.batches import Batch
from batches.models.transcriptions import Transcription
from producer.models import Correctable, Instrument
from producer.models.records import CorrectableQuerySet


class Reading(Correctable):
    """A result with its method and the instrument or strip lot it was read from.

    ``standard_uncertainty`` is taken from the instrument as it was on the day.
    """

    class Characteristic(models.TextChoices):
        """What was looked at."""

        TEMPERATURE = "temperature", "temperature"
        PH = "ph", "pH"
        CLARITY = "clarity", "clarity"

    class Clarity(models.TextChoices):
        """How a portion looks in hot distilled water."""

        CLEAR = "clear", "clear"
        CLOUDY = "cloudy", "cloudy"
        OIL_DROPS = "oil_drops", "oil drops"

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="readings")
    characteristic = models.CharField(max_length=20, choices=Characteristic.choices)
    value = models.DecimalField(max_digits=8, decimal_places=3, null=True, blank=True)
    standard_uncertainty = models.DecimalField(
        max_digits=10, decimal_places=6, null=True, blank=True
    )
    clarity = models.CharField(max_length=20, choices=Clarity.choices, blank=True)
    method = models.CharField(
        max_length=120,
        blank=True,
        help_text="For pH: how strong the solution was and at what temperature.",
    )
    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    transcription = models.ForeignKey(
        Transcription,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="readings",
    )

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("observed_at", "pk")
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(is_void=True, value__isnull=True, clarity="")
                | models.Q(
                    is_void=False,
                    characteristic__in=["temperature", "ph"],
                    value__isnull=False,
                    instrument__isnull=False,
                    clarity="",
                )
                | models.Q(
                    is_void=False,
                    characteristic="clarity",
                    value__isnull=True,
                )
                & ~models.Q(clarity=""),
                name="reading_has_what_it_measures",
                violation_error_message=(
                    "Temperature and pH need a value and the instrument it was read"
                    " from; clarity needs one of its words."
                ),
            ),
            models.CheckConstraint(
                condition=~models.Q(characteristic="ph")
                | models.Q(value__isnull=True)
                | models.Q(value__gte=0, value__lte=14),
                name="ph_between_0_and_14",
                violation_error_message="A pH lies between 0 and 14.",
            ),
            models.CheckConstraint(
                condition=~models.Q(characteristic="ph")
                | models.Q(is_void=True)
                | ~models.Q(method=""),
                name="ph_has_method",
                violation_error_message=(
                    "Say how the pH was taken: strength and temperature of the"
                    " solution. Without them the figure means nothing."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"reading {self.pk}"
