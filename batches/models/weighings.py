"""Weighings by gross and tare: charges into a batch, and what came out of it."""

from __future__ import annotations

from django.db import models

from batches.models.batches import Batch
from batches.models.formulas import FormulaLine
from batches.models.portions import Portion
from batches.models.transcriptions import Transcription
from producer.models import (
    Certificate,
    Container,
    Correctable,
    Instrument,
    Stock,
    Vessel,
)
from producer.models.records import CorrectableQuerySet


def net_is_gross_less_tare(name: str) -> models.CheckConstraint:
    """Return the constraint that ties the three masses together."""
    return models.CheckConstraint(
        condition=models.Q(is_void=True, gross_mg=0, tare_mg=0, net_mg=0)
        | models.Q(
            is_void=False,
            net_mg=models.F("gross_mg") - models.F("tare_mg"),
            net_mg__gt=0,
            tare_mg__gte=0,
        ),
        name=name,
        violation_error_message=(
            "Gross must be more than tare. Check which vessel was on the scale."
        ),
    )


class WeighingStart(Correctable):
    """The first half of a weighing: the vessel empty, or the container still full.

    It stands as incomplete until a charge names it, or a row takes it back. What came
    between, a power cut or a telephone call, invents no net.
    """

    batch = models.ForeignKey(
        Batch, on_delete=models.PROTECT, related_name="weighing_starts"
    )
    line = models.ForeignKey(
        FormulaLine, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    source = models.ForeignKey(Stock, on_delete=models.PROTECT, related_name="+")
    container = models.ForeignKey(
        Container, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    vessel = models.ForeignKey(
        Vessel, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    scale = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")
    by_difference = models.BooleanField(default=False)
    first_mg = models.BigIntegerField("tare, or the container before (mg)")
    transcription = models.ForeignKey(
        Transcription,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="weighing_starts",
    )

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("pk",)
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(first_mg__gte=0),
                name="weighing_start_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"weighing start {self.pk}"


class Charge(Correctable):
    """A weighed addition to a batch, from a raw lot or from another batch.

    ``figure`` is what its certificate, titration or range gave for the computation
    when it was weighed: usable KOH per gram for potash, mg KOH per gram for an oil,
    KOH taken up per gram for an acid; with its standard uncertainty and the shape of
    what is known about it. A later certificate never changes it.

    By difference, ``gross_mg`` is the container before and ``tare_mg`` the same one
    after, so that net is what left it. ``passed_over`` says why a lot that expires
    earlier was left.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="charges")
    line = models.ForeignKey(
        FormulaLine,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="charges",
    )
    source = models.ForeignKey(Stock, on_delete=models.PROTECT, related_name="charges")
    scale = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")
    gross_mg = models.BigIntegerField("gross (mg)")
    tare_mg = models.BigIntegerField("tare (mg)")
    net_mg = models.BigIntegerField("net (mg)")
    certificate = models.ForeignKey(
        Certificate,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="charges",
    )
    figure = models.DecimalField(max_digits=12, decimal_places=6, null=True, blank=True)
    figure_uncertainty = models.DecimalField(
        "standard uncertainty of the figure",
        max_digits=12,
        decimal_places=6,
        null=True,
        blank=True,
    )
    figure_distribution = models.CharField(max_length=20, blank=True)
    figure_origin = models.CharField(max_length=250, blank=True)
    by_difference = models.BooleanField(
        "by the container before and after", default=False
    )
    container = models.ForeignKey(
        Container,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="charges",
    )
    vessel = models.ForeignKey(
        Vessel, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    portion = models.ForeignKey(
        Portion,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="charges",
    )
    start = models.ForeignKey(
        WeighingStart,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="charges",
    )
    passed_over = models.TextField(
        "why a lot that expires earlier was left", blank=True
    )
    transcription = models.ForeignKey(
        Transcription,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="charges",
    )

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("pk",)
        constraints = [
            *Correctable.Meta.constraints,
            net_is_gross_less_tare("charge_net_is_gross_less_tare"),
            models.CheckConstraint(
                condition=models.Q(figure_uncertainty__isnull=True)
                | models.Q(figure__isnull=False, figure_uncertainty__gte=0),
                name="charge_uncertainty_belongs_to_a_figure",
            ),
            models.UniqueConstraint(
                fields=["start"],
                condition=models.Q(supersedes__isnull=True),
                name="weighing_start_finished_once",
                violation_error_message="This weighing was finished already.",
            ),
        ]

    def __str__(self) -> str:
        return f"charge {self.pk}"


class BulkWeighing(Correctable):
    """The weighing of what a batch made: paste or liquid, vessel taken off."""

    batch = models.ForeignKey(
        Batch, on_delete=models.PROTECT, related_name="bulk_weighings"
    )
    scale = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")
    gross_mg = models.BigIntegerField("gross (mg)")
    tare_mg = models.BigIntegerField("tare (mg)")
    net_mg = models.BigIntegerField("net (mg)")
    vessel = models.ForeignKey(
        Vessel, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    transcription = models.ForeignKey(
        Transcription,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="bulk_weighings",
    )

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("pk",)
        constraints = [
            *Correctable.Meta.constraints,
            net_is_gross_less_tare("bulk_net_is_gross_less_tare"),
            models.UniqueConstraint(
                fields=["batch"],
                condition=models.Q(supersedes__isnull=True),
                name="bulk_weighed_once_then_corrected",
                violation_error_message=(
                    "This batch has been weighed. Correct that weighing instead."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"bulk weighing {self.pk}"
