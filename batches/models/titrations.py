"""Titrations: what acid and alkali say about a lot or a batch."""

from __future__ import annotations

from django.db import models

from producer.models import Container, Correctable, Instrument, Stock
from producer.models.records import CorrectableQuerySet


class Titration(Correctable):
    """One determination on a lot or a batch, with its replicates and its result.

    ``value`` and ``standard_uncertainty`` are in the unit of the kind: mg KOH/g for
    saponification and acid value, percent KOH by mass otherwise; ``carbonate`` is
    percent K2CO3. They were computed when it was entered and are never computed again.
    """

    class Kind(models.TextChoices):
        """What is determined."""

        POTASH = "potash", "potash: hydroxide and carbonate, two end points"
        SAPONIFICATION_VALUE = "saponification_value", "saponification value"
        ACID_VALUE = "acid_value", "acid value"
        FREE_ALKALI = "free_alkali", "free alkali"

    stock = models.ForeignKey(
        Stock, on_delete=models.PROTECT, related_name="titrations"
    )
    kind = models.CharField(max_length=30, choices=Kind.choices)
    method = models.CharField(max_length=200, blank=True)
    titrant_concentration = models.DecimalField(
        "concentration of the titrant (mol/l)",
        max_digits=8,
        decimal_places=5,
        null=True,
        blank=True,
    )
    titrant_half_width = models.DecimalField(
        "the concentration may be wrong by up to ± (mol/l)",
        max_digits=8,
        decimal_places=5,
        default=0,
    )
    burette_half_width = models.DecimalField(
        "the burette may be wrong by up to ± (ml)",
        max_digits=6,
        decimal_places=3,
        default=0,
    )
    scale = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    indicator = models.ForeignKey(
        Instrument,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name="lot of indicator",
    )
    blank_ml = models.DecimalField(
        "blank (ml)", max_digits=7, decimal_places=3, null=True, blank=True
    )
    value = models.DecimalField(max_digits=10, decimal_places=4, null=True, blank=True)
    standard_uncertainty = models.DecimalField(
        max_digits=12, decimal_places=6, null=True, blank=True
    )
    carbonate = models.DecimalField(
        max_digits=10, decimal_places=4, null=True, blank=True
    )
    carbonate_uncertainty = models.DecimalField(
        max_digits=12, decimal_places=6, null=True, blank=True
    )
    sentence = models.TextField("result in words", blank=True)

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("pk",)
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(is_void=True)
                | models.Q(
                    value__isnull=False,
                    standard_uncertainty__gt=0,
                    titrant_concentration__gt=0,
                    scale__isnull=False,
                ),
                name="titration_has_a_result",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=[
                        "potash",
                        "saponification_value",
                        "acid_value",
                        "free_alkali",
                    ]
                ),
                name="titration_kind_known",
            ),
        ]

    def __str__(self) -> str:
        return f"titration {self.pk}"


class TitrationReplicate(models.Model):
    """One sample of a titration: its mass, its volumes and what it gives alone.

    A suspected outlier is flagged and kept; it counts unless ``excluded_because``
    says why not.
    """

    append_only = True

    titration = models.ForeignKey(
        Titration, on_delete=models.PROTECT, related_name="replicates"
    )
    number = models.PositiveSmallIntegerField()
    sample_mg = models.BigIntegerField("sample (mg)")
    volume_ml = models.DecimalField("titrant (ml)", max_digits=7, decimal_places=3)
    second_volume_ml = models.DecimalField(
        "titrant in all, to the second end point (ml)",
        max_digits=7,
        decimal_places=3,
        null=True,
        blank=True,
    )
    value = models.DecimalField(max_digits=10, decimal_places=4)
    is_suspect = models.BooleanField("stands out from the others", default=False)
    excluded_because = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("titration_id", "number")
        constraints = [
            models.UniqueConstraint(
                fields=["titration", "number"], name="replicate_number_once"
            ),
            models.CheckConstraint(
                condition=models.Q(sample_mg__gt=0, volume_ml__gte=0),
                name="replicate_amounts_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"replicate {self.number}"


class ContainerWeighing(Correctable):
    """A container of a raw lot on the scale, beside what the book says is in it.

    Potash takes water and carbon dioxide from the air, so it weighs more than the
    ledger says: the sign to hold and retest.
    """

    stock = models.ForeignKey(
        Stock, on_delete=models.PROTECT, related_name="container_weighings"
    )
    container = models.ForeignKey(
        Container,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="weighings",
    )
    scale = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")
    gross_mg = models.BigIntegerField("gross (mg)")
    tare_mg = models.BigIntegerField("tare (mg)")
    net_mg = models.BigIntegerField("net (mg)")
    book_mg = models.BigIntegerField("in the book (mg)")
    sentence = models.TextField("what it says", blank=True)

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("pk",)
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(is_void=True)
                | models.Q(
                    net_mg=models.F("gross_mg") - models.F("tare_mg"),
                    net_mg__gt=0,
                    tare_mg__gte=0,
                ),
                name="container_net_is_gross_less_tare",
                violation_error_message=(
                    "Gross must be more than tare. Check which container it was."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"container weighing {self.pk}"
