"""Spray mixes for own use: what was mixed, on what it went, and how it fared."""

from __future__ import annotations

from django.db import models

from batches.models.portions import Portion
from producer.models import Correctable, Stock
from producer.models.records import CorrectableQuerySet


class SprayMix(Correctable):
    """A tank mixed for own plants on own land, for the day.

    ``code`` stays when a row is corrected. ``soap_percent`` and ``molar_mass`` are what
    the product was reckoned with on the day.
    """

    code = models.CharField(max_length=30)
    source = models.ForeignKey(Stock, on_delete=models.PROTECT, related_name="mixes")
    portion = models.ForeignKey(
        Portion, on_delete=models.PROTECT, null=True, blank=True, related_name="mixes"
    )
    mass_mg = models.BigIntegerField("product weighed (mg)")
    tank_ul = models.BigIntegerField("tank volume (µl)")
    target_g_per_l = models.DecimalField(
        "soap aimed at (g/l)", max_digits=5, decimal_places=2
    )
    hardness = models.DecimalField(
        "hardness of the water (mmol/l)", max_digits=5, decimal_places=2
    )
    soap_percent = models.DecimalField(
        "soap content reckoned with (%)", max_digits=6, decimal_places=3
    )
    molar_mass = models.DecimalField(
        "molar mass of the soap (g/mol)", max_digits=7, decimal_places=2
    )
    pre_dissolved = models.BooleanField("dissolved in warm soft water first")
    plant = models.CharField(max_length=120)
    pest = models.CharField(max_length=120)
    where = models.CharField("place", max_length=120)
    weather = models.CharField("weather and time of day", max_length=200)
    bees = models.CharField(
        "bees and open flowers",
        max_length=200,
        help_text="What you saw, and what you did about it.",
    )
    leftovers = models.CharField(
        "what was left, and what became of it", max_length=200, blank=True
    )
    note = models.TextField(blank=True)

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("-pk",)
        verbose_name_plural = "spray mixes"
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(is_void=True, mass_mg=0)
                | models.Q(is_void=False, mass_mg__gt=0),
                name="mix_has_a_mass",
                violation_error_message="A mix has a mass above zero.",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    tank_ul__gt=0,
                    target_g_per_l__gt=0,
                    hardness__gte=0,
                    soap_percent__gt=0,
                ),
                name="mix_amounts_positive",
            ),
            models.UniqueConstraint(
                fields=["code"],
                condition=models.Q(supersedes__isnull=True),
                name="mix_code_once",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class PatchTest(Correctable):
    """One leaf of a plant, sprayed first, and how it looked a day or two later."""

    class Result(models.TextChoices):
        """How the leaf looked."""

        WAITING = "waiting", "sprayed, not looked at yet"
        UNHARMED = "unharmed", "unharmed"
        HARMED = "harmed", "spotted, burnt or wilted"

    code = models.CharField(max_length=30)
    source = models.ForeignKey(
        Stock, on_delete=models.PROTECT, related_name="patch_tests"
    )
    plant = models.CharField(max_length=120)
    target_g_per_l = models.DecimalField("soap (g/l)", max_digits=5, decimal_places=2)
    sprayed_at = models.DateTimeField("sprayed")
    result = models.CharField(
        max_length=20, choices=Result.choices, default=Result.WAITING
    )
    note = models.CharField(max_length=200, blank=True)

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("-pk",)
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(result__in=["waiting", "unharmed", "harmed"]),
                name="patch_result_known",
            ),
            models.UniqueConstraint(
                fields=["code"],
                condition=models.Q(supersedes__isnull=True),
                name="patch_code_once",
            ),
        ]

    def __str__(self) -> str:
        return self.code
