"""Materials: what may come in, before any lot of it has."""

from __future__ import annotations

from django.db import models


class Material(models.Model):
    """A kind of raw material, such as “sunflower oil, refined”."""

    class Kind(models.TextChoices):
        """What the material does in the pot."""

        POTASH = "potash", "potash (potassium hydroxide)"
        OIL = "oil", "oil or fat"
        WATER = "water", "water"
        ADDITION = "addition", "addition"

    class Acid(models.TextChoices):
        """What takes free alkali up, and how much of it."""

        CITRIC_ANHYDROUS = "citric_anhydrous", "citric acid, anhydrous"
        CITRIC_MONOHYDRATE = "citric_monohydrate", "citric acid, monohydrate"

    name = models.CharField(max_length=120, unique=True)
    kind = models.CharField(max_length=20, choices=Kind.choices)
    acid = models.CharField(
        "acid that takes up free alkali",
        max_length=20,
        choices=Acid.choices,
        blank=True,
        help_text="Only for an acid that corrects a batch with too much alkali.",
    )
    saponification_low = models.DecimalField(
        "saponification value, lowest published (mg KOH/g)",
        max_digits=6,
        decimal_places=2,
        null=True,
        blank=True,
    )
    saponification_high = models.DecimalField(
        "saponification value, highest published (mg KOH/g)",
        max_digits=6,
        decimal_places=2,
        null=True,
        blank=True,
    )
    saponification_source = models.CharField(
        "source of the range",
        max_length=200,
        blank=True,
        help_text="The standard or book the range was read in.",
    )

    class Meta:
        ordering = ("name",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(kind__in=["potash", "oil", "water", "addition"]),
                name="material_kind_known",
            ),
            models.CheckConstraint(
                condition=models.Q(acid="") | models.Q(kind="addition"),
                name="acid_is_an_addition",
                violation_error_message="An acid is registered as an addition.",
            ),
            models.CheckConstraint(
                condition=~models.Q(kind="oil")
                | models.Q(
                    # Said aloud, because an unknown comparison passes a check.
                    saponification_low__isnull=False,
                    saponification_high__isnull=False,
                    saponification_low__gte=160,
                    saponification_low__lte=models.F("saponification_high"),
                    saponification_high__lte=280,
                ),
                name="oil_has_saponification_range",
                violation_error_message=(
                    "An oil needs its published range of saponification values, both"
                    " between 160 and 280 mg KOH per gram, the lower one first. Check"
                    " that the table is not on the sodium hydroxide basis."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.name
