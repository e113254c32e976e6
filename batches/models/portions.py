"""Portions of a bulk product, and what is measured of a liquid besides its pH."""

from __future__ import annotations

from django.db import models

from batches.models.batches import Batch
from producer.models import Correctable, Instrument, Place
from producer.models.records import CorrectableQuerySet


class Portion(Correctable):
    """A share of what a batch made, in a tub of its own: how much, where, what for.

    ``number`` counts within the batch and stays when a row is corrected. What is left
    of it is its mass less the charges and mixes that name it.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="portions")
    number = models.PositiveSmallIntegerField()
    mass_mg = models.BigIntegerField("mass (mg)")
    place = models.ForeignKey(
        Place, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    purpose = models.CharField("what it is meant for", max_length=120, blank=True)

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("batch_id", "number", "pk")
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(is_void=True, mass_mg=0)
                | models.Q(is_void=False, mass_mg__gt=0),
                name="portion_has_a_mass",
                violation_error_message="A portion has a mass above zero.",
            ),
            models.UniqueConstraint(
                fields=["batch", "number"],
                condition=models.Q(supersedes__isnull=True),
                name="portion_number_once",
            ),
        ]

    def __str__(self) -> str:
        return f"portion {self.number}"


class LiquidReading(Correctable):
    """The hardness of the water of a liquid, or its density, as it was measured.

    Hardness is in mmol/l, density in g/ml at ``temperature``.
    """

    class Kind(models.TextChoices):
        """What was measured."""

        HARDNESS = "hardness", "hardness of the water"
        DENSITY = "density", "density"

    batch = models.ForeignKey(
        Batch, on_delete=models.PROTECT, related_name="liquid_readings"
    )
    kind = models.CharField(max_length=20, choices=Kind.choices)
    value = models.DecimalField(max_digits=8, decimal_places=4, null=True, blank=True)
    half_width = models.DecimalField(
        "may be wrong by up to ±", max_digits=8, decimal_places=4, default=0
    )
    temperature = models.DecimalField(
        "temperature (°C)", max_digits=4, decimal_places=1, null=True, blank=True
    )
    method = models.CharField("how it was measured", max_length=120, blank=True)
    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("observed_at", "pk")
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(is_void=True, value__isnull=True)
                | models.Q(is_void=False, kind="hardness", value__gte=0, value__lte=20)
                | models.Q(
                    is_void=False,
                    kind="density",
                    value__gte="0.8",
                    value__lte="1.3",
                    temperature__isnull=False,
                ),
                name="liquid_reading_plausible",
                violation_error_message=(
                    "A hardness lies between 0 and 20 mmol/l; a density between 0.8 and"
                    " 1.3 g/ml, and needs the temperature it was measured at."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(half_width__gte=0),
                name="liquid_half_width_not_negative",
                violation_error_message="Write the ± without a sign.",
            ),
        ]

    def __str__(self) -> str:
        return f"liquid reading {self.pk}"
